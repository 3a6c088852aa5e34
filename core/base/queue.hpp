// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A bounded queue between two threads: the only lock between Pin16's stages.

#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <deque>
#include <mutex>
#include <optional>
#include <utility>

namespace pin16 {

/// Any thread may push, any thread may pop. `weight` counts against `most` (bytes, events: the user's
/// choice); a push that would exceed it is refused, so the producer can count what it dropped.
template <class T>
class Queue {
 public:
  explicit Queue(std::size_t most) : most_(most) {}

  [[nodiscard]] bool push(T item, std::size_t weight) {
    {
      const std::lock_guard lock(mutex_);
      if (closed_ || (held_ + weight > most_ && !items_.empty())) return false;
      held_ += weight;
      items_.emplace_back(std::move(item), weight);
    }
    ready_.notify_one();
    return true;
  }
  /// The next item; nothing after `wait` without one, or once closed and empty.
  [[nodiscard]] std::optional<T> pop(std::chrono::milliseconds wait) {
    std::unique_lock lock(mutex_);
    ready_.wait_for(lock, wait, [&] { return closed_ || !items_.empty(); });
    if (items_.empty()) return std::nullopt;
    auto [item, weight] = std::move(items_.front());
    items_.pop_front();
    held_ -= weight;
    return std::move(item);
  }
  /// No push succeeds from now on; what is queued can still be popped.
  void close() {
    {
      const std::lock_guard lock(mutex_);
      closed_ = true;
    }
    ready_.notify_all();
  }
  [[nodiscard]] bool finished() const {
    const std::lock_guard lock(mutex_);
    return closed_ && items_.empty();
  }

 private:
  const std::size_t most_;
  mutable std::mutex mutex_;
  std::condition_variable ready_;
  std::deque<std::pair<T, std::size_t>> items_;
  std::size_t held_ = 0;
  bool closed_ = false;
};

}  // namespace pin16
