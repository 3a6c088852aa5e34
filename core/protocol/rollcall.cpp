// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/rollcall.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>
#include <utility>

#include "core/protocol/services.hpp"

namespace pin16::protocol {
namespace {

constexpr std::uint32_t kStep29 = 0x100;  // xx of 18DAxxF1

const Bytes& supportedPids() {
  static const Bytes request = {0x01, 0x00};
  return request;
}
const Bytes& readLineVin() {
  static const Bytes request = {0x09, 0x02};
  return request;
}
const Bytes& readKwpVin() {
  static const Bytes request = {0x1A, 0x90};
  return request;
}
const Bytes& readVin() {
  static const Bytes request = {kReadData, kDidVin >> 8U, kDidVin & 0xFFU};
  return request;
}

bool responded(const event::Exchange& e) { return e.response_ms >= 0; }

/// Middle of a list that is not empty.
double median(std::vector<double> values) {
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : (values[half - 1] + values[half]) / 2;
}

}  // namespace

Result<SweepRange> parseSweep(std::string_view text) {
  const auto wrong = [&](const char* what) {
    return Error{ErrorKind::usage, fmt::format("'{}' is no range of request identifiers: {}", text, what), "",
                 "write it as 7E0-7EF, 600-6FF or 18DA00F1-18DAFFF1"};
  };
  const auto dash = text.find('-');
  if (dash == std::string_view::npos) return wrong("no '-' between the first and the last");
  const std::string_view a = text.substr(0, dash);
  const std::string_view b = text.substr(dash + 1);
  const auto first = toUnsigned(a, 16);
  const auto last = toUnsigned(b, 16);
  if (!first || !last || a.size() != b.size() || (a.size() != 3 && a.size() != 8))
    return wrong("both must have 3 hex digits, or both 8");
  if (*first > *last) return wrong("the first is above the last");
  SweepRange r{static_cast<std::uint32_t>(*first), static_cast<std::uint32_t>(*last), a.size() == 8};
  if (!r.extended && r.last > event::kStandardMask) return wrong("11 bits end at 7FF");
  if (r.extended && (!isPhysical29(r.first) || !isPhysical29(r.last)))
    return wrong("29 bits are swept as 18DAxxF1");
  return r;
}

RollCall::RollCall(RollCallPlan plan, const limits::Limits& limits) : plan_(std::move(plan)) {
  const auto ns = [&](const char* name) { return fromMs(limits.value(name)); };
  spacing_ns_ = ns("timing.sweep_spacing_ms");
  sweep_wait_ns_ = ns("timing.sweep_wait_ms");
  for (const std::uint16_t link : plan_.links) {
    if (plan_.sweep) {
      addSweep(link, *plan_.sweep);
      continue;
    }
    addFunctional(link, /*extended=*/false);
    if (plan_.module) addPhysical(link, *plan_.module, steps_.size());
  }
}

Ask RollCall::makeAsk(std::uint16_t link, const Target& target, Bytes request) const {
  Ask ask;
  ask.link = link;
  ask.request = std::move(request);
  ask.target = target;
  ask.spacing_ns = spacing_ns_;
  return ask;
}

void RollCall::addFunctional(std::uint16_t link, bool extended) {
  for (int i = plan_.functional_repeats; i > 0; --i)
    steps_.push_back(
        {Kind::functional, makeAsk(link, functionalTarget(extended), supportedPids()), i == 1, std::nullopt});
}

void RollCall::addPhysical(std::uint16_t link, const Target& target, std::size_t at,
                           std::optional<std::uint32_t> before) {
  if (find(link, target.request_id, target.extended) != nullptr) return;
  Seen& seen = seen_.emplace_back();
  seen.module.link = link;
  seen.module.request_id = target.request_id;
  seen.module.answer_id =
      target.answer_id.value_or(answerIdOf(target.request_id, target.extended).value_or(0));
  seen.module.extended = target.extended;
  std::vector<Step> repeats;
  for (int i = plan_.repeats; i > 0; --i)
    repeats.push_back({Kind::physical, makeAsk(link, target, readVin()), i == 1, before});
  steps_.insert(steps_.begin() + static_cast<std::ptrdiff_t>(at), repeats.begin(), repeats.end());
}

void RollCall::addSweep(std::uint16_t link, const SweepRange& range) {
  std::optional<std::uint32_t> before;
  for (std::uint32_t id = range.first; id <= range.last; id += range.extended ? kStep29 : 1) {
    if (!range.extended && id == kFunctional11) continue;
    Ask ask = makeAsk(link, {id, std::nullopt, range.extended, false}, readVin());
    ask.wait_ns = sweep_wait_ns_;
    steps_.push_back({Kind::sweep, std::move(ask), true, before});
    before = id;
  }
}

RollCall::Seen* RollCall::find(std::uint16_t link, std::uint32_t request_id, bool extended) {
  const auto it = std::find_if(seen_.begin(), seen_.end(), [&](const Seen& s) {
    return s.module.link == link && s.module.request_id == request_id && s.module.extended == extended;
  });
  return it == seen_.end() ? nullptr : &*it;
}

std::optional<Ask> RollCall::next() {
  if (steps_.empty()) return std::nullopt;
  current_ = std::move(steps_.front());
  steps_.pop_front();
  return current_->ask;
}

void RollCall::take(const AskResult& result) {
  if (!current_) return;
  const Step step = std::move(*current_);
  current_.reset();
  if (!result.state) {
    ++unsent_;
    if (!first_error_) first_error_ = result.state.error();
    return;
  }
  ++sent_;
  if (result.exchanges.empty()) return;
  if (step.kind == Kind::line_vin) return takeLineVin(step, result);
  if (step.kind == Kind::functional && result.exchanges.front().medium != event::Medium::can)
    return takeLine(step, result);
  if (step.kind == Kind::functional) return takeFunctional(step, result);
  const event::Exchange& exchange = result.exchanges.front();
  step.kind == Kind::sweep ? takeSweep(step, exchange) : takePhysical(step, exchange);
}

void RollCall::takeFunctional(const Step& step, const AskResult& result) {
  const std::uint16_t link = step.ask.link;
  const bool extended = step.ask.target.extended;
  for (const event::Exchange& e : result.exchanges) {
    const auto request_id = requestIdOf(e.answer_id, extended);
    if (!responded(e) || !request_id) continue;
    addPhysical(link, {*request_id, e.answer_id, extended, false}, steps_.size());
    Seen& seen = *find(link, *request_id, extended);
    seen.functional_ms.push_back(e.response_ms);
    seen.module.late = seen.module.late || e.late;
  }
  const bool nobody = std::none_of(seen_.begin(), seen_.end(), [&](const Seen& s) {
    return s.module.link == link && !s.functional_ms.empty();
  });
  if (step.last && nobody && !extended) addFunctional(link, /*extended=*/true);
}

/// The job's module, on ISO 14230-4.
void RollCall::addLinePhysical(std::uint16_t link, std::uint8_t address) {
  const Target target{address, std::nullopt, false, false, true};
  if (std::any_of(steps_.begin(), steps_.end(),
                  [&](const Step& s) { return s.ask.link == link && s.ask.target == target; }))
    return;
  if (find(link, address, false) == nullptr) {
    Seen& seen = seen_.emplace_back();
    seen.module.link = link;
    seen.module.request_id = seen.module.answer_id = address;
    seen.module.medium = event::Medium::iso14230_4;
  }
  for (int i = plan_.repeats; i > 0; --i)
    steps_.push_back({Kind::physical, makeAsk(link, target, readKwpVin()), i == 1, std::nullopt});
}

void RollCall::takeLine(const Step& step, const AskResult& result) {
  const std::uint16_t link = step.ask.link;
  // What was planned for CAN cannot be asked here.
  std::erase_if(steps_, [&](const Step& s) {
    return s.ask.link == link && s.kind == Kind::physical && !s.ask.target.line;
  });
  bool new_ones = false;
  for (const event::Exchange& e : result.exchanges) {
    if (!responded(e)) continue;
    Seen* seen = find(link, e.answer_id, false);
    if (seen == nullptr) {
      new_ones = true;
      seen = &seen_.emplace_back();
      seen->module.link = link;
      seen->module.request_id = seen->module.answer_id = e.answer_id;
      seen->module.medium = e.medium;
    }
    seen->functional_ms.push_back(e.response_ms);
    seen->module.late = seen->module.late || e.late;
  }
  const bool planned = std::any_of(steps_.begin(), steps_.end(), [&](const Step& s) {
    return s.ask.link == link && s.kind == Kind::line_vin;
  });
  if (new_ones && !planned)
    steps_.push_back({Kind::line_vin, makeAsk(link, functionalTarget(), readLineVin()), true, std::nullopt});
  if (plan_.line_module && step.last && result.exchanges.front().medium == event::Medium::iso14230_4)
    addLinePhysical(link, *plan_.line_module);
}

void RollCall::takeLineVin(const Step& step, const AskResult& result) {
  for (Seen& seen : seen_)
    if (seen.module.link == step.ask.link && seen.module.medium != event::Medium::can) ++seen.module.asked;
  for (const event::Exchange& e : result.exchanges) {
    Seen* const seen = responded(e) ? find(step.ask.link, e.answer_id, false) : nullptr;
    if (seen == nullptr) continue;
    ++seen->module.answered;
    seen->module.late = seen->module.late || e.late;
    if (auto vin = vinOf(e.request, e.answer)) seen->module.vin = std::move(vin);
  }
}

void RollCall::takePhysical(const Step& step, const event::Exchange& e) {
  Seen& seen = *find(step.ask.link, step.ask.target.request_id, step.ask.target.extended);
  ++seen.module.asked;
  if (responded(e)) {
    ++seen.module.answered;
    seen.module.answer_id = e.answer_id;
    seen.module.late = seen.module.late || e.late;
    seen.physical_ms.push_back(e.response_ms);
    if (auto vin = vinOf(e.request, e.answer)) seen.module.vin = std::move(vin);
  }
  if (step.last && seen.physical_ms.empty() && step.before)
    addPhysical(step.ask.link, {*step.before, std::nullopt, step.ask.target.extended, false}, 0);
}

void RollCall::takeSweep(const Step& step, const event::Exchange& e) {
  if (!responded(e)) return;
  Target target = step.ask.target;
  target.answer_id = e.answer_id;
  addPhysical(step.ask.link, target, 0, step.before);  // at once: the sweep goes on afterwards
}

std::vector<RollCallModule> RollCall::modules() const {
  std::vector<RollCallModule> out;
  for (const Seen& seen : seen_) {
    const std::vector<double>& times = seen.physical_ms.empty() ? seen.functional_ms : seen.physical_ms;
    if (times.empty()) continue;
    RollCallModule m = seen.module;
    m.response_ms_min = *std::min_element(times.begin(), times.end());
    m.response_ms_median = median(times);
    m.response_ms_max = *std::max_element(times.begin(), times.end());
    out.push_back(std::move(m));
  }
  std::sort(out.begin(), out.end(), [](const RollCallModule& a, const RollCallModule& b) {
    return std::tie(a.link, a.extended, a.request_id) < std::tie(b.link, b.extended, b.request_id);
  });
  return out;
}

}  // namespace pin16::protocol
