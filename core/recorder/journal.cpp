// SPDX-License-Identifier: Apache-2.0
#include "core/recorder/journal.hpp"

#include <unistd.h>

#include <cerrno>
#include <cstring>

namespace pin16::recorder {

Result<std::unique_ptr<Journal>> Journal::open(const std::string& path, const capture::SectionFacts& facts,
                                               std::function<void(Error)> on_fail) {
  auto writer = capture::Writer::create(path, facts);
  if (!writer) return writer.error();
  return std::unique_ptr<Journal>(new Journal(std::move(*writer), std::move(on_fail)));
}

Journal::Journal(std::unique_ptr<capture::Writer> writer, std::function<void(Error)> on_fail)
    : writer_(std::move(writer)),
      on_fail_(std::move(on_fail)),
      queue_(kJournalQueueBytes),
      stop_sync_(1),
      write_thread_([this] { write(); }),
      sync_thread_([this] { sync(); }) {}

Journal::~Journal() {
  if (write_thread_.joinable()) (void)finish();
}

bool Journal::take(std::shared_ptr<const event::Batch> batch) {
  const std::size_t weight = batch->arena.size() + batch->headers.size() * sizeof(event::Header);
  return queue_.push(std::move(batch), weight);
}

void Journal::write() {
  Ns last_flush = bootNow();
  Status state;
  while (state && !queue_.finished()) {
    if (const auto batch = queue_.pop(std::chrono::milliseconds(kFlushEvery_ns / kNsPerMs / 2))) {
      state = writer_->take(**batch);
    }
    if (const Ns now = bootNow(); state && now - last_flush >= kFlushEvery_ns) {
      state = writer_->flush();
      last_flush = now;
      bytes_ = writer_->written();
    }
  }
  if (state) state = writer_->finish();
  bytes_ = writer_->written();
  if (!state) fail(state.error());
  end_ = state;
  queue_.close();  // after a failure nobody pops any more
}

void Journal::sync() {
  while (!stop_sync_.finished()) {
    (void)stop_sync_.pop(std::chrono::milliseconds(kSyncEvery_ns / kNsPerMs));
    if (fdatasync(writer_->fd()) != 0 && errno != EINTR) {
      fail({ErrorKind::record, std::string("the disk did not take what was written: ") + std::strerror(errno),
            "", "the capture is whole up to the last second before this; use another disk"});
      return;
    }
  }
}

void Journal::fail(const Error& e) {
  if (!failed_.exchange(true)) on_fail_(e);
}

Status Journal::finish() {
  queue_.close();
  stop_sync_.close();
  if (sync_thread_.joinable()) sync_thread_.join();
  if (write_thread_.joinable()) write_thread_.join();
  return end_;
}

}  // namespace pin16::recorder
