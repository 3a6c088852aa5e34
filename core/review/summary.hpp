// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What a capture holds, as data: made by Census, shown by review.hpp. All times UTC ns, kNoTime = none.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/can/load.hpp"
#include "core/event/records.hpp"
#include "core/plugin/results.hpp"
#include "core/protocol/attempt.hpp"
#include "core/review/power.hpp"

namespace pin16::review {

struct LinkSummary {
  std::string name;  ///< URI, or the interface name of another program's capture
  std::string description;
  std::optional<event::LinkState> state;  ///< the last one
  std::uint64_t frames = 0;
  std::uint64_t error_frames = 0;
  std::optional<can::Load> load;  ///< nothing: bit rate unknown or no frame
  std::vector<can::LoadWindow> load_windows;
};
struct Identifier {
  std::uint16_t link = 0;
  std::uint32_t id = 0;
  bool extended = false;
  std::uint64_t count = 0;  ///< data and remote frames
};
struct ErrorClassCount {
  std::string name;  ///< can::errorClasses()
  std::uint64_t count = 0;
};
struct Losses {
  std::uint64_t kernel = 0;
  std::uint64_t adapter = 0;
  std::uint64_t queue = 0;
  [[nodiscard]] std::uint64_t total() const { return kernel + adapter + queue; }
};
/// A record with the link it concerns (event::kNoLink = the whole run) and the time of its event.
template <class T>
struct Row {
  std::uint16_t link = event::kNoLink;
  Ns t_ns = kNoTime;
  T record;
};
struct ClockFacts {
  event::Known synchronised = event::Known::unknown;  ///< no, if it ever was not
  std::uint64_t moves = 0;                            ///< how often UTC moved against the inner clock
  Ns worst_error_ns = -1;                             ///< largest estimate; -1 unknown
};
/// Concluded events of the capture: shown beside what review computes, never its input.
struct Recorded {
  std::uint64_t messages = 0;
  std::uint64_t exchanges = 0;
  std::uint64_t findings = 0;
  std::vector<Row<event::Verdict>> verdicts;
};

/// The same question asked again by the other equipment: was the answer the same? By content, or, where it
/// was blanked, by its digest.
struct Passes {
  std::uint64_t same = 0;
  std::uint64_t different = 0;
};

struct Summary {
  std::string file;  ///< empty: not from a file
  std::string application;
  std::vector<LinkSummary> links;
  std::uint64_t frames = 0;             ///< data and remote frames, error frames not
  std::vector<Identifier> identifiers;  ///< by link, 11 bit before 29 bit, identifier
  std::uint64_t error_frames = 0;
  std::vector<ErrorClassCount> error_classes;  ///< those seen; a frame can have several
  Losses losses;
  std::vector<Row<event::Gap>> gaps;
  std::vector<event::Damage> damage;
  std::optional<can::Load> load;  ///< of the busiest link
  Ns load_window_ns = can::LoadMeter::kWindow_ns;
  std::vector<Row<event::Message>> messages;      ///< by time of the last frame
  std::vector<Row<event::Exchange>> exchanges;    ///< by time of the request, which is the row's time
  std::vector<protocol::AttemptReport> attempts;  ///< of the other equipment, by time
  std::vector<Row<event::Digest>> digests;        ///< of blanked messages, by time of the last frame
  Passes passes;
  PowerFacts power;
  Ns blanked_from_ns = kNoTime;  ///< from here on messages carry 00 instead of content; kNoTime: nowhere
  std::vector<Row<event::Sent>> sent;
  std::vector<Row<event::Refused>> refused;
  std::uint64_t samples = 0;
  std::uint64_t readings = 0;
  std::uint64_t notes = 0;
  Recorded recorded;
  ClockFacts clock;
  Ns first_ns = kNoTime;  ///< earliest and latest event with a time
  Ns last_ns = kNoTime;
  std::vector<plugin::Results> plugins;          ///< by name
  std::vector<plugin::Refused> plugins_refused;  ///< files that were not loaded, and why
  std::vector<std::string> skipped;  ///< parts of a valid file that carry nothing for us, one sentence each
};

}  // namespace pin16::review
