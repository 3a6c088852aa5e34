// SPDX-License-Identifier: Apache-2.0
// `pin16 why`: which cause is it, and what to measure next.
#include "core/cli/why.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>

#include "core/capture/reader.hpp"
#include "core/cli/operator.hpp"
#include "core/cli/options.hpp"
#include "core/readiness/evidence.hpp"
#include "core/reasons/text.hpp"

namespace pin16::cli {
namespace {

using reasons::Observation;

/// The answer's index, by its words.
Observation said(const char* id, const char* answer) {
  return *reasons::parseObservation(fmt::format("{}={}", id, answer));
}

/// What a capture tells beside typed and sampled points.
std::vector<Observation> fromBus(const readiness::Evidence& e, const job::Job& job, bool module_seen,
                                 bool others_seen) {
  std::vector<Observation> out;
  for (const readiness::LinkFacts* l : e.buses()) {
    if (!l->ever_up) continue;
    out.push_back(said("adapter-answers", "yes"));
    if (l->state.listen_only != event::Known::unknown)
      out.push_back(
          said("adapter-mode", l->state.listen_only == event::Known::yes ? "listen only" : "normal"));
    const bool asked = e.sent() > 0;
    if (l->frames > 0 || e.listened_s() >= 3)
      out.push_back(said("identifiers", module_seen && others_seen ? "both"
                                        : module_seen              ? "module"
                                        : others_seen              ? "others"
                                                                   : "none"));
    if (asked || l->error_frames > 0)
      out.push_back(
          said("error-class",
               l->error_frames > 0
                   ? (l->error_classes.contains(CAN_ERR_PROT) && l->own_bit_errors > 0 ? "bit" : "format")
               : l->unacknowledged > 0 ? "acknowledge"
                                       : "none"));
    if (asked && l->state.controller != "unknown")
      out.push_back(said("controller-state", l->bus_off || l->state.controller == "bus-off" ? "bus-off"
                                             : l->state.controller == "error-passive"       ? "passive"
                                                                                            : "active"));
  }
  for (const readiness::ExchangeFacts& x : e.exchanges()) {
    const bool own = job.module.address && x.request_id == job.module.address->request_id;
    if (!own && x.ended == event::Ended::answered) out.push_back(said("rollcall", "others"));
    if (own && x.came_after_ms >= 0) out.push_back(said("answer@longwait", "yes"));
    if (own && x.ended == event::Ended::negative) out.push_back(said("answer@longwait", "refused"));
  }
  return out;
}

class Why {
 public:
  Why(const Options& o, job::Job job) : o_(o), job_(std::move(job)), left_out_(reasons::kReadings, false) {}
  int run();

 private:
  Status gather();
  Status readCapture();
  Status leaveOut();
  void ask(reasons::Reasoner& m);
  [[nodiscard]] reasons::Policy policy(const reasons::Reasoner& m) const;

  const Options& o_;
  job::Job job_;
  std::vector<bool> left_out_;
  std::vector<Observation> observations_;
  std::vector<std::string> ignored_;
  bool answered_ = false;
};

Status Why::readCapture() {
  auto reader = capture::Reader::open(o_.file);
  if (!reader) return reader.error();
  readiness::Evidence evidence;
  const auto& address = job_.module.address;
  if (address) evidence.setModule(address->answer_id, address->extended);
  bool module = false, others = false;
  for (event::Batch batch; (*reader)->next(batch);) {
    evidence.take(batch);
    for (const auto& h : batch.headers) {
      const auto frame =
          h.kind == event::Kind::frame && (h.flags & event::kOutbound) == 0 ? batch.frame(h) : std::nullopt;
      if (!frame || frame->error()) continue;
      const bool own = address && frame->id() == address->answer_id && frame->extended() == address->extended;
      (own ? module : others) = true;
    }
  }
  for (const auto& p : evidence.points()) {
    event::Measurement m;
    m.point = p.point, m.value = p.last, m.unit = p.unit, m.uncertainty = p.uncertainty, m.power = p.power,
    m.condition = p.condition;
    if (const auto o = reasons::observationOf(m))
      observations_.push_back(*o);
    else
      ignored_.push_back(p.point);
  }
  for (const auto& o : fromBus(evidence, job_, module, others)) observations_.push_back(o);
  answered_ = std::any_of(evidence.exchanges().begin(), evidence.exchanges().end(), [&](const auto& x) {
    return address && x.request_id == address->request_id && x.ended == event::Ended::answered && !x.late;
  });
  return {};
}

/// What cannot be had: named by the user, or not allowed in a sealed job.
Status Why::leaveOut() {
  for (const auto& id : o_.without) {
    const auto r = reasons::findReading(id);
    if (!r)
      return Error{ErrorKind::usage, fmt::format("there is no reading named '{}'", id), "--without",
                   "docs/reasons.md lists them"};
    left_out_[*r] = true;
  }
  if (!job_.sealed) return {};
  for (std::size_t r = 0; r < reasons::kReadings; ++r) {
    const std::string_view id = reasons::readings()[r].id, risk = reasons::readings()[r].risk;
    if (id.starts_with("answer@") || id == "rollcall" || id == "reseat" ||
        risk.find("request") != std::string_view::npos)
      left_out_[r] = true;
  }
  return {};
}

Status Why::gather() {
  if (Status s = leaveOut(); !s) return s;
  for (const auto& m : job_.readings) {
    if (const auto o = reasons::observationOf(m))
      observations_.push_back(*o);
    else
      ignored_.push_back(m.point);
  }
  if (!o_.file.empty())
    if (Status s = readCapture(); !s) return s;
  for (const auto& text : o_.readings) {
    auto o = reasons::parseObservation(text);
    if (!o) return o.error();
    observations_.push_back(*o);
  }
  return {};
}

reasons::Policy Why::policy(const reasons::Reasoner& m) const {
  reasons::Policy p;
  if (job_.power_up_budget) {
    const auto ledger = job::readLedger(job_);
    p.power_ups_left =
        std::max(0, *job_.power_up_budget - (ledger ? job::countPower(*ledger).powerUps() : 0));
  }
  p.powered = !m.evidence().empty() &&
              reasons::readings()[m.evidence().back().reading].power == reasons::Power::on &&
              m.gate().empty();
  return p;
}

void Why::ask(reasons::Reasoner& m) {
  for (;;) {
    const auto next = m.next(policy(m), left_out_);
    if (next.empty()) return;
    const reasons::Next& n = next.front();
    const reasons::Reading& r = reasons::readings()[n.reading];
    std::string question =
        fmt::format("\n{}\n  {} > ", reasons::howText(n), "answer, or - if it cannot be had; Enter ends");
    if (n.power_ups > 0)
      question = fmt::format("\nThis costs a power-up; {} left.{}",
                             policy(m).power_ups_left >= 1000 ? "no budget is stated, any number"
                                                              : std::to_string(policy(m).power_ups_left),
                             question);
    const std::string answer = askTerminal(question);
    if (answer.empty()) return;
    if (answer == "-") {
      left_out_[n.reading] = true;
      m.leaveOut(left_out_);
      continue;
    }
    const auto o = reasons::parseObservation(fmt::format("{}={}", r.id, answer));
    if (!o) {
      std::fprintf(stderr, "%s\n", o.error().text().c_str());
      continue;
    }
    m.observe(*o);
    fmt::print("{}", reasons::toPlainText(reasons::explain(m, policy(m), left_out_), o_.numbers));
    std::fflush(stdout);
  }
}

int Why::run() {
  auto priors = reasons::priors(job_.arrangement);
  if (!o_.priors.empty())
    if (Status s = reasons::replacePriors(priors, o_.priors); !s) return fail(s.error());
  if (Status s = gather(); !s) return fail(s.error());
  reasons::Setting setting{job_.arrangement, std::nullopt};
  setting.gateway = job_.access == job::Access::gateway;
  reasons::Reasoner m = reasons::Reasoner::prepare(setting, priors);
  m.leaveOut(left_out_);
  for (const auto& o : observations_) {
    const reasons::Reading& r = reasons::readings()[o.reading];
    if ((r.arrangements & reasons::bit(job_.arrangement)) == 0)
      return fail({ErrorKind::usage,
                   fmt::format("{} does not exist in arrangement {}", r.id, job::toText(job_.arrangement)),
                   "reading", "docs/reasons.md says where each is taken"});
    m.observe(o);
  }
  for (const auto& point : ignored_)
    std::fprintf(stderr, "%s tells no cause from another here and was left aside\n", point.c_str());
  if (answered_)
    std::fprintf(stderr,
                 "the module answers in this capture: what follows is about a time when it does not\n");
  if (!o_.json && operatorPresent()) ask(m);
  const auto answer = reasons::explain(m, policy(m), left_out_);
  if (o_.json)
    fmt::print("{}\n", whyJson(job_, m, answer));
  else
    fmt::print("{}", reasons::toPlainText(answer, o_.numbers));
  return answer.certain && !answer.unexplained ? kExitReady : kExitNotReady;
}

}  // namespace

int why(const Options& o) {
  auto job = job::readJob(o.job);
  if (!job) return fail(job.error());
  return Why(o, std::move(*job)).run();
}

}  // namespace pin16::cli
