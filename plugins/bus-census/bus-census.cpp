// SPDX-License-Identifier: Apache-2.0
// bus-census: who speaks on the bus, how regularly, how much of its time; what came and went with the power;
// who should not be powered at all in this arrangement.
#include <array>
#include <cstring>
#include <map>
#include <set>
#include <unordered_map>

#include "common/words.hpp"
#include "pin16/plugin.hpp"

namespace {

using namespace pin16;
using words::counted;
using words::fixed;
using words::idText;

constexpr std::uint32_t kExtendedKey = 0x80000000U;
// An identifier counts as periodic from this many gaps on, if their spread is below half their mean (own
// figures).
constexpr std::uint64_t kGapsMin = 8;
constexpr double kSpreadMost = 0.5;
constexpr std::uint32_t kElevenBitKeys = 0x800;
constexpr std::size_t kNamesMost = 12;  // identifiers named in one sentence

/// Mean and spread of gaps by Welford's method: one pass, no list.
struct Gaps {
  std::uint64_t count = 0;
  double mean_ms = 0, square = 0, least_ms = 0, most_ms = 0;
  void add(double gap_ms) {
    ++count;
    const double off = gap_ms - mean_ms;
    mean_ms += off / static_cast<double>(count);
    square += off * (gap_ms - mean_ms);
    least_ms = count == 1 ? gap_ms : std::min(least_ms, gap_ms);
    most_ms = count == 1 ? gap_ms : std::max(most_ms, gap_ms);
  }
  [[nodiscard]] double spread_ms() const {
    return count < 2 ? 0 : std::sqrt(square / static_cast<double>(count - 1));
  }
  [[nodiscard]] bool periodic() const { return count >= kGapsMin && spread_ms() < kSpreadMost * mean_ms; }
};

struct Identifier {
  std::uint64_t count = 0;
  std::int64_t first_ns = PIN16_NO_TIME, last_ns = PIN16_NO_TIME;
  std::uint64_t first_sequence = 0, last_sequence = 0;
  Gaps gaps;
  bool ours = false;         // sent by our own link
  bool message = false;      // carried a diagnostic message
  bool before_feed = false;  // seen while the module was measured to be without its feed
  std::uint8_t length = 0;
  std::array<std::uint8_t, 64> last{}, changed{};
};

/// Time on the wire by windows from the first frame on; a frame counts where it lies, split at a border.
struct LoadWindows {
  std::int64_t start_ns = PIN16_NO_TIME;
  std::int64_t index = 0;
  std::int64_t busy_ns = 0;
};

class BusCensus : public Plugin {
 public:
  static constexpr Card card{
      "bus-census", "1.0", "identifiers with period and changing bytes, load, who should be asleep",
      bits(PIN16_FRAME, PIN16_MESSAGE, PIN16_EXCHANGE, PIN16_POWER, PIN16_GAP, PIN16_LINK)};
  static constexpr pin16_setting settings[] = {
      numberSetting("window_ms", "ms", 1000, 10, 60000, "length of a window of bus load"),
      numberSetting("missing_periods", "1", 10, 2, 1000,
                    "periods without a frame after which an identifier is missing"),
      numberSetting("settle_s", "s", 5, 0.1, 600,
                    "time after a power-up in which identifiers count as come with it"),
  };
  static constexpr pin16_series series[] = {
      oneSeries("load", "1",
                "share of the time in which the bus carried a frame, by window; all links together by turns",
                PIN16_CHART_STEP),
  };
  static constexpr pin16_counter counters[] = {
      oneCounter("frames", "data and remote frames"),
      oneCounter("wire-bits", "bits of them on the wire, stuff bits and intermission included"),
      oneCounter("identifiers", "different identifiers"),
  };

  explicit BusCensus(const pin16_host& h)
      : Plugin(h),
        window_ns_(static_cast<std::int64_t>(number("window_ms") * 1e6)),
        missing_periods_(number("missing_periods")),
        settle_ns_(static_cast<std::int64_t>(number("settle_s") * 1e9)) {}

  void onFrame(const Event& e, const pin16_frame& f) override {
    if ((f.flags & PIN16_ERROR) != 0) return;
    ++frames_;
    wire_bits_ += f.wire_bits;
    see(e.t_ns);
    Link& on = links_[e.link];
    if (f.wire_ns != 0 && e.t_ns != PIN16_NO_TIME) load(on, e.t_ns, f.wire_ns);
    Identifier& id = on.of(f.id | ((f.flags & PIN16_EXTENDED) != 0 ? kExtendedKey : 0));
    const std::size_t length = (f.flags & PIN16_REMOTE) != 0 ? 0 : f.length;
    if (id.count == 0) {
      id.first_ns = e.t_ns;
      id.first_sequence = e.sequence;
      id.ours = (e.flags & PIN16_OUTBOUND) != 0;
    } else {
      if (e.t_ns != PIN16_NO_TIME && id.last_ns != PIN16_NO_TIME && id.last_ns >= on.unseen_until_ns)
        id.gaps.add(words::ms(e.t_ns - id.last_ns));
      if (std::memcmp(id.last.data(), f.data, length) != 0)
        for (std::size_t i = 0; i < length; ++i)
          id.changed[i] |= static_cast<std::uint8_t>(id.last[i] ^ f.data[i]);
    }
    std::memcpy(id.last.data(), f.data, length);
    id.length = std::max(id.length, f.length);
    id.last_ns = e.t_ns;
    id.last_sequence = e.sequence;
    if (unfed_ && !id.ours) id.before_feed = true;
    ++id.count;
  }
  void onMessage(const Event& e, const pin16_message& m) override {
    links_[e.link].of(m.id | (m.extended != 0 ? kExtendedKey : 0)).message = true;
  }
  void onExchange(const Event& e, const pin16_exchange& x) override {
    if (x.answer_id == 0 || (x.ended != PIN16_ANSWERED && x.ended != PIN16_NEGATIVE)) return;
    if (job().answer_id >= 0 && static_cast<std::int64_t>(x.answer_id) == job().answer_id) return;
    auto& at = strangers_[x.answer_id | (x.extended != 0 ? kExtendedKey : 0)];
    if (at.empty()) at.push_back(e.sequence);
  }
  void onPower(const Event& e, const pin16_power& p) override {
    see(e.t_ns);
    // What a person declares may come late: only a measured state says what was powered when.
    const bool measured = view(p.how) == "measured";
    unfed_ = measured && (p.state == PIN16_POWER_OFF || p.state == PIN16_POWER_SOURCE);
    unfed_seen_ = unfed_seen_ || unfed_;
    if (p.state == PIN16_POWER_ON && e.t_ns != PIN16_NO_TIME) power_ups_.push_back({e.t_ns, e.sequence});
  }
  void onGap(const Event& e, const pin16_gap& g) override {
    see(e.t_ns);
    for (auto& [link, on] : links_)
      if (e.link == PIN16_NO_LINK || e.link == link)
        on.unseen_until_ns = std::max(on.unseen_until_ns, g.to_ns);
  }
  void onLink(const Event& e, const pin16_link_state&) override { see(e.t_ns); }

  void onFinish(std::int64_t end_ns) override {
    if (end_ns != PIN16_NO_TIME) see(end_ns);
    count(0, frames_);
    count(1, wire_bits_);
    for (auto& [link, on] : links_) {
      closeWindows(on);
      count(2, on.identifiers.size());
      if (on.identifiers.empty()) continue;
      list(link, on);
      missing(link, on);
      comings(link, on);
      awake(link, on);
    }
  }

 private:
  struct Link {
    std::unordered_map<std::uint32_t, Identifier> identifiers;
    std::vector<Identifier*> eleven_bit;  // into `identifiers`: asked for with each frame
    Identifier& of(std::uint32_t key) {
      if (key >= kElevenBitKeys) return identifiers[key];
      if (eleven_bit.empty()) eleven_bit.resize(kElevenBitKeys);
      Identifier*& at = eleven_bit[key];
      if (at == nullptr) at = &identifiers[key];
      return *at;
    }
    LoadWindows window;
    double peak = 0;
    std::int64_t peak_ns = PIN16_NO_TIME;
    double busy_ns = 0;
    std::int64_t unseen_until_ns = PIN16_NO_TIME;
    /// By identifier, 11 bit first.
    [[nodiscard]] std::map<std::uint32_t, const Identifier*> sorted() const {
      std::map<std::uint32_t, const Identifier*> out;
      for (const auto& [key, id] : identifiers)
        if (id.count != 0) out.emplace(key, &id);
      return out;
    }
  };
  struct PowerUp {
    std::int64_t t_ns;
    std::uint64_t sequence;
  };

  static std::string nameOf(std::uint32_t key) {
    return idText(key & ~kExtendedKey, (key & kExtendedKey) != 0);
  }
  static std::string namesOf(const std::vector<std::uint32_t>& keys) {
    std::vector<std::string> names;
    for (std::size_t i = 0; i < std::min(keys.size(), kNamesMost); ++i) names.push_back(nameOf(keys[i]));
    return words::joined(names) +
           (keys.size() > kNamesMost ? " and " + std::to_string(keys.size() - kNamesMost) + " more" : "");
  }
  void see(std::int64_t t_ns) {
    if (t_ns != PIN16_NO_TIME) last_ns_ = std::max(last_ns_, t_ns);
  }

  void load(Link& on, std::int64_t t_ns, std::int64_t wire_ns) {
    LoadWindows& w = on.window;
    on.busy_ns += static_cast<double>(wire_ns);
    std::int64_t from_ns = t_ns - wire_ns;
    if (w.start_ns == PIN16_NO_TIME) w.start_ns = from_ns;
    // A stamp earlier than the open window counts into it.
    from_ns = std::max(from_ns, w.start_ns + w.index * window_ns_);
    while (from_ns < t_ns) {
      const std::int64_t border_ns = w.start_ns + (w.index + 1) * window_ns_;
      if (from_ns >= border_ns) {
        closeWindow(on);
        // Windows in which nothing was heard: one sample at zero stands for all of them.
        const std::int64_t next = (from_ns - w.start_ns) / window_ns_;
        if (next > w.index) {
          sample(0, w.start_ns + (w.index + 1) * window_ns_, 0);
          w.index = next;
        }
        continue;
      }
      const std::int64_t to_ns = std::min(t_ns, border_ns);
      w.busy_ns += to_ns - from_ns;
      from_ns = to_ns;
    }
  }
  void closeWindow(Link& on) {
    LoadWindows& w = on.window;
    const double share = static_cast<double>(w.busy_ns) / static_cast<double>(window_ns_);
    const std::int64_t end_ns = w.start_ns + (w.index + 1) * window_ns_;
    sample(0, end_ns, share);
    if (share > on.peak) on.peak = share, on.peak_ns = end_ns;
    w.busy_ns = 0;
    ++w.index;
  }
  void closeWindows(Link& on) {
    if (on.window.start_ns != PIN16_NO_TIME && on.window.busy_ns != 0) closeWindow(on);
  }

  void list(std::uint16_t link, const Link& on) {
    std::vector<Figure> rows;
    const double nan = std::nan("");
    if (on.window.start_ns != PIN16_NO_TIME) {
      const double span_ns = static_cast<double>(std::max<std::int64_t>(1, last_ns_ - on.window.start_ns));
      rows.push_back({"bus load, mean", on.busy_ns / span_ns, "1", -1, "", "from exact bits"});
      rows.push_back({"bus load, busiest window", on.peak, "1", -1, "",
                      "window of " + fixed(words::ms(window_ns_), 0) + " ms, from the first frame on"});
    }
    for (const auto& [key, id] : on.sorted()) {
      std::string text = counted(id->count, "frame");
      if (id->gaps.periodic())
        text += ", every " + fixed(id->gaps.mean_ms, 2) + " ms, spread " + fixed(id->gaps.spread_ms(), 2) +
                " ms (" + fixed(id->gaps.least_ms, 2) + " to " + fixed(id->gaps.most_ms, 2) + ")";
      else if (id->gaps.count != 0)
        text += ", not periodic";
      std::string mask;
      for (std::size_t i = 0; i < id->length; ++i) mask += id->changed[i] != 0 ? "*" : ".";
      if (!mask.empty()) text += ", bytes that change " + mask;
      if (id->ours) text += ", sent by us";
      if (looksDiagnostic(key, *id)) text += ", looks diagnostic";
      rows.push_back({nameOf(key), nan, "", -1, "", text});
    }
    section("identifiers on link " + std::to_string(link), "", rows);
  }

  static bool looksDiagnostic(std::uint32_t key, const Identifier& id) {
    const std::uint32_t bare = key & ~kExtendedKey;
    // ISO 15765-4: 7DF, 7E0-7EF, 18DAxxxx, 18DBxxxx.
    const bool legislated = (key & kExtendedKey) == 0
                                ? bare == 0x7DF || (bare >= 0x7E0 && bare <= 0x7EF)
                                : (bare & 0x1FFF0000U) == 0x18DA0000U || (bare & 0x1FFF0000U) == 0x18DB0000U;
    return legislated || id.message;
  }

  void missing(std::uint16_t link, const Link& on) {
    for (const auto& [key, id] : on.sorted()) {
      if (!id->gaps.periodic() || id->last_ns == PIN16_NO_TIME) continue;
      const double silent_ms = words::ms(last_ns_ - std::max(id->last_ns, on.unseen_until_ns));
      if (silent_ms < missing_periods_ * id->gaps.mean_ms) continue;
      Finding f;
      f.code = "identifier-missing";
      f.text = nameOf(key) + " came every " + fixed(id->gaps.mean_ms, 1) +
               " ms and has not been seen for the last " + fixed(silent_ms / 1e3, 2) + " s";
      f.figures = {{"silent", silent_ms, "ms", -1, "", ""},
                   {"period", id->gaps.mean_ms, "ms", id->gaps.spread_ms(), "", ""}};
      f.events = {id->last_sequence};
      f.t_ns = id->last_ns;
      f.link = link;
      find(f);
    }
  }

  /// What appeared or vanished with each power-up.
  void comings(std::uint16_t link, const Link& on) {
    for (std::size_t k = 0; k < power_ups_.size(); ++k) {
      const PowerUp& up = power_ups_[k];
      const std::int64_t next_ns = k + 1 < power_ups_.size() ? power_ups_[k + 1].t_ns : INT64_MAX;
      std::vector<std::uint32_t> came, went;
      std::vector<std::uint64_t> events{up.sequence};
      for (const auto& [key, id] : on.sorted()) {
        if (id->first_ns == PIN16_NO_TIME || id->ours) continue;
        if (id->first_ns >= up.t_ns && id->first_ns < std::min(next_ns, up.t_ns + settle_ns_)) {
          came.push_back(key);
          events.push_back(id->first_sequence);
        }
        const auto patience_ns = static_cast<std::int64_t>(missing_periods_ * id->gaps.mean_ms * 1e6);
        if (id->gaps.periodic() && id->first_ns < up.t_ns && id->last_ns < up.t_ns + patience_ns &&
            id->last_ns > up.t_ns - patience_ns && last_ns_ > id->last_ns + patience_ns) {
          went.push_back(key);
          events.push_back(id->last_sequence);
        }
      }
      if (came.empty() && went.empty()) continue;
      Finding f;
      f.code = "power-up-traffic";
      f.text = "with power-up " + std::to_string(k + 1) + (came.empty() ? "" : " appeared " + namesOf(came)) +
               (came.empty() || went.empty() ? "" : ", and") +
               (went.empty() ? "" : " fell silent " + namesOf(went));
      f.figures = {{"appeared", static_cast<double>(came.size()), "1", -1, "", ""},
                   {"fell silent", static_cast<double>(went.size()), "1", -1, "", ""}};
      f.events = std::move(events);
      f.t_ns = up.t_ns;
      f.link = link;
      find(f);
    }
  }

  /// With the module fed from outside or on the table, nobody else should be awake: whoever is, is fed too.
  void awake(std::uint16_t link, const Link& on) {
    const std::string_view arrangement = view(job().arrangement);
    if (arrangement != "fed-in-place" && arrangement != "removed") return;
    std::vector<std::uint32_t> early;
    std::vector<std::uint64_t> events;
    for (const auto& [key, id] : on.sorted())
      if (id->before_feed) early.push_back(key), events.push_back(id->first_sequence);
    if (unfed_seen_ && !early.empty()) {
      Finding f;
      f.code = "awake-before-feed";
      f.text = "before the module was fed, " + namesOf(early) +
               " were on the bus already: something else is powered. Look for a second source or a feed on "
               "the supply "
               "side of the fuse slot";
      f.step = "feed";
      f.weight = PIN16_WARNING;
      f.figures = {{"identifiers before the feed", static_cast<double>(early.size()), "1", -1, "", ""}};
      f.events = std::move(events);
      f.confidence = 0.9;
      f.link = link;
      find(f);
    }
    if (strangers_.empty()) return;
    std::vector<std::uint32_t> keys;
    Finding f;
    for (const auto& [key, sequences] : strangers_) {
      keys.push_back(key);
      f.events.insert(f.events.end(), sequences.begin(), sequences.end());
    }
    f.code = "others-answer";
    f.text = "other modules than the job's answer here (" + namesOf(keys) + "): with arrangement " +
             std::string(arrangement) +
             " only the job's module should be powered. Check on which blade of the fuse slot "
             "the feed sits, and whether anything else is connected";
    f.step = job().answer_id >= 0 ? "feed" : "";
    f.weight = job().answer_id >= 0 ? PIN16_WARNING : PIN16_FACT;
    f.figures = {{"other modules", static_cast<double>(keys.size()), "1", -1, "", ""}};
    f.confidence = 0.8;
    f.link = link;
    find(f);
    evidence("count(other modules awake)", static_cast<double>(keys.size()), "1", 0, last_ns_);
  }

  const std::int64_t window_ns_;
  const double missing_periods_;
  const std::int64_t settle_ns_;
  std::map<std::uint16_t, Link> links_;
  std::map<std::uint32_t, std::vector<std::uint64_t>> strangers_;
  std::vector<PowerUp> power_ups_;
  bool unfed_ = false, unfed_seen_ = false;
  std::uint64_t frames_ = 0, wire_bits_ = 0;
  std::int64_t last_ns_ = PIN16_NO_TIME;
};

}  // namespace

PIN16_PLUGIN(BusCensus)
