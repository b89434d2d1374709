// What a posed solid says to points in and near it.
#include <gtest/gtest.h>

#include "core/body/body_model.h"
#include "core/repair/clearance.h"
#include "core/repair/repair_context.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

TEST(PosedSolid, LeansOutwardsPastAThigh) {
  const auto figure = test::puppet({});
  const std::shared_ptr<const RepairContext> context = test::puppetContext(figure, {60, 1}, 1);
  const std::shared_ptr<const BodyModel> model = bodyModelOf(*context);
  const BodySolid* thigh = model->solid(BodyPart::leftThigh);
  ASSERT_NE(thigh, nullptr);
  const std::vector<Affined> still(static_cast<std::size_t>(figure->skeleton.size()));
  const PosedSolid posed(*thigh, still);
  const double wanted = 0.01;
  // Through the thigh from front to back, a little off its middle on the inner side.
  Vec3d last{};
  int inside = 0;
  for (int k = -20; k <= 20; ++k) {
    const Vec3d p = thigh->middle + Vec3d{-0.005, 0, 0.004 * k};
    const PosedSolid::Nearby near = posed.place(p);
    if (posed.quickDistance(p, near) >= wanted) continue;
    ++inside;
    const DistanceSample way = posed.wayOut(p, near, wanted, 5, {1.5, 0, 0});
    EXPECT_GT(way.gradient.x, 0) << k;
    if (inside > 1) {
      EXPECT_LT(angleBetween(last, way.gradient), 0.4) << "turns about at " << k;
    }
    last = way.gradient;
    // As far that way as it says, it is out.
    const Vec3d out = p + way.gradient * (wanted - way.distance);
    EXPECT_GE(posed.distance(out, posed.place(out)), wanted - 0.003) << k;
  }
  EXPECT_GT(inside, 10);
}

}  // namespace
}  // namespace understudy
