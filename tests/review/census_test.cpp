// SPDX-License-Identifier: Apache-2.0
#include "core/review/census.hpp"

#include <gtest/gtest.h>
#include <unistd.h>

#include <boost/json.hpp>
#include <cstdlib>
#include <filesystem>
#include <regex>

#include "core/can/wire_bits.hpp"
#include "core/capture/writer.hpp"
#include "core/review/review.hpp"

namespace pin16::review {
namespace {

namespace json = boost::json;
using event::Batch;
using event::CanFrame;
using event::Kind;

constexpr Ns kOffset = 1'700'000'000 * kNsPerSecond;  // UTC minus the inner clock

/// Builds a stream as a recorder would: inner clock, numbered.
struct Stream {
  std::vector<Batch> batches = std::vector<Batch>(1);
  std::uint64_t sequence = 0;
  Stream() { batches[0].utc_offset_ns = kOffset; }
  void cut() { batches.emplace_back().utc_offset_ns = kOffset; }
  void frame(double t_ms, std::uint16_t link, const CanFrame& f, bool outbound = false) {
    batches.back().addFrame(++sequence, ns(t_ms), link, f, outbound ? event::kOutbound : 0);
  }
  void frame(double t_ms, std::uint32_t id, const char* hex, bool outbound = false) {
    frame(t_ms, std::uint16_t{0}, CanFrame::make(id, id > 0x7FF, *fromHex(hex)), outbound);
  }
  template <class T>
  void add(double t_ms, std::uint16_t link, const T& record, Kind kind = event::kKindOf<T>) {
    batches.back().add(++sequence, ns(t_ms), link, kind, record);
  }
  static Ns ns(double t_ms) { return fromMs(t_ms); }
};

Summary counted(const Stream& s, Census& census) {
  for (const Batch& b : s.batches) census.take(b);
  return census.finish();
}
Summary counted(const Stream& s) {
  Census census{limits::Limits()};
  return counted(s, census);
}

event::LinkState can500() {
  event::LinkState state;
  state.uri = "socketcan:can0";
  state.description = "kernel CAN interface can0";
  state.condition = event::LinkCondition::up;
  state.bitrate = 500000;
  state.listen_only = event::Known::yes;
  state.silence = event::Silence::proven;
  state.time_origin = "kernel";
  return state;
}

/// A little of everything.
Stream everything() {
  Stream s;
  s.add(0, event::kNoLink, event::Clock{0, kOffset, event::Known::no, 5000});
  s.add(0, 0, can500());
  s.frame(100, 0x7E0, "0322F190CCCCCCCC", true);
  s.add(100, 0, event::Sent{*fromHex("000007e0"), "request 22 F190"});
  s.frame(112, 0x7E8, "101462F190544553");
  s.frame(113, 0x7E0, "300000CCCCCCCCCC", true);
  s.frame(114, 0x7E8, "2154303030303030");
  s.cut();
  s.frame(115, 0x7E8, "2230303030303031");
  s.frame(120, 0x18FEF100, "FF00FF00FF00FF00");
  s.frame(121, 0x100, "FF");
  CanFrame remote = CanFrame::make(0x100, false, {});
  remote.word |= event::kRemoteFlag;
  s.frame(122, std::uint16_t{0}, remote);
  CanFrame error = CanFrame::make(0, false, Bytes(8, 0));
  error.word = event::kErrorFlag | 0x88;
  s.frame(123, std::uint16_t{0}, error);
  s.frame(124, std::uint16_t{1}, CanFrame::make(0x100, false, *fromHex("FE")));
  s.add(130, 0, event::Loss{event::LossPlace::kernel, 7});
  s.add(131, 0, event::Loss{event::LossPlace::queue, 2});
  s.add(132, 0, event::Loss{event::LossPlace::kernel, 1});
  s.frame(140, 0x7E1, "023E00CCCCCCCCCC");
  s.add(2000, 0, event::Gap{Stream::ns(150), Stream::ns(2000), "adapter unplugged"});
  s.add(2001, event::kNoLink, event::Measurement{}, Kind::reading);
  s.add(2002, event::kNoLink, event::Measurement{}, Kind::sample);
  s.add(2003, event::kNoLink, event::Note{"cold", "me"});
  s.add(2004, 0, event::Refused{"2701", "not on the list"});
  s.add(2005, 0, event::Message{});
  s.add(2006, event::kNoLink, event::Verdict{"answer", "sound", "answers"});
  s.add(2010, event::kNoLink, event::Clock{0, kOffset + 5 * kNsPerMs, event::Known::yes, 9000});
  s.frame(3000, 0x101, "FF");
  return s;
}

TEST(Census, CountsEverythingOnce) {
  const Summary s = counted(everything());
  EXPECT_EQ(s.frames, 11U);
  EXPECT_EQ(s.error_frames, 1U);
  ASSERT_EQ(s.identifiers.size(), 7U);
  EXPECT_EQ(s.identifiers[0].id, 0x100U);
  EXPECT_EQ(s.identifiers[0].count, 2U) << "the remote frame counts";
  EXPECT_TRUE(s.identifiers[5].extended);
  EXPECT_EQ(s.identifiers[5].id, 0x18FEF100U);
  EXPECT_EQ(s.identifiers[6].link, 1);
  ASSERT_EQ(s.error_classes.size(), 2U);
  EXPECT_EQ(s.error_classes[1].name, "bus-error");
  EXPECT_EQ(s.losses.kernel, 8U);
  EXPECT_EQ(s.losses.queue, 2U);
  EXPECT_EQ(s.losses.total(), 10U);
  EXPECT_EQ(s.readings, 1U);
  EXPECT_EQ(s.samples, 1U);
  EXPECT_EQ(s.notes, 1U);
  ASSERT_EQ(s.sent.size(), 1U);
  ASSERT_EQ(s.refused.size(), 1U);
  EXPECT_EQ(s.recorded.messages, 1U);
  ASSERT_EQ(s.recorded.verdicts.size(), 1U);
  EXPECT_EQ(s.clock.moves, 1U);
  EXPECT_EQ(s.clock.synchronised, event::Known::no);
  EXPECT_EQ(s.clock.worst_error_ns, 9000);
  EXPECT_EQ(s.first_ns, kOffset);
  EXPECT_EQ(s.last_ns, kOffset + Stream::ns(3000));
  ASSERT_EQ(s.links.size(), 2U);
  EXPECT_EQ(s.links[0].name, "socketcan:can0");
  EXPECT_EQ(s.links[1].frames, 1U);
}

TEST(Census, WhatFollowedAReadingOfTheAdapterIsMarked) {
  Stream s;
  s.add(0, 0, can500());
  for (const double t_ms : {100.0, 300.0}) {
    event::Sent sent{*fromHex("000007e0"), "request 22 F190"};
    sent.after_poll_ms = t_ms < 200 ? 7.5 : -1;
    s.add(t_ms, 0, sent);
    s.add(t_ms, 1, event::Sent{{}, "of another link", 3});
    s.frame(t_ms, 0x7E0, "0322F190CCCCCCCC", true);
    s.frame(t_ms + 12, 0x7E8, "0462F19042CCCCCC");
  }
  s.frame(500, 0x7E0, "0322F190CCCCCCCC");  // another tester's
  s.frame(512, 0x7E8, "0462F19042CCCCCC");
  const Summary sum = counted(s);
  ASSERT_EQ(sum.exchanges.size(), 3U);
  EXPECT_EQ(sum.exchanges[0].record.after_poll_ms, 7.5);
  EXPECT_EQ(sum.exchanges[1].record.after_poll_ms, -1);
  EXPECT_EQ(sum.exchanges[2].record.after_poll_ms, -1);
}

TEST(Census, RecordedConclusionsAreNoInput) {
  const Summary s = counted(everything());
  ASSERT_EQ(s.messages.size(), 3U) << "two of the VIN exchange, one request: not the recorded one";
  ASSERT_EQ(s.exchanges.size(), 2U);
  EXPECT_TRUE(s.exchanges[0].record.ours);
  EXPECT_EQ(s.exchanges[0].t_ns, kOffset + Stream::ns(100));
  EXPECT_STREQ(toText(s.exchanges[1].record.ended), "link-lost");
  ASSERT_EQ(s.gaps.size(), 1U);
  EXPECT_EQ(s.gaps[0].record.from_ns, kOffset + Stream::ns(150));
}

TEST(Census, DoesNotDependOnWhereBatchesAreCut) {
  const Stream whole = everything();
  Stream single;
  for (const Batch& b : whole.batches)
    for (const event::Header& h : b.headers) {
      single.batches.back().addRaw(h.sequence, h.t_ns, h.link, h.kind, b.payload(h), h.flags);
      single.cut();
    }
  EXPECT_EQ(toJson(counted(whole)), toJson(counted(single)));
}

TEST(Census, LoadNeedsABitRate) {
  Stream s;
  for (int i = 0; i < 100; ++i) s.frame(i * 10.0, 0x7DF, "0201000000000000");  // 126 bits, tests/can/data
  EXPECT_FALSE(counted(s).load);
  Census census{limits::Limits()};
  census.assumeBitrate(500000);
  const Summary with = counted(s, census);
  ASSERT_TRUE(with.load);
  EXPECT_NEAR(with.load->mean, 100 * 0.252 / (990 + 0.252), 1e-9);
}

TEST(Census, LoadFollowsTheBitRateInForceAndTheDataRate) {
  Stream s;
  event::LinkState state = can500();
  s.add(0, 0, state);
  const CanFrame classic = CanFrame::make(0x7DF, false, *fromHex("0201000000000000"));  // 126 bits
  for (int i = 1; i <= 1000; ++i) s.frame(i, 0, classic);  // 0.252 ms in every 1 ms
  state.bitrate = 250000;
  state.data_bitrate = 2000000;
  s.add(1000.1, 0, state);
  CanFrame fd = CanFrame::make(0x7E0, false, Bytes(64, 0x55), true);
  fd.fd_flags |= event::kFdBrs;
  const can::WireBits bits = can::wireBits(fd);
  ASSERT_GT(bits.data, bits.nominal);
  for (int i = 1001; i <= 2000; ++i) s.frame(i, 0, fd);
  const Summary sum = counted(s);
  const double fd_ms = bits.nominal / 250.0 + bits.data / 2000.0;
  ASSERT_TRUE(sum.links[0].load);
  EXPECT_NEAR(sum.links[0].load->mean, (0.252 + fd_ms) / 2, 1e-3);
  ASSERT_EQ(sum.links[0].load_windows.size(), 2U);
  EXPECT_NEAR(sum.links[0].load_windows[0].share, 0.252, 1e-3);
  EXPECT_NEAR(sum.links[0].load_windows[1].share, fd_ms, 1e-3);
  EXPECT_NEAR(sum.links[0].load->peak, sum.links[0].load->mean, 0.1) << "only the first window is whole";
  // An interface that has gone tells no rate any more; what was counted stays.
  state.bitrate = state.data_bitrate = 0;
  state.condition = event::LinkCondition::gone;
  s.add(2001, 0, state);
  EXPECT_TRUE(counted(s).links[0].load);
}

TEST(Census, TakesTheBitsThatTheHeaderCarries) {
  Stream s;
  s.add(0, 0, can500());
  for (int i = 1; i <= 100; ++i) {
    s.frame(i, 0x7DF, "0201000000000000");
    s.batches.back().headers.back().wire_bits = can::packWireBits({50, 0, 3});
  }
  EXPECT_NEAR(counted(s).load->mean, 0.1, 1e-3) << "50 bits of 2 us each millisecond, not 126";
}

TEST(Census, HintsReachEveryLink) {
  Stream s;
  s.frame(0, std::uint16_t{3}, CanFrame::make(0x6A1, false, *fromHex("0322F190")));
  EXPECT_TRUE(counted(s).exchanges.empty());
  Census census{limits::Limits()};
  census.hint(0x6A1, 0x6B1, false);
  const Summary with = counted(s, census);
  ASSERT_EQ(with.exchanges.size(), 1U);
  EXPECT_EQ(with.exchanges[0].link, 3);
  EXPECT_EQ(with.exchanges[0].record.answer_id, 0x6B1U);
}

TEST(ReviewJson, HasTheShapeThatTheCommandsPromise) {
  const json::value v = json::parse(toJson(counted(everything())));
  const json::object& o = v.as_object();
  auto at = o.begin();
  EXPECT_EQ(at->key(), "schema");
  EXPECT_EQ(at->value(), "pin16-review");
  EXPECT_EQ((++at)->key(), "version");
  for (const char* key : {"file", "links", "frames", "identifiers", "error_frames", "losses", "gaps",
                          "damage", "bus_load", "messages", "exchanges", "attempts"})
    EXPECT_TRUE(o.contains(key)) << key;
  const json::object& x = v.at("exchanges").at(0).as_object();
  EXPECT_EQ(x.at("request_id"), 0x7E0);
  EXPECT_EQ(x.at("answer_id"), 0x7E8);
  EXPECT_EQ(x.at("service"), 0x22);
  EXPECT_EQ(x.at("ended"), "answered");
  EXPECT_EQ(x.at("response_ms"), 12.0);
  EXPECT_EQ(x.at("t_ns"), kOffset + Stream::ns(100));
  const json::object& m = v.at("messages").at(1).as_object();
  EXPECT_EQ(m.at("payload"), "62f1905445535430303030303030303030303031");
  EXPECT_EQ(m.at("complete"), true);
  EXPECT_EQ(v.at("losses").at("total"), 10);
  EXPECT_EQ(v.at("bus_load").at("window_ms"), 1000);
  EXPECT_GT(v.at("bus_load").at("mean").as_double(), 0);
  EXPECT_TRUE(v.at("links").at(1).at("state").is_null()) << "unknown is said, not guessed";
  EXPECT_TRUE(v.at("links").at(1).at("bus_load").at("mean").is_null());
  ASSERT_EQ(v.at("attempts").as_array().size(), 1U);  // the TesterPresent on 7E1 is not ours
  EXPECT_EQ(v.at("attempts").at(0).at("rung"), "silent");
}

/// The VIN asked twice by other equipment, with another answer if `other`.
Stream askedTwice(bool other, bool digests) {
  Stream s;
  s.add(0, 0, can500());
  for (int i = 0; i < 2; ++i) {
    const double t = 1000 * i;
    const bool differs = other && i == 1;
    const char* const middle = digests   ? "2100000000000000"
                               : differs ? "2154303030303031"
                                         : "2154303030303030";
    s.frame(t + 100, 0x7E0, "0322F190CCCCCCCC");
    if (digests) s.add(t + 100, 0, event::Digest{0x7E0, false, -1, false, true, 3, {1}, Stream::ns(t + 100)});
    s.frame(t + 112, 0x7E8, digests ? "101462F190000000" : "101462F190544553");
    s.frame(t + 113, 0x7E0, "300000CCCCCCCCCC");
    s.frame(t + 114, 0x7E8, middle);
    s.frame(t + 115, 0x7E8, digests ? "2200000000000000" : "2230303030303031");
    if (digests)
      s.add(t + 115, 0,
            event::Digest{0x7E8,
                          false,
                          -1,
                          false,
                          true,
                          20,
                          {static_cast<std::uint8_t>(differs ? 9 : 8)},
                          Stream::ns(t + 112)});
  }
  return s;
}

TEST(CensusAttempts, OfOtherEquipmentIsFoundWithoutAMark) {
  const Summary sum = counted(askedTwice(false, false));
  ASSERT_EQ(sum.attempts.size(), 1U);
  EXPECT_EQ(sum.attempts[0].rung, protocol::Rung::through);
  EXPECT_FALSE(sum.attempts[0].declared);
  EXPECT_EQ(sum.attempts[0].begin_ns, kOffset + Stream::ns(100));
  EXPECT_EQ(sum.attempts[0].end_ns, kOffset + Stream::ns(1115));
  const json::value v = json::parse(toJson(sum));
  EXPECT_EQ(v.at("attempts").at(0).at("rung"), "through");
  EXPECT_TRUE(v.at("attempts").at(0).at("power_up").is_null());
}

TEST(CensusAttempts, RepeatedPassesAreComparedByContentOrByDigest) {
  for (const bool digests : {false, true})
    for (const bool other : {false, true}) {
      const Summary sum = counted(askedTwice(other, digests));
      EXPECT_EQ(sum.passes.same, other ? 0U : 1U);
      EXPECT_EQ(sum.passes.different, other ? 1U : 0U);
      EXPECT_EQ(sum.digests.size(), digests ? 4U : 0U);
    }
}

/// Nobody acknowledges: 4000 times a second the same request is one exchange, not thousands.
TEST(CensusAttempts, ALoneSenderFillsNoMemory) {
  Stream s;
  s.add(0, 0, can500());
  for (int i = 0; i < 4000; ++i) s.frame(100 + 0.25 * i, 0x7E0, "0322F190CCCCCCCC");
  const Summary sum = counted(s);
  EXPECT_LE(sum.exchanges.size(), 2U);
  EXPECT_EQ(sum.frames, 4000U);
  ASSERT_EQ(sum.attempts.size(), 1U);
  EXPECT_EQ(sum.attempts[0].rung, protocol::Rung::unacknowledged);
}

/// Extended addressing, blocks, a "pending", a negative answer by normal fixed addresses.
Stream addressed() {
  Stream s;
  s.frame(0, 0x6F1, "1203 22F190 CCCCCC");
  s.frame(40, 0x612, "F103 7F2278 CCCCCC");
  s.frame(900, 0x612, "F11014 62F1905445");
  s.frame(903, 0x6F1, "12310000 CCCCCCCC");
  s.frame(905, 0x6F1, "12300214 CCCCCCCC");
  s.frame(906, 0x612, "F121 535430303030");
  s.frame(921, 0x612, "F122 303030303030");
  s.frame(922, 0x6F1, "12300214 CCCCCCCC");
  s.frame(940, 0x612, "F123 303031");
  s.frame(1000, 0x6F1, "1203 22F187 CCCCCC");
  s.frame(1010, 0x612, "F105 62F187 4142 CC");
  s.frame(2000, 0x18DA4020, "0322F190CCCCCCCC");
  s.frame(2010, 0x18DA2040, "037F2231CCCCCCCC");
  return s;
}

TEST(ReviewJson, NamesAddressingAndEveryTime) {
  const json::value v = json::parse(toJson(counted(addressed())));
  const json::object& m = v.at("messages").at(0).as_object();
  EXPECT_EQ(m.at("addressing"), "extended");
  EXPECT_EQ(m.at("prefix"), 0x12);
  EXPECT_TRUE(m.at("target").is_null()) << "11-bit identifiers have none";
  const json::object& x = v.at("exchanges").at(0).as_object();
  EXPECT_EQ(x.at("request_prefix"), 0x12);
  EXPECT_EQ(x.at("answer_prefix"), 0xF1);
  EXPECT_EQ(x.at("pending_ms"), json::array{40.0});
  EXPECT_EQ(x.at("answer_ms"), 900.0);
  EXPECT_EQ(x.at("flow_ms"), 5.0);
  EXPECT_EQ(x.at("waits"), 1);
  EXPECT_EQ(x.at("st_min_ms"), 20.0);
  EXPECT_EQ(x.at("separation_ms_min"), 15.0);
  EXPECT_EQ(x.at("separation_ms_max"), 15.0) << "not over a flow control";
  EXPECT_EQ(x.at("complete_ms"), 940.0);
  const json::object& fixed = v.at("exchanges").at(2).as_object();
  EXPECT_EQ(fixed.at("addressing"), "normal-fixed");
  EXPECT_EQ(fixed.at("target"), 0x40);
  EXPECT_EQ(fixed.at("source"), 0x20);
  EXPECT_EQ(fixed.at("code"), 0x31);
  EXPECT_TRUE(fixed.at("separation_ms_min").is_null());
  EXPECT_TRUE(fixed.at("pending_ms").as_array().empty());
  const json::value plain = json::parse(toJson(counted(everything())));
  EXPECT_EQ(plain.at("messages").at(0).at("addressing"), "normal");
}

TEST(ReviewText, ShowsPrefixesAndTimesOfAnAnswer) {
  // Lines are broken at blanks: one blank for each run of them.
  const std::string text = std::regex_replace(toText(counted(addressed())), std::regex("\\s+"), " ");
  for (const char* part : {"6F1/12", "612/F1", "pending at 40.0 ms", "told to wait once",
                           "STmin 20.0 ms, some closer", "whole at 940.0 ms"})
    EXPECT_NE(text.find(part), std::string::npos) << part << " is not in\n" << text;
}

TEST(Census, AddressingDoesNotDependOnWhereBatchesAreCut) {
  const Stream whole = addressed();
  for (std::size_t every = 1; every < 5; ++every) {
    Stream cut;
    std::size_t n = 0;
    for (const event::Header& h : whole.batches[0].headers) {
      cut.batches.back().addRaw(h.sequence, h.t_ns, h.link, h.kind, whole.batches[0].payload(h), h.flags);
      if (++n % every == 0) cut.cut();
    }
    EXPECT_EQ(toJson(counted(whole)), toJson(counted(cut)));
  }
}

TEST(ReviewText, FitsATerminalAndNamesWhatIsMissing) {
  Summary s = counted(everything());
  s.file = "/a/very/long/path/" + std::string(120, 'x') + "/capture.pcapng";
  s.damage.push_back({4711, "a block's length is damaged"});
  for (std::uint32_t i = 0; i < 100; ++i) s.identifiers.push_back({0, i, false, 1});
  const std::string text = toText(s);
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = text.find('\n', from);
    ASSERT_NE(end, std::string::npos) << "the last line has its end";
    EXPECT_LE(end - from, 100U) << text.substr(from, end - from);
    from = end + 1;
  }
  for (const char* part : {"10 frames lost: kernel 8, adapter 0, our queue 2", "adapter unplugged",
                           "at byte 4711", "listen-only, proven", "and 91 more identifiers", "link-lost",
                           "VIN TEST0000000000001", "not synchronised", "1 frame\n"})
    EXPECT_NE(text.find(part), std::string::npos) << part << " is not in\n" << text;
}

TEST(ReviewText, NothingAtAllIsSaid) {
  const std::string text = toText(Summary{});
  EXPECT_NE(text.find("No diagnostic message was seen."), std::string::npos) << text;
}

TEST(ReviewFile, SaysWhatItCannotRead) {
  const auto missing = reviewFile("/nonexistent/capture.pcapng");
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().kind, ErrorKind::input);
}

/// What was recorded reviews the same as what was seen live.
TEST(ReviewFile, OfARecordedStreamEqualsTheLiveCensus) {
  std::string folder = (std::filesystem::temp_directory_path() / "pin16-review-XXXXXX").string();
  ASSERT_NE(mkdtemp(folder.data()), nullptr);
  const std::string path = folder + "/trip.pcapng";
  const Stream stream = everything();
  {
    capture::SectionFacts facts;
    facts.application = "pin16 test";
    facts.utc_offset_ns = kOffset;
    auto writer = capture::Writer::create(path, facts);
    ASSERT_TRUE(writer) << writer.error().text();
    for (const Batch& b : stream.batches) ASSERT_TRUE((*writer)->take(b));
    ASSERT_TRUE((*writer)->finish());
  }
  auto recorded = reviewFile(path, nullptr, {{}, true, 1, false});  // no plugins: the census alone has none
  ASSERT_TRUE(recorded) << recorded.error().text();
  EXPECT_EQ(recorded->application, "pin16 test");
  Summary live = counted(stream);
  recorded->file.clear();
  recorded->application.clear();
  live.links[1].name = recorded->links[1].name;  // a link without a LinkState is described by the file only
  live.links[1].description = recorded->links[1].description;
  EXPECT_EQ(toJson(*recorded), toJson(live));
  std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace pin16::review
