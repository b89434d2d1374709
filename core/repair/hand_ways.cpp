#include "core/repair/hand_ways.h"

#include <algorithm>
#include <cmath>

#include "core/base/memo.h"
#include "core/base/stop_scope.h"
#include "core/math/smooth_step.h"
#include "core/repair/hand_onto_skin.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) by which a frame's way onto the skin is its own, whatever those around are; from twice as much on it is theirs.
constexpr double alone = 0.008;
/// Metres (at a height of 1.7) by which a hand leaves its way so that an elbow near full stretch bends evenly; from twice as much on it does not.
constexpr double yields = 0.008;
/// Radians off the even bend up to which an elbow is left alone, and from which on it is brought back to it.
constexpr double jerksFrom = 0.07, jerksTo = 0.14;

/// Of a character: ways of hands back to the skin.
struct SkinWayMemo : Memo<Vec3d> {};

template <class Of>
auto evened(int frame, int reach, int frames, Of of) -> std::decay_t<decltype(of(frame))> {
  std::decay_t<decltype(of(frame))> sum{};
  double total = 0;
  for (int k = -reach; k <= reach; ++k) {
    const double w = bellWeight(k, reach);
    sum += of(std::clamp(frame + k, 0, frames - 1)) * w;
    total += w;
  }
  return sum / total;
}

}  // namespace

HandWays::HandWays(const RepairContext& context, ArmClearer& arm, int side, int stride, int frames, Asks asks)
    : context_(context), arm_(arm), side_(side), stride_(stride), frames_(frames), asks_(std::move(asks)), poser_(context) {}

Vec3d HandWays::skinWay(int frame) {
  const double hold = asks_.hold(frame);
  if (hold <= 0) return {};
  const auto [known, fresh] = skinWays_.try_emplace(frame);
  if (!fresh || stopAsked()) return known->second;
  asks_.pose(poser_, frame);
  // Frames that come out as they did before are not worked out again.
  Digest of = arm_.nameOf(poser_);
  of.add(std::uint64_t{side_ != 0}).add(hold);
  for (int j = 0; j < static_cast<int>(context_.body.rotation.size()); ++j) {
    const Quatd& q = poser_.rotation(j);
    const Vec3d& p = poser_.position(j);
    of.add(q.w).add(q.x).add(q.y).add(q.z).add(p.x).add(p.y).add(p.z);
  }
  const std::shared_ptr<const SkinWayMemo> memo = context_.parts->get<SkinWayMemo>();
  if (const std::optional<Vec3d> way = memo->find(of)) return known->second = *way;
  known->second = wayOntoSkin(poser_, arm_, side_, hold, arm_.deepestOf(poser_));
  memo->keep(of, known->second);
  return known->second;
}

Vec3d HandWays::evenedSkinWay(int frame) {
  // Which points are nearest may change from one frame to the next, and with it the way.
  if (asks_.hold(frame) <= 0) return {};
  const Vec3d even = evened(frame, nodesEvened * stride_, frames_, [&](int f) { return skinWay(f); }), own = skinWay(frame) - even;
  return even + own * smoothStep(2 - length(own) / context_.scaled(alone));
}

const HandWays::Elbow& HandWays::elbow(int frame) {
  const auto [known, fresh] = elbows_.try_emplace(frame);
  Elbow& out = known->second;
  if (!fresh) return out;
  const Vec3d way = evenedSkinWay(frame);
  asks_.pose(poser_, frame);
  const LimbRig& limb = context_.arms[static_cast<std::size_t>(side_)];
  const Vec3d root = poser_.position(limb.root), mid = poser_.position(limb.mid), end = poser_.position(limb.end);
  out.upper = distance(root, mid);
  out.lower = distance(mid, end);
  out.line = normalised(end + way - root, normalised(end - root, {}));
  const double far = length(end + way - root);
  const double cosine = (far * far - out.upper * out.upper - out.lower * out.lower) / (2 * out.upper * out.lower);
  out.bend = std::acos(std::clamp(cosine, -1.0, 1.0));
  return out;
}

Vec3d HandWays::at(int frame) {
  const Vec3d way = evenedSkinWay(frame);
  const double give = asks_.give(frame);
  if (give <= 0) return way;
  const double even = evened(frame, nodesEvened * stride_, frames_, [&](int f) { return elbow(f).bend; });
  const Elbow& own = elbow(frame);
  const auto far = [&](double bend) { return std::sqrt(own.upper * own.upper + own.lower * own.lower + 2 * own.upper * own.lower * std::cos(bend)); };
  const double along = far(even) - far(own.bend);
  const double jerks = smoothStep((std::abs(even - own.bend) - jerksFrom) / (jerksTo - jerksFrom));
  return way + own.line * (along * give * jerks * smoothStep(2 - std::abs(along) / context_.scaled(yields)));
}

}  // namespace understudy
