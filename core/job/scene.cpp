// SPDX-License-Identifier: Apache-2.0
#include "core/job/scene.hpp"

#include <algorithm>
#include <charconv>
#include <filesystem>
#include <fstream>

#include "core/job/append.hpp"

namespace pin16::job {
namespace {

/// Ends what a crash cut off, so that the next entry begins on a line of its own.
constexpr std::string_view kCutOff = "(cut off while it was written)";

bool known(std::string_view kind) {
  return std::find(kSceneKinds.begin(), kSceneKinds.end(), kind) != kSceneKinds.end();
}

std::optional<SceneEntry> parse(const std::string& line) {
  SceneEntry e;
  std::array<std::string*, 4> to{&e.utc, &e.kind, &e.by, &e.text};
  std::size_t from = 0;
  for (std::size_t i = 0; i < to.size(); ++i) {
    const std::size_t tab = i + 1 < to.size() ? line.find('\t', from) : line.size();
    if (tab == std::string::npos) return std::nullopt;
    *to.at(i) = line.substr(from, tab - from);
    from = tab + 1;
  }
  return known(e.kind) && !e.utc.empty() ? std::optional(std::move(e)) : std::nullopt;
}

}  // namespace

std::vector<SceneItem> asFound(Arrangement arrangement) {
  if (arrangement == Arrangement::removed)
    return {
        {"module", "Which module: label, part and serial number as printed? Housing, connector, screws?"},
        {"seal", "Was it sealed, by whom, which number, unbroken? Who handed it over?"},
        {"place", "Where did it sit, in which attitude, who took it out and when?"},
        {"damage", "Dents, cracks, water, growth between pins?"},
    };
  return {
      {"vehicle", "Which vehicle: identification plate, licence plate, odometer?"},
      {"keeper", "Who keeps it, who is here, and who allows what?"},
      {"stands", "How does it stand: chocked, on a hook, doors that open, water line inside?"},
      {"battery", "Battery: where, joined or not, terminals, leaks, crash cut-off beside it?"},
      {"lights", "What lights up when a door is opened? Is there a key?"},
      {"fuses", "Fuse lids and the module's fuse in its slot: rating, colour, blown? Anything missing?"},
      {"connector", "Diagnostic connector: contacts, dirt; is a device or splitter plugged in, and whose?"},
      {"harness", "Harness damage; restraint wiring pulled out or cut? Looked at, never measured."},
      {"seals", "Seals, tape, traces of earlier work?"},
  };
}

std::vector<SceneItem> asLeft(Arrangement arrangement) {
  if (arrangement == Arrangement::removed)
    return {
        {"off",
         "Power switched off, and the wait of the service information kept before anything was unjoined?"},
        {"module", "Module in its bag and box, in which attitude, sealed with which number?"},
        {"handed", "Handed over to whom, when?"},
    };
  return {
      {"off", "Module power switched off by the switch, and the wait kept before anything was unjoined?"},
      {"fuse", "The module's fuse back in its slot, of the right rating?"},
      {"battery", "Battery as found, or as agreed? Volts at its posts?"},
      {"connector",
       "Everything of ours out of the connector; what was plugged in before, back or kept by whom?"},
      {"closed", "Covers, fuse lids, doors: closed and locked as found? Harness ends taped?"},
      {"handed", "Who has the vehicle now?"},
  };
}

std::string sceneFile(const Job& job) { return job.file + ".scene"; }

Result<std::vector<SceneEntry>> readScene(const Job& job) {
  std::vector<SceneEntry> out;
  if (job.file.empty() || !std::filesystem::exists(sceneFile(job))) return out;
  std::ifstream in(sceneFile(job), std::ios::binary);
  if (!in) return Error{ErrorKind::input, "cannot be read", sceneFile(job), "Check its permissions"};
  std::string line;
  for (std::size_t number = 1; std::getline(in, line); ++number) {
    if (line.empty()) continue;
    if (auto e = parse(line))
      out.push_back(std::move(*e));
    else if (line.ends_with(kCutOff))
      out.push_back({line.substr(0, line.find('\t')), "note", "", field(line)});
    else if (!in.eof())
      return Error{ErrorKind::input, "not an entry: expected UTC<TAB>KIND<TAB>BY<TAB>TEXT",
                   sceneFile(job) + ":" + std::to_string(number),
                   "Entries are only ever appended; put the line right by hand and note that you did"};
  }
  return out;
}

Status appendScene(const Job& job, const SceneEntry& entry) {
  if (job.file.empty())
    return Error{ErrorKind::usage, "a job without a file keeps no record of the scene", "",
                 "Give a job file with --job"};
  const std::string file = sceneFile(job);
  std::string last;
  const std::string start = !cutOff(file, last) ? "" : parse(last) ? "\n" : " " + std::string(kCutOff) + "\n";
  return appendTo(
      file,
      start + field(entry.utc) + '\t' + entry.kind + '\t' + field(entry.by) + '\t' + field(entry.text) + '\n',
      "the record of the scene", "Check the folder's permissions and free space; until then use paper");
}

std::optional<ScenePhoto> photoOf(const SceneEntry& entry) {
  if (entry.kind != "photo") return std::nullopt;
  const std::size_t first = entry.text.find(' '), second = entry.text.find(' ', first + 1);
  if (first != 64 || second == std::string::npos) return std::nullopt;
  ScenePhoto p{entry.text.substr(0, first), 0, entry.text.substr(second + 1)};
  const char* end = entry.text.data() + second;
  const auto [stop, error] = std::from_chars(entry.text.data() + first + 1, end, p.bytes);
  return error == std::errc() && stop == end && !p.path.empty() ? std::optional(std::move(p)) : std::nullopt;
}

}  // namespace pin16::job
