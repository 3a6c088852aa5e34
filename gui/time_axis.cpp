// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/time_axis.hpp"

#include <QChart>
#include <QChartView>
#include <QKeyEvent>
#include <QLineSeries>
#include <QMouseEvent>
#include <QPainter>
#include <QPainterPath>
#include <QValueAxis>
#include <QWheelEvent>
#include <algorithm>
#include <cmath>

#include "core/protocol/target.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {

using event::Ended;
using review::Pyramid;
using What = review::TimeMark::What;

constexpr double kLeft = 54, kRight = 14, kBottom = 26, kMarks = 22, kBetween = 8;
constexpr int kSmallPx = 12;
constexpr double kLeastLane = 62;
/// A row of names above a lane, and what of the lane must be left for its lines to have one more.
constexpr double kNameRow = 16, kLeastPlot = 34, kAboveAndBelow = 8;
constexpr int kMostNameRows = 4;
/// Points of all lines of all charts together: half of what one redraw at 20 a second may take (measured:
/// docs/window.md).
constexpr std::size_t kMostPoints = 7000;
constexpr std::size_t kPointsOfColumn = 4;
constexpr qsizetype kMostDashedPoints = 150;
/// More exchanges than this in view become columns.
constexpr std::size_t kMostBars = 400;
constexpr int kBarRows = 4;
constexpr double kBarPitch = 18;
constexpr Ns kNarrowest_ns = 2000;

constexpr Qt::PenStyle kDashes[] = {Qt::SolidLine,   Qt::DashLine,       Qt::DotLine,
                                    Qt::DashDotLine, Qt::DashDotDotLine, Qt::SolidLine};

QPen penOf(int look) {
  const auto i = static_cast<std::size_t>(look) % 6;
  QPen pen(Look::the().colours().lines[i], Look::the().stroke() + 0.3);
  pen.setStyle(kDashes[i]);
  return pen;
}

/// The next of 1, 2, 5 times a power of ten.
double niceStep(double least) {
  const double power = std::pow(10.0, std::floor(std::log10(std::max(least, 1e-12))));
  for (const double f : {1.0, 2.0, 5.0})
    if (f * power >= least) return f * power;
  return 10 * power;
}

}  // namespace

/// A chart of lines, without axis of time: that is drawn once for all lanes.
class ChartLane : public QChartView {
 public:
  explicit ChartLane(QWidget* parent) : QChartView(parent), x_(new QValueAxis), y_(new QValueAxis) {
    setAttribute(Qt::WA_TransparentForMouseEvents);
    setFocusPolicy(Qt::NoFocus);
    setFrameShape(QFrame::NoFrame);
    setRenderHint(QPainter::Antialiasing);
    setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    setVerticalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    QChart* c = chart();
    c->legend()->hide();
    c->setBackgroundVisible(false);
    c->setMargins(QMargins(0, 0, 0, 0));
    c->setAnimationOptions(QChart::NoAnimation);
    c->addAxis(x_, Qt::AlignBottom);
    c->addAxis(y_, Qt::AlignLeft);
    x_->setVisible(false);
    y_->setTickCount(3);
    y_->setLabelsVisible(false);  // drawn once for all lanes, over them
    y_->setLineVisible(false);
    y_->setGridLineVisible(false);  // likewise: Qt 6.4 leaves them a resize behind
    dress();
  }
  void dress() {
    const Colours& c = Look::the().colours();
    setBackgroundBrush(c.ground);
  }
  void place(const QRectF& plot) { chart()->setPlotArea(plot); }
  void range(double from_s, double to_s, double low, double high) {
    x_->setRange(from_s, to_s);
    y_->setRange(low, high);
  }
  /// Lines beyond those given are hidden: series are kept, making them is dear.
  void lines(const std::vector<std::pair<int, QList<QPointF>>>& all) {
    while (pool_.size() < all.size()) {
      auto* s = new QLineSeries;
      chart()->addSeries(s);
      s->attachAxis(x_);
      s->attachAxis(y_);
      pool_.push_back(s);
    }
    for (std::size_t i = 0; i < pool_.size(); ++i) {
      const bool used = i < all.size();
      pool_[i]->setVisible(used);
      if (!used) continue;
      QPen pen = penOf(all[i].first);
      // Dashes of a dense line cannot be told apart, and stroking them takes nine tenths of the paint
      // (measured).
      if (all[i].second.size() > kMostDashedPoints) pen.setStyle(Qt::SolidLine);
      pool_[i]->setPen(pen);
      pool_[i]->replace(all[i].second);
    }
  }

 private:
  QValueAxis *x_, *y_;
  std::vector<QLineSeries*> pool_;
};

/// Cursor, marks, titles and exchanges, over the charts; takes the mouse for all of them.
class AxisOverlay : public QWidget {
 public:
  explicit AxisOverlay(TimeAxis* axis) : QWidget(axis), axis_(*axis) {
    setMouseTracking(false);
    setAttribute(Qt::WA_TranslucentBackground);
  }

 protected:
  void paintEvent(QPaintEvent*) override {
    QPainter p(this);
    p.setRenderHint(QPainter::Antialiasing);
    axis_.paintOver(p);
  }
  void mousePressEvent(QMouseEvent* e) override {
    axis_.setFocus();
    const Ns t = axis_.timeAt(e->position().x());
    axis_.anchor_ = (e->modifiers() & Qt::ShiftModifier) != 0 ? t : kNoTime;
    pan_ = (e->modifiers() & Qt::ControlModifier) != 0 || e->button() == Qt::MiddleButton;
    last_ = e->position().x();
    if (!pan_) axis_.moveCursor(t);
  }
  void mouseMoveEvent(QMouseEvent* e) override {
    if (!pan_) return axis_.moveCursor(axis_.timeAt(e->position().x()));
    const Ns by = axis_.timeAt(last_) - axis_.timeAt(e->position().x());
    last_ = e->position().x();
    axis_.setView(axis_.from_ + by, axis_.to_ + by);
  }
  void mouseDoubleClickEvent(QMouseEvent*) override { axis_.showAll(); }
  void wheelEvent(QWheelEvent* e) override {
    axis_.zoom(std::pow(0.8, e->angleDelta().y() / 120.0), axis_.timeAt(e->position().x()));
    e->accept();
  }

 private:
  TimeAxis& axis_;
  bool pan_ = false;
  double last_ = 0;
};

TimeAxis::TimeAxis(QWidget* parent) : QWidget(parent), overlay_(new AxisOverlay(this)) {
  setFocusPolicy(Qt::StrongFocus);
  setAccessibleName(tr("time axis"));
  connect(&Look::the(), &Look::changed, this, [this] {
    for (const auto& lane : lanes_) lane->chart->dress();
    draw();
  });
}
TimeAxis::~TimeAxis() = default;

Ns TimeAxis::start() const { return timeline_ != nullptr ? timeline_->firstNs() : kNoTime; }

void TimeAxis::show(const review::Timeline* timeline, double supply_min_V) {
  timeline_ = timeline;
  supply_min_V_ = supply_min_V;
  lines_built_ = SIZE_MAX;
  touched_ = false;
  cursor_ = anchor_ = kNoTime;
  from_ = to_ = 0;
  lanes_.clear();  // they look into the timeline before
  refresh();
}

void TimeAxis::setPlugins(std::vector<std::pair<QString, Pyramid>> series) {
  plugin_series_ = std::move(series);
  lines_built_ = SIZE_MAX;
  refresh();
}

void TimeAxis::refresh() {
  if (timeline_ != nullptr && timeline_->firstNs() != kNoTime) {
    const std::size_t lines = timeline_->series().size() + std::size_t{100} * timeline_->load().size() +
                              std::size_t{10'000} * plugin_series_.size() +
                              (timeline_->readings().empty() ? std::size_t{0} : std::size_t{1'000'000});
    if (lines != lines_built_) {
      build();
      lines_built_ = lines;
    }
    const Ns first = timeline_->firstNs(), last = std::max(timeline_->lastNs(), first + kNsPerMs);
    if (!touched_) {
      from_ = first;
      to_ = last + (last - first) / 50;
    } else if (follow_) {
      const Ns span = to_ - from_;
      to_ = last + span / 50;
      from_ = to_ - span;
    }
  }
  draw();
}

void TimeAxis::build() {
  lanes_.clear();
  const auto lane = [&](const QString& title, const char* unit) {
    auto made = std::make_unique<Lane>();
    made->title = title;
    made->volts = std::string_view(unit) == "V";
    int look = 0;
    for (const auto& s : timeline_->series())
      if (s.unit == unit) made->lines.push_back({text(s.point), text(s.unit), &s.values, look++});
    if (made->lines.empty() && !(made->volts && !timeline_->readings().empty())) return;
    lanes_.push_back(std::move(made));
  };
  lane(tr("volts"), "V");
  lane(tr("amperes"), "A");
  if (!timeline_->load().empty()) {
    auto made = std::make_unique<Lane>();
    made->title = tr("bus load");
    int look = 5;
    for (const auto& [link, values] : timeline_->load()) {
      made->lines.push_back(
          {link_name_ ? link_name_(link) : QString::number(link), QStringLiteral("%"), &values, look});
      look = (look + 1) % 6;
    }
    lanes_.push_back(std::move(made));
  }
  // Plugins' series, those that are not drawn above already: a lane for each of the first two.
  for (const auto& [name, values] : plugin_series_) {
    if (lanes_.size() >= 5) break;
    auto made = std::make_unique<Lane>();
    made->title = name;
    made->lines.push_back({name, {}, &values, 3});
    lanes_.push_back(std::move(made));
  }
  for (const auto& made : lanes_) {
    made->chart = std::make_unique<ChartLane>(this);
    made->chart->show();
  }
  overlay_->raise();
  layOut();
}

void TimeAxis::layOut() {
  const double w = width() - kLeft - kRight;
  double y = kMarks + 4;
  const double all = height() - y - kBottom;
  // Volts get most; exchanges as much as their rows need.
  const bool exchanges = timeline_ != nullptr;
  const double own = exchanges ? std::clamp(all * 0.24, 34.0, 84.0) : 0;
  // The first lanes are those that matter most: the others wait for a higher window.
  const auto fit = static_cast<std::size_t>(std::max(1.0, (all - own) / (kLeastLane + kBetween)));
  double weights = 0, left = all - own;
  Lane* most_names = nullptr;
  const auto weight = [](const Lane& lane) { return lane.volts ? 1.6 : 1.0; };
  for (std::size_t i = 0; i < lanes_.size(); ++i) {
    Lane& lane = *lanes_[i];
    lane.shown = i < fit;
    lane.chart->setVisible(lane.shown);
    if (!lane.shown) continue;
    weights += weight(lane);
    const auto names = placeNames(lane, kMostNameRows);
    lane.name_rows = names.empty() ? 1 : names.back().row + 1;
    if (most_names == nullptr || lane.name_rows > most_names->name_rows) most_names = &lane;
    left -= kNameRow * lane.name_rows + kAboveAndBelow + kBetween;
  }
  // Lines before names: what has most names gives up some of them.
  while (most_names != nullptr && most_names->name_rows > 1 && left / weights < kLeastPlot) {
    --most_names->name_rows;
    left += kNameRow;
  }
  for (const auto& lane : lanes_) {
    if (!lane->shown) continue;
    const double plot = std::max(8.0, std::floor(left * weight(*lane) / weights));
    const double above = 2 + kNameRow * lane->name_rows, h = plot + above + kAboveAndBelow - 2;
    lane->chart->setGeometry(0, static_cast<int>(y), width(), static_cast<int>(h));
    lane->plot = QRectF(kLeft, static_cast<int>(y) + above, w, plot);
    lane->chart->place(lane->plot.translated(0, -static_cast<int>(y)));
    y += h + kBetween;
  }
  exchanges_ = QRectF(kLeft, y, w, std::max(0.0, height() - kBottom - y));
  marks_ = QRectF(kLeft, 2, w, kMarks);
  overlay_->setGeometry(rect());
}

void TimeAxis::resizeEvent(QResizeEvent*) {
  layOut();
  draw();
}

double TimeAxis::xOf(Ns t_ns) const {
  const double share =
      (static_cast<double>(t_ns - from_)) / static_cast<double>(std::max<Ns>(1, to_ - from_));
  return kLeft + share * (width() - kLeft - kRight);
}
Ns TimeAxis::timeAt(double x) const {
  const double share = (x - kLeft) / std::max(1.0, width() - kLeft - kRight);
  return from_ + static_cast<Ns>(share * static_cast<double>(to_ - from_));
}

void TimeAxis::setView(Ns from_ns, Ns to_ns) {
  if (timeline_ == nullptr || to_ns - from_ns < kNarrowest_ns) return;
  touched_ = true;
  from_ = from_ns;
  to_ = to_ns;
  draw();
}

void TimeAxis::zoom(double factor, Ns about_ns) {
  if (timeline_ == nullptr || timeline_->firstNs() == kNoTime) return;
  const Ns first = timeline_->firstNs(), last = timeline_->lastNs();
  const double most = 1.5 * static_cast<double>(std::max<Ns>(last - first, kNsPerMs));
  const double span = static_cast<double>(to_ - from_);
  const double wanted = std::clamp(span * factor, static_cast<double>(kNarrowest_ns), most);
  const double share = static_cast<double>(about_ns - from_) / std::max(span, 1.0);
  const Ns from = about_ns - static_cast<Ns>(share * wanted);
  setView(from, from + static_cast<Ns>(wanted));
}

void TimeAxis::showAll() {
  touched_ = false;
  refresh();
}

void TimeAxis::setFollow(bool follow) {
  if (follow == follow_) return;
  follow_ = follow;
  Q_EMIT followChanged(follow);
  refresh();
}

void TimeAxis::setCursor(Ns t_ns) {
  if (t_ns == kNoTime || timeline_ == nullptr) return;
  cursor_ = t_ns;
  if (to_ > from_ && (t_ns < from_ || t_ns > to_)) {
    const Ns span = to_ - from_;
    setView(t_ns - span / 2, t_ns + span / 2);
  }
  describeSelf();
  overlay_->update();
}

void TimeAxis::moveCursor(Ns t_ns) {
  if (timeline_ == nullptr || timeline_->firstNs() == kNoTime) return;
  const Ns at = std::clamp(t_ns, timeline_->firstNs(), std::max(timeline_->firstNs(), timeline_->lastNs()));
  if (follow_ && at < timeline_->lastNs()) setFollow(false);
  setCursor(at);
  Q_EMIT cursorMoved(at);
}

void TimeAxis::describeSelf() {
  QStringList all{sinceText(cursor_, start(), 3) + QStringLiteral(" s")};
  for (const auto& lane : lanes_)
    for (const Line& l : lane->lines)
      if (const auto v = l.values->before(cursor_ + 1))
        all += QStringLiteral("%1 %2 %3").arg(l.name).arg(v->value, 0, 'f', 2).arg(l.unit);
  setAccessibleDescription(all.join(QStringLiteral(", ")));
}

void TimeAxis::keyPressEvent(QKeyEvent* e) {
  const Ns span = to_ - from_;
  const Ns at = cursor_ != kNoTime ? cursor_ : from_ + span / 2;
  const bool far = (e->modifiers() & Qt::ControlModifier) != 0;
  switch (e->key()) {
    case Qt::Key_Left:
      if (far) return setView(from_ - span / 4, to_ - span / 4);
      return moveCursor(at - span / 100);
    case Qt::Key_Right:
      if (far) return setView(from_ + span / 4, to_ + span / 4);
      return moveCursor(at + span / 100);
    case Qt::Key_Plus:
    case Qt::Key_Equal:
    case Qt::Key_Up:
      return zoom(0.5, at);
    case Qt::Key_Minus:
    case Qt::Key_Down:
      return zoom(2, at);
    case Qt::Key_Home:
      return showAll();
    default:
      QWidget::keyPressEvent(e);
  }
}
void TimeAxis::focusInEvent(QFocusEvent*) { overlay_->update(); }
void TimeAxis::focusOutEvent(QFocusEvent*) { overlay_->update(); }

void TimeAxis::draw() {
  points_ = 0;
  if (timeline_ != nullptr && to_ > from_ && width() > kLeft + kRight + 10) {
    std::size_t lines = 0;
    for (const auto& lane : lanes_) lines += lane->shown ? lane->lines.size() : 0;
    const auto pixels = static_cast<std::size_t>(width() - kLeft - kRight);
    const std::size_t columns =
        std::clamp<std::size_t>(kMostPoints / kPointsOfColumn / std::max<std::size_t>(lines, 1), 60,
                                std::max<std::size_t>(60, pixels));
    const Ns zero = start();
    const auto at = [&](Ns t, double v) { return QPointF(toSeconds(t - zero), v); };
    for (const auto& lane : lanes_) {
      if (!lane->shown) continue;
      double low = INFINITY, high = -INFINITY;
      std::vector<std::pair<int, QList<QPointF>>> drawn;
      for (const Line& l : lane->lines) {
        QList<QPointF> segment;
        const auto put = [&](Ns t, double v) {
          segment.append(at(t, v));
          low = std::min(low, v);
          high = std::max(high, v);
        };
        const auto close = [&] {
          if (segment.size() == 1) segment.append(segment.front() + QPointF(1e-9, 0));
          if (!segment.isEmpty()) drawn.emplace_back(l.look, std::exchange(segment, {}));
        };
        if (const auto b = l.values->before(from_); b && l.values->joined(from_)) put(b->t_ns, b->value);
        for (const auto& c : l.values->columns(from_, to_, columns)) {
          if (c.count == 0) continue;
          if (c.gap_before) close();
          put(c.first.t_ns, c.first.value);
          if (c.count > 2) {
            const Ns middle = c.first.t_ns + (c.last.t_ns - c.first.t_ns) / 2;
            put(middle, c.min);
            put(middle, c.max);
          }
          if (c.count > 1) put(c.last.t_ns, c.last.value);
        }
        if (const auto a = l.values->after(to_); a && l.values->joined(to_)) put(a->t_ns, a->value);
        close();
      }
      for (const auto& [look, segment] : drawn) points_ += static_cast<std::size_t>(segment.size());
      if (lane->volts)
        for (const auto& r : timeline_->readings())
          if (r.measurement.unit == "V" && r.t_ns >= from_ && r.t_ns <= to_)
            low = std::min(low, r.measurement.value), high = std::max(high, r.measurement.value);
      if (!std::isfinite(low)) low = 0, high = 1;
      if (lane->lines.empty() || lane->lines.front().unit != QStringLiteral("%")) {
        const double step = niceStep(std::max((high - low) / 4, lane->volts ? 1.0 : 0.05));
        low = std::floor(low / step + 0.1) * step;  // a few millivolts below 0 are 0
        high = std::max(low + step, std::ceil((high + step * 0.02) / step) * step);
      } else {
        low = 0;
        high = high > 50 ? 100 : high > 20 ? 50 : 20;
      }
      lane->low = low;
      lane->high = high;
      lane->chart->range(toSeconds(from_ - zero), toSeconds(to_ - zero), low, high);
      lane->chart->lines(drawn);
    }
  }
  overlay_->update();
}

void TimeAxis::words(QPainter& p, const QRectF& in, const QString& what, const QColor& colour, int align,
                     bool bold) {
  if (what.isEmpty() || in.width() < 12) return;
  QFont font = this->font();
  font.setPixelSize(kSmallPx);
  font.setBold(bold);
  p.setFont(font);
  p.setPen(colour);
  const QFontMetricsF m(font);
  const QString shown = m.elidedText(what, Qt::ElideRight, in.width());
  p.drawText(in, align | Qt::AlignVCenter, shown);
  boxes_.push_back(m.boundingRect(in, align | Qt::AlignVCenter, shown).adjusted(0, 1, 0, -1));
}

std::vector<TimeAxis::Name> TimeAxis::placeNames(const Lane& lane, int most_rows) const {
  constexpr double kDash = 24, kApart = 14;
  QFont f = font();
  f.setPixelSize(kSmallPx);
  const QFontMetricsF m(f);
  std::vector<Name> out;
  const double left = kLeft + 26, right = width() - kRight;
  double x = left;
  int row = 0;
  for (const Line& l : lane.lines) {
    // Room for any value, so that nothing moves with the cursor.
    double wide = kDash + m.horizontalAdvance(l.name + QStringLiteral("  \u221288.88 ") + l.unit) + 3;
    if (x > left && x + wide > right) {
      if (++row >= most_rows) break;
      x = left;
    }
    wide = std::min(wide, right - x);
    out.push_back({&l, row, x, wide});
    x += wide + kApart;
  }
  // How many are missing needs room too.
  if (out.size() < lane.lines.size() && !out.empty())
    out.back().width = std::min(out.back().width, right - 40 - out.back().x);
  return out;
}

void TimeAxis::paintTitles(QPainter& p, const Lane& lane) {
  const Colours& c = Look::the().colours();
  const double y = lane.plot.top() - 1 - kNameRow * lane.name_rows;
  words(p, {4, y, kLeft + 20, kNameRow}, lane.title, c.faint, Qt::AlignLeft);
  for (const double share : {0.0, 0.5, 1.0}) {
    const double at = lane.plot.bottom() - share * lane.plot.height();
    if (share == 0.5 && lane.plot.height() < 50) continue;
    // The topmost stands below its line: above it is the title.
    words(p, {4, share == 1.0 ? at - 1 : at - 8, kLeft - 10, 16},
          QString::number(lane.low + share * (lane.high - lane.low), 'g', 3), c.faint, Qt::AlignRight);
  }
  const auto names = placeNames(lane, lane.name_rows);
  // Marks and cursor go behind the words.
  QColor behind = c.ground;
  behind.setAlpha(225);
  for (const Name& n : names) {
    QString what = n.line->name;
    if (cursor_ != kNoTime)
      if (const auto v = n.line->values->before(cursor_ + 1))
        what += QStringLiteral("  %1 %2")
                    .arg(v->value, 0, 'f', n.line->unit == QStringLiteral("%") ? 0 : 2)
                    .arg(n.line->unit);
    const double top = y + kNameRow * n.row;
    QFont f = font();
    f.setPixelSize(kSmallPx);
    const double wide = std::min(n.width - 24, QFontMetricsF(f).horizontalAdvance(what) + 3);
    (QFontMetricsF(f).horizontalAdvance(what) > wide ? names_missing_ : names_whole_) += 1;
    p.fillRect(QRectF(n.x - 3, top + 1, wide + 29, kNameRow - 1), behind);
    p.setPen(penOf(n.line->look));
    p.drawLine(QPointF(n.x, top + 8), QPointF(n.x + 20, top + 8));
    words(p, {n.x + 24, top, wide, kNameRow}, what, penOf(n.line->look).color(), Qt::AlignLeft);
  }
  if (const auto missing = static_cast<int>(lane.lines.size() - names.size()); missing > 0) {
    names_missing_ += missing;
    words(p, {width() - kRight - 34, y + kNameRow * (lane.name_rows - 1), 34, kNameRow},
          QStringLiteral("+%1").arg(missing), c.text, Qt::AlignRight);
  }
}

void TimeAxis::paintGrid(QPainter& p, const Lane& lane) {
  p.setOpacity(0.6);
  p.setPen(QPen(Look::the().colours().line, 1));
  for (const double share : {0.0, 0.5, 1.0}) {
    const double at = lane.plot.bottom() - share * lane.plot.height();
    p.drawLine(QPointF(lane.plot.left(), at), QPointF(lane.plot.right(), at));
  }
  p.setOpacity(1);
}

/// What people typed: a diamond at its value.
void TimeAxis::paintReadings(QPainter& p, const Lane& lane) {
  const Colours& c = Look::the().colours();
  p.setPen(QPen(c.text, 1.2));
  p.setBrush(c.card);
  for (const auto& r : timeline_->readings()) {
    if (r.measurement.unit != "V" || r.t_ns < from_ || r.t_ns > to_) continue;
    const double share = (r.measurement.value - lane.low) / std::max(lane.high - lane.low, 1e-9);
    const QPointF at(xOf(r.t_ns), lane.plot.bottom() - share * lane.plot.height());
    QPainterPath diamond(at + QPointF(0, -5));
    diamond.lineTo(at + QPointF(5, 0));
    diamond.lineTo(at + QPointF(0, 5));
    diamond.lineTo(at + QPointF(-5, 0));
    diamond.closeSubpath();
    p.drawPath(diamond);
  }
}

void TimeAxis::paintMarks(QPainter& p) {
  const Colours& c = Look::the().colours();
  int power_ups = 0;
  double free_from = marks_.left();
  for (const auto& m : timeline_->marks()) {
    if (m.what == What::power_on) ++power_ups;
    if (m.to_ns < from_ || m.from_ns > to_) continue;
    const double x = std::max(xOf(m.from_ns), marks_.left());
    const double bottom = height() - kBottom;
    if (m.what == What::gap) {
      const double right = std::min(xOf(m.to_ns), marks_.right());
      p.fillRect(QRectF(x, marks_.bottom(), std::max(2.0, right - x), bottom - marks_.bottom()),
                 QBrush(c.faint, Qt::BDiagPattern));
    } else {
      p.setPen(QPen(m.what == What::loss ? c.faulty : c.faint, 1.2, Qt::DotLine));
      p.drawLine(QPointF(x, marks_.bottom()), QPointF(x, bottom));
    }
    QString what;
    switch (m.what) {
      case What::power_on:
        what = tr("\u25b2 power-up %1").arg(power_ups);
        break;
      case What::power_off:
        what = tr("\u25bd power off");
        break;
      case What::gap:
        what = tr("gap");
        break;
      case What::loss:
        what = tr("lost");
        break;
      case What::attempt_begin:
        what = tr("\u2039 attempt");
        break;
      case What::attempt_end:
        what = tr("end \u203a");
        break;
      default:
        what = text(m.text);
        break;
    }
    if (x < free_from) continue;  // its label would lie on the one before; the line is there
    QFont f = font();
    f.setPixelSize(kSmallPx);
    const double wide =
        std::min({QFontMetricsF(f).horizontalAdvance(what) + 4, 160.0, marks_.right() - x - 3});
    words(p, {x + 3, marks_.top(), wide, marks_.height()}, what, c.text, Qt::AlignLeft);
    free_from = x + wide + 10;
  }
}

void TimeAxis::paintExchanges(QPainter& p) {
  const Colours& c = Look::the().colours();
  // Wider than the margin: marks and cursor go behind it.
  QFont f = font();
  f.setPixelSize(kSmallPx);
  const QString title = tr("exchanges");
  p.fillRect(QRectF(2, exchanges_.top(), QFontMetricsF(f).horizontalAdvance(title) + 6, 16), c.ground);
  words(p, {4, exchanges_.top(), kLeft + 60, 16}, title, c.faint, Qt::AlignLeft);
  const QRectF in = exchanges_.adjusted(0, 18, 0, -3);
  p.setPen(QPen(c.line, 1));
  p.drawLine(in.bottomLeft(), in.bottomRight());
  if (in.height() < 8) return;
  p.setClipRect(in.adjusted(-1, -2, 1, 2));
  const auto bars = timeline_->bars(from_, to_, kMostBars);
  if (bars.left_out > 0) {
    const auto columns = static_cast<std::size_t>(std::max(1.0, in.width() / 4));
    const auto counts = timeline_->barCounts(from_, to_, columns);
    std::uint64_t most = 1;
    for (const auto& n : counts) most = std::max(most, n.total());
    for (std::size_t i = 0; i < counts.size(); ++i) {
      double y = in.bottom();
      const double x = in.left() + 4.0 * static_cast<double>(i);
      const auto part = [&](std::uint64_t n, const QBrush& brush) {
        const double h = in.height() * static_cast<double>(n) / static_cast<double>(most);
        p.fillRect(QRectF(x, y - h, 3, h), brush);
        y -= h;
      };
      part(counts[i].answered, c.sound);
      part(counts[i].negative, QBrush(c.marginal, Qt::Dense4Pattern));
      part(counts[i].others, QBrush(c.faulty, Qt::BDiagPattern));
    }
  } else {
    // As many rows as have room for a word in their bars.
    const int bar_rows = std::clamp(static_cast<int>(in.height() / kBarPitch), 1, kBarRows);
    const double pitch = in.height() / bar_rows, h = std::clamp(pitch - 3, 4.0, 16.0);
    double free[kBarRows] = {};
    for (const auto& b : bars.bars) {
      const double x = xOf(b.from_ns), answer = std::max(x + 2, xOf(b.to_ns)),
                   end = std::max(answer, xOf(b.complete_ns));
      int row = 0;
      while (row + 1 < bar_rows && free[row] > x) ++row;
      free[row] = end + 3;
      const QRectF bar(x, in.top() + row * pitch + (pitch - h) / 2, std::max(4.0, end - x), h);
      const QColor colour = b.ended == Ended::answered   ? (b.late ? c.marginal : c.sound)
                            : b.ended == Ended::negative ? c.marginal
                                                         : c.faulty;
      p.setPen(QPen(colour, 1.5,
                    b.ended == Ended::silent || b.ended == Ended::not_seen ? Qt::DashLine : Qt::SolidLine));
      p.setBrush(b.ended == Ended::answered ? QBrush(colour)
                 : b.pending                ? QBrush(colour, Qt::BDiagPattern)
                                            : Qt::NoBrush);
      if (b.ended == Ended::negative) {  // a notch at its end
        QPainterPath path(bar.topLeft());
        path.lineTo(bar.topRight());
        path.lineTo(QPointF(bar.right() - std::min(6.0, bar.width() / 2), bar.center().y()));
        path.lineTo(bar.bottomRight());
        path.lineTo(bar.bottomLeft());
        path.closeSubpath();
        p.setBrush(b.pending ? QBrush(colour, Qt::BDiagPattern) : QBrush(colour, Qt::Dense4Pattern));
        p.drawPath(path);
      } else {
        p.drawRect(bar);
      }
      if (b.ended == Ended::incomplete || b.ended == Ended::link_lost)
        p.drawLine(bar.topRight() + QPointF(2, -2), bar.bottomRight() + QPointF(2, 2));
      const QString what = QStringLiteral("%1 %2")
                               .arg(text(protocol::idText(b.request_id, b.extended, b.line)))
                               .arg(b.service, 2, 16, QLatin1Char('0'));
      if (bar.width() > 64 && h > kSmallPx + 1)
        words(p, bar.adjusted(4, 0, -8, 0), what, b.ended == Ended::answered ? c.ground : colour,
              Qt::AlignLeft);
    }
    if (bars.bars.empty()) words(p, in, tr("none here"), c.faint, Qt::AlignCenter);
  }
  p.setClipping(false);
}

void TimeAxis::paintScale(QPainter& p) {
  const Colours& c = Look::the().colours();
  const double y = height() - kBottom;
  const double span_s = toSeconds(to_ - from_);
  const double per_px = span_s / std::max(1.0, width() - kLeft - kRight);
  const double step = niceStep(per_px * 110);
  const int decimals = std::clamp(static_cast<int>(std::ceil(-std::log10(step) - 1e-9)), 0, 6);
  const Ns zero = start();
  const double first = std::ceil(toSeconds(from_ - zero) / step) * step;
  p.setPen(QPen(c.line, 1));
  p.drawLine(QPointF(kLeft, y), QPointF(width() - kRight, y));
  for (int i = 0; i < 200; ++i) {
    const double s = first + i * step;
    const double x = xOf(zero + static_cast<Ns>(s * 1e9));
    if (x > width() - kRight) break;
    p.setPen(QPen(c.faint, 1));
    p.drawLine(QPointF(x, y), QPointF(x, y + 4));
    if (x + 50 < width())
      words(p, {x - 50, y + 5, 100, 18}, QStringLiteral("%1 s").arg(s, 0, 'f', decimals), c.faint,
            Qt::AlignHCenter);
  }
}

void TimeAxis::paintOver(QPainter& p) {
  boxes_.clear();
  const Colours& c = Look::the().colours();
  if (timeline_ == nullptr || timeline_->firstNs() == kNoTime || to_ <= from_) {
    words(p, rect(), tr("nothing with a time yet"), c.faint, Qt::AlignCenter);
    return;
  }
  for (const auto& lane : lanes_) {
    if (!lane->shown) continue;
    if (lane->volts && supply_min_V_ > lane->low && supply_min_V_ < lane->high) {
      const double share = (supply_min_V_ - lane->low) / (lane->high - lane->low);
      const double y = lane->plot.bottom() - share * lane->plot.height();
      p.setOpacity(0.55);
      p.fillRect(QRectF(lane->plot.left(), y, lane->plot.width(), lane->plot.bottom() - y), c.band);
      p.setOpacity(1);
      p.setPen(QPen(c.faulty, 1, Qt::DashLine));
      p.drawLine(QPointF(lane->plot.left(), y), QPointF(lane->plot.right(), y));
      words(p, {lane->plot.right() - 90, y + 1, 86, 16}, tr("below %1 V").arg(supply_min_V_), c.faulty,
            Qt::AlignRight);
    }
    paintGrid(p, *lane);
    if (lane->volts) paintReadings(p, *lane);
  }
  paintMarks(p);
  paintExchanges(p);
  paintScale(p);
  const double bottom = height() - kBottom;
  if (anchor_ != kNoTime && cursor_ != kNoTime && anchor_ != cursor_) {
    const double a = xOf(anchor_), b = xOf(cursor_);
    p.setOpacity(0.5);
    p.fillRect(QRectF(std::min(a, b), marks_.bottom(), std::abs(b - a), bottom - marks_.bottom()), c.chosen);
    p.setOpacity(1);
  }
  if (cursor_ != kNoTime) {
    p.setPen(QPen(c.accent, Look::the().stroke() + 0.5));
    p.drawLine(QPointF(xOf(cursor_), marks_.bottom() - 2), QPointF(xOf(cursor_), bottom));
  }
  names_whole_ = names_missing_ = 0;
  for (const auto& lane : lanes_)
    if (lane->shown) paintTitles(p, *lane);
  if (cursor_ != kNoTime) {
    const double x = xOf(cursor_);
    QString at = sinceText(cursor_, start(), to_ - from_ < kNsPerSecond ? 6 : 3) + QStringLiteral(" s");
    if (anchor_ != kNoTime && anchor_ != cursor_)
      at += QStringLiteral("  \u0394 %1 s").arg(std::abs(toSeconds(cursor_ - anchor_)), 0, 'f', 6);
    QFont f = font();
    f.setPixelSize(kSmallPx);
    f.setBold(true);
    const double wide = QFontMetricsF(f).horizontalAdvance(at) + 10;
    const double left = std::clamp(x - wide / 2, kLeft, std::max(kLeft, width() - kRight - wide));
    // Over the scale, which it hides there.
    const QRectF tag(left, bottom + 4, wide, 19);
    p.setBrush(c.accent);
    p.setPen(Qt::NoPen);
    p.drawRoundedRect(tag, 4, 4);
    std::erase_if(boxes_, [&](const QRectF& b) { return b.intersects(tag); });
    words(p, tag, at, c.ground, Qt::AlignHCenter, true);
  }
  if (hasFocus()) {
    p.setBrush(Qt::NoBrush);
    p.setPen(QPen(c.accent, Look::the().stroke()));
    p.drawRoundedRect(QRectF(rect()).adjusted(1, 1, -1, -1), 5, 5);
  }
}

}  // namespace pin16::gui
