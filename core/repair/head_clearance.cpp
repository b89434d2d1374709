#include "core/repair/head_clearance.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "core/base/stop_scope.h"
#include "core/math/smooth_step.h"
#include "core/repair/clearance.h"
#include "core/repair/clearance_run.h"
#include "core/repair/head_turn.h"
#include "core/repair/vector_series.h"

namespace understudy {
namespace {

/// Half widths, in nodes, over which turns are spread round by round. After each one what they lack is looked at again.
constexpr int rounds[] = {9, 6, 4, 4, 3, 3, 2, 2};
/// Parts of a turn that are tried where it leaves something, over how many nodes they are judged on either side, and over how many they come and go.
constexpr double parts[] = {0, 0.25, 0.5, 0.75, 1};
constexpr int judged = 9, fades = 4;
/// Over how many nodes hands come to go along with the head.
constexpr int lets = 8;
/// Metres (at a height of 1.7) that an arm may lie in the head without moving it, and from which on all of it counts.
constexpr double ignored = 0.001, counted = 0.003;
/// Turns beyond this are told, radians (15°).
constexpr double toldFrom = 0.2617994;

/// A touch of the body by a hand, which goes along with the head while it is on that.
struct BodyTouch {
  std::size_t repair = 0;  // of the layer's
  int side = 0;
  struct Mark {
    double frame = 0, head = 0;  // 1: on the head
  };
  std::vector<Mark> marks;  // at least one
  [[nodiscard]] double onHead(int frame) const {
    std::size_t k = 0;
    while (k < marks.size() && marks[k].frame < frame) ++k;
    if (k == 0) return marks.front().head;
    if (k == marks.size()) return marks.back().head;
    const Mark &a = marks[k - 1], &b = marks[k];
    return a.head + (b.head - a.head) * smoothStep((frame - a.frame) / std::max(b.frame - a.frame, 1e-9));
  }
};

std::vector<BodyTouch> bodyTouches(const RepairContext& context, const BodyModel& model, const std::vector<const Repair*>& repairs) {
  std::vector<BodyTouch> out;
  for (std::size_t r = 0; r < repairs.size(); ++r) {
    const auto* touch = std::get_if<TouchRepair>(&repairs[r]->action);
    if (!touch || touch->target != TouchTarget::body) continue;
    const Result<int> bone = findBone(context, touch->bone);
    if (!bone || *bone < 0) continue;
    const auto onHead = [&](const std::string& name) {
      const Result<int> joint = findBone(context, name);
      return joint && *joint >= 0 && model.surface.jointParts[static_cast<std::size_t>(*joint)] == BodyPart::head ? 1.0 : 0.0;
    };
    BodyTouch item;
    item.repair = r;
    for (const TouchMark& mark : touch->path) item.marks.push_back({mark.time * context.rate.hertz(), onHead(mark.on)});
    if (item.marks.empty()) item.marks.push_back({0, onHead(touch->on)});
    for (int side = 0; side < 2; ++side) {
      const int end = context.arms[static_cast<std::size_t>(side)].end;
      if (end < 0 || (*bone != end && !isAncestor(context.figure->skeleton, end, *bone))) continue;
      item.side = side;
      out.push_back(item);
    }
  }
  return out;
}

class HeadLayer final : public RepairLayer {
 public:
  HeadLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, std::shared_ptr<const BodyModel> model)
      : RepairLayer(std::move(context), std::move(repairs)), model_(std::move(model)) {
    touches_ = bodyTouches(*context_, *model_, repairs_);
    stride_ = ClearanceRun::strideAt(context_->rate);
    for (std::size_t r = 0; r < repairs_.size(); ++r) {
      const auto* what = std::get_if<ClearanceRepair>(&repairs_[r]->action);
      if (!what || what->headTurn <= 0) continue;
      if (!what->bodies.empty() && std::find(what->bodies.begin(), what->bodies.end(), "head") == what->bodies.end()) continue;
      bool meant = false;
      for (std::size_t side = 0; side < 2; ++side) {
        const LimbRig& limb = context_->arms[side];
        const bool arm = what->limbs.empty() || std::any_of(what->limbs.begin(), what->limbs.end(), [&](const std::string& name) {
          const Result<int> joint = findBone(*context_, name);
          return joint && (*joint == limb.root || *joint == limb.mid || *joint == limb.end);
        });
        arms_[side] = arms_[side] || arm;
        meant = meant || arm;
      }
      if (!meant) continue;
      clearances_.push_back(r);
      limit_ = std::max(limit_, what->headTurn);
    }
  }
  [[nodiscard]] bool empty() const { return clearances_.empty() || !HeadTurner(*context_, model_, arms_).able(); }

  [[nodiscard]] FrameSpan extent(std::size_t repair) const override {
    const bool counts = std::find(clearances_.begin(), clearances_.end(), repair) != clearances_.end() ||
                        std::any_of(touches_.begin(), touches_.end(), [&](const BodyTouch& touch) { return touch.repair == repair; });
    return counts ? frames_[repair].acting() : FrameSpan{};
  }
  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    const int reach = (support() + 4) * stride_;
    return widened(changed, reach, reach);
  }
  [[nodiscard]] std::vector<int> movedJoints() const override {
    std::vector<int> out;
    for (const BodyTouch& touch : touches_)
      if (const LimbRig& limb = context_->arms[static_cast<std::size_t>(touch.side)]; limb.detached) out.push_back(limb.end);
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    if (frames.empty() || in.frames() == 0) return;
    HeadTurner turner(*context_, model_, arms_);
    const int lastNode = (in.frames() - 1 + stride_ - 1) / stride_;
    const int first = std::max(0, frames.first / stride_ - 2 - support()), last = std::min(lastNode + 2, frames.last / stride_ + 3 + support());
    const std::vector<Vec3d> follows = followsOf(turner, in, first, last), turns = turnsOf(turner, in, first, follows);
    const auto between = [&](const std::vector<Vec3d>& series, int f) {
      const auto node = [&](int n) { return series[static_cast<std::size_t>(std::clamp(n, first, last) - first)]; };
      const int n = f / stride_;
      return splineAt(node(n - 1), node(n), node(n + 1), node(n + 2), (f % stride_) / double(stride_));
    };
    Poser poser(*context_);
    for (int f = frames.first; f <= frames.last; ++f) {
      const Vec3d turn = between(turns, f) * weightOf(f), along = between(follows, f);
      if (turn == Vec3d{}) continue;
      turner.load(in, f, {along.x, along.y});
      poser.load(in, f);
      turner.write(poser, turn);
      poser.store(out, f);
      const double left = turner.depth(turn), angle = length(turn);
      for (const std::size_t r : clearances_)
        if (spanWeight(frames_[r], f) > 0) residuals[r].note(f, left, angle > toldFrom ? angle : 0);
    }
  }

 private:
  /// Nodes on either side of one that its turn depends on.
  [[nodiscard]] static int support() {
    int sum = 4 + judged + fades + lets;
    for (const int radius : rounds) sum += 2 * radius + 1;
    return sum;
  }
  [[nodiscard]] double weightOf(int f) const {
    double off = 1;
    for (const std::size_t r : clearances_) off *= 1 - repairs_[r]->weight * spanWeight(frames_[r], f);
    return 1 - off;
  }
  /// How much hands go along with the head at nodes first … last: left as x, right as y.
  [[nodiscard]] std::vector<Vec3d> followsOf(HeadTurner& turner, const TiledMotion& in, int first, int last) const {
    std::vector<Vec3d> out(static_cast<std::size_t>(last - first + 1));
    for (const BodyTouch& touch : touches_)
      for (int n = first; n <= last && !stopAsked(); ++n) {
        const int f = std::min(n * stride_, in.frames() - 1);
        const double held = repairs_[touch.repair]->weight * spanWeight(frames_[touch.repair], f);
        if (held <= 0) continue;
        double& own = out[static_cast<std::size_t>(n - first)][touch.side];
        double lies = touch.onHead(f);
        if (lies < 1) {
          turner.load(in, f, {});
          lies = std::max(lies, turner.onHead(touch.side));
        }
        own = std::max(own, held * lies);
      }
    return evenedOut(out, lets);
  }

  /// The turns at the nodes from `first` on, to be led from one to the next by splineAt().
  [[nodiscard]] std::vector<Vec3d> turnsOf(HeadTurner& turner, const TiledMotion& in, int first, const std::vector<Vec3d>& follows) const {
    const auto count = follows.size();
    std::vector<Vec3d> turns(count), lacks(count);
    const auto frameOf = [&](int n) { return std::min(n * stride_, in.frames() - 1); };
    std::vector<char> open(count, 1);
    for (const int radius : rounds) {
      bool any = false;
      for (std::size_t k = 0; k < count; ++k) {
        lacks[k] = {};
        const int f = frameOf(first + static_cast<int>(k));
        const double weight = weightOf(f);
        if (!open[k] || weight <= 0 || stopAsked()) continue;
        const Vec3d& a = turns[k > 0 ? k - 1 : 0];
        const Vec3d& b = turns[std::min(k + 1, count - 1)];
        const Vec3d now = splineAt(a, turns[k], b, b, 0);
        // Of the frames nearest to the node the one that lies deepest: arms pass by within a few.
        double deep = 0;
        int worst = f;
        for (int at = std::max(0, f - stride_ / 2); at <= std::min(f + (stride_ - 1) / 2, in.frames() - 1); ++at) {
          turner.load(in, at, {follows[k].x, follows[k].y});
          if (const double d = turner.depth(now); d > deep) deep = d, worst = at;
        }
        const double counts = smoothStep((deep - context_->scaled(ignored)) / context_->scaled(counted - ignored));
        open[k] = 0;
        if (counts <= 0) continue;
        turner.load(in, worst, {follows[k].x, follows[k].y});
        lacks[k] = (turner.cleared(now, limit_) - now) * counts;
        any = true;
      }
      if (!any) break;
      const std::vector<Vec3d> more = spreadAround(lacks, radius);
      for (std::size_t k = 0; k < count; ++k) {
        turns[k] += more[k];
        if (const double far = length(turns[k]); far > limit_) turns[k] = turns[k] * (limit_ / far);
        if (more[k] == Vec3d{}) continue;
        for (std::size_t n = k > 0 ? k - 1 : 0; n <= std::min(k + 1, count - 1); ++n) open[n] = 1;
      }
    }
    give(turner, in, first, follows, turns);
    return turns;
  }

  /// Takes as much of the turns as does good: where arms come to both sides of the head within moments, one's good is the other's harm.
  void give(HeadTurner& turner, const TiledMotion& in, int first, const std::vector<Vec3d>& follows, std::vector<Vec3d>& turns) const {
    constexpr std::size_t tried = std::size(parts);
    const auto count = turns.size();
    const double bound = context_->scaled(counted);
    std::vector<std::array<double, tried>> depths(count, std::array<double, tried>{});
    const auto shown = [&](std::size_t k) { return splineAt(turns[k > 0 ? k - 1 : 0], turns[k], turns[std::min(k + 1, count - 1)], {}, 0); };
    const auto load = [&](std::size_t k) {
      const int f = std::min((first + static_cast<int>(k)) * stride_, in.frames() - 1);
      turner.load(in, f, {follows[k].x, follows[k].y});
    };
    std::vector<char> leaves(count, 0);
    bool any = false;
    for (std::size_t k = 0; k < count; ++k) {
      if (shown(k) == Vec3d{} || stopAsked()) continue;
      load(k);
      leaves[k] = (depths[k][tried - 1] = turner.depth(shown(k))) > bound;
      any = any || leaves[k];
    }
    if (!any) return;
    const auto near = [&](std::size_t k) { return std::pair{k > judged ? k - judged : 0, std::min(count - 1, k + judged)}; };
    const auto leavesNear = [&](std::size_t k) {
      const auto [from, to] = near(k);
      return std::any_of(leaves.begin() + static_cast<std::ptrdiff_t>(from), leaves.begin() + static_cast<std::ptrdiff_t>(to) + 1, [](char c) { return c != 0; });
    };
    for (std::size_t k = 0; k < count; ++k) {
      const auto [from, to] = near(k);
      if (shown(k) == Vec3d{} || stopAsked() || !(leavesNear(from) || leavesNear(k) || leavesNear(to))) continue;
      load(k);
      for (std::size_t i = 0; i + 1 < tried; ++i) depths[k][i] = turner.depth(shown(k) * parts[i]);
    }
    std::vector<Vec3d> amount(count, Vec3d{1, 0, 0});
    for (std::size_t k = 0; k < count; ++k) {
      if (!leavesNear(k)) continue;
      double least = 1e300;
      for (std::size_t i = tried; i-- > 0;) {
        double sum = 0;
        const auto [from, to] = near(k);
        for (std::size_t n = from; n <= to; ++n) {
          const double deep = std::max(0.0, depths[n][i] - bound);
          sum += bellWeight(static_cast<int>(n) - static_cast<int>(k), judged) * deep * deep;
        }
        if (sum < 0.98 * least) least = sum, amount[k].x = parts[i];
      }
    }
    amount = evenedOut(amount, fades);
    for (std::size_t k = 0; k < count; ++k) turns[k] = turns[k] * amount[k].x;
  }

  std::shared_ptr<const BodyModel> model_;
  std::vector<BodyTouch> touches_;
  std::vector<std::size_t> clearances_;  // of the layer's repairs
  std::array<bool, 2> arms_{};
  double limit_ = 0;
  int stride_ = 1;
};

}  // namespace

RepairLayerPtr makeHeadLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs) {
  const auto asks = [](const Repair* r) {
    const auto* what = std::get_if<ClearanceRepair>(&r->action);
    return what && what->headTurn > 0;
  };
  if (std::none_of(repairs.begin(), repairs.end(), asks)) return nullptr;
  if (context->joint(Role::neck) < 0 && context->joint(Role::head) < 0) return nullptr;
  std::shared_ptr<const BodyModel> model = bodyModelOf(*context);
  auto layer = std::make_shared<HeadLayer>(std::move(context), std::move(repairs), std::move(model));
  if (layer->empty()) return nullptr;
  return layer;
}

}  // namespace understudy
