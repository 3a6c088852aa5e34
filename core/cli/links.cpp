// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>
#include <fmt/ranges.h>

#include "core/cli/live_json.hpp"
#include "core/cli/options.hpp"
#include "core/cli/run.hpp"
#include "core/link/inventory.hpp"
#include "core/link/rate_search.hpp"
#include "core/recorder/session.hpp"

namespace pin16::cli {
namespace {

void print(const link::SerialEntry& s) {
  fmt::print("  {:<20} {} {}{}{}\n", s.device, s.vendor.empty() ? s.driver : s.vendor + ":" + s.product,
             s.text, s.serial.empty() ? "" : ", serial number ", s.serial);
  if (!s.held_by.empty())
    fmt::print("  {:<20} in use by {}: leave it alone if it is the other equipment's\n", "",
               fmt::join(s.held_by, ", "));
  if (!s.may_open) fmt::print("  {:<20} no permission to open it: {}\n", "", s.advice);
}

void print(const link::Inventory& inventory) {
  fmt::print("CAN interfaces\n");
  if (inventory.can.empty()) fmt::print("  {}\n", inventory.can_text);
  for (const auto& e : inventory.can) {
    fmt::print("  {:<20} {}\n", e.uri, e.text);
    if (!e.advice.empty()) fmt::print("  {:<20} bring it up with: {}\n", "", e.advice);
  }
  fmt::print("serial ports (never opened to see what they are)\n");
  if (inventory.serial.empty()) fmt::print("  none\n");
  for (const auto& s : inventory.serial) print(s);
}

void printLines(const char* title, const std::vector<std::string>& lines) {
  if (lines.empty()) return;
  fmt::print("{}\n", title);
  for (const auto& l : lines) fmt::print("  {}\n", l);
}

void print(const link::CheckReport& report) {
  for (const auto& l : report.links) {
    fmt::print("{}: {}\n", l.state.uri, l.state.text.empty() ? l.state.description : l.state.text);
    if (!l.state.advice.empty()) fmt::print("  mend it with: {}\n", l.state.advice);
    fmt::print("  {} frames, {} error frames, {} lost\n", l.frames, l.error_frames, l.lost);
  }
  printLines("this shows", report.proven);
  printLines("this does not show", report.not_proven);
  printLines("next", report.next);
}

int searchRate(const Options& o) {
  const auto uri = link::parseUri(o.rate_uri);
  if (!uri) return fail(uri.error());
  const auto report = link::searchRate(*uri);
  if (!report) return fail(report.error());
  if (o.json) {
    fmt::print("{}\n", rateReportJson(*report));
  } else {
    for (const auto& t : report->tried)
      fmt::print("{:>8} bit/s  {} valid frames, {} error frames\n", t.bitrate, t.frames, t.error_frames);
    fmt::print("{}\n", report->text);
    printLines("next", report->next);
  }
  return report->searched && report->found == 0 ? kExitNotReady : kExitReady;
}

}  // namespace

int links(const Options& o) {
  if ((!o.rate_uri.empty() || !o.check_uri.empty()) && recorder::Session::attemptRuns())
    return fail({ErrorKind::gate, "an attempt of the other equipment runs in a recording: no link is opened",
                 "", "look again when it is over"});
  if (!o.rate_uri.empty()) return searchRate(o);
  if (o.check_uri.empty()) {
    const auto inventory = link::takeInventory();
    if (o.json)
      fmt::print("{}\n", inventoryJson(inventory));
    else
      print(inventory);
    return kExitReady;
  }
  const auto uri = link::parseUri(o.check_uri);
  if (!uri) return fail(uri.error());
  std::optional<link::Uri> with;
  if (!o.with.empty()) {
    const auto second = link::parseUri(o.with);
    if (!second) return fail(second.error());
    with = *second;
  }
  const auto report = link::checkAdapter(*uri, with);
  if (!report) return fail(report.error());
  if (o.json)
    fmt::print("{}\n", checkReportJson(*report));
  else
    print(*report);
  return report->opened ? kExitReady : exitCode(ErrorKind::link);
}

}  // namespace pin16::cli
