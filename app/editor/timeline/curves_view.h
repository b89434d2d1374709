// Rotations over time as curves of angles, before (dashed) and after, with the keys that were set on them. Keys and their handles are
// dragged; a box takes several, which are moved and scaled together.
#pragma once

#include <set>
#include <vector>

#include "app/editor/document/curve_keys.h"
#include "app/editor/timeline/track_view.h"

namespace understudy::editor {

/// What a drag on the curves has hold of.
enum class CurvePart { none, key, handleBefore, handleAfter, boxLeft, boxRight, boxTop, boxBottom };

class CurvesView : public TrackView {
  Q_OBJECT
 public:
  CurvesView(Document& document, Session& session, FrameScale& scale, QWidget* parent = nullptr);

  /// One bone's curves.
  struct Line {
    Bone bone;
    std::array<std::vector<double>, 3> before, after;
    std::vector<CurveKey> keys;
  };
  /// A dot: a key in one of its three angles.
  using Dot = std::pair<std::uint64_t, int>;
  struct Hit {
    CurvePart part = CurvePart::none;
    Dot dot{};
  };

  /// The bones whose curves are shown; none: the selected one.
  void setBones(std::vector<Bone> bones);
  void setAngles(Angles angles);
  [[nodiscard]] Angles angles() const { return angles_; }
  void setChannel(int channel, bool shown);
  void setBeforeShown(bool shown);
  void fitValues();
  [[nodiscard]] const std::vector<Line>& lines() const { return lines_; }
  [[nodiscard]] const std::set<Dot>& picked() const { return picked_; }
  /// Where a dot or one of its handles is drawn; nothing where it is not.
  [[nodiscard]] std::optional<QPointF> pointOf(Dot dot, CurvePart part = CurvePart::key) const;
  /// The frame around several picked dots; empty where there are not several.
  [[nodiscard]] QRectF box() const;
  [[nodiscard]] Hit hitAt(QPointF point) const;
  /// Names of the three angles.
  [[nodiscard]] static QStringList channelNames(Angles angles);

  /// A key of the first shown character bone at the current frame; all keys of the shown bones; what is done to the picked ones.
  void keyHere();
  void pickAll();
  void removePicked();
  void level();
  void smooth();
  /// Turns the picked dots by degrees, or moves their keys by frames.
  void shiftPicked(double degrees, int frames, const QString& mergeKey);

 Q_SIGNALS:
  void pickedChanged();

 protected:
  void paintEvent(QPaintEvent* event) override;
  void showEvent(QShowEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void wheelEvent(QWheelEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;
  bool event(QEvent* event) override;

 private:
  struct Held {
    HeldKey key;
    std::array<bool, 3> channels{};
  };
  void refresh();
  [[nodiscard]] QRectF field() const;
  [[nodiscard]] double y(double degrees) const;
  [[nodiscard]] double value(double y) const;
  [[nodiscard]] const CurveKey* keyOf(std::uint64_t nudge) const;
  [[nodiscard]] std::vector<Dot> dots() const;
  [[nodiscard]] std::vector<std::uint64_t> pickedKeys() const;
  void pick(std::set<Dot> dots);
  [[nodiscard]] std::vector<Held> held() const;
  void shift(const std::vector<Held>& keys, double degrees, int frames, const QString& mergeKey);
  /// How far the curve under a key moves within some frames of it, without the key.
  [[nodiscard]] double drift(Dot dot, double frames) const;
  void dragTo(QPointF point, bool straight);
  void scaleTo(QPointF point);
  void paintLine(QPainter& painter, const Line& line, bool quiet) const;
  void paintKeys(QPainter& painter) const;
  void paintGrid(QPainter& painter, const QRectF& field) const;
  void paintReadout(QPainter& painter, const QRectF& field) const;

  std::vector<Bone> bones_;
  std::vector<Line> lines_;
  Angles angles_ = Angles::turns;
  std::array<bool, 3> shown_{true, true, true};
  bool beforeShown_ = true, fitted_ = true;
  double low_ = -10, high_ = 10;
  std::set<Dot> picked_;

  Hit hit_;
  std::vector<Held> held_;
  QPointF pressed_, at_;
  QRectF boxBefore_;
  bool boxing_ = false, moved_ = false;
  int drags_ = 0;
};

}  // namespace understudy::editor
