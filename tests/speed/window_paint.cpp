// SPDX-License-Identifier: GPL-3.0-or-later
// What a person waits for in the window: the first rows of a capture of about 1 GB painted, without and with
// a kept index; a step of scrolling, a step of zoom, each with its paint; ten channels at 1 kHz live at 20
// frames a second, as share of one core. Wall time but for the share. Makes its own file, written out by a
// sync; "cold": each time dropped from the page cache by posix_fadvise, and what of it stayed is counted by
// mincore. What a disk or a host keeps in a cache of its own stays there.
//   window_paint FOLDER [MILLION EVENTS], or window_paint live: the last of it alone
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <unistd.h>

#include <QApplication>
#include <QElapsedTimer>
#include <QEventLoop>
#include <QTableView>
#include <QTest>
#include <QTimer>
#include <QWheelEvent>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <vector>

#include "core/capture/writer.hpp"
#include "core/review/timeline.hpp"
#include "gui/events_panel.hpp"
#include "gui/look.hpp"
#include "gui/source.hpp"
#include "gui/time_axis.hpp"
#include "gui/window.hpp"

namespace {

using namespace pin16;

constexpr int kChannels = 10;
constexpr const char* kPoints[kChannels] = {
    "V(src+,src-)",  "V(supplyblade,chassis)", "V(loadblade,chassis)", "V(feed,chassis)",
    "V(pin16,pin4)", "V(pin16,pin5)",          "V(chassis,src-)",      "V(interface+,interface-)",
    "V(pin6,pin4)",  "V(pin14,pin4)"};

event::Measurement sample(int channel, std::uint64_t i) {
  event::Measurement m;
  m.point = kPoints[channel];
  m.unit = "V";
  m.uncertainty = 0.02;
  m.power = event::PowerState::on;
  m.value = channel + 1 + 0.2 * std::sin(static_cast<double>(i) * 0.01 + channel);
  return m;
}

/// Frames, every tenth event a sample of one of the channels.
void generate(const std::string& file, std::uint64_t events) {
  capture::SectionFacts facts;
  facts.utc_offset_ns = 1'790'000'000 * kNsPerSecond;
  auto writer = capture::Writer::create(file, facts);
  if (!writer) std::exit((fmt::print("{}\n", writer.error().text()), 1));
  event::Batch b;
  event::LinkState bus, meter;
  bus.uri = "socketcan:can0";
  bus.condition = meter.condition = event::LinkCondition::up;
  bus.bitrate = 500000;
  meter.uri = "scpi:/dev/ttyUSB2";
  meter.meter = true;
  Ns t_ns = kNsPerSecond;
  b.add(1, t_ns, 0, event::Kind::link, bus);
  b.add(2, t_ns, 1, event::Kind::link, meter);
  for (std::uint64_t i = 3; i <= events; ++i) {
    t_ns += 360'000;
    const std::uint8_t data[8] = {
        static_cast<std::uint8_t>(i), static_cast<std::uint8_t>(i >> 8U), 0, 1, 2, 3, 4, 5};
    if (i % 10 == 0)
      b.add(i, t_ns, 1, event::Kind::sample, sample(static_cast<int>(i / 10 % kChannels), i));
    else
      b.addFrame(i, t_ns, 0, event::CanFrame::make(0x100 + static_cast<std::uint32_t>(i % 40), false, data),
                 0);
    if (b.headers.size() < event::kBatchEvents) continue;
    if (!(*writer)->take(b) || !(*writer)->flush()) std::exit(1);
    b.clear();
  }
  if (!(*writer)->take(b) || !(*writer)->finish()) std::exit(1);
}

double ms(const QElapsedTimer& timer) { return static_cast<double>(timer.nsecsElapsed()) / 1e6; }
void line(const char* what, std::vector<double> all) {
  std::sort(all.begin(), all.end());
  fmt::print("{:<34} median {:9.3f} ms  p99 {:9.3f} ms  ({} times)\n", what, all[all.size() / 2],
             all[(all.size() - 1) * 99 / 100], all.size());
}
double cpu_s() {
  rusage use{};
  getrusage(RUSAGE_SELF, &use);
  return static_cast<double>(use.ru_utime.tv_sec + use.ru_stime.tv_sec) +
         static_cast<double>(use.ru_utime.tv_usec + use.ru_stime.tv_usec) / 1e6;
}
long residentMB() {
  rusage use{};
  getrusage(RUSAGE_SELF, &use);
  return use.ru_maxrss / 1024;
}

/// Tells when the table was painted with rows in it.
class Painted : public QObject {
 public:
  explicit Painted(gui::Window& w) : w_(w) { w.events()->table()->viewport()->installEventFilter(this); }
  bool eventFilter(QObject*, QEvent* e) override {
    if (e->type() == QEvent::Paint && w_.events()->model().rowCount() > 0) ++times;
    return false;
  }
  int times = 0;

 private:
  gui::Window& w_;
};

double firstPaint(gui::Window& w, const std::string& file) {
  Painted painted(w);
  QElapsedTimer timer;
  timer.start();
  w.review(gui::text(file), {});
  while (painted.times == 0 && timer.elapsed() < 60'000)
    QApplication::processEvents(QEventLoop::AllEvents, 5);
  const double took = ms(timer);
  if (painted.times == 0) std::exit((fmt::print("never painted\n"), 1));
  return took;
}

/// Out of the page cache; the share of it that stayed in.
double drop(const std::string& file) {
  const int fd = open(file.c_str(), O_RDONLY | O_CLOEXEC);
  const std::size_t size = std::filesystem::file_size(file);
  const auto page = static_cast<std::size_t>(sysconf(_SC_PAGESIZE));
  if (fd < 0 || fdatasync(fd) != 0 || posix_fadvise(fd, 0, 0, POSIX_FADV_DONTNEED) != 0)
    std::exit((fmt::print("cannot be dropped from the page cache\n"), 1));
  void* at = mmap(nullptr, size, PROT_READ, MAP_SHARED, fd, 0);
  close(fd);
  std::vector<unsigned char> in((size + page - 1) / page);
  if (at == MAP_FAILED || mincore(at, size, in.data()) != 0) std::exit((fmt::print("no mincore\n"), 1));
  munmap(at, size);
  const auto kept = std::count_if(in.begin(), in.end(), [](unsigned char c) { return (c & 1U) != 0; });
  return static_cast<double>(kept) / static_cast<double>(in.size());
}

/// Each in a window of its own, whose reading ends with it.
void cold(const char* what, const std::string& file) {
  std::vector<double> all;
  double kept = 0;
  for (int i = 0; i < 11; ++i) {
    gui::Window w;
    w.resize(1920, 1080);
    w.show();
    QTest::qWait(200);
    kept = std::max(kept, drop(file));
    all.push_back(firstPaint(w, file));
  }
  line(what, all);
  fmt::print("  of the file in the page cache before: {:.2f} % at most\n", kept * 100);
}

void live() {
  review::Timeline timeline(kNsPerSecond);
  std::uint64_t n = 0;
  Ns t_ns = kNsPerSecond;
  const auto feed = [&](int samples) {
    event::Batch b;
    for (int i = 0; i < samples; ++i) {
      t_ns += kNsPerMs;
      for (int c = 0; c < kChannels; ++c) {
        ++n;
        b.add(n, t_ns, 0, event::Kind::sample, sample(c, n));
      }
    }
    for (const auto& h : b.headers) timeline.record(b, h, h.t_ns);
  };
  for (int s = 0; s < 60; ++s) feed(1000);  // a minute is there already
  gui::TimeAxis axis;
  axis.resize(1250, 520);
  axis.show(&timeline, 9);
  axis.QWidget::show();
  axis.setFollow(true);
  QTest::qWait(300);
  std::vector<double> frames;
  QTimer timer;
  timer.setTimerType(Qt::PreciseTimer);
  std::size_t points = 0;
  QObject::connect(&timer, &QTimer::timeout, [&] {
    QElapsedTimer one;
    one.start();
    feed(50);
    axis.refresh();
    QApplication::processEvents();  // the charts paint themselves, once
    frames.push_back(ms(one));
    points = std::max(points, axis.points());
  });
  const double cpu = cpu_s();
  QElapsedTimer wall;
  wall.start();
  timer.start(50);
  QEventLoop loop;
  QTimer::singleShot(10'000, &loop, &QEventLoop::quit);
  loop.exec();
  timer.stop();
  const double share = (cpu_s() - cpu) / (ms(wall) / 1000);
  line("live: samples, columns, paint", frames);
  fmt::print("live: {} channels at 1 kHz, {:.1f} frames/s, at most {} points, {:.1f} % of one core\n",
             kChannels, static_cast<double>(frames.size()) * 1000 / ms(wall), points, 100 * share);
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) return 2;
  if (std::string_view(argv[1]) == "live") {
    const QApplication app(argc, argv);
    QApplication::setStyle(QStringLiteral("Fusion"));
    gui::Look::the().set(gui::Theme::light);
    live();
    return 0;
  }
  const std::string file = std::string(argv[1]) + "/window_paint.pcapng";
  const std::uint64_t events = 1'000'000ULL * (argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 13);
  setenv("XDG_CACHE_HOME", argv[1], 1);
  for (const char* end : {"", ".sha256", ".blocks"}) unlink((file + end).c_str());
  generate(file, events);
  QApplication app(argc, argv);
  QApplication::setStyle(QStringLiteral("Fusion"));
  gui::Look::the().set(gui::Theme::light);
  fmt::print("{:.2f} GB, {} million events; platform {}\n",
             static_cast<double>(std::filesystem::file_size(file)) / 1e9, events / 1'000'000,
             QApplication::platformName().toStdString());
  cold("first paint, cold, no index yet", file);
  {
    gui::Window w;
    w.resize(1920, 1080);
    w.show();
    QTest::qWait(200);
    fmt::print("first paint, no index yet          {:9.1f} ms\n", firstPaint(w, file));
    QElapsedTimer timer;
    timer.start();
    while (w.source()->progress() < 1) QApplication::processEvents(QEventLoop::AllEvents, 20);
    fmt::print("everything judged, index kept      {:9.1f} ms more\n", ms(timer));
    fmt::print("memory at most                     {:9} MB\n", residentMB());
  }
  cold("first paint, cold, index kept", file);
  gui::Window w;
  w.resize(1920, 1080);
  w.show();
  QTest::qWait(200);
  std::vector<double> again;
  for (int i = 0; i < 21; ++i) again.push_back(firstPaint(w, file));
  line("first paint, index kept", again);
  while (w.source()->progress() < 1) QApplication::processEvents(QEventLoop::AllEvents, 20);
  QTest::qWait(500);

  std::vector<double> steps, jumps, zooms;
  QWidget* view = w.events()->table()->viewport();
  const auto wheel = [&](int by) {
    QWheelEvent e({20, 20}, view->mapToGlobal(QPointF(20, 20)), {}, {0, by}, Qt::NoButton, Qt::NoModifier,
                  Qt::NoScrollPhase, false);
    QApplication::sendEvent(view, &e);
  };
  std::uint64_t x = 88172645463325252ULL;
  for (int i = 0; i < 1000; ++i) {
    QElapsedTimer one;
    one.start();
    wheel(-120);
    w.events()->repaint();
    view->repaint();
    steps.push_back(ms(one));
    QApplication::processEvents();
    x ^= x << 13U, x ^= x >> 7U, x ^= x << 17U;
    one.restart();
    w.events()->goTo(w.source()->startNs() + static_cast<Ns>(x % events) * 360'000);
    view->repaint();
    jumps.push_back(ms(one));
    QApplication::processEvents();
  }
  line("scroll step and paint", steps);
  line("jump to a moment and paint", jumps);
  const Ns middle = w.source()->startNs() + static_cast<Ns>(events / 2) * 360'000;
  std::size_t points = 0;
  for (int i = 0; i < 200; ++i) {
    if (i % 24 == 0) w.axis()->showAll();
    QElapsedTimer one;
    one.start();
    w.axis()->zoom(i % 24 < 12 ? 0.5 : 2, middle);
    QApplication::processEvents();  // the charts paint themselves, once
    zooms.push_back(ms(one));
    points = std::max(points, w.axis()->points());
    QApplication::processEvents();
  }
  line("zoom step and paint", zooms);
  fmt::print("points at most                     {:9}\n", points);
  fmt::print("memory at most                     {:9} MB\n", residentMB());
  live();
  for (const char* end : {"", ".sha256", ".blocks"}) unlink((file + end).c_str());
  return 0;
}
