// SPDX-License-Identifier: Apache-2.0
#include "core/bench/serve_at.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "core/base/hex.hpp"
#include "core/link/line_format.hpp"

namespace pin16::bench {
namespace {

using event::CanFrame;
using event::Medium;

constexpr Ns kUnacknowledged_ns = 100 * kNsPerMs;
constexpr Ns kTimeoutStep_ns = 4 * kNsPerMs;
constexpr Ns kBufferWindow_ns = 100 * kNsPerMs;
constexpr Ns kP4_ns = 5 * kNsPerMs, kP2Least_ns = 30 * kNsPerMs, kP3Most_ns = 5 * kNsPerSecond;
/// From the idle time before it to the last byte of the dialogue: 300 + 2000 + 100 + 3 * 10 + 35 ms; 300 + 50
/// ms and two messages.
constexpr Ns kFiveBaud_ns = 2465 * kNsPerMs, kFast_ns = 420 * kNsPerMs;
constexpr std::uint8_t kStart = 0x81, kStop = 0x82, kPresent = 0x3E;
constexpr double kInput_ohm = 100e3;  // of its divider (from memory)

std::optional<std::uint32_t> hexNumber(std::string_view digits, std::size_t least, std::size_t most) {
  if (digits.size() < least || digits.size() > most) return std::nullopt;
  const auto value = toUnsigned(digits, 16);
  if (!value || *value > event::kExtendedMask) return std::nullopt;
  return static_cast<std::uint32_t>(*value);
}

bool isHex(std::string_view text) {
  return text.find_first_not_of("0123456789ABCDEF") == std::string_view::npos;
}

}  // namespace

Result<AtHabits> atHabits(const std::vector<std::pair<std::string, std::string>>& options) {
  AtHabits h;
  for (const auto& [key, value] : options) {
    const auto number = toUnsigned(value);
    const auto wrong = [&, k = key, v = value](const char* expected) {
      return Error{ErrorKind::usage, fmt::format("at: {}={} is {}", k, v, expected), "--serve",
                   "options: refuses=E0+L0, delay_ms, noise (0 to 0.5), dies_after (bytes), buffer_lines, "
                   "own_request=on|off, seed, says, medium=can|j1850-pwm|j1850-vpw|iso9141-2|iso14230-4, "
                   "init=both|5baud|fast|none"};
    };
    if (key == "says") {
      h.says = value;
    } else if (key == "medium") {
      constexpr Medium kAll[] = {Medium::can, Medium::j1850_pwm, Medium::j1850_vpw, Medium::iso9141_2,
                                 Medium::iso14230_4};
      const auto* const m = std::find_if(std::begin(kAll), std::end(kAll),
                                         [&v = value](Medium one) { return v == toText(one); });
      if (m == std::end(kAll)) return wrong("no medium");
      h.medium = *m;
    } else if (key == "init") {
      if (value != "both" && value != "5baud" && value != "fast" && value != "none")
        return wrong("no way of initialisation");
      h.five_baud = value == "both" || value == "5baud";
      h.fast = value == "both" || value == "fast";
    } else if (key == "own_request") {
      if (value != "on" && value != "off") return wrong("neither on nor off");
      h.own_request = value == "on";
    } else if (key == "refuses") {
      for (std::size_t at = 0; at <= value.size();) {
        const std::size_t end = std::min(value.find('+', at), value.size());
        if (end == at) return wrong("no list of commands");
        h.refuses.push_back(value.substr(at, end - at));
        at = end + 1;
      }
    } else if (key == "noise") {
      double share = 0;
      const auto [rest, fault] = std::from_chars(value.data(), value.data() + value.size(), share);
      if (fault != std::errc() || rest != value.data() + value.size() || !(share >= 0 && share <= 0.5))
        return wrong("no share from 0 to 0.5");
      h.noise_share = share;
    } else if (key == "delay_ms") {
      if (!number || *number > 10000) return wrong("no number from 0 to 10000");
      h.delay_ns = static_cast<Ns>(*number) * kNsPerMs;
    } else if (key == "dies_after" || key == "buffer_lines" || key == "seed") {
      if (!number) return wrong("no whole number");
      if (key == "dies_after") h.dies_after_bytes = *number;
      if (key == "buffer_lines") h.buffer_lines = *number;
      if (key == "seed") h.seed = *number;
    } else {
      return wrong("no option");
    }
  }
  return h;
}

AtAdapter::AtAdapter(World& world, Ns now_ns, Write write, AtHabits habits)
    : world_(world),
      write_(std::move(write)),
      habits_(std::move(habits)),
      now_ns_(now_ns),
      random_(habits_.seed | 1U) {
  world_.setInterface(now_ns, false, false, 0);
}

std::uint32_t AtAdapter::random() {
  random_ ^= random_ << 13U;
  random_ ^= random_ >> 7U;
  random_ ^= random_ << 17U;
  return static_cast<std::uint32_t>(random_ >> 16U);
}

// ---- what it says

void AtAdapter::put(std::string_view text) {
  std::string out;
  for (const char c : text) {
    if (habits_.dies_after_bytes && said_ >= *habits_.dies_after_bytes) break;
    ++said_;
    const bool damaged = static_cast<double>(random() % 100000U) < habits_.noise_share * 100000;
    switch (damaged ? random() % 3U : 3U) {
      case 0:
        out += static_cast<char>(random());
        break;
      case 1:
        break;  // lost
      case 2:
        out += '\0';
        [[fallthrough]];
      default:
        out += c;
    }
  }
  if (!out.empty()) write_(out);
}

void AtAdapter::say(std::string_view text) {
  if (habits_.delay_ns == 0)
    put(text);
  else
    waiting_.emplace_back(now_ns_ + habits_.delay_ns, text);
}

void AtAdapter::line(std::string_view text) { say(fmt::format("{}{}", text, set_.feeds ? "\r\n" : "\r")); }

void AtAdapter::prompt(std::string_view last_line) {
  doing_ = Doing::prompt;
  until_ns_ = kNoTime;
  if (!last_line.empty()) line(last_line);
  line("");
  say(">");
}

void AtAdapter::frameLine(const CanFrame& f) {
  const char* blank = set_.blanks ? " " : "";
  std::string text;
  if (set_.headers) {
    if (f.extended())
      for (unsigned shift = 24; shift < 32; shift -= 8)
        text += fmt::format("{:02X}{}", (f.id() >> shift) & 0xFFU, blank);
    else
      text = fmt::format("{:03X}{}", f.id(), blank);
  }
  if (f.remote()) text += "RTR";
  for (const std::uint8_t byte : f.payload()) text += fmt::format("{:02X}{}", byte, blank);
  line(text);
}

// ---- what it is told

void AtAdapter::take(Ns now_ns, std::string_view bytes) {
  now_ns_ = now_ns;
  if (!alive_) return;
  for (const char raw : bytes) {
    if (doing_ != Doing::prompt) {
      if (doing_ == Doing::sending) openBus(now_ns);  // what is still to be sent is dropped
      if (doing_ == Doing::initialising) line("");
      prompt("STOPPED");
      continue;
    }
    if (set_.echo) say({&raw, 1});
    const char c = raw >= 'a' && raw <= 'z' ? static_cast<char>(raw - 'a' + 'A') : raw;
    if (c == '\r') {
      const std::string whole = std::exchange(line_, {});
      if (std::exchange(too_long_, false))
        prompt("?");
      else
        obey(now_ns, whole);
    } else if (c > ' ') {
      too_long_ = too_long_ || line_.size() == kLineMax;
      if (!too_long_) line_ += c;
    }
  }
}

void AtAdapter::obey(Ns now_ns, const std::string& text) {
  if (set_.feeds && set_.echo) say("\n");
  const std::string line = text.empty() ? last_request_ : text;
  if (line.empty()) return prompt("");
  if (!line.starts_with("AT")) {
    if (!isHex(line)) return prompt("?");
    last_request_ = line;
    return request(now_ns, line);
  }
  const std::string name = line.substr(2);
  const bool known = std::none_of(habits_.refuses.begin(), habits_.refuses.end(),
                                  [&](const auto& r) { return name.starts_with(r); });
  if (!known || !command(now_ns, name)) prompt("?");
}

/// False: not known. True: answered.
bool AtAdapter::command(Ns now_ns, const std::string& name) {
  if (name == "Z" || name == "WS") {
    restart(now_ns, "");
    return true;
  }
  if (name == "I" || name == "@1") {
    prompt(habits_.says);
    return true;
  }
  if (name == "RV") {
    prompt(volts());
    return true;
  }
  if (name == "DPN") {
    prompt(std::string(1, set_.protocol));
    return true;
  }
  if (name == "MA") {
    if (set_.protocol == '0') return false;
    doing_ = Doing::monitoring;
    lines_ = 0;
    lines_ns_ = now_ns;
    return true;
  }
  if ((name.starts_with("SP") || name.starts_with("TP")) && name.size() == 3) {
    if (!setProtocol(now_ns, name[2])) return false;
  } else if (name == "D") {
    set_ = Settings();
    medium_ = Medium::can;
  } else if (name.starts_with("ST") && name.size() == 4) {
    const auto steps = hexNumber(std::string_view(name).substr(2), 1, 2);
    if (!steps || *steps == 0) return false;
    set_.timeout_ns = *steps * kTimeoutStep_ns;
  } else if (!toggle(name) && !(medium_ != Medium::can && lineSetting(name)) && !addressing(name)) {
    return false;
  }
  prompt("OK");
  return true;
}

bool AtAdapter::toggle(const std::string& name) {
  static constexpr std::string_view kWithoutEffect[] = {"AT0", "AT1",  "AT2",  "M0",
                                                        "M1",  "CSM0", "CSM1", "R1"};
  if (std::find(std::begin(kWithoutEffect), std::end(kWithoutEffect), name) != std::end(kWithoutEffect))
    return true;
  if (name == "AL" || name == "NL") {
    set_.long_messages = name == "AL";
    return true;
  }
  if (name == "BI") {
    set_.bypassed = true;
    return true;
  }
  const std::pair<std::string_view, bool*> all[] = {{"E", &set_.echo},      {"L", &set_.feeds},
                                                    {"S", &set_.blanks},    {"H", &set_.headers},
                                                    {"CAF", &set_.formats}, {"CFC", &set_.flows}};
  for (const auto& [letters, flag] : all) {
    if (name.size() != letters.size() + 1 || !name.starts_with(letters)) continue;
    if (name.back() != '0' && name.back() != '1') return false;
    *flag = name.back() == '1';
    return true;
  }
  return false;
}

bool AtAdapter::addressing(const std::string& name) {
  const std::size_t full = extended() ? 8 : 3;
  const std::string_view digits = std::string_view(name).substr(std::min<std::size_t>(2, name.size()));
  if (name == "AR") {
    set_.filter.reset();
    set_.mask.reset();
    return true;
  }
  if (name.starts_with("SH")) {
    auto id = hexNumber(digits, full, full);
    if (!id && extended())
      if (const auto rest = hexNumber(digits, 6, 6)) id = (set_.priority << 24U) | *rest;
    if (!id || (!extended() && *id > event::kStandardMask)) return false;
    set_.header = *id;
    return true;
  }
  if (name.starts_with("CP")) {
    const auto priority = hexNumber(digits, 2, 2);
    if (!priority || *priority > 0x1F) return false;
    set_.priority = *priority;
    return true;
  }
  if (!name.starts_with("CF") && !name.starts_with("CM")) return false;
  const auto value = hexNumber(digits, full, full);
  if (value) (name.starts_with("CF") ? set_.filter : set_.mask) = value;
  return value.has_value();
}

bool AtAdapter::setProtocol(Ns now_ns, char number) {
  if (number < '1' || number > '9') return false;
  constexpr Medium kMedia[] = {Medium::j1850_pwm, Medium::j1850_vpw, Medium::iso9141_2, Medium::iso14230_4,
                               Medium::iso14230_4};
  set_.protocol = number;
  medium_ = number >= '6' ? Medium::can : kMedia[number - '1'];
  awake_.clear();
  line_in_.clear();
  set_.line_header = {0x68, 0x6A, 0xF1};
  if (medium_ == Medium::j1850_pwm) set_.line_header[0] = 0x61;
  if (medium_ == Medium::iso14230_4) set_.line_header = {0xC0, kEverybody, 0xF1};
  set_.header = extended() ? 0x18DB33F1U : 0x7DFU;
  set_.filter.reset();
  set_.mask.reset();
  openBus(now_ns);
  return true;
}

void AtAdapter::openBus(Ns now_ns) {
  sent_.reset();
  const bool open = set_.protocol >= '6' && habits_.medium == Medium::can;
  world_.setInterface(now_ns, open, false, set_.protocol >= '8' ? 250000 : 500000);
}

bool AtAdapter::lineSetting(const std::string& name) {
  const std::string_view digits = std::string_view(name).substr(std::min<std::size_t>(2, name.size()));
  if (name.starts_with("SH") && digits.size() == 6 && isHex(digits)) {
    set_.line_header = *fromHex(digits);
    return true;
  }
  if (name.starts_with("SW")) {
    const auto steps = hexNumber(digits, 2, 2);
    if (steps) set_.keeps = *steps != 0;
    return steps.has_value();
  }
  if (!name.starts_with("IIA")) return false;
  const auto address = hexNumber(digits.substr(1), 2, 2);
  if (address) set_.wake_address = static_cast<std::uint8_t>(*address);
  return address.has_value();
}

void AtAdapter::requestLine(Ns now_ns, Bytes data) {
  line_out_ = {};
  line_out_.medium = medium_;
  line_out_.header = set_.line_header;
  if (medium_ == Medium::iso14230_4)
    line_out_.header[0] = static_cast<std::uint8_t>((line_out_.header[0] & 0xC0U) | data.size());
  line_out_.data = std::move(data);
  if (line_ns_ != kNoTime && now_ns - line_ns_ > kP3Most_ns && !set_.keeps) awake_.clear();
  if (!event::isKLine(medium_) || !awake_.empty()) return sendLine(now_ns);
  const bool fast = set_.protocol == '5';
  if (fast) {
    event::Line start = line_out_;
    start.header[0] = static_cast<std::uint8_t>((start.header[0] & 0xC0U) | 1U);
    start.data = {kStart};
    on_line.push_back(link::lineBytes(start));
  } else {
    on_line.push_back({set_.wake_address});
  }
  say("BUS INIT: ...");
  doing_ = Doing::initialising;
  until_ns_ = now_ns + (fast ? kFast_ns : kFiveBaud_ns);
}

void AtAdapter::initialised(Ns now_ns) {
  const bool fast = set_.protocol == '5';
  const bool functional = (line_out_.header[0] & 0xC0U) == 0xC0U;
  const std::uint8_t address = !fast ? set_.wake_address : functional ? kEverybody : line_out_.header[1];
  if (medium_ == habits_.medium && (fast ? habits_.fast : habits_.five_baud))
    awake_ = modulesAt(world_, address);
  if (awake_.empty()) return prompt("ERROR");
  line("OK");
  sendLine(now_ns);
}

void AtAdapter::sendLine(Ns now_ns) {
  const bool kline = event::isKLine(medium_), kwp = medium_ == Medium::iso14230_4;
  const Bytes bytes = link::lineBytes(line_out_);
  const Bytes& data = line_out_.data;
  on_line.push_back(bytes);
  Ns t_ns = now_ns + link::lineTime_ns(medium_, bytes.size());
  if (kline) t_ns += static_cast<Ns>(bytes.size() - 1) * kP4_ns;
  line_ns_ = t_ns;
  doing_ = Doing::listening;
  heard_ = false;
  until_ns_ = t_ns + set_.timeout_ns;
  if (medium_ != habits_.medium) return;
  const bool functional = !kwp || (bytes[0] & 0xC0U) == 0xC0U;
  const auto say_later = [&](std::uint8_t source, const Bytes& part) {
    const event::Line message = moduleLine(medium_, source, part);
    t_ns += link::lineTime_ns(medium_, link::lineBytes(message).size());
    line_in_.emplace_back(t_ns, message);
    line_ns_ = t_ns;
  };
  for (const std::size_t i : kline ? awake_ : modulesAt(world_, kEverybody)) {
    const Module& m = world_.scenario().modules[i];
    const std::uint8_t source = kLineAddress(m);
    if (!functional && source != bytes[1]) continue;
    t_ns += kline ? kP2Least_ns : 0;
    if (kwp && (data[0] == kStop || data[0] == kPresent)) {
      say_later(source, {static_cast<std::uint8_t>(data[0] + 0x40)});
      continue;
    }
    t_ns = std::max(t_ns, now_ns + fromMs(m.delay_ms + m.jitter_ms * (random() % 1000U) / 1000));
    for (const Bytes& part : lineAnswersOf(m, data, functional, medium_, false)) say_later(source, part);
  }
  if (kwp && data[0] == kStop) awake_.clear();
}

void AtAdapter::messageLine(const event::Line& message) {
  Bytes bytes = set_.headers ? link::lineBytes(message) : message.data;
  if (!set_.long_messages) bytes.resize(std::min<std::size_t>(bytes.size(), set_.headers ? 11 : 7));
  std::string text;
  for (const std::uint8_t byte : bytes) text += fmt::format("{:02X}{}", byte, set_.blanks ? " " : "");
  line(text);
}

void AtAdapter::request(Ns now_ns, const std::string& digits) {
  const auto bytes = fromHex(digits);
  if (medium_ != Medium::can) {
    const std::size_t longest = medium_ == Medium::iso14230_4 && set_.long_messages ? 63 : 7;
    return !bytes || bytes->empty() || bytes->size() > longest ? prompt("?") : requestLine(now_ns, *bytes);
  }
  const std::size_t most = set_.formats ? 7 : 8;
  if (!bytes || bytes->empty() || bytes->size() > most) return prompt("?");
  if (set_.protocol == '0') return prompt("UNABLE TO CONNECT");
  Bytes data = *bytes;
  if (set_.formats) {
    data.insert(data.begin(), static_cast<std::uint8_t>(data.size()));
    data.resize(8);
  }
  if (habits_.own_request && !std::exchange(set_.bypassed, true)) {
    const std::uint8_t own[8] = {2, 1, 0};
    (void)world_.send(now_ns, CanFrame::make(extended() ? 0x18DB33F1U : 0x7DFU, extended(), own));
  }
  const CanFrame frame = CanFrame::make(set_.header, extended(), data);
  if (!world_.send(now_ns, frame)) return prompt("CAN ERROR");
  sent_ = frame;
  heard_ = false;
  doing_ = Doing::sending;
  until_ns_ = now_ns + kUnacknowledged_ns;
}

void AtAdapter::restart(Ns now_ns, const char* why) {
  set_ = Settings();
  line_.clear();
  last_request_.clear();
  medium_ = Medium::can;
  awake_.clear();
  line_in_.clear();
  openBus(now_ns);
  line("");
  prompt(*why == '\0' ? habits_.says : why);
}

std::string AtAdapter::volts() const {
  Meter meter;
  meter.point = "V(pin16,pin4)";
  meter.input_ohm = kInput_ohm;
  const auto network = Network::make(world_.scenario(), &meter);
  const auto value = network ? network->read(world_.condition()) : Result<double>(network.error());
  return fmt::format("{:.1f}V", value ? std::max(*value, 0.0) : 0.0);
}

// ---- what the world tells

bool AtAdapter::passes(const CanFrame& f) const {
  if (f.error() || f.extended() != extended()) return false;
  const std::uint32_t filter = set_.filter.value_or(extended() ? 0x18DAF100U : 0x7E8U);
  const std::uint32_t mask = set_.mask.value_or(extended() ? 0x1FFFFF00U : 0x7F8U);
  return (f.id() & mask) == (filter & mask);
}

void AtAdapter::onFrame(Ns t_ns, const CanFrame& f, bool outbound) {
  if (!alive_) return;
  now_ns_ = std::max(now_ns_, t_ns);
  if (outbound) {
    if (doing_ != Doing::sending || !sent_ || f != *sent_) return;
    sent_.reset();
    doing_ = Doing::listening;
    until_ns_ = t_ns + set_.timeout_ns;
    return;
  }
  if (doing_ == Doing::monitoring) {
    if (f.error() || f.extended() != extended() || ((set_.filter || set_.mask) && !passes(f))) return;
    frameLine(f);
    if (t_ns - lines_ns_ > kBufferWindow_ns) lines_ns_ = t_ns, lines_ = 0;
    if (habits_.buffer_lines != 0 && ++lines_ > habits_.buffer_lines) onOverrun();
    return;
  }
  if ((doing_ != Doing::listening && doing_ != Doing::sending) || !passes(f)) return;
  heard_ = true;
  if (doing_ == Doing::listening) until_ns_ = t_ns + set_.timeout_ns;
  frameLine(f);
  if (set_.flows && f.length > 0 && f.data[0] >> 4U == 1) flow(f);
}

/// Its own flow control: all in one go.
void AtAdapter::flow(const CanFrame& first) {
  std::uint32_t to = set_.header;
  if (extended() && (first.id() & 0x1FFFFF00U) == 0x18DAF100U)
    to = 0x18DA00F1U | ((first.id() & 0xFFU) << 8U);
  else if (!extended() && (first.id() & 0x7F8U) == 0x7E8U)
    to = first.id() - 8;
  const std::uint8_t data[8] = {0x30};
  (void)world_.send(now_ns_, CanFrame::make(to, extended(), data));
}

void AtAdapter::onController(std::string_view /*state*/, int tx_errors) {
  alive_ = tx_errors >= 0;
  if (!alive_) {
    waiting_.clear();
    line_.clear();
    begun_ = false;
  }
}

void AtAdapter::onOverrun() {
  if (alive_ && doing_ == Doing::monitoring) prompt("BUFFER FULL");
}

Ns AtAdapter::nextDue() const {
  Ns due = kNoTime;
  const auto earlier = [&](Ns t) { due = due == kNoTime ? t : std::min(due, t); };
  if (alive_ && !begun_) earlier(now_ns_);
  if (!waiting_.empty()) earlier(waiting_.front().first);
  if (until_ns_ != kNoTime) earlier(until_ns_);
  if (!line_in_.empty()) earlier(line_in_.front().first);
  return due;
}

void AtAdapter::onTime(Ns now_ns) {
  now_ns_ = now_ns;
  if (alive_ && !std::exchange(begun_, true))
    restart(now_ns, std::exchange(was_alive_, true) ? "LV RESET" : "");
  while (!waiting_.empty() && waiting_.front().first <= now_ns) {
    put(waiting_.front().second);
    waiting_.pop_front();
  }
  if (!alive_) line_in_.clear();
  for (; !line_in_.empty() && line_in_.front().first <= now_ns; line_in_.pop_front()) {
    if (doing_ != Doing::listening && doing_ != Doing::monitoring) continue;
    heard_ = true;
    if (doing_ == Doing::listening) until_ns_ = line_in_.front().first + set_.timeout_ns;
    messageLine(line_in_.front().second);
  }
  if (!alive_ || until_ns_ == kNoTime || now_ns < until_ns_) return;
  if (doing_ == Doing::initialising) return initialised(now_ns);
  if (doing_ == Doing::sending) {
    openBus(now_ns);
    return prompt("CAN ERROR");
  }
  prompt(heard_ ? "" : "NO DATA");
}

}  // namespace pin16::bench
