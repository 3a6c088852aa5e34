// SPDX-License-Identifier: Apache-2.0
// error-watch: error frames by class and place, controller states and counters, bursts and what the supply
// did then; three patterns that name their reason: a lone sender, our own unacknowledged sending, a wrong bit
// rate. Classes, bits and locations: linux/can/error.h. Why a lone sender never goes bus-off: CAN FD
// specification, fault confinement, exception for acknowledge errors of an error-passive sender.
#include <algorithm>
#include <cstring>
#include <map>
#include <optional>
#include <set>

#include "common/chance.hpp"
#include "common/words.hpp"
#include "pin16/plugin.hpp"

namespace {

using namespace pin16;
using words::counted;
using words::fixed;

constexpr std::uint32_t kTxTimeout = 0x1, kLostArbitration = 0x2, kController = 0x4, kProtocol = 0x8,
                        kTransceiver = 0x10, kAck = 0x20, kBusOff = 0x40, kBusError = 0x80,
                        kRestarted = 0x100, kCounters = 0x200;
struct Class {
  std::uint32_t bit;
  const char* name;
};
constexpr Class kClasses[] = {{kTxTimeout, "transmit time-out"},
                              {kLostArbitration, "lost arbitration"},
                              {kController, "controller state"},
                              {kProtocol, "protocol violation"},
                              {kTransceiver, "transceiver"},
                              {kAck, "no acknowledge"},
                              {kBusOff, "bus-off"},
                              {kBusError, "bus error"},
                              {kRestarted, "controller restarted"},
                              {kCounters, "error counters"}};
// data[2] of a protocol violation.
constexpr std::uint8_t kBit = 0x01, kForm = 0x02, kStuff = 0x04, kBit0 = 0x08, kBit1 = 0x10, kOverload = 0x20;
constexpr Class kKinds[] = {{kBit, "single bit"},
                            {kForm, "form"},
                            {kStuff, "bit stuffing"},
                            {kBit0, "bit 0 not sent"},
                            {kBit1, "bit 1 not sent"},
                            {kOverload, "overload"},
                            {0x40, "active error announced"},
                            {0x80, "on transmission"}};
// data[3] of a protocol violation: the places that say something to a person.
constexpr Class kPlaces[] = {{0x03, "start of frame"},
                             {0x02, "identifier"},
                             {0x06, "identifier"},
                             {0x0B, "length code"},
                             {0x0A, "data"},
                             {0x08, "CRC sequence"},
                             {0x18, "CRC delimiter"},
                             {0x19, "acknowledge slot"},
                             {0x1B, "acknowledge delimiter"},
                             {0x1A, "end of frame"},
                             {0x12, "intermission"}};
constexpr int kPassiveAt = 128, kBusOffAt = 256;  // CAN specification, fault confinement
// A pattern is named from this many errors, or identical frames, on (own figure).
constexpr std::uint64_t kPatternMin = 10;
// Identical frames are back to back when the next starts within this share of its own length after the last
// (own figure: a controller repeats at once, 3 bits of intermission; stamps jitter).
constexpr double kBackToBack = 3.0;

class ErrorWatch : public Plugin {
 public:
  static constexpr Card card{"error-watch", "1.0",
                             "error frames, controller states, bursts and their reasons",
                             bits(PIN16_FRAME, PIN16_LINK, PIN16_SAMPLE, PIN16_POWER, PIN16_SENT, PIN16_GAP)};
  static constexpr pin16_setting settings[] = {
      numberSetting("burst_count", "1", 5, 2, 10000, "error frames that make a burst"),
      numberSetting("burst_ms", "ms", 100, 1, 10000, "time within which they come"),
      numberSetting("near_ms", "ms", 100, 1, 10000,
                    "how close a supply event must be to count as coinciding"),
      numberSetting("step_V", "V", 0.5, 0.05, 24,
                    "change between two samples of a supply point that counts as an event"),
  };
  static constexpr pin16_series series[] = {
      oneSeries("tx-errors", "1", "transmit error counter, where the driver gives it", PIN16_CHART_STEP),
      oneSeries("rx-errors", "1", "receive error counter, where the driver gives it", PIN16_CHART_STEP),
  };
  static constexpr pin16_counter counters[] = {
      oneCounter("error-frames", "error frames of all classes"),
      oneCounter("bus-off", "times a controller went bus-off"),
      oneCounter("bursts", "bursts of error frames"),
  };

  explicit ErrorWatch(const pin16_host& h)
      : Plugin(h),
        burst_count_(static_cast<std::size_t>(number("burst_count"))),
        burst_ns_(static_cast<std::int64_t>(number("burst_ms") * 1e6)),
        near_ns_(static_cast<std::int64_t>(number("near_ms") * 1e6)),
        step_V_(number("step_V")) {}

  void onFrame(const Event& e, const pin16_frame& f) override {
    see(e.t_ns);
    Link& on = links_[e.link];
    if ((f.flags & PIN16_ERROR) == 0) return plainFrame(on, e, f);
    ++on.errors;
    for (const Class& c : kClasses)
      if ((f.id & c.bit) != 0) ++on.classes[c.name];
    if ((f.id & kProtocol) != 0) {
      for (const Class& k : kKinds)
        if ((f.data[2] & k.bit) != 0) ++on.kinds[k.name];
      if (f.data[3] != 0) ++on.places[placeName(f.data[3])];
      if ((f.data[2] & (kStuff | kForm)) != 0) ++on.stuff_or_form;
      if ((f.data[2] & (kBit | kBit0 | kBit1)) != 0) ++on.bit_errors;
      if ((f.data[2] & kForm) != 0) ++on.form;
    }
    if ((f.id & kAck) != 0 || ((f.id & kProtocol) != 0 && f.data[3] == 0x19)) {
      ++on.no_acknowledge;
      on.acknowledge_events.push_back(e.sequence);
    }
    if ((f.id & (kAck | kProtocol | kBusError)) != 0) burst(on, e);
    if ((f.id & kCounters) != 0) countersAre(on, e.t_ns, f.data[6], f.data[7]);
    if ((f.id & kBusOff) != 0) busOff(on, e);
    if ((f.id & kRestarted) != 0) recovered(on, e);
  }
  void onLink(const Event& e, const pin16_link_state& s) override {
    see(e.t_ns);
    if (e.link == PIN16_NO_LINK) return;
    Link& on = links_[e.link];
    on.silence = s.silence;
    on.bitrate = s.bitrate;
    const std::string_view state = view(s.controller);
    if (s.tx_errors >= 0) countersAre(on, e.t_ns, s.tx_errors, s.rx_errors);
    if (state != "unknown" && !state.empty() && state != on.state) {
      if (state == "bus-off") busOff(on, e);
      if (on.state == "bus-off") recovered(on, e);
      on.state = state;
    }
  }
  void onSent(const Event& e, const pin16_sent&) override {
    see(e.t_ns);
    if (e.link != PIN16_NO_LINK) ++links_[e.link].sent;
  }
  void onSample(const Event& e, const pin16_measurement& m) override {
    see(e.t_ns);
    const std::string point(view(m.point));
    if (point.rfind("V(", 0) != 0 || point.find("pin6") != std::string::npos ||
        point.find("pin14") != std::string::npos)
      return;  // bus wires are no supply
    const auto before = volts_.find(point);
    if (before != volts_.end() && std::abs(m.value - before->second) >= step_V_ && e.t_ns != PIN16_NO_TIME)
      supply_events_.push_back(e.t_ns);
    volts_[point] = m.value;
  }
  void onPower(const Event& e, const pin16_power&) override {
    see(e.t_ns);
    if (e.t_ns != PIN16_NO_TIME) supply_events_.push_back(e.t_ns);
  }

  void onFinish(std::int64_t end_ns) override {
    if (end_ns != PIN16_NO_TIME) see(end_ns);
    for (auto& [link, on] : links_) {
      closeBurst(on);
      count(0, on.errors);
      count(1, on.bus_offs);
      count(2, on.bursts.size());
      report(link, on);
      loneSender(link, on);
      unacknowledged(link, on);
      wrongRate(link, on);
      coincidence(link, on);
    }
  }

 private:
  struct Burst {
    std::int64_t from_ns = PIN16_NO_TIME, to_ns = PIN16_NO_TIME;
    std::uint64_t count = 0, first_sequence = 0;
  };
  struct Run {  // of identical frames
    std::uint32_t id = 0;
    std::uint8_t flags = 0, length = 0;
    std::uint8_t data[64] = {};  // `length` of them count
    std::uint64_t length_frames = 0, first_sequence = 0;
    std::int64_t last_ns = PIN16_NO_TIME, first_ns = PIN16_NO_TIME;
    bool valid = false;
  };
  struct Link {
    std::string state;
    std::uint32_t silence = PIN16_SILENCE_CANNOT, bitrate = 0;
    std::uint64_t frames = 0, outbound = 0, sent = 0, errors = 0, bus_offs = 0, recoveries = 0;
    std::uint64_t stuff_or_form = 0, form = 0, bit_errors = 0, no_acknowledge = 0;
    std::map<std::string, std::uint64_t> classes, kinds, places;
    std::vector<std::uint64_t> acknowledge_events, bus_off_events;
    std::set<std::uint32_t> identifiers;  // at most three are kept: one, or more than one
    int tx_errors = -1, rx_errors = -1, tx_most = -1;
    Run run, longest;
    std::vector<Burst> bursts;
    std::vector<std::pair<std::int64_t, std::uint64_t>> recent;  // errors of the burst under way
  };

  static std::string placeName(std::uint8_t place) {
    for (const Class& p : kPlaces)
      if (p.bit == place) return p.name;
    char out[8];
    std::snprintf(out, sizeof out, "%02x", place);
    return std::string("place ") + out;
  }
  void see(std::int64_t t_ns) {
    if (t_ns == PIN16_NO_TIME) return;
    if (first_ns_ == PIN16_NO_TIME) first_ns_ = t_ns;
    first_ns_ = std::min(first_ns_, t_ns);
    last_ns_ = std::max(last_ns_, t_ns);
  }
  void plainFrame(Link& on, const Event& e, const pin16_frame& f) {
    ++on.frames;
    if ((e.flags & PIN16_OUTBOUND) != 0) {
      ++on.outbound;
      return;
    }
    if (on.identifiers.size() < 3)
      on.identifiers.insert(f.id | ((f.flags & PIN16_EXTENDED) != 0 ? 0x80000000U : 0U));
    Run& r = on.run;
    const std::int64_t most_ns = static_cast<std::int64_t>(kBackToBack * static_cast<double>(f.wire_ns));
    const bool same = r.valid && r.id == f.id && r.flags == f.flags && r.length == f.length &&
                      std::memcmp(r.data, f.data, f.length) == 0 &&
                      (f.wire_ns == 0 || r.last_ns == PIN16_NO_TIME || e.t_ns - r.last_ns <= most_ns);
    if (!same) {
      keepLongest(on);
      // With most frames: what does not count is not wiped.
      r.id = f.id, r.flags = f.flags, r.length = f.length, r.valid = true;
      std::memcpy(r.data, f.data, f.length);
      r.length_frames = 0;
      r.first_sequence = e.sequence;
      r.first_ns = e.t_ns;
    }
    ++r.length_frames;
    r.last_ns = e.t_ns;
  }
  static void keepLongest(Link& on) {
    if (on.run.length_frames > on.longest.length_frames) on.longest = on.run;
  }
  void countersAre(Link& on, std::int64_t t_ns, int tx, int rx) {
    if (tx != on.tx_errors && t_ns != PIN16_NO_TIME) sample(0, t_ns, tx);
    if (rx >= 0 && rx != on.rx_errors && t_ns != PIN16_NO_TIME) sample(1, t_ns, rx);
    on.tx_errors = tx;
    on.tx_most = std::max(on.tx_most, tx);
    if (rx >= 0) on.rx_errors = rx;
  }
  void busOff(Link& on, const Event& e) {
    // The state and the error frame tell of the same event.
    if (on.bus_offs > on.recoveries) return;
    ++on.bus_offs;
    on.bus_off_events.push_back(e.sequence);
  }
  static void recovered(Link& on, const Event&) {
    if (on.recoveries < on.bus_offs) ++on.recoveries;
  }
  void burst(Link& on, const Event& e) {
    if (e.t_ns == PIN16_NO_TIME) return;
    if (!on.recent.empty() && e.t_ns - on.recent.back().first > burst_ns_) closeBurst(on);
    on.recent.emplace_back(e.t_ns, e.sequence);
  }
  void closeBurst(Link& on) {
    // The densest part decides: burst_count errors within burst_ms anywhere make the whole stretch a burst.
    bool dense = false;
    for (std::size_t i = 0; i + burst_count_ <= on.recent.size() && !dense; ++i)
      dense = on.recent[i + burst_count_ - 1].first - on.recent[i].first <= burst_ns_;
    if (dense)
      on.bursts.push_back(
          {on.recent.front().first, on.recent.back().first, on.recent.size(), on.recent.front().second});
    on.recent.clear();
  }

  static std::string countsText(const std::map<std::string, std::uint64_t>& counts) {
    std::vector<std::string> parts;
    for (const auto& [name, n] : counts) parts.push_back(name + " " + std::to_string(n));
    return words::joined(parts);
  }
  void report(std::uint16_t link, const Link& on) {
    if (on.errors == 0 && on.bus_offs == 0 && on.tx_errors < 0) return;
    std::vector<Figure> rows;
    const double nan = std::nan("");
    rows.push_back({"error frames", static_cast<double>(on.errors), "1", -1, "", countsText(on.classes)});
    if (!on.kinds.empty()) rows.push_back({"kinds of violation", nan, "", -1, "", countsText(on.kinds)});
    if (!on.places.empty()) rows.push_back({"places", nan, "", -1, "", countsText(on.places)});
    const auto counter = [&](const char* what, int value) {
      rows.push_back(
          {what, value < 0 ? nan : value, "1", -1, "", value < 0 ? "unknown: the driver gives none" : ""});
    };
    counter("transmit error counter, last", on.tx_errors);
    counter("receive error counter, last", on.rx_errors);
    rows.push_back({"bus-off", static_cast<double>(on.bus_offs), "1", -1, "",
                    "of which " + std::to_string(on.recoveries) + " ended"});
    rows.push_back({"bursts", static_cast<double>(on.bursts.size()), "1", -1, "", ""});
    section("errors on link " + std::to_string(link), "", rows);
    if (on.bus_offs == 0) return;
    Finding f;
    f.code = "bus-off";
    f.text = "our controller went bus-off " + counted(on.bus_offs, "time") +
             ": what it sent was destroyed again and again. Look for a short, swapped wires or a wrong bit "
             "rate before "
             "anything is sent again";
    f.step = "traffic";
    // What is over speaks against nothing now.
    f.weight = on.bus_offs > on.recoveries ? PIN16_AGAINST : PIN16_WARNING;
    f.figures = {{"bus-off", static_cast<double>(on.bus_offs), "1", -1, "", ""}};
    f.events = on.bus_off_events;
    f.link = link;
    find(f);
  }

  /// Beside a listen-only link a lone sender repeats one frame for ever: nobody acknowledges it.
  void loneSender(std::uint16_t link, Link& on) {
    keepLongest(on);
    const bool one_identifier = on.identifiers.size() == 1;
    if (!one_identifier || on.outbound != 0 || on.silence == PIN16_SILENCE_CANNOT ||
        on.longest.length_frames < kPatternMin)
      return;
    Finding f;
    f.code = "lone-sender";
    f.text = "one module repeats " + words::idText(on.longest.id, (on.longest.flags & PIN16_EXTENDED) != 0) +
             " back to back (" + counted(on.longest.length_frames, "identical frame") +
             ") and nobody acknowledges it; we are listen-only and cannot. It lives; nothing else on this "
             "bus does. An "
             "interface that takes part will end the repeats";
    f.step = "traffic";
    f.weight = PIN16_FACT;
    f.figures = {{"identical frames", static_cast<double>(on.longest.length_frames), "1", -1, "", ""},
                 {"form errors", static_cast<double>(on.form), "1", -1, "", ""}};
    f.events = {on.longest.first_sequence};
    f.confidence = on.silence == PIN16_SILENCE_PROVEN ? 0.95 : 0.85;
    f.t_ns = on.longest.first_ns;
    f.link = link;
    find(f);
    evidence("pattern(lone sender)", 1, "1", 0, on.longest.first_ns);
  }
  /// Our own frames meet nobody: acknowledge errors only, the counter stops at 128, never bus-off.
  void unacknowledged(std::uint16_t link, const Link& on) {
    if (on.no_acknowledge < kPatternMin && !(on.no_acknowledge > 0 && on.tx_most >= kPassiveAt)) return;
    if (on.sent + on.outbound == 0 || on.bus_offs != 0 || on.bit_errors != 0 || on.tx_most >= kBusOffAt)
      return;
    const bool answered = on.frames > on.outbound;
    Finding f;
    f.code = "unacknowledged";
    f.text =
        answered
            ? "our own frames were not acknowledged for a time, though others are heard"
            : "our own frames are not acknowledged and nobody else is heard: we are alone on this bus. Check "
              "that the module is fed and that both bus wires reach it";
    f.step = "traffic";
    f.weight = answered ? PIN16_FACT : PIN16_WARNING;
    f.figures = {{"acknowledge errors", static_cast<double>(on.no_acknowledge), "1", -1, "", ""},
                 {"transmit error counter, most", on.tx_most < 0 ? std::nan("") : on.tx_most, "1", -1, "",
                  on.tx_most < 0 ? "unknown: the driver gives none"
                                 : "128 is where it stops when only the acknowledge is missing"}};
    f.events.assign(on.acknowledge_events.begin(),
                    on.acknowledge_events.begin() +
                        static_cast<std::ptrdiff_t>(std::min<std::size_t>(16, on.acknowledge_events.size())));
    f.confidence = on.tx_most >= kPassiveAt ? 0.95 : 0.8;
    f.link = link;
    find(f);
    evidence("pattern(unacknowledged)", 1, "1", 0, last_ns_);
  }
  /// Only stuff and form errors and never a frame: the bits are there, our clock is not theirs.
  void wrongRate(std::uint16_t link, const Link& on) {
    if (on.frames != on.outbound || on.stuff_or_form < kPatternMin ||
        on.no_acknowledge > on.stuff_or_form / 10 || on.bit_errors > on.stuff_or_form / 10)
      return;
    Finding f;
    f.code = "wrong-bit-rate";
    f.text =
        "only stuff and form errors and not one whole frame: the bus is alive, but at another bit rate "
        "than " +
        (on.bitrate == 0 ? std::string("ours")
                         : fixed(on.bitrate / 1e3, on.bitrate % 1000 == 0 ? 0 : 3) + " kbit/s") +
        ". Listen at another rate, listen-only; send nothing";
    f.step = "traffic";
    f.weight = PIN16_AGAINST;
    f.figures = {{"stuff and form errors", static_cast<double>(on.stuff_or_form), "1", -1, "", ""},
                 {"whole frames", 0, "1", -1, "", ""}};
    f.confidence = 0.85;
    f.link = link;
    find(f);
    evidence("pattern(wrong bit rate)", 1, "1", 0, last_ns_);
  }
  void coincidence(std::uint16_t link, const Link& on) {
    if (on.bursts.empty()) return;
    std::uint64_t near = 0;
    Finding f;
    for (const Burst& b : on.bursts) {
      f.events.push_back(b.first_sequence);
      near += std::any_of(supply_events_.begin(), supply_events_.end(), [&](std::int64_t t) {
        return b.from_ns >= t - near_ns_ && b.from_ns <= t + near_ns_;
      });
    }
    const double share = chance::shareNear(supply_events_, near_ns_, near_ns_, first_ns_, last_ns_);
    const std::uint64_t all = on.bursts.size();
    f.code = "error-bursts";
    f.text = counted(all, "burst") + " of error frames";
    if (!supply_events_.empty()) {
      const double p = chance::atLeast(near, all, share);
      f.text += ", " + std::to_string(near) + " of " + std::to_string(all) + " within " +
                fixed(words::ms(near_ns_), 0) + " ms of a supply event";
      f.figures.push_back({"by chance alone", p, "1", -1, "",
                           "probability of at least as many, if bursts fell anywhere in the recording"});
      f.confidence = near == 0 ? 1 : std::max(0.0, 1 - p);
    }
    f.figures.push_back({"bursts", static_cast<double>(all), "1", -1, "", ""});
    f.t_ns = on.bursts.front().from_ns;
    f.link = link;
    find(f);
  }

  const std::size_t burst_count_;
  const std::int64_t burst_ns_, near_ns_;
  const double step_V_;
  std::map<std::uint16_t, Link> links_;
  std::map<std::string, double> volts_;
  std::vector<std::int64_t> supply_events_;
  std::int64_t first_ns_ = PIN16_NO_TIME, last_ns_ = PIN16_NO_TIME;
};

}  // namespace

PIN16_PLUGIN(ErrorWatch)
