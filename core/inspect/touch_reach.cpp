// Places of a contact moved over their part of the body to where the arm gets to.
#include "core/inspect/touch_carrier.h"

#include <cmath>
#include <numbers>

#include "core/math/two_bone.h"
#include "core/repair/arm_clearance.h"
#include "core/repair/clearance.h"

namespace understudy {
namespace {

/// Radians by which upper arm and forearm may turn (root of the sum of squares) before other places are looked for.
constexpr double farTurn = 1.0;

/// Part of the height by which the hand's way may change from one moment to the next before other places are looked for.
constexpr double hastyStep = 0.04;
/// Part of the height a place may be moved.
constexpr double farthestMove = 0.35;
/// Radians it may be moved around its part of the body: what the performer touches in front is not touched at the back.
constexpr double farthestAround = 1.75;
/// Metres (at a height of 1.7) the arm may lie in the body before other places are looked for.
constexpr double deepArm = 0.008;
/// Places of a moment whose arms are looked at.
constexpr std::size_t mostStates = 56;

/// Parts of the body that go on into each other, and which of both a site is; one that goes on alone has itself twice.
struct Parts {
  std::array<BodySite, 2> sites;
  int index = 0;
};
Parts partsOf(BodySite site) {
  static constexpr std::array<std::array<BodySite, 2>, 5> chains{{{BodySite::belly, BodySite::chest},
                                                                  {BodySite::leftUpperArm, BodySite::leftForearm},
                                                                  {BodySite::rightUpperArm, BodySite::rightForearm},
                                                                  {BodySite::leftThigh, BodySite::leftShank},
                                                                  {BodySite::rightThigh, BodySite::rightShank}}};
  for (const auto& chain : chains)
    for (int i = 0; i < 2; ++i)
      if (chain[static_cast<std::size_t>(i)] == site) return {chain, i};
  return {{site, site}, 0};
}

}  // namespace

const TouchCarrier::SiteTable& TouchCarrier::tableOf(BodySite site) const {
  const auto at = static_cast<std::size_t>(site);
  std::call_once(tabled_[at], [&] { tables_[at] = madeTable(site); });
  return tables_[at];
}

TouchCarrier::SiteTable TouchCarrier::madeTable(BodySite site) const {
  SiteTable table;
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

TouchCarrier::Effort TouchCarrier::effortOf(const Poser& poser, const Posed& posed, const LimbRig& arm, const SkinPlace& skin, const Vec3d& point) const {
  const Vec3d normal = rotate(poser.rotation(skin.joint), skin.normal), root = poser.position(arm.root), was = poser.position(arm.end);
  Vec3d wrist = poser.toWorld(skin.joint, skin.place) + normal * context_.scaled(0.015) - rotate(poser.rotation(arm.end), point);
  Effort effort;
  if (posed.touched) {
    // The hand comes to lie where its skin touches: inwards no farther than skin is uneven.
    double inwards = context_.scaled(0.05);
    for (int pass = 0; pass < 4; ++pass) {
      const TouchSkin::Posed::Nearest nearest = posed.touched->nearest(wrist - was);
      effort.depth = std::max(0.0, -nearest.distance);
      const double step = -nearest.distance / std::clamp(std::abs(dot(nearest.gradient, normal)), 0.5, 1.0);
      if (std::abs(nearest.distance) < context_.scaled(0.002) || inwards <= 0) break;
      wrist += normal * std::clamp(step, -inwards, context_.scaled(0.2));
      if (step < 0) inwards += step;
    }
    if (posed.body) effort.depth = std::max(effort.depth, -posed.body->nearest(wrist - was).distance);
  }
  const TwoBoneLimb limb{root, poser.position(arm.mid), was};
  const double upper = distance(limb.root, limb.mid), lower = distance(limb.mid, limb.end), d = distance(wrist, root);
  effort.over = std::max({0.0, d - 0.96 * (upper + lower), std::abs(upper - lower) - d});
  // What collarbone and spine make up for, as far as touches turn them, counts a little only.
  const Vec3d towards = normalised(wrist - root);
  const auto helps = [&](int joint, double angle) { return joint >= 0 ? 0.8 * angle * length(cross(root - poser.position(joint), towards)) : 0.0; };
  effort.alone = effort.over;
  effort.over = std::max(0.2 * effort.over, effort.over - helps(arm.girdle, 0.26) - helps(context_.joint(Role::spine), 0.17));
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

std::vector<std::vector<TouchCarrier::Moment>> TouchCarrier::waysWithinReach(std::vector<Moment> moments, const SiteShape& hand, int side, TouchSkin::Against touched, double& beyond) const {
  const LimbRig& arm = context_.arms[static_cast<std::size_t>(side)];
  const double height = context_.height;
  // Costs, by lengths as parts of the height: in the first, moving a place .2 along the body is worth as much as .01 of what is out of
  // reach, and as .01 that the hand lies in the body; .09 as much as turning the arm by a radian. The others put steadiness, or the
  // arm's own way, before the place and before the arm's keeping out of the body.
  struct Prices {
    double outOfReach, cramped, inside, armInside, turned, unsteady, hasty;
    bool helped;  // collarbone and spine count
  };
  static constexpr std::array<Prices, 4> prices{{{400, 40, 400, 400, 0.008, 12, 10, true},
                                                 {400, 40, 400, 40, 0.008, 12, 10, true},
                                                 {400, 60, 1200, 100, 0.004, 40, 40, false},
                                                 {400, 40, 400, 100, 0.03, 12, 20, true}}};
  std::vector<std::vector<State>> chain(moments.size());
  const auto square = [](double v) { return v * v; };
  Poser poser(context_);
  const auto posedAt = [&](const Moment& moment) {
    load(poser, moment.time);
    Posed posed;
    if (!skin_->hasHand(side) || !skin_->hasBody()) return posed;
    posed.touched.emplace(*skin_, poser, side, touched);
    if (touched != TouchSkin::Against::body) posed.body.emplace(*skin_, poser, side, TouchSkin::Against::body);
    return posed;
  };
  const auto add = [&](std::size_t i, const Posed& posed, const SkinPlace& skin, State state) {
    state.effort = effortOf(poser, posed, arm, skin, axisPoint(hand, moments[i].at.onHand));
    state.shift = state.effort.shift / height;
    chain[i].push_back(state);
  };
  // Places are left alone unless the arm is too short for some, has to leave its way by far, or would lie in the body wherever its elbow swings.
  bool needed = false;
  for (std::size_t i = 0; i < moments.size(); ++i) {
    const Posed posed = posedAt(moments[i]);
    const BodyContactFrame& at = moments[i].at;
    add(i, posed, skinAt(at.site, at.place).value_or(onShape(at.site, at.place)), {});
    const Effort& effort = chain[i].front().effort;
    needed = needed || effort.over > 0.04 * arm.full() || effort.depth > context_.scaled(0.010) || effort.turned > farTurn ||
             (i > 0 && distance(chain[i].front().shift, chain[i - 1].front().shift) > hastyStep);
  }
  if (!needed) {
    keepOutOfBody(chain, moments, side);
    needed = std::any_of(chain.begin(), chain.end(), [&](const std::vector<State>& own) { return own.front().effort.armDepth > context_.scaled(deepArm); });
  }
  if (!needed) return {std::move(moments)};
  stayOnOnePart(moments);
  for (std::size_t i = 0; i < moments.size(); ++i) {
    chain[i].clear();
    const Posed posed = posedAt(moments[i]);
    const BodyContactFrame& at = moments[i].at;
    add(i, posed, skinAt(at.site, at.place).value_or(onShape(at.site, at.place)), {});
    const double ownAlong = std::clamp(at.place.along, 0.0, 1.0), length = tableOf(at.site).length;
    const Parts parts = partsOf(at.site);
    for (int part = 0; part < (parts.sites[0] == parts.sites[1] ? 1 : 2); ++part) {
      const BodySite site = parts.sites[static_cast<std::size_t>(part)];
      if (!sites_.at(site).known()) continue;
      const SiteTable& table = tableOf(site);
      const int away = part - parts.index;
      for (std::size_t k = 0; k < table.places.size(); ++k) {
        // Where both parts meet the contact's own has the place.
        const double along = table.places[k].along;
        if (!table.skin[k] || (away < 0 && along >= 1) || (away > 0 && along <= 0)) continue;
        State state;
        state.along = away + along - ownAlong;
        state.around = std::remainder(table.places[k].around - at.place.around, 2 * std::numbers::pi);
        const double way = away == 0  ? state.along * length
                           : away < 0 ? (along - 1) * table.length - ownAlong * length
                                      : (1 - ownAlong) * length + along * table.length;
        state.moved = Vec3d{way, state.around * table.girth[k], 0} / height;
        // Nothing is won so far away.
        if (dot(state.moved, state.moved) < square(farthestMove) && std::abs(state.around) < farthestAround) add(i, posed, *table.skin[k], state);
      }
    }
  }
  keepOutOfBody(chain, moments, side);
  std::vector<std::vector<Moment>> ways;
  std::vector<std::vector<std::pair<double, double>>> known;
  for (const Prices& price : prices) {
    for (std::size_t i = 0; i < chain.size(); ++i)
      for (State& state : chain[i]) {
        const Effort& effort = state.effort;
        state.total = dot(state.moved, state.moved) + price.outOfReach * square((price.helped ? effort.over : effort.alone) / height) +
                      price.inside * square(effort.depth / height) + price.armInside * square(effort.armDepth / height) + price.cramped * square(effort.cramped / height) + price.turned * square(effort.turned);
        if (i == 0) continue;
        double best = 1e300;
        for (std::size_t k = 0; k < chain[i - 1].size(); ++k) {
          const State& before = chain[i - 1][k];
          const Vec3d step = state.moved - before.moved, leap = state.shift - before.shift;
          const double total = before.total + price.unsteady * dot(step, step) + price.hasty * dot(leap, leap);
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
      if (ways.empty()) beyond = std::max(beyond, state.effort.over);
      at = state.from;
    }
    if (std::find(known.begin(), known.end(), moves) != known.end()) continue;
    known.push_back(moves);
    ways.push_back(moved(moments, moves));
  }
  return ways;
}

void TouchCarrier::keepOutOfBody(std::vector<std::vector<State>>& chain, const std::vector<Moment>& moments, int side) const {
  const double height = context_.height;
  const auto square = [](double v) { return v * v; };
  ArmClearanceSettings settings;
  settings.handStays = true;
  ArmClearer clearer(context_, bodyModelOf(context_), side, settings);
  if (!clearer.able()) return;
  Poser poser(context_);
  ArmClearer::Pose pose;
  for (std::size_t i = 0; i < chain.size(); ++i) {
    std::vector<State>& states = chain[i];
    // Those that are dear already are not looked at.
    const auto cost = [&](const State& s) {
      return dot(s.moved, s.moved) + 400 * (square(s.effort.over / height) + square(s.effort.depth / height)) + 0.008 * square(s.effort.turned);
    };
    std::stable_sort(states.begin() + 1, states.end(), [&](const State& a, const State& b) { return cost(a) < cost(b); });
    if (states.size() > mostStates) states.resize(mostStates);
    load(poser, moments[i].time);
    clearer.read(poser, pose);
    clearer.load(pose);
    for (State& state : states) {
      const Vec3d shift = rotate(conjugate(pose.frame), state.effort.shift);
      double best = 1e300;
      const double least = -context_.scaled(0.002);  // some room is kept, as clearance will
      // The elbow may swing aside.
      for (const double swivel : {0.0, -0.4, 0.4, -0.8, 0.8, -1.3, 1.3}) {
        if (0.004 * square(swivel) >= best) continue;
        const ArmChange change{{swivel, 0, 0, shift.x, shift.y, shift.z}};
        // Deeper than what is dearer than the best so far need not be known.
        const double most = least + 1.000001 * height * std::sqrt((best - 0.004 * square(swivel)) / 400);
        const double deep = clearer.mayBeDeeper(change, least) ? clearer.depthUpTo(change, least, most) - least : 0.0;
        const double c = 400 * square(deep / height) + 0.004 * square(swivel);
        if (c >= best) continue;
        best = c;
        state.effort.armDepth = deep;
        if (deep <= 0) break;
      }
    }
  }
}

std::vector<TouchCarrier::Moment> TouchCarrier::moved(std::vector<Moment> moments, std::vector<std::pair<double, double>> moves) const {
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
    const Parts parts = partsOf(moments[i].at.site);
    const int goesTo = place.along < 0 ? 0 : place.along > 1 ? 1 : parts.index;
    if (const BodySite site = parts.sites[static_cast<std::size_t>(goesTo)]; sites_.at(site).known()) {
      place.along -= goesTo - parts.index;
      moments[i].at.site = site;
    }
    place.around += around;
    place.tilt *= std::exp(-10 * (std::abs(along) + std::abs(around)));
  }
  return moments;
}

void TouchCarrier::stayOnOnePart(std::vector<Moment>& moments) {
  const auto sameParts = [](BodySite a, BodySite b) { return partsOf(a).sites == partsOf(b).sites; };
  std::size_t usual = 0, most = 0;
  for (std::size_t i = 0; i < moments.size(); ++i) {
    const auto count = static_cast<std::size_t>(
        std::count_if(moments.begin(), moments.end(), [&](const Moment& m) { return sameParts(m.at.site, moments[i].at.site); }));
    if (count <= most) continue;
    most = count;
    usual = i;
  }
  const std::vector<Moment> was = moments;
  for (Moment& moment : moments) {
    if (sameParts(moment.at.site, was[usual].at.site)) continue;
    const Moment* nearest = nullptr;
    for (const Moment& m : was)
      if (sameParts(m.at.site, was[usual].at.site) && (!nearest || std::abs(m.time - moment.time) < std::abs(nearest->time - moment.time))) nearest = &m;
    moment.at = nearest->at;
  }
}

}  // namespace understudy
