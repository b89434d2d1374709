#include "core/retarget/alignment.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
const Vec3d up{0, 1, 0}, front{0, 0, 1};

/// An axis with the trust put in it.
struct Axis {
  Vec3d direction{};
  double confidence = 0;
  std::string reason;
};

/// Frame with x along the segment and y along the second axis made perpendicular to it.
Quatd frameOf(const Vec3d& along, const Vec3d& second) {
  const Vec3d x = normalised(along, Vec3d{1, 0, 0});
  const Vec3d y = normalised(second - x * dot(second, x), anyPerpendicular(x));
  return toQuat(Mat3d{x, y, cross(x, y)});
}

/// A body with what its motion adds: world poses at evenly spread frames.
struct Sampled {
  const PosedBody* body = nullptr;
  std::vector<std::vector<Quatd>> rotation;
  std::vector<std::vector<Vec3d>> position;
  std::vector<std::vector<Vec3d>> next;  ///< positions one frame later
  double frameTime = 1;
};

constexpr int sampleCount = 120;

Sampled sampleMotion(const PosedBody& body, const Motion& motion) {
  Sampled s;
  s.body = &body;
  if (motion.joints != body.rig.size() || motion.frames < 2) return s;
  s.frameTime = 1 / motion.rate.hertz();
  const int count = std::min(sampleCount, motion.frames - 1);
  std::vector<Quatd> local(motion.joints), turned(motion.joints);
  std::vector<Vec3d> translations(body.rig.translation);
  const auto pose = [&](int f, std::vector<Quatd>& rotation, std::vector<Vec3d>& position) {
    const auto q = motion.rotationsAt(f);
    for (int j = 0; j < motion.joints; ++j) local[j] = Quatd(q[j]);
    const auto t = motion.translationsAt(f);
    for (std::size_t k = 0; k < t.size(); ++k) translations[motion.movedJoints[k]] = Vec3d(t[k]);
    rotation.resize(motion.joints);
    position.resize(motion.joints);
    worldOf(body.rig, local, translations, rotation, position);
  };
  s.rotation.resize(count);
  s.position.resize(count);
  s.next.resize(count);
  for (int i = 0; i < count; ++i) {
    // Evenly spread, and never the very first frame: it may be a pose that does not belong to the clip.
    const int f = count == 1 ? 0 : static_cast<int>((static_cast<std::int64_t>(i) * (motion.frames - 2)) / (count - 1));
    pose(f, s.rotation[i], s.position[i]);
    pose(f + 1, turned, s.next[i]);
  }
  return s;
}

/// Direction of flexion's axis in the upper segment's own frame, summed over bent poses.
class HingeSum {
 public:
  void add(const Vec3d& upper, const Vec3d& lower) {
    const Vec3d c = cross(normalised(upper), normalised(lower));
    const double bend = length(c);
    if (bend < 0.3) return;  // below 17° noise in the joint centres turns the axis
    sum_ += c;
    total_ += bend;
    ++count_;
  }
  [[nodiscard]] bool usable() const { return count_ >= 8 && length(sum_) > 0.8 * total_; }
  [[nodiscard]] Vec3d axis() const { return normalised(sum_); }
  [[nodiscard]] double concentration() const { return total_ > 0 ? length(sum_) / total_ : 0; }

 private:
  Vec3d sum_{};
  double total_ = 0;
  int count_ = 0;
};

bool isArm(Role upper) { return upper == Role::leftUpperArm || upper == Role::rightUpperArm; }

/// Elbows bend to the front, knees to the back, whatever direction the limb has in the reference pose.
Vec3d customaryHinge(Role upper, const Vec3d& along) {
  const Vec3d towards = isArm(upper) ? front : -front;
  Vec3d axis = cross(along, towards);
  if (length(axis) < 0.35) axis = cross(along, isArm(upper) ? up : -up);
  return normalised(axis, anyPerpendicular(along));
}

/// Flexion axis of elbow or knee in the world, reference pose.
Axis hingeOf(const PosedBody& body, Role upper, const Sampled* sampled) {
  const Role lower = roleAt(indexOf(upper) + 1), end = roleAt(indexOf(upper) + 2);
  const auto a = body.at(upper), b = body.at(lower), c = body.at(end);
  if (!a || !b) return {};
  const Vec3d u = normalised(*b - *a);
  const Vec3d customary = customaryHinge(upper, u);
  if (!c) return {customary, 0.3, "customary"};
  const Vec3d l = normalised(*c - *b);
  const double bend = angleBetween(u, l) / degree;
  const Vec3d bent = normalised(cross(u, l));
  if (sampled && !sampled->rotation.empty()) {
    HingeSum sum;
    const int ju = body.joint(upper), jl = body.joint(lower), je = body.joint(end);
    for (std::size_t i = 0; i < sampled->rotation.size(); ++i) {
      const Quatd back = conjugate(sampled->rotation[i][ju]);
      const auto& p = sampled->position[i];
      sum.add(rotate(back, p[jl] - p[ju]), rotate(back, p[je] - p[jl]));
    }
    if (sum.usable()) {
      const Vec3d axis = rotate(body.rotation[ju], sum.axis());
      return {axis, sum.concentration(), "measured from the motion"};
    }
  }
  // A joint bent on purpose, the way joints bend, shows its axis; less than that is noise of the rest pose.
  if (bend > 25 || (bend > 3 && dot(bent, customary) > 0.7)) return {bent, 0.9, "from the bend of the reference pose"};
  return {customary, 0.5, "customary: straight in the reference pose"};
}

/// The same from a character's own clips, by the curves of the lower joint alone.
Axis hingeFromClips(const PosedBody& body, Role upper) {
  const Figure& figure = *body.figure;
  const int ju = body.joint(upper), jl = body.joint(roleAt(indexOf(upper) + 1)), je = body.joint(roleAt(indexOf(upper) + 2));
  if (ju < 0 || jl < 0 || je < 0 || body.rig.parents[jl] != ju || body.rig.parents[je] != jl || body.rig.hasPost[jl]) return {};
  HingeSum sum;
  const Vec3d along = body.rig.offset(jl), next = body.rig.offset(je);
  int used = 0;
  for (const Clip& clip : figure.clips) {
    for (const KeyedCurve& curve : clip.curves) {
      if (curve.joint != jl || curve.target != CurveTarget::rotation || curve.times.size() < 2) continue;
      for (int i = 0; i < 12; ++i) {
        float v[4];
        evaluate(curve, clip.start + (clip.end - clip.start) * i / 11, v);
        sum.add(along, rotate(normalised(Quatd{v[0], v[1], v[2], v[3]}), next));
      }
      ++used;
    }
    if (used >= 16) break;
  }
  if (!sum.usable()) return {};
  return {rotate(body.rotation[ju], sum.axis()), sum.concentration(), "measured from the file's own clips"};
}

Axis bestHinge(const PosedBody& body, Role upper, const Sampled* sampled) {
  Axis axis = hingeOf(body, upper, sampled);
  if (!sampled && axis.confidence < 0.8) {
    const Axis clips = hingeFromClips(body, upper);
    if (clips.confidence > 0.8) return clips;
  }
  return axis;
}

/// Where the hand points: the fingers' roots, a leaf below it, or the forearm's direction.
Vec3d handDirection(const PosedBody& body, Side side) {
  const bool left = side == Side::left;
  const int hand = body.joint(left ? Role::leftHand : Role::rightHand);
  const int lower = body.joint(left ? Role::leftLowerArm : Role::rightLowerArm);
  Vec3d sum{};
  int count = 0;
  const int base = indexOf(left ? Role::leftIndexProximal : Role::rightIndexProximal);
  for (int finger = 0; finger < 4; ++finger)
    if (const auto p = body.at(roleAt(base + 3 * finger))) {
      sum += *p - body.position[hand];
      ++count;
    }
  const Vec3d forearm = lower >= 0 ? body.position[hand] - body.position[lower] : Vec3d{};
  if (count && length(sum) > 1e-9) return normalised(sum);
  // Unmapped leaves (end sites) tell the direction where they go on from the forearm.
  for (int j = hand + 1; j < body.rig.size(); ++j)
    if (body.rig.parents[j] == hand) {
      const Vec3d d = body.position[j] - body.position[hand];
      if (length(d) > 0.15 * length(forearm) && angleBetween(d, forearm) < 40 * degree) {
        sum += d;
        ++count;
      }
    }
  return normalised(count ? sum : forearm, forearm);
}

/// Direction from the little finger's side to the thumb's side of the palm.
Axis radialOf(const PosedBody& body, Side side, const Vec3d& along, const Vec3d& elbowHinge) {
  const bool left = side == Side::left;
  const auto hand = body.at(left ? Role::leftHand : Role::rightHand);
  const auto index = body.at(left ? Role::leftIndexProximal : Role::rightIndexProximal);
  const auto middle = body.at(left ? Role::leftMiddleProximal : Role::rightMiddleProximal);
  const auto ring = body.at(left ? Role::leftRingProximal : Role::rightRingProximal);
  const auto little = body.at(left ? Role::leftLittleProximal : Role::rightLittleProximal);
  const auto thumbTip = [&]() -> std::optional<Vec3d> {
    for (const Role r : {left ? Role::leftThumbDistal : Role::rightThumbDistal, left ? Role::leftThumbProximal : Role::rightThumbProximal,
                         left ? Role::leftThumbMetacarpal : Role::rightThumbMetacarpal})
      if (const auto p = body.at(r)) return p;
    return std::nullopt;
  }();
  const auto across = [&](const Vec3d& v) { return v - along * dot(v, along); };
  const Vec3d* far = little ? &*little : ring ? &*ring : nullptr;
  const Vec3d* near = index ? &*index : middle && far ? &*middle : nullptr;
  if (near && far) return {normalised(across(*near - *far)), 0.95, "across the knuckles"};
  if (thumbTip && hand) {
    const Vec3d v = across(*thumbTip - *hand);
    if (length(v) > 0.15 * distance(*thumbTip, *hand)) return {normalised(v), 0.8, "towards the thumb"};
  }
  return {normalised(cross(elbowHinge, along)), 0.5, "from the elbow's hinge: the hand shows no thumb"};
}

/// Unit vector out of the top of the foot when its sole stands flat, in the world, reference pose.
Axis soleUp(const PosedBody& body, Role foot, const Sampled* sampled) {
  const int ankle = body.joint(foot);
  if (sampled && sampled->rotation.size() >= 20) {
    const int toes = segmentEnd(*body.map, foot);
    const double leg = body.pose.legLength;
    std::vector<double> heights;
    for (const auto& p : sampled->position) heights.push_back(p[ankle].y);
    std::nth_element(heights.begin(), heights.begin() + static_cast<std::ptrdiff_t>(heights.size() / 20), heights.end());
    const double low = heights[heights.size() / 20];
    std::vector<Vec3d> ups;
    for (std::size_t i = 0; i < sampled->position.size(); ++i) {
      const auto &p = sampled->position[i], &n = sampled->next[i];
      const auto slow = [&](int j) { return distance(p[j], n[j]) < 0.12 * leg * sampled->frameTime; };
      if (p[ankle].y > low + 0.03 * leg || !slow(ankle) || (toes >= 0 && !slow(toes))) continue;
      ups.push_back(rotate(conjugate(sampled->rotation[i][ankle]), up));
    }
    if (ups.size() >= 8) {
      Vec3d mean{};
      for (const Vec3d& v : ups) mean += v;
      mean = normalised(mean);
      // Heel-only and toe-only frames slip in; the nearer half is the flat foot.
      std::sort(ups.begin(), ups.end(), [&](const Vec3d& a, const Vec3d& b) { return dot(a, mean) > dot(b, mean); });
      const std::size_t half = (ups.size() + 1) / 2;
      Vec3d core{};
      for (std::size_t i = 0; i < half; ++i) core += ups[i];
      core = normalised(core);
      if (angleBetween(core, ups[half - 1]) < 6 * degree) {
        const Vec3d world = rotate(body.rotation[ankle], core);
        return {world, 0.95, "measured while the foot stands flat"};
      }
    }
  }
  return {up, body.fromClip ? 0.4 : 0.75, "level in the reference pose"};
}

/// Horizontal heading of the foot along its sole.
Axis footHeading(const PosedBody& body, Role foot, const Vec3d& soleUpDirection) {
  const int ankle = body.joint(foot);
  const auto flat = [&](const Vec3d& v) { return v - soleUpDirection * dot(v, soleUpDirection); };
  const double leg = body.pose.legLength;
  int toes = segmentEnd(*body.map, foot);
  if (toes < 0)
    for (int j = ankle + 1; j < body.rig.size(); ++j)
      if (body.rig.parents[j] == ankle && length(flat(body.position[j] - body.position[ankle])) > 0.1 * leg) toes = j;
  if (toes >= 0) {
    const Vec3d d = flat(body.position[toes] - body.position[ankle]);
    if (length(d) > 0.05 * leg) return {normalised(d), 0.9, "ankle to toes along the sole"};
  }
  return {normalised(flat(front), front), 0.5, "the body's front: the foot shows no toes"};
}

Vec3d trunkUp(const PosedBody& body) {
  const auto a = body.at(Role::leftUpperLeg), b = body.at(Role::rightUpperLeg);
  const auto top = body.at(Role::neck) ? body.at(Role::neck) : body.at(Role::head);
  if (!a || !b || !top) return up;
  return normalised(*top - (*a + *b) * 0.5, up);
}

Vec3d leftwards(const PosedBody& body, bool shoulders) {
  const auto a = body.at(shoulders ? Role::leftUpperArm : Role::leftUpperLeg), b = body.at(shoulders ? Role::rightUpperArm : Role::rightUpperLeg);
  return a && b ? normalised(*a - *b) : Vec3d{1, 0, 0};
}

/// How far (radians about `along`) a forearm turns with its hand, where one figure's reference pose shows the palm and the other the back
/// of the hand: a wrist that took all of it would be wrung. It is real arms' own way too, whose radius turns from the elbow on. The
/// elbow takes a little more than half, since captured wrists add their own roll and captured elbows hardly any; of small differences
/// it takes nothing.
double sharedRoll(const Quatd& forearm, const Quatd& hand, const Vec3d& along) {
  constexpr double none = 20 * degree, all = 60 * degree, share = 0.6;
  const Quatd twist = swingTwist(normalised(hand * conjugate(forearm)), normalised(along)).twist;
  const double roll = length(logOf(twist)), part = std::clamp((roll - none) / (all - none), 0.0, 1.0);
  return std::copysign(share * roll * part, dot(logOf(twist), along));
}

struct Frames {
  Quatd performer, character;
  double confidence = 1;
  std::string reason;
};

}  // namespace

bool sameBody(const PosedBody& a, const PosedBody& b) {
  const double size = std::max(a.pose.legLength, 1e-9);
  for (int i = 0; i < roleCount; ++i) {
    const int ja = a.map->roles[i].first(), jb = b.map->roles[i].first();
    if ((ja < 0) != (jb < 0)) return false;
    if (ja < 0) continue;
    if (angleBetween(a.rotation[ja], b.rotation[jb]) > 1e-5) return false;
    if (distance(a.position[ja], b.position[jb]) > 1e-5 * size) return false;
  }
  return true;
}

Alignment alignBodies(const PosedBody& performer, const Motion& clip, const PosedBody& character, const RetargetSettings& settings) {
  Alignment alignment;
  const bool same = sameBody(performer, character);
  const bool posture = !performer.fromClip;  // a pose made as a reference: the character's own posture is kept
  const Sampled sampled = same ? Sampled{} : sampleMotion(performer, clip);

  const auto set = [&](Role role, const Quatd& a, bool aligned, double confidence, std::string reason) {
    RoleAlignment& entry = alignment[indexOf(role)];
    entry.aligned = aligned;
    entry.correction = a;
    entry.confidence = confidence;
    entry.reason = std::move(reason);
  };
  const auto matched = [&](Role role, const Quatd& f, const Quatd& g, double confidence, const std::string& reason) {
    set(role, same ? Quatd{} : normalised(f * conjugate(g)), true, confidence, same ? "same body" : reason);
  };
  const auto bothHave = [&](Role role) { return performer.has(role) && character.has(role); };
  const auto keep = [&](Role role, const std::string& reason) { set(role, {}, false, 1, reason); };

  // Trunk and head.
  const Role trunk[] = {Role::hips, Role::spine, Role::chest, Role::upperChest, Role::neck, Role::head, Role::jaw, Role::leftEye, Role::rightEye};
  const Quatd trunkPerformer = frameOf(trunkUp(performer), leftwards(performer, false));
  const Quatd trunkCharacter = frameOf(trunkUp(character), leftwards(character, false));
  for (const Role role : trunk) {
    const auto choice = settings.alignmentChoices.find(role);
    const bool match = choice != settings.alignmentChoices.end() ? choice->second : !posture;
    if (match)
      matched(role, trunkPerformer, trunkCharacter, posture ? 0.9 : 0.7, "trunk axis and hips' line matched");
    else
      keep(role, "the character keeps its own posture");
  }
  for (const Role role : {Role::leftShoulder, Role::rightShoulder}) {
    const auto choice = settings.alignmentChoices.find(role);
    const bool match = choice != settings.alignmentChoices.end() ? choice->second : !posture;
    const int a = segmentEnd(*performer.map, role), b = segmentEnd(*character.map, role);
    if (match && bothHave(role) && a >= 0 && b >= 0)
      matched(role, frameOf(performer.position[a] - performer.position[performer.joint(role)], trunkUp(performer)),
              frameOf(character.position[b] - character.position[character.joint(role)], trunkUp(character)), 0.7, "collar line matched");
    else
      keep(role, "the character keeps its own posture");
  }

  // Limbs: the segment's direction and the hinge; hands and feet by palm and sole.
  for (const bool left : {true, false}) {
    const Side side = left ? Side::left : Side::right;
    Quatd handCorrection;
    for (const bool arm : {true, false}) {
      const Role upper = arm ? (left ? Role::leftUpperArm : Role::rightUpperArm) : (left ? Role::leftUpperLeg : Role::rightUpperLeg);
      const Role lower = roleAt(indexOf(upper) + 1), end = roleAt(indexOf(upper) + 2);
      if (!bothHave(upper) || !bothHave(lower)) {
        keep(upper, "not on both figures");
        keep(lower, "not on both figures");
        keep(end, "not on both figures");
        continue;
      }
      const Axis hs = bestHinge(performer, upper, &sampled), ht = bestHinge(character, upper, nullptr);
      const std::string reason = "direction and hinge (performer: " + hs.reason + "; character: " + ht.reason + ")";
      const double confidence = std::min(hs.confidence, ht.confidence);
      const Vec3d us = *performer.at(lower) - *performer.at(upper), ut = *character.at(lower) - *character.at(upper);
      matched(upper, frameOf(us, hs.direction), frameOf(ut, ht.direction), confidence, reason);
      if (!bothHave(end)) {
        set(lower, alignment[indexOf(upper)].correction, true, confidence, "as the segment above");
        keep(end, "not on both figures");
        continue;
      }
      const Vec3d ls = *performer.at(end) - *performer.at(lower), lt = *character.at(end) - *character.at(lower);
      matched(lower, frameOf(ls, hs.direction), frameOf(lt, ht.direction), confidence, reason);
      if (arm) {
        const Vec3d ds = handDirection(performer, side), dt = handDirection(character, side);
        const Axis rs = radialOf(performer, side, ds, hs.direction), rt = radialOf(character, side, dt, ht.direction);
        // Palms are compared only where both show them: a measured palm against a guessed one would turn the hand.
        const bool palms = rs.confidence > 0.7 && rt.confidence > 0.7;
        const Vec3d ss = palms ? rs.direction : cross(hs.direction, ds), st = palms ? rt.direction : cross(ht.direction, dt);
        matched(end, frameOf(ds, ss), frameOf(dt, st), palms ? std::min(rs.confidence, rt.confidence) : 0.5,
                palms ? "hand and palm (" + rs.reason + ")" : "hand's direction; its roll goes with the elbow");
        handCorrection = alignment[indexOf(end)].correction;
        RoleAlignment& forearm = alignment[indexOf(lower)];
        if (palms && !same) {
          if (const double roll = sharedRoll(forearm.correction, handCorrection, ls); std::abs(roll) > 0) {
            forearm.correction = normalised(fromAxisAngle(normalised(ls), roll) * forearm.correction);
            forearm.reason += "; it goes along with the palm by " + std::to_string(static_cast<int>(std::lround(std::abs(roll) / degree))) + "°";
          }
        }
      } else {
        const Axis us2 = soleUp(performer, end, &sampled), ut2 = soleUp(character, end, nullptr);
        const Axis hs2 = footHeading(performer, end, us2.direction), ht2 = footHeading(character, end, ut2.direction);
        matched(end, frameOf(hs2.direction, us2.direction), frameOf(ht2.direction, ut2.direction),
                std::min({us2.confidence, ut2.confidence, hs2.confidence, ht2.confidence}),
                "sole and heading (performer: sole " + us2.reason + ", heading " + hs2.reason + ")");
        const Role toes = roleAt(indexOf(end) + 1);
        set(toes, alignment[indexOf(end)].correction, true, 0.8, "with the foot");
      }
    }
    // Fingers follow the hand; a segment with a direction on both figures is laid onto it, thumbs keep their own set.
    const int base = indexOf(left ? Role::leftThumbMetacarpal : Role::rightThumbMetacarpal);
    for (int k = 0; k < 15; ++k) {
      const Role role = roleAt(base + k);
      const int a = segmentEnd(*performer.map, role), b = segmentEnd(*character.map, role);
      const int parentOnBoth = k % 3 ? base + k - 1 : -1;
      if (bothHave(role) && k >= 3 && a >= 0 && b >= 0) {
        const Vec3d ds = performer.position[a] - performer.position[performer.joint(role)];
        const Vec3d dt = character.position[b] - character.position[character.joint(role)];
        // Turn the hand's correction by the least rotation that lays the directions onto each other.
        const Quatd least = rotationBetween(normalised(rotate(handCorrection, dt)), normalised(ds));
        set(role, same ? Quatd{} : least * handCorrection, true, 0.7, "finger's direction");
      } else if (k >= 3 && parentOnBoth >= 0 && bothHave(roleAt(parentOnBoth))) {
        set(role, alignment[parentOnBoth].correction, true, 0.6, "with the segment before");
      } else {
        set(role, handCorrection, true, 0.6, "with the hand");
      }
    }
  }

  for (const auto& [role, choice] : settings.alignmentChoices)
    if (!choice && alignment[indexOf(role)].aligned) keep(role, "the character keeps its own posture, as chosen");
  for (const auto& [role, turn] : settings.alignmentOffsets) {
    RoleAlignment& entry = alignment[indexOf(role)];
    entry.correction = normalised(entry.correction * expOf(turn));
    entry.reason += "; turned by hand";
  }
  return alignment;
}

}  // namespace understudy
