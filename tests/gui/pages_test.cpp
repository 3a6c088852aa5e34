// SPDX-License-Identifier: GPL-3.0-or-later
// The pages beside start and sheet, driven by clicks and keys.

#include <gtest/gtest.h>

#include <QCheckBox>
#include <QComboBox>
#include <QFile>
#include <QFileInfo>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QScrollArea>
#include <QScrollBar>
#include <QTemporaryDir>
#include <QTest>
#include <QTranslator>

#include "gui/found_panel.hpp"
#include "gui/job_form.hpp"
#include "gui/look.hpp"
#include "gui/window.hpp"
#include "tests/gui/stage.hpp"

namespace pin16::gui {
namespace {

class PagesTest : public ::testing::Test {
 protected:
  void SetUp() override {
    ASSERT_TRUE(folder_.isValid());
    qputenv("HOME", folder_.path().toLocal8Bit());
    qputenv("XDG_RUNTIME_DIR", folder_.path().toLocal8Bit());
    qputenv("XDG_CACHE_HOME", (folder_.path() + "/cache").toLocal8Bit());
    Look::the().set(Theme::light);
  }
  [[nodiscard]] QString path(const QString& name) const { return folder_.path() + "/" + name; }
  QTemporaryDir folder_;
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
  choose(form, "job.arrangement", "fed-in-place");
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

/// Each page at each size, look and language.
class Pages {
 public:
  explicit Pages(Window& w, const QString& language) : w_(w), language_(language) {}
  void check(QWidget* page, const QString& name) {
    const double scale = qEnvironmentVariable("QT_SCALE_FACTOR", "1").toDouble();
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
        walk(page, faults);
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
  QTranslator german;
  ASSERT_TRUE(german.load(QStringLiteral(":/i18n/pin16_de.qm")));
  for (const bool de : {false, true}) {
    if (de) QApplication::installTranslator(&german);
    Window w;
    w.show();
    Pages pages(w, de ? "de" : "en");
    w.startPage()->found()->lookAt(twoPlugged);
    pages.check(w.startPage(), "start");
    QTest::mouseClick(named<QPushButton>(*w.startPage(), "new-job"), Qt::LeftButton);
    w.jobForm()->found()->lookAt(twoPlugged);
    QTest::mouseClick(named<QPushButton>(*w.jobForm(), "add-meter"), Qt::LeftButton);
    QTest::mouseClick(named<QPushButton>(*w.jobForm(), "add-link"), Qt::LeftButton);
    QTest::mouseClick(named<QPushButton>(*w.jobForm(), "write-job"), Qt::LeftButton);
    pages.check(w.jobForm(), "job-form");
    if (de) QApplication::removeTranslator(&german);
  }
}

}  // namespace
}  // namespace pin16::gui
