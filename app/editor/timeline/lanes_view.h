// Lanes of the timeline: findings as a strip, repairs as bars with their eases and phases, nudges as pins. Bars are moved and
// stretched with the mouse.
#pragma once

#include <QPixmap>

#include "app/editor/document/spans.h"
#include "app/editor/timeline/lane_layout.h"
#include "app/editor/timeline/track_view.h"

namespace understudy::editor {

/// What lies under the mouse.
struct LaneHit {
  std::uint64_t id = 0;
  bool nudge = false;
  SpanPart part = SpanPart::none;
  int mark = -1;
};

class LanesView : public TrackView {
  Q_OBJECT
 public:
  LanesView(Document& document, Session& session, FrameScale& scale, QWidget* parent = nullptr);

  /// Names of the lanes and where they are.
  struct NamedLane {
    QString name;
    QRectF rect;
  };
  [[nodiscard]] std::vector<NamedLane> names() const;
  /// Where a nudge's pin is drawn.
  [[nodiscard]] QPointF pinOf(std::uint64_t nudge) const;
  /// Where a part of a repair's bar is taken hold of; nothing where it is not shown.
  [[nodiscard]] std::optional<QPointF> gripOf(std::uint64_t repair, SpanPart part, int mark = -1) const;
  [[nodiscard]] LaneHit hitAt(QPointF point) const;
  /// Key of the finding whose mark on the strip is under the mouse; empty: none.
  [[nodiscard]] std::string findingAt(QPointF point) const;
  /// Lanes there are, the findings' strip counted.
  [[nodiscard]] std::size_t laneCount() const;
  /// Height at which every lane has its least room.
  [[nodiscard]] int wantedHeight() const;
  /// Moves lanes that have no room up and down, pixels.
  void scrollLanes(double by);

 Q_SIGNALS:
  void lanesChanged();
  void findingAsked(const QString& key);

 protected:
  void paintEvent(QPaintEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void resizeEvent(QResizeEvent* event) override;
  void wheelEvent(QWheelEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;
  bool event(QEvent* event) override;

 private:
  void relayout();
  void stale();
  void reveal(std::uint64_t id);
  [[nodiscard]] double lanesTop() const;
  [[nodiscard]] double laneHeight() const;
  [[nodiscard]] double stripHeight() const;
  void paintFindings(QPainter& painter) const;
  [[nodiscard]] QRectF laneRect(std::size_t lane) const;
  [[nodiscard]] QRectF barRect(std::size_t lane, const LaneBar& bar) const;
  void paintLanes(QPainter& painter) const;
  void paintBar(QPainter& painter, std::size_t lane, const LaneBar& bar) const;
  void paintPhases(QPainter& painter, const QRectF& rect, const LaneBar& bar, const QColor& tone) const;
  void paintNudge(QPainter& painter, std::size_t lane, const LaneBar& bar) const;
  void paintStay(QPainter& painter, std::size_t lane, const LaneBar& bar) const;

  struct Length {
    FrameRate rate;
    int clipFrames = 0, trimFirst = 0;
    friend bool operator==(const Length&, const Length&) = default;
  };

  std::vector<Lane> lanes_;
  std::optional<Length> laidOut_;  ///< of the evaluation they were laid out for
  QPixmap picture_;
  bool fresh_ = false;
  LaneHit held_;
  std::optional<Repair> base_;
  int grabbed_ = 0, drags_ = 0;
  double pressedX_ = 0, scrolled_ = 0;
  bool moved_ = false;
};

}  // namespace understudy::editor
