// SPDX-License-Identifier: GPL-3.0-or-later
// The window's three uses over the real drivers: the simulated bench is a process of its own behind ptys and
// a socket, the window's own recorder opens them by slcan:, at:, scpi: and scpi-tcp:. From the start page to
// the verdict, the reasons and a capture that verifies, by clicks and keys; and what an adapter that is
// pulled or a window that is killed does to it.
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <QCheckBox>
#include <QComboBox>
#include <QLineEdit>
#include <QMessageBox>
#include <QTableView>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "core/capture/verify.hpp"
#include "core/job/job.hpp"
#include "core/readiness/cautions.hpp"
#include "gui/events_panel.hpp"
#include "gui/live.hpp"
#include "gui/panels.hpp"
#include "gui/time_axis.hpp"
#include "gui/window.hpp"
#include "gui_support.hpp"
#include "tests/cli/run_pin16.hpp"

namespace pin16::gui {

// window_test.cpp
void findLayoutFaults(QWidget* in, std::vector<QString>& faults);

namespace {

namespace fs = std::filesystem;
using event::PowerState;
const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

/// A bench that is served, its job, and what its meters show.
class Yard {
 public:
  /// `devices`: "scpi,slcan": with an instrument it comes first, for its port.
  Yard(std::string folder, const std::string& scenario, std::string devices, const std::string& bus_options)
      : folder_(std::move(folder)),
        scenario_((kScenarios / scenario).string()),
        devices_(std::move(devices)) {
    serve();
    std::string text;
    {
      std::ifstream in(scenario_ + "/job.toml");
      std::stringstream all;
      all << in.rdbuf();
      text = all.str();
    }
    const std::string bus = devices_.substr(devices_.rfind(',') + 1);
    const auto from = text.find("bench:"), to = text.find('"', from);
    text.replace(from, to - from, bus + ":" + folder_ + "/at/" + bus + bus_options);
    if (devices_.find("scpi") != std::string::npos) {
      const auto port = bench_->ready().find("\"port\":");
      const std::string tcp =
          "scpi-tcp:127.0.0.1:" + std::to_string(std::stoi(bench_->ready().substr(port + 7)));
      text += "\n[[meter]]\nuri = \"scpi:" + folder_ +
              "/at/scpi\"\nvolts = \"V(src+,src-)\"\namperes = \"I(feed)\"\nuncertainty_V = "
              "0.02\nuncertainty_A = 0.01\n[[meter]]\nuri = \"" +
              tcp + "?channel=4\"\nvolts = \"V(pin16,pin4)\"\nuncertainty_V = 0.02\n";
    }
    std::ofstream(job()) << text;
    // Real links: the cautions would be shown first (Pages tests that).
    if (Status read = readiness::keepCautionsRead(*job::readJob(job()), "A"); !read)
      ADD_FAILURE() << read.error().text();
    std::istringstream lines(test::runPin16({"bench", scenario_, "--readings"}, folder_).out);
    for (std::string line; std::getline(lines, line);) {
      const auto equals = line.find('='), blank = line.find(' '), power = line.find("power=");
      const std::string state = line.substr(power + 6, line.find(' ', power) - power - 6);
      shown_[line.substr(0, equals) + " " + state] = line.substr(equals + 1, blank - equals - 1);
    }
  }
  void serve() {
    bench_.emplace(scenario_, devices_, folder_ + "/at", true);
    // The bench's own feed of the module is what a person switches.
    if (powered_) say("power on");
  }
  void pull() { bench_.reset(); }
  void say(const std::string& line) {
    powered_ = line == "power on" || (powered_ && line != "power off");
    bench_->say(line);
  }
  /// As somebody would write the job who has no service information at hand.
  void forgetThatTheRateIsKnown() const {
    std::stringstream all;
    all << std::ifstream(job()).rdbuf();
    std::string text = all.str();
    const std::string line = "rate_fixed = true";
    const auto at = text.find(line);
    ASSERT_NE(at, std::string::npos);
    std::ofstream(job()) << text.replace(at, line.size(), "rate_fixed = false");
  }
  [[nodiscard]] std::string job() const { return folder_ + "/job.toml"; }
  [[nodiscard]] std::string shows(const std::string& point, const std::string& power) const {
    const auto at = shown_.find(point + " " + power);
    return at == shown_.end() ? "" : at->second;
  }

 private:
  std::string folder_, scenario_, devices_;
  std::optional<test::ServedBench> bench_;
  std::map<std::string, std::string> shown_;
  bool powered_ = false;
};

class LiveLinksTest : public GuiTest {
 protected:
  /// From the start page: the job is typed, asking allowed or not, and the recording begun.
  static void begin(Window& w, const std::string& job, bool may_ask) {
    w.show();
    QLineEdit* line = nullptr;
    for (auto* l : w.startPage()->findChildren<QLineEdit*>())
      if (l->accessibleName() == "job") line = l;
    ASSERT_NE(line, nullptr);
    line->setFocus();
    QTest::keyClicks(line, text(job));
    auto* go = named<QPushButton>(*w.startPage(), "record");
    ASSERT_NE(go, nullptr);
    if (may_ask) {
      auto* may = go->parentWidget()->findChild<QCheckBox*>();
      ASSERT_NE(may, nullptr);
      may->setFocus();
      QTest::keyClick(may, Qt::Key_Space);
      ASSERT_TRUE(may->isChecked());
    }
    QTest::mouseClick(go, Qt::LeftButton);
    ASSERT_NE(w.live(), nullptr) << textOf(w.startPage()).toStdString();
    ASSERT_TRUE(waitFor([&] { return w.source()->sheet() != nullptr; }));
  }

  /// What the card asks for is typed or clicked as the yard's meter shows it, skipped where it has none,
  /// until `done`.
  static void answerCards(Window& w, const Yard& yard, const std::function<bool()>& done) {
    ReasonsPanel& panel = *w.reasonsPanel();
    for (int i = 0; i < 40 && !done(); ++i) {
      if (!waitFor([&] { return done() || !panel.asked().isEmpty(); }, 10'000) || done()) return;
      const QString asked = panel.asked();
      const QString suffix = panel.suffix();
      std::string shown;
      for (const char* power : {"off", "source", "on"})
        if (suffix.isEmpty() || suffix.contains(QStringLiteral("power=") + QLatin1String(power)))
          if (shown.empty()) shown = yard.shows(asked.toStdString(), power);
      // A question about what needs power on is for the time after it.
      if (suffix.contains("power=on") && w.source()->evidence()->power() != PowerState::on) shown.clear();
      if (shown.empty()) {
        for (auto* b : panel.findChildren<QPushButton*>())
          if (b->text() == "skip" && b->isVisible()) QTest::mouseClick(b, Qt::LeftButton);
      } else if (panel.entry()->isVisible()) {
        panel.entry()->setFocus();
        QTest::keyClicks(panel.entry(), text(shown));
        QTest::keyClick(panel.entry(), Qt::Key_Return);
      } else {
        for (auto* b : panel.findChildren<QPushButton*>())
          if (b->text() == text(shown) && b->isVisible()) QTest::mouseClick(b, Qt::LeftButton);
      }
      (void)waitFor([&] { return panel.asked() != asked || panel.suffix() != suffix; }, 1500);
    }
  }

  /// Everything is cleared by a person, and power declared on.
  static void powerOn(Window& w, Yard& yard) {
    answerNextDialog("power-on", [&yard](QDialog& d) {
      QTest::keyClicks(d.findChild<QLineEdit*>(), "Kim");
      for (auto* c : d.findChildren<QComboBox*>()) {
        c->setFocus();
        QTest::keyClicks(c, "yes");
        EXPECT_EQ(c->currentText(), "yes");
      }
      yard.say("power on");
    });
    QTest::mouseClick(w.liveBar()->power(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->power() == PowerState::on; }))
        << textOf(w.liveBar()).toStdString();
  }

  /// On a quiet bus whose rate the job does not vouch for: it is refused, and told.
  static void askInVain(Window& w, Yard& yard) {
    yard.forgetThatTheRateIsKnown();
    yard.say("power on");
    begin(w, yard.job(), true);
    ASSERT_TRUE(waitFor([&] { return w.live()->troubles().empty(); }));
    EXPECT_FALSE(w.liveBar()->vouch()->isVisible()) << "nothing was asked yet";
    QTest::mouseClick(w.liveBar()->ask(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return w.liveBar()->vouch()->isVisible(); }))
        << textOf(w.liveBar()).toStdString();
    EXPECT_EQ(w.source()->evidence()->sent(), 0U);
  }

  static const readiness::Step& step(Window& w, std::string_view name) {
    for (const auto& s : w.source()->sheet()->steps)
      if (s.name == name) return s;
    throw std::runtime_error("no such step");
  }

  /// Ended by a click; the file is whole and says the same when it is reviewed.
  static void endAndReview(Window& w) {
    const std::string file = w.source()->file();
    const auto overall = w.source()->sheet()->overall;
    const auto first = w.source()->sheet()->first_thing;
    QTest::mouseClick(w.liveBar()->end(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return w.live() == nullptr && w.source()->sheet() != nullptr; }))
        << textOf(w.liveBar()).toStdString();
    const auto whole = capture::verify(file);
    ASSERT_TRUE(whole);
    EXPECT_TRUE(whole->whole) << whole->text;
    EXPECT_EQ(w.source()->sheet()->overall, overall) << w.source()->sheet()->sentence;
    EXPECT_EQ(w.source()->sheet()->first_thing.has_value(), first.has_value());
    if (first && w.source()->sheet()->first_thing) {
      EXPECT_EQ(w.source()->sheet()->first_thing->code, first->code);
    }
  }
};

TEST_F(LiveLinksTest, AModuleOnTheTableIsPoweredMeasuredAskedAndFoundReady) {
  Yard yard(folder_.path().toStdString(), "removed-sound", "scpi,slcan", "?bitrate=500000&listen=no");
  Window w;
  begin(w, yard.job(), true);
  // The instrument says what the source has before anything is fed.
  ASSERT_TRUE(waitFor([&] { return w.source()->timeline()->series().size() >= 2; }));
  answerCards(w, yard, [&] {
    return w.reasonsPanel()->suffix().contains("power=on") ||
           w.source()->sheet()->overall != readiness::Overall::undecided;
  });
  EXPECT_EQ(w.source()->evidence()->sent(), 0U) << "it listens unless it is told to ask";
  powerOn(w, yard);
  EXPECT_EQ(w.source()->sheet()->power.powerUps(), 1);
  answerCards(w, yard, [&] {
    return w.source()->sheet()->overall != readiness::Overall::undecided ||
           step(w, "levels").verdict == readiness::Verdict::sound;
  });
  // Frames of the module prove the bit rate: before them the gate is shut.
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->frames() > 0; }));
  QTest::mouseClick(w.liveBar()->ask(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return !w.live()->asking() && w.source()->evidence()->sent() > 0; }))
      << textOf(&w).toStdString();
  answerCards(w, yard, [&] { return w.source()->sheet()->overall == readiness::Overall::ready; });
  EXPECT_EQ(w.source()->sheet()->overall, readiness::Overall::ready) << w.source()->sheet()->sentence;
  EXPECT_EQ(step(w, "answer").verdict, readiness::Verdict::sound);
  ASSERT_TRUE(waitFor([&] { return textOf(w.reasonsPanel()).contains("The module answers"); }));
  shoot(w, "links-table-ready");
  endAndReview(w);
  // Its source was metered all along, through both drivers of instruments.
  EXPECT_NE(w.source()->linkName(0), w.source()->linkName(1));
}

TEST_F(LiveLinksTest, AVehicleThatDoesNotAnswerIsTracedToTheConnectorsFuse) {
  Yard yard(folder_.path().toStdString(), "connector-fuse-open", "scpi,at", "?protocol=can11-500");
  Window w;
  begin(w, yard.job(), true);
  powerOn(w, yard);
  answerCards(w, yard, [&] { return w.source()->sheet()->overall == readiness::Overall::not_ready; });
  ASSERT_EQ(w.source()->sheet()->overall, readiness::Overall::not_ready) << w.source()->sheet()->sentence;
  ASSERT_TRUE(w.source()->sheet()->first_thing.has_value());
  EXPECT_EQ(w.source()->sheet()->first_thing->code, "connector-no-power");
  EXPECT_TRUE(w.header()->first()->whole().contains("fuse"));
  // The reasons name the fuse first, and go on asking for what parts it from the others.
  ASSERT_TRUE(waitFor(
      [&] {
        return w.reasons()->answer() && !w.reasons()->answer()->ranked.empty() &&
               reasons::titleOf(w.reasons()->answer()->ranked.front().causes).find("fuse is open") !=
                   std::string::npos;
      },
      8000))
      << textOf(w.reasonsPanel()).toStdString();
  EXPECT_FALSE(w.reasonsPanel()->asked().isEmpty());
  shoot(w, "links-vehicle-not-ready");
  endAndReview(w);
}

// Behind a gateway a bus without traffic is normal: asking is refused until somebody vouches for the rate.
TEST_F(LiveLinksTest, OnAQuietBusTheWindowSaysWhyItDoesNotAskAndAPersonVouchesForTheRate) {
  Yard yard(folder_.path().toStdString(), "gateway-quiet-normal", "slcan", "?bitrate=500000&listen=no");
  Window w;
  ASSERT_NO_FATAL_FAILURE(askInVain(w, yard));
  EXPECT_TRUE(w.liveBar()->vouch()->text().contains("500 kbit/s"))
      << w.liveBar()->vouch()->text().toStdString();
  EXPECT_TRUE(textOf(w.liveBar()).contains("Wake the bus"));
  shoot(w, "links-vouch");
  for (const QSize size : {QSize(640, 400), QSize(1280, 800)}) {
    w.resize(size);
    QTest::qWait(60);
    std::vector<QString> faults;
    findLayoutFaults(w.liveBar(), faults);
    for (const QString& f : faults) ADD_FAILURE() << size.width() << ": " << f.toStdString();
    for (const auto* l : w.liveBar()->findChildren<QLabel*>())
      if (const auto* s = dynamic_cast<const ShortLabel*>(l); s != nullptr && s->isVisible()) {
        EXPECT_FALSE(s->cut()) << size.width() << ": " << s->whole().toStdString();
      }
  }
  QTest::mouseClick(w.liveBar()->vouch(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return !w.live()->asking() && w.source()->evidence()->sent() > 0; }))
      << textOf(w.liveBar()).toStdString();
  EXPECT_FALSE(w.liveBar()->vouch()->isVisible());
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->frames() > 0; })) << "somebody answers";
  ASSERT_TRUE(waitFor([&] { return w.events()->rows() > 5; }));
  w.events()->searchLine()->setText("kind note \"vouched for: 500000\"");
  QTest::keyClick(w.events()->searchLine(), Qt::Key_Return);
  ASSERT_TRUE(waitFor([&] { return !w.events()->searching() && w.events()->rows() == 1; }))
      << "it is recorded";
  w.events()->searchLine()->clear();
  endAndReview(w);
}
TEST_F(LiveLinksTest, NobodyVouchesDuringAnAttemptNorInASealedJob) {
  Yard yard(folder_.path().toStdString(), "gateway-quiet-normal", "slcan", "?bitrate=500000&listen=no");
  {
    Window w;
    ASSERT_NO_FATAL_FAILURE(askInVain(w, yard));
    QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return w.live()->attemptRuns() && !w.liveBar()->vouch()->isVisible(); }));
    QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return !w.live()->attemptRuns() && w.liveBar()->ask()->isEnabled(); }));
    // The gate stays shut for the run: vouching would open nothing, and is not offered.
    QTest::mouseClick(w.liveBar()->ask(), Qt::LeftButton);
    ASSERT_TRUE(waitFor([&] { return textOf(w.liveBar()).contains("the gate is shut"); }))
        << textOf(w.liveBar()).toStdString();
    EXPECT_FALSE(w.liveBar()->vouch()->isVisible());
    EXPECT_EQ(w.source()->evidence()->sent(), 0U);
    EXPECT_TRUE(w.endRecording());
  }
  LiveSource sealed(
      [&] {
        job::Job j = *job::readJob(yard.job());
        j.sealed = true;
        return j;
      }(),
      true);
  EXPECT_FALSE(sealed.mayAsk());
  EXPECT_FALSE(sealed.rateToVouchFor());
}

TEST_F(LiveLinksTest, ARecordingForLaterIsMadeThroughTheAtAdapterAndAsksBeforeItEnds) {
  Yard yard(folder_.path().toStdString(), "own-battery-sound", "scpi,at", "?protocol=can11-500&monitor=on");
  yard.say("power on");
  Window w;
  begin(w, yard.job(), false);
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->frames() > 20; }))
      << (w.live()->troubles().empty() ? "no trouble told" : w.live()->troubles().front());
  w.liveBar()->note()->setFocus();
  QTest::keyClicks(w.liveBar()->note(), "bag lamp on, door opened");
  QTest::keyClick(w.liveBar()->note(), Qt::Key_Return);
  QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return w.live()->attemptRuns(); }));
  EXPECT_TRUE(w.live()->attemptText().contains("hands off"));
  QTest::mouseClick(w.liveBar()->attempt(), Qt::LeftButton);
  ASSERT_TRUE(waitFor([&] { return !w.live()->attemptRuns(); }));
  // Nothing was asked, nothing can be.
  EXPECT_FALSE(w.liveBar()->ask()->isEnabled());
  const std::string file = w.source()->file();
  shoot(w, "links-recording");
  // Closing asks. Stay: it goes on.
  answerNextDialog("stay-here");
  w.close();
  EXPECT_TRUE(w.isVisible());
  ASSERT_TRUE(w.live()->recording());
  const auto size = fs::file_size(file);
  ASSERT_TRUE(waitFor([&] { return fs::file_size(file) > size; }));
  answerNextDialog("end-it");
  w.close();
  EXPECT_FALSE(w.live()->recording());
  const auto whole = capture::verify(file);
  ASSERT_TRUE(whole);
  EXPECT_TRUE(whole->whole) << whole->text;
  // Later: opened from the start page, the note is found and takes the cursor along.
  Window later;
  later.show();
  QTest::keyClicks(later.startPage()->captureLine(), text(file));
  QTest::keyClick(later.startPage()->captureLine(), Qt::Key_Return);
  ASSERT_TRUE(waitFor([&] { return later.source() != nullptr && later.source()->sheet() != nullptr; }));
  EXPECT_EQ(later.source()->attempts().size(), 1U);
  QTest::keyClicks(later.events()->searchLine(), "kind note \"door opened\"");
  QTest::keyClick(later.events()->searchLine(), Qt::Key_Return);
  ASSERT_TRUE(waitFor([&] { return !later.events()->searching(); }));
  ASSERT_EQ(later.events()->rows(), 1U);
  QTest::keyClick(later.events()->table(), Qt::Key_Down);
  EXPECT_EQ(later.axis()->cursor(), later.events()->model().rows()[0].t_ns);
  EXPECT_EQ(later.source()->sheet()->sent, 0U);
}

TEST_F(LiveLinksTest, AnAdapterThatIsPulledIsToldWithWhatToDoAndComesBack) {
  Yard yard(folder_.path().toStdString(), "own-battery-sound", "slcan", "?bitrate=500000&listen=no");
  yard.say("power on");
  Window w;
  begin(w, yard.job(), false);
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->frames() > 20; }));
  yard.pull();
  const std::string where = folder_.path().toStdString() + "/at/slcan";
  ASSERT_TRUE(waitFor([&] { return textOf(w.liveBar()).contains(text(where)); }, 10'000))
      << textOf(w.liveBar()).toStdString();
  const auto troubles = w.live()->troubles();
  ASSERT_EQ(troubles.size(), 1U);
  EXPECT_NE(troubles.front().find("plug"), std::string::npos) << "what to do: " << troubles.front();
  EXPECT_TRUE(w.liveBar()->trouble()->whole().contains("plug"));
  EXPECT_FALSE(w.liveBar()->trouble()->cut()) << "where and what to do are read whole";
  shoot(w, "links-pulled");
  EXPECT_TRUE(w.live()->recording());
  const auto frames = w.source()->evidence()->frames();
  yard.serve();
  ASSERT_TRUE(waitFor([&] { return w.source()->evidence()->frames() > frames + 20; }, 15'000));
  EXPECT_TRUE(w.live()->troubles().empty());
  endAndReview(w);
  const auto& marks = w.source()->timeline()->marks();
  EXPECT_TRUE(std::any_of(marks.begin(), marks.end(), [](const auto& m) {
    return m.what == review::TimeMark::What::gap;
  })) << "while it was gone nothing could be seen";
}

TEST_F(LiveLinksTest, AWindowThatIsKilledLosesNothingOfARealLink) {
  Yard yard(folder_.path().toStdString(), "own-battery-sound", "slcan", "?bitrate=500000&listen=no");
  yard.say("power on");
  int out[2];
  ASSERT_EQ(pipe(out), 0);
  const pid_t child = fork();
  if (child == 0) {
    dup2(out[1], 3);
    execl("/proc/self/exe", "test_gui", "--child", folder_.path().toLocal8Bit().constData(),
          yard.job().c_str(), nullptr);
    _exit(1);
  }
  close(out[1]);
  char line[512] = {};
  ASSERT_GT(read(out[0], line, sizeof line - 1), 0);
  close(out[0]);
  const std::string file(line, strcspn(line, "\n"));
  kill(child, SIGKILL);
  waitpid(child, nullptr, 0);
  const auto size = fs::file_size(file);
  ASSERT_TRUE(waitFor([&] { return fs::file_size(file) > size + 2000; }))
      << file << " does not grow any more";
  EXPECT_EQ(test::runPin16({"note", "--end"}, folder_.path().toStdString()).exit_code, 0);
  ASSERT_TRUE(waitFor([&] { return fs::exists(file + ".sha256"); }));
  const auto whole = capture::verify(file);
  ASSERT_TRUE(whole);
  EXPECT_TRUE(whole->whole) << whole->text;
}

}  // namespace
}  // namespace pin16::gui
