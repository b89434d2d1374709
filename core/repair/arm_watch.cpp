// What of an arm is near the body, and how deep it lies.
#include <algorithm>
#include <cmath>
#include <cstring>

#include "core/base/memo.h"
#include "core/repair/arm_clearance.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) over which one point of a hand takes over from another as the nearest to what is touched.
constexpr double takesOver = 0.012;
/// How firmly the floor counts where not everything can be had; the torso does with 1.
constexpr double floorWeight = 0.1;

/// How deep arms have been found to lie: the pose a stage leaves is often the one that is looked at in the end.
class DeepestMemo : public Memo<double> {};

/// Metres from a place at which a solid's grid says `there` to the nearest one at which it says less than `than`, at least. Outside the grid's box
/// distances are put together of two and change by √2 of the way.
double wayTo(const PosedSolid& solid, double there, double than) {
  const double edge = std::max(than, gridPad * solid.solid().grid.cell());
  return std::max(0.0, there - edge) / 1.42 + std::max(0.0, std::min(there, edge) - than);
}

}  // namespace

void ArmClearer::gather(int index) const {
  const auto i = static_cast<std::size_t>(index);
  gathered_[i] = load_;
  const Point& p = points_[i];
  for (std::uint32_t k = p.firstPiece; k < p.firstPiece + p.pieces; ++k) pieces_[k].sum = {};
  for (std::uint32_t k = p.firstInfluence; k < p.firstInfluence + p.influences; ++k) {
    const Influence& in = influences_[k];
    pieces_[in.piece].sum += understudy::apply(turned_[static_cast<std::size_t>(in.joint)], p.reference) * in.weight;
  }
}

Vec3d ArmClearer::pointAt(int index, const Carry& carry) const {
  const auto i = static_cast<std::size_t>(index);
  if (gathered_[i] != load_) gather(index);
  const Point& p = points_[i];
  Vec3d sum;
  for (std::uint32_t k = p.firstPiece; k < p.firstPiece + p.pieces; ++k) {
    const Piece& piece = pieces_[k];
    const Affined& by = carry.by[static_cast<std::size_t>(piece.group)];
    sum += by.linear * piece.sum + by.translation * piece.weight;
  }
  return sum;
}

Vec3d ArmClearer::loadedAt(int index) const {
  const auto i = static_cast<std::size_t>(index);
  if (gathered_[i] != load_) gather(index);
  const Point& p = points_[i];
  Vec3d sum;
  for (std::uint32_t k = p.firstPiece; k < p.firstPiece + p.pieces; ++k) sum += pieces_[k].sum;
  return sum;
}

void ArmClearer::poseSolids(const Carry& carry) {
  // Most changes leave the collarbone as it is, and with it what follows the arm.
  bool same = posedBy_.has_value() && posedLoad_ == load_;
  for (std::size_t g = 1; same && g < groups; ++g) same = !groupMovesSolids_[g] || std::memcmp(&(*posedBy_)[g], &carry.by[g], sizeof(Affined)) == 0;
  if (same) return;
  posedBy_ = carry.by;
  posedLoad_ = load_;
  for (std::size_t s = 0; s < solids_.size(); ++s) {
    if (!solidFollows_[s]) continue;
    for (const int j : solids_[s]->joints) {
      const int g = groupOfJoint_[static_cast<std::size_t>(j)];
      changed_[static_cast<std::size_t>(j)] = g > 0 ? carry.by[static_cast<std::size_t>(g)] * turned_[static_cast<std::size_t>(j)] : turned_[static_cast<std::size_t>(j)];
    }
    posed_[s].pose(changed_);
  }
}

bool ArmClearer::asked(int point, BodyPart solid) const {
  if (points_[static_cast<std::size_t>(point)].held && !holding_) return false;
  // Upper arms and shoulders lie next to the neck; a head that leans on them is no matter of the arm's.
  return solid != BodyPart::head || !points_[static_cast<std::size_t>(point)].upper;
}

bool ArmClearer::asksFloor(int point) const { return settings_.floor && !points_[static_cast<std::size_t>(point)].held; }

template <class Stop>
void ArmClearer::watch(const Carry& now, Watch& out, Stop stop) {
  const double watched = 0.045 * scale_;
  std::vector<std::pair<double, int>> needs;
  const auto keepDeepest = [](std::vector<std::pair<double, int>>& of) {
    constexpr std::size_t most = 4;  // of a cluster
    if (of.size() <= most) return;
    std::partial_sort(of.begin(), of.begin() + most, of.end(), [](const auto& a, const auto& b) { return a.first > b.first || (a.first == b.first && a.second < b.second); });
    of.resize(most);
  };
  for (const Cluster& cluster : clusters_) {
    const Vec3d middle = pointAt(cluster.hub, now);
    for (std::size_t s = 0; s < posed_.size(); ++s) {
      const PosedSolid& solid = posed_[s];
      if (!asked(cluster.first, solid.solid().part)) continue;
      if (solid.atLeast(middle) - cluster.radius > watched || solid.atLeastOfBox(middle) - cluster.radius > watched) continue;
      const PosedSolid::Nearby near = solid.place(middle);
      const double centre = solid.quickDistance(middle, near);
      if (centre - cluster.radius > watched) continue;
      const double clear = wayTo(solid, centre, watched);
      needs.clear();
      for (int i = cluster.first; i < cluster.first + cluster.count; ++i) {
        const Point& point = points_[static_cast<std::size_t>(i)];
        if (point.fromHub < clear) continue;
        const double need = -solid.quickDistance(pointAt(i, now), near) - point.allowed;
        if (need > -watched) needs.emplace_back(need, i);
      }
      keepDeepest(needs);
      for (const auto& [need, i] : needs) out.pairs.emplace_back(static_cast<std::uint16_t>(i), static_cast<std::uint16_t>(s));
      if (stop()) return;
    }
    if (!asksFloor(cluster.first) || middle.y - cluster.radius - floor_ > watched) continue;
    needs.clear();
    for (int i = cluster.first; i < cluster.first + cluster.count; ++i)
      if (const double need = floor_ - pointAt(i, now).y; need > -watched) needs.emplace_back(need, i);
    keepDeepest(needs);
    for (const auto& [need, i] : needs) out.pairs.emplace_back(static_cast<std::uint16_t>(i), floorIndex);
    if (stop()) return;
  }
}

ArmClearer::Watch ArmClearer::watch(const ArmChange& change) {
  Watch out;
  const Carry now = carry(change);
  poseSolids(now);
  watch(now, out, [] { return false; });
  return out;
}

void ArmClearer::rows(const ArmChange& change, const Carry& carry, const Watch& watch, double margin, double reach, bool fresh, std::vector<Row>& out) {
  out.clear();
  poseSolids(carry);
  near_.resize(watch.pairs.size());
  const double stale = 0.004 * scale_;
  const BodyPart ownThigh = side_ == 0 ? BodyPart::leftThigh : BodyPart::rightThigh;
  Row nearest{1e300, {}, {}, -1, 0};  // of a hand that touches
  for (std::size_t k = 0; k < watch.pairs.size(); ++k) {
    const int i = watch.pairs[k].first;
    if (watch.pairs[k].second == floorIndex) {
      const Vec3d p = pointAt(i, carry);
      if (const double need = margin + floor_ - p.y; need > -reach) out.push_back({need, p, {0, 1, 0}, i, floorWeight});
      continue;
    }
    const PosedSolid& solid = posed_[watch.pairs[k].second];
    const Vec3d p = pointAt(i, carry);
    // The way back to the reference pose is taken anew only where the point, or the skin it is near, has moved on.
    Near& place = near_[k];
    if (fresh || dot(p - place.at, p - place.at) > stale * stale ||
        (solidFollows_[watch.pairs[k].second] && std::abs(change.x[1] - place.first) + std::abs(change.x[2] - place.second) > 0.01))
      place = {solid.place(p), p, change.x[1], change.x[2]};
    DistanceSample d = solid.quickGuide(p, place.place);
    const double allowed = points_[static_cast<std::size_t>(i)].allowed;
    const BodyPart part = solid.solid().part;
    const bool near = hold_ > 0 && part == touched_, touches = near && points_[static_cast<std::size_t>(i)].hand;
    if (touches && d.distance < nearest.need) nearest = {d.distance, p, -d.gradient, i, 4 * hold_};
    // What lies beside the place that touches only just comes out.
    double wanted = allowed > 0 ? -allowed : margin;
    if (touches) wanted += (touchAt_ - 0.001 * scale_ - wanted) * hold_;
    else if (near && wanted > 0) wanted += (0.0 - wanted) * hold_;
    if (part != BodyPart::torso && part != BodyPart::head && d.distance < wanted && !near) d = solid.wayOut(p, place.place, wanted, 3, part == ownThigh ? Vec3d{1.5 * outwards(), 0, 0} : Vec3d{});
    const double need = wanted - d.distance;
    // Where not everything can be had, the torso comes first, and what is touched.
    const double weight = part == BodyPart::torso ? 1.0 : part == BodyPart::head ? (headLast_ ? 0.0006 : 0.03) : 0.1;
    if (need > -reach) out.push_back({need, p, d.gradient, i, touches ? std::max(weight, hold_) : weight});
  }
  if (nearest.index < 0) return;
  nearest.need -= touchAt_;
  if (nearest.need > -reach) out.push_back(nearest);
}

template <class At, class Worst, class Visit>
void ArmClearer::walk(At at, double unsure, Worst worst, Visit visit) const {
  for (const Cluster& cluster : clusters_) {
    const Vec3d middle = at(cluster.hub);
    for (const PosedSolid& solid : posed_) {
      if (!asked(cluster.first, solid.solid().part) || solid.atLeast(middle) > cluster.radius || solid.atLeastOfBox(middle) - cluster.radius > unsure) continue;
      const PosedSolid::Nearby near = solid.place(middle);
      const double centre = solid.quickDistance(middle, near);
      if (centre - cluster.radius > unsure - std::max(worst(), 0.0)) continue;
      const double clear = wayTo(solid, centre, unsure - worst());
      for (int i = cluster.first; i < cluster.first + cluster.count; ++i) {
        if (points_[static_cast<std::size_t>(i)].fromHub < clear) continue;
        const double allowed = points_[static_cast<std::size_t>(i)].allowed;
        const Vec3d p = at(i);
        if (-solid.quickDistance(p, near) - allowed < worst() - unsure) continue;
        if (visit(i, solid.solid().part, -solid.distance(p, near) - allowed)) return;
      }
    }
    if (!asksFloor(cluster.first) || middle.y - cluster.radius - floor_ > -std::max(worst(), 0.0)) continue;
    for (int i = cluster.first; i < cluster.first + cluster.count; ++i)
      if (const double depth = floor_ - at(i).y; depth > worst() - unsure && visit(i, BodyPart::none, depth)) return;
  }
}

double ArmClearer::deepest() {
  poseSolids({});
  double worst = 0;
  walk([&](int i) { return loadedAt(i); }, 0.01 * scale_, [&] { return worst; }, [&](int, BodyPart, double depth) {
    worst = std::max(worst, depth);
    return false;
  });
  return worst;
}

Digest ArmClearer::ownDigest() const {
  Digest out = kind_;
  out.add(std::uint64_t{holding_}).add(own_.floor);
  static_assert(sizeof(Affined) == 12 * sizeof(double));
  return out.addWords(own_.turned.data(), 12 * own_.turned.size());
}

Digest ArmClearer::nameOf(const Poser& poser) {
  read(poser, own_);
  return ownDigest();
}

double ArmClearer::deepestOf(const Poser& poser) {
  const std::shared_ptr<const DeepestMemo> memo = context_.parts->get<DeepestMemo>();
  const Digest of = nameOf(poser);
  if (const std::optional<double> known = memo->find(of)) return *known;
  load(own_);
  const double deep = deepest();
  memo->keep(of, deep);
  return deep;
}

ArmClearer::DeepPlace ArmClearer::deepestPlace() {
  poseSolids({});
  DeepPlace out;
  double worst = 0;
  walk([&](int i) { return loadedAt(i); }, 0.01 * scale_, [&] { return worst; }, [&](int point, BodyPart in, double depth) {
    if (depth <= worst) return false;
    worst = depth;
    out = {points_[static_cast<std::size_t>(point)].part, in, in == BodyPart::none};
    return false;
  });
  return out;
}

bool ArmClearer::mayBeDeeper(const ArmChange& change, double than) {
  const Carry now = carry(change);
  poseSolids(now);
  // By another way back than a watch takes.
  const double unsure = 0.001 * scale_;
  bool deep = false;
  walk([&](int i) { return pointAt(i, now); }, 0.02 * scale_, [&] { return than; }, [&](int, BodyPart, double depth) { return deep = depth > than - unsure; });
  return deep;
}

double ArmClearer::depth(const ArmChange& change, const Watch& watch, double least) { return depth(change, watch, least, false); }

double ArmClearer::depth(const ArmChange& change, const Watch& watch, double least, bool any) {
  const Carry now = carry(change);
  poseSolids(now);
  Deepening deepening{least};
  deepen(now, watch, deepening, any ? least : 1e300);
  return deepening.worst;
}

double ArmClearer::depthUpTo(const ArmChange& change, double least, double most) {
  const Carry now = carry(change);
  poseSolids(now);
  Deepening deepening{least};
  Watch watched;
  watch(now, watched, [&] {
    deepen(now, watched, deepening, most);
    return deepening.worst > most;
  });
  return std::min(deepening.worst, most);
}

void ArmClearer::deepen(const Carry& now, const Watch& watch, Deepening& d, double enough) const {
  // Most points lie well outside: the way back of a neighbour tells.
  const double unsure = 0.01 * scale_, beside = 0.04 * scale_;
  for (; d.next < watch.pairs.size() && d.worst <= enough; ++d.next) {
    const auto& [i, s] = watch.pairs[d.next];
    if (headLast_ && s != floorIndex && posed_[s].solid().part == BodyPart::head) continue;
    const Vec3d p = pointAt(i, now);
    if (s == floorIndex) {
      d.worst = std::max(d.worst, floor_ - p.y);
      continue;
    }
    const double allowed = points_[i].allowed;
    if (d.of == s && dot(p - d.placed, p - d.placed) < beside * beside && -posed_[s].quickDistance(p, d.near) - allowed < d.worst - unsure) continue;
    d.near = posed_[s].place(p);
    d.placed = p;
    d.of = s;
    d.worst = std::max(d.worst, -posed_[s].distance(p, d.near) - allowed);
  }
}

ArmClearer::Touch ArmClearer::touch() const {
  Touch out;
  std::vector<std::pair<double, Vec3d>> found;
  double least = 1e300;
  for (const PosedSolid& solid : posed_)
    for (const Cluster& cluster : clusters_) {
      if (!points_[static_cast<std::size_t>(cluster.hub)].hand) continue;
      const PosedSolid::Nearby near = solid.place(loadedAt(cluster.hub));
      for (int i = cluster.first; i < cluster.first + cluster.count; ++i) {
        const Vec3d p = loadedAt(i);
        found.emplace_back(solid.quickGuide(p, near).distance, p);
        if (found.back().first >= least) continue;
        least = found.back().first;
        out.part = solid.solid().part;
      }
    }
  if (found.empty()) return out;
  out.distance = std::max(least, 0.0);
  // Points that come to be nearest take over little by little.
  Vec3d sum;
  double total = 0;
  for (const auto& [d, p] : found) {
    const double w = std::exp((least - d) / (takesOver * scale_));
    sum += p * w;
    total += w;
  }
  out.place = sum / total;
  return out;
}

void ArmClearer::setTouch(double hold, const Touch& touch) {
  if (touch.part == BodyPart::none) return;
  hold_ = hold;
  touched_ = touch.part;
  touchAt_ = touch.distance;
  pivot_ += (touch.place - pivot_) * hold;
}

}  // namespace understudy
