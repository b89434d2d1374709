#include "core/repair/repair_context.h"

#include <algorithm>
#include <charconv>

#include "core/repair/plant_leg.h"

namespace understudy {
namespace {

LimbRig limbOf(const PosedBody& body, Role root, Role mid, Role end, Role girdle, Role tip, bool arm) {
  LimbRig limb;
  limb.root = body.joint(root);
  limb.mid = body.joint(mid);
  limb.end = body.joint(end);
  limb.girdle = body.joint(girdle);
  if (!arm) limb.tip = body.joint(tip);
  if (limb.root < 0 || limb.mid < 0 || limb.end < 0) return limb;
  const Skeleton& skeleton = body.figure->skeleton;
  if (limb.girdle >= 0 && !isAncestor(skeleton, limb.girdle, limb.root)) limb.girdle = -1;
  if (limb.tip >= 0 && !isAncestor(skeleton, limb.end, limb.tip)) limb.tip = -1;
  limb.detached = !isAncestor(skeleton, limb.mid, limb.end);
  if (arm && !limb.detached) limb.beside = besideHand(skeleton, *body.map, sideOf(end) == Side::left);
  const auto at = [&](int j) { return body.position[static_cast<std::size_t>(j)]; };
  const auto turn = [&](int j) { return body.rotation[static_cast<std::size_t>(j)]; };
  limb.upper = distance(at(limb.root), at(limb.mid));
  limb.lower = distance(at(limb.mid), at(limb.end));
  limb.midFromRoot = conjugate(turn(limb.root)) * turn(limb.mid);
  const Vec3d a = normalised(at(limb.mid) - at(limb.root), Vec3d{0, -1, 0}), b = normalised(at(limb.end) - at(limb.mid), a);
  // Elbows close towards the front, knees towards the back. A reference pose that bends them by 6° and more knows better.
  Vec3d opens = arm ? cross(Vec3d{0, 0, 1}, a) : cross(Vec3d{0, 0, -1}, a);
  const Vec3d own = cross(b, a);
  if (length(own) > 0.1 && dot(own, opens) > 0) opens = own;
  opens = opens - a * dot(opens, a);
  limb.hinge = rotate(conjugate(turn(limb.root)), normalised(opens, anyPerpendicular(a)));
  return limb;
}

}  // namespace

Vec3d RepairContext::rigidPoint(const JointPoint& point) const {
  const auto j = static_cast<std::size_t>(point.joint);
  const Vec3d world = apply(worldFromFile(*figure, body.pose), apply(body.pose.fileWorld[j], point.local));
  return rotate(conjugate(body.rotation[j]), world - body.position[j]);
}

Result<std::shared_ptr<const RepairContext>> repairContext(std::shared_ptr<const Figure> character, std::shared_ptr<const BoneMap> map,
                                                           const RetargetSettings& settings, FrameRate rate, int frames) {
  auto context = std::make_shared<RepairContext>();
  Result<PosedBody> body = posedBody(*character, map->character, nullptr, settings.characterReference);
  if (!body) return body.error();
  context->figure = std::move(character);
  context->map = std::move(map);
  context->body = std::move(*body);
  // The body points into what the context holds.
  context->body.figure = context->figure.get();
  context->body.map = &context->map->character;
  const Skeleton& skeleton = context->figure->skeleton;
  context->below.resize(static_cast<std::size_t>(skeleton.size()));
  for (int j = 0; j < skeleton.size(); ++j)
    for (int p = skeleton.parents[static_cast<std::size_t>(j)]; p >= 0; p = skeleton.parents[static_cast<std::size_t>(p)])
      context->below[static_cast<std::size_t>(p)].push_back(j);
  using enum Role;
  const PosedBody& b = context->body;
  context->arms = {limbOf(b, leftUpperArm, leftLowerArm, leftHand, leftShoulder, leftHand, true),
                   limbOf(b, rightUpperArm, rightLowerArm, rightHand, rightShoulder, rightHand, true)};
  context->legs = {limbOf(b, leftUpperLeg, leftLowerLeg, leftFoot, hips, leftToes, false),
                   limbOf(b, rightUpperLeg, rightLowerLeg, rightFoot, hips, rightToes, false)};
  const Vec3d upFile = rotate(conjugate(context->figure->space.worldFromFile), Vec3d{0, 1, 0});
  context->soles = findSoles(*context->figure, context->roles(), b.pose.fileWorld, upFile);
  context->height = b.pose.height > 0 ? b.pose.height : 1.7;
  context->standing = std::make_shared<const PlantLegs>(*context);
  context->leg = b.pose.legLength;
  context->rate = rate;
  context->frames = frames;
  return std::shared_ptr<const RepairContext>(std::move(context));
}

Result<int> findBone(const RepairContext& context, const std::string& name) {
  if (name.empty() || name.front() != '@') return findJoint(context.figure->skeleton, name);
  const std::size_t slash = name.find('/');
  const std::optional<Role> role = roleNamed(std::string_view(name).substr(1, slash == std::string::npos ? slash : slash - 1));
  if (!role) return makeError(Fault::usage, "There is no role '" + name.substr(1) + "'", {}, "Roles are spelt as in VRM 1.0, such as @leftHand");
  std::size_t place = 1;
  if (slash != std::string::npos) {
    const auto [end, error] = std::from_chars(name.data() + slash + 1, name.data() + name.size(), place);
    if (error != std::errc{} || end != name.data() + name.size() || place < 1)
      return makeError(Fault::usage, "'" + name + "' names no joint of a chain", {}, "Count them from 1, as in @spine/2");
  }
  const std::vector<int>& joints = context.roles().at(*role).joints;
  if (joints.size() < place) return makeError(Fault::mapping, "The character has no bone for the role '" + name.substr(1) + "'", {}, "Map one, or choose another bone");
  return joints[place - 1];
}

std::string boneName(const RepairContext& context, int joint) {
  for (int r = 0; r < roleCount; ++r) {
    const std::vector<int>& joints = context.roles().at(roleAt(r)).joints;
    const auto at = std::find(joints.begin(), joints.end(), joint);
    if (at == joints.end()) continue;
    return "@" + std::string(roleName(roleAt(r))) + (at == joints.begin() ? std::string() : "/" + std::to_string(at - joints.begin() + 1));
  }
  return jointKey(context.figure->skeleton, joint);
}

std::vector<int> findBones(const RepairContext& context, const std::vector<std::string>& names, const std::string& where, Issues& issues) {
  std::vector<int> joints;
  if (names.empty()) {
    std::vector<char> wanted(static_cast<std::size_t>(context.figure->skeleton.size()), 0);
    const int hips = context.joint(Role::hips);
    for (const RoleJoints& role : context.roles().roles)
      for (const int mapped : role.joints)
        for (int j = mapped; j >= 0; j = context.figure->skeleton.parents[static_cast<std::size_t>(j)]) {
          wanted[static_cast<std::size_t>(j)] = 1;
          if (j == hips) break;
        }
    for (int j = 0; j < context.figure->skeleton.size(); ++j)
      if (wanted[static_cast<std::size_t>(j)]) joints.push_back(j);
    return joints;
  }
  for (const std::string& name : names) {
    const Result<int> joint = findBone(context, name);
    if (joint)
      joints.push_back(*joint);
    else
      issues.push_back(makeWarning(joint.error().what, where, joint.error().todo));
  }
  std::sort(joints.begin(), joints.end());
  joints.erase(std::unique(joints.begin(), joints.end()), joints.end());
  return joints;
}

}  // namespace understudy
