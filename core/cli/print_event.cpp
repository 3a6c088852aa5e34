// SPDX-License-Identifier: Apache-2.0
#include "core/cli/print_event.hpp"

#include <fmt/format.h>

#include "core/capture/describe.hpp"

namespace pin16::cli {

void printEvent(Ns t_utc_ns, std::uint16_t link, bool outbound, std::string_view text) {
  fmt::print("{}  {:>2} {} {}\n", utcText(t_utc_ns), link == event::kNoLink ? "-" : std::to_string(link),
             outbound ? ">" : " ", text);
}

void printEvents(const event::Batch& batch) {
  for (const auto& h : batch.headers)
    printEvent(h.t_ns == kNoTime ? kNoTime : h.t_ns + batch.utc_offset_ns, h.link,
               (h.flags & event::kOutbound) != 0, capture::describe(h, batch));
}

}  // namespace pin16::cli
