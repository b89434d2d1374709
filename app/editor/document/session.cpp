#include "app/editor/document/session.h"

#include <algorithm>
#include <cmath>

namespace understudy::editor {

Session::Session(QObject* parent) : QObject(parent) {
  timer_.setTimerType(Qt::PreciseTimer);
  timer_.setInterval(8);
  connect(&timer_, &QTimer::timeout, this, &Session::tick);
}

void Session::setFrame(int frame) {
  frame = std::clamp(frame, 0, std::max(0, frames_ - 1));
  if (frame == frame_) return;
  frame_ = frame;
  if (playing()) {
    playedFrom_ = frame;
    clock_.restart();
  }
  Q_EMIT frameChanged(frame_);
}

void Session::step(int by) {
  setPlaying(false);
  setFrame(frame_ + by);
}

void Session::setTime(int frames, double hertz) {
  if (frames == frames_ && hertz == hertz_) return;
  const bool newLength = frames != frames_;
  frames_ = frames;
  hertz_ = hertz > 0 ? hertz : 30;
  if (newLength) {
    rangeFirst_ = 0;
    rangeLast_ = std::max(0, frames - 1);
  }
  if (frames_ <= 1) setPlaying(false);
  const int kept = std::clamp(frame_, 0, std::max(0, frames_ - 1));
  const bool moved = kept != frame_;
  frame_ = kept;
  Q_EMIT timeChanged();
  if (moved) Q_EMIT frameChanged(frame_);
}

void Session::setRange(int first, int last) {
  const int end = std::max(0, frames_ - 1);
  first = std::clamp(first, 0, end);
  last = std::clamp(last, first, end);
  if (first == rangeFirst_ && last == rangeLast_) return;
  rangeFirst_ = first;
  rangeLast_ = last;
  Q_EMIT timeChanged();
}

void Session::setPlaying(bool playing) {
  if (playing == this->playing() || (playing && frames_ <= 1)) return;
  if (playing) {
    if (frame_ < rangeFirst_ || frame_ >= rangeLast_) setFrame(rangeFirst_);
    playedFrom_ = frame_;
    clock_.start();
    timer_.start();
  } else {
    timer_.stop();
  }
  Q_EMIT playbackChanged();
}

void Session::setLooping(bool loop) {
  if (loop == loop_) return;
  loop_ = loop;
  Q_EMIT playbackChanged();
}

void Session::setSpeed(double speed) {
  speed = std::clamp(speed, 0.05, 8.0);
  if (speed == speed_) return;
  speed_ = speed;
  playedFrom_ = frame_;
  if (playing()) clock_.restart();
  Q_EMIT playbackChanged();
}

void Session::tick() {
  // The frame follows the clock, not the number of pictures drawn: a slow machine drops frames and keeps time.
  const auto passed = static_cast<int>(std::floor(static_cast<double>(clock_.elapsed()) * 1e-3 * hertz_ * speed_));
  int next = playedFrom_ + passed;
  if (next > rangeLast_) {
    if (!loop_) {
      setFrame(rangeLast_);
      setPlaying(false);
      return;
    }
    next = rangeFirst_;
    playedFrom_ = next;
    clock_.restart();
  }
  if (next == frame_) return;
  frame_ = next;
  Q_EMIT frameChanged(frame_);
}

void Session::select(std::optional<Bone> bone) {
  if (bone == selected_ && others_.empty()) return;
  selected_ = bone;
  others_.clear();
  Q_EMIT selectionChanged();
}

std::vector<Bone> Session::selection() const {
  std::vector<Bone> all;
  if (selected_) all.push_back(*selected_);
  all.insert(all.end(), others_.begin(), others_.end());
  return all;
}

void Session::selectAll(const std::vector<Bone>& bones) {
  if (bones == selection()) return;
  selected_ = bones.empty() ? std::nullopt : std::optional(bones.front());
  others_.clear();
  for (std::size_t i = 1; i < bones.size(); ++i)
    if (bones[i].cast == selected_->cast) others_.push_back(bones[i]);
  Q_EMIT selectionChanged();
}

void Session::toggle(Bone bone) {
  std::vector<Bone> all = selection();
  if (const auto at = std::find(all.begin(), all.end(), bone); at != all.end()) all.erase(at);
  else if (selected_ && selected_->cast == bone.cast) all.push_back(bone);
  else all = {bone};
  selectAll(all);
}

void Session::setRole(std::optional<Role> role) {
  if (role == role_) return;
  role_ = role;
  Q_EMIT selectionChanged();
}

void Session::selectRole(std::optional<Role> role, std::optional<Bone> bone) {
  if (role == role_ && bone == selected_) return;
  role_ = role;
  selected_ = bone;
  others_.clear();
  Q_EMIT selectionChanged();
}

void Session::setHovered(std::optional<Bone> bone) {
  if (bone == hovered_) return;
  hovered_ = bone;
  Q_EMIT hoverChanged();
}

void Session::setRepair(std::uint64_t id) {
  if (id == repair_) return;
  repair_ = id;
  Q_EMIT repairChanged();
}

void Session::setLayout(StageLayout layout) {
  if (layout == layout_) return;
  layout_ = layout;
  Q_EMIT stageChanged();
}

void Session::setBare(bool bare) {
  if (bare == bare_) return;
  bare_ = bare;
  Q_EMIT stageChanged();
}

void Session::setPicking(bool picking) {
  if (picking == picking_) return;
  picking_ = picking;
  Q_EMIT pickingChanged(picking);
}

}  // namespace understudy::editor
