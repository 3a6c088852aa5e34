// SPDX-License-Identifier: Apache-2.0
#include "core/bench/world.hpp"

#include <linux/can/error.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/bench/bench.hpp"
#include "core/can/wire_bits.hpp"

namespace pin16::bench {
namespace {

using event::CanFrame;
using event::PowerState;

constexpr Ns kSampleEvery_ns = 100 * kNsPerMs;
constexpr Ns kSourceAfter_ns = 10 * kNsPerMs;   // off readings first
constexpr Ns kReportEvery_ns = 100 * kNsPerMs;  // of an error that repeats without end
constexpr Ns kRowEnds_ns = kNsPerSecond;        // errors further apart are not of one row
constexpr Ns kBusOffRest_ns =
    100 * kNsPerMs;  // a module starts its controller again (common practice, no source)
constexpr Ns kWearEvery_ns = 100 * kNsPerMs;
constexpr Ns kStepMin_ns = 50000, kStepMax_ns = 100 * kNsPerMs, kStepRest_ns = 5 * kNsPerMs;
// A step is halved above, doubled below, and the last below the third (own figures).
constexpr double kStepCoarse_V = 0.05, kStepFine_V = 0.005, kStepRest_V = 0.00005;
constexpr double kInstant_s = 1e-7;  // so short that a capacitance keeps its volts
constexpr int kErrorStep = 8, kWarningAt = 96, kPassiveAt = 128, kBusOffAt = 256;
constexpr int kForeignAtOnce = 16;      // the way to error passive
constexpr double kDominantShare = 0.5;  // of a frame's bits; the other half is recessive
constexpr double kStuckShare = 0.8;     // of time, a frame repeated for ever: 100 of 125 bits
// Bits after the acknowledge slot: of a frame its delimiter, end of frame 7 and intermission 3; of an error
// its flag 6, delimiter 8 and intermission 3 (CAN FD specification V1.0, clause 3.2).
constexpr std::uint32_t kAfterSlot = 11, kErrorBits = 17, kErrorFlag = 6, kSuspend = 8, kIntermission = 3;
constexpr std::uint32_t kIntegrate = 11;  // recessive bits until a node takes part
constexpr Ns kWhenever = std::numeric_limits<Ns>::max();

CanFrame errorFrame(std::uint32_t classes, int tx_errors) {
  CanFrame f;
  f.word = event::kErrorFlag | classes | CAN_ERR_CNT;
  f.length = CAN_ERR_DLC;
  f.data[6] = static_cast<std::uint8_t>(std::min(tx_errors, 255));
  return f;
}

/// What a receiver makes of a frame whose bits it cannot follow.
CanFrame garbledFrame(int tx_errors) {
  CanFrame f = errorFrame(CAN_ERR_PROT | CAN_ERR_BUSERROR, tx_errors);
  f.data[2] = CAN_ERR_PROT_STUFF;
  return f;
}

const char* controllerText(int tx_errors) {
  if (tx_errors >= kBusOffAt) return "bus-off";
  if (tx_errors >= kPassiveAt) return "error-passive";
  return tx_errors >= kWarningAt ? "error-warning" : "error-active";
}

}  // namespace

World::World(const Scenario& scenario, Observer& observer, Network network)
    : base_(scenario),
      scenario_(scenario),
      observer_(observer),
      network_(std::move(network)),
      random_(scenario.seed),
      own_reports_(1),
      foreign_reports_(kForeignAtOnce) {}

Result<std::unique_ptr<World>> World::make(const Scenario& scenario, Observer& observer, Ns start_ns) {
  auto network = Network::make(scenario);
  if (!network) return network.error();
  std::unique_ptr<World> w(new World(scenario, observer, *std::move(network)));
  const std::size_t count = scenario.modules.size();
  for (std::size_t i = 0; i < count; ++i) w->nodes_.push_back(i);
  w->nodes_.push_back(kGateway);
  w->nodes_.push_back(kInterface);
  w->controllers_.resize(w->nodes_.size());
  w->wires_.resize(scenario.gateway ? 2 : 1);
  w->condition_.modules.assign(count, ModuleState::asleep);
  w->condition_.reserve_V.assign(count, 0);
  w->condition_.dominant_share.assign(w->nodes_.size(), 0);
  w->start_of_.assign(count, 0);
  w->rest_until_.assign(count, start_ns);
  w->woken_.assign(count, false);
  w->flowed_until_ns_ = start_ns;
  for (std::size_t i = 0; i < count; ++i) w->servers_.emplace_back(scenario.modules[i], scenario.seed + i);
  if (Status wired = w->wire(scenario); !wired) return wired.error();
  World* p = w.get();
  w->fault_on_.assign(scenario.timed_faults.size(), false);
  for (std::size_t i = 0; i < scenario.timed_faults.size(); ++i) {
    const Fault& fault = scenario.timed_faults[i];
    Scenario tried = scenario;
    if (Status applied = applyFault(tried, fault); !applied) return applied.error();
    if (const auto wired = Network::make(tried); !wired) return wired.error();
    const auto turn = [p, i, start_ns](double s, bool on) {
      p->at(start_ns + fromMs(s * 1e3), [p, i, on](Ns t) {
        p->fault_on_[i] = on;
        p->applyTimedFaults(t);
      });
    };
    turn(fault.at_s.value_or(0), true);
    if (fault.until_s) turn(*fault.until_s, false);
  }
  w->at(start_ns, [p](Ns t) { p->setPower(t, PowerState::off, "source not connected"); });
  w->at(start_ns + kSourceAfter_ns,
        [p](Ns t) { p->setPower(t, PowerState::source, "source connected, module not fed"); });
  if (!scenario.told)
    w->at(start_ns + kSourceAfter_ns + fromMs(scenario.power_on_s * 1e3), [p](Ns t) { p->feedOn(t); });
  for (std::size_t i = 0; i < count; ++i)
    if (scenario.modules[i].read_out) w->other_ = i;
  if (w->other_ != SIZE_MAX) {
    w->asking_.emplace(scenario.modules[w->other_]);
    if (const auto begins_s = scenario.modules[w->other_].read_out->begins_s)
      w->at(start_ns + fromMs(*begins_s * 1e3), [p](Ns t) { p->beginReadOut(t); });
  }
  return w;
}

/// The networks of the scenario: its own, and one for each meter.
Status World::wire(const Scenario& scenario) {
  auto network = Network::make(scenario);
  if (!network) return network.error();
  std::vector<Gauge> gauges;
  for (const Meter& m : scenario.meters) {
    auto gauge = Network::make(scenario, &m);
    if (!gauge) return gauge.error();
    gauges.push_back({m, *std::move(gauge)});
  }
  network_ = *std::move(network);
  gauges_ = std::move(gauges);
  return {};
}

void World::advance(Ns now_ns) {
  while (!due_.empty() && due_.begin()->first <= now_ns) {
    const auto node = due_.extract(due_.begin());
    node.mapped()(node.key());
  }
}

// ---- supply

void World::setPower(Ns t_ns, PowerState state, const char* text) {
  flow(t_ns);
  condition_.power = state;
  observer_.onPower(t_ns, {state, "measured", text});
  changed(t_ns);
  settle(t_ns);
  if (state != PowerState::on) sampleAll(t_ns);
}

void World::feedOn(Ns t_ns) {
  ++switched_on_;
  planBounce(t_ns);
  setPower(t_ns, PowerState::on, "module fed");
  if (!std::exchange(sampling_, true)) repeatSamples(t_ns);
}

void World::switchFeed(Ns now_ns, bool on) {
  if (condition_.power == PowerState::off || on == (condition_.power == PowerState::on)) return;
  if (on)
    feedOn(now_ns);
  else
    setPower(now_ns, PowerState::source, "module not fed");
}

void World::planBounce(Ns t_ns) {
  std::vector<double> instants_ms = scenario_.rig.bounce_ms;
  Xorshift random(scenario_.seed + 0xB0);  // of its own: the meters' noise stays what it was
  for (int i = 0; i < 2 * scenario_.rig.bounce_count; ++i)
    instants_ms.push_back(random.share() * scenario_.rig.bounce_spread_ms);
  std::sort(instants_ms.begin(), instants_ms.end());
  bool open = true;
  for (const double ms : instants_ms) {
    at(t_ns + fromMs(ms), [this, open](Ns t) {
      flow(t);
      condition_.contact_open = open;
      changed(t);
      settle(t);
    });
    open = !open;
  }
}

void World::applyTimedFaults(Ns t_ns) {
  flow(t_ns);
  scenario_ = base_;
  for (std::size_t i = 0; i < fault_on_.size(); ++i)
    if (fault_on_[i]) (void)applyFault(scenario_, base_.timed_faults[i]);  // checked by make()
  (void)wire(scenario_);
  for (std::size_t i = 0; i < servers_.size(); ++i) servers_[i].change(scenario_.modules[i]);
  changed(t_ns);
  settle(t_ns);
}

/// Charge and capacitances move on to now, under what was the condition until now.
void World::flow(Ns t_ns) {
  const double dt_s = static_cast<double>(t_ns - flowed_until_ns_) * 1e-9;
  if (dt_s <= 0) return;
  if (step_ns_ > 0) {
    condition_.step_s = dt_s;
    supply_ = *network_.supply(condition_);
    double most_V = 0;
    for (std::size_t i = 0; i < supply_.reserve_V.size(); ++i)
      if (scenario_.modules[i].reserve_uF > 0)
        most_V = std::max(most_V, std::abs(supply_.reserve_V[i] - condition_.reserve_V[i]));
    condition_.reserve_V = supply_.reserve_V;
    condition_.step_s = kInstant_s;
    if (most_V > kStepCoarse_V) step_ns_ = std::max(step_ns_ / 2, kStepMin_ns);
    if (most_V < kStepFine_V) step_ns_ = std::min(step_ns_ * 2, kStepMax_ns);
    if (most_V < kStepRest_V && step_ns_ >= kStepRest_ns) step_ns_ = 0, condition_.step_s = 0;
  }
  drawn_As_ += std::max(supply_.source_A, 0.0) * dt_s;
  if (condition_.power != PowerState::off) sagged_V_ += scenario_.source.sag_V_per_s * dt_s;
  flowed_until_ns_ = t_ns;
  const Source& s = scenario_.source;
  if (s.capacity_Ah == 0 && sagged_V_ == 0) return;
  const double used = s.capacity_Ah > 0 ? std::min(drawn_As_ / (3600 * s.capacity_Ah), 1.0) : 0;
  const double emf_V = s.emf_V + used * (s.empty_V - s.emf_V);
  condition_.emf_V = emf_V > 0 ? std::max(emf_V - sagged_V_, 0.0) : emf_V;
  condition_.series_ohm = s.series_ohm + used * (s.series_empty_ohm.value_or(s.series_ohm) - s.series_ohm);
  ++revision_;
}

void World::tickSupply(Ns t_ns) {
  flow(t_ns);
  ++revision_;
  settle(t_ns);
}

void World::planTick(Ns t_ns) {
  const bool wears = scenario_.source.capacity_Ah > 0 || scenario_.source.sag_V_per_s > 0;
  if (step_ns_ == 0 && !(wears && condition_.power != PowerState::off)) return;
  const Ns next = t_ns + (step_ns_ > 0 ? step_ns_ : kWearEvery_ns);
  if (tick_ns_ != kNoTime && tick_ns_ > t_ns && tick_ns_ <= next) return;
  tick_ns_ = next;
  at(next, [this](Ns t) {
    if (tick_ns_ != t) return;  // another one came sooner
    tick_ns_ = kNoTime;
    tickSupply(t);
  });
}

/// A pack that finds its load too light counts down, and is off for good.
void World::watchSource(Ns t_ns) {
  const Source& s = scenario_.source;
  const bool light = s.off_below_A > 0 && condition_.power != PowerState::off && !condition_.source_off &&
                     supply_.source_A < s.off_below_A;
  if (!light) light_since_ns_ = kNoTime;
  if (!light || light_since_ns_ != kNoTime) return;
  light_since_ns_ = t_ns;
  at(t_ns + fromMs(s.off_after_s * 1e3), [this, t_ns](Ns t) {
    if (light_since_ns_ != t_ns) return;
    flow(t);
    condition_.source_off = true;
    changed(t);
    settle(t);
  });
}

/// Starts and stops modules until their states fit the volts that these states leave them.
void World::settle(Ns t_ns) {
  bool again = true;
  while (again) {
    again = false;
    supply_ = *network_.supply(condition_);
    for (std::size_t i = 0; i < condition_.modules.size() && !again; ++i) {
      const Module& m = scenario_.modules[i];
      const bool asleep = condition_.modules[i] == ModuleState::asleep;
      const bool called = m.wake_up != Module::WakeUp::bus || woken_[i];
      if (asleep && called && supply_.module_V[i] >= m.start_V && t_ns >= rest_until_[i])
        start(t_ns, i);
      else if (!asleep && supply_.module_V[i] < m.stop_V)
        stop(t_ns, i);
      else
        continue;
      again = true;
      changed(t_ns);
    }
  }
  if (interfaceSupplied() != condition_.interface_alive) changed(t_ns);
  if (step_ns_ == 0) condition_.reserve_V = supply_.reserve_V;
  for (std::size_t i = 0; i < servers_.size(); ++i) servers_[i].slow(slowFactor(i));
  watchSource(t_ns);
  planTick(t_ns);
}

void World::start(Ns t_ns, std::size_t i) {
  const Module& m = scenario_.modules[i];
  const bool inrush = m.inrush_A > 0 && m.inrush_ms > 0;
  condition_.modules[i] = inrush ? ModuleState::inrush : ModuleState::booting;
  start_of_[i] = ++start_count_;
  if (i == 0) ++starts_;
  if (inrush)
    at(t_ns + fromMs(m.inrush_ms), [this, i, start = start_of_[i]](Ns t) {
      if (start_of_[i] != start || condition_.modules[i] != ModuleState::inrush) return;
      flow(t);
      condition_.modules[i] = ModuleState::booting;
      changed(t);
      settle(t);
    });
  at(t_ns + fromMs(m.boot_s * 1e3), [this, i, start = start_of_[i]](Ns t) {
    if (start_of_[i] == start) bootEnds(t, i);
  });
}

void World::stop(Ns t_ns, std::size_t i) {
  condition_.modules[i] = ModuleState::asleep;
  start_of_[i] = 0;
  woken_[i] = false;
  servers_[i] = Server(scenario_.modules[i], scenario_.seed + i);
  if (i == other_) asking_.emplace(scenario_.modules[i]);
  std::erase_if(waiting_,
                [&](const Transmission& w) { return w.node == i || (isGateway(i) && w.node == kGateway); });
  rest_until_[i] = t_ns + fromMs(scenario_.modules[i].reset_ms);
  at(rest_until_[i], [this](Ns t) {
    flow(t);
    settle(t);
  });
}

void World::bootEnds(Ns t_ns, std::size_t module) {
  flow(t_ns);
  condition_.modules[module] = ModuleState::running;
  changed(t_ns);
  settle(t_ns);
  if (condition_.modules[module] != ModuleState::running) return;
  startPeriodic(t_ns, module);
  if (module == other_ && told_to_ask_) startReadOut(t_ns);
  if (scenario_.modules[module].restarts_every_s == 0) return;
  at(t_ns + fromSeconds(scenario_.modules[module].restarts_every_s),
     [this, module, start = start_of_[module]](Ns t) {
       if (start_of_[module] != start) return;
       flow(t);
       stop(t, module);
       changed(t);
       settle(t);
     });
}

// ---- the other equipment

void World::beginReadOut(Ns now_ns) {
  told_to_ask_ = asking_.has_value();
  if (told_to_ask_ && condition_.modules[other_] == ModuleState::running) startReadOut(now_ns);
}

void World::startReadOut(Ns t_ns) {
  told_to_ask_ = false;
  flow(t_ns);
  const auto out = asking_->begin(t_ns);
  changed(t_ns);  // from now on it takes part in the bus
  settle(t_ns);
  enqueueAll(t_ns, other_, out);
  tickReadOut(t_ns);
}

void World::tickReadOut(Ns t_ns) {
  const Ns next = asking_->nextDeadline();
  if (next == kNoTime) return;
  at(std::max(next, t_ns), [this, start = start_of_[other_]](Ns t) {
    if (start_of_[other_] != start) return;
    const Ns due = asking_->nextDeadline();
    if (due == kNoTime || due > t) return;  // another tick is on its way
    enqueueAll(t, other_, asking_->onTime(t));
    tickReadOut(t);
  });
}

double World::slowFactor(std::size_t module) const {
  const Module& m = scenario_.modules[module];
  const double below_V = m.low_V - supply_.module_V[module];
  if (m.low_V <= m.stop_V || below_V <= 0) return 1;
  return 1 + (m.low_delay_factor - 1) * std::min(below_V / (m.low_V - m.stop_V), 1.0);
}

bool World::interfaceSupplied() const {
  return !scenario_.interface.dead && supply_.interface_V >= scenario_.interface.supply_min_V;
}

/// The condition is another one: who is alive, who hears whom, how much of the time the bus is dominant.
void World::changed(Ns t_ns) {
  ++revision_;
  const bool reserves = std::any_of(scenario_.modules.begin(), scenario_.modules.end(),
                                    [](const Module& m) { return m.reserve_uF > 0; });
  if (reserves) step_ns_ = kStepMin_ns, condition_.step_s = kInstant_s;
  supply_ = *network_.supply(condition_);
  const bool was_alive = condition_.interface_alive;
  condition_.interface_alive = interfaceSupplied();
  for (const std::size_t n : nodes_) {
    Controller& c = controllers_[slot(n)];
    if (!alive(n) || (n == kInterface && !open_))
      c.alive_since_ns = kNoTime, c.stuck = false, c.tx_errors = n == kInterface ? c.tx_errors : 0;
    else if (c.alive_since_ns == kNoTime)
      c.alive_since_ns = t_ns;
  }
  listenAgain();
  countDominance();
  if (condition_.interface_alive == was_alive && (interface_told_ || condition_.power == PowerState::off))
    return;
  interface_told_ = true;
  if (condition_.interface_alive) {
    countErrors(t_ns, kInterface, 0);
    observer_.onController(t_ns, controllerText(0), 0);
    startBus(t_ns, wireOf(kInterface));
  } else {
    std::erase_if(waiting_, [](const Transmission& w) { return w.node == kInterface; });
    observer_.onController(t_ns, "unknown", -1);
  }
}

void World::listenAgain() {
  heard_.assign(nodes_.size() * nodes_.size(), Heard::nothing);
  for (const std::size_t s : nodes_)
    for (const std::size_t r : nodes_)
      if (alive(s) && (alive(r) || sleepsForWake(r)) && wireOf(s) == wireOf(r))
        heard_[slot(s) * nodes_.size() + slot(r)] = *network_.hears(condition_, s, r);
}

void World::countDominance() {
  std::vector<double>& shares = condition_.dominant_share;
  std::fill(shares.begin(), shares.end(), 0);
  double inner = 0;
  for (std::size_t i = 0; i < scenario_.modules.size(); ++i) {
    const Module& m = scenario_.modules[i];
    if (!alive(i) || m.mute || !acknowledged(i, kWhenever)) continue;
    for (const Periodic& p : m.periodic) {
      const CanFrame f = CanFrame::make(p.id, p.extended, Bytes(p.length, 0));
      shares[i] += kDominantShare * can::wireBits(f).nominal / (scenario_.bus.bitrate * p.every_ms / 1e3);
    }
    if (wireOf(i) == 0) inner += shares[i];
  }
  if (alive(kGateway) && scenario_.gateway->forwards_periodic && !scenario_.gateway->silent)
    shares[slot(kGateway)] = inner;
  for (std::size_t n = 0; n < controllers_.size(); ++n)
    if (controllers_[n].stuck) shares[n] = kDominantShare * kStuckShare;
}

// ---- meters

event::Measurement World::sample(Gauge& g) {
  if (g.revision != revision_) {
    Condition seen = condition_;
    seen.interface_plugged = !g.meter.interface_unplugged;
    g.value = *g.network.read(seen);
    g.revision = revision_;
  }
  return measured(g.meter, g.value, condition_.power, random_);
}

event::Measurement World::read(std::size_t meter) { return sample(gauges_.at(meter)); }

bool World::limiting() const {
  const Source& s = scenario_.source;
  if (s.limit_A <= 0 || condition_.power == PowerState::off || condition_.source_off) return false;
  // Short of the limit the volts are those of the plain source; beyond it they fall away from them.
  const double emf_V = condition_.emf_V.value_or(s.emf_V);
  const double plain_V = emf_V - condition_.series_ohm.value_or(s.series_ohm) * supply_.source_A;
  constexpr double kGivesWay = 0.99;  // own figure
  return supply_.source_V < kGivesWay * plain_V;
}

void World::sampleAll(Ns t_ns) {
  for (Gauge& g : gauges_)
    if (std::find(g.meter.when.begin(), g.meter.when.end(), condition_.power) != g.meter.when.end())
      observer_.onSample(t_ns, sample(g));
}

void World::repeatSamples(Ns t_ns) {
  sampleAll(t_ns);
  at(t_ns + kSampleEvery_ns, [this](Ns t) { repeatSamples(t); });
}

// ---- bus

std::size_t World::slot(std::size_t node) const {
  if (node == kInterface) return nodes_.size() - 1;
  return node == kGateway ? nodes_.size() - 2 : node;
}

/// 0 the module's bus, 1 with a gateway the connector's.
std::size_t World::wireOf(std::size_t node) const {
  if (!scenario_.gateway) return 0;
  if (node == kInterface || node == kGateway) return 1;
  return scenario_.modules[node].bus == Module::Side::connector ? 1 : 0;
}

bool World::isGateway(std::size_t module) const {
  return scenario_.gateway && module + 1 == scenario_.modules.size();
}

bool World::alive(std::size_t node) const {
  if (node == kInterface) return condition_.interface_alive;
  if (node == kGateway) return scenario_.gateway && condition_.modules.back() == ModuleState::running;
  if (node == other_ && !asking_->begun()) return false;
  return condition_.modules[node] == ModuleState::running && !scenario_.modules[node].transceiver_dead;
}

bool World::sleepsForWake(std::size_t node) const {
  return node < scenario_.modules.size() && condition_.modules[node] == ModuleState::asleep &&
         scenario_.modules[node].wake_up == Module::WakeUp::bus && !woken_[node];
}

Ns World::bits_ns(std::uint32_t bits) const {
  return std::llround(static_cast<double>(bits) * 1e9 / scenario_.bus.bitrate);
}

bool World::takesPart(std::size_t node) const {
  return alive(node) && controllers_[slot(node)].tx_errors < kBusOffAt && (node != kInterface || open_);
}

bool World::active(std::size_t node) const {
  return takesPart(node) && !(node == kInterface && scenario_.interface.listen_only);
}

Heard World::heard(std::size_t sender, std::size_t receiver) const {
  return heard_[slot(sender) * nodes_.size() + slot(receiver)];
}

/// The frame passes: the sender reads its own bits back, somebody acknowledges, and nobody who takes part
/// destroys it because it is garbled there.
bool World::acknowledged(std::size_t sender, Ns started_ns) const {
  if (heard(sender, sender) != Heard::clear) return false;
  bool any = false;
  for (const std::size_t r : nodes_) {
    if (r == sender || !active(r)) continue;
    if (heard(sender, r) == Heard::garbled) return false;
    any = any || (heard(sender, r) == Heard::clear &&
                  started_ns - bits_ns(kIntegrate) >= controllers_[slot(r)].alive_since_ns);
  }
  return any;
}

Status World::send(Ns now_ns, const CanFrame& frame) {
  if (!condition_.interface_alive)
    return Error{ErrorKind::link, "the interface has no supply", scenario_.file, "look at its lamp"};
  if (!open_) return Error{ErrorKind::link, "the controller is closed", scenario_.file, "open it first"};
  if (scenario_.interface.listen_only)
    return Error{ErrorKind::link, "the interface is listen-only", scenario_.file,
                 "leaving listen-only makes it acknowledge"};
  if (controllers_[slot(kInterface)].tx_errors >= kBusOffAt)
    return Error{ErrorKind::link, "the controller is bus-off", scenario_.file,
                 "mend the bus, then start again"};
  const Wire& bus = wires_[wireOf(kInterface)];
  const auto ours = std::count_if(waiting_.begin(), waiting_.end(),
                                  [](const Transmission& w) { return w.node == kInterface; }) +
                    (bus.busy && bus.sender == kInterface ? 1 : 0);
  if (static_cast<std::size_t>(ours) >= kQueueMax)
    return Error{ErrorKind::link, "transmit queue full: no frame leaves the interface", scenario_.file,
                 "nobody acknowledges"};
  enqueue(now_ns, {kInterface, frame, false, now_ns});
  return {};
}

void World::setInterface(Ns now_ns, bool open, bool listen_only, std::uint32_t bitrate) {
  open_ = open;
  base_.interface.listen_only = scenario_.interface.listen_only = listen_only;
  condition_.interface_bitrate = bitrate;
  Controller& c = controllers_[slot(kInterface)];
  c.tx_errors = 0;
  c.alive_since_ns = kNoTime;
  c.stuck = false;
  std::erase_if(waiting_, [](const Transmission& w) { return w.node == kInterface; });
  flow(now_ns);
  changed(now_ns);
  settle(now_ns);
}

void World::enqueue(Ns t_ns, const Transmission& transmission) {
  waiting_.push_back(transmission);
  // By the queue, not at once: the caller may be in the middle of a delivery.
  at(t_ns, [this, wire = wireOf(transmission.node)](Ns t) { startBus(t, wire); });
}

void World::enqueueAll(Ns t_ns, std::size_t module, const std::vector<Server::Outgoing>& frames) {
  for (const Server::Outgoing& o : frames) enqueue(t_ns, {module, o.frame, o.of_answer, t_ns});
}

void World::startBus(Ns t_ns, std::size_t wire) {
  if (wires_[wire].busy) return;
  // Arbitration: of a module's frames the lowest identifier, of the others' the oldest, of all nodes' the
  // lowest identifier.
  auto best = waiting_.end();
  std::vector<std::size_t> seen;
  for (auto w = waiting_.begin(); w != waiting_.end(); ++w) {
    if (wireOf(w->node) != wire) continue;
    const bool in_order = w->node >= scenario_.modules.size() || isGateway(w->node);
    if (in_order && std::find(seen.begin(), seen.end(), w->node) != seen.end()) continue;
    seen.push_back(w->node);
    if (!takesPart(w->node) || w->not_before_ns > t_ns) continue;
    if (best == waiting_.end() || w->frame.id() < best->frame.id()) best = w;
  }
  if (best == waiting_.end()) return;
  const Transmission transmission = *best;
  waiting_.erase(best);
  Wire& bus = wires_[wire];
  bus.busy = true;
  bus.sender = transmission.node;
  bus.id = transmission.frame.id();
  ++controllers_[slot(transmission.node)].attempts;
  at(t_ns + bits_ns(can::wireBits(transmission.frame).nominal - kAfterSlot),
     [this, transmission, t_ns](Ns t) { acknowledgeSlot(t, transmission, t_ns); });
}

void World::acknowledgeSlot(Ns t_ns, const Transmission& transmission, Ns started_ns) {
  const std::size_t sender = transmission.node;
  const std::size_t wire = wireOf(sender);
  wires_[wire].busy_ns += t_ns - started_ns;
  if (!takesPart(sender)) {  // it lost its supply, or was closed
    wires_[wire].busy = false;
    startBus(t_ns, wire);
    return;
  }
  wake(t_ns, transmission);
  if (!acknowledged(sender, started_ns)) {
    const bool disturbed = std::any_of(nodes_.begin(), nodes_.end(), [&](std::size_t r) {
      return r != sender && active(r) && heard(sender, r) == Heard::garbled;
    });
    failed(t_ns, transmission, disturbed || heard(sender, sender) != Heard::clear);
    return;
  }
  wires_[wire].busy_ns += bits_ns(kAfterSlot - kIntermission);
  at(t_ns + bits_ns(kAfterSlot), [this, transmission, wire](Ns t) {
    wires_[wire].busy = false;
    if (takesPart(transmission.node)) deliver(t, transmission);
    startBus(t, wire);
  });
}

void World::deliver(Ns t_ns, const Transmission& transmission) {
  const std::size_t sender = transmission.node;
  Controller& c = controllers_[slot(sender)];
  countErrors(t_ns, sender, c.tx_errors > 0 ? c.tx_errors - 1 : 0);
  setStuck(c, false);
  if (sender == kInterface) {
    observer_.onFrame(t_ns, transmission.frame, true);
  } else if (takesPart(kInterface) && heard(sender, kInterface) == Heard::clear) {
    observer_.onFrame(t_ns, transmission.frame, false);
  } else if (takesPart(kInterface) && heard(sender, kInterface) == Heard::garbled) {
    // Others may well have understood it.
    observer_.onFrame(t_ns, garbledFrame(controllers_[slot(kInterface)].tx_errors), false);
  }
  if (sender == other_ && transmission.of_answer) {
    enqueueAll(t_ns, sender, asking_->onConfirmed(t_ns));
    tickReadOut(t_ns);
  } else if (sender < servers_.size() && transmission.of_answer) {
    enqueueAll(t_ns, sender, servers_[sender].onConfirmed(t_ns));
    tickServer(t_ns, sender);
  }
  for (std::size_t i = 0; i < scenario_.modules.size(); ++i) {
    if (i == sender || !alive(i) || scenario_.modules[i].mute || heard(sender, i) != Heard::clear) continue;
    if (i == other_) {
      enqueueAll(t_ns, i, asking_->onFrame(t_ns, transmission.frame));
      tickReadOut(t_ns);
      continue;
    }
    enqueueAll(t_ns, i, servers_[i].onFrame(t_ns, transmission.frame));
    tickServer(t_ns, i);
  }
  forward(t_ns, transmission);
}

/// The gateway takes what belongs to the modules behind it over to its other side.
void World::forward(Ns t_ns, const Transmission& transmission) {
  if (!alive(kGateway) || scenario_.gateway->silent) return;
  const std::size_t inner = scenario_.modules.size() - 1;
  const bool outward = wireOf(transmission.node) == 0;
  const std::size_t ear = outward ? inner : kGateway;
  const std::size_t mouth = outward ? kGateway : inner;
  if (transmission.node == ear || heard(transmission.node, ear) != Heard::clear) return;
  const CanFrame& f = transmission.frame;
  const std::uint32_t functional = f.extended() ? kFunctionalExtended : kFunctionalStandard;
  const bool diagnostic =
      std::any_of(scenario_.modules.begin(), scenario_.modules.end(), [&](const Module& m) {
        return m.request_id != 0 && m.bus == Module::Side::inner && m.extended == f.extended() &&
               (f.id() == m.request_id || f.id() == m.answer_id || (m.functional && f.id() == functional));
      });
  if (!diagnostic && !scenario_.gateway->forwards_periodic) return;
  at(t_ns + fromMs(scenario_.gateway->delay_ms), [this, mouth, inner, f, start = start_of_[inner]](Ns t) {
    const auto queued = std::count_if(waiting_.begin(), waiting_.end(),
                                      [mouth](const Transmission& w) { return w.node == mouth; });
    if (start_of_[inner] == start && static_cast<std::size_t>(queued) < kQueueMax)
      enqueue(t, {mouth, f, false, t});
  });
}

/// A frame, acknowledged or not, starts the modules that sleep until one comes.
void World::wake(Ns t_ns, const Transmission& transmission) {
  bool any = false;
  for (std::size_t i = 0; i < scenario_.modules.size(); ++i) {
    const std::uint32_t id = scenario_.modules[i].wake_id;
    if (!sleepsForWake(i) || heard(transmission.node, i) == Heard::nothing) continue;
    if (id != 0 && (id != transmission.frame.id() || heard(transmission.node, i) != Heard::clear)) continue;
    woken_[i] = any = true;
  }
  if (!any) return;
  flow(t_ns);
  settle(t_ns);
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

/// Nobody acknowledged, or a bit came back wrong: an error flag, and the frame again.
void World::failed(Ns t_ns, const Transmission& transmission, bool bit_error) {
  const std::size_t sender = transmission.node;
  const std::size_t wire = wireOf(sender);
  Controller& c = controllers_[slot(sender)];
  const bool passive = c.tx_errors >= kPassiveAt;
  // An error-passive sender that misses only the acknowledge does not count further.
  const bool counts = bit_error || !passive;
  report(t_ns, transmission, bit_error, counts);
  countErrors(t_ns, sender, counts ? c.tx_errors + kErrorStep : c.tx_errors);
  if (!passive) wires_[wire].busy_ns += bits_ns(kErrorFlag);
  const Ns free_ns = t_ns + bits_ns(kErrorBits);
  at(free_ns, [this, wire](Ns t) {
    wires_[wire].busy = false;
    startBus(t, wire);
  });
  if (c.tx_errors >= kBusOffAt) {
    std::erase_if(waiting_, [sender](const Transmission& w) { return w.node == sender; });
    if (sender != kInterface)
      at(t_ns + kBusOffRest_ns, [this, sender, since = c.alive_since_ns](Ns t) {
        Controller& again = controllers_[slot(sender)];
        if (again.alive_since_ns == since) countErrors(t, sender, 0);
      });
    return;
  }
  Transmission retry = transmission;
  retry.tried = true;
  retry.not_before_ns = free_ns + (passive ? bits_ns(kSuspend) : 0);
  if (passive) at(retry.not_before_ns, [this, wire](Ns t) { startBus(t, wire); });
  waiting_.insert(waiting_.begin(), retry);
  if (!counts) setStuck(c, true);
}

void World::report(Ns t_ns, const Transmission& transmission, bool bit_error, bool counts) {
  const std::size_t sender = transmission.node;
  const int tx_errors = controllers_[slot(kInterface)].tx_errors;
  if (sender == kInterface) {
    if (!counts && !own_reports_.due(t_ns)) return;
    CanFrame f = errorFrame(bit_error ? CAN_ERR_PROT | CAN_ERR_BUSERROR : CAN_ERR_ACK,
                            counts ? tx_errors + kErrorStep : tx_errors);
    if (bit_error) f.data[2] = CAN_ERR_PROT_BIT | CAN_ERR_PROT_TX;
    observer_.onFrame(t_ns, f, false);
    return;
  }
  const Heard seen = heard(sender, kInterface);
  if (!takesPart(kInterface) || seen == Heard::nothing) return;
  if (seen == Heard::clear && !counts) {
    // The flag is recessive: to a listener the frame ends as a frame does.
    at(t_ns + bits_ns(kAfterSlot), [this, sender, frame = transmission.frame](Ns t) {
      if (takesPart(kInterface) && heard(sender, kInterface) == Heard::clear)
        observer_.onFrame(t, frame, false);
    });
    return;
  }
  if (!foreign_reports_.due(t_ns)) return;
  CanFrame f = garbledFrame(tx_errors);
  if (seen == Heard::clear && !bit_error) {
    f.data[2] = CAN_ERR_PROT_FORM;
    f.data[3] = CAN_ERR_PROT_LOC_ACK_DEL;
  }
  observer_.onFrame(t_ns, f, false);
}

bool World::Reports::due(Ns t_ns) {
  if (last_ns_ == kNoTime || t_ns - last_ns_ > kRowEnds_ns) in_a_row_ = 0;
  last_ns_ = t_ns;
  if (in_a_row_ >= at_once_ && t_ns - reported_ns_ < kReportEvery_ns) return false;
  in_a_row_ = std::min(in_a_row_ + 1, at_once_);
  reported_ns_ = t_ns;
  return true;
}

void World::setStuck(Controller& controller, bool stuck) {
  if (controller.stuck == stuck) return;
  controller.stuck = stuck;
  ++revision_;
  countDominance();
}

void World::countErrors(Ns t_ns, std::size_t node, int tx_errors) {
  int& counter = controllers_[slot(node)].tx_errors;
  const char* before = controllerText(counter);
  counter = tx_errors;
  const char* now = controllerText(counter);
  if (node != kInterface || std::string_view(before) == now) return;
  CanFrame f = errorFrame(tx_errors >= kBusOffAt ? CAN_ERR_BUSOFF : CAN_ERR_CRTL, tx_errors);
  if (tx_errors < kBusOffAt)
    f.data[1] = tx_errors >= kPassiveAt   ? CAN_ERR_CRTL_TX_PASSIVE
                : tx_errors >= kWarningAt ? CAN_ERR_CRTL_TX_WARNING
                                          : CAN_ERR_CRTL_ACTIVE;
  observer_.onFrame(t_ns, f, false);
  observer_.onController(t_ns, now, tx_errors);
}

void World::startPeriodic(Ns t_ns, std::size_t module) {
  if (scenario_.modules[module].mute) return;
  for (std::size_t p = 0; p < scenario_.modules[module].periodic.size(); ++p) {
    const double phase_ms = random_.share() * scenario_.modules[module].periodic[p].every_ms;
    at(t_ns + fromMs(phase_ms),
       [this, module, p, start = start_of_[module]](Ns t) { repeatPeriodic(t, module, p, start); });
  }
}

void World::repeatPeriodic(Ns t_ns, std::size_t module, std::size_t index, std::uint64_t start) {
  if (start_of_[module] != start) return;
  const Periodic& p = scenario_.modules[module].periodic[index];
  const std::uint32_t id = p.id;
  // One mailbox an identifier: what could not begin to leave is overwritten, not queued up.
  std::erase_if(waiting_, [&](const Transmission& w) {
    return w.node == module && !w.of_answer && w.frame.id() == id && !w.tried && w.not_before_ns <= t_ns;
  });
  const Wire& bus = wires_[wireOf(module)];
  const bool under_way = bus.busy && bus.sender == module && bus.id == id;
  const bool stuck = under_way || std::any_of(waiting_.begin(), waiting_.end(), [&](const Transmission& w) {
                       return w.node == module && w.frame.id() == id;
                     });
  if (!stuck) {
    Bytes data(p.length, 0);
    const auto count = static_cast<std::uint64_t>(t_ns / fromMs(p.every_ms));
    for (std::size_t b = 0; b < data.size() && b < 2; ++b)
      data[b] = static_cast<std::uint8_t>(count >> (8 * b));  // a running counter, as such frames carry
    enqueue(t_ns, {module, CanFrame::make(id, p.extended, data), false, t_ns});
  }
  at(t_ns + fromMs(p.every_ms),
     [this, module, index, start](Ns t) { repeatPeriodic(t, module, index, start); });
}

}  // namespace pin16::bench
