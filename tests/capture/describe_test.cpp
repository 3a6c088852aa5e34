// SPDX-License-Identifier: Apache-2.0
#include "core/capture/describe.hpp"

#include <gmock/gmock.h>

#include "support.hpp"

namespace pin16::capture {
namespace {

using namespace event;
using ::testing::HasSubstr;
using ::testing::StartsWith;

template <class T>
std::string lineOf(Kind kind, const T& record) {
  Batch b;
  b.add(1, 0, 0, kind, record);
  return describe(b.headers[0], b);
}
std::string lineOf(const CanFrame& f, std::uint8_t flags = 0) {
  Batch b;
  b.addFrame(1, 0, 0, f, flags);
  return describe(b.headers[0], b);
}

TEST(Describe, EveryKindGivesOnePlainLine) {
  const Batch b = testing::everyKind();
  for (const Header& h : b.headers) {
    const std::string line = describe(h, b);
    SCOPED_TRACE(line);
    EXPECT_GT(line.size(), 8U);
    EXPECT_EQ(line.find_first_of("\n\r\t"), std::string::npos);
    EXPECT_EQ(line.find("cannot be read"), std::string::npos);
    EXPECT_EQ(line.find("unknown kind"), std::string::npos);
    EXPECT_EQ(line.find('?'), std::string::npos);
  }
}

TEST(Describe, Frames) {
  EXPECT_EQ(lineOf(CanFrame::make(0x7E8, false, Bytes{0x03, 0x41, 0x0C})), "frame received 7E8 [3] 03 41 0c");
  EXPECT_EQ(lineOf(CanFrame::make(0x18DAF110, true, {}), kOutbound), "frame sent 18DAF110 [0]");
  CanFrame f = CanFrame::make(0x12, false, Bytes{1}, true);
  f.fd_flags |= kFdBrs | kFdEsi;
  EXPECT_EQ(lineOf(f), "frame received 012 [1] FD BRS ESI 01");
  CanFrame remote = CanFrame::make(0x321, false, {});
  remote.word |= kRemoteFlag;
  remote.length = 4;
  EXPECT_EQ(lineOf(remote), "frame received 321 [4] remote");
  CanFrame error;
  error.word = kErrorFlag | 0x20;  // CAN_ERR_ACK of linux/can/error.h
  error.length = 8;
  EXPECT_THAT(lineOf(error), StartsWith("frame received error frame: "));
  EXPECT_GT(lineOf(error).size(), 35U) << "in words";
}

TEST(Describe, ValuesHaveTheDigitsThatTheirUncertaintyAllows) {
  const auto said = [](Kind kind, double value, double uncertainty) {
    Measurement m;
    m.point = "V(pin6,pin4)";
    m.unit = "V";
    m.value = value;
    m.uncertainty = uncertainty;
    return lineOf(kind, m);
  };
  EXPECT_EQ(said(Kind::sample, 2.487225232994208, 0.03), "sample V(pin6,pin4) = 2.49 V +- 0.03");
  EXPECT_EQ(said(Kind::sample, 2.487225232994208, 0.002), "sample V(pin6,pin4) = 2.487 V +- 0.002");
  EXPECT_EQ(said(Kind::sample, 2.487225232994208, 1e-9), "sample V(pin6,pin4) = 2.4872 V +- 1e-09");
  EXPECT_EQ(said(Kind::sample, 12.487225232994208, -1), "sample V(pin6,pin4) = 12.487 V");
  EXPECT_EQ(said(Kind::sample, -0.0004, 0.02), "sample V(pin6,pin4) = 0.00 V +- 0.02");
  EXPECT_EQ(said(Kind::sample, 1234567, 20), "sample V(pin6,pin4) = 1234567 V +- 20");
  // What a person typed stays as it was read off.
  EXPECT_EQ(said(Kind::reading, 60.4, 0.5), "reading V(pin6,pin4) = 60.4 V +- 0.5");
  EXPECT_EQ(said(Kind::reading, 12.5, 0.02), "reading V(pin6,pin4) = 12.5 V +- 0.02");
  EXPECT_EQ(said(Kind::reading, 0.333333333333, -1), "reading V(pin6,pin4) = 0.3333 V");
}

TEST(Describe, WhatWasSentIsAFrameOrSerialBytes) {
  Bytes frame;
  Batch::writeFrame(frame, CanFrame::make(0x7DF, false, Bytes{2, 9, 2}));
  EXPECT_EQ(lineOf(Kind::sent, Sent{frame, "request 09 02"}), "sent 7DF [3] 02 09 02 (request 09 02)");
  EXPECT_EQ(lineOf(Kind::sent, Sent{{0xC1, 0x33, 0xF1, 0x81, 0x66}, "start"}), "sent c1 33 f1 81 66 (start)");
}

TEST(Describe, ALinkSaysWhetherItWasSilent) {
  LinkState s = testing::upState("socketcan:can0");
  EXPECT_THAT(describeState(s), HasSubstr("listen-only (proven)"));
  s.silence = Silence::claimed;
  EXPECT_THAT(describeState(s), HasSubstr("listen-only (claimed)"));
  s.silence = Silence::cannot;
  EXPECT_THAT(describeState(s), HasSubstr("acknowledges"));
}

TEST(Describe, LongDataIsCutAndItsLengthSaid) {
  const std::string line = lineOf(Kind::message, Message{0x7E8, false, true, Bytes(4095, 0x11), "", 0});
  EXPECT_THAT(line, HasSubstr("... (4095 bytes)"));
  EXPECT_LT(line.size(), 300U);
}

TEST(Describe, APayloadThatIsNotItsKindIsSaidToBeSo) {
  Batch b;
  b.addRaw(1, 0, 0, Kind::note, Bytes{0xFF, 0xFF, 0xFF, 0x7F, 1});
  b.addRaw(2, 0, 0, Kind::frame, Bytes{1, 2});
  b.addRaw(3, 0, 0, static_cast<Kind>(200), Bytes{});
  EXPECT_EQ(describe(b.headers[0], b), "record of kind 33 that cannot be read");
  EXPECT_EQ(describe(b.headers[1], b), "frame that cannot be read");
  EXPECT_EQ(describe(b.headers[2], b), "event of unknown kind 200");
}

TEST(Describe, EnumerationsOutsideTheirRangeDoNoHarm) {
  LinkState s;
  s.condition = static_cast<LinkCondition>(99);
  s.silence = static_cast<Silence>(99);
  EXPECT_FALSE(describeState(s).empty());
  EXPECT_FALSE(lineOf(Kind::loss, Loss{static_cast<LossPlace>(99), 1}).empty());
  EXPECT_FALSE(lineOf(Kind::power, Power{static_cast<PowerState>(99), "", ""}).empty());
  EXPECT_FALSE(lineOf(Kind::gap, Gap{INT64_MIN, INT64_MAX, ""}).empty());
}

}  // namespace
}  // namespace pin16::capture
