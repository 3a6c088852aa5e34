// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Inside core/readiness: how a step is built, and the nine builders. Not for other rooms.

#include <string>
#include <string_view>
#include <vector>

#include "core/readiness/sheet.hpp"

namespace pin16::readiness {

/// What the builders look at.
[[nodiscard]] event::Medium mediumOf(const Evidence& evidence);
/// The job says which answers on this medium are its module's.
[[nodiscard]] bool knowsModule(const job::Job& job, event::Medium medium);

struct Case {
  const job::Job& job;
  const Evidence& evidence;
  const Asked& asked;
  [[nodiscard]] bool is(job::Arrangement a) const { return job.arrangement == a; }
  [[nodiscard]] bool behindGateway() const { return job.access == job::Access::gateway; }
  [[nodiscard]] bool is24() const { return job.nominal_V > 12; }
  /// The limit for this system: "supply.module_min_V" gives ..._24_V in a 24 V job.
  [[nodiscard]] const limits::Limit& limit(std::string_view name) const;
  /// The module is fed, as far as known; in its own vehicle unless told otherwise.
  [[nodiscard]] bool poweredOn() const;
  /// An exchange that is the job's module's: its identifiers, and an answer of any kind.
  [[nodiscard]] bool isOwn(const ExchangeFacts& e) const;
  [[nodiscard]] bool moduleAnswered() const;
  /// Ours, silent and not acknowledged, on a link that heard nobody and reported errors: it did not get onto
  /// the bus whole, so nobody was asked.
  [[nodiscard]] bool reachedNobody(const ExchangeFacts& e) const;
  /// Of the first link to a bus; CAN if there is none.
  [[nodiscard]] event::Medium medium() const { return mediumOf(evidence); }
};

[[nodiscard]] constexpr double inParallel(double a_ohm, double b_ohm) {
  return a_ohm * b_ohm / (a_ohm + b_ohm);
}

/// A value and how well it is known.
struct Value {
  std::string what;
  double value = 0;
  double uncertainty = -1;
  std::string unit;
};

/// One side of a band.
struct Bound {
  Figure::Kind kind = Figure::Kind::at_most;
  double limit = 0;
  std::string source;
  std::string confidence;
  const char* code = "";  ///< of missing it
};
[[nodiscard]] Bound atLeast(const limits::Limit& l, const char* code);
[[nodiscard]] Bound atMost(const limits::Limit& l, const char* code);

/// A step in the making. It is not measured until something was seen; then sound, until something worsens it.
class StepMaker {
 public:
  StepMaker(const char* name, bool needed) {
    step_.name = name;
    step_.needed = needed;
  }
  /// Something of this step was measured.
  void seen();
  /// Adds the figure of the bound that is missed, else of the nearest one, and worsens the step by it, at
  /// most to `most`.
  Verdict judge(const Value& v, const std::vector<Bound>& bounds, Verdict most = Verdict::faulty);
  /// A value that decides nothing.
  void show(const Value& v);
  /// A limit from memory: shown, decides nothing; true if the value is beyond it.
  bool hint(const Value& v, const limits::Limit& l);
  /// The worst finding names the step's code; of equals the first.
  void worsen(Verdict v, const char* code);
  void notAsked();
  /// A faulty finding becomes marginal: what it warns of was seen to work.
  void soften();
  void say(const std::string& sentence);
  [[nodiscard]] Verdict verdict() const { return step_.verdict; }
  [[nodiscard]] const std::string& code() const { return step_.code; }
  [[nodiscard]] Step done();

 private:
  Step step_;
};

[[nodiscard]] Value valueOf(const PointFacts& f, double value);
/// "1 frame", "2 frames"
[[nodiscard]] std::string counted(std::uint64_t n, std::string_view what);
/// "12.34 V", "61.0 ohm", "open"
[[nodiscard]] std::string amount(double value, std::string_view unit);

/// The newest facts of a point and, where that was not loaded, the newest loaded ones too.
[[nodiscard]] std::vector<const PointFacts*> relevant(
    const Evidence& e, std::string_view point, const std::function<bool(const PointFacts&)>& wanted = {});
[[nodiscard]] bool isOn(const PointFacts& f);
/// The samples of `f` from `from_ns` on; as it is if there are none (a typed reading).
[[nodiscard]] PointFacts since(const PointFacts& f, const Trace* trace, Ns from_ns);
/// There are links, and each of them only listens.
[[nodiscard]] bool onlyListening(const Evidence& evidence);
/// The job's module was asked by us and did not answer, while it was time.
[[nodiscard]] bool askedInVain(const Case& c);
/// Others than the job's module that answered, as text: "7E8".
[[nodiscard]] std::vector<std::string> othersThatAnswered(const Case& c);

[[nodiscard]] Step sourceStep(const Case& c);
[[nodiscard]] Step feedStep(const Case& c);
[[nodiscard]] Step groundStep(const Case& c);
[[nodiscard]] Step connectorStep(const Case& c);
[[nodiscard]] Step interfaceStep(const Case& c);
[[nodiscard]] Step levelsStep(const Case& c);
[[nodiscard]] Step trafficStep(const Case& c);
[[nodiscard]] Step answerStep(const Case& c);
[[nodiscard]] Step timingStep(const Case& c);

/// Whether the arrangement and access path need the step.
[[nodiscard]] bool isNeeded(const job::Job& job, std::string_view step);

}  // namespace pin16::readiness
