// SPDX-License-Identifier: Apache-2.0
#include "core/bench/world.hpp"

#include <linux/can/error.h>

#include <algorithm>

#include "core/bench/bench.hpp"
#include "core/can/wire_bits.hpp"

namespace pin16::bench {
namespace {

using event::CanFrame;
using event::PowerState;

constexpr Ns kSampleEvery_ns = 100 * kNsPerMs;
constexpr Ns kSourceAfter_ns = 10 * kNsPerMs;   // off readings first
constexpr Ns kReportEvery_ns = 100 * kNsPerMs;  // of an error that repeats without end
constexpr Ns kRest_ns = 50 * kNsPerMs;          // a module that lost its supply tries again after this
constexpr int kErrorStep = 8, kWarningAt = 96, kPassiveAt = 128, kBusOffAt = 256;
constexpr double kDominantShare = 0.5;  // of a frame's bits; the other half is recessive

Ns toNs(double ms) { return static_cast<Ns>(ms * static_cast<double>(kNsPerMs)); }

CanFrame errorFrame(std::uint32_t classes, int tx_errors) {
  CanFrame f;
  f.word = event::kErrorFlag | classes | CAN_ERR_CNT;
  f.length = CAN_ERR_DLC;
  f.data[6] = static_cast<std::uint8_t>(std::min(tx_errors, 255));
  return f;
}

const char* controllerText(int tx_errors) {
  if (tx_errors >= kBusOffAt) return "bus-off";
  if (tx_errors >= kPassiveAt) return "error-passive";
  return tx_errors >= kWarningAt ? "error-warning" : "error-active";
}

}  // namespace

World::World(const Scenario& scenario, Observer& observer, Network network)
    : scenario_(scenario), observer_(observer), network_(std::move(network)), random_(scenario.seed) {}

Result<std::unique_ptr<World>> World::make(const Scenario& scenario, Observer& observer, Ns start_ns) {
  auto network = Network::make(scenario);
  if (!network) return network.error();
  std::unique_ptr<World> w(new World(scenario, observer, *std::move(network)));
  const std::size_t count = scenario.modules.size();
  w->condition_.modules.assign(count, ModuleState::asleep);
  w->condition_.dominant_share.assign(count, 0);
  w->start_of_.assign(count, 0);
  w->rest_until_.assign(count, start_ns);
  for (std::size_t i = 0; i < count; ++i) w->servers_.emplace_back(scenario.modules[i], scenario.seed + i);
  for (const Meter& m : scenario.meters) {
    auto gauge = Network::make(scenario, &m);
    if (!gauge) return gauge.error();
    w->gauges_.push_back({m, *std::move(gauge)});
  }
  World* p = w.get();
  w->at(start_ns, [p](Ns t) { p->setPower(t, PowerState::off, "source not connected"); });
  w->at(start_ns + kSourceAfter_ns,
        [p](Ns t) { p->setPower(t, PowerState::source, "source connected, module not fed"); });
  w->at(start_ns + kSourceAfter_ns + toNs(scenario.power_on_s * 1e3), [p](Ns t) {
    p->setPower(t, PowerState::on, "module fed");
    p->repeatSamples(t);
  });
  return w;
}

void World::advance(Ns now_ns) {
  while (!due_.empty() && due_.begin()->first <= now_ns) {
    const auto node = due_.extract(due_.begin());
    node.mapped()(node.key());
  }
}

// ---- supply

void World::setPower(Ns t_ns, PowerState state, const char* text) {
  condition_.power = state;
  observer_.onPower(t_ns, {state, "measured", text});
  changed(t_ns);
  settle(t_ns);
  if (state != PowerState::on) sampleAll(t_ns);
}

/// Starts and stops modules until their states fit the volts that these states leave them.
void World::settle(Ns t_ns) {
  bool again = true;
  while (again) {
    again = false;
    for (std::size_t i = 0; i < condition_.modules.size(); ++i) {
      const Module& m = scenario_.modules[i];
      const double supply_V = *network_.moduleVolts(condition_, i);
      ModuleState& state = condition_.modules[i];
      if (state == ModuleState::asleep && supply_V >= m.start_V && t_ns >= rest_until_[i]) {
        state = ModuleState::booting;
        start_of_[i] = ++start_count_;
        if (i == 0) ++starts_;
        at(t_ns + toNs(m.boot_s * 1e3), [this, i, start = start_count_](Ns t) {
          if (start_of_[i] == start) bootEnds(t, i);
        });
      } else if (state != ModuleState::asleep && supply_V < m.stop_V) {
        state = ModuleState::asleep;
        start_of_[i] = 0;
        servers_[i] = Server(m, scenario_.seed + i);
        std::erase_if(waiting_, [i](const Transmission& w) { return w.node == i; });
        rest_until_[i] = t_ns + kRest_ns;
        at(rest_until_[i], [this](Ns t) { settle(t); });
      } else {
        continue;
      }
      again = true;
      changed(t_ns);
    }
  }
}

void World::bootEnds(Ns t_ns, std::size_t module) {
  condition_.modules[module] = ModuleState::running;
  changed(t_ns);
  settle(t_ns);
  if (condition_.modules[module] == ModuleState::running) startPeriodic(t_ns, module);
}

/// The condition is another one: who is alive, who hears whom, how much of the time the bus is dominant.
void World::changed(Ns t_ns) {
  ++revision_;
  const bool was_alive = condition_.interface_alive;
  condition_.interface_alive =
      !scenario_.interface.dead && *network_.interfaceVolts(condition_) >= scenario_.interface.supply_min_V;
  const std::vector<std::size_t> all = nodes();
  heard_.assign(all.size() * all.size(), Heard::nothing);
  for (std::size_t s = 0; s < all.size(); ++s)
    for (std::size_t r = 0; r < all.size(); ++r)
      if (alive(all[s]) && alive(all[r]))
        heard_[s * all.size() + r] = *network_.hears(condition_, all[s], all[r]);
  for (std::size_t i = 0; i < scenario_.modules.size(); ++i) {
    double& share = condition_.dominant_share[i];
    share = 0;
    if (!alive(i) || scenario_.modules[i].mute || !acknowledged(i)) continue;
    for (const Periodic& p : scenario_.modules[i].periodic) {
      const CanFrame f = CanFrame::make(p.id, p.extended, Bytes(p.length, 0));
      share += kDominantShare * can::wireBits(f).nominal / (scenario_.bus.bitrate * p.every_ms / 1e3);
    }
  }
  if (condition_.interface_alive == was_alive && (interface_told_ || condition_.power == PowerState::off))
    return;
  interface_told_ = true;
  if (condition_.interface_alive) {
    countErrors(t_ns, 0);
    observer_.onController(t_ns, controllerText(0), 0);
    startBus(t_ns);
  } else {
    observer_.onController(t_ns, "unknown", -1);
  }
}

// ---- meters

void World::sampleAll(Ns t_ns) {
  for (Gauge& g : gauges_) {
    if (std::find(g.meter.when.begin(), g.meter.when.end(), condition_.power) == g.meter.when.end()) continue;
    if (g.revision != revision_) {
      Condition seen = condition_;
      seen.interface_plugged = !g.meter.interface_unplugged;
      g.value = *g.network.read(seen);
      g.revision = revision_;
    }
    observer_.onSample(t_ns, measured(g.meter, g.value, condition_.power, random_));
  }
}

void World::repeatSamples(Ns t_ns) {
  sampleAll(t_ns);
  at(t_ns + kSampleEvery_ns, [this](Ns t) { repeatSamples(t); });
}

// ---- bus

std::vector<std::size_t> World::nodes() const {
  std::vector<std::size_t> out;
  for (std::size_t i = 0; i < scenario_.modules.size(); ++i) out.push_back(i);
  out.push_back(kInterface);
  return out;
}

bool World::alive(std::size_t node) const {
  if (node == kInterface) return condition_.interface_alive;
  return condition_.modules[node] == ModuleState::running && !scenario_.modules[node].transceiver_dead;
}

bool World::active(std::size_t node) const {
  return alive(node) && !(node == kInterface && (scenario_.interface.listen_only || tx_errors_ >= kBusOffAt));
}

Heard World::heard(std::size_t sender, std::size_t receiver) const {
  const std::size_t count = scenario_.modules.size() + 1;
  return heard_[std::min(sender, count - 1) * count + std::min(receiver, count - 1)];
}

/// The frame passes: the sender reads its own bits back, somebody acknowledges, and nobody who takes part
/// destroys it because it is garbled there.
bool World::acknowledged(std::size_t sender) const {
  if (heard(sender, sender) != Heard::clear) return false;
  bool any = false;
  for (const std::size_t r : nodes()) {
    if (r == sender || !active(r)) continue;
    if (heard(sender, r) == Heard::garbled) return false;
    any = any || heard(sender, r) == Heard::clear;
  }
  return any;
}

Status World::send(Ns now_ns, const CanFrame& frame) {
  if (!condition_.interface_alive)
    return Error{ErrorKind::link, "the interface has no supply", scenario_.file, "look at its lamp"};
  if (scenario_.interface.listen_only)
    return Error{ErrorKind::link, "the interface is listen-only", scenario_.file,
                 "leaving listen-only makes it acknowledge"};
  if (tx_errors_ >= kBusOffAt)
    return Error{ErrorKind::link, "the controller is bus-off", scenario_.file,
                 "mend the bus, then start again"};
  const auto ours = std::count_if(waiting_.begin(), waiting_.end(),
                                  [](const Transmission& w) { return w.node == kInterface; });
  if (static_cast<std::size_t>(ours) >= kQueueMax)
    return Error{ErrorKind::link, "transmit queue full: no frame leaves the interface", scenario_.file,
                 "nobody acknowledges"};
  enqueue(now_ns, {kInterface, frame, false, now_ns});
  return {};
}

void World::enqueue(Ns t_ns, const Transmission& transmission) {
  waiting_.push_back(transmission);
  // By the queue, not at once: the caller may be in the middle of a delivery.
  at(t_ns, [this](Ns t) { startBus(t); });
}

void World::enqueueAll(Ns t_ns, std::size_t module, const std::vector<Server::Outgoing>& frames) {
  for (const Server::Outgoing& o : frames) enqueue(t_ns, {module, o.frame, o.of_answer, t_ns});
}

void World::startBus(Ns t_ns) {
  if (busy_) return;
  // Arbitration: of a node's frames the oldest, of all nodes' the lowest identifier.
  auto best = waiting_.end();
  std::vector<std::size_t> seen;
  for (auto w = waiting_.begin(); w != waiting_.end(); ++w) {
    if (std::find(seen.begin(), seen.end(), w->node) != seen.end() && w->node == kInterface) continue;
    seen.push_back(w->node);
    if (!alive(w->node) || w->not_before_ns > t_ns) continue;
    if (best == waiting_.end() || w->frame.id() < best->frame.id()) best = w;
  }
  if (best == waiting_.end()) return;
  const Transmission transmission = *best;
  waiting_.erase(best);
  busy_ = true;
  at(t_ns + can::wireNs(transmission.frame, scenario_.bus.bitrate, 0),
     [this, transmission](Ns t) { endBus(t, transmission); });
}

void World::endBus(Ns t_ns, const Transmission& transmission) {
  busy_ = false;
  if (alive(transmission.node)) {
    if (acknowledged(transmission.node)) {
      deliver(t_ns, transmission);
    } else if (transmission.node == kInterface) {
      const auto all = nodes();
      const bool disturbed = std::any_of(all.begin(), all.end(), [this](std::size_t r) {
        return r != kInterface && active(r) && heard(kInterface, r) == Heard::garbled;
      });
      ownError(t_ns, transmission, disturbed || heard(kInterface, kInterface) != Heard::clear);
    } else {
      foreignError(t_ns, transmission);
    }
  }
  startBus(t_ns);
}

void World::deliver(Ns t_ns, const Transmission& transmission) {
  const std::size_t sender = transmission.node;
  if (sender == kInterface) {
    countErrors(t_ns, tx_errors_ > 0 ? tx_errors_ - 1 : 0);
    observer_.onFrame(t_ns, transmission.frame, true);
  } else if (alive(kInterface) && heard(sender, kInterface) == Heard::clear) {
    observer_.onFrame(t_ns, transmission.frame, false);
  }
  if (sender != kInterface && transmission.of_answer) {
    enqueueAll(t_ns, sender, servers_[sender].onConfirmed(t_ns));
    tickServer(t_ns, sender);
  }
  for (std::size_t i = 0; i < scenario_.modules.size(); ++i) {
    if (i == sender || !alive(i) || scenario_.modules[i].mute || heard(sender, i) != Heard::clear) continue;
    enqueueAll(t_ns, i, servers_[i].onFrame(t_ns, transmission.frame));
    tickServer(t_ns, i);
  }
}

/// Lets the server act when its next deadline comes. Early or repeated calls do no harm.
void World::tickServer(Ns t_ns, std::size_t module) {
  const Ns next = servers_[module].nextDeadline();
  if (next == kNoTime) return;
  at(std::max(next, t_ns), [this, module, start = start_of_[module]](Ns t) {
    if (start_of_[module] != start || servers_[module].nextDeadline() == kNoTime) return;
    if (servers_[module].nextDeadline() > t) return;  // another tick is on its way
    enqueueAll(t, module, servers_[module].onTime(t));
    tickServer(t, module);
  });
}

void World::ownError(Ns t_ns, Transmission transmission, bool bit_error) {
  // An error-passive sender that misses only the acknowledge does not count further.
  const bool counts = bit_error || tx_errors_ < kPassiveAt;
  const bool repeated_for_long = tx_errors_ >= kPassiveAt;
  const int tx_errors = counts ? tx_errors_ + kErrorStep : tx_errors_;
  CanFrame f = errorFrame(bit_error ? CAN_ERR_PROT | CAN_ERR_BUSERROR : CAN_ERR_ACK, tx_errors);
  if (bit_error) f.data[2] = CAN_ERR_PROT_BIT | CAN_ERR_PROT_TX;
  observer_.onFrame(t_ns, f, false);
  countErrors(t_ns, tx_errors);
  if (tx_errors_ >= kBusOffAt) {
    std::erase_if(waiting_, [](const Transmission& w) { return w.node == kInterface; });
    return;
  }
  transmission.not_before_ns = repeated_for_long && !bit_error ? t_ns + kReportEvery_ns : t_ns;
  at(transmission.not_before_ns, [this](Ns t) { startBus(t); });
  waiting_.insert(waiting_.begin(), transmission);
}

/// A module's frame did not pass: it tries again, and the interface sees what it can of it.
void World::foreignError(Ns t_ns, const Transmission& transmission) {
  Transmission retry = transmission;
  retry.not_before_ns = t_ns + kReportEvery_ns;
  at(retry.not_before_ns, [this](Ns t) { startBus(t); });
  waiting_.insert(waiting_.begin(), retry);
  if (!alive(kInterface) || heard(transmission.node, kInterface) == Heard::nothing) return;
  CanFrame f = errorFrame(CAN_ERR_PROT | CAN_ERR_BUSERROR, tx_errors_);
  if (heard(transmission.node, kInterface) == Heard::garbled)
    f.data[2] = CAN_ERR_PROT_STUFF;
  else
    f.data[3] = CAN_ERR_PROT_LOC_ACK;
  observer_.onFrame(t_ns, f, false);
}

void World::countErrors(Ns t_ns, int tx_errors) {
  const char* before = controllerText(tx_errors_);
  tx_errors_ = tx_errors;
  const char* now = controllerText(tx_errors_);
  if (std::string_view(before) == now) return;
  CanFrame f = errorFrame(tx_errors_ >= kBusOffAt ? CAN_ERR_BUSOFF : CAN_ERR_CRTL, tx_errors_);
  if (tx_errors_ < kBusOffAt)
    f.data[1] = tx_errors_ >= kPassiveAt   ? CAN_ERR_CRTL_TX_PASSIVE
                : tx_errors_ >= kWarningAt ? CAN_ERR_CRTL_TX_WARNING
                                           : CAN_ERR_CRTL_ACTIVE;
  observer_.onFrame(t_ns, f, false);
  observer_.onController(t_ns, now, tx_errors_);
}

void World::startPeriodic(Ns t_ns, std::size_t module) {
  if (scenario_.modules[module].mute) return;
  for (std::size_t p = 0; p < scenario_.modules[module].periodic.size(); ++p) {
    const double phase_ms = random_.share() * scenario_.modules[module].periodic[p].every_ms;
    at(t_ns + toNs(phase_ms),
       [this, module, p, start = start_of_[module]](Ns t) { repeatPeriodic(t, module, p, start); });
  }
}

void World::repeatPeriodic(Ns t_ns, std::size_t module, std::size_t index, std::uint64_t start) {
  if (start_of_[module] != start) return;
  const Periodic& p = scenario_.modules[module].periodic[index];
  const std::uint32_t id = p.id;
  // One mailbox an identifier: what could not leave is overwritten, not queued up.
  std::erase_if(waiting_, [&](const Transmission& w) {
    return w.node == module && !w.of_answer && w.frame.id() == id && w.not_before_ns <= t_ns;
  });
  const bool stuck = std::any_of(waiting_.begin(), waiting_.end(), [&](const Transmission& w) {
    return w.node == module && w.frame.id() == id;
  });
  if (!stuck) {
    Bytes data(p.length, 0);
    const auto count = static_cast<std::uint64_t>(t_ns / toNs(p.every_ms));
    for (std::size_t b = 0; b < data.size() && b < 2; ++b)
      data[b] = static_cast<std::uint8_t>(count >> (8 * b));  // a running counter, as such frames carry
    enqueue(t_ns, {module, CanFrame::make(id, p.extended, data), false, t_ns});
  }
  at(t_ns + toNs(p.every_ms),
     [this, module, index, start](Ns t) { repeatPeriodic(t, module, index, start); });
}

}  // namespace pin16::bench
