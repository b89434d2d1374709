#include "core/bake/reduce.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "core/io/world_tracks.h"
#include "core/motion/keyed_track.h"

namespace understudy {
namespace {

/// A joint's rotation or place over time, and how far a change of it reaches.
struct Track {
  int joint = 0;
  bool turns = true;
  std::vector<Quatf> turn;
  std::vector<Vec3f> place;
  double lever = 0;  ///< metres per radian, or per file unit

  [[nodiscard]] double error(int a, int b, int frame, bool smooth) const {
    const auto f = static_cast<std::size_t>(frame);
    if (turns) return lever * angleBetween(keyedValue(std::span<const Quatf>(turn), a, b, frame, smooth), Quatd(turn[f]));
    return lever * length(keyedValue(std::span<const Vec3f>(place), a, b, frame, smooth) - Vec3d(place[f]));
  }
  [[nodiscard]] bool constant() const {
    return turns ? std::all_of(turn.begin(), turn.end(), [&](const Quatf& q) { return q == turn[0]; })
                 : std::all_of(place.begin(), place.end(), [&](const Vec3f& p) { return p == place[0]; });
  }
};

/// Tracks with common key frames.
struct Group {
  std::vector<Track> tracks;
  std::vector<char> key;  ///< one a frame

  [[nodiscard]] std::vector<int> keys() const {
    std::vector<int> all;
    for (std::size_t f = 0; f < key.size(); ++f)
      if (key[f]) all.push_back(static_cast<int>(f));
    return all;
  }
};

/// Halves a piece where it is worst until it is within the bound (Ramer 1972, Douglas and Peucker 1973).
void fit(Group& group, double bound, bool smooth) {
  std::vector<std::pair<int, int>> open{{0, static_cast<int>(group.key.size()) - 1}};
  while (!open.empty()) {
    const auto [a, b] = open.back();
    open.pop_back();
    double worst = bound;
    int at = -1;
    for (int f = a + 1; f < b; ++f)
      for (const Track& track : group.tracks)
        if (const double e = track.error(a, b, f, smooth); e > worst) worst = e, at = f;
    if (at < 0) continue;
    group.key[static_cast<std::size_t>(at)] = 1;
    open.emplace_back(a, at);
    open.emplace_back(at, b);
  }
}

enum class Limb { trunk, leftArm, rightArm, leftLeg, rightLeg, none };

Limb limbOf(Role role) {
  const std::string name(roleName(role));
  const bool left = name.starts_with("left"), right = name.starts_with("right");
  if (!left && !right) return Limb::trunk;
  const bool leg = name.find("Leg") != std::string::npos || name.find("Foot") != std::string::npos || name.find("Toe") != std::string::npos;
  return leg ? (left ? Limb::leftLeg : Limb::rightLeg) : left ? Limb::leftArm : Limb::rightArm;
}

std::vector<Limb> limbsOf(const Skeleton& skeleton, const SkeletonMap* map) {
  std::vector<Limb> limbs(static_cast<std::size_t>(skeleton.size()), Limb::none);
  if (map)
    for (int r = 0; r < roleCount; ++r)
      for (int j : map->at(static_cast<Role>(r)).joints)
        if (j >= 0 && j < skeleton.size()) limbs[static_cast<std::size_t>(j)] = limbOf(static_cast<Role>(r));
  // What hangs on a limb belongs to it; parents stand before their children or are found upwards.
  for (int j = 0; j < skeleton.size(); ++j)
    for (int p = j; p >= 0 && limbs[static_cast<std::size_t>(j)] == Limb::none; p = skeleton.parents[static_cast<std::size_t>(p)])
      limbs[static_cast<std::size_t>(j)] = limbs[static_cast<std::size_t>(p)];
  return limbs;
}

/// Frames halfway between as well.
Motion finer(const Motion& motion) { return resampled(motion, FrameRate{motion.rate.num * 2, motion.rate.den}); }

}  // namespace

Motion withKeys(const Motion& motion, const KeyPlan& plan) {
  Motion out = motion;
  const auto between = [&](const std::vector<int>& keys, const auto& write) {
    for (std::size_t k = 0; k + 1 < keys.size(); ++k)
      for (int f = keys[k] + 1; f < keys[k + 1]; ++f) write(f, keys[k], keys[k + 1]);
  };
  for (const auto& [joint, keys] : plan.rotation) {
    std::vector<Quatf> track(static_cast<std::size_t>(motion.frames));
    for (int f = 0; f < motion.frames; ++f) track[static_cast<std::size_t>(f)] = motion.rotationsAt(f)[static_cast<std::size_t>(joint)];
    between(keys, [&, j = static_cast<std::size_t>(joint)](int f, int a, int b) {
      out.rotationsAt(f)[j] = Quatf(keyedValue(std::span<const Quatf>(track), a, b, f, plan.smooth));
    });
  }
  for (std::size_t k = 0; k < motion.movedJoints.size(); ++k) {
    const auto keys = plan.translation.find(motion.movedJoints[k]);
    if (keys == plan.translation.end()) continue;
    std::vector<Vec3f> track(static_cast<std::size_t>(motion.frames));
    for (int f = 0; f < motion.frames; ++f) track[static_cast<std::size_t>(f)] = motion.translationsAt(f)[k];
    between(keys->second, [&](int f, int a, int b) { out.translationsAt(f)[k] = Vec3f(keyedValue(std::span<const Vec3f>(track), a, b, f, plan.smooth)); });
  }
  return out;
}

Result<KeyPlan> planKeys(const Figure& character, const Motion& motion, const std::vector<int>& rotated, const SkeletonMap* map,
                         const ReduceSettings& settings, const RunControl& control) {
  if (!(settings.tolerance > 0)) return makeError(Fault::usage, "The tolerance of reduced curves must be above 0", {}, "Give millimetres, such as 1");
  KeyPlan plan;
  plan.smooth = settings.editable;
  const int frames = motion.frames;
  if (frames < 3) return plan;
  const Skeleton& skeleton = character.skeleton;
  const double unit = character.space.metresPerUnit > 0 ? character.space.metresPerUnit : 1;
  const std::vector<Affined> rest = restWorld(skeleton);
  const std::vector<Limb> limbs = limbsOf(skeleton, map);

  // One group a limb, or one a track.
  std::vector<Group> groups;
  std::map<Limb, std::size_t> ofLimb;
  std::vector<std::vector<std::size_t>> groupsOf(static_cast<std::size_t>(skeleton.size()));
  const auto add = [&](Track track) {
    if (track.constant()) return;
    const Limb limb = limbs[static_cast<std::size_t>(track.joint)];
    std::size_t at = groups.size();
    if (settings.editable) at = ofLimb.emplace(limb, at).first->second;
    if (at == groups.size()) {
      groups.push_back({{}, std::vector<char>(static_cast<std::size_t>(frames), 0)});
      groups.back().key.front() = groups.back().key.back() = 1;
    }
    auto& own = groupsOf[static_cast<std::size_t>(track.joint)];
    if (std::find(own.begin(), own.end(), at) == own.end()) own.push_back(at);
    groups[at].tracks.push_back(std::move(track));
  };
  for (int j : rotated) {
    const auto i = static_cast<std::size_t>(j);
    Track track{j, true, {}, {}, 0.03};
    for (int k = 0; k < skeleton.size(); ++k)
      if (k == j || isAncestor(skeleton, j, k))
        track.lever = std::max(track.lever, 0.03 + unit * length(rest[static_cast<std::size_t>(k)].translation - rest[i].translation));
    for (int f = 0; f < frames; ++f) track.turn.push_back(sameHemisphere(motion.rotationsAt(f)[i], f > 0 ? track.turn.back() : motion.rotationsAt(f)[i]));
    add(std::move(track));
  }
  for (std::size_t k = 0; k < motion.movedJoints.size(); ++k) {
    Track track{motion.movedJoints[k], false, {}, {}, unit};
    for (int f = 0; f < frames; ++f) track.place.push_back(motion.translationsAt(f)[k]);
    add(std::move(track));
  }
  for (std::size_t g = 0; g < groups.size(); ++g) {
    if (control.stopped()) return RunControl::cancelled();
    control.report(0.5 * static_cast<double>(g) / static_cast<double>(groups.size()), "Reducing keys");
    // Half the bound for a joint's own share; what adds up along a limb is mended below.
    fit(groups[g], settings.tolerance * 0.5, settings.editable);
  }

  // Errors of a chain add up: where they do too much, its joints get a key there.
  const Motion fine = finer(motion);
  const WorldTracks wanted(skeleton, fine);
  const auto n = static_cast<std::size_t>(skeleton.size());
  std::vector<Quatd> restTurn(n), turn(n), otherTurn(n);
  std::vector<Vec3d> point(n), otherPoint(n);
  wanted.rest(restTurn, point);
  const Quatd back = conjugate(normalised(character.space.worldFromFile));
  const std::array axes{rotate(back, Vec3d{0.03, 0, 0}), rotate(back, Vec3d{0, 0.03, 0}), rotate(back, Vec3d{0, 0, 0.03})};
  for (bool again = true; again;) {
    if (control.stopped()) return RunControl::cancelled();
    again = false;
    plan.rotation.clear();
    plan.translation.clear();
    for (const Group& group : groups) {
      const std::vector<int> keys = group.keys();
      for (const Track& track : group.tracks) (track.turns ? plan.rotation : plan.translation)[track.joint] = keys;
    }
    // Smooth curves are taken as straight within half a frame. The plan between frames: its keys on the finer motion stand at even frames.
    KeyPlan even = plan;
    for (auto* tracks : {&even.rotation, &even.translation})
      for (auto& [joint, keys] : *tracks)
        for (int& f : keys) f *= 2;
    Motion given = withKeys(motion, plan);
    Motion between = finer(given);
    if (!plan.smooth) between = withKeys(fine, even);
    const WorldTracks got(skeleton, between);
    for (int f = 0; f < fine.frames; ++f) {
      wanted.at(f, turn, point);
      got.at(f, otherTurn, otherPoint);
      double worst = settings.tolerance;
      int joint = -1;
      for (std::size_t j = 0; j < n; ++j) {
        const Vec3d apart = (otherPoint[j] - point[j]) * unit;
        const Quatd a = turn[j] * conjugate(restTurn[j]), b = otherTurn[j] * conjugate(restTurn[j]);
        for (const Vec3d& axis : axes)
          if (const double e = length(apart + rotate(b, axis) - rotate(a, axis)); e > worst) worst = e, joint = static_cast<int>(j);
      }
      for (int p = joint; p >= 0; p = skeleton.parents[static_cast<std::size_t>(p)])
        for (std::size_t g : groupsOf[static_cast<std::size_t>(p)])
          for (int frame : {f / 2, (f + 1) / 2})
            if (char& key = groups[g].key[static_cast<std::size_t>(std::min(frame, frames - 1))]; !key) key = 1, again = true;
    }
  }
  return plan;
}

}  // namespace understudy
