// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// Every event of a capture in a table that holds only the rows in sight, with a scroll bar that counts in 64
/// bits; or the events that a search found (docs/search.md).

#include <QAbstractTableModel>
#include <QWidget>
#include <atomic>
#include <deque>
#include <memory>
#include <thread>
#include <vector>

#include "core/review/search.hpp"
#include "gui/source.hpp"

class QLabel;
class QLineEdit;
class QScrollBar;
class QTableView;

namespace pin16::gui {

class ShortLabel;

struct EventRow {
  std::uint64_t number = 0;  ///< in the capture; of a hit: its sequence number
  Ns t_ns = kNoTime;
  QString time, from, what, detail;
};

/// The rows in sight.
class EventModel : public QAbstractTableModel {
  Q_OBJECT
 public:
  using QAbstractTableModel::QAbstractTableModel;
  void set(std::vector<EventRow> rows);
  [[nodiscard]] const std::vector<EventRow>& rows() const { return rows_; }
  [[nodiscard]] int rowCount(const QModelIndex& = {}) const override {
    return static_cast<int>(rows_.size());
  }
  [[nodiscard]] int columnCount(const QModelIndex& = {}) const override { return 4; }
  [[nodiscard]] QVariant data(const QModelIndex& at, int role) const override;
  [[nodiscard]] QVariant headerData(int section, Qt::Orientation o, int role) const override;

 private:
  std::vector<EventRow> rows_;
};

/// A search over a file in a thread of its own; hits come in portions.
class SearchRun : public QObject {
  Q_OBJECT
 public:
  /// Own figure: shown at most; the rest is counted.
  static constexpr std::size_t kMostHits = 100'000;
  SearchRun(std::string file, review::Query query, job::Job job);
  ~SearchRun() override;
  [[nodiscard]] const std::deque<review::Hit>& hits() const { return hits_; }
  [[nodiscard]] std::uint64_t found() const { return found_; }
  [[nodiscard]] bool done() const { return done_; }

 Q_SIGNALS:
  void progressed();

 private:
  void run(const std::string& file, const review::Query& query, const job::Job& job);
  std::deque<review::Hit> hits_;
  std::uint64_t found_ = 0;
  bool done_ = false;
  std::atomic<bool> stop_ = false;
  std::thread worker_;
};

class EventsPanel : public QWidget {
  Q_OBJECT
 public:
  explicit EventsPanel(QWidget* parent = nullptr);
  void show(Source* source);
  void refresh();  ///< more events are there
  void goTo(Ns t_ns);
  void goToRow(std::uint64_t row);
  void search(const QString& words);
  void follow(bool follow);
  [[nodiscard]] std::uint64_t rows() const;
  [[nodiscard]] std::uint64_t top() const { return top_; }
  [[nodiscard]] const EventModel& model() const { return *model_; }
  [[nodiscard]] bool searching() const { return run_ && !run_->done(); }
  [[nodiscard]] QLineEdit* searchLine() const { return line_; }
  [[nodiscard]] QTableView* table() const { return table_; }

 Q_SIGNALS:
  void cursorMoved(pin16::Ns t_ns);

 protected:
  void resizeEvent(QResizeEvent*) override;
  bool eventFilter(QObject* of, QEvent* e) override;

 private:
  void load();
  void fitBar();
  [[nodiscard]] int visible() const;
  void scrollTo(std::uint64_t top);
  void choose(int row, bool tell);
  void count();

  Source* source_ = nullptr;
  std::unique_ptr<SearchRun> run_;
  QLineEdit* line_;
  ShortLabel* count_;
  QTableView* table_;
  QScrollBar* bar_;
  EventModel* model_;
  std::uint64_t top_ = 0;
  std::uint64_t chosen_ = UINT64_MAX;  ///< row of the cursor
  bool follow_ = false, loading_ = false;
};

}  // namespace pin16::gui
