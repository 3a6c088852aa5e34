// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The capture file's owner: a writer thread (encode, hash, write) and a sync thread.
/// take() is called by one thread only, the recorder's io thread.

#include <atomic>
#include <functional>
#include <memory>
#include <string>
#include <thread>

#include "core/base/queue.hpp"
#include "core/base/result.hpp"
#include "core/capture/writer.hpp"
#include "core/event/batch.hpp"

namespace pin16::recorder {

/// What was seen is written within 0.25 s: 5 ms in a batch, then at most this long in the writer.
inline constexpr Ns kFlushEvery_ns = 100 * kNsPerMs;
inline constexpr Ns kSyncEvery_ns = kNsPerSecond;
/// Bytes waiting for a stalled disk before events are dropped and counted.
inline constexpr std::size_t kJournalQueueBytes = 256U << 20U;

class Journal {
 public:
  /// `on_fail` is called once, on the writer's or sync thread, when the file can no longer be written.
  static Result<std::unique_ptr<Journal>> open(const std::string& path, const capture::SectionFacts& facts,
                                               std::function<void(Error)> on_fail);
  ~Journal();
  /// False: the disk is too slow or gone, the batch was dropped; the caller counts it.
  [[nodiscard]] bool take(std::shared_ptr<const event::Batch> batch);
  /// Writes what is queued, the closing statistics and the sidecars; joins both threads.
  Status finish();
  [[nodiscard]] std::uint64_t bytes() const { return bytes_; }

 private:
  Journal(std::unique_ptr<capture::Writer> writer, std::function<void(Error)> on_fail);
  void write();
  void sync();
  void fail(const Error& e);

  std::unique_ptr<capture::Writer> writer_;
  std::function<void(Error)> on_fail_;
  Queue<std::shared_ptr<const event::Batch>> queue_;
  Queue<int> stop_sync_;  // carries nothing: closing it ends the sync thread's wait
  std::atomic<std::uint64_t> bytes_ = 0;
  std::atomic<bool> failed_ = false;
  Status end_;  // of the writer thread; read after the join
  std::thread write_thread_, sync_thread_;
};

}  // namespace pin16::recorder
