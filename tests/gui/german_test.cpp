// SPDX-License-Identifier: GPL-3.0-or-later
// The core's fixed texts in German: none is missing, none says other figures, and what is recorded stays as
// it is.

#include <gtest/gtest.h>

#include <QPushButton>
#include <QRegularExpression>
#include <QSignalSpy>
#include <QTranslator>
#include <set>
#include <string>

#include "../readiness/build.hpp"
#include "core/readiness/hook_up.hpp"
#include "core/readiness/path.hpp"
#include "core/readiness/plan.hpp"
#include "core/reasons/explain.hpp"
#include "gui/core_words.hpp"
#include "gui/hook_up_page.hpp"
#include "gui/live.hpp"
#include "gui/panels.hpp"
#include "gui/supply_path.hpp"
#include "gui/window.hpp"
#include "gui_support.hpp"

namespace pin16::gui {
namespace {

using enum job::Arrangement;
using event::Medium;
using event::PowerState;

using Texts = std::set<std::string>;

void addReasons(Texts& out) {
  for (const auto& c : reasons::causes()) out.insert({c.title, c.mend, c.caution});
  out.insert(reasons::titleOf({reasons::kSound}));
  for (const auto& r : reasons::readings()) {
    out.insert({r.how, r.risk, r.meter, r.instrument});
    out.insert(r.answers.begin(), r.answers.end());
  }
  for (int thousandth = 0; thousandth <= 1000; ++thousandth)
    out.insert(reasons::oddsText(thousandth / 1000.0));
}

void addOfJob(Texts& out, const job::Job& job) {
  for (const auto& i : readiness::interlocks(job)) out.insert({i.question, i.why});
  for (const auto& c : readiness::cautions(job)) out.insert(c);
  for (const auto& h : readiness::hookUp(job)) out.insert({h.text, h.why, h.seen});
  for (const auto& q : readiness::nextQuestions(job, {})) out.insert({q.point->how, q.with});
  for (const auto& c : readiness::codes()) out.insert(c.toDo(job.arrangement));
}

/// What a list says of power that it has seen.
void addSeen(Texts& out) {
  const job::Job job = readiness::jobOf(own_battery);
  readiness::Stream off, on;
  off.power(PowerState::off), on.power(PowerState::on);
  for (const auto& s : {off, on}) {
    const readiness::Evidence e = s.evidence();
    for (const auto& h : readiness::hookUpState(job, e, readiness::assess(job, e, {})))
      if (h.what.code == "feed-off" || h.what.code == "power") out.insert(h.reason);
  }
}

/// What decides next where no reading does.
Texts decidingTexts() {
  Texts out;
  const auto add = [&](const job::Job& job, const readiness::Stream& s) {
    if (const auto d = readiness::assess(job, s.evidence(), {}).deciding) out.insert(d->how);
  };
  job::Job known = readiness::jobOf(own_battery), unknown = known;
  unknown.module.address.reset();
  readiness::Stream s;
  s.power(PowerState::on).reading("V(src+,src-)=12.4 power=on").reading("V(pin16,pin4)=12.3 power=on");
  add(known, s);
  readiness::Stream sending = s, listening = s, line = s;
  sending.controller("active").frames(50);
  listening.link().frames(50);
  event::LinkState state;
  state.uri = "kline:x", state.condition = event::LinkCondition::up, state.medium = Medium::iso14230_4;
  state.time_error_ns = kNsPerMs;
  event::Exchange other;
  other.medium = Medium::iso14230_4, other.functional = other.ours = other.confirmed = true;
  other.ended = event::Ended::answered;
  other.request_id = 0x33, other.answer_id = 0x58, other.response_ms = 30;
  line.add(0, state).exchange(other);
  for (const job::Job& job : {known, unknown})
    for (const readiness::Stream& one : {sending, listening, line}) add(job, one);
  return out;
}

Texts fixedTexts() {
  Texts out = decidingTexts();
  addReasons(out);
  for (const auto arrangement : {own_battery, fed_in_place, removed})
    for (const double volts : {12.0, 24.0}) {
      job::Job job = readiness::jobOf(arrangement);
      job.nominal_V = volts;
      addOfJob(out, job);
    }
  addSeen(out);
  out.insert({"lit", "dark", "seen", "none"});  // the buttons of the points lamp and signs
  out.erase("");
  return out;
}

std::multiset<QString> figuresOf(QString text) {
  static const QRegularExpression figure(QStringLiteral("\\d+([.,]\\d+)?"));
  std::multiset<QString> out;
  for (auto at = figure.globalMatch(text); at.hasNext();)
    out.insert(at.next().captured().replace(QLatin1Char(','), QLatin1Char('.')));
  return out;
}

class GermanTest : public ::testing::Test {
 protected:
  void SetUp() override {
    ASSERT_TRUE(core_.load(QLocale("de")));
    QApplication::installTranslator(&core_);
  }
  void TearDown() override { QApplication::removeTranslator(&core_); }
  CoreWords core_;
};

TEST_F(GermanTest, EveryFixedTextOfTheCoreIsThereWithItsFigures) {
  const Texts all = fixedTexts();
  EXPECT_GT(all.size(), 500U);
  for (const std::string& english : all) {
    const QString german = core_.translate("core", english.c_str());
    EXPECT_FALSE(german.isEmpty()) << english;
    EXPECT_EQ(figuresOf(german), figuresOf(text(english))) << english << "\n" << german.toStdString();
  }
  EXPECT_TRUE(core_.translate("core", "no text of the core").isEmpty());
}

TEST_F(GermanTest, WhatDecidesWhereNoReadingDoesIsAmongThem) {
  std::string all;
  for (const std::string& t : decidingTexts()) all += t + "\n";
  EXPECT_EQ(decidingTexts().size(), 5U) << all;
}

TEST_F(GermanTest, LayoutOfTheHeadHoldsEveryFirstThing) {
  const double scale = qEnvironmentVariable("QT_SCALE_FACTOR", "1").toDouble();
  Header head;
  head.resize(static_cast<int>(1280 / scale), 150);
  head.setVisible(true);
  QTest::qWait(20);
  ASSERT_NEAR(head.first()->width(), 1280 / scale, 60);
  for (const auto& c : readiness::codes())
    for (const auto a : {own_battery, fed_in_place, removed}) {
      head.first()->setWhole(QStringLiteral("Zuerst: ") + coreText(c.toDo(a)));
      EXPECT_FALSE(head.first()->cut()) << head.first()->whole().toStdString();
      head.verdict()->setWhole(
          coreText(std::string("Not ready: ") + c.meaning + ". Faulty: source, feed, answer."));
      EXPECT_FALSE(head.verdict()->cut()) << head.verdict()->whole().toStdString();
    }
}

TEST_F(GermanTest, LayoutOfTheSupplyPathHoldsEveryArrangement) {
  QTranslator german;
  ASSERT_TRUE(german.load(QStringLiteral(":/i18n/pin16_de.qm")));
  QApplication::installTranslator(&german);
  const double scale = qEnvironmentVariable("QT_SCALE_FACTOR", "1").toDouble();
  for (const auto a : {own_battery, fed_in_place, removed}) {
    job::Job job = readiness::jobOf(a);
    job.module.supply_min_V = 9, job.module.supply_max_V = 16;
    job.module.current_steady_min_A = 0.1, job.module.current_steady_max_A = 0.6;
    readiness::Stream s;
    s.power(PowerState::on);
    for (const char* reading :
         {"V(src+,src-)=12.99", "V(loadblade,chassis)=12.65", "V(feed,chassis)=12.97", "I(feed)=0.311",
          "V(pin16,pin4)=12.97", "V(interface+,interface-)=12.59", "lamp=lit", "V(chassis,src-)=0.016",
          "V(pin6,pin4)=2.51", "V(pin14,pin4)=2.49"})
      s.reading(std::string(reading) + " power=on");
    const readiness::Evidence e = s.evidence();
    SupplyPath path;
    path.resize(static_cast<int>(1280 / scale), 214);
    path.show(job, readiness::supplyPath(job, e, readiness::assess(job, e, {})));
    static_cast<QWidget&>(path).show();
    shoot(path, QStringLiteral("path-%1-de").arg(static_cast<int>(a)));
    EXPECT_EQ(path.cut(), 0) << toText(a);
    EXPECT_FALSE(path.textBoxes().empty());
  }
  QApplication::removeTranslator(&german);
}

TEST_F(GermanTest, AnAnswerIsShownInGermanAndGivenInEnglish) {
  ReasonsPanel panel;
  const QSignalSpy entered(&panel, &ReasonsPanel::entered);
  const job::Point* lamp = job::findPoint("lamp");
  ASSERT_NE(lamp, nullptr);
  panel.show(std::nullopt, readiness::Question{lamp, PowerState::source, "", "interface", true}, false);
  QStringList shown;
  for (auto* b : panel.findChildren<QPushButton*>()) {
    shown += b->text();
    if (b->text() == "dunkel") b->click();
  }
  EXPECT_TRUE(shown.contains("leuchtet")) << shown.join(", ").toStdString();
  ASSERT_EQ(entered.size(), 1) << shown.join(", ").toStdString();
  EXPECT_EQ(entered.first().first().toString(), "lamp=dark power=source");
  EXPECT_TRUE(textOf(&panel).isEmpty() || !textOf(&panel).contains("Look at the interface"));
}

TEST_F(GermanTest, WhatAListHasSeenIsShownInGermanAndNotedInEnglish) {
  const job::Job job = readiness::jobOf(own_battery);
  readiness::Stream off;
  off.power(PowerState::off);
  const readiness::Evidence e = off.evidence();
  HookUpPage page;
  const QSignalSpy noted(&page, &HookUpPage::seen);
  page.show(readiness::hookUpState(job, e, readiness::assess(job, e, {})), {}, true);
  const HookUpRow* row = page.row("feed-off");
  ASSERT_NE(row, nullptr);
  EXPECT_TRUE(row->word().contains("Der Strom ist aus.")) << row->word().toStdString();
  EXPECT_TRUE(row->accessibleName().contains("Schlüssel weg")) << row->accessibleName().toStdString();
  ASSERT_EQ(noted.size(), 1);
  EXPECT_EQ(noted.first().first().toString(), "hook-up: feed-off seen: Power is off.");
}

TEST_F(GermanTest, LayoutOfTheQuestionsBeforePowerFitsTheWindow) {
  QTranslator german;
  ASSERT_TRUE(german.load(QStringLiteral(":/i18n/pin16_de.qm")));
  QApplication::installTranslator(&german);
  const double scale = qEnvironmentVariable("QT_SCALE_FACTOR", "1").toDouble();
  Window w;
  w.show();
  w.resize(static_cast<int>(1280 / scale), static_cast<int>(800 / scale));
  w.tryBench("own-battery-sound", false);
  ASSERT_NE(w.live(), nullptr);
  const auto is = [&](PowerState p) { return waitFor([&] { return w.live()->evidence()->power() == p; }); };
  ASSERT_TRUE(is(PowerState::on));
  ASSERT_TRUE(w.live()->power(PowerState::off));
  ASSERT_TRUE(is(PowerState::off));
  bool asked = false;
  QTimer::singleShot(500, qApp, [&] {
    auto* d = qobject_cast<QDialog*>(QApplication::activeModalWidget());
    ASSERT_NE(d, nullptr);
    asked = true;
    shoot(*d, "before-power-de");
    EXPECT_LE(d->height(), w.height());
    EXPECT_LE(d->width(), w.width());
    EXPECT_TRUE(textOf(d).contains("Ansehen, nicht messen.")) << textOf(d).toStdString();
    auto* on = named<QPushButton>(*d, "power-on");
    EXPECT_TRUE(d->rect().contains(QRect(on->mapTo(d, QPoint(0, 0)), on->size())));
    for (const QLabel* l : d->findChildren<QLabel*>())
      EXPECT_GE(l->height(), l->heightForWidth(l->width())) << l->text().toStdString();
    d->reject();
  });
  Q_EMIT w.hookUpPage()->powerAsked();
  QApplication::removeTranslator(&german);
  EXPECT_TRUE(asked);
  EXPECT_TRUE(w.endRecording());
}

}  // namespace
}  // namespace pin16::gui
