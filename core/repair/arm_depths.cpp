#include <algorithm>
#include <mutex>
#include <optional>

#include "core/base/parallel.h"
#include "core/repair/arm_clearance.h"
#include "core/repair/clearance.h"

namespace understudy {
namespace {

/// What was measured last of a character: frames that have not changed since are not measured again.
class KnownDepths {
 public:
  struct Measured {
    TiledMotion motion;
    ArmDepths depths;
  };
  using Some = std::array<std::shared_ptr<const Measured>, 2>;  // the latest first
  [[nodiscard]] Some all() const {
    const std::scoped_lock lock(guard_);
    return all_;
  }
  void keep(std::shared_ptr<const Measured> measured) const {
    const std::scoped_lock lock(guard_);
    all_[1] = std::move(all_[0]);
    all_[0] = std::move(measured);
  }

 private:
  mutable std::mutex guard_;
  mutable Some all_;
};

/// An arm as it lies at a frame; none where it cannot be measured.
std::optional<ArmClearer> armAt(const RepairContext& context, const TiledMotion& motion, int side, int frame) {
  std::optional<ArmClearer> arm(std::in_place, context, bodyModelOf(context), side, ArmClearanceSettings{});
  if (!arm->able()) return std::nullopt;
  Poser poser(context);
  poser.load(motion, frame);
  arm->load(poser);
  return arm;
}

}  // namespace

DeepParts deepParts(const RepairContext& context, const TiledMotion& motion, int side, int frame) {
  std::optional<ArmClearer> arm = armAt(context, motion, side, frame);
  if (!arm) return {};
  const ArmClearer::DeepPlace place = arm->deepestPlace();
  return {std::string(bodyPartName(place.of)), place.inFloor ? "floor" : std::string(bodyPartName(place.in))};
}

double armDepth(const RepairContext& context, const TiledMotion& motion, int side, int frame) {
  std::optional<ArmClearer> arm = armAt(context, motion, side, frame);
  return arm ? arm->deepest() : 0;
}

ArmDepths armDepths(const RepairContext& context, const TiledMotion& motion, FrameSpan frames, int threads) {
  const std::shared_ptr<const KnownDepths> known = context.parts->get<KnownDepths>();
  const std::shared_ptr<const BodyModel> model = bodyModelOf(context);
  KnownDepths::Some before = known->all();
  for (auto& one : before)
    if (one && (one->motion.frames() != motion.frames() || one->motion.movedJoints() != motion.movedJoints() || one->motion.scaledJoints() != motion.scaledJoints())) one = nullptr;
  auto out = std::make_shared<KnownDepths::Measured>();
  out->motion = motion;
  for (auto& side : out->depths) side.assign(static_cast<std::size_t>(motion.frames()), 0.0f);
  constexpr int atOnce = 256;
  const FrameSpan all{0, motion.frames() - 1}, wanted = common(frames, all);
  parallelFor((wanted.count() + atOnce - 1) / atOnce, [&](int chunk) {
    std::optional<Poser> poser;
    std::array<std::optional<ArmClearer>, 2> arms;
    const int first = wanted.first + chunk * atOnce;
    for (int f = first; f <= std::min(wanted.last, first + atOnce - 1); ++f) {
      const auto at = static_cast<std::size_t>(f);
      const auto same = std::find_if(before.begin(), before.end(), [&](const auto& one) { return one && motion.sameAt(one->motion, f); });
      if (same != before.end()) {
        for (std::size_t side = 0; side < 2; ++side) out->depths[side][at] = (*same)->depths[side][at];
        continue;
      }
      if (!poser) {
        poser.emplace(context);
        for (int side = 0; side < 2; ++side) arms[static_cast<std::size_t>(side)].emplace(context, model, side, ArmClearanceSettings{});
      }
      poser->load(motion, f);
      for (std::size_t side = 0; side < 2; ++side) {
        if (!arms[side]->able()) continue;
        out->depths[side][at] = static_cast<float>(arms[side]->deepestOf(*poser));
      }
    }
  }, threads);
  if (wanted == all) known->keep(out);
  return out->depths;
}

ArmDepths armDepths(const RepairContext& context, const TiledMotion& motion, int threads) { return armDepths(context, motion, {0, motion.frames() - 1}, threads); }

}  // namespace understudy
