// SPDX-License-Identifier: Apache-2.0
// ISO-TP messages of random length and form, alone and many at once, compared with what was sent.
#include <gtest/gtest.h>

#include <algorithm>
#include <memory>

#include "tests/protocol/wire.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;

constexpr std::uint8_t kStMins[] = {0, 0, 1, 5, 0x14, 0xF1, 0xF5, 0xF9};
constexpr std::uint8_t kDataLengths[] = {8, 12, 16, 20, 24, 32, 48, 64};  // of CAN FD from 8 up

struct Form {
  Sender::Settings sender;
  Receiver::Settings receiver;
};
Form randomForm(Dice& dice, bool fd) {
  Form f;
  f.sender.fd = fd;
  f.sender.tx_dl = kDataLengths[dice.below(std::size(kDataLengths))];
  f.receiver.block_size = static_cast<std::uint8_t>(dice.below(16));
  f.receiver.st_min = kStMins[dice.below(std::size(kStMins))];
  f.receiver.most = 70000;
  return f;
}

/// Frames that a message takes, counted from the standard's layout.
std::size_t framesOf(std::size_t n, std::size_t frame, std::size_t prefix) {
  if (n + prefix + (frame > 8 && n + prefix > 7 ? 2 : 1) <= frame) return 1;
  const std::size_t first = frame - prefix - (n > 4095 ? 6 : 2);
  const std::size_t each = frame - prefix - 1;
  return 1 + (n - first + each - 1) / each;
}

void roundTrip(const Pair& pair, Form form, const Bytes& message, std::size_t waits) {
  form.receiver.hold = waits != 0;
  Wire w(pair, form.sender, form.receiver);
  if (waits != 0) w.waits = waits;
  w.run(message);
  ASSERT_TRUE(w.got);
  ASSERT_TRUE(*w.got == message);
  ASSERT_TRUE(w.tx_done && !w.tx_failed && !w.rx_failed);
  const std::size_t frame_max = form.sender.fd ? form.sender.tx_dl : 8;
  const std::size_t frames = framesOf(message.size(), frame_max, pair.prefixSize());
  ASSERT_EQ(w.sent.size(), frames);
  const std::size_t bs = form.receiver.block_size;
  const std::size_t blocks = frames == 1 ? 0 : bs == 0 ? 1 : (frames - 1 + bs - 1) / bs;
  ASSERT_EQ(w.flow.size(), blocks * (waits + 1));
  for (const CanFrame& f : w.flow) ASSERT_EQ(f.fd(), form.sender.fd);
  for (std::size_t i = 0; i < frames; ++i) {
    const CanFrame& f = w.sent[i];
    ASSERT_EQ(f.fd(), form.sender.fd);
    ASSERT_EQ(f.extended(), pair.extended);
    ASSERT_EQ(f.id(), pair.tx_id);
    ASSERT_LE(f.length, frame_max);
    ASSERT_EQ(std::count(std::begin(kDataLengths), std::end(kDataLengths), f.length), 1);
    if (pair.prefixSize() == 1) {
      ASSERT_EQ(f.data[0], pair.tx_prefix);
    }
    if (i == 0) continue;
    ASSERT_EQ(f.data[pair.prefixSize()], 0x20 | (i & 0x0F));  // the sequence number goes on, 15 to 0
    if (i > 1) {
      ASSERT_GE(w.sent_at_ns[i] - w.sent_at_ns[i - 1], stMinToNs(form.receiver.st_min) + kFrameTime_ns);
    }
  }
}

TEST(RoundTrip, LengthsAroundEveryBorder) {
  for (const Pair& pair : everyAddressing())
    for (const std::uint8_t tx_dl : kDataLengths)
      for (const bool fd : {false, true})
        for (std::size_t n = 1; n <= 140; ++n) {
          Form form;
          form.sender.fd = fd;
          form.sender.tx_dl = tx_dl;
          if (!fd && tx_dl != 8) continue;
          ASSERT_NO_FATAL_FAILURE(roundTrip(pair, form, counting(n), 0)) << n << " in " << int{tx_dl};
        }
}
TEST(RoundTrip, RandomLengthsBlocksSeparationsAndWaits) {
  Dice dice(15765);
  for (const Pair& pair : everyAddressing(1))
    for (const bool fd : {false, true})
      for (int i = 0; i < 40; ++i) {
        const Form form = randomForm(dice, fd);
        const std::size_t n = 1 + dice.below(i % 4 == 0 ? 4095 : 400);
        const std::size_t waits = dice.below(4) == 0 ? 1 + dice.below(3) : 0;
        ASSERT_NO_FATAL_FAILURE(roundTrip(pair, form, dice.bytes(n), waits))
            << n << " bytes, case " << i << " of " << pair.tx_id;
      }
}
TEST(RoundTrip, AboveTheTwelveBitLengthInEveryAddressing) {
  Dice dice(4096);
  for (const Pair& pair : everyAddressing(2))
    for (const bool fd : {false, true})
      for (const std::size_t n : {std::size_t{4095}, std::size_t{4096}, 4097 + dice.below(9000)})
        ASSERT_NO_FATAL_FAILURE(roundTrip(pair, randomForm(dice, fd), dice.bytes(n), 0)) << n;
}

// ---- many at once

/// Nodes on one bus. Each frame is heard by every node but its own; which of the waiting ones goes next is
/// chance, and so is how late a node learns that its own was on the bus.
class Bus {
 public:
  explicit Bus(std::uint64_t seed) : dice_(seed) {}
  struct Node {
    Node(const Pair& pair, const Form& form) : tx(pair, form.sender), rx(pair, form.receiver) {}
    Sender tx;
    Receiver rx;
    std::deque<Bytes> to_send;
    std::vector<Bytes> got;
    std::size_t failures = 0;
  };
  Node& add(const Pair& pair, const Form& form) {
    return *nodes_.emplace_back(std::make_unique<Node>(pair, form));
  }
  void run() {
    while (step()) {
    }
  }
  [[nodiscard]] std::size_t frames() const { return frames_; }

 private:
  struct Waiting {
    Node* node;
    CanFrame frame;
    bool flow;
  };
  struct Report {
    Node* node;
    bool flow;
    Ns due_ns;
  };
  void take(Node& n, const Sender::Output& o) {
    if (o.failed) ++n.failures;
    if (o.send) waiting_.push_back({&n, *o.send, false});
  }
  void take(Node& n, const Receiver::Output& o) {
    if (o.failed) ++n.failures;
    if (o.message) n.got.push_back(*o.message);
    if (o.send) waiting_.push_back({&n, n.rx.frame(*o.send), true});
  }
  bool step() {
    for (std::size_t i = 0; i < reports_.size();) {
      if (reports_[i].due_ns > now_ns_) {
        ++i;
        continue;
      }
      const Report r = reports_[i];
      reports_.erase(reports_.begin() + static_cast<std::ptrdiff_t>(i));
      if (r.flow) {
        r.node->rx.onConfirmed(now_ns_);
      } else {
        take(*r.node, r.node->tx.onConfirmed(now_ns_));
      }
    }
    Ns next_ns = kNoTime;
    const auto earliest = [&](Ns t) {
      if (t != kNoTime && (next_ns == kNoTime || t < next_ns)) next_ns = t;
    };
    for (const auto& n : nodes_) {
      if (!n->tx.sending() && !n->to_send.empty()) {
        Bytes message = std::move(n->to_send.front());
        n->to_send.pop_front();
        take(*n, n->tx.start(now_ns_, std::move(message)));
      }
      take(*n, n->tx.onTime(now_ns_));
      take(*n, n->rx.onTime(now_ns_));
      earliest(n->tx.nextDeadline());
      earliest(n->rx.nextDeadline());
    }
    if (waiting_.empty()) {
      for (const Report& r : reports_) earliest(r.due_ns);
      if (next_ns == kNoTime) return false;
      now_ns_ = std::max(now_ns_, next_ns);
      return true;
    }
    const std::size_t i = dice_.below(waiting_.size());
    const Waiting w = waiting_[i];
    waiting_.erase(waiting_.begin() + static_cast<std::ptrdiff_t>(i));
    now_ns_ += kFrameTime_ns / 50;  // a fast bus: with so many on it no timeout may come near
    ++frames_;
    reports_.push_back({w.node, w.flow, now_ns_ + static_cast<Ns>(dice_.below(3)) * kFrameTime_ns / 50});
    for (const auto& n : nodes_) {
      if (n.get() == w.node) continue;
      take(*n, n->tx.onFrame(now_ns_, w.frame));
      take(*n, n->rx.onFrame(now_ns_, w.frame));
    }
    return true;
  }

  Dice dice_;
  std::vector<std::unique_ptr<Node>> nodes_;
  std::vector<Waiting> waiting_;
  std::vector<Report> reports_;
  Ns now_ns_ = 0;
  std::size_t frames_ = 0;
};

TEST(ManySessions, TwoHundredPairsBothWaysAtOnce) {
  Dice dice(200);
  Bus bus(201);
  struct Session {
    Bus::Node* a;
    Bus::Node* b;
    std::vector<Bytes> to_b, to_a;
  };
  std::vector<Session> sessions;
  for (std::uint32_t n = 0; sessions.size() < 203; ++n)
    for (const Pair& pair : everyAddressing(n)) {
      const bool fd = dice.below(2) == 1;
      Session& s = sessions.emplace_back();
      s.a = &bus.add(pair, randomForm(dice, fd));
      s.b = &bus.add(otherEnd(pair), randomForm(dice, fd));
      for (int i = 0; i < 3; ++i) {
        s.to_b.push_back(dice.bytes(1 + dice.below(300)));
        s.to_a.push_back(dice.bytes(1 + dice.below(300)));
      }
      s.a->to_send.assign(s.to_b.begin(), s.to_b.end());
      s.b->to_send.assign(s.to_a.begin(), s.to_a.end());
    }
  bus.run();
  EXPECT_GT(bus.frames(), 20000U);
  for (const Session& s : sessions) {
    EXPECT_EQ(s.a->got, s.to_a);
    EXPECT_EQ(s.b->got, s.to_b);
    EXPECT_EQ(s.a->failures + s.b->failures, 0U);
  }
}
TEST(ManySessions, TheAddressByteAloneTellsThemApart) {
  Dice dice(64);
  Bus bus(65);
  std::vector<std::pair<Bus::Node*, Bytes>> wanted;
  for (unsigned n = 1; n <= 64; ++n) {  // one tester to 64 modules, on two pairs of identifiers
    const auto address = static_cast<std::uint8_t>(n);
    const Addressing how = n % 2 == 0 ? Addressing::extended : Addressing::mixed;
    const std::uint32_t id = n % 2 == 0 ? 0x6F1 : 0x700;
    const auto ours = static_cast<std::uint8_t>(n % 2 == 0 ? 0x80 + n : n);
    const Pair pair = {id, id + 1, false, how, address, ours};
    const Bytes message = dice.bytes(50 + n);
    bus.add(pair, Form{}).to_send.push_back(message);
    wanted.emplace_back(&bus.add(otherEnd(pair), Form{}), message);
  }
  bus.run();
  for (const auto& [node, message] : wanted) {
    EXPECT_EQ(node->got, std::vector<Bytes>{message});
    EXPECT_EQ(node->failures, 0U);
  }
}

}  // namespace
}  // namespace pin16::protocol
