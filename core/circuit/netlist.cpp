// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {

Netlist::Netlist(std::string reference) { made_.nodes_.push_back(std::move(reference)); }

std::uint32_t Netlist::nodeIndex(std::string_view name) {
  if (const auto n = made_.node(name)) return n->index;
  made_.nodes_.emplace_back(name);
  return static_cast<std::uint32_t>(made_.nodes_.size() - 1);
}

void Netlist::add(std::string name, Element kind, std::string_view a, std::string_view b,
                  std::vector<double> params, Law law) {
  if (mistake_.empty() && made_.branch(name)) mistake_ = fmt::format("two elements are named {}", name);
  const auto first = static_cast<std::uint32_t>(made_.defaults_.size());
  made_.defaults_.insert(made_.defaults_.end(), params.begin(), params.end());
  const std::uint32_t node_a = nodeIndex(a);
  made_.parts_.push_back({std::move(name), kind, law, node_a, nodeIndex(b), first});
}

void Netlist::resistor(std::string name, std::string_view a, std::string_view b, double ohm) {
  add(std::move(name), Element::resistor, a, b, {ohm});
}
void Netlist::source(std::string name, std::string_view plus, std::string_view minus, double emf_V,
                     double series_ohm) {
  add(std::move(name), Element::source, plus, minus, {emf_V, series_ohm});
}
void Netlist::load(std::string name, std::string_view from, std::string_view to, double ampere) {
  add(std::move(name), Element::load, from, to, {ampere});
}
void Netlist::lead(std::string name, std::string_view a, std::string_view b, double mm2, double length_m,
                   double celsius) {
  add(std::move(name), Element::lead, a, b, {mm2, length_m, celsius});
}
void Netlist::fuse(std::string name, std::string_view a, std::string_view b, double rating_A, bool open,
                   double slow) {
  for (const FuseRow& row : fuseTable())
    if (row.rating_A == rating_A)
      return add(std::move(name), Element::fuse, a, b, {row.cold_ohm, open ? 1.0 : 0.0, rating_A, slow});
  if (mistake_.empty()) mistake_ = fmt::format("no blade fuse of {} A is known for {}", rating_A, name);
}
void Netlist::toggle(std::string name, std::string_view a, std::string_view b, bool closed, double ohm) {
  add(std::move(name), Element::toggle, a, b, {ohm, closed ? 0.0 : 1.0});
}
void Netlist::battery(std::string name, std::string_view plus, std::string_view minus, const Battery& b) {
  add(std::move(name), Element::battery, plus, minus,
      {b.rest_V[0], b.rest_V[1], b.rest_V[2], b.rest_V[3], b.rest_V[4], b.series_ohm, b.capacity_Ah, b.charge,
       b.exponent});
}
void Netlist::supply(std::string name, std::string_view plus, std::string_view minus, const Supply& s) {
  add(std::move(name), Element::supply, plus, minus, {s.emf_V, s.series_ohm, s.limit_A, s.short_A, s.trip_s});
}
void Netlist::diode(std::string name, std::string_view anode, std::string_view cathode, const Diode& d) {
  add(std::move(name), Element::diode, anode, cathode, {d.saturation_A, d.ideality});
}
void Netlist::capacitor(std::string name, std::string_view a, std::string_view b, double farad,
                        double volts) {
  add(std::move(name), Element::capacitor, a, b, {farad, volts});
}
void Netlist::consumer(std::string name, std::string_view plus, std::string_view minus, const Consumer& c) {
  add(std::move(name), Element::consumer, plus, minus,
      {c.amount, c.fold_V, c.start_V, c.stop_V, c.boot_amount, c.boot_s, c.off_ohm}, c.law);
}
void Netlist::module(const std::string& name, std::string_view plus, std::string_view minus,
                     const ModuleLoad& m) {
  constexpr double kStatedAt_V = 12;
  consumer(name, plus, minus,
           {.law = Law::power,
            .amount = m.run_A * kStatedAt_V,
            .fold_V = m.fold_V,
            .start_V = m.start_V,
            .stop_V = m.stop_V,
            .boot_amount = m.boot_A * kStatedAt_V,
            .boot_s = m.boot_s,
            .off_ohm = m.sleep_A > 0 ? kStatedAt_V / m.sleep_A : kOpen_ohm});
  if (m.capacitance_F == 0) return;
  const std::string inner = name + ".capacitor";
  resistor(name + ".esr", plus, inner, m.capacitor_ohm);
  capacitor(inner, inner, minus, m.capacitance_F);
}
void Netlist::transceiver(const std::string& name, std::string_view high, std::string_view low,
                          std::string_view ground, const Transceiver& t) {
  const std::string middle = name + ".middle";
  resistor(name + ".input_high", high, middle, t.input_ohm);
  resistor(name + ".input_low", low, middle, t.input_ohm);
  source(name + ".bias", middle, ground, 0, t.bias_off_ohm);
  source(name + ".drive_high", high, ground, t.driver_V, kOpen_ohm);
  source(name + ".drive_low", low, ground, 0, kOpen_ohm);
}
void Netlist::watch(std::string name, std::string_view a, std::string_view b, double volts) {
  add(std::move(name), Element::watch, a, b, {volts});
}

Result<Circuit> Netlist::compile() const {
  if (!mistake_.empty()) return Error{ErrorKind::input, mistake_, "circuit", ""};
  if (Status s = made_.check(made_.defaults_); !s) return s.error();
  return made_;
}

Status drive(const Circuit& circuit, Params& params, std::string_view transceiver, Wire wire,
             const Transceiver& t) {
  const auto at = [&](const char* part, const char* parameter) {
    return circuit.param(fmt::format("{}.{}", transceiver, part), parameter);
  };
  const auto bias_V = at("bias", "emf_V"), bias_ohm = at("bias", "series_ohm");
  const auto high = at("drive_high", "series_ohm"), low = at("drive_low", "series_ohm");
  if (!bias_V || !bias_ohm || !high || !low || params.size() != circuit.defaults().size())
    return Error{ErrorKind::input, fmt::format("there is no transceiver {}", transceiver), "circuit", ""};
  params[*bias_V] = wire == Wire::off ? 0 : t.bias_V;
  params[*bias_ohm] = wire == Wire::off ? t.bias_off_ohm : t.bias_ohm;
  params[*high] = params[*low] = wire == Wire::dominant ? t.driver_ohm : kOpen_ohm;
  return {};
}

}  // namespace pin16::circuit
