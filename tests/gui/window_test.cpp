// SPDX-License-Identifier: GPL-3.0-or-later
// The window, driven by clicks and keys: a review from the start page to verdict, reasons and search; a
// recording on the simulated bench from the first reading to a capture that verifies; and the layout of every
// screen. Run by tests/gui/run.sh.

#include "gui/window.hpp"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <QApplication>
#include <QAudioDevice>
#include <QCheckBox>
#include <QComboBox>
#include <QDialog>
#include <QDir>
#include <QHeaderView>
#include <QLineEdit>
#include <QMediaDevices>
#include <QMessageBox>
#include <QPushButton>
#include <QScrollBar>
#include <QSplitter>
#include <QTableView>
#include <QTemporaryDir>
#include <QTest>
#include <QTimer>
#include <cstdio>
#include <functional>

#include "core/bench/bench.hpp"
#include "core/capture/verify.hpp"
#include "core/capture/writer.hpp"
#include "core/link/link.hpp"
#include "core/supply/supply.hpp"
#include "gui/events_panel.hpp"
#include "gui/far_view.hpp"
#include "gui/live.hpp"
#include "gui/look.hpp"
#include "gui/panels.hpp"
#include "gui/supply_path.hpp"
#include "gui/time_axis.hpp"
#include "gui_support.hpp"

namespace pin16::gui {
namespace {

using event::CanFrame;
using event::Kind;
using event::PowerState;

event::Measurement reading(const char* point, double value, PowerState power, const char* unit = "V") {
  event::Measurement m;
  m.point = point;
  m.value = value;
  m.unit = unit;
  m.uncertainty = 0.02;
  m.power = power;
  m.by = "A";
  return m;
}

constexpr Ns kOffset_ns = 1'790'251'200 * kNsPerSecond;  // 2026-09-24T12:00:00Z

/// A vehicle whose connector fuse is open: the source and the feed are metered, pin 16 is typed, another
/// tester's requests are answered, refused and left alone, one dip of the feed lasts 2 ms, one meter was
/// unplugged for a while.
void makeCapture(const std::string& file) {
  capture::SectionFacts facts;
  facts.application = "test";
  facts.utc_offset_ns = kOffset_ns;
  auto writer = capture::Writer::create(file, facts);
  ASSERT_TRUE(writer) << writer.error().text();
  event::Batch b;
  std::uint64_t n = 0;
  const auto at = [](double s) { return kNsPerSecond + fromSeconds(s); };
  const auto flush = [&] {
    ASSERT_TRUE((*writer)->take(b));
    b.clear();
  };
  event::LinkState bus;
  bus.uri = "socketcan:can0";
  bus.condition = event::LinkCondition::up;
  bus.bitrate = 500000;
  bus.listen_only = event::Known::yes;
  bus.silence = event::Silence::proven;
  b.add(++n, at(0), 0, Kind::link, bus);
  event::LinkState meter;
  meter.uri = "scpi:/dev/ttyUSB2";
  meter.condition = event::LinkCondition::up;
  meter.meter = true;
  b.add(++n, at(0), 1, Kind::link, meter);
  b.add(++n, at(0.1), event::kNoLink, Kind::reading, reading("R(pin6,pin14)", 60.4, PowerState::off, "ohm"));
  b.add(++n, at(0.2), event::kNoLink, Kind::reading, reading("V(src+,src-)", 12.61, PowerState::source));
  b.add(++n, at(1.0), event::kNoLink, Kind::power, event::Power{PowerState::on, "declared", "A"});
  b.add(++n, at(2.0), event::kNoLink, Kind::reading, reading("V(loadblade,chassis)", 0.02, PowerState::on));
  b.add(++n, at(2.2), event::kNoLink, Kind::reading, reading("V(chassis,src-)", 0.03, PowerState::on));
  b.add(++n, at(2.5), event::kNoLink, Kind::reading, reading("V(pin16,pin4)", 12.43, PowerState::on));
  event::Measurement lamp = reading("lamp", 1, PowerState::on, "");
  b.add(++n, at(2.6), event::kNoLink, Kind::reading, lamp);
  b.add(++n, at(2.7), event::kNoLink, Kind::reading, reading("V(pin6,pin4)", 2.5, PowerState::on));
  b.add(++n, at(2.8), event::kNoLink, Kind::reading, reading("V(pin14,pin4)", 2.49, PowerState::on));
  b.add(++n, at(3.0), event::kNoLink, Kind::note, event::Note{"bag lamp on, door opened", "A"});
  for (int i = 0; i < 6000; ++i) {
    const double s = 1.0 + i * 0.001;
    const bool gap = s > 4.2 && s < 4.6;
    if (!gap) {
      auto m = reading("V(src+,src-)", 12.55 + 0.02 * (i % 3), PowerState::on);
      m.by.clear();
      b.add(++n, at(s), 1, Kind::sample, m);
      m.point = "V(pin16,pin4)";
      m.value = i == 2500 || i == 2501 ? 9.6 : 12.43 + 0.01 * (i % 5);
      b.add(++n, at(s), 1, Kind::sample, m);
      m.point = "I(feed)";
      m.unit = "A";
      m.value = 0.001 * (i % 4);
      b.add(++n, at(s), 1, Kind::sample, m);
    }
    if (i == 3600) b.add(++n, at(s), 1, Kind::gap, event::Gap{at(4.2), at(s), "unplugged"});
    if (i % 4 == 0) b.addFrame(++n, at(s), 0, CanFrame::make(0x0C8, false, *fromHex("0102030405060708")), 0);
    if (i % 10 == 0)
      b.addFrame(++n, at(s) + 200'000, 0, CanFrame::make(0x280, false, *fromHex("1122334455667788")), 0);
    if (i == 1500)
      b.addFrame(++n, at(s) + 1000, 0, CanFrame::make(0x7E0, false, *fromHex("02010c5555555555")), 0);
    if (i == 1540)
      b.addFrame(++n, at(s) + 1000, 0, CanFrame::make(0x7E8, false, *fromHex("04410c0000555555")), 0);
    if (i == 2200)
      b.addFrame(++n, at(s) + 1000, 0, CanFrame::make(0x7E0, false, *fromHex("0322f19055555555")), 0);
    if (i == 2230)
      b.addFrame(++n, at(s) + 1000, 0, CanFrame::make(0x7E8, false, *fromHex("037f223155555555")), 0);
    if (i == 3900)
      b.addFrame(++n, at(s) + 1000, 0, CanFrame::make(0x7A1, false, *fromHex("0322f19055555555")), 0);
    if (b.headers.size() > 900) flush();
  }
  flush();
  ASSERT_TRUE((*writer)->finish());
}

/// The story's job, as a file beside the capture.
void makeJob(const std::string& folder, const QString& scenario = "connector-fuse-open") {
  const auto from = bench::findScenario(scenario.toStdString());
  ASSERT_TRUE(from);
  ASSERT_TRUE(QFile::copy(text(*from) + "/job.toml", text(folder) + "/job.toml"));
}

class WindowTest : public GuiTest {
 protected:
  /// The window with the story's capture, all known of it.
  void reviewed(Window& w) {
    makeCapture(path("c.pcapng"));
    makeJob(folder_.path().toStdString());
    w.show();
    w.review(text(path("c.pcapng")), {});
    ASSERT_TRUE(waitFor([&] { return w.source() != nullptr && w.source()->sheet() != nullptr; }));
    ASSERT_TRUE(waitFor([&] { return w.reasons()->answer().has_value(); }, 150'000));
  }
};

TEST_F(WindowTest, ACaptureIsReviewedFromTheStartPageToVerdictReasonsAndSearch) {
  makeCapture(path("c.pcapng"));
  makeJob(folder_.path().toStdString());
  Window w;
  w.show();
  shoot(w, "start");
  w.startPage()->captureLine()->setFocus();
  QTest::keyClicks(w.startPage()->captureLine(), text(path("c.pcapng")));
  QTest::mouseClick(named<QPushButton>(*w.startPage(), "review"), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.source() != nullptr && w.source()->sheet() != nullptr; }));
  // Verdict, steps, path.
  EXPECT_TRUE(w.header()->verdict()->whole().startsWith("Not ready: "))
      << w.header()->verdict()->whole().toStdString();
  EXPECT_TRUE(textOf(w.steps()).contains("faulty"));
  EXPECT_EQ(w.source()->sheet()->first_thing->step, "feed");
  EXPECT_TRUE(w.path()->accessibleDescription().contains("V(loadblade,chassis) 0.020 V"))
      << w.path()->accessibleDescription().toStdString();
  // Reasons: the connector's fuse or what cannot be told from it comes first; a reading that speaks against
  // it moves it down.
  ASSERT_TRUE(waitFor([&] { return w.reasons()->answer().has_value(); }, 150'000));
  QTest::qWait(50);
  const QString causes = textOf(w.reasonsPanel());
  EXPECT_TRUE(causes.contains("fuse")) << causes.toStdString();
  EXPECT_TRUE(causes.contains("what can keep it from answering")) << "somebody asked";
  shoot(w, "review-light");
  // The axis: a click sets the cursor, the table follows; End and the arrow keys go the other way.
  QWidget* over = w.axis()->findChildren<QWidget*>(QString(), Qt::FindDirectChildrenOnly).last();
  QTest::mouseClick(over, Qt::LeftButton, {}, QPoint(over->width() / 2, over->height() / 2));
  const Ns cursor = w.axis()->cursor();
  ASSERT_NE(cursor, kNoTime);
  const auto& rows = w.events()->model().rows();
  ASSERT_FALSE(rows.empty());
  const auto selected = w.events()->table()->selectionModel()->selectedRows();
  ASSERT_EQ(selected.size(), 1);
  const Ns row_t = rows[static_cast<std::size_t>(selected.front().row())].t_ns;
  EXPECT_GE(row_t, cursor);
  EXPECT_LT(row_t - cursor, 10 * kNsPerMs);
  QTest::keyClick(w.events()->table(), Qt::Key_End);
  EXPECT_EQ(w.axis()->cursor(), w.source()->timeline()->lastNs());
  EXPECT_GT(w.events()->top(), 0U);
  QTest::keyClick(w.events()->table(), Qt::Key_Home);
  EXPECT_EQ(w.events()->top(), 0U);
  // Search, in the words of the command.
  QTest::keyClicks(w.events()->searchLine(), "kind note \"BAG LAMP\"");
  QTest::keyClick(w.events()->searchLine(), Qt::Key_Return);
  ASSERT_TRUE(waitFor([&] { return !w.events()->searching(); }));
  ASSERT_EQ(w.events()->rows(), 1U);
  EXPECT_TRUE(w.events()->model().rows()[0].detail.contains("door opened"));
  shoot(w, "review-search");
  w.events()->searchLine()->clear();
  QTest::keyClicks(w.events()->searchLine(), "ended silent ended negative");
  QTest::keyClick(w.events()->searchLine(), Qt::Key_Return);
  ASSERT_TRUE(waitFor([&] { return !w.events()->searching(); }));
  EXPECT_EQ(w.events()->rows(), 2U);
  w.events()->searchLine()->clear();
  EXPECT_GT(w.events()->rows(), 10'000U);
  // A word that is none is told, nothing is lost.
  QTest::keyClicks(w.events()->searchLine(), "colour red");
  QTest::keyClick(w.events()->searchLine(), Qt::Key_Return);
  EXPECT_GT(w.events()->rows(), 10'000U);
}

TEST_F(WindowTest, ATwoMillisecondDipIsSeenInTheWholeAndInTheCloseUp) {
  Window w;
  reviewed(w);
  const auto& series = w.source()->timeline()->series();
  const auto feed =
      std::find_if(series.begin(), series.end(), [](const auto& s) { return s.point == "V(pin16,pin4)"; });
  ASSERT_NE(feed, series.end());
  for (const std::size_t columns : {60U, 200U, 690U}) {
    double low = 99;
    for (const auto& c : feed->values.columns(w.axis()->from(), w.axis()->to(), columns))
      if (c.count > 0) low = std::min(low, c.min);
    EXPECT_DOUBLE_EQ(low, 9.6) << columns;
  }
  EXPECT_LE(w.axis()->points(), 15'000U);
  const Ns dip = w.source()->startNs() + fromSeconds(3.5);
  for (int i = 0; i < 9; ++i) w.axis()->zoom(0.5, dip);
  w.axis()->setCursor(dip);
  shoot(w, "review-dip");
  EXPECT_LT(w.axis()->to() - w.axis()->from(), 20 * kNsPerMs);
}

TEST_F(WindowTest, AReadingTypedIntoTheCardMovesTheOdds) {
  Window w;
  reviewed(w);
  const auto before = w.reasons()->answer()->ranked.front().probability;
  const std::size_t known = w.reasons()->answer()->observations;
  QTest::qWait(100);  // new buttons are shown by the event loop
  ASSERT_FALSE(w.reasonsPanel()->asked().isEmpty());
  const QString asked = w.reasonsPanel()->asked();
  if (w.reasonsPanel()->entry()->isVisible()) {
    QTest::keyClicks(w.reasonsPanel()->entry(), asked.startsWith("R")   ? "OL"
                                                : asked.startsWith("I") ? "0.3"
                                                                        : "12.5");
    QTest::mouseClick(w.reasonsPanel()->enterButton(), Qt::LeftButton);
  } else {
    for (auto* b : w.reasonsPanel()->findChildren<QPushButton*>())
      if (b->isVisible() && b->text() != "skip") {
        QTest::mouseClick(b, Qt::LeftButton);
        break;
      }
  }
  ASSERT_TRUE(waitFor([&] { return w.reasons()->answer()->observations == known + 1; }))
      << asked.toStdString() << " entered " << w.source()->entered().size() << ", known " << known << ", now "
      << w.reasons()->answer()->observations << " " << textOf(w.reasonsPanel()).toStdString();
  EXPECT_NE(w.reasons()->answer()->ranked.front().probability, before);
}

TEST_F(WindowTest, AFileThatIsNoCaptureIsToldOnTheStartPage) {
  Window w;
  w.show();
  w.review(text(path("none.pcapng")), {});
  EXPECT_EQ(w.source(), nullptr);
  EXPECT_TRUE(textOf(w.startPage()).contains("cannot be opened"));
}

TEST_F(WindowTest, ABenchIsMeasuredFromTheFirstReadingToACaptureThatVerifies) {
  Window w;
  w.show();
  // The list tells what is complained of, the answer only to who asks.
  w.startPage()->chooseScenario("connector-fuse-open");
  for (int i = 0; i < w.startPage()->scenarios()->count(); ++i) {
    const QString shown = w.startPage()->scenarios()->itemText(i);
    EXPECT_TRUE(shown.endsWith('.') || shown.endsWith('?')) << shown.toStdString();
    EXPECT_FALSE(shown.contains(w.startPage()->scenarios()->itemData(i).toString()));
  }
  EXPECT_TRUE(textOf(w.startPage()).contains("The interface stays dark"));
  EXPECT_FALSE(textOf(w.startPage()).contains("the fuse of the diagnostic connector is open"));
  w.startPage()->answerBox()->setChecked(true);
  EXPECT_TRUE(textOf(w.startPage()).contains("the fuse of the diagnostic connector is open"));
  QTest::mouseClick(named<QPushButton>(*w.startPage(), "try"), Qt::LeftButton);
  ASSERT_NE(w.live(), nullptr) << textOf(w.startPage()).toStdString();
  EXPECT_FALSE(w.source()->linkName(0).contains("fuse")) << w.source()->linkName(0).toStdString();
  EXPECT_EQ(w.source()->file().find("fuse"), std::string::npos) << w.source()->file();
  ASSERT_TRUE(waitFor([&] { return w.source()->sheet() != nullptr; }));
  // What the card asks for is read from the bench's meter, until power would be needed.
  for (int i = 0; i < 25; ++i) {
    QTest::qWait(120);
    if (!w.reasonsPanel()->meterButton()->isVisible() ||
        w.source()->sheet()->overall == readiness::Overall::not_ready)
      break;
    const QString asked = w.reasonsPanel()->asked();
    if (asked.isEmpty()) break;
    QTest::mouseClick(w.reasonsPanel()->meterButton(), Qt::LeftButton);
    if (w.reasonsPanel()->entry()->isVisible() && !w.reasonsPanel()->entry()->text().isEmpty())
      QTest::mouseClick(w.reasonsPanel()->enterButton(), Qt::LeftButton);
  }
  shoot(w, "live-before-power");
  // The bench switches itself on. Off by a click, and on again after what has to be cleared was answered.
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == PowerState::on; }));
  QTest::mouseClick(w.liveBar()->power(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == PowerState::off; }));
  answerNextDialog("power-on", [](QDialog& d) {
    d.findChild<QLineEdit*>()->setText("A");
    for (auto* c : d.findChildren<QComboBox*>()) c->setCurrentIndex(1);
    shoot(d, "live-power");
  });
  QTest::mouseClick(w.liveBar()->power(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == PowerState::on; }))
      << textOf(w.liveBar()).toStdString();
  // What was seen counts as well as what was declared.
  EXPECT_EQ(w.source()->sheet()->power.measured, 1);
  EXPECT_EQ(w.source()->sheet()->power.declared, 1);
  w.lookFromAfar(true);
  QTest::qWait(400);
  shoot(w, "live-far");
  w.lookFromAfar(false);
  for (const char* typed : {"V(src+,src-)=12.5V power=on", "V(pin16,pin4)=0.01V power=on", "lamp=dark"}) {
    auto m = job::parseReading(typed);
    ASSERT_TRUE(m) << typed;
    ASSERT_TRUE(w.source()->enter(*m));
  }
  ASSERT_TRUE(waitFor([&] { return w.source()->sheet()->overall == readiness::Overall::not_ready; }))
      << w.source()->sheet()->sentence;
  EXPECT_EQ(w.source()->sheet()->first_thing->code, "connector-no-power");
  QTest::keyClicks(w.liveBar()->note(), "fuse 7 looked at");
  QTest::keyClick(w.liveBar()->note(), Qt::Key_Return);
  ASSERT_TRUE(waitFor([&] { return w.events()->rows() > 5; }));
  shoot(w, "live-not-ready");
  // Closing while it records asks.
  answerNextDialog("end-it");
  const std::string file = w.source()->file();
  w.close();
  EXPECT_FALSE(w.live()->recording());
  const auto whole = capture::verify(file);
  ASSERT_TRUE(whole);
  EXPECT_TRUE(whole->whole) << whole->text;
  // The file says the same when it is reviewed.
  w.show();
  w.review(text(file), {});
  ASSERT_TRUE(waitFor([&] { return w.live() == nullptr && w.source()->sheet() != nullptr; }));
  EXPECT_EQ(w.source()->sheet()->overall, readiness::Overall::not_ready);
  EXPECT_EQ(w.source()->sheet()->first_thing->code, "connector-no-power");
}

TEST_F(WindowTest, TheToneFollowsAChannelOrSaysThatThereIsNoLoudspeaker) {
  Window w;
  w.show();
  w.tryBench("own-battery-sound", false);
  ASSERT_NE(w.live(), nullptr);
  ASSERT_TRUE(waitFor([&] { return w.source()->timeline()->series().size() >= 10; }));
  w.lookFromAfar(true);
  EXPECT_FALSE(w.farView()->toneButton()->isChecked()) << "off until it is asked for";
  EXPECT_FALSE(w.farView()->heard()->isVisible());
  QTest::mouseClick(w.farView()->toneButton(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.farView()->heard()->text().contains("lowest"); }));
  const QString first = "V(pin16,pin4)";
  const QString second = "V(src+,src-)";
  EXPECT_TRUE(w.farView()->heard()->text().startsWith(first)) << w.farView()->heard()->text().toStdString();
  const bool has_output = !QMediaDevices::defaultAudioOutput().isNull();
  EXPECT_NE(w.farView()->heard()->text().contains("no audio output"), has_output);
  shoot(w, "live-far-tone");
  QTest::mouseClick(w.farView()->channelButton(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.farView()->heard()->text().startsWith(second); }));
  QTest::mouseClick(w.farView()->toneButton(), Qt::LeftButton);
  EXPECT_FALSE(w.farView()->heard()->isVisible());
  EXPECT_TRUE(w.endRecording());
}

TEST_F(WindowTest, WhoAnswersIsAskedByHandAndTheAttemptHasOneLine) {
  Window w;
  w.show();
  w.tryBench("own-battery-sound", true);
  ASSERT_NE(w.live(), nullptr);
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->frames() > 20; }));
  QTest::mouseClick(w.liveBar()->ask(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return !w.live()->asking() && w.source()->evidence()->sent() > 0; }));
  ASSERT_TRUE(waitFor([&] {
    const auto& steps = w.source()->sheet()->steps;
    return std::any_of(steps.begin(), steps.end(), [](const auto& s) {
      return s.name == "answer" && s.verdict == readiness::Verdict::sound;
    });
  })) << w.source()->sheet()->sentence;
  EXPECT_TRUE(w.axis()->follows());
  shoot(w, "live-sound");
  QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return textOf(w.header()).contains("hands off"); }))
      << textOf(w.liveBar()).toStdString();
  QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
  EXPECT_EQ(w.source()->attempts().size(), 1U);
  // Nothing was asked for: nothing is sent.
  EXPECT_TRUE(w.endRecording());
  ASSERT_TRUE(waitFor([&] { return w.live() == nullptr && w.source()->sheet() != nullptr; }));
}

TEST_F(WindowTest, AWindowThatIsKilledLosesNothing) {
  // A process of its own, which is killed.
  int out[2];
  ASSERT_EQ(pipe(out), 0);
  const pid_t child = fork();
  if (child == 0) {
    dup2(out[1], 3);
    execl("/proc/self/exe", "test_gui", "--child", folder_.path().toLocal8Bit().constData(), nullptr);
    _exit(1);
  }
  close(out[1]);
  char line[512] = {};
  ASSERT_GT(read(out[0], line, sizeof line - 1), 0);
  const std::string file(line, strcspn(line, "\n"));
  kill(child, SIGKILL);
  waitpid(child, nullptr, 0);
  const auto size = QFileInfo(text(file)).size();
  ASSERT_TRUE(waitFor([&] { return QFileInfo(text(file)).size() > size + 2000; }))
      << file << " does not grow any more";
  // Ended as the message of the window says.
  EXPECT_EQ(
      std::system((qEnvironmentVariable("PIN16_PROGRAM").toStdString() + " note --end >/dev/null").c_str()),
      0);
  ASSERT_TRUE(waitFor([&] { return QFileInfo::exists(text(file + ".sha256")); }));
  const auto whole = capture::verify(file);
  ASSERT_TRUE(whole);
  EXPECT_TRUE(whole->whole) << whole->text;
}

// --- Layout

void walk(QWidget* w, std::vector<QString>& faults) {
  const auto name = [](const QWidget* x) {
    QString s = x->metaObject()->className();
    if (const auto* l = qobject_cast<const QLabel*>(x)) s += " '" + l->text().left(40) + "'";
    if (const auto* b = qobject_cast<const QPushButton*>(x)) s += " '" + b->text() + "'";
    return s;
  };
  if (const auto* l = qobject_cast<QLabel*>(w);
      l != nullptr && dynamic_cast<ShortLabel*>(w) == nullptr && !l->text().isEmpty()) {
    if (l->wordWrap()) {
      const int h = l->fontMetrics()
                        .boundingRect(QRect(0, 0, l->width(), 10'000), Qt::TextWordWrap, l->text())
                        .height();
      if (h > l->height() + 3) faults.push_back("text higher than its label: " + name(l));
    } else if (l->fontMetrics().horizontalAdvance(l->text()) > l->width() + 1) {
      faults.push_back("text wider than its label: " + name(l));
    }
  }
  if (const auto* b = qobject_cast<QPushButton*>(w);
      b != nullptr && b->fontMetrics().horizontalAdvance(b->text()) > b->width() - 6)
    faults.push_back("text wider than its button: " + name(b));
  if (const auto* a = qobject_cast<QAbstractScrollArea*>(w);
      a != nullptr && a->horizontalScrollBar()->isVisible())
    faults.push_back("scrolls sideways: " + name(w));
  std::vector<QWidget*> children;
  for (QObject* o : w->children())
    if (auto* c = qobject_cast<QWidget*>(o); c != nullptr && c->isVisible() && !c->isWindow())
      children.push_back(c);
  const bool layered = qobject_cast<TimeAxis*>(w) != nullptr ||
                       qobject_cast<QAbstractScrollArea*>(w) != nullptr ||
                       qobject_cast<QSplitter*>(w) != nullptr || qobject_cast<QLineEdit*>(w) != nullptr ||
                       qobject_cast<QComboBox*>(w) != nullptr;
  for (std::size_t i = 0; i < children.size(); ++i) {
    for (std::size_t k = i + 1; k < children.size() && !layered; ++k) {
      const QRect both = children[i]->geometry() & children[k]->geometry();
      if (both.width() > 1 && both.height() > 1)
        faults.push_back("overlap: " + name(children[i]) + " and " + name(children[k]));
    }
    walk(children[i], faults);
  }
}
/// Those that stay: what was resized settles when the window system gets to it.
void findFaults(QWidget* in, std::vector<QString>& faults) {
  (void)waitFor(
      [&] {
        faults.clear();
        walk(in, faults);
        return faults.empty();
      },
      3000);
}

void expectTextApart(const std::vector<QRectF>& boxes, const QRectF& in, const std::string& where) {
  for (std::size_t i = 0; i < boxes.size(); ++i) {
    EXPECT_TRUE(in.adjusted(-1, -1, 1, 1).contains(boxes[i]))
        << where << ": text outside at " << boxes[i].left() << "," << boxes[i].top() << " "
        << boxes[i].width();
    for (std::size_t k = i + 1; k < boxes.size(); ++k) {
      const QRectF both = boxes[i] & boxes[k];
      EXPECT_FALSE(both.width() > 1 && both.height() > 2)
          << where << ": text on text at " << both.left() << "," << both.top() << " " << both.width() << "x"
          << both.height();
    }
  }
}

TEST_F(WindowTest, LayoutHoldsAtEverySizeThemeAndLanguage) {
  const double scale = qEnvironmentVariable("QT_SCALE_FACTOR", "1").toDouble();
  for (const bool de : {false, true}) {
    const German words(de);
    makeCapture(path(de ? "d.pcapng" : "e.pcapng"));
    if (!de) makeJob(folder_.path().toStdString());
    Window w;
    w.show();
    for (const auto& size : {QSize(1280, 800), QSize(1920, 1080)}) {
      w.resize(static_cast<int>(size.width() / scale), static_cast<int>(size.height() / scale));
      QTest::qWait(50);
      std::vector<QString> faults;
      findFaults(w.startPage(), faults);
      for (const QString& f : faults)
        ADD_FAILURE() << "start " << size.width() << (de ? " de: " : " en: ") << f.toStdString();
    }
    w.review(text(path(de ? "d.pcapng" : "e.pcapng")), {});
    ASSERT_TRUE(waitFor([&] { return w.source() != nullptr && w.source()->sheet() != nullptr; }));
    ASSERT_TRUE(waitFor([&] { return w.reasons()->answer().has_value(); }, 150'000));
    w.axis()->setCursor(w.source()->startNs() + 2 * kNsPerSecond);
    for (const Theme theme : {Theme::light, Theme::dark, Theme::contrast}) {
      Look::the().set(theme);
      for (const auto& size : {QSize(1280, 800), QSize(1920, 1080)}) {
        w.resize(static_cast<int>(size.width() / scale), static_cast<int>(size.height() / scale));
        QTest::qWait(120);
        EXPECT_EQ(w.size(), size / scale) << "it cannot be made that small";
        const QString where = QStringLiteral("%1x%2-%3-%4")
                                  .arg(size.width())
                                  .arg(size.height())
                                  .arg(static_cast<int>(theme))
                                  .arg(de ? "de" : "en");
        shoot(w, "sheet-" + where);
        std::vector<QString> faults;
        findFaults(&w, faults);
        for (const QString& f : faults) ADD_FAILURE() << where.toStdString() << ": " << f.toStdString();
        if (w.path()->isVisible()) {
          expectTextApart(w.path()->textBoxes(), w.path()->rect(), where.toStdString() + " path");
          EXPECT_EQ(w.path()->cut(), 0) << where.toStdString();
        }
        if (w.axis()->isVisible()) {
          expectTextApart(w.axis()->textBoxes(), w.axis()->rect(), where.toStdString() + " axis");
          EXPECT_EQ(w.axis()->namesMissing(), 0) << where.toStdString();
        }
        // Verdict and first thing are whole at every size.
        EXPECT_FALSE(w.header()->verdict()->cut()) << where.toStdString();
        EXPECT_FALSE(w.header()->first()->cut()) << where.toStdString();
        EXPECT_EQ(w.header()->first()->whole().startsWith("Zuerst: Strom aus, dann die Sicherung"), de)
            << w.header()->first()->whole().toStdString();
      }
    }
    if (de && w.reasonsPanel()->isVisible()) {
      const QString said = textOf(w.reasonsPanel());
      EXPECT_TRUE(said.contains("Die Sicherung des Moduls")) << said.toStdString();
      EXPECT_TRUE(said.contains("Ursache finden, dann durch eine mit gleichem Nennwert ersetzen"))
          << said.toStdString();
      EXPECT_TRUE(said.contains(" von 10") || said.contains(" von 20") || said.contains("fast sicher"))
          << said.toStdString();
    }
    // At arm's length.
    w.lookFromAfar(true);
    for (const auto& size : {QSize(1280, 800), QSize(1920, 1080)}) {
      w.resize(static_cast<int>(size.width() / scale), static_cast<int>(size.height() / scale));
      QTest::qWait(120);
      shoot(w, QStringLiteral("far-%1-%2").arg(size.width()).arg(de ? "de" : "en"));
      std::vector<QString> faults;
      findFaults(w.farView(), faults);
      for (const QString& f : faults) ADD_FAILURE() << "far " << size.width() << ": " << f.toStdString();
    }
  }
}

TEST_F(WindowTest, TheSameLookSetTwiceChangesNothing) {
  Window w;
  reviewed(w);
  for (const Theme theme : {Theme::light, Theme::dark, Theme::contrast, Theme::light}) {
    Look::the().set(theme);
    QTest::qWait(30);
    const QImage once = w.grab().toImage();
    Look::the().set(theme);
    QTest::qWait(30);
    EXPECT_EQ(w.grab().toImage(), once) << static_cast<int>(theme);
    // And the words have their colours: the verdict, and the word of the step that is not sound.
    const Colours& c = Look::the().colours();
    EXPECT_EQ(w.header()->verdict()->palette().color(QPalette::WindowText), c.faulty);
    for (auto* row : w.steps()->findChildren<StepRow*>())
      if (row->name() == "feed")
        for (const QLabel* l : row->findChildren<QLabel*>())
          if (l->text() == "faulty") {
            EXPECT_EQ(l->palette().color(QPalette::WindowText), c.faulty);
          }
  }
}

TEST_F(WindowTest, NamesOfManyPointsAreWhole) {
  Window w;
  w.show();
  w.tryBench("own-battery-sound", false);
  ASSERT_NE(w.live(), nullptr);
  ASSERT_TRUE(waitFor([&] { return w.source()->timeline()->series().size() >= 10; }));
  for (const auto& [size, most] : {std::pair(QSize(1920, 1080), 0), std::pair(QSize(1280, 800), 4)}) {
    w.resize(size);
    EXPECT_TRUE(waitFor([&] { return w.axis()->namesWhole() + w.axis()->namesMissing() >= 10; }));
    EXPECT_LE(w.axis()->namesMissing(), most) << size.width();
    shoot(w, QStringLiteral("live-many-%1").arg(size.width()));
  }
  EXPECT_TRUE(w.endRecording());
}

TEST_F(WindowTest, EverythingCanBeReachedByKeysAndHasANameForReaders) {
  Window w;
  reviewed(w);
  std::set<QWidget*> reached;
  w.activateWindow();
  for (int i = 0; i < 60; ++i) {
    QTest::keyClick(w.focusWidget() != nullptr ? w.focusWidget() : &w, Qt::Key_Tab);
    // Under Xvfb no window manager makes a window active: what would have the focus then.
    QWidget* now = w.focusWidget();
    ASSERT_NE(now, nullptr);
    reached.insert(now);
  }
  EXPECT_TRUE(reached.contains(w.axis()));
  EXPECT_TRUE(reached.contains(w.events()->table()));
  EXPECT_TRUE(reached.contains(w.events()->searchLine()));
  EXPECT_TRUE(reached.contains(w.header()->menuButton()));
  std::size_t rows = 0;
  for (QWidget* r : reached) {
    rows += qobject_cast<StepRow*>(r) != nullptr ? 1U : 0U;
    const auto* button = qobject_cast<QPushButton*>(r);
    EXPECT_FALSE(r->accessibleName().isEmpty() && (button == nullptr || button->text().isEmpty()))
        << r->metaObject()->className();
  }
  EXPECT_EQ(rows, 9U);
  // A step opens and closes by Return.
  for (QWidget* r : reached)
    if (auto* row = qobject_cast<StepRow*>(r); row != nullptr && row->name() == "source") {
      const bool was = row->isOpen();
      row->setFocus();
      QTest::keyClick(row, Qt::Key_Return);
      EXPECT_NE(row->isOpen(), was);
    }
}

/// Of the tests that kill a window: records the job, or on the bench, tells the file, waits to be killed.
int child(const char* folder, const char* job) {
  qputenv("HOME", folder);
  Window w;
  w.show();
  if (job != nullptr)
    w.record(QString::fromLocal8Bit(job), false);
  else
    w.tryBench("own-battery-sound", false);
  if (w.live() == nullptr) return 1;
  (void)waitFor([&] { return w.source()->evidence()->frames() > 50; });
  const std::string line = w.source()->file() + "\n";
  if (::write(3, line.data(), line.size()) < 0) return 1;
  QTest::qWait(60'000);
  return 0;
}

}  // namespace

// For the tests of the other pages.
void makeStory(const std::string& file) { makeCapture(file); }
void findLayoutFaults(QWidget* in, std::vector<QString>& faults) { findFaults(in, faults); }
void findTextTogether(const std::vector<QRectF>& boxes, const QRectF& in, const std::string& where) {
  expectTextApart(boxes, in, where);
}

}  // namespace pin16::gui

int main(int argc, char** argv) {
  if (qEnvironmentVariableIsEmpty("DISPLAY") && qEnvironmentVariableIsEmpty("QT_QPA_PLATFORM"))
    qputenv("QT_QPA_PLATFORM", "offscreen");
  ::testing::InitGoogleTest(&argc, argv);
  QApplication app(argc, argv);
  QApplication::setStyle(QStringLiteral("Fusion"));
  pin16::link::addBuiltInSchemes();
  pin16::bench::addBenchScheme();
  pin16::supply::addMeterSchemes();
  pin16::gui::Look::the().set(pin16::gui::Theme::light);
  if (argc > 2 && std::string_view(argv[1]) == "--child")
    return pin16::gui::child(argv[2], argc > 3 ? argv[3] : nullptr);
  return RUN_ALL_TESTS();
}
