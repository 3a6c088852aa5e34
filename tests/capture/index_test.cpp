// SPDX-License-Identifier: Apache-2.0
// The sparse index: any window of a capture is what the reader gives when it reads from start to end.

#include "core/capture/index.hpp"

#include <fcntl.h>
#include <sys/stat.h>

#include <chrono>

#include "tests/capture/support.hpp"

namespace pin16::capture::testing {
namespace {

using event::Batch;
using event::CanFrame;
using event::Header;
using event::Kind;

std::vector<Event> copyOf(const Batch& batch) {
  std::vector<Event> out;
  for (const Header& h : batch.headers) {
    const ByteView p = batch.payload(h);
    Header bare = h;
    bare.offset = 0;  // where it lies in a batch is the batch's business
    out.push_back({bare, Bytes(p.begin(), p.end())});
  }
  return out;
}

void expectSame(const std::vector<Event>& got, const std::vector<Event>& all, std::size_t first,
                const std::string& where) {
  ASSERT_LE(first + got.size(), all.size()) << where;
  for (std::size_t i = 0; i < got.size(); ++i) {
    const Header& g = got[i].header;
    const Header& w = all[first + i].header;
    ASSERT_TRUE(g.sequence == w.sequence && g.t_ns == w.t_ns && g.link == w.link && g.kind == w.kind &&
                g.flags == w.flags && g.wire_bits == w.wire_bits && got[i].payload == all[first + i].payload)
        << where << ", event " << first + i << ": sequence " << g.sequence << " of " << w.sequence
        << ", kind " << static_cast<int>(g.kind) << " of " << static_cast<int>(w.kind) << ", link " << g.link
        << " of " << w.link << ", time " << g.t_ns - w.t_ns << " apart";
  }
}

class IndexTest : public CaptureTest {
 protected:
  void SetUp() override {
    CaptureTest::SetUp();
    setenv("XDG_CACHE_HOME", (dir_ / "cache").c_str(), 1);
  }
  struct Whole {
    std::vector<Event> events;
    Index index;
  };
  /// All events by the reader, and the index it kept, put together from pieces.
  static Whole readAll(const std::string& file) {
    Whole out;
    auto reader = Reader::open(file);
    EXPECT_TRUE(reader) << reader.error().text();
    if (!reader) return out;
    (*reader)->keepIndex();
    Batch batch;
    int n = 0;
    while ((*reader)->next(batch)) {
      for (Event& e : copyOf(batch)) out.events.push_back(std::move(e));
      if (++n % 3 == 0) out.index.append((*reader)->takeIndex());
    }
    out.index.append((*reader)->takeIndex());
    return out;
  }
  /// Every window that begins near a mark, at the ends, and many others, against reading through.
  static void expectWindows(const std::string& file, const Whole& whole) {
    ASSERT_EQ(whole.index.events, whole.events.size());
    auto browser = Browser::open(file);
    ASSERT_TRUE(browser) << browser.error().text();
    (*browser)->append(whole.index);
    std::vector<std::uint64_t> starts{0, 1, whole.events.size() - 1};
    for (std::uint64_t at = 0; at < whole.events.size(); at += 1024)
      for (const std::uint64_t off : {std::uint64_t{0}, std::uint64_t{1}, std::uint64_t{1023}})
        if (at + off < whole.events.size()) starts.push_back(at + off);
    std::uint64_t x = 88172645463325252ULL;
    for (int i = 0; i < 60; ++i) {
      x ^= x << 13U, x ^= x >> 7U, x ^= x << 17U;
      starts.push_back(x % whole.events.size());
    }
    Batch batch;
    for (const std::uint64_t first : starts) {
      (*browser)->read(first, 37, batch);
      EXPECT_EQ(batch.headers.size(), std::min<std::size_t>(37, whole.events.size() - first));
      expectSame(copyOf(batch), whole.events, first, file + " from " + std::to_string(first));
    }
    (*browser)->read(whole.events.size(), 5, batch);
    EXPECT_TRUE(batch.headers.empty());
  }
};

/// Our own file: two links, the second one described late, link states and records between frames, times a
/// millisecond apart.
Bytes ourFile(const std::string& path, std::size_t frames) {
  SectionFacts facts;
  facts.application = "test";
  facts.utc_offset_ns = 1'700'000'000 * kNsPerSecond;
  auto writer = Writer::create(path, facts);
  EXPECT_TRUE(writer) << writer.error().text();
  Batch batch;
  std::uint64_t sequence = 1;
  Ns t = kNsPerSecond;
  event::LinkState state;
  state.uri = "bench:one";
  state.condition = event::LinkCondition::up;
  state.bitrate = 500000;
  batch.add(sequence++, t, 0, Kind::link, state);
  for (std::size_t i = 0; i < frames; ++i) {
    t += kNsPerMs;
    if (i == frames / 2) {
      state.uri = "bench:two";
      batch.add(sequence++, t, 1, Kind::link, state);
    }
    if (i % 700 == 699) {
      event::Measurement m;
      m.point = "V(src+,src-)";
      m.value = 12.5;
      m.unit = "V";
      batch.add(sequence++, t, event::kNoLink, Kind::sample, m);
    }
    const std::uint8_t data[] = {static_cast<std::uint8_t>(i), static_cast<std::uint8_t>(i >> 8U), 3};
    batch.addFrame(sequence++, t, i > frames / 2 && i % 2 == 1 ? 1 : 0,
                   CanFrame::make(0x100 + static_cast<std::uint32_t>(i % 7), i % 5 == 0, data), 0);
    if (batch.headers.size() > 900) {
      EXPECT_TRUE((*writer)->take(batch));
      batch.clear();
    }
  }
  EXPECT_TRUE((*writer)->take(batch));
  EXPECT_TRUE((*writer)->finish());
  return contents(path);
}

TEST_F(IndexTest, AnyWindowIsWhatReadingThroughGives) {
  ourFile(path("a.pcapng"), 9000);
  const Whole whole = readAll(path("a.pcapng"));
  EXPECT_GT(whole.index.marks.size(), 8U);
  EXPECT_LT(whole.index.marks.size(), 11U);
  expectWindows(path("a.pcapng"), whole);
}

TEST_F(IndexTest, SectionsOneAfterTheOtherAreReadWithTheirOwnInterfaces) {
  Bytes all = ourFile(path("a.pcapng"), 3000);
  const Bytes second = ourFile(path("b.pcapng"), 2600);
  all.insert(all.end(), second.begin(), second.end());
  all.insert(all.end(), second.begin(), second.end());
  const std::string file = save("joined.pcapng", all);
  expectWindows(file, readAll(file));
}

TEST_F(IndexTest, DamageIsReportedInEveryWindowAsTheReaderReportsIt) {
  Bytes all = ourFile(path("a.pcapng"), 6000);
  std::uint64_t x = 7;
  for (int i = 0; i < 40; ++i) {  // 40 bytes wrong, some of them lengths
    x = x * 6364136223846793005ULL + 1442695040888963407ULL;
    all[200 + (x >> 20U) % (all.size() - 200)] ^= static_cast<std::uint8_t>(1U << (x % 8));
  }
  all.erase(all.begin() + 100000, all.begin() + 100013);  // and 13 that are missing
  const std::string file = save("damaged.pcapng", all);
  const Whole whole = readAll(file);
  EXPECT_TRUE(std::any_of(whole.events.begin(), whole.events.end(),
                          [](const Event& e) { return e.header.kind == Kind::damage; }));
  expectWindows(file, whole);
}

TEST_F(IndexTest, AFileThatIsNothingButDamageHasItsOneEvent) {
  Bytes all = ourFile(path("a.pcapng"), 10);
  all.resize(30);
  const std::string file = save("cut.pcapng", all);
  const Whole whole = readAll(file);
  ASSERT_EQ(whole.events.size(), 1U);
  expectWindows(file, whole);
}

TEST_F(IndexTest, ClassicPcapIsIndexedToo) {
  Bytes all;
  const auto put = [&](auto v) {
    const auto* b = reinterpret_cast<const std::uint8_t*>(&v);
    all.insert(all.end(), b, b + sizeof v);
  };
  // pcap-savefile(5), link type 227
  put(0xA1B2C3D4U), put(std::uint16_t{2}), put(std::uint16_t{4}), put(0U), put(0U), put(65535U), put(227U);
  for (std::uint32_t i = 0; i < 5000; ++i) {
    put(1'700'000'000U + i / 1000), put((i % 1000) * 1000), put(12U), put(12U);
    const std::uint8_t frame[12] = {0, 0, 1, static_cast<std::uint8_t>(i), 4, 0, 0, 0, 1, 2, 3, 4};
    all.insert(all.end(), frame, frame + 12);
  }
  const std::string file = save("classic.pcap", all);
  const Whole whole = readAll(file);
  ASSERT_EQ(whole.events.size(), 5000U);
  expectWindows(file, whole);
  all[24 + 28 * 2000 + 8] = 0xFF;  // the length of record 2000
  all[24 + 28 * 2000 + 9] = 0xFF;
  const std::string damaged = save("damaged.pcap", all);
  expectWindows(damaged, readAll(damaged));
}

TEST_F(IndexTest, TimesLeadToTheFirstEventAtOrAfterThem) {
  ourFile(path("a.pcapng"), 9000);
  const Whole whole = readAll(path("a.pcapng"));
  auto browser = Browser::open(path("a.pcapng"));
  ASSERT_TRUE(browser);
  (*browser)->append(whole.index);
  for (Ns t = whole.index.first_ns - kNsPerMs; t <= whole.index.last_ns + kNsPerMs; t += 37 * kNsPerMs / 10) {
    const auto at = std::find_if(whole.events.begin(), whole.events.end(),
                                 [&](const Event& e) { return e.header.t_ns >= t; });
    ASSERT_EQ((*browser)->at(t), static_cast<std::uint64_t>(at - whole.events.begin())) << t;
  }
}

TEST_F(IndexTest, OneDamagedStampMovesNothingElse) {
  Bytes all = ourFile(path("a.pcapng"), 9000);
  // The high half of the stamp of the 4000th enhanced packet block, and of one that carries a mark.
  std::size_t seen = 0;
  for (std::size_t at = 0; at + 12 <= all.size();) {
    std::uint32_t type = 0, length = 0;
    std::memcpy(&type, &all[at], 4), std::memcpy(&length, &all[at + 4], 4);
    if (type == 6 && (seen++ == 4000 || seen == 2049)) all[at + 12 + 3] ^= 0x10;
    at += length;
  }
  const std::string file = save("stamps.pcapng", all);
  const Whole whole = readAll(file);
  auto browser = Browser::open(file);
  ASSERT_TRUE(browser);
  (*browser)->append(whole.index);
  for (const std::size_t n : {100U, 1500U, 2100U, 3999U, 4010U, 5000U, 8900U})
    EXPECT_EQ((*browser)->at(whole.events[n].header.t_ns), n);
}

TEST_F(IndexTest, AGrowingFileIsIndexedAsFarAsItsBlocksAreWhole) {
  const Bytes all = ourFile(path("a.pcapng"), 5000);
  const Whole whole = readAll(path("a.pcapng"));
  const std::string file = save("growing.pcapng", ByteView(all).first(100));
  auto browser = Browser::open(file);
  ASSERT_TRUE(browser) << browser.error().text();
  std::size_t length = 100, step = 1;
  Batch batch;
  while (length < all.size()) {
    step = step * 3 % 40009 + 1;  // ends anywhere, also within descriptions of interfaces
    const std::size_t next = std::min(all.size(), length + step);
    {
      std::ofstream out(file, std::ios::binary | std::ios::app);
      out.write(reinterpret_cast<const char*>(&all[length]), static_cast<std::streamsize>(next - length));
    }
    length = next;
    (*browser)->grow(UINT64_MAX / 2);
    const Index& index = (*browser)->index();
    ASSERT_LE(index.events_before_end, whole.events.size());
    if (index.events_before_end == 0) continue;
    const std::uint64_t first = index.events_before_end > 20 ? index.events_before_end - 20 : 0;
    // Behind the end there may be an event of damage: the block that is not whole yet.
    (*browser)->read(first, static_cast<std::size_t>(index.events_before_end - first), batch);
    expectSame(copyOf(batch), whole.events, first, "at " + std::to_string(length));
  }
  (*browser)->grow(UINT64_MAX / 2);
  EXPECT_EQ((*browser)->index().events, whole.events.size());
  EXPECT_EQ((*browser)->index().marks, whole.index.marks);
  EXPECT_EQ((*browser)->index().structure, whole.index.structure);
  // A part at a time gives the same.
  auto parts = Browser::open(path("a.pcapng"));
  ASSERT_TRUE(parts);
  while ((*parts)->grow(10000)) {
  }
  EXPECT_EQ((*parts)->index().marks, whole.index.marks);
}

TEST_F(IndexTest, AFileThatShrinksIsOnlyShorter) {
  ourFile(path("a.pcapng"), 5000);
  const Whole whole = readAll(path("a.pcapng"));
  auto browser = Browser::open(path("a.pcapng"));
  ASSERT_TRUE(browser);
  (*browser)->append(whole.index);
  Batch batch;
  (*browser)->read(10, 20, batch);
  std::filesystem::resize_file(path("a.pcapng"), 5000);
  (*browser)->read(4000, 20, batch);
  for (const Header& h : batch.headers) EXPECT_EQ(h.kind, Kind::damage);
}

TEST_F(IndexTest, KeptIndexesFitOnlyTheVeryFileTheyWereMadeOf) {
  const std::string file = path("a.pcapng");
  Bytes all = ourFile(file, 3000);
  const Whole whole = readAll(file);
  const auto before = factsOf(file);
  ASSERT_TRUE(before);
  EXPECT_FALSE(loadIndex(*before));
  ASSERT_TRUE(saveIndex(*before, whole.index));
  auto loaded = loadIndex(*before);
  ASSERT_TRUE(loaded) << loaded.error().text();
  EXPECT_EQ(loaded->marks, whole.index.marks);
  EXPECT_EQ(loaded->structure, whole.index.structure);
  EXPECT_EQ(loaded->events, whole.index.events);
  expectWindows(file, {whole.events, *loaded});

  // One byte near the end, the same length, the same time of change.
  struct stat was {};
  ASSERT_EQ(stat(file.c_str(), &was), 0);
  all[all.size() - 40] ^= 1U;
  (void)save("a.pcapng", all);
  const timespec times[2] = {was.st_atim, was.st_mtim};
  ASSERT_EQ(utimensat(AT_FDCWD, file.c_str(), times, 0), 0);
  const auto after = factsOf(file);
  ASSERT_TRUE(after);
  EXPECT_EQ(after->changed_ns, before->changed_ns);
  EXPECT_FALSE(loadIndex(*after));
  // And an index of the file as it was is not kept for what it is now.
  EXPECT_FALSE(saveIndex(*before, whole.index));
}

TEST_F(IndexTest, ADamagedIndexIsNotTrusted) {
  const std::string file = path("a.pcapng");
  ourFile(file, 3000);
  const Whole whole = readAll(file);
  const auto facts = factsOf(file);
  ASSERT_TRUE(facts);
  ASSERT_TRUE(saveIndex(*facts, whole.index));
  std::string kept;
  for (const auto& e : std::filesystem::directory_iterator(indexFolder())) kept = e.path();
  Bytes bytes = contents(kept);
  for (const std::size_t at : {std::size_t{3}, std::size_t{40}, bytes.size() / 2, bytes.size() - 1}) {
    Bytes wrong = bytes;
    wrong[at] ^= 4U;
    std::ofstream(kept, std::ios::binary)
        .write(reinterpret_cast<const char*>(wrong.data()), static_cast<std::streamsize>(wrong.size()));
    EXPECT_FALSE(loadIndex(*facts)) << at;
  }
  std::ofstream(kept, std::ios::binary)
      .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  EXPECT_TRUE(loadIndex(*facts));
}

TEST_F(IndexTest, TheFolderOfKeptIndexesDoesNotGrowWithoutEnd) {
  for (std::size_t i = 0; i < kMaxCached + 6; ++i) {
    const std::string file = path("f" + std::to_string(i) + ".pcapng");
    ourFile(file, 3);
    const auto facts = factsOf(file);
    ASSERT_TRUE(facts);
    ASSERT_TRUE(saveIndex(*facts, readAll(file).index));
  }
  std::size_t kept = 0;
  for (const auto& e : std::filesystem::directory_iterator(indexFolder()))
    kept += e.path().extension() == ".index" ? 1U : 0U;
  EXPECT_EQ(kept, kMaxCached);
}

}  // namespace
}  // namespace pin16::capture::testing
