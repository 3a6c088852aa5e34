// SPDX-License-Identifier: Apache-2.0
// rollcall: who was asked, who answered, on which identifiers, with which services; vehicle identification
// numbers and whether they agree with each other; what was refused and by which code.
#include <algorithm>
#include <map>
#include <set>

#include "common/words.hpp"
#include "pin16/plugin.hpp"

namespace {

using namespace pin16;
using words::counted;
using words::idText;

class Rollcall : public Plugin {
 public:
  static constexpr Card card{"rollcall", "1.1",
                             "who answered, on which identifiers, with which services and numbers",
                             bits(PIN16_EXCHANGE, PIN16_LINE_EXCHANGE)};
  static constexpr pin16_counter counters[] = {
      oneCounter("modules", "modules that answered"),
      oneCounter("asked", "requests seen"),
      oneCounter("negative", "negative answers"),
  };
  using Plugin::Plugin;

  void onExchange(const Event& e, const pin16_exchange& x) override {
    take(e, x, x.extended != 0 ? kExtended : 0);
  }
  void onLineExchange(const Event& e, const pin16_line_exchange& x) override { take(e, x.exchange, kLine); }

  void onFinish(std::int64_t) override {
    count(0, modules_.size());
    count(1, asked_);
    count(2, negative_);
    modules();
    numbers();
    expected();
  }

 private:
  /// `flag`: what kind of identifier or address it is.
  void take(const Event& e, const pin16_exchange& x, std::uint32_t flag) {
    ++asked_;
    if (x.ended == PIN16_SILENT && x.functional == 0)
      silent_[{e.link, x.request_id | flag}].push_back(e.sequence);
    if (x.answer_id == 0 || (x.ended != PIN16_ANSWERED && x.ended != PIN16_NEGATIVE)) return;
    Module& m = modules_[{e.link, x.answer_id | flag}];
    if (x.functional == 0) m.request_key = x.request_id | flag;
    m.functional = m.functional || x.functional != 0;
    m.ours = m.ours || x.ours != 0;
    m.witnessed = m.witnessed || x.ours == 0;
    if (m.events.size() < 8) m.events.push_back(e.sequence);
    ++m.answers;
    if (x.response_ms >= 0) m.response_ms.push_back(x.response_ms);
    const std::uint8_t service = x.request.size != 0 ? x.request.data[0] : 0;
    if (x.ended == PIN16_NEGATIVE) {
      ++negative_;
      ++m.refusals[{service, x.answer.size > 2 ? x.answer.data[2] : std::uint8_t{0}}];
      return;
    }
    m.services.insert(service);
    supported(m, x);
    const Vin found = vin(x.request, x.answer);
    if (found.check != Vin::none) m.vins[found.number] = {found.check, e.sequence};
  }

  using Where = std::pair<std::uint16_t, std::uint32_t>;  // link, identifier with its flag
  struct Number {
    Vin::Check check = Vin::none;
    std::uint64_t sequence = 0;
  };
  struct Module {
    std::uint32_t request_key = 0;
    bool functional = false, ours = false, witnessed = false;
    std::uint64_t answers = 0;
    std::vector<double> response_ms;
    std::set<std::uint8_t> services;
    std::set<std::uint8_t> parameters;  // of OBD service 01, as 01 00 and so on say
    std::map<std::pair<std::uint8_t, std::uint8_t>, std::uint64_t> refusals;  // service, code
    std::map<std::string, Number> vins;
    std::vector<std::uint64_t> events;
  };

  static constexpr std::uint32_t kExtended = 0x80000000U, kLine = 0x40000000U;
  static std::uint32_t key(std::uint32_t id, std::uint8_t extended) {
    return id | (extended != 0 ? kExtended : 0);
  }
  static std::string nameOf(std::uint32_t k) {
    if ((k & kLine) != 0) return "address " + hex(static_cast<std::uint8_t>(k));
    return idText(k & ~kExtended, (k & kExtended) != 0);
  }
  static std::string hex(std::uint8_t b) {
    char out[4];
    std::snprintf(out, sizeof out, "%02X", b);
    return out;
  }
  std::string serviceText(std::uint8_t s) const {
    const std::string known = name("service", s);
    return known.empty() ? hex(s) : hex(s) + " " + known;
  }
  /// Which PIDs exist: SAE J1979, service 01, PID 00 20 40 ...: one bit each, the highest first.
  static void supported(Module& m, const pin16_exchange& x) {
    if (x.request.size != 2 || x.request.data[0] != 0x01 || x.request.data[1] % 0x20 != 0 ||
        x.answer.size < 6)
      return;
    for (int bit = 0; bit < 32; ++bit)
      if ((x.answer.data[2 + bit / 8] & (0x80 >> (bit % 8))) != 0)
        m.parameters.insert(static_cast<std::uint8_t>(x.answer.data[1] + bit + 1));
  }

  void modules() {
    std::vector<Figure> rows;
    const double nan = std::nan("");
    for (auto& [where, m] : modules_) {
      std::string text = m.request_key != 0 ? "asked on " + nameOf(m.request_key) : "asked functionally only";
      std::vector<std::string> services, refusals;
      for (const std::uint8_t s : m.services) services.push_back(serviceText(s));
      if (!services.empty()) text += "; answers " + words::joined(services);
      for (const auto& [what, n] : m.refusals) {
        const std::string code = name("response-code", what.second);
        refusals.push_back(hex(what.first) + " with " + (code.empty() ? hex(what.second) : code) +
                           (n > 1 ? " (" + std::to_string(n) + " times)" : ""));
      }
      if (!refusals.empty()) text += "; refuses " + words::joined(refusals);
      if (!m.parameters.empty()) text += "; " + counted(m.parameters.size(), "PID") + " supported";
      for (const auto& [number, facts] : m.vins) text += "; VIN " + number;
      if (m.witnessed && !m.ours) text += "; asked by other equipment only";
      rows.push_back({nameOf(where.second), words::quantile(m.response_ms, 0.5), "ms", -1, "", text});
      if (m.response_ms.empty()) rows.back().unit.clear();
    }
    for (const auto& [where, sequences] : silent_)
      if (std::none_of(modules_.begin(), modules_.end(), [&w = where](const auto& m) {
            return m.first.first == w.first && m.second.request_key == w.second;
          }))
        rows.push_back({nameOf(where.second), nan, "", -1, "",
                        "asked " + counted(sequences.size(), "time") + ", never answered"});
    if (!rows.empty()) section("who answered", "identifier, median response time, what it did", rows);
  }

  void numbers() {
    std::map<std::string, std::vector<std::string>> who;
    Finding f;
    for (const auto& [where, m] : modules_)
      for (const auto& [number, facts] : m.vins) {
        who[number].push_back(nameOf(where.second));
        f.events.push_back(facts.sequence);
        if (facts.check == Vin::wrong) wrongDigit(where, number, facts.sequence);
      }
    if (who.empty()) return;
    std::vector<std::string> parts;
    for (const auto& [number, names] : who) parts.push_back(number + " (" + words::joined(names) + ")");
    f.step = "answer";
    if (who.size() == 1) {
      f.code = "vin";
      f.text = "vehicle identification number " + parts[0];
      f.step = "";
    } else {
      f.code = "vin-disagrees";
      f.text = "modules give different vehicle identification numbers: " + words::joined(parts, "; ") +
               ". One of them comes from another vehicle, or was never coded: note it before anything is "
               "concluded";
      f.weight = PIN16_WARNING;
    }
    f.figures = {{"different numbers", static_cast<double>(who.size()), "1", -1, "", ""}};
    find(f);
  }
  void wrongDigit(const Where& where, const std::string& number, std::uint64_t sequence) {
    Finding f;
    f.code = "vin-check-digit";
    f.text = nameOf(where.second) + " gives " + number +
             ", whose check digit does not hold: it is mandatory in North America only, elsewhere this means "
             "nothing";
    f.events = {sequence};
    f.link = where.first;
    find(f);
  }

  /// The job's own module: did it answer, and on the identifiers that the job has?
  void expected() {
    if (job().line_address >= 0) {
      const std::uint32_t own = static_cast<std::uint32_t>(job().line_address) | kLine;
      if (expected(own, own)) return;
    }
    if (job().request_id < 0) return;
    const std::uint32_t request =
        key(static_cast<std::uint32_t>(job().request_id), job().extended != 0 ? 1 : 0);
    const std::uint32_t answer =
        key(static_cast<std::uint32_t>(job().answer_id), job().extended != 0 ? 1 : 0);
    (void)expected(request, answer);
  }
  /// False: nothing was seen of it.
  bool expected(std::uint32_t request, std::uint32_t answer) {
    Finding f;
    for (const auto& [where, m] : modules_)
      if (where.second == answer) {
        f.code = "job-module-answers";
        f.text = "the job's module answers on " + nameOf(answer);
        f.events = m.events;
        f.link = where.first;
        find(f);
        return true;
      }
    for (const auto& [where, m] : modules_)
      if (m.request_key == request) {
        f.code = "answers-elsewhere";
        f.text = "requests on " + nameOf(request) + " are answered on " + nameOf(where.second) + ", not on " +
                 nameOf(answer) + " as the job has it: correct the job";
        f.step = "answer";
        f.weight = PIN16_WARNING;
        f.events = m.events;
        f.link = where.first;
        find(f);
        return true;
      }
    for (const auto& [where, sequences] : silent_)
      if (where.second == request) {
        f.code = "job-module-silent";
        f.text = "the job's module was asked " + counted(sequences.size(), "time") + " on " +
                 nameOf(request) + " and did not answer" +
                 (modules_.empty() ? "" : "; " + counted(modules_.size(), "other module") + " did");
        f.events.assign(
            sequences.begin(),
            sequences.begin() + static_cast<std::ptrdiff_t>(std::min<std::size_t>(16, sequences.size())));
        f.link = where.first;
        find(f);
        return true;
      }
    return false;
  }

  std::map<Where, Module> modules_;
  std::map<Where, std::vector<std::uint64_t>> silent_;
  std::uint64_t asked_ = 0, negative_ = 0;
};

}  // namespace

PIN16_PLUGIN(Rollcall)
