// Where a frame lies on the timeline, shared by ruler, lanes and curves.
#pragma once

#include <QObject>

namespace understudy::editor {

/// Frames (from 0) ↔ pixels. Zoomed about a point; never shows less than 8 frames across.
class FrameScale : public QObject {
  Q_OBJECT
 public:
  explicit FrameScale(QObject* parent = nullptr) : QObject(parent) {}

  [[nodiscard]] int frames() const { return frames_; }
  [[nodiscard]] double x(double frame) const { return margin + (frame - start_) * perFrame(); }
  [[nodiscard]] double frame(double x) const { return start_ + (x - margin) / perFrame(); }
  [[nodiscard]] int nearest(double x) const;
  [[nodiscard]] double perFrame() const { return (width_ - 2 * margin) / shown_; }
  [[nodiscard]] double width() const { return width_; }
  /// Frames between two labelled ticks at least so many pixels apart: 1, 2, 5 × 10ⁿ.
  [[nodiscard]] int labelStep(double pixels = 64) const;
  [[nodiscard]] bool timecode() const { return timecode_; }
  void setTimecode(bool timecode);

  void setFrames(int frames);
  void setWidth(double width);
  void zoom(double factor, double aboutX);
  void scroll(double pixels);
  void showAll();
  /// Scrolls as far as needed to have the frame in sight.
  void reveal(int frame);

  static constexpr double margin = 14;

 Q_SIGNALS:
  void changed();

 private:
  void settle(double start, double shown);
  int frames_ = 0;
  bool timecode_ = false;
  double width_ = 100, start_ = 0, shown_ = 1;
};

}  // namespace understudy::editor
