// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/far_view.hpp"

#include <QGridLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QPushButton>
#include <QScrollArea>
#include <QVBoxLayout>
#include <algorithm>
#include <vector>

#include "core/review/timeline.hpp"
#include "gui/look.hpp"
#include "gui/speaker.hpp"

namespace pin16::gui {
namespace {

/// What the pitch's range is for: the volts of any 12 V supply, and of a 24 V one; amperes of a module's
/// feed. Own figures.
double topOf(const review::Timeline::Series& s) {
  if (s.unit == "A") return 5;
  return s.values.highest() > 18 ? 32 : 16;
}

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
  const QKeySequence keys(key);
  auto* b = new QPushButton(
      key == 0 ? what : QStringLiteral("%1 (%2)").arg(what, keys.toString(QKeySequence::NativeText)));
  QFont f = b->font();
  f.setPixelSize(kFarPx);
  b->setFont(f);
  b->setStyleSheet(QStringLiteral("min-height: %1px;").arg(kGlovePx - 10));  // the rest is its border
  b->setShortcut(keys);
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
  // Who presses with a glove and looks elsewhere wants to know that it was taken.
  told_ = large(kFarPx, false);
  all->addWidget(told_);

  answers_ = new QWidget;
  auto* answers = new QVBoxLayout(answers_);
  answers->setContentsMargins(0, 0, 0, 0);
  asked_label_ = large(kFarPx, true);
  answers->addWidget(asked_label_);
  how_ = large(kFarPx, false);
  answers->addWidget(how_);
  auto* row = new QHBoxLayout;
  row->setSpacing(12);
  // A third of the source's volts is nobody's reading: what lies between is said with a width that covers it.
  const auto choice = [&](const QString& what, int key, double share, double width) {
    auto* b = target(what, key);
    row->addWidget(b, 1);
    connect(b, &QPushButton::clicked, this, [this, what, share, width] {
      told_->setText(tr("Entered: %1, %2").arg(asked_, what));
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
  // Shown in the window's language, recorded in English.
  struct Mark {
    QString shown;
    const char* recorded;
    int key;
  };
  const Mark words[] = {{tr("start"), "start", Qt::Key_5},
                        {tr("saw"), "saw", Qt::Key_6},
                        {tr("heard"), "heard", Qt::Key_7},
                        {tr("stop"), "stop", Qt::Key_8}};
  for (const Mark& mark : words) {
    auto* b = target(mark.shown, mark.key);
    marks->addWidget(b, 1);
    connect(b, &QPushButton::clicked, this, [this, mark] {
      told_->setText(tr("Marked: %1").arg(mark.shown));
      Q_EMIT marked(QLatin1String(mark.recorded));
    });
  }
  all->addWidget(marks_);

  sound_ = new QWidget;
  auto* sound = new QVBoxLayout(sound_);
  sound->setContentsMargins(0, 0, 0, 0);
  auto* switches = new QHBoxLayout;
  switches->setSpacing(12);
  tone_ = target(tr("tone for the wiggle test"), Qt::Key_T);
  tone_->setCheckable(true);
  channel_ = target(tr("next channel"), Qt::Key_C);
  switches->addWidget(tone_, 1);
  switches->addWidget(channel_, 1);
  sound->addLayout(switches);
  heard_ = large(kFarPx, true);
  heard_->hide();
  sound->addWidget(heard_);
  all->addWidget(sound_);
  speaker_ = new Speaker(this);
  connect(tone_, &QPushButton::toggled, this, [this](bool on) {
    on_ = on && speaker_->start();
    if (!on_) speaker_->stop();
    heard_->setVisible(on);
    heard_->setText(on_ ? tr("no channel yet") : tr("This machine has no audio output: no tone."));
    listenAnew();
  });
  connect(channel_, &QPushButton::clicked, this, [this] {
    ++chosen_;
    listenAnew();
  });
  auto* leave = target(tr("back to the sheet (F9)"), 0);
  connect(leave, &QPushButton::clicked, this, &FarView::left);
  all->addWidget(leave);
}

void FarView::listenAnew() {
  heard_until_ns_ = kNoTime;
  speaker_->hold(0);
}

void FarView::hear(const review::Timeline& timeline) {
  if (!tone_->isChecked()) return;
  // Volts and amperes; pin 16 first, since it is what is mostly wiggled at.
  std::vector<const review::Timeline::Series*> channels;
  for (const auto& s : timeline.series())
    if (s.unit == "V" || s.unit == "A")
      channels.insert(s.point == "V(pin16,pin4)" ? channels.begin() : channels.end(), &s);
  if (channels.empty()) return;
  const auto& s = *channels[chosen_ % channels.size()];
  const Ns last = timeline.lastNs();
  const auto now = s.values.before(last + 1);
  if (!now) return;
  if (heard_until_ns_ == kNoTime) lowest_ = now->value;
  // Between two pictures too no dip is missed.
  for (const auto& c :
       s.values.columns(heard_until_ns_ == kNoTime ? now->t_ns : heard_until_ns_, last + 1, 1))
    if (c.count > 0) lowest_ = std::min(lowest_, c.min);
  heard_until_ns_ = last + 1;
  const double top = topOf(s);
  // A meter that has fallen silent must not sound like one that holds its value.
  const bool fresh = last - now->t_ns < kNsPerSecond;
  speaker_->sound(fresh);
  speaker_->follow(pitchOf(now->value, top));
  speaker_->hold(pitchOf(lowest_, top));
  // One click for each 100 ms with error frames.
  Ns errors_ns = kNoTime;
  for (const auto& [link, errors] : timeline.errors())
    if (const auto e = errors.before(last + 1)) errors_ns = std::max(errors_ns, e->t_ns);
  if (errors_ns != errors_until_ns_ && errors_until_ns_ != kNoTime && errors_ns != kNoTime) speaker_->click();
  errors_until_ns_ = errors_ns != kNoTime ? errors_ns : last;
  const QString said = fresh ? tr("%1 %2 %3, lowest %4 %3")
                                   .arg(text(s.point))
                                   .arg(now->value, 0, 'f', 2)
                                   .arg(text(s.unit))
                                   .arg(lowest_, 0, 'f', 2)
                             : tr("%1: no value for a second").arg(text(s.point));
  heard_->setText(on_ ? said
                      : said + QStringLiteral("\n") + tr("This machine has no audio output: no tone."));
}

void FarView::show(const Source& source, const std::vector<readiness::Joint>& path, const QString& asked,
                   const QString& how, const QString& suffix, const QString& line) {
  line_->setVisible(!line.isEmpty());
  line_->setText(line);
  all_->setVisible(line.isEmpty());
  const readiness::Sheet* s = source.sheet();
  glyph_->show(s != nullptr ? glyphOf(s->overall) : readiness::Verdict::not_measured);
  verdict_->setText(s != nullptr ? coreText(s->sentence) : tr("not judged yet"));
  setTint(verdict_, s != nullptr ? tintOf(s->overall) : Tint::text);
  next_->setText(source.nextText());
  const char* points[] = {"V(src+,src-)", "V(pin16,pin4)"};
  for (std::size_t i = 0; i < 2; ++i) {
    const auto at =
        std::find_if(path.begin(), path.end(), [&](const auto& j) { return j.point == points[i]; });
    names_[i]->setText(i == 0 ? tr("source") : tr("pin 16"));
    const bool known = at != path.end() && at->measured;
    volts_[i]->setText(known ? coreText(at->text()) : QStringLiteral("\u2013"));
    setTint(volts_[i], known && at->stand == readiness::Joint::Stand::differs ? Tint::faulty : Tint::text);
    if (i == 0 && known) source_V_ = *at->measured;
  }
  asked_ = asked;
  suffix_ = suffix;
  answers_->setVisible(asked.startsWith(QLatin1Char('V')));
  asked_label_->setText(tr("What does %1 show?").arg(asked));
  how_->setText(how);
  marks_->setVisible(source.live());
  sound_->setVisible(source.live());
  // Nothing sounds for what is reviewed.
  if (!source.live() && tone_->isChecked()) tone_->setChecked(false);
}

}  // namespace pin16::gui
