// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// What is plugged into this machine, as `pin16 links` lists it, looked at again while the panel is in sight.
/// No port is opened to see what it is: the person says what it is when taking it.

#include <QStringList>
#include <QTimer>
#include <QWidget>
#include <functional>

#include "core/link/inventory.hpp"

class QHBoxLayout;
class QVBoxLayout;

namespace pin16::gui {

class FoundPanel : public QWidget {
  Q_OBJECT
 public:
  explicit FoundPanel(QWidget* parent = nullptr);
  /// Where it looks; the machine unless a test says otherwise. Looks at once.
  void lookAt(std::function<link::Inventory()> look);

 Q_SIGNALS:
  void taken(const QString& uri, bool meter);

 protected:
  void showEvent(QShowEvent*) override;
  void hideEvent(QHideEvent*) override;

 private:
  void refresh();
  void addCan(const link::CanEntry& entry);
  void addSerial(const link::SerialEntry& entry);
  QHBoxLayout* row(const QString& name, const QString& what, const QString& care);

  std::function<link::Inventory()> look_;
  QStringList shown_;
  QVBoxLayout* rows_;
  QTimer timer_;
};

}  // namespace pin16::gui
