// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Evidence from event batches, for the tests of readiness.

#include <linux/can/error.h>

#include <algorithm>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "core/readiness/sheet.hpp"

namespace pin16::readiness {

/// A little stream: events one millisecond apart on link 0, taken in batch by batch.
class Stream {
 public:
  Stream& reading(const std::string& text) {
    const auto m = job::parseReading(text);
    if (!m) throw std::invalid_argument(m.error().text());
    batch_.add(next(), t_ns_, event::kNoLink, event::Kind::reading, *m);
    return *this;
  }
  Stream& sample(const std::string& point, double value, const std::string& unit, double u,
                 event::PowerState power) {
    event::Measurement m;
    m.point = point, m.value = value, m.unit = unit, m.uncertainty = u, m.power = power,
    m.instrument = "meter";
    batch_.add(next(), t_ns_, event::kNoLink, event::Kind::sample, m);
    return *this;
  }
  /// A meter that looks every `every_s` with the module fed.
  Stream& course(const std::string& point, const std::vector<double>& values, double every_s = 0.1,
                 double u = 0.02) {
    for (const double v : values) {
      t_ns_ += fromSeconds(every_s) - kNsPerMs;
      sample(point, v, point.front() == 'I' ? "A" : "V", u, event::PowerState::on);
    }
    return *this;
  }
  Stream& power(event::PowerState state) { return add(event::kNoLink, event::Power{state, "declared", ""}); }
  Stream& link(event::LinkCondition condition = event::LinkCondition::up, const std::string& text = "",
               const std::string& advice = "") {
    event::LinkState s;
    s.uri = "socketcan:can0", s.condition = condition, s.text = text, s.advice = advice;
    s.silence = event::Silence::proven, s.time_error_ns = 100'000;
    return add(0, s);
  }
  Stream& frames(int count, std::uint32_t id = 0x123) {
    for (int i = 0; i < count; ++i)  // with a running counter, as such messages carry
      frame(event::CanFrame::make(id, false, Bytes{1, 2, static_cast<std::uint8_t>(i)}), 0);
    return *this;
  }
  Stream& repeats(int count, std::uint32_t id) {
    for (int i = 0; i < count; ++i) frame(event::CanFrame::make(id, false, Bytes{1, 2, 3}), 0);
    return *this;
  }
  Stream& errors(int count, std::uint32_t error_class) {
    event::CanFrame f;
    f.word = event::kErrorFlag | error_class;
    f.length = 8;
    for (int i = 0; i < count; ++i) frame(f, 0);
    return *this;
  }
  /// Bus error frames as linux/can/error.h tells them: type in data[2], place in data[3].
  Stream& protocolErrors(int count, std::uint8_t type, std::uint8_t place) {
    event::CanFrame f;
    f.word = event::kErrorFlag | CAN_ERR_PROT | CAN_ERR_BUSERROR;
    f.length = 8;
    f.data[2] = type;
    f.data[3] = place;
    for (int i = 0; i < count; ++i) frame(f, 0);
    return *this;
  }
  Stream& controller(const std::string& state, event::Silence silence = event::Silence::cannot) {
    event::LinkState s;
    s.uri = "socketcan:can0", s.condition = event::LinkCondition::up, s.controller = state;
    s.silence = silence, s.time_error_ns = 100'000;
    return add(0, s);
  }
  Stream& wait(double seconds) {
    t_ns_ += fromSeconds(seconds);
    return add(event::kNoLink, event::Note{"time passes", ""});
  }
  Stream& exchange(const event::Exchange& e) { return add(0, e); }
  /// One of ours to the module at 7A1 that answers on 7A9.
  Stream& asked(event::Ended ended, double response_ms = -1, bool late = false, std::uint16_t pending = 0) {
    event::Exchange e;
    e.request_id = 0x7A1, e.answer_id = 0x7A9, e.ours = true, e.ended = ended, e.late = late,
    e.pending = pending;
    e.request = {0x22, 0xF1, 0x90};
    if (ended == event::Ended::negative) e.answer = {0x7F, 0x22, 0x31};
    e.response_ms = response_ms;
    e.request_ns = t_ns_ - fromMs(std::max(response_ms, 0.0));
    return exchange(e);
  }
  /// Somebody else's module answered us.
  Stream& otherAnswered(std::uint32_t answer_id = 0x7E8) {
    event::Exchange e;
    e.request_id = 0x7DF, e.answer_id = answer_id, e.functional = true, e.ours = true;
    e.ended = event::Ended::answered, e.response_ms = 20;
    return exchange(e);
  }
  template <class T>
  Stream& add(std::uint16_t link, const T& record) {
    batch_.add(next(), t_ns_, link, event::kKindOf<T>, record);
    return *this;
  }
  Stream& frame(const event::CanFrame& f, std::uint8_t flags) {
    batch_.addFrame(next(), t_ns_, 0, f, flags);
    return *this;
  }
  void feed(Evidence& e) const { e.take(batch_); }
  [[nodiscard]] Evidence evidence() const {
    Evidence e;
    feed(e);
    return e;
  }

 private:
  std::uint64_t next() {
    t_ns_ += kNsPerMs;
    return ++sequence_;
  }
  event::Batch batch_;
  std::uint64_t sequence_ = 0;
  Ns t_ns_ = kNsPerSecond;
};

inline job::Job jobOf(job::Arrangement a, job::Access access = job::Access::connector) {
  job::Job j;
  j.name = "test job";
  j.arrangement = a;
  j.access = access;
  j.module.address = job::Address{0x7A1, 0x7A9, false};
  return j;
}

inline const Step& step(const Sheet& s, std::string_view name) {
  for (const Step& x : s.steps)
    if (x.name == name) return x;
  throw std::invalid_argument("no step " + std::string(name));
}

/// "sound", or "faulty feed-low"
inline std::string verdict(const Sheet& s, std::string_view name) {
  const Step& x = step(s, name);
  return toText(x.verdict) + (x.code.empty() ? "" : " " + x.code);
}

inline Asked asking() {
  Asked a;
  a.ask = true;
  return a;
}

/// Everything measured and right.
inline Stream soundOwnBattery() {
  Stream s;
  s.reading("R(pin6,pin14)=60.4 power=off u=0.5")
      .reading("V(src+,src-)=12.6 power=source u=0.03")
      .reading("V(pin16,pin4)=12.5 power=source u=0.03 with=\"1 A load\"")
      .reading("V(pin16,pin5)=12.5 power=source u=0.03")
      .reading("lamp=lit")
      .link()
      .power(event::PowerState::on)
      .reading("V(src+,src-)=12.4 power=on u=0.03")
      .reading("V(chassis,src-)=20mV power=on u=2mV")
      .reading("V(loadblade,chassis)=12.3 power=on u=0.03")
      .frames(100)
      .wait(3)
      .asked(event::Ended::answered, 12)
      .asked(event::Ended::answered, 14);
  return s;
}
inline Stream soundFedInPlace() {
  Stream s;
  s.reading("R(feedpath)=0.2 u=0.02")
      .reading("V(supplyblade,chassis)=12.6 power=source")
      .reading("V(loadblade,chassis)=0.01 power=source")
      .reading("V(src+,src-)=12.9 power=source u=0.03")
      .reading("V(pin16,pin4)=0.02 power=source u=0.02")
      .reading("V(interface+,interface-)=12.8 power=source u=0.03")
      .reading("lamp=lit")
      .link()
      .power(event::PowerState::on)
      .reading("V(src+,src-)=12.8 power=on u=0.03")
      .reading("V(feed,chassis)=12.7 power=on u=0.03")
      .reading("V(chassis,src-)=15mV power=on u=2mV")
      .frames(50)
      .wait(3)
      .asked(event::Ended::answered, 12);
  return s;
}
inline Stream soundRemoved() {
  Stream s;
  s.reading("R(pin6,pin14)=60 power=off u=0.5")
      .reading("R(feedpath)=0.15 u=0.02")
      .reading("lamp=lit")
      .link()
      .power(event::PowerState::on)
      .reading("V(src+,src-)=13.0 power=on u=0.02")
      .reading("V(feed,chassis)=12.9 power=on u=0.02")
      .reading("V(chassis,src-)=8mV power=on u=1mV")
      .reading("V(pin16,pin4)=12.9 power=on u=0.02")
      .frames(50)
      .wait(3)
      .asked(event::Ended::answered, 12);
  return s;
}

}  // namespace pin16::readiness
