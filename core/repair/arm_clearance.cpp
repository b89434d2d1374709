#include "core/repair/arm_clearance.h"

#include <algorithm>
#include <cmath>

#include "core/math/two_bone.h"

namespace understudy {
namespace {

constexpr int size = 6;
using Row6 = std::array<double, size>;

/// Solves M x = b, M symmetric and positive definite, in place (Cholesky).
void solveInPlace(std::array<Row6, size>& m, Row6& b) {
  for (int i = 0; i < size; ++i) {
    for (int j = 0; j <= i; ++j) {
      double s = m[i][j];
      for (int k = 0; k < j; ++k) s -= m[i][k] * m[j][k];
      m[i][j] = i == j ? std::sqrt(std::max(s, 1e-18)) : s / m[j][j];
    }
    double s = b[i];
    for (int k = 0; k < i; ++k) s -= m[i][k] * b[k];
    b[i] = s / m[i][i];
  }
  for (int i = size; i-- > 0;) {
    double s = b[i];
    for (int k = i + 1; k < size; ++k) s -= m[k][i] * b[k];
    b[i] = s / m[i][i];
  }
}

bool upperArm(BodyPart part) { return part == BodyPart::leftUpperArm || part == BodyPart::rightUpperArm; }

Affined about(const Vec3d& before, const Vec3d& after, const Quatd& turn) { return {toMatrix(turn), after - rotate(turn, before)}; }

}  // namespace

ArmClearer::ArmClearer(const RepairContext& context, std::shared_ptr<const BodyModel> model, int side, const ArmClearanceSettings& settings)
    : context_(context), model_(std::move(model)), settings_(settings), side_(side) {
  limb_ = context.arms[static_cast<std::size_t>(side)];
  points_ = &model_->arms[static_cast<std::size_t>(side)];
  scale_ = context.height / 1.7;
  if (!limb_.complete() || points_->points.empty()) return;
  const std::size_t n = static_cast<std::size_t>(context.body.rig.size());
  groupOfJoint_.assign(n, 0);
  const auto group = [&](int joint, signed char g) {
    if (joint < 0) return;
    groupOfJoint_[static_cast<std::size_t>(joint)] = g;
    for (const int j : context.below[static_cast<std::size_t>(joint)]) groupOfJoint_[static_cast<std::size_t>(j)] = g;
  };
  group(limb_.girdle, 1);
  group(limb_.root, 2);
  group(limb_.mid, 3);
  group(limb_.end, 4);

  std::vector<char> needed(n, 0);
  for (const int j : points_->joint) needed[static_cast<std::size_t>(j)] = 1;
  for (const BodySolid& solid : model_->solids) {
    const bool wanted = solid.part == BodyPart::torso ? settings.torso : solid.part == BodyPart::head ? settings.head : settings.thighs;
    if (!wanted) continue;
    solids_.push_back(&solid);
    bool follows = false;
    for (const int j : solid.joints) {
      needed[static_cast<std::size_t>(j)] = 1;
      follows = follows || groupOfJoint_[static_cast<std::size_t>(j)] > 0;
    }
    solidFollows_.push_back(follows);
  }
  if (solids_.empty()) return;
  for (std::size_t j = 0; j < n; ++j)
    if (needed[j]) armJoints_.push_back(static_cast<int>(j));
  turned_.resize(n);
  changed_.resize(n);

  pieceStart_.push_back(0);
  pieceOf_.resize(points_->joint.size());
  for (const ArmPoint& p : points_->points) {
    const std::size_t start = pieces_.size();
    for (std::uint32_t k = p.first; k < p.first + p.count; ++k) {
      const int g = groupOfJoint_[static_cast<std::size_t>(points_->joint[k])];
      std::size_t at = start;
      while (at < pieces_.size() && pieces_[at].group != g) ++at;
      if (at == pieces_.size()) pieces_.push_back({g, 0, {}});
      pieces_[at].weight += static_cast<double>(points_->weight[k]);
      pieceOf_[k] = static_cast<std::uint32_t>(at);
    }
    pieceStart_.push_back(static_cast<std::uint32_t>(pieces_.size()));
  }
  balls_.resize(points_->clusters.size());
  able_ = true;
}

void ArmClearer::load(const Poser& poser) {
  for (const int index : armJoints_) {
    const auto j = static_cast<std::size_t>(index);
    const Quatd q = poser.rotation(index) * conjugate(model_->rotation[j]);
    turned_[j] = {toMatrix(q), poser.position(index) - rotate(q, model_->position[j])};
  }
  for (Piece& piece : pieces_) piece.sum = {};
  for (std::size_t i = 0; i < points_->points.size(); ++i) {
    const ArmPoint& p = points_->points[i];
    for (std::uint32_t k = p.first; k < p.first + p.count; ++k)
      pieces_[pieceOf_[k]].sum += apply(turned_[static_cast<std::size_t>(points_->joint[k])], p.reference) * static_cast<double>(points_->weight[k]);
  }
  girdle_ = limb_.girdle >= 0 ? poser.position(limb_.girdle) : poser.position(limb_.root);
  root_ = poser.position(limb_.root);
  mid_ = poser.position(limb_.mid);
  end_ = poser.position(limb_.end);
  const int top = limb_.girdle >= 0 ? limb_.girdle : limb_.root;
  const int parent = context_.body.rig.parents[static_cast<std::size_t>(top)];
  // The frame of the reference pose, carried by what the arm hangs on.
  frame_ = parent >= 0 ? poser.rotation(parent) * conjugate(model_->rotation[static_cast<std::size_t>(parent)]) : Quatd{};
  swingAxis_ = rotate(frame_, Vec3d{0, 1, 0});
  raiseAxis_ = normalised(cross(normalised(root_ - girdle_, rotate(frame_, Vec3d{side_ == 0 ? 1.0 : -1.0, 0, 0})), swingAxis_), rotate(frame_, Vec3d{0, 0, 1}));
  upper_ = distance(root_, mid_);
  lower_ = distance(mid_, end_);
  span_ = distance(root_, end_);
  first_ = normalised(mid_ - root_, Vec3d{0, -1, 0});
  second_ = normalised(end_ - mid_, first_);
  line_ = normalised(end_ - root_, first_);
  off_ = (mid_ - root_) - line_ * dot(mid_ - root_, line_);
  circle_ = length(off_);
  const Vec3d hinge = normalised(cross(rotate(poser.rotation(limb_.root), limb_.hinge), line_), anyPerpendicular(line_));
  const double t = std::clamp(circle_ / (0.15 * upper_), 0.0, 1.0), own = t * t * (3 - 2 * t);
  bends_ = normalised(hinge * (1 - own) + normalised(off_, hinge) * own, hinge);

  const Carry still{};
  for (std::size_t c = 0; c < balls_.size(); ++c) {
    const ArmPoints::Cluster& cluster = points_->clusters[c];
    Vec3d low{1e300, 1e300, 1e300}, high = -low;
    double share[groups] = {};
    for (int i = cluster.first; i < cluster.first + cluster.count; ++i) {
      const Vec3d p = pointAt(i, still);
      for (int k = 0; k < 3; ++k) low[k] = std::min(low[k], p[k]), high[k] = std::max(high[k], p[k]);
      for (std::uint32_t k = pieceStart_[static_cast<std::size_t>(i)]; k < pieceStart_[static_cast<std::size_t>(i) + 1]; ++k) share[pieces_[k].group] += pieces_[k].weight;
    }
    Ball& ball = balls_[c];
    ball.middle = (low + high) * 0.5;
    ball.radius = 0;
    for (int i = cluster.first; i < cluster.first + cluster.count; ++i) ball.radius = std::max(ball.radius, distance(ball.middle, pointAt(i, still)));
    ball.group = static_cast<int>(std::max_element(share, share + groups) - share);
    // Points that another group carries as well stray from the ball's own.
    if (share[ball.group] < 0.98 * cluster.count) ball.radius *= 1.5;
  }
  posed_.clear();
  for (const BodySolid* solid : solids_) posed_.emplace_back(*solid, turned_);
}

ArmClearer::Carry ArmClearer::carry(const ArmChange& change) const {
  Carry out;
  const std::array<double, size>& x = change.x;
  if (limb_.girdle >= 0 && (x[1] != 0 || x[2] != 0)) {
    out.turn[0] = expOf(raiseAxis_ * x[1] + swingAxis_ * x[2]);
    out.by[1] = about(girdle_, girdle_, out.turn[0]);
  }
  const Quatd& shoulder = out.turn[0];
  const Vec3d root = girdle_ + rotate(shoulder, root_ - girdle_);
  // The wrist's line and distance; full stretch is approached, never snapped to.
  const Vec3d wanted = end_ + rotate(frame_, Vec3d{x[3], x[4], x[5]}) - root;
  const Vec3d newLine = normalised(wanted, rotate(shoulder, line_));
  const double full = upper_ + lower_, shortest = std::abs(upper_ - lower_) + 1e-3 * full;
  const double reach = std::max(shortest, softReach(length(wanted), full, std::max(span_ / full, 0.97)));
  const Quatd carried = rotationBetween(rotate(shoulder, line_), newLine) * shoulder;
  // How far along the line the elbow is, and how far off it.
  const double along = std::clamp((upper_ * upper_ - lower_ * lower_ + reach * reach) / (2 * reach), -upper_, upper_);
  const double off = std::sqrt(std::max(upper_ * upper_ - along * along, 0.0));
  // What bends out further does so on the elbow's own side; an almost straight arm's side is its hinge's.
  const Vec3d side = rotate(carried, off_ + bends_ * std::max(0.0, off - circle_));
  const Vec3d to = normalised(side - newLine * dot(side, newLine), anyPerpendicular(newLine));
  const Vec3d elbow = newLine * along + to * off;
  const Quatd bent = rotationBetween(rotate(carried, first_), normalised(elbow, newLine)) * carried;
  const Quatd swivel = x[0] != 0 ? fromAxisAngle(newLine, x[0]) : Quatd{};
  out.turn[1] = swivel * bent;
  const Vec3d newElbow = root + rotate(swivel, elbow), end = root + newLine * reach;
  const Vec3d fore = normalised(end - newElbow, newLine);
  out.turn[2] = rotationBetween(rotate(out.turn[1], second_), fore) * out.turn[1];
  out.by[2] = about(root_, root, out.turn[1]);
  out.by[3] = about(mid_, newElbow, out.turn[2]);
  out.by[4] = {Mat3d{}, end - end_};
  return out;
}

Vec3d ArmClearer::pointAt(int index, const Carry& carry) const {
  Vec3d sum;
  for (std::uint32_t k = pieceStart_[static_cast<std::size_t>(index)]; k < pieceStart_[static_cast<std::size_t>(index) + 1]; ++k) {
    const Piece& piece = pieces_[k];
    const Affined& by = carry.by[static_cast<std::size_t>(piece.group)];
    sum += by.linear * piece.sum + by.translation * piece.weight;
  }
  return sum;
}

void ArmClearer::poseSolids(const Carry& carry) {
  for (std::size_t s = 0; s < solids_.size(); ++s) {
    if (!solidFollows_[s]) continue;
    for (const int j : solids_[s]->joints) {
      const int g = groupOfJoint_[static_cast<std::size_t>(j)];
      changed_[static_cast<std::size_t>(j)] = g > 0 ? carry.by[static_cast<std::size_t>(g)] * turned_[static_cast<std::size_t>(j)] : turned_[static_cast<std::size_t>(j)];
    }
    posed_[s] = PosedSolid(*solids_[s], changed_);
  }
}

ArmClearer::Watch ArmClearer::watch(const ArmChange& change) {
  Watch out;
  const Carry now = carry(change);
  poseSolids(now);
  const double watched = 0.045 * scale_;
  constexpr std::size_t most = 4;  // of a cluster
  std::vector<std::pair<double, int>> needs;
  for (std::size_t c = 0; c < balls_.size(); ++c) {
    const Ball& ball = balls_[c];
    const ArmPoints::Cluster& cluster = points_->clusters[c];
    const Vec3d middle = apply(now.by[static_cast<std::size_t>(ball.group)], ball.middle);
    for (std::size_t s = 0; s < posed_.size(); ++s) {
      const PosedSolid& solid = posed_[s];
      // Upper arms and shoulders lie next to the neck; a head that leans on them is no matter of the arm's.
      if (solid.solid().part == BodyPart::head && upperArm(points_->points[static_cast<std::size_t>(cluster.first)].part)) continue;
      if (solid.atLeast(middle) - ball.radius > watched) continue;
      const PosedSolid::Nearby near = solid.place(middle);
      const double centre = solid.sample(middle, near).distance;
      if (centre - ball.radius > watched) continue;
      needs.clear();
      for (int i = cluster.first; i < cluster.first + cluster.count; ++i) {
        const Vec3d p = pointAt(i, now);
        if (centre - distance(p, middle) > watched) continue;
        const double need = -solid.sample(p, near).distance - points_->points[static_cast<std::size_t>(i)].allowed;
        if (need > -watched) needs.emplace_back(need, i);
      }
      if (needs.size() > most) {
        std::partial_sort(needs.begin(), needs.begin() + most, needs.end(), [](const auto& a, const auto& b) { return a.first > b.first || (a.first == b.first && a.second < b.second); });
        needs.resize(most);
      }
      for (const auto& [need, i] : needs) out.pairs.emplace_back(static_cast<std::uint16_t>(i), static_cast<std::uint16_t>(s));
    }
  }
  return out;
}

void ArmClearer::rows(const Carry& carry, const Watch& watch, double margin, double reach, bool exact, std::vector<Row>& out) {
  out.clear();
  poseSolids(carry);
  const bool fresh = near_.size() != watch.pairs.size();
  near_.resize(watch.pairs.size());
  for (std::size_t k = 0; k < watch.pairs.size(); ++k) {
    const int i = watch.pairs[k].first;
    const PosedSolid& solid = posed_[watch.pairs[k].second];
    const Vec3d p = pointAt(i, carry);
    // Where the point was in the reference pose a step ago is near to where it is now.
    if (fresh) near_[k] = solid.place(p);
    const DistanceSample d = exact ? solid.sample(p, near_[k]) : solid.guide(p, near_[k]);
    const double allowed = points_->points[static_cast<std::size_t>(i)].allowed;
    const double need = allowed > 0 ? -allowed - d.distance : margin - d.distance;
    // Where not everything can be had, the torso comes first.
    if (need > -reach) out.push_back({need, p, d.gradient, i, solid.solid().part == BodyPart::torso ? 1.0 : 0.3});
  }
}

double ArmClearer::depth(const ArmChange& change, const Watch& watch) {
  near_.clear();
  rows(carry(change), watch, 0, 1e9, true, rows_);
  double worst = -1;
  for (const Row& row : rows_) worst = std::max(worst, row.need);
  return worst;
}

std::array<double, 6> ArmClearer::weights() const {
  // In metres: a swivel moves the elbow along its circle; the hand is the last thing to move.
  const Vec3d line = normalised(end_ - root_, Vec3d{0, -1, 0}), elbow = mid_ - root_;
  const double circle = std::max(length(elbow - line * dot(elbow, line)), 0.12 * limb_.upper);
  const double girdle = std::max(distance(root_, girdle_), 0.05 * scale_);
  return {0.5 * circle, 1.2 * girdle, 1.2 * girdle, 1, 1, 1};
}

double ArmClearer::cost(const ArmChange& change, const ArmChange& anchor) const {
  const std::array<double, 6> w = weights();
  double sum = 0;
  for (int k = 0; k < size; ++k) sum += (change.x[static_cast<std::size_t>(k)] - anchor.x[static_cast<std::size_t>(k)]) * w[static_cast<std::size_t>(k)] *
                                        ((change.x[static_cast<std::size_t>(k)] - anchor.x[static_cast<std::size_t>(k)]) * w[static_cast<std::size_t>(k)]);
  return std::sqrt(sum);
}

void ArmClearer::clamp(ArmChange& change) const {
  change.x[0] = std::clamp(change.x[0], -settings_.swivel, settings_.swivel);
  for (int k = 1; k < 3; ++k) change.x[static_cast<std::size_t>(k)] = std::clamp(change.x[static_cast<std::size_t>(k)], -settings_.clavicle, settings_.clavicle);
  const double most = limb_.full();
  double shift = 0;
  for (int k = 3; k < 6; ++k) shift += change.x[static_cast<std::size_t>(k)] * change.x[static_cast<std::size_t>(k)];
  if (shift > most * most)
    for (int k = 3; k < 6; ++k) change.x[static_cast<std::size_t>(k)] *= most / std::sqrt(shift);
}

ArmChange ArmClearer::solve(const ArmChange& start, const ArmChange& anchor, const Watch& watch, double margin, int steps) {
  ArmChange x = start;
  clamp(x);
  const std::array<double, 6> w = weights();
  // A parameter that may not be used weighs so much that it stays.
  const bool girdle = limb_.girdle >= 0 && !settings_.handStays, wrist = !settings_.handStays;
  const std::array<bool, 6> used{true, girdle, girdle, wrist, wrist, wrist};
  // Of the needs against the anchor; near no change at all there is a balance to be found, elsewhere needs have to be met.
  const double firm = anchor.none() ? 60 : 1000;
  const double reach = 0.04 * scale_;
  std::vector<Row>&found = rows_, &next = nextRows_;
  const auto merit = [&](const ArmChange& at, const std::vector<Row>& needs) {
    const double c = cost(at, anchor);
    double sum = c * c;
    for (const Row& row : needs)
      if (row.need > 0) sum += firm * row.weight * row.need * row.need;
    return sum;
  };
  Carry now = carry(x);
  near_.clear();
  rows(now, watch, margin, reach, false, found);
  double value = merit(x, found), damping = 0;
  bool fresh = true;
  std::vector<Row6>& slope = slopes_;
  for (int step = 0; step < steps; ++step) {
    if (fresh) {
      double worst = -1;
      for (const Row& row : found) worst = std::max(worst, row.need);
      if (worst <= 0 && cost(x, anchor) < 1e-5 * scale_) break;
      slope.assign(found.size(), {});
      for (std::size_t k = 0; k < size; ++k) {
        if (!used[k]) continue;
        const double e = 1e-4 / std::max(w[k], 1e-3) * scale_;
        ArmChange other = x;
        other.x[k] += e;
        const Carry there = carry(other);
        for (std::size_t i = 0; i < found.size(); ++i) slope[i][k] = dot(found[i].gradient, pointAt(found[i].index, there) - found[i].point) / e;
      }
    }
    // Which needs act is settled by a few rounds.
    active_.assign(found.size(), 0);
    for (std::size_t i = 0; i < found.size(); ++i) active_[i] = found[i].need > 0;
    Row6 change{};
    std::array<bool, 6> free = used;
    for (int round = 0; round < 4; ++round) {
      std::array<Row6, size> m{};
      Row6 b{};
      for (std::size_t k = 0; k < size; ++k) {
        const double stiff = free[k] ? w[k] * w[k] : 1e6;
        m[k][k] = stiff * (1 + damping) + 1e-9;
        b[k] = free[k] ? -stiff * (x.x[k] - anchor.x[k]) : 0;
      }
      for (std::size_t i = 0; i < found.size(); ++i) {
        if (!active_[i]) continue;
        for (std::size_t r = 0; r < size; ++r) {
          const double pull = firm * found[i].weight * slope[i][r];
          b[r] += pull * found[i].need;
          for (std::size_t c = 0; c <= r; ++c) m[r][c] += pull * slope[i][c];
        }
      }
      solveInPlace(m, b);
      change = b;
      bool same = true;
      for (std::size_t i = 0; i < found.size(); ++i) {
        double left = found[i].need;
        for (std::size_t k = 0; k < size; ++k) left -= slope[i][k] * change[k];
        const char act = left > 0;
        same = same && (act == active_[i] || active_[i]);
        active_[i] = active_[i] || act;
      }
      // What is at its limit stays there.
      for (std::size_t k = 0; k < 3; ++k) {
        const double limit = k == 0 ? settings_.swivel : settings_.clavicle;
        if (free[k] && std::abs(x.x[k]) >= limit && change[k] * x.x[k] > 0) free[k] = same = false;
      }
      if (same) break;
    }
    // No further than the slopes can be trusted.
    double longest = 0;
    for (std::size_t k = 0; k < size; ++k) longest += change[k] * w[k] * change[k] * w[k];
    longest = std::sqrt(longest);
    if (longest < 2e-5 * scale_) break;
    const double most = 0.1 * scale_, factor = longest > most ? most / longest : 1;
    ArmChange other = x;
    for (std::size_t k = 0; k < size; ++k) other.x[k] += change[k] * factor;
    clamp(other);
    const Carry there = carry(other);
    rows(there, watch, margin, reach, false, next);
    const double reached = merit(other, next);
    fresh = reached < value;
    if (fresh) {
      x = other;
      now = there;
      value = reached;
      std::swap(found, next);
      damping *= 0.2;
      if (damping < 0.05) damping = 0;
    } else {
      damping = damping > 0 ? damping * 8 : 4;
    }
  }
  left_ = -1;
  for (const Row& row : found) left_ = std::max(left_, row.need);
  return x;
}

ArmChange ArmClearer::search(const ArmChange& start, double margin, int steps, Watch& watched) {
  const ArmChange none;
  const auto from = [&](ArmChange x, Watch& seen) {
    seen = watch(x);
    for (int left = steps; left > 0; left -= 8) {
      const ArmChange before = x;
      x = solve(x, none, seen, margin, std::min(left, 8));
      if (cost(x, before) < 0.015 * scale_) break;
      seen = watch(x);
    }
    // What holding on to no change leaves undone.
    return seen.none() ? x : solve(x, x, seen, margin, 3);
  };
  ArmChange best = from(start, watched);
  if (!start.none() || watched.none() || !unfinished()) return best;
  // Stuck: with the elbow lifted first.
  double deep = depth(best);
  for (const double swivel : {1.4, -1.4}) {
    if (deep < 0.004 * scale_) break;
    ArmChange other;
    other.x[0] = swivel;
    Watch seen;
    other = from(other, seen);
    const double d = depth(other);
    if (d < deep - 0.004 * scale_) best = other, deep = d, watched = seen;
  }
  return best;
}

void ArmClearer::write(Poser& poser, const ArmChange& change) const {
  if (change.none()) return;
  const Carry c = carry(change);
  const Quatd root = c.turn[1] * poser.rotation(limb_.root), mid = c.turn[2] * poser.rotation(limb_.mid), end = poser.rotation(limb_.end);
  if (limb_.girdle >= 0 && (change.x[1] != 0 || change.x[2] != 0)) poser.turn(limb_.girdle, c.turn[0]);
  poser.setRotation(limb_.root, root);
  poser.setRotation(limb_.mid, mid);
  if (limb_.detached) poser.moveBy(limb_.end, apply(c.by[4], end_) - poser.position(limb_.end));
  poser.setRotation(limb_.end, end);
}

}  // namespace understudy
