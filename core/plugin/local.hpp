// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A plugin at work in this very process: its host functions, its guards, and what it gives. One owner, one
/// thread at a time. A crash here is a crash of the process: foreign plugins run behind remote.hpp, which
/// uses this class in the helper.

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "core/base/result.hpp"
#include "core/job/job.hpp"
#include "core/limits/limits.hpp"
#include "core/plugin/include/pin16/plugin.h"
#include "core/plugin/results.hpp"

namespace pin16::plugin {

using Settings = job::PluginSettings;

/// What the job knows, as owned data; kNoNumber where it does not.
struct JobFacts {
  std::string name, arrangement, access, module;
  std::int64_t request_id = -1, answer_id = -1;
  bool extended = false, sealed = false;
  double nominal_V = 12;
  double supply_min_V, supply_max_V, current_steady_min_A, current_steady_max_A;  ///< NaN: not known
  std::uint32_t bitrate = 0, power_up_budget = 0;
  std::int32_t line_address = -1;
  JobFacts();
  template <class A>
  void fields(A& a) {
    a(name), a(arrangement), a(access), a(module), a(request_id), a(answer_id), a(extended), a(sealed),
        a(nominal_V);
    a(supply_min_V), a(supply_max_V), a(current_steady_min_A), a(current_steady_max_A), a(bitrate);
    a(power_up_budget), a(line_address);
  }
};

/// What a plugin wants asked, for whoever holds the way to the gate.
struct Asked {
  std::uint64_t tag = 0;
  std::uint32_t request_id = 0, answer_id = 0;
  bool extended = false;
  std::vector<std::uint8_t> payload;
  template <class A>
  void fields(A& a) {
    a(tag), a(request_id), a(answer_id), a(extended), a(payload);
  }
};

/// The description in `plugin` as owned data. ErrorKind::input, saying what is wrong, if it is not one:
/// sizes, missing functions, names that are empty, used twice or not of the form, defaults out of range,
/// texts that are none.
[[nodiscard]] Result<Facts> readFacts(const pin16_plugin& plugin);

/// ErrorKind::input naming setting, range and what is known, if a value does not fit the plugin's settings.
[[nodiscard]] Status checkSettings(const Facts& facts, const Settings& settings);

class Local {
 public:
  /// `plugin` must outlive this object; `facts` as readFacts() gave them. Nothing of the plugin runs yet.
  Local(const pin16_plugin& plugin, Facts facts, limits::Limits limits, JobFacts job, Settings settings);
  ~Local();
  Local(const Local&) = delete;
  Local& operator=(const Local&) = delete;

  void start();
  /// Whether questions can be asked in this run; before start().
  void allowAsking(bool yes) { asking_ = yes; }
  /// Only the kinds that the plugin wants reach it.
  void take(std::span<const pin16_event> events, std::uint64_t kinds);
  [[nodiscard]] std::vector<Asked> takeAsked() { return std::exchange(asked_, {}); }
  void answered(std::uint64_t tag, const pin16_exchange* exchange, const std::string& refused);
  void finish(Ns end_ns);
  /// Ends it from outside, with the reason.
  void fail(std::string why);

  [[nodiscard]] bool failed() const { return !results_.failed.empty(); }
  [[nodiscard]] const Facts& facts() const { return results_.facts; }
  [[nodiscard]] const Results& results() const { return results_; }
  /// What it gave since the last call; what remains here is its description and whether it failed. The bounds
  /// on what is kept hold for the whole run.
  [[nodiscard]] Results takeResults();

 private:
  struct Functions;  // the host functions, which take `this` as their context
  template <class F>
  void guarded(const char* where, F&& call);
  void drop(const char* why);
  [[nodiscard]] std::optional<std::string> text(pin16_text t);
  [[nodiscard]] std::optional<std::vector<Figure>> figures(const pin16_figure* rows, std::size_t count);

  const pin16_plugin& plugin_;
  limits::Limits limits_;
  JobFacts job_;
  Settings settings_;
  bool asking_ = false;
  bool finishing_ = false;
  Results results_;
  std::vector<Asked> asked_;
  std::vector<pin16_event> wanted_;
  std::size_t points_ = 0, findings_ = 0, sections_ = 0, evidence_ = 0;  // given in the whole run
  std::string vin_;  // holds the text of the last vin() answer
  pin16_job plain_job_{};
  pin16_host host_{};
  void* self_ = nullptr;
};

}  // namespace pin16::plugin
