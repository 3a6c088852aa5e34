// SPDX-License-Identifier: Apache-2.0
// `pin16 bench`: a simulated bench solved, as readings, or as devices that other programs open.
#include "core/bench/bench.hpp"

#include <fmt/format.h>

#include <boost/json/object.hpp>
#include <boost/json/serialize.hpp>
#include <cstdio>

#include "core/bench/serve.hpp"
#include "core/cli/options.hpp"

namespace pin16::cli {
namespace {

int serve(const pin16::bench::Scenario& scenario, const Options& o) {
  pin16::bench::ServeOptions options;
  options.devices = o.serve;
  options.directory = o.at;
  options.for_s = o.for_s;
  options.operator_file = o.operator_file;
  const auto served = pin16::bench::serve(scenario, options, [&](const pin16::bench::Served& device) {
    boost::json::object line;
    line["schema"] = "pin16-bench-device";
    line["version"] = 1;
    line["device"] = device.device;
    line["path"] = device.path;
    line["pty"] = device.pty;
    line["scenario"] = scenario.name;
    line["bitrate"] = scenario.bus.bitrate;
    line["listen_only"] = scenario.interface.listen_only;
    line["supplied"] = device.supplied;
    line["port"] = device.port != 0 ? boost::json::value(device.port) : boost::json::value(nullptr);
    fmt::print("{}\n", boost::json::serialize(line));
    std::fflush(stdout);  // whoever started us waits for it
  });
  if (!served) return fail(served.error());
  const pin16::bench::Truth& t = *served;
  boost::json::object line;
  line["schema"] = "pin16-bench-end";
  line["version"] = 1;
  line["switched_on"] = t.switched_on;
  line["module_starts"] = t.starts;
  line["our_frames"] = t.our_frames;
  line["read_out"] = t.read_out.empty() ? boost::json::value(nullptr) : boost::json::value(t.read_out);
  line["asked"] = t.asked;
  line["answered"] = t.answered;
  fmt::print("{}\n", boost::json::serialize(line));
  return kExitReady;
}

/// What a learner may know, or with --answers all of it.
int list(bool answers) {
  for (const auto& s : pin16::bench::listScenarios()) {
    fmt::print("{:<13} {}\n", job::toText(s.arrangement), s.complaint);
    if (answers) fmt::print("{:14}{}: {}. {}\n", "", s.name, s.title, s.text);
  }
  return kExitReady;
}

}  // namespace

int bench(const Options& o) {
  if (o.list) return list(o.answers);
  if (o.file.empty())
    return fail({ErrorKind::usage, "no scenario is named", "bench", "name one, or see --list --answers"});
  const auto scenario = pin16::bench::loadScenario(o.file);
  if (!scenario) return fail(scenario.error());
  if (!o.serve.empty()) return serve(*scenario, o);
  if (o.readings_only) {
    const auto readings = pin16::bench::readings(*scenario);
    if (!readings) return fail(readings.error());
    for (const auto& r : *readings) fmt::print("{}\n", pin16::bench::readingText(r));
    return kExitReady;
  }
  const auto text = pin16::bench::print(*scenario);
  if (!text) return fail(text.error());
  fmt::print("{}", *text);
  return kExitReady;
}

}  // namespace pin16::cli
