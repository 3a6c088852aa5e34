// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The readiness sheet: nine steps and their verdicts, from evidence and limits. core/readiness is the only
/// place that makes a verdict. Pure functions, any thread.
///
///   step       own-battery           fed-in-place                    removed
///   source     needed                needed                          needed
///   feed       if measured           needed                          needed
///   ground     if measured           needed                          needed
///   connector  needed                if measured; pin 16 near 0 V    if measured
///                                    is expected
///   interface  if measured           needed                          needed
///   levels     if measured           if measured                     needed
///   traffic    needed, unless behind a gateway                       if measured
///   answer     needed; may be not asked (sealed)
///   timing     needed; may be not asked (sealed)
///
/// sound: the value meets its limit by more than its uncertainty. marginal: it does not by more than that
/// either way, or it does not but traffic or the module's answer prove that it works all the same. faulty: it
/// misses the limit by more than its uncertainty. Limits of confidence "memory" are shown and never decide.
///
/// ready = every needed step sound or marginal (answer, timing: or not asked), none faulty; not-ready = any
/// faulty; undecided = a needed one not measured, and the sheet names the reading that decides.

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "core/job/job.hpp"
#include "core/plugin/results.hpp"
#include "core/readiness/evidence.hpp"
#include "core/readiness/interlocks.hpp"

namespace pin16::readiness {

enum class Verdict { sound, marginal, faulty, not_measured, not_asked };
enum class Overall { ready, not_ready, undecided };
[[nodiscard]] const char* toText(Verdict v);  ///< "sound", ..., "not-measured", "not-asked"
[[nodiscard]] const char* toText(Overall o);  ///< "ready", "not-ready", "undecided"

inline constexpr std::array<const char*, 9> kSteps = {"source", "feed",    "ground", "connector", "interface",
                                                      "levels", "traffic", "answer", "timing"};

struct Figure {
  enum class Kind { at_least, at_most, none };  ///< none: shown only
  std::string what;                             ///< "V(pin16,pin4), 1 A load"
  double value = 0;
  std::string unit;
  double uncertainty = -1;  ///< half width; -1 not stated
  Kind kind = Kind::none;
  double limit = 0;
  std::string limit_source;
  bool hint = false;  ///< the limit is from memory and decided nothing
  bool ok = true;     ///< sound against the limit; true for what is only shown
};

struct Step {
  std::string name;
  bool needed = false;  ///< by this arrangement and access path
  Verdict verdict = Verdict::not_measured;
  std::string text;  ///< one or a few sentences
  std::string code;  ///< of the worst finding; empty if none
  std::vector<Figure> figures;
  std::string
      plugin;  ///< whose finding lowered the verdict; empty none. Code and what to do are then its own.
  std::string to_do;  ///< of that finding
};

struct FirstThing {
  std::string step, code, text;
};

struct Deciding {
  std::string step;
  std::string point;  ///< of docs/points.md, or "listen", "ask", "roll call"
  std::string how;
};

struct Sheet {
  std::string job_name, arrangement, access;
  bool sealed = false;
  Overall overall = Overall::undecided;
  std::string sentence;
  std::optional<Deciding> deciding;       ///< only if undecided
  std::optional<FirstThing> first_thing;  ///< first faulty step, else first marginal one
  std::vector<Step> steps;                ///< in the order of kSteps
  std::vector<Interlocked> interlocks;    ///< and how they stand
  job::PowerCounts power;                 ///< of the ledger
  std::optional<int> power_up_budget;
  std::uint64_t sent = 0, frames = 0, error_frames = 0;
  std::array<std::uint64_t, 3> losses{};  ///< kernel, adapter, queue
  std::uint64_t gaps = 0;
  std::vector<event::LinkState> links;
  std::string capture;
};

/// What was asked of this run.
struct Asked {
  bool ask = false;                     ///< requests were allowed (--ask)
  std::string capture;                  ///< file being written or reviewed; empty none
  std::vector<job::PowerUp> power_ups;  ///< the ledger
  std::vector<plugin::Results> plugins;
};

/// A plugin's finding of this confidence on may lower a verdict (own figure).
inline constexpr double kConfidenceMin = 0.5;
/// Lowers verdicts by what plugins found: a warning makes a sound step marginal, what speaks against makes it
/// faulty. Never raises one, and never judges what was not measured or asked. The step then names the plugin.
void lower(std::vector<Step>& steps, const std::vector<plugin::Results>& plugins);

[[nodiscard]] Sheet assess(const job::Job& job, const Evidence& evidence, const Asked& asked);

/// How often the module's feed came at the last switching-on, as far as meters and power events tell: more
/// than once is a plug that bounced, and each may count as a power-up. 0 nothing seen.
[[nodiscard]] std::size_t risesAtSwitchOn(const job::Job& job, const Evidence& evidence);

/// As recorded in the capture.
[[nodiscard]] std::vector<event::Verdict> verdictEvents(const Sheet& sheet);

/// The document of `pin16 check --json` (docs/readiness.md), indented, newline at the end. `reasons`: the
/// value of that member as JSON.
[[nodiscard]] std::string toJson(const Sheet& sheet, const std::string& reasons = "null");
/// The sheet for a terminal, at most 100 columns, newline at the end.
[[nodiscard]] std::string toPlainText(const Sheet& sheet);

/// What a finding's code means and what to do about it (docs/readiness.md). Codes are stable.
struct Code {
  const char* code;
  const char* step;
  const char* meaning;
  const char* to_do;
  const char* to_do_fed = "";      ///< fed-in-place, where it differs
  const char* to_do_removed = "";  ///< removed, where it differs
  [[nodiscard]] const char* toDo(job::Arrangement a) const;
};
[[nodiscard]] const std::vector<Code>& codes();
[[nodiscard]] const Code& findCode(std::string_view code);  ///< std::logic_error if there is none

}  // namespace pin16::readiness
