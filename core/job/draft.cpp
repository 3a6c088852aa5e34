// SPDX-License-Identifier: Apache-2.0
#include "core/job/draft.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <string_view>

#include "core/base/hex.hpp"
#include "core/job/append.hpp"

namespace pin16::job {
namespace {

/// In the order of docs/job-file.md.
constexpr std::array<std::string_view, 7> kTables{"job", "module", "bus", "feed", "ours", "link", "meter"};

bool oneOf(std::string_view name, std::initializer_list<std::string_view> names) {
  return std::find(names.begin(), names.end(), name) != names.end();
}
bool isList(std::string_view table) { return table == "link" || table == "meter"; }
bool isFlag(std::string_view field) {
  return oneOf(field, {"sealed", "extended", "fd", "rate_fixed", "usb_isolated", "computer_on_mains",
                       "computers_joined"});
}
bool isText(std::string_view field) {
  return oneOf(field, {"name", "arrangement", "access", "silence", "wait_source", "vin", "pins", "protocol",
                       "uri", "role", "volts", "amperes"});
}
bool isIdentifier(std::string_view field) {
  return oneOf(field, {"request_id", "answer_id", "line_address"});
}

bool isDigit(char c) { return c >= '0' && c <= '9'; }
bool isHex(std::string_view s) {
  return !s.empty() && s.find_first_not_of("0123456789abcdefABCDEF") == std::string_view::npos;
}

/// A decimal number as TOML has it: no leading zeros, digits on both sides of the point.
bool isNumber(std::string_view s) {
  const auto digits = [&s] {
    std::size_t n = 0;
    while (n < s.size() && isDigit(s[n])) ++n;
    s.remove_prefix(n);
    return n;
  };
  const auto skip = [&s](std::string_view any) {
    const bool there = !s.empty() && any.find(s.front()) != std::string_view::npos;
    if (there) s.remove_prefix(1);
    return there;
  };
  (void)skip("+-");
  const bool zero = s.starts_with('0');
  const std::size_t whole = digits();
  if (whole == 0 || (zero && whole > 1)) return false;
  if (skip(".") && digits() == 0) return false;
  if (skip("eE")) {
    (void)skip("+-");
    if (digits() == 0) return false;
  }
  return s.empty();
}

std::string tomlText(std::string_view text) {
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"' || c == '\\')
      (out += '\\') += c;
    else if (static_cast<unsigned char>(c) < 0x20 || c == 0x7F)
      out += fmt::format("\\u{:04X}", static_cast<unsigned>(static_cast<unsigned char>(c)));
    else
      out += c;
  }
  return out + "\"";
}

std::string valueOf(std::string_view field, const std::string& text) {
  if (isText(field)) return tomlText(text);
  if (isFlag(field)) return text == "true" || text == "false" ? text : tomlText(text);
  if (isIdentifier(field)) {
    const bool prefixed = text.starts_with("0x") || text.starts_with("0X");
    const std::string digits = prefixed ? text.substr(2) : text;
    return isHex(digits) ? "0x" + digits : tomlText(text);
  }
  return isNumber(text) ? text : tomlText(text);
}

std::string trimmed(const std::string& s) {
  const auto from = s.find_first_not_of(" \t\r\n");
  return from == std::string::npos ? "" : s.substr(from, s.find_last_not_of(" \t\r\n") - from + 1);
}

/// The file's lines, and the key of the field or table that stands in each.
struct Lines {
  std::string text;
  std::vector<std::string> keys;
  void add(const std::string& line, std::string key) {
    text += line + '\n';
    keys.push_back(std::move(key));
  }
};

Lines linesOf(const Draft& draft) {
  Lines out;
  out.add("# docs/job-file.md says what each field means.", "");
  for (const std::string_view table : kTables) {
    std::string open;  // the table being written, "link.0"
    for (const auto& [key, typed] : draft) {
      const std::string text = trimmed(typed);
      const std::size_t dot = key.rfind('.');
      if (text.empty() || dot == std::string::npos) continue;
      const std::string of = key.substr(0, dot), field = key.substr(dot + 1);
      if (of.substr(0, of.find('.')) != table) continue;
      if (of != open) {
        out.add("", "");
        out.add(fmt::format("{0}{1}{2}", isList(table) ? "[[" : "[", table, isList(table) ? "]]" : "]"), of);
        open = of;
      }
      out.add(field + " = " + valueOf(field, text), key);
    }
  }
  return out;
}

constexpr std::string_view kName = "job";  // of the text while it is judged

}  // namespace

std::string draftText(const Draft& draft) { return linesOf(draft).text; }

std::optional<DraftFault> checkDraft(const Draft& draft) {
  const Lines lines = linesOf(draft);
  const auto job = parseJob(lines.text, std::string(kName));
  if (job) return std::nullopt;
  DraftFault fault{"", job.error()};
  // "job:LINE: field", the field named as the file has it: which of several links only the line tells.
  std::string_view place = fault.error.place;
  if (place.starts_with(kName)) place.remove_prefix(kName.size() + 1);
  const auto line = toUnsigned(place.substr(0, place.find(':')));
  if (line && *line >= 1 && *line <= lines.keys.size()) fault.key = lines.keys[*line - 1];
  return fault;
}

Result<Job> createJob(const std::string& file, const Draft& draft) {
  if (const auto fault = checkDraft(draft)) return fault->error;
  if (Status made = createNew(file, draftText(draft), "the job file"); !made) return made.error();
  return readJob(file);
}

Status keepPluginSettings(const std::string& file, const std::map<std::string, PluginSettings>& plugins) {
  const auto job = readJob(file);
  if (!job) return job.error();
  std::string more;
  for (const auto& [name, settings] : plugins) {
    if (const auto there = job->plugins.find(name); there != job->plugins.end()) {
      if (there->second == settings) continue;
      return Error{ErrorKind::usage, "the job has a table [plugin." + name + "] with other settings", file,
                   "Nothing was written; change them there with a text editor"};
    }
    if (settings.empty()) continue;
    more += "\n[plugin." + name + "]\n";
    for (const auto& [setting, value] : settings) {
      more += setting + " = ";
      if (const auto* number = std::get_if<double>(&value))
        more += fmt::format("{}", *number);
      else if (const auto* on = std::get_if<bool>(&value))
        more += *on ? "true" : "false";
      else
        more += tomlText(std::get<std::string>(value));
      more += '\n';
    }
  }
  if (more.empty()) return {};
  std::string last;
  if (cutOff(file, last)) more.insert(0, 1, '\n');  // its last line has no end
  return appendTo(file, more, "the job file", "Check the folder's permissions and free space");
}

}  // namespace pin16::job
