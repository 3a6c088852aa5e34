// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// Colours, glyphs and sizes of the window. Colours are Okabe and Ito's (jfly.uni-koeln.de/color), darkened
/// or lightened where text needs contrast, and never alone: each verdict has a shape and a word, each line of
/// a chart a dash.

#include <QColor>
#include <QLabel>
#include <QObject>
#include <QString>
#include <QVBoxLayout>
#include <array>

#include "core/readiness/sheet.hpp"

class QComboBox;
class QPainter;

namespace pin16::gui {

enum class Theme { light, dark, contrast };

struct Colours {
  QColor ground, card, text, faint, line, accent, chosen, band;
  QColor sound, marginal, faulty, unmeasured;
  std::array<QColor, 6> lines;
};

/// GUI thread only.
class Look : public QObject {
  Q_OBJECT
 public:
  [[nodiscard]] static Look& the();
  [[nodiscard]] Theme theme() const { return theme_; }
  [[nodiscard]] const Colours& colours() const { return colours_; }
  [[nodiscard]] bool dark() const { return theme_ != Theme::light; }
  /// Sets palette and style sheet of the application.
  void set(Theme theme);
  /// Own line width: thicker in high contrast.
  [[nodiscard]] double stroke() const { return theme_ == Theme::contrast ? 2.5 : 1.5; }

 Q_SIGNALS:
  void changed();

 private:
  Look() = default;
  Theme theme_ = Theme::light;
  Colours colours_;
};

/// Sizes in device-independent pixels. Arm's length: 20 arcmin at 0.6 m is 3.5 mm of character height, about
/// 21 px of type on a 14-inch panel of 1280 px (ISO 9241-303, from memory; computed).
inline constexpr int kTextPx = 13;
inline constexpr int kFarPx = 22;
inline constexpr int kHugePx = 64;
/// A target for gloves, 20 mm at 96 dots an inch.
inline constexpr int kGlovePx = 76;

[[nodiscard]] QColor colourOf(readiness::Verdict v);
/// Disc sound, triangle marginal, cross faulty, ring not measured, dash not asked.
void drawGlyph(QPainter& painter, const QRectF& in, readiness::Verdict v);
[[nodiscard]] readiness::Verdict glyphOf(readiness::Overall o);

// In the window's language; the words of docs/readiness.md.
[[nodiscard]] QString wordOf(readiness::Verdict v);
[[nodiscard]] QString wordOf(readiness::Overall o);
[[nodiscard]] QString stepName(const std::string& step);
[[nodiscard]] QString arrangementName(job::Arrangement a);
[[nodiscard]] QString text(const std::string& s);
/// A text of the core's tables in the window's language, where gui/i18n/core has it: else as it is.
[[nodiscard]] QString coreText(const char* english);
[[nodiscard]] QString coreText(const std::string& english);

/// Bold, in that size in device-independent pixels.
void setPx(QLabel* label, int px);
/// A choice that the wheel does not change: who scrolls past a question must not answer it.
[[nodiscard]] QComboBox* comboBox(QWidget* parent = nullptr);
/// What scrolls up and down only, at the end of `into`: its layout.
[[nodiscard]] QVBoxLayout* scrolled(QVBoxLayout* into);

/// A verdict's shape. The word stands beside it, elsewhere.
class Glyph : public QWidget {
 public:
  explicit Glyph(int size_px, QWidget* parent = nullptr);
  void show(readiness::Verdict v);
  [[nodiscard]] QSize sizeHint() const override { return {size_, size_}; }

 protected:
  void paintEvent(QPaintEvent*) override;

 private:
  int size_;
  readiness::Verdict verdict_ = readiness::Verdict::not_measured;
};

/// One line, or up to setLines(), that ends in dots where it does not fit; the whole is its tool tip and its
/// accessible name.
class ShortLabel : public QLabel {
 public:
  explicit ShortLabel(QWidget* parent = nullptr);
  void setWhole(const QString& whole);
  void setLines(int most);
  [[nodiscard]] const QString& whole() const { return whole_; }
  [[nodiscard]] bool cut() const;
  [[nodiscard]] QSize minimumSizeHint() const override;

 protected:
  void paintEvent(QPaintEvent*) override;
  void resizeEvent(QResizeEvent*) override;

 private:
  [[nodiscard]] QStringList broken() const;  ///< into lines, the last one ends in dots where it must
  void fit();
  QString whole_;
  int lines_ = 1;
};

enum class Role { plain, faint, heading, figure };
/// A label in a role of its own; `wrap`: in as many lines as it takes.
[[nodiscard]] QLabel* label(const QString& what, Role role, bool wrap = false, QWidget* parent = nullptr);
void setRole(QWidget* w, Role role);

/// What a verdict's word or a trouble is written in, in any look: a palette of its own would be lost when the
/// style sheet is set anew.
enum class Tint { text, sound, marginal, faulty, unmeasured };
[[nodiscard]] Tint tintOf(readiness::Verdict v);
[[nodiscard]] Tint tintOf(readiness::Overall o);
void setTint(QWidget* w, Tint tint);

/// UTC of a time as "+12.345 678" s from `start_ns`.
[[nodiscard]] QString sinceText(Ns t_ns, Ns start_ns, int decimals);

}  // namespace pin16::gui
