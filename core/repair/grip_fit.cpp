#include "core/repair/grip_fit.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "core/math/smooth_step.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

Vec3d mean(const std::vector<Vec3d>& values) {
  Vec3d sum;
  for (const Vec3d& v : values) sum += v;
  return values.empty() ? sum : sum / static_cast<double>(values.size());
}

/// Rotation with the least squared angles to the others, starting from the one given.
Quatd mean(const std::vector<Quatd>& values, Quatd q) {
  for (int pass = 0; pass < 12; ++pass) {
    Vec3d sum;
    for (const Quatd& v : values) sum += logOf(conjugate(q) * v);
    const Vec3d step = values.empty() ? sum : sum / static_cast<double>(values.size());
    q = normalised(q * expOf(step));
    if (length(step) < 1e-10) break;
  }
  return q;
}

ArmPose armAt(const Poser& poser, const LimbRig& arm, const Rigid& palm) {
  ArmPose out;
  out.joints = {poser.position(arm.root), poser.position(arm.mid), poser.position(arm.end)};
  out.palm = Rigid{poser.rotation(arm.end), poser.position(arm.end)} * palm;
  out.full = distance(out.joints.root, out.joints.mid) + distance(out.joints.mid, out.joints.end);
  out.hinge = rotate(poser.rotation(arm.root), arm.hinge);
  return out;
}

/// Turns of upper arm, forearm and hand, and what is missing, when an arm's palm goes to `palm`: 10 numbers.
void armEffort(const ArmPose& arm, const Rigid& palm, const Rigid& palmInHand, std::vector<double>& out) {
  TwoBoneGoal goal;
  goal.target = (palm * inverse(palmInHand)).at;
  goal.hinge = arm.hinge;
  const TwoBoneSolution s = solveTwoBone(arm.joints, goal);
  for (const Vec3d& v : {logOf(s.rootTurn), logOf(s.rootTurn * s.midTurn), logOf(palm.turn * conjugate(arm.palm.turn))})
    out.insert(out.end(), {v.x, v.y, v.z});
  // What lies beyond 98.5 % of the arm has to be made up for by collarbone and chest: it costs ten times its angle.
  const double beyond = std::max(0.0, distance(goal.target, arm.joints.root) - 0.985 * arm.full);
  out.push_back(10 * (beyond + s.miss) / arm.full);
}

/// The same of both arms, whose palms keep `relation`: 20 numbers.
void bothEffort(const BothArms& arms, const Rigid& relation, const Rigid& leadPalm, const Rigid& supportPalm, double share, std::vector<double>& out) {
  const Rigid lead = sharedLead(arms.lead.palm, arms.support.palm, relation, share, distance(arms.lead.joints.root, arms.lead.joints.end),
                                distance(arms.support.joints.root, arms.support.joints.end));
  armEffort(arms.lead, lead, leadPalm, out);
  armEffort(arms.support, lead * relation, supportPalm, out);
}

/// The relation between both palms that turns the arms' bones least over the samples (least squares, by damped Gauss–Newton
/// steps with numeric derivatives), from a first guess.
Rigid gentlest(const std::vector<BothArms>& samples, const Rigid& guess, const Rigid& leadPalm, const Rigid& supportPalm, double share, int passes) {
  constexpr int n = 6;
  const double size = samples.front().support.full;
  const auto moved = [&](const Rigid& r, const std::array<double, n>& x) {
    return Rigid{normalised(r.turn * expOf(Vec3d{x[3], x[4], x[5]})), r.at + Vec3d{x[0], x[1], x[2]} * size};
  };
  const auto effort = [&](const Rigid& relation) {
    std::vector<double> out;
    out.reserve(samples.size() * 20);
    for (const BothArms& sample : samples) bothEffort(sample, relation, leadPalm, supportPalm, share, out);
    return out;
  };
  const auto squares = [](const std::vector<double>& v) {
    double sum = 0;
    for (const double x : v) sum += x * x;
    return sum;
  };
  Rigid best = guess;
  std::vector<double> now = effort(best);
  double cost = squares(now), damping = 1e-3;
  for (int pass = 0; pass < passes; ++pass) {
    std::array<std::vector<double>, n> slope;
    constexpr double little = 1e-4;
    for (int i = 0; i < n; ++i) {
      std::array<double, n> x{};
      x[static_cast<std::size_t>(i)] = little;
      slope[static_cast<std::size_t>(i)] = effort(moved(best, x));
      for (std::size_t k = 0; k < now.size(); ++k) slope[static_cast<std::size_t>(i)][k] = (slope[static_cast<std::size_t>(i)][k] - now[k]) / little;
    }
    double a[n][n + 1];
    for (int i = 0; i < n; ++i) {
      for (int j = 0; j < n; ++j) {
        a[i][j] = 0;
        for (std::size_t k = 0; k < now.size(); ++k) a[i][j] += slope[static_cast<std::size_t>(i)][k] * slope[static_cast<std::size_t>(j)][k];
      }
      a[i][n] = 0;
      for (std::size_t k = 0; k < now.size(); ++k) a[i][n] -= slope[static_cast<std::size_t>(i)][k] * now[k];
    }
    bool better = false;
    for (int attempt = 0; attempt < 6 && !better; ++attempt) {
      double m[n][n + 1];
      for (int i = 0; i < n; ++i)
        for (int j = 0; j <= n; ++j) m[i][j] = a[i][j] + (i == j ? damping * (a[i][i] + 1e-9) : 0);
      std::array<double, n> x{};
      bool solvable = true;
      for (int i = 0; i < n && solvable; ++i) {
        solvable = m[i][i] > 1e-12;  // positive definite: no pivoting needed
        for (int r = i + 1; r < n && solvable; ++r) {
          const double f = m[r][i] / m[i][i];
          for (int c = i; c <= n; ++c) m[r][c] -= f * m[i][c];
        }
      }
      if (!solvable) break;
      for (int i = n - 1; i >= 0; --i) {
        double sum = m[i][n];
        for (int c = i + 1; c < n; ++c) sum -= m[i][c] * x[static_cast<std::size_t>(c)];
        x[static_cast<std::size_t>(i)] = sum / m[i][i];
      }
      const Rigid next = moved(best, x);
      std::vector<double> then = effort(next);
      if (const double c = squares(then); c < cost) {
        better = cost - c > 1e-6 * cost;
        best = next;
        now = std::move(then);
        cost = c;
        damping = std::max(1e-7, damping * 0.2);
        break;
      }
      damping *= 10;
    }
    if (!better) break;
  }
  return best;
}

}  // namespace

Rigid sharedLead(const Rigid& lead, const Rigid& support, const Rigid& relative, double share, double leadReach, double supportReach) {
  if (share <= 0) return lead;
  const Rigid target = lead * relative;
  const Vec3d e = support.at - target.at, arm = target.at - lead.at, r = logOf(support.turn * conjugate(target.turn));
  const double a = 2 * (1 - share) / std::max(leadReach * leadReach, 1e-12), b = 2 * share / std::max(supportReach * supportReach, 1e-12), c = a * b / (a + b);
  // What is held shows every turn of the lead hand, so that one counts `heavier` times. The least squares are at
  // (own + c·(|arm|² − arm·armᵀ)) d = share · r + c · arm × e.
  constexpr double heavier = 4;
  const double own = heavier * (1 - share) + share;
  const Vec3d right = r * share + cross(arm, e) * c;
  const Vec3d d = (right + arm * (c * dot(arm, right) / own)) / (own + c * dot(arm, arm));
  // Towards half a turn the short way round is about to change sides; there the lead hand keeps out of it.
  const double fade = smoothStep((150 * degree - length(r)) / (60 * degree));
  Rigid out = lead;
  out.turn = normalised(expOf(d * fade) * lead.turn);
  out.at += (support.at - (out * relative).at) * (b / (a + b));
  return out;
}

std::array<double, 6> boneTurns(const BothArms& arms, const Rigid& relation, const Rigid& leadPalm, const Rigid& supportPalm, double share) {
  std::vector<double> v;
  bothEffort(arms, relation, leadPalm, supportPalm, share, v);
  std::array<double, 6> out{};
  std::size_t bone = 0;
  for (const std::size_t at : {0, 3, 6, 10, 13, 16}) out[bone++] = std::sqrt(v[at] * v[at] + v[at + 1] * v[at + 1] + v[at + 2] * v[at + 2]);
  return out;
}

std::vector<BothArms> armsOver(const RepairContext& context, const TiledMotion& motion, const GripRepair& grip, const std::array<Hand, 2>& hands,
                               FrameSpan span, int step) {
  const std::size_t l = grip.leadLeft ? 0 : 1;
  const auto palmOf = [&](std::size_t side) { return hands[side].joint >= 0 ? hands[side].palm : Rigid{}; };
  std::vector<BothArms> samples;
  Poser poser(context);
  for (int f = span.first; f <= span.last; f += step) {
    poser.load(motion, f);
    samples.push_back({armAt(poser, context.arms[l], palmOf(l)), armAt(poser, context.arms[1 - l], palmOf(1 - l))});
  }
  return samples;
}

GripFit fitGrip(const std::vector<BothArms>& all, const Rigid& leadPalm, const Rigid& supportPalm, double share, std::size_t most, int passes) {
  std::vector<BothArms> samples;
  if (all.size() <= most)
    samples = all;
  else
    for (std::size_t k = 0; k < most; ++k) samples.push_back(all[k * (all.size() - 1) / (most - 1)]);
  std::vector<Vec3d> places;
  std::vector<Quatd> turns;
  for (const BothArms& sample : samples) {
    const Rigid relative = inverse(sample.lead.palm) * sample.support.palm;
    places.push_back(relative.at);
    turns.push_back(relative.turn);
  }
  GripFit out;
  out.relation = gentlest(samples, {mean(turns, turns[turns.size() / 2]), mean(places)}, leadPalm, supportPalm, share, passes);
  std::vector<double> bones;
  for (const BothArms& sample : samples) {
    double sum = 0;
    for (const double turn : boneTurns(sample, out.relation, leadPalm, supportPalm, share)) {
      bones.push_back(turn);
      sum += turn;
    }
    out.each.push_back(sum / 6);
  }
  for (const double b : bones) out.mean += b / static_cast<double>(bones.size());
  const auto at = bones.begin() + static_cast<std::ptrdiff_t>(0.95 * static_cast<double>(bones.size() - 1));
  std::nth_element(bones.begin(), at, bones.end());
  out.most = *at;
  return out;
}

}  // namespace understudy
