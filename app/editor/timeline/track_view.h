// What ruler, lanes and curves have in common: the frame under the mouse, scrubbing, zooming, the playhead.
#pragma once

#include <QWidget>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"
#include "app/editor/timeline/frame_scale.h"

namespace understudy::editor {

class TrackView : public QWidget {
  Q_OBJECT
 public:
  TrackView(Document& document, Session& session, FrameScale& scale, QWidget* parent = nullptr);

  static constexpr int rulerHeight = 26;

 protected:
  /// Ruler with numbers, the play range, and the frames' ground. Leaves the painter ready for lanes below.
  void paintRuler(QPainter& painter) const;
  void paintPlayhead(QPainter& painter) const;
  /// A frame's number as the ruler writes it.
  [[nodiscard]] QString label(int number) const;
  /// The number shown for a frame counted from 0.
  [[nodiscard]] int shown(int frame) const;

  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void wheelEvent(QWheelEvent* event) override;
  void resizeEvent(QResizeEvent* event) override;
  void showEvent(QShowEvent* event) override;
  void focusInEvent(QFocusEvent* event) override;
  void focusOutEvent(QFocusEvent* event) override;

  Document& document_;
  Session& session_;
  FrameScale& scale_;
  bool scrubbing_ = false, scrolling_ = false, ranging_ = false;
  int rangeFrom_ = 0;
  QPointF last_;
};

}  // namespace understudy::editor
