// How a standing foot rolls so that its leg is accelerated least.
#include "core/repair/plant_even.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/io/read.h"
#include "core/retarget/retarget.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

constexpr double degree = M_PI / 180;
constexpr int frames = 50, release = 35;

std::shared_ptr<const RepairContext> stickContext() {
  TemporaryFolder folder;
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb({}));
  const auto character = std::make_shared<const Figure>(std::move(readFigure(folder.file("stick.glb")).value()));
  const auto map = std::make_shared<const BoneMap>(BoneMap{mapRoles(*character), mapRoles(*character)});
  return repairContext(character, map, {}, FrameRate{100, 1}, frames).value();
}

/// Pitches of a foot on its ball whose own heel hardly rises while its leg asks for one that rises far, `leaving` frames before the
/// release further than it may while it stands.
std::vector<double> pitches(int leaving) {
  const std::shared_ptr<const RepairContext> context = stickContext();
  const PlantLeg leg(*context, 0);
  Stay stay;
  stay.span = {0, frames - 1};
  stay.plane = groundPlane({}, {0, 1, 0});
  stay.phases.assign(frames, PlantPhase::ball);
  stay.rolls.assign(frames, -1);
  stay.turns.assign(frames, 0.0);
  stay.release = release;
  const auto asked = [](int k) { return -60 * degree * std::pow(k / (frames - 1.0), 2); };
  LegFrame still;
  still.foot = leg.standing(stay.plane, {}, 0, 0);
  still.hip = still.foot.at + Vec3d{0, 0.8, 0};
  still.knee = still.foot.at + Vec3d{0, 0.4, 0};
  const std::vector<LegFrame> own(frames, still);
  const std::vector<Vec3d> moves(frames);
  const auto legAt = [&](int k, const FootPose& foot) {
    RolledLeg out;
    out.turn.foot.x = leg.pitchOf(foot.foot, {0, 1, 0}) - asked(k);
    return out;
  };
  const RollTask task{stay, leg, own, moves, legAt, 1e-2, 0, leaving, std::vector<LegTurn>(frames), {}, {}};
  Roll roll;
  for (int k = 0; k < frames; ++k) roll.pitch.push_back(std::max(asked(k), -15 * degree));
  roll.reaches.assign(frames, 0.8);
  return evenedOut(task, roll).pitch;
}

TEST(EvenedOut, AHeelThatMayRiseFreelyFromTheReleaseOnDoesNotBeginAtAStroke) {
  const auto worst = [](const std::vector<double>& p) {
    double most = 0;
    for (std::size_t k = 1; k + 1 < p.size(); ++k) most = std::max(most, std::abs(p[k - 1] - 2 * p[k] + p[k + 1]));
    return most;
  };
  const std::vector<double> bound = pitches(0), freed = pitches(15);
  EXPECT_LT(worst(freed), 0.6 * worst(bound));
  for (int k = 0; k < release; ++k) {
    const auto i = static_cast<std::size_t>(k);
    EXPECT_GE(bound[i], -15.001 * degree) << k;
    EXPECT_GE(freed[i], (k < release - 16 ? -15.001 : -40.001) * degree) << k;
  }
}

}  // namespace
}  // namespace understudy
