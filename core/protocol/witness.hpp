// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Diagnostics seen on a link without taking part: ISO 15765-2 messages (normal addressing, classic and FD)
/// put together from both sides' frames, and each request with its answer. Pin16's own exchanges are seen the
/// same way, by their outbound frames.
///
/// Which identifiers carry diagnostics is not known beforehand:
///   always    7DF, 7E0-7EF, 18DAxxxx, 18DBxxxx (ISO 15765-4), and those given by hint()
///   learned   an identifier whose first frame was followed by another one's flow control and then by
///             consecutive frame 1; or whose single or first frame answers, within P2* server, a plausible
///             single frame of another identifier: service + 40 or 7F, and the first parameter echoed
///   never     an identifier that once sent what cannot be ISO-TP: an invalid PCI, a single frame or flow
///   control
///             with mixed padding, an unknown service
/// A request or answer is told by bit 6 of its service byte (ISO 14229-1, SAE J1979).
/// Not tried: extended and mixed addressing, KWP over CAN without ISO-TP.
///
/// How a message ends other than whole: `reason` of the message, one sentence. How an exchange ends:
///   answered, negative   7F with any code but 78
///   incomplete           its answer broke off
///   silent               no answer within timing.client_wait_ms, or after "pending" within P2* server and
///   the
///                        client's margin, or before the tester asked anew, while the capture went on
///   link-lost            a gap came first
///   not-seen             the capture ended first
/// A request that suppresses its positive answer opens no exchange: none is asked for.
///
/// Memory: a record for each identifier, the message under way on it. One owner, one thread; callbacks run
/// inside the calls.

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

class Witness {
 public:
  /// `t_ns` is the time of the message's last frame, or of the exchange's end.
  using OnMessage = std::function<void(Ns t_ns, const event::Message&)>;
  using OnExchange = std::function<void(Ns t_ns, const event::Exchange&)>;

  /// Reads its figures from `limits` once: timing.p2_server_max_ms, timing.p2_star_server_max_ms,
  /// timing.client_wait_ms, timing.client_margin_ms, timing.n_bs_ms, timing.n_cr_ms.
  Witness(const limits::Limits& limits, OnMessage on_message, OnExchange on_exchange);

  /// The two identifiers of a module, as the job knows them.
  void hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended);

  /// Every frame of the link in order; any one clock throughout. Frames without time (kNoTime) are put
  /// together too, but time nothing out. Error and remote frames are ignored.
  void frame(Ns t_ns, const event::CanFrame& frame, bool outbound);
  /// Nothing could be seen between the two.
  void gap(Ns from_ns, Ns to_ns);
  /// Time passed without a frame (live).
  void advance(Ns now_ns);
  /// The capture ended then; kNoTime = with its last frame.
  void finish(Ns end_ns = kNoTime);

 private:
  using Key = std::uint32_t;  ///< identifier, with event::kExtendedFlag
  enum class Trust : std::uint8_t { unknown, diagnostic, ordinary };

  /// The message under way on an identifier.
  struct Incoming {
    Bytes data;
    std::uint32_t length = 0;
    std::uint8_t next_sn = 1;
    bool flow_seen = false;
    bool matched = false;  ///< looked for the exchange that it answers
    bool outbound = false;
    std::optional<Key> flow_from;  ///< who sent flow control, while the partner is not known
    Ns first_ns = kNoTime;
    Ns last_ns = kNoTime;
    Ns deadline_ns = kNoTime;
  };
  struct Node {
    Key key = 0;
    Trust trust = Trust::unknown;
    bool functional = false;
    std::optional<Key> partner;
    std::optional<Incoming> incoming;
    std::optional<Incoming> candidate;  ///< a single frame that may prove to be a request
  };
  struct Open {
    event::Exchange x;
    Key request_key = 0;
    std::optional<Key> answer_key;  ///< nothing: a functional request, waiting for whoever answers
    std::vector<Key> answered_by;   ///< of a functional request
    bool receiving = false;         ///< an answer is under way: its own timers hold
    Ns waits_from_ns = kNoTime;     ///< end of the request or of the last "pending"
    Ns deadline_ns = kNoTime;
    bool closed = false;
  };

  Node& node(Key key);
  static Incoming incoming(Ns t_ns, const Pci& pci, bool outbound);
  void onSingle(Node& n, Ns t_ns, const event::CanFrame& f, const Pci& pci, bool outbound);
  void onFirst(Node& n, Ns t_ns, const Pci& pci, bool outbound);
  void onConsecutive(Node& n, Ns t_ns, const Pci& pci);
  void onFlowControl(Node& n, Ns t_ns, const event::CanFrame& f, const Pci& pci);

  bool learnByAnswer(Node& answering, Ns t_ns, ByteView answer);
  void learnPair(Node& a, Node& b);
  void learnByFlow(Node& sender, Node& receiver);
  void settleCandidate(Node& n, ByteView answer);

  void endMessage(Node& n);
  void breakOff(Node& n, const char* reason, event::Ended ended);
  void report(const Node& n, const Incoming& in, const char* reason);

  void onRequest(const Node& n, const Incoming& in);
  void onAnswerStart(Node& n);
  void onAnswer(const Node& n, const Incoming& in);
  Open* findOpen(const Node& n, ByteView answer);
  void firstAnswer(Open& o, Ns first_ns) const;
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

  std::unordered_map<Key, Node> nodes_;  ///< element addresses are stable
  std::vector<Key> receiving_;
  std::vector<Key> candidates_;
  std::vector<Open> open_;
  Ns now_ns_ = kNoTime;              ///< latest time seen
  Ns next_deadline_ns_ = INT64_MAX;  ///< none earlier than this
};

}  // namespace pin16::protocol
