// Named frames above the timeline's pages: set, named, moved, removed, and gone to. Hidden while there are none.
#pragma once

#include <QWidget>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"
#include "app/editor/timeline/frame_scale.h"

class QLineEdit;

namespace understudy::editor {

class MarkersRow : public QWidget {
  Q_OBJECT
 public:
  MarkersRow(Document& document, Session& session, FrameScale& scale, QWidget* parent = nullptr);

  /// Sets a marker at the current frame, or takes the one there, and asks for its name.
  void markHere();
  void removeHere();
  /// Takes the marker at the current frame along.
  void moveHere(int by);
  /// Goes to the next marker (by > 0) or the one before.
  void step(int by);
  [[nodiscard]] QLineEdit& name() { return *name_; }
  /// Where a marker's flag is: its pole and its name.
  [[nodiscard]] QRectF flagOf(std::uint64_t marker) const;

 Q_SIGNALS:
  void shownChanged();

 protected:
  void paintEvent(QPaintEvent* event) override;
  void mousePressEvent(QMouseEvent* event) override;
  void mouseMoveEvent(QMouseEvent* event) override;
  void mouseReleaseEvent(QMouseEvent* event) override;
  void mouseDoubleClickEvent(QMouseEvent* event) override;
  void keyPressEvent(QKeyEvent* event) override;
  void focusInEvent(QFocusEvent* event) override;
  void focusOutEvent(QFocusEvent* event) override;
  bool event(QEvent* event) override;
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  struct Flag {
    std::uint64_t id = 0;
    int frame = 0;
    QString text;
    QRectF box;       ///< of its name
  };
  [[nodiscard]] std::vector<Flag> flags() const;
  [[nodiscard]] std::uint64_t at(QPointF point) const;
  void ask(std::uint64_t id);
  void answered(bool taken);
  void refresh();

  Document& document_;
  Session& session_;
  FrameScale& scale_;
  QLineEdit* name_;
  std::uint64_t asked_ = 0, held_ = 0;
  int drags_ = 0;
};

}  // namespace understudy::editor
