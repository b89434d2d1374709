#include "samples/performance.h"

#include <algorithm>
#include <cmath>

#include "samples/feet.h"
#include "samples/random.h"
#include "samples/track.h"

namespace understudy::samples {
namespace {

constexpr double degree = M_PI / 180;
const Vec3d axisX{1, 0, 0}, axisY{0, 1, 0}, axisZ{0, 0, 1};

Quatd about(const Vec3d& axis, double degrees) {
  return fromAxisAngle(axis, degrees * degree);
}
Vec3d across(const Vec3d& v, const Vec3d& unit) {
  return v - unit * dot(v, unit);
}

constexpr int parents[jointCount] = {-1,       pelvis,    spine1,    spine2,      spine3,    neck,         spine3, leftClav,
                                     leftArm,  leftFore,  leftHand,  leftIndex1,  leftHand,  leftMiddle1,  spine3, rightClav,
                                     rightArm, rightFore, rightHand, rightIndex1, rightHand, rightMiddle1, pelvis, leftThigh,
                                     leftShin, leftFoot,  pelvis,    rightThigh,  rightShin, rightFoot};
constexpr const char* names[jointCount] = {"pelvis", "spine1", "spine2",  "spine3",  "neck",     "head",     "LClav",  "LArm",
                                           "LFore",  "LHand",  "LIndex1", "LIndex2", "LMiddle1", "LMiddle2", "RClav",  "RArm",
                                           "RFore",  "RHand",  "RIndex1", "RIndex2", "RMiddle1", "RMiddle2", "LThigh", "LShin",
                                           "LFoot",  "LToes",  "RThigh",  "RShin",   "RFoot",    "RToes"};

// Segment shares of body height from Drillis and Contini (via Winter, Biomechanics and Motor Control).
Performer makePerformer(Pcg32& random, bool asDrawn) {
  const auto vary = [&](double spread) { return asDrawn ? 1.0 : 1 + random.between(-spread, spread); };
  Performer p;
  p.height = 1.78 * vary(0.06);
  const double h = p.height;
  const double ankle = 0.039 * h, knee = 0.285 * h * vary(0.01), hip = 0.530 * h, shoulder = 0.818 * h;
  const double upperArm = 0.186 * h * vary(0.02), fore = 0.146 * h * vary(0.02), hand = 0.055 * h;
  const double halfHip = 0.051 * h, halfShoulder = 0.108 * h * vary(0.03), rise = 0.024 * h;
  p.offset[pelvis] = {0, hip + rise, 0};
  const double trunk = shoulder - (hip + rise);
  p.offset[spine1] = {0, 0.21 * trunk, -0.006 * h};
  p.offset[spine2] = {0, 0.27 * trunk, 0.004 * h};
  p.offset[spine3] = {0, 0.27 * trunk, 0};
  p.offset[neck] = {0, 0.25 * trunk + 0.028 * h, -0.004 * h};
  p.offset[head] = {0, 0.052 * h, 0.008 * h};
  p.end[head] = {0, h - (hip + rise + trunk + 0.08 * h), 0};
  for (int side = 0; side < 2; ++side) {
    const double s = side == 0 ? 1 : -1;
    const int arm = side == 0 ? leftClav : rightClav, leg = side == 0 ? leftThigh : rightThigh;
    p.offset[arm] = {0.018 * h * s, 0.22 * trunk, 0.008 * h};
    p.offset[arm + 1] = {(halfShoulder - 0.018 * h) * s, 0.03 * trunk, -0.010 * h};
    p.offset[arm + 2] = {upperArm * s, 0, 0};
    p.offset[arm + 3] = {fore * s, 0, 0};
    for (int finger = 0; finger < 2; ++finger) {
      const int first = arm + 4 + 2 * finger;
      p.offset[first] = {(finger == 0 ? 0.96 : 1.0) * hand * s, 0, (finger == 0 ? 0.011 : -0.004) * h};
      p.offset[first + 1] = {0.024 * h * s, 0, 0};
      p.end[first + 1] = {0.026 * h * s, 0, 0};
    }
    p.offset[leg] = {halfHip * s, -rise, 0};
    p.offset[leg + 1] = {0, knee - hip, 0};
    p.offset[leg + 2] = {0, ankle - knee, 0};
    const FootShape foot;
    p.offset[leg + 3] = {0, foot.ball - ankle, 0.079 * h};
    p.end[leg + 3] = {0, -0.5 * foot.ball, 0.037 * h};
  }
  return p;
}

FootShape footOf(const Performer& p) {
  FootShape shape;
  shape.ankle = 0.039 * p.height;
  shape.ballFront = 0.079 * p.height;
  shape.heelBack = 0.030 * p.height;
  shape.tipFront = 0.037 * p.height;
  return shape;
}

// The middle joint of a two-bone limb that bends towards `pole`; the target is pulled in where it lies out of reach.
struct Limb {
  Vec3d middle, end;
  double missed = 0;
};
Limb bend(const Vec3d& root, const Vec3d& target, double upper, double lower, const Vec3d& pole) {
  const double far = (upper + lower) * 0.9985, near = std::abs(upper - lower) + 0.02 * upper;
  const Vec3d line = target - root;
  const double reach = std::clamp(length(line), near, far);
  const Vec3d u = normalised(line, Vec3d{0, -1, 0});
  const Vec3d side = normalised(across(pole, u), anyPerpendicular(u));
  const double along = (reach * reach + upper * upper - lower * lower) / (2 * reach);
  const double out = std::sqrt(std::max(0.0, upper * upper - along * along));
  return {root + u * along + side * out, root + u * reach, std::abs(length(line) - reach)};
}

Quatd frame(const Vec3d& x, const Vec3d& y) {
  return toQuat(Mat3d{x, y, cross(x, y)});
}

// A hand from the way its fingers point and the way its palm faces.
Quatd handFrom(double s, const Vec3d& fingers, const Vec3d& palm) {
  const Vec3d f = normalised(fingers);
  return frame(f * s, normalised(-across(palm, f), anyPerpendicular(f)));
}

// A slow, smooth wander: three sines with a seed's phases; about −1 … 1.
class Wander {
 public:
  explicit Wander(Pcg32& random) {
    for (int i = 0; i < 3; ++i) {
      rate_[i] = random.between(0.35, 0.6) * (1 + 1.7 * i);
      phase_[i] = random.between(0, 2 * M_PI);
    }
  }
  [[nodiscard]] double at(double time) const {
    double sum = 0;
    for (int i = 0; i < 3; ++i) sum += std::sin(2 * M_PI * rate_[i] * time + phase_[i]) / (1 + i);
    return sum / 1.84;
  }

 private:
  double rate_[3] = {}, phase_[3] = {};
};

struct Story {
  explicit Story(const PerformanceSettings& settings) : settings_(settings), random(settings.seed, 21) { plan(); }

  const PerformanceSettings& settings_;
  Pcg32 random;
  Performance out;
  double tempo = 1, reach = 1;
  std::vector<FootPath> feet;
  Track headX, headZ, headY, leadX, leadY, leadZ;            // broom head on the floor, lead hand wished for
  Track inWorld, leadHolds, supportHolds, hips, chestTouch;  // 0 … 1
  Track lean, tilt, chestYaw, pelvisYaw, sideBend, crouch, shift, lookBroom, lookUp;
  std::vector<double> markTimes;

  [[nodiscard]] double t(double seconds) const { return seconds * tempo; }
  [[nodiscard]] int frameAt(double seconds) const { return static_cast<int>(std::lround(seconds * out.framesPerSecond)); }

  void plan() {
    const bool drawn = settings_.seed == 1;
    const auto vary = [&](double spread) { return drawn ? 0.0 : random.between(-spread, spread); };
    out.performer = makePerformer(random, drawn);
    tempo = 1 + vary(0.07);
    reach = out.performer.height / 1.78;
    out.frames = static_cast<int>(std::lround(20.37 * tempo * 30)) + 1;
    const double r = reach;
    const double step = (0.60 + vary(0.06)) * r;

    // --- steps: five to walk in along +X, a turn on the spot to +Z, one small step to the side between strokes.
    struct Step {
      int side;
      double strike, x, z, yaw, swing, strikePitch, offPitch;
    };
    std::vector<Step> steps;
    const double line = -0.05 * r, wide = 0.085 * r, last = -0.06 * r;
    for (int k = 0; k < 5; ++k) {
      const int side = k % 2 == 0 ? 1 : 0;
      steps.push_back({side, t(1.0 + 0.56 * k), last - step * (4 - k), line + (side == 1 ? wide : -wide),
                       M_PI / 2 + (side == 1 ? -5 : 5) * degree, t(0.42), (k == 4 ? -10 : -19) * degree, 46 * degree});
    }
    const double leftX = 0.17 * r, leftZ = 0.20 * r, rightX = -0.19 * r, rightZ = 0.06 * r, aside = (0.10 + vary(0.02)) * r;
    steps.push_back({0, t(4.05), leftX, leftZ, 18 * degree, t(0.56), -5 * degree, 40 * degree});
    steps.push_back({1, t(4.95), rightX, rightZ, -22 * degree, t(0.48), -4 * degree, 30 * degree});
    const double between = 5.45 + 2 * 1.45 + 0.02;
    steps.push_back({0, t(between + 0.06), leftX + aside, leftZ + 0.01 * r, 20 * degree, t(0.40), -3 * degree, 22 * degree});
    steps.push_back({1, t(between + 0.62), rightX + aside, rightZ, -20 * degree, t(0.40), -3 * degree, 22 * degree});
    // Settling with feet level before hands go to the hips.
    steps.push_back({0, t(16.15), leftX + aside - 0.03 * r, rightZ + 0.03 * r, 12 * degree, t(0.46), -4 * degree, 24 * degree});
    for (int side = 0; side < 2; ++side) {
      Stance first;
      first.strike = first.flat = -1;
      first.x = last - step * 4 - (side == 1 ? 0.62 : 0.70) * step;
      first.z = line + (side == 1 ? wide : -wide);
      first.yaw = M_PI / 2 + (side == 1 ? -6 : 6) * degree;
      std::vector<Stance> stances{first};
      for (const Step& s : steps) {
        if (s.side != side) continue;
        Stance& before = stances.back();
        before.toeOff = s.strike - s.swing;
        before.offPitch = s.offPitch;
        before.heelOff = std::max(before.flat + 0.02, before.toeOff - t(s.offPitch > 0.6 ? 0.30 : 0.24));
        Stance next;
        next.strike = s.strike;
        next.flat = s.strike + t(s.strikePitch < -0.2 ? 0.11 : 0.09);
        next.x = s.x;
        next.z = s.z;
        next.yaw = s.yaw;
        next.strikePitch = s.strikePitch;
        stances.push_back(next);
      }
      stances.back().heelOff = stances.back().toeOff = 1e9;
      if (side == 1) {
        // While the left foot comes round, the right one turns on its ball under the weight.
        for (Stance& s : stances)
          if (s.flat > t(3.2) && s.flat < t(3.5)) {
            s.spinStart = t(3.45);
            s.spinEnd = t(4.10);
            s.spin = -62 * degree;
          }
      }
      feet.emplace_back(footOf(out.performer), stances);
    }

    // --- the broom
    out.broomLength = 1.40 * r;
    out.leadAlongShaft = 1.22 * r;
    out.supportAlongShaft = 0.985 * r;
    for (int side = 0; side < 2; ++side) out.gripPoint[side] = {(side == 0 ? 1 : -1) * 0.045 * out.performer.height, -0.020 * r, 0.006 * r};
    out.mark = {(0.30 + vary(0.04)) * r, 0, (0.97 + vary(0.03)) * r};
    const auto head = [&](double time, double x, double y, double z) {
      headX.add(time, x * r);
      headY.add(time, y * r);
      headZ.add(time, z * r);
    };
    const auto lead = [&](double time, double x, double y, double z) {
      leadX.add(time, x * r);
      leadY.add(time, y * r);
      leadZ.add(time, z * r);
    };
    head(0, 0.20, 0.20, 0.92);
    head(t(4.7), 0.20, 0.20, 0.92);
    lead(0, -0.22, 1.04, 0.32);
    lead(t(4.6), -0.22, 1.04, 0.32);
    lean = {{0, 3}, {t(0.6), 4}, {t(4.3), 4}, {t(5.3), 11}};
    tilt = {{0, 1}, {t(4.3), 2}, {t(5.3), 7}};
    chestYaw = {{0, 0}, {t(4.6), 0}};
    pelvisYaw = {{0, 0}, {t(4.6), 0}};
    sideBend = {{0, 0}, {t(5.0), 0}};
    shift = {{0, 0}, {t(4.6), 0}};
    crouch = {{0, 0}, {t(4.4), 0}, {t(5.3), 0.035}};
    const int strokeCount = 5;
    double end = 0;
    for (int i = 0; i < strokeCount; ++i) {
      const double begin = t(5.45 + 1.45 * i + (i >= 2 ? 0.62 : 0)), half = t(0.36), whole = t(0.74);
      const double touch = std::lround((begin + half) * 30) / 30.0;
      const double dx = i >= 2 ? aside / r : 0;
      head(begin, -0.13 + dx + vary(0.03), 0, 0.90 + vary(0.03));
      headX.add(touch, out.mark.x);
      headY.add(touch, 0);
      headZ.add(touch, out.mark.z);
      head(begin + whole, 0.70 + dx + vary(0.03), 0, 0.74 + vary(0.03));
      end = begin + whole;
      if (i + 1 < strokeCount) head(begin + t(1.12), 0.22 + dx, 0.11 + vary(0.02), 0.82);
      lead(begin, -0.20, 1.12, 0.33);
      lead(touch, -0.14, 1.06, 0.43);
      lead(begin + whole, -0.02, 1.08, 0.40);
      lean.add(begin, 10);
      lean.add(touch, 13);
      lean.add(begin + whole, 12);
      tilt.add(begin, 6);
      tilt.add(touch, 10);
      tilt.add(begin + whole, 8);
      // The pelvis leads, the chest follows.
      pelvisYaw.add(begin - t(0.05), -9);
      pelvisYaw.add(begin + whole - t(0.06), 10);
      chestYaw.add(begin + t(0.03), -21);
      chestYaw.add(begin + whole + t(0.03), 15);
      sideBend.add(begin, 3);
      sideBend.add(begin + whole, -4);
      shift.add(begin - t(0.04), -0.055);
      shift.add(begin + whole - t(0.05), 0.06);
      crouch.add(begin, 0.04);
      crouch.add(touch, 0.055);
      crouch.add(begin + whole, 0.05);
      markTimes.push_back(touch);
      out.strokes.push_back({{frameAt(begin), frameAt(begin + whole)}, frameAt(touch), false});
    }
    // --- upright, leaning on the broom; then it goes to the rail.
    const double dx = aside / r;
    head(end + t(0.35), 0.20 + dx, 0.12, 0.70);
    head(t(13.65), -0.36 + dx, 0, 0.46);
    head(t(15.35), -0.36 + dx, 0, 0.46);
    head(t(15.65), -0.45 + dx, 0.05, 0.36);
    head(t(15.95), -0.53 + dx, 0, 0.28);
    lead(end + t(0.35), -0.20, 1.12, 0.42);
    lead(t(13.65), -0.42, 1.20, 0.44);
    lead(t(15.35), -0.42, 1.20, 0.44);
    lead(t(15.95), -0.70, 1.20, 0.22);
    leadHolds = {{0, 1}, {t(16.05), 1}, {t(16.45), 0}};
    supportHolds = {{t(4.75), 0}, {t(5.2), 1}, {t(12.85), 1}, {t(13.2), 0}};
    out.leadGrip = {0, frameAt(t(16.05)) - 1};
    out.supportGrip = {frameAt(t(5.2)) + 1, frameAt(t(12.85)) - 1};
    inWorld = {{t(4.75), 0}, {t(5.4), 1}};
    chestTouch = {{t(13.15), 0}, {t(13.8), 1}, {t(14.95), 1}, {t(15.6), 0}};
    hips = {{t(16.4), 0}, {t(17.15), 1}};
    lean.add(t(13.5), 4);
    lean.add(t(15.2), 4);
    lean.add(t(15.9), 5);
    lean.add(t(17.1), 1);
    lean.add(t(18.0), -7);
    lean.add(t(19.3), -7);
    lean.add(t(20.1), 0);
    tilt.add(t(13.5), 2);
    tilt.add(t(17.1), 1);
    tilt.add(t(18.0), -3);
    tilt.add(t(19.3), -3);
    tilt.add(t(20.1), 0);
    chestYaw.add(t(13.5), -4);
    chestYaw.add(t(15.3), -4);
    chestYaw.add(t(15.95), -14);
    chestYaw.add(t(17.0), 0);
    chestYaw.add(t(18.2), 9);
    chestYaw.add(t(19.4), 7);
    pelvisYaw.add(t(13.5), -3);
    pelvisYaw.add(t(15.95), -9);
    pelvisYaw.add(t(17.0), 0);
    sideBend.add(t(13.5), 3);
    sideBend.add(t(15.95), 7);
    sideBend.add(t(17.0), 0);
    shift.add(t(13.5), -0.05);
    shift.add(t(15.95), -0.065);
    shift.add(t(17.2), 0.01);
    shift.add(t(18.6), 0.045);
    shift.add(t(20.2), 0.02);
    crouch.add(t(13.5), 0.0);
    lookBroom = {{t(3.9), 0}, {t(5.0), 1}, {t(12.4), 1}, {t(13.2), 0.1}, {t(14.9), 0.1}, {t(15.4), 0.8}, {t(16.2), 0.8}, {t(16.8), 0}};
    lookUp = {{t(16.9), 0}, {t(18.0), 1}, {t(19.2), 1}, {t(20.1), 0.15}};
    out.gestures = {{"walks in", {frameAt(t(0.5)), frameAt(t(3.4))}},
                    {"turns in place", {frameAt(t(3.4)), frameAt(t(5.1))}},
                    {"arm across the chest", {frameAt(t(13.8)), frameAt(t(14.95))}},
                    {"leans the broom on the rail", {frameAt(t(15.35)), frameAt(t(16.05))}},
                    {"hands on hips", {frameAt(t(17.15)), out.frames - 1}},
                    {"looks up", {frameAt(t(18.0)), frameAt(t(19.2))}}};
    flaws();
    findPhases();
  }

  // What goes wrong on purpose: when, how much. The solvers below read this list.
  void flaws() {
    if (settings_.clean) return;
    const bool drawn = settings_.seed == 1;
    const auto size = [&](double value) { return drawn ? value : value * random.between(0.8, 1.3); };
    const auto span = [&](double from, double to) { return Span{frameAt(t(from)), frameAt(t(to))}; };
    const double moved = drawn ? 0 : random.between(-0.08, 0.08);
    out.flaws = {{"slide", "LFoot", "mm", "the planted foot drifts outwards and stays there until it lifts", span(5.9 + moved, 6.9 + moved),
                  size(31)},
                 {"float", "RFoot", "mm", "the planted foot hangs above the floor", span(10.2 + moved, 11.3 + moved), size(11)},
                 {"sink", "LFoot", "mm", "the planted foot goes into the floor", span(17.7 + moved, 18.8 + moved), size(14)},
                 {"pop", "head", "deg", "turned for a single frame", span(14.3 + moved, 14.3 + moved), size(15)},
                 {"flip", "LFore", "deg", "turned half way round its own axis", span(2.4 + moved, 2.6 + moved), 180},
                 {"twist", "RFore", "deg", "twisted further than a forearm can; the hand stays where it is",
                  span(9.55 + moved, 10.05 + moved), size(150)},
                 {"hand leaves shaft", "LHand", "mm", "the support hand comes off the broom", span(8.2 + moved, 8.9 + moved), size(22)},
                 {"missed mark", "RHand", "mm", "the broom head passes beside the floor mark", {}, size(45)}};
    Stroke& stroke = out.strokes[drawn ? 4 : static_cast<std::size_t>(random.whole(3, 4))];
    stroke.missed = true;
    out.flaws.back().span = {stroke.markFrame, stroke.markFrame};
    out.flaws[0].size = std::min(out.flaws[0].size, 40.0);
    out.flaws[5].size = std::min(out.flaws[5].size, 165.0);
  }
  [[nodiscard]] const Flaw* flaw(const std::string& kind) const {
    for (const Flaw& f : out.flaws)
      if (f.kind == kind) return &f;
    return nullptr;
  }
  // 1 inside a flaw's span, eased over a third of it at both ends.
  [[nodiscard]] static double hold(const Span& span, double f) {
    const double ease = std::max(1.0, (span.last - span.first) / 3.0);
    return eased((f - span.first) / ease) * eased((span.last - f) / ease);
  }

  void findPhases() {
    for (int side = 0; side < 2; ++side)
      for (const Stance& s : feet[side].stances()) {
        const auto add = [&](const char* phase, double from, double to) {
          // Frames whose time lies within the phase.
          const int first = std::max(0, static_cast<int>(std::ceil(from * 30 - 1e-9))),
                    last = std::min(out.frames - 1, static_cast<int>(std::floor(to * 30 + 1e-9)));
          if (first <= last) out.phases.push_back({side, phase, {first, last}});
        };
        const double end = std::min(s.heelOff, 1e6), tip = s.heelOff + 0.72 * (s.toeOff - s.heelOff);
        if (s.flat > s.strike) add("heel", s.strike, s.flat - 0.001);
        if (s.spin != 0) {
          add("flat", s.flat, s.spinStart);
          add("spin", s.spinStart + 0.001, s.spinEnd - 0.001);
          add("flat", s.spinEnd, end);
        } else {
          add("flat", s.flat, end);
        }
        if (s.heelOff < 1e6) {
          add("ball", s.heelOff + 0.001, tip);
          add("toe", tip + 0.001, s.toeOff);
        }
      }
  }

  void play();
};

void Story::play() {
  const Performer& p = out.performer;
  const int n = out.frames;
  const double r = reach;
  const auto time = [&](int f) { return f / 30.0; };
  const auto size = static_cast<std::size_t>(n);
  std::vector<std::array<FootPose, 2>> foot(size);
  std::vector<Vec3d> middle(size);
  std::vector<double> share(size), yaw(size), stride(size);
  for (int f = 0; f < n; ++f) {
    double load[2];
    for (int side = 0; side < 2; ++side) {
      FootPose& pose = foot[f][side] = feet[side].at(time(f));
      load[side] = pose.down ? 1 : 0.02;
      // Weight comes on and goes off over about an eighth of a second.
      for (const Stance& s : feet[side].stances())
        if (pose.down && time(f) >= s.strike && time(f) <= s.toeOff)
          load[side] = std::max(0.02, std::min(eased((time(f) - s.strike) / 0.16), eased((s.toeOff - time(f)) / 0.16)));
    }
    middle[f] = (foot[f][0].ankle + foot[f][1].ankle) * 0.5;
    share[f] = load[0] / (load[0] + load[1]) - 0.5;
    yaw[f] = (foot[f][0].yaw + foot[f][1].yaw) / 2;
  }
  middle = smoothed(middle, 4.2);
  share = smoothed(share, 2.6);
  yaw = smoothed(yaw, 5.0);
  for (int f = 0; f < n; ++f) {
    const Vec3d ahead{std::sin(yaw[f]), 0, std::cos(yaw[f])};
    stride[f] = dot(foot[f][0].ankle - foot[f][1].ankle, ahead);  // positive: left foot in front
  }
  stride = smoothed(stride, 2.0);
  std::vector<double> walking(size);
  for (int f = 0; f < n; ++f) walking[f] = eased((time(f) - t(0.5)) / t(0.5)) * eased((t(4.2) - time(f)) / t(0.8));

  // Feet that go wrong on purpose.
  for (const Flaw& flaw : out.flaws) {
    if (flaw.kind != "slide" && flaw.kind != "float" && flaw.kind != "sink") continue;
    const int side = flaw.joint[0] == 'L' ? 0 : 1;
    double lifted = 1e9, lands = 1e9;
    const auto& stances = feet[side].stances();
    for (std::size_t i = 0; i + 1 < stances.size(); ++i)
      if (stances[i].toeOff > time(flaw.span.first) && lifted > 1e8) {
        lifted = stances[i].toeOff;
        lands = stances[i + 1].strike;
      }
    for (int f = flaw.span.first; f < n; ++f) {
      const double metres = flaw.size / 1000;
      Vec3d move;
      if (flaw.kind == "slide") {
        const double there = eased(double(f - flaw.span.first) / (flaw.span.last - flaw.span.first));
        move = Vec3d{0.94, 0, 0.34} * (metres * there * (1 - eased((time(f) - lifted) / (lands - lifted))));
      } else {
        move = Vec3d{0, flaw.kind == "float" ? metres : -metres, 0} * hold(flaw.span, f);
      }
      foot[f][side].ankle += move;
    }
  }

  Wander wanderX(random), wanderZ(random), wanderLean(random), wanderYaw(random), wanderHead(random), wanderBroom(random),
      wanderArm(random);
  const double breath = 0.27 + (settings_.seed == 1 ? 0 : random.between(-0.03, 0.03));

  struct Trunk {
    Vec3d pelvis;
    Quatd pelvisTurn, chestTurn;  // chest: relative to the pelvis
  };
  std::vector<Trunk> trunk(size);
  std::vector<double> ceiling(size);
  const double upperLeg = -p.offset[leftShin].y, lowerLeg = -p.offset[leftFoot].y, leg = upperLeg + lowerLeg;
  const double stand = p.offset[pelvis].y - 0.012 * r;
  for (int f = 0; f < n; ++f) {
    const double now = time(f);
    const Vec3d ahead{std::sin(yaw[f]), 0, std::cos(yaw[f])}, left{std::cos(yaw[f]), 0, -std::sin(yaw[f])};
    const double lateral = dot(foot[f][0].ankle - foot[f][1].ankle, left);
    Trunk& body = trunk[f];
    const double apart = std::clamp(lateral, 0.0, 0.5);
    body.pelvis = middle[f] + ahead * (0.028 * r - 0.16 * std::sin(tilt.at(now) * degree)) +
                  left * (share[f] * apart * 0.52 + shift.at(now) * r) + Vec3d{0.004 * wanderX.at(now), 0, 0.004 * wanderZ.at(now)};
    const double strideTurn = -11 * walking[f] * stride[f] / (0.6 * r);  // the side of the leading foot goes forward
    const double spinYaw = yaw[f] / degree + pelvisYaw.at(now) + strideTurn + 0.8 * wanderYaw.at(now);
    body.pelvisTurn = about(axisY, spinYaw) * about(axisX, tilt.at(now) + 0.4 * wanderLean.at(now + 3)) *
                      about(axisZ, 5 * share[f] + 0.3 * wanderZ.at(now + 1));
    const double breathing = std::sin(2 * M_PI * breath * now);
    body.chestTurn = about(axisY, chestYaw.at(now) - 1.9 * strideTurn + 0.7 * wanderYaw.at(now + 2)) *
                     about(axisX, lean.at(now) - 0.9 * breathing + 0.6 * wanderLean.at(now)) *
                     about(axisZ, sideBend.at(now) - 4.0 * share[f] + 0.4 * wanderX.at(now + 5));
    ceiling[f] = stand - crouch.at(now) * r;
    for (int side = 0; side < 2; ++side) {
      const Vec3d hip = body.pelvis + rotate(body.pelvisTurn, p.offset[side == 0 ? leftThigh : rightThigh]);
      const Vec3d d = foot[f][side].ankle - hip;
      const double most = 0.988 * leg, flatway = std::hypot(d.x, d.z);
      const double rise = std::sqrt(std::max(0.01, most * most - flatway * flatway));
      ceiling[f] =
          std::min(ceiling[f], foot[f][side].ankle.y + rise - rotate(body.pelvisTurn, p.offset[side == 0 ? leftThigh : rightThigh]).y);
    }
  }
  const std::vector<double> height = below(ceiling, 4);
  for (int f = 0; f < n; ++f) trunk[f].pelvis.y = height[f];

  // --- the broom: its head as keyed, its shaft through the lead hand's wish.
  out.broomHead.resize(size);
  out.broomUp.resize(size);
  std::vector<Vec3d> base(size);
  for (int f = 0; f < n; ++f) base[f] = {trunk[f].pelvis.x, 0, trunk[f].pelvis.z};
  base = smoothed(base, 5.0);
  const Flaw* missed = flaw("missed mark");
  for (int f = 0; f < n; ++f) {
    const double now = time(f), w = inWorld.at(now);
    const Quatd facing = fromAxisAngle(axisY, yaw[f]);
    const Vec3d keyed{headX.at(now), headY.at(now), headZ.at(now)};
    const Vec3d sway{0.02 * std::sin(M_PI * now / t(0.56)), 0.012 * std::cos(2 * M_PI * now / t(0.56)), 0.01 * wanderBroom.at(now)};
    const Vec3d carried = base[f] + rotate(facing, keyed + sway * (walking[f] * r));
    out.broomHead[f] = lerp(carried, keyed, w);
    if (missed) {
      const double bump = std::exp(-0.5 * std::pow((f - missed->span.first) / 3.5, 2));
      out.broomHead[f] += Vec3d{0.25, 0, 0.968} * (-missed->size / 1000 * bump);
    }
    const Vec3d wish = base[f] + rotate(facing, Vec3d{leadX.at(now), leadY.at(now), leadZ.at(now)} + sway * (0.4 * walking[f] * r));
    const double late = wanderBroom.at(now + 4) * 0.004 * leadHolds.at(now);
    out.broomUp[f] = normalised(wish + Vec3d{late, 0, late} - out.broomHead[f]);
    // Once let go, the broom rests where it was left.
    if (f > out.leadGrip.last) {
      out.broomHead[f] = out.broomHead[f - 1];
      out.broomUp[f] = out.broomUp[f - 1];
    }
  }

  // --- arms, twice: first to see how much further the trunk must bend so that both hands reach, then for good.
  out.root.resize(size);
  out.rotations.assign(size, {});
  std::vector<double> extra(size, 0.0);
  std::vector<double> lookYaw(size), lookPitch(size);
  for (int pass = 0; pass < 7; ++pass) {
    const bool lastPass = pass == 6;
    std::vector<double> need(size, 0.0);
    for (int f = 0; f < n; ++f) {
      const double now = time(f);
      auto& q = out.rotations[f];
      std::array<Quatd, jointCount> turn;  // world
      std::array<Vec3d, jointCount> at;
      const auto place = [&](int joint, const Quatd& local) {
        q[joint] = local;
        const int up = parents[joint];
        turn[joint] = turn[up] * local;
        at[joint] = at[up] + rotate(turn[up], p.offset[joint]);
      };
      const auto placeWorld = [&](int joint, const Quatd& world) { place(joint, normalised(conjugate(turn[parents[joint]]) * world)); };
      out.root[f] = at[pelvis] = trunk[f].pelvis;
      q[pelvis] = turn[pelvis] = trunk[f].pelvisTurn;
      const Quatd third = expOf(logOf(normalised(about(axisY, -0.5 * extra[f]) * trunk[f].chestTurn * about(axisX, extra[f]))) * (1 / 3.0));
      for (const int joint : {spine1, spine2, spine3}) place(joint, third);

      // Eyes: on the broom's head, ahead, or up to the lamp.
      const Vec3d ahead{std::sin(yaw[f]), 0, std::cos(yaw[f])};
      const Vec3d headPlace = at[spine3] + rotate(turn[spine3], p.offset[neck] + p.offset[head]);
      const double wb = lookBroom.at(now), wu = lookUp.at(now);
      Vec3d look = ahead * 1.0 + Vec3d{0, -0.10, 0} + Vec3d{0.05 * wanderHead.at(now), 0.04 * wanderHead.at(now + 7), 0};
      look = look * (1 - std::max(wb, wu)) + normalised(out.broomHead[f] - headPlace) * wb + normalised(Vec3d{0.35, 0.95, 0.8}) * wu;
      const Vec3d seen = rotate(conjugate(turn[spine3]), normalised(look));
      if (!lastPass) {
        lookYaw[f] = std::clamp(std::atan2(seen.x, seen.z) / degree, -62.0, 62.0);
        lookPitch[f] = std::clamp(-std::asin(std::clamp(seen.y, -1.0, 1.0)) / degree * 0.85, -48.0, 46.0);
      }
      const Quatd half = about(axisY, 0.45 * lookYaw[f]) * about(axisX, 0.42 * lookPitch[f]);
      place(neck, half);
      place(head, about(axisY, 0.55 * lookYaw[f]) * about(axisX, 0.58 * lookPitch[f]) * about(axisZ, 1.2 * wanderHead.at(now + 2)));

      for (int side = 0; side < 2; ++side) {
        const double s = side == 0 ? 1 : -1;
        const int clav = side == 0 ? leftClav : rightClav, arm = clav + 1, fore = clav + 2, hand = clav + 3;
        const double upper = std::abs(p.offset[fore].x), lower = std::abs(p.offset[hand].x);
        const double holds = side == 0 ? supportHolds.at(now) : leadHolds.at(now);
        const double touch = side == 0 ? chestTouch.at(now) : 0, onHip = hips.at(side == 1 ? now - 0.10 : now);
        const auto chest = [&](const Vec3d& v) { return at[spine3] + rotate(turn[spine3], v); };
        const auto chestWay = [&](const Vec3d& v) { return rotate(turn[spine3], v); };
        const auto hipWay = [&](const Vec3d& v) { return rotate(turn[pelvis], v); };

        // Where the free hand would be: hanging and swinging, on the hip, across the chest.
        const double swing = walking[f] * stride[f] * -s * 0.36;  // against the leg of the same side
        const Vec3d shoulderRest = chest(p.offset[clav] + p.offset[arm]);
        const Vec3d down{0, -1, 0};
        const Vec3d hang = shoulderRest + hipWay(Vec3d{0.055 * s, 0, 0.05} * r) + down * (0.955 * (upper + lower) - 0.35 * swing * swing) +
                           ahead * swing + Vec3d{0, 0, 0.006 * wanderArm.at(now + side)};
        const Vec3d rub = Vec3d{0.016 * std::sin(2 * M_PI * 1.6 * now), 0.022 * std::sin(2 * M_PI * 1.6 * now + 0.7), 0} * (touch * r);
        const Vec3d chestPlace = chest((Vec3d{-0.035, 0.050, 0.205} + rub) * r);
        const Vec3d hipPlace = at[pelvis] + hipWay(Vec3d{0.222 * s, 0.085, -0.015} * r);
        Vec3d free = hang * (1 - touch - onHip) + chestPlace * touch + hipPlace * onHip;
        // On the way to hip or chest the hand swings out, round the body rather than through it.
        free += hipWay(Vec3d{0.10 * s, 0.02, 0.06} * r) * (4 * onHip * (1 - onHip)) +
                chestWay(Vec3d{0.04 * s, -0.04, 0.14} * r) * (4 * touch * (1 - touch));
        const Vec3d hangFingers = normalised(free - shoulderRest) + ahead * 0.22;
        const Vec3d fingersWay =
            hangFingers * (1 - touch - onHip) + chestWay({-0.90, 0.34, 0.05}) * touch + hipWay({-0.42 * s, -0.42, 0.80}) * onHip;
        const Vec3d palmWay = hipWay({-0.92 * s, 0.0, -0.38}) * (1 - touch - onHip) + chestWay({-0.05, -0.25, -0.95}) * touch +
                              hipWay({-0.80 * s, -0.45, -0.40}) * onHip;
        const Quatd freeTurn = handFrom(s, fingersWay, palmWay);
        const Vec3d pole = chestWay(Vec3d{0.55 * s, -0.60, -0.60}) * (1 - touch - onHip) + chestWay({0.55, -0.85, 0.25}) * touch +
                           hipWay({0.95 * s, 0.10, -0.55}) * onHip;

        // Where the broom wants it.
        double along = side == 0 ? out.supportAlongShaft : out.leadAlongShaft;
        Vec3d grip = out.broomHead[f] + out.broomUp[f] * along;
        if (const Flaw* off = flaw("hand leaves shaft"); off && side == 0)
          grip += normalised(across(Vec3d{0.3, 0.9, -0.4}, out.broomUp[f])) * (off->size / 1000 * hold(off->span, f));
        const Vec3d broomPole = chestWay(side == 0 ? Vec3d{0.75, -0.62, -0.35} : Vec3d{-0.85, -0.50, -0.45});

        // The collarbone gives a little towards the hand, from where the hand is wanted.
        const Vec3d wanted = free * (1 - holds) + grip * holds;
        const Vec3d toward = rotate(conjugate(turn[spine3]), wanted - shoulderRest) / (upper + lower);
        const double raise = std::clamp(16 * (toward.y + 0.55), 0.0, 22.0),
                     forward = std::clamp(15 * (toward.z - 0.15) - 9 * s * toward.x, -6.0, 20.0);
        place(clav, about(axisY, -forward * s) * about(axisZ, (raise + 0.5 * std::sin(2 * M_PI * breath * now - 0.4)) * s));
        at[arm] = at[clav] + rotate(turn[clav], p.offset[arm]);

        // Grip: fingers lie across the shaft, slanted as far as palm and wrist allow.
        Vec3d way = normalised(grip - at[arm]);
        Quatd gripTurn;
        for (int i = 0; i < 24; ++i) {
          const Vec3d& up = out.broomUp[f];
          const Vec3d flat = normalised(across(way, up), ahead);
          const double open = angleBetween(way, up) - M_PI / 2;
          const double slant = side == 1 ? 28 * degree : std::clamp(0.55 * open, -10 * degree, 36 * degree);
          const Vec3d fingersAlong = flat * std::cos(slant) - up * std::sin(slant), thumb = flat * std::sin(slant) + up * std::cos(slant);
          gripTurn = toQuat(Mat3d{fingersAlong * s, cross(thumb, fingersAlong * s), thumb});
          const Vec3d wrist = grip - rotate(gripTurn, out.gripPoint[side]);
          const Limb limb = bend(at[arm], wrist, upper, lower, broomPole);
          way = normalised(way + normalised(wrist - limb.middle) * 0.8);
        }
        const Vec3d gripWrist = grip - rotate(gripTurn, out.gripPoint[side]);
        const Quatd handTurn = slerp(freeTurn, gripTurn, holds);
        const Vec3d wrist = lerp(free, gripWrist, holds);
        const Vec3d poleNow = normalised(lerp(pole, broomPole, holds));
        const Limb limb = bend(at[arm], wrist, upper, lower, poleNow);
        // Bend further only as far as the shoulder would come nearer.
        if (holds > 0.02) need[f] = std::max(need[f], limb.missed * holds);
        if (lastPass && holds > 0.999) out.worstReach = std::max(out.worstReach, limb.missed);
        const Vec3d u = normalised(limb.middle - at[arm]), l = normalised(limb.end - limb.middle);
        const Vec3d inner = normalised(-across(poleNow, u), anyPerpendicular(u));
        const Vec3d hinge = cross(inner, u * s);
        placeWorld(arm, toQuat(Mat3d{u * s, hinge, inner}));
        const Quatd plain = toQuat(Mat3d{l * s, hinge, cross(l * s, hinge)});
        // The forearm takes the whole turn about its own axis, the wrist the rest.
        const SwingTwist<double> parts = swingTwist(conjugate(normalised(conjugate(plain) * handTurn)), axisX);
        placeWorld(fore, plain * conjugate(parts.twist));
        placeWorld(hand, handTurn);
        const double curl = (22 + 4 * wanderArm.at(now + 3 * side)) * (1 - holds) + 74 * holds - 12 * touch;
        for (int finger = 0; finger < 2; ++finger) {
          place(hand + 1 + 2 * finger, about(axisZ, -(curl - 5 * finger * (1 - holds)) * s));
          place(hand + 2 + 2 * finger, about(axisZ, -(0.6 * curl + 30 * holds) * s));
        }
      }

      for (int side = 0; side < 2; ++side) {
        const int thigh = side == 0 ? leftThigh : rightThigh;
        const FootPose& pose = foot[f][side];
        const Vec3d hip = at[pelvis] + rotate(turn[pelvis], p.offset[thigh]);
        const Vec3d pole = normalised(rotate(turn[pelvis], axisZ) * 0.45 + Vec3d{std::sin(pose.yaw), 0, std::cos(pose.yaw)} * 0.55 +
                                      rotate(turn[pelvis], Vec3d{side == 0 ? 0.06 : -0.06, 0, 0}));
        const Limb limb = bend(hip, pose.ankle, upperLeg, lowerLeg, pole);
        const Vec3d u = normalised(limb.middle - hip), l = normalised(limb.end - limb.middle);
        const Vec3d front = normalised(across(pole, u));
        placeWorld(thigh, toQuat(Mat3d{cross(-u, front), -u, front}));
        const Vec3d hinge = cross(-u, front);
        placeWorld(thigh + 1, toQuat(Mat3d{hinge, -l, cross(hinge, -l)}));
        placeWorld(thigh + 2, pose.foot);
        placeWorld(thigh + 3, pose.toes);
      }
    }
    if (lastPass) break;
    // Enveloped, so that the help comes and goes slowly: about half a metre of lever at the shoulders.
    std::vector<double> negative(size);
    for (int f = 0; f < n; ++f) negative[f] = -(extra[f] + (need[f] > 1e-6 ? (need[f] + 0.004) / (0.32 * r) / degree : 0.0));
    if (*std::max_element(need.begin(), need.end()) > 1e-6) {
      const std::vector<double> envelope = below(negative, 7);
      for (int f = 0; f < n; ++f) extra[f] = std::min(24.0, -envelope[f]);
    }
    if (pass == 5) {
      lookYaw = smoothed(lookYaw, 3.2);
      lookPitch = smoothed(lookPitch, 3.2);
    }
  }

  // --- what a capture leaves behind, and the flaws that sit on single joints.
  if (settings_.clean) return;
  std::vector<std::array<Vec3d, jointCount>> jitter(size);
  for (auto& row : jitter)
    for (int j = 0; j < jointCount; ++j) {
      const double sigma = (j >= leftThigh ? 0.05 : 0.11) * degree;
      row[j] = {sigma * random.normal(), sigma * random.normal(), sigma * random.normal()};
    }
  for (int f = 0; f < n; ++f)
    for (int j = 0; j < jointCount; ++j) {
      const Vec3d mean = (jitter[std::max(0, f - 1)][j] + jitter[f][j] * 2.0 + jitter[std::min(n - 1, f + 1)][j]) * 0.25;
      out.rotations[f][j] = out.rotations[f][j] * expOf(mean);
    }
  const auto jointNamed = [](const std::string& name) { return static_cast<int>(std::find(names, names + jointCount, name) - names); };
  for (const Flaw& flaw : out.flaws) {
    const int j = jointNamed(flaw.joint);
    for (int f = flaw.span.first; f <= flaw.span.last; ++f) {
      auto& q = out.rotations[f];
      if (flaw.kind == "pop") q[j] = q[j] * about(normalised(Vec3d{0.3, 0.9, 0.2}), flaw.size);
      if (flaw.kind == "flip") q[j] = q[j] * about(axisX, flaw.size);
      if (flaw.kind == "twist") {
        const double centre = (flaw.span.first + flaw.span.last) / 2.0, half = (flaw.span.last - flaw.span.first) / 2.0;
        const double angle = -flaw.size * eased(1 - std::abs(f - centre) / half);
        q[j] = q[j] * about(axisX, angle);
        q[j + 1] = about(axisX, -angle) * q[j + 1];
      }
    }
  }
}

}  // namespace

int Performer::parent(int joint) {
  return parents[joint];
}
const char* Performer::name(int joint) {
  return names[joint];
}

Performance makePerformance(const PerformanceSettings& settings) {
  Story story(settings);
  story.play();
  return std::move(story.out);
}

std::array<Affined, jointCount> worldOf(const Performance& performance, int frame) {
  std::array<Affined, jointCount> world;
  for (int j = 0; j < jointCount; ++j) {
    Trsd local;
    local.rotation = performance.rotations[frame][j];
    local.translation = j == pelvis ? performance.root[frame] : performance.performer.offset[j];
    world[j] = j == pelvis ? Affined(local) : world[parents[j]] * Affined(local);
  }
  return world;
}

}  // namespace understudy::samples
