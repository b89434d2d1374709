#include <algorithm>

#include "core/repair/layer.h"
#include "core/repair/transform.h"

namespace understudy {
namespace {

/// Where a bone points in the reference pose, in the stage; zero where nothing follows it.
Vec3d directionOf(const RepairContext& context, int joint) {
  const auto at = [&](int j) { return context.body.position[static_cast<std::size_t>(j)]; };
  for (int r = 0; r < roleCount; ++r)
    if (context.joint(roleAt(r)) == joint) {
      const int end = segmentEnd(context.roles(), roleAt(r));
      if (end >= 0) return normalised(at(end) - at(joint));
    }
  const std::vector<int>& parents = context.figure->skeleton.parents;
  const auto child = std::find(parents.begin(), parents.end(), joint);
  return child == parents.end() ? Vec3d{} : normalised(at(static_cast<int>(child - parents.begin())) - at(joint));
}

class Carrier {
 public:
  Carrier(const RepairContext& from, const RepairContext& to, std::string where, Issues& issues)
      : from_(from), to_(to), scale_(from.height > 0 ? to.height / from.height : 1), where_(std::move(where)), issues_(issues) {}

  /// Both joints; {−1, −1}, with a warning, where one of the characters has none. `name` becomes the other character's.
  std::pair<int, int> bone(std::string& name) {
    const Result<int> joint = findBone(from_, name);
    // The name as it stands first, then by the role that the bone fills.
    std::string other = name;
    Result<int> there = findBone(to_, other);
    if (!there && joint) {
      other = boneName(from_, *joint);
      there = findBone(to_, other);
    }
    if (!there) {
      issues_.push_back(makeWarning("The other character has no bone for '" + name + "'; it is left out", where_, "Choose another bone or map one"));
      return {-1, -1};
    }
    name = other;
    return {joint ? *joint : -1, *there};
  }

  /// True where bones are left, or none were named (which means all).
  bool bones(std::vector<std::string>& names) {
    if (names.empty()) return true;
    std::erase_if(names, [&](std::string& name) { return bone(name).second < 0; });
    return !names.empty();
  }

  /// Directions of a bone's rigid frame → the other character's bone.
  [[nodiscard]] Quatd turn(int joint, int there) const {
    if (joint < 0 || there < 0) return {};
    const Vec3d a = directionOf(from_, joint), b = directionOf(to_, there);
    const Quatd swing = a == Vec3d{} || b == Vec3d{} ? Quatd{} : rotationBetween(a, b);
    return conjugate(to_.body.rotation[static_cast<std::size_t>(there)]) * swing * from_.body.rotation[static_cast<std::size_t>(joint)];
  }
  [[nodiscard]] double scale() const { return scale_; }

  bool changes(std::vector<JointNudge>& list, NudgeSpace space) {
    std::vector<JointNudge> kept;
    for (JointNudge part : list) {
      const auto [joint, there] = bone(part.joint);
      if (there < 0) continue;
      Quatd axes;
      if (space == NudgeSpace::bone) axes = turn(joint, there);
      if (space == NudgeSpace::parent && joint >= 0)
        axes = turn(from_.figure->skeleton.parents[static_cast<std::size_t>(joint)], to_.figure->skeleton.parents[static_cast<std::size_t>(there)]);
      part.rotation = rotate(axes, part.rotation);
      part.translation = rotate(axes, part.translation) * scale_;
      kept.push_back(std::move(part));
    }
    list = std::move(kept);
    return !list.empty();
  }

  bool touch(TouchRepair& t) {
    const auto [joint, there] = bone(t.bone);
    if (there < 0) return false;
    const Quatd own = turn(joint, there);
    if (t.prop == 0) t.point = rotate(own, t.point) * scale_;
    t.gap *= scale_;
    if (t.target != TouchTarget::body && t.target != TouchTarget::hand) return true;
    const auto onBone = [&](std::string& on, Vec3d& place, Vec3d& normal) {
      if (on.empty()) return true;
      const auto [from, to] = bone(on);
      const Quatd axes = turn(from, to);
      place = rotate(axes, place) * scale_;
      normal = rotate(axes, normal);
      return to >= 0;
    };
    if (!onBone(t.on, t.place, t.normal)) return false;
    std::erase_if(t.path, [&](TouchMark& mark) {
      mark.point = rotate(own, mark.point) * scale_;
      return !onBone(mark.on, mark.place, mark.normal);
    });
    return true;
  }

 private:
  const RepairContext& from_;
  const RepairContext& to_;
  double scale_ = 1;
  std::string where_;
  Issues& issues_;
};

Issue nothingLeft(const std::string& where) {
  return makeError(Fault::mapping, "The other character has none of the bones it needs", where, "Map them, or make the repair again there");
}

}  // namespace

Result<Repair> carriedOver(const Repair& repair, const RepairContext& from, const RepairContext& to, Issues& issues) {
  Repair out = repair;
  Carrier carrier(from, to, describe(repair), issues);
  const bool left = std::visit(
      [&](auto& r) {
        using Kind = std::decay_t<decltype(r)>;
        if constexpr (requires { r.anchored; }) r.anchored = false;
        if constexpr (std::is_same_v<Kind, OffsetRepair>) {
          return carrier.changes(r.bones, r.space);
        } else if constexpr (requires { r.limbs; }) {
          return carrier.bones(r.limbs);
        } else if constexpr (std::is_same_v<Kind, TouchRepair>) {
          return carrier.touch(r);
        } else if constexpr (std::is_same_v<Kind, PlantRepair>) {
          r.lift = 0;
          return true;
        } else if constexpr (std::is_same_v<Kind, GripRepair>) {
          r.slide *= carrier.scale();
          return to.joint(Role::leftHand) >= 0 && to.joint(Role::rightHand) >= 0;
        } else if constexpr (requires { r.bones; }) {
          return carrier.bones(r.bones);
        } else {
          return true;
        }
      },
      out.action);
  if (!left) return nothingLeft(describe(repair));
  return out;
}

Result<Nudge> carriedOver(const Nudge& nudge, const RepairContext& from, const RepairContext& to, Issues& issues) {
  Nudge out = nudge;
  const std::string where = nudge.name.empty() ? "nudge " + std::to_string(nudge.id) : "nudge '" + nudge.name + "'";
  if (!Carrier(from, to, where, issues).changes(out.joints, out.space)) return nothingLeft(where);
  std::vector<JointNudge> slopes = slopeParts(nudge.slopes);
  Issues told;  // what stands against the slopes stands against the turns, and was said
  static_cast<void>(Carrier(from, to, where, told).changes(slopes, out.space));
  out.slopes = slopesOf(slopes);
  return out;
}

}  // namespace understudy
