#include "core/contact/contacts.h"

#include "core/contact/in_place.h"
#include "core/contact/posture.h"
#include "core/contact/whirls.h"

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

double median(std::vector<double> values) {
  if (values.empty()) return 0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// About 10 ms, at least one frame: long enough for the noise of good capture, short enough for a landing.
int shortReach(double rate) { return std::max(1, static_cast<int>(std::lround(rate * 0.01))); }

// Metres a second over `reach` frames on either side.
std::vector<Vec3d> velocities(const std::vector<Vec3d>& path, double rate, int reach) {
  const int n = static_cast<int>(path.size());
  std::vector<Vec3d> result(path.size());
  for (int i = 0; i < n; ++i) {
    const int a = std::max(0, i - reach), b = std::min(n - 1, i + reach);
    if (b > a) result[i] = (path[b] - path[a]) * (rate / (b - a));
  }
  return result;
}

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

struct Track {
  std::vector<double> height, speed, rise;  // leg, legs a second
  double unrest = 0;                        // of `rise` while the foot stands
  int extraReach = 0;                       // frames by which noise lengthened the velocities' spans

  [[nodiscard]] bool maybe(int i, const ContactSettings& s) const { return height[i] < s.nearHeight && speed[i] < s.slow; }
};

// Velocities are taken over longer spans, up to 40 ms on either side, while a standing foot still seems to move up and down.
Track trackOf(const std::vector<Vec3d>& path, double level, double rate, double leg, const std::vector<int>& standing) {
  constexpr double calm = 0.08;  // leg/s, half of what a gentle landing shows
  Track track;
  for (const Vec3d& p : path) track.height.push_back((p.y - level) / leg);
  const int shortest = shortReach(rate), longest = std::max(shortest, static_cast<int>(std::lround(rate * 0.04)));
  for (int reach = shortest; reach <= longest; ++reach) {
    const std::vector<Vec3d> v = velocities(path, rate, reach);
    double sum = 0;
    for (const int f : standing) sum += v[f].y * v[f].y;
    track.unrest = std::sqrt(sum / std::max<double>(1, static_cast<double>(standing.size()))) / leg;
    track.extraReach = reach - shortest;
    if (track.unrest > calm && reach < longest) continue;
    for (const Vec3d& one : v) {
      track.speed.push_back(length(one) / leg);
      track.rise.push_back(one.y / leg);
    }
    break;
  }
  return track;
}

// Where the parabola through three neighbouring values has its extreme, −.5 … .5 from the middle one.
double vertex(double before, double at, double after) {
  const double curve = before - 2 * at + after;
  return std::abs(curve) < 1e-12 ? 0 : std::clamp(0.5 * (before - after) / curve, -0.5, 0.5);
}

// Frame (with fraction) of the landing of a run that became slow and near at `start`.
double landingFrame(const Track& t, int start, int end, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(t.height.size());
  const int from = std::max(0, start - static_cast<int>(std::floor(s.searchBefore * rate)));
  const int to = std::min({n - 1, end, start + static_cast<int>(std::ceil(s.searchAfter * rate))});
  int best = from;
  for (int i = from; i <= to; ++i)
    if (t.rise[i] < t.rise[best]) best = i;
  double frame = start;
  if (t.rise[best] < -std::max(s.fall, 3 * t.unrest)) {  // else noise could be taken for a fall
    frame = best;
    if (best > from && best < to) frame += vertex(t.rise[best - 1], t.rise[best], t.rise[best + 1]);
  }
  // A foot put down gently is still falling after its fastest fall.
  for (int i = static_cast<int>(std::floor(frame)); i < to && t.height[i] > s.landHeight; ++i) {
    const double drop = t.height[i] - t.height[i + 1];
    if (t.height[i + 1] <= s.landHeight && drop > 0)
      frame = std::max(frame, i + (t.height[i] - s.landHeight) / drop);
    else
      frame = std::max(frame, i + 1.0);
  }
  return frame;
}

// Frame (with fraction) at which the last point to leave becomes fast or high after `last`; where push-off throws it into
// swing, the moment its acceleration has risen to half its peak: while the foot bears load, the ground holds it back.
double leavingFrame(const Track& heel, const Track& ball, int last, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(ball.speed.size());
  double frame = last;
  const Track* leaves = nullptr;
  for (const Track* t : {&heel, &ball}) {
    if (!t->maybe(last, s)) continue;
    double part = 1;
    const double v0 = t->speed[last], v1 = t->speed[last + 1], h0 = t->height[last], h1 = t->height[last + 1];
    if (v1 >= s.slow) part = std::min(part, (s.slow - v0) / (v1 - v0));
    if (h1 >= s.nearHeight) part = std::min(part, (s.nearHeight - h0) / (h1 - h0));
    if (last + part > frame) frame = last + part, leaves = t;
  }
  if (!leaves) return frame;
  // Over as many frames as keep the capture's noise below the push.
  int reach = leaves->extraReach;
  while (4 * leaves->unrest * rate / (1 + 2 * reach) > s.push && (reach + 1) < 0.03 * rate) ++reach;
  const auto gain = [&](int i) {  // at i + ½
    const int a = std::max(0, i - reach), b = std::min(n - 1, i + 1 + reach);
    return (leaves->speed[b] - leaves->speed[a]) * rate / (b - a);
  };
  const int from = std::max(0, static_cast<int>(std::floor(frame - s.searchBefore * rate)));
  const int to = std::min(n - 2, static_cast<int>(std::ceil(frame + s.searchAfter * rate)));
  int peak = from;
  for (int i = from; i <= to; ++i)
    if (gain(i) > gain(peak)) peak = i;
  const double half = 0.5 * gain(peak);
  if (2 * half < s.push) return frame;
  double rises = from;
  for (int i = peak - 1; i >= from; --i)
    if (gain(i) < half) {
      rises = i + 0.5 + (half - gain(i)) / (gain(i + 1) - gain(i));
      break;
    }
  return std::max(0.0, std::clamp(rises, frame - s.searchBefore * rate, frame + s.searchBefore * rate));
}

struct Run {
  int first, last;
};

// A careful step may never become fast or high: the foot rests, travels with heel and ball off the ground, and rests again.
std::vector<Run> splitAtSlowSteps(const std::vector<Run>& runs, const Track& heel, const Track& ball, double rate, double leg,
                                  const FootContact& foot, const ContactSettings& s) {
  std::vector<Run> result;
  for (const Run& run : runs) {
    Run part = run;
    int rested = -1, left = -1;  // last rest; first frame in the air since
    int landed = -1;             // last frame in the air since
    for (int i = run.first; i <= run.last; ++i) {
      const double slower = std::min(heel.speed[i], ball.speed[i]);
      if (slower < s.still && std::min(heel.height[i], ball.height[i]) < s.stepLift) {
        if (left >= 0 && (landed - left + 1) / rate >= s.shortest && distance(foot.ball[rested], foot.ball[i]) > s.stepLength * leg &&
            distance(foot.heel[rested], foot.heel[i]) > s.stepLength * leg) {
          result.push_back({part.first, left - 1});
          part.first = landed + 1;
        }
        rested = i;
        left = -1;
      } else if (rested >= 0 && slower >= s.still && std::min(heel.height[i], ball.height[i]) >= s.stepLift) {
        if (left < 0) left = i;
        landed = i;
      }
    }
    result.push_back(part);
  }
  return result;
}

void findSpans(FootContact& foot, const Track& heel, const Track& ball, double rate, double leg, const ContactSettings& s) {
  const int n = static_cast<int>(foot.heel.size());
  foot.phases.assign(foot.heel.size(), FootPhase::none);
  std::vector<Run> runs;
  for (int i = 0; i < n; ++i) {
    if (!heel.maybe(i, s) && !ball.maybe(i, s)) continue;
    if (!runs.empty() && (i - runs.back().last - 1) / rate < s.shortest && i - runs.back().last <= std::max(1.0, s.shortest * rate))
      runs.back().last = i;
    else
      runs.push_back({i, i});
  }
  runs = splitAtSlowSteps(runs, heel, ball, rate, leg, foot, s);
  for (const Run& run : runs) {
    ContactSpan span;
    span.landingSeen = run.first > 0;
    span.leavingSeen = run.last < n - 1;
    double from = run.first, to = run.last;
    if (span.landingSeen) {
      // The lower end of the foot lands; the other one follows.
      const Track& lands = heel.height[run.first] <= ball.height[run.first] ? heel : ball;
      from = landingFrame(lands, run.first, run.last, rate, s);
    }
    if (span.leavingSeen) to = leavingFrame(heel, ball, run.last, rate, s);
    const bool cut = !span.landingSeen || !span.leavingSeen;
    if (!cut && (to - from) / rate < s.shortest) continue;
    span.first = std::max(0, static_cast<int>(std::ceil(from - 1e-9)));
    span.last = span.leavingSeen ? static_cast<int>(std::ceil(to - 1e-9)) - 1 : n - 1;
    if (!foot.spans.empty()) span.first = std::max(span.first, foot.spans.back().last + 1);
    if (span.last < span.first) continue;
    span.landing = from / rate;
    span.leaving = to / rate;
    foot.spans.push_back(span);
  }
}

// Phases and the stationary part of one span.
void describe(FootContact& foot, ContactSpan& span, const Track& heel, const Track& ball, double leg, double floor, double groundUnderBall,
              const ContactSettings& s) {
  // The ground may be higher or lower here than where the levels were taken: its height is that of the stillest frames.
  std::vector<double> heelHeights, ballHeights;
  for (int i = span.first; i <= span.last; ++i) {
    if (ball.speed[i] >= s.still) continue;
    ballHeights.push_back(ball.height[i]);
    if (heel.speed[i] < s.still) heelHeights.push_back(heel.height[i]);
  }
  const double ballBase = std::clamp(median(ballHeights), -s.nearHeight, s.nearHeight);
  const double heelBase = std::clamp(median(heelHeights), -s.nearHeight, s.nearHeight);
  int lastBall = -1, lastHeel = -1, firstBall = -1;
  for (int i = span.first; i <= span.last; ++i) {
    if (ball.height[i] - ballBase < s.downHeight && ball.speed[i] < s.settled) {
      if (firstBall < 0) firstBall = i;
      lastBall = i;
    }
    if (heel.height[i] - heelBase < s.downHeight && heel.speed[i] < s.slow) lastHeel = i;
  }
  const bool heelFirst = span.landingSeen ? heel.height[span.first] <= ball.height[span.first] + s.downHeight / 2
                                          : heel.height[span.first] - heelBase < s.downHeight;
  for (int i = span.first; i <= span.last; ++i) {
    const bool ballIsDown = firstBall >= 0 && i >= firstBall && i <= lastBall;
    const bool heelIsDown = i <= lastHeel && (heelFirst || (heel.height[i] - heelBase < s.downHeight && heel.speed[i] < s.settled));
    FootPhase phase = heelIsDown && ballIsDown ? FootPhase::flat : heelIsDown ? FootPhase::heel : FootPhase::ball;
    if (!heelIsDown && lastBall >= 0 && i > lastBall) phase = FootPhase::toe;
    foot.phases[i] = phase;
    const double pivotSpeed = phase == FootPhase::heel ? heel.speed[i] : phase == FootPhase::flat ? std::min(heel.speed[i], ball.speed[i]) : ball.speed[i];
    if (pivotSpeed < s.still) {
      if (span.stillFirst < 0) span.stillFirst = i;
      span.stillLast = i;
      ++span.stillFrames;
    }
  }
  span.height = groundUnderBall + ballBase * leg - floor;
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

  for (int side = 0; side < 2; ++side) {
    FootContact& foot = contacts.feet[side];
    if (foot.heel.empty()) continue;
    const Track heel = trackOf(foot.heel, foot.heelLevel, rate, leg, stands[side]);
    const Track ball = trackOf(foot.ball, foot.ballLevel, rate, leg, stands[side]);
    if (hangs(heel, ball, rate, settings)) {
      contacts.inPlace = true;
      foot.phases.assign(foot.heel.size(), FootPhase::none);
      continue;
    }
    findSpans(foot, heel, ball, rate, leg, settings);
    trimWhirls(foot, rate, settings);
    std::erase_if(foot.spans, [&](const ContactSpan& span) {
      return 2 * std::count(posture.lies().begin() + span.first, posture.lies().begin() + span.last + 1, 1) > span.last - span.first + 1;
    });
    for (ContactSpan& span : foot.spans) describe(foot, span, heel, ball, leg, contacts.floor, ground[side], settings);
  }
  dropInPlace(contacts, settings);
  if (contacts.inPlace && contacts.feet[0].spans.empty() && contacts.feet[1].spans.empty())
    contacts.issues.push_back(makeNote("The feet never stand still on the ground, as where a clip walks or runs in place: none of them is planted", figure.path, {}));
  control.report(1, "Finding ground contacts");
  return contacts;
}

}  // namespace understudy
