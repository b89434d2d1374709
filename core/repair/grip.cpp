#include "core/repair/grip.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "core/math/two_bone.h"
#include "core/repair/admit.h"
#include "core/repair/mirror.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
constexpr double furthestCollar = 18 * degree, furthestChest = 7 * degree;

/// How much nearer something at `d` has to come to stay within `most`: nothing up to `from`, then more and more, smoothly, so
/// that d − excess never passes `most`.
double excess(double d, double from, double most) {
  if (d <= from) return 0;
  const double room = most - from;
  return d < most + room ? (d - from) * (d - from) / (4 * room) : d - most;
}
/// `x` up to about `most`, which it never passes.
double capped(double x, double most) { return x - excess(x, 0.5 * most, most); }

/// One grip with everything that does not change over time.
struct Held {
  std::size_t index = 0;  ///< of the repair in its layer
  GripRepair grip;
  LimbRig lead, support;
  Rigid leadPalm, supportPalm, relation;
  Vec3d slideAxis;        ///< in the lead palm's frame
  int chest = -1, neck = -1;
  double weight = 1;
};

/// Where the lead palm comes to lie if it takes `share` of what parts the support palm from its place beside it. Of all ways to
/// divide a move e and a turn r between both hands this one turns hands and arms least, squared, to first order: a move of a hand
/// turns both bones of its arm by about its length over the arm's reach, and a turn d of the lead hand about its palm moves the
/// support palm, which is at `arm` from it, by d × arm.
Rigid shared(const Rigid& lead, const Rigid& support, const Rigid& relative, double share, double leadReach, double supportReach) {
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
  const double fade = std::clamp((150 * degree - length(r)) / (60 * degree), 0.0, 1.0);
  Rigid out = lead;
  out.turn = normalised(expOf(d * (fade * fade * (3 - 2 * fade))) * lead.turn);
  out.at += (support.at - (out * relative).at) * (b / (a + b));
  return out;
}

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

const PropItem* propOf(const RepairContext& context, std::uint64_t id) {
  const auto at = std::find_if(context.props.begin(), context.props.end(), [&](const PropItem& p) { return p.id == id; });
  return at == context.props.end() ? nullptr : &*at;
}

bool finite(const Placement& p) { return isFinite(p.position) && isFinite(p.rotation); }

/// What is wrong with a grip on this character.
std::optional<Issue> unfit(const RepairContext& context, const Repair& repair, const GripRepair& grip) {
  const std::string where = describe(repair);
  for (int side = 0; side < 2; ++side) {
    const bool leads = (side == 0) == grip.leadLeft;
    if (!leads && !grip.support) continue;
    const LimbRig& arm = context.arms[static_cast<std::size_t>(side)];
    const std::string name = side == 0 ? "left" : "right";
    if (!arm.complete())
      return makeError(Fault::mapping, "The character's " + name + " arm is not complete in the bone map", where, "Map upper arm, forearm and hand");
  }
  if (grip.prop != 0 && !propOf(context, grip.prop))
    return makeError(Fault::usage, "There is no prop " + std::to_string(grip.prop), where, "Add the prop, or let the grip hold none (0)");
  if (const PropItem* prop = grip.prop != 0 ? propOf(context, grip.prop) : nullptr; prop && !prop->gripped)
    return makeError(Fault::usage, "Where the prop is held is not known yet", where, "Find the prop's grips first, or set them");
  if (!finite(grip.leadGrip) || !finite(grip.supportGrip) || !finite(grip.leadPalm) || !finite(grip.supportPalm))
    return makeError(Fault::usage, "The grip's frames are not finite", where, "Work them out again");
  return std::nullopt;
}

class GripLayer final : public RepairLayer {
 public:
  GripLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)) {
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const GripRepair* grip = std::get_if<GripRepair>(&repairs_[i]->action);
      if (!grip || !admitted(*repairs_[i], frames_[i], *context_, issues)) continue;
      if (const std::optional<Issue> wrong = unfit(*context_, *repairs_[i], *grip)) {
        issues.push_back(makeWarning(wrong->what, wrong->where, wrong->todo));
        continue;
      }
      if (!grip->anchored) {
        issues.push_back(makeWarning("The grip's frames are not worked out", describe(*repairs_[i]), "Fit the repair to the motion once"));
        continue;
      }
      // A prop in one hand only follows it: no pose changes.
      if (!grip->support) continue;
      Held h;
      h.index = i;
      h.grip = *grip;
      h.lead = context_->arms[grip->leadLeft ? 0 : 1];
      h.support = context_->arms[grip->leadLeft ? 1 : 0];
      const auto placed = [](const Placement& p) { return Rigid{normalised(p.rotation), p.position}; };
      h.leadPalm = placed(grip->leadPalm);
      h.supportPalm = placed(grip->supportPalm);
      h.relation = inverse(placed(grip->leadGrip)) * placed(grip->supportGrip);
      h.slideAxis = normalised(h.relation.at, Vec3d{0, 1, 0});
      h.weight = std::clamp(repairs_[i]->weight, 0.0, 1.0);
      for (const Role role : {Role::upperChest, Role::chest, Role::spine})
        if (const int j = context_->joint(role); h.chest < 0 && j >= 0 && carries(j, h.lead.root) && carries(j, h.support.root)) h.chest = j;
      for (const Role role : {Role::neck, Role::head})
        if (const int j = context_->joint(role); h.neck < 0 && j >= 0 && h.chest >= 0 && carries(h.chest, j)) h.neck = j;
      held_.push_back(h);
    }
  }

  [[nodiscard]] std::vector<int> movedJoints() const override {
    std::vector<int> joints;
    for (const Held& h : held_)
      for (const LimbRig* limb : {&h.lead, &h.support})
        if (limb->detached) joints.push_back(limb->end);
    std::sort(joints.begin(), joints.end());
    joints.erase(std::unique(joints.begin(), joints.end()), joints.end());
    return joints;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    Poser poser(*context_);
    for (int f = frames.first; f <= frames.last; ++f) {
      bool loaded = false;
      for (const Held& h : held_) {
        const double w = h.weight * spanWeight(frames_[h.index], f);
        if (w <= 0) continue;
        if (!loaded) poser.load(in, f);
        loaded = true;
        const Miss miss = solve(poser, h, w);
        if (frames_[h.index].span.holds(f)) residuals[h.index].note(f, miss.metres, miss.radians);
      }
      if (loaded) poser.store(out, f);
    }
  }

 private:
  [[nodiscard]] bool carries(int ancestor, int joint) const { return isAncestor(context_->figure->skeleton, ancestor, joint); }
  static Rigid palmAt(const Poser& poser, const LimbRig& arm, const Rigid& palm) { return Rigid{poser.rotation(arm.end), poser.position(arm.end)} * palm; }
  /// Length of a limb as posed: rigs may carry translations on their arms.
  static double fullOf(const Poser& poser, const LimbRig& arm) {
    return distance(poser.position(arm.root), poser.position(arm.mid)) + distance(poser.position(arm.mid), poser.position(arm.end));
  }
  /// Turn of a point `from` about `pivot` that brings it within `reach` of `target`, at most about `most` radians.
  static Quatd turnTowards(const Vec3d& pivot, const Vec3d& from, const Vec3d& target, double reach, double most) {
    const Vec3d a = from - pivot, b = target - pivot, n = cross(a, b);
    const double la = length(a), lb = length(b);
    if (la < 1e-9 || lb < 1e-9 || length(n) < 1e-9 * la * lb) return {};
    const double now = angleBetween(a, b);
    // Law of cosines: the angle at the pivot where both are `reach` apart.
    const double wanted = std::acos(std::clamp((la * la + lb * lb - reach * reach) / (2 * la * lb), -1.0, 1.0));
    const double angle = capped(std::max(0.0, now - wanted), most);
    return angle > 0 ? fromAxisAngle(n / length(n), angle) : Quatd{};
  }
  static bool turns(const Quatd& q) { return !(q == Quatd{}); }

  static Miss solve(Poser& poser, const Held& h, double w) {
    const Rigid lead0 = palmAt(poser, h.lead, h.leadPalm), support0 = palmAt(poser, h.support, h.supportPalm);
    const Rigid relative = blend(inverse(lead0) * support0, h.relation, w);
    const double share = std::clamp(h.grip.share, 0.0, 1.0), leadFull = fullOf(poser, h.lead), full = fullOf(poser, h.support);
    const Rigid wristInLead = inverse(h.leadPalm);
    Rigid lead = shared(lead0, support0, relative, share, distance(poser.position(h.lead.end), poser.position(h.lead.root)),
                        distance(poser.position(h.support.end), poser.position(h.support.root)));
    if (share > 0) {
      // Sharing asks the lead arm for no more than it has.
      const Vec3d wrist = (lead * wristInLead).at, shoulder = poser.position(h.lead.root);
      const double wants = distance(wrist, shoulder), had = distance((lead0 * wristInLead).at, shoulder);
      const double over = std::min(excess(wants, 0.97 * leadFull, 0.9995 * leadFull), std::max(0.0, wants - had));
      lead.at += normalised(shoulder - wrist) * over;
    }
    const auto wristFor = [&](const Rigid& leadPalm) { return (leadPalm * relative * inverse(h.supportPalm)).at; };
    Vec3d target = wristFor(lead);
    const auto shoulder = [&] { return poser.position(h.support.root); };
    const auto apart = [&] { return distance(shoulder(), target); };

    bool leadMoves = share > 0;
    if (const double need = w * excess(apart(), 0.955 * full, 0.985 * full); need > 0 && h.support.girdle >= 0) {
      const Quatd t = turnTowards(poser.position(h.support.girdle), shoulder(), target, apart() - need, w * furthestCollar);
      if (turns(t)) poser.turn(h.support.girdle, t);
    }
    if (const double need = w * excess(apart(), 0.985 * full, 0.993 * full); need > 0 && h.chest >= 0) {
      const Quatd t = turnTowards(poser.position(h.chest), shoulder(), target, apart() - need, w * furthestChest);
      if (turns(t)) {
        const Quatd head = h.neck >= 0 ? poser.rotation(h.neck) : Quatd{};
        poser.turn(h.chest, t);
        if (h.neck >= 0) poser.setRotation(h.neck, head);
        leadMoves = true;  // the chest carried it along: it goes back to where the prop is
      }
    }
    Rigid slid = relative;
    if (const double need = w * excess(apart(), 0.993 * full, 0.997 * full); need > 0 && h.grip.slide > 0) {
      const Vec3d axis = rotate(lead.turn, h.slideAxis), d = shoulder() - target;
      const double along = dot(d, axis), across2 = std::max(0.0, dot(d, d) - along * along), reach = apart() - need;
      // Nearest point of the prop's axis that is within reach; its foot where none is.
      const double rest = reach * reach > across2 ? std::sqrt(reach * reach - across2) : 0;
      const double way = std::min(std::max(0.0, std::abs(along) - rest), std::abs(along)), step = std::copysign(capped(way, w * h.grip.slide), along);
      slid.at += h.slideAxis * step;
      target += axis * step;
    }
    if (const double need = w * excess(apart(), 0.997 * full, 0.9997 * full); need > 0 && share > 0) {
      const Vec3d step = normalised(shoulder() - target) * need;
      lead.at += step;
      target += step;
    }
    if (leadMoves) {
      LimbGoal goal;
      goal.target = (lead * wristInLead).at;
      goal.endRotation = lead.turn * conjugate(h.leadPalm.turn);
      poser.solveLimb(h.lead, goal);
    }
    // On the lead hand as it really came to lie.
    const Rigid wanted = palmAt(poser, h.lead, h.leadPalm) * slid, hand = wanted * inverse(h.supportPalm);
    LimbGoal goal;
    goal.target = hand.at;
    goal.endRotation = hand.turn;
    poser.solveLimb(h.support, goal);
    const Rigid got = palmAt(poser, h.support, h.supportPalm);
    return {static_cast<float>(distance(got.at, wanted.at)), static_cast<float>(angleBetween(got.turn, wanted.turn))};
  }

  std::vector<Held> held_;
};

/// One arm as the motion has it.
struct ArmPose {
  TwoBoneLimb joints;
  Rigid palm;
  double full = 0;
  Vec3d hinge;  ///< world
};
struct BothArms {
  ArmPose lead, support;
};

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
    for (const BothArms& sample : samples) {
      const Rigid lead = shared(sample.lead.palm, sample.support.palm, relation, share, distance(sample.lead.joints.root, sample.lead.joints.end),
                                distance(sample.support.joints.root, sample.support.joints.end));
      armEffort(sample.lead, lead, leadPalm, out);
      armEffort(sample.support, lead * relation, supportPalm, out);
    }
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

/// The arms over the frames first, first + step …
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

struct Fit {
  Rigid relation;
  double mean = 0, most = 0;   ///< radians of the six bones: average, and the 95th percentile
  std::vector<double> each;    ///< average of the six a sample
};

/// `most` samples at most count.
Fit fit(const std::vector<BothArms>& all, const Rigid& leadPalm, const Rigid& supportPalm, double share, std::size_t most, int passes) {
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
  Fit out;
  out.relation = gentlest(samples, {mean(turns, turns[turns.size() / 2]), mean(places)}, leadPalm, supportPalm, share, passes);
  std::vector<double> bones;
  for (const BothArms& sample : samples) {
    const Rigid lead = shared(sample.lead.palm, sample.support.palm, out.relation, share, distance(sample.lead.joints.root, sample.lead.joints.end),
                              distance(sample.support.joints.root, sample.support.joints.end));
    std::vector<double> v;
    armEffort(sample.lead, lead, leadPalm, v);
    armEffort(sample.support, lead * out.relation, supportPalm, v);
    double sum = 0;
    for (const std::size_t at : {0, 3, 6, 10, 13, 16}) {
      bones.push_back(std::sqrt(v[at] * v[at] + v[at + 1] * v[at + 1] + v[at + 2] * v[at + 2]));
      sum += bones.back();
    }
    out.each.push_back(sum / 6);
  }
  for (const double b : bones) out.mean += b / static_cast<double>(bones.size());
  const auto at = bones.begin() + static_cast<std::ptrdiff_t>(0.95 * static_cast<double>(bones.size() - 1));
  std::nth_element(bones.begin(), at, bones.end());
  out.most = *at;
  return out;
}

/// A mirror image across the plane x = 0 of the hand's own mirror pair: palm frames are defined alike on both hands, so a
/// relation between them mirrors in the palm frame's y–z plane.
Placement mirroredRelation(const Placement& p) {
  return {{-p.position.x, p.position.y, p.position.z}, {p.rotation.w, p.rotation.x, -p.rotation.y, -p.rotation.z}};
}

}  // namespace

RepairLayerPtr makeGripLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  return std::make_shared<GripLayer>(std::move(context), std::move(repairs), issues);
}

const std::array<Hand, 2>& handsOf(const RepairContext& context) {
  // The parts keep what they have made as long as the context lives.
  return *context.parts->get<std::array<Hand, 2>>([&] { return findHands(context.body); });
}

Result<GripRepair> anchorGrip(const RepairContext& context, const TiledMotion& motion, const Repair& repair) {
  const GripRepair* given = std::get_if<GripRepair>(&repair.action);
  if (!given) return makeError(Fault::usage, "This is no grip", describe(repair));
  GripRepair grip = *given;
  if (const std::optional<Issue> wrong = unfit(context, repair, grip)) return *wrong;
  const RepairFrames frames = repairFrames(repair, context.rate, std::min(context.frames, motion.frames()));
  if (frames.span.empty()) return makeError(Fault::usage, "The span lies outside the clip", describe(repair), "Choose frames of the clip");

  const std::array<Hand, 2>& hands = handsOf(context);
  const std::size_t l = grip.leadLeft ? 0 : 1, s = 1 - l;
  const auto palmOf = [&](std::size_t side) { return hands[side].joint >= 0 ? hands[side].palm : Rigid{}; };
  const Rigid leadPalm = palmOf(l), supportPalm = palmOf(s);
  grip.leadPalm = placementOf(leadPalm);
  grip.supportPalm = placementOf(supportPalm);
  grip.anchored = true;
  const PropItem* prop = grip.prop != 0 ? propOf(context, grip.prop) : nullptr;
  if (!grip.support) {
    if (prop) grip.leadGrip = prop->leadGrip;
    return grip;
  }

  // How the hands lie to each other over the span.
  const double share = std::clamp(grip.share, 0.0, 1.0);
  const std::vector<BothArms> samples = armsOver(context, motion, grip, hands, frames.span, std::max(1, frames.span.count() / 160));
  std::vector<double> apart;
  for (const BothArms& sample : samples) apart.push_back(distance(sample.lead.palm.at, sample.support.palm.at));
  std::nth_element(apart.begin(), apart.begin() + static_cast<std::ptrdiff_t>(apart.size() / 2), apart.end());
  const double usual = apart[apart.size() / 2];
  Rigid relation = fit(samples, leadPalm, supportPalm, share, samples.size(), 12).relation;
  // Places that turn about average to something shorter than any of them; hands that are kept apart stay apart.
  const double room = 0.8 * std::min(0.5 * (hands[l].width + hands[s].width), usual), now = length(relation.at);
  if (now < room) relation.at = normalised(relation.at, Vec3d{0, -1, 0}) * room;

  if (!prop) {
    grip.leadGrip = {};
    grip.supportGrip = placementOf(relation);
    return grip;
  }
  // The prop runs through both hands: its own grips say where along it and how it is turned, the hands say in which direction.
  const Rigid leadOwn = rigidOf(prop->leadGrip), supportOwn = rigidOf(prop->supportGrip);
  const Vec3d leadHold{0, 0, prop->radius}, supportHold{0, 0, prop->radius};
  const Vec3d along = supportHold - leadHold + (apply(relation, supportHold) - supportHold);
  const Vec3d own = apply(inverse(leadOwn) * supportOwn, supportHold) - leadHold;
  Rigid propInPalm = inverse(leadOwn);
  if (length(own) > 1e-6 && length(along) > 1e-6) {
    const Quatd swing = rotationBetween(normalised(own), normalised(along));
    propInPalm = Rigid{swing, leadHold - rotate(swing, leadHold)} * propInPalm;
  }
  const Rigid leadGrip = inverse(propInPalm);
  grip.leadGrip = placementOf(leadGrip);
  grip.supportGrip = placementOf(leadGrip * relation);
  return grip;
}

Result<std::vector<FrameSpan>> divideGrip(const RepairContext& context, const TiledMotion& motion, const Repair& repair, const GripDivision& settings) {
  const GripRepair* grip = std::get_if<GripRepair>(&repair.action);
  if (!grip) return makeError(Fault::usage, "This is no grip", describe(repair));
  if (const std::optional<Issue> wrong = unfit(context, repair, *grip)) return *wrong;
  const FrameSpan span = repairFrames(repair, context.rate, std::min(context.frames, motion.frames())).span;
  if (span.empty()) return makeError(Fault::usage, "The span lies outside the clip", describe(repair), "Choose frames of the clip");
  if (!grip->support) return std::vector<FrameSpan>{span};

  const std::array<Hand, 2>& hands = handsOf(context);
  const std::size_t l = grip->leadLeft ? 0 : 1;
  const Rigid leadPalm = hands[l].joint >= 0 ? hands[l].palm : Rigid{}, supportPalm = hands[1 - l].joint >= 0 ? hands[1 - l].palm : Rigid{};
  const double share = std::clamp(grip->share, 0.0, 1.0), rate = context.rate.hertz();
  const int step = std::max(1, static_cast<int>(std::lround(rate / 30)));
  const std::vector<BothArms> all = armsOver(context, motion, *grip, hands, span, step);
  const auto inSteps = [&](double seconds) { return static_cast<int>(std::lround(seconds * rate / step)); };
  const auto fitOver = [&](int a, int b, std::size_t most) {
    return fit({all.begin() + a, all.begin() + b + 1}, leadPalm, supportPalm, share, most, 5);
  };
  int first = 0, last = static_cast<int>(all.size()) - 1;
  // Hands on their way to the hold, or off it, lie farther from the relation near that end than the others do.
  const int edge = std::min(inSteps(settings.edge), last / 4), near = std::max(2, inSteps(settings.shortest));
  const auto leaveOut = [&](bool atStart) {
    if (edge < 1) return 0;
    const int a = atStart ? edge : std::max(0, last - edge - near), b = atStart ? std::min(last, edge + near) : last - edge;
    const Fit inner = fitOver(a, b, 48);
    std::vector<double> usual = inner.each;
    std::nth_element(usual.begin(), usual.begin() + static_cast<std::ptrdiff_t>(usual.size() * 9 / 10), usual.end());
    // Hands that are held exactly, as in a finished result, leave nothing but rounding.
    const double allowed = std::max(1.5 * usual[usual.size() * 9 / 10], 2e-4);
    int out = 0;
    for (int k = 0; k < edge; ++k) {
      const BothArms& sample = all[static_cast<std::size_t>(atStart ? k : last - k)];
      const Rigid lead = shared(sample.lead.palm, sample.support.palm, inner.relation, share, distance(sample.lead.joints.root, sample.lead.joints.end),
                                distance(sample.support.joints.root, sample.support.joints.end));
      std::vector<double> v;
      armEffort(sample.lead, lead, leadPalm, v);
      armEffort(sample.support, lead * inner.relation, supportPalm, v);
      double sum = 0;
      for (const std::size_t at : {0, 3, 6, 10, 13, 16}) sum += std::sqrt(v[at] * v[at] + v[at + 1] * v[at + 1] + v[at + 2] * v[at + 2]) / 6;
      if (sum <= allowed) break;
      out = k + 1;
    }
    return out;
  };
  const int early = leaveOut(true), late = leaveOut(false);
  first += early;
  last -= late;

  std::vector<FrameSpan> out;
  const int least = std::max(2, inSteps(settings.shortest)), pause = std::max(1, inSteps(settings.regrip));
  const auto good = [&](int a, int b) {
    const Fit f = fitOver(a, b, 48);
    return f.mean <= settings.mean && f.most <= settings.most;
  };
  for (int a = first; a <= last;) {
    int b = last;
    // A rest that is too short for a grip of its own goes with this one.
    if (last - a > 2 * least && !good(a, last)) {
      if (good(a, a + least)) {
        int ok = a + least, bad = last;
        for (int reach = 2 * least; a + reach < last; reach *= 2) {
          if (!good(a, a + reach)) {
            bad = a + reach;
            break;
          }
          ok = a + reach;
        }
        while (bad - ok > 3) {
          const int mid = (ok + bad) / 2;
          (good(a, mid) ? ok : bad) = mid;
        }
        b = ok;
      } else {
        // Nothing is won by cutting where even short grips bend the arms far: on to where a longer one fits again.
        b = a + least;
        while (b + pause + 2 * least <= last && !good(b + pause, b + pause + 2 * least)) b += std::max(1, least / 3);
      }
      if (last - b - pause < least) b = last;
    }
    out.push_back({span.first + a * step, b == last && late == 0 ? span.last : span.first + b * step});
    a = b + pause;
    if (b == last) break;
  }
  return out;
}

GripRepair mirroredGrip(const RepairContext& context, const GripRepair& grip) {
  GripRepair out = grip;
  out.leadLeft = !grip.leadLeft;
  const int lead = context.joint(grip.leadLeft ? Role::leftHand : Role::rightHand), support = context.joint(grip.leadLeft ? Role::rightHand : Role::leftHand);
  if (lead < 0 || support < 0) return grip;
  out.leadPalm = mirroredPlacement(context, lead, support, grip.leadPalm);
  out.supportPalm = mirroredPlacement(context, support, lead, grip.supportPalm);
  // The prop itself is mirrored at the plane of its handle's axis and its own lead grip's z, so that it stays in both hands.
  const PropItem* prop = grip.prop != 0 ? propOf(context, grip.prop) : nullptr;
  const Rigid plane = prop ? rigidOf(prop->leadGrip) : Rigid{};
  const auto mirroredOn = [&](const Placement& p) { return placementOf(plane * rigidOf(mirroredRelation(placementOf(inverse(plane) * rigidOf(p))))); };
  out.leadGrip = mirroredOn(grip.leadGrip);
  out.supportGrip = mirroredOn(grip.supportGrip);
  return out;
}

GripRepair swappedGrip(const GripRepair& grip) {
  GripRepair out = grip;
  out.leadLeft = !grip.leadLeft;
  std::swap(out.leadPalm, out.supportPalm);
  std::swap(out.leadGrip, out.supportGrip);
  return out;
}

PropItem carriedByLead(const RepairContext& context, const PropItem& prop, const std::vector<const Repair*>& repairs, bool leadLeft) {
  if (!prop.holders.empty()) return prop;
  std::size_t side = leadLeft ? 0 : 1;
  Rigid propInHand = handsOf(context)[side].palm * inverse(rigidOf(prop.leadGrip));
  for (const Repair* repair : repairs)
    if (const GripRepair* grip = std::get_if<GripRepair>(&repair->action); grip && grip->prop == prop.id && grip->anchored && !repair->muted && repair->weight > 0) {
      side = grip->leadLeft ? 0 : 1;
      propInHand = rigidOf(grip->leadPalm) * inverse(rigidOf(grip->leadGrip));
      break;
    }
  if (handsOf(context)[side].joint < 0) return prop;
  PropItem out = prop;
  out.holders.push_back({0, side == 0 ? "@leftHand" : "@rightHand", placementOf(propInHand)});
  return out;
}

GripRepair withLeadGripOf(const RepairContext& context, const GripRepair& grip, const GripRepair& like) {
  const PropItem* prop = propOf(context, grip.prop);
  if (!prop || !grip.anchored || !like.anchored || grip.leadLeft != like.leadLeft) return grip;
  GripRepair out = grip;
  out.leadGrip = like.leadGrip;
  Rigid support = rigidOf(like.leadGrip) * inverse(rigidOf(grip.leadGrip)) * rigidOf(grip.supportGrip);
  const Rigid own = rigidOf(prop->supportGrip);
  const Vec3d axis = rotate(own.turn, Vec3d{0, 1, 0}), through = apply(own, Vec3d{0, 0, prop->radius}), hold = apply(support, Vec3d{0, 0, prop->radius});
  support.at += through + axis * dot(hold - through, axis) - hold;
  out.supportGrip = placementOf(support);
  return out;
}

std::vector<Rigid> propPath(const RepairContext& context, const TiledMotion& motion, const PropItem& prop, const std::vector<const Repair*>& repairs,
                            FrameSpan frames) {
  frames = common(frames, {0, motion.frames() - 1});
  std::vector<Rigid> path(static_cast<std::size_t>(frames.count()));
  struct Use {
    const GripRepair* grip;
    RepairFrames when;
    int joint;
    Rigid propInHand;
  };
  std::vector<Use> uses;
  for (const Repair* repair : repairs) {
    const GripRepair* grip = std::get_if<GripRepair>(&repair->action);
    if (!grip || grip->prop != prop.id || repair->muted || repair->weight <= 0 || !grip->anchored || unfit(context, *repair, *grip)) continue;
    const RepairFrames when = repairFrames(*repair, context.rate, motion.frames());
    if (when.span.empty()) continue;
    uses.push_back({grip, when, context.arms[grip->leadLeft ? 0 : 1].end, rigidOf(grip->leadPalm) * inverse(rigidOf(grip->leadGrip))});
  }
  struct Hold {
    int first;
    int joint;  ///< −1: the world
    Rigid place;
  };
  std::vector<Hold> holds;
  for (const PropHolder& holder : prop.holders) {
    if (!std::isfinite(holder.time) || !finite(holder.place)) continue;
    const Result<int> joint = holder.bone.empty() ? Result<int>(-1) : findBone(context, holder.bone);
    if (!joint) continue;
    holds.push_back({static_cast<int>(std::lround(std::clamp(holder.time * context.rate.hertz(), -1e9, 1e9))), *joint, rigidOf(holder.place)});
  }
  std::stable_sort(holds.begin(), holds.end(), [](const Hold& a, const Hold& b) { return a.first < b.first; });

  Poser poser(context);
  int loaded = -1;
  const auto load = [&](int f) {
    if (loaded != f) poser.load(motion, f);
    loaded = f;
  };
  const auto inHand = [&](const Use& use, int f) {
    load(f);
    return Rigid{poser.rotation(use.joint), poser.position(use.joint)} * use.propInHand;
  };
  const auto holderAt = [&](int f) {
    const Hold* hold = nullptr;
    for (const Hold& h : holds)
      if (h.first <= f) hold = &h;
    return hold;
  };
  for (int f = frames.first; f <= frames.last; ++f) {
    Rigid& place = path[static_cast<std::size_t>(f - frames.first)];
    const Use *inside = nullptr, *before = nullptr, *after = nullptr;
    for (const Use& use : uses) {
      if (use.when.span.holds(f)) inside = &use;
      if (use.when.span.last < f && (!before || use.when.span.last > before->when.span.last)) before = &use;
      if (use.when.span.first > f && (!after || use.when.span.first < after->when.span.first)) after = &use;
    }
    if (inside) {
      place = inHand(*inside, f);
    } else if (const Hold* hold = holderAt(f)) {
      place = hold->place;
      if (hold->joint >= 0) {
        load(f);
        place = Rigid{poser.rotation(hold->joint), poser.position(hold->joint)} * hold->place;
      }
      // From hand to holder and back the prop goes within the grip's eases.
      for (const Use& use : uses)
        if (const double w = spanWeight(use.when, f); w > 0) place = blend(place, inHand(use, f), w);
    } else if (before && after) {
      const double t = static_cast<double>(f - before->when.span.last) / (after->when.span.first - before->when.span.last);
      const Rigid from = inHand(*before, before->when.span.last), to = inHand(*after, after->when.span.first);
      place = blend(from, to, (3 - 2 * t) * t * t);
    } else if (before || after) {
      place = before ? inHand(*before, before->when.span.last) : inHand(*after, after->when.span.first);
    }
  }
  return path;
}

}  // namespace understudy
