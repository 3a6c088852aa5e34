// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/panels.hpp"

#include <QGridLayout>
#include <QHBoxLayout>
#include <QKeyEvent>
#include <QLabel>
#include <QLineEdit>
#include <QPainter>
#include <QPushButton>
#include <QStyle>
#include <QVBoxLayout>
#include <algorithm>
#include <cmath>

#include "core/readiness/path.hpp"
#include "core/reasons/text.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {

using readiness::Verdict;

constexpr int kLongAnswer = 18;  // characters

void clear(QLayout* box) {
  while (QLayoutItem* item = box->takeAt(0)) {
    if (QWidget* w = item->widget()) {
      w->hide();
      w->deleteLater();
    }
    delete item;
  }
}

/// Into the layout and into sight at once: left to the event loop, what is renewed would flicker.
void put(QBoxLayout* box, QWidget* w) {
  box->addWidget(w);
  w->show();
}

QVBoxLayout* column(QScrollArea* area, int margin) {
  area->setWidgetResizable(true);
  area->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  auto* inside = new QWidget;
  inside->setAutoFillBackground(false);
  area->viewport()->setAutoFillBackground(false);
  auto* box = new QVBoxLayout(inside);
  box->setContentsMargins(margin, margin, margin, margin);
  box->setSpacing(2);
  area->setWidget(inside);
  return box;
}

QString figureLine(const readiness::Figure& f) {
  QString line = coreText(readiness::amountText(f.value, f.unit));
  if (f.uncertainty > 0) line += QStringLiteral(" \u00b1%1").arg(f.uncertainty, 0, 'g', 2);
  const std::string limit = readiness::limitText(f);
  if (!limit.empty()) line += QStringLiteral("  (%1)").arg(coreText(limit));
  return line;
}

/// reasons::titleOf in the window's language.
QString titleText(const std::vector<std::size_t>& group) {
  if (group.front() == reasons::kSound) return coreText(reasons::titleOf(group));
  QStringList titles;
  for (const std::size_t cause : group) titles += coreText(reasons::causes()[cause].title);
  return titles.join(ReasonsPanel::tr("; or "));
}

}  // namespace

StepRow::StepRow(QWidget* parent) : QFrame(parent) {
  setObjectName(QStringLiteral("row"));
  setFocusPolicy(Qt::StrongFocus);
  setCursor(Qt::PointingHandCursor);
  auto* all = new QHBoxLayout(this);
  all->setContentsMargins(7, 4, 6, 4);
  all->setSpacing(8);
  glyph_ = new Glyph(15, this);
  all->addWidget(glyph_, 0, Qt::AlignTop);
  auto* right = new QVBoxLayout;
  right->setSpacing(1);
  auto* head = new QHBoxLayout;
  head->setSpacing(8);
  title_ = label({}, Role::heading, false, this);
  word_ = label({}, Role::plain, false, this);
  head->addWidget(title_);
  head->addWidget(word_);
  head->addStretch(1);
  right->addLayout(head);
  line_ = new ShortLabel(this);
  setRole(line_, Role::faint);
  right->addWidget(line_);
  detail_ = new QWidget(this);
  detail_box_ = new QVBoxLayout(detail_);
  detail_box_->setContentsMargins(0, 2, 0, 4);
  detail_box_->setSpacing(3);
  detail_->hide();
  right->addWidget(detail_);
  all->addLayout(right, 1);
}

void StepRow::show(const readiness::Step& step) {
  name_ = step.name;
  QString shown = wordOf(step.verdict) + text(step.text);
  for (const auto& f : step.figures) shown += text(f.what) + figureLine(f);
  setTint(word_, tintOf(step.verdict));
  if (shown == shown_) return;
  shown_ = shown;
  glyph_->show(step.verdict);
  title_->setText(stepName(step.name));
  word_->setText(wordOf(step.verdict));
  const bool silent = step.verdict == Verdict::not_measured && !step.needed;
  line_->setWhole(silent ? tr("optional here") : coreText(step.text));
  setAccessibleName(
      QStringLiteral("%1: %2. %3").arg(stepName(step.name), wordOf(step.verdict), coreText(step.text)));
  std::vector<std::pair<QString, Role>> lines{{coreText(step.text), Role::plain}};
  for (const auto& f : step.figures) {
    lines.emplace_back(coreText(f.what), Role::faint);
    lines.emplace_back((f.ok ? QString() : QStringLiteral("\u2715 ")) + figureLine(f), Role::figure);
    if (!f.limit_source.empty())
      lines.emplace_back(tr("limit: %1").arg(coreText(f.limit_source)), Role::faint);
  }
  if (!step.plugin.empty()) lines.emplace_back(tr("found by plugin %1").arg(text(step.plugin)), Role::faint);
  // Live, figures change several times a second: the same labels say the new ones.
  const bool same = std::equal(lines.begin(), lines.end(), roles_.begin(), roles_.end(),
                               [](const auto& line, Role role) { return line.second == role; });
  if (!same) {
    clear(detail_box_);
    lines_.clear();
    roles_.clear();
    for (const auto& [what, role] : lines) {
      lines_.push_back(label({}, role, true, detail_));
      roles_.push_back(role);
      put(detail_box_, lines_.back());
    }
  }
  for (std::size_t i = 0; i < lines.size(); ++i) lines_[i]->setText(lines[i].first);
}

void StepRow::open(bool open) {
  open_ = open;
  detail_->setVisible(open);
  line_->setVisible(!open);
  setProperty("chosen", open);
  style()->unpolish(this);
  style()->polish(this);
}

void StepRow::mousePressEvent(QMouseEvent*) {
  setFocus();
  open(!open_);
  Q_EMIT toggled();
}

void StepRow::keyPressEvent(QKeyEvent* e) {
  switch (e->key()) {
    case Qt::Key_Return:
    case Qt::Key_Enter:
    case Qt::Key_Space:
      open(!open_);
      Q_EMIT toggled();
      return;
    case Qt::Key_Down:
      focusNextChild();
      return;
    case Qt::Key_Up:
      focusPreviousChild();
      return;
    default:
      QFrame::keyPressEvent(e);
  }
}

StepsPanel::StepsPanel(QWidget* parent) : QScrollArea(parent) {
  setAccessibleName(tr("steps from source to answer"));
  setFocusPolicy(Qt::NoFocus);
  QVBoxLayout* box = column(this, 6);
  box->addWidget(label(tr("from source to answer"), Role::faint));
  none_ = label(tr("Not judged yet."), Role::plain, true);
  box->addWidget(none_);
  for (std::size_t i = 0; i < readiness::kSteps.size(); ++i) {
    auto* row = new StepRow;
    row->hide();
    connect(row, &StepRow::toggled, this, [this, row] {
      touched_ = true;
      ensureWidgetVisible(row);
    });
    rows_.push_back(row);
    box->addWidget(row);
  }
  box->addStretch(1);
}

void StepsPanel::show(const readiness::Sheet* sheet) {
  none_->setVisible(sheet == nullptr);
  if (sheet == nullptr) return;
  const auto wanted = std::find_if(sheet->steps.begin(), sheet->steps.end(), [&](const auto& s) {
    return (sheet->first_thing && s.name == sheet->first_thing->step) ||
           (!sheet->first_thing && sheet->deciding && s.name == sheet->deciding->step);
  });
  for (std::size_t i = 0; i < rows_.size() && i < sheet->steps.size(); ++i) {
    rows_[i]->show(sheet->steps[i]);
    rows_[i]->setVisible(true);
    if (!touched_) rows_[i]->open(wanted != sheet->steps.end() && wanted->name == sheet->steps[i].name);
  }
}

void StepsPanel::choose(const QString& step) {
  touched_ = true;
  for (StepRow* row : rows_)
    if (text(row->name()) == step) {
      row->open(true);
      row->setFocus();
      ensureWidgetVisible(row);
    }
}

Dots::Dots(QWidget* parent) : QWidget(parent) { setFixedSize(sizeHint()); }
void Dots::show(double probability, const QString& odds) {
  filled_ = std::clamp(static_cast<int>(std::lround(probability * 10)), 0, 10);
  setAccessibleName(odds);
  update();
}
void Dots::paintEvent(QPaintEvent*) {
  QPainter p(this);
  p.setRenderHint(QPainter::Antialiasing);
  const Colours& c = Look::the().colours();
  p.setPen(QPen(c.accent, 1.6));
  for (int i = 0; i < 10; ++i) {
    p.setBrush(i < filled_ ? QBrush(c.accent) : Qt::NoBrush);
    p.drawEllipse(QPointF(7 + 13.2 * i, height() / 2.0), 4.4, 4.4);
  }
}

ReasonsPanel::ReasonsPanel(QWidget* parent) : QScrollArea(parent) {
  setAccessibleName(tr("reasons and next measurement"));
  setFocusPolicy(Qt::NoFocus);
  QVBoxLayout* box = column(this, 8);
  box->setSpacing(6);

  card_ = new QFrame;
  card_->setObjectName(QStringLiteral("card"));
  auto* card = new QVBoxLayout(card_);
  card->setContentsMargins(12, 10, 12, 12);
  card->setSpacing(5);
  card_head_ = label({}, Role::faint, true);
  card_what_ = label({}, Role::heading, true);
  card_how_ = label({}, Role::plain, true);
  card_outcome_ = label({}, Role::faint, true);
  card_error_ = label({}, Role::plain, true);
  choices_ = new QWidget;
  choices_box_ = new QGridLayout(choices_);
  choices_box_->setContentsMargins(0, 0, 0, 0);
  choices_box_->setSpacing(4);
  entry_ = new QLineEdit;
  entry_->setAccessibleName(tr("result of the next measurement"));
  enter_ = new QPushButton(tr("enter"));
  skip_ = new QPushButton(tr("skip"));
  skip_->setSizePolicy(QSizePolicy::Fixed, QSizePolicy::Fixed);
  enter_->setSizePolicy(QSizePolicy::Fixed, QSizePolicy::Fixed);
  skip_->setToolTip(tr("This reading cannot be had: ask for another one."));
  meter_ = new QPushButton(tr("read the bench's meter"));
  meter_->hide();
  connect(meter_, &QPushButton::clicked, this, [this] { Q_EMIT meterAsked(id_, suffix_); });
  auto* row = new QHBoxLayout;
  row->setSpacing(6);
  row->addWidget(entry_, 1);
  row->addWidget(enter_);
  row->addStretch(0);
  row->addWidget(skip_);
  for (QLabel* l : {card_head_, card_what_, card_how_, card_outcome_}) card->addWidget(l);
  card->addWidget(choices_);
  card->addWidget(meter_);
  card->addLayout(row);
  card->addWidget(card_error_);
  causes_ = new QVBoxLayout;
  causes_->setSpacing(3);
  box->addWidget(card_);
  box->addLayout(causes_);
  box->addStretch(1);
  connect(enter_, &QPushButton::clicked, this, &ReasonsPanel::submit);
  connect(entry_, &QLineEdit::returnPressed, this, &ReasonsPanel::submit);
  connect(skip_, &QPushButton::clicked, this, [this] { Q_EMIT skipped(id_); });
  card_->hide();
}

void ReasonsPanel::submit() {
  const QString value = entry_->text().trimmed();
  if (!value.isEmpty()) Q_EMIT entered(id_ + QStringLiteral("=") + value + suffix_);
}

void ReasonsPanel::offerMeter(bool offer) {
  meter_offered_ = offer;
  meter_->setVisible(offer);
}

void ReasonsPanel::fill(const QString& value) {
  if (!entry_->isVisible()) return;
  entry_->setText(value);
  entry_->setFocus();
}

void ReasonsPanel::tell(const QString& trouble) {
  card_error_->setVisible(!trouble.isEmpty());
  card_error_->setText(trouble);
  setTint(card_error_, Tint::faulty);
  if (trouble.isEmpty()) entry_->clear();
}

void ReasonsPanel::choices(const std::vector<std::string>& answers) {
  clear(choices_box_);
  choices_->setVisible(!answers.empty());
  int place = 0;
  // Two abreast, unless one is so long that a narrow panel would cut it.
  const int abreast = std::any_of(answers.begin(), answers.end(),
                                  [](const std::string& a) { return coreText(a).size() > kLongAnswer; })
                          ? 1
                          : 2;
  for (const std::string& a : answers) {
    auto* b = new QPushButton(coreText(a), choices_);
    connect(b, &QPushButton::clicked, this,
            [this, a] { Q_EMIT entered(id_ + QStringLiteral("=") + text(a) + suffix_); });
    choices_box_->addWidget(b, place / abreast, place % abreast);
    b->show();
    ++place;
  }
}

void ReasonsPanel::show(const std::optional<reasons::Answer>& answer,
                        const std::optional<readiness::Question>& question, bool answers) {
  showNext(answer, question);
  showCauses(answer, answers);
}

void ReasonsPanel::showNext(const std::optional<reasons::Answer>& answer,
                            const std::optional<readiness::Question>& question) {
  QString head, what, how, outcome, id, suffix, hint;
  std::vector<std::string> choice;
  if (question) {
    static constexpr const char* kPower[] = {"", "off", "source", "on"};
    const char* power = kPower[static_cast<std::size_t>(question->power)];
    head = question->power == event::PowerState::on
               ? tr("next: about %1 min, module fed").arg(question->point->minutes)
               : tr("next: about %1 min, module not fed").arg(question->point->minutes);
    what = text(question->point->name);
    if (!question->with.empty()) what += QStringLiteral(", ") + coreText(question->with);
    how = coreText(question->point->how);
    outcome = tr("It decides the step %1.").arg(stepName(question->step));
    id = text(question->point->name);
    suffix = QStringLiteral(" power=%1").arg(QLatin1String(power));
    if (!question->with.empty()) suffix += QStringLiteral(" with=\"%1\"").arg(text(question->with));
    hint = text(question->point->unit);
    if (id == QStringLiteral("lamp")) choice = {"lit", "dark"};
    if (id == QStringLiteral("signs")) choice = {"seen", "none"};
  } else if (answer && !answer->next.empty()) {
    const reasons::Next& n = answer->next.front();
    const reasons::Reading& r = reasons::readings()[n.reading];
    const QString state = r.power == reasons::Power::on       ? tr("module fed")
                          : r.power == reasons::Power::source ? tr("source on, module not fed")
                          : r.power == reasons::Power::any    ? tr("power as it is")
                                                              : tr("power off");
    head = tr("next: about %1 min, %2").arg(n.minutes).arg(state);
    if (n.power_ups > 0) head += QStringLiteral(", ") + tr("costs a power-up");
    what = QLatin1String(r.id);
    how = coreText(r.how);
    if (*r.meter != 0) how += QStringLiteral(" (%1, %2)").arg(coreText(r.instrument), coreText(r.meter));
    if (*r.risk != 0) how += QStringLiteral("\n") + tr("Caution: %1").arg(coreText(r.risk));
    QStringList lines;
    if (!n.for_if.empty())
      lines += tr("%1: the first one becomes %2")
                   .arg(coreText(n.for_if), coreText(reasons::oddsText(n.in_favour)));
    if (!n.against_if.empty())
      lines += tr("%1: it becomes %2").arg(coreText(n.against_if), coreText(reasons::oddsText(n.against)));
    outcome = lines.join(QStringLiteral("\n"));
    id = QLatin1String(r.id);
    for (const char* a : r.answers) choice.emplace_back(a);
    hint = r.unit == reasons::Unit::volt     ? QStringLiteral("V")
           : r.unit == reasons::Unit::ampere ? QStringLiteral("A")
           : r.unit == reasons::Unit::ohm    ? tr("ohm, or OL")
                                             : QString();
  }
  card_->setVisible(!id.isEmpty());
  if (shown_next_ == head + what + how + outcome) return;
  shown_next_ = head + what + how + outcome;
  id_ = id;
  suffix_ = suffix;
  card_head_->setText(head);
  card_what_->setText(what);
  card_how_->setText(how);
  card_outcome_->setText(outcome);
  card_outcome_->setVisible(!outcome.isEmpty());
  choices(choice);
  entry_->setVisible(choice.empty());
  enter_->setVisible(choice.empty());
  entry_->setPlaceholderText(hint);
  card_->setAccessibleName(QStringLiteral("%1. %2. %3").arg(head, what, how));
  tell({});
}

QString ReasonsPanel::how() const { return card_how_->text(); }

void ReasonsPanel::showCauses(const std::optional<reasons::Answer>& answer, bool answers) {
  QString shown = answers ? QStringLiteral("a") : asked_ ? QStringLiteral("?") : QString();
  if (answer)
    for (const auto& e : answer->ranked)
      shown += text(reasons::titleOf(e.causes) + e.sentence + reasons::oddsText(e.probability));
  if (!shown.isEmpty() && shown == shown_causes_) return;
  shown_causes_ = shown;
  clear(causes_);
  put(causes_,
      label(answers || asked_ ? tr("what can keep it from answering")
                              : tr("not asked yet; should it not answer, what can keep it from that"),
            Role::faint, true));
  if (answers) {
    put(causes_, label(tr("The module answers: there is nothing to look for here."), Role::plain, true));
    return;
  }
  if (!answer) {
    put(causes_, label(tr("Weighing the causes \u2026"), Role::plain, true));
    return;
  }
  // Before it was asked nobody knows that it is silent: what does not fit that says nothing.
  const bool fits = !answer->unexplained;
  if (!fits && asked_)
    put(causes_, label(tr("Nothing known explains these readings. Take again those that do not fit."),
                       Role::plain, true));
  for (const auto& misfit : answer->misfits)
    if (fits || asked_)
      put(causes_, label(tr("%1 %2 does not fit the rest, %3 expected: take it again.")
                             .arg(QLatin1String(reasons::readings()[misfit.reading].id),
                                  coreText(misfit.measured), coreText(misfit.expected)),
                         Role::plain, true));
  int rank = 0;
  for (const auto& e : answer->ranked) {
    put(causes_, label(titleText(e.causes), Role::heading, true));
    auto* row = new QWidget;
    auto* line = new QHBoxLayout(row);
    line->setContentsMargins(0, 0, 0, 0);
    auto* dots = new Dots(row);
    const QString odds = coreText(reasons::oddsText(e.probability));
    dots->show(e.probability, odds);
    line->addWidget(dots);
    line->addWidget(label(odds, Role::plain, false, row));
    line->addStretch(1);
    put(causes_, row);
    if (rank++ < 2) put(causes_, label(coreText(e.sentence), Role::faint, true));
  }
  if (answer->ranked.empty() || answer->ranked.front().causes.front() == reasons::kSound) return;
  const reasons::Cause& c = reasons::causes()[answer->ranked.front().causes.front()];
  put(causes_, label(tr("To mend the first: %1.").arg(coreText(c.mend)), Role::plain, true));
  if (*c.caution != 0) put(causes_, label(tr("Caution: %1.").arg(coreText(c.caution)), Role::plain, true));
}

}  // namespace pin16::gui
