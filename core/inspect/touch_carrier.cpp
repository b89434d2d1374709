// Where on the character's skin a contact of the performer lies, moment by moment.
#include "core/inspect/touch_carrier.h"

#include <cmath>
#include <numbers>

namespace understudy {

TouchCarrier::TouchCarrier(const RepairContext& context, FrameRate rate, const TiledMotion& plain, const Alignment& alignment, const TouchProposalSettings& settings)
    : context_(context), rate_(rate), plain_(plain), settings_(settings), skin_(TouchSkin::of(context)) {
  of_ = digestOf(alignment);
  PerRole<Quatd> turns;
  for (std::size_t r = 0; r < turns.size(); ++r) turns[r] = alignment[r].correction;
  sites_ = bodySites(context.body, turns);
  // Drawn heads are larger than people's: from the head's joint, which lies about where the chin is, to the top of the skin.
  SiteShape& head = sites_.shapes[static_cast<std::size_t>(BodySite::head)];
  if (const std::optional<double> top = skin_->headTop(); head.known() && top) {
    const auto j = static_cast<std::size_t>(head.joint);
    const double height = *top - context.body.position[j].y;
    const Quatd back = conjugate(context.body.rotation[j]);
    if (height > 0.05 * context.height) {
      // As in people: an axis of .04 in a head of .13.
      head.start = rotate(back, Vec3d{0, 0.5 * height - 0.02 / 0.13 * height, 0});
      head.end = rotate(back, Vec3d{0, 0.5 * height + 0.02 / 0.13 * height, 0});
      head.cap = 0.045 / 0.13 * height;
    }
  }
}

TouchCarrier::Carried TouchCarrier::touch(const BodyContact& contact) const {
  const BodySite hand = contact.hand == 0 ? BodySite::leftHand : BodySite::rightHand;
  const SiteShape& shape = sites_.at(hand);
  Carried carried;
  if (!shape.known()) return carried;
  Repair repair;
  repair.name = contact.handToHand() ? "hands meet" : std::string(bodySiteName(hand)) + " on the " + std::string(bodySiteName(contact.site));
  repair.span = TimeRange{seconds(contact.first), seconds(contact.last)};
  repair.easeBefore = repair.easeAfter = settings_.ease;
  repair.proposed = true;
  TouchRepair touch;
  touch.kind = contact.kind == BodyContactKind::meet ? TouchKind::meet : contact.kind == BodyContactKind::rest ? TouchKind::rest : TouchKind::glide;
  touch.target = contact.handToHand() ? TouchTarget::hand : TouchTarget::body;
  touch.bone = boneName(context_, shape.joint);
  touch.skin = true;
  std::vector<Moment> moments = momentsOf(contact);
  std::vector<std::vector<Moment>> ways;
  if (!contact.handToHand()) {
    if (!context_.arms[static_cast<std::size_t>(contact.hand)].complete()) return carried;
    for (const Moment& moment : moments)
      if (!sites_.at(moment.at.site).known()) return carried;
    ways = waysWithinReach(moments, shape, contact.hand, TouchSkin::Against::body, carried.beyond);
    // A hand on the other arm may come to lie against the body, or against the arm.
    if (contact.site >= BodySite::leftUpperArm && contact.site <= BodySite::rightForearm)
      for (std::vector<Moment>& way : waysWithinReach(std::move(moments), shape, contact.hand, TouchSkin::Against::otherArm, carried.beyond)) ways.push_back(std::move(way));
  } else {
    ways.push_back(std::move(moments));
  }
  for (const std::vector<Moment>& way : ways) {
    std::vector<TouchMark> marks;
    for (const Moment& moment : way)
      if (std::optional<TouchMark> mark = markOf(shape, moment)) marks.push_back(std::move(*mark));
    if (marks.empty() || marks.size() < way.size()) continue;
    TouchRepair next = touch;
    next.on = marks.front().on;
    next.place = marks.front().place;
    next.normal = marks.front().normal;
    next.point = marks.front().point;
    if (marks.size() > 1) next.path = std::move(marks);
    carried.ways.push_back(repair);
    carried.ways.back().action = std::move(next);
  }
  return carried;
}

std::vector<TouchCarrier::Moment> TouchCarrier::momentsOf(const BodyContact& contact) const {
  const int n = static_cast<int>(contact.frames.size());
  const bool stays = contact.kind != BodyContactKind::glide &&
                     std::all_of(contact.frames.begin(), contact.frames.end(), [&](const BodyContactFrame& f) { return f.site == contact.site; });
  const auto mean = [&](int middle, int reach) {
    BodyContactFrame out = contact.frames[static_cast<std::size_t>(middle)];
    double count = 0, along = 0, around = 0, tilt = 0, onHand = 0;
    for (int k = std::max(0, middle - reach); k <= std::min(n - 1, middle + reach); ++k) {
      const BodyContactFrame& f = contact.frames[static_cast<std::size_t>(k)];
      if (f.site != out.site) continue;
      ++count;
      along += f.place.along;
      tilt += f.place.tilt;
      around += std::remainder(f.place.around - out.place.around, 2 * std::numbers::pi);
      onHand += f.onHand;
    }
    out.place = {along / count, out.place.around + around / count, tilt / count};
    out.onHand = onHand / count;
    return out;
  };
  if (contact.kind == BodyContactKind::meet) return {{seconds(contact.nearest), mean(contact.nearest - contact.first, 0)}};
  if (stays) return {{seconds(contact.first), mean(n / 2, n)}};
  std::vector<Moment> moments;
  const int pieces = std::max(1, static_cast<int>(std::lround(seconds(n - 1) * settings_.moments)));
  for (int i = 0; i <= pieces; ++i) {
    const int k = static_cast<int>(std::lround(static_cast<double>(i) * (n - 1) / pieces));
    // At the ends the means stay centred.
    const int reach = std::min({static_cast<int>(std::lround(rate_.hertz() / settings_.moments / 2)), k, n - 1 - k});
    if (i > 0 && seconds(contact.first + k) <= moments.back().time) continue;
    moments.push_back({seconds(contact.first + k), mean(k, reach)});
  }
  return moments;
}

std::optional<TouchMark> TouchCarrier::markOf(const SiteShape& hand, const Moment& moment) const {
  const BodySite site = moment.at.site;
  const SiteShape& shape = sites_.at(site);
  if (!shape.known()) return std::nullopt;
  TouchMark mark;
  mark.time = moment.time;
  mark.point = axisPoint(hand, moment.at.onHand);
  const double along = moment.at.place.along, on = std::clamp(along, 0.0, 1.0);
  const Vec3d out = outwards(shape, moment.at.place.around);
  if (site == BodySite::leftHand || site == BodySite::rightHand) {
    // Both hands' axes meet; their skins keep them apart.
    mark.on = boneName(context_, shape.joint);
    mark.place = axisPoint(shape, on);
    mark.normal = out;
    return mark;
  }
  const SkinPlace skin = skinAt(site, moment.at.place).value_or(onShape(site, moment.at.place));
  mark.on = boneName(context_, skin.joint);
  mark.place = skin.place;
  mark.normal = skin.normal;
  return mark;
}

void TouchCarrier::load(Poser& poser, double time) const {
  poser.load(plain_, std::clamp(static_cast<int>(std::lround(time * context_.rate.hertz())), 0, plain_.frames() - 1));
}

Vec3d TouchCarrier::directionOf(const SiteShape& shape, const SitePlace& place) const {
  const Vec3d axis = shape.end - shape.start;
  return outwards(shape, place.around) * std::cos(place.tilt) + axis * (std::sin(place.tilt) / length(axis));
}

std::optional<SkinPlace> TouchCarrier::skinAt(BodySite site, const SitePlace& place) const {
  const SiteShape& shape = sites_.at(site);
  const auto j = static_cast<std::size_t>(shape.joint);
  const Vec3d from = context_.body.position[j] + rotate(context_.body.rotation[j], axisPoint(shape, std::clamp(place.along, 0.0, 1.0)));
  // Stylised bodies are up to several times as thick as people.
  return skin_->outermost(site, from, rotate(context_.body.rotation[j], directionOf(shape, place)), std::max(4 * thicknessOf(shape), 0.3 * context_.height));
}

SkinPlace TouchCarrier::onShape(BodySite site, const SitePlace& place) const {
  const SiteShape& shape = sites_.at(site);
  const Vec3d direction = directionOf(shape, place);
  return {shape.joint, axisPoint(shape, std::clamp(place.along, 0.0, 1.0)) + direction * thicknessOf(shape), direction};
}

}  // namespace understudy
