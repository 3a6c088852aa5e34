// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// One time axis for everything: volts, amperes, bus load and exchanges as lanes under each other, marks
/// above, one cursor through all of them. Whatever the zoom, a lane draws a bounded number of points and no
/// dip is lost (core/review/pyramid.hpp).

#include <QWidget>
#include <functional>
#include <memory>
#include <vector>

#include "core/review/timeline.hpp"

namespace pin16::gui {

class ChartLane;

class TimeAxis : public QWidget {
  Q_OBJECT
 public:
  explicit TimeAxis(QWidget* parent = nullptr);
  ~TimeAxis() override;

  /// `timeline` stays the caller's and is read until the next call; null: nothing to draw.
  void show(const review::Timeline* timeline, double supply_min_V);
  /// Live: what is new of the same timeline.
  void refresh();
  [[nodiscard]] bool shows(const review::Timeline* timeline) const { return timeline_ == timeline; }
  /// How links are named; by their number without it.
  void nameLinks(std::function<QString(std::uint16_t)> name) { link_name_ = std::move(name); }
  void setPlugins(std::vector<std::pair<QString, review::Pyramid>> series);
  void setFollow(bool follow);
  [[nodiscard]] bool follows() const { return follow_; }

  [[nodiscard]] Ns cursor() const { return cursor_; }
  void setCursor(Ns t_ns);  ///< no signal
  void zoom(double factor, Ns about_ns);
  void showAll();
  [[nodiscard]] Ns from() const { return from_; }
  [[nodiscard]] Ns to() const { return to_; }
  void setView(Ns from_ns, Ns to_ns);
  /// Points drawn in the charts last.
  [[nodiscard]] std::size_t points() const { return points_; }
  [[nodiscard]] const std::vector<QRectF>& textBoxes() const { return boxes_; }
  /// Names of lines that were painted last: whole, and cut or left out.
  [[nodiscard]] int namesWhole() const { return names_whole_; }
  [[nodiscard]] int namesMissing() const { return names_missing_; }
  [[nodiscard]] QSize minimumSizeHint() const override { return {300, 150}; }

 Q_SIGNALS:
  void cursorMoved(pin16::Ns t_ns);
  void followChanged(bool follow);

 protected:
  void resizeEvent(QResizeEvent*) override;
  void keyPressEvent(QKeyEvent*) override;
  void focusInEvent(QFocusEvent*) override;
  void focusOutEvent(QFocusEvent*) override;

 private:
  friend class AxisOverlay;
  struct Line {
    QString name, unit;
    const review::Pyramid* values = nullptr;
    int look = 0;  ///< colour and dash
  };
  struct Lane {
    QString title;
    std::vector<Line> lines;
    std::unique_ptr<ChartLane> chart;
    QRectF plot;  ///< in this widget
    int name_rows = 1;
    double low = 0, high = 1;
    bool volts = false, shown = true;
  };
  void build();
  void layOut();
  void draw();
  void moveCursor(Ns t_ns);
  void describeSelf();
  [[nodiscard]] double xOf(Ns t_ns) const;
  [[nodiscard]] Ns timeAt(double x) const;
  [[nodiscard]] Ns start() const;
  void paintOver(QPainter& p);
  void paintMarks(QPainter& p);
  void paintExchanges(QPainter& p);
  void paintScale(QPainter& p);
  void paintReadings(QPainter& p, const Lane& lane);
  void paintGrid(QPainter& p, const Lane& lane);
  void paintTitles(QPainter& p, const Lane& lane);
  /// Where each line's name and value at the cursor stand above its lane; fewer than lines: no room for more.
  struct Name {
    const Line* line;
    int row;
    double x, width;
  };
  [[nodiscard]] std::vector<Name> placeNames(const Lane& lane, int most_rows) const;
  void words(QPainter& p, const QRectF& in, const QString& what, const QColor& colour, int align,
             bool bold = false);

  const review::Timeline* timeline_ = nullptr;
  double supply_min_V_ = 9;
  std::function<QString(std::uint16_t)> link_name_;
  std::vector<std::pair<QString, review::Pyramid>> plugin_series_;
  std::vector<std::unique_ptr<Lane>> lanes_;
  QWidget* overlay_;
  QRectF exchanges_, marks_;
  Ns from_ = 0, to_ = 0, cursor_ = kNoTime, anchor_ = kNoTime;
  bool follow_ = false, touched_ = false;
  std::size_t lines_built_ = 0;
  std::size_t points_ = 0;
  std::vector<QRectF> boxes_;
  int names_whole_ = 0, names_missing_ = 0;
};

}  // namespace pin16::gui
