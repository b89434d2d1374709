// Trunk and legs are kept above the ground where a character sits, kneels or lies.
#include <algorithm>
#include <cmath>

#include "core/math/least_bent.h"
#include "core/repair/plant_run.h"

namespace understudy {
namespace {

constexpr double hipsFading = 0.25, footFading = 0.12;  // seconds over which either goes once nothing asks for it
constexpr int rounds = 3;                               // legs bend as hips rise: looked at again

}  // namespace

// How deep the body lies where the pose of a frame, its pelvis and legs as they are now, has it.
double PlantRun::inGround(int frame, const GroundParts& parts) {
  body_->pose.load(in_, frame);
  pose_.carryTo(body_->pose);
  return body_->skin.depth(body_->pose, plan_.lowest[static_cast<std::size_t>(frame)], parts);
}

// The pelvis rises by as much as trunk and thighs need, as gently as that goes, and no further than feet that stand let it. Feet that do not
// stand come out of the ground by themselves, and where their shank lies in it both ends of that rise; over a foot that stands hips lift no shank.
void PlantRun::ground() {
  if (plan_.grounds.empty()) return;
  above_ = Strip(moves_);
  feetAbove_ = {Strip(moves_), Strip(moves_)};
  const double rate = plan_.context.rate.hertz(), hipsPull = pullOf(hipsFading * rate), footPull = pullOf(footFading * rate);
  for (const GroundTask& task : plan_.grounds) {
    const FrameSpan all = task.extent;
    if (all.empty() || common(all, moves_) != all) continue;
    const auto count = static_cast<std::size_t>(all.count());
    const SequenceEnds ends{all.first == clip_.first, all.last == clip_.last};
    const std::array<std::vector<double>, 2> firm{firmIn(all, 0), firmIn(all, 1)};
    const Strip before = above_;
    const std::array<Strip, 2> feetBefore = feetAbove_;
    std::vector<double> asked(count, 0.0), rises = asked;
    std::array<std::vector<double>, 2> feetAsked{asked, asked}, feet{asked, asked};
    const auto frameOf = [&](std::size_t k) { return all.first + static_cast<int>(k); };
    const auto lies = [](const std::vector<double>& values) { return std::any_of(values.begin(), values.end(), [](double d) { return d > 0; }); };
    const auto room = [&](std::size_t k) {
      double least = 1e300;
      for (int side = 0; side < 2; ++side) {
        const FootGoal& g = goal(side, frameOf(k));
        if (!g.active) continue;
        const LegFrame& o = own(side, frameOf(k));
        const Vec3d gap = o.hip + moves(side, frameOf(k)) - Vec3d{0, above_.at(frameOf(k)), 0} - g.pose.at;
        const double reach = std::max((mayReach(o) - inHand(leg(side))) * (distance(o.hip, o.knee) + distance(o.knee, o.foot.at)), length(gap));
        least = std::min(least, std::sqrt(std::max(0.0, square(reach) - square(gap.x) - square(gap.z))) - gap.y);
      }
      return least;
    };
    for (int round = 0; round < rounds; ++round) {
      for (std::size_t k = 0; k < count; ++k) {
        const int f = frameOf(k);
        const double wanted = spanWeight(task.frames, f);
        loadMoved(f, pelvis(f));
        for (int side = 0; side < 2; ++side)
          if (leg(side).limb.complete()) place(side, f);
        double lacks = inGround(f, {task.parts[0], task.parts[1], false, false}) + task.margin;
        for (int side = 0; side < 2; ++side) {
          const auto s = static_cast<std::size_t>(side);
          if (!leg(side).limb.complete() || goal(side, f).active) continue;
          const double shank = task.parts[2 + s] ? inGround(f, {false, false, side == 0, side == 1}) + task.margin : 0;
          const FootPose foot = loose(side, f);
          const double sole = plan_.lowest[static_cast<std::size_t>(f)] - foot.at.y - leg(side).lowest(foot, {0, 1, 0}).height;
          if (const double more = std::max(shank, sole); more > 0) feetAsked[s][k] = std::max(feetAsked[s][k], (feet[s][k] + more) * wanted * (1 - firm[s][k]));
          lacks = std::max(lacks, shank * (1 - firm[s][k]));
        }
        if (lacks > 0) asked[k] = std::max(asked[k], (rises[k] + lacks) * wanted);
      }
      for (std::size_t side = 0; side < 2; ++side) {
        if (!lies(feetAsked[side])) continue;
        feet[side] = leastBentAbove(feetAsked[side], footPull, ends);
        for (std::size_t k = 0; k < count; ++k) {
          feet[side][k] *= 1 - firm[side][k];
          feetAbove_[side][frameOf(k)] = std::max(feetBefore[side].at(frameOf(k)), feet[side][k] * task.weight);
        }
      }
      if (!lies(asked)) continue;
      rises = leastBentAbove(asked, hipsPull, ends);
      std::vector<double> over(count, 0.0);
      for (std::size_t k = 0; k < count; ++k) over[k] = std::max(0.0, rises[k] - room(k));
      if (lies(over)) over = leastBentAbove(over, hipsPull, ends);
      for (std::size_t k = 0; k < count; ++k) {
        rises[k] = std::max(0.0, rises[k] - over[k]);
        above_[frameOf(k)] = std::max(before.at(frameOf(k)), rises[k] * task.weight);
      }
    }
  }
}

}  // namespace understudy
