#include "core/repair/untwist.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <mutex>
#include <numbers>

#include "core/repair/admit.h"
#include "core/repair/untwist_limb.h"

namespace understudy {

double followedTwist(const Quatd& change, const Vec3d& axis, double last) {
  const double along = dot(change.vec(), axis);
  // cos(85°): the swing is within 10° of a half turn.
  if (change.w * change.w + along * along < 0.0075961) return last;
  const double twist = 2 * std::atan2(along, change.w);
  const double turns = std::ceil((twist - last) / (2 * std::numbers::pi) - 0.5);
  return twist - 2 * std::numbers::pi * turns;
}

double excessTwist(double twist, double limit) {
  constexpr double knee = std::numbers::pi / 18;
  const double over = std::abs(twist) - limit;
  if (over <= -knee) return 0;
  const double excess = over >= knee ? over : (over + knee) * (over + knee) / (4 * knee);
  // The whole twist at most, where the limit lies below the knee.
  return std::copysign(std::min(excess, std::abs(twist)), twist);
}

namespace {

constexpr double quarter = std::numbers::pi / 2;

double stepAngle(const Quatd& a, const Quatd& b) { return 2 * std::acos(std::min(1.0, std::abs(dot(a, b)))); }

/// Frames in which a joint is flipped, and the turn that takes the flip out at the first and the last of them.
struct Flip {
  int joint = 0;
  int first = 0, last = 0;
  bool left = false;  ///< the turn is applied in the parent's frame
  Quatd begin, end;
};

struct Step {
  std::size_t repair = 0;
  FrameSpan extent;
  // Either flips of these joints …
  std::vector<int> joints;
  // … or the twist of a link.
  std::optional<TwistLink> link;
  double share = 0, limit = 0;
  bool hinge = false;  ///< the link's base takes its own twist from the edges of the extent
};

/// What was found in one input.
struct Findings {
  TiledMotion in;
  struct OfStep {
    std::vector<Flip> flips;                      ///< by first frame
    std::vector<std::pair<int, double>> oneWay;   ///< frames and angles of flips that do not go back
    std::vector<double> turns;                    ///< of the link, one a frame of the step's extent
  };
  std::vector<OfStep> steps;
};

class UntwistLayer : public RepairLayer {
 public:
  UntwistLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)), extents_(repairs_.size()) {
    for (std::size_t i = 0; i < repairs_.size(); ++i) add(i, issues);
  }

  [[nodiscard]] FrameSpan extent(std::size_t repair) const override { return extents_[repair]; }

  [[nodiscard]] std::vector<int> movedJoints() const override {
    std::vector<int> moved;
    for (const Step& step : steps_)
      if (step.link)
        for (const TwistLink::Held& held : step.link->held)
          if (held.moves) moved.push_back(held.joint);
    std::sort(moved.begin(), moved.end());
    moved.erase(std::unique(moved.begin(), moved.end()), moved.end());
    return moved;
  }

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    for (const Step& step : steps_)
      if (!common(changed, step.hinge ? widened(step.extent, 1, 1) : step.extent).empty()) changed = hull(changed, step.extent);
    return changed;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    if (std::all_of(steps_.begin(), steps_.end(), [&](const Step& s) { return common(s.extent, frames).empty(); })) return;
    const std::shared_ptr<const Findings> findings = findingsOf(in);
    LocalPose pose(*context_);
    for (int f = frames.first; f <= frames.last; ++f) {
      bool any = false;
      for (std::size_t s = 0; s < steps_.size() && !any; ++s) any = acts(findings->steps[s], steps_[s], f);
      if (!any) continue;
      pose.load(in, f);
      through(pose, *findings, steps_.size(), f);
      pose.store(out, f);
    }
    for (std::size_t s = 0; s < steps_.size(); ++s)
      for (const auto& [frame, angle] : findings->steps[s].oneWay)
        if (frames.holds(frame) && steps_[s].repair < residuals.size()) residuals[steps_[s].repair].note(frame, 0, angle);
  }

 private:
  void add(std::size_t index, Issues& issues) {
    const Repair& repair = *repairs_[index];
    const auto* untwist = std::get_if<UntwistRepair>(&repair.action);
    if (!untwist || !admitted(repair, frames_[index], *context_, issues)) return;
    const std::string where = describe(repair);
    if (!std::isfinite(untwist->share) || !std::isfinite(untwist->limit)) {
      issues.push_back(makeWarning("Its share or its limit is no number; it is left out", where, "Set them anew"));
      return;
    }
    const std::vector<int> joints = findBones(*context_, untwist->bones, where, issues);
    if (joints.empty()) return;
    const FrameSpan extent = common(frames_[index].acting(), {0, context_->frames - 1});
    const bool hinges = untwist->hinges && extent != FrameSpan{0, context_->frames - 1};
    if (untwist->hinges && !hinges)
      issues.push_back(makeWarning("Over the whole clip there are no edges that elbows and knees could take their twist from", where, "Shorten its span"));
    const std::size_t before = steps_.size();
    if (untwist->flips) steps_.push_back({index, extent, joints, std::nullopt});
    using enum Role;
    constexpr std::array<std::array<Role, 2>, 4> roles{{{leftUpperArm, leftLowerArm}, {rightUpperArm, rightLowerArm}, {leftUpperLeg, leftLowerLeg}, {rightUpperLeg, rightLowerLeg}}};
    const std::array<const LimbRig*, 4> limbs{&context_->arms[0], &context_->arms[1], &context_->legs[0], &context_->legs[1]};
    for (std::size_t i = 0; i < limbs.size(); ++i) {
      const LimbRig& limb = *limbs[i];
      const auto named = [&](int joint) { return joint >= 0 && std::binary_search(joints.begin(), joints.end(), joint); };
      if (!limb.complete() || !(named(limb.root) || named(limb.mid) || named(limb.end))) continue;
      if (hinges)
        if (auto link = twistLink(*context_, limb.mid, limb.end, context_->roles().at(roles[i][1]).joints, limb.root); link && link->above >= 0)
          steps_.push_back({index, extent, {}, std::move(link), 0, 0, true});
      if (untwist->share <= 0) continue;
      addLink(index, extent, twistLink(*context_, limb.mid, limb.end, context_->roles().at(roles[i][1]).joints), *untwist);
      addLink(index, extent, twistLink(*context_, limb.root, limb.mid, context_->roles().at(roles[i][0]).joints), *untwist);
    }
    if (steps_.size() > before) extents_[index] = extent;
  }

  void addLink(std::size_t index, FrameSpan extent, std::optional<TwistLink> link, const UntwistRepair& untwist) {
    if (link) steps_.push_back({index, extent, {}, std::move(link), std::min(untwist.share, 1.0), std::max(untwist.limit, 0.0), false});
  }

  [[nodiscard]] double weight(const Step& step, int frame) const { return repairs_[step.repair]->weight * spanWeight(frames_[step.repair], frame); }

  [[nodiscard]] static bool acts(const Findings::OfStep& found, const Step& step, int frame) {
    if (!step.extent.holds(frame)) return false;
    if (step.link) return found.turns[static_cast<std::size_t>(frame - step.extent.first)] != 0;
    return std::any_of(found.flips.begin(), found.flips.end(), [&](const Flip& flip) { return frame >= flip.first && frame <= flip.last; });
  }

  /// A loaded pose after the first `count` steps.
  void through(LocalPose& pose, const Findings& findings, std::size_t count, int frame) const {
    for (std::size_t s = 0; s < count; ++s) {
      const Step& step = steps_[s];
      const Findings::OfStep& found = findings.steps[s];
      if (!step.extent.holds(frame)) continue;
      if (step.link) {
        if (const double turn = found.turns[static_cast<std::size_t>(frame - step.extent.first)]; turn != 0) step.link->share(pose, turn);
        continue;
      }
      for (const Flip& flip : found.flips) {
        if (flip.first > frame) break;
        if (flip.last < frame) continue;
        const double t = flip.last == flip.first ? 0.5 : static_cast<double>(frame - flip.first) / (flip.last - flip.first);
        const double w = repairs_[step.repair]->weight;
        Quatd turn = slerp(flip.begin, flip.end, t);
        if (w < 1) turn = slerp(Quatd{}, turn, w);
        pose.set(flip.joint, flip.left ? turn * pose[flip.joint] : pose[flip.joint] * turn);
      }
    }
  }

  /// Kept as long as the same input is asked about: it is looked through once, not once a piece.
  std::shared_ptr<const Findings> findingsOf(const TiledMotion& in) const {
    const std::scoped_lock lock(guard_);
    if (!found_ || found_->in.frames() != in.frames() || found_->in.sharedTiles(in) != in.tiles() || found_->in.tiles() != in.tiles() ||
        found_->in.rotationsAt(0).data() != in.rotationsAt(0).data()) {
      auto next = std::make_shared<Findings>();
      next->in = in;
      while (next->steps.size() < steps_.size()) {
        const Step& step = steps_[next->steps.size()];
        if (step.hinge)
          next->steps.push_back(hingeOf(step, *next));
        else if (step.link)
          addTurns(*next);
        else
          next->steps.push_back(flipsOf(step, *next));
      }
      found_ = std::move(next);
    }
    return found_;
  }

  /// How far the bases of a repair's links are to turn, those that come next, each after the ones before it.
  void addTurns(Findings& findings) const {
    const std::size_t begin = findings.steps.size();
    std::size_t end = begin;
    while (end < steps_.size() && steps_[end].link && !steps_[end].hinge && steps_[end].repair == steps_[begin].repair) ++end;
    const FrameSpan extent = steps_[begin].extent;
    std::vector<double> twists(end - begin, 0.0);
    std::vector<Findings::OfStep> found(end - begin);
    LocalPose pose(*context_);
    for (int f = extent.first; f <= extent.last; ++f) {
      pose.load(findings.in, f);
      through(pose, findings, begin, f);
      for (std::size_t s = begin; s < end; ++s) {
        const Step& step = steps_[s];
        double& twist = twists[s - begin];
        twist = followedTwist(step.link->change(pose), step.link->axis, twist);
        const double turn = weight(step, f) * step.share * excessTwist(twist, step.limit);
        found[s - begin].turns.push_back(turn);
        if (turn != 0) step.link->share(pose, turn);
      }
    }
    for (Findings::OfStep& one : found) findings.steps.push_back(std::move(one));
  }

  /// How far a base is to turn so that its own twist takes the course between the edges.
  [[nodiscard]] Findings::OfStep hingeOf(const Step& step, const Findings& before) const {
    const FrameSpan clip{0, context_->frames - 1}, all = common(widened(step.extent, 1, 1), clip);
    LocalPose pose(*context_);
    std::vector<double> twists;
    for (int f = all.first; f <= all.last; ++f) {
      pose.load(before.in, f);
      through(pose, before, before.steps.size(), f);
      twists.push_back(followedTwist(step.link->baseChange(pose), step.link->axis, twists.empty() ? 0 : twists.back()));
    }
    // A spin by whole turns is none at the edges.
    const bool hasBefore = all.first < step.extent.first, hasBehind = all.last > step.extent.last;
    const double begin = hasBefore ? twists.front() : hasBehind ? twists.back() : 0;
    const double spun = hasBehind ? twists.back() - begin : 0;
    const bool whole = std::abs(spun) > std::numbers::pi;
    const double end = begin + (whole ? std::remainder(spun, 2 * std::numbers::pi) : spun);
    Findings::OfStep found;
    for (int f = step.extent.first; f <= step.extent.last; ++f) {
      const double t = static_cast<double>(f - all.first) / std::max(1, all.last - all.first);
      const double away = begin + (end - begin) * t - twists[static_cast<std::size_t>(f - all.first)];
      found.turns.push_back(weight(step, f) * (whole ? std::remainder(away, 2 * std::numbers::pi) : away));
    }
    return found;
  }

  [[nodiscard]] Findings::OfStep flipsOf(const Step& step, const Findings& before) const {
    // Frames whose step to the frame before is larger than a quarter turn, by joint.
    std::vector<std::vector<int>> large(step.joints.size());
    LocalPose pose(*context_);
    std::vector<Quatd> last;
    for (int f = step.extent.first; f <= step.extent.last; ++f) {
      pose.load(before.in, f);
      through(pose, before, before.steps.size(), f);
      for (std::size_t k = 0; k < step.joints.size(); ++k) {
        const Quatd& now = pose[step.joints[k]];
        if (f > step.extent.first && std::abs(dot(last[k], now)) < std::numbers::sqrt2 / 2) large[k].push_back(f);
        if (f == step.extent.first) last.push_back(now);
        last[k] = now;
      }
    }
    Findings::OfStep found;
    for (std::size_t k = 0; k < step.joints.size(); ++k)
      if (!large[k].empty()) flipsOfJoint(step, step.joints[k], large[k], before, found);
    std::stable_sort(found.flips.begin(), found.flips.end(), [](const Flip& a, const Flip& b) { return a.first < b.first; });
    return found;
  }

  void flipsOfJoint(const Step& step, int joint, const std::vector<int>& large, const Findings& before, Findings::OfStep& found) const {
    LocalPose pose(*context_);
    const auto at = [&](int f) {
      pose.load(before.in, f);
      through(pose, before, before.steps.size(), f);
      return pose[joint];
    };
    const auto isLarge = [&](int f) { return std::binary_search(large.begin(), large.end(), f); };
    const auto inside = [&](int f) { return f > step.extent.first && f <= step.extent.last; };
    // The nearest step on one side that is no large one itself; none: 0.
    const auto beside = [&](int f, int way) {
      f += way;
      while (inside(f) && isLarge(f)) f += way;
      return inside(f) ? stepAngle(at(f - 1), at(f)) : 0.0;
    };
    std::vector<int> flips;
    for (const int f : large)
      if (stepAngle(at(f - 1), at(f)) > 3 * std::max(beside(f, -1), beside(f, 1))) flips.push_back(f);
    // Where the joint would be at `f` if it went on from `from` as on the step before that.
    const auto goneOn = [&](int from, int way) {
      const int f = from - way;
      const int into = way > 0 ? from : f;
      const Quatd here = at(from);
      if (f < step.extent.first || f > step.extent.last || isLarge(into)) return here;
      return here * conjugate(at(f)) * here;
    };
    for (std::size_t i = 0; i < flips.size(); ++i) {
      const int first = flips[i];
      if (i + 1 < flips.size()) {
        const int behind = flips[i + 1], last = behind - 1;
        const Quatd a = at(first), b = at(last), begin = goneOn(first - 1, 1), end = goneOn(behind, -1);
        const Quatd rightBegin = conjugate(a) * begin, rightEnd = conjugate(b) * end, leftBegin = begin * conjugate(a), leftEnd = end * conjugate(b);
        const double right = angleBetween(rightBegin, rightEnd), left = angleBetween(leftBegin, leftEnd);
        const bool touchesSpan = last >= frames_[step.repair].span.first && first <= frames_[step.repair].span.last;
        if (touchesSpan && std::min(right, left) < std::numbers::pi / 3) {
          const bool useLeft = left < right;
          found.flips.push_back({joint, first, last, useLeft, useLeft ? leftBegin : rightBegin, useLeft ? leftEnd : rightEnd});
          ++i;
          continue;
        }
      }
      found.oneWay.emplace_back(first, stepAngle(at(first - 1), at(first)));
    }
  }

  std::vector<Step> steps_;
  std::vector<FrameSpan> extents_;
  mutable std::mutex guard_;
  mutable std::shared_ptr<const Findings> found_;
};

}  // namespace

RepairLayerPtr makeUntwistLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  if (repairs.empty()) return nullptr;
  return std::make_shared<UntwistLayer>(std::move(context), std::move(repairs), issues);
}

}  // namespace understudy
