// What the editor shows but a take does not hold: frame, playback, selection, the way the stage is looked at.
#pragma once

#include <QElapsedTimer>
#include <QObject>
#include <QTimer>
#include <cstdint>
#include <optional>
#include <vector>

#include "core/mapping/roles.h"

namespace understudy::editor {

/// The two figures of a take.
enum class Cast { performer, character };

/// One joint of one of the figures.
struct Bone {
  Cast cast = Cast::character;
  int joint = -1;
  friend bool operator==(const Bone&, const Bone&) = default;
};

/// `beforeAfter`: the character without repairs beside itself with them. `twoTakes`: another take of the reel beside the current one.
/// `references`: performer over character, both in their reference poses.
enum class StageLayout { sideBySide, overlaid, performerAlone, characterAlone, beforeAfter, twoTakes, references };

/// State of the view. Frames are counted from 0 here; widgets show them from the take's first frame number.
class Session : public QObject {
  Q_OBJECT
 public:
  explicit Session(QObject* parent = nullptr);

  [[nodiscard]] int frame() const { return frame_; }
  [[nodiscard]] int frames() const { return frames_; }
  [[nodiscard]] bool playing() const { return timer_.isActive(); }
  [[nodiscard]] bool looping() const { return loop_; }
  [[nodiscard]] double speed() const { return speed_; }
  [[nodiscard]] double rate() const { return hertz_; }
  /// First and last frame of the play range, inclusive.
  [[nodiscard]] int rangeFirst() const { return rangeFirst_; }
  [[nodiscard]] int rangeLast() const { return rangeLast_; }

  [[nodiscard]] std::optional<Bone> selected() const { return selected_; }
  /// All selected bones: the one of selected() first, then others of the same figure.
  [[nodiscard]] std::vector<Bone> selection() const;
  [[nodiscard]] std::optional<Role> role() const { return role_; }
  [[nodiscard]] std::optional<Bone> hovered() const { return hovered_; }
  /// Number of the selected repair or nudge, 0 for none.
  [[nodiscard]] std::uint64_t repair() const { return repair_; }
  [[nodiscard]] StageLayout layout() const { return layout_; }
  [[nodiscard]] bool bare() const { return bare_; }
  /// Set while a click in the stage fills the map's active row instead of selecting.
  [[nodiscard]] bool picking() const { return picking_; }

 public Q_SLOTS:
  void setFrame(int frame);
  void step(int by);
  /// Length and rate of what is shown; keeps the frame where it can. Resets the range when the length changes.
  void setTime(int frames, double hertz);
  void setRange(int first, int last);
  void setPlaying(bool playing);
  void setLooping(bool loop);
  void setSpeed(double speed);
  void select(std::optional<understudy::editor::Bone> bone);
  /// Several bones of one figure, the first one foremost; nothing selects none.
  void selectAll(const std::vector<understudy::editor::Bone>& bones);
  /// Takes a bone to the selected ones, or out of them.
  void toggle(understudy::editor::Bone bone);
  void setRole(std::optional<understudy::Role> role);
  /// Both at once: a row of the map and its bone.
  void selectRole(std::optional<understudy::Role> role, std::optional<understudy::editor::Bone> bone);
  void setHovered(std::optional<understudy::editor::Bone> bone);
  void setRepair(std::uint64_t id);
  void setLayout(understudy::editor::StageLayout layout);
  void setBare(bool bare);
  void setPicking(bool picking);

 Q_SIGNALS:
  void frameChanged(int frame);
  void timeChanged();
  void playbackChanged();
  void selectionChanged();
  void hoverChanged();
  void repairChanged();
  void stageChanged();
  void pickingChanged(bool picking);

 private:
  void tick();

  int frame_ = 0, frames_ = 0, rangeFirst_ = 0, rangeLast_ = 0, playedFrom_ = 0;
  std::uint64_t repair_ = 0;
  double hertz_ = 30, speed_ = 1;
  bool loop_ = true, bare_ = false, picking_ = false;
  std::optional<Bone> selected_, hovered_;
  std::vector<Bone> others_;
  std::optional<Role> role_;
  StageLayout layout_ = StageLayout::sideBySide;
  QTimer timer_;
  QElapsedTimer clock_;
};

}  // namespace understudy::editor
