// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A Host that keeps what a link hands it, and a bounded wait on its io_context.

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <chrono>
#include <vector>

#include "core/link/link.hpp"

namespace pin16::link {

class KeepingHost final : public Host {
 public:
  struct Frame {
    std::uint16_t link;
    Ns t_boot_ns;
    event::CanFrame frame;
    bool outbound;
  };
  struct Record {
    std::uint16_t link;
    Ns t_boot_ns;
    event::Kind kind;
    Bytes packed;
  };

  void onFrame(std::uint16_t link, Ns t_boot_ns, const event::CanFrame& frame, bool outbound) override {
    frames.push_back({link, t_boot_ns, frame, outbound});
  }
  void onRecord(std::uint16_t link, Ns t_boot_ns, event::Kind kind, ByteView packed) override {
    records.push_back({link, t_boot_ns, kind, Bytes(packed.begin(), packed.end())});
  }
  template <class T>
  [[nodiscard]] std::vector<T> all() const {
    std::vector<T> out;
    for (const Record& r : records)
      if (r.kind == event::kKindOf<T>) (void)unpack(r.packed, out.emplace_back());
    return out;
  }
  [[nodiscard]] std::vector<std::string> notes() const {
    std::vector<std::string> out;
    for (const event::Note& n : all<event::Note>()) out.push_back(n.text);
    return out;
  }
  [[nodiscard]] std::uint64_t lost() const {
    std::uint64_t n = 0;
    for (const event::Loss& l : all<event::Loss>()) n += l.count;
    return n;
  }
  [[nodiscard]] bool has(const event::CanFrame& f) const {
    return std::any_of(frames.begin(), frames.end(), [&](const Frame& k) { return k.frame == f; });
  }

  std::vector<Frame> frames;
  std::vector<Record> records;
};

/// Runs handlers until `done` says so; false if it did not within `most`.
template <class Done>
bool runUntil(boost::asio::io_context& io, Done done, std::chrono::seconds most = std::chrono::seconds(20)) {
  const auto end = std::chrono::steady_clock::now() + most;
  while (!done()) {
    if (std::chrono::steady_clock::now() >= end) return false;
    if (io.stopped()) io.restart();
    io.run_one_for(std::chrono::milliseconds(20));
  }
  return true;
}

inline void runFor(boost::asio::io_context& io, std::chrono::milliseconds span) {
  (void)runUntil(io, [end = std::chrono::steady_clock::now() + span] {
    return std::chrono::steady_clock::now() >= end;
  });
}

}  // namespace pin16::link
