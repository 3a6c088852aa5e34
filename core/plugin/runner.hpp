// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One plugin at work, wherever it runs: in this process (shipped ones) or in a helper process (all others).
/// One owner, one thread at a time. No call throws; whatever goes wrong ends the plugin and stands in its
/// results.

#include <memory>
#include <string>
#include <vector>

#include "core/event/records.hpp"
#include "core/limits/limits.hpp"
#include "core/plugin/feed.hpp"
#include "core/plugin/local.hpp"
#include "core/plugin/results.hpp"

namespace pin16::plugin {

/// What a plugin is started with.
struct Setup {
  limits::Limits limits;
  JobFacts job;
  Settings settings;
  bool asking = false;
};

class Runner {
 public:
  virtual ~Runner() = default;
  [[nodiscard]] virtual const Facts& facts() const = 0;
  virtual void start(const Setup& setup) = 0;
  virtual void take(const Chunk& chunk) = 0;
  /// What it wants asked since the last call.
  [[nodiscard]] virtual std::vector<Asked> takeAsked() = 0;
  /// `exchange` null: refused, and why.
  virtual void answered(std::uint64_t tag, const event::Exchange* exchange, const std::string& refused) = 0;
  virtual void finish(Ns end_ns) = 0;
  /// After finish(), or whenever it has failed.
  [[nodiscard]] virtual Results takeResults() = 0;
  /// What it gave since the last call, before finish().
  [[nodiscard]] virtual Results takeSoFar() = 0;
};

/// Loads `path` into this process. Errors as Library::load and readFacts.
[[nodiscard]] Result<std::unique_ptr<Runner>> runHere(const std::string& path);
/// Runs a description that is linked in (tests).
[[nodiscard]] Result<std::unique_ptr<Runner>> runHere(const pin16_plugin& plugin);
/// Starts a helper process for `path`; the library is loaded there. `patience` bounds each call of the
/// plugin.
inline constexpr Ns kPatience_ns = 10 * kNsPerSecond;  ///< own figure
[[nodiscard]] Result<std::unique_ptr<Runner>> runApart(const std::string& path,
                                                       Ns patience_ns = kPatience_ns);

/// The descriptor on which the helper finds its end of the socket.
inline constexpr int kHelperSocket = 3;
/// The helper process's whole life, on its end of the socket; `pin16 plugin-helper` (internal). Exit code.
int helperMain(int socket);

}  // namespace pin16::plugin
