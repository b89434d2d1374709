#include "core/contact/contacts.h"

#include "core/contact/contact_spans.h"
#include "core/contact/in_place.h"
#include "core/contact/posture.h"
#include "core/contact/whirls.h"
#include "core/math/median.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace understudy {
namespace {

struct FootJoints {
  int ankle = -1, ball = -1;
};

struct FootPoses {
  std::vector<Affined> ankle;  // file space
  std::vector<Vec3d> at, ball, lowest;  // world metres
};

// Frames in which the foot stands: both joints still, and of those the lower half, as a raised heel or a foot held in the
// air is no standing foot. Where nothing is that still, the slowest tenth serves. Of a performer that sits or lies at times, only frames
// in which it is on its feet tell, where there are enough of them.
std::vector<int> standingFrames(const FootPoses& poses, double rate, double leg, const std::vector<char>& onFeet) {
  const std::vector<Vec3d> va = velocities(poses.at, rate, shortReach(rate)), vb = velocities(poses.ball, rate, shortReach(rate));
  const int n = static_cast<int>(va.size());
  const bool any = std::count(onFeet.begin(), onFeet.end(), 1) >= 4;
  std::vector<double> speed(va.size()), sorted;
  for (int i = 0; i < n; ++i) {
    speed[i] = std::max(length(va[i]), length(vb[i])) / leg;
    if (!any || onFeet[i]) sorted.push_back(speed[i]);
  }
  std::sort(sorted.begin(), sorted.end());
  const double limit = std::max(0.15, sorted[sorted.size() / 10]);
  std::vector<int> frames;
  for (int i = 0; i < n; ++i)
    if (speed[i] <= limit && (!any || onFeet[i])) frames.push_back(i);
  const auto height = [&](int i) { return poses.at[i].y + poses.ball[i].y; };
  std::stable_sort(frames.begin(), frames.end(), [&](int a, int b) { return height(a) < height(b); });
  const std::size_t skip = frames.size() / 20;
  const std::size_t keep = std::max<std::size_t>(1, (frames.size() + 1) / 2);
  return {frames.begin() + static_cast<std::ptrdiff_t>(std::min(skip, keep - 1)), frames.begin() + static_cast<std::ptrdiff_t>(keep)};
}

int ballJoint(const Figure& figure, const SkeletonMap& map, Role toes, int foot, const std::vector<Affined>& rest) {
  if (map.joint(toes) >= 0) return map.joint(toes);
  // One-bone feet: the farthest joint below the foot, often an end site.
  int best = -1;
  double reach = 0;
  for (int j = 0; j < figure.skeleton.size(); ++j) {
    if (!isAncestor(figure.skeleton, foot, j) || j == foot) continue;
    const double d = distance(rest[j].translation, rest[foot].translation);
    if (d > reach) reach = d, best = j;
  }
  return best;
}

/// True where the level is one at which a foot only hangs still: it is much lower for long, and does not rest there.
bool hangs(const Track& heel, const Track& ball, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(heel.height.size());
  int lower = 0, rests = 0;
  for (int i = 0; i < n; ++i) {
    if (std::min(heel.height[i], ball.height[i]) > -s.airHeight) continue;
    ++lower;
    rests += std::min(heel.speed[i], ball.speed[i]) < s.still;
  }
  return lower >= s.airPart * n && rests < std::max(1.0, s.shortest * rate);
}

}  // namespace

Result<Contacts> findContacts(const Figure& figure, const SkeletonMap& map, const Motion& motion, const ContactSettings& settings,
                              const RunControl& control) {
  const Skeleton& skeleton = figure.skeleton;
  if (motion.joints != skeleton.size())
    return makeError(Fault::input, "The motion has " + std::to_string(motion.joints) + " joints, the skeleton " + std::to_string(skeleton.size()),
                     figure.path, "Use a motion of this file");
  if (motion.frames < 1) return makeError(Fault::input, "The motion has no frames", figure.path, "Choose a clip that has some");
  const double rate = motion.rate.hertz();
  if (!std::isfinite(rate) || rate <= 0) return makeError(Fault::input, "The motion's frame rate is not positive", figure.path, "State a frame rate");

  constexpr std::array<std::array<Role, 4>, 2> legs{{{Role::leftUpperLeg, Role::leftLowerLeg, Role::leftFoot, Role::leftToes},
                                                     {Role::rightUpperLeg, Role::rightLowerLeg, Role::rightFoot, Role::rightToes}}};
  Contacts contacts;
  const Affined toWorld = figure.space.toWorld();
  const std::vector<Affined> rest = restWorld(skeleton);
  std::array<FootJoints, 2> joints;
  std::vector<double> lengths;
  for (int side = 0; side < 2; ++side) {
    const int hip = map.joint(legs[side][0]), knee = map.joint(legs[side][1]), foot = map.joint(legs[side][2]);
    for (const Role role : legs[side])
      if (map.joint(role) >= skeleton.size())
        return makeError(Fault::mapping, "The bone map names a joint the skeleton does not have", std::string(roleName(role)), "Map the performer again");
    if (foot < 0) {
      contacts.issues.push_back(makeWarning("No joint is mapped to this foot: its contacts are not found", std::string(roleName(legs[side][2])),
                                            "Map the foot"));
      continue;
    }
    joints[side] = {foot, ballJoint(figure, map, legs[side][3], foot, rest)};
    if (hip >= 0 && knee >= 0)
      lengths.push_back((distance(rest[hip].translation, rest[knee].translation) + distance(rest[knee].translation, rest[foot].translation)) *
                        figure.space.metresPerUnit);
  }
  if (joints[0].ankle < 0 && joints[1].ankle < 0)
    return makeError(Fault::mapping, "No foot of the performer is mapped", figure.path, "Map leftFoot and rightFoot");
  for (const double l : lengths) contacts.leg = std::max(contacts.leg, l);
  if (!std::isfinite(contacts.leg) || contacts.leg < 1e-6)
    return makeError(Fault::mapping, "No leg of the performer can be measured", figure.path, "Map upper and lower leg of a mapped foot");
  const double leg = contacts.leg;

  std::array<Sole, 2> soles;
  if (figure.hasSkin()) {
    const Vec3d up = transposed(toMatrix(figure.space.worldFromFile)) * Vec3d{0, 1, 0};
    soles = findSoles(figure, map, bindWorld(figure), up);
  }

  std::array<FootPoses, 2> poses;
  std::array<std::vector<double>, 2> reaches;  // of the legs, parts of their length
  Posture posture(figure, map, leg);
  std::vector<Affined> world(static_cast<std::size_t>(skeleton.size()));
  for (int f = 0; f < motion.frames; ++f) {
    if (f % 256 == 0) {
      if (control.stopped()) return RunControl::cancelled();
      control.report(static_cast<double>(f) / motion.frames, "Finding ground contacts");
    }
    worldAt(skeleton, motion, f, world);
    posture.add(world);
    for (int side = 0; side < 2; ++side) {
      if (joints[side].ankle < 0) continue;
      FootPoses& p = poses[side];
      p.ankle.push_back(world[joints[side].ankle]);
      p.at.push_back(apply(toWorld, world[joints[side].ankle].translation));
      const int hip = map.joint(side == 0 ? Role::leftUpperLeg : Role::rightUpperLeg);
      reaches[side].push_back(hip < 0 ? 0 : distance(apply(toWorld, world[hip].translation), p.at.back()) / leg);
      p.ball.push_back(joints[side].ball < 0 ? p.at.back() : apply(toWorld, world[joints[side].ball].translation));
      if (!isFinite(p.at.back()) || !isFinite(p.ball.back()))
        return makeError(Fault::input, "The foot has no finite position", figure.path + ", frame " + std::to_string(f + 1), "Repair or trim the clip");
      if (!soles[side].fromSkin) continue;
      Vec3d lowest{0, std::numeric_limits<double>::max(), 0};
      for (const JointPoint& point : soles[side].points) {
        const Vec3d at = apply(toWorld, apply(world[point.joint], point.local));
        if (at.y < lowest.y) lowest = at;
      }
      p.lowest.push_back(lowest);
    }
  }

  std::array<double, 2> ground{};
  std::array<std::vector<int>, 2> stands;
  std::vector<double> floors;
  for (int side = 0; side < 2; ++side) {
    if (joints[side].ankle < 0) continue;
    const FootPoses& p = poses[side];
    FootContact& foot = contacts.feet[side];
    stands[side] = standingFrames(p, rate, leg, posture.onFeet());
    const std::vector<int>& standing = stands[side];
    std::vector<double> levels;
    for (const int f : standing) levels.push_back(p.lowest.empty() ? p.ball[f].y - settings.ballAbove * leg : p.lowest[f].y);
    ground[side] = median(levels);
    floors.push_back(ground[side]);
    // The heel: behind the ankle and on the ground while the foot stands, fixed to the foot ever after.
    std::array<std::vector<double>, 3> local;
    const Affined fromWorld = inverse(toWorld);
    for (const int f : standing) {
      Vec3d ahead = p.ball[f] - p.at[f];
      ahead.y = 0;
      Vec3d heel = p.at[f] - normalised(ahead) * (settings.heelBehind * leg);
      heel.y = ground[side];
      const Vec3d inFoot = apply(inverse(p.ankle[f]), apply(fromWorld, heel));
      for (int k = 0; k < 3; ++k) local[k].push_back(inFoot[k]);
    }
    const Vec3d inFoot{median(local[0]), median(local[1]), median(local[2])};
    if (!isFinite(inFoot))
      return makeError(Fault::input, "The foot's transform cannot be inverted", jointKey(skeleton, joints[side].ankle), "Remove zero scale from the joint");
    foot.ball = p.ball;
    for (const Affined& a : p.ankle) foot.heel.push_back(apply(toWorld, apply(a, inFoot)));
    std::vector<double> heelLevels, ballLevels;
    for (const int f : standing) {
      heelLevels.push_back(foot.heel[f].y);
      ballLevels.push_back(foot.ball[f].y);
    }
    foot.heelLevel = median(heelLevels);
    foot.ballLevel = median(ballLevels);
  }
  contacts.floor = floors.size() == 2 ? 0.5 * (floors[0] + floors[1]) : floors.front();

  std::array<Track, 2> heels, balls;
  std::array<std::vector<double>, 2> stepping;
  for (int side = 0; side < 2; ++side) {
    const FootContact& foot = contacts.feet[side];
    if (foot.heel.empty()) continue;
    heels[side] = trackOf(foot.heel, foot.heelLevel, rate, leg, stands[side]);
    balls[side] = trackOf(foot.ball, foot.ballLevel, rate, leg, stands[side]);
    for (std::size_t i = 0; i < foot.heel.size(); ++i) stepping[side].push_back(std::min(heels[side].speed[i], balls[side].speed[i]));
  }
  for (int side = 0; side < 2; ++side) {
    FootContact& foot = contacts.feet[side];
    if (foot.heel.empty()) continue;
    const Track &heel = heels[side], &ball = balls[side];
    if (hangs(heel, ball, rate, settings)) {
      contacts.inPlace = true;
      foot.phases.assign(foot.heel.size(), FootPhase::none);
      continue;
    }
    findSpans(foot, heel, ball, rate, leg, settings);
    if (!stepping[1 - side].empty()) findRaised(foot, heel, ball, posture.onFeet(), reaches[side], stepping[1 - side], rate, settings);
    trimWhirls(foot, rate, settings);
    std::erase_if(foot.spans, [&](const ContactSpan& span) {
      const auto mostly = [&](const std::vector<char>& list) { return 2 * std::count(list.begin() + span.first, list.begin() + span.last + 1, 1) > span.last - span.first + 1; };
      return mostly(posture.lies()) || mostly(posture.shankLies(side));
    });
    for (ContactSpan& span : foot.spans) {
      const double level = levelOf(span, heel, ball, settings);
      if (level == 0) describe(foot, span, heel, ball, leg, contacts.floor, ground[side], settings);
      else describe(foot, span, raised(heel, level), raised(ball, level), leg, contacts.floor, ground[side] + level * leg, settings);
    }
  }
  dropInPlace(contacts, settings);
  if (contacts.inPlace && contacts.feet[0].spans.empty() && contacts.feet[1].spans.empty())
    contacts.issues.push_back(makeNote("The feet never stand still on the ground, as where a clip walks or runs in place: none of them is planted", figure.path, {}));
  control.report(1, "Finding ground contacts");
  return contacts;
}

}  // namespace understudy
