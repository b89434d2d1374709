// The checks of layers themselves: each must notice the fault it is there for.
#include <gtest/gtest.h>

#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

enum class Break { none, readsOutput, writesOutside, reachesFar, noNumber, dependsOnRange, turnsAnother };

Repair spanOf(int first, int last) {
  Repair repair;
  repair.id = 7;
  repair.span = TimeRange{first / 30.0, last / 30.0};
  repair.easeBefore = repair.easeAfter = 0.2;
  repair.action = OffsetRepair{};
  return repair;
}

/// Copies the frame 3 before into the one it writes, with the fault asked for.
class Echo : public RepairLayer {
 public:
  Echo(std::shared_ptr<const RepairContext> context, const Repair& repair, Break fault)
      : RepairLayer(std::move(context), {&repair}), fault_(fault) {}
  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    const FrameSpan more = common(widened(changed, 0, 3), extent(0));
    return more.empty() ? changed : FrameSpan{changed.first, std::max(changed.last, more.last)};
  }
  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    const FrameSpan wide = fault_ == Break::writesOutside ? widened(extent(0), 1, 0) : extent(0);
    const FrameSpan both = common(frames, wide);
    for (int f = both.first; f <= both.last; ++f) {
      const int from = std::max(0, f - (fault_ == Break::reachesFar ? 5 : 3));
      Quatf q = (fault_ == Break::readsOutput ? out : in).rotationsAt(from)[2];
      if (fault_ == Break::noNumber && f == 60) q.w = 3;
      if (fault_ == Break::dependsOnRange) q = Quatf(Quatd(q) * expOf(Vec3d{0.01 * (f - both.first), 0, 0}));
      out.rotationsToWrite(f)[fault_ == Break::turnsAnother ? 3 : 2] = q;
      residuals[0].note(f, 0.001 * f);
    }
  }

 private:
  Break fault_;
};

TEST(LayerChecks, NoticeEveryFault) {
  const test::Stand stand = test::walkingStick(130);
  const Repair repair = spanOf(40, 80);
  const auto onlySecond = [](int joint) { return joint == 2; };
  const auto wrong = [&](Break fault) {
    return test::brokenPromises(Echo(stand.context, repair, fault), stand.motion, 5, 0, onlySecond);
  };
  EXPECT_EQ(wrong(Break::none), "");
  EXPECT_NE(wrong(Break::readsOutput).find("differs"), std::string::npos);
  EXPECT_NE(wrong(Break::writesOutside).find("no extent"), std::string::npos);
  EXPECT_NE(wrong(Break::reachesFar).find("affected"), std::string::npos);
  EXPECT_NE(wrong(Break::noNumber).find("unit quaternion"), std::string::npos);
  EXPECT_NE(wrong(Break::dependsOnRange).find("pieces"), std::string::npos);
  EXPECT_NE(wrong(Break::turnsAnother).find("was turned"), std::string::npos);
}

TEST(LayerChecks, StandsAreWhatTheySay) {
  const test::Stand a = test::walkingStick(60, 1), b = test::walkingStick(60, 1), c = test::walkingStick(60, 2);
  EXPECT_EQ(test::firstDifference(a.motion, b.motion), -1);
  EXPECT_GE(test::firstDifference(a.motion, c.motion), 0);
  EXPECT_EQ(a.context->frames, 60);
  EXPECT_TRUE(a.context->arms[0].complete() && a.context->legs[1].complete());
  EXPECT_EQ(test::notFinite(a.motion), "");
  const test::Stand s = test::swinging(a.context->figure, a.context->map, 40, 20, 3);
  EXPECT_EQ(s.motion.frames(), 40);
  EXPECT_EQ(test::notFinite(s.motion), "");
}

}  // namespace
}  // namespace understudy
