// SPDX-License-Identifier: GPL-3.0-or-later
// The pages beside start and sheet, driven by clicks and keys.

#include <gtest/gtest.h>

#include <QAction>
#include <QCheckBox>
#include <QComboBox>
#include <QDialog>
#include <QFile>
#include <QFileInfo>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QScrollArea>
#include <QScrollBar>
#include <QTemporaryDir>
#include <QTest>
#include <QWheelEvent>

#include "../readiness/build.hpp"
#include "core/reasons/explain.hpp"
#include "core/reasons/text.hpp"
#include "gui/attempts_page.hpp"
#include "gui/far_view.hpp"
#include "gui/found_panel.hpp"
#include "gui/hook_up_page.hpp"
#include "gui/job_form.hpp"
#include "gui/live.hpp"
#include "gui/look.hpp"
#include "gui/panels.hpp"
#include "gui/plugins_page.hpp"
#include "gui/supply_path.hpp"
#include "gui/window.hpp"
#include "gui_support.hpp"

namespace pin16::gui {

// window_test.cpp
void makeStory(const std::string& file);
void findLayoutFaults(QWidget* in, std::vector<QString>& faults);
void findTextTogether(const std::vector<QRectF>& boxes, const QRectF& in, const std::string& where);

namespace {

class PagesTest : public GuiTest {
 protected:
  [[nodiscard]] QString path(const QString& name) const { return folder_.path() + "/" + name; }
};

link::Inventory twoPlugged() {
  link::Inventory all;
  link::CanEntry can;
  can.uri = "socketcan:can0";
  can.text = "down, 500000 bit/s";
  can.advice = "sudo ip link set can0 up type can bitrate 500000 listen-only on";
  all.can.push_back(can);
  link::SerialEntry serial;
  serial.device = "/dev/ttyACM0";
  serial.vendor = "1209";
  serial.product = "0001";
  serial.serial = "A1";
  serial.text = "CAN adapter of the test";
  serial.held_by = {"other-program (4711)"};
  all.serial.push_back(serial);
  return all;
}
link::Inventory nothing() {
  link::Inventory all;
  all.can_text = "no CAN interface";
  return all;
}

void type(JobForm& form, const char* key, const QString& what) {
  auto* line = qobject_cast<QLineEdit*>(form.input(key));
  ASSERT_NE(line, nullptr) << key;
  line->setFocus();
  line->clear();
  QTest::keyClicks(line, what);
}
void choose(JobForm& form, const char* key, const QString& value) {
  auto* c = qobject_cast<QComboBox*>(form.input(key));
  ASSERT_NE(c, nullptr) << key;
  for (int i = 0; i < c->count() && c->currentData() != value; ++i) QTest::keyClick(c, Qt::Key_Down);
  ASSERT_EQ(c->currentData(), value);
}

/// A recording of the job; its cautions are read by Kim.
void recordAsKim(Window& w, const QString& file) {
  answerNextDialog("cautions-read", [](QDialog& d) { QTest::keyClicks(d.findChild<QLineEdit*>(), "Kim"); });
  w.record(file, false);
  ASSERT_NE(w.live(), nullptr);
  ASSERT_TRUE(waitFor([&] { return w.source()->sheet() != nullptr; }));
}

TEST_F(PagesTest, AJobIsMadeFromTheFormAndItsFaultsStandBesideTheirFields) {
  Window w;
  w.show();
  QTest::mouseClick(named<QPushButton>(*w.startPage(), "new-job"), Qt::LeftButton);
  JobForm& form = *w.jobForm();
  ASSERT_TRUE(form.isVisible());
  form.found()->lookAt(twoPlugged);
  const QString file = path("made/job.toml");
  form.fileLine()->setText(file);
  type(form, "job.name", "Yard 14, \"silver\" van");
  // No arrangement is taken for granted.
  QTest::mouseClick(named<QPushButton>(form, "write-job"), Qt::LeftButton);
  EXPECT_TRUE(form.faultAt("job.arrangement").contains("Choose one"));
  choose(form, "job.arrangement", "fed-in-place");
  EXPECT_TRUE(form.faultAt("job.arrangement").isEmpty());
  choose(form, "job.access", "gateway");
  type(form, "job.power_up_budget", "4");
  type(form, "module.vin", "0PN16BEN6H0000001");
  // Identifiers are locked until the addressing is known.
  EXPECT_FALSE(form.input("module.request_id")->isEnabled());
  auto* addressing = form.findChildren<QComboBox*>().at(3);
  ASSERT_EQ(addressing->accessibleName(), "addressing");
  QTest::keyClick(addressing, Qt::Key_Down);
  ASSERT_TRUE(form.input("module.request_id")->isEnabled());
  EXPECT_FALSE(form.input("module.line_address")->isEnabled());
  type(form, "module.request_id", "7A1");
  auto* rate = qobject_cast<QComboBox*>(form.input("bus.bitrate"));
  rate->lineEdit()->selectAll();
  QTest::keyClicks(rate->lineEdit(), "83333");
  auto* write = named<QPushButton>(form, "write-job");
  QTest::mouseClick(write, Qt::LeftButton);
  EXPECT_TRUE(form.faultAt("module.request_id").contains("come together"))
      << form.faultAt("module.request_id").toStdString();
  EXPECT_FALSE(QFileInfo::exists(file));
  QTest::qWait(30);
  EXPECT_EQ(w.focusWidget(), form.input("module.request_id"));
  EXPECT_TRUE(form.input("module.request_id")->accessibleDescription().contains("come together"));
  shoot(w, "job-form-fault");
  // It goes as soon as it is mended, and the next one shows.
  type(form, "module.answer_id", "7A9");
  EXPECT_TRUE(form.faultAt("module.request_id").isEmpty());
  type(form, "module.supply_min_V", "9,5");
  EXPECT_TRUE(form.faultAt("module.supply_min_V").contains("point"));
  type(form, "module.supply_min_V", "9.5");
  // A link and a meter that were found, and one typed without its scheme.
  for (auto* b : form.found()->findChildren<QPushButton*>())
    if (b->accessibleName() == "take socketcan:can0") QTest::mouseClick(b, Qt::LeftButton);
  ASSERT_NE(form.input("link.0.uri"), nullptr);
  auto* as = form.found()->findChild<QComboBox*>();
  ASSERT_NE(as, nullptr);
  as->setCurrentIndex(as->findData("scpi"));
  for (auto* b : form.found()->findChildren<QPushButton*>())
    if (b->accessibleName() == "take /dev/ttyACM0") QTest::mouseClick(b, Qt::LeftButton);
  ASSERT_NE(form.input("meter.0.uri"), nullptr);
  QTest::mouseClick(named<QPushButton>(form, "add-link"), Qt::LeftButton);
  type(form, "link.1.uri", "can1");
  QTest::mouseClick(write, Qt::LeftButton);
  EXPECT_TRUE(form.faultAt("link.1.uri").contains("SCHEME"));
  EXPECT_TRUE(form.faultAt("link.0.uri").isEmpty());
  type(form, "link.1.uri", "socketcan:can1");
  EXPECT_TRUE(form.faultAt("meter.0.uri").contains("clipped on"));
  choose(form, "meter.0.volts", "V(src+,src-)");
  EXPECT_TRUE(form.faultAt("meter.0.uri").isEmpty());
  shoot(w, "job-form-links");
  QTest::keyClick(write, Qt::Key_Space);
  ASSERT_TRUE(QFileInfo::exists(file)) << textOf(&form).toStdString();
  const auto job = job::readJob(file.toStdString());
  ASSERT_TRUE(job) << job.error().text();
  EXPECT_EQ(job->name, "Yard 14, \"silver\" van");
  EXPECT_EQ(job->arrangement, job::Arrangement::fed_in_place);
  EXPECT_EQ(job->module.address->answer_id, 0x7A9U);
  EXPECT_EQ(job->module.vin, "0PN16BEN6H0000001");
  EXPECT_EQ(job->bus.bitrate, 83333U);
  ASSERT_EQ(job->links.size(), 2U);
  EXPECT_EQ(job->links[0].uri, "socketcan:can0");
  ASSERT_EQ(job->meters.size(), 1U);
  EXPECT_EQ(job->meters[0].uri, "scpi:/dev/ttyACM0");
  // It stands in the line of the job to be recorded.
  EXPECT_TRUE(w.startPage()->isVisible());
  EXPECT_EQ(w.startPage()->jobLine()->text(), file);
  // The same name again: told, and the file stays as it is.
  QTest::mouseClick(named<QPushButton>(*w.startPage(), "new-job"), Qt::LeftButton);
  EXPECT_TRUE(qobject_cast<QLineEdit*>(form.input("job.name"))->text().isEmpty());
  EXPECT_EQ(form.input("link.0.uri"), nullptr);
  form.fileLine()->setText(file);
  choose(form, "job.arrangement", "removed");
  QTest::mouseClick(write, Qt::LeftButton);
  EXPECT_TRUE(textOf(&form).contains("there is a file of this name"));
  EXPECT_EQ(job::readJob(file.toStdString())->name, "Yard 14, \"silver\" van");
  QTest::mouseClick(named<QPushButton>(form, "leave-job"), Qt::LeftButton);
  EXPECT_TRUE(w.startPage()->isVisible());
}

TEST_F(PagesTest, WhatIsPluggedInShowsByItselfAndGoesIntoTheRecording) {
  Window w;
  w.show();
  FoundPanel& found = *w.startPage()->found();
  auto now = std::make_shared<link::Inventory>(nothing());
  found.lookAt([now] { return *now; });
  EXPECT_TRUE(waitFor([&] { return textOf(&found).contains("no CAN interface"); }));
  EXPECT_TRUE(found.findChildren<QPushButton*>().isEmpty());
  *now = twoPlugged();
  ASSERT_TRUE(waitFor([&] { return textOf(&found).contains("/dev/ttyACM0"); }));
  const QString says = textOf(&found);
  EXPECT_TRUE(says.contains("CAN adapter of the test, 1209:0001, serial number A1")) << says.toStdString();
  EXPECT_TRUE(says.contains("other-program (4711)"));
  EXPECT_TRUE(says.contains("sudo ip link set can0 up"));
  shoot(w, "start-found");
  // What it is has to be said before it can be taken: the port was not opened to find out.
  auto* as = found.findChild<QComboBox*>();
  QPushButton *take = nullptr, *take_can = nullptr;
  for (auto* b : found.findChildren<QPushButton*>())
    (b->accessibleName() == "take /dev/ttyACM0" ? take : take_can) = b;
  ASSERT_NE(take, nullptr);
  EXPECT_FALSE(take->isEnabled());
  as->setFocus();
  QTest::keyClick(as, Qt::Key_Down);
  ASSERT_TRUE(take->isEnabled());
  // Nothing changed meanwhile: the choice stands.
  QTest::qWait(1300);
  EXPECT_EQ(as, found.findChild<QComboBox*>());
  QTest::keyClick(take, Qt::Key_Space);
  QTest::keyClick(take_can, Qt::Key_Space);
  EXPECT_EQ(w.startPage()->urisLine()->text(), "slcan:/dev/ttyACM0 socketcan:can0");
  *now = nothing();
  ASSERT_TRUE(waitFor([&] { return !textOf(&found).contains("/dev/ttyACM0"); }));
}

/// Under Xvfb no window manager makes a window active, so shortcuts do not reach it by themselves.
void press(Window& w, const QKeySequence& keys) {
  for (QAction* a : w.actions())
    if (a->shortcut() == keys) return a->trigger();
  ADD_FAILURE() << "no action has " << keys.toString().toStdString();
}

/// A job whose link is not plugged in, with a budget.
QString joinedJob(const QString& folder) {
  QFile f(folder + "/job.toml");
  EXPECT_TRUE(f.open(QIODevice::WriteOnly));
  f.write(
      "[job]\nname = \"van\"\narrangement = \"own-battery\"\npower_up_budget = 4\n"
      "[[link]]\nuri = \"slcan:/dev/pin16-none\"\n");
  return f.fileName();
}

std::string textOfFile(const std::string& file) {
  QFile f(text(file));
  return f.open(QIODevice::ReadOnly) ? f.readAll().toStdString() : "";
}

TEST_F(PagesTest, CautionsAreReadOnceAJobAndStandInItsRecordAndInTheCapture) {
  const QString job = joinedJob(folder_.path());
  Window w;
  w.show();
  w.startPage()->jobLine()->setText(job);
  answerNextDialog("cautions-back", [](QDialog& d) {
    EXPECT_FALSE(d.findChild<QPushButton*>("cautions-read")->isEnabled());
    EXPECT_TRUE(textOf(&d).contains("deployment loops"));
  });
  QTest::mouseClick(named<QPushButton>(*w.startPage(), "record"), Qt::LeftButton);
  EXPECT_EQ(w.live(), nullptr);
  answerNextDialog("cautions-read", [](QDialog& d) {
    QTest::keyClicks(d.findChild<QLineEdit*>(), "Kim");
    shoot(d, "cautions");
    std::vector<QString> faults;
    findLayoutFaults(&d, faults);
    for (const QString& f : faults) ADD_FAILURE() << f.toStdString();
  });
  QTest::mouseClick(named<QPushButton>(*w.startPage(), "record"), Qt::LeftButton);
  ASSERT_NE(w.live(), nullptr) << textOf(w.startPage()).toStdString();
  const std::string scene = textOfFile(job.toStdString() + ".scene");
  EXPECT_NE(scene.find("\tcaution\tKim\tread, own-battery"), std::string::npos) << scene;
  const std::string file = w.source()->file();
  ASSERT_TRUE(w.endRecording());
  EXPECT_NE(textOfFile(file).find("cautions of this job (own-battery) read by Kim"), std::string::npos);
  // A second opening does not ask again, and its capture says it too.
  w.backToStart();
  QTest::qWait(1100);  // the next capture has a name of its own
  QTest::mouseClick(named<QPushButton>(*w.startPage(), "record"), Qt::LeftButton);
  ASSERT_NE(w.live(), nullptr);
  EXPECT_EQ(textOfFile(job.toStdString() + ".scene"), scene);
  const std::string second = w.source()->file();
  ASSERT_NE(second, file);
  ASSERT_TRUE(w.endRecording());
  EXPECT_NE(textOfFile(second).find("cautions of this job (own-battery) read by Kim"), std::string::npos);
}

TEST_F(PagesTest, TheHookUpIsTickedByHandAndByInstrumentsAndPowerIsLockedUntilThen) {
  const QString file = joinedJob(folder_.path());
  Window w;
  w.show();
  ASSERT_NO_FATAL_FAILURE(recordAsKim(w, file));
  press(w, Qt::Key_F11);
  HookUpPage& page = *w.hookUpPage();
  ASSERT_TRUE(page.isVisible());
  EXPECT_EQ(page.powerUps(), "power-ups so far: 0 of 4");
  EXPECT_EQ(page.nameLine()->text(), "Kim");
  const auto row = [&](const char* code) {
    HookUpRow* r = page.row(code);
    EXPECT_NE(r, nullptr) << code;
    return r;
  };
  const auto says = [&](const char* code, const char* what) {
    return waitFor([&] { return row(code)->word().contains(what); }, 5000);
  };
  EXPECT_TRUE(says("power", "locked"));
  EXPECT_FALSE(row("power")->doneButton()->isEnabled());
  QTest::mouseClick(row("feed-off")->doneButton(), Qt::LeftButton);
  EXPECT_TRUE(says("feed-off", "done, says Kim"));
  // The ground's drop is low under load, then it is not.
  const auto typed = [&](const char* reading) {
    const auto m = job::parseReading(reading);
    ASSERT_TRUE(m) << reading;
    ASSERT_TRUE(w.source()->enter(*m));
  };
  typed("V(chassis,src-)=15mV power=source u=2mV with=\"lamp load\"");
  EXPECT_TRUE(says("clamp", "seen: ")) << row("clamp")->word().toStdString();
  EXPECT_FALSE(row("clamp")->doneButton()->isVisible());
  typed("V(chassis,src-)=0.9V power=source u=2mV with=\"lamp load\"");
  EXPECT_TRUE(says("clamp", "open"));
  typed("V(chassis,src-)=15mV power=source u=2mV with=\"lamp load\"");
  EXPECT_TRUE(says("clamp", "seen: "));
  // By keys: done, taken back, done again.
  row("connector")->doneButton()->setFocus();
  QTest::keyClick(row("connector")->doneButton(), Qt::Key_Space);
  EXPECT_TRUE(says("connector", "done, says Kim"));
  QTest::keyClick(row("connector")->doneButton(), Qt::Key_Space);
  EXPECT_TRUE(says("connector", "open"));
  QTest::keyClick(row("connector")->doneButton(), Qt::Key_Space);
  shoot(w, "hook-up");
  // Passing over needs a reason.
  for (const char* code : {"interface", "computer", "bus-quiet", "program"}) {
    EXPECT_FALSE(row("power")->doneButton()->isEnabled()) << code;
    QTest::mouseClick(row(code)->passButton(), Qt::LeftButton);
    QTest::qWait(20);
    ASSERT_TRUE(row(code)->reasonLine()->isVisible());
    QTest::keyClick(row(code)->reasonLine(), Qt::Key_Return);
    EXPECT_TRUE(row(code)->word().startsWith("open"));
    QTest::keyClicks(row(code)->reasonLine(), "nobody can reach it");
    QTest::keyClick(row(code)->reasonLine(), Qt::Key_Return);
    EXPECT_TRUE(says(code, "passed over by Kim: nobody can reach it"));
  }
  ASSERT_TRUE(row("power")->doneButton()->isEnabled());
  answerNextDialog("power-on", [](QDialog& d) {
    EXPECT_FALSE(textOf(&d).contains("hook-up is not done"));
    d.findChild<QLineEdit*>()->setText("Kim");
    for (auto* c : d.findChildren<QComboBox*>()) c->setCurrentIndex(1);
  });
  QTest::mouseClick(row("power")->doneButton(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == event::PowerState::on; }));
  EXPECT_TRUE(says("power", "seen: "));
  EXPECT_TRUE(waitFor([&] { return page.powerUps() == "power-ups so far: 1 of 4"; }));
  shoot(w, "hook-up-done");
  const std::string capture = w.source()->file();
  QTest::mouseClick(named<QPushButton>(page, "leave-hook-up"), Qt::LeftButton);
  EXPECT_FALSE(page.isVisible());
  ASSERT_TRUE(w.endRecording());
  // The capture has it all: each tick, and what was seen.
  const std::string all = textOfFile(capture);
  EXPECT_NE(all.find("hook-up.connector? yes (Kim)"), std::string::npos);
  EXPECT_NE(all.find("hook-up.computer? overridden: nobody can reach it (Kim)"), std::string::npos);
  EXPECT_NE(all.find("hook-up: clamp seen: "), std::string::npos);
  EXPECT_EQ(all.find("with the hook-up open"), std::string::npos);
  // And shows it in review, where nothing can be ticked.
  ASSERT_TRUE(waitFor([&] { return w.live() == nullptr && w.source()->sheet() != nullptr; }));
  w.turnTo(&page);
  EXPECT_TRUE(says("program", "passed over by Kim"));
  EXPECT_TRUE(says("connector", "done, says Kim"));
  EXPECT_FALSE(row("connector")->doneButton()->isVisible());
  EXPECT_FALSE(page.nameLine()->isVisible());
}

TEST_F(PagesTest, PowerWithTheHookUpOpenIsNotedSo) {
  Window w;
  w.show();
  answerNextDialog("cautions-read", [](QDialog& d) { QTest::keyClicks(d.findChild<QLineEdit*>(), "Kim"); });
  w.record(joinedJob(folder_.path()), false);
  ASSERT_NE(w.live(), nullptr);
  ASSERT_TRUE(waitFor([&] { return w.source()->sheet() != nullptr; }));
  answerNextDialog("power-on", [](QDialog& d) {
    EXPECT_TRUE(textOf(&d).contains("hook-up is not done"));
    for (auto* c : d.findChildren<QComboBox*>()) c->setCurrentIndex(1);
  });
  QTest::mouseClick(w.liveBar()->power(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == event::PowerState::on; }));
  const std::string capture = w.source()->file();
  ASSERT_TRUE(w.endRecording());
  EXPECT_NE(textOfFile(capture).find("power comes on with the hook-up open: feed-off, clamp"),
            std::string::npos);
}

TEST_F(PagesTest, AJobWithoutLinksSaysSoAndTheCardAsksForWhatTheHeadSaysDecides) {
  QFile file(path("bare.toml"));
  ASSERT_TRUE(file.open(QIODevice::WriteOnly));
  file.write("[job]\narrangement = \"fed-in-place\"\n");
  file.close();
  Window w;
  w.show();
  w.record(path("bare.toml"), false);
  ASSERT_NE(w.live(), nullptr) << textOf(w.startPage()).toStdString();
  ASSERT_TRUE(waitFor([&] { return w.source()->sheet() != nullptr && w.liveBar()->trouble()->isVisible(); }));
  EXPECT_TRUE(w.liveBar()->trouble()->whole().contains("nothing is heard"));
  ASSERT_TRUE(w.source()->sheet()->deciding.has_value());
  const std::string first = w.source()->sheet()->deciding->point;
  EXPECT_EQ(w.reasonsPanel()->asked().toStdString(), first);
  // Nobody asked: that it does not answer is supposed, and said so.
  EXPECT_TRUE(textOf(w.reasonsPanel()).contains("not asked yet")) << textOf(w.reasonsPanel()).toStdString();
  // Skipped: another one, never the same again.
  for (auto* b : w.reasonsPanel()->findChildren<QPushButton*>())
    if (b->isVisible() && b->text() == "skip") {
      QTest::mouseClick(b, Qt::LeftButton);
      break;
    }
  EXPECT_TRUE(waitFor([&] { return w.reasonsPanel()->asked().toStdString() != first; }));
  EXPECT_TRUE(w.endRecording());
}

// The sheet may name a fault that leaves the module answering: before it was asked that is no riddle.
TEST_F(PagesTest, WhatDoesNotFitASilenceIsNoRiddleBeforeTheModuleWasAsked) {
  auto m = reasons::Reasoner::prepare({job::Arrangement::fed_in_place, false},
                                      reasons::priors(job::Arrangement::fed_in_place), {});
  for (const char* reading :
       {"V(src+,src-)=12.6V", "V(pin16,pin4)=12.5V", "interface-lamp=off", "I(feed)=0.3A",
        "R(pin6,pin14)=2ohm", "identifiers=both", "error-class=none", "V(pin6,pin4)=2.5V"})
    m.observe(*reasons::parseObservation(reading));
  const auto answer = reasons::explain(m, {}, std::vector<bool>(reasons::kReadings, false));
  ASSERT_TRUE(answer.unexplained);
  ReasonsPanel panel;
  panel.QWidget::show();
  panel.show(answer, {}, false);
  EXPECT_FALSE(textOf(&panel).contains("Nothing known explains")) << textOf(&panel).toStdString();
  EXPECT_FALSE(textOf(&panel).contains("does not fit the rest"));
  panel.setAsked(true);
  panel.show(answer, {}, false);
  EXPECT_TRUE(textOf(&panel).contains("Nothing known explains")) << textOf(&panel).toStdString();
}

TEST_F(PagesTest, TheAttemptsOfAJobAreAListAndEachNamesTheOneThingThatWasChanged) {
  const QString file = joinedJob(folder_.path());
  Window w;
  w.show();
  ASSERT_NO_FATAL_FAILURE(recordAsKim(w, file));
  AttemptsPage& page = *w.attemptsPage();
  press(w, Qt::Key_F12);
  EXPECT_TRUE(textOf(&page).contains("No attempt yet."));
  EXPECT_TRUE(textOf(&page).contains("power-ups left: 4 of 4")) << textOf(&page).toStdString();
  press(w, Qt::Key_F12);
  EXPECT_FALSE(page.isVisible());
  // The first one needs no change; ended, it is in the list with what the other program said.
  QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
  ASSERT_TRUE(w.live()->attemptRuns());
  ASSERT_TRUE(waitFor([&] { return !w.source()->attempts().empty(); }));
  QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
  ASSERT_FALSE(w.live()->attemptRuns());
  EXPECT_TRUE(textOf(w.liveBar()).contains("F12"));
  press(w, Qt::Key_F12);
  ASSERT_TRUE(waitFor([&] { return textOf(&page).contains("1. ended: no bit"); }))
      << textOf(&page).toStdString();
  QTest::keyClicks(page.saidLine(), "E4: no communication");
  QTest::keyClicks(page.cyclesLine(), "17x");
  QTest::keyClick(page.cyclesLine(), Qt::Key_Return);
  ASSERT_TRUE(waitFor([&] { return textOf(&page).contains("it said: E4: no communication"); }))
      << textOf(&page).toStdString();
  EXPECT_TRUE(textOf(&page).contains("ignition cycles: 17"));
  EXPECT_FALSE(page.saidLine()->isVisible());
  press(w, Qt::Key_F12);
  // The second one asks what was changed first.
  QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
  EXPECT_FALSE(w.live()->attemptRuns());
  ASSERT_TRUE(page.isVisible());
  EXPECT_TRUE(textOf(&page).contains("Change one thing"));
  QTest::keyClicks(page.changedLine(), "other cable");
  QTest::keyClick(page.changedLine(), Qt::Key_Return);
  ASSERT_TRUE(w.live()->attemptRuns());
  ASSERT_TRUE(waitFor([&] { return textOf(&page).contains("2. under way"); })) << textOf(&page).toStdString();
  EXPECT_TRUE(textOf(&page).contains("changed: other cable"));
  EXPECT_FALSE(page.changedLine()->isEnabled());
  QTest::mouseClick(page.attemptButton(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return textOf(&page).contains("2. ended: no bit"); }));
  shoot(w, "attempts");
  // Nothing more is said: it is kept all the same when the recording ends, and the review shows both.
  ASSERT_TRUE(w.endRecording());
  const auto kept = job::readAttempts(*job::readJob(file.toStdString()));
  ASSERT_TRUE(kept);
  ASSERT_EQ(kept->size(), 2U);
  EXPECT_EQ((*kept)[0].said, "E4: no communication");
  EXPECT_EQ((*kept)[0].cycles, 17);
  EXPECT_EQ((*kept)[1].changed, "other cable");
  ASSERT_TRUE(waitFor([&] { return w.live() == nullptr && w.source()->sheet() != nullptr; }));
  press(w, Qt::Key_F12);
  ASSERT_TRUE(waitFor([&] { return textOf(&page).contains("2. ended: no bit"); }));
  EXPECT_FALSE(textOf(&page).contains("3. "));
  EXPECT_FALSE(page.attemptButton()->isVisible());
}

TEST_F(PagesTest, PluginsRunDuringARecordingAndTheirSettingsAreEditedFromTheirDescription) {
  Window w;
  w.show();
  w.tryBench("own-battery-sound", false);
  ASSERT_NE(w.live(), nullptr) << textOf(w.startPage()).toStdString();
  // Series come while it runs, and lie on the axis beside the meters' own.
  const auto points = [&] {
    std::size_t n = 0;
    for (const auto& p : w.source()->plugins())
      for (const auto& series : p.points) n += series.size();
    return n;
  };
  ASSERT_TRUE(waitFor([&] { return points() > 3; })) << w.live()->pluginTrouble().toStdString();
  const std::size_t before = points();
  ASSERT_TRUE(waitFor([&] { return points() > before; }));
  press(w, QKeySequence(Qt::CTRL | Qt::Key_P));
  PluginsPage& page = *w.pluginsPage();
  ASSERT_TRUE(page.isVisible());
  auto* dip = qobject_cast<QLineEdit*>(page.input("bus-voltage", "dip_V"));
  ASSERT_NE(dip, nullptr) << textOf(&page).toStdString();
  EXPECT_EQ(dip->placeholderText(), "0.5");
  EXPECT_TRUE(dip->accessibleName().contains("how far below the median"));
  auto* use = named<QPushButton>(page, "use-settings");
  for (const char* wrong : {"99", "much"}) {
    dip->clear();
    QTest::keyClicks(dip, wrong);
    QTest::mouseClick(use, Qt::LeftButton);
    EXPECT_TRUE(page.faultAt("bus-voltage").contains("dip_V")) << page.faultAt("bus-voltage").toStdString();
    EXPECT_TRUE(w.source()->job().plugins.empty());
  }
  dip->clear();
  QTest::keyClicks(dip, "0.8");
  QTest::keyClick(use, Qt::Key_Space);
  EXPECT_TRUE(page.faultAt("bus-voltage").isEmpty());
  EXPECT_EQ(std::get<double>(w.source()->job().plugins.at("bus-voltage").at("dip_V")), 0.8);
  ASSERT_TRUE(waitFor([&] { return points() > 3; }));  // begun anew
  shoot(w, "plugins");
  QTest::mouseClick(named<QPushButton>(page, "keep-settings"), Qt::LeftButton);
  EXPECT_TRUE(textOf(&page).contains("stand in the job now")) << textOf(&page).toStdString();
  const auto job = job::readJob(w.source()->job().file);
  ASSERT_TRUE(job) << job.error().text();
  EXPECT_EQ(std::get<double>(job->plugins.at("bus-voltage").at("dip_V")), 0.8);
  QTest::mouseClick(named<QPushButton>(page, "leave-plugins"), Qt::LeftButton);
  EXPECT_FALSE(page.isVisible());
  // The review begins with what the job says; other settings read the capture again.
  ASSERT_TRUE(w.endRecording());
  ASSERT_TRUE(waitFor([&] { return w.live() == nullptr && w.source()->sheet() != nullptr; }));
  press(w, QKeySequence(Qt::CTRL | Qt::Key_P));
  dip = qobject_cast<QLineEdit*>(page.input("bus-voltage", "dip_V"));
  ASSERT_NE(dip, nullptr);
  EXPECT_EQ(dip->text(), "0.8");
  const Source* first = w.source();
  dip->clear();
  QTest::mouseClick(use, Qt::LeftButton);
  EXPECT_NE(w.source(), first);
  ASSERT_TRUE(waitFor([&] { return w.source()->sheet() != nullptr; }));
  EXPECT_TRUE(w.source()->job().plugins.empty());
  EXPECT_TRUE(page.isVisible());
  // What stands in the job with other values is not rewritten.
  dip = qobject_cast<QLineEdit*>(page.input("bus-voltage", "dip_V"));
  ASSERT_NE(dip, nullptr);
  QTest::keyClicks(dip, "0.9");
  QTest::mouseClick(named<QPushButton>(page, "keep-settings"), Qt::LeftButton);
  EXPECT_TRUE(textOf(&page).contains("Nothing was written"));
}

/// Each page at each size, look and language.
class Pages {
 public:
  explicit Pages(Window& w, const QString& language) : w_(w), language_(language) {}
  void check(QWidget* page, const QString& name) {
    const double scale = qEnvironmentVariable("QT_SCALE_FACTOR", "1").toDouble();
    ASSERT_TRUE(page->isVisible()) << name.toStdString();
    for (const Theme theme : {Theme::light, Theme::dark, Theme::contrast}) {
      Look::the().set(theme);
      for (const auto& size : {QSize(1280, 800), QSize(1920, 1080)}) {
        w_.resize(static_cast<int>(size.width() / scale), static_cast<int>(size.height() / scale));
        QTest::qWait(60);
        const QString where = QStringLiteral("%1-%2x%3-%4-%5")
                                  .arg(name)
                                  .arg(size.width())
                                  .arg(size.height())
                                  .arg(static_cast<int>(theme))
                                  .arg(language_);
        std::vector<QString> faults;
        findLayoutFaults(page, faults);
        for (const QString& f : faults) ADD_FAILURE() << where.toStdString() << ": " << f.toStdString();
        if (size.width() == 1280) shoot(w_, where);
      }
    }
  }

 private:
  Window& w_;
  QString language_;
};

TEST_F(PagesTest, LayoutOfThePagesHoldsAtEverySizeThemeAndLanguage) {
  for (const bool de : {false, true}) {
    const German words(de);
    Window w;
    w.show();
    Pages pages(w, de ? "de" : "en");
    w.startPage()->found()->lookAt(twoPlugged);
    pages.check(w.startPage(), "start");
    QTest::mouseClick(named<QPushButton>(*w.startPage(), "new-job"), Qt::LeftButton);
    w.jobForm()->found()->lookAt(twoPlugged);
    QTest::mouseClick(named<QPushButton>(*w.jobForm(), "add-meter"), Qt::LeftButton);
    QTest::mouseClick(named<QPushButton>(*w.jobForm(), "add-link"), Qt::LeftButton);
    // With everything that can be shown: both addressings in turn, a source, rows of links, a fault.
    QTest::mouseClick(named<QPushButton>(*w.jobForm(), "write-job"), Qt::LeftButton);
    for (auto* c : w.jobForm()->findChildren<QComboBox*>())
      if (!c->isEditable() && c->count() > 2 && c->currentData().toString().isEmpty() &&
          c != w.jobForm()->input("job.arrangement"))
        c->setCurrentIndex(2);
    pages.check(w.jobForm(), "job-form");
    const QString capture = path(de ? "d.pcapng" : "e.pcapng");
    makeStory(capture.toStdString());
    w.review(capture, de ? path("job.toml") : joinedJob(folder_.path()));
    ASSERT_TRUE(waitFor([&] { return w.source() != nullptr && w.source()->sheet() != nullptr; }));
    w.turnTo(w.hookUpPage());
    pages.check(w.hookUpPage(), "hook-up");
    QFile list(path("job.toml.attempts"));
    ASSERT_TRUE(list.open(QIODevice::WriteOnly));
    list.write(
        "2026-09-24T11:00:00Z\tno-bit\t1\t-\t\tE4: no communication\ta.pcapng\n"
        "2026-09-24T11:30:00Z\tcut\t2\t17\tother cable, the short one of the other interface\t\tb.pcapng\n");
    list.close();
    w.turnTo(w.attemptsPage());
    pages.check(w.attemptsPage(), "attempts");
    w.turnTo(w.pluginsPage());
    pages.check(w.pluginsPage(), "plugins");
  }
}

TEST_F(PagesTest, LayoutOfTheSupplyPathHoldsForEveryArrangement) {
  for (const bool de : {false, true}) {
    const German words(de);
    for (const auto arrangement :
         {job::Arrangement::own_battery, job::Arrangement::fed_in_place, job::Arrangement::removed})
      for (const bool measured : {false, true}) {
        const job::Job job = readiness::jobOf(arrangement);
        readiness::Stream s;
        if (measured)
          s.power(event::PowerState::on)
              .reading("V(src+,src-)=12.53V power=on")
              .reading("V(pin16,pin4)=12.48V power=on")
              .reading("V(feed,chassis)=12.48V power=on")
              .reading("V(loadblade,chassis)=12.48V power=on")
              .reading("V(interface+,interface-)=12.48V power=on")
              .reading("V(chassis,src-)=0.015V power=on")
              .reading("I(feed)=0.313A power=on")
              .reading("lamp=lit power=on");
        const readiness::Evidence e = s.evidence();
        SupplyPath path;
        path.show(job, readiness::supplyPath(job, e, readiness::assess(job, e, {})));
        path.setVisible(true);
        for (const int width : {1260, 1280, 1920}) {
          path.resize(width, path.height());  // which follows from the width
          QTest::qWait(20);
          const QString where = QStringLiteral("path-%1-%2-%3%4")
                                    .arg(text(job::toText(arrangement)))
                                    .arg(width)
                                    .arg(de ? "de" : "en", measured ? "-measured" : "");
          shoot(path, where);
          EXPECT_EQ(path.cut(), 0) << where.toStdString();
          findTextTogether(path.textBoxes(), path.rect(), where.toStdString());
        }
      }
  }
}

TEST_F(PagesTest, LayoutOfWhatIsShownDuringARecordingHoldsAtEverySizeThemeAndLanguage) {
  for (const bool de : {false, true}) {
    const German words(de);
    Window w;
    w.show();
    Pages pages(w, de ? "de" : "en");
    w.tryBench("own-battery-sound", true);
    ASSERT_NE(w.live(), nullptr) << textOf(w.startPage()).toStdString();
    // The bench switches itself on; a fed module of its own makes the meters' volts move.
    ASSERT_TRUE(waitFor([&] {
      return w.source()->sheet() != nullptr && w.source()->evidence()->power() == event::PowerState::on &&
             w.source()->timeline()->series().size() >= 4;
    }));
    pages.check(w.header()->parentWidget(), "live-sheet");
    // What the command is told by an option is a button of the window.
    ASSERT_TRUE(waitFor([&] {
      return w.header()->first()->whole().contains(de ? "fragen" : "press \"ask\"");
    })) << w.header()->first()->whole().toStdString();
    EXPECT_FALSE(w.header()->first()->whole().contains("--"));
    // What is asked for before power, by a dialogue.
    QTest::mouseClick(w.liveBar()->power(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == event::PowerState::off; }));
    answerNextDialog("power-on", [&](QDialog& d) {
      std::vector<QString> faults;
      findLayoutFaults(&d, faults);
      // Who scrolls past a question has not answered it.
      for (auto* c : d.findChildren<QComboBox*>()) {
        c->setFocus();
        QWheelEvent down(c->rect().center(), c->mapToGlobal(c->rect().center()), {}, {0, -120}, Qt::NoButton,
                         Qt::NoModifier, Qt::NoScrollPhase, false);
        QApplication::sendEvent(c, &down);
        EXPECT_EQ(c->currentIndex(), 0);
      }
      for (const QString& f : faults) ADD_FAILURE() << "power dialogue: " << f.toStdString();
      shoot(d, de ? "live-power-de" : "live-power-en");
      d.findChild<QLineEdit*>()->setText("Kim");
      for (auto* c : d.findChildren<QComboBox*>()) c->setCurrentIndex(1);
    });
    QTest::mouseClick(w.liveBar()->power(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == event::PowerState::on; }));
    w.turnTo(w.hookUpPage());
    pages.check(w.hookUpPage(), "hook-up-power-on");
    w.lookFromAfar(true);
    FarView& far = *w.farView();
    far.toneButton()->click();
    ASSERT_TRUE(waitFor([&] { return far.heard()->isVisible() && far.heard()->text().contains("V("); }))
        << far.heard()->text().toStdString();
    pages.check(&far, "far-live");
    far.toneButton()->click();
    // A mark is taken by its key, told, and recorded in English.
    const auto marks = far.findChildren<QPushButton*>();
    const auto saw =
        std::find_if(marks.begin(), marks.end(), [](auto* b) { return b->text().endsWith("(6)"); });
    ASSERT_NE(saw, marks.end());
    QTest::mouseClick(*saw, Qt::LeftButton);
    EXPECT_TRUE(textOf(&far).contains(de ? "Markiert: gesehen" : "Marked: saw"))
        << textOf(&far).toStdString();
    // During an attempt one line only, on the sheet as at arm's length.
    QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
    ASSERT_TRUE(w.live()->attemptRuns());
    QTest::qWait(100);
    EXPECT_EQ(textOf(&far).trimmed(), w.live()->attemptText()) << "the one line";
    pages.check(&far, "far-attempt");
    w.lookFromAfar(false);
    pages.check(w.header()->parentWidget(), "live-attempt");
    QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
    ASSERT_FALSE(w.live()->attemptRuns());
    // In the list: one that is over and waits for what the other program said, and the line for the next one.
    w.turnTo(w.attemptsPage());
    ASSERT_TRUE(waitFor([&] { return w.attemptsPage()->saidLine()->isVisible(); }));
    QTest::mouseClick(w.attemptsPage()->attemptButton(), Qt::LeftButton);
    pages.check(w.attemptsPage(), "attempts-live");
    const std::string capture = w.source()->file();
    ASSERT_TRUE(w.endRecording());
    EXPECT_NE(textOfFile(capture).find("mark: saw"), std::string::npos);
  }
}

}  // namespace
}  // namespace pin16::gui
