#include "core/repair/touch_skin.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <set>
#include <tuple>
#include <utility>

#include "core/repair/clearance.h"

namespace understudy {
namespace {

constexpr std::size_t handGroups = 14;
constexpr int mostCorners = 100, mostHandPoints = 160;
/// Metres (at a height of 1.7) between places on faces of the hand that may be chosen; pieces an edge is cut into, at most.
constexpr double faceSpacing = 0.01;
constexpr int mostPieces = 12;
/// The same of the many points that exact answers are asked of.
constexpr double fineSpacing = 0.008;
constexpr int mostFinePieces = 24;
/// Part of a point's weight that belongs to the hand and to fingers where it counts as the hand's.
constexpr double firmShare = 0.6;
/// Distances in a bent body change faster than the way, seldom by more than half.
constexpr double steepest = 2;

BodyPart armPart(int side, int segment) {
  static constexpr std::array<std::array<BodyPart, 3>, 2> parts{{{BodyPart::leftUpperArm, BodyPart::leftForearm, BodyPart::leftHand},
                                                                 {BodyPart::rightUpperArm, BodyPart::rightForearm, BodyPart::rightHand}}};
  return parts[static_cast<std::size_t>(side)][static_cast<std::size_t>(segment)];
}

bool ofArm(BodyPart part, int side) {
  return part == armPart(side, 0) || part == armPart(side, 1) || part == armPart(side, 2);
}

/// Parts of the skin a site's rays may leave through: hips and thighs pass into each other.
bool showsOn(BodySite site, BodyPart part) {
  switch (site) {
    case BodySite::head: return part == BodyPart::head;
    case BodySite::chest: return part == BodyPart::torso;
    case BodySite::belly: return part == BodyPart::torso || part == BodyPart::leftThigh || part == BodyPart::rightThigh;
    case BodySite::leftUpperArm: return part == BodyPart::leftUpperArm;
    case BodySite::rightUpperArm: return part == BodyPart::rightUpperArm;
    case BodySite::leftForearm: return part == BodyPart::leftForearm;
    case BodySite::rightForearm: return part == BodyPart::rightForearm;
    case BodySite::leftHand: return part == BodyPart::leftHand;
    case BodySite::rightHand: return part == BodyPart::rightHand;
    case BodySite::leftThigh: return part == BodyPart::leftThigh || part == BodyPart::torso;
    case BodySite::rightThigh: return part == BodyPart::rightThigh || part == BodyPart::torso;
    case BodySite::leftShank: return part == BodyPart::leftShank || part == BodyPart::leftThigh;
    case BodySite::rightShank: return part == BodyPart::rightShank || part == BodyPart::rightThigh;
    case BodySite::count: break;
  }
  return false;
}

/// Area-weighted normals; vertices at one place share theirs.
std::vector<Vec3d> vertexNormals(const BodySurface& surface, double tolerance) {
  std::map<std::tuple<std::int64_t, std::int64_t, std::int64_t>, std::size_t> first;
  std::vector<std::size_t> shared(surface.positions.size());
  for (std::size_t v = 0; v < shared.size(); ++v) {
    const Vec3d p = surface.positions[v] / tolerance;
    shared[v] = first.try_emplace({std::llround(p.x), std::llround(p.y), std::llround(p.z)}, v).first->second;
  }
  std::vector<Vec3d> sums(surface.positions.size());
  for (std::size_t t = 0; t + 2 < surface.indices.size(); t += 3) {
    const std::uint32_t i[3] = {surface.indices[t], surface.indices[t + 1], surface.indices[t + 2]};
    const Vec3d area = cross(surface.positions[i[1]] - surface.positions[i[0]], surface.positions[i[2]] - surface.positions[i[0]]);
    for (const std::uint32_t v : i) sums[shared[v]] += area;
  }
  std::vector<Vec3d> normals(surface.positions.size());
  for (std::size_t v = 0; v < normals.size(); ++v) normals[v] = normalised(sums[shared[v]]);
  return normals;
}

}  // namespace

TouchSkin::TouchSkin(const RepairContext& context) {
  model_ = bodyModelOf(context);
  for (const BodySolid& solid : model_->solids) solids_.push_back(&solid);
  for (const BodySolid& solid : model_->limbs) solids_.push_back(&solid);
  normals_ = vertexNormals(model_->surface, 1e-5 * context.height);
  const BodySurface& surface = model_->surface;
  for (std::size_t t = 0; t + 2 < surface.indices.size(); t += 3)
    for (std::size_t site = 0; site < shown_.size(); ++site)
      if (std::all_of(&surface.indices[t], &surface.indices[t] + 3, [&](std::uint32_t v) { return showsOn(static_cast<BodySite>(site), surface.parts[v]); })) shown_[site].push_back(t);
  for (int side = 0; side < 2; ++side) hands_[static_cast<std::size_t>(side)] = handPoints(context.figure->skeleton, context.arms[static_cast<std::size_t>(side)].end, side);
}

std::shared_ptr<const TouchSkin> TouchSkin::of(const RepairContext& context) {
  return context.parts->get<TouchSkin>([&] { return TouchSkin(context); });
}

TouchSkin::HandPoints TouchSkin::handPoints(const Skeleton& skeleton, int end, int side) const {
  const BodySurface& surface = model_->surface;
  std::vector<char> used(surface.positions.size(), 0);
  for (const std::uint32_t i : surface.indices) used[i] = 1;
  std::vector<int> all;
  for (int v = 0; v < surface.vertices(); ++v)
    if (used[static_cast<std::size_t>(v)] && surface.parts[static_cast<std::size_t>(v)] == armPart(side, 2)) all.push_back(v);
  HandPoints out;
  if (all.empty()) return out;
  // What goes along with the forearm is left out where enough remains: it moves as the elbow swings, while the hand stays.
  std::vector<int> firm;
  for (const int v : all) {
    const auto at = static_cast<std::size_t>(v);
    double own = 0, total = 0;
    for (std::uint32_t k = surface.influenceStart[at]; k < surface.influenceStart[at + 1]; ++k) {
      const double w = static_cast<double>(surface.influenceWeight[k]);
      const int joint = surface.influenceJoint[k];
      total += w;
      // Fingers may hang on the forearm beside the hand.
      if (joint == end || isAncestor(skeleton, end, joint) || surface.jointParts[static_cast<std::size_t>(joint)] == armPart(side, 2)) own += w;
    }
    if (own >= firmShare * total) firm.push_back(v);
  }
  if (firm.size() >= 24 || 2 * firm.size() >= all.size()) all = std::move(firm);
  // Faces touch as well as their corners: places all over them, as sums of their corners.
  struct Place {
    Vec3d at;
    std::array<std::uint32_t, 3> corner;
    std::array<double, 3> weight;
  };
  std::vector<Place> places;
  std::vector<char> own(surface.positions.size(), 0);
  for (const int v : all) {
    own[static_cast<std::size_t>(v)] = 1;
    const auto corner = static_cast<std::uint32_t>(v);
    places.push_back({surface.positions[corner], {corner, corner, corner}, {1, 0, 0}});
  }
  const double spacing = faceSpacing * model_->height / 1.7, fine = fineSpacing * model_->height / 1.7;
  // Places on the faces a spacing apart, without their corners.
  const auto spread = [&](double apart, int mostOfEdge, const std::function<void(Place)>& take) {
    for (std::size_t t = 0; t + 2 < surface.indices.size(); t += 3) {
      const std::array<std::uint32_t, 3> c{surface.indices[t], surface.indices[t + 1], surface.indices[t + 2]};
      if (!own[c[0]] || !own[c[1]] || !own[c[2]]) continue;
      const Vec3d &a = surface.positions[c[0]], &b = surface.positions[c[1]], &d = surface.positions[c[2]];
      const int n = std::min(mostOfEdge, static_cast<int>(std::ceil(std::max({distance(a, b), distance(b, d), distance(d, a)}) / apart)));
      for (int i = 0; i <= n; ++i)
        for (int k = 0; i + k <= n; ++k) {
          if (i == n || k == n || i + k == 0) continue;  // corners
          const std::array<double, 3> w{static_cast<double>(i) / n, static_cast<double>(k) / n, static_cast<double>(n - i - k) / n};
          take({a * w[0] + b * w[1] + d * w[2], c, w});
        }
    }
  };
  const auto keep = [&](Carried& to, const Place& place) {
    to.points.push_back(place.at);
    std::map<int, double> shares;
    for (std::size_t c = 0; c < 3; ++c)
      for (std::uint32_t k = surface.influenceStart[place.corner[c]]; k < surface.influenceStart[place.corner[c] + 1]; ++k)
        if (place.weight[c] > 0) shares[surface.influenceJoint[k]] += place.weight[c] * static_cast<double>(surface.influenceWeight[k]);
    for (const auto& [joint, share] : shares) {
      to.joint.push_back(joint);
      to.weight.push_back(static_cast<float>(share));
    }
    to.start.push_back(static_cast<std::uint32_t>(to.joint.size()));
  };
  // Fine ones, of which one lies in a cell.
  std::set<std::array<std::int64_t, 3>> cells;
  std::vector<Place> finePlaces;
  const auto keepFine = [&](const Place& place) {
    const Vec3d cell = place.at / (0.7 * fine);
    if (cells.insert({std::llround(cell.x), std::llround(cell.y), std::llround(cell.z)}).second) finePlaces.push_back(place);
  };
  for (const Place& place : places) keepFine(place);
  spread(fine, mostFinePieces, keepFine);
  spread(spacing, mostPieces, [&](const Place& place) { places.push_back(place); });
  // Each next point is the one furthest from those chosen, corners first.
  std::vector<double> away(places.size(), 1e300);
  const auto choose = [&](std::size_t among, int most, double least) {
    for (std::size_t next = 0; static_cast<int>(out.points.size()) < most;) {
      for (std::size_t i = 0; i < among; ++i)
        if (away[i] > away[next]) next = i;
      if (away[next] <= least) return;
      const Place& place = places[next];
      keep(out, place);
      for (std::size_t i = 0; i < places.size(); ++i) away[i] = std::min(away[i], distance(places[i].at, place.at));
    }
  };
  choose(all.size(), mostCorners, 0);
  choose(places.size(), mostHandPoints, spacing);
  std::vector<std::vector<std::pair<double, std::size_t>>> fineOf(out.points.size());
  for (std::size_t f = 0; f < finePlaces.size(); ++f) {
    const Vec3d& p = finePlaces[f].at;
    std::size_t nearest = 0;
    for (std::size_t i = 1; i < out.points.size(); ++i)
      if (distance(out.points[i], p) < distance(out.points[nearest], p)) nearest = i;
    fineOf[nearest].emplace_back(distance(out.points[nearest], p), f);
    out.farthestFine = std::max(out.farthestFine, fineOf[nearest].back().first);
  }
  for (std::vector<std::pair<double, std::size_t>>& which : fineOf) {
    std::sort(which.begin(), which.end());
    out.fineStart.push_back(static_cast<std::uint32_t>(out.fine.points.size()));
    for (const auto& [off, f] : which) keep(out.fine, finePlaces[f]);
  }
  out.fineStart.push_back(static_cast<std::uint32_t>(out.fine.points.size()));
  out.findGroups();
  return out;
}

Vec3d TouchSkin::Carried::posed(std::size_t i, std::span<const Affined> turned) const {
  Vec3d sum{};
  double total = 0;
  for (std::uint32_t k = start[i]; k < start[i + 1]; ++k) {
    const double w = static_cast<double>(weight[k]);
    sum += apply(turned[static_cast<std::size_t>(joint[k])], points[i]) * w;
    total += w;
  }
  return total > 0 ? sum / total : points[i];
}

void TouchSkin::HandPoints::findGroups() {
  // The first of them lie far apart all over the hand.
  std::vector<std::vector<std::size_t>> groups(std::min(handGroups, points.size()));
  for (std::size_t i = 0; i < points.size(); ++i) {
    std::size_t nearest = 0;
    for (std::size_t g = 1; g < groups.size(); ++g)
      if (distance(points[i], points[g]) < distance(points[i], points[nearest])) nearest = g;
    groups[i < groups.size() ? i : nearest].push_back(i);
  }
  for (const std::vector<std::size_t>& group : groups) {
    groupStart.push_back(order.size());
    order.insert(order.end(), group.begin(), group.end());
  }
  groupStart.push_back(order.size());
  for (const std::vector<std::size_t>& group : groups) {
    PatchGroup own{patches.size(), 0, 0};
    for (const std::size_t i : group) {
      Patch patch{fineStart[i], fineStart[i + 1], 0};
      if (patch.first == patch.last) continue;
      for (std::uint32_t f = patch.first; f < patch.last; ++f) patch.reach = std::max(patch.reach, distance(fine.points[patch.first], fine.points[f]));
      patches.push_back(patch);
    }
    own.last = patches.size();
    for (std::size_t k = own.first; k < own.last; ++k)
      own.reach = std::max(own.reach, patches[k].reach + distance(fine.points[patches[own.first].first], fine.points[patches[k].first]));
    patchGroups.push_back(own);
  }
}

std::optional<double> TouchSkin::headTop() const {
  std::optional<double> top;
  const BodySurface& surface = model_->surface;
  for (std::size_t v = 0; v < surface.positions.size(); ++v)
    if (surface.parts[v] == BodyPart::head) top = std::max(top.value_or(-1e300), surface.positions[v].y);
  return top;
}

std::optional<SkinPlace> TouchSkin::outermost(BodySite site, const Vec3d& from, const Vec3d& direction, double reach) const {
  const BodySurface& surface = model_->surface;
  double farthest = 0;
  std::size_t hit = surface.indices.size();
  double hitU = 0, hitV = 0;
  for (const std::size_t t : shown_[static_cast<std::size_t>(site)]) {
    const std::uint32_t i[3] = {surface.indices[t], surface.indices[t + 1], surface.indices[t + 2]};
    // Möller and Trumbore 1997.
    const Vec3d &a = surface.positions[i[0]], e1 = surface.positions[i[1]] - a, e2 = surface.positions[i[2]] - a;
    const Vec3d p = cross(direction, e2);
    const double det = dot(e1, p);
    if (std::abs(det) < 1e-14) continue;
    const Vec3d s = from - a;
    const double u = dot(s, p) / det;
    if (u < 0 || u > 1) continue;
    const Vec3d q = cross(s, e1);
    const double v = dot(direction, q) / det;
    if (v < 0 || u + v > 1) continue;
    const double d = dot(e2, q) / det;
    if (d <= farthest || d > reach) continue;
    farthest = d;
    hit = t;
    hitU = u;
    hitV = v;
  }
  if (hit >= surface.indices.size()) return std::nullopt;
  const std::uint32_t i[3] = {surface.indices[hit], surface.indices[hit + 1], surface.indices[hit + 2]};
  const double weight[3] = {1 - hitU - hitV, hitU, hitV};
  std::map<int, double> share;
  Vec3d normal{};
  for (int k = 0; k < 3; ++k) {
    normal += normals_[i[k]] * weight[k];
    for (std::uint32_t n = surface.influenceStart[i[k]]; n < surface.influenceStart[i[k] + 1]; ++n)
      share[surface.influenceJoint[n]] += weight[k] * static_cast<double>(surface.influenceWeight[n]);
  }
  if (share.empty()) return std::nullopt;
  const int joint = std::max_element(share.begin(), share.end(), [](const auto& x, const auto& y) { return x.second < y.second; })->first;
  normal = normalised(normal, direction);
  if (dot(normal, direction) < 0) normal = -normal;  // triangles that are turned inside out
  // Where the ray just grazes the skin its direction is worth more.
  if (dot(normal, direction) < 0.3) normal = normalised(normal + direction);
  const auto j = static_cast<std::size_t>(joint);
  const Quatd back = conjugate(model_->rotation[j]);
  return SkinPlace{joint, rotate(back, from + direction * farthest - model_->position[j]), rotate(back, normal)};
}

double TouchSkin::Posed::Known::at(const Vec3d& other) const { return distance - steepest * understudy::distance(other, shift); }

TouchSkin::Posed::Posed(const TouchSkin& skin, const Poser& poser, int side, Against against)
    : skin_(skin), hand_(skin.hands_[static_cast<std::size_t>(side)]), size_(poser.context().height / 1.7) {
  const RepairContext& context = poser.context();
  const std::size_t n = context.body.rotation.size();
  turned_.resize(n);
  std::vector<Affined>& turned = turned_;
  for (std::size_t j = 0; j < n; ++j) turned[j] = poser.turned(static_cast<int>(j));
  const HandPoints& hand = hand_;
  std::vector<Vec3d> points;
  points.reserve(hand.points.size());
  for (std::size_t i = 0; i < hand.points.size(); ++i) {
    points.push_back(hand.posed(i, turned));
    middle_ += points.back();
  }
  points_.reserve(points.size());
  for (const std::size_t i : hand.order) points_.push_back(points[i]);
  for (std::size_t g = 0; g + 1 < hand.groupStart.size(); ++g)
    for (std::size_t i = hand.groupStart[g]; i < hand.groupStart[g + 1]; ++i) fromHub_.push_back(distance(points_[i], points_[hand.groupStart[g]]));
  if (!points_.empty()) middle_ = middle_ / static_cast<double>(points_.size());
  for (const Vec3d& p : points_) radius_ = std::max(radius_, distance(p, middle_));
  solids_.reserve(skin.solids_.size());
  for (const BodySolid* solid : skin.solids_) {
    const bool other = ofArm(solid->part, 1 - side);
    if (ofArm(solid->part, side) || (against == Against::body) == other) continue;
    if (against == Against::otherHand && solid->part != armPart(1 - side, 2)) continue;
    solids_.emplace_back(*solid, turned);
  }
}

void TouchSkin::Posed::place(const Solid& solid) const {
  if (!solid.points.empty()) return;
  solid.near = solid.solid.place(middle_);
  solid.points.resize(points_.size());
  solid.groups.resize(hand_.groupStart.size() - 1);
}

TouchSkin::Posed::Nearest TouchSkin::Posed::nearest(const Vec3d& shift, double within) const {
  Nearest best;
  best.distance = within;
  const Solid* of = nullptr;
  const auto visit = [&](const Solid& s) {
    // What cannot be nearer than the best, by what is known of it, is passed over: the solid, groups of points, points. Likely ones come first.
    const Vec3d middle = middle_ + shift;
    if (s.solid.atLeast(middle) - radius_ > best.distance || s.all.at(shift) >= best.distance || s.solid.atLeastOfBox(middle) - radius_ > best.distance) return;
    place(s);
    const auto ask = [&](std::size_t i) {
      const double d = s.solid.distance(points_[i] + shift, s.near);
      s.points[i] = {shift, d};
      if (d < best.distance) {
        best.distance = d;
        of = &s;
        s.nearest = i;
      }
      return d;
    };
    ask(s.nearest);
    // Groups that may hold the nearest point come first, so that the others are passed over.
    std::array<std::pair<double, std::size_t>, handGroups> order;
    std::size_t open = 0;
    double all = 1e300;
    for (std::size_t g = 0; g < s.groups.size(); ++g) {
      const std::size_t hub = hand_.groupStart[g];
      double least = s.groups[g].at(shift);
      if (least < best.distance) {
        order[open++] = {s.points[hub].distance > -1e299 && s.points[hub].shift == shift ? s.points[hub].distance : ask(hub), g};
      } else {
        all = std::min(all, least);
      }
    }
    std::sort(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(open));
    for (std::size_t k = 0; k < open; ++k) {
      const auto [hubDistance, g] = order[k];
      double least = hubDistance;
      for (std::size_t i = hand_.groupStart[g] + 1; i < hand_.groupStart[g + 1]; ++i) {
        double d = std::max(s.points[i].at(shift), hubDistance - steepest * fromHub_[i]);
        if (d < best.distance) d = ask(i);
        least = std::min(least, d);
      }
      s.groups[g] = {shift, least};
      all = std::min(all, least);
    }
    s.all = {shift, all};
  };
  if (nearest_ < solids_.size()) visit(solids_[nearest_]);
  for (std::size_t k = 0; k < solids_.size(); ++k)
    if (k != nearest_) visit(solids_[k]);
  if (!of) return best;
  nearest_ = static_cast<std::size_t>(of - solids_.data());
  // Only one slope is of use.
  best.gradient = of->solid.sample(points_[of->nearest] + shift, of->near).gradient;
  return best;
}

}  // namespace understudy
