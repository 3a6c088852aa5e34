// SPDX-License-Identifier: Apache-2.0
// `pin16 scene`: what was found and left, who was there, with what it was measured.
#include "core/job/scene.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "core/base/clock.hpp"
#include "core/capture/hash.hpp"
#include "core/cli/live_json.hpp"
#include "core/cli/operator.hpp"
#include "core/cli/options.hpp"
#include "core/readiness/cautions.hpp"
#include "core/readiness/plan.hpp"

namespace pin16::cli {
namespace {

namespace fs = std::filesystem;

constexpr double kTyping_s = 1;  // between reading another clock and pressing Enter (own figure)

/// Hash and length; nothing if it cannot be read.
std::optional<std::pair<std::string, std::uint64_t>> hashOf(const fs::path& path) {
  std::ifstream in(path, std::ios::binary);
  capture::Sha256 sum;
  std::uint64_t bytes = 0;
  for (Bytes part(1U << 20U); in;) {
    in.read(reinterpret_cast<char*>(part.data()), static_cast<std::streamsize>(part.size()));
    const auto n = static_cast<std::size_t>(in.gcount());
    sum.add(ByteView(part).first(n));
    bytes += n;
  }
  if (!in.is_open() || in.bad() || fs::is_directory(path)) return std::nullopt;
  return std::pair{sum.finish(), bytes};
}

class Scene {
 public:
  Scene(const Options& o, job::Job job)
      : o_(o), job_(std::move(job)), folder_(fs::absolute(job_.file).parent_path()) {}
  Status add() {
    if (o_.cautions) {
      for (const auto& line : readiness::cautions(job_)) std::fprintf(stderr, "caution: %s\n", line.c_str());
      if (Status s = readiness::keepCautionsRead(job_, o_.by); !s) return s;
    }
    if (Status s = checklist(); !s) return s;
    for (const auto& path : o_.photos)
      if (Status s = photo(path); !s) return s;
    for (const auto& text : o_.people)
      if (Status s = put("person", text); !s) return s;
    for (const auto& text : o_.meters)
      if (Status s = put("meter", text); !s) return s;
    for (const auto& text : o_.clocks)
      if (Status s = clock(text); !s) return s;
    for (const auto& text : o_.words)
      if (Status s = put("note", text); !s) return s;
    return {};
  }
  [[nodiscard]] Result<std::vector<SceneRow>> rows() const {
    const auto entries = job::readScene(job_);
    if (!entries) return entries.error();
    std::vector<SceneRow> out;
    for (const auto& e : *entries) {
      SceneRow& row = out.emplace_back(SceneRow{e, job::photoOf(e), ""});
      if (!row.photo) continue;
      const auto now = hashOf(folder_ / row.photo->path);  // an absolute path stays one
      row.state = !now ? "missing" : now->first == row.photo->sha256 ? "same" : "changed";
    }
    return out;
  }

 private:
  Status put(const std::string& kind, const std::string& text) {
    return job::appendScene(job_, {utcText(readClocks().utc_ns), kind, o_.by, text});
  }
  Status photo(const std::string& name) {
    const auto sum = hashOf(name);
    if (!sum) return Error{ErrorKind::input, "cannot be read", name, "name a picture's file"};
    const fs::path absolute = fs::absolute(name).lexically_normal();
    const fs::path relative = absolute.lexically_relative(folder_.lexically_normal());
    const bool below = !relative.empty() && *relative.begin() != "..";
    return put("photo",
               fmt::format("{} {} {}", sum->first, sum->second, (below ? relative : absolute).string()));
  }
  Status clock(const std::string& text) {
    const Ns now_ns = readClocks().utc_ns;
    const std::size_t eq = text.rfind('=');
    const auto shown_ns = eq == std::string::npos ? std::nullopt : parseUtc(text.substr(eq + 1));
    if (!shown_ns || eq == 0)
      return Error{ErrorKind::usage, "'" + text + "' is no clock", "--clock",
                   "write NAME=2026-11-27T18:30:05Z, the zone with it (Z, or +01:00)"};
    const ClockState own = readClockState();
    const std::string ours =
        own.synchronised && own.estimated_error_ns >= 0
            ? fmt::format("synchronised within {:.3f} s", toSeconds(own.estimated_error_ns))
        : own.synchronised ? "synchronised"
                           : "not synchronised";
    return put("clock", fmt::format("{}: {:+.1f} s +- {:g} s against this computer, which is {}",
                                    text.substr(0, eq), toSeconds(*shown_ns - now_ns), kTyping_s, ours));
  }
  Status checklist() {
    if (!o_.found && !o_.left) return {};
    const auto items = o_.found ? job::asFound(job_.arrangement) : job::asLeft(job_.arrangement);
    const char* kind = o_.found ? "found" : "left";
    if (!o_.operator_file.empty()) return fromFile(items, kind);
    if (!operatorPresent())
      return Error{ErrorKind::usage, "nobody to ask: this is no terminal", fmt::format("--{}", kind),
                   "give the answers with --operator FILE, `CODE: TEXT` a line"};
    for (const auto& item : items) {
      const std::string answer =
          askTerminal(fmt::format("\n{}: {}\n  Enter skips > ", item.code, item.question));
      if (answer.empty()) continue;
      if (Status s = put(kind, item.code + ": " + answer); !s) return s;
    }
    return {};
  }
  /// All lines are judged before the first is kept.
  Status fromFile(const std::vector<job::SceneItem>& items, const char* kind) {
    std::ifstream in(o_.operator_file);
    if (!in)
      return Error{ErrorKind::input, "cannot be read", o_.operator_file, "give a file, `CODE: TEXT` a line"};
    std::vector<std::string> answers;
    std::string line;
    for (int number = 1; std::getline(in, line); ++number) {
      if (line.empty() || line.front() == '#') continue;
      const std::string code = line.substr(0, line.find(": "));
      std::string known;
      bool fits = false;
      for (const auto& item : items)
        known += (known.empty() ? "" : ", ") + item.code, fits = fits || item.code == code;
      if (!fits || code.size() + 2 >= line.size())
        return Error{ErrorKind::input, "'" + line + "' answers nothing that is looked at here",
                     fmt::format("{}:{}", o_.operator_file, number),
                     "write CODE: TEXT, the code one of " + known};
      answers.push_back(line);
    }
    for (const auto& a : answers)
      if (Status s = put(kind, a); !s) return s;
    return {};
  }

  const Options& o_;
  job::Job job_;
  fs::path folder_;
};

}  // namespace

int scene(const Options& o) {
  auto job = job::readJob(o.job);
  if (!job) return fail(job.error());
  const std::string file = job::sceneFile(*job);
  Scene scene(o, std::move(*job));
  if (Status s = scene.add(); !s) return fail(s.error());
  const auto rows = scene.rows();
  if (!rows) return fail(rows.error());
  bool same = true;
  for (const SceneRow& r : *rows) same = same && (r.state.empty() || r.state == "same");
  if (o.json) {
    fmt::print("{}\n", sceneJson(file, *rows));
    return same ? kExitReady : kExitNotReady;
  }
  for (const SceneRow& r : *rows) {
    const std::string text =
        r.photo ? fmt::format("{} ({} bytes, sha256 {}...): {}", r.photo->path, r.photo->bytes,
                              r.photo->sha256.substr(0, 8), r.state == "same" ? "as it was" : r.state)
                : r.entry.text;
    fmt::print("{}  {:<7} {}{}\n", r.entry.utc.substr(0, 19) + "Z", r.entry.kind, text,
               r.entry.by.empty() ? "" : " (" + r.entry.by + ")");
  }
  fmt::print("{}: {} entries{}\n", file, rows->size(), same ? "" : "; a picture is missing or was changed");
  return same ? kExitReady : kExitNotReady;
}

}  // namespace pin16::cli
