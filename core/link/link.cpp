// SPDX-License-Identifier: Apache-2.0
#include "core/link/link.hpp"

#include <algorithm>

#include "core/link/at.hpp"
#include "core/link/kline.hpp"
#include "core/link/replay.hpp"
#include "core/link/slcan.hpp"
#include "core/link/socketcan.hpp"

namespace pin16::link {
namespace {

std::vector<Scheme>& registry() {
  static std::vector<Scheme> all;
  return all;
}

std::string knownSchemes() {
  addBuiltInSchemes();
  std::string out;
  for (const Scheme& s : registry()) out += (out.empty() ? "" : ", ") + s.name + ":";
  return out;
}

Error usage(std::string_view text, std::string what) {
  return {ErrorKind::usage, std::move(what), std::string(text), "Schemes: " + knownSchemes()};
}

}  // namespace

Result<Uri> parseUri(std::string_view text) {
  Uri uri;
  uri.text = text;
  const std::size_t colon = text.find(':');
  if (colon == std::string_view::npos || colon == 0 || colon + 1 == text.size())
    return usage(text, "a link is written SCHEME:TARGET, for instance socketcan:can0");
  uri.scheme = text.substr(0, colon);
  std::string_view rest = text.substr(colon + 1);
  const std::size_t question = rest.find('?');
  uri.target = rest.substr(0, question);
  if (uri.target.empty()) return usage(text, "the link names no target; expected SCHEME:TARGET");
  if (question == std::string_view::npos) return uri;
  rest.remove_prefix(question + 1);
  while (!rest.empty()) {
    const std::string_view pair = rest.substr(0, rest.find('&'));
    const std::size_t equals = pair.find('=');
    if (equals == std::string_view::npos || equals == 0)
      return usage(text, "an option is written key=value, not \"" + std::string(pair) + "\"");
    uri.options.emplace_back(pair.substr(0, equals), pair.substr(equals + 1));
    rest.remove_prefix(std::min(rest.size(), pair.size() + 1));
  }
  return uri;
}

Status allowOptions(const Uri& uri, std::initializer_list<std::string_view> known) {
  for (const auto& [key, value] : uri.options) {
    if (std::find(known.begin(), known.end(), key) != known.end()) continue;
    std::string names;
    for (const std::string_view k : known) names.append(names.empty() ? "" : ", ").append(k);
    return Error{
        ErrorKind::usage, "unknown option \"" + key + "\"", uri.text,
        names.empty() ? uri.scheme + ": takes no options" : "Options of " + uri.scheme + ": " + names};
  }
  return {};
}

void addScheme(Scheme scheme) {
  for (Scheme& s : registry()) {
    if (s.name == scheme.name) {
      s = std::move(scheme);
      return;
    }
  }
  registry().push_back(std::move(scheme));
}

const std::vector<Scheme>& schemes() { return registry(); }

std::string completeUri(const std::string& uri, const Hints& hints) {
  const auto parsed = parseUri(uri);
  if (!parsed) return uri;  // told when the link is made
  for (const Scheme& s : registry()) {
    if (s.name != parsed->scheme || !s.missing) continue;
    const std::string options = s.missing(*parsed, hints);
    if (!options.empty()) return uri + (parsed->options.empty() ? "?" : "&") + options;
  }
  return uri;
}

std::optional<std::string> searchUri(const std::string& uri) {
  const auto parsed = parseUri(uri);
  if (!parsed) return std::nullopt;
  for (const Scheme& s : registry())
    if (s.name == parsed->scheme && !s.search.empty() &&
        parsed->option(s.search.substr(0, s.search.find('='))).empty())
      return uri + (parsed->options.empty() ? "?" : "&") + s.search;
  return std::nullopt;
}

bool isMeter(std::string_view uri) {
  const std::string_view name = uri.substr(0, uri.find(':'));
  return std::any_of(registry().begin(), registry().end(),
                     [&](const Scheme& s) { return s.name == name && s.meter; });
}

void addBuiltInSchemes() {
  static bool done = false;
  if (done) return;
  done = true;
  addScheme(socketCanScheme());
  addScheme(slcanScheme());
  addScheme(replayScheme());
  addScheme(atScheme());
  addScheme(kLineScheme());
}

Result<std::unique_ptr<Link>> makeLink(const Uri& uri, const Context& context) {
  addBuiltInSchemes();
  for (const Scheme& s : registry())
    if (s.name == uri.scheme) return s.make(uri, context);
  return usage(uri.text, "no link scheme is called \"" + uri.scheme + "\"");
}

}  // namespace pin16::link
