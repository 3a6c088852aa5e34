// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// The supply path as a picture: source, leads, connector, interface, ground and module of the job's
/// arrangement, each joint with what was measured and what was to be expected.

#include <QRectF>
#include <QWidget>
#include <vector>

#include "core/readiness/path.hpp"

class QPainter;

namespace pin16::gui {

class SupplyPath : public QWidget {
  Q_OBJECT
 public:
  explicit SupplyPath(QWidget* parent = nullptr);
  void show(const job::Job& job, std::vector<readiness::Joint> joints);
  /// Where text was painted last, for the test that none lies on another.
  [[nodiscard]] const std::vector<QRectF>& textBoxes() const { return boxes_; }
  /// Text that had to be cut.
  [[nodiscard]] int cut() const { return cut_; }

 Q_SIGNALS:
  void chosen(const QString& step);

 protected:
  void paintEvent(QPaintEvent*) override;
  void mousePressEvent(QMouseEvent*) override;
  void resizeEvent(QResizeEvent*) override;

 private:
  [[nodiscard]] const readiness::Joint* find(std::string_view point) const;
  void paintWide(QPainter& p);
  void paintNarrow(QPainter& p);
  void words(QPainter& p, const QRectF& in, const QString& what, int px, const QColor& colour, int align,
             bool bold = false);
  /// Glyph at `at`, measured above expected in `in`.
  void joint(QPainter& p, const QPointF& at, const QRectF& in, std::string_view point, const QString& name,
             int align = 0);
  void box(QPainter& p, const QRectF& in, const QString& name, const QString& below, bool bad);
  void fuse(QPainter& p, const QPointF& middle, const QString& name, bool bad);
  [[nodiscard]] bool differs(std::string_view point) const;

  job::Job job_;
  std::vector<readiness::Joint> joints_;
  std::vector<QRectF> boxes_;
  std::vector<std::pair<QRectF, QString>> targets_;
  int cut_ = 0;
};

}  // namespace pin16::gui
