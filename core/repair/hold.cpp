#include "core/repair/hold.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "core/repair/admit.h"
#include "core/repair/poser.h"
#include "core/repair/tracks.h"

namespace understudy {

int bridgeReach(FrameRate rate) { return std::max(1, static_cast<int>(std::lround(rate.hertz() / 30))); }

namespace {

// Rotations and positions by the same formulas: `difference` is what `moved` adds.
Vec3d difference(const Vec3d& from, const Vec3d& to) { return to - from; }
Vec3d difference(const Quatd& from, const Quatd& to) { return logOf(conjugate(from) * to); }
Vec3d moved(const Vec3d& from, const Vec3d& by) { return from + by; }
Quatd moved(const Quatd& from, const Vec3d& by) { return from * expOf(by); }

/// How far a surplus of 1 a frame carries `t` frames from its edge: slope 1 there, back at 0 with slope 0 after `decay`.
double swing(double t, double decay) {
  if (t >= decay) return 0;
  const double left = 1 - t / decay;
  return t * left * left;
}
/// The way of something that slows down from 1 a frame to rest within `decay` frames.
double coast(double t, double decay) {
  const double left = 1 - std::min(t / decay, 1.0);
  return decay / 3 * (1 - left * left * left);
}

/// What one bone has at a span's edges; velocities a frame, forwards in time, rotations in the bone's own frame.
template <class T>
struct Edges {
  std::optional<T> before, behind;
  Vec3d beforeVelocity, behindVelocity;
};

template <class T>
T bridged(const Edges<T>& edges, double sinceBefore, double untilBehind, double hertz) {
  const double gap = sinceBefore + untilBehind;
  if (edges.before && edges.behind) {
    const double decay = std::min(gap, 0.5 * hertz);
    const Vec3d way = difference(*edges.before, *edges.behind), even = way / gap;
    const Vec3d extra = (edges.beforeVelocity - even) * swing(sinceBefore, decay) - (edges.behindVelocity - even) * swing(untilBehind, decay);
    return moved(moved(*edges.before, way * (sinceBefore / gap)), extra);
  }
  const double decay = std::max(1.0, 0.25 * hertz);
  if (edges.before) return moved(*edges.before, edges.beforeVelocity * coast(sinceBefore, decay));
  return moved(*edges.behind, -edges.behindVelocity * coast(untilBehind, decay));
}

Quatd blended(const Quatd& a, const Quatd& b, double w) { return w >= 1 ? b : slerp(a, b, w); }
Vec3d blended(const Vec3d& a, const Vec3d& b, double w) { return w >= 1 ? b : lerp(a, b, w); }

struct Hold {
  std::size_t repair = 0;
  bool bridge = true;
  std::vector<int> joints;  ///< ascending
  bool position = true;
  int keptFrame = 0;        ///< of a still
  FrameSpan extent;
  [[nodiscard]] bool has(int joint) const { return std::binary_search(joints.begin(), joints.end(), joint); }
};

class HoldLayer : public RepairLayer {
 public:
  HoldLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)), extents_(repairs_.size()), reach_(bridgeReach(context_->rate)) {
    for (std::size_t i = 0; i < repairs_.size(); ++i) add(i, issues);
  }

  [[nodiscard]] FrameSpan extent(std::size_t repair) const override { return extents_[repair]; }

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    for (const Hold& hold : holds_) {
      const bool reads = hold.bridge ? !common(changed, widened(hold.extent, reach_ + 1, reach_ + 1)).empty() : changed.holds(hold.keptFrame);
      if (reads) changed = hull(changed, hold.extent);
    }
    return changed;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>&) const override {
    std::vector<int> joints;
    for (const Hold& hold : holds_)
      if (!common(hold.extent, frames).empty()) joints.insert(joints.end(), hold.joints.begin(), hold.joints.end());
    forEachTrack(std::move(joints), in, out, [&](int joint, bool position, const auto& read, const auto& write) { run(joint, position, frames, read, write); });
    carryEnds(in, frames, out);
  }

  [[nodiscard]] std::vector<int> movedJoints() const override {
    std::vector<int> out;
    for (const auto* limbs : {&context_->arms, &context_->legs})
      for (const LimbRig& limb : *limbs)
        if (std::any_of(holds_.begin(), holds_.end(), [&](const Hold& hold) { return carries(hold, limb); })) out.push_back(limb.end);
    std::sort(out.begin(), out.end());
    return out;
  }

 private:
  /// A hand or foot that hangs elsewhere is to go along with a limb that is held, unless it is held itself.
  static bool carries(const Hold& hold, const LimbRig& limb) {
    return limb.complete() && limb.detached && (hold.has(limb.root) || hold.has(limb.mid)) && !hold.has(limb.end);
  }
  void carryEnds(const TiledMotion& in, FrameSpan frames, TiledMotion& out) const {
    if (movedJoints().empty()) return;
    Poser was(*context_), now(*context_);
    for (const auto* limbs : {&context_->arms, &context_->legs})
      for (const LimbRig& limb : *limbs) {
        std::vector<FrameSpan> acting;
        for (const Hold& hold : holds_)
          if (carries(hold, limb)) acting.push_back(common(hold.extent, frames));
        for (const FrameSpan& span : joined(std::move(acting)))
          for (int f = span.first; f <= span.last; ++f) {
            was.load(in, f);
            now.load(out, f);
            const Vec3d gap = rotate(conjugate(was.rotation(limb.mid)), was.position(limb.end) - was.position(limb.mid));
            now.moveBy(limb.end, now.toWorld(limb.mid, gap) - now.position(limb.end));
            now.store(out, f);
          }
      }
  }

  void add(std::size_t index, Issues& issues) {
    const Repair& repair = *repairs_[index];
    const auto* bridge = std::get_if<BridgeRepair>(&repair.action);
    const auto* still = std::get_if<StillRepair>(&repair.action);
    if ((!bridge && !still) || !admitted(repair, frames_[index], *context_, issues)) return;
    const std::string where = describe(repair);
    const int last = context_->frames - 1;
    Hold hold;
    hold.repair = index;
    hold.bridge = bridge != nullptr;
    hold.position = bridge ? bridge->position : still->position;
    hold.extent = bridge ? frames_[index].span : common(frames_[index].acting(), {0, last});
    if (bridge && hold.extent == FrameSpan{0, last}) {
      issues.push_back(makeWarning("A bridge over the whole clip has no edge to start from; it is left out", where, "Shorten its span"));
      return;
    }
    if (still) {
      hold.keptFrame = frames_[index].span.first;
      if (still->time) {
        const double frame = *still->time * context_->rate.hertz();
        if (!std::isfinite(frame)) {
          issues.push_back(makeWarning("The time of the kept pose is no number; it is left out", where, "Set it anew"));
          return;
        }
        hold.keptFrame = static_cast<int>(std::lround(std::clamp(frame, 0.0, static_cast<double>(last))));
        if (frame < -0.5 || frame > last + 0.5)
          issues.push_back(makeWarning("The kept pose lies outside the clip; frame " + std::to_string(hold.keptFrame + 1) + " is kept instead", where,
                                       "Choose one of the frames 1:" + std::to_string(last + 1)));
      }
    }
    hold.joints = findBones(*context_, bridge ? bridge->bones : still->bones, where, issues);
    if (hold.joints.empty()) return;
    extents_[index] = hold.extent;
    holds_.push_back(std::move(hold));
  }

  /// One joint's values after the holds before `count`.
  template <class T, class Read>
  struct Curve {
    const HoldLayer& layer;
    std::vector<const Hold*> holds;
    const Read& read;
    std::vector<std::optional<Edges<T>>> edges;
    std::vector<std::optional<T>> kept;

    T at(std::size_t count, int frame) {
      while (count > 0 && !holds[count - 1]->extent.holds(frame)) --count;
      if (count == 0) return read(frame);
      const std::size_t i = count - 1;
      const Hold& hold = *holds[i];
      const double weight = layer.repairs_[hold.repair]->weight;
      if (!hold.bridge) {
        const double w = weight * spanWeight(layer.frames_[hold.repair], frame);
        if (w == 0) return at(i, frame);
        if (!kept[i]) kept[i] = at(i, hold.keptFrame);
        return w >= 1 ? *kept[i] : blended(at(i, frame), *kept[i], w);
      }
      if (!edges[i]) edges[i] = edgesOf(i);
      const T made = bridged(*edges[i], frame - (hold.extent.first - 1), hold.extent.last + 1 - frame, layer.context_->rate.hertz());
      return weight >= 1 ? made : blended(at(i, frame), made, weight);
    }

    Edges<T> edgesOf(std::size_t i) {
      const FrameSpan span = holds[i]->extent;
      const int last = layer.context_->frames - 1;
      Edges<T> found;
      if (span.first > 0) {
        found.before = at(i, span.first - 1);
        if (const int far = std::max(0, span.first - 1 - layer.reach_); far < span.first - 1)
          found.beforeVelocity = difference(at(i, far), *found.before) / static_cast<double>(span.first - 1 - far);
      }
      if (span.last < last) {
        found.behind = at(i, span.last + 1);
        if (const int far = std::min(last, span.last + 1 + layer.reach_); far > span.last + 1)
          found.behindVelocity = difference(*found.behind, at(i, far)) / static_cast<double>(far - span.last - 1);
      }
      return found;
    }
  };

  template <class Read, class Write>
  void run(int joint, bool position, FrameSpan frames, const Read& read, const Write& write) const {
    using T = decltype(read(0));
    std::vector<const Hold*> mine;
    for (const Hold& hold : holds_)
      if (hold.has(joint) && (!position || hold.position)) mine.push_back(&hold);
    Curve<T, Read> curve{*this, mine, read, std::vector<std::optional<Edges<T>>>(mine.size()), std::vector<std::optional<T>>(mine.size())};
    std::vector<FrameSpan> acting;
    for (const Hold* hold : mine) acting.push_back(common(hold->extent, frames));
    for (const FrameSpan& span : joined(std::move(acting)))
      for (int f = span.first; f <= span.last; ++f) write(f, curve.at(mine.size(), f));
  }

  std::vector<Hold> holds_;
  std::vector<FrameSpan> extents_;
  int reach_ = 1;
};

}  // namespace

RepairLayerPtr makeHoldLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  if (repairs.empty()) return nullptr;
  return std::make_shared<HoldLayer>(std::move(context), std::move(repairs), issues);
}

}  // namespace understudy
