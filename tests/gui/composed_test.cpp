// SPDX-License-Identifier: GPL-3.0-or-later
// What the core composes, in German: of every shipped scenario, and of every sentence that stands in the
// sources of the verdicts, nothing is missing, and figures, units and names come out as they went in.

#include <gtest/gtest.h>

#include <QRegularExpression>
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <future>
#include <set>
#include <sstream>
#include <string>

#include "../cli/run_pin16.hpp"
#include "../readiness/build.hpp"
#include "core/readiness/appraisal.hpp"
#include "core/readiness/hook_up.hpp"
#include "core/readiness/path.hpp"
#include "core/readiness/plan.hpp"
#include "core/reasons/explain.hpp"
#include "core/reasons/gather.hpp"
#include "core/review/attempt_list.hpp"
#include "gui/core_words.hpp"

namespace pin16::gui {
namespace {

namespace fs = std::filesystem;
using Texts = std::set<std::string>;

// ---- what the window shows ----

/// What plugins say stays as it is.
std::string withoutPlugins(const readiness::Step& s) {
  return s.plugin.empty() ? s.text : s.text.substr(0, s.text.find(s.plugin + " finds: "));
}

void addSheet(Texts& out, const readiness::Sheet& sheet) {
  const auto plugin =
      std::find_if(sheet.steps.begin(), sheet.steps.end(), [](const auto& s) { return !s.plugin.empty(); });
  if (plugin == sheet.steps.end()) out.insert(sheet.sentence);
  if (sheet.first_thing && plugin == sheet.steps.end()) out.insert(sheet.first_thing->text);
  if (sheet.deciding) out.insert(sheet.deciding->how);
  for (const auto& s : sheet.steps) {
    out.insert(withoutPlugins(s));
    for (const auto& f : s.figures)
      if (s.plugin.empty() || !f.what.starts_with(s.plugin))
        out.insert({f.what, readiness::limitText(f), f.limit_source, readiness::amountText(f.value, f.unit)});
  }
}

void addSupplyPath(Texts& out, const job::Job& job, const readiness::Evidence& e,
                   const readiness::Sheet& sheet) {
  for (const auto& j : readiness::supplyPath(job, e, sheet)) out.insert({j.text(), j.expected_text});
  out.insert({readiness::fuseText(job), readiness::leadText(job)});
}

void addBeforePower(Texts& out, const job::Job& job, const readiness::Evidence& e,
                    const readiness::Sheet& sheet) {
  for (const auto& h : readiness::hookUpState(job, e, sheet))
    out.insert({h.what.text, h.what.why, h.what.seen, h.reason});
  for (const auto& c : readiness::cautions(job)) out.insert(c);
  for (const auto& i : readiness::interlocks(job)) out.insert({i.question, i.why});
  const auto ledger = job::readLedger(job);
  out.insert(readiness::powerUpWarning(job, ledger ? *ledger : std::vector<job::PowerUp>{}));
  out.insert(
      {readiness::inTheWay(sheet.interlocks), readiness::hookUpOpen(readiness::hookUpState(job, e, sheet))});
}

void addReasons(Texts& out, const reasons::Answer& a) {
  for (const auto& m : a.misfits) out.insert({m.measured, m.expected});
  for (const auto& e : a.ranked) out.insert(e.sentence);
  for (const auto& n : a.next) out.insert({n.for_if, n.against_if});
}

void addAll(Texts& out, const job::Job& job, const readiness::Evidence& e, const readiness::Sheet& sheet) {
  addSheet(out, sheet);
  addSupplyPath(out, job, e, sheet);
  addBeforePower(out, job, e, sheet);
}

// ---- where it comes from ----

const fs::path& scenarios() {
  static const fs::path folder = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";
  return folder;
}

/// Checked as a person would, then reviewed as the window does.
Texts ofScenario(const std::string& name) {
  Texts out;
  const test::TemporaryFolder folder;
  fs::copy_file(scenarios() / name / "job.toml", folder.file("job.toml"));
  const auto ran = test::runPin16({"check", "--job", "job.toml", "bench:" + (scenarios() / name).string(),
                                   "--ask", "--json", "-o", "c.pcapng"},
                                  folder.path());
  const auto job = job::readJob(folder.file("job.toml"));
  auto seen = job ? readiness::Appraisal::open(folder.file("c.pcapng"), *job, {})
                  : Result<std::unique_ptr<readiness::Appraisal>>(job.error());
  if (!seen) throw std::runtime_error(name + ": " + seen.error().text() + ran.err);
  while ((*seen)->next()) {
  }
  (*seen)->finish();
  const auto& evidence = (*seen)->evidence();
  addAll(out, *job, evidence, (*seen)->sheet());
  for (const auto& row : review::attemptRows({}, (*seen)->summary().attempts, "c.pcapng"))
    out.insert(row.supply);
  auto reasoner = reasons::Reasoner::prepare(reasons::settingOf(*job), reasons::priors(job->arrangement));
  const std::vector<bool> none(reasons::kReadings, false);
  const auto policy = reasons::policyOf(*job, evidence.power() == event::PowerState::on);
  addReasons(out, reasons::explain(reasoner, policy, none));
  // Few readings, more, all: what is said of them differs.
  const auto observations = reasons::gather(evidence, *job).observations;
  for (std::size_t i = 0; i < observations.size(); ++i) {
    reasoner.observe(observations[i]);
    if (i % 4 == 0 || i + 1 == observations.size()) addReasons(out, reasons::explain(reasoner, policy, none));
  }
  return out;
}

Texts ofAllScenarios() {
  Texts out;
  std::vector<std::future<Texts>> all;
  for (const auto& entry : fs::directory_iterator(scenarios()))
    if (fs::exists(entry.path() / "job.toml"))
      all.push_back(std::async(std::launch::async, ofScenario, entry.path().filename().string()));
  EXPECT_GE(all.size(), 20U);
  for (auto& one : all) out.merge(one.get());
  return out;
}

/// Jobs of every kind of which nothing is known yet, their limits, their ledgers and attempts.
Texts ofJobs() {
  Texts out;
  for (const auto a :
       {job::Arrangement::own_battery, job::Arrangement::fed_in_place, job::Arrangement::removed})
    for (const auto access : {job::Access::connector, job::Access::gateway})
      for (const bool bare : {false, true}) {
        job::Job job = readiness::jobOf(a, access);
        job.sealed = bare;
        if (bare) job.module.address.reset();
        if (!bare) job.feed.emplace();
        if (!bare) job.wait_s = 600, job.wait_source = "service information 12-3", job.power_up_budget = 3;
        job.module.pins = bare ? "" : "12, 13";
        if (bare) job.nominal_V = 24;
        readiness::Evidence e;
        addAll(out, job, e, readiness::assess(job, e, {}));
        for (const auto& l : job.limits.all())
          if (l.confidence != "job") out.insert(l.source);
        std::vector<job::PowerUp> ledger;
        for (int i = 0; i < 4; ++i) {
          out.insert(readiness::powerUpWarning(job, ledger));
          ledger.push_back({"2026-11-30T12:00:00Z", "declared", ""});
        }
        job.stop_after_alike = 2;
        for (const char* rung :
             {"no-bit", "errors-only", "unacknowledged", "silent", "negative", "pending", "cut"}) {
          job::AttemptEntry attempt;
          attempt.rung = rung;
          out.insert(job::stopText(job, {attempt, attempt}));
        }
      }
  return out;
}

/// Sentences as they stand in a source file, with figures where the core fills them in.
Texts ofSource(const std::string& file) {
  std::ifstream in(fs::path(PIN16_SOURCE_DIR) / file);
  std::stringstream all;
  all << in.rdbuf();
  static const QRegularExpression literals(QStringLiteral(R"RE((?:"(?:[^"\\\n]|\\.)*"\s*)+)RE"));
  static const QRegularExpression part(QStringLiteral(R"RE("((?:[^"\\\n]|\\.)*)")RE"));
  QString code = QString::fromStdString(all.str());
  code.remove(QRegularExpression(QStringLiteral("(?m)^\\s*//.*$|^#include.*$")));
  Texts out;
  for (auto at = literals.globalMatch(code); at.hasNext();) {
    QString said;
    for (auto p = part.globalMatch(at.next().captured()); p.hasNext();) said += p.next().captured(1);
    said = said.trimmed().replace(QStringLiteral("\\\""), QStringLiteral("\""));
    if (said.isEmpty()) continue;
    // A sentence, or plain words: the name of a figure or what fills a sentence. Smaller parts come with the
    // scenarios.
    static const QRegularExpression words(QStringLiteral("[a-z]+( [a-z]+)+"));
    const bool plain =
        QRegularExpression(QRegularExpression::anchoredPattern(words.pattern())).match(said).hasMatch();
    if (!plain && (!said.endsWith(QLatin1Char('.')) || !said.front().isUpper())) continue;
    said.replace(QRegularExpression(QStringLiteral(R"(\{:[^{}]*X\})")), QStringLiteral("31"));
    said.replace(QRegularExpression(QStringLiteral(R"(\{:[^{}]+\})")), QStringLiteral("7"));
    // Fillings that are no figure.
    static const std::pair<QString, QString> others[] = {
        {"{} of {}.", "12 frames of 1 identifier."},
        {"The job's module answered {} of {}{}.",
         "The job's module answered 2 of 3 requests, 1 of them by refusing."},
        {"error frame", "3 error frames"},
        {"from source to", "from source to V(feed,chassis)"},
        {"without our computer", "V(chassis,src-) without our computer"},
        {"Not ready: {} Faulty: {}.", "Not ready: the bus is silent. Faulty: feed, traffic."}};
    for (const auto& [form, example] : others)
      if (said == form) said = example;
    // Attached to a word: one that may be there or not.
    said.replace(QRegularExpression(QStringLiteral(R"((?<=\w)\{\})")), QString());
    said.replace(QStringLiteral("{}"), QStringLiteral("12.3 V"));
    out.insert(said.toStdString());
  }
  return out;
}

// ---- how it is compared ----

class ComposedTest : public ::testing::Test {
 protected:
  void SetUp() override { ASSERT_TRUE(words_.load(QLocale("de"))); }

  /// Names that are typed and recorded, units, and what a person wrote in these jobs.
  static bool mayStay(const QString& filling) {
    static const QRegularExpression names(QRegularExpression::anchoredPattern(QStringLiteral(
        R"([-+]?[\d.]+ \S+|[A-Z]\w*\([^()]*\)(\[\d\])?|module\.\w+|[0-9A-F]{3,8}|OL|ISO [\d-]+|SAE J\d+|)"
        R"(service information 12-3|2026-.*Z)")));
    static const std::set<QString> typed = [] {
      std::set<QString> out;
      for (const auto& r : reasons::readings()) out.insert(r.id);
      for (const auto& p : job::points()) out.insert(QString::fromStdString(p.name));
      return out;
    }();
    return names.match(filling).hasMatch() || typed.contains(filling);
  }
  /// Figures with their units, and names, in any order.
  static QStringList kept(QString text) {
    static const QRegularExpression all(QStringLiteral(
        R"(\d+(?:\.\d+)?(?: (?:v|a|ohm|ms|s|kohm|mohm)\b)?|[a-z]\w*\([^()]*\)|`(?:pin16|--)[^`]*`)"));
    // In words it is "10-Ohm-Last" and "2,5 mm".
    text = text.toLower().replace(QRegularExpression(QStringLiteral(R"((?<=\d)-(?=[av]\b|ohm))")), " ");
    text.replace(QRegularExpression(QStringLiteral(R"((?<=\d),(?=\d))")), ".");
    QStringList out;
    for (auto at = all.globalMatch(text); at.hasNext();) out += at.next().captured();
    out.sort();
    return out;
  }
  void expectGerman(const Texts& all) {
    for (const std::string& text : all) {
      const QString english = QString::fromStdString(text);
      if (!std::any_of(english.begin(), english.end(), [](QChar c) { return c.isLetter(); })) continue;
      QStringList left;
      const QString german = words_.translated(english, &left);
      if (german.isEmpty() && mayStay(english)) continue;
      left.removeIf([](const QString& l) { return mayStay(l); });
      EXPECT_TRUE(left.isEmpty()) << "no German for: " << left.join(" | ").toStdString() << "\n  in: " << text
                                  << "\n  so far: " << german.toStdString();
      if (!left.isEmpty()) continue;
      EXPECT_EQ(kept(english).join("|").toStdString(), kept(german).join("|").toStdString())
          << text << "\n"
          << german.toStdString();
    }
  }
  CoreWords words_;
};

TEST_F(ComposedTest, EveryShippedScenarioIsTold) {
  const Texts all = ofAllScenarios();
  EXPECT_GT(all.size(), 400U);
  expectGerman(all);
}

TEST_F(ComposedTest, EveryKindOfJobIsTold) { expectGerman(ofJobs()); }

TEST_F(ComposedTest, EveryVerdictIsTold) {
  Texts all;
  for (const auto& c : readiness::codes())
    all.insert(std::string("Not ready: ") + c.meaning + ". Faulty: " + c.step + ", timing.");
  for (const char* ready : {"Ready for the read-out attempt", "Ready as far as listening tells"})
    for (const char* marginal : {"", "; marginal: source, feed"})
      for (const char* asked : {"", "; not asked (sealed): answer, timing"})
        for (const char* measured : {"", "; not measured and not needed here: levels"})
          all.insert(std::string(ready) + marginal + asked + measured + ".");
  for (const char* point : {"V(src+,src-)", "lamp", "listen", "ask", "roll call"})
    all.insert(std::string("Undecided: not measured: source, answer. Next, ") + point + " decides.");
  expectGerman(all);
}

TEST_F(ComposedTest, EverySentenceOfTheSourcesIsTold) {
  std::size_t count = 0;
  for (const char* file : {"supply_steps", "bus_steps", "sheet", "hook_up", "interlocks"}) {
    Texts all = ofSource(std::string("core/readiness/") + file + ".cpp");
    count += all.size();
    expectGerman(all);
  }
  EXPECT_GT(count, 100U);
}

TEST_F(ComposedTest, EachFormKeepsEveryFilling) {
  static const QRegularExpression in(QStringLiteral(R"(\{[^{}]*\})")), out(QStringLiteral(R"(\{(\d+)\})"));
  EXPECT_GT(words_.forms().size(), 80U);
  for (const auto& [english, german] : words_.forms()) {
    int fillings = 0;
    for (auto at = in.globalMatch(english); at.hasNext(); at.next()) ++fillings;
    std::multiset<int> used, wanted;
    for (auto at = out.globalMatch(german); at.hasNext();) used.insert(at.next().captured(1).toInt());
    for (int i = 0; i < fillings; ++i) wanted.insert(i);
    EXPECT_EQ(used, wanted) << english.toStdString() << "\n" << german.toStdString();
  }
}

TEST_F(ComposedTest, WhatIsNotKnownStaysAndIsNamed) {
  QStringList left;
  EXPECT_EQ(words_.translated("Nobody wrote this. It is back now.", &left),
            "Nobody wrote this. Jetzt ist sie wieder da.");
  EXPECT_EQ(left, QStringList("Nobody wrote this."));
  left.clear();
  EXPECT_EQ(words_.translated("The source gives lots of smoke.", &left), "Die Quelle gibt lots of smoke.");
  EXPECT_EQ(left, QStringList("lots of smoke"));
  EXPECT_TRUE(words_.translated("Nobody wrote this.", nullptr).isEmpty());
}

TEST_F(ComposedTest, ListsBracketsAndRangesAreTakenApart) {
  const auto german = [&](const char* english) { return words_.translated(english, nullptr).toStdString(); };
  EXPECT_EQ(
      german("For it: V(pin16,pin4) 0.02 V, V(slot load,chassis) 12.30 V and interface-lamp off; against "
             "it: I(feed) 0.300 A (it would be 1.200 A to 2.000 A), R(pin6,pin14) 61 ohm (it would be 1.2 "
             "kohm to OL)."),
      "Dafür: V(pin16,pin4) 0.02 V, V(slot load,chassis) 12.30 V und interface-lamp aus; dagegen: I(feed) "
      "0.300 A (zu erwarten: 1.200 A bis 2.000 A), R(pin6,pin14) 61 ohm (zu erwarten: 1.2 kohm bis OL).");
  EXPECT_EQ(
      german("The request was not let out: another tester sent on 7E0 less than 10 s ago; let it finish, or "
             "disconnect it, and ask again."),
      "Die Anfrage wurde nicht hinausgelassen: ein anderes Diagnosegerät sendete auf 7E0 vor weniger als 10 "
      "s; "
      "es fertig werden lassen oder abstecken und noch einmal fragen.");
  EXPECT_EQ(german("Undecided: not measured: source, feed. Next, V(src+,src-) decides."),
            "Unentschieden, nicht gemessen: Quelle, Speisung. Als Nächstes entscheidet V(src+,src-).");
  EXPECT_EQ(
      german("not cleared: waited (said 30 s after power was taken off, 600 s are needed); not answered: "
             "volts, dry"),
      "nicht freigegeben: Wartezeit (gesagt 30 s nach dem Ausschalten, 600 s sind nötig); nicht beantwortet: "
      "Voltzahl, Trockenheit");
}

}  // namespace
}  // namespace pin16::gui
