// SPDX-License-Identifier: Apache-2.0
// `pin16 why`: which cause is it, and what to measure next.
#include "core/cli/why.hpp"

#include <fmt/format.h>

#include "core/capture/reader.hpp"
#include "core/cli/operator.hpp"
#include "core/cli/options.hpp"
#include "core/reasons/gather.hpp"
#include "core/reasons/text.hpp"

namespace pin16::cli {

using reasons::Observation;

Status askForReadings(reasons::Reasoner& m, std::vector<bool>& left_out, bool numbers, const Asking& asking) {
  const auto tell = [&] {
    fmt::print("{}", reasons::toPlainText(reasons::explain(m, asking.policy(), left_out), numbers));
    std::fflush(stdout);
  };
  for (;;) {
    const auto next = m.next(asking.policy(), left_out);
    if (next.empty()) {
      const auto first = m.ranking().front();
      if (first.probability < asking.policy().stop_at || first.causes.front() == reasons::kSound) return {};
      if (askTerminal("\nmend it and ask the module again; type `silent` if it still does not answer; Enter "
                      "ends > ") != "silent")
        return {};
      m.mended(first.causes);
      tell();
      continue;
    }
    const reasons::Next& n = next.front();
    const reasons::Reading& r = reasons::readings()[n.reading];
    const auto leaveOut = [&] {
      left_out[n.reading] = true;
      m.leaveOut(left_out);
    };
    if (!asking.bring(r.power)) {  // nor for the next one: asked once is enough
      for (std::size_t i = 0; i < reasons::kReadings; ++i)
        if (reasons::readings()[i].power == r.power) left_out[i] = true;
      m.leaveOut(left_out);
      continue;
    }
    const std::string answer = askTerminal(
        fmt::format("\n{}\n  answer, or - if it cannot be had; Enter ends > ", reasons::howText(n)));
    if (answer.empty()) return {};
    if (answer == "-") {
      leaveOut();
      continue;
    }
    const auto o = reasons::parseObservation(fmt::format("{}={}", r.id, answer));
    if (!o) {
      std::fprintf(stderr, "%s\n", o.error().text().c_str());
      continue;
    }
    if (Status kept = asking.keep(r, answer); !kept) return kept;
    m.observe(*o);
    tell();
  }
}

namespace {

class Why {
 public:
  Why(const Options& o, job::Job job) : o_(o), job_(std::move(job)), left_out_(reasons::ruledOut(job_)) {}
  int run();

 private:
  Status gather();
  Status readCapture(readiness::Evidence& evidence);
  Status ask(reasons::Reasoner& m);

  const Options& o_;
  job::Job job_;
  std::vector<bool> left_out_;
  std::vector<Observation> typed_;
  std::vector<std::size_t> mended_;
  reasons::Gathered gathered_;
  bool powered_ = false;  ///< by what was said last
};

Status Why::readCapture(readiness::Evidence& evidence) {
  auto reader = capture::Reader::open(o_.file);
  if (!reader) return reader.error();
  for (event::Batch batch; (*reader)->next(batch);) evidence.take(batch);
  return {};
}

Status Why::gather() {
  for (const auto& id : o_.without) {
    const auto r = reasons::findReading(id);
    if (!r)
      return Error{ErrorKind::usage, fmt::format("there is no reading named '{}'", id), "--without",
                   "docs/reasons.md lists them"};
    left_out_[*r] = true;
  }
  for (const auto& id : o_.mended) {
    const auto c = reasons::findCause(id);
    if (!c)
      return Error{ErrorKind::usage, fmt::format("there is no cause named '{}'", id), "--mended",
                   "docs/reasons.md lists them"};
    mended_.push_back(*c);
  }
  readiness::Evidence evidence;
  if (const auto& a = job_.module.address) evidence.setModule(a->answer_id, a->extended);
  for (const auto& m : job_.readings) evidence.add(m, true);
  if (!o_.file.empty())
    if (Status s = readCapture(evidence); !s) return s;
  gathered_ = reasons::gather(evidence, job_);
  powered_ = evidence.power() == event::PowerState::on;
  for (const auto& text : o_.readings) {
    auto o = reasons::parseObservation(text);
    if (!o) return o.error();
    const reasons::Reading& r = reasons::readings()[o->reading];
    if ((r.arrangements & reasons::bit(job_.arrangement)) == 0)
      return Error{ErrorKind::usage,
                   fmt::format("{} does not exist in arrangement {}", r.id, job::toText(job_.arrangement)),
                   "reading", "docs/reasons.md says where each is taken"};
    typed_.push_back(*o);
    if (text.find("power=") != std::string::npos) powered_ = text.find("power=on") != std::string::npos;
  }
  return {};
}

Status Why::ask(reasons::Reasoner& m) {
  Asking asking;
  asking.policy = [this] { return reasons::policyOf(job_, powered_); };
  asking.bring = [&](reasons::Power wanted) {
    const reasons::Policy p = reasons::policyOf(job_, powered_);
    const bool rises = wanted == reasons::Power::on && !powered_;
    if (wanted != reasons::Power::any) powered_ = wanted == reasons::Power::on;
    if (rises)
      std::fprintf(stderr, "\nThis costs a power-up; %s left.",
                   p.power_ups_left >= 1000 ? "no budget is stated, any number"
                                            : std::to_string(p.power_ups_left).c_str());
    return true;
  };
  asking.keep = [](const reasons::Reading&, const std::string&) { return Status{}; };
  return askForReadings(m, left_out_, o_.numbers, asking);
}

int Why::run() {
  auto priors = reasons::priors(job_.arrangement);
  if (!o_.priors.empty())
    if (Status s = reasons::replacePriors(priors, o_.priors); !s) return fail(s.error());
  if (Status s = gather(); !s) return fail(s.error());
  reasons::Reasoner m = reasons::Reasoner::prepare(reasons::settingOf(job_), priors);
  m.leaveOut(left_out_);
  for (const auto* all : {&gathered_.observations, &typed_})
    for (const auto& o : *all) m.observe(o);
  m.mended(mended_);
  for (const auto& point : gathered_.ignored)
    std::fprintf(stderr, "%s tells no cause from another here and was left aside\n", point.c_str());
  if (gathered_.answered)
    std::fprintf(stderr,
                 "the module answers in this capture: what follows is about a time when it does not\n");
  if (!o_.json && operatorPresent())
    if (Status s = ask(m); !s) return fail(s.error());
  auto answer = reasons::explain(m, reasons::policyOf(job_, powered_), left_out_);
  // No cause of silence has to explain readings of a time when it answered.
  if (gathered_.answered) answer.unexplained = false;
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
