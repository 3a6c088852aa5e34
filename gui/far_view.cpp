// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/far_view.hpp"

#include <QGridLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QPushButton>
#include <QScrollArea>
#include <QVBoxLayout>
#include <algorithm>

#include "gui/look.hpp"

namespace pin16::gui {
namespace {

QLabel* large(int px, bool bold) {
  auto* l = label({}, Role::plain, true);
  QFont f = l->font();
  f.setPixelSize(px);
  f.setBold(bold);
  l->setFont(f);
  return l;
}

}  // namespace

QPushButton* FarView::target(const QString& what, int key) {
  auto* b = new QPushButton(what);
  QFont f = b->font();
  f.setPixelSize(kFarPx);
  b->setFont(f);
  b->setStyleSheet(QStringLiteral("min-height: %1px;").arg(kGlovePx - 10));  // the rest is its border
  b->setShortcut(QKeySequence(key));
  return b;
}

FarView::FarView(QWidget* parent) : QWidget(parent) {
  auto* outer = new QVBoxLayout(this);
  outer->setContentsMargins(24, 16, 24, 16);
  outer->setSpacing(12);
  line_ = large(kHugePx, true);
  line_->setAlignment(Qt::AlignCenter);
  outer->addWidget(line_, 1);
  // In a small window it scrolls: the sheet behind it must not be made larger by it.
  auto* area = new QScrollArea;
  area->setWidgetResizable(true);
  area->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  area->setFocusPolicy(Qt::NoFocus);
  all_ = area;
  outer->addWidget(area, 1);
  auto* inside = new QWidget;
  area->setWidget(inside);
  auto* all = new QVBoxLayout(inside);
  all->setContentsMargins(0, 0, 0, 0);
  all->setSpacing(12);

  auto* head = new QHBoxLayout;
  head->setSpacing(18);
  glyph_ = new Glyph(56);
  verdict_ = large(kFarPx + 4, true);
  head->addWidget(glyph_, 0, Qt::AlignTop);
  head->addWidget(verdict_, 1);
  all->addLayout(head);
  next_ = large(kFarPx, false);
  all->addWidget(next_);

  auto* volts = new QHBoxLayout;
  for (int i = 0; i < 2; ++i) {
    auto* column = new QVBoxLayout;
    names_[i] = large(kFarPx, false);
    volts_[i] = large(kHugePx, true);
    column->addWidget(names_[i]);
    column->addWidget(volts_[i]);
    volts->addLayout(column, 1);
  }
  all->addLayout(volts);
  all->addStretch(1);

  answers_ = new QWidget;
  auto* answers = new QVBoxLayout(answers_);
  answers->setContentsMargins(0, 0, 0, 0);
  asked_label_ = large(kFarPx, true);
  answers->addWidget(asked_label_);
  auto* row = new QHBoxLayout;
  row->setSpacing(12);
  // A third of the source's volts is nobody's reading: what lies between is said with a width that covers it.
  const auto choice = [&](const QString& what, int key, double share, double width) {
    auto* b = target(what, key);
    row->addWidget(b, 1);
    connect(b, &QPushButton::clicked, this, [this, share, width] {
      Q_EMIT entered(QStringLiteral("%1=%2V%3 u=%4")
                         .arg(asked_)
                         .arg(share * source_V_, 0, 'f', 2)
                         .arg(suffix_)
                         .arg(width * source_V_, 0, 'f', 2));
    });
  };
  choice(tr("near 0"), Qt::Key_1, 0, 0.04);
  choice(tr("in between"), Qt::Key_2, 0.5, 0.4);
  choice(tr("battery volts"), Qt::Key_3, 1, 0.04);
  answers->addLayout(row);
  all->addWidget(answers_);

  marks_ = new QWidget;
  auto* marks = new QHBoxLayout(marks_);
  marks->setContentsMargins(0, 0, 0, 0);
  marks->setSpacing(12);
  const std::pair<QString, int> words[] = {
      {tr("start"), Qt::Key_5}, {tr("saw"), Qt::Key_6}, {tr("heard"), Qt::Key_7}, {tr("stop"), Qt::Key_8}};
  for (const auto& [word, key] : words) {
    auto* b = target(word, key);
    marks->addWidget(b, 1);
    connect(b, &QPushButton::clicked, this, [this, word = word] { Q_EMIT marked(word); });
  }
  all->addWidget(marks_);
  auto* leave = target(tr("back to the sheet (F9)"), 0);
  connect(leave, &QPushButton::clicked, this, &FarView::left);
  all->addWidget(leave);
}

void FarView::show(const Source& source, const std::vector<readiness::Joint>& path, const QString& asked,
                   const QString& suffix, const QString& line) {
  line_->setVisible(!line.isEmpty());
  line_->setText(line);
  all_->setVisible(line.isEmpty());
  const readiness::Sheet* s = source.sheet();
  glyph_->show(s != nullptr ? glyphOf(s->overall) : readiness::Verdict::not_measured);
  verdict_->setText(s != nullptr ? text(s->sentence) : tr("not judged yet"));
  setTint(verdict_, s != nullptr ? tintOf(s->overall) : Tint::text);
  next_->setText(s == nullptr     ? QString()
                 : s->first_thing ? tr("First: %1").arg(text(s->first_thing->text))
                 : s->deciding    ? tr("Next: %1").arg(text(s->deciding->how))
                                  : QString());
  const char* points[] = {"V(src+,src-)", "V(pin16,pin4)"};
  for (std::size_t i = 0; i < 2; ++i) {
    const auto at =
        std::find_if(path.begin(), path.end(), [&](const auto& j) { return j.point == points[i]; });
    names_[i]->setText(i == 0 ? tr("source") : tr("pin 16"));
    const bool known = at != path.end() && at->measured;
    volts_[i]->setText(known ? text(at->text()) : QStringLiteral("\u2013"));
    setTint(volts_[i], known && at->stand == readiness::Joint::Stand::differs ? Tint::faulty : Tint::text);
    if (i == 0 && known) source_V_ = *at->measured;
  }
  asked_ = asked;
  suffix_ = suffix;
  answers_->setVisible(asked.startsWith(QLatin1Char('V')));
  asked_label_->setText(tr("What does %1 show?").arg(asked));
  marks_->setVisible(source.live());
}

}  // namespace pin16::gui
