// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Plugins behind a census: what the census sees and concludes, in chunks to the plugin host.

#include <functional>
#include <memory>
#include <set>

#include "core/plugin/host.hpp"
#include "core/review/census.hpp"

namespace pin16::review {

/// One owner, one thread. What plugins conclude does not depend on where the stream's batches are cut.
class Plugged : public Follower {
 public:
  explicit Plugged(plugin::Host& host) : host_(host), chunk_(host.emptyChunk()) {}

  void frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t wire_bits,
             Ns wire_ns) override;
  void record(const event::Batch& batch, const event::Header& h, Ns t_ns) override;
  void message(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Message& message) override;
  void exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns,
                const event::Exchange& exchange) override;
  /// Hands over what is collected so far (live: after each batch).
  void flush();

 private:
  [[nodiscard]] plugin::Chunk& room();

  plugin::Host& host_;
  std::unique_ptr<plugin::Chunk> chunk_;
  std::set<std::uint16_t> meters_;  ///< links that are instruments
};

}  // namespace pin16::review
