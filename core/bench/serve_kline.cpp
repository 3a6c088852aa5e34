// SPDX-License-Identifier: Apache-2.0
#include "core/bench/serve_kline.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cstdlib>

#include "core/link/line_format.hpp"

namespace pin16::bench {
namespace {

using event::Medium;

constexpr Ns kByte_ns = 10 * kNsPerSecond / 10400;
constexpr Ns kBit_ns = 200 * kNsPerMs;
constexpr Ns kPatternLow_ns = 25 * kNsPerMs;
constexpr Ns kP1Most_ns = 20 * kNsPerMs, kP3Most_ns = 5000 * kNsPerMs;
/// The host's bytes come in late and in lumps: its pauses are judged with this room (own figure).
constexpr Ns kRoom_ns = 60 * kNsPerMs;
constexpr std::uint8_t kTester = 0xF1, kEverybody = 0x33, kLegislated = 0x6A;
constexpr std::uint8_t kStart = 0x81, kStop = 0x82, kPresent = 0x3E;

std::optional<double> number(std::string_view text, double most) {
  double value = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (fault != std::errc() || end != text.data() + text.size() || !(value >= 0 && value <= most))
    return std::nullopt;
  return value;
}

}  // namespace

Result<KLineHabits> kLineHabits(const std::vector<std::pair<std::string, std::string>>& options) {
  KLineHabits h;
  bool keys = false;
  for (const auto& [key, value] : options) {
    const auto wrong = [&, k = key, v = value](const char* expected) {
      return Error{
          ErrorKind::usage, fmt::format("kline: {}={} is {}", k, v, expected), "--serve",
          "options: medium=iso9141-2|iso14230-4, init=both|5baud|fast|none, key=EF8F, w1_ms, w2_ms, "
          "w3_ms, w4_ms, p1_ms, p2_ms, tolerance_ms, whole=on|off, echo=on|off, held_low=on|off, noise (0 to "
          "0.5), seed"};
    };
    const std::pair<std::string_view, double*> times[] = {{"w1_ms", &h.w1_ms},
                                                          {"w2_ms", &h.w2_ms},
                                                          {"w3_ms", &h.w3_ms},
                                                          {"w4_ms", &h.w4_ms},
                                                          {"p1_ms", &h.p1_ms},
                                                          {"p2_ms", &h.p2_ms},
                                                          {"tolerance_ms", &h.tolerance_ms}};
    const std::pair<std::string_view, bool*> flags[] = {
        {"whole", &h.whole}, {"echo", &h.echo}, {"held_low", &h.held_low}};
    const auto by_name = [&name = key](const auto& entry) { return entry.first == name; };
    if (const auto* t = std::find_if(std::begin(times), std::end(times), by_name); t != std::end(times)) {
      const auto ms = number(value, 10000);
      if (!ms) return wrong("no number from 0 to 10000");
      *t->second = *ms;
    } else if (const auto* f = std::find_if(std::begin(flags), std::end(flags), by_name);
               f != std::end(flags)) {
      if (value != "on" && value != "off") return wrong("neither on nor off");
      *f->second = value == "on";
    } else if (key == "medium") {
      if (value != toText(Medium::iso9141_2) && value != toText(Medium::iso14230_4))
        return wrong("no K-line medium");
      h.medium = value == toText(Medium::iso9141_2) ? Medium::iso9141_2 : Medium::iso14230_4;
    } else if (key == "init") {
      if (value != "both" && value != "5baud" && value != "fast" && value != "none")
        return wrong("no way of initialisation");
      h.five_baud = value == "both" || value == "5baud";
      h.fast = value == "both" || value == "fast";
    } else if (key == "key") {
      const auto bytes = fromHex(value);
      if (!bytes || bytes->size() != 2) return wrong("no two bytes in hex");
      h.key1 = (*bytes)[0];
      h.key2 = (*bytes)[1];
      keys = true;
    } else if (key == "noise") {
      const auto share = number(value, 0.5);
      if (!share) return wrong("no share from 0 to 0.5");
      h.noise_share = *share;
    } else if (key == "seed") {
      const auto seed = toUnsigned(value);
      if (!seed) return wrong("no whole number");
      h.seed = *seed;
    } else {
      return wrong("no option");
    }
  }
  if (!keys && h.medium == Medium::iso9141_2) h.key1 = h.key2 = 0x08;
  return h;
}

std::uint8_t kLineAddress(const Module& m) {
  if (!m.extended && m.answer_id >= 0x7E8 && m.answer_id <= 0x7EF)
    return static_cast<std::uint8_t>(0x10 + m.answer_id - 0x7E8);
  return static_cast<std::uint8_t>(m.answer_id);
}

std::vector<Bytes> lineAnswers(const Bytes& answer) {
  constexpr std::size_t kPerMessage = 6, kItem = 4;
  const auto part = [](Bytes head, const Bytes& data, std::size_t at, std::size_t size) {
    for (std::size_t i = at; i < at + size; ++i) head.push_back(i < data.size() ? data[i] : 0);
    return head;
  };
  std::vector<Bytes> out;
  if (answer[0] == 0x43 || answer[0] == 0x47 || answer[0] == 0x4A) {
    const Bytes codes(
        answer.begin() + std::min<std::ptrdiff_t>(2, static_cast<std::ptrdiff_t>(answer.size())),
        answer.end());
    std::size_t at = 0;
    do out.push_back(part({answer[0]}, codes, at, kPerMessage));
    while ((at += kPerMessage) < codes.size());
  } else if (answer[0] == 0x49 && answer.size() > 3 && answer[1] % 2 == 0) {
    const std::uint8_t infotype = answer[1];
    Bytes data(answer.begin() + (infotype == 0 ? 2 : 3), answer.end());
    data.insert(data.begin(), (kItem - data.size() % kItem) % kItem, 0);
    for (std::size_t at = 0; at < data.size(); at += kItem)
      out.push_back(part({0x49, infotype, static_cast<std::uint8_t>(at / kItem + 1)}, data, at, kItem));
  } else {
    out.push_back(answer);
  }
  return out;
}

KLineLead::KLineLead(World& world, Ns now_ns, Write write, KLineHabits habits)
    : world_(world), write_(std::move(write)), habits_(habits), random_(habits.seed) {
  world_.setInterface(now_ns, false, false, 0);  // the bench's CAN wires are not what it is on
}

// ---- from the host

void KLineLead::take(Ns now_ns, std::string_view bytes) {
  reader_.take(
      bytes, [&](std::uint8_t byte) { onByte(now_ns, byte); },
      [&](bool low, Ns t_ns) { onLevel(low, t_ns); });
}

void KLineLead::onLevel(bool low, Ns t_ns) {
  constexpr std::size_t kMost = 16;
  const bool again = std::exchange(low_, low) == low;
  if ((again && !low) || !supplied()) return;  // the end of a stop bit changes nothing
  if (again) edges_.clear();                   // a host that begins anew: it was unplugged while low
  sessionLost();
  out_.clear();
  if (!edges_.empty() && (edges_.size() == kMost || t_ns - edges_.front().t_ns > 11 * kBit_ns))
    edges_.clear();
  if (edges_.empty() && !low) return;
  edges_.push_back({low, t_ns});
  if (habits_.echo && low) put(0);  // what a receiver makes of a low line
  address_due_ns_ = edges_.front().t_ns + 10 * kBit_ns;
}

std::vector<std::size_t> KLineLead::modulesAt(std::uint8_t address) const {
  std::vector<std::size_t> out;
  const auto& modules = world_.scenario().modules;
  for (std::size_t i = 0; i < modules.size(); ++i) {
    const Module& m = modules[i];
    if (m.request_id == 0 || m.read_out || m.mute || world_.condition().modules[i] != ModuleState::running)
      continue;
    if (address == kEverybody ? m.functional : kLineAddress(m) == address) out.push_back(i);
  }
  return out;
}

/// The levels of 2 s as a byte; whom it wakes.
void KLineLead::readAddress(Ns now_ns) {
  const std::vector<Edge> edges = std::exchange(edges_, {});
  address_due_ns_ = kNoTime;
  const Ns begin_ns = edges.front().t_ns;
  const auto lowAt = [&](Ns t_ns) {
    bool low = false;
    for (const Edge& e : edges)
      if (e.t_ns <= t_ns) low = e.low;
    return low;
  };
  unsigned byte = 0;
  for (int bit = 0; bit < 8; ++bit)
    if (!lowAt(begin_ns + (bit + 1) * kBit_ns + kBit_ns / 2)) byte |= 1U << static_cast<unsigned>(bit);
  if (!lowAt(begin_ns + kBit_ns / 2) || lowAt(begin_ns + 9 * kBit_ns + kBit_ns / 2)) return;
  for (const Edge& e : edges) {
    const Ns off_ns = (e.t_ns - begin_ns) % kBit_ns;
    worst_ns_ = std::max(worst_ns_, std::min(off_ns, kBit_ns - off_ns));
  }
  address_ = static_cast<std::uint8_t>(byte);
  addresses.push_back(address_);
  const auto woken = modulesAt(address_);
  if (!habits_.five_baud || woken.empty()) return;
  Ns t_ns = std::max(now_ns, begin_ns + 10 * kBit_ns) + fromMs(habits_.w1_ms) + kByte_ns;
  later(t_ns, 0x55);
  later(t_ns += fromMs(habits_.w2_ms) + kByte_ns, habits_.key1);
  later(t_ns += fromMs(habits_.w3_ms) + kByte_ns, habits_.key2);
  await_inverse_ = static_cast<std::uint8_t>(~habits_.key2);
}

bool KLineLead::wokenByPattern() {
  const std::vector<Edge> edges = std::exchange(edges_, {});
  address_due_ns_ = kNoTime;
  if (edges.size() != 2) return false;
  const Ns low_ns = edges[1].t_ns - edges[0].t_ns;
  worst_ns_ = std::max(worst_ns_, std::abs(low_ns - kPatternLow_ns));
  return habits_.fast && habits_.medium == Medium::iso14230_4 &&
         std::abs(low_ns - kPatternLow_ns) <= fromMs(habits_.tolerance_ms);
}

void KLineLead::onByte(Ns now_ns, std::uint8_t byte) {
  if (!supplied()) return;
  if (habits_.echo) put(habits_.held_low ? std::uint8_t{0} : byte);
  if (habits_.held_low) return;
  if (last_ns_ != kNoTime && now_ns - last_ns_ > kP3Most_ns) sessionLost();
  last_ns_ = now_ns;
  if (!edges_.empty()) {
    pattern_ = wokenByPattern();
    in_.clear();
  }
  if (await_inverse_ && out_.empty()) {
    const bool right = byte == *await_inverse_;
    await_inverse_.reset();
    in_.clear();
    if (!right) return;
    awake_ = modulesAt(address_);
    later(now_ns + fromMs(habits_.w4_ms) + kByte_ns, static_cast<std::uint8_t>(~address_));
    return;
  }
  if (in_ns_ != kNoTime && now_ns - in_ns_ > kP1Most_ns + kRoom_ns) in_.clear();
  in_ns_ = now_ns;
  in_.push_back(byte);
  takeMessage(now_ns);
}

void KLineLead::takeMessage(Ns now_ns) {
  const bool kwp = habits_.medium == Medium::iso14230_4;
  std::size_t size = 0, data = 0;
  if (kwp) {
    if ((in_[0] & 0x80U) == 0 || (in_[0] & 0x3FU) == 0) return in_.clear();  // testers here use no other form
    data = in_[0] & 0x3FU;
    size = 3 + data + 1;
    if (in_.size() < size) return;
  } else {
    // Its length is not told: a right sum behind the header and at least a service.
    if (in_.size() < 5) return;
    size = in_.size();
    data = size - 4;
    if (in_[0] != 0x68 || in_[1] != kLegislated || size > 11) return in_.clear();
  }
  if (in_.back() != link::checkByte(habits_.medium, ByteView(in_).first(size - 1))) {
    if (kwp) in_.clear();
    return;
  }
  const Bytes message = std::exchange(in_, {});
  if (message[2] != kTester) return;
  const bool functional = !kwp || (message[0] & 0xC0U) == 0xC0U;
  answer(now_ns, message[1], functional,
         Bytes(message.begin() + 3, message.begin() + 3 + static_cast<std::ptrdiff_t>(data)));
}

void KLineLead::answer(Ns now_ns, std::uint8_t target, bool functional, const Bytes& data) {
  Bytes told = {target};
  told.insert(told.end(), data.begin(), data.end());
  requests.push_back(told);
  const Ns from_ns = now_ns + fromMs(habits_.p2_ms);
  const auto& modules = world_.scenario().modules;
  if (data[0] == kStart) {
    if (!std::exchange(pattern_, false)) return;
    awake_ = modulesAt(functional ? kEverybody : target);
    Ns t_ns = from_ns;
    for (const std::size_t i : awake_)
      t_ns = sendMessage(t_ns, kLineAddress(modules[i]), {0xC1, habits_.key1, habits_.key2}) +
             fromMs(habits_.p2_ms);
    return;
  }
  Ns t_ns = from_ns;
  for (const std::size_t i : awake_) {
    const Module& m = modules[i];
    const std::uint8_t address = kLineAddress(m);
    if (!functional && address != target) continue;
    if (data[0] == kStop || data[0] == kPresent) {
      t_ns = sendMessage(t_ns, address, {static_cast<std::uint8_t>(data[0] + 0x40)}) + fromMs(habits_.p2_ms);
      continue;
    }
    Bytes asked = data;
    const bool identification = asked.size() == 2 && asked[0] == 0x1A && asked[1] == 0x90;
    if (identification) asked = {0x22, 0xF1, 0x90};
    Bytes said = answerOf(m, asked, functional);
    if (said.empty()) continue;
    if (identification && said[0] == 0x62) {
      said.erase(said.begin(), said.begin() + 3);
      said.insert(said.begin(), {0x5A, 0x90});
    }
    const Ns own_ns = now_ns + fromMs(m.delay_ms + m.jitter_ms * random_.share());
    t_ns = std::max(t_ns, own_ns);
    const bool whole = habits_.medium == Medium::iso14230_4 && (habits_.whole || said[0] == 0x5A);
    for (const Bytes& part : whole ? std::vector<Bytes>{said} : lineAnswers(said))
      t_ns = sendMessage(t_ns, address, part) + fromMs(habits_.p2_ms);
  }
  if (data[0] == kStop) sessionLost();
}

/// First byte at `from_ns`; gives the end of the last.
Ns KLineLead::sendMessage(Ns from_ns, std::uint8_t source, const Bytes& data) {
  Bytes bytes = {0x48, 0x6B, source};
  if (habits_.medium == Medium::iso14230_4)
    bytes = {static_cast<std::uint8_t>(0x80 + data.size()), kTester, source};
  bytes.insert(bytes.end(), data.begin(), data.end());
  bytes.push_back(link::checkByte(habits_.medium, bytes));
  Ns t_ns = from_ns;
  for (const std::uint8_t byte : bytes) {
    later(t_ns + kByte_ns, byte);
    t_ns += kByte_ns + fromMs(habits_.p1_ms);
  }
  return t_ns;
}

void KLineLead::sessionLost() {
  awake_.clear();
  await_inverse_.reset();
  pattern_ = false;
}

// ---- to the host

void KLineLead::put(std::uint8_t byte) {
  std::string out(1, static_cast<char>(byte));
  if (habits_.noise_share > 0 && random_.share() < habits_.noise_share) {
    const double how = random_.share() * 3;
    if (how < 1) out.clear();
    if (how >= 1) out.back() = static_cast<char>(256 * random_.share());
    if (how >= 2) out += static_cast<char>(byte);
  }
  if (!out.empty()) write_(out);
}

Ns KLineLead::nextDue() const {
  Ns due = out_.empty() ? kNoTime : out_.front().first;
  if (address_due_ns_ != kNoTime) due = due == kNoTime ? address_due_ns_ : std::min(due, address_due_ns_);
  return due;
}

void KLineLead::onTime(Ns now_ns) {
  if (!supplied()) {
    out_.clear();
    edges_.clear();
    address_due_ns_ = kNoTime;
    return sessionLost();
  }
  if (address_due_ns_ != kNoTime && now_ns >= address_due_ns_) readAddress(now_ns);
  for (; !out_.empty() && out_.front().first <= now_ns; out_.pop_front()) {
    put(out_.front().second);
    last_ns_ = now_ns;
  }
}

}  // namespace pin16::bench
