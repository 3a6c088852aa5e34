// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What Pin16 says to an instrument, and what an instrument says back, as text. Pure: no I/O, no clock.
///
/// Clauses are named from memory: common queries IEEE 488.2-1992 clause 10, program messages clause 7,
/// response data clause 8 (NR1, NR2, NR3: 8.7.2 to 8.7.4); MEASure, READ and FETCh SCPI-99 volume 2 chapter
/// 3, STATus volume 1 chapter 20, SYSTem:ERRor volume 1 chapter 21, channel lists volume 1
/// clause 8.3.2, 9.9E37 and 9.91E37 volume 1 clause 7.2.1.

#include <algorithm>
#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"

namespace pin16::supply {

/// All that is ever written to an instrument: one of these, a channel list where the user named one, an end
/// of line. Queries only: what is asked for is read, nothing is set. (MEAS lets a multimeter choose function
/// and range; READ? and FETC? leave them as its user set them.)
enum class Query : std::uint8_t { identity, volts, amperes, read, fetch, condition, error };
inline constexpr std::array<std::string_view, 7> kQueries = {
    "*IDN?", "MEAS:VOLT?", "MEAS:CURR?", "READ?", "FETC?", "STAT:QUES:COND?", "SYST:ERR?"};
static_assert(std::all_of(kQueries.begin(), kQueries.end(),
                          [](std::string_view q) { return q.back() == '?'; }));

/// One line. `channel` 0: none named; else 1 to kChannelMost, to the measuring queries only.
[[nodiscard]] std::string queryLine(Query query, int channel, std::string_view end);
inline constexpr int kChannelMost = 99;

/// What came back for one value.
struct Reading {
  enum class Kind : std::uint8_t {
    value,
    overload,      ///< 9.9E37 in size, INF, OL
    not_a_number,  ///< 9.91E37, NAN
    nonsense,      ///< no number, another unit, several numbers
  };
  Kind kind = Kind::nonsense;
  double value = 0;  ///< in V or A
};
/// `unit`: "V" or "A". Takes a unit behind the number (IEEE 488.2: M is milli, U micro, K kilo).
[[nodiscard]] Reading parseValue(std::string_view line, char unit);

/// The device's own words of itself, printable, at most kIdentityMost characters; empty if the line cannot be
/// an identity: no letter in it, or the form of an error.
[[nodiscard]] std::string parseIdentity(std::string_view line);
/// IEEE 488.2 clause 10.14 allows 72; some devices say more.
inline constexpr std::size_t kIdentityMost = 160;

/// `-113,"Undefined header"`; `0,"No error"`.
struct DeviceError {
  int code = 0;
  std::string text;
};
[[nodiscard]] std::optional<DeviceError> parseError(std::string_view line);

/// A status register, 0 to 65535.
[[nodiscard]] std::optional<std::uint16_t> parseRegister(std::string_view line);
/// QUEStionable condition, bit 0: VOLTage. A supply whose volts are not held limits its current.
inline constexpr std::uint16_t kVoltageQuestionable = 1;

/// Cuts a stream of bytes into lines at LF, CR or both; empty lines are passed over.
class Lines {
 public:
  struct Line {
    std::string text;
    Ns first_ns = kNoTime;  ///< when its first byte was read
    bool sound = true;      ///< printable and not too long; else `text` is what can be shown of it
  };
  /// `use` may call clear().
  void take(Ns t_ns, ByteView bytes, const std::function<void(const Line&)>& use);
  /// Forgets half a line.
  void clear() { line_ = {}; }
  [[nodiscard]] bool halfLine() const { return !line_.text.empty() || !line_.sound; }
  /// Bytes kept of it, at most kLineMost.
  [[nodiscard]] std::size_t pending() const { return line_.text.size(); }

  static constexpr std::size_t kLineMost = 256;

 private:
  Line line_;
};

}  // namespace pin16::supply
