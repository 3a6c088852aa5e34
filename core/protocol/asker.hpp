// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Asks modules over the gate and times their answers: one request at a time on each link, others queue.
///
/// Owner: the recorder; one thread. Time is injected. The owner feeds the gate first, then the asker. `send`,
/// the host and `done` may call back into the asker. What is concluded goes to the host as events: a Message
/// for each answer, an Exchange for each answering module (or one silent), a Refused for each refusal of the
/// gate.
///
/// What counts as an answer: an address that may answer, a payload that names the request's service and
/// parameters, and a time not before the request was on the bus (unconfirmed: handed to the link). Only such
/// a first frame is answered with flow control, once.
///
/// Physical requests end with the first final answer. Functional ones collect until the wait is over and
/// nothing is under way. The wait (timing.client_wait_ms unless given) is longer than P2 server: slower
/// modules are seen and called late. After a "response pending" (7F xx 78) the module has P2* server and a
/// margin.
///
/// On line media (K-line, J1850) a functional CAN target is taken for the medium's functional address,
/// answers are those of line_exchange.hpp, and `confirmed` means that our own bytes came back from the line,
/// which tells nothing of another node. A K-line session that we opened is kept by a message each
/// timing.kline_keep_ms of silence between requests, and ended by endSessions().

#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "core/base/result.hpp"
#include "core/event/records.hpp"
#include "core/limits/limits.hpp"
#include "core/link/link.hpp"
#include "core/protocol/gate.hpp"
#include "core/protocol/isotp.hpp"
#include "core/protocol/line_exchange.hpp"
#include "core/protocol/target.hpp"

namespace pin16::protocol {

struct Ask {
  std::uint16_t link = 0;
  Bytes request;  ///< service byte first
  Target target;
  Ns wait_ns = 0;     ///< for the first answer; 0 = timing.client_wait_ms
  Ns spacing_ns = 0;  ///< not sent earlier than this after the previous request on the link
};

struct AskResult {
  Status state;  ///< failed: nothing was sent (gate refused, link cannot, link lost while waiting its turn)
  bool confirmed = false;  ///< as event::Exchange::confirmed; on a line medium: our message was seen on it
  /// One a module that answered; a single silent or link-lost one if none did. Times: response_ms to the
  /// first frame of any response, "pending" included; pending_ms to each "pending"; answer_ms and complete_ms
  /// to first and last frame of the final one. A module that said "pending" and then nothing is `silent`, its
  /// `pending` above 0.
  std::vector<event::Exchange> exchanges;
};

class Asker {
 public:
  using Send = std::function<Status(std::uint16_t link, link::Permit permit)>;
  using Done = std::function<void(const AskResult&)>;
  using Over = std::function<void(std::uint16_t link)>;  ///< link::Link::exchangeOver()

  /// `gate`, `limits` and `host` outlive the asker.
  Asker(Gate& gate, const limits::Limits& limits, link::Host& host, Send send, Over over = {});

  void ask(Ask ask, Ns now_ns, Done done);

  void onFrame(std::uint16_t link, Ns t_ns, const event::CanFrame& frame, bool outbound);
  /// What a link wrote to its device; known only if the exchanges shall tell what it says.
  void onSent(std::uint16_t link, const event::Sent& sent);
  void onLine(std::uint16_t link, Ns t_ns, const event::Line& line);
  /// link::Host::onUnsent: the request under way ends as silent, not confirmed; or, the module woken and
  /// found to speak another medium, is asked once more in its form.
  void onUnsent(std::uint16_t link, Ns t_ns);
  void onLinkState(std::uint16_t link, Ns t_ns, const event::LinkState& state);
  /// Ends our K-line sessions, with a message where the medium has one: before the gate is shut, or the run
  /// ends.
  void endSessions(Ns now_ns);
  void onTime(Ns now_ns);
  /// When onTime() is due next; may lie in the past; kNoTime = nothing to wait for.
  [[nodiscard]] Ns nextDeadline() const;

 private:
  struct Waiting {
    Ask ask;
    Done done;
    bool again = false;  ///< in the form of another medium than at first
  };
  struct Peer {  ///< one module that began to answer
    Peer(const Receiver& r, event::Exchange e) : receiver(r), exchange(std::move(e)) {}
    Receiver receiver;
    event::Exchange exchange;
    bool open = true;
    Ns response_ns = kNoTime;  ///< first frame of the first response
    Ns began_ns = kNoTime;     ///< first frame of the message under way
    Ns answer_ns = kNoTime;    ///< the same of an answer other than "pending"
    Ns complete_ns = kNoTime;  ///< its last frame
    std::vector<Ns> pending_ns;
    std::optional<event::CanFrame> flow;  ///< our flow control, until it is confirmed
    Ns flow_ns = kNoTime;                 ///< confirmed, else when it was handed over
    Ns consecutive_ns = kNoTime;          ///< the last consecutive frame
    Ns expected_ns = kNoTime;             ///< answers after this are late
    Ns pending_until_ns = kNoTime;        ///< the module promised an answer; we wait this long
  };
  struct Active {
    Waiting what;
    std::uint64_t serial = 0;
    event::CanFrame frame;
    Ns handed_ns = kNoTime;
    Ns request_ns = kNoTime;  ///< when the link showed it; until then when it was handed over
    bool shown = false;       ///< by the link
    bool confirmed = false;   ///< somebody acknowledged it
    double after_poll_ms = -1;
    Ns wait_ns = 0;
    std::map<std::uint32_t, Peer> peers;  ///< by answer identifier
    std::unique_ptr<LineExchange> line;   ///< on a line medium, instead of all the above
    event::Medium medium = event::Medium::can;
    [[nodiscard]] bool anyOpen() const;
  };
  struct Lane {
    std::deque<Waiting> queue;
    std::unique_ptr<Active> active;
    Ns last_sent_ns = kNoTime;
    event::OwnFrames own_frames = event::OwnFrames::acknowledged;
    event::Medium medium = event::Medium::can;
    bool session = false;
    Ns keep_ns = kNoTime;  ///< when our session is kept next, unless a request comes first
  };

  void pump(std::uint16_t link, Ns now_ns);
  void start(std::uint16_t link, Ns now_ns);
  static void fail(std::uint16_t link, const Waiting& what, const Error& error);
  static void onOutbound(Lane& lane, Ns t_ns, const event::CanFrame& frame);
  void onAnswer(std::uint16_t link, Ns t_ns, const event::CanFrame& frame);
  static void noteBeginning(Peer& peer, Ns t_ns, bool pending);
  static void noteConsecutive(Peer& peer, Ns t_ns);
  Peer* findPeer(Active& active, std::uint32_t id, bool begins_answer);
  void onWhole(std::uint16_t link, Ns t_ns, std::uint32_t id, const Bytes& message);
  void answerFirstFrame(std::uint16_t link, Ns t_ns, std::uint32_t id, const FlowControl& fc);
  void endPeer(std::uint16_t link, Ns t_ns, const Active& active, Peer& peer, event::Ended ended);
  void concludeLine(std::uint16_t link, Ns t_ns, event::Ended if_nobody);
  void keepSession(std::uint16_t link, Ns now_ns);
  void endIfPhysical(std::uint16_t link, Ns t_ns);
  void conclude(std::uint16_t link, Ns t_ns, event::Ended if_nobody);
  void emitMessage(std::uint16_t link, Ns t_ns, const Peer& peer, const Bytes& payload, const char* broken);
  [[nodiscard]] event::Exchange blankExchange(const Active& active) const;
  [[nodiscard]] Ns deadline(const Lane& lane) const;
  [[nodiscard]] static Ns peerDeadline(const Peer& peer);

  Gate& gate_;
  link::Host& host_;
  Send send_;
  Over over_;
  Ns client_wait_ns_;
  Ns p2_ns_;
  Ns p2_star_ns_;
  Ns margin_ns_;
  Ns keep_ns_;
  const limits::Limits& limits_;
  Receiver::Settings receiver_;
  std::uint64_t serial_ = 0;
  std::map<std::uint16_t, Lane> lanes_;
};

}  // namespace pin16::protocol
