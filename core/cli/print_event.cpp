// SPDX-License-Identifier: Apache-2.0
#include "core/cli/print_event.hpp"

#include <fmt/format.h>

#include "core/capture/describe.hpp"

namespace pin16::cli {

void printEvents(const event::Batch& batch) {
  for (const auto& h : batch.headers) {
    const Ns t_utc_ns = h.t_ns == kNoTime ? kNoTime : h.t_ns + batch.utc_offset_ns;
    fmt::print("{}  {:>2} {} {}\n", utcText(t_utc_ns),
               h.link == event::kNoLink ? "-" : std::to_string(h.link),
               (h.flags & event::kOutbound) != 0 ? ">" : " ", capture::describe(h, batch));
  }
}

}  // namespace pin16::cli
