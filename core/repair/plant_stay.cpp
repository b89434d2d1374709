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

int signOf(PlantPhase phase) { return phase == PlantPhase::flat ? 0 : phase == PlantPhase::heel ? 1 : -1; }

/// 0 below 0, with level slope there; nears the value beyond `zone`.
double softPart(double value, double zone) { return value <= 0 || zone <= 0 ? std::max(value, 0.0) : value * (1 - std::exp(-value / zone)); }

/// Yaw and ground point of the flat foot at a frame, spins so far included.
struct Footing {
  double yaw = 0;
  Vec3d base, heading;
};
std::vector<Footing> footings(const Stay& stay, const PlantLeg& leg) {
  std::vector<Footing> out(stay.phases.size(), Footing{stay.yaw, stay.base, leg.heading(stay.plane, stay.yaw)});
  const auto spins = static_cast<double>(std::count(stay.phases.begin(), stay.phases.end(), PlantPhase::spin));
  if (spins == 0 || stay.turn == 0) return out;
  double yaw = stay.yaw;
  const Vec3d pivot = stay.base + leg.spinArm(stay.plane, yaw);
  for (std::size_t i = 0; i < stay.phases.size();) {
    std::size_t end = i;
    while (end < stay.phases.size() && stay.phases[end] == PlantPhase::spin) ++end;
    const double share = stay.turn * static_cast<double>(end - i) / spins;
    for (std::size_t k = i; k < end; ++k) {
      const double now = yaw + share * (1 - fade(static_cast<double>(k - i + 1) / static_cast<double>(end - i + 1)));
      out[k] = {now, pivot - leg.spinArm(stay.plane, now), leg.heading(stay.plane, now)};
    }
    yaw += share;
    if (end == i) {
      out[i] = {yaw, pivot - leg.spinArm(stay.plane, yaw), leg.heading(stay.plane, yaw)};
      ++end;
    }
    i = end;
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

}  // namespace

double fade(double t) {
  t = std::clamp(t, 0.0, 1.0);
  return 1 - t * t * t * (10 + t * (6 * t - 15));
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
  for (int f = stay.span.first; f <= stay.span.last; ++f) {
    while (mark + 1 < marks.size() && marks[mark + 1].time * rate <= f + 1e-6) ++mark;
    stay.phases.push_back(marks.empty() ? PlantPhase::flat : marks[mark].phase);
  }
  const Vec3d normal = normalised(plant->normal, Vec3d{0, 1, 0});
  stay.base = plant->anchor - normal * leg.height;
  stay.base.y = plant->ground;
  stay.plane = groundPlane(stay.base, normal);
  stay.yaw = plant->yaw;
  stay.turn = plant->turn;
  stay.lift = plant->lift;
  return stay;
}

std::vector<double> pitches(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves, std::vector<double>& reaches) {
  const auto n = static_cast<int>(stay.phases.size());
  std::vector<double> out(own.size(), 0.0);
  const std::vector<Footing> footing = footings(stay, leg);
  const auto hipOf = [&](int i) { return own[static_cast<std::size_t>(i)].hip + moves[static_cast<std::size_t>(i)]; };
  const auto reachOf = [&](int i) { return distance(own[static_cast<std::size_t>(i)].hip, own[static_cast<std::size_t>(i)].foot.at); };
  const auto reachAt = [&](int i, double pitch) {
    const Footing& f = footing[static_cast<std::size_t>(i)];
    const PlantLeg::Rolled r = leg.roughlyRolled(pitch);
    return distance(hipOf(i), f.base + f.heading * r.forward + stay.plane.normal * (leg.height + r.up));
  };
  reaches.resize(own.size());
  for (int i = 0; i < n; ++i) reaches[static_cast<std::size_t>(i)] = reachOf(i);
  // A toe-up foot follows its own pitch. A heel-up one rises until the leg is as long as it was, so that the knee keeps its
  // way whatever the lengths of feet and legs.
  const auto raw = [&](int i, int sign) {
    return sign > 0 ? leg.pitchOf(own[static_cast<std::size_t>(i)].foot.foot, stay.plane.normal) : reachAt(i, 0) - reachOf(i);
  };
  for (int i = 0; i < n;) {
    const int sign = signOf(stay.phases[static_cast<std::size_t>(i)]);
    int end = i;
    while (end + 1 < n && signOf(stay.phases[static_cast<std::size_t>(end + 1)]) == sign) ++end;
    if (sign != 0) {
      // What the foot beside the run has where it is to be flat is taken off there, and nothing at the plant's own ends.
      const double atStart = i > 0 && signOf(stay.phases[static_cast<std::size_t>(i - 1)]) == 0 ? raw(i - 1, sign) : 0;
      const double atEnd = end + 1 < n && signOf(stay.phases[static_cast<std::size_t>(end + 1)]) == 0 ? raw(end + 1, sign) : 0;
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
  return out;
}

namespace {

/// From its release on a foot turns about what it stands on towards where its joint is on its own way.
void letGo(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves, int held, std::vector<FootPose>& out) {
  const GroundPlane& plane = stay.plane;
  const auto edge = static_cast<std::size_t>(held - 1);
  const FootPose& from = out[edge];
  const bool skin = leg.points() > 0;
  const Vec3d axis = rotate(from.foot * conjugate(leg.level), leg.side), ahead = normalised(cross(plane.normal, axis));
  // Of what bears, the foremost.
  std::size_t tip = leg.lowest(from, plane.normal).point;
  const double low = leg.lowest(from, plane.normal).height + 0.005 * leg.footLength();
  for (std::size_t i = 0; i < leg.points(); ++i)
    if (const Vec3d p = leg.place(i, from); dot(p, plane.normal) < low && dot(p, ahead) > dot(leg.place(tip, from), ahead)) tip = i;
  const auto tipOf = [&](const FootPose& pose) { return skin ? pose.at + leg.place(tip, pose) : pose.at; };
  const Vec3d stands = tipOf(from);
  // Toes that lie flat stay so; the foot turns about their joint.
  const bool onToes = skin && leg.bends && leg.toeWeight(tip) > 0.5;
  const Vec3d pivot = onToes ? from.at + rotate(from.foot, leg.toeOffset) : stands;
  const Vec3d offset = from.at - own[edge].foot.at - moves[edge];
  const auto angleOf = [&](const Vec3d& v) { return std::atan2(dot(v, plane.normal), -dot(v, ahead)); };
  const double before = angleOf(from.at - pivot);
  for (std::size_t i = edge + 1; i < out.size(); ++i) {
    const double ownTurn = leg.pitchOf(own[edge].foot.foot, plane.normal) - leg.pitchOf(own[i].foot.foot, plane.normal);
    const double aims = std::remainder(angleOf(own[i].foot.at + moves[i] + offset - pivot) - before, 2 * std::numbers::pi);
    const double turn = std::max(0.0, ownTurn + 2 * beyondOwn * std::tanh((aims - ownTurn) / (2 * beyondOwn)));
    const Quatd turned = fromAxisAngle(axis, -turn);
    FootPose pose{from.at, normalised(turned * from.foot), onToes ? from.toe : normalised(turned * from.toe)};
    pose.at += stands - tipOf(pose);
    pose.at += plane.normal * (dot(plane.through - pose.at, plane.normal) - leg.lowest(pose, plane.normal).height);
    out[i] = pose;
  }
}

}  // namespace

std::vector<FootPose> standingFeet(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own) {
  return standingFeet(stay, leg, own, std::vector<Vec3d>(own.size(), Vec3d{0, stay.lift, 0}));
}

std::vector<FootPose> standingFeet(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, const std::vector<Vec3d>& moves) {
  std::vector<double> reaches, pitch = pitches(stay, leg, own, moves, reaches);
  const std::vector<Footing> footing = footings(stay, leg);
  const GroundPlane& plane = stay.plane;
  std::vector<FootPose> out(own.size());
  // The tail: toes leave the ground one after another.
  const int n = static_cast<int>(own.size()), held = std::clamp(stay.release - stay.span.first, 1, n);
  int toes = held;
  if (leg.bends)
    while (toes > 1 && stay.phases[static_cast<std::size_t>(toes - 1)] == PlantPhase::toe) --toes;
  for (int k = 0; k < toes; ++k) {
    const auto i = static_cast<std::size_t>(k);
    out[i] = leg.standing(plane, footing[i].base, footing[i].yaw, pitch[i]);
  }

  const auto flatten = [&](const Vec3d& v) { return v - plane.normal * dot(v, plane.normal); };
  for (int k = toes; k < held; ++k) {
    const auto i = static_cast<std::size_t>(k);
    const double yaw = footing[i].yaw;
    const FootPose& last = out[i - 1];
    // What bears now keeps its place.
    const auto placed = [&](double toePitch) {
      FootPose pose = leg.turned(plane, yaw, pitch[i], toePitch);
      pose.at = flatten(last.at + leg.carried(last, pose, plane.normal));
      pose.at += plane.normal * (dot(plane.through, plane.normal) - leg.lowest(pose, plane.normal).height);
      return pose;
    };
    double toePitch = pitch[i];
    if (leg.bends && pitch[i] < 0) {
      toePitch = 0;
      if (stay.phases[i] == PlantPhase::toe) {
        // As the toes leave, the foot pitches little more than it did, and they make up for the leg's length.
        const double rises = 1 - fade(static_cast<double>(k - toes + 1) / (held - toes + 1));
        const double steepestHere = -steepest + (steepest + leg.pitchOf(own[i].foot.foot, plane.normal) - 10 * degree) * rises;
        pitch[i] = std::max(pitch[i], std::clamp(steepestHere, -steepest, 0.0));
        const Vec3d hip = own[i].hip + moves[i];
        // Nearer to the hip with every degree, until another point bears.
        double before = 0;
        while (distance(hip, placed(before).at) > reaches[i] && before > pitch[i]) {
          const double next = std::max(before - 3 * degree, pitch[i]);
          toePitch = next;
          if (distance(hip, placed(next).at) <= reaches[i]) {
            double least = next, most = before;
            for (int step = 0; step < 14; ++step) {
              toePitch = (least + most) / 2;
              (distance(hip, placed(toePitch).at) > reaches[i] ? most : least) = toePitch;
            }
            break;
          }
          before = next;
        }
        toePitch *= rises;
      }
    }
    const FootPose pose = placed(toePitch);
    out[i] = pose;
  }
  if (held < n) letGo(stay, leg, own, moves, held, out);
  return out;
}

}  // namespace understudy
