#include "core/repair/plant_stay.h"
#include "core/repair/plant_strip.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
constexpr double steepest = 75 * degree;
/// The heel rises at most this much beyond the foot's own pitch.
constexpr double beyondOwn = 15 * degree;
/// A foot begins to roll, and comes to lie flat, over about this much of its own turn.
constexpr double rollIn = 6 * degree;

/// See Stay::rolls.
std::vector<int> rollsOf(const std::vector<PlantPhase>& phases) {
  std::vector<int> out;
  PlantPhase stands = PlantPhase::flat;  // before the spin, if it is one
  for (const PlantPhase phase : phases) {
    if (phase != PlantPhase::spin) stands = phase;
    out.push_back(phase == PlantPhase::flat ? 0 : stands == PlantPhase::heel ? 1 : -1);
  }
  return out;
}

/// 0 below 0, with level slope there; nears the value beyond `zone`.
double softPart(double value, double zone) { return value <= 0 || zone <= 0 ? std::max(value, 0.0) : value * (1 - std::exp(-value / zone)); }

/// From 0 to 1, its slope rising from 0 over the first third, level in the second, and falling again: where all of a short spin is to
/// be turned in its frames, one that swells to its middle turns almost twice as fast there.
double steadily(double t) {
  constexpr double third = 1.0 / 3, fastest = 1 / (1 - third);
  if (t > 0.5) return 1 - steadily(1 - t);
  const double x = std::clamp(t / third, 0.0, 1.0);
  return fastest * third * (x * x * x - x * x * x * x / 2) + fastest * std::max(0.0, t - third);
}

/// Yaw and ground point of the flat foot at a frame, spins so far included.
struct Footing {
  double yaw = 0;
  Vec3d base, heading;
};

/// How far the foot has to go from one pose to the next for what it spins about to keep its place: of what is down in both, the point
/// nearest to `near`, where it spun before, which it becomes.
Vec3d spinShift(const PlantLeg& leg, const GroundPlane& plane, const FootPose& last, const FootPose& now, Vec3d& near) {
  const double was = leg.lowest(last, plane.normal).height, is = leg.lowest(now, plane.normal).height, down = 0.002 * leg.footLength();
  double best = 1e300;
  Vec3d from, to;
  for (std::size_t i = 0; i < leg.points(); ++i) {
    const Vec3d a = leg.place(i, last), b = leg.place(i, now);
    const double up = std::max({dot(a, plane.normal) - was, dot(b, plane.normal) - is, down});
    // Higher by a hair counts as much as farther by several feet.
    if (const double cost = (up / down - 1) * 4 * leg.footLength() + distance(last.at + a, near); cost < best) best = cost, from = last.at + a, to = now.at + b;
  }
  if (best > 1e299) return {};
  near = from;
  const Vec3d way = from - to;
  return way - plane.normal * dot(way, plane.normal);
}

/// The foot's direction at every frame of a stay.
std::vector<double> yawsOf(const Stay& stay) {
  std::vector<double> out(stay.phases.size(), stay.yaw);
  double yaw = stay.yaw;
  for (std::size_t i = 0; i < out.size();) {
    std::size_t end = i;
    while (end < out.size() && stay.phases[end] == PlantPhase::spin) ++end;
    double share = 0;
    for (std::size_t k = i; k < end; ++k) share += stay.turns[k];
    for (std::size_t k = i; k < end; ++k) out[k] = yaw + share * steadily(static_cast<double>(k - i + 1) / static_cast<double>(end - i + 1));
    yaw += share;
    if (end == i) out[end++] = yaw;
    i = end;
  }
  return out;
}

/// The footing of every frame of a stay whose foot is pitched so: it spins about what is down.
std::vector<Footing> footings(const Stay& stay, const PlantLeg& leg, const std::vector<double>& pitch) {
  const std::vector<double> yaws = yawsOf(stay);
  std::vector<Footing> out;
  double yaw = stay.yaw;
  Vec3d base = stay.base, near;
  bool spins = false;
  for (std::size_t i = 0; i < yaws.size(); ++i) {
    if (yaws[i] != yaw) {
      if (!spins) near = base + leg.spinArm(stay.plane, yaw, stay.rolls[i] > 0);
      base += spinShift(leg, stay.plane, leg.standing(stay.plane, base, yaw, pitch[i > 0 ? i - 1 : i]), leg.standing(stay.plane, base, yaws[i], pitch[i]), near);
      yaw = yaws[i];
    }
    spins = stay.phases[i] == PlantPhase::spin;
    out.push_back({yaw, base, leg.heading(stay.plane, yaw)});
  }
  return out;
}

/// Smooths values first … last over `reach` frames on either side; beyond the range's ends go what is there, and the ends themselves.
void evenOut(std::vector<double>& values, int first, int last, int reach) {
  const std::vector<double> before = values, kernel = bump(reach);
  for (int k = first; k <= last; ++k) {
    double sum = 0;
    for (int d = -reach; d <= reach; ++d) sum += kernel[static_cast<std::size_t>(d + reach)] * before[static_cast<std::size_t>(std::clamp(k + d, std::max(first - 1, 0), last))];
    values[static_cast<std::size_t>(k)] = sum;
  }
}

/// Frames up to the release, at least one.
int heldFrames(const Stay& stay, int n) { return std::clamp(stay.release - stay.span.first, 1, n); }
/// The first of those in which toes leave the ground one after another; `held` where there is none.
int toeFrame(const Stay& stay, const PlantLeg& leg, int held) {
  int toes = held;
  if (leg.bends)
    while (toes > 1 && stay.phases[static_cast<std::size_t>(toes - 1)] == PlantPhase::toe) --toes;
  return toes;
}
double leaving(int frame, int toes, int held) { return 1 - fade(static_cast<double>(frame - toes + 1) / (held - toes + 1)); }

/// A foot that lets go: it turns about the foremost of what it stands on.
class Release {
 public:
  Release(const Stay& stay, const PlantLeg& leg, const FootPose& from) : plane_(stay.plane), leg_(leg), from_(from) {
    axis_ = rotate(from.foot * conjugate(leg.level), leg.side);
    ahead_ = normalised(cross(plane_.normal, axis_));
    const PlantLeg::Lowest lowest = leg.lowest(from, plane_.normal);
    tip_ = lowest.point;
    const double low = lowest.height + 0.005 * leg.footLength();
    for (std::size_t i = 0; i < leg.points(); ++i)
      if (const Vec3d p = leg.place(i, from); dot(p, plane_.normal) < low && dot(p, ahead_) > dot(leg.place(tip_, from), ahead_)) tip_ = i;
    stands_ = tipOf(from);
    // Toes that lie flat stay so; the foot turns about their joint.
    onToes_ = leg.points() > 0 && leg.bends && leg.toeWeight(tip_) > 0.5;
    pivot_ = onToes_ ? from.at + rotate(from.foot, leg.toeOffset) : stands_;
  }
  /// The turn that takes the foot's joint to face `at`, radians, heel up.
  [[nodiscard]] double turnTo(const Vec3d& at) const { return std::remainder(angleOf(at - pivot_) - angleOf(from_.at - pivot_), 2 * std::numbers::pi); }
  [[nodiscard]] FootPose turned(double turn) const {
    const Quatd q = fromAxisAngle(axis_, -turn);
    FootPose pose{from_.at, normalised(q * from_.foot), onToes_ ? from_.toe : normalised(q * from_.toe)};
    pose.at += stands_ - tipOf(pose);
    pose.at += plane_.normal * (dot(plane_.through - pose.at, plane_.normal) - leg_.lowest(pose, plane_.normal).height);
    return pose;
  }

 private:
  [[nodiscard]] Vec3d tipOf(const FootPose& pose) const { return leg_.points() > 0 ? pose.at + leg_.place(tip_, pose) : pose.at; }
  [[nodiscard]] double angleOf(const Vec3d& v) const { return std::atan2(dot(v, plane_.normal), -dot(v, ahead_)); }

  const GroundPlane& plane_;
  const PlantLeg& leg_;
  const FootPose& from_;
  Vec3d axis_, ahead_, stands_, pivot_;
  std::size_t tip_ = 0;
  bool onToes_ = false;
};

/// The first `held` frames of a stay.
std::vector<FootPose> standingUpTo(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves, const Roll& roll, int held) {
  const std::vector<Footing> footing = footings(stay, leg, roll.pitch);
  const GroundPlane& plane = stay.plane;
  std::vector<FootPose> out(own.size());
  const int toes = toeFrame(stay, leg, held);
  for (int k = 0; k < toes; ++k) {
    const auto i = static_cast<std::size_t>(k);
    out[i] = leg.standing(plane, footing[i].base, footing[i].yaw, roll.pitch[i]);
  }
  const auto flatten = [&](const Vec3d& v) { return v - plane.normal * dot(v, plane.normal); };
  for (int k = toes; k < held; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const double yaw = footing[i].yaw, pitch = roll.pitch[i];
    const FootPose& last = out[i - 1];
    // What bears now keeps its place.
    const auto placed = [&](double toePitch) {
      FootPose pose = leg.turned(plane, yaw, pitch, toePitch);
      pose.at = flatten(last.at + leg.carried(last, pose, plane.normal));
      pose.at += plane.normal * (dot(plane.through, plane.normal) - leg.lowest(pose, plane.normal).height);
      return pose;
    };
    double toePitch = pitch;
    if (leg.bends && pitch < 0) {
      toePitch = 0;
      if (stay.phases[i] == PlantPhase::toe) {
        const Vec3d hip = own[i].hip + moves[i];
        // Nearer to the hip with every degree, until another point bears.
        double before = 0;
        while (distance(hip, placed(before).at) > roll.reaches[i] && before > pitch) {
          const double next = std::max(before - 3 * degree, pitch);
          toePitch = next;
          if (distance(hip, placed(next).at) <= roll.reaches[i]) {
            double least = next, most = before;
            for (int step = 0; step < 14; ++step) {
              toePitch = (least + most) / 2;
              (distance(hip, placed(toePitch).at) > roll.reaches[i] ? most : least) = toePitch;
            }
            break;
          }
          before = next;
        }
        toePitch *= leaving(k, toes, held);
      }
    }
    out[i] = placed(toePitch);
  }
  return out;
}

}  // namespace

double fade(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return 1 - t * t * t * (10 + t * (6 * t - 15));
}

double fadedAround(FrameSpan span, int before, int after, int frame) {
  if (frame < span.first) return fade(static_cast<double>(span.first - frame) / (before + 1));
  if (frame > span.last) return fade(static_cast<double>(frame - span.last) / (after + 1));
  return 1;
}

std::optional<Stay> stayOf(const RepairContext& context, const Repair& repair, const RepairFrames& frames, const PlantLeg& leg) {
  const auto* plant = std::get_if<PlantRepair>(&repair.action);
  if (!plant || frames.span.empty() || !leg.limb.complete()) return std::nullopt;
  if (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot) return std::nullopt;
  Stay stay;
  stay.side = plant->part == PlantPart::leftFoot ? 0 : 1;
  stay.span = frames.span;
  stay.before = frames.before;
  stay.after = frames.after;
  stay.even = std::max(1, static_cast<int>(std::lround(0.05 * context.rate.hertz())));
  stay.weight = std::clamp(repair.weight, 0.0, 1.0);
  const double rate = context.rate.hertz();
  stay.release = stay.span.last + 1;
  if (plant->release && std::isfinite(*plant->release))
    stay.release = std::clamp(static_cast<int>(std::floor(*plant->release * rate + 1e-6)) + 1, stay.span.first + 1, stay.span.last + 1);
  std::vector<PlantMark> marks = plant->marks;
  std::stable_sort(marks.begin(), marks.end(), [](const PlantMark& a, const PlantMark& b) { return a.time < b.time; });
  std::size_t mark = 0;
  std::vector<std::size_t> markOf;
  for (int f = stay.span.first; f <= stay.span.last; ++f) {
    while (mark + 1 < marks.size() && marks[mark + 1].time * rate <= f + 1e-6) ++mark;
    stay.phases.push_back(marks.empty() ? PlantPhase::flat : marks[mark].phase);
    markOf.push_back(mark);
  }
  stay.rolls = rollsOf(stay.phases);
  stay.turns.assign(stay.phases.size(), 0.0);
  if (const auto spins = static_cast<double>(std::count(stay.phases.begin(), stay.phases.end(), PlantPhase::spin)); spins > 0) {
    double rest = plant->turn;
    for (std::size_t m = 0; m < marks.size(); ++m)
      if (const auto here = std::count(markOf.begin(), markOf.end(), m); here > 0 && marks[m].phase == PlantPhase::spin && marks[m].turn) {
        rest -= *marks[m].turn;
        for (std::size_t i = 0; i < markOf.size(); ++i)
          if (markOf[i] == m) stay.turns[i] = *marks[m].turn / static_cast<double>(here);
      }
    for (std::size_t i = 0; i < markOf.size(); ++i)
      if (stay.phases[i] == PlantPhase::spin) stay.turns[i] += rest / spins;
  }
  const Vec3d normal = normalised(plant->normal, Vec3d{0, 1, 0});
  stay.base = plant->anchor - normal * leg.height;
  stay.base.y = plant->ground;
  stay.plane = groundPlane(stay.base, normal);
  stay.yaw = plant->yaw;
  stay.lift = plant->lift;
  return stay;
}

Roll ownRoll(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves) {
  const auto n = static_cast<int>(stay.phases.size());
  Roll roll;
  roll.pitch.assign(own.size(), 0.0);
  roll.reaches.resize(own.size());
  std::vector<double>& out = roll.pitch;
  std::vector<double>& reaches = roll.reaches;
  std::vector<Footing> footing;
  const auto hipOf = [&](int i) { return own[static_cast<std::size_t>(i)].hip + moves[static_cast<std::size_t>(i)]; };
  const auto reachOf = [&](int i) { return distance(own[static_cast<std::size_t>(i)].hip, own[static_cast<std::size_t>(i)].foot.at); };
  const auto reachAt = [&](int i, double pitch) {
    const Footing& f = footing[static_cast<std::size_t>(i)];
    const PlantLeg::Rolled r = leg.roughlyRolled(pitch);
    return distance(hipOf(i), f.base + f.heading * r.forward + stay.plane.normal * (leg.height + r.up));
  };
  for (int i = 0; i < n; ++i) reaches[static_cast<std::size_t>(i)] = reachOf(i);
  // A toe-up foot follows its own pitch. A heel-up one rises until the leg is as long as it was, so that the knee keeps its
  // way whatever the lengths of feet and legs.
  const auto raw = [&](int i, int sign) {
    return sign > 0 ? leg.pitchOf(own[static_cast<std::size_t>(i)].foot.foot, stay.plane.normal) : reachAt(i, 0) - reachOf(i);
  };
  // Where a foot stands that spins depends on how it rolls.
  const bool spins = std::any_of(stay.turns.begin(), stay.turns.end(), [](double t) { return t != 0; });
  for (int round = 0; round < (spins ? 2 : 1); ++round) {
    footing = footings(stay, leg, out);
    std::fill(out.begin(), out.end(), 0.0);
    for (int i = 0; i < n;) {
      const int sign = stay.rolls[static_cast<std::size_t>(i)];
      int end = i;
      while (end + 1 < n && stay.rolls[static_cast<std::size_t>(end + 1)] == sign) ++end;
      if (sign != 0) {
        // What the foot beside the run has where it is to be flat is taken off there, and nothing at the plant's own ends. Where
        // heel and toe follow each other with no flat between, the foot passes through flat all the same.
        const auto beside = [&](int near, int far) { return stay.rolls[static_cast<std::size_t>(far)] == 0 ? raw(far, sign) : std::max(0.0, raw(near, sign)); };
        const double atStart = i > 0 ? beside(i, i - 1) : 0, atEnd = end + 1 < n ? beside(end, end + 1) : 0;
        for (int k = i; k <= end; ++k) {
          const double part = fade(static_cast<double>(k - i + 1) / (end - i + 2));
          const double value = raw(k, sign) - atStart * part - atEnd * (1 - part);
          double& pitch = out[static_cast<std::size_t>(k)];
          if (sign > 0) {
            pitch = std::min(softPart(value, rollIn), steepest);
            continue;
          }
          // The joint comes nearer to the hip until it stands above what it turns about, or the foot is much steeper than it was.
          const double flat = reachAt(k, 0), ownPitch = leg.pitchOf(own[static_cast<std::size_t>(k)].foot.foot, stay.plane.normal);
          const double limit = std::max(-steepest, std::min(ownPitch, 0.0) - beyondOwn);
          double most = 0;
          while (most > limit) {
            const double next = std::max(most - 5 * degree, limit);
            if (reachAt(k, next) >= reachAt(k, most)) break;
            most = next;
          }
          const double can = flat - reachAt(k, most), asked = softPart(value, rollIn / 2 * leg.footLength());
          reaches[static_cast<std::size_t>(k)] = flat - asked;
          if (asked <= 0 || can <= 0) continue;
          const double full = asked / can, wanted = flat - asked / std::sqrt(std::sqrt(1 + full * full * full * full));
          double least = 0;
          for (int step = 0; step < 20; ++step) {
            const double middle = (least + most) / 2;
            (reachAt(k, middle) > wanted ? least : most) = middle;
          }
          pitch = most;
        }
        if (sign < 0) evenOut(out, i, end, stay.even);
      }
      i = end + 1;
    }
  }
  const int held = heldFrames(stay, n), toes = toeFrame(stay, leg, held);
  for (int i = std::max(toes, 1); i < held; ++i) {
    if (!leg.bends || out[static_cast<std::size_t>(i)] >= 0 || stay.phases[static_cast<std::size_t>(i)] != PlantPhase::toe) continue;
    // As the toes leave, the foot pitches little more than it did, and they make up for the leg's length.
    double& pitch = out[static_cast<std::size_t>(i)];
    const double steepestHere = -steepest + (steepest + leg.pitchOf(own[static_cast<std::size_t>(i)].foot.foot, stay.plane.normal) - 10 * degree) * leaving(i, toes, held);
    pitch = std::max(pitch, std::clamp(steepestHere, -steepest, 0.0));
  }
  // From the release on towards where the joint is on its own way.
  const auto edge = static_cast<std::size_t>(held - 1);
  if (held < n) {
    const std::vector<FootPose> feet = standingUpTo(stay, leg, own, moves, roll, held);
    const Release let(stay, leg, feet[edge]);
    const Vec3d offset = feet[edge].at - own[edge].foot.at - moves[edge];
    for (std::size_t i = edge + 1; i < own.size(); ++i) {
      const double ownTurn = leg.pitchOf(own[edge].foot.foot, stay.plane.normal) - leg.pitchOf(own[i].foot.foot, stay.plane.normal);
      const double aims = let.turnTo(own[i].foot.at + moves[i] + offset);
      out[i] = out[edge] - std::max(0.0, ownTurn + 2 * beyondOwn * std::tanh((aims - ownTurn) / (2 * beyondOwn)));
    }
  }
  return roll;
}

std::vector<FootPose> standingFeet(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own) {
  const std::vector<Vec3d> moves(own.size(), Vec3d{0, stay.lift, 0});
  return standingFeet(stay, leg, own, moves, ownRoll(stay, leg, own, moves));
}

std::vector<FootPose> standingFeet(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves, const Roll& roll) {
  const int n = static_cast<int>(own.size()), held = heldFrames(stay, n);
  std::vector<FootPose> out = standingUpTo(stay, leg, own, moves, roll, held);
  if (held == n) return out;
  const auto edge = static_cast<std::size_t>(held - 1);
  const FootPose from = out[edge];
  const Release let(stay, leg, from);
  for (std::size_t i = edge + 1; i < out.size(); ++i) out[i] = let.turned(std::max(0.0, roll.pitch[edge] - roll.pitch[i]));
  return out;
}

}  // namespace understudy
