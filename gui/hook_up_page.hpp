// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// The guided hook-up: what core/readiness says of order and state, as a list to go down. It decides nothing.

#include <QWidget>
#include <set>
#include <string>
#include <vector>

#include "core/readiness/hook_up.hpp"

class QFrame;
class QLabel;
class QLineEdit;
class QPushButton;
class QVBoxLayout;

namespace pin16::gui {

class Glyph;

/// One item: glyph and word, what to do, why, and what a person can say of it.
class HookUpRow : public QWidget {
  Q_OBJECT
 public:
  explicit HookUpRow(int number, QWidget* parent = nullptr);
  void show(const readiness::HookUpState& state, bool live);
  [[nodiscard]] const std::string& code() const { return code_; }
  [[nodiscard]] QPushButton* doneButton() const { return done_; }
  [[nodiscard]] QPushButton* passButton() const { return pass_; }
  [[nodiscard]] QLineEdit* reasonLine() const { return reason_; }
  [[nodiscard]] QString word() const;

 Q_SIGNALS:
  void done(const std::string& code, bool undo);
  void passedOver(const std::string& code, const std::string& reason);

 private:
  int number_;
  std::string code_;
  bool by_person_ = false;
  Glyph* glyph_;
  QLabel *word_, *title_, *why_;
  QPushButton *done_, *pass_;
  QLineEdit* reason_;
};

class HookUpPage : public QWidget {
  Q_OBJECT
 public:
  explicit HookUpPage(QWidget* parent = nullptr);
  /// `power_ups`: "power-ups so far: 1 of 4". `live`: it can be ticked.
  void show(const std::vector<readiness::HookUpState>& all, const QString& power_ups, bool live);
  /// Another job: nothing was seen yet.
  void forget();
  void tell(const QString& what);
  [[nodiscard]] HookUpRow* row(const std::string& code) const;
  [[nodiscard]] QLineEdit* nameLine() const { return by_; }
  [[nodiscard]] QString powerUps() const;

 Q_SIGNALS:
  void ticked(const event::Clearance& clearance);
  void powerAsked();
  /// An instrument ticked it: once each, for the record.
  void seen(const QString& what);
  void left();

 private:
  QLabel *power_ups_, *told_;
  QLineEdit* by_;
  QVBoxLayout* rows_box_;
  std::vector<HookUpRow*> rows_;
  std::set<std::string> noted_;
};

}  // namespace pin16::gui
