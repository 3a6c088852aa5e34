// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// For arm's length, gloves and the dark: verdict, next thing and the two main volts in large type; answers
/// and marks as targets of 20 mm, each with a key of its own.

#include <QWidget>

#include "core/readiness/path.hpp"
#include "gui/source.hpp"

namespace pin16::review {
class Timeline;
}

class QLabel;
class QPushButton;

namespace pin16::gui {

class Glyph;
class Speaker;

class FarView : public QWidget {
  Q_OBJECT
 public:
  explicit FarView(QWidget* parent = nullptr);
  /// `asked`: what the card asks for ("V(pin16,pin4)"), `how` it is taken, `suffix` what belongs behind its
  /// value. `line`: the one line of an attempt; then it alone is shown.
  void show(const Source& source, const std::vector<readiness::Joint>& path, const QString& asked,
            const QString& how, const QString& suffix, const QString& line);

  /// Live, 20 times a second: what the tone follows, and its lowest value since the tone was turned on.
  void hear(const review::Timeline& timeline);
  [[nodiscard]] QPushButton* toneButton() const { return tone_; }
  [[nodiscard]] QPushButton* channelButton() const { return channel_; }
  [[nodiscard]] QLabel* heard() const { return heard_; }

 Q_SIGNALS:
  void entered(const QString& reading);
  void marked(const QString& word);
  void left();

 private:
  QPushButton* target(const QString& what, int key);
  void listenAnew();
  Glyph* glyph_;
  QLabel *verdict_, *next_, *line_, *asked_label_, *how_, *told_;
  QLabel *names_[2], *volts_[2];
  QWidget *answers_, *marks_, *all_;
  QString asked_, suffix_;
  double source_V_ = 12.6;
  // The wiggle test.
  QPushButton *tone_, *channel_;
  QLabel* heard_;
  QWidget* sound_;
  Speaker* speaker_;
  std::size_t chosen_ = 0;
  bool on_ = false;
  double lowest_ = 0;
  Ns heard_until_ns_ = kNoTime, errors_until_ns_ = kNoTime;
};

}  // namespace pin16::gui
