// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/supply_path.hpp"

#include <QFontDatabase>
#include <QMouseEvent>
#include <QPainter>
#include <algorithm>

#include "gui/look.hpp"

namespace pin16::gui {
namespace {

using job::Arrangement;
using readiness::Joint;
using readiness::Verdict;

/// Below this width the picture becomes a row of values.
constexpr int kWide = 1260;
constexpr int kHighPx = 214;
constexpr int kLowPx = 86;
constexpr int kMeasuredPx = 16;
constexpr int kExpectedPx = 12;

/// A limit says itself what it is.
QString expectedText(const Joint& j) {
  if (j.expected_text.empty()) return {};
  return j.expected ? SupplyPath::tr("expected %1").arg(coreText(j.expected_text))
                    : coreText(j.expected_text);
}

Verdict glyphOf(Joint::Stand s) {
  switch (s) {
    case Joint::Stand::fits:
    case Joint::Stand::shown:
      return Verdict::sound;
    case Joint::Stand::differs:
      return Verdict::faulty;
    case Joint::Stand::unmeasured:
      break;
  }
  return Verdict::not_measured;
}

}  // namespace

SupplyPath::SupplyPath(QWidget* parent) : QWidget(parent) {
  setMinimumWidth(300);
  setFixedHeight(kHighPx);
  setAccessibleName(tr("supply path"));
  connect(&Look::the(), &Look::changed, this, qOverload<>(&QWidget::update));
}

/// The height follows from the width: a picture, or a row of values.
void SupplyPath::resizeEvent(QResizeEvent*) { setFixedHeight(width() < kWide ? kLowPx : kHighPx); }

void SupplyPath::show(const job::Job& job, std::vector<Joint> joints) {
  job_ = job;
  joints_ = std::move(joints);
  QStringList all;
  for (const Joint& j : joints_) {
    if (!j.measured) continue;
    QString line = text(j.point) + QStringLiteral(" ") + coreText(j.text());
    if (!j.expected_text.empty()) line += QStringLiteral(", ") + expectedText(j);
    if (j.stand == Joint::Stand::differs) line += QStringLiteral(", ") + tr("differs");
    all += line;
  }
  setAccessibleDescription(all.isEmpty() ? tr("nothing measured") : all.join(QStringLiteral("; ")));
  update();
}

const Joint* SupplyPath::find(std::string_view point) const {
  const auto at =
      std::find_if(joints_.begin(), joints_.end(), [&](const Joint& j) { return j.point == point; });
  return at == joints_.end() ? nullptr : &*at;
}

bool SupplyPath::differs(std::string_view point) const {
  const Joint* j = find(point);
  return j != nullptr && j->stand == Joint::Stand::differs;
}

void SupplyPath::words(QPainter& p, const QRectF& in, const QString& what, int px, const QColor& colour,
                       int align, bool bold) {
  if (what.isEmpty()) return;
  QFont font = this->font();
  font.setPixelSize(px);
  font.setBold(bold);
  p.setFont(font);
  p.setPen(colour);
  const QFontMetricsF metrics(font);
  const QString shown = metrics.elidedText(what, Qt::ElideRight, in.width());
  if (shown != what) ++cut_;
  p.drawText(in, align | Qt::AlignVCenter, shown);
  boxes_.push_back(metrics.boundingRect(in, align | Qt::AlignVCenter, shown).adjusted(0, 1, 0, -1));
}

void SupplyPath::joint(QPainter& p, const QPointF& at, const QRectF& in, std::string_view point,
                       const QString& name, int align) {
  const Joint* j = find(point);
  if (j == nullptr) return;
  const Colours& c = Look::the().colours();
  const Verdict v = glyphOf(j->stand);
  const QRectF dot(at.x() - 7, at.y() - 7, 14, 14);
  p.setPen(Qt::NoPen);
  p.setBrush(c.ground);
  p.drawEllipse(dot.adjusted(-2, -2, 2, 2));
  drawGlyph(p, dot, v);
  const int side = align == 0 ? static_cast<int>(Qt::AlignHCenter) : align;
  const double row = in.height() / 3;
  words(p, {in.left(), in.top(), in.width(), row}, name, kExpectedPx, c.faint, side);
  words(p, {in.left(), in.top() + row, in.width(), row},
        j->measured ? coreText(j->text()) : tr("not measured"), j->measured ? kMeasuredPx : kExpectedPx,
        j->stand == Joint::Stand::differs ? c.faulty : c.text, side, j->measured.has_value());
  words(p, {in.left(), in.top() + 2 * row, in.width(), row}, expectedText(*j), kExpectedPx, c.faint, side);
  targets_.emplace_back(in.united(dot.adjusted(-10, -10, 10, 10)), text(j->step));
}

void SupplyPath::box(QPainter& p, const QRectF& in, const QString& name, const QString& below, bool bad) {
  const Colours& c = Look::the().colours();
  p.setBrush(c.card);
  p.setPen(QPen(bad ? c.faulty : c.text, Look::the().stroke() + 0.4));
  p.drawRoundedRect(in, 6, 6);
  const QRectF inner = in.adjusted(4, 3, -4, -3);
  const double row = below.isEmpty() ? inner.height() : inner.height() / 2;
  words(p, {inner.left(), inner.top(), inner.width(), row}, name, kTextPx, c.text, Qt::AlignHCenter);
  if (!below.isEmpty())
    words(p, {inner.left(), inner.top() + row, inner.width(), row}, below, kExpectedPx, c.faint,
          Qt::AlignHCenter);
}

/// As in a wiring diagram: a box with the wire going through; crossed out where what lies behind it is dead.
void SupplyPath::fuse(QPainter& p, const QPointF& middle, const QString& name, bool bad) {
  const Colours& c = Look::the().colours();
  const QRectF in(middle.x() - 24, middle.y() - 10, 48, 20);
  p.setBrush(c.ground);
  p.setPen(QPen(bad ? c.faulty : c.text, Look::the().stroke() + 0.4));
  p.drawRoundedRect(in, 3, 3);
  p.drawLine(QPointF(in.left(), middle.y()), QPointF(in.right(), middle.y()));
  words(p, {in.left() - 46, in.top() - 20, in.width() + 92, 18}, name, kExpectedPx, bad ? c.faulty : c.faint,
        Qt::AlignHCenter);
}

void SupplyPath::paintWide(QPainter& p) {
  const Colours& c = Look::the().colours();
  const double w = width(), h = height();
  const bool own = job_.arrangement == Arrangement::own_battery;
  const bool table = job_.arrangement == Arrangement::removed;
  const double left = 46, top = h * 0.28, middle = h * 0.565, bottom = h * 0.9;
  const QRectF module(w * 0.775, top - 26, w * 0.105, bottom - top + 40);
  const double tap = w * 0.155;
  const QPen wire(c.text, Look::the().stroke() + 0.5);
  const QPen dead(c.faulty, Look::the().stroke() + 0.5, Qt::DashLine);
  const QPen thin(c.faint, Look::the().stroke(), Qt::DashLine);

  // Source: plates, plus above.
  const Joint* source = find("V(src+,src-)");
  const bool feed_bad = differs("V(loadblade,chassis)") || differs("V(feed,chassis)");
  const bool ground_bad = differs("V(chassis,src-)");
  const bool pin16_bad = differs("V(pin16,pin4)") || differs("V(pin16,pin5)");
  p.setPen(wire);
  const double mid = (top + bottom) / 2;
  p.drawLine(QPointF(left, top), QPointF(left, mid - 12));
  p.drawLine(QPointF(left - 16, mid - 12), QPointF(left + 16, mid - 12));
  p.drawLine(QPointF(left - 9, mid - 4), QPointF(left + 9, mid - 4));
  p.drawLine(QPointF(left - 16, mid + 4), QPointF(left + 16, mid + 4));
  p.drawLine(QPointF(left - 9, mid + 12), QPointF(left + 9, mid + 12));
  p.drawLine(QPointF(left, mid + 12), QPointF(left, bottom));
  if (source != nullptr)
    joint(p, {left, mid - 28}, {left + 22, mid - 26, tap - left - 26, 52}, "V(src+,src-)",
          own ? tr("battery") : tr("source"), Qt::AlignLeft);

  // Feed.
  p.setPen(feed_bad ? dead : wire);
  p.drawLine(QPointF(left, top), QPointF(module.left(), top));
  fuse(p, {w * 0.225, top},
       own                                 ? tr("fuse box")
       : readiness::fuseText(job_).empty() ? tr("fuse")
                                           : coreText(readiness::fuseText(job_)),
       false);
  const QRectF slot(w * 0.385, top - 22, w * 0.095, 44);
  box(p, slot, table ? tr("harness") : tr("fuse slot"), table ? tr("feed") : tr("load side"), feed_bad);
  const char* at_slot = own ? "V(loadblade,chassis)" : "V(feed,chassis)";
  joint(p, {w * 0.545, top}, {w * 0.495, top - 56, w * 0.135, 50}, at_slot,
        own ? tr("load blade") : tr("feed"));
  if (job_.arrangement == Arrangement::fed_in_place)
    joint(p, {w * 0.69, top}, {w * 0.635, top - 56, w * 0.13, 50}, "V(loadblade,chassis)", tr("load blade"));
  else
    words(p, {w * 0.635, top - 24, w * 0.13, 18}, coreText(readiness::leadText(job_)), kExpectedPx, c.faint,
          Qt::AlignHCenter);

  // Connector and interface.
  const QRectF first(w * 0.385, middle - 21, w * 0.095, 42),
      second(w * (own ? 0.585 : 0.565), middle - 21, w * 0.085, 42);
  const QRectF& connector = own ? first : second;
  const QRectF& interface = own ? second : first;
  const Joint* lamp = find("lamp");
  const QString lit = lamp != nullptr && lamp->measured
                          ? (*lamp->measured > 0.5 ? tr("lamp lit") : tr("lamp dark"))
                          : QString();
  p.setPen(own && pin16_bad ? dead : wire);
  p.drawLine(QPointF(tap, top), QPointF(tap, middle));
  p.drawLine(QPointF(tap, middle), QPointF(first.left(), middle));
  p.setPen(own ? (pin16_bad ? dead : wire) : thin);
  p.drawLine(QPointF(first.right(), middle), QPointF(second.left(), middle));
  p.setPen(wire);
  p.setBrush(c.text);
  p.drawEllipse(QPointF(tap, top), 3, 3);
  if (own) fuse(p, {w * 0.215, middle}, tr("connector fuse"), pin16_bad);
  box(p, connector, tr("connector"), QStringLiteral("16 \u00b7 4 \u00b7 5"), pin16_bad);
  box(p, interface, tr("interface"), lit, differs("V(interface+,interface-)") || differs("lamp"));
  if (own)
    joint(p, {w * 0.32, middle}, {w * 0.258, middle + 8, w * 0.124, 46}, "V(pin16,pin4)", tr("pin 16"));
  else  // right of its dot, as far as the module
    joint(p, {second.right() + 14, middle},
          {second.right() + 26, middle - 50, module.left() - second.right() - 34, 46}, "V(pin16,pin4)",
          tr("pin 16"), static_cast<int>(Qt::AlignLeft));
  const double supply = own ? w * 0.53 : w * 0.32;
  joint(p, {supply, middle}, {supply - w * 0.05, middle + 8, w * 0.1, 46}, "V(interface+,interface-)",
        tr("interface supply"));

  // Ground.
  p.setPen(ground_bad ? dead : wire);
  p.drawLine(QPointF(left, bottom), QPointF(module.left(), bottom));
  p.setPen(wire);
  p.drawLine(QPointF(connector.center().x(), connector.bottom()), QPointF(connector.center().x(), bottom));
  p.setBrush(c.text);
  p.drawEllipse(QPointF(connector.center().x(), bottom), 3, 3);
  joint(p, {w * 0.72, bottom}, {w * 0.672, bottom - 51, w * 0.1, 46}, "V(chassis,src-)",
        own     ? tr("ground drop")
        : table ? tr("ground post")
                : tr("clamp drop"));

  // Module and its bus.
  box(p, module, {}, {}, false);
  const QRectF inner = module.adjusted(5, 6, -5, -6);
  const double row = inner.height() / 5;
  words(p, {inner.left(), inner.top(), inner.width(), row}, tr("module"), kTextPx, c.text, Qt::AlignHCenter,
        true);
  const QString needs = job_.module.supply_min_V && job_.module.supply_max_V
                            ? tr("%1 to %2 V").arg(*job_.module.supply_min_V).arg(*job_.module.supply_max_V)
                            : QString();
  words(p, {inner.left(), inner.top() + row, inner.width(), row}, needs, kExpectedPx, c.faint,
        Qt::AlignHCenter);
  if (const Joint* i = find("I(feed)")) {
    words(p, {inner.left(), inner.top() + 2.3 * row, inner.width(), row},
          i->measured ? coreText(i->text()) : tr("current"), i->measured ? kMeasuredPx : kExpectedPx,
          i->stand == Joint::Stand::differs ? c.faulty : c.text, Qt::AlignHCenter, i->measured.has_value());
    words(p, {inner.left(), inner.top() + 3.3 * row, inner.width(), row},
          i->measured ? coreText(i->expected_text) : tr("not measured"), kExpectedPx, c.faint,
          Qt::AlignHCenter);
  }
  const double bus = module.right() + 10, column = w - bus - 8;
  p.setPen(wire);
  p.drawLine(QPointF(module.right(), mid - 30), QPointF(bus, mid - 30));
  p.drawLine(QPointF(module.right(), mid + 8), QPointF(bus, mid + 8));
  const std::pair<const char*, QString> wires[] = {{"V(pin6,pin4)", tr("CAN high, pin 6")},
                                                   {"V(pin14,pin4)", tr("CAN low, pin 14")},
                                                   {"R(pin6,pin14)", tr("between them, off")}};
  double y = top - 22;
  const double pitch = (h - y - 4) / 3;
  for (const auto& [point, name] : wires) {
    const Joint* j = find(point);
    if (j == nullptr) continue;
    drawGlyph(p, {bus + 4, y + 2, 13, 13}, glyphOf(j->stand));
    words(p, {bus + 22, y, column - 22, 17}, name, kExpectedPx, c.faint, Qt::AlignLeft);
    words(p, {bus + 22, y + 17, column - 22, 20}, j->measured ? coreText(j->text()) : tr("not measured"),
          j->measured ? kMeasuredPx : kExpectedPx, j->stand == Joint::Stand::differs ? c.faulty : c.text,
          Qt::AlignLeft, j->measured.has_value());
    targets_.emplace_back(QRectF(bus, y, column, 38), text(j->step));
    y += pitch;
  }
}

/// What counts most, in a row.
void SupplyPath::paintNarrow(QPainter& p) {
  const Colours& c = Look::the().colours();
  const bool own = job_.arrangement == Arrangement::own_battery;
  const std::pair<const char*, QString> all[] = {
      {"V(src+,src-)", own ? tr("battery") : tr("source")},
      {own ? "V(loadblade,chassis)" : "V(feed,chassis)", own ? tr("load blade") : tr("feed")},
      {"V(chassis,src-)", tr("ground drop")},
      {"V(pin16,pin4)", tr("pin 16")},
      {"R(pin6,pin14)", tr("between them, off")}};
  const double cell = width() / 5.0;
  p.setPen(QPen(c.line, Look::the().stroke()));
  p.drawLine(QPointF(8, 14), QPointF(width() - 8, 14));
  for (int i = 0; i < 5; ++i)
    joint(p, {cell * (i + 0.5), 14}, {cell * i + 3, 24, cell - 6, height() - 27.0}, all[i].first,
          all[i].second);
}

void SupplyPath::paintEvent(QPaintEvent*) {
  QPainter p(this);
  p.setRenderHint(QPainter::Antialiasing);
  boxes_.clear();
  targets_.clear();
  cut_ = 0;
  if (width() < kWide)
    paintNarrow(p);
  else
    paintWide(p);
}

void SupplyPath::mousePressEvent(QMouseEvent* e) {
  for (const auto& [in, step] : targets_)
    if (in.contains(e->position())) {
      Q_EMIT chosen(step);
      return;
    }
}

}  // namespace pin16::gui
