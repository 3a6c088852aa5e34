// SPDX-License-Identifier: Apache-2.0
#include "core/supply/kernel_link.hpp"

#include <fmt/format.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>

#include "core/supply/meter_options.hpp"
#include "core/supply/sysfs.hpp"

namespace pin16::supply {
namespace {

using event::LinkCondition;
using Finder = Result<SysfsInput> (*)(const std::string&, const std::string&);

constexpr Ns kEvery_ns = 100 * kNsPerMs;  // own figure
constexpr Ns kRetry_ns = kNsPerSecond;    // a device that is gone is looked for so often (own figure)
constexpr double kTimeErrorStep = 1.5;    // told anew when it grew by so much
constexpr int kMissesTold = 3;            // in a row until the state says so (own figure)

class KernelMeter final : public link::Link {
 public:
  KernelMeter(const link::Uri& uri, MeterOptions options, std::string sysfs, Finder find,
              const link::Context& context)
      : context_(context),
        options_(std::move(options)),
        sysfs_(std::move(sysfs)),
        target_(uri.target),
        find_(find),
        timer_(context.io) {
    state_.uri = uri.text;
    state_.description = uri.text;
    state_.meter = true;
  }

  void open() override {
    if (alive_) return;
    alive_ = std::make_shared<bool>(true);
    context_.host.emit(context_.index, bootNow(), state_);
    again(0);
  }
  void close() override {
    if (!alive_) return;
    alive_.reset();
    timer_.cancel();
    const Ns now_ns = bootNow();
    if (missing_ && last_ns_ != kNoTime)
      context_.host.emit(context_.index, now_ns,
                         event::Gap{last_ns_, now_ns, why_ + "; no value came after it"});
    missing_ = false;
    become(LinkCondition::finished, "", "");
  }
  Status send(link::Permit /*permit*/) override {
    return Error{ErrorKind::link, "a meter is read, never written to: nothing was sent", state_.uri,
                 "name a link to the bus"};
  }
  [[nodiscard]] const event::LinkState& state() const override { return state_; }

 private:
  void again(Ns after_ns) {
    timer_.expires_after(std::chrono::nanoseconds(after_ns));
    timer_.async_wait([this, alive = std::weak_ptr(alive_)](const boost::system::error_code& ec) {
      if (!ec && !alive.expired()) turn();
    });
  }

  void turn() {
    const Ns began_ns = bootNow();
    if (!input_) {
      auto found = find_(sysfs_, target_);
      if (!found) {
        const bool was_up = state_.condition == LinkCondition::up || state_.condition == LinkCondition::gone;
        miss(found.error().what);
        become(was_up ? LinkCondition::gone : LinkCondition::missing, found.error().what,
               found.error().advice);
        return again(kRetry_ns);
      }
      input_ = *std::move(found);
      state_.description = input_->description;
    }
    read();
    again(std::max<Ns>(began_ns + options_.every_ns - bootNow(), 0));
  }

  void read() {
    const Ns before_ns = bootNow();
    const auto value = readInput(*input_);
    const Ns after_ns = bootNow();
    if (!value) {
      miss(value.error().text());
      input_.reset();  // it may have another number when it comes back
      if (misses_ >= kMissesTold)
        become(LinkCondition::failed, value.error().text(), "look whether the device is still plugged in");
      return;
    }
    const Quantity& q = options_.quantities.front();
    const Ns t_ns = before_ns + (after_ns - before_ns) / 2;
    event::Measurement m = measurement(q, *value, input_->description, options_.aperture_ns);
    m.time_error_ns = options_.aperture_ns < 0 && input_->interval_ns >= 0
                          ? (after_ns - before_ns + 1) / 2 + input_->interval_ns
                          : timeError(before_ns, after_ns, last_ns_, options_.aperture_ns);
    if (missing_ && last_ns_ != kNoTime)
      context_.host.emit(context_.index, t_ns, event::Gap{last_ns_, t_ns, why_});
    missing_ = false;
    misses_ = 0;
    last_ns_ = t_ns;
    state_.time_error_ns = std::max(state_.time_error_ns, m.time_error_ns);
    become(LinkCondition::up, "", "");
    context_.host.onRecord(context_.index, t_ns, event::Kind::sample, pack(m));
  }

  void miss(const std::string& why) {
    if (!missing_) why_ = why;
    missing_ = true;
    ++misses_;
  }

  /// Tells the state if it is another one.
  void become(LinkCondition condition, const std::string& text, const std::string& advice) {
    const bool surer =
        static_cast<double>(state_.time_error_ns) <= kTimeErrorStep * static_cast<double>(told_error_ns_);
    if (state_.condition == condition && state_.text == text && surer) return;
    told_error_ns_ = state_.time_error_ns;
    state_.condition = condition;
    state_.text = text;
    state_.advice = advice;
    state_.time_origin = "user";
    state_.driver = "sysfs";
    context_.host.emit(context_.index, bootNow(), state_);
  }

  link::Context context_;
  const MeterOptions options_;
  const std::string sysfs_, target_;
  const Finder find_;
  boost::asio::steady_timer timer_;
  event::LinkState state_;
  std::optional<SysfsInput> input_;
  bool missing_ = false;
  int misses_ = 0;
  Ns last_ns_ = kNoTime;  ///< time of the last value
  Ns told_error_ns_ = -1;
  std::string why_;
  std::shared_ptr<bool> alive_;
};

Result<std::unique_ptr<link::Link>> make(const link::Uri& uri, const link::Context& context,
                                         const std::string& sysfs, Finder find) {
  auto options = readMeterOptions(uri, kEvery_ns, {"times"});
  if (!options) return options.error();
  const auto times = numberOption(uri, "times", 1e-3, 1e6, 1);
  if (!times) return times.error();
  if (options->quantities.size() != 1)
    return Error{ErrorKind::usage, "one input is one quantity", uri.text, "Name V= or I=, not both"};
  Quantity& q = options->quantities.front();
  q.factor *= *times;
  // A device that is not there may be plugged in later; an input that can never fit is an error of the call.
  const auto found = find(sysfs, uri.target);
  if (!found && found.error().kind == ErrorKind::usage)
    return Error{ErrorKind::usage, found.error().what, uri.text, found.error().advice};
  if (found && found->unit != q.unit)
    return Error{ErrorKind::usage,
                 fmt::format("{} is measured in {}, {} in {}", found->channel, found->unit, q.point, q.unit),
                 uri.text, "Name a point of the input's unit; docs/points.md lists them"};
  return std::unique_ptr<link::Link>(
      std::make_unique<KernelMeter>(uri, *std::move(options), sysfs, find, context));
}

link::Scheme scheme(const char* name, const char* help, const std::string& sysfs, Finder find) {
  return {name, help,
          [sysfs, find](const link::Uri& uri, const link::Context& context) {
            return make(uri, context, sysfs, find);
          },
          true};
}

}  // namespace

link::Scheme hwmonScheme(const std::string& sysfs) {
  return scheme("hwmon", "hwmon:CHIP/in1?V=V(pin16,pin4)[&times=11]  a chip's input that the kernel reads",
                sysfs, findHwmon);
}

link::Scheme iioScheme(const std::string& sysfs) {
  return scheme("iio", "iio:DEVICE/voltage0?V=V(pin16,pin4)[&times=11]  likewise of an IIO converter", sysfs,
                findIio);
}

}  // namespace pin16::supply
