// SPDX-License-Identifier: Apache-2.0
#include "core/recorder/wire.hpp"

#include <gtest/gtest.h>

#include <cstring>

namespace pin16::recorder {
namespace {

void feed(Splitter& in, ByteView bytes) {
  std::memcpy(in.room(bytes.size()), bytes.data(), bytes.size());
  in.filled(bytes.size());
}

event::Batch someBatch() {
  event::Batch b;
  b.utc_offset_ns = 77;
  b.addFrame(1, 5, 0, event::CanFrame::make(0x123, false, Bytes{1, 2}), 0);
  b.add(2, 6, event::kNoLink, event::Kind::note, event::Note{"door opened", "me"});
  return b;
}

TEST(Wire, BatchGoesThereAndBackWhateverThePieces) {
  const Bytes message = encodeBatch(someBatch());
  for (std::size_t cut = 1; cut < message.size(); ++cut) {
    Splitter in;
    feed(in, ByteView(message).first(cut));
    EXPECT_FALSE(in.next());
    feed(in, ByteView(message).subspan(cut));
    const auto piece = in.next();
    ASSERT_TRUE(piece);
    event::Batch back;
    ASSERT_TRUE(decodeBatch(piece->payload, back));
    ASSERT_EQ(back.headers.size(), 2U);
    EXPECT_EQ(back.utc_offset_ns, 77);
    EXPECT_EQ(back.frame(back.headers[0])->id(), 0x123U);
    EXPECT_EQ(back.record<event::Note>(back.headers[1])->text, "door opened");
  }
}

TEST(Wire, OffsetsBeyondTheArenaAreRefused) {
  const Bytes message = encodeBatch(someBatch());
  event::Batch back;
  // Every truncation of the payload cuts the arena or the headers.
  for (std::size_t n = kMessageHeader; n < message.size(); ++n)
    EXPECT_FALSE(decodeBatch(ByteView(message).subspan(kMessageHeader, n - kMessageHeader), back));
}

TEST(Wire, ImpossibleLengthBreaksTheStreamInsteadOfAllocating) {
  Splitter in;
  feed(in, *fromHex("ffffffff 01"));
  EXPECT_FALSE(in.next());
  EXPECT_TRUE(in.broken());
}

TEST(Wire, CommandAndReplyRoundTrip) {
  Command c;
  c.action = Action::ask;
  c.request_id = 0x7E0;
  c.packed = {0x22, 0xF1, 0x90};
  Command c2;
  ASSERT_TRUE(unpack(pack(c), c2));
  EXPECT_EQ(c2.action, Action::ask);
  EXPECT_EQ(c2.packed, c.packed);
  const Reply r = Reply::failure(9, {ErrorKind::gate, "sealed", "can0", "do not"});
  Reply r2;
  ASSERT_TRUE(unpack(pack(r), r2));
  EXPECT_FALSE(r2.ok);
  EXPECT_EQ(r2.error().kind, ErrorKind::gate);
  EXPECT_EQ(r2.error().text(), "can0: sealed. do not");
}

}  // namespace
}  // namespace pin16::recorder
