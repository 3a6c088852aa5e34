// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/events_panel.hpp"

#include <QFontDatabase>
#include <QHBoxLayout>
#include <QHeaderView>
#include <QKeyEvent>
#include <QLabel>
#include <QLineEdit>
#include <QScrollBar>
#include <QTableView>
#include <QVBoxLayout>
#include <QWheelEvent>
#include <algorithm>

#include "core/capture/describe.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {

constexpr int kRowPx = 20;
/// The bar's own range: more rows than pixels of any screen; the rest is arithmetic.
constexpr int kBarSteps = 1'000'000;

/// The kind of an event in the words of the search.
QString kindText(const event::Header& h, const event::Batch& batch) {
  if (h.kind == event::Kind::frame) {
    const auto f = batch.frame(h);
    return f && f->error() ? QStringLiteral("error-frame") : QStringLiteral("frame");
  }
  return QLatin1String(review::nameOf(h.kind));
}

/// The line without the words that the table has in a column of its own.
QString detailText(std::string line, std::string_view kind) {
  for (const std::string_view lead :
       {std::string_view("frame received "), std::string_view("frame sent "), kind}) {
    if (!line.starts_with(lead)) continue;
    line.erase(0, lead.size());
    while (!line.empty() && (line.front() == ' ' || line.front() == ':')) line.erase(0, 1);
    break;
  }
  return text(line);
}

}  // namespace

void EventModel::set(std::vector<EventRow> rows) {
  if (rows.size() == rows_.size()) {
    rows_ = std::move(rows);
    if (!rows_.empty()) Q_EMIT dataChanged(index(0, 0), index(rowCount() - 1, 3));
    return;
  }
  beginResetModel();
  rows_ = std::move(rows);
  endResetModel();
}

QVariant EventModel::data(const QModelIndex& at, int role) const {
  if (!at.isValid() || at.row() >= rowCount()) return {};
  const EventRow& row = rows_[static_cast<std::size_t>(at.row())];
  if (role == Qt::DisplayRole || role == Qt::ToolTipRole || role == Qt::AccessibleTextRole) {
    if (role == Qt::ToolTipRole && at.column() == 0) return text(utcText(row.t_ns));
    switch (at.column()) {
      case 0:
        return row.time;
      case 1:
        return row.from;
      case 2:
        return row.what;
      default:
        return row.detail;
    }
  }
  if (role == Qt::ForegroundRole &&
      (row.what == QStringLiteral("error-frame") || row.what == QStringLiteral("damage") ||
       row.what == QStringLiteral("loss") || row.what == QStringLiteral("gap")))
    return Look::the().colours().faulty;
  if (role == Qt::TextAlignmentRole)
    return static_cast<int>(Qt::AlignVCenter | (at.column() == 0 ? Qt::AlignRight : Qt::AlignLeft));
  return {};
}

QVariant EventModel::headerData(int section, Qt::Orientation o, int role) const {
  if (o != Qt::Horizontal) return {};
  if (role == Qt::TextAlignmentRole) return static_cast<int>(section == 0 ? Qt::AlignRight : Qt::AlignLeft);
  if (role != Qt::DisplayRole) return {};
  const QString names[] = {tr("seconds"), tr("link"), tr("what"), tr("detail")};
  return names[section];
}

SearchRun::SearchRun(std::string file, review::Query query, job::Job job) {
  worker_ = std::thread([this, file = std::move(file), query = std::move(query), job = std::move(job)] {
    run(file, query, job);
  });
}
SearchRun::~SearchRun() {
  stop_ = true;
  worker_.join();
}

/// Beside the GUI thread; posts.
void SearchRun::run(const std::string& file, const review::Query& query, const job::Job& job) {
  auto part = std::make_shared<std::vector<review::Hit>>();
  std::size_t kept = 0;
  std::uint64_t found = 0;
  Ns posted_ns = bootNow();
  const auto hand = [&](bool done) {
    QMetaObject::invokeMethod(
        this,
        [this, part, found, done] {
          hits_.insert(hits_.end(), part->begin(), part->end());
          found_ = found;
          done_ = done;
          Q_EMIT progressed();
        },
        Qt::QueuedConnection);
    part = std::make_shared<std::vector<review::Hit>>();
    posted_ns = bootNow();
  };
  (void)review::searchFile(
      file, query, &job,
      [&](const review::Hit& hit) {
        ++found;
        if (kept < kMostHits) {
          part->push_back(hit);
          ++kept;
        }
        if (part->size() >= 2000 || bootNow() - posted_ns > 100 * kNsPerMs) hand(false);
      },
      [&] { return !stop_.load(); });
  hand(true);
}

EventsPanel::EventsPanel(QWidget* parent) : QWidget(parent) {
  auto* all = new QVBoxLayout(this);
  all->setContentsMargins(8, 4, 4, 2);
  all->setSpacing(3);
  auto* head = new QHBoxLayout;
  head->setSpacing(12);
  line_ = new QLineEdit(this);
  line_->setPlaceholderText(tr("search, for instance: id 7E8 ended silent near +2.5"));
  line_->setAccessibleName(tr("search in the events"));
  line_->setClearButtonEnabled(true);
  line_->setMaximumWidth(460);
  count_ = new ShortLabel(this);
  setRole(count_, Role::faint);
  head->addWidget(line_, 2);
  head->addWidget(count_, 3);
  all->addLayout(head);

  auto* row = new QHBoxLayout;
  row->setSpacing(0);
  model_ = new EventModel(this);
  table_ = new QTableView(this);
  table_->setModel(model_);
  table_->setAccessibleName(tr("events"));
  table_->setSelectionBehavior(QAbstractItemView::SelectRows);
  table_->setSelectionMode(QAbstractItemView::SingleSelection);
  table_->setEditTriggers(QAbstractItemView::NoEditTriggers);
  table_->setShowGrid(false);
  table_->setWordWrap(false);
  table_->setTabKeyNavigation(false);
  table_->setVerticalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  table_->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  table_->verticalHeader()->hide();
  table_->verticalHeader()->setSectionResizeMode(QHeaderView::Fixed);
  table_->verticalHeader()->setDefaultSectionSize(kRowPx);
  table_->verticalHeader()->setMinimumSectionSize(kRowPx);
  table_->horizontalHeader()->setHighlightSections(false);
  table_->horizontalHeader()->setSectionsClickable(false);
  QFont fixed = QFontDatabase::systemFont(QFontDatabase::FixedFont);
  fixed.setPixelSize(kTextPx - 1);
  table_->setFont(fixed);
  const QFontMetrics m(fixed);
  table_->horizontalHeader()->setSectionResizeMode(QHeaderView::Fixed);
  table_->setColumnWidth(0, m.horizontalAdvance(QStringLiteral("+00000.000 000  ")) + 12);
  table_->setColumnWidth(1, m.horizontalAdvance(QStringLiteral("socketcan:can0")) + 12);
  table_->setColumnWidth(2, m.horizontalAdvance(QStringLiteral("error-frame")) + 16);
  table_->horizontalHeader()->setStretchLastSection(true);
  table_->viewport()->installEventFilter(this);
  table_->installEventFilter(this);
  bar_ = new QScrollBar(Qt::Vertical, this);
  bar_->setAccessibleName(tr("place in the capture"));
  row->addWidget(table_, 1);
  row->addWidget(bar_);
  all->addLayout(row, 1);

  connect(line_, &QLineEdit::returnPressed, this, [this] { search(line_->text()); });
  connect(line_, &QLineEdit::textChanged, this, [this](const QString& now) {
    if (now.isEmpty()) search({});
  });
  connect(bar_, &QScrollBar::valueChanged, this, [this](int value) {
    if (loading_) return;
    follow_ = false;
    const std::uint64_t most =
        rows() - std::min<std::uint64_t>(rows(), static_cast<std::uint64_t>(visible()));
    const int steps = std::max(1, bar_->maximum());
    // Small files row by row, long ones in proportion.
    top_ = static_cast<std::uint64_t>(static_cast<long double>(most) * value / steps + 0.5L);
    load();
  });
  connect(table_->selectionModel(), &QItemSelectionModel::currentRowChanged, this,
          [this](const QModelIndex& now, const QModelIndex&) {
            if (!loading_ && now.isValid()) choose(now.row(), true);
          });
  connect(&Look::the(), &Look::changed, this, [this] { table_->viewport()->update(); });
}

void EventsPanel::show(Source* source) {
  run_.reset();
  source_ = source;
  top_ = 0;
  chosen_ = UINT64_MAX;
  follow_ = false;
  const QSignalBlocker quiet(line_);
  line_->clear();
  refresh();
}

std::uint64_t EventsPanel::rows() const {
  if (run_) return run_->hits().size();
  return source_ != nullptr && source_->browser() != nullptr ? source_->browser()->events() : 0;
}

int EventsPanel::visible() const { return std::max(1, table_->viewport()->height() / kRowPx); }

void EventsPanel::count() {
  if (source_ == nullptr) return count_->setWhole({});
  if (!run_) return count_->setWhole(tr("%L1 events").arg(rows()));
  QString what = tr("%L1 found").arg(run_->found());
  if (run_->found() > run_->hits().size())
    what += QStringLiteral(", ") + tr("the first %L1 shown").arg(run_->hits().size());
  if (!run_->done()) what += QStringLiteral(" \u2026");
  count_->setWhole(what);
}

void EventsPanel::refresh() {
  const std::uint64_t all = rows(), page = static_cast<std::uint64_t>(visible());
  if (follow_ && all > page) top_ = all - page;
  if (top_ + page > all) top_ = all > page ? all - page : 0;
  fitBar();
  count();
  load();
}

void EventsPanel::fitBar() {
  const std::uint64_t all = rows(), page = static_cast<std::uint64_t>(visible());
  const std::uint64_t most = all > page ? all - page : 0;
  loading_ = true;
  const int steps = static_cast<int>(std::min<std::uint64_t>(most, kBarSteps));
  bar_->setRange(0, steps);
  bar_->setPageStep(
      std::max<int>(1, most == 0 ? 1 : static_cast<int>(static_cast<long double>(steps) * page / most)));
  bar_->setValue(most == 0 ? 0 : static_cast<int>(static_cast<long double>(steps) * top_ / most));
  loading_ = false;
}

void EventsPanel::load() {
  std::vector<EventRow> out;
  const auto page = static_cast<std::uint64_t>(visible());
  const Ns start = source_ != nullptr ? source_->startNs() : kNoTime;
  const auto time = [&](Ns t) {
    QString s = sinceText(t, start, 6);
    if (s.size() > 4 && t != kNoTime) s.insert(s.size() - 3, QLatin1Char(' '));
    return s + QStringLiteral("  ");
  };
  if (run_) {
    const auto& hits = run_->hits();
    for (std::uint64_t i = top_; i < std::min<std::uint64_t>(hits.size(), top_ + page); ++i) {
      const review::Hit& h = hits[i];
      out.push_back({h.sequence, h.t_ns, time(h.t_ns), source_->linkName(h.link), text(h.kind),
                     detailText(h.text, h.kind)});
    }
  } else if (source_ != nullptr && source_->browser() != nullptr) {
    event::Batch batch;
    source_->browser()->read(top_, static_cast<std::size_t>(page), batch);
    std::uint64_t number = top_;
    for (const event::Header& h : batch.headers) {
      const QString kind = kindText(h, batch);
      QString detail = detailText(capture::describe(h, batch), kind.toStdString());
      if ((h.flags & event::kOutbound) != 0) detail += QStringLiteral("   ") + tr("ours");
      out.push_back({number++, h.t_ns, time(h.t_ns), source_->linkName(h.link), kind, detail});
    }
  }
  loading_ = true;
  model_->set(std::move(out));
  table_->verticalScrollBar()->setValue(0);
  if (chosen_ >= top_ && chosen_ < top_ + model_->rows().size())
    table_->selectRow(static_cast<int>(chosen_ - top_));
  else
    table_->clearSelection();
  loading_ = false;
}

void EventsPanel::scrollTo(std::uint64_t top) {
  const std::uint64_t all = rows(), page = static_cast<std::uint64_t>(visible());
  const std::uint64_t most = all > page ? all - page : 0;
  top_ = std::min(top, most);
  follow_ = follow_ && top_ == most;
  fitBar();
  load();
}

void EventsPanel::choose(int row, bool tell) {
  if (row < 0 || row >= model_->rowCount()) return;
  chosen_ = top_ + static_cast<std::uint64_t>(row);
  const EventRow& r = model_->rows()[static_cast<std::size_t>(row)];
  if (tell && r.t_ns != kNoTime) Q_EMIT cursorMoved(r.t_ns);
}

void EventsPanel::goToRow(std::uint64_t row) {
  const auto page = static_cast<std::uint64_t>(visible());
  chosen_ = std::min(row, rows() == 0 ? 0 : rows() - 1);
  if (chosen_ >= top_ && chosen_ < top_ + page) return load();
  scrollTo(chosen_ > page / 2 ? chosen_ - page / 2 : 0);
}

void EventsPanel::goTo(Ns t_ns) {
  if (source_ == nullptr || t_ns == kNoTime) return;
  if (run_) {
    const auto& hits = run_->hits();
    const auto at = std::lower_bound(hits.begin(), hits.end(), t_ns,
                                     [](const review::Hit& h, Ns t) { return h.t_ns < t; });
    return goToRow(static_cast<std::uint64_t>(at - hits.begin()));
  }
  if (source_->browser() != nullptr) goToRow(source_->browser()->at(t_ns));
}

void EventsPanel::follow(bool follow) {
  follow_ = follow;
  if (follow) refresh();
}

void EventsPanel::search(const QString& words) {
  if (source_ == nullptr) return;
  if (words.trimmed().isEmpty()) {
    if (!run_) return;
    run_.reset();
    top_ = 0;
    chosen_ = UINT64_MAX;
    return refresh();
  }
  auto query = review::parseQuery(words.toStdString());
  if (!query) {
    count_->setWhole(text(query.error().what + ". " + query.error().advice));
    return;
  }
  run_ = std::make_unique<SearchRun>(source_->file(), std::move(*query), source_->job());
  top_ = 0;
  chosen_ = UINT64_MAX;
  connect(run_.get(), &SearchRun::progressed, this, &EventsPanel::refresh);
  refresh();
}

void EventsPanel::resizeEvent(QResizeEvent* e) {
  QWidget::resizeEvent(e);
  refresh();
}

bool EventsPanel::eventFilter(QObject* of, QEvent* e) {
  if (e->type() == QEvent::Wheel) {
    const int steps = -static_cast<QWheelEvent*>(e)->angleDelta().y() / 40;
    if (steps < 0)
      scrollTo(top_ - std::min<std::uint64_t>(top_, static_cast<std::uint64_t>(-steps)));
    else
      scrollTo(top_ + static_cast<std::uint64_t>(steps));
    return true;
  }
  if (of == table_->viewport() && e->type() == QEvent::Resize) {
    refresh();
    return false;
  }
  if (of == table_ && e->type() == QEvent::KeyPress) {
    const auto page = static_cast<std::uint64_t>(visible());
    const std::uint64_t at = chosen_ == UINT64_MAX ? top_ : chosen_;
    const std::uint64_t last = rows() == 0 ? 0 : rows() - 1;
    std::uint64_t to = at;
    switch (static_cast<QKeyEvent*>(e)->key()) {
      case Qt::Key_Up:
        to = at > 0 ? at - 1 : 0;
        break;
      case Qt::Key_Down:
        to = chosen_ == UINT64_MAX ? at : at + 1;
        break;
      case Qt::Key_PageUp:
        to = at > page ? at - page : 0;
        break;
      case Qt::Key_PageDown:
        to = at + page;
        break;
      case Qt::Key_Home:
        to = 0;
        break;
      case Qt::Key_End:
        to = last;
        break;
      default:
        return false;
    }
    to = std::min(to, last);
    if (to < top_)
      top_ = to;
    else if (to >= top_ + page)
      top_ = to - page + 1;
    chosen_ = to;
    scrollTo(top_);
    choose(static_cast<int>(to - top_), true);
    return true;
  }
  return QWidget::eventFilter(of, e);
}

}  // namespace pin16::gui
