// SPDX-License-Identifier: Apache-2.0
#pragma once
// A circuit with its workspace, parameters and state, by name.
#include <stdexcept>

#include "core/circuit/circuit.hpp"

namespace pin16::circuit {

inline Circuit compiled(const Netlist& n) {
  auto c = n.compile();
  if (!c) throw std::runtime_error(c.error().text());
  return *std::move(c);
}

struct Bench {
  explicit Bench(const Netlist& n)
      : circuit(compiled(n)),
        workspace(circuit),
        params(circuit.defaults()),
        state(circuit.initial(params)) {}
  Outcome operate(Start start) {
    const auto outcome = circuit.operate(params, start, state, workspace);
    if (!outcome) throw std::runtime_error(outcome.error().text());
    return *outcome;
  }
  const Analysis& analyse() {
    const Status s = circuit.analyse(params, workspace);
    if (!s) throw std::runtime_error(s.error().text());
    return workspace.analysis();
  }
  void set(const char* element, const char* parameter, double value) {
    params[circuit.param(element, parameter).value()] = value;
  }
  [[nodiscard]] double volts(const char* node) const {
    return workspace.solution().volts(circuit.node(node).value());
  }
  [[nodiscard]] double ampere(const char* element) const {
    return workspace.solution().ampere(circuit.branch(element).value());
  }
  void step(double dt_s) {
    const Status s = circuit.step(params, dt_s, state, workspace);
    if (!s) throw std::runtime_error(s.error().text());
  }
  [[nodiscard]] Mode mode(const char* element) const { return state[circuit.branch(element).value()].mode; }

  Circuit circuit;
  Workspace workspace;
  Params params;
  State state;
};

}  // namespace pin16::circuit
