#include "core/repair/plant_leg.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <tuple>

#include "core/repair/skin_frames.h"

namespace understudy {
namespace {

constexpr Vec3d up{0, 1, 0};
constexpr double degree = std::numbers::pi / 180;

/// Downward directions up to 75° off straight down.
const std::vector<Vec3d>& downward() {
  static const std::vector<Vec3d> fan = [] {
    std::vector<Vec3d> out{-up};
    for (const double tilt : {3.0, 10.0, 20.0, 35.0, 50.0, 65.0, 75.0})
      for (int k = 0; k < 16; ++k) {
        const double a = tilt * degree, b = k * std::numbers::pi / 8;
        out.push_back({std::sin(a) * std::cos(b), -std::cos(a), std::sin(a) * std::sin(b)});
      }
    return out;
  }();
  return fan;
}

/// Indices of the points that are extreme in one of the downward directions.
std::vector<std::size_t> lowerPoints(const std::vector<Vec3d>& points, const std::vector<std::size_t>& among) {
  std::vector<std::size_t> chosen;
  for (const Vec3d& direction : downward()) {
    double reach = -1e300;
    std::size_t best = 0;
    for (const std::size_t i : among)
      if (const double r = dot(points[i], direction); r > reach) reach = r, best = i;
    if (!among.empty()) chosen.push_back(best);
  }
  std::sort(chosen.begin(), chosen.end());
  chosen.erase(std::unique(chosen.begin(), chosen.end()), chosen.end());
  return chosen;
}

/// Normal of the facet the points stand on: the levellest of those a third as wide as the widest, which lean less than 35°.
Vec3d standingNormal(const std::vector<Vec3d>& all) {
  std::vector<std::size_t> every(all.size());
  for (std::size_t i = 0; i < every.size(); ++i) every[i] = i;
  std::vector<Vec3d> points;
  for (const std::size_t i : lowerPoints(all, every)) points.push_back(all[i]);
  double span = 0;
  for (const Vec3d& p : points) span = std::max(span, distance(p, points.front()));
  const double leastArea = 0.01 * span * span, slack = 1e-4 * span;
  struct Facet {
    Vec3d normal;
    double size;
  };
  std::vector<Facet> facets;
  double widest = leastArea;
  for (std::size_t a = 0; a < points.size(); ++a)
    for (std::size_t b = a + 1; b < points.size(); ++b)
      for (std::size_t c = b + 1; c < points.size(); ++c) {
        Vec3d n = cross(points[b] - points[a], points[c] - points[a]);
        const double size = length(n);
        if (size <= widest / 3) continue;
        n = n / size;
        if (n.y < 0) n = -n;
        if (n.y < std::cos(35 * degree)) continue;
        if (std::any_of(points.begin(), points.end(), [&](const Vec3d& p) { return dot(p - points[a], n) <= -slack; })) continue;
        widest = std::max(widest, size);
        facets.push_back({n, size});
      }
  Facet best{up, 0};
  for (const Facet& f : facets)
    // Triangles of one facet differ by rounding only: of those the widest.
    if (f.size >= widest / 3 && (best.size == 0 || f.normal.y > best.normal.y + 1e-4 || (f.normal.y > best.normal.y - 1e-4 && f.size > best.size))) best = f;
  return best.normal;
}

}  // namespace

GroundPlane groundPlane(const Vec3d& through, const Vec3d& normal) {
  GroundPlane plane;
  plane.through = through;
  plane.normal = normalised(normal, up);
  plane.tilt = rotationBetween(up, plane.normal);
  return plane;
}

PlantLeg::PlantLeg(const RepairContext& context, int whichSide) : limb(context.legs[static_cast<std::size_t>(whichSide)]) {
  const PosedBody& body = context.body;
  const Sole& sole = context.soles[static_cast<std::size_t>(whichSide)];
  fromSkin = sole.fromSkin;
  if (!limb.complete()) return;
  const auto footRotation = body.rotation[static_cast<std::size_t>(limb.end)];
  const Vec3d at = body.position[static_cast<std::size_t>(limb.end)];
  offPelvis = !isAncestor(context.figure->skeleton, context.joint(Role::hips), limb.root);

  const SkinFrames frames(context);
  const auto turnOf = [&](int joint) { return body.rotation[static_cast<std::size_t>(joint)]; };
  if (limb.tip >= 0) {
    toeLocal = conjugate(footRotation) * turnOf(limb.tip);
    const bool fixed = body.rig.parents[static_cast<std::size_t>(limb.tip)] == limb.end && !body.displaced[static_cast<std::size_t>(limb.tip)];
    toeOffset = fixed ? body.rig.offset(limb.tip) : rotate(conjugate(footRotation), body.position[static_cast<std::size_t>(limb.tip)] - at);
  }
  // Where the vertices lie in the joints' frames once the character moves, and of those how the foot stands in the reference pose.
  std::vector<Point> vertices;
  std::vector<Vec3d> relative;
  std::vector<double> toes;
  std::vector<SoleVertex> skin = sole.skin;
  const auto keyOf = [](const SoleVertex& v) { return std::tuple(v.position.x, v.position.y, v.position.z, v.toes, v.other); };
  std::sort(skin.begin(), skin.end(), [&](const SoleVertex& a, const SoleVertex& b) { return keyOf(a) < keyOf(b); });
  skin.erase(std::unique(skin.begin(), skin.end(), [&](const SoleVertex& a, const SoleVertex& b) { return keyOf(a) == keyOf(b); }), skin.end());
  for (const SoleVertex& v : skin) {
    Point p;
    p.toeWeight = limb.tip >= 0 ? static_cast<double>(v.toes) : 0.0;
    p.shankWeight = static_cast<double>(v.other);
    p.foot = frames.local(limb.end, v.position);
    p.shank = frames.local(limb.mid, v.position);
    if (limb.tip >= 0) p.toe = frames.local(limb.tip, v.position);
    const Vec3d onToe = rotate(footRotation, toeOffset) + rotate(footRotation * toeLocal, p.toe);
    relative.push_back(rotate(footRotation, p.foot) * (1 - p.toeWeight) + onToe * p.toeWeight);
    toes.push_back(p.toeWeight);
    vertices.push_back(p);
  }
  const Quatd levelling = fromSkin && !relative.empty() ? rotationBetween(standingNormal(relative), up) : Quatd{};
  for (Vec3d& p : relative) p = rotate(levelling, p);
  level = levelling * footRotation;
  forward = limb.tip >= 0 ? rotate(level, toeOffset) : Vec3d{0, 0, 1};
  forward.y = 0;
  if (limb.tip >= 0 && length(forward) < 0.3 * length(toeOffset)) forward = {0, 0, 1};
  forward = normalised(forward, Vec3d{0, 0, 1});
  side = cross(forward, up);
  const Vec3d toeAt = limb.tip >= 0 ? rotate(level, toeOffset) : Vec3d{};
  toe2_ = {dot(toeAt, forward), toeAt.y};

  double low = relative.empty() ? 0 : 1e300;
  for (const Vec3d& p : relative) low = std::min(low, p.y);
  height = -low;
  const double near = 1e-3 * context.height;
  std::vector<std::size_t> rigid, mixed;
  double shortest = 1e300, longest = -1e300;
  for (std::size_t i = 0; i < relative.size(); ++i) {
    bends = bends || (toes[i] > 0.5 && relative[i].y - low < 2 * near);
    shortest = std::min(shortest, dot(relative[i], forward));
    longest = std::max(longest, dot(relative[i], forward));
    (toes[i] > 0.02 && toes[i] < 0.98 ? mixed : rigid).push_back(i);
  }
  std::vector<std::size_t> chosen = lowerPoints(relative, rigid);
  const std::vector<std::size_t> more = lowerPoints(relative, mixed);
  chosen.insert(chosen.end(), more.begin(), more.end());
  for (std::size_t i = 0; i < relative.size(); ++i)
    if ((vertices[i].shankWeight > 0.005 || (toes[i] > 0.02 && toes[i] < 0.98)) && relative[i].y - low < 0.01 * context.height) chosen.push_back(i);
  if (bends) {
    // Toes that stay flat while the foot rises have a sole of their own.
    std::vector<std::size_t> foot, toe;
    for (const std::size_t i : rigid) (toes[i] > 0.5 ? toe : foot).push_back(i);
    for (const auto* group : {&foot, &toe}) {
      const std::vector<std::size_t> own = lowerPoints(relative, *group);
      chosen.insert(chosen.end(), own.begin(), own.end());
    }
  }
  std::sort(chosen.begin(), chosen.end());
  chosen.erase(std::unique(chosen.begin(), chosen.end()), chosen.end());
  for (const std::size_t i : chosen) {
    Point p = vertices[i];
    const double along = (dot(relative[i], forward) - shortest) / std::max(longest - shortest, 1e-9);
    const bool bears = relative[i].y - low < 0.02 * context.height;
    p.stiff = std::exp(-p.shankWeight / 0.02);
    p.end = !bears ? 0 : along < 0.3 ? -1 : along > 0.5 ? 1 : 0;
    soft = soft || (bears && p.shankWeight > 0.005);
    if (relative[i].y - low < 0.05 * context.height) bearing_.push_back(points_.size());
    points_.push_back(p);
  }

  // For rolling: all points whose place in the foot's plane may bear.
  std::vector<Flat> all;
  for (std::size_t i = 0; i < relative.size(); ++i) {
    const double z = dot(relative[i], forward), y = relative[i].y;
    all.push_back({z, y, z - toe2_.forward, y - toe2_.up, toes[i]});
  }
  // Below the chords of its own group of weights nothing is lost by leaving a point out.
  std::vector<std::size_t> order;
  for (const auto* group : {&rigid, &mixed}) {
    for (int toe = 0; toe < 2; ++toe) {
      order.clear();
      for (const std::size_t i : *group)
        if (group == &mixed || (toes[i] > 0.5) == (toe == 1)) order.push_back(i);
      if (group == &mixed) {
        if (toe == 0)
          for (const std::size_t i : order) flat_.push_back(all[i]);
        continue;
      }
      std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return all[a].z < all[b].z || (all[a].z == all[b].z && all[a].y < all[b].y); });
      std::vector<std::size_t> hull;
      for (const std::size_t i : order) {
        const auto turnsUp = [&](std::size_t a, std::size_t b) {
          return (all[b].z - all[a].z) * (all[i].y - all[a].y) - (all[b].y - all[a].y) * (all[i].z - all[a].z) > 0;
        };
        while (hull.size() >= 2 && !turnsUp(hull[hull.size() - 2], hull.back())) hull.pop_back();
        hull.push_back(i);
      }
      for (const std::size_t i : hull) flat_.push_back(all[i]);
    }
  }
  soleLength_ = std::max(0.0, longest - shortest);
  buildRoll();
  if (bends && rolled(-25 * degree).up < 0.06 * (longest - shortest)) {
    // Toes that begin right below the foot's joint are most of the sole: staying flat they would hold the heel down.
    bends = false;
    buildRoll();
  }

  // The heel or the toes have just risen.
  ballSpin_ = spinsAbout(-8 * degree, near);
  heelSpin_ = spinsAbout(8 * degree, near);
}

Vec3d PlantLeg::spinsAbout(double pitch, double near) const {
  const FootPose raised = turned(GroundPlane{}, 0, pitch, bends && pitch < 0 ? 0 : pitch);
  const double floor = lowest(raised, up).height;
  Vec3d middle, best;
  int count = 0;
  for (std::size_t i = 0; i < points_.size(); ++i)
    if (const Vec3d p = place(i, raised); p.y - floor < near) middle += p, ++count;
  if (count == 0) return best;
  middle = bends && pitch < 0 ? forward * toe2_.forward : middle / static_cast<double>(count);
  double nearest = 1e300;
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const Vec3d p = place(i, raised);
    if (p.y - floor >= near) continue;
    const double d = std::hypot(p.x - middle.x, p.z - middle.z);
    if (d >= nearest) continue;
    nearest = d;
    const Vec3d flat = place(i, turned(GroundPlane{}, 0, 0, 0));
    best = forward * dot(flat, forward) + side * dot(flat, side);
  }
  return best;
}

PlantLeg::Rolled PlantLeg::placeFlat(const Flat& p, double pitch) const {
  const double c = std::cos(pitch), s = std::sin(pitch);
  const Rolled foot{p.z * c - p.y * s, p.z * s + p.y * c};
  if (!bends || pitch >= 0 || p.weight <= 0) return foot;
  const Rolled joint{toe2_.forward * c - toe2_.up * s, toe2_.forward * s + toe2_.up * c};
  const double w = p.weight;
  return {foot.forward * (1 - w) + (joint.forward + p.toeZ) * w, foot.up * (1 - w) + (joint.up + p.toeY) * w};
}

// Half a degree at a time: the point that is lowest at the end of a step keeps its place during the step.
void PlantLeg::buildRoll() {
  const int cells = static_cast<int>(steepest / cell) + 2;
  for (int way = 0; way < 2; ++way) {
    std::vector<Cell>& roll = roll_[static_cast<std::size_t>(way)];
    roll.clear();
    double at = 0;  // the foot's joint
    for (int k = 0; k <= cells && !flat_.empty(); ++k) {
      const double pitch = (way == 0 ? 1 : -1) * cell * k;
      int pivot = 0;
      double low = 1e300;
      for (std::size_t i = 0; i < flat_.size(); ++i)
        if (const double y = placeFlat(flat_[i], pitch).up; y < low) low = y, pivot = static_cast<int>(i);
      const Flat& p = flat_[static_cast<std::size_t>(pivot)];
      const double before = k == 0 ? pitch : (way == 0 ? 1 : -1) * cell * (k - 1);
      const double stands = at + placeFlat(p, before).forward;
      roll.push_back({pivot, stands});
      at = stands - placeFlat(p, pitch).forward;
    }
  }
  for (int way = 0; way < 2; ++way) {
    std::vector<Rolled>& table = table_[static_cast<std::size_t>(way)];
    table.clear();
    for (int k = 0; k * cell <= steepest && !flat_.empty(); ++k) table.push_back(rolled((way == 0 ? 1 : -1) * cell * k));
  }
  const double front = bends ? toe2_.forward : roll_[1].size() > 20 ? roll_[1][20].at : 0;
  footLength_ = std::max(front, 0.25 * std::abs(height));
}

}  // namespace understudy
