// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/cautions_dialog.hpp"

#include <QCoreApplication>
#include <QDialog>
#include <QDialogButtonBox>
#include <QGridLayout>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QScrollArea>
#include <QVBoxLayout>
#include <algorithm>

#include "core/readiness/cautions.hpp"
#include "core/readiness/plan.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {

constexpr int kWidth = 680, kHeightMost = 620;

class CautionsDialog : public QDialog {
  Q_DECLARE_TR_FUNCTIONS(pin16::gui::CautionsDialog)
 public:
  CautionsDialog(QWidget* parent, const job::Job& job) : QDialog(parent) {
    setWindowTitle(tr("cautions"));
    auto* all = new QVBoxLayout(this);
    all->setSpacing(10);
    all->addWidget(label(tr("Before anything is joined: read this once for this job."), Role::heading, true));
    auto* inside = new QWidget;
    auto* grid = new QGridLayout(inside);
    grid->setContentsMargins(0, 0, 8, 0);
    grid->setHorizontalSpacing(10);
    grid->setVerticalSpacing(10);
    grid->setColumnStretch(1, 1);
    int row = 0;
    for (const std::string& caution : readiness::cautions(job)) {
      auto* sign = new Glyph(18, inside);
      sign->show(readiness::Verdict::marginal);
      grid->addWidget(sign, row, 0, Qt::AlignTop);
      auto* what = label(coreText(caution), Role::plain, true, inside);
      QFont f = what->font();
      f.setPixelSize(kTextPx + 2);
      what->setFont(f);
      grid->addWidget(what, row++, 1);
    }
    grid->setRowStretch(row, 1);
    auto* area = new QScrollArea;
    area->setWidgetResizable(true);
    area->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
    area->setAccessibleName(tr("cautions"));
    area->setWidget(inside);
    all->addWidget(area, 1);
    by_ = new QLineEdit;
    by_->setPlaceholderText(tr("your name, for the record"));
    by_->setAccessibleName(by_->placeholderText());
    all->addWidget(by_);
    auto* buttons = new QDialogButtonBox;
    auto* read = buttons->addButton(tr("I have read them"), QDialogButtonBox::AcceptRole);
    read->setObjectName(QStringLiteral("cautions-read"));
    auto* back = buttons->addButton(tr("back"), QDialogButtonBox::RejectRole);
    back->setObjectName(QStringLiteral("cautions-back"));
    read->setEnabled(false);
    connect(by_, &QLineEdit::textChanged, read,
            [read](const QString& now) { read->setEnabled(!now.trimmed().isEmpty()); });
    connect(buttons, &QDialogButtonBox::accepted, this, &QDialog::accept);
    connect(buttons, &QDialogButtonBox::rejected, this, &QDialog::reject);
    all->addWidget(buttons);
    // Small screens: the texts scroll, name and buttons stay in sight.
    const int most = parent != nullptr ? std::min(kHeightMost, parent->height() - 20) : kHeightMost;
    const int width = parent != nullptr ? std::min(kWidth, parent->width() - 20) : kWidth;
    resize(width, std::min(most, inside->heightForWidth(width - 40) + 150));
    by_->setFocus();
  }
  [[nodiscard]] std::string by() const { return by_->text().trimmed().toStdString(); }

 private:
  QLineEdit* by_;
};

}  // namespace

Result<bool> readCautions(QWidget* parent, const job::Job& job) {
  const auto read = readiness::cautionsRead(job);
  if (!read) return read.error();
  if (*read) return true;
  CautionsDialog dialog(parent, job);
  if (dialog.exec() != QDialog::Accepted) return false;
  if (Status kept = readiness::keepCautionsRead(job, dialog.by()); !kept) return kept.error();
  return true;
}

}  // namespace pin16::gui
