// SPDX-License-Identifier: Apache-2.0
#include <fmt/core.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

#include "core/base/clock.hpp"
#include "core/bench/bench.hpp"
#include "core/bench/world.hpp"
#include "core/event/batch.hpp"
#include "core/link/link.hpp"

namespace pin16::bench {
namespace {

/// Ties a World to the clock. Everything on the io_context's thread.
class BenchLink : public link::Link, private World::Observer {
 public:
  BenchLink(const link::Uri& uri, const link::Context& context, Scenario scenario)
      : context_(context), scenario_(std::move(scenario)), timer_(context.io) {
    state_.uri = uri.text;
    state_.description = fmt::format("simulated bench: {}", scenario_.name);
    state_.driver = "bench";
    state_.bitrate = scenario_.bus.bitrate;
    state_.fd = event::Known::no;
    state_.listen_only = scenario_.interface.listen_only ? event::Known::yes : event::Known::no;
    state_.silence = scenario_.interface.listen_only ? event::Silence::proven : event::Silence::cannot;
    state_.time_origin = "simulated";
    state_.time_error_ns = 0;
  }

  void open() override {
    const Ns now = bootNow();
    auto world = World::make(scenario_, *this, now);
    if (!world) {
      state_.condition = event::LinkCondition::failed;
      state_.text = world.error().what;
      state_.advice = world.error().advice;
      context_.host.emit(context_.index, now, state_);
      return;
    }
    world_ = *std::move(world);
    context_.host.emit(context_.index, now, state_);  // opening: up once its supply comes
    // Not from within open(): the host is told of everything else by the io_context.
    arm();
  }

  void close() override {
    if (closed_) return;
    state_.condition = event::LinkCondition::finished;
    state_.text.clear();
    state_.advice.clear();
    context_.host.emit(context_.index, bootNow(), state_);
    closed_ = true;
    timer_.cancel();
  }

  Status send(link::Permit permit) override {
    if (world_ == nullptr || closed_)
      return Error{ErrorKind::link, "the bench is not running", state_.uri, ""};
    const Ns now = bootNow();
    event::Sent sent;
    event::Batch::writeFrame(sent.frame, permit.frame());
    sent.purpose = permit.purpose();
    context_.host.emit(context_.index, now, sent);
    Status status = world_->send(now, permit.frame());
    if (!advancing_) arm();
    return status;
  }

  [[nodiscard]] const event::LinkState& state() const override { return state_; }
  [[nodiscard]] event::Silence silentAtBest() const override { return state_.silence; }

 private:
  void arm() {
    const Ns due = world_->nextDue();
    if (due == kNoTime) return;
    timer_.expires_after(std::chrono::nanoseconds(std::max<Ns>(due - bootNow(), 0)));
    timer_.async_wait([this](const boost::system::error_code& ec) {
      if (ec || closed_) return;
      advancing_ = true;
      world_->advance(bootNow());
      advancing_ = false;
      if (!closed_) arm();
    });
  }

  void onFrame(Ns t_ns, const event::CanFrame& frame, bool outbound) override {
    if (!closed_) context_.host.onFrame(context_.index, t_ns, frame, outbound);
  }
  void onSample(Ns t_ns, const event::Measurement& sample) override {
    if (!closed_) context_.host.onRecord(context_.index, t_ns, event::Kind::sample, pack(sample));
  }
  void onPower(Ns t_ns, const event::Power& power) override {
    if (!closed_) context_.host.emit(context_.index, t_ns, power);
  }
  void onController(Ns t_ns, std::string_view state, int tx_errors) override {
    const bool supplied = tx_errors >= 0;
    const bool was_up = state_.condition == event::LinkCondition::up;
    if (supplied && lost_ns_ != kNoTime)
      context_.host.emit(context_.index, t_ns, event::Gap{lost_ns_, t_ns, "the interface had no supply"});
    lost_ns_ = supplied ? kNoTime : was_up ? t_ns : lost_ns_;
    state_.condition = supplied              ? event::LinkCondition::up
                       : lost_ns_ != kNoTime ? event::LinkCondition::gone
                                             : event::LinkCondition::down;
    state_.text = supplied ? "" : "the interface has no supply";
    state_.advice = supplied ? "" : "look at its lamp; feed pin 16, or give it a lead of its own";
    state_.controller = state;
    state_.tx_errors = tx_errors;
    if (!closed_) context_.host.emit(context_.index, t_ns, state_);
  }

  link::Context context_;
  Scenario scenario_;
  boost::asio::steady_timer timer_;
  std::unique_ptr<World> world_;
  event::LinkState state_;
  Ns lost_ns_ = kNoTime;  ///< since when a supply that was there is missing
  bool advancing_ = false;
  bool closed_ = false;
};

Result<std::unique_ptr<link::Link>> makeBenchLink(const link::Uri& uri, const link::Context& context) {
  if (!uri.options.empty())
    return Error{ErrorKind::usage, "bench: takes no options", uri.text, "write bench:SCENARIO"};
  auto scenario = loadScenario(uri.target);
  if (!scenario) return scenario.error();
  // Wire it once now, so that a scenario that cannot be built is an error of the call.
  for (std::size_t i = 0; i <= scenario->meters.size(); ++i) {
    const auto network = Network::make(*scenario, i == 0 ? nullptr : &scenario->meters[i - 1]);
    if (!network) return network.error();
  }
  return std::unique_ptr<link::Link>(std::make_unique<BenchLink>(uri, context, *std::move(scenario)));
}

}  // namespace

void addBenchScheme() {
  static const bool added = [] {
    link::addScheme({"bench",
                     "bench:SCENARIO, a directory with scenario.toml or the name of a shipped scenario",
                     makeBenchLink});
    return true;
  }();
  (void)added;
}

}  // namespace pin16::bench
