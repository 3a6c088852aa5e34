// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The bench's supply as an instrument that answers queries (IEEE 488.2, SCPI-99), read over a serial line or
/// TCP.
///
/// | query | answer |
/// |---|---|
/// | `*IDN?` | maker, model, serial number, firmware |
/// | `MEAS:VOLT?`, `MEAS:CURR?` | what the scenario's first V(), first I() meter shows now |
/// | the same with `(@N)` | the N-th |
/// | `READ?`, `FETC?`, with `(@N)` | the same as `MEAS:VOLT?` |
/// | `STAT:QUES:COND?` | 1 (VOLTage): the current limit is reached; 2 (CURRent): it is not |
/// | `SYST:ERR?` | the oldest error, -113 for what it does not know; `0,"No error"` |
///
/// Short and long forms, any case, `:DC` behind VOLT and CURR, several queries parted by `;`. A channel that
/// there is not reads 9.91E37. Nothing can be set: everything else is error -113.

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "core/base/result.hpp"
#include "core/bench/served_device.hpp"
#include "core/bench/world.hpp"

namespace pin16::bench {

/// How the instrument falls short of a good one.
struct ScpiManners {
  double slow_ms = 0;        ///< between query and answer; the value is taken at some moment in between
  double noise = 0;          ///< share of answers that come damaged, 0 to 1
  bool no_status = false;    ///< knows no STAT:QUES:COND?
  bool no_errors = false;    ///< knows no SYST:ERR?
  bool no_identity = false;  ///< knows no *IDN?
  bool units = false;        ///< answers "12.600 V" instead of "+1.26000E+01"
  std::string end = "\n";    ///< of an answer
  double overload_V = 0;     ///< reads 9.9E37 above this; 0 never
  int dies_after = 0;        ///< answers so many, then is silent; 0 never
  double dead_ms = 0;        ///< for so long; 0 for good
};
/// From `key=value` pairs as written behind `scpi?`: slow_ms, noise, no=status|errors|identity, units=1,
/// end=lf|crlf|cr, overload_V, dies_after, dead_ms. ErrorKind::usage names what is wrong.
[[nodiscard]] Result<ScpiManners> scpiManners(
    const std::vector<std::pair<std::string, std::string>>& options);

/// One port of it. Pure behaviour.
class ScpiInstrument final : public ServedDevice {
 public:
  /// `world` must outlive it and have its meters.
  ScpiInstrument(World& world, ScpiManners manners, Write write);

  void take(Ns now_ns, std::string_view bytes) override;
  [[nodiscard]] Ns nextDue() const override;
  void onTime(Ns now_ns) override;

  static constexpr std::size_t kLineMax = 256;
  static constexpr std::size_t kErrorsMax = 8;

 private:
  /// An answer on its way.
  struct Due {
    Ns measure_ns, answer_ns;
    std::vector<std::string> units;   ///< of the message, to be answered
    std::optional<std::string> text;  ///< once measured
  };
  void obey(Ns now_ns, const std::string& line);
  [[nodiscard]] std::optional<std::string> answer(const std::string& query);
  [[nodiscard]] std::string value(char unit, int channel);
  void say(Ns now_ns, const std::string& text);
  [[nodiscard]] std::string damaged(std::string text);
  void error(int code, const char* text);

  World& world_;
  const ScpiManners manners_;
  Write write_;
  Xorshift random_;
  std::string line_;
  bool too_long_ = false;
  std::deque<Due> due_;
  std::deque<std::string> errors_;
  int answered_ = 0;
  Ns dead_until_ns_ = kNoTime;
};

}  // namespace pin16::bench
