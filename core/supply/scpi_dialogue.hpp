// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The dialogue with one instrument: who it is, then its values round by round, and now and then whether it
/// limits its output. Pure: bytes and times come in, bytes and events go out; one thread.
///
/// What goes wrong, and what becomes of it:
/// | what | becomes |
/// |---|---|
/// | no answer in time, half a line | a missed value, and SYST:ERR? is asked |
/// | late answers | thrown away: that of SYST:ERR? has a form of its own and parts them from the next |
/// | no SYST:ERR? either | as long a silence as an answer may take parts them |
/// | an error in the queue | a missed value, in the device's words; asked less often if it stays so |
/// | overload, not a number, nonsense | a missed value |
/// | three queries in a row without a byte | failed(): the port should be opened anew |
///
/// A row of missed values is one event::Gap from the last value to the next, never a zero.

#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"
#include "core/event/records.hpp"
#include "core/supply/meter_options.hpp"
#include "core/supply/scpi_text.hpp"

namespace pin16::supply {

struct ScpiSettings {
  MeterOptions meter;
  int channel = 0;               ///< 0: none named
  std::optional<Query> instead;  ///< read or fetch, for the only quantity, in place of MEAS
  std::string end = "\n";        ///< of each query
  Ns wait_ns = 500 * kNsPerMs;   ///< for an answer
};

class ScpiDialogue {
 public:
  /// What the owner does for it. None may destroy it; write() may stop() it.
  struct Events {
    std::function<void(std::string_view)> write;  ///< a whole query
    std::function<void(Ns t_ns, const event::Measurement&)> sample;
    std::function<void(const event::Gap&)> gap;
    std::function<void(Ns t_ns)> changed;  ///< facts() are others now
  };
  /// What is known of the instrument.
  struct Facts {
    bool answers = false;  ///< something it said made sense
    std::string identity;  ///< its own words; empty unknown
    std::string text;      ///< what is the matter; empty nothing
    std::string advice;
    Ns time_error_ns = -1;  ///< worst of all values so far; -1 none stated
    [[nodiscard]] bool operator==(const Facts&) const = default;
  };

  ScpiDialogue(ScpiSettings settings, Events events);

  /// The port is open.
  void start(Ns now_ns);
  /// The port is gone; what was missed is the port's gap.
  void stop();
  /// The end of the run: tells the gaps that are open.
  void finish(Ns now_ns);
  /// Bytes from the instrument, cut anywhere.
  void take(Ns now_ns, ByteView bytes);
  void onTime(Ns now_ns);
  /// When onTime() is due; kNoTime never.
  [[nodiscard]] Ns nextDue() const;
  [[nodiscard]] const Facts& facts() const { return facts_; }
  /// It does not answer at all: nothing more is asked until stop() and start().
  [[nodiscard]] bool failed() const { return failed_; }
  /// When the last value was taken; kNoTime none.
  [[nodiscard]] Ns lastValue() const { return last_value_ns_; }

  static constexpr int kSilentMost = 3;  ///< queries without a byte until it counts as dead (own figure)
  static constexpr int kMissesTold = 3;  ///< misses in a row until the state says so (own figure)
  static constexpr Ns kConditionEvery_ns = kNsPerSecond;
  static constexpr Ns kRestAfterErrors_ns = 5 * kNsPerSecond;  ///< a quantity that it refuses

 private:
  struct Asked {
    Query query;
    std::size_t quantity = 0;  ///< of a measuring query
    Ns sent_ns = 0;
    bool heard = false;  ///< some byte came
  };
  struct Course {
    Ns last_ns = kNoTime;       ///< time of the last value
    Ns last_sent_ns = kNoTime;  ///< its query
    bool missing = false;
    int misses = 0;   ///< in a row
    int refused = 0;  ///< misses in a row with an error in the queue
    Ns rest_until_ns = 0;
    std::string why;
  };
  void ask(Ns now_ns, Query query, std::size_t quantity = 0);
  void measure(Ns now_ns, std::size_t quantity);
  void proceed(Ns now_ns);
  void onLine(Ns now_ns, const Lines::Line& line);
  void onIdentity(Ns now_ns, const std::string& text);
  void onValue(Ns now_ns, const Lines::Line& line);
  void onCondition(Ns now_ns, const std::string& text);
  void onError(Ns now_ns, const std::string& text);
  void overdue(Ns now_ns);
  void miss(Ns now_ns, std::size_t quantity, const std::string& why);
  void answers(Ns now_ns);
  void tell(Ns now_ns);

  const ScpiSettings settings_;
  const Events events_;
  Facts facts_, told_;
  Lines lines_;
  std::optional<Asked> asked_;
  std::vector<Course> courses_;        ///< of each quantity
  std::optional<std::size_t> missed_;  ///< the quantity whose miss SYST:ERR? is to explain
  std::size_t next_ = 0;               ///< quantity of this round; their number: the round is over
  Ns round_ns_ = 0;                    ///< when the round began
  Ns idle_until_ns_ = kNoTime;         ///< nothing is asked before
  Ns condition_ns_ = 0;                ///< when to ask for it next; kNoTime never again
  int condition_failures_ = 0, error_failures_ = 0, identity_tries_ = 0;
  int silent_ = 0;
  bool running_ = false, failed_ = false, limiting_ = false;
  Ns last_value_ns_ = kNoTime;
};

}  // namespace pin16::supply
