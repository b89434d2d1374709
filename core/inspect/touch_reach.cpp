// Places of a contact moved over their part of the body to where the arm gets to.
#include "core/inspect/touch_carrier.h"

#include <cmath>
#include <numbers>

namespace understudy {

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
  const Vec3d normal = rotate(poser.rotation(skin.joint), skin.normal), root = poser.position(arm.root);
  Vec3d wrist = poser.toWorld(skin.joint, skin.place) + normal * context_.scaled(0.015) - rotate(poser.rotation(arm.end), point);
  Effort effort;
  if (hand) {
    // The hand comes to lie where its skin touches.
    const double gap = hand->nearest(wrist - poser.position(arm.end)).distance;
    effort.depth = std::max(0.0, -gap);
    wrist -= normal * std::clamp(gap, -context_.scaled(0.2), context_.scaled(0.05));
  }
  const double upper = distance(root, poser.position(arm.mid)), lower = distance(poser.position(arm.mid), poser.position(arm.end)), d = distance(wrist, root);
  effort.over = std::max({0.0, d - 0.96 * (upper + lower), std::abs(upper - lower) - d});
  // Near the shoulder small ways of the hand are large turns of the arm.
  effort.cramped = std::max(0.0, 0.45 * (upper + lower) - d);
  return effort;
}

void TouchCarrier::bringWithinReach(std::vector<Moment>& moments, const SiteShape& hand, int side, double& beyond) const {
  const LimbRig& arm = context_.arms[static_cast<std::size_t>(side)];
  // Costs, by lengths as parts of the height: moving a place .2 along the body is worth as much as .01 of what is out of reach.
  constexpr double outOfReach = 400, cramped = 40, inside = 100, unsteady = 12;
  const double height = context_.height;
  struct State {
    double along = 0, around = 0;  ///< how far the place is moved: part of the axis, radians
    Vec3d moved;                   ///< the same in metres ÷ height, along and around
    double cost = 0, total = 0, over = 0;
    int from = -1;
  };
  std::vector<std::vector<State>> chain(moments.size());
  bool needed = false;
  Poser poser(context_);
  for (std::size_t i = 0; i < moments.size(); ++i) {
    const Moment& moment = moments[i];
    const SitePlace own = moment.at.place;
    const double ownAlong = std::clamp(own.along, 0.0, 1.0);
    const Vec3d point = axisPoint(hand, moment.at.onHand);
    load(poser, moment.time);
    std::optional<TouchSkin::Posed> posed;
    if (skin_->hasHand(side) && skin_->hasBody()) posed.emplace(*skin_, poser, side, TouchSkin::Against::body);
    const auto add = [&](const SkinPlace& skin, double along, double around, double length, double girth) {
      State state;
      state.along = along;
      state.around = around;
      state.moved = Vec3d{along * length, around * girth, 0} / height;
      const Effort effort = effortOf(poser, posed ? &*posed : nullptr, arm, skin, point);
      state.over = effort.over;
      const auto square = [](double v) { return v * v; };
      state.cost = dot(state.moved, state.moved) + outOfReach * square(effort.over / height) + inside * square(effort.depth / height) + cramped * square(effort.cramped / height);
      chain[i].push_back(state);
    };
    const SkinPlace direct = skinAt(moment.at.site, own).value_or(onShape(moment.at.site, own));
    add(direct, 0, 0, 0, 0);
    // Places are left alone unless the arm is too short for some.
    needed = needed || chain[i].front().over > 0.04 * arm.full();
    const SiteTable& table = tableOf(moment.at.site);
    for (std::size_t k = 0; k < table.places.size(); ++k)
      if (table.skin[k])
        add(*table.skin[k], table.places[k].along - ownAlong, std::remainder(table.places[k].around - own.around, 2 * std::numbers::pi), table.length, table.girth[k]);
  }
  if (!needed) return;
  for (std::size_t i = 0; i < chain.size(); ++i)
    for (State& state : chain[i]) {
      state.total = state.cost;
      if (i == 0) continue;
      double best = 1e300;
      for (std::size_t k = 0; k < chain[i - 1].size(); ++k) {
        const State& before = chain[i - 1][k];
        const Vec3d step = state.moved - before.moved;
        const double total = before.total + unsteady * dot(step, step);
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
    place.around += around;
    place.tilt *= std::exp(-10 * (std::abs(along) + std::abs(around)));
  }
}

}  // namespace understudy
