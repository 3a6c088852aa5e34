// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// The attempts of a job, one after another, and what a person says of the one that begins or has ended.

#include <QWidget>
#include <optional>
#include <string>
#include <vector>

#include "core/review/attempt_list.hpp"

class QLabel;
class QLineEdit;
class QPushButton;
class QVBoxLayout;

namespace pin16::gui {

class AttemptsPage : public QWidget {
  Q_OBJECT
 public:
  explicit AttemptsPage(QWidget* parent = nullptr);
  struct State {
    std::vector<review::AttemptRow> rows;
    QString left;  ///< of the budget
    QString stop;  ///< the job's stop rule, if it is reached
    bool live = false, runs = false;
    bool to_keep = false;  ///< one has ended, and nobody has said yet what the other program said
  };
  void show(const State& state);
  void tell(const QString& what);
  /// What was typed as changed since the last attempt.
  [[nodiscard]] QString changed() const;
  /// Asks for it.
  void askChanged();
  void clearChanged();
  [[nodiscard]] QLineEdit* changedLine() const { return changed_; }
  [[nodiscard]] QLineEdit* saidLine() const { return said_; }
  [[nodiscard]] QLineEdit* cyclesLine() const { return cycles_; }
  [[nodiscard]] QPushButton* attemptButton() const { return attempt_; }
  [[nodiscard]] QPushButton* keepButton() const { return keep_; }

 Q_SIGNALS:
  void attemptAsked();
  void kept(const QString& said, std::optional<int> cycles);
  void left();

 private:
  [[nodiscard]] static QString rungWord(const std::string& rung);
  QWidget* rowOf(const review::AttemptRow& row, int number);

  QLabel *left_, *stop_, *none_, *told_;
  QVBoxLayout* rows_;
  QLineEdit *changed_, *said_, *cycles_;
  QPushButton *attempt_, *keep_;
  QWidget *before_, *after_;
  QString shown_;
};

}  // namespace pin16::gui
