// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// Plugins during a recording: they work in a thread of their own, so that a slow one delays nobody; what
/// does not fit into its queue is dropped and counted. What they conclude from the whole comes with the
/// review.

#include <QObject>
#include <atomic>
#include <thread>
#include <vector>

#include "core/base/queue.hpp"
#include "core/event/batch.hpp"
#include "core/job/job.hpp"
#include "core/plugin/results.hpp"

namespace pin16::gui {

class LivePlugins : public QObject {
  Q_OBJECT
 public:
  explicit LivePlugins(const job::Job& job);
  ~LivePlugins() override;
  /// Copies the batch; never waits.
  void take(const event::Batch& batch);
  /// So far, one a plugin, by name.
  [[nodiscard]] const std::vector<plugin::Results>& results() const { return results_; }
  /// Why none runs; empty: they do.
  [[nodiscard]] const QString& trouble() const { return trouble_; }
  /// Events that were too many for them.
  [[nodiscard]] std::uint64_t dropped() const { return dropped_; }

 Q_SIGNALS:
  void grew();

 private:
  void run();
  void collect(std::vector<plugin::Results>& more);

  const job::Job job_;
  Queue<event::Batch> batches_;
  std::vector<plugin::Results> results_;
  QString trouble_;
  std::uint64_t dropped_ = 0;
  std::atomic<bool> stop_ = false;
  std::thread worker_;
};

}  // namespace pin16::gui
