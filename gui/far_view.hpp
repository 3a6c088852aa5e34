// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// For arm's length, gloves and the dark: verdict, next thing and the two main volts in large type; answers
/// and marks as targets of 20 mm, each with a key of its own.

#include <QWidget>

#include "core/readiness/path.hpp"
#include "gui/source.hpp"

class QLabel;
class QPushButton;

namespace pin16::gui {

class Glyph;

class FarView : public QWidget {
  Q_OBJECT
 public:
  explicit FarView(QWidget* parent = nullptr);
  /// `asked`: what the card asks for ("V(pin16,pin4)"), `suffix` what belongs behind its value. `line`: the
  /// one line of an attempt; then it alone is shown.
  void show(const Source& source, const std::vector<readiness::Joint>& path, const QString& asked,
            const QString& suffix, const QString& line);

 Q_SIGNALS:
  void entered(const QString& reading);
  void marked(const QString& word);
  void left();

 private:
  QPushButton* target(const QString& what, int key);
  Glyph* glyph_;
  QLabel *verdict_, *next_, *line_, *asked_label_;
  QLabel *names_[2], *volts_[2];
  QWidget *answers_, *marks_, *all_;
  QString asked_, suffix_;
  double source_V_ = 12.6;
};

}  // namespace pin16::gui
