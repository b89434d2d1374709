#include "core/repair/plant.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "core/body/soles.h"
#include "core/math/two_bone.h"
#include "core/retarget/posed_body.h"

namespace understudy {
namespace {

constexpr Vec3d up{0, 1, 0};
constexpr double steepest = 75 * std::numbers::pi / 180;

/// Blend kernel of Kovar, Schreiner and Gleicher 2002: 1 at t = 0, 0 at t = 1, level at both.
double kernel(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return (2 * t - 3) * t * t + 1;
}

struct Point2 {
  double z, y;  // forward, up
};

Point2 turned(const Point2& p, double toeUp) {
  const double c = std::cos(toeUp), s = std::sin(toeUp);
  return {p.z * c - p.y * s, p.z * s + p.y * c};
}

/// Position of the origin after the profile has rolled on the ground (y = 0) from level to `toeUp` without slipping;
/// the origin starts at z = 0.
Point2 rolled(std::vector<Point2> profile, double toeUp) {
  if (profile.empty()) return {0, 0};
  const double mirror = toeUp < 0 ? -1 : 1;
  for (Point2& p : profile) p.z *= mirror;
  const double angle = std::abs(toeUp);
  // Toe up: the rearmost of the lowest points is the first pivot.
  std::size_t pivot = 0;
  for (std::size_t i = 1; i < profile.size(); ++i) {
    const double dy = profile[i].y - profile[pivot].y;
    if (dy < 0 || (dy == 0 && profile[i].z < profile[pivot].z)) pivot = i;
  }
  double at = profile[pivot].z;
  for (;;) {
    std::size_t next = pivot;
    double first = angle;
    for (std::size_t j = 0; j < profile.size(); ++j) {
      const double back = profile[pivot].z - profile[j].z;
      if (back <= 1e-12) continue;
      const double meets = std::atan2(profile[j].y - profile[pivot].y, back);
      if (meets < first || (meets == first && next != pivot && profile[j].z < profile[next].z)) {
        first = meets;
        next = j;
      }
    }
    if (next == pivot) break;
    // Both points are down at this angle, so the next pivot takes its place from the one before.
    at += turned(profile[next], first).z - turned(profile[pivot], first).z;
    pivot = next;
  }
  const Point2 p = turned(profile[pivot], angle);
  return {(at - p.z) * mirror, -p.y};
}

/// What is constant about one leg and its sole. Directions of the levelled reference pose: the foot as it stands flat.
struct Leg {
  int thigh = -1, shank = -1, foot = -1, toe = -1;
  bool detached = false, offPelvis = false;
  Quatd level;                  // world rotation of the foot's joint, standing flat
  Vec3d forward, toeUpAxis;
  Quatd toeLocal;               // of the toe in the foot's frame, standing flat
  Vec3d toeOffset;              // toe's joint in the foot's frame, metres
  std::vector<Vec3d> footPoints, toePoints;  // in their joint's frame, metres
  std::vector<Point2> profile;  // all points, forward and up of the foot's joint, standing flat
  double height = 0;            // of the foot's joint, standing flat
  bool bends = false;           // a toe joint whose toe carries weight
  Vec3d ball;                   // foremost point the flat foot stands on, in the foot's frame
  Point2 toe2{};                // toe's joint, forward and up of the foot's

  [[nodiscard]] Quatd orientation(double yaw, double toeUp) const {
    return fromAxisAngle(up, yaw) * fromAxisAngle(toeUpAxis, toeUp) * level;
  }
  [[nodiscard]] Vec3d heading(double yaw) const { return rotate(fromAxisAngle(up, yaw), forward); }
  /// Foot's joint relative to its anchor.
  [[nodiscard]] Vec3d roll(double yaw, double toeUp) const {
    Point2 p;
    if (bends && toeUp < 0) {
      const Point2 t = turned(toe2, toeUp);
      p = {toe2.z - t.z, toe2.y - t.y};
    } else {
      p = rolled(profile, toeUp);
      p.y -= height;
    }
    return heading(yaw) * p.z + up * p.y;
  }
  [[nodiscard]] double lowest(const Quatd& footTurn, const Vec3d& footAt, const Quatd& toeTurn) const {
    double low = 1e300;
    for (const Vec3d& p : footPoints) low = std::min(low, (footAt + rotate(footTurn, p)).y);
    const Vec3d toeAt = footAt + rotate(footTurn, toeOffset);
    for (const Vec3d& p : toePoints) low = std::min(low, (toeAt + rotate(toeTurn, p)).y);
    return low;
  }
};

/// Normal of the widest facet the points can stand on, among those that lean less than 35°.
Vec3d standingNormal(const std::vector<Vec3d>& points) {
  double low = 1e300, span = 0;
  for (const Vec3d& p : points) {
    low = std::min(low, p.y);
    span = std::max(span, distance(p, points.front()));
  }
  const double leastArea = 0.01 * span * span, slack = 1e-4 * span;
  Vec3d best = up;
  double widest = leastArea;
  for (std::size_t a = 0; a < points.size(); ++a)
    for (std::size_t b = a + 1; b < points.size(); ++b)
      for (std::size_t c = b + 1; c < points.size(); ++c) {
        Vec3d n = cross(points[b] - points[a], points[c] - points[a]);
        const double size = length(n);
        if (size <= widest * (1 + 1e-9)) continue;
        n = n / size;
        if (n.y < 0) n = -n;
        if (n.y < std::cos(35 * std::numbers::pi / 180)) continue;
        bool supports = true;
        for (const Vec3d& p : points) supports = supports && dot(p - points[a], n) > -slack;
        if (!supports) continue;
        widest = size;
        best = n;
      }
  return best;
}

Leg makeLeg(const PosedBody& body, const SkeletonMap& map, int side, const Sole& sole) {
  const Role r[] = {side == 0 ? Role::leftUpperLeg : Role::rightUpperLeg, side == 0 ? Role::leftLowerLeg : Role::rightLowerLeg,
                    side == 0 ? Role::leftFoot : Role::rightFoot, side == 0 ? Role::leftToes : Role::rightToes};
  const Skeleton& skeleton = body.figure->skeleton;
  Leg leg;
  leg.thigh = map.joint(r[0]);
  leg.shank = map.joint(r[1]);
  leg.foot = map.joint(r[2]);
  leg.toe = map.joint(r[3]);
  if (leg.thigh < 0 || leg.shank < 0 || leg.foot < 0) return leg;
  if (leg.toe >= 0 && !isAncestor(skeleton, leg.foot, leg.toe)) leg.toe = -1;
  leg.detached = !isAncestor(skeleton, leg.shank, leg.foot);
  leg.offPelvis = !isAncestor(skeleton, map.joint(Role::hips), leg.thigh);

  const Vec3d at = body.position[leg.foot];
  const Affined toWorld = worldFromFile(*body.figure, body.pose);
  std::vector<Vec3d> relative;
  std::vector<char> onToe;
  for (const JointPoint& p : sole.points) {
    relative.push_back(apply(toWorld, apply(body.pose.fileWorld[p.joint], p.local)) - at);
    onToe.push_back(leg.toe >= 0 && (p.joint == leg.toe || isAncestor(skeleton, leg.toe, p.joint)));
  }
  const Quatd levelling = sole.fromSkin && !relative.empty() ? rotationBetween(standingNormal(relative), up) : Quatd{};
  for (Vec3d& p : relative) p = rotate(levelling, p);
  leg.level = levelling * body.rotation[leg.foot];
  const Quatd back = conjugate(leg.level);
  if (leg.toe >= 0) {
    leg.toeLocal = conjugate(body.rotation[leg.foot]) * body.rotation[leg.toe];
    leg.toeOffset = rotate(conjugate(body.rotation[leg.foot]), body.position[leg.toe] - at);
  }
  Vec3d forward = leg.toe >= 0 ? rotate(leg.level, leg.toeOffset) : Vec3d{0, 0, 1};
  forward.y = 0;
  if (leg.toe >= 0 && length(forward) < 0.3 * length(leg.toeOffset)) forward = {0, 0, 1};
  leg.forward = normalised(forward, Vec3d{0, 0, 1});
  leg.toeUpAxis = cross(leg.forward, up);
  double low = relative.empty() ? 0 : 1e300;
  for (const Vec3d& p : relative) low = std::min(low, p.y);
  leg.height = -low;
  double front = -1e300;
  const double near = 1e-3 * body.pose.height;
  for (std::size_t i = 0; i < relative.size(); ++i) {
    const Vec3d& p = relative[i];
    // Points that bear the flat foot together are level to rounding; taking them as level keeps pivots at its ends.
    leg.profile.push_back({dot(p, leg.forward), p.y - low < near ? low : p.y});
    const bool bears = p.y - low < near;
    if (bears && !onToe[i] && leg.profile.back().z > front) {
      front = leg.profile.back().z;
      leg.ball = rotate(back, p);
    }
    if (onToe[i]) {
      leg.toePoints.push_back(rotate(conjugate(leg.toeLocal), rotate(back, p) - leg.toeOffset));
      leg.bends = leg.bends || p.y - low < 2 * near;
    } else {
      leg.footPoints.push_back(rotate(back, p));
    }
  }
  if (leg.toe >= 0) {
    const Vec3d t = rotate(leg.level, leg.toeOffset);
    leg.toe2 = {dot(t, leg.forward), t.y};
  }
  if (leg.bends) leg.ball = leg.toeOffset;
  return leg;
}

/// The character's own way, as far as the feet need it.
struct Course {
  std::vector<Vec3d> hip, knee, ankle;
  std::vector<Quatd> foot, toe;      // world
  std::vector<double> yaw, toeUp;    // of the foot against its flat stance; yaw unrolled by nothing, (−π, π]
};

/// Where a foot is to be.
struct Goal {
  bool active = false, planted = false;
  Vec3d at;
  Quatd foot, toe;  // world
  bool rolls = false;  // on the ball: may roll on where the leg is too short
  double pitch = 0, yaw = 0;
  double firm = 0;     // before and after plants: 1 at their edges, 0 where the ease ends
  Vec3d base;          // where the foot's joint stands when flat, slip of the release included
};

class Planter {
 public:
  Planter(const Figure& character, const SkeletonMap& map, const Motion& motion, const PlantSettings& settings)
      : figure_(character), map_(map), settings_(settings), motion_(motion) {}

  Result<Planted> run(const std::vector<Plant>& plants, const RunControl& control) {
    if (const Status good = check(plants); !good) return good.error();
    Planted out;
    out.motion = motion_;
    out.plants = plants;
    out.pelvisDrop.assign(static_cast<std::size_t>(motion_.frames), 0);
    for (auto& r : out.residual) r.assign(static_cast<std::size_t>(motion_.frames), 0);
    if (plants.empty()) return out;
    if (const Status ready = prepare(out.issues); !ready) return ready.error();
    if (legs_[0].detached || legs_[1].detached || legs_[0].offPelvis || legs_[1].offPelvis) addTracks(out.motion);
    addTrack(out.motion, map_.joint(Role::hips));
    if (const Status read = readCourse(out.motion, control); !read) return read.error();
    for (int side = 0; side < 2; ++side) {
      goals_[side].assign(static_cast<std::size_t>(motion_.frames), {});
      plan(side, out.plants);
    }
    dropPelvis(out);
    for (int side = 0; side < 2; ++side) {
      rollOn(side, out.pelvisDrop);
      ease(side, inOrder(side, out.plants));
    }
    for (int f = 0; f < motion_.frames; ++f) {
      if (control.stopped()) return RunControl::cancelled();
      solve(f, out);
    }
    tell(out);
    return out;
  }

  Result<Motion> stand(const std::vector<Plant>& plants, const RunControl& control) {
    if (const Status good = check(plants); !good) return good.error();
    Motion out = motion_;
    if (plants.empty()) return out;
    Issues ignored;
    if (const Status ready = prepare(ignored); !ready) return ready.error();
    addTrack(out, map_.joint(Role::hips));
    if (const Status read = readCourse(out, control); !read) return read.error();
    std::vector<double> heights;
    for (int pass = 0; pass < 2 && heights.empty(); ++pass)
      for (const Plant& plant : plants)
        for (int f = plant.first; f <= plant.last; ++f) {
          const std::size_t k = static_cast<std::size_t>(f);
          const Course& c = courses_[plant.side];
          if (pass == 1 || phaseAt(plant, f) == PlantPhase::flat) heights.push_back(legs_[plant.side].lowest(c.foot[k], c.ankle[k], c.toe[k]) - plant.ground);
        }
    const auto middle = heights.begin() + static_cast<std::ptrdiff_t>(heights.size() / 2);
    std::nth_element(heights.begin(), middle, heights.end());
    // Tracks below another track are carried along.
    std::vector<int> tops;
    for (const int j : out.movedJoints)
      if (std::none_of(out.movedJoints.begin(), out.movedJoints.end(), [&](int k) { return k != j && isAncestor(figure_.skeleton, k, j); })) tops.push_back(j);
    for (int f = 0; f < out.frames; ++f) {
      Pose pose = poseOf(out, f);
      for (const int j : tops) {
        shift(pose, j, up * -*middle);
        const auto place = std::lower_bound(out.movedJoints.begin(), out.movedJoints.end(), j);
        out.translationsAt(f)[static_cast<std::size_t>(place - out.movedJoints.begin())] = Vec3f(pose.translation[j]);
      }
    }
    return out;
  }

 private:
  Status prepare(Issues& issues) {
    Result<PosedBody> body = posedBody(figure_, map_, nullptr, {});
    if (!body) return body.error();
    body_ = std::move(*body);
    const Vec3d upFile = rotate(conjugate(figure_.space.worldFromFile), up);
    const std::array<Sole, 2> soles = findSoles(figure_, map_, body_.pose.fileWorld, upFile);
    for (int side = 0; side < 2; ++side) {
      const std::string name = side == 0 ? "left" : "right";
      legs_[side] = makeLeg(body_, map_, side, soles[side]);
      if (legs_[side].foot < 0 || legs_[side].thigh < 0 || legs_[side].shank < 0)
        return makeError(Fault::mapping, "The " + name + " leg is not complete in the bone map", {}, "Map thigh, shank and foot");
      if (!soles[side].fromSkin) issues.push_back(makeWarning("The " + name + " foot has no skin; its joints stand for the sole"));
    }
    return Done{};
  }

  [[nodiscard]] Status check(const std::vector<Plant>& plants) const {
    const auto wrong = [](std::string what, std::string todo) { return makeError(Fault::usage, std::move(what), {}, std::move(todo)); };
    if (motion_.joints != figure_.skeleton.size())
      return makeError(Fault::usage, "The motion has " + std::to_string(motion_.joints) + " joints, the character " + std::to_string(figure_.skeleton.size()));
    if (map_.joint(Role::hips) < 0) return makeError(Fault::mapping, "The hips are not in the bone map", {}, "Map them");
    for (const Quatf& q : motion_.rotations)
      if (!isFinite(q)) return makeError(Fault::input, "The motion has rotations that are not finite");
    for (const Vec3f& t : motion_.translations)
      if (!isFinite(t)) return makeError(Fault::input, "The motion has translations that are not finite");
    for (const double v : {settings_.ease, settings_.straightest, settings_.pelvisLimit, settings_.release})
      if (!std::isfinite(v) || v < 0) return wrong("A setting of the plants is negative or not finite", "Use 0 or more");
    if (settings_.straightest > 1 || settings_.release > 1) return wrong("The straightest leg and the release are parts of 1", "Use 0 … 1");
    for (std::size_t i = 0; i < plants.size(); ++i) {
      const Plant& p = plants[i];
      const std::string name = "Plant " + std::to_string(i + 1);
      if (p.side != 0 && p.side != 1) return wrong(name + " names neither foot", "Use 0 for left, 1 for right");
      if (p.first < 0 || p.last < p.first || p.last >= motion_.frames)
        return wrong(name + " covers frames " + std::to_string(p.first + 1) + " to " + std::to_string(p.last + 1) + "; the motion has " +
                         std::to_string(motion_.frames),
                     "Move its edges inside");
      if (!p.phases.empty() && static_cast<int>(p.phases.size()) != p.last - p.first + 1)
        return wrong(name + " has " + std::to_string(p.phases.size()) + " phases for " + std::to_string(p.last - p.first + 1) + " frames", "Give one a frame");
      if (!std::isfinite(p.ground) || (p.anchor && (!isFinite(p.anchor->foot) || !std::isfinite(p.anchor->yaw))))
        return wrong(name + " stands at a place that is not finite", "Make it again");
      for (std::size_t k = 0; k < i; ++k)
        if (plants[k].side == p.side && plants[k].first <= p.last && p.first <= plants[k].last)
          return wrong(name + " overlaps plant " + std::to_string(k + 1) + " of the same foot", "Shorten one of them");
    }
    return Done{};
  }

  void addTrack(Motion& motion, int joint) const {
    const auto place = std::lower_bound(motion.movedJoints.begin(), motion.movedJoints.end(), joint);
    if (place != motion.movedJoints.end() && *place == joint) return;
    const std::size_t k = static_cast<std::size_t>(place - motion.movedJoints.begin()), old = motion.movedJoints.size();
    std::vector<Vec3f> wider;
    wider.reserve(static_cast<std::size_t>(motion.frames) * (old + 1));
    for (std::size_t f = 0; f < static_cast<std::size_t>(motion.frames); ++f)
      for (std::size_t i = 0; i <= old; ++i)
        wider.push_back(i == k ? Vec3f(figure_.skeleton.rest[joint].translation) : motion.translations[f * old + (i < k ? i : i - 1)]);
    motion.movedJoints.insert(place, joint);
    motion.translations = std::move(wider);
  }

  void addTracks(Motion& motion) const {
    for (const Leg& leg : legs_) {
      if (leg.detached) addTrack(motion, leg.foot);
      if (leg.offPelvis) addTrack(motion, leg.thigh);
    }
  }

  struct Pose {
    std::vector<Quatd> local, rotation;
    std::vector<Vec3d> translation, position;
  };

  void world(Pose& pose) const { worldOf(body_.rig, pose.local, pose.translation, pose.rotation, pose.position); }

  [[nodiscard]] Pose poseOf(const Motion& motion, int frame) const {
    Pose pose;
    const auto rotations = motion.rotationsAt(frame);
    for (const Quatf& q : rotations) pose.local.push_back(normalised(Quatd(q)));
    pose.translation = body_.rig.translation;
    const auto moved = motion.translationsAt(frame);
    for (std::size_t k = 0; k < moved.size(); ++k) pose.translation[motion.movedJoints[k]] = Vec3d(moved[k]);
    pose.rotation.resize(pose.local.size());
    pose.position.resize(pose.local.size());
    world(pose);
    return pose;
  }

  [[nodiscard]] Quatd above(const Pose& pose, int joint) const {
    const int parent = body_.rig.parents[joint];
    return parent < 0 ? body_.rig.base : pose.rotation[parent];
  }

  void turnTo(Pose& pose, int joint, const Quatd& turn) const {
    pose.local[joint] = conjugate(above(pose, joint)) * turn;
    if (body_.rig.hasPost[joint]) pose.local[joint] = pose.local[joint] * conjugate(body_.rig.post[joint]);
    pose.local[joint] = normalised(pose.local[joint]);
  }

  void shift(Pose& pose, int joint, const Vec3d& by) const {
    pose.translation[joint] += inverse(body_.rig.stretch[joint]) * rotate(conjugate(above(pose, joint)), by);
  }

  Status readCourse(const Motion& motion, const RunControl& control) {
    for (int f = 0; f < motion.frames; ++f) {
      if (control.stopped()) return RunControl::cancelled();
      const Pose pose = poseOf(motion, f);
      for (int side = 0; side < 2; ++side) {
        Leg& leg = legs_[side];
        Course& c = courses_[side];
        // The motion's own translation of the toe holds where it differs from the reference pose.
        if (f == 0 && leg.toe >= 0) leg.toeOffset = rotate(conjugate(pose.rotation[leg.foot]), pose.position[leg.toe] - pose.position[leg.foot]);
        c.hip.push_back(pose.position[leg.thigh]);
        c.knee.push_back(pose.position[leg.shank]);
        c.ankle.push_back(pose.position[leg.foot]);
        if (distance(c.hip.back(), c.knee.back()) < 1e-6 || distance(c.knee.back(), c.ankle.back()) < 1e-6)
          return makeError(Fault::input, std::string("The ") + (side == 0 ? "left" : "right") + " leg has a bone without length", "frame " + std::to_string(f + 1),
                           "Check the bone map");
        c.foot.push_back(pose.rotation[leg.foot]);
        c.toe.push_back(leg.toe >= 0 ? pose.rotation[leg.toe] : Quatd{});
        const Vec3d way = rotate(c.foot.back() * conjugate(leg.level), leg.forward);
        c.yaw.push_back(std::atan2(dot(cross(leg.forward, way), up), dot(leg.forward, way)));
        c.toeUp.push_back(std::asin(std::clamp(way.y, -1.0, 1.0)));
      }
    }
    return Done{};
  }

  static PlantPhase phaseAt(const Plant& plant, int frame) {
    return plant.phases.empty() ? PlantPhase::flat : plant.phases[static_cast<std::size_t>(frame - plant.first)];
  }
  static int signOf(PlantPhase p) { return p == PlantPhase::flat ? 0 : p == PlantPhase::heel ? 1 : -1; }

  /// Pitch of every frame of a plant. Each run of heel or ball frames is shifted so that it meets its neighbours level.
  [[nodiscard]] std::vector<double> pitches(const Plant& plant, const Course& course) const {
    std::vector<double> out(static_cast<std::size_t>(plant.last - plant.first + 1), 0);
    for (int f = plant.first; f <= plant.last;) {
      const int sign = signOf(phaseAt(plant, f));
      int end = f;
      while (end < plant.last && signOf(phaseAt(plant, end + 1)) == sign) ++end;
      if (sign != 0) {
        const bool before = f > plant.first, after = end < plant.last;
        const int b = before ? f - 1 : end + 1, a = after ? end + 1 : f - 1;
        for (int g = f; g <= end; ++g) {
          double own = 0;
          if (before || after) {
            const double t = before && after ? static_cast<double>(g - b) / (a - b) : 0;
            own = course.toeUp[static_cast<std::size_t>(before ? b : a)] * (1 - t) + course.toeUp[static_cast<std::size_t>(after ? a : b)] * t;
          }
          const double pitch = course.toeUp[static_cast<std::size_t>(g)] - own;
          out[static_cast<std::size_t>(g - plant.first)] = sign > 0 ? std::clamp(pitch, 0.0, steepest) : std::clamp(pitch, -steepest, 0.0);
        }
      }
      f = end + 1;
    }
    return out;
  }

  /// Mean place and direction of the foot over its flat frames (over all where there are none), rolled back to level.
  [[nodiscard]] PlantAnchor fit(const Plant& plant, const Leg& leg, const Course& course, const std::vector<double>& pitch) const {
    bool flat = false;
    for (int f = plant.first; f <= plant.last; ++f) flat = flat || phaseAt(plant, f) == PlantPhase::flat;
    Vec3d way, place;
    int count = 0;
    for (int pass = 0; pass < 2; ++pass) {
      PlantAnchor anchor;
      anchor.yaw = std::atan2(dot(cross(leg.forward, way), up), dot(leg.forward, way));
      for (int f = plant.first; f <= plant.last; ++f) {
        if (flat && phaseAt(plant, f) != PlantPhase::flat) continue;
        const std::size_t k = static_cast<std::size_t>(f);
        if (pass == 0) {
          way += leg.heading(course.yaw[k]);
          continue;
        }
        // The front end of the stance counts, so that a pitch the plant does not keep does not push it about.
        const double p = pitch[static_cast<std::size_t>(f - plant.first)];
        const Vec3d now = course.ankle[k] + rotate(course.foot[k], leg.ball);
        place += now - rotate(leg.orientation(anchor.yaw, p), leg.ball) - leg.roll(anchor.yaw, p);
        ++count;
      }
      if (pass == 1) {
        anchor.foot = place / static_cast<double>(count);
        anchor.foot.y = plant.ground + leg.height;
        return anchor;
      }
    }
    return {};
  }

  void plan(int side, std::vector<Plant>& plants) {
    const Leg& leg = legs_[side];
    const Course& course = courses_[side];
    std::vector<Goal>& goals = goals_[side];
    for (Plant* plant : inOrder(side, plants)) {
      const std::vector<double> pitch = pitches(*plant, course);
      if (!plant->anchor) plant->anchor = fit(*plant, leg, course, pitch);
      const double yaw = plant->anchor->yaw;
      const Vec3d base{plant->anchor->foot.x, plant->ground + leg.height, plant->anchor->foot.z};
      const int count = plant->last - plant->first + 1;
      const int held = plant->last - static_cast<int>(settings_.release * count);
      const bool leaves = signOf(phaseAt(*plant, plant->last)) < 0;
      const auto ballOf = [&](int f) {
        const Vec3d b = course.ankle[static_cast<std::size_t>(f)] + rotate(course.foot[static_cast<std::size_t>(f)], leg.ball);
        return Vec3d{b.x, 0, b.z};
      };
      const Vec3d slipWay = normalised(ballOf(plant->last) - ballOf(held));
      double slip = 0;
      for (int f = plant->first; f <= plant->last; ++f) {
        const double p = pitch[static_cast<std::size_t>(f - plant->first)];
        Goal& g = goals[static_cast<std::size_t>(f)];
        g.active = g.planted = true;
        g.rolls = signOf(phaseAt(*plant, f)) < 0;
        g.pitch = p;
        g.yaw = yaw;
        g.base = base;
        if (leaves && f > held) {
          slip = std::max(slip, dot(ballOf(f) - ballOf(held), slipWay));
          g.base += slipWay * slip;
        }
        place(leg, g);
      }
    }
  }

  static void place(const Leg& leg, Goal& g) {
    g.foot = leg.orientation(g.yaw, g.pitch);
    g.at = g.base + leg.roll(g.yaw, g.pitch);
    g.toe = leg.bends && g.pitch < 0 ? leg.orientation(g.yaw, 0) * leg.toeLocal : g.foot * leg.toeLocal;
  }

  /// Where the leg stays too short although the pelvis has sunk, a foot on its ball rolls on: its heel rises earlier, as it does
  /// when a straight leg leaves the ground, instead of the ball being pulled off its place.
  void rollOn(int side, const std::vector<double>& drop) {
    constexpr double furthest = 20 * std::numbers::pi / 180;
    const Leg& leg = legs_[side];
    const Course& c = courses_[side];
    for (std::size_t f = 0; f < goals_[side].size(); ++f) {
      Goal& g = goals_[side][f];
      if (!g.rolls) continue;
      const double reach = settings_.straightest * (distance(c.hip[f], c.knee[f]) + distance(c.knee[f], c.ankle[f]));
      const Vec3d hip = c.hip[f] - up * drop[f];
      if (distance(hip, g.at) <= reach) continue;
      const double own = g.pitch;
      const auto apart = [&](double further) {
        g.pitch = own - further;
        place(leg, g);
        return distance(hip, g.at);
      };
      // The foot's joint may pass over the ball: from there on, rolling takes it away again.
      double least = 0, most = std::max(0.0, std::min(furthest, steepest + own));
      for (int i = 0; i < 60; ++i) {
        const double third = (most - least) / 3;
        if (apart(least + third) <= apart(most - third))
          most -= third;
        else
          least += third;
      }
      least = 0;
      for (int i = 0; i < 40 && apart(most) < reach - 1e-9; ++i) {
        const double middle = (least + most) / 2;
        (apart(middle) > reach ? least : most) = middle;
      }
      g.pitch = own - most;
      place(leg, g);
    }
  }

  /// The plants of one foot in time.
  static std::vector<Plant*> inOrder(int side, std::vector<Plant>& plants) {
    std::vector<Plant*> own;
    for (Plant& p : plants)
      if (p.side == side) own.push_back(&p);
    std::sort(own.begin(), own.end(), [](const Plant* a, const Plant* b) { return a->first < b->first; });
    return own;
  }

  struct Change {
    Vec3d at, foot, toe;  // toe: in the toe's frame below the foot
  };
  [[nodiscard]] Change changeAt(int side, int frame) const {
    const std::size_t f = static_cast<std::size_t>(frame);
    const Goal& g = goals_[side][f];
    const Course& c = courses_[side];
    return {g.at - c.ankle[f], logOf(g.foot * conjugate(c.foot[f])), logOf(conjugate(conjugate(c.foot[f]) * c.toe[f]) * (conjugate(g.foot) * g.toe))};
  }

  /// Between plants the change at their edges fades out along the foot's own way.
  void ease(int side, const std::vector<Plant*>& own) {
    const Leg& leg = legs_[side];
    const Course& c = courses_[side];
    const int frames = easeFrames();
    for (std::size_t i = 0; i <= own.size(); ++i) {
      const Plant* before = i > 0 ? own[i - 1] : nullptr;
      const Plant* after = i < own.size() ? own[i] : nullptr;
      const int from = before ? before->last + 1 : 0, to = after ? after->first - 1 : motion_.frames - 1, gap = to - from + 1;
      const int length = before && after ? std::min(frames, gap) : frames;
      const Change fading = before ? changeAt(side, before->last) : Change{}, coming = after ? changeAt(side, after->first) : Change{};
      for (int f = from; f <= to; ++f) {
        const std::size_t k = static_cast<std::size_t>(f);
        const double a = before ? kernel(static_cast<double>(f - from + 1) / (length + 1)) : 0;
        const double b = after ? kernel(static_cast<double>(to - f + 1) / (length + 1)) : 0;
        if (a <= 0 && b <= 0) continue;
        Goal& g = goals_[side][k];
        g.active = true;
        g.firm = std::max(a, b);
        g.at = c.ankle[k] + fading.at * a + coming.at * b;
        g.foot = expOf(fading.foot * a + coming.foot * b) * c.foot[k];
        const Quatd toeLocal = conjugate(c.foot[k]) * c.toe[k];
        g.toe = g.foot * toeLocal * expOf(fading.toe * a + coming.toe * b);
        // Fading must not push the sole deeper than the ground or than it was.
        const double ground = before && (!after || a > b) ? before->ground : after->ground;
        const double allowed = std::min(ground, leg.lowest(c.foot[k], c.ankle[k], c.toe[k])), low = leg.lowest(g.foot, g.at, g.toe);
        if (low < allowed) g.at.y += allowed - low;
      }
    }
  }

  [[nodiscard]] int easeFrames() const { return static_cast<int>(std::lround(std::min(settings_.ease * motion_.rate.hertz(), 1e6))); }

  void dropPelvis(Planted& out) const {
    const int n = motion_.frames, half = easeFrames() / 2;
    std::vector<double> need(static_cast<std::size_t>(n), 0), wide = need;
    for (int side = 0; side < 2; ++side)
      for (int f = 0; f < n; ++f) {
        const std::size_t k = static_cast<std::size_t>(f);
        const Goal& g = goals_[side][k];
        if (!g.planted) continue;
        const Course& c = courses_[side];
        const double leg = distance(c.hip[k], c.knee[k]) + distance(c.knee[k], c.ankle[k]), reach = settings_.straightest * leg;
        const Vec3d d = c.hip[k] - g.at;
        const double beyond = d.y - std::sqrt(std::max(0.0, reach * reach - d.x * d.x - d.z * d.z));
        if (distance(c.hip[k], g.at) > reach) need[k] = std::max(need[k], std::clamp(beyond, 0.0, settings_.pelvisLimit * leg));
      }
    // The running maximum never falls below the need within `half` frames, so neither does its mean over as many.
    for (int f = 0; f < n; ++f)
      for (int g = std::max(0, f - half); g <= std::min(n - 1, f + half); ++g)
        wide[static_cast<std::size_t>(f)] = std::max(wide[static_cast<std::size_t>(f)], need[static_cast<std::size_t>(g)]);
    for (int f = 0; f < n; ++f) {
      double sum = 0, weights = 0;
      for (int g = f - half; g <= f + half; ++g) {
        const double w = kernel(std::abs(g - f) / (half + 1.0));
        sum += w * wide[static_cast<std::size_t>(std::clamp(g, 0, n - 1))];
        weights += w;
      }
      out.pelvisDrop[static_cast<std::size_t>(f)] = sum / weights;
    }
  }

  void solve(int frame, Planted& out) const {
    const std::size_t f = static_cast<std::size_t>(frame);
    const double drop = out.pelvisDrop[f];
    if (drop <= 0 && !goals_[0][f].active && !goals_[1][f].active) return;
    Pose pose = poseOf(out.motion, frame);
    std::vector<int> turned, moved;
    const int hips = map_.joint(Role::hips);
    if (drop > 0) {
      shift(pose, hips, up * -drop);
      moved.push_back(hips);
      world(pose);
      for (const Leg& leg : legs_)
        if (leg.offPelvis) {
          shift(pose, leg.thigh, up * -drop);
          moved.push_back(leg.thigh);
        }
      world(pose);
    }
    for (int side = 0; side < 2; ++side) {
      const Leg& leg = legs_[side];
      const Course& c = courses_[side];
      Goal g = goals_[side][f];
      if (!g.active && drop <= 0) continue;
      if (!g.active) {
        g.at = c.ankle[f];
        g.foot = c.foot[f];
        g.toe = c.toe[f];
      }
      const Vec3d hip = pose.position[leg.thigh], lowered = hip - c.hip[f];
      TwoBoneGoal goal;
      goal.target = g.at;
      if (!g.planted) {
        // In swing a leg that is asked for more than it had nears full stretch without snapping straight.
        const double full = distance(c.hip[f], c.knee[f]) + distance(c.knee[f], c.ankle[f]), wanted = distance(hip, g.at);
        const double most = std::max(distance(c.hip[f], c.ankle[f]), softReach(wanted, full, 1 - 0.04 * (1 - g.firm)));
        if (wanted > most) goal.target = hip + (g.at - hip) * (most / wanted);
      }
      const TwoBoneSolution s = solveTwoBone({hip, c.knee[f] + lowered, c.ankle[f] + lowered}, goal);
      const Quatd thigh = s.rootTurn * pose.rotation[leg.thigh], shank = s.rootTurn * s.midTurn * pose.rotation[leg.shank];
      turnTo(pose, leg.thigh, thigh);
      world(pose);
      turnTo(pose, leg.shank, shank);
      world(pose);
      if (leg.detached) {
        shift(pose, leg.foot, s.end - pose.position[leg.foot]);
        moved.push_back(leg.foot);
      }
      turnTo(pose, leg.foot, g.foot);
      world(pose);
      turned.insert(turned.end(), {leg.thigh, leg.shank, leg.foot});
      if (leg.toe >= 0) {
        turnTo(pose, leg.toe, g.toe);
        world(pose);
        turned.push_back(leg.toe);
      }
      if (g.planted) out.residual[side][f] = distance(pose.position[leg.foot], g.at);
    }
    const auto rotations = out.motion.rotationsAt(frame);
    for (const int j : turned) rotations[j] = Quatf(sameHemisphere(pose.local[j], Quatd(rotations[j])));
    const auto translations = out.motion.translationsAt(frame);
    for (const int j : moved) {
      const auto place = std::lower_bound(out.motion.movedJoints.begin(), out.motion.movedJoints.end(), j);
      translations[static_cast<std::size_t>(place - out.motion.movedJoints.begin())] = Vec3f(pose.translation[j]);
    }
  }

  void tell(Planted& out) const {
    for (std::size_t i = 0; i < out.plants.size(); ++i) {
      const Plant& p = out.plants[i];
      double worst = 0;
      int at = p.first, count = 0;
      for (int f = p.first; f <= p.last; ++f) {
        const double r = out.residual[p.side][static_cast<std::size_t>(f)];
        count += r > 5e-4;
        if (r > worst) {
          worst = r;
          at = f;
        }
      }
      if (count > 0)
        out.issues.push_back(makeWarning("The " + std::string(p.side == 0 ? "left" : "right") + " leg is too short for its plant on " + std::to_string(count) +
                                             " frames, by " + std::to_string(static_cast<int>(std::lround(worst * 1000))) + " mm at most",
                                         "frame " + std::to_string(at + 1), "Move the plant nearer, or let the pelvis sink further"));
    }
  }

  const Figure& figure_;
  const SkeletonMap& map_;
  const PlantSettings& settings_;
  const Motion& motion_;
  PosedBody body_;
  std::array<Leg, 2> legs_;
  std::array<Course, 2> courses_;
  std::array<std::vector<Goal>, 2> goals_;
};

}  // namespace

Result<Motion> standOnPlants(const Figure& character, const SkeletonMap& map, const Motion& motion, const std::vector<Plant>& plants,
                             const RunControl& control) {
  const PlantSettings settings;
  return Planter(character, map, motion, settings).stand(plants, control);
}

std::vector<Plant> plantsOf(const Contacts& contacts, double scale) {
  std::vector<Plant> plants;
  for (int side = 0; side < 2; ++side) {
    const FootContact& foot = contacts.feet[static_cast<std::size_t>(side)];
    for (const ContactSpan& span : foot.spans) {
      Plant plant;
      plant.side = side;
      plant.first = span.first;
      plant.last = span.last;
      plant.ground = std::abs(span.height) > 0.05 * contacts.leg ? span.height * scale : 0;
      for (int f = span.first; f <= span.last; ++f) {
        switch (foot.phases[static_cast<std::size_t>(f)]) {
          case FootPhase::heel: plant.phases.push_back(PlantPhase::heel); break;
          case FootPhase::flat: plant.phases.push_back(PlantPhase::flat); break;
          case FootPhase::ball: plant.phases.push_back(PlantPhase::ball); break;
          case FootPhase::toe: plant.phases.push_back(PlantPhase::toe); break;
          case FootPhase::none: plant.phases.push_back(plant.phases.empty() ? PlantPhase::flat : plant.phases.back()); break;
        }
      }
      plants.push_back(std::move(plant));
    }
  }
  return plants;
}

Result<Planted> plantFeet(const Figure& character, const SkeletonMap& map, const Motion& motion, const std::vector<Plant>& plants,
                          const PlantSettings& settings, const RunControl& control) {
  return Planter(character, map, motion, settings).run(plants, control);
}

}  // namespace understudy
