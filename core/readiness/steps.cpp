// SPDX-License-Identifier: Apache-2.0
#include "core/readiness/steps.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <stdexcept>

#include "core/protocol/target.hpp"

namespace pin16::readiness {
namespace {

using event::PowerState;
using job::Arrangement;

bool inList(std::string_view word, std::initializer_list<std::string_view> list) {
  return std::find(list.begin(), list.end(), word) != list.end();
}

/// By how much the bound is met; negative: missed.
double margin(double value, const Bound& b) {
  return b.kind == Figure::Kind::at_least ? value - b.limit : b.limit - value;
}

}  // namespace

bool isNeeded(const job::Job& job, std::string_view step) {
  if (inList(step, {"source", "answer", "timing"})) return true;
  const bool from_outside = job.arrangement != Arrangement::own_battery;
  if (inList(step, {"feed", "ground", "interface"})) return from_outside;
  if (step == "connector") return !from_outside;
  if (step == "levels") return job.arrangement == Arrangement::removed;
  return job.arrangement != Arrangement::removed && job.access != job::Access::gateway;  // traffic
}

const limits::Limit& Case::limit(std::string_view name) const {
  if (!is24() || !name.ends_with("_V")) return job.limits.get(name);
  const std::string for_24 = std::string(name.substr(0, name.size() - 2)) + "_24_V";
  const auto& all = job.limits.all();
  const auto it =
      std::find_if(all.begin(), all.end(), [&](const limits::Limit& l) { return l.name == for_24; });
  return it == all.end() ? job.limits.get(name) : *it;
}

bool Case::poweredOn() const {
  if (evidence.fed()) return true;
  const PowerState p = evidence.power();
  if (p != PowerState::unknown) return p == PowerState::on;
  return is(Arrangement::own_battery) || evidence.measuredOn();
}

event::Medium mediumOf(const Evidence& evidence) {
  const auto links = evidence.buses();
  return links.empty() ? event::Medium::can : links.front()->state.medium;
}

bool knowsModule(const job::Job& job, event::Medium medium) {
  return medium == event::Medium::can ? job.module.address.has_value() : job.module.line_address.has_value();
}

bool Case::isOwn(const ExchangeFacts& e) const {
  if (e.medium != event::Medium::can) {
    const auto& own = job.module.line_address;
    return own && (e.answer_id == *own || (!e.functional && e.request_id == *own));
  }
  if (!job.module.address || e.extended != job.module.address->extended) return false;
  const job::Address& a = *job.module.address;
  return e.answer_id == a.answer_id || (!e.functional && e.request_id == a.request_id);
}

bool Case::moduleAnswered() const {
  return std::any_of(evidence.exchanges().begin(), evidence.exchanges().end(), [&](const ExchangeFacts& e) {
    return isOwn(e) && (e.ended == event::Ended::answered || e.ended == event::Ended::negative);
  });
}

bool Case::reachedNobody(const ExchangeFacts& e) const {
  if (!e.ours || e.confirmed || e.ended != event::Ended::silent || e.pending > 0) return false;
  if (e.link >= evidence.links().size()) return false;
  const LinkFacts& l = evidence.links()[e.link];
  return l.frames == 0 && l.error_frames + l.unacknowledged > 0;
}

Bound atLeast(const limits::Limit& l, const char* code) {
  return {Figure::Kind::at_least, l.value, l.source, l.confidence, code};
}

Bound atMost(const limits::Limit& l, const char* code) {
  return {Figure::Kind::at_most, l.value, l.source, l.confidence, code};
}

void StepMaker::seen() {
  if (step_.verdict == Verdict::not_measured) step_.verdict = Verdict::sound;
}

Verdict StepMaker::judge(const Value& v, const std::vector<Bound>& bounds, Verdict most) {
  seen();
  const auto worst = std::min_element(bounds.begin(), bounds.end(), [&](const Bound& a, const Bound& b) {
    return margin(v.value, a) < margin(v.value, b);
  });
  if (worst->confidence == "memory") throw std::logic_error("a limit from memory never decides");
  const double room = margin(v.value, *worst);
  const double u = std::max(v.uncertainty, 0.0);
  // Rounding of decimal figures must not decide: 12.6 - 11.6 is not quite 1.
  const double tiny = 1e-9 * std::max(1.0, std::abs(v.value));
  const Verdict verdict = std::min(most, room < -u - tiny                  ? Verdict::faulty
                                         : room < u - tiny || room < -tiny ? Verdict::marginal
                                                                           : Verdict::sound);
  Figure f;
  f.what = v.what, f.value = v.value, f.unit = v.unit, f.uncertainty = v.uncertainty;
  f.kind = worst->kind, f.limit = worst->limit, f.limit_source = worst->source;
  f.ok = verdict == Verdict::sound;
  step_.figures.push_back(f);
  if (verdict != Verdict::sound) worsen(verdict, worst->code);
  return verdict;
}

void StepMaker::show(const Value& v) {
  Figure f;
  f.what = v.what, f.value = v.value, f.unit = v.unit, f.uncertainty = v.uncertainty;
  step_.figures.push_back(f);
}

bool StepMaker::hint(const Value& v, const limits::Limit& l) {
  show(v);
  Figure& f = step_.figures.back();
  f.kind = Figure::Kind::at_most, f.limit = l.value, f.limit_source = l.source, f.hint = true;
  return v.value > l.value;
}

void StepMaker::worsen(Verdict v, const char* code) {
  (void)findCode(code);  // a code that docs do not list is a fault of the program
  seen();
  if (v <= step_.verdict) return;
  step_.verdict = v;
  step_.code = code;
}

void StepMaker::notAsked() { step_.verdict = Verdict::not_asked; }

void StepMaker::soften() {
  if (step_.verdict == Verdict::faulty) step_.verdict = Verdict::marginal;
}

void StepMaker::say(const std::string& sentence) {
  if (sentence.empty()) return;
  if (!step_.text.empty()) step_.text += ' ';
  step_.text += sentence;
}

Step StepMaker::done() { return std::move(step_); }

std::string counted(std::uint64_t n, std::string_view what) {
  return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s");
}

std::string amount(double value, std::string_view unit) {
  if (unit == "ohm" && value >= 1e8) return "open";
  if (unit == "ohm") return fmt::format("{:.{}f} ohm", value, value < 10 ? 2 : value < 1000 ? 1 : 0);
  if (unit == "V" || unit == "A") {
    if (std::abs(value) < 0.0005) value = 0;  // "-0.000" is no figure
    return fmt::format("{:.{}f} {}", value, std::abs(value) < 1 ? 3 : 2, unit);
  }
  if (unit == "ms") return fmt::format("{:.1f} ms", value);
  if (unit == "s") return fmt::format("{:.{}f} s", value, std::abs(value) < 100 ? 1 : 0);
  if (unit == "V/min") return fmt::format("{:.2f} V/min", value);
  if (unit == "%") return fmt::format("{:.1f} %", value);
  return unit.empty() ? fmt::format("{:g}", value) : fmt::format("{:g} {}", value, unit);
}

Value valueOf(const PointFacts& f, double value) {
  std::string what = f.point;
  if (!f.condition.empty())
    what += ", " + f.condition;
  else if (f.power == PowerState::on)
    what += ", power on";
  else if (f.power == PowerState::source)
    what += ", source only";
  return {std::move(what), value, f.uncertainty, f.unit};
}

bool isOn(const PointFacts& f) { return f.power == PowerState::on; }

PointFacts since(const PointFacts& f, const Trace* trace, Ns from_ns) {
  PointFacts out = f;
  if (trace == nullptr || f.typed) return out;
  out.count = 0;
  out.sum = 0;
  for (const Trace::At& s : trace->samples) {
    if (s.t_ns < from_ns) continue;
    out.min = out.count == 0 ? s.value : std::min(out.min, s.value);
    out.max = out.count == 0 ? s.value : std::max(out.max, s.value);
    out.sum += s.value;
    ++out.count;
  }
  return out.count == 0 ? f : out;
}

bool askedInVain(const Case& c) {
  const auto& all = c.evidence.exchanges();
  return !c.moduleAnswered() && std::any_of(all.begin(), all.end(), [&](const ExchangeFacts& e) {
    return e.ours && !e.functional && c.isOwn(e) && e.ended == event::Ended::silent && e.came_after_ms < 0 &&
           !c.reachedNobody(e);
  });
}

std::vector<std::string> othersThatAnswered(const Case& c) {
  std::set<std::string> others;
  for (const ExchangeFacts& e : c.evidence.exchanges())
    if (!c.isOwn(e) && (e.ended == event::Ended::answered || e.ended == event::Ended::negative))
      others.insert(protocol::idText(e.answer_id, e.extended, e.medium != event::Medium::can));
  return {others.begin(), others.end()};
}

std::vector<const PointFacts*> relevant(const Evidence& e, std::string_view point,
                                        const std::function<bool(const PointFacts&)>& wanted) {
  std::vector<const PointFacts*> out;
  const PointFacts* newest = e.newest(point, wanted);
  if (newest == nullptr) return out;
  out.push_back(newest);
  if (newest->loaded()) return out;
  const PointFacts* loaded =
      e.newest(point, [&](const PointFacts& f) { return f.loaded() && (!wanted || wanted(f)); });
  if (loaded != nullptr) out.push_back(loaded);
  return out;
}

}  // namespace pin16::readiness
