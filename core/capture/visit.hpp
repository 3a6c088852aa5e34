// SPDX-License-Identifier: Apache-2.0
#pragma once
/// From the number of a kind to the type of its record: the one list of all packed records.

#include "core/event/records.hpp"

namespace pin16::capture {

enum class Visit {
  done,
  broken,   ///< the bytes are not such a record
  unknown,  ///< not a kind of packed record: a frame, raw bytes, or a newer Pin16's
};

/// Calls `f(record)` with the unpacked record of `kind`.
template <class F>
Visit visitRecord(event::Kind kind, ByteView packed, F&& f) {
  const auto as = [&](auto record) {
    if (!unpack(packed, record)) return Visit::broken;
    f(record);
    return Visit::done;
  };
  using event::Kind;
  switch (kind) {
    case Kind::sample:
    case Kind::reading:
      return as(event::Measurement{});
    case Kind::link:
      return as(event::LinkState{});
    case Kind::clock:
      return as(event::Clock{});
    case Kind::loss:
      return as(event::Loss{});
    case Kind::gap:
      return as(event::Gap{});
    case Kind::damage:
      return as(event::Damage{});
    case Kind::sent:
      return as(event::Sent{});
    case Kind::refused:
      return as(event::Refused{});
    case Kind::power:
      return as(event::Power{});
    case Kind::client:
      return as(event::Client{});
    case Kind::note:
      return as(event::Note{});
    case Kind::clearance:
      return as(event::Clearance{});
    case Kind::line:
      return as(event::Line{});
    case Kind::attempt:
      return as(event::Attempt{});
    case Kind::digest:
      return as(event::Digest{});
    case Kind::message:
      return as(event::Message{});
    case Kind::exchange:
      return as(event::Exchange{});
    case Kind::finding:
      return as(event::Finding{});
    case Kind::verdict:
      return as(event::Verdict{});
    case Kind::frame:
    case Kind::bytes:
      break;
  }
  return Visit::unknown;
}

}  // namespace pin16::capture
