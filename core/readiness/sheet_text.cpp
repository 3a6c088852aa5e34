// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>

#include <algorithm>

#include "core/base/text.hpp"
#include "core/readiness/sheet.hpp"
#include "core/readiness/steps.hpp"

namespace pin16::readiness {
namespace {

constexpr std::size_t kFigureColumn = 17;
constexpr std::size_t kValueColumn = 54;
constexpr std::size_t kLimitColumn = 72;
constexpr std::size_t kTextColumn = 29;  ///< where a step's sentence begins
constexpr std::size_t kFirstColumn = 7;  ///< text beside "First:"

/// A shape for each verdict, each one column wide; the word always stands beside it.
const char* mark(Verdict v) {
  switch (v) {
    case Verdict::sound:
      return "\u25cf";  // disc
    case Verdict::marginal:
      return "\u25b2";  // triangle
    case Verdict::faulty:
      return "\u2715";  // cross
    case Verdict::not_measured:
      return "\u25cb";  // ring
    case Verdict::not_asked:
      return "\u2013";  // dash
  }
  return "?";
}

std::string spoken(Verdict v) {
  std::string text = toText(v);
  std::replace(text.begin(), text.end(), '-', ' ');
  return text;
}

std::string padded(const std::string& text, std::size_t width) {
  const std::size_t used = columns(text);
  return used >= width ? text + " " : text + std::string(width - used, ' ');
}

/// Sources are long and repeat: they are numbered and printed once at the end.
class Sources {
 public:
  std::size_t number(const std::string& source) {
    const auto it = std::find(all_.begin(), all_.end(), source);
    if (it != all_.end()) return static_cast<std::size_t>(it - all_.begin()) + 1;
    all_.push_back(source);
    return all_.size();
  }
  [[nodiscard]] std::string text() const {
    if (all_.empty()) return {};
    std::string out = "\nLimits\n";
    for (std::size_t i = 0; i < all_.size(); ++i) {
      const std::string head = padded(fmt::format("  [{}]", i + 1), 7);
      out += wrapped(head, all_[i], 7);
    }
    return out;
  }

 private:
  std::vector<std::string> all_;
};

std::string figureLine(const Figure& f, Sources& sources) {
  std::string value = amount(f.value, f.unit);
  if (f.uncertainty > 0 && value != "open") value += fmt::format(" \u00b1{:.2g}", f.uncertainty);
  const std::string indent(kFigureColumn, ' ');
  std::string line = padded(padded(indent + f.what, kValueColumn) + value, kLimitColumn);
  if (f.kind != Figure::Kind::none) {
    const char* word = f.hint ? "usually to" : f.kind == Figure::Kind::at_least ? "at least" : "at most";
    line += fmt::format("{} {} [{}]", word, amount(f.limit, f.unit), sources.number(f.limit_source));
    if (!f.ok) line += " !";
  }
  line.erase(line.find_last_not_of(' ') + 1);
  if (columns(line) <= kTextWidth) return line + '\n';
  return wrapped(indent, std::string_view(line).substr(kFigureColumn), kFigureColumn + 2);
}

std::string stepLines(const Step& s, Sources& sources) {
  std::string head =
      padded(std::string(" ") + mark(s.verdict) + " " + spoken(s.verdict), 17) + padded(s.name, 12);
  std::string out = wrapped(
      head, s.text + (s.needed || s.verdict != Verdict::not_measured ? "" : " (optional here)"), kTextColumn);
  for (const Figure& f : s.figures) out += figureLine(f, sources);
  return out;
}

std::string verdictLine(const Sheet& s) {
  std::string word = toText(s.overall);
  std::transform(word.begin(), word.end(), word.begin(),
                 [](char c) { return c == '-' ? ' ' : static_cast<char>(c - 'a' + 'A'); });
  // The sentence begins with the same word; the capitals are for the eye.
  return wrapped("", word + s.sentence.substr(std::min(s.sentence.size(), word.size())), 2);
}

std::string footLines(const Sheet& s) {
  std::string out = wrapped(
      "",
      fmt::format("Job: {} ({}, by {}{})", s.job_name, s.arrangement, s.access, s.sealed ? ", sealed" : ""),
      2);
  if (!mayPower(s.interlocks)) out += wrapped("", "Before power " + inTheWay(s.interlocks) + ".", 2);
  for (const Interlocked& i : s.interlocks)
    if (i.standing == Standing::overridden)
      out += wrapped("",
                     fmt::format("Before power {} was not known; {} went on because: {}", i.what.code,
                                 i.by.empty() ? "somebody" : i.by, i.reason),
                     2);
  out +=
      fmt::format("Power-ups on record: {}{}. Sent: {} frames. Heard: {} frames, {} error frames, {} lost.\n",
                  s.power.powerUps(), s.power_up_budget ? fmt::format(" of {}", *s.power_up_budget) : "",
                  s.sent, s.frames, s.error_frames, s.losses[0] + s.losses[1] + s.losses[2]);
  if (s.power.supplyRises() + s.power.wake_ups > 0)
    out += wrapped("", "Ledger: " + job::toText(s.power) + ".", 2);
  for (const event::LinkState& l : s.links) {
    if (l.meter) {
      const std::string matter = l.text.empty() ? "" : ": " + l.text;
      out += wrapped("", fmt::format("Meter: {} ({}){}", l.uri, l.description, matter), 2);
      continue;
    }
    const char* silence = l.silence == event::Silence::proven    ? "proven silent"
                          : l.silence == event::Silence::claimed ? "claims to be silent"
                                                                 : "acknowledges";
    out += wrapped("", fmt::format("Link: {} ({})", l.uri, silence), 2);
  }
  if (!s.capture.empty()) out += "Capture: " + s.capture + '\n';
  return out;
}

}  // namespace

std::string toPlainText(const Sheet& s) {
  std::string out = verdictLine(s);
  if (s.first_thing)
    out += wrapped("First: ", s.first_thing->text + " [" + s.first_thing->code + "]", kFirstColumn);
  if (s.deciding) out += wrapped("Next:  ", s.deciding->point + ": " + s.deciding->how, kFirstColumn);
  out += '\n';
  Sources sources;
  for (const Step& step : s.steps) out += stepLines(step, sources);
  return out + sources.text() + '\n' + footLines(s);
}

}  // namespace pin16::readiness
