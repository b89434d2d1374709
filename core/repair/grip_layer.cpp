// One pose of grips: the support hand brought to the prop, with collarbone, chest and lead hand as far as it takes.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "core/math/parabola.h"
#include "core/math/smooth_step.h"
#include "core/repair/admit.h"
#include "core/repair/grip_fit.h"
#include "core/repair/prop_floor.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
constexpr double furthestCollar = 18 * degree, furthestChest = 7 * degree;
/// Seconds on both sides over which hands that hold one thing are evened out: small turns of a hand are long ways of the other, and small
/// moves of it large ones of an elbow.
constexpr double steadySeconds = 0.08;
/// Parts of an arm's length from which on it is spared, and which it never passes: where an arm is nearly straight its elbow moves far for little.
constexpr double sparedFrom = 0.9, spared = 0.995;
/// How often a lead hand that comes nearer is asked for what sparing its own arm leaves.
constexpr int meetings = 3;

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
  std::optional<PropFloor> floor;
  int chest = -1, neck = -1;
  double weight = 1;
};

class GripLayer final : public RepairLayer {
 public:
  GripLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)) {
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const GripRepair* grip = std::get_if<GripRepair>(&repairs_[i]->action);
      if (!grip || !admitted(*repairs_[i], frames_[i], *context_, issues)) continue;
      if (const std::optional<Issue> wrong = gripUnfit(*context_, *repairs_[i], *grip)) {
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
      if (const PropItem* prop = grip->floor ? propOf(*context_, grip->prop) : nullptr) h.floor = PropFloor::of(*prop, *grip, context_->height);
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

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override { return widened(changed, steadyFrames(), steadyFrames()); }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    Poser poser(*context_), other(*context_);
    std::vector<HandPlaces> places(held_.size(), HandPlaces(static_cast<std::size_t>(frames.count() + 2 * steadyFrames())));
    for (int f = frames.first; f <= frames.last; ++f) {
      bool loaded = false;
      for (std::size_t i = 0; i < held_.size(); ++i) {
        const Held& h = held_[i];
        const double w = weightOf(h, f);
        if (w <= 0) continue;
        if (!loaded) poser.load(in, f);
        loaded = true;
        // A touch of the prop has taken it where it is to be.
        const double tilted = h.floor ? w * (1 - propTouched(*context_, repairs_, h.grip.prop, f, context_->frames)) : 0;
        const Miss miss = solve(poser, h, w, tilted, steadying(h, in, frames.first - steadyFrames(), f, w, places[i], other));
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

  [[nodiscard]] int steadyFrames() const { return static_cast<int>(std::lround(steadySeconds * context_->rate.hertz())); }
  [[nodiscard]] double weightOf(const Held& h, int f) const { return h.weight * spanWeight(frames_[h.index], f); }

  /// Lead and support hand of a grip as they lie on the chest, rotations in the stage, frame by frame from one on.
  using HandPlaces = std::vector<std::optional<std::array<Rigid, 2>>>;
  /// The turns, and shifts of the stage, on top of the hands' own, that even out over time how hands go which share what they hold.
  std::array<Rigid, 2> steadying(const Held& h, const TiledMotion& in, int first, int f, double w, HandPlaces& own, Poser& poser) const {
    std::array<Rigid, 2> out;
    if (h.grip.share <= 0) return out;
    const auto at = [&](int frame, std::size_t hand) -> const Rigid& {
      auto& places = own[static_cast<std::size_t>(frame - first)];
      if (!places) {
        poser.load(in, frame);
        const auto placed = [&](int joint) { return Rigid{poser.rotation(joint), h.chest >= 0 ? poser.toJoint(h.chest, poser.position(joint)) : Vec3d{}}; };
        places = {placed(h.lead.end), placed(h.support.end)};
      }
      return (*places)[hand];
    };
    const int reach = steadyFrames(), even = std::min({reach, f, in.frames() - 1 - f});
    const std::vector<double> shares = parabolaShares(even);
    for (std::size_t hand = 0; hand < 2; ++hand) {
      const Quatd back = conjugate(at(f, hand).turn);
      Vec3d sum;
      double total = 0;
      for (int k = std::max(-reach, -f); k <= std::min(reach, in.frames() - 1 - f); ++k) {
        const double weight = bellWeight(k, reach);
        sum += logOf(at(f + k, hand).turn * back) * weight;
        total += weight;
      }
      out[hand].turn = expOf(sum * (w / total));
      for (int k = -even; k <= even; ++k) out[hand].at += (at(f + k, hand).at - at(f, hand).at) * (w * shares[static_cast<std::size_t>(k + even)]);
    }
    return out;
  }

  static Miss solve(Poser& poser, const Held& h, double w, double tilted, const std::array<Rigid, 2>& steadying) {
    const auto palmOf = [&](const LimbRig& arm, const Rigid& palm, const Rigid& by) {
      const Vec3d shift = h.chest >= 0 ? rotate(poser.rotation(h.chest), by.at) : Vec3d{};
      return Rigid{normalised(by.turn * poser.rotation(arm.end)), poser.position(arm.end) + shift} * palm;
    };
    const Rigid lead0 = palmOf(h.lead, h.leadPalm, steadying[0]), support0 = palmOf(h.support, h.supportPalm, steadying[1]);
    const Rigid relative = blend(inverse(lead0) * support0, h.relation, w);
    const double share = std::clamp(h.grip.share, 0.0, 1.0), leadFull = fullOf(poser, h.lead), full = fullOf(poser, h.support);
    const Rigid wristInLead = inverse(h.leadPalm);
    Rigid lead = sharedLead(lead0, support0, relative, share, distance(poser.position(h.lead.end), poser.position(h.lead.root)),
                        distance(poser.position(h.support.end), poser.position(h.support.root)));
    // The way back of a lead palm for which its arm is spared, as far as it has gone out itself.
    const auto leadSpared = [&](const Rigid& palm) {
      const Vec3d wrist = (palm * wristInLead).at, root = poser.position(h.lead.root);
      const double wants = distance(wrist, root), had = distance((lead0 * wristInLead).at, root);
      return normalised(root - wrist) * std::min(excess(wants, sparedFrom * leadFull, spared * leadFull), std::max(0.0, wants - had));
    };
    bool leadMoves = share > 0;
    if (tilted > 0) {
      const Quatd up = h.floor->tilt(lead * inverse(rigidOf(h.grip.leadGrip)), lead.at);
      if (turns(up)) {
        lead.turn = normalised(slerp(Quatd{}, up, tilted) * lead.turn);
        leadMoves = true;
      }
    }
    Vec3d asked = lead.at;  // of the lead hand; it goes as far as its arm is spared
    if (share > 0) lead.at += leadSpared(lead);
    const auto wristFor = [&](const Rigid& leadPalm) { return (leadPalm * relative * inverse(h.supportPalm)).at; };
    Vec3d target = wristFor(lead);
    const auto shoulder = [&] { return poser.position(h.support.root); };
    const auto apart = [&] { return distance(shoulder(), target); };

    // How near the support hand has to come to its shoulder; what does not bring it there is left to the next.
    const double near = apart() - w * excess(apart(), sparedFrom * full, spared * full);
    const auto lacks = [&] { return apart() > near + 1e-9; };
    if (lacks() && h.support.girdle >= 0) {
      const Quatd t = turnTowards(poser.position(h.support.girdle), shoulder(), target, near, w * furthestCollar);
      if (turns(t)) poser.turn(h.support.girdle, t);
    }
    for (int round = 0; round < meetings && share > 0 && lacks(); ++round) {
      asked += normalised(shoulder() - target) * (apart() - near);
      const Vec3d step = asked + leadSpared({lead.turn, asked}) - lead.at;
      lead.at += step;
      target += step;
    }
    if (lacks() && h.chest >= 0) {
      const Quatd t = turnTowards(poser.position(h.chest), shoulder(), target, near, w * furthestChest);
      if (turns(t)) {
        const Quatd head = h.neck >= 0 ? poser.rotation(h.neck) : Quatd{};
        poser.turn(h.chest, t);
        if (h.neck >= 0) poser.setRotation(h.neck, head);
        leadMoves = true;  // the chest carried it along: it goes back to where the prop is
      }
    }
    Rigid slid = relative;
    if (lacks() && h.grip.slide > 0) {
      const Vec3d axis = rotate(lead.turn, h.slideAxis), d = shoulder() - target;
      const double along = dot(d, axis), across2 = std::max(0.0, dot(d, d) - along * along);
      // Nearest point of the prop's axis that is within reach; its foot where none is.
      const double rest = near * near > across2 ? std::sqrt(near * near - across2) : 0;
      const double way = std::min(std::max(0.0, std::abs(along) - rest), std::abs(along)), step = std::copysign(capped(way, w * h.grip.slide), along);
      slid.at += h.slideAxis * step;
      target += axis * step;
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

}  // namespace

RepairLayerPtr makeGripLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  if (std::none_of(repairs.begin(), repairs.end(), [](const Repair* repair) { return std::holds_alternative<GripRepair>(repair->action); })) return nullptr;
  return std::make_shared<GripLayer>(std::move(context), std::move(repairs), issues);
}

}  // namespace understudy
