// SPDX-License-Identifier: GPL-3.0-or-later
// The review of a capture of 10 million events (0.7 GB): opened, indexed with
// progress, scrolled, searched, cursor and table in step. PIN16_LONG_EVENTS makes it longer or shorter.
#include <sys/resource.h>

#include <QElapsedTimer>
#include <QLineEdit>
#include <QTableView>
#include <cstdio>
#include <filesystem>

#include "core/capture/writer.hpp"
#include "gui/events_panel.hpp"
#include "gui/source.hpp"
#include "gui/time_axis.hpp"
#include "gui/window.hpp"
#include "gui_support.hpp"

namespace pin16::gui {
namespace {

constexpr Ns kFrameEvery_ns = 400'000;
constexpr const char* kEvents = "10000000";
/// One note, half way; the rest frames of 40 identifiers.
void makeLong(const std::string& file, std::uint64_t events) {
  capture::SectionFacts facts;
  facts.application = "test";
  facts.utc_offset_ns = 1'790'000'000 * kNsPerSecond;
  auto writer = capture::Writer::create(file, facts);
  ASSERT_TRUE(writer) << writer.error().text();
  event::Batch b;
  event::LinkState bus;
  bus.uri = "socketcan:can0";
  bus.condition = event::LinkCondition::up;
  bus.bitrate = 500000;
  Ns t_ns = kNsPerSecond;
  b.add(1, t_ns, 0, event::Kind::link, bus);
  for (std::uint64_t i = 2; i <= events; ++i) {
    t_ns += kFrameEvery_ns;
    if (i == events / 2) {
      b.add(i, t_ns, event::kNoLink, event::Kind::note, event::Note{"half way", "A"});
    } else {
      const std::uint8_t data[8] = {
          static_cast<std::uint8_t>(i), static_cast<std::uint8_t>(i >> 8U), 0, 1, 2, 3, 4, 5};
      b.addFrame(i, t_ns, 0, event::CanFrame::make(0x100 + static_cast<std::uint32_t>(i % 40), false, data),
                 0);
    }
    if (b.headers.size() < event::kBatchEvents) continue;
    ASSERT_TRUE((*writer)->take(b));
    ASSERT_TRUE((*writer)->flush());
    b.clear();
  }
  ASSERT_TRUE((*writer)->take(b));
  ASSERT_TRUE((*writer)->finish());
}

class LongCaptureTest : public GuiTest {};

TEST_F(LongCaptureTest, MillionsOfEventsOpenScrollAndAreSearchedInStepWithTheCursor) {
  const std::uint64_t events = qEnvironmentVariable("PIN16_LONG_EVENTS", kEvents).toULongLong();
  const std::string file = path("long.pcapng");  // with its folder it is removed
  makeLong(file, events);
  {
    Window w;
    w.show();
    w.review(text(file), {});
    ASSERT_NE(w.source(), nullptr);
    // The begin is there before the index is, and it can be scrolled.
    ASSERT_TRUE(waitFor([&] { return w.events()->model().rowCount() > 0; }, 2000));
    double least = 1, most = 0;
    int steps = 0;
    ASSERT_TRUE(waitFor(
        [&] {
          const double p = w.source()->progress();
          if (p < 1 && p > most) ++steps;
          least = std::min(least, p);
          most = std::max(most, p);
          return p >= 1;
        },
        600'000));
    EXPECT_GE(steps, 3) << "progress is shown while the index is made";
    EXPECT_LT(least, 0.5);
    EXPECT_EQ(w.events()->rows(), events);
    shoot(w, "long-whole");
    // To the end: the last event, and the cursor with it.
    QTest::keyClick(w.events()->table(), Qt::Key_End);
    EXPECT_EQ(w.axis()->cursor(), w.source()->timeline()->lastNs());
    EXPECT_EQ(w.events()->model().rows().back().number, events - 1);
    // The cursor anywhere, and the table follows to the very event.
    for (const double share : {0.1, 0.37, 0.5, 0.93}) {
      const Ns at =
          w.source()->startNs() + static_cast<Ns>(share * static_cast<double>(events)) * kFrameEvery_ns;
      w.axis()->setView(at - kNsPerSecond, at + kNsPerSecond);
      QWidget* over = w.axis()->findChildren<QWidget*>(QString(), Qt::FindDirectChildrenOnly).last();
      QTest::mouseClick(over, Qt::LeftButton, {}, QPoint(over->width() / 2, over->height() / 2));
      const auto chosen = w.events()->table()->selectionModel()->selectedRows();
      ASSERT_EQ(chosen.size(), 1) << share;
      const Ns row = w.events()->model().rows()[static_cast<std::size_t>(chosen.front().row())].t_ns;
      EXPECT_LE(std::abs(row - w.axis()->cursor()), kFrameEvery_ns) << share;
    }
    // The search finds the one note, wherever it is.
    QTest::keyClicks(w.events()->searchLine(), "kind note \"half way\"");
    QTest::keyClick(w.events()->searchLine(), Qt::Key_Return);
    ASSERT_TRUE(waitFor([&] { return !w.events()->searching(); }, 300'000));
    ASSERT_EQ(w.events()->rows(), 1U);
    EXPECT_EQ(w.events()->model().rows()[0].t_ns,
              w.source()->startNs() + static_cast<Ns>(events / 2 - 1) * kFrameEvery_ns);
    shoot(w, "long-found");
  }
  // Again: the index is kept, everything can be reached before the pass is through.
  Window w;
  w.show();
  w.review(text(file), {});
  EXPECT_EQ(w.events()->rows(), events);
  EXPECT_LT(w.source()->progress(), 1);
  rusage use{};
  getrusage(RUSAGE_SELF, &use);
  std::printf("%llu events, %.2f GB, memory at most %ld MB\n", static_cast<unsigned long long>(events),
              static_cast<double>(std::filesystem::file_size(file)) / 1e9, use.ru_maxrss / 1024);
}

}  // namespace
}  // namespace pin16::gui
