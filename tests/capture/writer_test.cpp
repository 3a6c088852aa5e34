// SPDX-License-Identifier: Apache-2.0
#include "core/capture/writer.hpp"

#include <gmock/gmock.h>
#include <sys/resource.h>

#include <csignal>

#include "support.hpp"

namespace pin16::capture {
namespace {

using namespace event;
using namespace testing;
using ::testing::HasSubstr;

class Write : public CaptureTest {};

/// What a record of the batch must look like in the file: inner times moved to UTC as the event's own.
Bytes expectedPayload(const Batch& b, const Header& h) {
  if (h.kind == Kind::gap) {
    auto g = *b.record<Gap>(h);
    g.from_ns += kOffset_ns;
    g.to_ns += kOffset_ns;
    return pack(g);
  }
  if (h.kind == Kind::message) {
    auto m = *b.record<Message>(h);
    m.first_ns += kOffset_ns;
    return pack(m);
  }
  if (h.kind == Kind::exchange) {
    auto x = *b.record<Exchange>(h);
    x.request_ns += kOffset_ns;
    if (x.handed_ns != kNoTime) x.handed_ns += kOffset_ns;
    return pack(x);
  }
  const ByteView p = b.payload(h);
  return {p.begin(), p.end()};
}

TEST_F(Write, EveryKindComesBackAsItWas) {
  const Batch b = everyKind();
  record(path("a.pcapng"), b);
  const All all = readAll(path("a.pcapng"));
  ASSERT_EQ(all.events.size(), b.headers.size());
  for (std::size_t i = 0; i < b.headers.size(); ++i) {
    const Header& was = b.headers[i];
    const Header& is = all.events[i].header;
    SCOPED_TRACE(static_cast<int>(was.kind));
    EXPECT_EQ(is.kind, was.kind);
    EXPECT_EQ(is.sequence, was.sequence);
    EXPECT_EQ(is.t_ns, was.t_ns + kOffset_ns);
    EXPECT_EQ(is.link, was.link);
    EXPECT_EQ(is.flags, was.flags);
    EXPECT_EQ(all.events[i].payload, expectedPayload(b, was));
  }
  ASSERT_EQ(all.links.size(), 2U);
  EXPECT_EQ(all.links[0].name, "socketcan:can0");
  EXPECT_EQ(all.links[0].state, upState("socketcan:can0"));
  EXPECT_TRUE(all.links[1].ours);
  EXPECT_EQ(all.section.application, "pin16 test");
  EXPECT_EQ(all.section.os, "an operating system");
  EXPECT_EQ(all.section.hardware, "a machine");
  EXPECT_EQ(all.section.comment, "a comment");
  EXPECT_EQ(all.foreign_losses, 0U) << "our own losses are events";
  EXPECT_EQ(all.links[0].statistics.received, 5U);
  EXPECT_EQ(all.links[0].statistics.dropped, 5U) << "kernel and adapter, not our own queue";
}

TEST_F(Write, AnExistingFileIsNeverOverwritten) {
  for (const char* taken : {"a.pcapng", "a.pcapng.blocks", "a.pcapng.sha256"}) {
    SCOPED_TRACE(taken);
    (void)save(taken, Bytes{'x'});
    const auto w = Writer::create(path("a.pcapng"), facts());
    ASSERT_FALSE(w);
    EXPECT_EQ(w.error().kind, ErrorKind::record);
    EXPECT_EQ(w.error().place, path(taken));
    EXPECT_THAT(w.error().advice, HasSubstr("another name"));
    EXPECT_EQ(contents(path(taken)), Bytes{'x'});
    std::filesystem::remove(path(taken));
    EXPECT_TRUE(std::filesystem::is_empty(dir_)) << "nothing is left behind";
  }
}

TEST_F(Write, ADirectoryThatIsMissingIsNamed) {
  const auto w = Writer::create(path("none/a.pcapng"), facts());
  ASSERT_FALSE(w);
  EXPECT_EQ(w.error().kind, ErrorKind::record);
  EXPECT_THAT(w.error().text(), HasSubstr("none/a.pcapng"));
}

TEST_F(Write, AChangedModeMakesANewInterfaceOfTheSameLink) {
  Batch b;
  LinkState s = upState("socketcan:can0");
  std::uint64_t n = 0;
  const auto both = [&](const LinkState& state) {
    b.add(++n, kStart_boot_ns, 3, Kind::link, state);
    b.addFrame(++n, kStart_boot_ns, 3, CanFrame::make(0x100, false, {}), 0);
  };
  b.addFrame(++n, kStart_boot_ns, 3, CanFrame::make(0x100, false, {}), 0);  // before any state
  both(s);
  s.tx_errors = 12;  // no mode
  both(s);
  s.bitrate = 250000;
  both(s);
  s.listen_only = Known::no;
  s.silence = Silence::cannot;
  both(s);
  both(upState("socketcan:can0"));  // back again: the interface is known
  record(path("a.pcapng"), b);

  const std::string info =
      runTool("capinfos -T -m -Q -S -i " + path("a.pcapng") + " && capinfos " + path("a.pcapng"));
  EXPECT_THAT(info, HasSubstr("Number of interfaces in file: 5"));  // 4 of the link, 1 of records
  EXPECT_THAT(info, HasSubstr("CAN interface: 500000 bit/s, listen-only (proven), times by kernel"));
  EXPECT_THAT(info, HasSubstr("CAN interface: 250000 bit/s, acknowledges, times by kernel"));
  const All all = readAll(path("a.pcapng"));
  for (const Event& e : all.events) EXPECT_EQ(e.header.link, 3);
  ASSERT_EQ(all.links.size(), 4U);
  EXPECT_EQ(all.links[3].name, "socketcan:can0");
  EXPECT_EQ(all.links[0].linktype, 0) << "an index that was not used";
}

TEST_F(Write, StatisticsAreCumulativeAndComeEveryFiveSeconds) {
  auto w = Writer::create(path("a.pcapng"), facts());
  ASSERT_TRUE(w);
  Batch b;
  b.add(1, kStart_boot_ns, 0, Kind::link, upState("socketcan:can0"));
  for (unsigned i = 0; i <= 120; ++i)  // 12 s
    b.addFrame(2 + i, kStart_boot_ns + i * 100 * kNsPerMs, 0, CanFrame::make(0x100, false, {}), 0);
  ASSERT_TRUE((*w)->take(b));
  ASSERT_TRUE((*w)->finish());
  const Bytes file = contents(path("a.pcapng"));
  std::vector<std::uint64_t> received;
  for (std::size_t at = 0; at + 12 <= file.size();) {
    std::uint32_t type = 0;
    std::uint32_t length = 0;
    std::memcpy(&type, &file[at], 4);
    std::memcpy(&length, &file[at + 4], 4);
    if (type == 5) {  // fixed part 20, start and end time 12 each, then isb_ifrecv
      std::uint64_t v = 0;
      EXPECT_EQ(file[at + 20 + 24], 4);
      std::memcpy(&v, &file[at + 20 + 24 + 4], 8);
      received.push_back(v);
    }
    at += length;
  }
  EXPECT_EQ(received, (std::vector<std::uint64_t>{51, 101, 121}));
}

TEST_F(Write, NothingIsInTheFileBeforeFlushAndWholeBlocksAfterIt) {
  auto w = Writer::create(path("a.pcapng"), facts());
  ASSERT_TRUE(w);
  const auto header = std::filesystem::file_size(path("a.pcapng"));
  ASSERT_TRUE((*w)->take(everyKind()));
  EXPECT_EQ(std::filesystem::file_size(path("a.pcapng")), header);
  ASSERT_TRUE((*w)->flush());
  EXPECT_EQ(std::filesystem::file_size(path("a.pcapng")), (*w)->written());
  const All all = readAll(path("a.pcapng"));  // still being recorded
  EXPECT_EQ(all.events.size(), everyKind().headers.size());
  EXPECT_TRUE(all.damage().empty());
}

TEST_F(Write, AFullDiskIsAnErrorWithBytesAndAdviceAndFlushCanGoOn) {
  auto w = Writer::create(path("a.pcapng"), facts());
  ASSERT_TRUE(w);
  Batch b;
  for (unsigned i = 0; i < 1000; ++i)
    b.addFrame(i + 1, kStart_boot_ns, 0, CanFrame::make(0x100, false, {}), 0);
  ASSERT_TRUE((*w)->take(b));
  // A file size limit stands for the full disk: the kernel writes short, then refuses.
  const auto handler = std::signal(SIGXFSZ, SIG_IGN);
  rlimit before{};
  ASSERT_EQ(getrlimit(RLIMIT_FSIZE, &before), 0);
  rlimit small = before;
  small.rlim_cur = 5000;
  ASSERT_EQ(setrlimit(RLIMIT_FSIZE, &small), 0);
  const Status full = (*w)->flush();
  ASSERT_EQ(setrlimit(RLIMIT_FSIZE, &before), 0);
  std::signal(SIGXFSZ, handler);
  ASSERT_FALSE(full);
  EXPECT_EQ(full.error().kind, ErrorKind::record);
  EXPECT_EQ(full.error().place, path("a.pcapng"));
  EXPECT_THAT(full.error().what, HasSubstr("5000 bytes"));
  EXPECT_THAT(full.error().advice, HasSubstr("room"));
  ASSERT_TRUE((*w)->finish());
  const All all = readAll(path("a.pcapng"));
  EXPECT_EQ(all.of(Kind::frame).size(), 1000U);
  EXPECT_TRUE(all.damage().empty());
}

TEST_F(Write, EventsAfterTheEndAreRefused) {
  auto w = Writer::create(path("a.pcapng"), facts());
  ASSERT_TRUE(w);
  ASSERT_TRUE((*w)->finish());
  const Status late = (*w)->take(everyKind());
  ASSERT_FALSE(late);
  EXPECT_EQ(late.error().kind, ErrorKind::internal);
}

TEST_F(Write, AnEventThatNoBlockHoldsIsNamedAndTheOthersAreKept) {
  auto w = Writer::create(path("a.pcapng"), facts());
  ASSERT_TRUE(w);
  Batch b;
  b.addRaw(1, kStart_boot_ns, 0, Kind::bytes, Bytes(17U << 20U));
  b.addRaw(2, kStart_boot_ns, 0, Kind::bytes, Bytes{1});
  const Status s = (*w)->take(b);
  ASSERT_FALSE(s);
  EXPECT_THAT(s.error().what, HasSubstr("event 1"));
  ASSERT_TRUE((*w)->finish());
  const All all = readAll(path("a.pcapng"));
  ASSERT_EQ(all.events.size(), 1U);
  EXPECT_EQ(all.events[0].header.sequence, 2U);
}

}  // namespace
}  // namespace pin16::capture
