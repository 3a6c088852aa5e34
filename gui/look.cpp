// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/look.hpp"

#include <QApplication>
#include <QComboBox>
#include <QFontDatabase>
#include <QPainter>
#include <QPainterPath>
#include <QPalette>
#include <QScrollArea>
#include <QStyle>
#include <QStyleFactory>
#include <QWheelEvent>
#include <cmath>

namespace pin16::gui {
namespace {

using readiness::Overall;
using readiness::Verdict;

Colours coloursOf(Theme theme) {
  const auto c = [](const char* name) { return QColor(QLatin1String(name)); };
  switch (theme) {
    case Theme::light:
      return {c("#fbfaf7"),
              c("#ffffff"),
              c("#1b1e22"),
              c("#565d66"),
              c("#cfccc4"),
              c("#005f96"),
              c("#dbe9f1"),
              c("#f8e3da"),
              c("#00694d"),
              c("#855b00"),
              c("#b23a00"),
              c("#565d66"),
              {c("#0072b2"), c("#d55e00"), c("#007a59"), c("#a3497f"), c("#9a6b00"), c("#1b1e22")}};
    case Theme::dark:
      return {c("#14171b"),
              c("#1d2127"),
              c("#ecebe6"),
              c("#aab0b8"),
              c("#363c45"),
              c("#6cc0f0"),
              c("#1d3341"),
              c("#3a231b"),
              c("#35cfa2"),
              c("#f2be45"),
              c("#ff8556"),
              c("#aab0b8"),
              {c("#56b4e9"), c("#ff8a4a"), c("#2cc79a"), c("#e39bc4"), c("#f0e442"), c("#ecebe6")}};
    case Theme::contrast:
      break;
  }
  return {c("#000000"),
          c("#000000"),
          c("#ffffff"),
          c("#ffffff"),
          c("#ffffff"),
          c("#56d0ff"),
          c("#003a66"),
          c("#5a1a00"),
          c("#4dffc3"),
          c("#ffd24d"),
          c("#ff9466"),
          c("#ffffff"),
          {c("#56d0ff"), c("#ff9466"), c("#4dffc3"), c("#ffb3dd"), c("#f0e442"), c("#ffffff")}};
}

QString styleSheet(const Colours& c, bool contrast) {
  QString s = QStringLiteral(
      "QToolTip { color:%3; background:%2; border:1px solid %4; }"
      "QWidget[role=\"faint\"] { color:%5; }"
      "QWidget[tint=\"text\"] { color:%3; }"
      "QWidget[tint=\"sound\"] { color:%9; }"
      "QWidget[tint=\"marginal\"] { color:%10; }"
      "QWidget[tint=\"faulty\"] { color:%11; }"
      "QWidget[tint=\"unmeasured\"] { color:%12; }"
      "QFrame#card { background:%2; border:%8px solid %4; border-radius:8px; }"
      "QFrame#row { background:transparent; border:%8px solid transparent; border-radius:6px; }"
      "QFrame#row[chosen=\"true\"] { background:%7; }"
      "QFrame#row:focus { border-color:%6; }"
      "QFrame#rule { background:%4; border:none; }"
      "QPushButton { color:%6; background:%2; border:%8px solid %6; border-radius:6px; padding:4px 10px; "
      "min-height:20px; }"
      "QPushButton::menu-indicator { image:none; width:0px; }"
      "QComboBox::drop-down { border:none; width:22px; }"
      "QComboBox::down-arrow { width:0px; height:0px; border-left:5px solid %2; border-right:5px solid %2; "
      "border-top:7px solid %5; margin-right:6px; }"
      "QPushButton:hover, QPushButton:checked { background:%7; }"
      "QPushButton:focus { border-color:%3; }"
      "QPushButton:disabled { color:%5; border-color:%4; }"
      "QPushButton:default { font-weight:bold; }"
      "QLineEdit, QComboBox, QListWidget, QPlainTextEdit { background:%2; color:%3; border:%8px solid %5; "
      "border-radius:5px; padding:3px 6px; }"
      "QLineEdit:focus, QComboBox:focus, QListWidget:focus { border-color:%6; }"
      "QCheckBox::indicator { width:13px; height:13px; border:%8px solid %5; border-radius:3px; "
      "background:%2; }"
      "QCheckBox::indicator:checked { background:%6; border-color:%6; }"
      "QCheckBox:focus { color:%6; }"
      "QComboBox QAbstractItemView { background:%2; color:%3; selection-background-color:%7; "
      "selection-color:%3; }"
      "QTableView { background:%1; color:%3; border:none; gridline-color:transparent; "
      "selection-background-color:%7; selection-color:%3; }"
      "QHeaderView::section { background:%1; color:%5; border:none; border-bottom:1px solid %4; padding:2px "
      "6px; }"
      "QScrollBar:vertical { background:%1; border:none; width:16px; margin:0px; }"
      "QScrollBar::handle:vertical { background:%5; border:none; border-radius:4px; margin:2px 4px; "
      "min-height:32px; }"
      "QScrollBar::handle:vertical:hover { background:%6; margin:2px; }"
      "QScrollBar::add-line:vertical, QScrollBar::sub-line:vertical { height:0px; border:none; }"
      "QScrollBar::add-page:vertical, QScrollBar::sub-page:vertical { background:%1; }"
      "QScrollArea { border:none; background:transparent; }"
      "QSplitter::handle { background:%4; }"
      "QProgressBar { background:%2; border:1px solid %4; border-radius:4px; color:%3; text-align:center; }"
      "QProgressBar::chunk { background:%7; }"
      "QMenu { background:%2; color:%3; border:1px solid %4; }"
      "QMenu::item:selected { background:%7; }");
  for (const QColor& colour : {c.ground, c.card, c.text, c.line, c.faint, c.accent, c.chosen})
    s = s.arg(colour.name());
  s = s.arg(contrast ? 2 : 1);
  for (const QColor& colour : {c.sound, c.marginal, c.faulty, c.unmeasured}) s = s.arg(colour.name());
  return s;
}

}  // namespace

Look& Look::the() {
  static Look look;
  return look;
}

void Look::set(Theme theme) {
  theme_ = theme;
  colours_ = coloursOf(theme);
  const Colours& c = colours_;
  QPalette p;
  p.setColor(QPalette::Window, c.ground);
  p.setColor(QPalette::Base, c.card);
  p.setColor(QPalette::AlternateBase, c.ground);
  p.setColor(QPalette::Button, c.card);
  for (const auto role : {QPalette::WindowText, QPalette::Text, QPalette::ButtonText,
                          QPalette::HighlightedText, QPalette::ToolTipText})
    p.setColor(role, c.text);
  p.setColor(QPalette::ToolTipBase, c.card);
  p.setColor(QPalette::PlaceholderText, c.faint);
  p.setColor(QPalette::Highlight, c.chosen);
  p.setColor(QPalette::Link, c.accent);
  p.setColor(QPalette::Mid, c.line);
  QApplication::setPalette(p);
  QFont font = QApplication::font();
  font.setPixelSize(kTextPx);
  QApplication::setFont(font);
  qApp->setStyleSheet(styleSheet(c, theme == Theme::contrast));
  Q_EMIT changed();
}

QColor colourOf(Verdict v) {
  const Colours& c = Look::the().colours();
  switch (v) {
    case Verdict::sound:
      return c.sound;
    case Verdict::marginal:
      return c.marginal;
    case Verdict::faulty:
      return c.faulty;
    default:
      return c.unmeasured;
  }
}

Verdict glyphOf(Overall o) {
  return o == Overall::ready       ? Verdict::sound
         : o == Overall::not_ready ? Verdict::faulty
                                   : Verdict::not_measured;
}

void drawGlyph(QPainter& painter, const QRectF& in, Verdict v) {
  painter.save();
  painter.setRenderHint(QPainter::Antialiasing);
  const QColor colour = colourOf(v);
  const double side = std::min(in.width(), in.height());
  QRectF box(0, 0, side, side);
  box.moveCenter(in.center());
  const double pen = std::max(1.6, side / 7);
  painter.setPen(QPen(colour, pen, Qt::SolidLine, Qt::RoundCap));
  painter.setBrush(Qt::NoBrush);
  const double inset = side * 0.14;
  const QRectF inner = box.adjusted(inset, inset, -inset, -inset);
  switch (v) {
    case Verdict::sound:
      painter.setBrush(colour);
      painter.setPen(Qt::NoPen);
      painter.drawEllipse(inner);
      break;
    case Verdict::marginal: {
      QPainterPath path(QPointF(inner.center().x(), inner.top()));
      path.lineTo(inner.bottomRight());
      path.lineTo(inner.bottomLeft());
      path.closeSubpath();
      painter.fillPath(path, colour);
      break;
    }
    case Verdict::faulty:
      painter.setPen(QPen(colour, pen * 1.35, Qt::SolidLine, Qt::RoundCap));
      painter.drawLine(inner.topLeft(), inner.bottomRight());
      painter.drawLine(inner.topRight(), inner.bottomLeft());
      break;
    case Verdict::not_measured:
      painter.drawEllipse(inner);
      break;
    case Verdict::not_asked:
      painter.drawLine(QPointF(inner.left(), inner.center().y()), QPointF(inner.right(), inner.center().y()));
      break;
  }
  painter.restore();
}

QString wordOf(Verdict v) {
  switch (v) {
    case Verdict::sound:
      return Look::tr("sound");
    case Verdict::marginal:
      return Look::tr("marginal");
    case Verdict::faulty:
      return Look::tr("faulty");
    case Verdict::not_measured:
      return Look::tr("not measured");
    case Verdict::not_asked:
      return Look::tr("not asked");
  }
  return {};
}

QString wordOf(Overall o) {
  switch (o) {
    case Overall::ready:
      return Look::tr("ready");
    case Overall::not_ready:
      return Look::tr("not ready");
    case Overall::undecided:
      return Look::tr("undecided");
  }
  return {};
}

QString stepName(const std::string& step) {
  const std::pair<const char*, const char*> names[] = {
      {"source", QT_TRANSLATE_NOOP("pin16::gui::Look", "source")},
      {"feed", QT_TRANSLATE_NOOP("pin16::gui::Look", "feed")},
      {"ground", QT_TRANSLATE_NOOP("pin16::gui::Look", "ground")},
      {"connector", QT_TRANSLATE_NOOP("pin16::gui::Look", "connector")},
      {"interface", QT_TRANSLATE_NOOP("pin16::gui::Look", "interface")},
      {"levels", QT_TRANSLATE_NOOP("pin16::gui::Look", "levels")},
      {"traffic", QT_TRANSLATE_NOOP("pin16::gui::Look", "traffic")},
      {"answer", QT_TRANSLATE_NOOP("pin16::gui::Look", "answer")},
      {"timing", QT_TRANSLATE_NOOP("pin16::gui::Look", "timing")},
  };
  for (const auto& [name, source] : names)
    if (step == name) return Look::tr(source);
  return text(step);
}

QString arrangementName(job::Arrangement a) {
  switch (a) {
    case job::Arrangement::own_battery:
      return Look::tr("own battery");
    case job::Arrangement::fed_in_place:
      return Look::tr("fed in place");
    case job::Arrangement::removed:
      return Look::tr("removed, on the table");
  }
  return {};
}

QString text(const std::string& s) { return QString::fromStdString(s); }
QString coreText(const char* english) { return QCoreApplication::translate("core", english); }
QString coreText(const std::string& english) { return coreText(english.c_str()); }

void setPx(QLabel* label, int px) {
  QFont f = label->font();
  f.setPixelSize(px);
  f.setBold(true);
  label->setFont(f);
}

QComboBox* comboBox(QWidget* parent) {
  class Choice : public QComboBox {
   public:
    using QComboBox::QComboBox;
    void wheelEvent(QWheelEvent* e) override { e->ignore(); }
  };
  return new Choice(parent);
}

QVBoxLayout* scrolled(QVBoxLayout* into) {
  auto* area = new QScrollArea;
  area->setWidgetResizable(true);
  area->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  area->setFocusPolicy(Qt::NoFocus);
  auto* inside = new QWidget;
  auto* box = new QVBoxLayout(inside);
  box->setContentsMargins(0, 0, 8, 0);
  area->setWidget(inside);
  into->addWidget(area, 1);
  return box;
}

Glyph::Glyph(int size_px, QWidget* parent) : QWidget(parent), size_(size_px) {
  setFixedSize(size_, size_);
  connect(&Look::the(), &Look::changed, this, qOverload<>(&QWidget::update));
}
void Glyph::show(Verdict v) {
  verdict_ = v;
  setAccessibleName(wordOf(v));
  update();
}
void Glyph::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  drawGlyph(painter, rect(), verdict_);
}

ShortLabel::ShortLabel(QWidget* parent) : QLabel(parent) {
  setSizePolicy(QSizePolicy::Ignored, QSizePolicy::Fixed);
}
void ShortLabel::setWhole(const QString& whole) {
  whole_ = whole;
  setToolTip(whole);
  setAccessibleName(whole);
  fit();
  updateGeometry();
  update();
}
void ShortLabel::setLines(int most) {
  lines_ = most;
  fit();
}
QStringList ShortLabel::broken() const {
  const QFontMetrics m = fontMetrics();
  QStringList lines;
  QStringList words = whole_.simplified().split(QLatin1Char(' '));
  while (lines.size() + 1 < lines_ && !words.isEmpty()) {
    QString line = words.takeFirst();
    while (!words.isEmpty() && m.horizontalAdvance(line + QLatin1Char(' ') + words.front()) <= width())
      line += QLatin1Char(' ') + words.takeFirst();
    lines += line;
  }
  if (!words.isEmpty()) lines += words.join(QLatin1Char(' '));
  return lines;
}
/// Height for as many lines as it takes at this width.
void ShortLabel::fit() {
  if (lines_ <= 1) return;
  const int lines = std::max(1, static_cast<int>(broken().size()));
  const int high = fontMetrics().lineSpacing() * lines + 2;
  if (high != height() || minimumHeight() != high) setFixedHeight(high);
}
void ShortLabel::resizeEvent(QResizeEvent* e) {
  QLabel::resizeEvent(e);
  fit();
}
bool ShortLabel::cut() const {
  if (lines_ <= 1) return fontMetrics().horizontalAdvance(whole_) > width();
  const QStringList lines = broken();
  return !lines.isEmpty() && fontMetrics().horizontalAdvance(lines.back()) > width();
}
QSize ShortLabel::minimumSizeHint() const { return {40, fontMetrics().height() + 2}; }
void ShortLabel::paintEvent(QPaintEvent*) {
  QPainter painter(this);
  painter.setPen(palette().color(foregroundRole()));
  painter.setFont(font());
  const auto draw = [&](const QRect& in, const QString& line) {
    painter.drawText(in, static_cast<int>(alignment() | Qt::AlignVCenter),
                     fontMetrics().elidedText(line, Qt::ElideRight, width()));
  };
  if (lines_ <= 1) return draw(rect(), whole_);
  const int pitch = fontMetrics().lineSpacing();
  int y = 1;
  for (const QString& line : broken()) {
    draw({0, y, width(), pitch}, line);
    y += pitch;
  }
}

void setRole(QWidget* w, Role role) {
  QFont font = QApplication::font();
  switch (role) {
    case Role::faint:
      w->setProperty("role", "faint");
      font.setPixelSize(kTextPx - 1);
      break;
    case Role::heading:
      font.setBold(true);
      font.setPixelSize(kTextPx + 1);
      break;
    case Role::figure:
      font = QFontDatabase::systemFont(QFontDatabase::FixedFont);
      font.setPixelSize(kTextPx);
      break;
    case Role::plain:
      break;
  }
  w->setFont(font);
}

Tint tintOf(Verdict v) {
  switch (v) {
    case Verdict::sound:
      return Tint::sound;
    case Verdict::marginal:
      return Tint::marginal;
    case Verdict::faulty:
      return Tint::faulty;
    default:
      return Tint::unmeasured;
  }
}
Tint tintOf(Overall o) { return o == Overall::undecided ? Tint::text : tintOf(glyphOf(o)); }

void setTint(QWidget* w, Tint tint) {
  static constexpr const char* kNames[] = {"text", "sound", "marginal", "faulty", "unmeasured"};
  const QString name = QLatin1String(kNames[static_cast<std::size_t>(tint)]);
  if (w->property("tint").toString() == name) return;
  w->setProperty("tint", name);
  w->style()->unpolish(w);
  w->style()->polish(w);
  w->update();
}

QLabel* label(const QString& what, Role role, bool wrap, QWidget* parent) {
  auto* l = new QLabel(what, parent);
  l->setTextFormat(Qt::PlainText);
  l->setWordWrap(wrap);
  setRole(l, role);
  return l;
}

QString sinceText(Ns t_ns, Ns start_ns, int decimals) {
  if (t_ns == kNoTime || start_ns == kNoTime) return QStringLiteral("\u2013");
  const double s = toSeconds(t_ns - start_ns);
  return QStringLiteral("%1%2").arg(s < 0 ? "\u2212" : "+").arg(std::abs(s), 0, 'f', decimals);
}

}  // namespace pin16::gui
