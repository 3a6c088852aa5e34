// SPDX-License-Identifier: Apache-2.0
#ifndef PIN16_PLUGIN_HPP
#define PIN16_PLUGIN_HPP
/// C++17 dress of plugin.h, header only. A plugin is a class derived from Plugin with `static constexpr`
/// tables:
///
///   class Answers : public pin16::Plugin {
///    public:
///     static constexpr pin16::Card card{"answer-count", "1.0", "counts answers",
///     pin16::bit(PIN16_EXCHANGE)}; static constexpr pin16_counter counters[] =
///     {pin16::oneCounter("answered", "exchanges that were answered")}; using Plugin::Plugin; void
///     onExchange(const pin16::Event& e, const pin16_exchange& x) override { ... count(0); }
///   };
///   PIN16_PLUGIN(Answers)
///
/// Tables left out (settings, series, counters) are empty. Exceptions that leave a handler are caught here:
/// they end the plugin by pin16_host.failed and never cross the interface.

#include <exception>
#include <iterator>
#include <limits>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "pin16/plugin.h"

namespace pin16 {

using Event = pin16_event;

constexpr pin16_text plain(std::string_view s) { return {s.data(), s.size()}; }
inline std::string_view view(pin16_text t) { return {t.data, t.size}; }
constexpr std::uint64_t bit(pin16_kind kind) { return PIN16_KIND_BIT(kind); }
template <class... Kinds>
constexpr std::uint64_t bits(Kinds... kinds) {
  return (bit(kinds) | ... | 0);
}

struct Card {
  std::string_view name, version, summary;
  std::uint64_t kinds;
  bool asks = false;
};
constexpr pin16_setting numberSetting(std::string_view name, std::string_view unit, double value,
                                      double least, double most, std::string_view help) {
  return {plain(name), plain(help), plain(unit), PIN16_NUMBER, 0, least, most, value, plain({})};
}
constexpr pin16_setting switchSetting(std::string_view name, bool value, std::string_view help) {
  return {plain(name), plain(help), plain({}), PIN16_SWITCH, 0, 0, 1, value ? 1.0 : 0.0, plain({})};
}
constexpr pin16_setting textSetting(std::string_view name, std::string_view value, std::string_view help) {
  return {plain(name), plain(help), plain({}), PIN16_TEXT, 0, 0, 0, 0, plain(value)};
}
constexpr pin16_series oneSeries(std::string_view name, std::string_view unit, std::string_view help,
                                 pin16_chart chart = PIN16_CHART_LINE, std::string_view limit_low = {},
                                 std::string_view limit_high = {}) {
  return {plain(name), plain(unit), plain(help), chart, 0, plain(limit_low), plain(limit_high)};
}
constexpr pin16_counter oneCounter(std::string_view name, std::string_view help) {
  return {plain(name), plain(help)};
}

/// A figure that owns its words, for building findings and sections.
struct Figure {
  std::string what = {};
  double value = std::numeric_limits<double>::quiet_NaN();
  std::string unit = {};
  double uncertainty = -1;
  std::string limit_name = {};
  std::string text = {};
};
struct Finding {
  std::string code = {}, text = {}, step = {};
  pin16_weight weight = PIN16_FACT;
  std::vector<Figure> figures = {};
  std::vector<std::uint64_t> events = {};
  double confidence = 1;
  std::int64_t t_ns = PIN16_NO_TIME;
  std::uint16_t link = PIN16_NO_LINK;
};

class Plugin {
 public:
  explicit Plugin(const pin16_host& host) : host_(host) {}
  virtual ~Plugin() = default;
  Plugin(const Plugin&) = delete;
  Plugin& operator=(const Plugin&) = delete;

  virtual void onFrame(const Event&, const pin16_frame&) {}
  virtual void onBytes(const Event&, const pin16_serial&) {}
  virtual void onSample(const Event&, const pin16_measurement&) {}
  virtual void onReading(const Event&, const pin16_measurement&) {}
  virtual void onLink(const Event&, const pin16_link_state&) {}
  virtual void onLoss(const Event&, const pin16_loss&) {}
  virtual void onGap(const Event&, const pin16_gap&) {}
  virtual void onSent(const Event&, const pin16_sent&) {}
  virtual void onPower(const Event&, const pin16_power&) {}
  virtual void onNote(const Event&, const pin16_note&) {}
  virtual void onMessage(const Event&, const pin16_message&) {}
  virtual void onExchange(const Event&, const pin16_exchange&) {}
  virtual void onLineMessage(const Event&, const pin16_line_message&) {}
  virtual void onLineExchange(const Event&, const pin16_line_exchange&) {}
  /// `exchange` null: the gate did not let it out, `refused` says why.
  virtual void onAnswered(std::uint64_t tag, const pin16_exchange* exchange, std::string_view refused) {
    (void)tag, (void)exchange, (void)refused;
  }
  virtual void onFinish(std::int64_t end_ns) { (void)end_ns; }

  [[nodiscard]] const pin16_host& host() const { return host_; }
  void deliver(const Event& e) {
    switch (e.kind) {
      case PIN16_FRAME:
        return onFrame(e, body<pin16_frame>(e));
      case PIN16_BYTES:
        return onBytes(e, body<pin16_serial>(e));
      case PIN16_SAMPLE:
        return onSample(e, body<pin16_measurement>(e));
      case PIN16_READING:
        return onReading(e, body<pin16_measurement>(e));
      case PIN16_LINK:
        return onLink(e, body<pin16_link_state>(e));
      case PIN16_LOSS:
        return onLoss(e, body<pin16_loss>(e));
      case PIN16_GAP:
        return onGap(e, body<pin16_gap>(e));
      case PIN16_SENT:
        return onSent(e, body<pin16_sent>(e));
      case PIN16_POWER:
        return onPower(e, body<pin16_power>(e));
      case PIN16_NOTE:
        return onNote(e, body<pin16_note>(e));
      case PIN16_MESSAGE:
        return onMessage(e, body<pin16_message>(e));
      case PIN16_EXCHANGE:
        return onExchange(e, body<pin16_exchange>(e));
      case PIN16_LINE_MESSAGE:
        return onLineMessage(e, body<pin16_line_message>(e));
      case PIN16_LINE_EXCHANGE:
        return onLineExchange(e, body<pin16_line_exchange>(e));
      default:
        return;
    }
  }

 protected:
  [[nodiscard]] const pin16_job& job() const { return *host_.job(host_.context); }
  /// The limit's value; NaN if there is none of that name.
  [[nodiscard]] double limit(std::string_view name) const {
    pin16_limit out{};
    return host_.limit(host_.context, plain(name), &out) != 0 ? out.value
                                                              : std::numeric_limits<double>::quiet_NaN();
  }
  [[nodiscard]] double number(std::string_view name) const {
    double out = std::numeric_limits<double>::quiet_NaN();
    host_.number(host_.context, plain(name), &out);
    return out;
  }
  [[nodiscard]] bool isOn(std::string_view name) const { return number(name) != 0; }
  [[nodiscard]] std::string words(std::string_view name) const {
    pin16_text out{};
    return host_.text(host_.context, plain(name), &out) != 0 ? std::string(view(out)) : std::string();
  }
  void sample(std::uint32_t series, std::int64_t t_ns, double value, double uncertainty = -1) {
    host_.sample(host_.context, series, t_ns, value, uncertainty);
  }
  void count(std::uint32_t counter, std::uint64_t add = 1) { host_.count(host_.context, counter, add); }
  void find(const Finding& f) {
    const std::vector<pin16_figure> figures = plainFigures(f.figures);
    const pin16_finding out{plain(f.code),  plain(f.text),   plain(f.step),   figures.data(),
                            figures.size(), f.events.data(), f.events.size(), f.confidence,
                            f.t_ns,         f.weight,        f.link,          0};
    host_.finding(host_.context, &out);
  }
  void section(const std::string& title, const std::string& words, const std::vector<Figure>& rows) {
    const std::vector<pin16_figure> plain_rows = plainFigures(rows);
    const pin16_section out{plain(title), plain(words), plain_rows.data(), plain_rows.size()};
    host_.section(host_.context, &out);
  }
  void evidence(std::string_view point, double value, std::string_view unit, double uncertainty,
                std::int64_t t_ns) {
    const pin16_evidence out{plain(point), plain(unit), value, uncertainty, t_ns};
    host_.evidence(host_.context, &out);
  }
  bool ask(const pin16_request& request) { return host_.ask(host_.context, &request) != 0; }
  /// Name by the standards: what = "service", "response-code", "identifier"; empty if there is none.
  [[nodiscard]] std::string name(std::string_view what, std::uint32_t number) const {
    pin16_text out{};
    return host_.name(host_.context, plain(what), number, &out) != 0 ? std::string(view(out)) : std::string();
  }
  struct Vin {
    std::string number;
    enum Check { none = 0, holds = 1, wrong = 2, without = 3 } check = none;
  };
  [[nodiscard]] Vin vin(pin16_bytes request, pin16_bytes answer) const {
    pin16_text out{};
    const int check = host_.vin(host_.context, request, answer, &out);
    return check == 0 ? Vin{} : Vin{std::string(view(out)), static_cast<Vin::Check>(check)};
  }

 private:
  template <class T>
  static const T& body(const Event& e) {
    return *static_cast<const T*>(e.body);
  }
  static std::vector<pin16_figure> plainFigures(const std::vector<Figure>& figures) {
    std::vector<pin16_figure> out;
    out.reserve(figures.size());
    for (const Figure& f : figures)
      out.push_back(
          {plain(f.what), plain(f.unit), plain(f.limit_name), f.value, f.uncertainty, plain(f.text)});
    return out;
  }
  const pin16_host& host_;
};

namespace detail {
// Tables are optional members of the plugin's class.
template <class P, class = void>
struct Settings {
  static constexpr const pin16_setting* data = nullptr;
  static constexpr std::size_t size = 0;
};
template <class P>
struct Settings<P, std::void_t<decltype(P::settings)>> {
  static constexpr const pin16_setting* data = P::settings;
  static constexpr std::size_t size = std::size(P::settings);
};
template <class P, class = void>
struct SeriesOf {
  static constexpr const pin16_series* data = nullptr;
  static constexpr std::size_t size = 0;
};
template <class P>
struct SeriesOf<P, std::void_t<decltype(P::series)>> {
  static constexpr const pin16_series* data = P::series;
  static constexpr std::size_t size = std::size(P::series);
};
template <class P, class = void>
struct Counters {
  static constexpr const pin16_counter* data = nullptr;
  static constexpr std::size_t size = 0;
};
template <class P>
struct Counters<P, std::void_t<decltype(P::counters)>> {
  static constexpr const pin16_counter* data = P::counters;
  static constexpr std::size_t size = std::size(P::counters);
};
template <class F>
void guarded(const pin16_host& host, F&& call) {
  try {
    call();
  } catch (const std::exception& e) {
    host.failed(host.context, plain(e.what()));
  } catch (...) {
    host.failed(host.context, plain("an exception that is no std::exception"));
  }
}
template <class P>
void* create(const pin16_host* host) {
  P* made = nullptr;
  guarded(*host, [&] { made = new P(*host); });
  return made;
}
template <class P>
void take(void* self, const pin16_event* events, std::size_t count) {
  P& plugin = *static_cast<P*>(self);
  guarded(plugin.host(), [&] {
    for (std::size_t i = 0; i < count; ++i) plugin.deliver(events[i]);
  });
}
template <class P>
void answered(void* self, std::uint64_t tag, const pin16_exchange* exchange, pin16_text refused) {
  P& plugin = *static_cast<P*>(self);
  guarded(plugin.host(), [&] { plugin.onAnswered(tag, exchange, view(refused)); });
}
template <class P>
void finish(void* self, std::int64_t end_ns) {
  P& plugin = *static_cast<P*>(self);
  guarded(plugin.host(), [&] { plugin.onFinish(end_ns); });
}
template <class P>
void destroy(void* self) {
  delete static_cast<P*>(self);
}
template <class P>
constexpr pin16_plugin describe() {
  return {sizeof(pin16_plugin),
          PIN16_PLUGIN_MINOR,
          plain(P::card.name),
          plain(P::card.version),
          plain(P::card.summary),
          P::card.kinds,
          P::card.asks ? 1U : 0U,
          0,
          Settings<P>::data,
          Settings<P>::size,
          SeriesOf<P>::data,
          SeriesOf<P>::size,
          Counters<P>::data,
          Counters<P>::size,
          &create<P>,
          &take<P>,
          &answered<P>,
          &finish<P>,
          &destroy<P>};
}
}  // namespace detail
}  // namespace pin16

/// Once in a plugin's library, outside any namespace.
#define PIN16_PLUGIN(Class)                                                     \
  extern "C" PIN16_EXPORT const pin16_card pin16_plugin_card = PIN16_CARD_HERE; \
  extern "C" PIN16_EXPORT const pin16_plugin pin16_plugin_1 = pin16::detail::describe<Class>();

#endif
