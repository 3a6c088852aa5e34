// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// The two columns beside the time axis: steps with their verdicts, and reasons with the next measurement.

#include <QFrame>
#include <QScrollArea>
#include <vector>

#include "core/readiness/plan.hpp"
#include "gui/look.hpp"
#include "gui/source.hpp"

class QGridLayout;
class QLabel;
class QLineEdit;
class QPushButton;
class QVBoxLayout;

namespace pin16::gui {

class Glyph;
class ShortLabel;

/// One step: closed a glyph, a word and a line; open its sentence, figures, limits and their sources.
class StepRow : public QFrame {
  Q_OBJECT
 public:
  explicit StepRow(QWidget* parent = nullptr);
  void show(const readiness::Step& step);
  void open(bool open);
  [[nodiscard]] bool isOpen() const { return open_; }
  [[nodiscard]] const std::string& name() const { return name_; }

 Q_SIGNALS:
  void toggled();

 protected:
  void mousePressEvent(QMouseEvent*) override;
  void keyPressEvent(QKeyEvent*) override;

 private:
  Glyph* glyph_;
  QLabel* title_;
  QLabel* word_;
  ShortLabel* line_;
  QWidget* detail_;
  QVBoxLayout* detail_box_;
  std::vector<QLabel*> lines_;
  std::vector<Role> roles_;
  std::string name_;
  QString shown_;
  bool open_ = false;
};

class StepsPanel : public QScrollArea {
  Q_OBJECT
 public:
  explicit StepsPanel(QWidget* parent = nullptr);
  void show(const readiness::Sheet* sheet);
  void choose(const QString& step);

 private:
  std::vector<StepRow*> rows_;
  QLabel* none_;
  bool touched_ = false;  ///< somebody opened or closed one: leave it so
};

/// Ten dots for odds: never a percentage, the priors are estimates.
class Dots : public QWidget {
 public:
  explicit Dots(QWidget* parent = nullptr);
  void show(double probability, const QString& odds);
  [[nodiscard]] QSize sizeHint() const override { return {136, 16}; }

 protected:
  void paintEvent(QPaintEvent*) override;

 private:
  int filled_ = 0;
};

class ReasonsPanel : public QScrollArea {
  Q_OBJECT
 public:
  explicit ReasonsPanel(QWidget* parent = nullptr);
  /// Null answer: still thinking. `question`: what the sheet itself still needs, which comes first.
  void show(const std::optional<reasons::Answer>& answer, const std::optional<readiness::Question>& question,
            bool answers);
  [[nodiscard]] QLineEdit* entry() const { return entry_; }
  [[nodiscard]] QPushButton* enterButton() const { return enter_; }
  [[nodiscard]] QPushButton* meterButton() const { return meter_; }
  /// The module was asked: only then "does not answer" is known of it, and not supposed.
  void setAsked(bool asked) { asked_ = asked; }
  /// A simulated bench can be asked what its meter shows.
  void offerMeter(bool offer);
  void fill(const QString& value);
  void tell(const QString& trouble);
  /// What the card asks for: "V(pin16,pin4)", and " power=source" where the point needs it.
  [[nodiscard]] const QString& asked() const { return id_; }
  [[nodiscard]] const QString& suffix() const { return suffix_; }
  [[nodiscard]] QString how() const;

 Q_SIGNALS:
  void meterAsked(const QString& id, const QString& suffix);
  void entered(const QString& reading);  ///< "POINT=VALUE", as the command takes it
  void skipped(const QString& id);

 private:
  void showCauses(const std::optional<reasons::Answer>& answer, bool answers);
  void showNext(const std::optional<reasons::Answer>& answer,
                const std::optional<readiness::Question>& question);
  void choices(const std::vector<std::string>& answers);
  void submit();

  QVBoxLayout* causes_;
  QFrame* card_;
  QLabel *card_head_, *card_what_, *card_how_, *card_outcome_, *card_error_;
  QLineEdit* entry_;
  QPushButton *enter_, *skip_, *meter_;
  QWidget* choices_;
  QGridLayout* choices_box_;
  QString id_, suffix_;
  QString shown_causes_, shown_next_;
  bool meter_offered_ = false, asked_ = false;
};

}  // namespace pin16::gui
