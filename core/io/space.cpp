#include <algorithm>
#include <cmath>

#include "core/io/read.h"

namespace understudy {

void detectSpace(Figure& figure, const ReadSettings& settings) {
  Space& space = figure.space;
  space = {};
  space.unitStated = space.upStated = false;
  const std::vector<Affined> world = restWorld(figure.skeleton);
  double low = 0, high = 0;
  for (const Affined& w : world) low = std::min(low, w.translation.y), high = std::max(high, w.translation.y);
  const double height = high - low;
  space.metresPerUnit = height > 90 ? 0.01 : height > 30 ? 0.0254 : height > 10 ? 0.05644 : 1;
  if (settings.metresPerUnit > 0) space.metresPerUnit = settings.metresPerUnit, space.unitStated = true;
}

}  // namespace understudy
