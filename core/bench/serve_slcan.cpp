// SPDX-License-Identifier: Apache-2.0
#include "core/bench/serve_slcan.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>
#include <array>

#include "core/link/slcan_parser.hpp"

namespace pin16::bench {
namespace {

using event::CanFrame;

constexpr std::array<std::uint32_t, 9> kRates = {10000,  20000,  50000,  100000, 125000,
                                                 250000, 500000, 800000, 1000000};
constexpr const char *kDone = "\r", *kRefused = "\a";
constexpr Ns kStampRange_ms = 60000;
constexpr int kCounterMost = 256;  // bus-off

}  // namespace

SlcanAdapter::SlcanAdapter(World& world, Ns now_ns, Write write, const SlcanHabits& habits)
    : world_(world), write_(std::move(write)), habits_(habits), now_ns_(now_ns) {
  world_.setInterface(now_ns, false, false, 0);
}

void SlcanAdapter::say(std::string text) {
  if (habits_.noise_every > 0 && ++lines_ % habits_.noise_every == 0) {
    std::string rubbish;
    for (int i = 0; i < 8; ++i) rubbish += static_cast<char>(0x80 + static_cast<int>(127 * noise_.share()));
    text = rubbish + kDone + text;
  }
  if (habits_.delay_ns == 0) return write_(text);
  late_.emplace_back(now_ns_ + habits_.delay_ns, std::move(text));
}

void SlcanAdapter::onTime(Ns now_ns) {
  for (; !late_.empty() && late_.front().first <= now_ns; late_.pop_front()) write_(late_.front().second);
}

void SlcanAdapter::take(Ns now_ns, std::string_view bytes) {
  now_ns_ = now_ns;
  for (const char c : bytes) {
    if (c == '\n') continue;  // terminals that send CR and LF
    if (c != '\r') {
      too_long_ = too_long_ || line_.size() == kLineMax;
      if (!too_long_) line_ += c;
      continue;
    }
    if (too_long_)
      say(kRefused);
    else
      obey(now_ns, line_);
    line_.clear();
    too_long_ = false;
  }
}

void SlcanAdapter::obey(Ns now_ns, std::string_view line) {
  const auto answer = [this](bool done) { say(done ? kDone : kRefused); };
  if (line.empty()) return answer(true);  // hosts send empty lines to end what was left over
  const std::string_view rest = line.substr(1);
  switch (line.front()) {
    case 'S':
      if (open_ || rest.size() != 1 || rest[0] < '0' || rest[0] > '8') return answer(false);
      bitrate_ = kRates[static_cast<std::size_t>(rest[0] - '0')];
      return answer(true);
    case 'O':
    case 'L':
      if (line.front() == 'L' && !habits_.listens) return answer(false);
      return answer(rest.empty() && open(now_ns, line.front() == 'L'));
    case 'C':
      // Done also when it is closed: the kernel's driver begins with it.
      if (!rest.empty()) return answer(false);
      open_ = false;
      world_.setInterface(now_ns, false, false, 0);
      return answer(true);
    case 't':
    case 'r':
    case 'T':
    case 'R':
      if (!sendFrame(now_ns, line)) return answer(false);
      if (!habits_.confirms) return answer(true);
      return say(line.front() == 't' || line.front() == 'r' ? "z\r" : "Z\r");
    case 'F':
      if (!open_ || !rest.empty() || !habits_.tells) return answer(false);
      say(fmt::format("F{:02X}\r", flags_));
      flags_ = 0;
      return;
    case 'Z':
      if (open_ || !habits_.stamps || (rest != "0" && rest != "1")) return answer(false);
      stamps_ = rest == "1";
      return answer(true);
    case 'V':
      return rest.empty() && habits_.tells ? say("V0101\r") : answer(false);
    case 'N':
      return rest.empty() && habits_.tells ? say("NP016\r") : answer(false);
    default:
      return answer(false);
  }
}

bool SlcanAdapter::open(Ns now_ns, bool listen_only) {
  if (open_ || bitrate_ == 0) return false;
  open_ = true;
  flags_ = 0;
  world_.setInterface(now_ns, true, listen_only, bitrate_);
  return true;
}

bool SlcanAdapter::sendFrame(Ns now_ns, std::string_view line) {
  const auto frame = link::parseSlcanFrame(line);
  if (!frame || !open_) return false;
  const bool taken = static_cast<bool>(world_.send(now_ns, *frame));
  if (!taken) flags_ |= kQueueFull;
  return taken;
}

void SlcanAdapter::onFrame(Ns t_ns, const CanFrame& frame, bool outbound) {
  now_ns_ = std::max(now_ns_, t_ns);
  if (!open_ || outbound) return;  // what was sent is not echoed
  if (frame.error())
    errorLine(frame);
  else
    frameLine(t_ns, frame);
}

void SlcanAdapter::frameLine(Ns t_ns, const CanFrame& f) {
  std::string line = link::slcanText(f);
  if (stamps_) line += fmt::format("{:04X}", t_ns / kNsPerMs % kStampRange_ms);
  say(line + kDone);
}

/// State changes come with their counters through onController().
void SlcanAdapter::errorLine(const CanFrame& f) {
  std::string letters;
  if ((f.word & CAN_ERR_ACK) != 0 || ((f.word & CAN_ERR_PROT) != 0 && f.data[3] == CAN_ERR_PROT_LOC_ACK))
    letters += 'a';
  if ((f.word & CAN_ERR_PROT) != 0) {
    // Which level the bit had is not always known; "bit 0" then, as a short makes it.
    if ((f.data[2] & (CAN_ERR_PROT_BIT | CAN_ERR_PROT_BIT0)) != 0) letters += 'b';
    if ((f.data[2] & CAN_ERR_PROT_BIT1) != 0) letters += 'B';
    if (f.data[3] == CAN_ERR_PROT_LOC_CRC_SEQ) letters += 'c';
    if ((f.data[2] & CAN_ERR_PROT_FORM) != 0) letters += 'f';
    if ((f.data[2] & CAN_ERR_PROT_STUFF) != 0) letters += 's';
  }
  if (letters.empty()) return;
  flags_ |= kBusError;
  say(fmt::format("e{}{}\r", letters.size(), letters));
}

void SlcanAdapter::onController(std::string_view state, int tx_errors) {
  if (state == "error-warning") flags_ |= kWarning;
  if (state == "error-passive") flags_ |= kPassive;
  const char letter = state == "error-active"    ? 'a'
                      : state == "error-warning" ? 'w'
                      : state == "error-passive" ? 'p'
                      : state == "bus-off"       ? 'b'
                                                 : '\0';
  if (!open_ || letter == '\0') return;  // without supply there is nothing to tell
  say(fmt::format("s{}{:03}{:03}\r", letter, 0, std::min(tx_errors, kCounterMost)));
}

void SlcanAdapter::onOverrun() {
  flags_ |= kOverrun;
  if (open_) say("e1o\r");
}

}  // namespace pin16::bench
