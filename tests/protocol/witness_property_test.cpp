// SPDX-License-Identifier: Apache-2.0
// Many conversations at once, in every addressing, among periodic traffic and other transports, with frames
// that the capture missed: whatever the witness calls a whole message was sent so, and nothing else is called
// one.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "core/base/pack.hpp"
#include "core/protocol/witness.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;

/// Numbers that repeat on every machine (a linear congruential generator, its upper bits).
struct Random {
  std::uint64_t state;
  std::uint32_t below(std::uint32_t n) {
    state = state * 6364136223846793005U + 1442695040888963407U;
    return static_cast<std::uint32_t>((state >> 33U) % n);
  }
  bool oneIn(std::uint32_t n) { return below(n) == 0; }
  std::uint8_t byte() { return static_cast<std::uint8_t>(below(256)); }
  Bytes bytes(std::size_t n) {
    Bytes out(n);
    for (auto& b : out) b = byte();
    return out;
  }
};

/// Who talks to whom: the two identifiers, and the two prefixes if there are any.
struct Conversation {
  std::uint32_t ask = 0;
  std::uint32_t answer = 0;
  bool extended = false;
  std::optional<std::uint8_t> ask_prefix, answer_prefix;
  bool fd = false;
  bool known = false;  ///< by the standards
};

struct Put {
  Ns t_ns = 0;
  CanFrame frame;
  int message = -1;  ///< which message's data it carries
};
struct SentMessage {
  std::uint32_t id = 0;
  std::int16_t prefix = -1;
  Bytes payload;
  Ns last_ns = 0;
  bool whole = true;  ///< the capture has all of it
};

struct Bus {
  Random random;
  std::vector<Put> puts;
  std::vector<SentMessage> sent;
  std::set<std::uint32_t> foreign;  ///< identifiers that carry no diagnostics

  void put(Ns t_ns, std::uint32_t id, bool extended, const Bytes& data, bool fd = false, int message = -1) {
    puts.push_back({t_ns, CanFrame::make(id, extended, data, fd), message});
  }

  /// Laid out here after ISO 15765-2, not by the code that is tested. Returns the time of the last frame.
  Ns message(Ns t_ns, const Conversation& c, bool asking, const Bytes& payload) {
    const std::uint32_t id = asking ? c.ask : c.answer;
    const auto prefix = asking ? c.ask_prefix : c.answer_prefix;
    const auto other_prefix = asking ? c.answer_prefix : c.ask_prefix;
    const int index = static_cast<int>(sent.size());
    sent.push_back({id, prefix ? std::int16_t{*prefix} : std::int16_t{-1}, payload, 0, true});
    const std::size_t size = c.fd ? 64 : 8;
    const bool pad = random.oneIn(2) || c.fd;
    const auto frame = [&](Bytes pci, std::size_t& at, std::size_t room, bool full) {
      Bytes data;
      if (prefix) data.push_back(*prefix);
      data.insert(data.end(), pci.begin(), pci.end());
      const std::size_t n = std::min(room - std::min(room, data.size()), payload.size() - at);
      data.insert(data.end(), payload.begin() + static_cast<std::ptrdiff_t>(at),
                  payload.begin() + static_cast<std::ptrdiff_t>(at + n));
      at += n;
      std::size_t to = data.size();
      if (pad || full)
        for (const std::size_t s : {8U, 12U, 16U, 20U, 24U, 32U, 48U, 64U})
          if (s >= data.size()) {
            to = s;
            break;
          }
      data.resize(to, 0xCC);
      put(t_ns, id, c.extended, data, c.fd, index);
    };
    const std::size_t head = prefix ? 1 : 0;
    std::size_t at = 0;
    const auto n = payload.size();
    if (n <= 7 - head) {
      frame({static_cast<std::uint8_t>(n)}, at, 8, false);
    } else if (c.fd && n <= 62 - head) {
      frame({0, static_cast<std::uint8_t>(n)}, at, 64, false);
    } else {
      frame({static_cast<std::uint8_t>(0x10 | n >> 8U), static_cast<std::uint8_t>(n)}, at, size, true);
      const auto block = static_cast<std::uint8_t>(random.oneIn(3) ? 1 + random.below(5) : 0);
      std::uint32_t left = 0;
      for (std::uint8_t sn = 1; at < n; sn = (sn + 1) & 0x0F) {
        if (left == 0) {
          Bytes flow;
          if (other_prefix) flow.push_back(*other_prefix);
          const Bytes wait = {0x31, 0, 0};
          const Bytes go = {0x30, block, 0};
          t_ns += gap();
          if (random.oneIn(8)) {
            Bytes first = flow;
            first.insert(first.end(), wait.begin(), wait.end());
            put(t_ns, asking ? c.answer : c.ask, c.extended, first, c.fd);
            t_ns += gap();
          }
          flow.insert(flow.end(), go.begin(), go.end());
          if (pad) flow.resize(8, 0xCC);
          put(t_ns, asking ? c.answer : c.ask, c.extended, flow, c.fd);
          left = block == 0 ? UINT32_MAX : block;
        }
        t_ns += gap();
        --left;
        frame({static_cast<std::uint8_t>(0x20 | sn)}, at, size, false);
      }
    }
    sent[static_cast<std::size_t>(index)].last_ns = t_ns;
    return t_ns;
  }
  Ns gap() { return (200 + random.below(3000)) * Ns{1000}; }

  Ns exchange(Ns t_ns, const Conversation& c) {
    const std::uint8_t did = static_cast<std::uint8_t>(0x80 + random.below(32));
    Bytes request = {0x22, 0xF1, did};
    Bytes answer = {0x62, 0xF1, did};
    const auto more = [&](Bytes& to, std::size_t n) {
      const Bytes extra = random.bytes(n);
      to.insert(to.end(), extra.begin(), extra.end());
    };
    switch (random.below(6)) {
      case 0:
        request = {0x2E, 0xF1, did};
        more(request, 1 + random.below(60));
        answer = {0x6E, 0xF1, did};
        break;
      case 1:
        answer = {0x7F, 0x22, 0x31};
        break;
      case 2:
        request = {0x10, 0x03};
        answer = {0x50, 0x03, 0x00, 0x32, 0x01, 0xF4};
        break;
      default: {
        constexpr std::uint32_t lengths[] = {1, 4, 9, 17, 40, 120, 300};
        more(answer, lengths[random.below(7)]);
      }
    }
    t_ns = message(t_ns, c, true, request);
    while (random.oneIn(6)) t_ns = message(t_ns + 10 * gap(), c, false, {0x7F, request[0], 0x78});
    return message(t_ns + 5 * gap(), c, false, answer);
  }

  void periodic(Ns end_ns) {
    const auto every = [&](std::uint32_t id, Ns period_ns, const auto& make) {
      foreign.insert(id);
      int n = 0;
      for (Ns t = Ns{random.below(1000)} * 10000; t < end_ns; t += period_ns)
        put(t, id, id > 0x7FF, make(n++));
    };
    constexpr Ns kMs = kNsPerMs;
    every(0x0C0, 10 * kMs, [&](int n) {
      Bytes b = random.bytes(8);
      b[0] = static_cast<std::uint8_t>(n);
      return b;
    });
    every(0x1A0, 20 * kMs, [&](int) { return random.bytes(8); });
    every(0x2F1, 50 * kMs, [&](int) { return random.bytes(1 + random.below(8)); });
    every(0x430, 100 * kMs, [](int) { return Bytes{0x02, 0x10, 0x03, 0, 0, 0, 0, 0}; });
    every(0x432, 90 * kMs, [](int) { return Bytes{0x12, 0x02, 0x10, 0x03, 0, 0, 0, 0}; });
    every(0x440, 70 * kMs, [](int) { return Bytes{0x30, 0, 0, 0, 0, 0, 0, 0}; });
    every(0x442, 60 * kMs, [](int) { return Bytes{0xF1, 0x30, 0, 0, 0, 0, 0, 0}; });
    every(0x448, 500 * kMs, [](int) { return Bytes{0x10, 0x14, 0x22, 0, 0, 0, 0, 0}; });
    every(0x18FEF100, 100 * kMs, [&](int) { return random.bytes(8); });
    // The low nibble counts behind a high nibble that reads as a consecutive frame.
    every(0x450, 15 * kMs, [&](int n) {
      Bytes b = random.bytes(8);
      b[0] = static_cast<std::uint8_t>(0x20 | (n & 0x0F));
      return b;
    });
  }

  /// SAE J1939-21 (18EC, 18EB) and two invented ones: length and parts numbered as in ISO-TP but without
  /// flow control, and with an acknowledgement of its own.
  void otherTransports(Ns end_ns) {
    for (const std::uint32_t id : {0x18EC1020U, 0x18EC2010U, 0x18EB1020U, 0x3A0U, 0x3B0U, 0x3B8U})
      foreign.insert(id);
    for (Ns t = 0; t < end_ns; t += Ns{20 + random.below(200)} * kNsPerMs) {
      const std::uint32_t size = 9 + random.below(900);
      const std::uint32_t packets = (size + 6) / 7;
      const auto low = static_cast<std::uint8_t>(size);
      const auto high = static_cast<std::uint8_t>(size >> 8U);
      put(t, 0x18EC1020, true, {0x10, low, high, static_cast<std::uint8_t>(packets), 0xFF, 0xCA, 0xFE, 0});
      put(t + gap(), 0x18EC2010, true,
          {0x11, static_cast<std::uint8_t>(packets), 1, 0xFF, 0xFF, 0xCA, 0xFE, 0});
      Ns at = t + 2 * gap();
      for (std::uint32_t i = 1; i <= packets; ++i) {
        Bytes data = random.oneIn(2) ? random.bytes(8) : Bytes(8, 0xFF);
        data[0] = static_cast<std::uint8_t>(i);
        put(at, 0x18EB1020, true, data);
        at += gap() / 4;
      }
      put(at, 0x18EC2010, true, {0x13, low, high, static_cast<std::uint8_t>(packets), 0xFF, 0xCA, 0xFE, 0});
      const std::uint8_t looks[] = {0x62, 0x22, 0x2E, 0x41};
      Bytes segment = random.bytes(8);
      segment[0] = 0x10, segment[1] = 0x14, segment[2] = looks[random.below(4)];
      put(t, 0x3A0, false, segment);
      Bytes other = random.bytes(8);
      other[0] = 0x10, other[1] = 0x14, other[2] = looks[random.below(4)];
      put(t, 0x3B0, false, other);
      put(t + gap() / 2, 0x3B8, false, {0x3A, 0x14, 0x00});
      for (std::uint8_t i = 1; i <= 2; ++i) {
        segment = random.bytes(8);
        segment[0] = static_cast<std::uint8_t>(0x20 | i);
        put(t + i * 3 * gap(), 0x3A0, false, segment);
        put(t + i * 4 * kNsPerMs, 0x3B0, false, segment);
      }
    }
  }
};

std::vector<Conversation> conversations() {
  using P = std::optional<std::uint8_t>;
  const auto none = P();
  return {
      {0x7E0, 0x7E8, false, none, none, false, true},
      {0x7E1, 0x7E9, false, none, none, true, true},
      {0x18DA10F1, 0x18DAF110, true, none, none, false, true},
      {0x18DA2040, 0x18DA4020, true, none, none, false, true},
      {0x18CE10F1, 0x18CEF110, true, P(0xA5), P(0xA5), false, true},
      {0x18CE20F1, 0x18CEF120, true, P(0x02), P(0x02), true, true},
      {0x701, 0x709, false, none, none, false, false},
      {0x6A1, 0x6B1, false, none, none, true, false},
      {0x1234501, 0x1234502, true, none, none, false, false},
      {0x6F1, 0x612, false, P(0x12), P(0xF1), false, false},
      {0x6F1, 0x640, false, P(0x40), P(0xF1), false, false},
      {0x6F2, 0x613, false, P(0x03), P(0x10), true, false},
      {0x5A1, 0x5B1, false, P(0xA5), P(0xA5), false, false},
      {0x1334501, 0x1334502, true, P(0x77), P(0x88), false, false},
  };
}

struct Reported {
  std::vector<std::pair<Ns, event::Message>> messages;
  std::size_t exchanges = 0;
};

Reported witnessed(const std::vector<Put>& puts) {
  Reported out;
  Witness witness(
      limits::Limits(), [&](Ns t, const event::Message& m) { out.messages.emplace_back(t, m); },
      [&](Ns, const event::Exchange&) { ++out.exchanges; });
  for (const Put& p : puts) witness.frame(p.t_ns, p.frame, false);
  witness.finish();
  return out;
}

Bus busOf(std::uint64_t seed, std::uint32_t exchanges) {
  Bus bus{{seed}, {}, {}, {}};
  Ns end_ns = 0;
  for (const Conversation& c : conversations()) {
    Ns t = Ns{bus.random.below(300)} * kNsPerMs;
    for (std::uint32_t i = 0; i < exchanges; ++i)
      t = bus.exchange(t + Ns{5 + bus.random.below(200)} * kNsPerMs, c);
    end_ns = std::max(end_ns, t);
  }
  bus.periodic(end_ns);
  bus.otherTransports(end_ns);
  std::stable_sort(bus.puts.begin(), bus.puts.end(),
                   [](const Put& a, const Put& b) { return a.t_ns < b.t_ns; });
  return bus;
}

using Row = std::tuple<std::uint32_t, std::int16_t, Ns>;

/// Every report against what was sent; returns the whole ones.
std::set<Row> check(const Bus& bus, const Reported& reported) {
  std::map<Row, const SentMessage*> sent;
  for (const SentMessage& m : bus.sent) sent[{m.id, m.prefix, m.last_ns}] = &m;
  std::set<Row> whole;
  for (const auto& [t_ns, m] : reported.messages) {
    EXPECT_FALSE(bus.foreign.contains(m.id))
        << "no diagnostics: " << std::hex << m.id << " " << toHex(m.payload);
    if (!m.complete) continue;
    const Row row{m.id, m.prefix, t_ns};
    const auto found = sent.find(row);
    if (found == sent.end()) {
      ADD_FAILURE() << "nobody sent " << std::hex << m.id << " " << toHex(m.payload);
      continue;
    }
    EXPECT_EQ(toHex(m.payload), toHex(found->second->payload));
    EXPECT_TRUE(found->second->whole) << "a frame of it is missing: " << toHex(m.payload);
    EXPECT_TRUE(whole.insert(row).second) << "twice";
  }
  return whole;
}

TEST(WitnessProperty, OfACaptureWithoutLossEverythingIsFoundOnceItIsKnown) {
  for (std::uint64_t seed = 1; seed <= 12; ++seed) {
    SCOPED_TRACE(seed);
    const Bus bus = busOf(seed, 40);
    const Reported reported = witnessed(bus.puts);
    const std::set<Row> whole = check(bus, reported);
    std::set<std::uint32_t> standard;
    for (const Conversation& c : conversations())
      if (c.known) standard.insert({c.ask, c.answer});
    const Ns half_ns = bus.puts.back().t_ns / 2;
    for (const SentMessage& m : bus.sent) {
      if (!standard.contains(m.id) && m.last_ns < half_ns) continue;
      EXPECT_TRUE(whole.contains({m.id, m.prefix, m.last_ns}))
          << "not found: " << std::hex << m.id << " " << m.prefix << " " << toHex(m.payload);
    }
    EXPECT_TRUE(std::all_of(reported.messages.begin(), reported.messages.end(),
                            [](const auto& m) { return m.second.complete; }));
  }
}

TEST(WitnessProperty, OfACaptureWithLossesOnlyWhatIsWholeIsCalledWhole) {
  std::size_t found = 0;
  std::size_t broken = 0;
  for (std::uint64_t seed = 100; seed < 140; ++seed) {
    SCOPED_TRACE(seed);
    Bus bus = busOf(seed, 40);
    const std::uint32_t one_in = seed % 2 == 0 ? 50 : 20;
    std::erase_if(bus.puts, [&](const Put& p) {
      const bool lost = bus.random.oneIn(one_in);
      if (lost && p.message >= 0) bus.sent[static_cast<std::size_t>(p.message)].whole = false;
      return lost;
    });
    const Reported reported = witnessed(bus.puts);
    found += check(bus, reported).size();
    broken += static_cast<std::size_t>(std::count_if(reported.messages.begin(), reported.messages.end(),
                                                     [](const auto& m) { return !m.second.complete; }));
  }
  EXPECT_GT(found, 20000U);
  EXPECT_GT(broken, 1000U);
}

/// Frames one after the other or with time passing between: the same.
TEST(WitnessProperty, TimeAloneChangesNothing) {
  const Bus bus = busOf(7, 20);
  const Reported plain = witnessed(bus.puts);
  Reported other;
  Witness witness(
      limits::Limits(), [&](Ns t, const event::Message& m) { other.messages.emplace_back(t, m); },
      [&](Ns, const event::Exchange&) { ++other.exchanges; });
  Ns before = 0;
  for (const Put& p : bus.puts) {
    witness.advance(before + (p.t_ns - before) / 2);
    witness.frame(p.t_ns, p.frame, false);
    before = p.t_ns;
  }
  witness.finish();
  EXPECT_EQ(plain.exchanges, other.exchanges);
  ASSERT_EQ(plain.messages.size(), other.messages.size());
  for (std::size_t i = 0; i < plain.messages.size(); ++i)
    EXPECT_EQ(pack(plain.messages[i].second), pack(other.messages[i].second));
}

}  // namespace
}  // namespace pin16::protocol
