#include "core/repair/clearance.h"

#include <algorithm>
#include <cmath>

#include "core/repair/arm_clearance.h"

namespace understudy {
namespace {

/// Nodes of the solution lie this many a second.
constexpr double nodesPerSecond = 30;
/// Half widths of the smoothing rounds, in nodes. After each one the arms are cleared again.
constexpr int rounds[] = {4, 3, 2, 2};
constexpr int spread = 4 + 3 + 2 + 2;

struct ArmTask {
  int side = 0;
  ArmClearanceSettings settings;
  double margin = 0;                 // metres
  std::vector<std::size_t> repairs;  // of the layer, that speak of this arm
  std::vector<std::size_t> holders;  // touches and grips that take its hand
};

ArmChange mixed(const std::vector<ArmChange>& nodes, int n, int radius) {
  ArmChange out;
  double sum = 0;
  const int last = static_cast<int>(nodes.size()) - 1;
  for (int k = -radius; k <= radius; ++k) {
    const double u = k / (radius + 1.0), w = (1 - u * u) * (1 - u * u);
    const ArmChange& other = nodes[static_cast<std::size_t>(std::clamp(n + k, 0, last))];
    for (std::size_t i = 0; i < out.x.size(); ++i) out.x[i] += w * other.x[i];
    sum += w;
  }
  for (double& v : out.x) v /= sum;
  return out;
}

/// Uniform cubic B-spline through nodes that are smooth already: no overshoot, curvature goes on across nodes.
ArmChange between(const ArmChange& a, const ArmChange& b, const ArmChange& c, const ArmChange& d, double t) {
  const double s = 1 - t, wa = s * s * s / 6, wd = t * t * t / 6, wb = (4 - 6 * t * t + 3 * t * t * t) / 6, wc = 1 - wa - wb - wd;
  ArmChange out;
  for (std::size_t i = 0; i < out.x.size(); ++i) out.x[i] = wa * a.x[i] + wb * b.x[i] + wc * c.x[i] + wd * d.x[i];
  return out;
}

/// Touches with the hand or what hangs on it, with the other hand, and grips.
bool takesHand(const RepairContext& context, const Repair& repair, int side) {
  if (const auto* grip = std::get_if<GripRepair>(&repair.action)) return grip->support || grip->leadLeft == (side == 0);
  const auto* touch = std::get_if<TouchRepair>(&repair.action);
  if (!touch) return false;
  const int hand = context.arms[static_cast<std::size_t>(side)].end;
  if (hand < 0) return false;
  for (const std::string& name : {touch->bone, touch->on}) {
    if (name.empty()) continue;
    const Result<int> joint = findBone(context, name);
    if (joint && (*joint == hand || isAncestor(context.figure->skeleton, hand, *joint))) return true;
  }
  return false;
}

class ClearanceLayer final : public RepairLayer {
 public:
  ClearanceLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, std::shared_ptr<const BodyModel> model, std::vector<ArmTask> tasks)
      : RepairLayer(std::move(context), std::move(repairs)), model_(std::move(model)), tasks_(std::move(tasks)) {
    stride_ = std::max(1, static_cast<int>(std::lround(context_->rate.hertz() / nodesPerSecond)));
  }

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override { return widened(changed, support(), support()); }

  [[nodiscard]] std::vector<int> movedJoints() const override {
    std::vector<int> out;
    for (const ArmTask& task : tasks_)
      if (const LimbRig& limb = context_->arms[static_cast<std::size_t>(task.side)]; limb.detached) out.push_back(limb.end);
    std::sort(out.begin(), out.end());
    return out;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    if (frames.empty() || in.frames() == 0) return;
    Poser poser(*context_);
    const int lastNode = (in.frames() - 1 + stride_ - 1) / stride_;
    // Whole groups of four nodes, also beyond the clip's end, where its last pose stays.
    const int first = std::max(0, frames.first / stride_ - 2 - spread) / 4 * 4, last = std::min(lastNode + 3, frames.last / stride_ + 3 + spread + 3) / 4 * 4;
    const auto frameOf = [&](int node) { return std::min(node * stride_, in.frames() - 1); };
    std::vector<ArmClearer> arms;
    arms.reserve(tasks_.size());
    for (const ArmTask& task : tasks_) arms.emplace_back(*context_, model_, task.side, task.settings);
    const double scale = context_->height / 1.7, slack = 0.003 * scale;

    const auto count = static_cast<std::size_t>(last - first + 1);
    std::vector<std::vector<ArmChange>> nodes(tasks_.size(), std::vector<ArmChange>(count));
    std::vector<std::vector<ArmClearer::Watch>> watches(tasks_.size(), std::vector<ArmClearer::Watch>(count));
    const auto at = [&](int n) { return static_cast<std::size_t>(n - first); };
    const auto search = [&](int n, int steps, int half) {
      poser.load(in, frameOf(n));
      for (std::size_t a = 0; a < arms.size(); ++a) {
        ArmChange start;
        if (half > 0)
          for (std::size_t i = 0; i < start.x.size(); ++i) start.x[i] = (nodes[a][at(n - half)].x[i] + nodes[a][at(n + half)].x[i]) / 2;
        arms[a].load(poser);
        nodes[a][at(n)] = arms[a].search(start, tasks_[a].margin + slack, steps, watches[a][at(n)]);
      }
    };
    // Every fourth node from nothing, the others from those beside them, so that neighbours go the same way.
    for (int n = first; n <= last; n += 4) search(n, 40, 0);
    for (int half = 2; half >= 1; half /= 2)
      for (int n = first + half; n + half <= last; n += 2 * half) search(n, 10, half);
    std::vector<std::vector<ArmChange>> smooth = nodes;
    for (const int radius : rounds) {
      for (std::size_t a = 0; a < arms.size(); ++a)
        for (int n = first; n <= last; ++n) smooth[a][at(n)] = mixed(nodes[a], n - first, radius);
      for (int n = first; n <= last; ++n) {
        bool loaded = false;
        for (std::size_t a = 0; a < arms.size(); ++a) {
          ArmChange& x = smooth[a][at(n)];
          const ArmClearer::Watch& watch = watches[a][at(n)];
          if (watch.none() || x.none()) continue;
          if (!loaded) poser.load(in, frameOf(n));
          loaded = true;
          arms[a].load(poser);
          x = arms[a].solve(x, x, watch, tasks_[a].margin + slack, 3);
        }
      }
      nodes = smooth;
    }

    // Frame by frame, a little beyond the ends, so that what each frame adds can be evened out.
    const int from = std::max(0, frames.first - stride_), to = std::min(in.frames() - 1, frames.last + stride_);
    const auto weightOf = [&](std::size_t a, int f) {
      double off = 1;
      for (const std::size_t r : tasks_[a].repairs) off *= 1 - repairs_[r]->weight * spanWeight(frames_[r], f);
      double taken = tasks_[a].settings.handStays ? 0 : 1;
      for (const std::size_t r : tasks_[a].holders) taken = std::max(taken, spanWeight(frames_[r], f));
      return (1 - off) * taken;
    };
    std::vector<std::vector<ArmChange>> found(tasks_.size(), std::vector<ArmChange>(static_cast<std::size_t>(to - from + 1)));
    const auto watchAt = [&](std::size_t a, int f) -> const ArmClearer::Watch& { return watches[a][at(std::clamp((f + stride_ / 2) / stride_, first, last))]; };
    for (int f = from; f <= to; ++f) {
      bool loaded = false;
      for (std::size_t a = 0; a < tasks_.size(); ++a) {
        const int n = f / stride_;
        const auto node = [&](int k) -> const ArmChange& { return nodes[a][at(std::clamp(k, first, last))]; };
        const ArmChange start = between(node(n - 1), node(n), node(n + 1), node(n + 2), (f % stride_) / double(stride_));
        if (start.none() && watchAt(a, f).none()) continue;
        if (!loaded) poser.load(in, f);
        loaded = true;
        arms[a].load(poser);
        found[a][static_cast<std::size_t>(f - from)] = arms[a].solve(start, start, watchAt(a, f), tasks_[a].margin, 2);
      }
    }
    for (int f = frames.first; f <= frames.last; ++f) {
      bool loaded = false;
      for (std::size_t a = 0; a < tasks_.size(); ++a) {
        const double weight = weightOf(a, f);
        if (weight <= 0) continue;
        ArmChange x;
        double sum = 0;
        for (int k = -stride_; k <= stride_; ++k) {
          const double u = k / (stride_ + 1.0), w = (1 - u * u) * (1 - u * u);
          const ArmChange& other = found[a][static_cast<std::size_t>(std::clamp(f + k, 0, in.frames() - 1) - from)];
          for (std::size_t i = 0; i < x.x.size(); ++i) x.x[i] += w * other.x[i];
          sum += w;
        }
        for (double& v : x.x) v *= weight / sum;
        if (x.none()) continue;
        if (!loaded) poser.load(in, f);
        arms[a].load(poser);
        const double left = std::max(0.0, arms[a].depth(x, watchAt(a, f)));
        for (const std::size_t r : tasks_[a].repairs) residuals[r].note(f, left);
        arms[a].write(poser, x);
        loaded = true;
      }
      if (loaded) poser.store(out, f);
    }
  }

 private:
  [[nodiscard]] int support() const { return (spread + 4 + 4) * stride_; }

  std::shared_ptr<const BodyModel> model_;
  std::vector<ArmTask> tasks_;
  int stride_ = 1;
};

}  // namespace

std::shared_ptr<const BodyModel> bodyModelOf(const RepairContext& context) {
  return *context.parts->get<std::shared_ptr<const BodyModel>>([&] {
    return bodyModel(bodySurface(*context.figure, context.roles(), context.body.pose.fileWorld, worldFromFile(*context.figure, context.body.pose)),
                     {context.body.rotation, context.body.position}, context.roles(), context.figure->skeleton, context.height);
  });
}

RepairLayerPtr makeClearanceLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, ClearedHands hands, Issues& issues) {
  std::vector<ArmTask> tasks;
  for (int side = 0; side < 2; ++side) {
    ArmTask task;
    task.side = side;
    task.settings.handStays = hands == ClearedHands::stay;
    task.settings.torso = task.settings.head = task.settings.thighs = false;
    for (std::size_t r = 0; r < repairs.size(); ++r) {
      const auto* what = std::get_if<ClearanceRepair>(&repairs[r]->action);
      if (!what) continue;
      bool meant = what->limbs.empty();
      for (const std::string& name : what->limbs) {
        const Result<int> joint = findBone(*context, name);
        if (!joint) {
          if (side == 0) issues.push_back(makeWarning(joint.error().what, describe(*repairs[r]), joint.error().todo));
          continue;
        }
        const LimbRig& limb = context->arms[static_cast<std::size_t>(side)];
        meant = meant || *joint == limb.root || *joint == limb.mid || *joint == limb.end;
      }
      if (!meant) continue;
      const auto body = [&](const char* name) { return what->bodies.empty() || std::find(what->bodies.begin(), what->bodies.end(), name) != what->bodies.end(); };
      task.settings.torso = task.settings.torso || body("torso");
      task.settings.head = task.settings.head || body("head");
      task.settings.thighs = task.settings.thighs || body("thighs");
      task.margin = std::max(task.margin, context->scaled(what->margin));
      task.repairs.push_back(r);
    }
    if (task.repairs.empty()) continue;
    if (hands == ClearedHands::stay) {
      for (std::size_t r = 0; r < repairs.size(); ++r)
        if (takesHand(*context, *repairs[r], side)) task.holders.push_back(r);
      if (task.holders.empty()) continue;
    }
    tasks.push_back(std::move(task));
  }
  if (tasks.empty()) return nullptr;
  std::shared_ptr<const BodyModel> model = bodyModelOf(*context);
  std::erase_if(tasks, [&](ArmTask& task) {
    task.margin += model->gridError;
    if (ArmClearer(*context, model, task.side, task.settings).able()) return false;
    issues.push_back(makeWarning(std::string("The ") + (task.side == 0 ? "left" : "right") + " arm cannot be kept out of the body: the character has no skin there",
                                 describe(*repairs[task.repairs.front()])));
    return true;
  });
  if (tasks.empty()) return nullptr;
  return std::make_shared<ClearanceLayer>(std::move(context), std::move(repairs), std::move(model), std::move(tasks));
}

std::array<std::vector<float>, 2> armDepths(const RepairContext& context, const BodyModel& model, const TiledMotion& motion) {
  std::array<std::vector<float>, 2> out;
  const std::shared_ptr<const BodyModel> shared(&model, [](const BodyModel*) {});
  Poser poser(context);
  std::array<ArmClearer, 2> arms{ArmClearer(context, shared, 0, {}), ArmClearer(context, shared, 1, {})};
  for (auto& side : out) side.assign(static_cast<std::size_t>(motion.frames()), 0.0f);
  for (int f = 0; f < motion.frames(); ++f) {
    poser.load(motion, f);
    for (std::size_t side = 0; side < 2; ++side) {
      if (!arms[side].able()) continue;
      arms[side].load(poser);
      out[side][static_cast<std::size_t>(f)] = static_cast<float>(std::max(0.0, arms[side].depth({})));
    }
  }
  return out;
}

}  // namespace understudy
