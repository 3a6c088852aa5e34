// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Plans a roll call: who is there, what VIN do they give, how fast do they answer. Pure planning: it says
/// what to ask next and takes the result; sending, waiting and spacing are the Asker's. No threads inside.
///
/// Without a sweep: functional 01 00 (11 bit; 29 bit if nobody answered, the order of ISO 15765-4), then 22
/// F190 physically to each that answered and to the job's module. With a sweep: 22 F190 to each identifier of
/// the range, one at a time; who answered is asked again with the full wait, because an answer may have come
/// late from the identifier before it: then that one is asked. On line media (K-line, J1850) there is no 22
/// and no second functional address: who answered 01 00 is asked for the VIN by 09 02, all at once, and on
/// ISO 14230-4 the job's module by 1A 90 at its own address. A silent functional request is no proof of
/// absence: many modules answer only their own identifier.

#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"
#include "core/limits/limits.hpp"
#include "core/protocol/asker.hpp"

namespace pin16::protocol {

struct SweepRange {
  std::uint32_t first = 0;  ///< request identifiers, both included
  std::uint32_t last = 0;
  bool extended = false;  ///< 18DAxxF1, in steps of xx
  [[nodiscard]] bool operator==(const SweepRange&) const = default;
};
/// "7E0-7EF", "600-6FF", "18DA00F1-18DAFFF1". ErrorKind::usage says what is wrong.
[[nodiscard]] Result<SweepRange> parseSweep(std::string_view text);

struct RollCallPlan {
  std::vector<std::uint16_t> links;
  std::optional<Target> module;             ///< the job's, where known
  std::optional<std::uint8_t> line_module;  ///< the same, its address on a line medium
  std::optional<SweepRange> sweep;
  int repeats = 3;             ///< requests to each module that are timed
  int functional_repeats = 3;  ///< the same for the functional request
};

struct RollCallModule {
  std::uint16_t link = 0;
  std::uint32_t request_id = 0;
  std::uint32_t answer_id = 0;
  bool extended = false;
  std::optional<std::string> vin;  ///< as given; vin.hpp checks it
  bool late = false;               ///< an answer was later than the limit in force
  std::uint32_t asked = 0;         ///< physically; on a line medium with 09 02
  std::uint32_t answered = 0;      ///< of these, negative answers included
  /// To the physical requests; to the functional ones if it answered only these. At least one.
  double response_ms_min = 0;
  double response_ms_median = 0;
  double response_ms_max = 0;
  event::Medium medium = event::Medium::can;  ///< others: the identifiers are the module's address
};

class RollCall {
 public:
  RollCall(RollCallPlan plan, const limits::Limits& limits);

  /// The next request; nothing when done. take() its result before the next call.
  [[nodiscard]] std::optional<Ask> next();
  void take(const AskResult& result);

  /// Who answered, in the order of link and identifier.
  [[nodiscard]] std::vector<RollCallModule> modules() const;
  [[nodiscard]] std::size_t sent() const { return sent_; }
  /// Requests that did not leave (gate, link), and why the first of them did not.
  [[nodiscard]] std::size_t unsent() const { return unsent_; }
  [[nodiscard]] const std::optional<Error>& firstError() const { return first_error_; }

 private:
  enum class Kind : std::uint8_t { functional, physical, sweep, line_vin };
  struct Step {
    Kind kind = Kind::physical;
    Ask ask;
    bool last = false;                    ///< of its repeats
    std::optional<std::uint32_t> before;  ///< physical, from a sweep: the identifier asked before
  };
  struct Seen {
    RollCallModule module;
    std::vector<double> physical_ms;
    std::vector<double> functional_ms;
  };
  void addFunctional(std::uint16_t link, bool extended);
  /// Unless known already; before step `at`.
  void addPhysical(std::uint16_t link, const Target& target, std::size_t at,
                   std::optional<std::uint32_t> before = std::nullopt);
  void addSweep(std::uint16_t link, const SweepRange& range);
  void takeFunctional(const Step& step, const AskResult& result);
  void addLinePhysical(std::uint16_t link, std::uint8_t address);
  void takeLine(const Step& step, const AskResult& result);
  void takeLineVin(const Step& step, const AskResult& result);
  void takePhysical(const Step& step, const event::Exchange& exchange);
  void takeSweep(const Step& step, const event::Exchange& exchange);
  Seen* find(std::uint16_t link, std::uint32_t request_id, bool extended);
  [[nodiscard]] Ask makeAsk(std::uint16_t link, const Target& target, Bytes request) const;

  RollCallPlan plan_;
  Ns spacing_ns_;
  Ns sweep_wait_ns_;
  std::deque<Step> steps_;
  std::optional<Step> current_;
  std::vector<Seen> seen_;
  std::size_t sent_ = 0;
  std::size_t unsent_ = 0;
  std::optional<Error> first_error_;
};

}  // namespace pin16::protocol
