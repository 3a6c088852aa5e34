// SPDX-License-Identifier: Apache-2.0
// handshake-timing: every exchange against the times of ISO 14229-2 and ISO 15765-4, every flow control
// against ISO 15765-2; distributions a module; from power-up to the first frame and the first answer; silent
// and late exchanges against the supply, with how likely chance alone is. All figures come from Pin16's
// limits, which name their sources. Witnessed times are receive times: the sender's own clock may differ by
// the bus's waiting time.
#include <algorithm>
#include <cstdio>
#include <cstring>
#include <map>
#include <optional>

#include "common/chance.hpp"
#include "common/words.hpp"
#include "handshake-timing/kline.hpp"
#include "pin16/plugin.hpp"

namespace {

using namespace pin16;
using words::counted;
using words::fixed;
using words::idText;

constexpr std::uint32_t kExtended = 0x80000000U;
constexpr std::uint32_t kKLine = 0x40000000U, kJ1850 = 0x20000000U;  // an address of such a line
constexpr std::size_t kEventsMost = 32;

std::uint32_t keyOf(std::uint32_t id, bool extended) { return id | (extended ? kExtended : 0); }
std::string nameOf(std::uint32_t key) {
  if ((key & (kKLine | kJ1850)) != 0 && (key & kExtended) == 0) {
    char out[16];
    std::snprintf(out, sizeof out, "address %02X", static_cast<unsigned>(key & 0xFFU));
    return out;
  }
  return idText(key & ~kExtended, (key & kExtended) != 0);
}
/// The limit of a response: of J1850 only one from memory is known.
const char* responseLimit(std::uint32_t key) {
  if ((key & kExtended) != 0) return "timing.p2_server_max_ms";
  return (key & kKLine) != 0   ? "timing.kline_p2_max_ms"
         : (key & kJ1850) != 0 ? ""
                               : "timing.p2_server_max_ms";
}

/// ISO 15765-2: 00-7F ms, F1-F9 100-900 us, everything else 127 ms.
double stMin_ms(std::uint8_t st) {
  if (st <= 0x7F) return st;
  if (st >= 0xF1 && st <= 0xF9) return (st - 0xF0) * 0.1;
  return 127;
}

class HandshakeTiming : public Plugin {
 public:
  static constexpr Card card{"handshake-timing", "1.1",
                             "exchanges and flow control against the standards' times and the supply",
                             bits(PIN16_FRAME, PIN16_MESSAGE, PIN16_EXCHANGE, PIN16_POWER, PIN16_SAMPLE,
                                  PIN16_BYTES, PIN16_LINK, PIN16_LINE_MESSAGE, PIN16_LINE_EXCHANGE)};
  static constexpr pin16_setting settings[] = {
      numberSetting("near_ms", "ms", 40, 1, 10000,
                    "how soon after a dip a silent or late exchange counts as coinciding"),
      numberSetting("dip_V", "V", 9.0, 1, 60,
                    "a module's supply below this is a dip; the job's supply_min_V goes before it"),
      numberSetting("st_min_slack_ms", "ms", 0.2, 0, 10,
                    "how much earlier than STmin a consecutive frame may be seen (time stamps)"),
  };
  static constexpr pin16_series series[] = {
      oneSeries("response", "ms", "end of request to the first frame of the answer", PIN16_CHART_DOTS, "",
                "timing.p2_server_max_ms"),
      oneSeries("complete", "ms", "end of request to the last frame of the answer", PIN16_CHART_DOTS),
  };
  static constexpr pin16_counter counters[] = {
      oneCounter("exchanges", "requests with their ends"),
      oneCounter("late", "answers later than the limit in force"),
      oneCounter("pending", "answers that asked for patience (7F xx 78)"),
      oneCounter("silent", "requests that nobody answered"),
      oneCounter("st-min-broken", "consecutive frames sooner than STmin allows"),
      oneCounter("block-size-broken", "consecutive frames beyond the block that was allowed"),
  };

  explicit HandshakeTiming(const pin16_host& h)
      : Plugin(h),
        near_ns_(static_cast<std::int64_t>(number("near_ms") * 1e6)),
        dip_V_(std::isnan(job().supply_min_V) ? number("dip_V") : job().supply_min_V),
        slack_ms_(number("st_min_slack_ms")),
        p2_ms_(limit("timing.p2_server_max_ms")),
        n_br_ms_(limit("timing.obd_n_br_plus_n_ar_ms")),
        n_cr_ms_(limit("timing.obd_n_cr_ms")) {}

  void onPower(const Event& e, const pin16_power& p) override {
    see(e.t_ns);
    if (p.state != PIN16_POWER_ON || e.t_ns == PIN16_NO_TIME) return;
    starts_.push_back({e.t_ns, e.sequence, {}, {}});
  }
  void onSample(const Event& e, const pin16_measurement& m) override {
    see(e.t_ns);
    const std::string_view point = view(m.point);
    // Where the module is fed; pin 16 only tells of the connector.
    if (e.t_ns == PIN16_NO_TIME || m.power != PIN16_POWER_ON) return;
    if (point != "V(feed,chassis)" && point != "V(loadblade,chassis)" && point != "V(module+,module-)")
      return;
    if (m.value < dip_V_) {
      if (dips_.empty() || !in_dip_) dips_.push_back(e.t_ns);
      in_dip_ = true;
      deepest_V_ = std::min(deepest_V_, m.value);
    } else {
      in_dip_ = false;
    }
    supply_seen_ = true;
  }
  /// Tester present keeps a session alive; a gap above S3 server ends it (ISO 14229-2).
  void onMessage(const Event& e, const pin16_message& m) override {
    if (m.complete == 0 || m.payload.size == 0 || m.payload.data[0] != 0x3E || e.t_ns == PIN16_NO_TIME)
      return;
    std::int64_t& last_ns =
        alive_ns_.try_emplace({e.link, keyOf(m.id, m.extended != 0)}, PIN16_NO_TIME).first->second;
    if (last_ns != PIN16_NO_TIME) keep_alive_ms_.push_back(words::ms(e.t_ns - last_ns));
    last_ns = e.t_ns;
  }

  void onLink(const Event& e, const pin16_link_state& s) override {
    // Serial bytes of an adapter are its own protocol; only a K-line link's are those of the wire.
    if (e.link != PIN16_NO_LINK && view(s.uri).substr(0, 6) == "kline:") klines_[e.link];
  }
  void onBytes(const Event& e, const pin16_serial& s) override {
    const auto line = klines_.find(e.link);
    if (line == klines_.end() || e.t_ns == PIN16_NO_TIME) return;
    see(e.t_ns);
    if (kline_origin_ns_ == PIN16_NO_TIME) kline_origin_ns_ = e.t_ns;
    // The event's time is that of its last byte; those before it came back to back.
    for (std::size_t i = 0; i < s.bytes.size; ++i)
      line->second.byte(
          words::ms(e.t_ns - kline_origin_ns_) - static_cast<double>(s.bytes.size - 1 - i) * kline::kByte_ms,
          s.bytes.data[i], (e.flags & PIN16_OUTBOUND) != 0, e.sequence);
  }

  void onFrame(const Event& e, const pin16_frame& f) override {
    if ((f.flags & PIN16_ERROR) != 0) return;
    see(e.t_ns);
    if ((e.flags & PIN16_OUTBOUND) == 0 && !starts_.empty() && !starts_.back().frame_ms &&
        e.t_ns != PIN16_NO_TIME)
      starts_.back().frame_ms = words::ms(e.t_ns - starts_.back().t_ns);
    if (f.length == 0 || (f.flags & PIN16_REMOTE) != 0) return;
    const std::uint8_t type = f.data[0] >> 4;
    const std::pair<std::uint16_t, std::uint32_t> where{e.link, keyOf(f.id, (f.flags & PIN16_EXTENDED) != 0)};
    if (type == 1 && f.length == 8) {
      flows_[where] = {};
      flows_[where].first_ns = e.t_ns;
      // Whose flow control is meant shows with the next one on this link.
      waiting_[e.link] = where.second;
      return;
    }
    if (type == 3 && f.length >= 3) return flowControl(e, f, where);
    if (type == 2) consecutive(e, where);
  }

  void onExchange(const Event& e, const pin16_exchange& x) override {
    take(e, x, x.extended != 0 ? kExtended : 0);
  }
  void onLineExchange(const Event& e, const pin16_line_exchange& x) override {
    take(e, x.exchange, isKLine(x.medium) ? kKLine : kJ1850);
  }
  /// A session is kept by messages less than P3 max apart (ISO 14230-2).
  void onLineMessage(const Event& e, const pin16_line_message& m) override {
    if (!isKLine(m.medium) || m.message.payload.size == 0 || m.message.payload.data[0] != 0x3E ||
        e.t_ns == PIN16_NO_TIME)
      return;
    std::int64_t& last_ns =
        alive_ns_.try_emplace({e.link, m.message.id | kKLine}, PIN16_NO_TIME).first->second;
    if (last_ns != PIN16_NO_TIME) line_alive_ms_.push_back(words::ms(e.t_ns - last_ns));
    last_ns = e.t_ns;
  }

  void onFinish(std::int64_t end_ns) override {
    if (end_ns != PIN16_NO_TIME) see(end_ns);
    count(0, exchanges_);
    count(1, late_);
    count(2, pending_);
    count(3, silent_);
    count(4, st_min_broken_.size());
    count(5, block_broken_.size());
    modules();
    starts();
    flowFindings();
    klines();
    supply();
  }

 private:
  static bool isKLine(std::uint32_t medium) {
    return medium == PIN16_ISO9141_2 || medium == PIN16_ISO14230_4;
  }
  /// `flag`: what kind of identifier or address it is.
  void take(const Event& e, const pin16_exchange& x, std::uint32_t flag) {
    see(e.t_ns);
    ++exchanges_;
    Module& m = modules_[{e.link, (x.answer_id != 0 ? x.answer_id : x.request_id) | flag}];
    m.answer_known = m.answer_known || x.answer_id != 0;
    ++m.count;
    m.pending += x.pending;
    pending_ += x.pending;
    const bool answered = x.ended == PIN16_ANSWERED || x.ended == PIN16_NEGATIVE;
    if (answered && x.response_ms >= 0) {
      m.response_ms.push_back(x.response_ms);
      if (x.request_ns != PIN16_NO_TIME) sample(0, x.request_ns, x.response_ms);
      if (x.complete_ms >= 0 && x.request_ns != PIN16_NO_TIME) sample(1, x.request_ns, x.complete_ms);
      if (!starts_.empty() && !starts_.back().answer_ms && x.request_ns != PIN16_NO_TIME)
        starts_.back().answer_ms = words::ms(x.request_ns - starts_.back().t_ns) + x.response_ms;
    }
    if (x.late != 0) ++late_, ++m.late, troubled(e, x);
    if (x.ended == PIN16_SILENT) {
      ++silent_;
      ++m.silent;
      // A functional request may go unanswered: silence is no proof of anything.
      if (x.functional == 0) troubled(e, x);
    }
    if (x.ended == PIN16_INCOMPLETE) ++m.incomplete, troubled(e, x);
  }

  struct Module {
    bool answer_known = false;
    std::uint64_t count = 0, late = 0, silent = 0, incomplete = 0, pending = 0;
    std::vector<double> response_ms;
  };
  struct Flow {  // a segmented message on one identifier
    std::int64_t first_ns = PIN16_NO_TIME, allowed_ns = PIN16_NO_TIME, last_ns = PIN16_NO_TIME;
    double st_ms = 0;
    std::uint8_t block = 0, in_block = 0;
    bool allowed = false;
  };
  struct Broken {
    std::uint32_t key;
    std::uint64_t sequence;
    double ms;
    double limit_ms;
  };
  struct Start {
    std::int64_t t_ns;
    std::uint64_t sequence;
    std::optional<double> frame_ms, answer_ms;
  };
  struct Trouble {
    std::int64_t request_ns;
    std::uint64_t sequence;
  };

  void see(std::int64_t t_ns) {
    if (t_ns == PIN16_NO_TIME) return;
    if (first_ns_ == PIN16_NO_TIME) first_ns_ = t_ns;
    first_ns_ = std::min(first_ns_, t_ns);
    last_ns_ = std::max(last_ns_, t_ns);
  }
  void troubled(const Event& e, const pin16_exchange& x) {
    if (x.request_ns != PIN16_NO_TIME) troubles_.push_back({x.request_ns, e.sequence});
  }

  void flowControl(const Event& e, const pin16_frame& f,
                   const std::pair<std::uint16_t, std::uint32_t>& where) {
    const auto first = waiting_.find(e.link);
    // Whose block it continues: the message under way that this sender allowed before, else the newest first
    // frame.
    std::uint32_t key = 0;
    if (first != waiting_.end() && first->second != where.second) {
      key = first->second;
      partner_[where] = key;
      waiting_.erase(first);
    } else if (const auto known = partner_.find(where); known != partner_.end()) {
      key = known->second;
    } else {
      return;
    }
    const auto flow = flows_.find({e.link, key});
    if (flow == flows_.end() || (f.data[0] & 0x0F) != 0) return;  // WAIT and OVFLW allow nothing
    Flow& at = flow->second;
    if (!at.allowed && at.first_ns != PIN16_NO_TIME && e.t_ns != PIN16_NO_TIME)
      network(flow_control_ms_, where.second, words::ms(e.t_ns - at.first_ns), n_br_ms_, e.sequence);
    at.allowed = true;
    at.allowed_ns = e.t_ns;
    at.block = f.data[1];
    at.in_block = 0;
    at.st_ms = stMin_ms(f.data[2]);
    at.last_ns = PIN16_NO_TIME;
  }
  void consecutive(const Event& e, const std::pair<std::uint16_t, std::uint32_t>& where) {
    const auto flow = flows_.find(where);
    if (flow == flows_.end() || !flow->second.allowed) return;
    Flow& at = flow->second;
    if (at.block != 0 && ++at.in_block > at.block && block_broken_.size() < 4096)
      block_broken_.push_back({where.second, e.sequence, 0, 0});
    if (at.last_ns != PIN16_NO_TIME && e.t_ns != PIN16_NO_TIME) {
      const double gap_ms = words::ms(e.t_ns - at.last_ns);
      if (gap_ms < at.st_ms - slack_ms_ && st_min_broken_.size() < 4096)
        st_min_broken_.push_back({where.second, e.sequence, gap_ms, at.st_ms});
      network(gaps_ms_, where.second, gap_ms, n_cr_ms_, e.sequence);
    }
    at.last_ns = e.t_ns;
  }

  /// Keeps a network time; of a legislated identifier that is over its limit, what and who.
  void network(std::vector<double>& into, std::uint32_t key, double ms, double limit_ms,
               std::uint64_t sequence) {
    into.push_back(ms);
    const std::uint32_t bare = key & ~kExtended;
    const bool legislated =
        (key & kExtended) == 0 ? (bare >= 0x7E0 && bare <= 0x7EF) : (bare & 0x1FFF0000U) == 0x18DA0000U;
    if (legislated && ms > limit_ms && slow_.size() < 4096) slow_.push_back({key, sequence, ms, limit_ms});
  }

  void modules() {
    std::vector<Figure> rows;
    for (auto& [where, m] : modules_) {
      const std::string who = (m.answer_known ? "" : "request ") + nameOf(where.second);
      std::string text = counted(m.count, "exchange");
      if (m.late != 0) text += ", " + std::to_string(m.late) + " late";
      if (m.pending != 0) text += ", " + std::to_string(m.pending) + " pending";
      if (m.silent != 0) text += ", " + std::to_string(m.silent) + " silent";
      if (m.incomplete != 0) text += ", " + std::to_string(m.incomplete) + " broken off";
      rows.push_back({who, std::nan(""), "", -1, "", text});
      if (m.response_ms.empty()) continue;
      for (const auto& [name, share] :
           {std::pair{"shortest", 0.0}, {"median", 0.5}, {"95 %", 0.95}, {"longest", 1.0}})
        rows.push_back({who + " response, " + name, words::quantile(m.response_ms, share), "ms", -1,
                        responseLimit(where.second), ""});
    }
    if (!rows.empty())
      section("response times", "exact quantiles; receive times where other equipment asked", rows);
    if (late_ == 0) return;
    Finding f;
    f.code = "late-answers";
    f.text = counted(late_, "answer") + " later than the limit in force (P2 server " + fixed(p2_ms_, 0) +
             " ms, or the patience that a pending answer granted): equipment that waits no longer gives up";
    f.step = "timing";
    f.weight = PIN16_WARNING;
    f.figures = {{"late", static_cast<double>(late_), "1", -1, "timing.p2_server_max_ms", ""}};
    for (const Trouble& t : troubles_)
      if (f.events.size() < kEventsMost) f.events.push_back(t.sequence);
    find(f);
  }
  void starts() {
    std::vector<Figure> rows;
    for (std::size_t i = 0; i < starts_.size(); ++i) {
      const std::string which = "power-up " + std::to_string(i + 1);
      const auto row = [&](const char* what, const std::optional<double>& value) {
        rows.push_back({which + what, value.value_or(std::nan("")), "ms", -1, "", value ? "" : "not seen"});
      };
      row(" to the first frame", starts_[i].frame_ms);
      row(" to the first answer", starts_[i].answer_ms);
    }
    if (!rows.empty()) section("after power-up", "", rows);
  }
  void flowFindings() {
    const auto tell = [&](const char* code, const std::vector<Broken>& all, const std::string& text) {
      if (all.empty()) return;
      Finding f;
      f.code = code;
      f.text = text;
      f.step = "timing";
      // The general rule is broken, but who breaks it may still be understood: a hint, not a verdict.
      f.weight = PIN16_FACT;
      for (const Broken& b : all)
        if (f.events.size() < kEventsMost) f.events.push_back(b.sequence);
      f.figures = {{"frames", static_cast<double>(all.size()), "1", -1, "", ""}};
      if (all[0].limit_ms > 0) {
        const auto worst = std::min_element(all.begin(), all.end(),
                                            [](const Broken& a, const Broken& b) { return a.ms < b.ms; });
        f.figures.push_back(
            {"shortest separation", worst->ms, "ms", -1, "", "STmin " + fixed(worst->limit_ms, 1) + " ms"});
      }
      find(f);
    };
    tell("st-min-broken", st_min_broken_,
         st_min_broken_.empty() ? ""
                                : nameOf(st_min_broken_[0].key) + " sent " +
                                      counted(st_min_broken_.size(), "consecutive frame") +
                                      " sooner than the receiver's STmin allows");
    tell("block-size-broken", block_broken_,
         block_broken_.empty()
             ? ""
             : nameOf(block_broken_[0].key) + " sent " + counted(block_broken_.size(), "consecutive frame") +
                   " beyond the block that the receiver allowed");
    if (!slow_.empty()) {
      const auto worst = std::max_element(slow_.begin(), slow_.end(),
                                          [](const Broken& a, const Broken& b) { return a.ms < b.ms; });
      Finding f;
      f.code = "network-time-over";
      f.text = counted(slow_.size(), "network time") +
               " of legislated identifiers over ISO 15765-4's limits, worst " + nameOf(worst->key) +
               " with " + fixed(worst->ms, 1) + " ms of " + fixed(worst->limit_ms, 0) +
               " ms: equipment that keeps to them gives up";
      f.step = "timing";
      f.weight = PIN16_WARNING;
      f.figures = {{"worst", worst->ms, "ms", -1, "", "limit " + fixed(worst->limit_ms, 0) + " ms"}};
      for (const Broken& b : slow_)
        if (f.events.size() < kEventsMost) f.events.push_back(b.sequence);
      find(f);
    }
    std::vector<Figure> rows;
    if (!flow_control_ms_.empty())
      rows.push_back({"first frame to flow control, longest", words::quantile(flow_control_ms_, 1), "ms", -1,
                      "timing.obd_n_br_plus_n_ar_ms", ""});
    if (!gaps_ms_.empty()) {
      rows.push_back(
          {"between consecutive frames, shortest", words::quantile(gaps_ms_, 0), "ms", -1, "", ""});
      rows.push_back({"between consecutive frames, longest", words::quantile(gaps_ms_, 1), "ms", -1,
                      "timing.obd_n_cr_ms", ""});
    }
    if (!line_alive_ms_.empty())
      rows.push_back({"between two tester-present on K-line, longest", words::quantile(line_alive_ms_, 1),
                      "ms", -1, "timing.kline_p3_max_ms", ""});
    if (!keep_alive_ms_.empty())
      rows.push_back({"between two tester-present, longest", words::quantile(keep_alive_ms_, 1), "ms", -1,
                      "timing.s3_server_ms", ""});
    if (!rows.empty())
      section("flow control and keep-alive",
              "legislated network times are tighter than the general ones: a miss is a warning", rows);
  }

  /// Each time of a K-line against its limits, and who broke it: W4 first half, P3 and P4 are the tester's.
  void klines() {
    for (auto& [link, line] : klines_) {
      std::vector<Figure> rows;
      std::vector<std::string> broken;
      Finding f;
      for (const auto& [name, times] : line.times()) {
        std::string key = "timing.kline_" + name;
        std::transform(key.begin(), key.end(), key.begin(),
                       [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
        const double least_ms = limit(key + "_min_ms"), most_ms = limit(key + "_max_ms");
        std::uint64_t out = 0;
        for (std::size_t i = 0; i < times.ms.size(); ++i) {
          if (!(times.ms[i] < least_ms - slack_ms_) && !(times.ms[i] > most_ms + slack_ms_)) continue;
          ++out;
          if (f.events.size() < kEventsMost) f.events.push_back(times.sequences[i]);
        }
        std::vector<double> sorted = times.ms;
        rows.push_back({name + " shortest", words::quantile(sorted, 0), "ms", -1,
                        std::isnan(least_ms) ? "" : key + "_min_ms", ""});
        rows.push_back({name + " longest", words::quantile(sorted, 1), "ms", -1,
                        std::isnan(most_ms) ? "" : key + "_max_ms", "of " + std::to_string(times.ms.size())});
        if (out != 0) broken.push_back(name + " " + counted(out, "time"));
      }
      if (!rows.empty())
        section("K-line on link " + std::to_string(link), "ISO 9141-2 and ISO 14230-2", rows);
      if (broken.empty()) continue;
      f.code = "kline-time-broken";
      f.text = "outside the limits of ISO 14230-2: " + words::joined(broken) +
               ". W1 to W3, P1 and P2 are the module's, P3 and P4 the tester's";
      f.step = "timing";
      f.weight = PIN16_WARNING;
      f.link = link;
      find(f);
    }
  }

  /// "3 of 3 silent exchanges began within 40 ms of a dip below 9.0 V", and how likely chance alone is.
  void supply() {
    if (troubles_.empty()) return;
    Finding f;
    f.code = "trouble-and-supply";
    const std::uint64_t all = troubles_.size();
    if (!supply_seen_) {
      f.text = counted(all, "silent, late or broken exchange") +
               "; whether the supply had to do with it cannot be told: no samples of the module's feed";
      for (const Trouble& t : troubles_)
        if (f.events.size() < kEventsMost) f.events.push_back(t.sequence);
      find(f);
      return;
    }
    std::uint64_t near = 0;
    for (const Trouble& t : troubles_) {
      near += std::any_of(dips_.begin(), dips_.end(), [&](std::int64_t dip) {
        return t.request_ns >= dip - near_ns_ && t.request_ns <= dip + near_ns_;
      });
      if (f.events.size() < kEventsMost) f.events.push_back(t.sequence);
    }
    const double share = chance::shareNear(dips_, near_ns_, near_ns_, first_ns_, last_ns_);
    const double p = chance::atLeast(near, all, share);
    f.text = std::to_string(near) + " of " + counted(all, "silent, late or broken exchange") +
             " began within " + fixed(words::ms(near_ns_), 0) + " ms of a dip below " + fixed(dip_V_, 1) +
             " V";
    f.figures = {{"near a dip", static_cast<double>(near), "1", -1, "", "of " + std::to_string(all)},
                 {"by chance alone", p, "1", -1, "",
                  "probability of at least as many, if exchanges began anywhere in the recording"}};
    if (!dips_.empty()) f.figures.push_back({"deepest", deepest_V_, "V", -1, "", ""});
    if (near != 0) {
      f.step = "feed";
      f.weight = p < 0.05 ? PIN16_WARNING : PIN16_FACT;  // 0.05: the customary level (own choice)
      f.confidence = std::max(0.0, 1 - p);
      evidence("share(troubles near a dip)", static_cast<double>(near) / static_cast<double>(all), "1", -1,
               last_ns_);
    }
    find(f);
  }

  const std::int64_t near_ns_;
  const double dip_V_, slack_ms_, p2_ms_, n_br_ms_, n_cr_ms_;
  std::map<std::pair<std::uint16_t, std::uint32_t>, Module> modules_;
  std::map<std::pair<std::uint16_t, std::uint32_t>, Flow> flows_;
  std::map<std::pair<std::uint16_t, std::uint32_t>, std::uint32_t> partner_;  // who allows -> whose message
  std::map<std::uint16_t, std::uint32_t> waiting_;
  std::map<std::pair<std::uint16_t, std::uint32_t>, std::int64_t> alive_ns_;
  std::map<std::uint16_t, kline::Line> klines_;
  std::int64_t kline_origin_ns_ = PIN16_NO_TIME;
  std::vector<Start> starts_;
  std::vector<Trouble> troubles_;
  std::vector<std::int64_t> dips_;
  std::vector<Broken> st_min_broken_, block_broken_, slow_;
  std::vector<double> flow_control_ms_, gaps_ms_, keep_alive_ms_, line_alive_ms_;
  bool in_dip_ = false, supply_seen_ = false;
  double deepest_V_ = INFINITY;
  std::uint64_t exchanges_ = 0, late_ = 0, pending_ = 0, silent_ = 0;
  std::int64_t first_ns_ = PIN16_NO_TIME, last_ns_ = PIN16_NO_TIME;
};

}  // namespace

PIN16_PLUGIN(HandshakeTiming)
