// The head against the arms in one pose: how far neck and head have to turn away.
#pragma once

#include <array>
#include <memory>
#include <optional>
#include <vector>

#include "core/body/body_model.h"
#include "core/repair/poser.h"

namespace understudy {

/// Turns a head away from forearms and hands that lie in it. A turn is a rotation vector, radians, in the frame of what the neck hangs on (that of
/// the reference pose, carried along); neck and head take equal parts of it. Not for several threads at once.
class HeadTurner {
 public:
  HeadTurner(const RepairContext& context, std::shared_ptr<const BodyModel> model, std::array<bool, 2> arms);
  /// False where the character has no head of skin that can turn without its arms.
  [[nodiscard]] bool able() const { return able_; }

  /// Reads a frame. `follows`: how much each hand (left, right), 0 … 1, goes along with the head, on which it lies.
  void load(const TiledMotion& motion, int frame, const std::array<double, 2>& follows);
  /// How far it is the head, 0 … 1, that a hand (0 left, 1 right) lies on in the loaded frame, and no other part of the body.
  [[nodiscard]] double onHead(int side);
  /// How deep the deepest point lies in the head after a turn, beyond what its rest contact allows, metres; 0 where none does. What goes along
  /// with the head does not count.
  [[nodiscard]] double depth(const Vec3d& turn);
  /// The turn nearest to `start`, `limit` radians at most, that takes the head off the arms, or as far off as it gets.
  [[nodiscard]] Vec3d cleared(const Vec3d& start, double limit);
  /// Turns the head of a pose, and brings the hands along that go with it; `poser` is at the loaded frame.
  void write(Poser& poser, const Vec3d& turn) const;

 private:
  struct Point {
    int side = 0;
    bool hand = false;
    double allowed = 0;
    Vec3d reference;
    std::size_t first = 0, count = 0;  // influences
  };
  /// Points of one part of an arm that lie near each other: what several joints carry lies in the hull of what each would make of it alone.
  struct Group {
    std::size_t first = 0, count = 0;
    Vec3d middle;           // of a ball around them, reference pose
    double radius = 0;
    double unshared = 0;    // by how much the joints' shares come to more or less than the whole, at most
    std::vector<int> joints;
  };
  void addGroup(std::size_t first);
  /// Whether the loaded joints leave all of a group farther from the head than that.
  [[nodiscard]] bool clearOf(const PosedSolid& head, const Group& group, double near);
  struct Row {
    double need = 0;  // metres the point has to come out
    Vec3d slope;      // metres a radian of the turn
  };
  /// Poses the character after a turn and lists the points within `near` metres of the head; the deepest one's depth.
  double measure(const Vec3d& turn, double near, std::vector<Row>* rows);
  [[nodiscard]] Vec3d placeOf(const Point& point) const;

  const RepairContext& context_;
  std::shared_ptr<const BodyModel> model_;
  const BodySolid* head_ = nullptr;
  bool able_ = false;
  std::vector<int> chain_;  // neck to head, as far as no arm hangs on it
  std::vector<int> free_;   // of these, what no lock holds in the loaded frame
  std::vector<Point> points_;
  std::vector<Group> groups_;
  std::vector<Vec3d> middles_;
  std::vector<int> influenceJoint_, armJoints_;
  std::vector<double> influenceWeight_;
  std::array<double, 2> reach_{};  // metres from the elbow to the farthest point of forearm and hand, with room
  std::array<double, 2> follows_{};
  Poser base_;
  std::optional<Poser> now_;
  Quatd frame_;
  std::vector<Affined> turned_;
  std::vector<Row> rows_;
};

}  // namespace understudy
