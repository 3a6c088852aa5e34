// SPDX-License-Identifier: Apache-2.0
#include "core/link/rate_search.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>

#include "core/base/clock.hpp"
#include "core/link/slcan.hpp"

namespace pin16::link {
namespace {

using std::chrono::milliseconds;

// Own figure: the opening dialogue at its longest, all commands late but one.
constexpr milliseconds kOpening{5000};
// ISO 15765-4 has 250 and 500 kbit/s on the diagnostic connector; the rest by how common they are (common
// practice, no source).
constexpr std::uint32_t kFirst[] = {500000, 250000, 125000, 1000000};

std::vector<std::uint32_t> ratesInOrder() {
  std::vector<std::uint32_t> rates(std::begin(kFirst), std::end(kFirst));
  const auto all = slcanRates();
  for (auto r = all.rbegin(); r != all.rend(); ++r)
    if (std::find(rates.begin(), rates.end(), *r) == rates.end()) rates.push_back(*r);
  return rates;
}

/// The same device at another rate, listening only.
Uri listeningAt(const Uri& uri, std::uint32_t rate) {
  Uri at = uri;
  std::erase_if(at.options, [](const auto& o) { return o.first == "bitrate" || o.first == "listen"; });
  at.options.emplace_back("bitrate", std::to_string(rate));
  at.options.emplace_back("listen", "yes");
  at.text = uri.scheme + ":" + uri.target;
  char sign = '?';
  for (const auto& [key, value] : at.options) {
    at.text += fmt::format("{}{}={}", sign, key, value);
    sign = '&';
  }
  return at;
}

class Counts final : public Host {
 public:
  void onFrame(std::uint16_t /*link*/, Ns /*t*/, const event::CanFrame& frame, bool /*outbound*/) override {
    ++(frame.error() ? tried.error_frames : tried.frames);
  }
  void onRecord(std::uint16_t, Ns, event::Kind, ByteView) override {}
  RateTried tried;
};

template <class Done>
void runUntil(boost::asio::io_context& io, milliseconds most, Done done) {
  const Ns end_ns = bootNow() + most.count() * kNsPerMs;
  while (!done() && bootNow() < end_ns) {
    if (io.stopped()) io.restart();
    io.run_one_for(milliseconds(20));
  }
}

/// Opens, listens, closes. ErrorKind::link if it does not come up.
Result<RateTried> listenAt(const Uri& uri, std::uint32_t rate, milliseconds most) {
  boost::asio::io_context io;
  Counts counts;
  counts.tried.bitrate = rate;
  auto link = makeLink(uri, {io, counts, 0});
  if (!link) return link.error();
  (*link)->open();
  runUntil(io, kOpening, [&] { return (*link)->state().condition != event::LinkCondition::opening; });
  const event::LinkState state = (*link)->state();
  if (state.condition == event::LinkCondition::up)
    runUntil(io, most, [&] { return counts.tried.frames >= kFramesToProve; });
  (*link)->close();
  if (state.condition != event::LinkCondition::up)
    return Error{ErrorKind::link, state.text.empty() ? "the adapter did not open" : state.text, uri.text,
                 state.listen_only == event::Known::no
                     ? "A rate is searched by listening only: take an adapter that can"
                     : state.advice};
  return counts.tried;
}

RateReport forKernel(const Uri& uri) {
  RateReport r;
  r.uri = uri.text;
  r.text = "A kernel interface's bit rate is the operator's: try these, one after the other, listen-only";
  for (const std::uint32_t rate : ratesInOrder())
    r.next.push_back(
        fmt::format("sudo ip link set {0} down; sudo ip link set {0} up type can bitrate {1} listen-only on; "
                    "pin16 links --check {2}",
                    uri.target, rate, uri.text));
  return r;
}

void conclude(RateReport& report, const Uri& uri) {
  if (report.found != 0) {
    report.text = fmt::format("{} bit/s carries valid frames", report.found);
    report.next.push_back(listeningAt(uri, report.found).text);
    return;
  }
  const bool errors = std::any_of(report.tried.begin(), report.tried.end(),
                                  [](const RateTried& t) { return t.error_frames > 0; });
  report.text = errors ? "No standard rate carries valid frames, but something is on the bus"
                       : "Nothing was heard at any standard rate";
  report.next.push_back(
      errors ? "Look at wiring and termination; another rate or CAN FD is possible"
             : "The bus may sleep, or the leads be at fault: wake it, look at them, search again");
}

}  // namespace

Result<RateReport> searchRate(const Uri& uri, milliseconds each) {
  if (uri.scheme == "socketcan") return forKernel(uri);
  if (uri.scheme != "slcan")
    return Error{ErrorKind::usage, fmt::format("{}: has no bit rate to search", uri.scheme), uri.text,
                 "name a serial CAN adapter, as in slcan:/dev/ttyACM0, or socketcan:can0"};
  RateReport report;
  report.uri = uri.text;
  report.searched = true;
  for (const std::uint32_t rate : ratesInOrder()) {
    const auto tried = listenAt(listeningAt(uri, rate), rate, each);
    if (!tried) return tried.error();
    report.tried.push_back(*tried);
    if (tried->frames < kFramesToProve) continue;
    report.found = rate;
    break;
  }
  conclude(report, uri);
  return report;
}

}  // namespace pin16::link
