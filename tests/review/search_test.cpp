// SPDX-License-Identifier: Apache-2.0
#include "core/review/search.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>

#include "tests/capture/support.hpp"

namespace pin16::review {
namespace {

using event::Batch;
using event::CanFrame;
using event::Kind;

constexpr Ns kNoon_ns = 1'790'251'200 * kNsPerSecond;  // 2026-09-24T12:00:00Z
const std::string kObd = std::string(PIN16_SOURCE_DIR) + "/captures/dumpcap-obd-uds.pcapng";

/// A request at noon that is answered late, one a second later that nobody answers, a note and a sample.
std::vector<Batch> stream() {
  std::vector<Batch> out(1);
  Batch& b = out.front();
  std::uint64_t n = 0;
  const auto frame = [&](double s, std::uint32_t id, const char* hex) {
    b.addFrame(++n, kNoon_ns + fromSeconds(s), 0, CanFrame::make(id, id > 0x7FF, *fromHex(hex)), 0);
  };
  frame(0, 0x7E0, "0322f1905555 5555");
  frame(0.3, 0x7E8, "047f22315555 5555");
  frame(0.5, 0x280, "0102030405060708");
  b.add(++n, kNoon_ns + fromSeconds(0.6), event::kNoLink, Kind::note, event::Note{"Bag lamp ON", "A"});
  frame(1, 0x7E0, "02010c5555555555");
  event::Measurement m;
  m.point = "V(pin16,pin4)";
  m.value = 12.5;
  m.unit = "V";
  b.add(++n, kNoon_ns + fromSeconds(2.5), 1, Kind::sample, m);
  frame(4, 0x18DAF110, "0102030405060708");
  return out;
}

std::vector<Hit> found(const std::string& words) {
  const auto query = parseQuery(words);
  EXPECT_TRUE(query) << words << ": " << (query ? "" : query.error().text());
  std::vector<Hit> out;
  if (!query) return out;
  Census census{limits::Limits()};
  Search search(*query, [&](const Hit& h) { out.push_back(h); });
  census.follow(search);
  for (const Batch& b : stream()) census.take(b);
  (void)census.finish();
  EXPECT_EQ(search.count(), out.size());
  return out;
}

std::string kindsOf(const std::vector<Hit>& hits) {
  return std::accumulate(hits.begin(), hits.end(), std::string(),
                         [](const std::string& all, const Hit& h) { return all + h.kind + " "; });
}

TEST(Search, EachWordFindsWhatItNamesAndNothingElse) {
  const std::pair<const char*, const char*> cases[] = {
      {"id 280", "frame "},
      {"id 18DAF110", "frame message "},
      {"id 110", ""},  // not the end of a longer one
      {"kind note", "note "},
      {"kind sample", "sample "},
      {"link 1", "sample "},
      {"'lamp on'", "note "},
      {"text lamp", "note "},
      {"text V(PIN16,pin4)", "sample "},
      {"ended negative", "exchange "},
      {"ended silent", "exchange "},
      {"ended silent ended negative", "exchange exchange "},
      {"service 22 kind exchange", "exchange "},
      {"service 22 kind message", "message message "},  // request and refusal
      {"service 01 kind exchange ended negative", ""},
      {"kind frame near 12:00:00.5 within 0.25", "frame frame "},
      {"kind frame near 2026-09-24T12:00:04Z", "frame "},
      {"kind frame near +4", "frame "},
      {"near +2.5 within 0.1", "sample "},
      {"id 7E8 id 280 kind frame", "frame frame "},
      {"kind frame near 23:59:59", ""},
  };
  for (const auto& [words, kinds] : cases) EXPECT_EQ(kindsOf(found(words)), kinds) << words;
}

TEST(Search, ATimeOfDayIsNearAcrossMidnight) {
  const auto query = parseQuery("near 23:59:59.5 within 2");
  ASSERT_TRUE(query);
  std::size_t hits = 0;
  Census census{limits::Limits()};
  Search search(*query, [&](const Hit&) { ++hits; });
  census.follow(search);
  Batch b;
  const Ns midnight_ns = kNoon_ns + 12 * 3600 * kNsPerSecond;
  for (const int s : {-3, -1, 1, 2})
    b.addFrame(static_cast<std::uint64_t>(s + 4), midnight_ns + s * kNsPerSecond, 0,
               CanFrame::make(0x123, false, *fromHex("00")), 0);
  census.take(b);
  (void)census.finish();
  EXPECT_EQ(hits, 2U);
}

TEST(Search, AWrongWordIsNamedWithWhatWasExpected) {
  const std::pair<const char*, const char*> cases[] = {
      {"", "nothing is sought"},
      {"identifier 7E8", "'identifier' is no word"},
      {"id", "`id` is not followed"},
      {"id 7E", ""},  // an address
      {"id 7E80", "'7E80' is no identifier"},
      {"id FFF", "'FFF' is no identifier"},
      {"id 0x7E8", "'0x7E8' is no identifier"},
      {"service 222", "'222' is no service"},
      {"link -1", "'-1' is no link"},
      {"ended badly", "'badly' is no ending"},
      {"kind frames", "'frames' is no kind"},
      {"near noon", "'noon' is no time"},
      {"near 25:00:00", "'25:00:00' is no time"},
      {"near 2026-02-30T12:00:00Z", "is no time"},
      {"near +1 near +2", "`near` stands twice"},
      {"near +1 within x", "'x' is no number of seconds"},
      {"within 3", "nothing is sought"},
      {"text \"bag lamp", "has no second one"},
  };
  for (const auto& [words, what] : cases) {
    const auto query = parseQuery(words);
    if (*what == '\0') {
      EXPECT_TRUE(query) << words;
      continue;
    }
    ASSERT_FALSE(query) << words;
    EXPECT_EQ(query.error().kind, ErrorKind::usage);
    EXPECT_NE(query.error().what.find(what), std::string::npos) << query.error().what;
    EXPECT_FALSE(query.error().advice.empty());
  }
}

TEST(Search, FindsAsManyFramesOfAnIdentifierAsTsharkDoes) {  // Wireshark 4.0
  std::size_t all = 0;
  for (const char* id : {"7E0", "7E8", "7DF", "123"}) {
    const auto query = parseQuery(std::string("kind frame id ") + id);
    ASSERT_TRUE(query);
    const auto searched = searchFile(kObd, *query, nullptr, [](const Hit&) {});
    ASSERT_TRUE(searched) << searched.error().text();
    const std::string lines = capture::testing::runTool("tshark -r '" + kObd + "' -Y 'can.id == 0x" + id +
                                                        "' -T fields -e frame.number");
    EXPECT_EQ(searched->found, std::count(lines.begin(), lines.end(), '\n')) << id;
    all += searched->found;
  }
  EXPECT_GT(all, 4U);
}

}  // namespace
}  // namespace pin16::review
