// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "core/event/batch.hpp"
#include "core/protocol/envelope.hpp"
#include "core/protocol/services.hpp"
#include "core/protocol/target.hpp"
#include "core/review/review.hpp"

namespace pin16::review {
namespace {

constexpr std::size_t kColumns = 100;
constexpr std::size_t kLabel = 13;
constexpr std::size_t kMostIdentifiers = 16;
constexpr std::size_t kMostRows = 60;
constexpr std::size_t kMostGaps = 10;
constexpr std::size_t kMostSectionRows = 24;
constexpr std::size_t kAnswerIndent = 19;
constexpr std::size_t kMostPending = 4;
constexpr std::size_t kId11 = 3;  // digits of an identifier

std::string counted(std::uint64_t n, std::string_view what) {
  return fmt::format("{} {}{}", n, what, n == 1 ? "" : "s");
}

/// A text of lines with a label in front; what does not fit is broken at blanks.
class Sheet {
 public:
  void line(std::string_view label, std::string_view text, std::size_t indent = kLabel) {
    const std::size_t width = kColumns - indent;
    do {
      std::size_t cut = text.size();
      if (cut > width) {
        const std::size_t blank = text.rfind(' ', width);
        cut = blank == std::string_view::npos || blank == 0 ? width : blank;
      }
      const std::string whole = fmt::format("{:<{}}{}", label, indent, text.substr(0, cut));
      out_ += whole.substr(0, whole.find_last_not_of(' ') + 1) + "\n";
      text.remove_prefix(cut);
      text.remove_prefix(std::min(text.find_first_not_of(' '), text.size()));
      label = {};
    } while (!text.empty());
  }
  /// A row of a table, cut at the last column.
  void row(std::string text) {
    if (text.size() > kColumns) text = text.substr(0, kColumns - 3) + "...";
    out_ += text.substr(0, text.find_last_not_of(' ') + 1) + "\n";
  }
  void blank() { out_ += "\n"; }
  void more(std::size_t all, std::size_t shown, std::string_view what) {
    if (all > shown) row(fmt::format("  and {} more {}: --json has them all", all - shown, what));
  }
  [[nodiscard]] std::string take() { return std::move(out_); }

 private:
  std::string out_;
};

/// "17:39:43.123" of a UTC stamp.
std::string clockText(Ns t_utc_ns) {
  const std::string text = utcText(t_utc_ns);
  return t_utc_ns == kNoTime || text.size() < 23 ? "no time" : text.substr(11, 12);
}

std::string percent(double share) { return fmt::format("{:.1f} %", share * 100); }

std::string rateText(std::uint32_t bitrate) {
  return bitrate % 1000 == 0 ? fmt::format("{} kbit/s", bitrate / 1000) : fmt::format("{} bit/s", bitrate);
}

std::string silenceText(const event::LinkState& s) {
  switch (s.silence) {
    case event::Silence::proven:
      return "listen-only, proven by the kernel";
    case event::Silence::claimed:
      return "listen-only, as the device claims";
    case event::Silence::cannot:
      break;
  }
  return "acknowledged frames, not silent";
}

std::string linkText(const LinkSummary& l, Ns window_ns) {
  std::string out = l.name.empty() ? "not described" : l.name;
  if (!l.description.empty() && l.description != l.name) out += fmt::format(" ({})", l.description);
  if (l.state && l.state->meter) {
    out += ", a meter";
    if (!l.state->text.empty()) out += ": " + l.state->text;
    return out;
  }
  if (l.state) {
    if (l.state->bitrate != 0) out += ", " + rateText(l.state->bitrate);
    if (l.state->data_bitrate != 0) out += " / " + rateText(l.state->data_bitrate);
    // A link that never came up was neither silent nor not.
    if (l.state->text.empty())
      out += fmt::format(", {}, times from {}", silenceText(*l.state), l.state->time_origin);
    else
      out += ": " + l.state->text;
  }
  out += fmt::format("; {}", counted(l.frames, "frame"));
  if (l.load)
    out += fmt::format(", bus load mean {}, peak {} in {} ms", percent(l.load->mean), percent(l.load->peak),
                       window_ns / kNsPerMs);
  return out;
}

std::string framesText(const Summary& s) {
  std::string out =
      fmt::format("{} with {}, {}", counted(s.frames, "frame"), counted(s.identifiers.size(), "identifier"),
                  counted(s.error_frames, "error frame"));
  for (std::size_t i = 0; i < s.error_classes.size(); ++i)
    out += fmt::format("{}{} {}", i == 0 ? " (" : ", ", s.error_classes[i].name, s.error_classes[i].count);
  return s.error_classes.empty() ? out : out + ")";
}

std::string lossText(const Losses& l) {
  if (l.total() == 0) return "no loss known";
  return fmt::format("{} lost: kernel {}, adapter {}, our queue {}", counted(l.total(), "frame"), l.kernel,
                     l.adapter, l.queue);
}

/// Every byte that left.
std::string sentText(const Row<event::Sent>& s) {
  const auto frame = event::Batch::readFrame(s.record.frame);
  const std::string what = frame ? fmt::format("{} {}", protocol::idText(frame->id(), frame->extended()),
                                               toHex(frame->payload(), " "))
                                 : toHex(s.record.frame, " ");
  return fmt::format("{}  {}  ({})", clockText(s.t_ns), what, s.record.purpose);
}

void addHead(Sheet& sheet, const Summary& s) {
  if (!s.file.empty()) sheet.line("Capture", s.file);
  if (!s.application.empty()) sheet.line("Made by", s.application);
  if (s.first_ns != kNoTime)
    sheet.line("Time", fmt::format("{} to {}, {:.3f} s", utcText(s.first_ns), utcText(s.last_ns),
                                   toSeconds(s.last_ns - s.first_ns)));
  if (s.clock.synchronised == event::Known::no)
    sheet.line("", "the computer's clock was not synchronised: take the date and time of day with care");
  for (std::size_t i = 0; i < s.links.size(); ++i)
    sheet.line(fmt::format("Link {}", i), linkText(s.links[i], s.load_window_ns));
  sheet.line("Frames", framesText(s));
  sheet.line("Missing", lossText(s.losses));
  for (std::size_t i = 0; i < std::min(s.gaps.size(), kMostGaps); ++i) {
    const event::Gap& g = s.gaps[i].record;
    sheet.line("Gap", fmt::format("{} to {}: {}", clockText(g.from_ns), clockText(g.to_ns), g.reason));
  }
  sheet.more(s.gaps.size(), kMostGaps, "gaps");
  for (std::size_t i = 0; i < std::min(s.damage.size(), kMostGaps); ++i)
    sheet.line("Damage", fmt::format("at byte {}: {}", s.damage[i].offset, s.damage[i].reason));
  sheet.more(s.damage.size(), kMostGaps, "damaged places");
  for (const std::string& note : s.skipped) sheet.line("Skipped", note);
  sheet.line("Sent by us", s.sent.empty() ? "nothing" : counted(s.sent.size(), "frame"));
  for (std::size_t i = 0; i < std::min(s.sent.size(), kMostRows); ++i) sheet.line("", sentText(s.sent[i]));
  sheet.more(s.sent.size(), kMostRows, "frames");
  if (!s.refused.empty()) sheet.line("Refused", counted(s.refused.size(), "request"));
  if (s.readings + s.samples + s.notes != 0)
    sheet.line("Also", fmt::format("{}, {}, {}", counted(s.readings, "reading"), counted(s.samples, "sample"),
                                   counted(s.notes, "note")));
}

void addIdentifiers(Sheet& sheet, const Summary& s) {
  if (s.identifiers.empty()) return;
  std::vector<Identifier> rows = s.identifiers;
  std::stable_sort(rows.begin(), rows.end(), [](const auto& a, const auto& b) { return a.count > b.count; });
  sheet.blank();
  sheet.row("Identifiers, busiest first");
  sheet.row("  link  identifier      frames    share");
  for (std::size_t i = 0; i < std::min(rows.size(), kMostIdentifiers); ++i)
    sheet.row(fmt::format("  {:>4}  {:<10}  {:>10}  {:>7}", rows[i].link,
                          protocol::idText(rows[i].id, rows[i].extended), rows[i].count,
                          percent(static_cast<double>(rows[i].count) / static_cast<double>(s.frames))));
  sheet.more(rows.size(), kMostIdentifiers, "identifiers");
}

std::string endText(const event::Exchange& x) {
  std::string out = toText(x.ended);
  if (x.late) out += ", late";
  if (x.pending != 0) out += fmt::format(", pending {}", x.pending);
  return out;
}

/// "612/F1": the prefix behind the identifier.
std::string addressText(std::uint32_t id, bool extended, std::int16_t prefix, event::Medium medium) {
  const std::string out = protocol::idText(id, extended, medium != event::Medium::can);
  return prefix < 0 ? out : out + fmt::format("/{:02X}", prefix);
}

/// What the first line has no room for; empty if there is nothing to say.
std::string timesText(const event::Exchange& x) {
  std::string out;
  const auto add = [&](std::string part) { out += (out.empty() ? "" : ", ") + std::move(part); };
  if (x.request_ms > 0) add(fmt::format("request took {:.1f} ms", x.request_ms));
  if (!x.pending_ms.empty()) {
    std::string at;
    for (std::size_t i = 0; i < std::min(x.pending_ms.size(), kMostPending); ++i)
      at += fmt::format("{}{:.1f}", i == 0 ? "" : " ", x.pending_ms[i]);
    add(fmt::format("pending at {}{} ms, answer from {:.1f} ms", at,
                    x.pending_ms.size() > kMostPending ? " ..." : "", x.answer_ms));
  }
  if (x.complete_ms >= 0 && x.complete_ms > x.answer_ms)
    add(fmt::format("whole at {:.1f} ms", x.complete_ms));
  if (x.flow_ms >= 0) add(fmt::format("flow control after {:.1f} ms", x.flow_ms));
  if (x.waits != 0)
    add(fmt::format("told to wait {}", x.waits == 1 ? "once" : fmt::format("{} times", x.waits)));
  if (x.separation_min_ms >= 0) {
    std::string frames =
        fmt::format("frames {:.1f} to {:.1f} ms apart", x.separation_min_ms, x.separation_max_ms);
    if (x.st_min_ms >= 0) {
      frames += fmt::format(" (STmin {:.1f} ms", x.st_min_ms);
      frames += x.separation_min_ms < x.st_min_ms ? ", some closer)" : ")";
    }
    add(std::move(frames));
  }
  if (x.after_poll_ms >= 0)
    add(fmt::format("{:.1f} ms after the adapter was read as a meter", x.after_poll_ms));
  return out;
}

/// `id_width` is that of the widest address in the table.
/// The answer in words. Blanked content must not be read as if it were one.
std::string answerText(const event::Exchange& x, bool blanked) {
  if (x.ended != event::Ended::answered && x.ended != event::Ended::negative)
    return "broken off after " + counted(x.answer.size(), "byte");
  if (blanked && x.ended == event::Ended::answered)
    return counted(x.answer.size(), "byte") + ", content blanked";
  return protocol::describeAnswer(x.request, x.answer);
}

std::string requestText(const event::Exchange& x, bool blanked) {
  const std::size_t kept = blanked ? protocol::keptBytes(x.request) : x.request.size();
  std::string out = protocol::describeRequest(ByteView(x.request).subspan(0, kept));
  return kept < x.request.size() ? out + ", the rest blanked" : out;
}

void addExchange(Sheet& sheet, const Row<event::Exchange>& row, std::size_t id_width, bool blanked) {
  const event::Exchange& x = row.record;
  const std::string to =
      x.answer_id == 0 ? "-" : addressText(x.answer_id, x.extended, x.answer_prefix, x.medium);
  const std::string time = x.response_ms < 0 ? "-" : fmt::format("{:.1f} ms", x.response_ms);
  const std::string head =
      fmt::format("  {}{} {:>{}} > {:<{}}  {:<16} {:>9}  ", clockText(row.t_ns), x.ours ? " *" : "  ",
                  addressText(x.request_id, x.extended, x.request_prefix, x.medium), id_width, to, id_width,
                  endText(x), time);
  sheet.row(head + requestText(x, blanked));
  if (const std::string times = timesText(x); !times.empty()) sheet.line({}, times, kAnswerIndent);
  if (x.answer.empty()) return;
  sheet.row(std::string(kAnswerIndent, ' ') + answerText(x, blanked));
}

void addExchanges(Sheet& sheet, const Summary& s) {
  const auto broken = static_cast<std::uint64_t>(
      std::count_if(s.messages.begin(), s.messages.end(), [](const auto& m) { return !m.record.complete; }));
  sheet.blank();
  if (s.messages.empty()) {
    sheet.row("No diagnostic message was seen.");
    return;
  }
  sheet.row(fmt::format("{} on the transport layer, {} broken off; {} (* asked by Pin16)",
                        counted(s.messages.size(), "message"), broken,
                        counted(s.exchanges.size(), "exchange")));
  std::size_t id_width = kId11;
  for (const auto& row : s.exchanges)
    id_width = std::max(id_width, addressText(row.record.request_id, row.record.extended,
                                              row.record.request_prefix, row.record.medium)
                                      .size());
  for (std::size_t i = 0; i < std::min(s.exchanges.size(), kMostRows); ++i)
    addExchange(sheet, s.exchanges[i], id_width,
                s.blanked_from_ns != kNoTime && !s.exchanges[i].record.ours &&
                    s.exchanges[i].t_ns >= s.blanked_from_ns);
  sheet.more(s.exchanges.size(), kMostRows, "exchanges");
}

void addAttempt(Sheet& sheet, const protocol::AttemptReport& a, std::size_t number, std::size_t count) {
  sheet.blank();
  const std::string which = count > 1 ? fmt::format("Attempt {} of {}", number, count) : "Attempt";
  std::string head = fmt::format("{} of the other equipment: {}", which, toText(a.rung));
  if (a.code >= 0) head += fmt::format(" ({:02X})", a.code);
  sheet.row(head);
  std::string when = fmt::format("{} to {}", clockText(a.begin_ns), clockText(a.end_ns));
  when += a.declared ? (a.ended.empty() ? ", not ended" : ", ended by " + a.ended)
                     : ", told by its requests: nobody declared it";
  if (a.power_up >= 0) when += fmt::format("; on power-up {}", a.power_up);
  sheet.line("  when", when);
  if (a.progress_ns != kNoTime)
    sheet.line("  last", fmt::format("{}: {}", clockText(a.progress_ns), a.progress));
  const auto all = [&](const char* label, const std::vector<std::string>& texts) {
    for (const std::string& text : texts) sheet.line(std::exchange(label, ""), text);
  };
  all("  seen", a.evidence);
  all("  excludes", a.excludes);
  all("  remains", a.remains);
  all("  not known", a.cannot_know);
  for (const protocol::SupplyCourse& c : a.supply) {
    std::string course =
        fmt::format("{} {:.4g} {}, lowest {:.4g} in {}", c.point, c.first, c.unit, c.lowest_before,
                    a.progress_ns == kNoTime ? "its last second" : "the second before the last progress");
    if (c.lowest_after < c.lowest_before)
      course += fmt::format(", then {:.4g} at {}", c.lowest_after, clockText(c.lowest_ns));
    sheet.line("  supply", course + ", from " + counted(c.values, "value"));
  }
  if (a.declared)
    sheet.line("  content", a.full ? "kept in full, by the authority that the capture's header names"
                                   : "blanked before it was written; digests stand for the messages");
  if (!a.changed.empty()) sheet.line("  changed", a.changed);
  if (!a.said.empty()) sheet.line("  it said", a.said);
}

void addPower(Sheet& sheet, const PowerFacts& p) {
  std::vector<std::string> all;
  if (p.measured > 0) all.push_back(fmt::format("{} measured", counted(p.measured, "power-up")));
  if (p.declared > 0) all.push_back(fmt::format("{} declared", counted(p.declared, "power-up")));
  for (const PointRises& r : p.rises)
    all.push_back(fmt::format("{} rose {}", r.point, counted(r.rises, "time")));
  if (p.wake_ups > 0) all.push_back(fmt::format("the bus woke {} by itself", counted(p.wake_ups, "time")));
  if (p.removed_ns != kNoTime) all.push_back("taken off at " + clockText(p.removed_ns));
  if (!all.empty()) sheet.line("Power", fmt::format("{}", fmt::join(all, "; ")));
}

void addAttempts(Sheet& sheet, const Summary& s) {
  for (std::size_t i = 0; i < s.attempts.size(); ++i)
    addAttempt(sheet, s.attempts[i], i + 1, s.attempts.size());
  if (s.passes.same + s.passes.different != 0)
    sheet.line("Asked again",
               fmt::format("{} the same answer, {} another one", s.passes.same, s.passes.different));
}

/// No digit that the uncertainty does not carry, no "-0.00".
std::string valueText(double value, double uncertainty) {
  if (!(uncertainty > 0)) return fmt::format("{:.5g}", value);
  const int digits = std::clamp(1 - static_cast<int>(std::floor(std::log10(uncertainty))), 0, 9);
  const double step = std::pow(10, -digits);
  return fmt::format("{:.{}f}", std::abs(value) < step / 2 ? 0.0 : value, digits);
}

/// A figure as people read it: "deepest 8.910 V +/- 0.02, from two dips".
std::string figureText(const plugin::Figure& f) {
  std::string out = f.what;
  if (!std::isnan(f.value)) {
    out += " " + valueText(f.value, f.uncertainty);
    if (!f.unit.empty() && f.unit != "1") out += " " + f.unit;
    if (f.uncertainty >= 0) out += fmt::format(" +/- {:.2g}", f.uncertainty);
  }
  return f.text.empty() ? out : out + (std::isnan(f.value) ? " " : ", ") + f.text;
}

void addPlugins(Sheet& sheet, const Summary& s) {
  for (const plugin::Refused& r : s.plugins_refused)
    sheet.line("Not loaded", fmt::format("{}: {}", r.path, r.reason));
  for (const plugin::Results& r : s.plugins) {
    const bool quiet = r.findings.empty() && r.sections.empty() && r.failed.empty() && r.dropped == 0;
    if (quiet) continue;
    sheet.blank();
    sheet.row(r.facts.name);
    if (!r.failed.empty()) sheet.line("  failed", r.failed);
    if (r.dropped != 0)
      sheet.line("  dropped", fmt::format("{} of what it gave: {}", r.dropped, r.dropped_why));
    for (std::size_t i = 0; i < std::min(r.findings.size(), kMostRows); ++i) {
      const plugin::Finding& f = r.findings[i];
      const char* mark = f.weight == plugin::Weight::against   ? "  against"
                         : f.weight == plugin::Weight::warning ? "  warning"
                                                               : "  fact";
      sheet.line(mark,
                 f.confidence < 1 ? fmt::format("{} (confidence {:.2g})", f.text, f.confidence) : f.text);
    }
    sheet.more(r.findings.size(), kMostRows, "findings");
    for (const plugin::Section& section : r.sections) {
      sheet.row("  " + section.title);
      if (!section.text.empty()) sheet.line("", section.text);
      for (std::size_t i = 0; i < std::min(section.rows.size(), kMostSectionRows); ++i)
        sheet.line("", figureText(section.rows[i]));
      sheet.more(section.rows.size(), kMostSectionRows, "rows");
    }
  }
}

}  // namespace

std::string toText(const Summary& s) {
  Sheet sheet;
  addHead(sheet, s);
  addPower(sheet, s.power);
  addAttempts(sheet, s);
  addIdentifiers(sheet, s);
  addExchanges(sheet, s);
  addPlugins(sheet, s);
  return sheet.take();
}

}  // namespace pin16::review
