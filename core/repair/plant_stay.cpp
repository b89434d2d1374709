#include "core/repair/plant_stay.h"

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
  stay.weight = std::clamp(repair.weight, 0.0, 1.0);
  const double rate = context.rate.hertz();
  std::vector<PlantMark> marks = plant->marks;
  std::stable_sort(marks.begin(), marks.end(), [](const PlantMark& a, const PlantMark& b) { return a.time < b.time; });
  std::size_t mark = 0;
  for (int f = stay.span.first; f <= stay.span.last; ++f) {
    while (mark + 1 < marks.size() && marks[mark + 1].time * rate <= f + 1e-6) ++mark;
    stay.phases.push_back(marks.empty() ? PlantPhase::flat : marks[mark].phase);
  }
  stay.release = stay.span.last + 1;
  if (plant->release && std::isfinite(*plant->release))
    stay.release = std::clamp(static_cast<int>(std::ceil(*plant->release * rate - 1e-6)), stay.span.first + 1, stay.span.last + 1);
  const Vec3d normal = normalised(plant->normal, Vec3d{0, 1, 0});
  stay.base = plant->anchor - normal * leg.height;
  stay.base.y = plant->ground;
  stay.plane = groundPlane(stay.base, normal);
  stay.yaw = plant->yaw;
  stay.turn = plant->turn;
  stay.lift = plant->lift;
  return stay;
}

std::vector<double> pitches(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own, std::vector<double>* reaches) {
  const auto n = static_cast<int>(stay.phases.size());
  std::vector<double> out(own.size(), 0.0);
  const std::vector<Footing> footing = footings(stay, leg);
  const Vec3d lift{0, stay.lift, 0};
  const auto hipOf = [&](int i) { return own[static_cast<std::size_t>(i)].hip + lift; };
  const auto reachOf = [&](int i) { return distance(own[static_cast<std::size_t>(i)].hip, own[static_cast<std::size_t>(i)].foot.at); };
  const auto reachAt = [&](int i, double pitch) {
    const Footing& f = footing[static_cast<std::size_t>(i)];
    const PlantLeg::Rolled r = leg.roughlyRolled(pitch);
    return distance(hipOf(i), f.base + f.heading * r.forward + stay.plane.normal * (leg.height + r.up));
  };
  if (reaches) {
    reaches->resize(own.size());
    for (int i = 0; i < n; ++i) (*reaches)[static_cast<std::size_t>(i)] = reachOf(i);
  }
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
          // A longer heel lifts the foot's joint higher: up to half of the pitch goes where the knee would bend for it.
          double least = pitch / 2, most = pitch;
          if (pitch <= 0 || reachAt(k, pitch) >= reachOf(k)) continue;
          for (int step = 0; step < 16; ++step) {
            const double middle = (least + most) / 2;
            (reachAt(k, middle) < reachOf(k) ? most : least) = middle;
          }
          pitch = least;
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
        if (reaches) (*reaches)[static_cast<std::size_t>(k)] = flat - asked;
        if (asked <= 0 || can <= 0) continue;
        const double full = asked / can, wanted = flat - asked / std::sqrt(std::sqrt(1 + full * full * full * full));
        double least = 0;
        for (int step = 0; step < 20; ++step) {
          const double middle = (least + most) / 2;
          (reachAt(k, middle) > wanted ? least : most) = middle;
        }
        pitch = most;
      }
    }
    i = end + 1;
  }
  return out;
}

std::vector<FootPose> standingFeet(const Stay& stay, const PlantLeg& leg, const std::vector<LegFrame>& own) {
  std::vector<double> reaches, pitch = pitches(stay, leg, own, &reaches);
  const std::vector<Footing> footing = footings(stay, leg);
  const GroundPlane& plane = stay.plane;
  std::vector<FootPose> out(own.size());
  // The tail: toes leave the ground one after another, the foot begins to go its own way.
  const int n = static_cast<int>(own.size()), release = stay.release - stay.span.first;
  int tail = std::min(release, n), toes = n;
  if (leg.bends) {
    while (toes > 0 && stay.phases[static_cast<std::size_t>(toes - 1)] == PlantPhase::toe) --toes;
    tail = std::min(tail, std::max(toes, 1));
  }
  for (int k = 0; k < tail; ++k) {
    const auto i = static_cast<std::size_t>(k);
    out[i] = leg.standing(plane, footing[i].base, footing[i].yaw, pitch[i]);
  }
  if (tail >= n) return out;

  const auto flatten = [&](const Vec3d& v) { return v - plane.normal * dot(v, plane.normal); };
  const auto start = static_cast<std::size_t>(tail);
  const std::size_t slips = leg.lowest(out[start - 1], plane.normal).point;
  const auto ownPoint = [&](int k) {
    const FootPose& foot = own[static_cast<std::size_t>(k)].foot;
    return flatten(leg.points() > 0 ? foot.at + leg.place(slips, foot) : foot.at);
  };
  const int held = std::clamp(release, 1, n) - 1;
  const Vec3d way = normalised(ownPoint(n - 1) - ownPoint(held));
  double yaw = footing[start - 1].yaw;
  for (int k = tail; k < n; ++k) {
    const auto i = static_cast<std::size_t>(k);
    double slip = 0;
    if (k >= release) {
      const double w = 1 - fade(static_cast<double>(k - release + 1) / (n - release + 1));
      slip = w * std::max(0.0, dot(ownPoint(k) - ownPoint(k - 1), way));
      // A foot on its toes has hardly a heading.
      const double step = leg.yawOf(own[i].foot.foot) - leg.yawOf(own[i - 1].foot.foot), level = std::cos(leg.pitchOf(own[i].foot.foot, plane.normal));
      yaw += w * level * level * std::remainder(step, 2 * std::numbers::pi);
    }
    const FootPose& last = out[i - 1];
    // What bears now keeps its place, but for the slip.
    const auto placed = [&](double toePitch) {
      FootPose pose = leg.turned(plane, yaw, pitch[i], toePitch);
      pose.at = flatten(last.at + leg.carried(last, pose, plane.normal)) + way * slip;
      pose.at += plane.normal * (dot(plane.through, plane.normal) - leg.lowest(pose, plane.normal).height);
      return pose;
    };
    double toePitch = pitch[i];
    if (leg.bends && pitch[i] < 0) {
      toePitch = 0;
      if (stay.phases[i] == PlantPhase::toe) {
        // As the toes leave, the foot pitches little more than it did, and they make up for the leg's length.
        const double rises = 1 - fade(static_cast<double>(k - toes + 1) / (n - toes + 1));
        const double steepestHere = -steepest + (steepest + leg.pitchOf(own[i].foot.foot, plane.normal) - 10 * degree) * rises;
        pitch[i] = std::max(pitch[i], std::clamp(steepestHere, -steepest, 0.0));
        const Vec3d hip = own[i].hip + Vec3d{0, stay.lift, 0};
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
  return out;
}

}  // namespace understudy
