#include "core/repair/clearance.h"

#include <algorithm>

#include "core/repair/clearance_run.h"

namespace understudy {
namespace {

class ClearanceLayer final : public RepairLayer {
 public:
  ClearanceLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, std::shared_ptr<const BodyModel> model, std::vector<ClearanceTask> tasks,
                 ClearedHands hands)
      : RepairLayer(std::move(context), std::move(repairs)), model_(std::move(model)), tasks_(std::move(tasks)), hands_(hands) {
    fits_ = armFits(*context_, *model_);
    gripsMatter_ = gripsMatterToFreeArms(*context_, repairs_);
    stride_ = ClearanceRun::strideAt(context_->rate);
  }

  /// Of a hold all the time of those it meets, in which arms are cleared as ones that hold; of a clearance what of its span has holds in
  /// it. Holds do nothing to free arms, but for what they put into hands.
  [[nodiscard]] FrameSpan extent(std::size_t repair) const override {
    const Repair& what = *repairs_[repair];
    const FrameSpan clip{0, context_->frames - 1};
    if (std::holds_alternative<ClearanceRepair>(what.action)) {
      FrameSpan hull;
      for (const ClearanceTask& task : tasks_) hull = hull.empty() ? task.span : FrameSpan{std::min(hull.first, task.span.first), std::max(hull.last, task.span.last)};
      return common(frames_[repair].acting(), hull);
    }
    const auto* grip = std::get_if<GripRepair>(&what.action);
    if (hands_ == ClearedHands::free) return grip && grip->prop != 0 && gripsMatter_ ? clip : FrameSpan{};
    // A touch of a prop takes the hand of the grip that leads it, wherever that is.
    if (grip && grip->prop != 0)
      for (const Repair* other : repairs_)
        if (const auto* touch = std::get_if<TouchRepair>(&other->action); touch && touch->prop == grip->prop) return clip;
    for (const ClearanceTask& task : tasks_)
      for (const ClearedArm& arm : task.arms)
        if (std::find(arm.holders.begin(), arm.holders.end(), repair) != arm.holders.end()) return task.span;
    return {};
  }
  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    const int reach = ClearanceRun::support(stride_);
    return widened(changed, reach, reach);
  }

  [[nodiscard]] std::vector<int> movedJoints() const override {
    std::vector<int> out;
    for (const ClearanceTask& task : tasks_)
      for (const ClearedArm& arm : task.arms)
        if (const LimbRig& limb = context_->arms[static_cast<std::size_t>(arm.side)]; limb.detached) out.push_back(limb.end);
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    if (frames.empty() || in.frames() == 0) return;
    const ClearanceWork work{*context_, model_, fits_, repairs_, frames_, hands_, stride_};
    Poser poser(*context_), writer(*context_);
    std::vector<char> written(static_cast<std::size_t>(frames.count()), 0);
    for (const ClearanceTask& task : tasks_) {
      const FrameSpan own = common(frames, task.span);
      if (own.empty()) continue;
      ClearanceRun run(work, task, in, poser);
      run.solve(own);
      for (int f = own.first; f <= own.last; ++f) {
        const ArmChanges x = run.at(f);
        if (x[0].none() && x[1].none()) continue;
        // The second task of a frame goes on from what the first has left there.
        char& before = written[static_cast<std::size_t>(f - frames.first)];
        writer.load(before ? out : in, f);
        before = 1;
        run.write(writer, f, x, residuals);
        writer.store(out, f);
      }
    }
  }

 private:
  std::shared_ptr<const BodyModel> model_;
  std::shared_ptr<const std::array<ArmFit, 2>> fits_;
  std::vector<ClearanceTask> tasks_;
  ClearedHands hands_;
  bool gripsMatter_ = false;
  int stride_ = 1;
};

}  // namespace

std::shared_ptr<const BodyModel> bodyModelOf(const RepairContext& context) {
  return *context.parts->get<std::shared_ptr<const BodyModel>>([&] {
    return bodyModel(bodySurface(*context.figure, context.roles(), context.body.pose.fileWorld, worldFromFile(*context.figure, context.body.pose), {context.leftOut}),
                     {context.body.rotation, context.body.position}, context.roles(), context.figure->skeleton, context.height);
  });
}

RepairLayerPtr makeClearanceLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, ClearedHands hands, Issues& issues) {
  // Most takes have nothing to clear: the body is only built where there is.
  if (std::none_of(repairs.begin(), repairs.end(), [](const Repair* r) { return std::holds_alternative<ClearanceRepair>(r->action); })) return nullptr;
  std::shared_ptr<const BodyModel> model = bodyModelOf(*context);
  std::vector<ClearanceTask> tasks = clearanceTasks(*context, *model, repairs, hands, issues);
  if (tasks.empty()) return nullptr;
  for (ClearanceTask& task : tasks) {
    task.margin += model->gridError;
    std::erase_if(task.arms, [&](const ClearedArm& arm) {
      if (ArmClearer(*context, model, arm.side, arm.settings, arm.held.points).able()) return false;
      issues.push_back(makeWarning(std::string("The ") + (arm.side == 0 ? "left" : "right") + " arm cannot be kept out of the body: the character has no skin there",
                                   describe(*repairs[task.repairs.front()])));
      return true;
    });
  }
  std::erase_if(tasks, [](const ClearanceTask& task) { return task.arms.empty(); });
  if (tasks.empty()) return nullptr;
  return std::make_shared<ClearanceLayer>(std::move(context), std::move(repairs), std::move(model), std::move(tasks), hands);
}

}  // namespace understudy
