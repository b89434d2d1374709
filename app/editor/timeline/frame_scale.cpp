#include "app/editor/timeline/frame_scale.h"

#include <algorithm>
#include <cmath>

namespace understudy::editor {

int FrameScale::nearest(double x) const {
  return std::clamp(static_cast<int>(std::lround(frame(x))), 0, std::max(0, frames_ - 1));
}

void FrameScale::setTimecode(bool timecode) {
  if (timecode == timecode_) return;
  timecode_ = timecode;
  Q_EMIT changed();
}

int FrameScale::labelStep(double pixels) const {
  const double wanted = pixels / std::max(1e-6, perFrame());
  int step = 1;
  for (int power = 1; power < 1000000000; power *= 10)
    for (int factor : {1, 2, 5}) {
      step = power * factor;
      if (step >= wanted) return step;
    }
  return step;
}

void FrameScale::settle(double start, double shown) {
  const double all = std::max(1, frames_ - 1);
  shown = std::clamp(shown, std::min(8.0, all), all);
  start = std::clamp(start, 0.0, all - shown);
  if (start == start_ && shown == shown_) return;
  start_ = start;
  shown_ = shown;
  Q_EMIT changed();
}

void FrameScale::setFrames(int frames) {
  if (frames == frames_) return;
  frames_ = frames;
  showAll();
  Q_EMIT changed();
}

void FrameScale::setWidth(double width) {
  width = std::max(4 * margin, width);
  if (width == width_) return;
  width_ = width;
  Q_EMIT changed();
}

void FrameScale::zoom(double factor, double aboutX) {
  const double fixed = frame(aboutX), shown = std::clamp(shown_ * factor, 8.0, std::max(8.0, frames_ - 1.0));
  settle(fixed - (aboutX - margin) / (width_ - 2 * margin) * shown, shown);
}

void FrameScale::scroll(double pixels) { settle(start_ + pixels / perFrame(), shown_); }
void FrameScale::showAll() { settle(0, std::max(1, frames_ - 1)); }

void FrameScale::reveal(int frame) {
  if (frame < start_) settle(frame - shown_ * 0.1, shown_);
  if (frame > start_ + shown_) settle(frame - shown_ * 0.9, shown_);
}

}  // namespace understudy::editor
