// SPDX-License-Identifier: Apache-2.0
#include "core/review/search.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <chrono>
#include <utility>

#include "core/capture/describe.hpp"
#include "core/capture/reader.hpp"

namespace pin16::review {
namespace {

using event::Kind;

constexpr Ns kDay_ns = 86'400 * kNsPerSecond;
constexpr std::uint8_t kAnswerBit = 0x40;
constexpr std::uint8_t kNegativeAnswer = 0x7F;
constexpr const char* kAdvice =
    "Words: id, service, ended, kind, link, text, near, within; for instance: id 7E8 ended silent near "
    "12:03:04 within 2";

constexpr std::pair<Kind, const char*> kKinds[] = {
    {Kind::frame, "frame"},     {Kind::bytes, "bytes"},       {Kind::sample, "sample"},
    {Kind::link, "link"},       {Kind::clock, "clock"},       {Kind::loss, "loss"},
    {Kind::gap, "gap"},         {Kind::damage, "damage"},     {Kind::sent, "sent"},
    {Kind::refused, "refused"}, {Kind::power, "power"},       {Kind::client, "client"},
    {Kind::line, "line"},       {Kind::digest, "digest"},     {Kind::reading, "reading"},
    {Kind::note, "note"},       {Kind::attempt, "attempt"},   {Kind::clearance, "clearance"},
    {Kind::message, "message"}, {Kind::exchange, "exchange"}, {Kind::finding, "finding"},
    {Kind::verdict, "verdict"},
};
constexpr const char* kErrorFrame = "error-frame";
constexpr const char* kEnded[] = {"answered",  "negative", "incomplete", "silent",
                                  "link-lost", "not-seen", "late",       "pending"};

template <class List, class T>
bool has(const List& list, const T& value) {
  return std::find(std::begin(list), std::end(list), value) != std::end(list);
}

std::string lower(std::string_view text) {
  std::string out(text);
  for (char& c : out) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

Error wrong(std::string what) { return {ErrorKind::usage, std::move(what), "search", kAdvice}; }

/// Words; what stands in quotes is one, and its first is true.
Result<std::vector<std::pair<bool, std::string>>> words(std::string_view text) {
  std::vector<std::pair<bool, std::string>> out;
  while (!text.empty()) {
    if (text.front() == ' ' || text.front() == '\t') {
      text.remove_prefix(1);
      continue;
    }
    const char quote = text.front();
    const bool quoted = quote == '"' || quote == '\'';
    if (quoted) text.remove_prefix(1);
    const std::size_t end = quoted ? text.find(quote) : text.find_first_of(" \t");
    if (quoted && end == std::string_view::npos)
      return wrong(fmt::format("the quotation mark before '{}' has no second one", text));
    out.emplace_back(quoted, text.substr(0, end));
    text.remove_prefix(std::min(text.size(), end == std::string_view::npos ? end : end + (quoted ? 1 : 0)));
  }
  return out;
}

/// Seconds with a fraction; nothing if anything is left over.
std::optional<Ns> secondsOf(std::string_view text) {
  double s = 0;
  const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), s);
  constexpr double kMost_s = 1e9;
  if (fault != std::errc() || end != text.data() + text.size() || !(s >= 0 && s < kMost_s))
    return std::nullopt;
  return fromSeconds(s);
}

/// "12:03:04.5"
std::optional<Ns> timeOfDay(std::string_view text) {
  if (text.size() < 8 || text[2] != ':' || text[5] != ':') return std::nullopt;
  const auto h = toUnsigned(text.substr(0, 2));
  const auto m = toUnsigned(text.substr(3, 2));
  const auto s = secondsOf(text.substr(6));
  if (!h || !m || !s || *h > 23 || *m > 59 || *s >= 60 * kNsPerSecond) return std::nullopt;
  return static_cast<Ns>(*h * 3600 + *m * 60) * kNsPerSecond + *s;
}

/// "2026-11-25T12:03:04.5Z", the Z may be missing.
std::optional<Ns> moment(std::string_view text) {
  if (!text.empty() && text.back() == 'Z') text.remove_suffix(1);
  if (text.size() < 19 || text[4] != '-' || text[7] != '-' || text[10] != 'T') return std::nullopt;
  const auto y = toUnsigned(text.substr(0, 4));
  const auto m = toUnsigned(text.substr(5, 2));
  const auto d = toUnsigned(text.substr(8, 2));
  const auto of_day = timeOfDay(text.substr(11));
  if (!y || !m || !d || !of_day) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year(static_cast<int>(*y)),
                                         std::chrono::month(static_cast<unsigned>(*m)),
                                         std::chrono::day(static_cast<unsigned>(*d))};
  if (!date.ok() || *y < 1970 || *y > 2200) return std::nullopt;
  return std::chrono::sys_days(date).time_since_epoch().count() * kDay_ns + *of_day;
}

Status takeNear(Query& q, std::string_view value) {
  if (q.near_utc_ns || q.near_of_day_ns || q.near_from_start_ns) return wrong("`near` stands twice");
  if (value.starts_with('+'))
    q.near_from_start_ns = secondsOf(value.substr(1));
  else if (auto of_day = timeOfDay(value))
    q.near_of_day_ns = of_day;
  else
    q.near_utc_ns = moment(value);
  if (q.near_utc_ns || q.near_of_day_ns || q.near_from_start_ns) return {};
  return wrong(
      fmt::format("'{}' is no time: 12:03:04.5 (UTC), 2026-11-25T12:03:04Z, or +3.5 (seconds from "
                  "the start) were expected",
                  value));
}

Status takeId(Query& q, std::string_view value) {
  const auto id = toUnsigned(value, 16);
  const bool fits = value.size() == 2 || (value.size() == 3 && id && *id <= event::kStandardMask) ||
                    (value.size() == 8 && id && *id <= event::kExtendedMask);
  if (!id || value.starts_with("0x") || !fits)
    return wrong(
        fmt::format("'{}' is no identifier: 3 hex digits (11 bit), 8 (29 bit) or 2 (an address of a "
                    "K-line or J1850 bus) were expected",
                    value));
  q.ids.push_back({static_cast<std::uint32_t>(*id), value.size() == 8, value.size() == 2});
  return {};
}

Status takeNumber(Query& q, std::string_view word, std::string_view value) {
  const bool service = word == "service";
  const auto n = toUnsigned(value, service ? 16 : 10);
  if (!n || (service && (value.size() != 2 || *n > 0xFF)) || *n >= event::kNoLink)
    return wrong(fmt::format(
        "'{}' is no {}", value,
        service ? "service: two hex digits were expected" : "link: its number in the capture was expected"));
  if (service)
    q.services.push_back(static_cast<std::uint8_t>(*n));
  else
    q.links.push_back(static_cast<std::uint16_t>(*n));
  return {};
}

Status takeWord(Query& q, std::string_view word, const std::string& value) {
  if (word == "id") return takeId(q, value);
  if (word == "service" || word == "link") return takeNumber(q, word, value);
  if (word == "near") return takeNear(q, value);
  if (word == "text") {
    q.texts.push_back(lower(value));
    return {};
  }
  if (word == "within") {
    const auto s = secondsOf(value);
    if (!s) return wrong(fmt::format("'{}' is no number of seconds", value));
    q.within_ns = *s;
    return {};
  }
  const bool ended = word == "ended";
  if (ended ? !has(kEnded, value) : !has(kindNames(), value))
    return wrong(fmt::format("'{}' is no {}: {} were expected", value, ended ? "ending" : "kind",
                             ended ? fmt::format("{}", fmt::join(kEnded, ", "))
                                   : fmt::format("{}", fmt::join(kindNames(), ", "))));
  (ended ? q.ended : q.kinds).push_back(value);
  return {};
}

bool idFits(const Query& q, std::uint32_t id, bool extended, bool line) {
  return q.ids.empty() || has(q.ids, Query::Identifier{id, extended, line});
}

/// The service of a request or of its answer; 0 of an empty one.
std::uint8_t serviceOf(ByteView message) {
  if (message.empty()) return 0;
  if (message[0] == kNegativeAnswer) return message.size() > 1 ? message[1] : 0;
  return static_cast<std::uint8_t>(message[0] & ~kAnswerBit);
}

}  // namespace

const char* nameOf(Kind kind) {
  const auto* const found =
      std::find_if(std::begin(kKinds), std::end(kKinds), [&](const auto& k) { return k.first == kind; });
  return found == std::end(kKinds) ? "event" : found->second;
}

const std::vector<std::string>& kindNames() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> out{kErrorFrame};
    for (const auto& [kind, name] : kKinds) out.emplace_back(name);
    return out;
  }();
  return names;
}

Result<Query> parseQuery(std::string_view text) {
  const auto all = words(text);
  if (!all) return all.error();
  constexpr std::array kWords{"id", "service", "ended", "kind", "link", "text", "near", "within"};
  Query q;
  for (std::size_t i = 0; i < all->size(); ++i) {
    const auto& [quoted, word] = (*all)[i];
    if (quoted) {
      q.texts.push_back(lower(word));
      continue;
    }
    if (!has(kWords, word)) return wrong(fmt::format("'{}' is no word of a search", word));
    if (++i == all->size()) return wrong(fmt::format("`{}` is not followed by anything", word));
    if (const Status taken = takeWord(q, word, (*all)[i].second); !taken) return taken.error();
  }
  if (q.empty()) return wrong("nothing is sought");
  return q;
}

bool Search::wanted(std::string_view kind, std::uint16_t link, Ns t_ns) {
  if (t_ns != kNoTime && first_ns_ == kNoTime) first_ns_ = t_ns;
  const Query& q = query_;
  if (!q.kinds.empty() && !has(q.kinds, kind)) return false;
  if (!q.links.empty() && !has(q.links, link)) return false;
  const auto near = [&](Ns at_ns, Ns target_ns) {
    return std::max(at_ns - target_ns, target_ns - at_ns) <= q.within_ns;
  };
  if (!q.near_utc_ns && !q.near_of_day_ns && !q.near_from_start_ns) return true;
  if (t_ns == kNoTime) return false;
  if (q.near_utc_ns) return near(t_ns, *q.near_utc_ns);
  if (q.near_from_start_ns) return near(t_ns - first_ns_, *q.near_from_start_ns);
  const Ns of_day = ((t_ns % kDay_ns) + kDay_ns) % kDay_ns;
  const Ns apart = std::max(of_day - *q.near_of_day_ns, *q.near_of_day_ns - of_day);
  return std::min(apart, kDay_ns - apart) <= q.within_ns;
}

void Search::tell(std::string_view kind, const event::Batch& batch, const event::Header& h, Ns t_ns) {
  std::string text = capture::describe(h, batch);
  if (!query_.texts.empty()) {
    const std::string in = lower(text);
    if (std::none_of(query_.texts.begin(), query_.texts.end(),
                     [&](const std::string& t) { return in.find(t) != std::string::npos; }))
      return;
  }
  ++count_;
  found_({h.sequence, t_ns, h.link, std::string(kind), (h.flags & event::kOutbound) != 0, std::move(text)});
}

void Search::frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t /*wire_bits*/,
                   Ns /*wire_ns*/) {
  const char* const kind = frame.error() ? kErrorFrame : "frame";
  if (!wanted(kind, h.link, t_ns) || !query_.services.empty() || !query_.ended.empty()) return;
  if (frame.error() ? !query_.ids.empty() : !idFits(query_, frame.id(), frame.extended(), false)) return;
  event::Batch one;
  one.addFrame(h.sequence, t_ns, h.link, frame, h.flags);
  tell(kind, one, one.headers.front(), t_ns);
}

void Search::record(const event::Batch& batch, const event::Header& h, Ns t_ns) {
  const char* const kind = nameOf(h.kind);
  if (!wanted(kind, h.link, t_ns) || !query_.ended.empty()) return;
  const auto line = h.kind == Kind::line ? batch.record<event::Line>(h) : std::nullopt;
  if (!query_.services.empty() && (!line || !has(query_.services, serviceOf(line->data)))) return;
  if (!query_.ids.empty()) {
    const auto digest = h.kind == Kind::digest ? batch.record<event::Digest>(h) : std::nullopt;
    const bool of_line = line && std::any_of(line->header.begin(), line->header.end(),
                                             [&](std::uint8_t b) { return idFits(query_, b, false, true); });
    if (!of_line && !(digest && idFits(query_, digest->id, digest->extended, false))) return;
  }
  tell(kind, batch, h, t_ns);
}

template <class T>
void Search::concluded(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const T& record) {
  event::Batch one;
  one.add(sequence, t_ns, link, event::kKindOf<T>, record);
  tell(nameOf(event::kKindOf<T>), one, one.headers.front(), t_ns);
}

void Search::message(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Message& m) {
  if (!wanted("message", link, t_ns) || !query_.ended.empty()) return;
  if (!idFits(query_, m.id, m.extended, m.medium != event::Medium::can)) return;
  if (!query_.services.empty() && !has(query_.services, serviceOf(m.payload))) return;
  concluded(sequence, link, t_ns, m);
}

void Search::exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Exchange& x) {
  if (!wanted("exchange", link, t_ns)) return;
  const bool line = x.medium != event::Medium::can;
  if (!idFits(query_, x.request_id, x.extended, line) && !idFits(query_, x.answer_id, x.extended, line))
    return;
  if (!query_.services.empty() && !has(query_.services, serviceOf(x.request))) return;
  const auto& ended = query_.ended;
  if (!ended.empty() && !has(ended, toText(x.ended)) && !(x.late && has(ended, "late")) &&
      !(x.pending > 0 && has(ended, "pending")))
    return;
  concluded(sequence, link, t_ns, x);
}

Result<Searched> searchFile(const std::string& path, const Query& query, const job::Job* hints,
                            const std::function<void(const Hit&)>& found,
                            const std::function<bool()>& go_on) {
  auto opened = capture::Reader::open(path);
  if (!opened) return opened.error();
  Census census(hints != nullptr ? hints->limits : limits::Limits());
  if (hints != nullptr && hints->module.address)
    census.hint(hints->module.address->request_id, hints->module.address->answer_id,
                hints->module.address->extended);
  Search search(query, found);
  census.follow(search);
  for (event::Batch batch; (!go_on || go_on()) && (*opened)->next(batch);) census.take(batch);
  const Summary summary = census.finish();
  return Searched{search.count(), !summary.damage.empty()};
}

}  // namespace pin16::review
