// SPDX-License-Identifier: Apache-2.0
#include "core/plugin/host.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <limits>

#include "core/plugin/library.hpp"

namespace pin16::plugin {
namespace {

namespace fs = std::filesystem;

constexpr const char* kSuffix = ".so";

/// Folders to look in, and whether shipped plugins can be there.
std::vector<std::pair<fs::path, bool>> folders() {
  std::vector<std::pair<fs::path, bool>> out;
  std::error_code ignored;
  const char* program = std::getenv("PIN16_PROGRAM");
  const fs::path self = program != nullptr ? fs::path(program) : fs::read_symlink("/proc/self/exe", ignored);
  const fs::path prefix = self.parent_path().parent_path();
  if (!prefix.empty()) {
    out.emplace_back(prefix / "plugins", true);
    out.emplace_back(prefix / PIN16_PLUGIN_FOLDER, true);
  }
  const char* data = std::getenv("XDG_DATA_HOME");
  const char* home = std::getenv("HOME");
  if (data != nullptr && *data != 0)
    out.emplace_back(fs::path(data) / "pin16/plugins", false);
  else if (home != nullptr && *home != 0)
    out.emplace_back(fs::path(home) / ".local/share/pin16/plugins", false);
  return out;
}

void consider(const fs::path& path, bool may_be_shipped, Search& into) {
  const auto& shipped = shippedNames();
  const std::string text = path.string();
  Status fit = trustFile(text);
  if (fit) fit = checkCard(text);
  if (!fit) {
    const Error& e = fit.error();
    into.refused.push_back({text, e.advice.empty() ? e.what : e.what + ". " + e.advice});
    return;
  }
  const bool is_shipped =
      may_be_shipped && std::find(shipped.begin(), shipped.end(), path.stem().string()) != shipped.end();
  into.found.push_back({text, is_shipped});
}

double orNaN(const std::optional<double>& v) { return v.value_or(std::numeric_limits<double>::quiet_NaN()); }

}  // namespace

const std::vector<std::string>& shippedNames() {
  static const std::vector<std::string> names = {"bus-voltage", "handshake-timing", "bus-census",
                                                 "error-watch", "rollcall"};
  return names;
}

Search search(const std::vector<std::string>& named) {
  Search out;
  for (const auto& [folder, may_be_shipped] : folders()) {
    std::error_code none;
    std::vector<fs::path> files;
    for (fs::directory_iterator it(folder, none), end; !none && it != end; it.increment(none))
      if (it->path().extension() == kSuffix) files.push_back(it->path());
    std::sort(files.begin(), files.end());
    for (const fs::path& file : files) consider(file, may_be_shipped, out);
  }
  for (const std::string& file : named) consider(file, false, out);
  return out;
}

JobFacts jobFacts(const job::Job& job) {
  JobFacts f;
  f.name = job.name;
  f.arrangement = toText(job.arrangement);
  f.access = toText(job.access);
  f.module = job.module.name;
  if (job.module.address) {
    f.request_id = job.module.address->request_id;
    f.answer_id = job.module.address->answer_id;
    f.extended = job.module.address->extended;
  }
  if (job.module.line_address) f.line_address = *job.module.line_address;
  f.sealed = job.sealed;
  f.nominal_V = job.nominal_V;
  f.supply_min_V = orNaN(job.module.supply_min_V);
  f.supply_max_V = orNaN(job.module.supply_max_V);
  f.current_steady_min_A = orNaN(job.module.current_steady_min_A);
  f.current_steady_max_A = orNaN(job.module.current_steady_max_A);
  f.bitrate = job.bus.bitrate.value_or(0);
  f.power_up_budget = static_cast<std::uint32_t>(std::max(0, job.power_up_budget.value_or(0)));
  return f;
}

Result<std::unique_ptr<Host>> Host::start(const HostOptions& options, const job::Job& job) {
  std::unique_ptr<Host> host(new Host);
  if (options.none) return host;
  Search found = search(options.named);
  host->refused_ = std::move(found.refused);
  Setup setup{job.limits, jobFacts(job), {}, options.asking};
  std::vector<std::string> names;
  for (const Found& f : found.found) {
    auto runner = f.shipped ? runHere(f.path) : runApart(f.path);
    if (!runner) {
      host->refused_.push_back({f.path, runner.error().what});
      continue;
    }
    const Facts& facts = (*runner)->facts();
    if (std::find(names.begin(), names.end(), facts.name) != names.end()) {
      host->refused_.push_back({f.path, fmt::format("a plugin named {} is there already", facts.name)});
      continue;
    }
    const auto given = job.plugins.find(facts.name);
    setup.settings = given == job.plugins.end() ? Settings{} : given->second;
    if (Status fits = checkSettings(facts, setup.settings); !fits) {
      Error e = fits.error();
      e.place = job.file + ": " + e.place;
      return e;
    }
    names.push_back(facts.name);
    host->runners_.push_back(*std::move(runner));
    host->runners_.back()->start(setup);
  }
  for (const auto& entry : job.plugins) {
    if (std::find(names.begin(), names.end(), entry.first) != names.end()) continue;
    std::string known;
    for (const std::string& name : names) known += (known.empty() ? "" : ", ") + name;
    return Error{ErrorKind::input, fmt::format("there is no plugin named {}", entry.first),
                 fmt::format("{}: [plugin.{}]", job.file, entry.first),
                 known.empty() ? "none was found: see `pin16 plugins`" : "these are: " + known};
  }
  std::sort(host->runners_.begin(), host->runners_.end(),
            [](const auto& a, const auto& b) { return a->facts().name < b->facts().name; });
  if (options.threads > 1 && !host->runners_.empty()) {
    for (std::size_t i = 0; i < kChunks; ++i) (void)host->free_.push(std::make_unique<Chunk>(), 1);
    host->worker_ = std::thread([h = host.get()] { h->work(); });
  }
  return host;
}

Host::~Host() { settle(); }

void Host::settle() {
  work_.close();
  if (worker_.joinable()) worker_.join();
}

void Host::work() {
  while (!work_.finished()) {
    auto chunk = work_.pop(std::chrono::milliseconds(100));
    if (!chunk) continue;
    for (const auto& r : runners_) r->take(**chunk);
    (*chunk)->clear();
    (void)free_.push(*std::move(chunk), 1);
  }
}

std::unique_ptr<Chunk> Host::emptyChunk() {
  if (!worker_.joinable()) return spare_ != nullptr ? std::move(spare_) : std::make_unique<Chunk>();
  for (;;)
    if (auto chunk = free_.pop(std::chrono::milliseconds(1000))) return *std::move(chunk);
}

void Host::take(std::unique_ptr<Chunk> chunk) {
  if (worker_.joinable()) {
    (void)work_.push(std::move(chunk), 1);  // never full: no more chunks exist than it holds
    return;
  }
  for (const auto& r : runners_) r->take(*chunk);
  chunk->clear();
  spare_ = std::move(chunk);
}

std::vector<Host::Question> Host::takeQuestions() {
  std::vector<Question> out;
  for (std::size_t i = 0; i < runners_.size(); ++i)
    for (Asked& a : runners_[i]->takeAsked()) out.push_back({i, std::move(a)});
  return out;
}

void Host::answered(const Question& question, const event::Exchange* exchange, const std::string& refused) {
  runners_[question.plugin]->answered(question.asked.tag, exchange, refused);
}

std::vector<Results> Host::takeSoFar() {
  std::vector<Results> out;
  for (const auto& r : runners_) out.push_back(r->takeSoFar());
  return out;
}

std::vector<Results> Host::finish(Ns end_ns) {
  settle();
  std::vector<Results> out;
  for (const auto& r : runners_) {
    r->finish(end_ns);
    out.push_back(r->takeResults());
  }
  runners_.clear();
  return out;
}

}  // namespace pin16::plugin
