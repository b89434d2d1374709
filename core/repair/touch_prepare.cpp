// What a touch is made of on this character: whose limb, which target, where its prop lies.
#include "core/repair/touch_layer.h"

#include <algorithm>
#include <string>

#include "core/repair/grip.h"
#include "core/repair/set_shape.h"

namespace understudy {

TouchLayer::TouchLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues, SkinMeasure measure)
    : RepairLayer(std::move(context), std::move(repairs)), measure_(measure) {
  for (const Role role : {Role::spine, Role::chest, Role::upperChest})
    for (const int joint : context_->roles().at(role).joints) {
      const auto carries = [&](const LimbRig& arm) { return arm.root >= 0 && isAncestor(context_->figure->skeleton, joint, arm.root); };
      if (carries(context_->arms[0]) && carries(context_->arms[1])) spine_.push_back(joint);
    }
  std::sort(spine_.begin(), spine_.end());
  spine_.erase(std::unique(spine_.begin(), spine_.end()), spine_.end());
  for (const Role role : {Role::neck, Role::head})
    if (const int j = context_->joint(role); head_ < 0 && j >= 0 && !spine_.empty() && isAncestor(context_->figure->skeleton, spine_.back(), j)) head_ = j;
  heldTouches_.resize(repairs_.size());
  known_ = context_->parts->get<Known>();
  for (std::size_t i = 0; i < repairs_.size(); ++i) {
    const TouchRepair* touch = std::get_if<TouchRepair>(&repairs_[i]->action);
    if (!touch || frames_[i].span.empty()) continue;
    if (touch->prop != 0)
      if (const std::optional<std::size_t> grip = gripOver(i, touch->prop)) heldTouches_[*grip].push_back(i);
    if (touch->target == TouchTarget::prop)
      for (const PropItem& prop : context_->props)
        if (prop.name == touch->on || std::to_string(prop.id) == touch->on)
          if (const std::optional<std::size_t> grip = gripOver(i, prop.id)) heldTouches_[*grip].push_back(i);
    Result<Item> item = prepare(i, *touch);
    if (!item) {
      issues.push_back(makeWarning(item.error().what, describe(*repairs_[i]), item.error().todo));
      continue;
    }
    items_.push_back(std::move(*item));
  }
}

const LimbRig& TouchLayer::limbAt(int limb) const {
  return limb < 2 ? context_->arms[static_cast<std::size_t>(limb)] : context_->legs[static_cast<std::size_t>(limb - 2)];
}

int TouchLayer::limbOf(int joint) const {
  for (int limb = 0; limb < 4; ++limb) {
    const LimbRig& rig = limbAt(limb);
    if (rig.complete() && (joint == rig.end || isAncestor(context_->figure->skeleton, rig.end, joint))) return limb;
  }
  return -1;
}

Result<TouchLayer::Item> TouchLayer::prepare(std::size_t index, const TouchRepair& touch) const {
  const auto wrong = [](std::string what, std::string todo) { return makeError(Fault::usage, std::move(what), {}, std::move(todo)); };
  Item item;
  item.index = index;
  item.touch = &touch;
  item.weight = std::clamp(repairs_[index]->weight, 0.0, 1.0);
  const Result<int> bone = findBone(*context_, touch.bone);
  if (!bone) return bone.error();
  item.bone = *bone;
  item.limb = limbOf(*bone);
  if (item.limb < 0 && touch.prop == 0)
    return wrong("'" + touch.bone + "' is no hand and no foot of a limb that is mapped", "Choose a hand, a foot or a bone below one");
  if (!isFinite(touch.point) || !isFinite(touch.place) || !isFinite(touch.normal) || !std::isfinite(touch.gap))
    return wrong("The touch holds numbers that are not finite", "Make it again");
  const Vec3d normal = normalised(touch.normal, Vec3d{0, 1, 0});
  if (touch.prop != 0) {
    Result<std::pair<int, Rigid>> held = propInHand(index, touch);
    if (!held) return held.error();
    item.bone = held->first;
    item.limb = limbOf(held->first);
    item.propInBone = held->second;
  }
  Moment moment;
  moment.place = touch.place;
  moment.normal = normal;
  moment.point = touch.point;
  switch (touch.target) {
    case TouchTarget::point:
    case TouchTarget::plane: break;
    case TouchTarget::set: {
      const auto object = std::find_if(context_->set.begin(), context_->set.end(),
                                       [&](const SetItem& s) { return s.name == touch.on || std::to_string(s.id) == touch.on; });
      if (object == context_->set.end()) return wrong("The set has no object '" + touch.on + "'", "Add it, or choose one it has");
      Result<SetShape> shape = setShapeOf(*object);
      if (!shape) return shape.error();
      item.shape = std::move(*shape);
      // The place is in the object's own frame.
      moment.place = understudy::apply(item.shape->place, touch.place);
      moment.normal = rotate(item.shape->place.turn, normal);
      break;
    }
    case TouchTarget::body:
    case TouchTarget::hand: {
      if (touch.path.empty() || !touch.on.empty()) {
        const Result<int> on = findBone(*context_, touch.on);
        if (!on) return on.error();
        moment.joint = *on;
      }
      const double rate = context_->rate.hertz();
      for (const TouchMark& mark : touch.path) {
        const Result<int> on = findBone(*context_, mark.on);
        if (!on) return on.error();
        if (!std::isfinite(mark.time) || !isFinite(mark.place) || !isFinite(mark.normal) || !isFinite(mark.point))
          return wrong("The touch's path holds numbers that are not finite", "Make it again");
        if (!item.path.empty() && mark.time * rate <= item.path.back().frame)
          return wrong("The moments of the touch's path are not in order", "Sort them by time");
        item.path.push_back({mark.time * rate, *on, mark.place, normalised(mark.normal, Vec3d{0, 1, 0}), mark.point});
      }
      if (touch.target == TouchTarget::hand) {
        const int other = limbOf(item.path.empty() ? moment.joint : item.path.front().joint);
        if (other < 0 || other == item.limb) return wrong("'" + touch.on + "' is not the other hand", "Touch the hand of the other arm");
        if (touch.share > 0) item.other = other;
      }
      break;
    }
    case TouchTarget::prop: {
      const auto prop = std::find_if(context_->props.begin(), context_->props.end(),
                                     [&](const PropItem& p) { return p.name == touch.on || std::to_string(p.id) == touch.on; });
      if (prop == context_->props.end()) return wrong("There is no prop '" + touch.on + "'", "Add the prop, or choose one there is");
      if (prop->id == touch.prop) return wrong("A prop cannot touch itself", "Choose another prop, or touch with the hand");
      const Result<std::pair<int, Rigid>> held = propPlace(index, *prop);
      if (!held) return held.error();
      if (held->first >= 0 && limbOf(held->first) == item.limb)
        return wrong("The prop '" + prop->name + "' is held by the hand that is to touch it", "Touch it with the other hand, or use a grip");
      moment.joint = held->first;
      moment.place = understudy::apply(held->second, touch.place);
      moment.normal = rotate(held->second.turn, normal);
      break;
    }
  }
  if (item.path.empty()) item.path.push_back(moment);
  if (touch.skin && item.limb < 2 && (touch.target == TouchTarget::body || touch.target == TouchTarget::hand)) {
    std::shared_ptr<const TouchSkin> skin = TouchSkin::of(*context_);
    if (skin->hasHand(item.limb) && skin->hasBody()) item.skin = std::move(skin);
  }
  for (const Moment& m : item.path)
    if (m.joint >= 0 && item.other < 0 && limbOf(m.joint) == item.limb) return wrong("A limb cannot touch its own end", "Choose another target");
  if (item.skin && !item.propInBone) item.what = digestOf(item);
  return item;
}

Digest TouchLayer::digestOf(const Item& item) {
  const TouchRepair& touch = *item.touch;
  Digest out;
  out.add(static_cast<std::uint64_t>(touch.kind)).add(static_cast<std::uint64_t>(touch.target)).add(touch.gap).add(touch.share);
  out.add(std::uint64_t{touch.spine} << 1 | std::uint64_t{touch.path.empty()});
  for (const int n : {item.bone, item.limb, item.other}) out.add(static_cast<std::uint64_t>(n));
  return out;
}

void TouchLayer::addMoment(Digest& name, const Item& item, int frame) {
  const auto add = [&](const Moment& m) {
    name.add(static_cast<std::uint64_t>(m.joint));
    for (const Vec3d& v : {m.place, m.normal, m.point}) name.add(v.x).add(v.y).add(v.z);
  };
  const Between at = between(item, frame);
  const Moment &b = item.path[at.first], &c = item.path[at.second];
  name.add(std::uint64_t{at.first != at.second});
  add(b);
  if (at.first == at.second) return;
  // Only how far frames are apart counts.
  add(c);
  name.add(frame - b.frame).add(c.frame - frame).add(c.frame - b.frame).add(c.frame - at.start).add(at.end - b.frame);
  name.add(std::uint64_t{at.before != at.first} << 1 | std::uint64_t{at.after != at.second});
  if (at.before != at.first) add(item.path[at.before]);
  if (at.after != at.second) add(item.path[at.after]);
}

std::optional<std::size_t> TouchLayer::gripOver(std::size_t touch, std::uint64_t prop) const {
  std::optional<std::size_t> best;
  int most = 0;
  for (std::size_t i = 0; i < repairs_.size(); ++i) {
    const GripRepair* grip = std::get_if<GripRepair>(&repairs_[i]->action);
    if (!grip || grip->prop != prop || !grip->anchored || !context_->arms[grip->leadLeft ? 0 : 1].complete()) continue;
    const int shared = common(frames_[i].span, frames_[touch].span).count();
    if (shared <= most) continue;
    most = shared;
    best = i;
  }
  return best;
}

std::optional<Result<std::pair<int, Rigid>>> TouchLayer::heldProp(std::size_t index, const PropItem& prop) const {
  if (const std::optional<std::size_t> at = gripOver(index, prop.id)) {
    const GripRepair& grip = std::get<GripRepair>(repairs_[*at]->action);
    return std::pair{context_->arms[grip.leadLeft ? 0 : 1].end, rigidOf(grip.leadPalm) * inverse(rigidOf(grip.leadGrip))};
  }
  const FrameSpan span = frames_[index].span;
  const PropHolder* holder = nullptr;
  for (const PropHolder& h : prop.holders)
    if (h.time * context_->rate.hertz() <= 0.5 * (span.first + span.last) && (!holder || h.time >= holder->time)) holder = &h;
  if (!holder) return std::nullopt;
  const Result<int> bone = holder->bone.empty() ? Result<int>(-1) : findBone(*context_, holder->bone);
  if (!bone) return Result<std::pair<int, Rigid>>(bone.error());
  return std::pair{*bone, Rigid{normalised(holder->place.rotation), holder->place.position}};
}

Result<std::pair<int, Rigid>> TouchLayer::propPlace(std::size_t index, const PropItem& prop) const {
  if (auto held = heldProp(index, prop)) return *held;
  return makeError(Fault::usage, "Where the prop '" + prop.name + "' is then is not known", {}, "Give it to a hand or a place, by a grip or a holder");
}

Result<std::pair<int, Rigid>> TouchLayer::propInHand(std::size_t index, const TouchRepair& touch) const {
  const auto prop = std::find_if(context_->props.begin(), context_->props.end(), [&](const PropItem& p) { return p.id == touch.prop; });
  if (prop == context_->props.end())
    return makeError(Fault::usage, "There is no prop " + std::to_string(touch.prop), {}, "Add the prop, or touch with a bone");
  if (auto held = heldProp(index, *prop)) {
    if (*held && limbOf((*held)->first) < 0)
      return makeError(Fault::usage, "No hand holds the prop '" + prop->name + "' there", {}, "Give it to a hand, by a grip or a holder, or move the span");
    return *held;
  }
  const Result<int> bone = findBone(*context_, touch.bone);
  if (!bone) return bone.error();
  const int limb = limbOf(*bone);
  const auto& hands = handsOf(*context_);
  if (limb < 0 || limb > 1 || hands[static_cast<std::size_t>(limb)].joint < 0)
    return makeError(Fault::usage, "'" + touch.bone + "' cannot hold the prop that is to touch", {}, "Name the hand that leads the prop");
  const Hand& hand = hands[static_cast<std::size_t>(limb)];
  return std::pair{hand.joint, hand.palm * inverse(Rigid{normalised(prop->leadGrip.rotation), prop->leadGrip.position})};
}

}  // namespace understudy
