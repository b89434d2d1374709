#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/retarget/posed_body.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
const Vec3d up{0, 1, 0};

double tiltDegrees(const Vec3d& v) { return angleBetween(v, up) / degree; }

std::optional<Vec3d> middle(const PosedBody& body, Role left, Role right) {
  const auto a = body.at(left), b = body.at(right);
  if (a && b) return (*a + *b) * 0.5;
  return a ? a : b;
}

/// Top of the trunk: neck, else shoulders, else head.
std::optional<Vec3d> trunkTop(const PosedBody& body) {
  if (const auto neck = body.at(Role::neck)) return neck;
  if (const auto shoulders = middle(body, Role::leftUpperArm, Role::rightUpperArm)) return shoulders;
  return body.at(Role::head);
}

/// Horizontal direction from the right to the left side, summed over hips and shoulders.
Vec3d lateral(const PosedBody& body) {
  Vec3d sum{};
  const std::pair<Role, Role> pairs[] = {{Role::leftUpperLeg, Role::rightUpperLeg}, {Role::leftUpperArm, Role::rightUpperArm}};
  for (const auto& [left, right] : pairs) {
    const auto a = body.at(left), b = body.at(right);
    if (a && b) sum += *a - *b;
  }
  sum.y = 0;
  return sum;
}

struct Uprightness {
  double trunk = 0, legs = 0, knees = 0;  ///< degrees from upright, from hanging, from straight
  [[nodiscard]] double score() const { return trunk * trunk + legs * legs + knees * knees; }
};

Uprightness uprightness(const PosedBody& body) {
  Uprightness result;
  const auto hips = middle(body, Role::leftUpperLeg, Role::rightUpperLeg);
  if (const auto top = trunkTop(body); top && hips) result.trunk = tiltDegrees(*top - *hips);
  for (const bool left : {true, false}) {
    const auto hip = body.at(left ? Role::leftUpperLeg : Role::rightUpperLeg);
    const auto knee = body.at(left ? Role::leftLowerLeg : Role::rightLowerLeg);
    const auto ankle = body.at(left ? Role::leftFoot : Role::rightFoot);
    if (!hip || !knee) continue;
    const Vec3d end = ankle ? *ankle : *knee;
    result.legs = std::max(result.legs, tiltDegrees(*hip - end));
    if (ankle) result.knees = std::max(result.knees, angleBetween(*knee - *hip, *ankle - *knee) / degree);
  }
  return result;
}

/// A standing body: trunk up, legs down, left and right apart. Legs may be spread and the stance may be a stride.
bool isUpright(const PosedBody& body) {
  const Uprightness u = uprightness(body);
  const auto a = body.at(Role::leftUpperLeg), b = body.at(Role::rightUpperLeg);
  const bool apart = a && b && length(Vec3d{a->x - b->x, 0, a->z - b->z}) > 0.2 * distance(*a, *b);
  return u.trunk < 40 && u.legs < 50 && apart;
}

double segmentLength(const PosedBody& body, Role a, Role b) {
  const auto p = body.at(a), q = body.at(b);
  return p && q ? distance(*p, *q) : 0;
}

double legLengthOf(const PosedBody& body) {
  double sum = 0;
  int sides = 0;
  for (const bool left : {true, false}) {
    const double thigh = segmentLength(body, left ? Role::leftUpperLeg : Role::rightUpperLeg, left ? Role::leftLowerLeg : Role::rightLowerLeg);
    const double shank = segmentLength(body, left ? Role::leftLowerLeg : Role::rightLowerLeg, left ? Role::leftFoot : Role::rightFoot);
    if (thigh <= 0 || shank <= 0) continue;
    sum += thigh + shank;
    ++sides;
  }
  return sides ? sum / sides : 0;
}

std::string shapeOf(const PosedBody& body) {
  double sum = 0;
  int arms = 0;
  for (const bool left : {true, false}) {
    const auto shoulder = body.at(left ? Role::leftUpperArm : Role::rightUpperArm);
    const auto hand = body.at(left ? Role::leftHand : Role::rightHand);
    if (!shoulder || !hand) continue;
    const Vec3d arm = *hand - *shoulder;
    if (std::abs(arm.z) > 0.6 * length(arm)) return "other";
    sum += tiltDegrees(arm);
    ++arms;
  }
  if (!arms) return "legs only";
  const double tilt = sum / arms;
  if (tilt < 60) return "other";
  return tilt < 102 ? "T-pose" : tilt < 155 ? "A-pose" : "arms down";
}

double heightOf(const PosedBody& body) {
  const Figure& figure = *body.figure;
  double low = 1e30, high = -1e30;
  const Affined toWorld = worldFromFile(figure, body.pose);
  if (!figure.meshes.empty() && figure.hasSkin()) {
    for (const Mesh& mesh : figure.meshes) {
      if (mesh.skin < 0 && mesh.node < 0) continue;
      for (const Vec3f& p : skinnedPositions(figure, mesh, body.pose.fileWorld)) {
        const double y = apply(toWorld, Vec3d(p)).y;
        low = std::min(low, y);
        high = std::max(high, y);
      }
    }
  }
  if (high <= low)
    for (const Vec3d& p : body.position) {
      low = std::min(low, p.y);
      high = std::max(high, p.y);
    }
  return std::max(0.0, high - low);
}

/// Fills rotation, position, local, translation from world transforms in the file's unit and axes.
void setPose(PosedBody& body, const std::vector<Affined>& fileWorld, double displacedBeyond) {
  const Figure& figure = *body.figure;
  const int n = figure.skeleton.size();
  const Affined toWorld = worldFromFile(figure, body.pose);
  const Quatd turn = body.pose.facing * figure.space.worldFromFile;
  body.rig = rigidRig(figure, body.pose.facing);
  body.rotation.resize(n);
  body.position.resize(n);
  body.local.resize(n);
  body.translation = body.rig.translation;
  body.displaced.assign(n, 0);
  std::vector<Vec3d> wanted(n);
  for (int j = 0; j < n; ++j) {
    body.rotation[j] = turn * polarParts(fileWorld[j]).rotation;
    wanted[j] = apply(toWorld, fileWorld[j].translation);
  }
  localOf(body.rig, body.rotation, body.local);
  for (int j = 0; j < n; ++j) {
    const int parent = body.rig.parents[j];
    const Quatd& above = parent < 0 ? body.rig.base : body.rotation[parent];
    const Vec3d origin = parent < 0 ? Vec3d{} : wanted[parent];
    const Vec3d offset = rotate(conjugate(above), wanted[j] - origin);
    if (distance(offset, body.rig.offset(j)) > displacedBeyond) {
      body.translation[j] = inverse(body.rig.stretch[j]) * offset;
      body.displaced[j] = 1;
    }
  }
  worldOf(body.rig, body.local, body.translation, body.rotation, body.position);
  body.pose.fileWorld = fileWorld;
}

/// Rough size of the joints, for tolerances, before anything else is known.
double roughSize(const Figure& figure, const std::vector<Affined>& world) {
  Vec3d low{1e30, 1e30, 1e30}, high{-1e30, -1e30, -1e30};
  for (const Affined& a : world)
    for (int i = 0; i < 3; ++i) {
      low[i] = std::min(low[i], a.translation[i]);
      high[i] = std::max(high[i], a.translation[i]);
    }
  return length(high - low) * figure.space.metresPerUnit;
}

/// The frame of the motion that stands most upright.
int uprightFrame(const PosedBody& frameBody, const Motion& motion) {
  PosedBody body = frameBody;
  const int step = std::max(1, motion.frames / 400);
  int best = 0;
  double bestScore = 1e30;
  std::vector<Quatd> local(motion.joints);
  std::vector<Vec3d> translations(body.rig.translation);
  for (int f = 0; f < motion.frames; f += step) {
    const auto q = motion.rotationsAt(f);
    for (int j = 0; j < motion.joints; ++j) local[j] = Quatd(q[j]);
    const auto t = motion.translationsAt(f);
    for (std::size_t k = 0; k < t.size(); ++k) translations[motion.movedJoints[k]] = Vec3d(t[k]);
    worldOf(body.rig, local, translations, body.rotation, body.position);
    const double score = uprightness(body).score();
    if (score < bestScore) {
      bestScore = score;
      best = f;
    }
  }
  return best;
}

}  // namespace

Affined worldFromFile(const Figure& figure, const ReferencePose& pose) {
  return {toMatrix(pose.facing * figure.space.worldFromFile) * figure.space.metresPerUnit, {}};
}

Result<PosedBody> posedBody(const Figure& figure, const SkeletonMap& map, const Motion* motion, const ReferenceSettings& settings) {
  const std::string where = figure.path;
  if (figure.skeleton.size() == 0)
    return makeError(Fault::input, "The file holds no skeleton", where, "Choose a file with joints");
  PosedBody body;
  body.figure = &figure;
  body.map = &map;
  for (const Role role : {Role::leftUpperLeg, Role::rightUpperLeg, Role::leftLowerLeg, Role::rightLowerLeg, Role::leftFoot, Role::rightFoot})
    if (!body.has(role))
      return makeError(Fault::mapping, "No joint is mapped to " + std::string(roleName(role)), where,
                       "Name it in a map file (\"roles\") or choose it in the bone map");
  const std::vector<Affined> rest = figure.hasSkin() ? bindWorld(figure) : restWorld(figure.skeleton);
  for (const Affined& a : rest)
    if (!isFinite(a.translation) || !isFinite(a.linear.cx) || !isFinite(a.linear.cy) || !isFinite(a.linear.cz))
      return makeError(Fault::input, "The rest pose holds numbers that are not finite", where, "Export the file again");
  const double displacedBeyond = 1e-4 * roughSize(figure, rest);
  setPose(body, rest, displacedBeyond);
  body.pose.source = figure.hasSkin() ? "bind pose" : "rest pose";
  // Where the bind pose is unusable (inverse bind matrices without meaning) the node pose may still be a body.
  if (figure.hasSkin() && !isUpright(body)) {
    PosedBody nodes = body;
    setPose(nodes, restWorld(figure.skeleton), displacedBeyond);
    if (isUpright(nodes)) {
      body = nodes;
      body.pose.source = "rest pose";
    }
  }
  const bool wantFrame = settings.clipFrame.has_value();
  const bool haveMotion = motion && motion->frames > 0 && motion->joints == figure.skeleton.size();
  if (wantFrame && (!haveMotion || *settings.clipFrame < 0 || *settings.clipFrame >= motion->frames))
    return makeError(Fault::usage, "There is no frame " + std::to_string(*settings.clipFrame + 1) + " to take the reference pose from", where,
                     "Choose a frame of the clip");
  if (haveMotion && (wantFrame || !isUpright(body))) {
    const int frame = wantFrame ? *settings.clipFrame : uprightFrame(body, *motion);
    setPose(body, worldAt(figure.skeleton, *motion, frame), displacedBeyond);
    // Only the pose is taken from the frame: bones keep the lengths of the rest pose, as they do in the result.
    body.fromClip = true;
    body.pose.source = "frame " + std::to_string(frame + 1) + " of the clip";
    if (!wantFrame)
      body.pose.issues.push_back(makeNote("The rest pose is no body pose; frame " + std::to_string(frame + 1) +
                                              ", the most upright one, stands in for it",
                                          where));
  }
  const Vec3d side = lateral(body);
  double facing = 0;
  if (settings.facingDegrees) {
    facing = *settings.facingDegrees * degree;
  } else if (!body.fromClip && length(side) > 1e-9) {
    // Left × up is front; facing turns front to +Z.
    const Vec3d front = cross(side, up);
    facing = -std::atan2(front.x, front.z);
    // Files are made to face along an axis; the odd degree comes from a slightly uneven rest pose.
    const double quarter = std::round(facing / (90 * degree)) * 90 * degree;
    if (std::abs(facing - quarter) < 25 * degree) facing = quarter;
  }
  if (std::abs(facing) > 1e-12) {
    body.pose.facing = fromAxisAngle(up, facing);
    const ReferencePose keep = body.pose;
    setPose(body, keep.fileWorld, displacedBeyond);
  }
  body.pose.shape = body.fromClip && !wantFrame ? "none" : shapeOf(body);
  body.pose.legLength = legLengthOf(body);
  body.pose.height = heightOf(body);
  if (!(body.pose.legLength > 1e-6))
    return makeError(Fault::input, "The legs have no length in the reference pose", where,
                     "Check the joints mapped to the upper legs, lower legs and feet");
  if (body.rig.sheared)
    body.pose.issues.push_back(makeWarning("Some joints carry a scale that differs by axis; rotations below them are approximate", where,
                                           "Apply the scale in the program the file comes from"));
  return body;
}

Result<ReferencePose> referencePose(const Figure& figure, const SkeletonMap& map, const Motion* motion, const ReferenceSettings& settings) {
  Result<PosedBody> body = posedBody(figure, map, motion, settings);
  if (!body) return body.error();
  return std::move(body.value().pose);
}

int segmentEnd(const SkeletonMap& map, Role role) {
  const auto first = [&](std::initializer_list<Role> roles) {
    for (const Role r : roles)
      if (map.joint(r) >= 0) return map.joint(r);
    return -1;
  };
  switch (role) {
    case Role::leftHand: return first({Role::leftMiddleProximal, Role::leftIndexProximal, Role::leftRingProximal, Role::leftLittleProximal});
    case Role::rightHand: return first({Role::rightMiddleProximal, Role::rightIndexProximal, Role::rightRingProximal, Role::rightLittleProximal});
    case Role::leftShoulder: return map.joint(Role::leftUpperArm);
    case Role::rightShoulder: return map.joint(Role::rightUpperArm);
    case Role::head: case Role::leftEye: case Role::rightEye: case Role::jaw: case Role::leftToes: case Role::rightToes: return -1;
    case Role::hips: return first({Role::spine, Role::chest, Role::upperChest, Role::neck, Role::head});
    case Role::spine: return first({Role::chest, Role::upperChest, Role::neck, Role::head});
    case Role::chest: return first({Role::upperChest, Role::neck, Role::head});
    case Role::upperChest: return first({Role::neck, Role::head});
    case Role::neck: return map.joint(Role::head);
    default: break;
  }
  if (isFinger(role)) {
    const int first0 = indexOf(sideOf(role) == Side::left ? Role::leftThumbMetacarpal : Role::rightThumbMetacarpal);
    if ((indexOf(role) - first0) % 3 == 2) return -1;
  }
  return map.joint(roleAt(indexOf(role) + 1));  // the enum lists each limb from its root outwards
}

}  // namespace understudy
