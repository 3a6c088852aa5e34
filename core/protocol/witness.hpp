// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Diagnostics seen on a link without taking part: ISO 15765-2 messages (every addressing, classic and FD)
/// put together from both sides' frames, and each request with its answer. Pin16's own exchanges are seen the
/// same way, by their outbound frames.
///
/// Which identifiers carry diagnostics, and in which addressing, is not known beforehand. Each identifier is
/// read both ways, with the PCI in its first byte and behind a prefix (N_TA or N_AE), until one is proven or
/// both are refuted:
///   always    7DF, 7E0-7EF, 18DAxxxx, 18DBxxxx (ISO 15765-4) without prefix, 18CExxxx, 18CDxxxx (ISO
///   15765-2,
///             mixed addressing) with one, and those given by hint()
///   proven    by a single or first frame that answers, within P2* server, a plausible request of another
///             identifier, with service + 40 and two more bytes echoed; two times in a row if less is echoed,
///             it is refused, or the request often had no answer; or by a first frame that was followed by
///             another one's flow control and then by a consecutive frame, if that other one had asked for
///             it, or the second time. Where several could be meant, nothing is learned.
///   refuted   once the identifier sent what cannot be ISO-TP, read so: an invalid PCI, a single frame or
///   flow
///             control with mixed padding, an unknown service
/// The prefix of a proven pair is the same both ways in mixed addressing, and differs in extended addressing,
/// where one identifier speaks to several nodes. A further node asked with a proven identifier needs no
/// proof; a request that a second node answers is a functional one from then on. A request or answer is told
/// by bit 6 of its service byte (ISO 14229-1, SAE J1979). Not tried: KWP over CAN without ISO-TP.
///
/// How a message ends other than whole: `reason` of the message, one sentence. Frames that the capture missed
/// are told by the sequence number, by a frame that is too short, or by frames of the other side that show
/// that something else has begun; a missing flow control harms nothing. Not to be told: 16 consecutive frames
/// missing in a row, or the end of one message, all that the other side said and the first frame of the next.
/// How an exchange ends:
///   answered, negative   7F with any code but 78
///   incomplete           its answer broke off
///   silent               no answer within timing.client_wait_ms, or after "pending" within P2* server and
///   the
///                        client's margin, or before the tester asked anew, while the capture went on
///   link-lost            a gap came first
///   not-seen             the capture ended first
/// A request that suppresses its positive answer gives an exchange only if it is answered all the same. What
/// an answering identifier sends unasked (periodic data) gives messages, no exchange.
///
/// Memory: a record for each identifier and prefix that is not refuted, the message under way on it. One
/// owner, one thread; callbacks run inside the calls.

#include <cstdint>
#include <functional>
#include <optional>
#include <unordered_map>
#include <vector>

#include "core/event/frame.hpp"
#include "core/event/records.hpp"
#include "core/limits/limits.hpp"
#include "core/protocol/isotp.hpp"

namespace pin16::protocol {

/// Reasons of a message that was not seen to its end.
inline constexpr const char* kCaptureEnded = "the capture ended first";
inline constexpr const char* kGapCame = "the link was lost";

class Witness {
 public:
  /// `t_ns` is the time of the message's last frame, or of the exchange's end.
  using OnMessage = std::function<void(Ns t_ns, const event::Message&)>;
  using OnExchange = std::function<void(Ns t_ns, const event::Exchange&)>;

  /// Reads its figures from `limits` once: timing.p2_server_max_ms, timing.p2_star_server_max_ms,
  /// timing.client_wait_ms, timing.client_margin_ms, timing.n_bs_ms, timing.n_cr_ms.
  Witness(const limits::Limits& limits, OnMessage on_message, OnExchange on_exchange);

  /// The two identifiers of a module, normal addressing, as the job knows them.
  void hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended);

  /// Every frame of the link in order; any one clock throughout. Frames without time (kNoTime) are put
  /// together too, but time nothing out. Error and remote frames are ignored.
  void frame(Ns t_ns, const event::CanFrame& frame, bool outbound);
  /// Nothing could be seen between the two.
  void gap(Ns from_ns, Ns to_ns);
  /// How the identifier of a frame that was seen may still be read.
  struct Readings {
    bool plain = false;
    bool prefixed = false;
  };
  [[nodiscard]] Readings readings(const event::CanFrame& frame) const;
  /// Time passed without a frame (live).
  void advance(Ns now_ns);
  /// The capture ended then; kNoTime = with its last frame.
  void finish(Ns end_ns = kNoTime);

 private:
  using Word = std::uint32_t;  ///< identifier, with event::kExtendedFlag
  using Key = std::uint64_t;   ///< Word; with a prefix bit 40 set and the prefix in bits 32-39
  enum class Role : std::uint8_t { unknown, asks, answers };

  /// How an identifier may still be read.
  struct Identifier {
    bool plain = true;
    bool prefixed = true;
    bool proven = false;
    bool mixed = false;  ///< proven with a prefix: it is N_AE
    Role role = Role::unknown;
  };
  /// Flow control of somebody who is not known to be the receiver.
  struct Flow {
    Key from = 0;
    FlowControl control;
    Ns t_ns = kNoTime;
    bool shared = false;  ///< several waited for it
  };
  /// "Pending" of somebody who is not known to answer the request.
  struct Pending {
    Key from = 0;
    Bytes data;
    Ns t_ns = kNoTime;
  };
  /// The message under way.
  struct Incoming {
    Bytes data;
    std::uint32_t length = 0;
    std::size_t frame_size = 0;  ///< of the first frame: all but the last consecutive frame have it
    std::uint8_t next_sn = 1;
    bool awaits_flow = false;         ///< first frame, block or FC.WAIT: flow control is next
    std::uint32_t left_in_block = 0;  ///< consecutive frames until flow control; 0 = not limited
    int doubt = 0;                    ///< from kDoubtful on, consecutive frame 1 may be another message's
    bool matched = false;             ///< looked for the exchange that it answers; candidate: answered
    bool outbound = false;
    std::vector<Pending> pendings;  ///< of a candidate
    std::vector<Flow> flows;        ///< while the partner is not certain
    std::optional<Key> flow_from;   ///< whose of them was followed
    Ns first_ns = kNoTime;
    Ns last_ns = kNoTime;
    Ns flow_ns = kNoTime;         ///< first FC.CTS
    Ns consecutive_ns = kNoTime;  ///< last consecutive frame, no flow control since
    double separation_min_ms = -1;
    double separation_max_ms = -1;
    double st_min_ms = -1;  ///< asked for by the receiver
    std::uint16_t waits = 0;
    Ns deadline_ns = kNoTime;
  };
  /// One sender of one conversation: an identifier, or an identifier with a prefix.
  struct Node {
    Key key = 0;
    bool trusted = false;
    bool functional = false;
    std::optional<Key> partner;
    bool certain = false;  ///< the partner, by standard, hint or flow control
    std::optional<Incoming> incoming;
    std::optional<Incoming> candidate;  ///< a whole message that may prove to be a request
    std::optional<Incoming> asked;      ///< last request, while the partner is not certain
    std::optional<Key> followed;        ///< whose flow control a message followed before
    std::uint32_t in_vain = 0;          ///< requests and flow controls that had no sequel
    std::uint32_t answered = 0;         ///< candidates in a row that seemed answered, all by
    std::optional<Key> answered_by;
  };
  struct Open {
    event::Exchange x;
    Key request_key = 0;
    std::optional<Key> answer_key;  ///< nothing: waiting for whoever answers
    std::vector<Key> answered_by;   ///< of a functional request
    bool quiet = false;             ///< asks for no positive answer
    bool receiving = false;         ///< an answer is under way: its own timers hold
    Ns waits_from_ns = kNoTime;     ///< end of the request or of the last "pending"
    Ns deadline_ns = kNoTime;
    bool closed = false;
  };

  static Word wordOf(Key key) { return static_cast<Word>(key); }
  Identifier& identifier(Word word);
  Node& node(Key key);
  void read(Key key, Ns t_ns, const event::CanFrame& f, const Pci& pci, bool outbound);
  static Incoming incoming(Ns t_ns, const event::CanFrame& f, const Pci& pci, bool outbound);
  void onSingle(Node& n, Ns t_ns, const event::CanFrame& f, const Pci& pci, bool outbound);
  void onFirst(Node& n, Ns t_ns, const event::CanFrame& f, const Pci& pci, bool outbound);
  void onConsecutive(Node& n, Ns t_ns, const event::CanFrame& f, const Pci& pci);
  void onFlowControl(Node& n, Ns t_ns, const event::CanFrame& f, const Pci& pci);
  void flowFromStranger(Node& n, Ns t_ns, const FlowControl& control);
  void takeFlow(Incoming& in, Ns t_ns, const FlowControl& control);
  void doubtPartner(const Node& n);

  void refute(const Node& n);
  void drop(Node& n);
  static void askedInVain(Node& n);
  void setCandidate(Node& n, Incoming in);
  void forget(Word word, bool prefixed);
  void prove(Node& n, bool mixed);
  void learnPair(Node& asking, Node& answering, bool certain);
  void settlePartner(Node& n, Key partner);
  bool learnByAnswer(Node& answering, Ns t_ns, ByteView answer);
  bool learnFromOpen(Node& answering, ByteView answer);
  bool learnFromCandidate(Node& answering, Ns t_ns, ByteView answer);
  bool learnFunctional(Node& answering, Ns t_ns, ByteView answer);
  void learnByFlow(Node& sender);
  Node* receiverOf(const Node& sender, bool& asked);
  [[nodiscard]] bool askedFor(const Node& n, ByteView answer) const;
  void settleCandidate(Node& n, ByteView answer);
  [[nodiscard]] bool mayAnswer(const Open& o, const Node& n) const;

  void endMessage(Node& n);
  void breakOff(Node& n, const char* reason, event::Ended ended);
  void report(const Node& n, const Incoming& in, const char* reason);

  Open openFor(const Node& n, const Incoming& in) const;
  void onRequest(Node& n, const Incoming& in);
  void onAnswerStart(Node& n);
  void onAnswer(Node& n, const Incoming& in);
  Open* findOpen(Node& n, Ns first_ns, ByteView answer);
  Open* findWaiting(Node& n, ByteView answer);
  static void setAnswerKey(Open& o, Key key);
  void firstAnswer(Open& o, Ns first_ns) const;
  static void fillAnswer(Open& o, const Incoming& in);
  void close(Open& o, event::Ended ended, Ns t_ns);
  void endRequestsOf(Key key);
  void breakAll(const char* reason, event::Ended ended);
  void sweepClosed();

  [[nodiscard]] Ns deadline(Ns from_ns, Ns wait_ns);

  OnMessage on_message_;
  OnExchange on_exchange_;
  const Ns p2_ns_;
  const Ns p2_star_ns_;
  const Ns client_wait_ns_;
  const Ns pending_wait_ns_;
  const Ns n_bs_ns_;
  const Ns n_cr_ns_;

  std::unordered_map<Word, Identifier> identifiers_;  ///< element addresses are stable
  std::unordered_map<Key, Node> nodes_;               ///< likewise
  std::vector<Key> receiving_;
  std::vector<Key> candidates_;
  std::vector<Key> asked_;
  std::vector<Open> open_;
  Ns now_ns_ = kNoTime;              ///< latest time seen
  Ns next_deadline_ns_ = INT64_MAX;  ///< none earlier than this
};

}  // namespace pin16::protocol
