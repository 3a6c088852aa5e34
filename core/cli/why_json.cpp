// SPDX-License-Identifier: Apache-2.0
#include <boost/json.hpp>

#include "core/cli/why.hpp"
#include "core/reasons/text.hpp"

namespace pin16::cli {
namespace {

namespace json = boost::json;
using reasons::Answer;

json::array says(const std::vector<reasons::Say>& all) {
  json::array out;
  for (const reasons::Say& s : all)
    out.push_back(json::object{{"reading", reasons::readings()[s.reading].id},
                               {"measured", s.measured},
                               {"predicted", s.predicted},
                               {"llr", s.llr}});
  return out;
}

json::array ids(const std::vector<std::size_t>& group) {
  json::array out;
  for (const std::size_t c : group)
    out.push_back(json::value(c == reasons::kSound ? "sound" : reasons::causes()[c].id));
  return out;
}

/// All but the job.
void write(const reasons::Reasoner& m, const Answer& a, json::object& doc) {
  json::array given;
  for (const auto& o : m.evidence())
    given.push_back(json::object{{"reading", reasons::readings()[o.reading].id},
                                 {"value", reasons::valueText(o.reading, o.value)}});
  doc["readings"] = std::move(given);
  json::array causes;
  for (const auto& e : a.ranked) {
    const bool sound = e.causes.front() == reasons::kSound;
    json::object o;
    o["id"] = sound ? "sound" : reasons::causes()[e.causes.front()].id;
    o["title"] = reasons::titleOf(e.causes);
    o["group"] = ids(e.causes);
    o["probability"] = e.probability, o["odds"] = reasons::oddsText(e.probability);
    o["sentence"] = e.sentence;
    o["for"] = says(e.in_favour), o["against"] = says(e.against);
    o["confirm"] = sound ? "" : reasons::causes()[e.causes.front()].confirm;
    o["mend"] = sound ? "" : reasons::causes()[e.causes.front()].mend;
    o["caution"] = sound ? "" : reasons::causes()[e.causes.front()].caution;
    causes.push_back(std::move(o));
  }
  doc["causes"] = std::move(causes);
  json::array groups;
  for (const auto& g : m.groups())
    if (g.size() > 1) groups.push_back(ids(g));
  doc["groups"] = std::move(groups);
  doc["unexplained"] = a.unexplained, doc["certain"] = a.certain;
  json::array misfits;
  for (const auto& f : a.misfits)
    misfits.push_back(json::object{{"reading", reasons::readings()[f.reading].id},
                                   {"measured", f.measured},
                                   {"expected", f.expected},
                                   {"wrong", f.wrong}});
  doc["misfits"] = std::move(misfits);
  json::array next;
  for (const auto& n : a.next)
    next.push_back(json::object{{"reading", reasons::readings()[n.reading].id},
                                {"bits", n.bits},
                                {"minutes", n.minutes},
                                {"power_ups", n.power_ups},
                                {"gate", n.gate},
                                {"how", reasons::howText(n)}});
  doc["next"] = std::move(next);
  json::array mind;
  for (const auto& text : a.mind) mind.push_back(json::value(text));
  doc["mind"] = std::move(mind);
}

}  // namespace

std::string whyJson(const job::Job& job, const reasons::Reasoner& m, const Answer& a) {
  json::object doc;
  doc["schema"] = "pin16-why", doc["version"] = 1;
  doc["job"] = job.name, doc["arrangement"] = job::toText(job.arrangement);
  write(m, a, doc);
  return json::serialize(doc);
}

std::string reasonsJson(const reasons::Reasoner& m, const Answer& a) {
  json::object doc;
  write(m, a, doc);
  return json::serialize(doc);
}

}  // namespace pin16::cli
