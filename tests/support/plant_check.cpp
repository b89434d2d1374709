#include "tests/support/plant_check.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy::test {
namespace {

struct Vertex {
  std::vector<std::pair<int, double>> weights;
  std::vector<Vec3d> local;
};

struct Foot {
  std::vector<Vertex> skin;
};

Foot footOf(const Figure& figure, const SkeletonMap& map, int side) {
  const int foot = map.joint(side == 0 ? Role::leftFoot : Role::rightFoot), toes = map.joint(side == 0 ? Role::leftToes : Role::rightToes);
  const auto below = [&](int top, int j) { return top >= 0 && (j == top || isAncestor(figure.skeleton, top, j)); };
  Foot out;
  const auto bind = bindWorld(figure);
  for (const Mesh& mesh : figure.meshes) {
    for (std::size_t v = 0; v < mesh.positions.size(); ++v) {
      Vertex vertex;
      double own = 0, all = 0;
      if (mesh.skin >= 0) {
        const Skin& skin = figure.skins[static_cast<std::size_t>(mesh.skin)];
        for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k) {
          const int j = skin.joints[mesh.influenceJoint[k]];
          const double w = static_cast<double>(mesh.influenceWeight[k]);
          if (w <= 0) continue;
          all += w;
          if (below(foot, j) || below(toes, j)) own += w;
          vertex.weights.emplace_back(j, w);
          vertex.local.push_back(apply(skin.inverseBind[mesh.influenceJoint[k]], Vec3d(mesh.positions[v])));
        }
      } else if (mesh.node >= 0) {
        own = below(foot, mesh.node) || below(toes, mesh.node) ? 1 : 0;
        all = 1;
        vertex.weights.emplace_back(mesh.node, 1.0);
        vertex.local.push_back(Vec3d(mesh.positions[v]));
      }
      if (all <= 0 || own < 0.5 * all) continue;
      for (auto& [j, w] : vertex.weights) w /= all;
      out.skin.push_back(std::move(vertex));
    }
  }
  return out;
}

std::vector<Vec3d> pose(const Foot& foot, std::span<const Affined> world, const Affined& toWorld) {
  std::vector<Vec3d> out;
  out.reserve(foot.skin.size());
  for (const Vertex& v : foot.skin) {
    Vec3d p;
    for (std::size_t k = 0; k < v.weights.size(); ++k) p += apply(world[static_cast<std::size_t>(v.weights[k].first)], v.local[k]) * v.weights[k].second;
    out.push_back(apply(toWorld, p));
  }
  return out;
}

Vec3d velocity(const Quatf& a, const Quatf& b, double rate) { return logOf(normalised(conjugate(Quatd(a)) * Quatd(b))) * rate; }

}  // namespace

Verdict judge(const Figure& character, const SkeletonMap& map, const Motion& before, const Motion& after, const std::vector<JudgedPlant>& plants, double height) {
  Verdict out;
  const double mm = 1000 * 1.7 / height, rate = after.rate.hertz();
  const Affined toWorld = character.space.toWorld();
  const int frames = after.frames;
  const std::array<std::array<Role, 4>, 2> legs{{{Role::leftUpperLeg, Role::leftLowerLeg, Role::leftFoot, Role::leftToes},
                                                 {Role::rightUpperLeg, Role::rightLowerLeg, Role::rightFoot, Role::rightToes}}};
  std::vector<double> likeness;
  std::vector<Affined> world(static_cast<std::size_t>(character.skeleton.size()));
  for (int side = 0; side < 2; ++side) {
    Foot foot = footOf(character, map, side);
    if (foot.skin.empty()) continue;
    std::vector<std::vector<Vec3d>> track(static_cast<std::size_t>(frames));
    const auto at = [&](int f) -> const std::vector<Vec3d>& {
      auto& points = track[static_cast<std::size_t>(f)];
      if (points.empty()) {
        worldAt(character.skeleton, after, f, world);
        points = pose(foot, world, toWorld);
      }
      return points;
    };
    for (const JudgedPlant& p : plants) {
      if (p.side != side) continue;
      std::vector<double> slid(foot.skin.size(), 0.0);
      double slip = 0;
      Vec3d start;
      std::size_t slipPoint = 0;
      for (int f = p.first; f <= p.last; ++f) {
        ++out.frames;
        const auto k = static_cast<std::size_t>(f - p.first);
        for (const Role role : legs[static_cast<std::size_t>(side)])
          if (const int j = map.joint(role); j >= 0 && role != legs[static_cast<std::size_t>(side)][3])
            likeness.push_back(angleBetween(Quatd(before.rotationsAt(f)[static_cast<std::size_t>(j)]), Quatd(after.rotationsAt(f)[static_cast<std::size_t>(j)])) * 180 /
                               std::numbers::pi);
        const bool excused = k < p.excused.size() && p.excused[k];
        out.excused += excused;
        if (excused && f < p.release - 1) continue;
        const std::vector<Vec3d>& now = at(f);
        std::size_t low = 0;
        for (std::size_t i = 0; i < now.size(); ++i)
          if (now[i].y < now[low].y) low = i;
        const double lowest = (now[low].y - p.ground) * mm;
        if (f < p.release && !excused) out.lowest = std::max(out.lowest, std::abs(lowest));
        if (f >= p.release) out.belowAfter = std::max(out.belowAfter, -lowest);
        else if (!excused) out.below = std::max(out.below, -lowest);
        if (p.phases[k] == PlantPhase::flat && f < p.release && !excused) {
          // Each of the rear fifth, and of the inner and outer front of what is no toe, must have a point down.
          Vec3d front, back;
          double nearest = 1e300, farthest = -1e300;
          Vec3d centre;
          for (const Vec3d& v : now) centre += v / static_cast<double>(now.size());
          const int joint = map.joint(legs[static_cast<std::size_t>(side)][2]);
          worldAt(character.skeleton, after, f, world);
          const Vec3d ankle = apply(toWorld, world[static_cast<std::size_t>(joint)].translation);
          Vec3d ahead = centre - ankle;
          ahead.y = 0;
          ahead = normalised(ahead, Vec3d{0, 0, 1});
          const Vec3d across{ahead.z, 0, -ahead.x};
          for (std::size_t i = 0; i < now.size(); ++i) {
            const double z = dot(now[i], ahead);
            nearest = std::min(nearest, z);
            farthest = std::max(farthest, z);
          }
          std::array<double, 3> gaps{1e300, 1e300, 1e300};
          const double middle = dot(centre, across);
          for (std::size_t i = 0; i < now.size(); ++i) {
            const double t = (dot(now[i], ahead) - nearest) / (farthest - nearest);
            const double h = now[i].y - p.ground;
            if (t < 0.3) gaps[0] = std::min(gaps[0], h);
            if (t > 0.5) {
              double& g = dot(now[i], across) > middle ? gaps[1] : gaps[2];
              g = std::min(g, h);
            }
          }
          for (const double g : gaps) out.flat = std::max(out.flat, std::abs(g) * mm);
        }
        const bool held = f + 1 < p.release && f + 1 <= p.last && !(k + 1 < p.excused.size() && p.excused[k + 1]);
        if (held && p.phases[k] != PlantPhase::spin && p.phases[k + 1] != PlantPhase::spin) {
          // Of the points down in both frames the stillest one is what the foot stands on.
          const std::vector<Vec3d>& next = at(f + 1);
          double best = 1e300;
          std::size_t point = low;
          for (std::size_t i = 0; i < now.size(); ++i)
            if (now[i].y - now[low].y < 3e-4 / mm * 1000 && next[i].y - p.ground < 3e-4 / mm * 1000) {
              const double d = distance(now[i], next[i]);
              if (d < best) best = d, point = i;
            }
          if (best > 1e299) best = std::hypot(now[low].x - next[low].x, now[low].z - next[low].z);
          out.slideFrame = std::max(out.slideFrame, best * mm);
          slid[point] += best * mm;
        }
        if (f == p.release - 1 || (f == p.first && f >= p.release)) {
          slipPoint = low;
          start = now[low];
          slip = 0;
        }
        if (f >= p.release) {
          const double d = std::hypot(now[slipPoint].x - start.x, now[slipPoint].z - start.z);
          out.slipBack = std::max(out.slipBack, (slip - d) * mm);
          slip = std::max(slip, d);
          out.slipOver = std::max(out.slipOver, (slip - p.allowedSlip) * mm);
        }
      }
      double total = 0;
      for (const double s : slid) total = std::max(total, s);
      out.slideTotal = std::max(out.slideTotal, total);
    }
  }

  // Accelerations of the leg's joints, local.
  std::vector<double> quiet;
  for (int side = 0; side < 2; ++side)
    for (const Role role : legs[static_cast<std::size_t>(side)]) {
      const int j = map.joint(role);
      if (j < 0) continue;
      std::vector<double> was(static_cast<std::size_t>(frames), 0.0), is(static_cast<std::size_t>(frames), 0.0);
      for (int f = 1; f + 1 < frames; ++f)
        for (const bool repaired : {false, true}) {
          const Motion& m = repaired ? after : before;
          const auto q = [&](int k) { return m.rotationsAt(k)[static_cast<std::size_t>(j)]; };
          (repaired ? is : was)[static_cast<std::size_t>(f)] = length(velocity(q(f), q(f + 1), rate) - velocity(q(f - 1), q(f), rate)) * rate;
        }
      for (int f = 1; f + 1 < frames; ++f) {
        const bool own = std::any_of(plants.begin(), plants.end(), [&](const JudgedPlant& p) { return p.side == side && f >= p.first - 1 && f <= p.last + 1; });
        if (!own) quiet.push_back(was[static_cast<std::size_t>(f)]);
      }
      for (const JudgedPlant& p : plants) {
        if (p.side != side) continue;
        for (const int edge : {p.first, p.last}) {
          if (edge <= 0 || edge >= frames - 1) continue;
          for (int f = std::max(1, edge - 10); f <= std::min(frames - 2, edge + 10); ++f) {
            const std::size_t place = static_cast<std::size_t>(std::find(legs[static_cast<std::size_t>(side)].begin(), legs[static_cast<std::size_t>(side)].end(), role) - legs[static_cast<std::size_t>(side)].begin());
            if (is[static_cast<std::size_t>(f)] > out.jointPeak[place]) out.jointPeak[place] = is[static_cast<std::size_t>(f)], out.jointAt[place] = f;
            out.peak = std::max(out.peak, is[static_cast<std::size_t>(f)]);
            out.peakBefore = std::max(out.peakBefore, was[static_cast<std::size_t>(f)]);
          }
        }
      }
    }
  if (!quiet.empty()) {
    std::sort(quiet.begin(), quiet.end());
    out.p99 = quiet[static_cast<std::size_t>(0.99 * static_cast<double>(quiet.size() - 1))];
  }
  const double limit = std::max(1.1 * out.p99, 15.0);
  for (const JudgedPlant& p : plants)
    for (const int edge : {p.first, p.last}) {
      if (edge <= 0 || edge >= frames - 1) continue;
      ++out.edges;
      double worst = 0, ownWorst = 0;
      for (const Role& role : legs[static_cast<std::size_t>(p.side)]) {
        const int j = map.joint(role);
        if (j < 0 || &role == &legs[static_cast<std::size_t>(p.side)][3]) continue;
        for (int f = std::max(1, edge - 10); f <= std::min(frames - 2, edge + 10); ++f) {
          const auto q = [&](int k) { return after.rotationsAt(k)[static_cast<std::size_t>(j)]; };
          const auto o = [&](int k) { return before.rotationsAt(k)[static_cast<std::size_t>(j)]; };
          const double a = length(velocity(q(f), q(f + 1), rate) - velocity(q(f - 1), q(f), rate)) * rate;
          ownWorst = std::max(ownWorst, length(velocity(o(f), o(f + 1), rate) - velocity(o(f - 1), o(f), rate)) * rate);
          worst = std::max(worst, a);
        }
      }
      out.overStrict += worst > limit;
      if (worst <= limit || worst <= 1.1 * ownWorst) continue;
      ++out.over;
      out.worstRatio = std::max(out.worstRatio, worst / limit);
    }
  std::vector<double> limbs;
  std::vector<Affined> wasWorld(world.size());
  for (int f = 0; f < frames; ++f) {
    worldAt(character.skeleton, before, f, wasWorld);
    worldAt(character.skeleton, after, f, world);
    for (const auto& leg : legs)
      for (const std::size_t k : {std::size_t{0}, std::size_t{1}}) {
        const int top = map.joint(leg[k]), end = map.joint(leg[k + 1]);
        if (top < 0 || end < 0) continue;
        const auto way = [&](const std::vector<Affined>& w) { return w[static_cast<std::size_t>(end)].translation - w[static_cast<std::size_t>(top)].translation; };
        const Vec3d a = way(wasWorld), b = way(world);
        limbs.push_back(std::atan2(length(cross(a, b)), dot(a, b)) * 180 / std::numbers::pi);
      }
  }
  if (!limbs.empty()) {
    std::sort(limbs.begin(), limbs.end());
    for (const double v : limbs) out.limbMean += v / static_cast<double>(limbs.size());
    out.limb95 = limbs[static_cast<std::size_t>(0.95 * static_cast<double>(limbs.size() - 1))];
  }
  std::array<int, 4> counts{};
  for (const JudgedPlant& p : plants)
    for (std::size_t k = 0; k < 4; ++k)
      if (const int j = map.joint(legs[static_cast<std::size_t>(p.side)][k]); j >= 0)
        for (int f = p.first; f <= p.last; ++f) {
          out.jointLikeness[k] += angleBetween(Quatd(before.rotationsAt(f)[static_cast<std::size_t>(j)]), Quatd(after.rotationsAt(f)[static_cast<std::size_t>(j)])) * 180 / std::numbers::pi;
          ++counts[k];
        }
  for (std::size_t k = 0; k < 4; ++k) out.jointLikeness[k] /= std::max(1, counts[k]);
  if (!likeness.empty()) {
    std::sort(likeness.begin(), likeness.end());
    for (const double v : likeness) out.likenessMean += v / static_cast<double>(likeness.size());
    out.likeness95 = likeness[static_cast<std::size_t>(0.95 * static_cast<double>(likeness.size() - 1))];
  }
  return out;
}

}  // namespace understudy::test
