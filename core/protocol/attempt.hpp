// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A read-out attempt of the other equipment, seen from outside: where it stopped, on a ladder of rungs.
///
/// Each link is judged by itself and the deepest rung counts. What a rung means, and from what it is taken:
///   no_bit          no request of the other equipment was seen
///   errors_only     none either, and the bus was disturbed: no valid frame, or more error frames than
///                   bus.error_share_max
///   unacknowledged  one frame is repeated at once, bus.repeats_min times, or error frames lie in the
///                   acknowledge's place: nobody acknowledged it. To be seen only by a link that is silent
///                   itself: one that acknowledges makes it look like `silent`
///   silent          a request went out, nothing came back
///   negative        7F with a code other than 78, ISO 14229-1
///   pending         7F xx 78, then no answer within P2* server and the client's margin
///   cut             an answer in parts began and broke off
///   through         the last request had its whole answer
/// An attempt has many exchanges: what counts is what came after the last whole positive answer, and of that
/// the deepest rung. TesterPresent, the return to the default session and StopCommunication say nothing of
/// the read-out and count only where there is nothing else; so do functional requests that nobody answers.
/// Where the module's identifiers are known and were used, other modules' exchanges do not count.
///
/// On a K-line or J1850 bus nobody acknowledges: no `unacknowledged` there, and `errors_only` are bytes that
/// make no message (an initialisation that nobody answered, another rate). It begins with begin(), or, in a
/// stream without any, with the first request that is not ours; then it ends once attempt.silence_end_ms went
/// by without a diagnostic frame. Requests are told by their identifier: those of ISO 15765-4, of hint(), and
/// those that the witness has proven; within begin() and end() also by their form, if the identifier was not
/// used before: a padded single frame or a first frame, with the byte of a service.
///
/// No verdicts and no causes here: evidence, what it excludes, what it leaves open, what cannot be known.
/// Memory: a record for each exchange and a second of samples for each attempt. One owner, one thread.

#include <cstdint>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "core/event/frame.hpp"
#include "core/event/records.hpp"
#include "core/limits/limits.hpp"

namespace pin16::protocol {

enum class Rung : std::uint8_t {
  no_bit,
  errors_only,
  unacknowledged,
  silent,
  negative,
  pending,
  cut,
  through
};
[[nodiscard]] const char* toText(Rung r);  ///< "no bit", as people read it
[[nodiscard]] const char* toName(Rung r);  ///< "no-bit", as in JSON and in the capture

/// What one supply point did about the last progress: in the second before it, up to a second after it.
struct SupplyCourse {
  std::string point;
  std::string unit;
  double first = 0;  ///< a second before, or the first value after that
  double lowest_before = 0;
  double lowest_after = 0;  ///< that of before, if none came after
  double last = 0;
  Ns lowest_ns = kNoTime;  ///< of both
  std::size_t values = 0;
};

/// Whose fault an interrupted transfer looks like; `unknown`: it cannot be told, or was not interrupted.
enum class Breaker : std::uint8_t { none, unknown, module, tester };

struct AttemptReport {
  std::uint16_t link = event::kNoLink;  ///< the one that decided; kNoLink: nothing was seen on any
  Rung rung = Rung::no_bit;
  bool open = false;     ///< still under way
  bool declared = true;  ///< false: told by its first request alone
  std::string ended;     ///< how; empty: the stream ended first
  Ns begin_ns = kNoTime;
  Ns end_ns = kNoTime;
  std::int32_t power_up = -1;  ///< -1 unknown
  bool full = false;           ///< content was kept, by authority
  std::string changed, said;   ///< as declared
  Ns progress_ns = kNoTime;    ///< last one; kNoTime: none
  std::string progress;        ///< what it was
  std::uint64_t requests = 0;  ///< messages, or frames where no message came of them
  std::uint64_t answered = 0, negative = 0, silent = 0, pending = 0, cut = 0;
  std::uint64_t frames = 0, error_frames = 0, repeats = 0;
  int code = -1;                                      ///< of the negative answer that decided
  event::Known acknowledged = event::Known::unknown;  ///< by somebody other than us
  Breaker breaker = Breaker::none;
  std::vector<SupplyCourse> supply;
  std::vector<std::string> evidence, excludes, remains, cannot_know;  ///< sentences
};

class AttemptWatch {
 public:
  explicit AttemptWatch(limits::Limits limits);
  ~AttemptWatch();
  AttemptWatch(const AttemptWatch&) = delete;
  AttemptWatch& operator=(const AttemptWatch&) = delete;

  /// The job's module.
  void hint(std::uint32_t request_id, std::uint32_t answer_id, bool extended);

  // The stream in order, on any one clock; what the witness concludes follows its frame.
  void frame(std::uint16_t link, Ns t_ns, const event::CanFrame& frame, bool outbound);
  /// A message of a K-line or J1850 bus, and bytes heard there, in messages or not.
  void line(std::uint16_t link, Ns t_ns, const event::Line& line);
  void bytes(std::uint16_t link, std::size_t count);
  void state(std::uint16_t link, Ns t_ns, const event::LinkState& state);
  void gap(std::uint16_t link, Ns from_ns, Ns to_ns, const std::string& reason);
  void loss(std::uint64_t count);
  void sample(Ns t_ns, const event::Measurement& m);
  void power(Ns t_ns, const event::Power& p);
  void message(std::uint16_t link, const event::Message& m);
  /// By the time of its request.
  void exchange(std::uint16_t link, const event::Exchange& x);
  void declared(Ns t_ns, const event::Attempt& a);
  /// The stream ended.
  void finish(Ns end_ns);

  /// All so far, the one under way last. Declared ones alone, if there is any.
  [[nodiscard]] std::vector<AttemptReport> reports() const;
  /// The one under way: its last progress (kNoTime none), and whether the last exchange brought a whole
  /// answer.
  struct Pulse {
    bool open = false;
    bool seen = false;  ///< a request of the other equipment
    bool through = false;
    Ns progress_ns = kNoTime;
    Ns begin_ns = kNoTime;
  };
  [[nodiscard]] Pulse pulse() const;

 private:
  struct Attempt;
  struct Bus;
  using Word = std::uint32_t;
  Bus& bus(std::uint16_t link);
  Attempt* current();
  Attempt* at(Ns t_ns);  ///< kNoTime: the last one
  [[nodiscard]] bool asks(const Bus& b, const event::CanFrame& f) const;
  [[nodiscard]] bool answers(const Bus& b, const event::CanFrame& f) const;
  void endIfSilent(Ns t_ns);
  Attempt* beginIf(bool asking, Ns t_ns);
  void dataFrame(std::uint16_t link, Ns t_ns, const event::CanFrame& f);
  void progress(Attempt& a, Ns t_ns, std::string what);
  [[nodiscard]] AttemptReport report(const Attempt& a) const;

  limits::Limits limits_;
  Ns silence_end_ns_;
  Ns repeat_max_ns_;
  std::map<std::uint16_t, std::unique_ptr<Bus>> buses_;
  std::vector<std::unique_ptr<Attempt>> attempts_;
  std::vector<std::pair<Ns, event::Measurement>> recent_;  ///< a second of samples, before any attempt
  std::set<Word> module_asks_, module_answers_;
  bool any_declared_ = false;
  int power_ups_ = 0;  ///< seen in this stream
  Ns last_ns_ = kNoTime;
};

}  // namespace pin16::protocol
