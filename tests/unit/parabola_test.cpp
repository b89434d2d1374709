#include "core/math/parabola.h"

#include <gtest/gtest.h>

namespace understudy {
namespace {

TEST(Parabola, SharesKeepWhatIsOneAndDampTheRest) {
  for (const int reach : {0, 1, 2, 10}) {
    const std::vector<double> shares = parabolaShares(reach);
    ASSERT_EQ(shares.size(), static_cast<std::size_t>(2 * reach + 1));
    double kept = 0, noise = 0;
    for (int k = -reach; k <= reach; ++k) {
      const double share = shares[static_cast<std::size_t>(k + reach)];
      kept += share * (3 - 2.0 * k + 0.5 * k * k);
      noise += share * share;
    }
    EXPECT_NEAR(kept, 3, 1e-9) << reach;
    // Of three samples a parabola leaves nothing over.
    if (reach <= 1)
      EXPECT_NEAR(noise, 1, 1e-9);
    else
      EXPECT_LT(noise, 0.9) << reach;
  }
}

}  // namespace
}  // namespace understudy
