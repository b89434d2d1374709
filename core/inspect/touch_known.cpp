// What contacts came to before: the same contact of the same motion is not carried over twice.
#include "core/base/memo.h"
#include "core/inspect/touch_carrier.h"

#include <cmath>

namespace understudy {
namespace {

void add(Digest& digest, const BodyContact& contact) {
  for (const int n : {contact.hand, static_cast<int>(contact.site), static_cast<int>(contact.kind), contact.first, contact.last, contact.nearest})
    digest.add(static_cast<std::uint64_t>(n));
  for (const BodyContactFrame& f : contact.frames)
    digest.add(static_cast<std::uint64_t>(f.site)).add(f.place.along).add(f.place.around).add(f.place.tilt).add(f.onHand);
}

}  // namespace

Digest TouchCarrier::digestOf(const Alignment& alignment) const {
  Digest out;
  for (const RoleAlignment& role : alignment)
    for (const double v : {role.correction.w, role.correction.x, role.correction.y, role.correction.z}) out.add(v);
  const TouchProposalSettings& s = settings_;
  for (const double v : {s.ease, s.longestEase, s.turning, s.confidence, s.moments, s.shortest, s.pause, s.bridge, s.nearly, s.share, s.farthest, s.fastest, s.quickest}) out.add(v);
  return out.add(rate_.hertz()).add(context_.rate.hertz()).add(static_cast<std::uint64_t>(context_.frames)).add(static_cast<std::uint64_t>(plain_.frames()));
}

TouchCarrier::Outcome TouchCarrier::outcome(const BodyContact& contact) const {
  const auto fresh = [&]() -> Outcome {
    const Carried carried = touch(contact);
    return {sound(carried.ways), !carried.ways.empty(), carried.beyond};
  };
  if (!context_.locks.empty()) return fresh();
  Digest name = of_;
  add(name, contact);
  // Nothing looks farther than the longest way of a hand to its touch and back.
  const double rate = context_.rate.hertz(), around = 2 * std::max(settings_.ease, settings_.longestEase) + 0.1;
  const FrameSpan seen = common({static_cast<int>(std::floor((seconds(contact.first) - around) * rate)) - 4, static_cast<int>(std::ceil((seconds(contact.last) + around) * rate)) + 4},
                                {0, plain_.frames() - 1});
  for (int f = seen.first; f <= seen.last; ++f) name.add(plain_.poseAt(f));
  const std::shared_ptr<const Memo<Outcome>> known = context_.parts->get<Memo<Outcome>>();
  if (std::optional<Outcome> before = known->find(name)) return std::move(*before);
  Outcome out = fresh();
  known->keep(name, out);
  return out;
}

}  // namespace understudy
