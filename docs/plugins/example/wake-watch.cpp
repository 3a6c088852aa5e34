// SPDX-License-Identifier: CC0-1.0
// A whole plugin: how long after each power-up the first frame comes, and whether that is longer than it should be.
#include <pin16/plugin.hpp>

class WakeWatch : public pin16::Plugin {
 public:
  // What it is, which events it wants, what can be set, what it gives: all of it data.
  static constexpr pin16::Card card{"wake-watch", "1.0", "time from power-up to the first frame",
                                    pin16::bits(PIN16_FRAME, PIN16_POWER)};
  static constexpr pin16_setting settings[] = {
      pin16::numberSetting("longest_ms", "ms", 2000, 1, 600000, "a first frame later than this is worth a word"),
  };
  static constexpr pin16_series series[] = {
      pin16::oneSeries("wake", "ms", "power-up to the first frame", PIN16_CHART_DOTS),
  };
  static constexpr pin16_counter counters[] = {pin16::oneCounter("power-ups", "times the module was fed")};

  explicit WakeWatch(const pin16_host& host) : Plugin(host), longest_ms_(number("longest_ms")) {}

  void onPower(const pin16::Event& e, const pin16_power& p) override {
    if (p.state != PIN16_POWER_ON || e.t_ns == PIN16_NO_TIME) return;
    count(0);
    fed_ns_ = e.t_ns;
  }

  void onFrame(const pin16::Event& e, const pin16_frame& f) override {
    const bool ours = (e.flags & PIN16_OUTBOUND) != 0, error = (f.flags & PIN16_ERROR) != 0;
    if (fed_ns_ == PIN16_NO_TIME || ours || error || e.t_ns == PIN16_NO_TIME) return;
    const double ms = static_cast<double>(e.t_ns - fed_ns_) / 1e6;
    fed_ns_ = PIN16_NO_TIME;
    sample(0, e.t_ns, ms);
    if (ms <= longest_ms_) return;
    pin16::Finding late;
    late.code = "slow-wake";
    late.text = "the first frame came only " + std::to_string(static_cast<int>(ms)) + " ms after the feed";
    late.figures = {{"first frame", ms, "ms"}};
    late.events = {e.sequence};
    late.t_ns = e.t_ns;
    late.link = e.link;
    find(late);
  }

 private:
  const double longest_ms_;
  std::int64_t fed_ns_ = PIN16_NO_TIME;
};

PIN16_PLUGIN(WakeWatch)
