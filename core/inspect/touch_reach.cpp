// Places of a contact moved over their part of the body to where the arm gets to.
#include "core/inspect/touch_carrier.h"

#include <cmath>
#include <numbers>

#include "core/math/two_bone.h"

namespace understudy {
namespace {

/// Radians by which upper arm and forearm may turn (root of the sum of squares) before other places are looked for.
constexpr double farTurn = 1.0;

/// Part of the height by which the hand's way may change from one moment to the next before other places are looked for.
constexpr double hastyStep = 0.04;

/// The part of the body whose end is where a part begins; itself where there is none.
BodySite partBefore(BodySite site) {
  switch (site) {
    case BodySite::chest: return BodySite::belly;
    case BodySite::leftForearm: return BodySite::leftUpperArm;
    case BodySite::rightForearm: return BodySite::rightUpperArm;
    case BodySite::leftShank: return BodySite::leftThigh;
    case BodySite::rightShank: return BodySite::rightThigh;
    default: return site;
  }
}

}  // namespace

const TouchCarrier::SiteTable& TouchCarrier::tableOf(BodySite site) const {
  SiteTable& table = tables_[static_cast<std::size_t>(site)];
  if (!table.places.empty()) return table;
  const SiteShape& shape = sites_.at(site);
  const auto j = static_cast<std::size_t>(shape.joint);
  table.length = distance(shape.start, shape.end);
  constexpr int alongs = 7, arounds = 20;
  for (int a = 0; a < alongs; ++a)
    for (int k = 0; k < arounds; ++k) {
      const SitePlace place{static_cast<double>(a) / (alongs - 1), (2.0 * k / arounds - 1) * std::numbers::pi, 0};
      table.places.push_back(place);
      table.skin.push_back(skinAt(site, place));
      const Vec3d axis = context_.body.position[j] + rotate(context_.body.rotation[j], axisPoint(shape, place.along));
      double girth = std::max(shape.frontStart, shape.sideStart);
      if (const auto& skin = table.skin.back()) {
        const auto c = static_cast<std::size_t>(skin->joint);
        girth = distance(axis, context_.body.position[c] + rotate(context_.body.rotation[c], skin->place));
      }
      table.girth.push_back(girth);
    }
  return table;
}

TouchCarrier::Effort TouchCarrier::effortOf(const Poser& poser, const TouchSkin::Posed* hand, const LimbRig& arm, const SkinPlace& skin, const Vec3d& point) const {
  const Vec3d normal = rotate(poser.rotation(skin.joint), skin.normal), root = poser.position(arm.root), was = poser.position(arm.end);
  Vec3d wrist = poser.toWorld(skin.joint, skin.place) + normal * context_.scaled(0.015) - rotate(poser.rotation(arm.end), point);
  Effort effort;
  if (hand) {
    // The hand comes to lie where its skin touches: inwards no farther than skin is uneven.
    double inwards = context_.scaled(0.05);
    for (int pass = 0; pass < 4; ++pass) {
      const TouchSkin::Posed::Nearest nearest = hand->nearest(wrist - was);
      effort.depth = std::max(0.0, -nearest.distance);
      const double step = -nearest.distance / std::clamp(std::abs(dot(nearest.gradient, normal)), 0.5, 1.0);
      if (std::abs(nearest.distance) < context_.scaled(0.002) || inwards <= 0) break;
      wrist += normal * std::clamp(step, -inwards, context_.scaled(0.2));
      if (step < 0) inwards += step;
    }
  }
  const TwoBoneLimb limb{root, poser.position(arm.mid), was};
  const double upper = distance(limb.root, limb.mid), lower = distance(limb.mid, limb.end), d = distance(wrist, root);
  effort.over = std::max({0.0, d - 0.96 * (upper + lower), std::abs(upper - lower) - d});
  // Near the shoulder small ways of the hand are large turns of the arm.
  effort.cramped = std::max(0.0, 0.45 * (upper + lower) - d);
  TwoBoneGoal goal;
  goal.target = wrist;
  goal.hinge = rotate(poser.rotation(arm.root), arm.hinge);
  const TwoBoneSolution bent = solveTwoBone(limb, goal);
  const double first = angleBetween(limb.mid - limb.root, bent.mid - limb.root), second = angleBetween(limb.end - limb.mid, bent.end - bent.mid);
  effort.turned = std::sqrt(first * first + second * second);
  effort.shift = wrist - was;
  return effort;
}

void TouchCarrier::bringWithinReach(std::vector<Moment>& moments, const SiteShape& hand, int side, double& beyond) const {
  const LimbRig& arm = context_.arms[static_cast<std::size_t>(side)];
  // Costs, by lengths as parts of the height: moving a place .2 along the body is worth as much as .01 of what is out of reach, and
  // as .01 that the hand lies in the body; .1 as much as turning the arm by 1.6 radians more.
  constexpr double outOfReach = 400, cramped = 40, inside = 400, turned = 0.004, unsteady = 12, hasty = 4;
  const double height = context_.height;
  struct State {
    double along = 0, around = 0;  ///< how far the place is moved: part of the axis, radians
    Vec3d moved;                   ///< the same in metres ÷ height, along and around
    Vec3d shift;                   ///< of the wrist against the plain motion, metres ÷ height
    double cost = 0, total = 0, over = 0;
    int from = -1;
  };
  std::vector<std::vector<State>> chain(moments.size());
  const auto square = [](double v) { return v * v; };
  Poser poser(context_);
  const auto posedAt = [&](const Moment& moment) {
    load(poser, moment.time);
    std::optional<TouchSkin::Posed> posed;
    if (skin_->hasHand(side) && skin_->hasBody()) posed.emplace(*skin_, poser, side, TouchSkin::Against::body);
    return posed;
  };
  const auto add = [&](std::size_t i, const std::optional<TouchSkin::Posed>& posed, const SkinPlace& skin, State state) {
    const Effort effort = effortOf(poser, posed ? &*posed : nullptr, arm, skin, axisPoint(hand, moments[i].at.onHand));
    state.over = effort.over;
    state.shift = effort.shift / height;
    state.cost = dot(state.moved, state.moved) + outOfReach * square(effort.over / height) + inside * square(effort.depth / height) +
                 cramped * square(effort.cramped / height) + turned * square(effort.turned);
    chain[i].push_back(state);
    return effort;
  };
  // Places are left alone unless the arm is too short for some, or has to leave its way by far.
  bool needed = false;
  for (std::size_t i = 0; i < moments.size(); ++i) {
    const std::optional<TouchSkin::Posed> posed = posedAt(moments[i]);
    const BodyContactFrame& at = moments[i].at;
    const Effort effort = add(i, posed, skinAt(at.site, at.place).value_or(onShape(at.site, at.place)), {});
    needed = needed || effort.over > 0.04 * arm.full() || effort.depth > context_.scaled(0.010) || effort.turned > farTurn ||
             (i > 0 && distance(chain[i].front().shift, chain[i - 1].front().shift) > hastyStep);
  }
  if (!needed) return;
  for (std::size_t i = 0; i < moments.size(); ++i) {
    const std::optional<TouchSkin::Posed> posed = posedAt(moments[i]);
    const SitePlace own = moments[i].at.place;
    const double ownAlong = std::clamp(own.along, 0.0, 1.0), length = tableOf(moments[i].at.site).length;
    // The part before goes on where this one begins.
    for (const bool before : {false, true}) {
      const BodySite site = before ? partBefore(moments[i].at.site) : moments[i].at.site;
      if (!sites_.at(site).known() || (before && site == moments[i].at.site)) continue;
      const SiteTable& table = tableOf(site);
      for (std::size_t k = 0; k < table.places.size(); ++k) {
        if (!table.skin[k] || (before && table.places[k].along >= 1)) continue;
        State state;
        state.along = table.places[k].along - (before ? 1 : 0) - ownAlong;
        state.around = std::remainder(table.places[k].around - own.around, 2 * std::numbers::pi);
        const double way = before ? (table.places[k].along - 1) * table.length - ownAlong * length : state.along * length;
        state.moved = Vec3d{way, state.around * table.girth[k], 0} / height;
        add(i, posed, *table.skin[k], state);
      }
    }
  }
  for (std::size_t i = 0; i < chain.size(); ++i)
    for (State& state : chain[i]) {
      state.total = state.cost;
      if (i == 0) continue;
      double best = 1e300;
      for (std::size_t k = 0; k < chain[i - 1].size(); ++k) {
        const State& before = chain[i - 1][k];
        const Vec3d step = state.moved - before.moved, leap = state.shift - before.shift;
        const double total = before.total + unsteady * dot(step, step) + hasty * dot(leap, leap);
        if (total >= best) continue;
        best = total;
        state.from = static_cast<int>(k);
      }
      state.total += best;
    }
  std::vector<std::pair<double, double>> moves(moments.size());
  int at = 0;
  for (std::size_t k = 0; k < chain.back().size(); ++k)
    if (chain.back()[k].total < chain.back()[static_cast<std::size_t>(at)].total) at = static_cast<int>(k);
  for (std::size_t i = moments.size(); i-- > 0;) {
    const State& state = chain[i][static_cast<std::size_t>(at)];
    moves[i] = {state.along, state.around};
    beyond = std::max(beyond, state.over);
    at = state.from;
  }
  // The table is coarse: between its places the way is rounded.
  for (std::size_t i = 1; i < moves.size(); ++i)
    moves[i].second = moves[i - 1].second + std::remainder(moves[i].second - moves[i - 1].second, 2 * std::numbers::pi);
  for (int round = 0; round < 2; ++round) {
    const std::vector<std::pair<double, double>> was = moves;
    for (std::size_t i = 0; i < moves.size(); ++i) {
      const auto &a = was[i > 0 ? i - 1 : i], &b = was[std::min(i + 1, was.size() - 1)];
      moves[i] = {0.25 * a.first + 0.5 * was[i].first + 0.25 * b.first, 0.25 * a.second + 0.5 * was[i].second + 0.25 * b.second};
    }
  }
  for (std::size_t i = 0; i < moments.size(); ++i) {
    SitePlace& place = moments[i].at.place;
    const auto [along, around] = moves[i];
    if (along == 0 && around == 0) continue;
    place.along = std::clamp(place.along, 0.0, 1.0) + along;
    if (place.along < 0 && partBefore(moments[i].at.site) != moments[i].at.site) {
      moments[i].at.site = partBefore(moments[i].at.site);
      place.along += 1;
    }
    place.around += around;
    place.tilt *= std::exp(-10 * (std::abs(along) + std::abs(around)));
  }
}

}  // namespace understudy
