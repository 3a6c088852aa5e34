// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A stage for plugins: a stream written down event by event, played to a plugin, its results in hand.

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "core/can/wire_bits.hpp"
#include "core/event/batch.hpp"
#include "core/plugin/host.hpp"
#include "core/plugin/runner.hpp"

namespace pin16::plugin::testing {

/// The shipped plugin of that name, as built.
inline std::string shipped(const std::string& name) {
  return std::string(PIN16_BUILD_DIR) + "/plugins/" + name + ".so";
}

inline constexpr Ns kStart_ns = 1'790'000'000'000'000'000;  // some day
constexpr Ns msNs(double ms) { return fromMs(ms); }

/// Times are milliseconds from kStart_ns. One link, number 0, unless said.
class Stage {
 public:
  job::Job job;
  std::uint32_t bitrate = 500000;

  void frame(double ms, std::uint32_t id, const Bytes& data, bool extended = false, bool outbound = false) {
    frame(ms, event::CanFrame::make(id, extended, data), outbound);
  }
  void frame(double ms, const event::CanFrame& f, bool outbound = false) {
    chunk().add(at(ms, 0, outbound), f, can::wireBits(f).total(), f.error() ? 0 : can::wireNs(f, bitrate, 0));
  }
  void error(double ms, std::uint32_t classes, const Bytes& data) {
    event::CanFrame f;
    f.word = classes | event::kErrorFlag;
    f.length = 8;
    std::copy(data.begin(), data.end(), f.data.begin());
    frame(ms, f);
  }
  void sample(double ms, const std::string& point, double value, double uncertainty = 0.02,
              event::PowerState power = event::PowerState::on, Ns aperture_ns = -1) {
    event::Measurement m;
    m.point = point;
    m.value = value;
    m.unit = point[0] == 'I' ? "A" : point[0] == 'V' ? "V" : "ohm";
    m.uncertainty = uncertainty;
    m.power = power;
    m.instrument = "meter";
    m.aperture_ns = aperture_ns;
    chunk().add(at(ms, event::kNoLink), event::Kind::sample, m);
  }
  void power(double ms, event::PowerState state, const std::string& how = "measured") {
    chunk().add(at(ms, event::kNoLink), event::Power{state, how, ""});
  }
  void link(double ms, const event::LinkState& state) { chunk().add(at(ms), state); }
  void serial(double ms, const Bytes& bytes, bool outbound) { chunk().addSerial(at(ms, 0, outbound), bytes); }
  void sent(double ms) { chunk().add(at(ms), event::Sent{{1}, "request"}); }
  void gap(double from_ms, double to_ms) {
    chunk().add(at(to_ms), event::Gap{kStart_ns + msNs(from_ms), kStart_ns + msNs(to_ms), "gone"});
  }
  /// The event's time is the request's plus `complete_ms`, or `end_ms` where nothing came.
  void exchange(double request_ms, event::Exchange x, double end_ms = -1) {
    x.request_ns = kStart_ns + msNs(request_ms);
    chunk().add(at(end_ms >= 0 ? end_ms : request_ms + std::max(0.0, x.complete_ms)), x);
  }
  void message(double ms, const event::Message& m) { chunk().add(at(ms), m); }
  [[nodiscard]] std::uint64_t lastSequence() const { return sequence_; }

  /// Plays everything to the plugin in `path`.
  Results play(const std::string& path) {
    auto runner = runHere(path);
    if (!runner) {
      ADD_FAILURE() << runner.error().text();
      return {};
    }
    const auto settings = job.plugins.find((*runner)->facts().name);
    Setup setup{job.limits, jobFacts(job), settings == job.plugins.end() ? Settings{} : settings->second,
                false};
    (*runner)->start(setup);
    for (const auto& c : chunks_) (*runner)->take(*c);
    (*runner)->finish(last_ns_);
    return (*runner)->takeResults();
  }
  [[nodiscard]] const std::vector<std::unique_ptr<Chunk>>& chunks() const { return chunks_; }
  [[nodiscard]] Ns lastNs() const { return last_ns_; }

 private:
  Chunk::Place at(double ms, std::uint16_t link = 0, bool outbound = false) {
    const Ns t_ns = kStart_ns + msNs(ms);
    last_ns_ = std::max(last_ns_, t_ns);
    return {++sequence_, t_ns, link, outbound ? event::kOutbound : std::uint8_t{0}};
  }
  Chunk& chunk() {
    if (chunks_.empty() || chunks_.back()->full()) chunks_.push_back(std::make_unique<Chunk>());
    return *chunks_.back();
  }
  std::vector<std::unique_ptr<Chunk>> chunks_;
  std::uint64_t sequence_ = 0;
  Ns last_ns_ = kStart_ns;
};

inline const Finding* findingOf(const Results& r, const std::string& code) {
  for (const Finding& f : r.findings)
    if (f.code == code) return &f;
  return nullptr;
}
inline const Figure* rowOf(const Results& r, const std::string& section, const std::string& what) {
  for (const Section& s : r.sections)
    if (s.title.find(section) != std::string::npos)
      for (const Figure& f : s.rows)
        if (f.what == what) return &f;
  return nullptr;
}
inline std::uint64_t counterOf(const Results& r, const std::string& name) {
  for (std::size_t i = 0; i < r.facts.counters.size(); ++i)
    if (r.facts.counters[i].name == name) return r.counters[i];
  ADD_FAILURE() << "no counter " << name;
  return 0;
}
inline std::string allTexts(const Results& r) {
  std::string out;
  for (const Finding& f : r.findings) out += f.code + ": " + f.text + "\n";
  return out;
}

}  // namespace pin16::plugin::testing
