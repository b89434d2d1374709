#include "core/contact/whirls.h"

#include <algorithm>
#include <cmath>

namespace understudy {

void trimWhirls(FootContact& foot, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(foot.heel.size());
  // One that stands steeply on its toes hardly has a heading.
  const auto heading = [&](int i) {
    const Vec3d v = foot.ball[static_cast<std::size_t>(i)] - foot.heel[static_cast<std::size_t>(i)], flat{v.x, 0, v.z};
    return length(flat) > 0.5 * length(v) ? flat : Vec3d{};
  };
  // Over two steps, so that noise of one frame counts half.
  const auto whirls = [&](int i) {
    const int a = std::max(0, i - 1), b = std::min(n - 1, i + 1);
    if (a == b) return false;
    const Vec3d from = heading(a), to = heading(b);
    return std::abs(std::atan2(from.z * to.x - from.x * to.z, from.x * to.x + from.z * to.z)) * rate > s.whirl * (b - a);
  };
  std::erase_if(foot.spans, [&](ContactSpan& span) {
    const ContactSpan was = span;
    while (span.leavingSeen && span.last >= span.first && whirls(span.last)) --span.last;
    while (span.landingSeen && span.first <= span.last && whirls(span.first)) ++span.first;
    if (span.first != was.first) span.landing = std::max(span.landing, span.first / rate);
    if (span.last != was.last) span.leaving = std::min(span.leaving, (span.last + 1) / rate);
    return span != was && (span.last < span.first || (span.landingSeen && span.leavingSeen && (span.leaving - span.landing) < s.shortest));
  });
}

}  // namespace understudy
