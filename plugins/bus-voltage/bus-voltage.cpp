// SPDX-License-Identifier: Apache-2.0
// bus-voltage: every measured point of supply, ground and bus wires: range, dips, slope, ripple; what a load
// step says of source and leads; the signature of a power-up; whether interface and module hang on one
// source.
#include <map>

#include "bus-voltage/channel.hpp"
#include "common/chance.hpp"
#include "common/words.hpp"
#include "pin16/plugin.hpp"

namespace {

using namespace pin16;
using namespace pin16::voltage;
using words::counted;
using words::fixed;

/// Whose supply a point shows.
enum class Role { module, interface, source, ground, wire, other };
Role roleOf(std::string_view point) {
  for (const char* p : {"V(feed,chassis)", "V(loadblade,chassis)"})
    if (point == p) return Role::module;
  for (const char* p : {"V(pin16,pin4)", "V(pin16,pin5)", "V(interface+,interface-)"})
    if (point == p) return Role::interface;
  if (point == "V(src+,src-)" || point == "V(battery+,battery-)") return Role::source;
  if (point == "V(chassis,src-)" || point == "V(pin4,pin5)") return Role::ground;
  if (point == "V(pin6,pin4)" || point == "V(pin14,pin4)" || point == "V(pin6,pin14)") return Role::wire;
  return Role::other;
}

class BusVoltage : public Plugin {
 public:
  static constexpr Card card{
      "bus-voltage", "1.0",
      "ranges, dips, slope and steps of every supply channel; power-up signature; one source",
      bits(PIN16_SAMPLE, PIN16_READING, PIN16_POWER)};
  static constexpr pin16_setting settings[] = {
      numberSetting("dip_V", "V", 0.5, 0.05, 24, "how far below the median a dip begins"),
      numberSetting("step_A", "A", 0.2, 0.01, 100, "change of the feed current that counts as a load step"),
      numberSetting("near_ms", "ms", 500, 1, 60000,
                    "how far volts may be sampled from the step of the current"),
      numberSetting("slope_span_s", "s", 10, 1, 86400, "shortest stretch that a slope is fitted to"),
      numberSetting("ripple_Hz", "Hz", 50, 1, 1e6, "bandwidth that ripple asks of the meter"),
      numberSetting("signature_s", "s", 10, 0.1, 600,
                    "length of the feed current's signature after a power-up"),
  };
  static constexpr pin16_series series[] = {
      oneSeries("module-supply", "V", "at the module's feed", PIN16_CHART_LINE, "supply.module_min_V",
                "supply.module_max_V"),
      oneSeries("interface-supply", "V", "pin 16, or the interface's own lead", PIN16_CHART_LINE,
                "supply.interface_min_V"),
      oneSeries("source", "V", "at the source's terminals"),
      oneSeries("ground-drop", "V", "between grounds that should be one"),
      oneSeries("feed-current", "A", "through the feed lead"),
  };
  static constexpr pin16_counter counters[] = {
      oneCounter("power-ups", "times the module's feed came on, as measured or declared"),
      oneCounter("samples", "samples of all channels"),
      oneCounter("dips", "dips of all supply channels"),
  };

  explicit BusVoltage(const pin16_host& h)
      : Plugin(h),
        dip_V_(number("dip_V")),
        step_A_(number("step_A")),
        near_ns_(static_cast<std::int64_t>(number("near_ms") * 1e6)),
        span_ns_(static_cast<std::int64_t>(number("slope_span_s") * 1e9)),
        ripple_Hz_(number("ripple_Hz")),
        signature_ns_(static_cast<std::int64_t>(number("signature_s") * 1e9)) {
    const bool is24 = job().nominal_V > 18;
    module_min_V_ = std::isnan(job().supply_min_V)
                        ? limit(is24 ? "supply.module_min_24_V" : "supply.module_min_V")
                        : job().supply_min_V;
    module_max_V_ = std::isnan(job().supply_max_V)
                        ? limit(is24 ? "supply.module_max_24_V" : "supply.module_max_V")
                        : job().supply_max_V;
    interface_min_V_ = limit("supply.interface_min_V");
    limit_source_ = std::isnan(job().supply_min_V) ? "supply code C" : "the job's own limit";
  }

  void onSample(const Event& e, const pin16_measurement& m) override { take(e, m, true); }
  void onReading(const Event& e, const pin16_measurement& m) override { take(e, m, false); }
  void onPower(const Event& e, const pin16_power& p) override {
    const bool on = p.state == PIN16_POWER_ON;
    if (on && !on_) {
      count(0);
      if (e.t_ns != PIN16_NO_TIME) power_ups_.push_back({e.t_ns, e.sequence});
    }
    on_ = on;
  }

  void onFinish(std::int64_t) override {
    for (auto& entry : channels_) {
      Channel& c = entry.second;
      // Time order whatever the instruments' delays; the order of equal stamps stays.
      std::stable_sort(c.samples.begin(), c.samples.end(),
                       [](const Sample& a, const Sample& b) { return a.t_ns < b.t_ns; });
      channel(c);
    }
    loadSteps();
    powerUps();
    sameSource();
  }

 private:
  struct PowerUp {
    std::int64_t t_ns;
    std::uint64_t sequence;
  };

  void take(const Event& e, const pin16_measurement& m, bool by_instrument) {
    const std::string_view point = view(m.point);
    if (point.substr(0, 2) != "V(" && point.substr(0, 2) != "I(") return;
    if (e.t_ns == PIN16_NO_TIME) return;
    Channel& c = channels_[std::string(point)];
    c.point = point;
    c.unit = view(m.unit);
    if (c.instrument.empty()) c.instrument = view(m.instrument);
    c.aperture_ns = std::max(c.aperture_ns, m.aperture_ns);
    c.samples.push_back({e.t_ns, m.value, m.uncertainty, e.sequence, m.power == PIN16_POWER_ON});
    if (by_instrument) count(1);
    const int at = point == "I(feed)" ? 4 : seriesOf(roleOf(point));
    if (at >= 0) sample(static_cast<std::uint32_t>(at), e.t_ns, m.value, m.uncertainty);
  }
  static int seriesOf(Role r) {
    switch (r) {
      case Role::module:
        return 0;
      case Role::interface:
        return 1;
      case Role::source:
        return 2;
      case Role::ground:
        return 3;
      default:
        return -1;
    }
  }
  static std::string bandText(double hz) {
    return hz <= 0 ? "bandwidth not known" : "bandwidth " + (hz < 1 ? fixed(hz, 2) : fixed(hz, 0)) + " Hz";
  }

  void channel(const Channel& c) {
    const std::vector<Sample> on = fed(c.samples);
    const std::vector<Sample>& use = on.empty() ? c.samples : on;
    const double hz = bandwidth_Hz(c);
    const double worst = std::max_element(use.begin(), use.end(), [](const Sample& a, const Sample& b) {
                           return a.uncertainty < b.uncertainty;
                         })->uncertainty;
    const auto [low, high] = std::minmax_element(
        use.begin(), use.end(), [](const Sample& a, const Sample& b) { return a.value < b.value; });
    double sum = 0;
    for (const Sample& s : use) sum += s.value;
    std::vector<Figure> rows;
    const auto row = [&](const char* what, double value, const std::string& limit_name,
                         const std::string& text) {
      rows.push_back({what, value, c.unit, worst, limit_name, text});
    };
    const Role role = roleOf(c.point);
    const char* min_limit = role == Role::module      ? "supply.module_min_V"
                            : role == Role::interface ? "supply.interface_min_V"
                                                      : "";
    row("minimum", low->value, min_limit, bandText(hz));
    row("maximum", high->value, role == Role::module ? "supply.module_max_V" : "", bandText(hz));
    row("mean", sum / static_cast<double>(use.size()), "",
        counted(use.size(), "sample") + (on.empty() ? ", module not fed" : " with the module fed"));
    if (c.unit == "V" && (role == Role::module || role == Role::interface || role == Role::source)) {
      dipRows(c, on, rows);
      slopeRows(c, on, rows);
      rippleRow(on, hz, rows);
      if (role == Role::module) classRow(low->value, high->value, rows);
      judge(c, role, on, *low, *high);
    }
    section(c.point + (c.instrument.empty() ? "" : ", " + c.instrument), "", rows);
  }

  void dipRows(const Channel& c, const std::vector<Sample>& on, std::vector<Figure>& rows) {
    const std::vector<Dip> found = dips(on, dip_V_);
    if (found.empty()) {
      if (!on.empty())
        rows.push_back({"dips", 0, "1", -1, "", "none seen deeper than " + fixed(dip_V_, 2) + " V"});
      return;
    }
    count(2, found.size());
    const Dip& deepest = *std::max_element(found.begin(), found.end(),
                                           [](const Dip& a, const Dip& b) { return a.depth < b.depth; });
    rows.push_back({"dips", static_cast<double>(found.size()), "1", -1, "", ""});
    rows.push_back({"deepest dip", deepest.depth, "V", -1, "", "down to " + fixed(deepest.lowest, 2) + " V"});
    rows.push_back({"its length", deepest.length_ms(), "ms", -1, "",
                    deepest.open ? "not over when the samples ended" : ""});
    rows.push_back({"its recovery", deepest.open ? std::nan("") : deepest.recovery_ms(), "ms", -1, "",
                    deepest.open ? "not seen" : ""});
    Finding f;
    f.code = "supply-dip";
    f.text = c.point + " dipped " + counted(found.size(), "time") + ", down to " + fixed(deepest.lowest, 2) +
             " V for " + fixed(deepest.length_ms(), 0) +
             " ms; dips shorter than the meter sees may be missing";
    f.figures = {{"depth", deepest.depth, "V", -1, "", ""},
                 {"length", deepest.length_ms(), "ms", -1, "", ""}};
    for (const Dip& d : found)
      if (f.events.size() < 32) f.events.push_back(d.sequence);
    f.t_ns = deepest.lowest_ns;
    find(f);
  }
  void slopeRows(const Channel& c, const std::vector<Sample>& on, std::vector<Figure>& rows) {
    const auto line = fit(on, span_ns_);
    if (!line) return;
    rows.push_back({"slope", line->per_s * 60, "V/min", line->per_s_sigma * 60, "",
                    "least squares, one standard error"});
    const double limit_V = roleOf(c.point) == Role::interface ? interface_min_V_ : module_min_V_;
    const auto time = left(*line, limit_V);
    if (!time) return;
    rows.push_back({"left above " + fixed(limit_V, 1) + " V", time->seconds / 60, "min", time->sigma / 60, "",
                    "if it goes on falling like this"});
    if (time->seconds > 3600) return;
    Finding f;
    f.code = "supply-falls";
    f.text = c.point + " falls by " + fixed(-line->per_s * 60, 3) + " V a minute: about " +
             fixed(time->seconds / 60, 1) + " min are left above " + fixed(limit_V, 1) +
             " V. Charge or change the source before the attempt";
    f.step = "source";
    f.weight = time->seconds < 600 ? PIN16_WARNING
                                   : PIN16_FACT;  // ten minutes: shorter than many an attempt (own figure)
    f.figures = {{"minutes left", time->seconds / 60, "min", time->sigma / 60, "", ""}};
    f.t_ns = line->end_ns;
    f.confidence = 0.9;
    find(f);
    evidence("slope(" + c.point + ")", line->per_s, "V/s", line->per_s_sigma, line->end_ns);
  }
  void rippleRow(const std::vector<Sample>& on, double hz, std::vector<Figure>& rows) {
    if (hz < ripple_Hz_ || on.size() < 16) {
      rows.push_back({"ripple", std::nan(""), "", -1, "", "not measured: " + bandText(hz)});
      return;
    }
    const auto line = fit(on, 0);
    double square = 0;
    const double middle = line ? 0 : medianOf(on);
    for (const Sample& s : on) {
      const double straight =
          line ? line->at_end + line->per_s * static_cast<double>(s.t_ns - line->end_ns) / 1e9 : middle;
      square += (s.value - straight) * (s.value - straight);
    }
    rows.push_back(
        {"ripple, r.m.s.", std::sqrt(square / static_cast<double>(on.size())), "V", -1, "", bandText(hz)});
  }
  /// Which supply codes of ISO 16750-2 the seen range lies in.
  void classRow(double low, double high, std::vector<Figure>& rows) {
    std::string inside;
    const bool is24 = job().nominal_V > 18;
    for (const char code : std::string_view(is24 ? "EFGH" : "ABCD")) {
      const std::string base = std::string("supply.code_") + code;
      if (low >= limit(base + "_min_V") && high <= limit(base + "_max_V"))
        inside += (inside.empty() ? "" : ", ") + std::string(1, code);
    }
    rows.push_back({"supply codes of ISO 16750-2", std::nan(""), "", -1, "",
                    inside.empty() ? "outside all of them" : "inside " + inside});
  }
  void judge(const Channel& c, Role role, const std::vector<Sample>& on, const Sample& low,
             const Sample& high) {
    if (on.empty()) return;
    // Fed from outside, the connector may be dead by right: then the interface has a lead of its own.
    const bool outside = view(job().arrangement) == "fed-in-place" || view(job().arrangement) == "removed";
    if (outside && c.point.rfind("V(pin16,", 0) == 0) return;
    const double least_V = role == Role::interface ? interface_min_V_
                           : role == Role::module  ? module_min_V_
                                                   : -1;
    if (least_V > 0 && low.value < least_V) {
      const bool now = on.back().value < least_V;
      Finding f;
      f.code = now ? "supply-low" : "supply-was-low";
      f.text = c.point +
               (now ? " is at " + fixed(on.back().value, 2) + " V, below "
                    : " was down to " + fixed(low.value, 2) + " V for a time, below ") +
               fixed(least_V, 1) + " V (" +
               (role == Role::module ? limit_source_ : "supply code C taken for the interface") + ")";
      f.step = role == Role::interface ? "interface" : "feed";
      // What is over does not speak against now.
      f.weight = now ? PIN16_AGAINST : PIN16_WARNING;
      f.figures = {{"lowest", low.value, "V", low.uncertainty,
                    role == Role::module ? "supply.module_min_V" : "supply.interface_min_V", ""}};
      f.events = {low.sequence};
      f.t_ns = low.t_ns;
      find(f);
    }
    if (role == Role::module && high.value > module_max_V_) {
      const bool now = on.back().value > module_max_V_;
      Finding f;
      f.code = now ? "supply-high" : "supply-was-high";
      f.text = c.point + (now ? " is at " : " was up to ") + fixed(now ? on.back().value : high.value, 2) +
               " V, above " + fixed(module_max_V_, 1) + " V: switch the feed off and look at the source";
      f.step = "feed";
      f.weight = now ? PIN16_AGAINST : PIN16_WARNING;
      f.figures = {{"highest", high.value, "V", high.uncertainty, "supply.module_max_V", ""}};
      f.events = {high.sequence};
      f.t_ns = high.t_ns;
      find(f);
    }
  }

  [[nodiscard]] const Channel* find(const char* point) const {
    const auto it = channels_.find(point);
    return it == channels_.end() ? nullptr : &it->second;
  }
  using Plugin::find;

  /// Source and lead resistance from what the volts do when the current steps.
  void loadSteps() {
    const Channel* amperes = find("I(feed)");
    if (amperes == nullptr) return;
    std::vector<Figure> rows;
    for (const auto& entry : channels_) {
      const Channel& c = entry.second;
      const Role role = roleOf(c.point);
      if (role != Role::module && role != Role::source && role != Role::interface) continue;
      const std::vector<Step> found = steps(amperes->samples, c.samples, step_A_, near_ns_);
      const auto all = mean(found);
      if (!all) continue;
      const char* what = role == Role::source   ? "source alone"
                         : role == Role::module ? "source and leads"
                                                : "what interface and module share";
      rows.push_back({c.point, all->ohm, "ohm", all->uncertainty, "",
                      std::string(what) + ", from " + counted(all->count, "load step")});
      Finding f;
      f.code = "step-resistance";
      // What is less than its own uncertainty is only an upper bound.
      f.text = "load steps at " + c.point +
               (std::abs(all->ohm) < all->uncertainty
                    ? " show less than " + fixed(std::abs(all->ohm) + all->uncertainty, 3) + " ohm"
                    : " give " + fixed(all->ohm, 3) + " ohm" +
                          (all->uncertainty >= 0 ? " +/- " + fixed(all->uncertainty, 3) : "")) +
               " (" + what + ")";
      f.figures = {{"resistance", all->ohm, "ohm", all->uncertainty, "", ""}};
      for (const Step& s : found)
        if (f.events.size() + 1 < 32) f.events.push_back(s.sequence_A), f.events.push_back(s.sequence_V);
      f.t_ns = found.front().t_ns;
      find(f);
      evidence("R(step " + c.point + ")", all->ohm, "ohm", all->uncertainty, found.front().t_ns);
    }
    if (!rows.empty()) section("load steps", "-dV / dI where the feed current stepped", rows);
  }

  void powerUps() {
    const Channel* amperes = find("I(feed)");
    if (amperes == nullptr) return;
    const bool own_bands = !std::isnan(job().current_steady_max_A);
    const double least_A = std::isnan(job().current_steady_min_A)
                               ? 0.1
                               : job().current_steady_min_A;  // general knowledge, no source
    const double most_A = own_bands ? job().current_steady_max_A : limit("hint.module_current_max_A");
    const std::string bands = own_bands ? "the job's bands" : "an estimate: the job has no bands";
    std::vector<Figure> rows;
    for (std::size_t k = 0; k < power_ups_.size(); ++k) {
      const std::int64_t from_ns = power_ups_[k].t_ns;
      const std::int64_t to_ns =
          std::min(from_ns + signature_ns_, k + 1 < power_ups_.size() ? power_ups_[k + 1].t_ns : INT64_MAX);
      std::vector<Sample> after;
      for (const Sample& s : amperes->samples)
        if (s.on && s.t_ns >= from_ns && s.t_ns < to_ns) after.push_back(s);
      const auto sig = signature(after, from_ns);
      if (!sig) continue;
      const std::string which = "power-up " + std::to_string(k + 1);
      rows.push_back({which + " steady", sig->steady_A, "A", -1, "", bands});
      rows.push_back({which + " peak", sig->peak_A, "A", -1, "", "as far as the meter's aperture shows it"});
      rows.push_back({which + " charge above steady", sig->charge_As, "As", -1, "", ""});
      rows.push_back({which + " settling", sig->settling_ms < 0 ? std::nan("") : sig->settling_ms, "ms", -1,
                      "", sig->settling_ms < 0 ? "did not settle" : ""});
      Finding f;
      f.figures = {{"steady", sig->steady_A, "A", -1, "", ""}};
      f.events = {power_ups_[k].sequence, after.back().sequence};
      f.t_ns = from_ns;
      f.confidence = own_bands ? 0.9 : 0.6;
      // 5 % of the least that the module draws, at least 5 mA, is a lead with nothing at its end (own
      // figure).
      if (sig->steady_A < std::max(0.05 * least_A, 0.005)) {
        f.code = "nothing-connected";
        f.text = which + ": the feed draws " + fixed(sig->steady_A * 1e3, 1) +
                 " mA, as if nothing were connected (" + bands + ")";
      } else if (sig->steady_A > most_A) {
        f.code = "whole-circuit-fed";
        f.text = which + ": the feed draws " + fixed(sig->steady_A, 2) + " A, more than the module alone (" +
                 fixed(most_A, 2) + " A, " + bands +
                 "): a whole circuit is being fed. Look on which blade of the fuse slot the feed sits";
      } else if (sig->steady_A < least_A) {
        f.code = "draws-little";
        f.text = which + ": the feed draws " + fixed(sig->steady_A, 3) +
                 " A, less than the module running (" + fixed(least_A, 2) + " A, " + bands + ")";
      } else {
        f.code = "module-alone";
        f.text =
            which + ": the feed draws " + fixed(sig->steady_A, 2) + " A, as the module alone (" + bands + ")";
      }
      find(f);
      evidence("I(feed)", sig->steady_A, "A", -1, from_ns);
    }
    if (!rows.empty()) section("signature of power-ups", "feed current after the feed came on", rows);
  }

  /// Do interface and module move together when the load steps? A shared source makes both move; two sources
  /// cannot.
  void sameSource() {
    const Channel* amperes = find("I(feed)");
    const Channel* interface = nullptr;
    for (const char* p : {"V(interface+,interface-)", "V(pin16,pin4)", "V(pin16,pin5)"})
      if (interface == nullptr) interface = find(p);
    Finding f;
    f.code = "same-source";
    std::uint64_t all = 0, together = 0, still = 0;
    if (amperes != nullptr && interface != nullptr) {
      for (const Step& s : steps(amperes->samples, interface->samples, step_A_, near_ns_)) {
        // A move counts beyond what two readings of that uncertainty do by themselves.
        const double noise_V = noiseOf(*interface);
        ++all;
        if (-s.change_V / s.change_A > 0 && std::abs(s.change_V) > noise_V) ++together;
        if (std::abs(s.change_V) <= noise_V) ++still;
        if (f.events.size() < 32) f.events.push_back(s.sequence_V);
      }
    }
    if (all == 0) {
      f.text =
          "whether interface and module hang on one source cannot be told: no load step was sampled on both";
      f.confidence = 0;
      if (amperes != nullptr || interface != nullptr) find(f);
      return;
    }
    f.figures = {{"load steps", static_cast<double>(all), "1", -1, "", ""},
                 {"interface moved with them", static_cast<double>(together), "1", -1, "", ""}};
    const double by_chance = chance::atLeast(together, all, 0.5);
    if (together > still) {
      f.confidence = 1 - by_chance;
      f.text = "interface and module move together on " + std::to_string(together) + " of " +
               counted(all, "load step") + ": one source";
    } else if (still == all) {
      f.code = "source-not-shared-visibly";
      f.confidence = 0.5;
      f.text =
          "the interface's supply does not move when the module's load steps: another source, or one too "
          "stiff for this meter to show it";
    } else {
      f.confidence = 0.3;
      f.text = "whether interface and module hang on one source cannot be told: they moved together on " +
               std::to_string(together) + " of " + counted(all, "load step");
    }
    find(f);
    evidence("share(interface moves with the load)", static_cast<double>(together) / static_cast<double>(all),
             "1", -1, PIN16_NO_TIME);
  }
  static double noiseOf(const Channel& c) {
    double worst = 0;
    for (const Sample& s : c.samples) worst = std::max(worst, s.uncertainty);
    return worst > 0 ? std::sqrt(2.0) * worst / 2
                     : 0.005;  // half a half width, twice; 5 mV where none is stated (own figures)
  }

  const double dip_V_, step_A_;
  const std::int64_t near_ns_, span_ns_;
  const double ripple_Hz_;
  const std::int64_t signature_ns_;
  double module_min_V_ = 0, module_max_V_ = 0, interface_min_V_ = 0;
  std::string limit_source_;
  std::map<std::string, Channel> channels_;
  std::vector<PowerUp> power_ups_;
  bool on_ = false;
};

}  // namespace

PIN16_PLUGIN(BusVoltage)
