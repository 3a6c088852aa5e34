// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/found_panel.hpp"

#include <QComboBox>
#include <QFrame>
#include <QHBoxLayout>
#include <QLabel>
#include <QPushButton>
#include <QVBoxLayout>
#include <algorithm>

#include "core/link/link.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {

constexpr int kLookEvery_ms = 1000;  // own figure: a person has just plugged it in and looks up

/// What can hang on a serial port, in the order of the docs; only the port's owner knows.
constexpr const char* kSerialSchemes[] = {"slcan", "at", "kline", "scpi"};

QString words(const link::SerialEntry& s) {
  QString out = text(s.text);
  const auto add = [&out](const QString& more) {
    if (!more.isEmpty()) out += (out.isEmpty() ? QString() : QStringLiteral(", ")) + more;
  };
  add(s.vendor.empty() ? text(s.driver) : text(s.vendor + ":" + s.product));
  if (!s.serial.empty()) add(FoundPanel::tr("serial number %1").arg(text(s.serial)));
  return out;
}

QString care(const link::SerialEntry& s) {
  QStringList out;
  for (const std::string& who : s.held_by)
    out << FoundPanel::tr("In use by %1: leave it alone if it is the other equipment's.").arg(text(who));
  if (!s.may_open) out << FoundPanel::tr("No permission to open it: %1").arg(text(s.advice));
  return out.join(QLatin1Char('\n'));
}

}  // namespace

FoundPanel::FoundPanel(QWidget* parent) : QWidget(parent), look_(link::takeInventory) {
  rows_ = new QVBoxLayout(this);
  rows_->setContentsMargins(0, 0, 0, 0);
  rows_->setSpacing(4);
  timer_.setInterval(kLookEvery_ms);
  connect(&timer_, &QTimer::timeout, this, &FoundPanel::refresh);
}

void FoundPanel::lookAt(std::function<link::Inventory()> look) {
  look_ = std::move(look);
  refresh();
}
void FoundPanel::showEvent(QShowEvent* e) {
  QWidget::showEvent(e);
  refresh();
  timer_.start();
}
void FoundPanel::hideEvent(QHideEvent* e) {
  timer_.stop();
  QWidget::hideEvent(e);
}

/// Shown anew only when something changed: a choice half made would be lost otherwise.
void FoundPanel::refresh() {
  const link::Inventory all = look_();
  QStringList now{text(all.can_text)};
  for (const auto& e : all.can) now << text(e.uri) << text(e.text) << text(e.advice);
  for (const auto& s : all.serial) now << text(s.device) << words(s) << care(s);
  if (now == shown_) return;
  shown_ = now;
  while (QLayoutItem* item = rows_->takeAt(0)) {
    delete item->widget();
    delete item;
  }
  if (all.can.empty()) rows_->addWidget(label(text(all.can_text), Role::faint, true, this));
  for (const auto& e : all.can) addCan(e);
  if (all.serial.empty()) rows_->addWidget(label(tr("No serial port."), Role::faint, true, this));
  for (const auto& s : all.serial) addSerial(s);
}

QHBoxLayout* FoundPanel::row(const QString& name, const QString& what, const QString& care) {
  auto* frame = new QFrame(this);
  auto* across = new QHBoxLayout(frame);
  across->setContentsMargins(0, 2, 0, 2);
  auto* texts = new QVBoxLayout;
  texts->setSpacing(1);
  texts->addWidget(label(name, Role::heading, true, frame));
  if (!what.isEmpty()) texts->addWidget(label(what, Role::plain, true, frame));
  if (!care.isEmpty()) texts->addWidget(label(care, Role::faint, true, frame));
  across->addLayout(texts, 1);
  rows_->addWidget(frame);
  return across;
}

void FoundPanel::addCan(const link::CanEntry& entry) {
  const QString uri = text(entry.uri);
  const QString care = entry.advice.empty() ? QString() : tr("Bring it up with: %1").arg(text(entry.advice));
  auto* take = new QPushButton(tr("take"));
  take->setAccessibleName(tr("take %1").arg(uri));
  row(uri, text(entry.text), care)->addWidget(take, 0, Qt::AlignTop);
  connect(take, &QPushButton::clicked, this, [this, uri] { Q_EMIT taken(uri, false); });
}

void FoundPanel::addSerial(const link::SerialEntry& entry) {
  const QString device = text(entry.device);
  auto* as = comboBox();
  as->setAccessibleName(tr("what hangs on %1").arg(device));
  as->addItem(tr("it is \u2026"));
  for (const char* name : kSerialSchemes) {
    const auto& all = link::schemes();
    const auto s = std::find_if(all.begin(), all.end(), [&](const auto& x) { return x.name == name; });
    if (s == all.end()) continue;
    as->addItem(s->meter                            ? tr("meter (SCPI)")
                : std::string_view(name) == "slcan" ? tr("CAN adapter, serial-line")
                : std::string_view(name) == "at"    ? tr("adapter, AT commands")
                                                    : tr("K-line cable"),
                text(s->name));
    as->setItemData(as->count() - 1, text(s->help), Qt::ToolTipRole);
  }
  auto* take = new QPushButton(tr("take"));
  take->setAccessibleName(tr("take %1").arg(device));
  take->setEnabled(false);
  connect(as, &QComboBox::currentIndexChanged, take, [take](int i) { take->setEnabled(i > 0); });
  auto* across = row(device, words(entry), care(entry));
  across->addWidget(as, 0, Qt::AlignTop);
  across->addWidget(take, 0, Qt::AlignTop);
  connect(take, &QPushButton::clicked, this, [this, as, device] {
    const QString uri = as->currentData().toString() + QLatin1Char(':') + device;
    Q_EMIT taken(uri, link::isMeter(uri.toStdString()));
  });
}

}  // namespace pin16::gui
