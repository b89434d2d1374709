#include "core/contact/in_place.h"

#include <algorithm>
#include <cmath>

namespace understudy {

void dropInPlace(Contacts& contacts, const ContactSettings& s) {
  int rests = 0, all = 0, steps = 0;
  Vec3d slides, travels;  // sums over frames
  int feet = 0;
  for (const FootContact& foot : contacts.feet) {
    if (foot.ball.empty()) continue;
    ++feet;
    travels += foot.ball.back() - foot.ball.front();
    for (const ContactSpan& span : foot.spans) {
      rests += span.stillFrames;
      all += span.last - span.first + 1;
      slides += foot.ball[static_cast<std::size_t>(span.last)] - foot.ball[static_cast<std::size_t>(span.first)];
      steps += span.last - span.first;
    }
  }
  if (rests >= s.restPart * all || feet == 0) return;
  const FootContact& any = contacts.feet[0].ball.empty() ? contacts.feet[1] : contacts.feet[0];
  const auto across = [](const Vec3d& v) { return std::hypot(v.x, v.z); };
  const double frames = std::max<double>(1, static_cast<double>(any.ball.size()) - 1);
  if (across(slides) / std::max(steps, 1) < across(travels) / feet / frames) return;
  contacts.inPlace = true;
  for (FootContact& foot : contacts.feet) {
    foot.spans.clear();
    std::fill(foot.phases.begin(), foot.phases.end(), FootPhase::none);
  }
}

}  // namespace understudy
