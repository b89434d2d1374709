#include "core/retarget/low_points.h"

#include <algorithm>
#include <iterator>
#include <map>

#include "core/body/body_surface.h"
#include "core/body/soles.h"

namespace understudy {
namespace {

/// Flesh around a skeleton's joints, of a leg's length, as people have it: from hip joints and spine to seat and back, around the knee.
/// From memory.
constexpr double trunkFlesh = 0.12, kneeFlesh = 0.065;
/// What hangs from the trunk further down below the hip joints, of a leg's length, is a coat or a cape.
constexpr double seat = 0.2;

}  // namespace

LowPoints::LowPoints(const PosedBody& body) : body_(body) {
  if (!body.figure->meshes.empty()) {
    const Affined toWorld = worldFromFile(*body.figure, body.pose);
    const std::vector<int> hips = hipJoints(*body.map);
    double hem = -seat * body.pose.legLength;
    for (const int j : hips) hem += body.position[static_cast<std::size_t>(j)].y / static_cast<double>(hips.size());
    const BodySurface surface = bodySurface(*body.figure, *body.map, body.pose.fileWorld, toWorld);
    // Of all that moves mainly with one joint, what sticks out furthest in 26 directions.
    constexpr int ways = 27;
    struct Furthest {
      std::array<double, ways> far;
      std::array<int, ways> vertex;
    };
    std::map<int, Furthest> joints;
    std::vector<int> vertices;
    for (const BodyPart part : {BodyPart::torso, BodyPart::leftThigh, BodyPart::rightThigh, BodyPart::leftShank, BodyPart::rightShank}) {
      const PartMesh mesh = partMesh(surface, part);  // without flat cloths
      std::copy_if(mesh.vertices.begin(), mesh.vertices.end(), std::back_inserter(vertices),
                   [&](int v) { return part != BodyPart::torso || surface.positions[static_cast<std::size_t>(v)].y > hem; });
    }
    for (const int v : vertices) {
      const auto at = static_cast<std::size_t>(v);
      const int joint = surface.heaviestJoint(v);
      if (joint < 0) continue;
      auto [entry, fresh] = joints.try_emplace(joint);
      if (fresh) entry->second.vertex.fill(-1);
      for (std::size_t w = 0; w < ways; ++w) {
        const Vec3d way{static_cast<double>(w % 3) - 1, static_cast<double>(w / 3 % 3) - 1, static_cast<double>(w / 9) - 1};
        const double far = dot(way, surface.positions[at]);
        if (entry->second.vertex[w] < 0 || far > entry->second.far[w]) entry->second.vertex[w] = v, entry->second.far[w] = far;
      }
    }
    for (auto& [joint, furthest] : joints) {
      std::sort(furthest.vertex.begin(), furthest.vertex.end());
      const auto last = std::unique(furthest.vertex.begin(), furthest.vertex.end());
      const Affined fromWorld = inverse(toWorld * body.pose.fileWorld[static_cast<std::size_t>(joint)]);
      for (auto v = furthest.vertex.begin(); v != last; ++v) points_.push_back({joint, apply(fromWorld, surface.positions[static_cast<std::size_t>(*v)]), 0, surface.parts[static_cast<std::size_t>(*v)] < BodyPart::leftShank});
    }
  }
  if (!points_.empty()) return;
  const double leg = body.pose.legLength;
  const auto add = [&](Role role, double flesh, bool trunk) {
    if (const int j = body.joint(role); j >= 0) points_.push_back({j, {}, flesh * leg, trunk});
  };
  for (const Role role : {Role::hips, Role::spine, Role::chest, Role::upperChest, Role::leftUpperLeg, Role::rightUpperLeg}) add(role, trunkFlesh, true);
  for (const Role role : {Role::leftLowerLeg, Role::rightLowerLeg}) add(role, kneeFlesh, false);
  const Vec3d upFile = rotate(conjugate(body.pose.facing * body.figure->space.worldFromFile), Vec3d{0, 1, 0});
  for (const Sole& sole : findSoles(*body.figure, *body.map, body.pose.fileWorld, upFile))
    for (const JointPoint& p : sole.points) points_.push_back({p.joint, p.local, 0, false});
}

std::vector<int> LowPoints::joints() const {
  std::vector<int> out;
  for (const Point& p : points_) out.push_back(p.joint);
  std::sort(out.begin(), out.end());
  out.erase(std::unique(out.begin(), out.end()), out.end());
  return out;
}

LowPoints::Heights::Heights(const LowPoints& points, const Motion& motion) : points_(points), joints_(points.body_, motion, points.joints()) {}

LowPoints::Low LowPoints::Heights::at(int frame) {
  const std::vector<Affined>& world = joints_.at(frame);
  Low out{1e30, 1e30};
  for (const Point& p : points_.points_) {
    const double y = apply(world[static_cast<std::size_t>(p.joint)], p.local).y - p.flesh;
    out.all = std::min(out.all, y);
    if (p.trunk) out.trunk = std::min(out.trunk, y);
  }
  return out;
}

}  // namespace understudy
