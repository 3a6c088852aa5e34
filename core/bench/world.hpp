// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The simulated bench in motion: supply, module starts, bus, requests and meters. Simulated time is
/// injected: a test steps it, the bench link ties it to the clock. One owner, no threads.
///
/// Each bus (two with a gateway) arbitrates by identifier and carries one frame at a time for as long as its
/// exact bits take. A frame that nobody acknowledges in its slot is sent again for as long as it takes, each
/// attempt at its exact time: the frame up to its acknowledge slot (wire bits - 11), error flag 6, delimiter
/// 8, intermission 3, and once the sender is error passive (16 attempts, TEC 128, where it stays) 8 bits of
/// suspended transmission (CAN FD specification V1.0, clauses 3.2 and 7). Bit errors go on to bus-off. A node
/// acknowledges only frames that begin 11 recessive bits after it came alive. The flag of an error-passive
/// sender is recessive, so a listener that does not acknowledge takes the repeated frame for a valid one.
///
/// What is reported is less than what happens: an error of our own that counts, each time; our own frame
/// without acknowledge once error passive, ten times a second; errors of others, the first 16 in a row, then
/// ten a second. Not modelled: receive error counters, overload frames, remote frames' answers.
///
/// Supply: operating points of the circuit; while an input capacitance charges or discharges, steps from
/// 0.05 ms on; while charge or a light-load timer runs, at least ten a second.

#include <functional>
#include <map>
#include <memory>
#include <string_view>
#include <vector>

#include "core/bench/network.hpp"
#include "core/bench/read_out.hpp"
#include "core/bench/scenario.hpp"
#include "core/bench/server.hpp"
#include "core/event/frame.hpp"
#include "core/event/records.hpp"

namespace pin16::bench {

class World {
 public:
  /// What the interface and the instruments see. May call World::send() back, nothing else.
  class Observer {
   public:
    virtual ~Observer() = default;
    virtual void onFrame(Ns t_ns, const event::CanFrame& frame, bool outbound) = 0;
    virtual void onSample(Ns t_ns, const event::Measurement& sample) = 0;
    virtual void onPower(Ns t_ns, const event::Power& power) = 0;
    /// error-active, error-warning, error-passive, bus-off, or unknown with -1: the interface has no supply.
    /// First when the source is connected, then at every change.
    virtual void onController(Ns t_ns, std::string_view state, int tx_errors) = 0;
  };

  /// Starts with everything off at `start_ns`; nothing is told before advance(). Errors as Network::make.
  [[nodiscard]] static Result<std::unique_ptr<World>> make(const Scenario& scenario, Observer& observer,
                                                           Ns start_ns);

  /// Lets everything happen that is due up to `now_ns`.
  void advance(Ns now_ns);
  /// When something is due next; kNoTime if never.
  [[nodiscard]] Ns nextDue() const { return due_.empty() ? kNoTime : due_.begin()->first; }
  /// The interface is told to send. ErrorKind::link: no supply, listen-only, bus-off, transmit queue full.
  Status send(Ns now_ns, const event::CanFrame& frame);
  /// The host opens the interface's controller anew, or closes it: then it neither hears, acknowledges nor
  /// sends. Error counters and transmit queue are empty afterwards. `bitrate` 0: the bus's. Without this call
  /// the controller is open as the scenario says. Not from within the observer.
  void setInterface(Ns now_ns, bool open, bool listen_only, std::uint32_t bitrate);

  /// Scenario::told: the feed is switched, on from `source`, off back to it. Nothing if it is so already, or
  /// the source is not connected yet.
  void switchFeed(Ns now_ns, bool on);
  /// The other equipment begins, once it runs if it does not yet. Nothing without any.
  void beginReadOut(Ns now_ns);
  /// nullptr: the scenario has no other equipment.
  [[nodiscard]] const Asking* readOut() const { return asking_ ? &*asking_ : nullptr; }

  /// What the scenario's meter shows at this moment, whatever its `when`. The world has been advanced to now.
  [[nodiscard]] event::Measurement read(std::size_t meter);
  /// The source is at its current limit (Source::limit_A), its volts give way.
  [[nodiscard]] bool limiting() const;
  [[nodiscard]] const Condition& condition() const { return condition_; }
  /// As it is now, with the timed faults that are on.
  [[nodiscard]] const Scenario& scenario() const { return scenario_; }
  /// Starts of the job's module (the first of the scenario) so far.
  [[nodiscard]] int starts() const { return starts_; }
  /// How often the feed was switched on so far; a contact that bounces then counts once.
  [[nodiscard]] int switchedOn() const { return switched_on_; }
  /// Frames that a node (module index, kInterface, kGateway) began to send so far, repeats included.
  [[nodiscard]] std::uint64_t attempts(std::size_t node) const { return controllers_[slot(node)].attempts; }
  /// Time so far in which the connector's wires carried a frame or an active error flag, attempts that have
  /// ended: from start of frame to end of frame, or to the acknowledge slot of one that nobody acknowledged.
  /// Its growth over a span is the bus load.
  [[nodiscard]] Ns busBusy_ns() const { return wires_.back().busy_ns; }

  static constexpr std::size_t kQueueMax = 10;  ///< transmit queue of the interface (own figure)

 private:
  struct Transmission {
    std::size_t node;
    event::CanFrame frame;
    bool of_answer = false;
    Ns not_before_ns = 0;
    bool tried = false;  ///< began once: a controller repeats it until it is acknowledged
  };
  struct Gauge {
    Meter meter;
    Network network;
    double value = 0;
    std::uint64_t revision = 0;  ///< of the condition that `value` belongs to
  };
  /// The bus controller of a node.
  struct Controller {
    int tx_errors = 0;
    Ns alive_since_ns = kNoTime;  ///< kNoTime: dead or closed
    bool stuck = false;           ///< error passive, and its frame is acknowledged by nobody
    std::uint64_t attempts = 0;
  };
  struct Wire {
    bool busy = false;
    std::size_t sender = 0;  ///< of the frame that makes it busy
    std::uint32_t id = 0;
    Ns busy_ns = 0;
  };
  /// Lets the first errors of a row through, then one now and then.
  class Reports {
   public:
    explicit Reports(int at_once) : at_once_(at_once) {}
    bool due(Ns t_ns);

   private:
    int at_once_;
    int in_a_row_ = 0;
    Ns last_ns_ = kNoTime, reported_ns_ = kNoTime;
  };
  using Action = std::function<void(Ns)>;

  World(const Scenario& scenario, Observer& observer, Network network);

  void at(Ns t_ns, Action action) { due_.emplace(t_ns, std::move(action)); }
  void setPower(Ns t_ns, event::PowerState state, const char* text);
  void planBounce(Ns t_ns);
  void applyTimedFaults(Ns t_ns);
  [[nodiscard]] Status wire(const Scenario& scenario);
  void flow(Ns t_ns);
  void wearSource(Ns t_ns);
  void watchSource(Ns t_ns);
  void tickSupply(Ns t_ns);
  void planTick(Ns t_ns);
  void disturb(Ns t_ns);
  void settle(Ns t_ns);
  void start(Ns t_ns, std::size_t module);
  void stop(Ns t_ns, std::size_t module);
  void changed(Ns t_ns);
  void listenAgain();
  void countDominance();
  [[nodiscard]] bool interfaceSupplied() const;
  [[nodiscard]] double slowFactor(std::size_t module) const;
  void bootEnds(Ns t_ns, std::size_t module);
  void startPeriodic(Ns t_ns, std::size_t module);
  void repeatPeriodic(Ns t_ns, std::size_t module, std::size_t index, std::uint64_t start);
  [[nodiscard]] event::Measurement sample(Gauge& gauge);
  void sampleAll(Ns t_ns);
  void repeatSamples(Ns t_ns);

  [[nodiscard]] bool alive(std::size_t node) const;
  [[nodiscard]] bool takesPart(std::size_t node) const;  ///< alive, controller open and not bus-off
  [[nodiscard]] bool active(std::size_t node) const;     ///< takes part and acknowledges
  [[nodiscard]] bool sleepsForWake(std::size_t node) const;
  [[nodiscard]] std::size_t slot(std::size_t node) const;
  [[nodiscard]] std::size_t wireOf(std::size_t node) const;
  [[nodiscard]] bool isGateway(std::size_t module) const;
  [[nodiscard]] Heard heard(std::size_t sender, std::size_t receiver) const;
  [[nodiscard]] bool acknowledged(std::size_t sender, Ns started_ns) const;
  [[nodiscard]] Ns bits_ns(std::uint32_t bits) const;
  void enqueue(Ns t_ns, const Transmission& transmission);
  void enqueueAll(Ns t_ns, std::size_t module, const std::vector<Server::Outgoing>& frames);
  void startBus(Ns t_ns, std::size_t wire);
  void acknowledgeSlot(Ns t_ns, const Transmission& transmission, Ns started_ns);
  void deliver(Ns t_ns, const Transmission& transmission);
  void forward(Ns t_ns, const Transmission& transmission);
  void wake(Ns t_ns, const Transmission& transmission);
  void failed(Ns t_ns, const Transmission& transmission, bool bit_error);
  void report(Ns t_ns, const Transmission& transmission, bool bit_error, bool counts);
  void setStuck(Controller& controller, bool stuck);
  void countErrors(Ns t_ns, std::size_t node, int tx_errors);
  void tickServer(Ns t_ns, std::size_t module);
  void feedOn(Ns t_ns);
  void startReadOut(Ns t_ns);
  void tickReadOut(Ns t_ns);

  Scenario base_;      ///< without the timed faults
  Scenario scenario_;  ///< as it is now
  Observer& observer_;
  Network network_;
  Xorshift random_;
  Condition condition_;
  std::uint64_t revision_ = 1;
  Supply supply_;                ///< as last solved
  Ns flowed_until_ns_ = 0;       ///< charge and capacitances stand as of then
  Ns light_since_ns_ = kNoTime;  ///< load below what keeps the pack on
  Ns tick_ns_ = kNoTime;         ///< the tick that is planned
  Ns step_ns_ = 0;               ///< last step of a charging capacitance; 0: at rest
  double drawn_As_ = 0, sagged_V_ = 0;
  std::vector<std::uint64_t> start_of_;  ///< number of the running start of each module, 0 asleep
  std::vector<Ns> rest_until_;
  std::vector<bool> woken_;
  std::vector<Server> servers_;
  std::size_t other_ = SIZE_MAX;  ///< module index of the other equipment; SIZE_MAX none
  std::optional<Asking> asking_;
  bool told_to_ask_ = false;  ///< and waits until it runs
  std::vector<Gauge> gauges_;
  std::vector<std::size_t> nodes_;       ///< module indices, the gateway's second, the interface; by slot
  std::vector<Controller> controllers_;  ///< by slot
  std::vector<Heard> heard_;             ///< slot of sender * nodes + slot of receiver
  std::vector<Wire> wires_;              ///< the module's bus, and with a gateway the connector's
  std::multimap<Ns, Action> due_;
  std::vector<Transmission> waiting_;
  std::vector<bool> fault_on_;  ///< of each timed fault
  Reports own_reports_, foreign_reports_;
  bool interface_told_ = false;
  bool open_ = true;  ///< the interface's controller
  int starts_ = 0;
  int switched_on_ = 0;
  bool sampling_ = false;
  std::uint64_t start_count_ = 0;
};

}  // namespace pin16::bench
