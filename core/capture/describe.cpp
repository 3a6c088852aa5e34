// SPDX-License-Identifier: Apache-2.0
#include "core/capture/describe.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "core/can/error_text.hpp"
#include "core/capture/visit.hpp"

namespace pin16::capture {
namespace {

using namespace event;

/// Data shown in one line at most: an FD frame, and any answer a person reads in passing.
constexpr std::size_t kShownBytes = 64;

template <std::size_t N, class E>
std::string_view nameOf(const std::array<std::string_view, N>& names, E value) {
  const auto i = static_cast<std::size_t>(value);
  return i < N ? names[i] : "?";
}
constexpr std::array<std::string_view, 8> kConditions{"opening",       "up",   "down",     "missing",
                                                      "no permission", "gone", "finished", "failed"};
constexpr std::array<std::string_view, 3> kSilences{"cannot be silent", "claimed", "proven"};
constexpr std::array<std::string_view, 4> kPowerStates{"unknown", "off", "source present", "on"};
constexpr std::array<std::string_view, 3> kLossPlaces{"kernel", "adapter", "queue"};

std::string shown(ByteView data) {
  std::string out = toHex(data.first(std::min(data.size(), kShownBytes)), " ");
  if (data.size() > kShownBytes) out += fmt::format(" ... ({} bytes)", data.size());
  return out;
}

std::string idText(std::uint32_t id, bool extended) {
  return extended ? fmt::format("{:08X}", id) : fmt::format("{:03X}", id);
}

std::string idText(std::uint32_t id, bool extended, Medium medium) {
  return medium == Medium::can ? idText(id, extended) : fmt::format("{:02X}", id);
}

std::string frameText(const CanFrame& f) {
  if (f.error()) return "error frame: " + can::errorText(f);
  std::string out = fmt::format("{} [{}]", idText(f.id(), f.extended()), f.length);
  if (f.remote()) out += " remote";
  if (f.fd()) out += " FD";
  if (f.fd() && f.brs()) out += " BRS";
  if (f.fd() && f.esi()) out += " ESI";
  if (!f.payload().empty()) out += " " + shown(f.payload());
  return out;
}

/// What the gate let out: serial bytes, or a frame if the bytes are exactly one.
std::string sentText(ByteView bytes) {
  const auto frame = Batch::readFrame(bytes);
  const bool whole =
      frame && bytes.size() == kFrameHeaderSize + frame->payload().size() && bytes[6] == 0 && bytes[7] == 0;
  return whole ? frameText(*frame) : shown(bytes);
}

void append(std::string& out, std::string_view before, std::string_view text) {
  if (!text.empty()) out.append(before).append(text);
}

/// A value in as many digits as say something: at most five, and of a sample none below its uncertainty (what
/// a person typed stays as it was read).
std::string digits(const Measurement& m, Kind kind) {
  constexpr int kMost = 5;
  if (!std::isfinite(m.value)) return fmt::format("{}", m.value);
  const double size = std::abs(m.value);
  const int before = size < 1 ? 1 : static_cast<int>(std::floor(std::log10(size))) + 1;
  int decimals = std::max(0, kMost - before);
  if (kind != Kind::sample) {
    const std::string typed = fmt::format("{}", m.value);
    const std::string cut = fmt::format("{:.{}f}", m.value, decimals);
    return typed.size() <= cut.size() ? typed : cut;
  }
  if (m.uncertainty > 0)
    decimals = std::min(decimals, std::max(0, static_cast<int>(std::ceil(-std::log10(m.uncertainty)))));
  std::string out = fmt::format("{:.{}f}", m.value, decimals);
  // What rounds to nothing has no sign.
  if (out.starts_with('-') && out.find_first_of("123456789") == std::string::npos) out.erase(0, 1);
  return out;
}

std::string line(const Measurement& m, Kind kind) {
  std::string out =
      fmt::format("{} {} = {}", kind == Kind::sample ? "sample" : "reading", m.point, digits(m, kind));
  append(out, " ", m.unit);
  if (m.uncertainty >= 0) out += fmt::format(" +- {:.2g}", m.uncertainty);
  if (m.power != PowerState::unknown) append(out, ", power ", nameOf(kPowerStates, m.power));
  append(out, ", ", m.condition);
  append(out, ", instrument ", m.instrument);
  append(out, ", by ", m.by);
  if (m.time_error_ns >= 0) out += fmt::format(", time +- {:.3f} ms", toMs(m.time_error_ns));
  return out;
}
std::string line(const LinkState& s, Kind) { return "link " + s.uri + " " + describeState(s); }
std::string line(const Clock& c, Kind) {
  return fmt::format("clock UTC {}, {}", utcText(c.utc_ns),
                     c.synchronised == Known::yes  ? "synchronised"
                     : c.synchronised == Known::no ? "not synchronised"
                                                   : "synchronisation unknown");
}
std::string line(const Loss& l, Kind) {
  return fmt::format("lost {} in {}", l.count, nameOf(kLossPlaces, l.place));
}
std::string line(const Gap& g, Kind) {
  const double span_s = (static_cast<double>(g.to_ns) - static_cast<double>(g.from_ns)) / 1e9;
  return fmt::format("gap of {:.3f} s: {}", span_s, g.reason);
}
std::string line(const Damage& d, Kind) { return fmt::format("damage at byte {}: {}", d.offset, d.reason); }
std::string line(const Sent& s, Kind) { return fmt::format("sent {} ({})", sentText(s.frame), s.purpose); }
std::string line(const Refused& r, Kind) { return fmt::format("refused {}: {}", r.request, r.reason); }
std::string line(const Power& p, Kind) {
  std::string out = fmt::format("power {} ({})", nameOf(kPowerStates, p.state), p.how);
  append(out, ": ", p.text);
  return out;
}
std::string line(const Client& c, Kind) {
  std::string out = fmt::format("client {} {}", c.name, c.attached ? "attached" : "left");
  append(out, ": ", c.text);
  return out;
}
std::string line(const Clearance& c, Kind) {
  const char* answer = c.cleared == Known::yes  ? "yes"
                       : c.cleared == Known::no ? "no"
                       : c.reason.empty()       ? "not known"
                                                : "overridden: ";
  return "before power: " + c.code + "? " + answer + c.reason + (c.by.empty() ? "" : " (" + c.by + ")");
}
std::string line(const Note& n, Kind) {
  std::string out = "note: " + n.text;
  append(out, ", by ", n.by);
  return out;
}
std::string line(const Line& l, Kind) {
  return fmt::format("{} message {} {}: {}", toText(l.medium), l.ours ? "sent" : "received", shown(l.header),
                     shown(l.data));
}
std::string line(const Attempt& a, Kind) {
  std::string out = a.begins ? "attempt begins" : "attempt ends";
  append(out, ", by ", a.how);
  append(out, ", ", a.by);
  if (a.begins) out += a.full ? ", full content by authority" : ", answer data blanked";
  if (a.power_up >= 0) out += fmt::format(", on power-up {}", a.power_up);
  append(out, ", rung: ", a.rung);
  append(out, ", changed: ", a.changed);
  append(out, ", the other program said: ", a.said);
  return out;
}
std::string line(const Digest& d, Kind) {
  return fmt::format("digest of message {} [{}] {}{}", idText(d.id, d.extended), d.length, toHex(d.hmac),
                     d.complete ? "" : ", broken off");
}
std::string line(const Message& m, Kind) {
  std::string out = fmt::format("message {} {} [{}] {}", idText(m.id, m.extended, m.medium),
                                m.complete ? "complete" : "incomplete", m.payload.size(), shown(m.payload));
  append(out, ": ", m.reason);
  return out;
}
std::string line(const Exchange& x, Kind) {
  std::string out =
      fmt::format("exchange {} to {}{}, request {}, {}", idText(x.request_id, x.extended, x.medium),
                  x.answer_id == 0 ? "nobody known" : idText(x.answer_id, x.extended, x.medium),
                  x.ours ? ", ours" : ", witnessed", shown(x.request), toText(x.ended));
  if (x.response_ms >= 0) out += fmt::format(" after {:.3f} ms", x.response_ms);
  if (x.late) out += ", late";
  if (x.pending != 0) out += fmt::format(", pending {}", x.pending);
  if (x.after_poll_ms >= 0)
    out += fmt::format(", {:.1f} ms after its device was read as a meter", x.after_poll_ms);
  if (!x.answer.empty()) out += ", answer " + shown(x.answer);
  return out;
}
std::string line(const Finding& f, Kind) { return fmt::format("finding {} {}: {}", f.who, f.code, f.text); }
std::string line(const Verdict& v, Kind) {
  std::string out = fmt::format("verdict {}: {}", v.step, v.verdict);
  append(out, ", ", v.text);
  return out;
}

std::string rawLine(const Header& h, const Batch& batch) {
  const std::string direction = (h.flags & kOutbound) != 0 ? "sent" : "received";
  if (h.kind == Kind::bytes) return fmt::format("bytes {} {}", direction, shown(batch.payload(h)));
  if (h.kind != Kind::frame) return fmt::format("event of unknown kind {}", static_cast<int>(h.kind));
  const auto frame = batch.frame(h);
  return frame ? fmt::format("frame {} {}", direction, frameText(*frame)) : "frame that cannot be read";
}

}  // namespace

std::string describeState(const LinkState& s) {
  std::string out(nameOf(kConditions, s.condition));
  if (s.meter) {
    append(out, ", ", s.condition == LinkCondition::up ? "a meter: " + s.description : "a meter");
    append(out, ", times by ", s.time_origin == "unknown" ? "" : s.time_origin);
    append(out, ": ", s.text);
    return out;
  }
  out += s.bitrate != 0 ? fmt::format(", {} bit/s", s.bitrate) : ", bit rate unknown";
  if (s.data_bitrate != 0) out += fmt::format(", data phase {} bit/s", s.data_bitrate);
  if (s.fd == Known::yes) out += ", FD";
  if (s.silence == Silence::cannot) {
    out += ", acknowledges";
  } else {
    out += fmt::format(", listen-only ({})", nameOf(kSilences, s.silence));
  }
  append(out, ", controller ", s.controller == "unknown" ? "" : s.controller);
  append(out, ", times by ", s.time_origin);
  append(out, ": ", s.text);
  return out;
}

std::string describe(const Header& header, const Batch& batch) {
  std::string out;
  const Visit visit = visitRecord(header.kind, batch.payload(header),
                                  [&](const auto& record) { out = line(record, header.kind); });
  if (visit == Visit::unknown) out = rawLine(header, batch);
  if (visit == Visit::broken)
    out = fmt::format("record of kind {} that cannot be read", static_cast<int>(header.kind));
  for (char& c : out) {
    if (static_cast<unsigned char>(c) < ' ' || c == '\x7f') c = ' ';
  }
  return out;
}

}  // namespace pin16::capture
