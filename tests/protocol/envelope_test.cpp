// SPDX-License-Identifier: Apache-2.0
/// What of a frame is kept, that nothing else is, and that the witness sees the same times and endings in
/// what is kept. Which bytes name what is meant: ISO 14229-1 and SAE J1979 as in services.cpp.

#include "core/protocol/envelope.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>

#include "core/base/pack.hpp"
#include "core/capture/hash.hpp"
#include "wire.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;

constexpr Witness::Readings kPlain{true, false};
constexpr Witness::Readings kPrefixed{false, true};
constexpr Witness::Readings kEither{true, true};

std::string kept(const char* hex, Witness::Readings readings = kPlain, bool fd = false) {
  return toHex(blanked(CanFrame::make(0x7E8, false, *fromHex(hex), fd), readings).payload());
}

TEST(Blanked, KeepsWhatNamesAndNothingOfWhatIsAnswered) {
  EXPECT_EQ(kept("0322F190CCCCCCCC"), "0322f19000000000");  // the request: whole, it is nothing but a name
  EXPECT_EQ(kept("0662F190313233CC"), "0662f19000000000");
  EXPECT_EQ(kept("101462F190313233"), "101462f190000000");
  EXPECT_EQ(kept("2131323334353637"), "2100000000000000");
  EXPECT_EQ(kept("30080A4445464748"), "30080a00ff00ff00");  // flow control whole; remains in the padding
  EXPECT_EQ(kept("037F2233CCCCCCCC"), "037f223300000000");
  EXPECT_EQ(kept("06670131323334CC"), "0667010000000000");  // a seed
  EXPECT_EQ(kept("06270231323334CC"), "0627020000000000");  // a key travels in a request
  EXPECT_EQ(kept("10F27602 31323334"), "10f2760200000000");
  EXPECT_EQ(kept("066331323334 35CC"), "0663000000000000");  // memory: not a byte
  EXPECT_EQ(kept("04410C1AF8CCCCCC"), "04410c0000000000");
  EXPECT_EQ(kept("05BA31323334CCCC"), "05ba000000000000");  // a service without a name
}

TEST(Blanked, BehindAPrefixAndInFd) {
  EXPECT_EQ(kept("F1101462F1903132", kPrefixed), "f1101462f1900000");
  EXPECT_EQ(kept("F121313233343536", kPrefixed), "f121000000000000");
  EXPECT_EQ(kept("000A62F19031323334353637CCCCCCCC", kPlain, true), "000a62f1900000000000000000000000");
  EXPECT_EQ(kept("1000000012 3462F1903132", kPlain, true),
            "10000000123462f1900000");  // escape: 32-bit length
}

TEST(Blanked, WhereTwoReadingsArePossibleOnlyWhatBothAllow) {
  EXPECT_EQ(kept("101462F190313233", kEither),
            "101462f100000000");  // read with prefix 10: content from F1's side on
  EXPECT_EQ(kept("0521313233343536", kEither), "05210000000000ff");
}

TEST(Blanked, WhatIsNoIsoTpKeepsWhatTellsThatItIsNone) {
  EXPECT_EQ(kept("4531323334353637", {false, false}), "4531000000000000");
}

TEST(Blanked, ErrorAndRemoteFramesHaveNoContent) {
  CanFrame e;
  e.word = event::kErrorFlag | 0x88;
  e.length = 8;
  e.data[3] = 0x19;
  EXPECT_EQ(blanked(e, kPlain), e);
}

/// A message in frames, flow control after the first; without the receiver's block size.
struct Traffic {
  struct Event {
    Ns t_ns;
    CanFrame frame;
  };
  std::vector<Event> frames;
  Ns now_ns = 0;
  Dice dice{7};

  void put(std::uint32_t id, bool extended, const Bytes& data, bool fd, Ns after_ns = kFrameTime_ns) {
    now_ns += after_ns;
    frames.push_back({now_ns, CanFrame::make(id, extended, data, fd)});
  }
  void send(const Pair& pair, const Bytes& message, bool fd, std::size_t frames_most = 1000) {
    const std::size_t room = (fd ? 64U : 8U);
    const std::optional<std::uint8_t> prefix = pair.prefix();
    if (const Bytes single = buildSingle(message, fd, prefix); !single.empty())
      return put(pair.tx_id, pair.extended, single, fd);
    Bytes data;
    if (prefix) data.push_back(*prefix);
    data.push_back(static_cast<std::uint8_t>(0x10 | message.size() >> 8U));
    data.push_back(static_cast<std::uint8_t>(message.size()));
    std::size_t at = room - data.size();
    data.insert(data.end(), message.begin(), message.begin() + static_cast<std::ptrdiff_t>(at));
    put(pair.tx_id, pair.extended, data, fd);
    const Pair back = otherEnd(pair);
    put(back.tx_id, back.extended, buildFlowControl({FlowStatus::cts, 0, 0}, back.prefix()), fd);
    for (std::uint8_t sn = 1; at < message.size() && frames_most-- > 0; sn = (sn + 1) & 0x0F) {
      data.clear();
      if (prefix) data.push_back(*prefix);
      data.push_back(0x20 | sn);
      const std::size_t n = std::min(room - data.size(), message.size() - at);
      data.insert(data.end(), message.begin() + static_cast<std::ptrdiff_t>(at),
                  message.begin() + static_cast<std::ptrdiff_t>(at + n));
      data.resize(room, kPadByte);
      at += n;
      put(pair.tx_id, pair.extended, data, fd, kFrameTime_ns + static_cast<Ns>(dice.below(1000)));
    }
  }
  Bytes answer(Bytes head, std::size_t content) {
    const Bytes more = dice.bytes(content);
    head.insert(head.end(), more.begin(), more.end());
    return head;
  }
  /// Some of everything on one pair.
  void converse(const Pair& tester, bool fd) {
    const Pair module = otherEnd(tester);
    for (int i = 0; i < 3; ++i) {
      send(tester, {0x22, 0xF1, 0x90}, fd);
      send(module, answer({0x62, 0xF1, 0x90}, 17), fd);
    }
    send(tester, {0x27, 0x01}, fd);
    send(module, answer({0x67, 0x01}, 4), fd);
    send(tester, answer({0x27, 0x02}, 4), fd);
    send(module, {0x7F, 0x27, 0x78}, fd);
    send(module, {0x7F, 0x27, 0x35}, fd);
    for (std::uint8_t block = 1; block < 5; ++block) {
      send(tester, {0x36, block}, fd);
      send(module, answer({0x76, block}, 240), fd);
    }
    send(tester, answer({0x23, 0x14}, 5), fd);
    send(module, answer({0x63}, 300), fd, 3);  // breaks off
    now_ns += 8 * kNsPerSecond;
    send(tester, {0x22, 0xFF, 0xFF}, fd);  // silence
    now_ns += 8 * kNsPerSecond;
  }
};

struct Seen {
  limits::Limits limits;
  std::vector<std::string> messages, exchanges;
  Witness witness{limits,
                  [this](Ns t, const event::Message& m) {
                    messages.push_back(std::to_string(t) + " " + std::to_string(m.id) + " " +
                                       std::to_string(m.payload.size()) + " " + m.reason + " " +
                                       std::to_string(m.first_ns) + " " + std::to_string(m.prefix));
                  },
                  [this](Ns t, const event::Exchange& x) {
                    event::Exchange bare = x;
                    bare.request = Bytes(x.request.size());
                    bare.answer = Bytes(x.answer.size());
                    if (!x.request.empty()) bare.request[0] = x.request[0];
                    exchanges.push_back(std::to_string(t) + " " + toHex(pack(bare)));
                  }};
};

/// What the witness makes of the traffic as it is, and of what is kept of it.
struct Both {
  Seen plain, enveloped;
  limits::Limits limits;
  Envelope envelope{limits, Bytes(32, 1)};

  void hint(const Pair& tester) {
    plain.witness.hint(tester.tx_id, tester.rx_id, tester.extended);
    enveloped.witness.hint(tester.tx_id, tester.rx_id, tester.extended);
    envelope.hint(tester.tx_id, tester.rx_id, tester.extended);
  }
  void run(const Traffic& traffic) {
    for (const auto& e : traffic.frames) {
      plain.witness.frame(e.t_ns, e.frame, false);
      enveloped.witness.frame(e.t_ns, envelope.take(0, e.t_ns, e.frame, false), false);
    }
    plain.witness.finish();
    enveloped.witness.finish();
  }
};

/// Those of ISO 15765-4 and 15765-2 say by themselves how they are read, the others the job says.
TEST(Enveloped, TimesAndEndingsAreTheSameOnKnownIdentifiers) {
  for (const bool fd : {false, true}) {
    Traffic traffic;
    Both both;
    for (std::uint32_t n = 1; n < 4; ++n) {
      for (const Pair& pair : everyAddressing(n)) {
        const bool speaks = pair.extended && parseFixedId(pair.tx_id).has_value();
        if (!speaks && pair.prefixSize() != 0) continue;  // a job knows no prefix
        if (!speaks) both.hint(pair);
        traffic.converse(pair, fd);
        for (int i = 0; i < 20; ++i) traffic.put(0x500 + n, false, traffic.dice.bytes(8), false);  // others
      }
      traffic.converse(kTester, fd);
    }
    both.run(traffic);
    EXPECT_GT(both.plain.exchanges.size(), 100U);
    EXPECT_EQ(both.plain.messages, both.enveloped.messages);
    EXPECT_EQ(both.plain.exchanges, both.enveloped.exchanges);
  }
}

/// Where nobody says how an identifier is read, the first exchanges prove it: with less to go by it takes
/// more of them, and what is seen then is the same.
TEST(Enveloped, OnUnknownIdentifiersConversationsMayBeSeenLateAndThenTheSame) {
  for (const bool fd : {false, true})
    for (const Pair& pair : everyAddressing(1)) {
      Traffic traffic;
      Both both;
      traffic.converse(pair, fd);
      traffic.converse(pair, fd);
      both.run(traffic);
      const auto& all = both.plain.exchanges;
      const auto& seen = both.enveloped.exchanges;
      ASSERT_LE(seen.size(), all.size());
      EXPECT_LE(all.size() - seen.size(), 3U) << pair.tx_id << " fd " << fd;
      EXPECT_TRUE(std::equal(seen.rbegin(), seen.rend(), all.rbegin())) << pair.tx_id << " fd " << fd;
    }
}

TEST(Enveloped, NothingOfTheContentIsLeft) {
  Traffic traffic;
  const Bytes secret = traffic.dice.bytes(200);
  Bytes message = {0x62, 0x01, 0x02};
  message.insert(message.end(), secret.begin(), secret.end());
  const std::vector<Pair> pairs = everyAddressing(1);
  for (const Pair& pair : pairs) {
    traffic.send(pair, {0x22, 0x01, 0x02}, false);
    traffic.send(otherEnd(pair), message, false);
  }
  limits::Limits limits;
  Envelope envelope(limits, Bytes(32, 1));
  std::size_t consecutive = 0;
  for (const auto& e : traffic.frames) {
    const CanFrame left = envelope.take(0, e.t_ns, e.frame, false);
    EXPECT_EQ(left.word, e.frame.word);
    EXPECT_EQ(left.length, e.frame.length);
    const ByteView bytes = left.payload();
    for (std::size_t i = 0; i + 2 < secret.size(); ++i)
      EXPECT_EQ(std::search(bytes.begin(), bytes.end(), secret.begin() + static_cast<std::ptrdiff_t>(i),
                            secret.begin() + static_cast<std::ptrdiff_t>(i) + 3),
                bytes.end());
    ++consecutive;
  }
  EXPECT_GT(consecutive, 7U * 29U);
}

// RFC 4231, test case 2.
TEST(Digest, IsHmacSha256) {
  const std::string key = "Jefe", text = "what do ya want for nothing?";
  const Bytes k(key.begin(), key.end()), t(text.begin(), text.end());
  EXPECT_EQ(toHex(capture::hmacSha256(k, t)),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
}

TEST(Digest, StandsForEachMessageAndComparesRepeatedPasses) {
  limits::Limits limits;
  const Bytes key(32, 9);
  Envelope envelope(limits, key);
  Traffic traffic;
  const Bytes answer = traffic.answer({0x62, 0xF1, 0x90}, 17);
  for (int i = 0; i < 2; ++i) {
    traffic.send(kTester, {0x22, 0xF1, 0x90}, false);
    traffic.send(kModule, answer, false);
  }
  for (const auto& e : traffic.frames) (void)envelope.take(3, e.t_ns, e.frame, false);
  const auto made = envelope.takeDigests();
  ASSERT_EQ(made.size(), 4U);
  EXPECT_EQ(made[1].link, 3);
  EXPECT_EQ(made[1].digest.id, 0x7E8U);
  EXPECT_EQ(made[1].digest.length, 20U);
  EXPECT_TRUE(made[1].digest.complete);
  EXPECT_EQ(made[1].digest.hmac, capture::hmacSha256(key, answer));
  EXPECT_EQ(made[1].digest.hmac, made[3].digest.hmac);
  EXPECT_NE(made[0].digest.hmac, made[1].digest.hmac);
  EXPECT_TRUE(envelope.takeDigests().empty());
}

TEST(Digest, OfAFileThereIsNone) {
  limits::Limits limits;
  Envelope envelope(limits, Bytes(32, 9));
  envelope.noDigests(0);
  (void)envelope.take(0, 0, CanFrame::make(0x7E0, false, *fromHex("0322F190CCCCCCCC")), false);
  EXPECT_TRUE(envelope.takeDigests().empty());
}

// SAE J1979: 49 02, number of the message, four bytes. ISO 14230-3: 5A, identification option, data.
TEST(Blanked, AMessageOfALineKeepsHeaderServiceAndParameter) {
  const limits::Limits limits;
  const Bytes key(32, 7);
  Envelope envelope(limits, key);
  const auto take = [&](const Bytes& data) {
    event::Line line;
    line.medium = event::Medium::iso9141_2;
    line.header = {0x48, 0x6B, 0x10};
    line.data = data;
    return envelope.take(0, kNsPerSecond, line);
  };
  const Bytes vin{0x49, 0x02, 0x01, 'P', '1', '6', 'X'};
  const event::Line kept = take(vin);
  EXPECT_EQ(kept.header, (Bytes{0x48, 0x6B, 0x10}));
  EXPECT_EQ(kept.data, (Bytes{0x49, 0x02, 0x01, 0, 0, 0, 0}));  // the message's number stays
  EXPECT_EQ(take({0x7F, 0x1A, 0x33}).data, (Bytes{0x7F, 0x1A, 0x33}));
  EXPECT_EQ(take({0x5A, 0x90, 'A', 'B'}).data, (Bytes{0x5A, 0x90, 0, 0}));
  EXPECT_EQ(take({}).data, Bytes{});
  const auto digests = envelope.takeDigests();
  ASSERT_EQ(digests.size(), 4U);
  EXPECT_EQ(digests[0].digest.id, 0x10U);
  EXPECT_EQ(digests[0].digest.length, vin.size());
  EXPECT_EQ(digests[0].digest.hmac, capture::hmacSha256(key, vin));
}

}  // namespace
}  // namespace pin16::protocol
