// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The simulated bench in motion: supply, module starts, bus, requests and meters. Simulated time is
/// injected: a test steps it, the bench link ties it to the clock. One owner, no threads.
///
/// The bus arbitrates by identifier and carries one frame at a time for as long as its exact bits take. A
/// frame that nobody acknowledges is repeated: our own at once until the controller is error passive (16
/// attempts, TEC 128, where it stays: CAN FD specification, error counting exceptions), then reported ten
/// times a second instead of the thousands that a wire would carry. Bit errors go on to bus-off.

#include <functional>
#include <map>
#include <memory>
#include <string_view>
#include <vector>

#include "core/bench/network.hpp"
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

  [[nodiscard]] const Condition& condition() const { return condition_; }
  /// Starts of the job's module (the first of the scenario) so far.
  [[nodiscard]] int starts() const { return starts_; }

  static constexpr std::size_t kQueueMax = 10;  ///< transmit queue of the interface (own figure)

 private:
  struct Transmission {
    std::size_t node;
    event::CanFrame frame;
    bool of_answer = false;
    Ns not_before_ns = 0;
  };
  struct Gauge {
    Meter meter;
    Network network;
    double value = 0;
    std::uint64_t revision = 0;  ///< of the condition that `value` belongs to
  };
  using Action = std::function<void(Ns)>;

  World(const Scenario& scenario, Observer& observer, Network network);

  void at(Ns t_ns, Action action) { due_.emplace(t_ns, std::move(action)); }
  void setPower(Ns t_ns, event::PowerState state, const char* text);
  void settle(Ns t_ns);
  void changed(Ns t_ns);
  void bootEnds(Ns t_ns, std::size_t module);
  void startPeriodic(Ns t_ns, std::size_t module);
  void repeatPeriodic(Ns t_ns, std::size_t module, std::size_t index, std::uint64_t start);
  void sampleAll(Ns t_ns);
  void repeatSamples(Ns t_ns);

  [[nodiscard]] bool alive(std::size_t node) const;
  [[nodiscard]] bool active(std::size_t node) const;  ///< alive and acknowledging
  [[nodiscard]] Heard heard(std::size_t sender, std::size_t receiver) const;
  [[nodiscard]] std::vector<std::size_t> nodes() const;
  [[nodiscard]] bool acknowledged(std::size_t sender) const;
  void enqueue(Ns t_ns, const Transmission& transmission);
  void enqueueAll(Ns t_ns, std::size_t module, const std::vector<Server::Outgoing>& frames);
  void startBus(Ns t_ns);
  void endBus(Ns t_ns, const Transmission& transmission);
  void deliver(Ns t_ns, const Transmission& transmission);
  void ownError(Ns t_ns, Transmission transmission, bool bit_error);
  void foreignError(Ns t_ns, const Transmission& transmission);
  void countErrors(Ns t_ns, int tx_errors);
  void tickServer(Ns t_ns, std::size_t module);

  Scenario scenario_;
  Observer& observer_;
  Network network_;
  Xorshift random_;
  Condition condition_;
  std::uint64_t revision_ = 1;
  std::vector<std::uint64_t> start_of_;  ///< number of the running start of each module, 0 asleep
  std::vector<Ns> rest_until_;
  std::vector<Server> servers_;
  std::vector<Gauge> gauges_;
  std::vector<Heard> heard_;  ///< sender * (modules + 1) + receiver
  std::multimap<Ns, Action> due_;
  std::vector<Transmission> waiting_;
  bool busy_ = false;
  bool interface_told_ = false;
  int tx_errors_ = 0;
  int starts_ = 0;
  std::uint64_t start_count_ = 0;
};

}  // namespace pin16::bench
