// Skin that comes to touch skin.
#include "core/repair/touch_layer.h"

#include <algorithm>

namespace understudy {

TouchSkin::Against TouchLayer::against(const Item& item, const Moment& m) const {
  if (item.touch->target == TouchTarget::hand) return TouchSkin::Against::otherHand;
  const int root = limbAt(1 - item.limb).root;
  const bool arm = m.joint >= 0 && root >= 0 && (m.joint == root || isAncestor(context_->figure->skeleton, root, m.joint));
  return arm ? TouchSkin::Against::otherArm : TouchSkin::Against::body;
}

TouchLayer::Skins TouchLayer::skins(const Poser& poser, const Item& item, const Moment& m) const {
  const TouchSkin::Against what = against(item, m);
  Skins out{{*item.skin, poser, item.limb, what}, std::nullopt};
  if (what == TouchSkin::Against::otherArm) out.body.emplace(*item.skin, poser, item.limb, TouchSkin::Against::body);
  return out;
}

double TouchLayer::ontoSkin(const Poser& poser, const Item& item, const Vec3d& way, const Moment& m) const {
  const Skins posed = skins(poser, item, m);
  const double wanted = item.touch->gap + context_->scaled(justTouching);
  // Outwards to where it is free, or inwards to where it first touches: distances never change faster than the way, so that
  // neither goes past.
  double along = 0;
  for (int pass = 0; pass < 40; ++pass) {
    const TouchSkin::Posed::Nearest nearest = posed.nearest(way + m.normal * along);
    const double off = wanted - nearest.distance;
    if (std::abs(off) < context_->scaled(1e-4)) break;
    const double steep = std::abs(dot(nearest.gradient, m.normal));
    along += off / std::clamp(steep, 0.5, 1.0);
    if (std::abs(along) > context_->scaled(0.5)) break;
  }
  return along;
}

double TouchLayer::skinGap(const Poser& poser, const Item& item, int frame) const {
  const double d = quickGap(poser, item, momentAt(poser, item, frame)) - item.touch->gap;
  // Just touching is touching.
  return d - std::clamp(d, 0.0, 2 * context_->scaled(justTouching));
}

TouchLayer::Arm TouchLayer::armOf(const Poser& poser, int limb) const {
  const LimbRig& rig = limbAt(limb);
  Arm arm{poser.position(rig.root), poser.position(rig.end)};
  const double upper = distance(arm.root, poser.position(rig.mid)), lower = distance(poser.position(rig.mid), arm.end);
  arm.least = 1.002 * std::abs(upper - lower);
  // Some bend is left, so that the elbow does not snap as the hand comes nearer.
  arm.most = straightest * (upper + lower);
  return arm;
}

TouchLayer::Change TouchLayer::settled(const Poser& poser, const Item& item, int frame, bool fromHere) const {
  const Moment m = momentAt(poser, item, frame);
  const double fine = context_->scaled(1e-4), wanted = item.touch->gap + context_->scaled(justTouching);
  const double share = shareOf(item, frame);
  const Vec3d way = fromHere ? Vec3d{} : wishOf(poser, item, frame).way();
  Change s{way * (1 - share), way * -share, {}};
  const Arm own = armOf(poser, item.limb), other = armOf(poser, 1 - item.limb);
  const TouchSkin::Against what = against(item, m);
  const TouchSkin::Posed touch(*item.skin, poser, item.limb, what);
  std::optional<TouchSkin::Posed> ownBody, otherBody;
  // What touches the other arm or hand stays out of the body meanwhile.
  if (what != TouchSkin::Against::body) {
    ownBody.emplace(*item.skin, poser, item.limb, TouchSkin::Against::body);
    if (item.other >= 0 && item.skin->hasHand(item.other)) otherBody.emplace(*item.skin, poser, item.other, TouchSkin::Against::body);
  }
  const auto step = [](const TouchSkin::Posed::Nearest& n, double off) {
    const double steep = length(n.gradient);
    return steep > 1e-6 ? n.gradient * (off / (steep * std::max(steep, 0.5))) : Vec3d{};
  };
  // A smooth start asks for little: along the place's own normal it stays smooth, also where that is not enough.
  if (fromHere) {
    double along = 0;
    for (int pass = 0; pass < 16; ++pass) {
      const TouchSkin::Posed::Nearest n = touch.nearest(m.normal * along);
      const double off = wanted - n.distance;
      if (std::abs(off) < 0.5 * fine) {
        s = {m.normal * (along * (1 - share)), m.normal * (-along * share), {}};
        break;
      }
      along += off / std::clamp(std::abs(dot(n.gradient, m.normal)), 0.5, 1.0);
      if (std::abs(along) > context_->scaled(0.08)) break;
    }
  }
  for (int pass = 0; pass < 30; ++pass) {
    double off = 0;
    if (pass > 0 || fromHere) {
      const TouchSkin::Posed::Nearest n = touch.nearest(s.own - s.other);
      const double d = wanted - n.distance;
      off = std::max(off, std::abs(d));
      const Vec3d onto = step(n, d);
      s.own += onto * (1 - share);
      s.other -= onto * share;
    }
    if (ownBody) {
      const TouchSkin::Posed::Nearest n = ownBody->nearest(s.own, wanted);
      if (const double d = wanted - n.distance; d > 0) {
        off = std::max(off, d);
        s.own += step(n, d);
        if (otherBody) s.other += step(n, d);
      }
    }
    if (otherBody) {
      const TouchSkin::Posed::Nearest n = otherBody->nearest(s.other, wanted);
      if (const double d = wanted - n.distance; d > 0) {
        off = std::max(off, d);
        s.other += step(n, d);
        s.own += step(n, d);
      }
    }
    const Change within{own.within(s.own), share > 0 ? other.within(s.other) : s.other, {}};
    off = std::max({off, distance(within.own, s.own), distance(within.other, s.other)});
    s = within;
    if (off < fine) break;
  }
  return s;
}

}  // namespace understudy
