// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/hook_up_page.hpp"

#include <QFrame>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QVBoxLayout>

#include "gui/look.hpp"

namespace pin16::gui {
namespace {

using readiness::Tick;

constexpr int kTarget_px = 40;  // own figure: half a glove; the whole list must still be seen

}  // namespace

HookUpRow::HookUpRow(int number, QWidget* parent) : QWidget(parent), number_(number) {
  auto* across = new QHBoxLayout(this);
  across->setContentsMargins(0, 6, 0, 6);
  across->setSpacing(12);
  glyph_ = new Glyph(24, this);
  across->addWidget(glyph_, 0, Qt::AlignTop);
  auto* texts = new QVBoxLayout;
  texts->setSpacing(2);
  title_ = label({}, Role::plain, true, this);
  setPx(title_, kTextPx + 3);
  word_ = label({}, Role::plain, true, this);
  why_ = label({}, Role::faint, true, this);
  texts->addWidget(title_);
  texts->addWidget(why_);
  texts->addWidget(word_);
  reason_ = new QLineEdit(this);
  reason_->setPlaceholderText(tr("why it is passed over, then Return"));
  reason_->setAccessibleName(reason_->placeholderText());
  reason_->hide();
  texts->addWidget(reason_);
  texts->addStretch(1);
  across->addLayout(texts, 1);
  auto* buttons = new QHBoxLayout;
  done_ = new QPushButton(this);
  pass_ = new QPushButton(tr("pass over \u2026"), this);
  for (QPushButton* b : {done_, pass_}) {
    b->setStyleSheet(QStringLiteral("min-height: %1px;").arg(kTarget_px - 10));  // the rest is its border
    b->setMinimumWidth(120);
  }
  buttons->addWidget(done_, 0, Qt::AlignTop);
  buttons->addWidget(pass_, 0, Qt::AlignTop);
  across->addLayout(buttons);
  connect(done_, &QPushButton::clicked, this, [this] { Q_EMIT done(code_, by_person_); });
  connect(pass_, &QPushButton::clicked, this, [this] {
    reason_->show();
    reason_->setFocus();
  });
  connect(reason_, &QLineEdit::returnPressed, this, [this] {
    const std::string why = reason_->text().trimmed().toStdString();
    if (why.empty()) return;
    reason_->clear();
    reason_->hide();
    Q_EMIT passedOver(code_, why);
  });
}

QString HookUpRow::word() const { return word_->text(); }

void HookUpRow::show(const readiness::HookUpState& s, bool live) {
  code_ = s.what.code;
  const bool power = code_ == "power";
  const QString by = text(s.by), what = coreText(s.what.text), why = coreText(s.what.why);
  by_person_ = s.tick == Tick::by_hand || s.tick == Tick::overridden;
  QString word;
  switch (s.tick) {
    case Tick::open:
      word = s.locked              ? tr("locked: what stands before it is open")
             : s.what.seen.empty() ? tr("open")
                                   : tr("open; ticks itself when: %1").arg(coreText(s.what.seen));
      break;
    case Tick::seen:
      word = tr("seen: %1").arg(coreText(s.reason));
      break;
    case Tick::by_hand:
      word = by.isEmpty() ? tr("done") : tr("done, says %1").arg(by);
      break;
    case Tick::overridden:
      word = tr("passed over by %1: %2").arg(by.isEmpty() ? QStringLiteral("?") : by, text(s.reason));
      break;
  }
  glyph_->show(s.locked                     ? readiness::Verdict::not_asked
               : s.tick == Tick::open       ? readiness::Verdict::not_measured
               : s.tick == Tick::overridden ? readiness::Verdict::marginal
                                            : readiness::Verdict::sound);
  const QString title = QStringLiteral("%1. %2").arg(number_).arg(what);
  if (title_->text() != title) title_->setText(title);
  if (why_->text() != why) why_->setText(why);
  if (word_->text() != word) word_->setText(word);
  setAccessibleName(title + QStringLiteral(" ") + word);
  const bool seen = s.tick == Tick::seen;
  done_->setText(power ? tr("power comes on \u2026") : by_person_ ? tr("take back") : tr("done"));
  done_->setVisible(live && !seen);
  done_->setEnabled(!s.locked);
  done_->setAccessibleName(done_->text() + QStringLiteral(": ") + what);
  pass_->setVisible(live && !power && s.tick == Tick::open);
  pass_->setAccessibleName(pass_->text() + QStringLiteral(": ") + what);
  if (s.tick != Tick::open) reason_->hide();
}

HookUpPage::HookUpPage(QWidget* parent) : QWidget(parent) {
  auto* all = new QVBoxLayout(this);
  all->setContentsMargins(20, 14, 20, 14);
  all->setSpacing(8);
  auto* head = new QHBoxLayout;
  auto* title = label(tr("Hook-up, power last"), Role::heading, true);
  setPx(title, 18);
  power_ups_ = label({}, Role::plain, true);
  setPx(power_ups_, 18);
  power_ups_->setAlignment(Qt::AlignRight | Qt::AlignVCenter);
  head->addWidget(title, 4);
  head->addWidget(power_ups_, 5);
  all->addLayout(head);
  rows_box_ = scrolled(all);
  rows_box_->setSpacing(0);
  rows_box_->addStretch(1);
  told_ = label({}, Role::plain, true);
  told_->hide();
  all->addWidget(told_);
  auto* foot = new QHBoxLayout;
  by_ = new QLineEdit;
  by_->setPlaceholderText(tr("your name, for the record"));
  by_->setAccessibleName(by_->placeholderText());
  auto* back = new QPushButton(tr("back to the sheet"));
  back->setObjectName(QStringLiteral("leave-hook-up"));
  foot->addWidget(by_, 1);
  foot->addWidget(back);
  all->addLayout(foot);
  connect(back, &QPushButton::clicked, this, &HookUpPage::left);
}

QString HookUpPage::powerUps() const { return power_ups_->text(); }

void HookUpPage::tell(const QString& what) {
  told_->setText(what);
  told_->setVisible(!what.isEmpty());
}

void HookUpPage::forget() {
  noted_.clear();
  tell({});
}

HookUpRow* HookUpPage::row(const std::string& code) const {
  for (HookUpRow* r : rows_)
    if (r->code() == code) return r;
  return nullptr;
}

void HookUpPage::show(const std::vector<readiness::HookUpState>& all, const QString& power_ups, bool live) {
  if (power_ups_->text() != power_ups) power_ups_->setText(power_ups);
  by_->setVisible(live);
  while (rows_.size() > all.size()) {
    delete rows_.back();
    rows_.pop_back();
  }
  while (rows_.size() < all.size()) {
    auto* r = new HookUpRow(static_cast<int>(rows_.size()) + 1, this);
    rows_box_->insertWidget(static_cast<int>(rows_.size()), r);
    rows_.push_back(r);
    connect(r, &HookUpRow::done, this, [this](const std::string& code, bool undo) {
      if (code == "power") return Q_EMIT powerAsked();
      event::Clearance c = readiness::hookUpTick(code, by_->text().trimmed().toStdString());
      if (undo) c.cleared = event::Known::no;
      Q_EMIT ticked(c);
    });
    connect(r, &HookUpRow::passedOver, this, [this](const std::string& code, const std::string& why) {
      Q_EMIT ticked(readiness::hookUpTick(code, by_->text().trimmed().toStdString(), why));
    });
  }
  for (std::size_t i = 0; i < all.size(); ++i) {
    rows_[i]->show(all[i], live);
    if (live && all[i].tick == Tick::seen && noted_.insert(all[i].what.code).second)
      Q_EMIT seen(text("hook-up: " + all[i].what.code + " seen: " + all[i].reason));
  }
}

}  // namespace pin16::gui
