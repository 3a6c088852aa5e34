// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/attempts_page.hpp"

#include <QFileInfo>
#include <QFrame>
#include <QHBoxLayout>
#include <QIntValidator>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QVBoxLayout>

#include "gui/look.hpp"

namespace pin16::gui {
namespace {

constexpr int kCyclesMost = 60'000;  // 49 CFR 563.8 Table III

}  // namespace

AttemptsPage::AttemptsPage(QWidget* parent) : QWidget(parent) {
  auto* all = new QVBoxLayout(this);
  all->setContentsMargins(20, 14, 20, 14);
  all->setSpacing(8);
  auto* head = new QHBoxLayout;
  auto* title = label(tr("Attempts of this job"), Role::heading, true);
  setPx(title, 18);
  left_ = label({}, Role::plain, true);
  setPx(left_, 18);
  left_->setAlignment(Qt::AlignRight | Qt::AlignVCenter);
  head->addWidget(title, 4);
  head->addWidget(left_, 5);
  all->addLayout(head);
  stop_ = label({}, Role::plain, true);
  all->addWidget(stop_);
  auto* box = scrolled(all);
  none_ = label(tr("No attempt yet."), Role::faint, true);
  box->addWidget(none_);
  rows_ = new QVBoxLayout;
  rows_->setSpacing(6);
  box->addLayout(rows_);
  box->addStretch(1);
  told_ = label({}, Role::plain, true);
  told_->hide();
  all->addWidget(told_);

  const auto line = [](const QString& name) {
    auto* l = new QLineEdit;
    l->setPlaceholderText(name);
    l->setAccessibleName(name);
    return l;
  };
  before_ = new QWidget;
  auto* b = new QHBoxLayout(before_);
  b->setContentsMargins(0, 0, 0, 0);
  changed_ = line(tr("the one thing that was changed since, or \"nothing: why\""));
  attempt_ = new QPushButton;
  attempt_->setObjectName(QStringLiteral("attempt"));
  b->addWidget(changed_, 1);
  b->addWidget(attempt_);
  all->addWidget(before_);
  after_ = new QWidget;
  auto* a = new QHBoxLayout(after_);
  a->setContentsMargins(0, 0, 0, 0);
  said_ = line(tr("what the other program said, word for word"));
  cycles_ = line(tr("its ignition cycles"));
  cycles_->setToolTip(tr("\"ignition cycle, download\" of its report, if it has one (49 CFR 563.5)"));
  cycles_->setValidator(new QIntValidator(0, kCyclesMost, cycles_));
  keep_ = new QPushButton(tr("keep"));
  keep_->setObjectName(QStringLiteral("keep-attempt"));
  a->addWidget(said_, 3);
  a->addWidget(cycles_, 1);
  a->addWidget(keep_);
  all->addWidget(after_);
  auto* back = new QPushButton(tr("back to the sheet"));
  back->setObjectName(QStringLiteral("leave-attempts"));
  all->addWidget(back, 0, Qt::AlignRight);
  connect(back, &QPushButton::clicked, this, &AttemptsPage::left);
  connect(attempt_, &QPushButton::clicked, this, &AttemptsPage::attemptAsked);
  connect(changed_, &QLineEdit::returnPressed, attempt_, &QPushButton::click);
  connect(said_, &QLineEdit::returnPressed, keep_, &QPushButton::click);
  connect(cycles_, &QLineEdit::returnPressed, keep_, &QPushButton::click);
  connect(keep_, &QPushButton::clicked, this, [this] {
    bool number = false;
    const int cycles = cycles_->text().toInt(&number);
    const QString said = said_->text().trimmed();
    said_->clear();
    cycles_->clear();
    Q_EMIT kept(said, number ? std::optional(cycles) : std::nullopt);
  });
}

QString AttemptsPage::changed() const { return changed_->text().trimmed(); }
void AttemptsPage::clearChanged() { changed_->clear(); }

void AttemptsPage::askChanged() {
  tell(tr("Change one thing at a time, and say which: then the next attempt can tell something."));
  changed_->setFocus();
}

void AttemptsPage::tell(const QString& what) {
  told_->setText(what);
  told_->setVisible(!what.isEmpty());
}

QString AttemptsPage::rungWord(const std::string& rung) {
  const std::pair<const char*, QString> words[] = {
      {"no-bit", tr("no bit")}, {"errors-only", tr("errors only")}, {"unacknowledged", tr("unacknowledged")},
      {"silent", tr("silent")}, {"negative", tr("negative")},       {"pending", tr("pending")},
      {"cut", tr("cut")},       {"through", tr("through")}};
  for (const auto& [name, word] : words)
    if (rung == name) return word;
  return text(rung);
}

QWidget* AttemptsPage::rowOf(const review::AttemptRow& row, int number) {
  auto* frame = new QFrame;
  frame->setObjectName(QStringLiteral("card"));
  auto* across = new QHBoxLayout(frame);
  across->setContentsMargins(12, 8, 12, 8);
  across->setSpacing(12);
  auto* glyph = new Glyph(22, frame);
  glyph->show(row.rung.empty()        ? readiness::Verdict::not_measured
              : row.rung == "through" ? readiness::Verdict::sound
                                      : readiness::Verdict::faulty);
  across->addWidget(glyph, 0, Qt::AlignTop);
  auto* texts = new QVBoxLayout;
  texts->setSpacing(2);
  QString head = QStringLiteral("%1. %2").arg(number).arg(
      row.rung.empty() ? tr("under way") : tr("ended: %1").arg(rungWord(row.rung)));
  head += QStringLiteral(" \u00b7 ") +
          (row.power_up ? tr("power-up %1").arg(*row.power_up) : tr("power-up not known"));
  auto* title = label(head, Role::heading, true);
  texts->addWidget(title);
  const auto add = [&](const QString& what, const std::string& value, const QString& without) {
    if (value.empty() && without.isEmpty()) return;
    texts->addWidget(label(what + QStringLiteral(": ") + (value.empty() ? without : text(value)),
                           value.empty() ? Role::faint : Role::plain, true));
  };
  if (number > 1) add(tr("changed"), row.changed, tr("not said"));
  add(tr("supply"), coreText(row.supply).toStdString(),
      row.here ? tr("not measured") : tr("see its capture"));
  add(tr("it said"), row.said, {});
  if (row.cycles) add(tr("ignition cycles"), std::to_string(*row.cycles), {});
  texts->addWidget(label(
      text(row.utc.substr(0, 19)) + QStringLiteral("Z \u00b7 ") + QFileInfo(text(row.capture)).fileName(),
      Role::faint, true));
  across->addLayout(texts, 1);
  return frame;
}

void AttemptsPage::show(const State& state) {
  if (left_->text() != state.left) left_->setText(state.left);
  stop_->setText(state.stop.isEmpty() ? QString() : QStringLiteral("\u25b2 ") + state.stop);
  stop_->setVisible(!state.stop.isEmpty());
  before_->setVisible(state.live);
  after_->setVisible(state.live && state.to_keep);
  attempt_->setText(state.runs ? tr("attempt ends") : tr("attempt begins"));
  changed_->setEnabled(!state.runs);
  none_->setVisible(state.rows.empty());
  QString now;
  for (const auto& r : state.rows)
    now += text(r.utc + r.rung + r.supply + r.changed + r.said + std::to_string(r.cycles.value_or(-1)) +
                std::to_string(r.power_up.value_or(-1))) +
           QLatin1Char('\n');
  if (now == shown_) return;
  shown_ = now;
  while (QLayoutItem* item = rows_->takeAt(0)) {
    delete item->widget();
    delete item;
  }
  for (std::size_t i = 0; i < state.rows.size(); ++i)
    rows_->addWidget(rowOf(state.rows[i], static_cast<int>(i) + 1));
}

}  // namespace pin16::gui
