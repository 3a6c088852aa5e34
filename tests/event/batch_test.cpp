// SPDX-License-Identifier: Apache-2.0
#include "core/event/batch.hpp"

#include <gtest/gtest.h>
#include <linux/can.h>

namespace pin16::event {
namespace {

// The kernel's own header is the outside source for words and flags (linux/can.h).
TEST(Frame, FlagsAreTheKernels) {
  EXPECT_EQ(kExtendedFlag, CAN_EFF_FLAG);
  EXPECT_EQ(kRemoteFlag, CAN_RTR_FLAG);
  EXPECT_EQ(kErrorFlag, CAN_ERR_FLAG);
  EXPECT_EQ(kExtendedMask, CAN_EFF_MASK);
  EXPECT_EQ(kStandardMask, CAN_SFF_MASK);
  EXPECT_EQ(kFdBrs, CANFD_BRS);
  EXPECT_EQ(kFdEsi, CANFD_ESI);
  EXPECT_EQ(kFdDataMax, static_cast<std::size_t>(CANFD_MAX_DLEN));
}

TEST(Frame, MakeKeepsIdentifierWithinItsFormat) {
  const Bytes data{1, 2, 3};
  EXPECT_EQ(CanFrame::make(0x7E0, false, data).id(), 0x7E0U);
  const CanFrame e = CanFrame::make(0x18DA10F1, true, data);
  EXPECT_TRUE(e.extended());
  EXPECT_EQ(e.id(), 0x18DA10F1U);
  EXPECT_EQ(e.length, 3);
}

TEST(Batch, FrameGoesThereAndBackInCaptureForm) {
  Batch b;
  const Bytes data{0x02, 0x01, 0x0C};
  b.addFrame(7, 1234, 2, CanFrame::make(0x7DF, false, data), kOutbound);
  ASSERT_EQ(b.headers.size(), 1U);
  EXPECT_EQ(toHex(b.payload(b.headers[0])),
            "000007df"
            "03000000"
            "02010c");
  EXPECT_EQ(b.frame(b.headers[0]), CanFrame::make(0x7DF, false, data));
  EXPECT_EQ(b.headers[0].flags, kOutbound);
  EXPECT_EQ(b.headers[0].sequence, 7U);
}

TEST(Batch, LengthFieldBeyondThePayloadIsNoFrame) {
  EXPECT_FALSE(Batch::readFrame(*fromHex("000007df 08000000 0102")));
  EXPECT_FALSE(Batch::readFrame(*fromHex("000007df 41000000")));
  EXPECT_FALSE(Batch::readFrame(*fromHex("0000")));
}

TEST(Batch, RemoteFrameCarriesNoData) {
  const auto f = Batch::readFrame(*fromHex("400007df 08000000"));
  ASSERT_TRUE(f);
  EXPECT_TRUE(f->remote());
  EXPECT_TRUE(f->payload().empty());
}

TEST(Batch, MoreThanEightBytesIsAnFdFrameEvenWithoutItsFlag) {
  Bytes raw = *fromHex("00000123 0c000000");
  raw.resize(raw.size() + 12, 0xAA);
  const auto f = Batch::readFrame(raw);
  ASSERT_TRUE(f);
  EXPECT_TRUE(f->fd());
}

TEST(Batch, RecordsOfAllKindsRoundTrip) {
  Batch b;
  Measurement m;
  m.point = "V(pin16,pin4)";
  m.value = 12.41;
  m.unit = "V";
  m.uncertainty = 0.02;
  m.power = PowerState::source;
  b.add(1, 10, kNoLink, Kind::reading, m);
  Exchange x;
  x.request_id = 0x7E0;
  x.ended = Ended::negative;
  x.answer = {0x7F, 0x22, 0x31};
  b.add(2, 20, 0, kKindOf<Exchange>, x);
  const auto m2 = b.record<Measurement>(b.headers[0]);
  ASSERT_TRUE(m2);
  EXPECT_EQ(m2->point, "V(pin16,pin4)");
  EXPECT_EQ(m2->value, 12.41);
  EXPECT_EQ(m2->power, PowerState::source);
  const auto x2 = b.record<Exchange>(b.headers[1]);
  ASSERT_TRUE(x2);
  EXPECT_EQ(x2->ended, Ended::negative);
  EXPECT_EQ(x2->answer, x.answer);
  EXPECT_STREQ(toText(x2->ended), "negative");
}

TEST(Batch, ExternalPayloadIsReadWhereItLies) {
  const Bytes mapping = *fromHex("ffff 000007e8 01000000 55");
  Batch b;
  b.external = mapping;
  Header h;
  h.kind = Kind::frame;
  h.offset = 2;
  h.length = 9;
  b.headers.push_back(h);
  ASSERT_TRUE(b.frame(b.headers[0]));
  EXPECT_EQ(b.frame(b.headers[0])->id(), 0x7E8U);
}

}  // namespace
}  // namespace pin16::event
