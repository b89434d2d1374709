#include "core/repair/head_turn.h"

#include <algorithm>
#include <cmath>

#include "core/math/smooth_step.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) from the head within which points count when it turns, and by which they come to lie outside.
constexpr double watched = 0.06, outside = 0.0005;
/// Metres² a radian²: how far a need may stay unmet where others ask for the opposite.
constexpr double soft = 0.0005;
constexpr int steps = 5, sweeps = 30;
/// Metres (at a height of 1.7) from other parts of the body up to which a hand lies on them, by and by less, and those from the head.
constexpr double besides = 0.008, onTo = 0.01, offFrom = 0.025;
/// Metres (at a height of 1.7) by which the way back of a neighbour may be wrong.
constexpr double besideOff = 0.01;
/// How much of a hand's going along the forearm has, about.
constexpr double forearmShare = 0.5;

bool forearm(BodyPart part) { return part == BodyPart::leftForearm || part == BodyPart::rightForearm; }
bool hand(BodyPart part) { return part == BodyPart::leftHand || part == BodyPart::rightHand; }

}  // namespace

HeadTurner::HeadTurner(const RepairContext& context, std::shared_ptr<const BodyModel> model, std::array<bool, 2> arms)
    : context_(context), model_(std::move(model)), base_(context) {
  head_ = model_->solid(BodyPart::head);
  const Skeleton& skeleton = context.figure->skeleton;
  for (const Role role : {Role::neck, Role::head})
    for (const int joint : context.roles().at(role).joints) {
      const bool carriesArm = std::any_of(context.arms.begin(), context.arms.end(), [&](const LimbRig& arm) {
        return arm.root >= 0 && (isAncestor(skeleton, joint, arm.root) || (arm.girdle >= 0 && isAncestor(skeleton, joint, arm.girdle)));
      });
      if (!carriesArm) chain_.push_back(joint);
    }
  if (!head_ || chain_.empty()) return;
  for (int side = 0; side < 2; ++side) {
    const auto s = static_cast<std::size_t>(side);
    const LimbRig& limb = context.arms[s];
    if (!arms[s] || !limb.complete()) continue;
    const ArmPoints& skin = model_->arms[s];
    for (const ArmPoints::Cluster& cluster : skin.clusters) {
      const std::size_t before = points_.size();
      for (int i = cluster.first; i < cluster.first + cluster.count; ++i) {
        const ArmPoint& p = skin.points[static_cast<std::size_t>(i)];
        if (!forearm(p.part) && !hand(p.part)) continue;
        points_.push_back({side, hand(p.part), p.allowed, p.reference, influenceJoint_.size(), p.count});
        for (std::uint32_t k = p.first; k < p.first + p.count; ++k) {
          influenceJoint_.push_back(skin.joint[k]);
          influenceWeight_.push_back(static_cast<double>(skin.weight[k]));
        }
        reach_[s] = std::max(reach_[s], 1.1 * distance(p.reference, model_->position[static_cast<std::size_t>(limb.mid)]) + context.scaled(0.02));
      }
      if (points_.size() > before) addGroup(before);
    }
  }
  if (points_.empty()) return;
  armJoints_ = influenceJoint_;
  std::sort(armJoints_.begin(), armJoints_.end());
  armJoints_.erase(std::unique(armJoints_.begin(), armJoints_.end()), armJoints_.end());
  turned_.resize(static_cast<std::size_t>(context.body.rig.size()));
  able_ = true;
}

void HeadTurner::addGroup(std::size_t first) {
  Group group{first, points_.size() - first, {}, 0, 0, {}};
  Vec3d low{1e300, 1e300, 1e300}, high = -low;
  for (std::size_t i = first; i < points_.size(); ++i)
    for (int k = 0; k < 3; ++k) low[k] = std::min(low[k], points_[i].reference[k]), high[k] = std::max(high[k], points_[i].reference[k]);
  group.middle = (low + high) * 0.5;
  for (std::size_t i = first; i < points_.size(); ++i) {
    const Point& p = points_[i];
    group.radius = std::max(group.radius, distance(p.reference, group.middle));
    double sum = 0;
    for (std::size_t k = p.first; k < p.first + p.count; ++k) {
      sum += influenceWeight_[k];
      group.joints.push_back(influenceJoint_[k]);
    }
    group.unshared = std::max(group.unshared, std::abs(sum - 1));
  }
  std::sort(group.joints.begin(), group.joints.end());
  group.joints.erase(std::unique(group.joints.begin(), group.joints.end()), group.joints.end());
  groups_.push_back(std::move(group));
}

bool HeadTurner::clearOf(const PosedSolid& head, const Group& group, double near) {
  middles_.clear();
  double farthest = 0;
  for (const int j : group.joints) {
    middles_.push_back(apply(turned_[static_cast<std::size_t>(j)], group.middle));
    farthest = std::max(farthest, length(middles_.back()));
  }
  return head.clearOfHull(middles_, group.radius + group.unshared * (farthest + group.radius), near);
}

void HeadTurner::load(const TiledMotion& motion, int frame, const std::array<double, 2>& follows) {
  base_.load(motion, frame);
  follows_ = follows;
  free_ = chain_;
  for (const RepairContext::Locked& lock : context_.locks)
    if (lock.span.holds(frame)) std::erase_if(free_, [&](int joint) { return std::binary_search(lock.joints.begin(), lock.joints.end(), joint); });
  const int parent = context_.body.rig.parents[static_cast<std::size_t>(chain_.front())];
  frame_ = parent >= 0 ? base_.rotation(parent) * conjugate(model_->rotation[static_cast<std::size_t>(parent)]) : Quatd{};
}

double HeadTurner::onHead(int side) {
  for (const int j : armJoints_) turned_[static_cast<std::size_t>(j)] = base_.turned(j);
  // Farther away they come to the same.
  const double far = context_.scaled(offFrom), beside = context_.scaled(besides);
  double fromHead = far;
  const auto look = [&](const BodySolid& solid, double& least) {
    for (const int j : solid.joints) turned_[static_cast<std::size_t>(j)] = base_.turned(j);
    const PosedSolid posed(solid, turned_);
    for (const Point& point : points_) {
      if (point.side != side || !point.hand) continue;
      const Vec3d p = placeOf(point);
      if (posed.atLeast(p) < least) least = std::min(least, posed.distance(p, posed.place(p)));
    }
  };
  look(*head_, fromHead);
  if (fromHead >= far) return 0;
  double fromOthers = std::max(fromHead, 0.0) + beside;
  for (const BodySolid& solid : model_->solids)
    if (&solid != head_) look(solid, fromOthers);
  // Of two parts it lies on the nearer one: distances to bent bodies are off by millimetres.
  return smoothStep((fromOthers - std::max(fromHead, 0.0)) / beside) * smoothStep((far - fromHead) / context_.scaled(offFrom - onTo));
}

Vec3d HeadTurner::placeOf(const Point& point) const {
  Vec3d p;
  for (std::size_t k = point.first; k < point.first + point.count; ++k) p += apply(turned_[static_cast<std::size_t>(influenceJoint_[k])], point.reference) * influenceWeight_[k];
  return p;
}

void HeadTurner::write(Poser& poser, const Vec3d& turn) const {
  if (turn == Vec3d{} || free_.empty()) return;
  const int last = chain_.back();
  const Quatd before = poser.rotation(last);
  const Vec3d place = poser.position(last);
  const Quatd part = expOf(rotate(frame_, turn) / static_cast<double>(free_.size()));
  for (const int joint : free_) poser.turn(joint, part);
  const Quatd way = poser.rotation(last) * conjugate(before);
  for (std::size_t side = 0; side < 2; ++side) {
    const LimbRig& limb = context_.arms[side];
    if (follows_[side] <= 0 || !limb.complete()) continue;
    const Vec3d from = poser.position(limb.end), along = poser.position(last) + rotate(way, from - place) - from;
    LimbGoal goal;
    goal.target = from + along * follows_[side];
    goal.endRotation = expOf(logOf(way) * follows_[side]) * poser.rotation(limb.end);
    poser.solveLimb(limb, goal);
  }
}

double HeadTurner::measure(const Vec3d& turn, double near, std::vector<Row>* rows) {
  if (rows) rows->clear();
  const bool turns = turn != Vec3d{} && !free_.empty();
  if (turns) write(now_.emplace(base_), turn);
  const Poser& now = turns ? *now_ : base_;
  for (const int j : head_->joints) turned_[static_cast<std::size_t>(j)] = now.turned(j);
  const PosedSolid head(*head_, turned_);
  std::array<bool, 2> close{};
  for (std::size_t side = 0; side < 2; ++side) {
    const int elbow = context_.arms[side].mid;
    close[side] = reach_[side] > 0 && head.atLeast(now.position(elbow)) < reach_[side] + near;
  }
  if (!close[0] && !close[1]) return 0;
  for (const int j : armJoints_) turned_[static_cast<std::size_t>(j)] = now.turned(j);
  Vec3d middle;
  for (const int joint : free_) middle += now.position(joint) / static_cast<double>(free_.size());
  double worst = 0;
  const double unsure = context_.scaled(besideOff);
  for (const Group& group : groups_) {
    const Point& any = points_[group.first];
    const auto side = static_cast<std::size_t>(any.side);
    const double along = follows_[side] * (any.hand ? 1 : forearmShare);
    if (!close[side] || along > 0.9 || clearOf(head, group, near)) continue;
    // Most points lie well outside: the way back of a neighbour tells.
    const PosedSolid::Nearby beside = head.place(placeOf(points_[group.first + group.count / 2]));
    for (std::size_t i = group.first; i < group.first + group.count; ++i) {
      const Point& point = points_[i];
      const Vec3d p = placeOf(point);
      if (head.atLeast(p) > near || head.atLeastOfBox(p) > near || -head.quickDistance(p, beside) - point.allowed < (rows ? -near : worst) - unsure) continue;
      const PosedSolid::Nearby placed = head.place(p);
      if (!rows) {
        worst = std::max(worst, (-head.distance(p, placed) - point.allowed) * (1 - along));
        continue;
      }
      const DistanceSample d = head.sample(p, placed);
      const double depth = -d.distance - point.allowed;
      worst = std::max(worst, depth * (1 - along));
      if (depth > -near) rows->push_back({depth, rotate(conjugate(frame_), cross(d.gradient, p - middle)) * (1 - along)});
    }
  }
  return worst;
}

double HeadTurner::depth(const Vec3d& turn) { return measure(turn, 0, nullptr); }

Vec3d HeadTurner::cleared(const Vec3d& start, double limit) {
  if (free_.empty()) return start;
  const double size = context_.height / 1.7, give = soft * size * size;
  Vec3d best = start, turn = start;
  double least = 1e300;
  std::vector<double> force;
  for (int step = 0; step <= steps; ++step) {
    const double deep = measure(turn, watched * size, &rows_);
    if (deep < least) least = deep, best = turn;
    if (deep <= 0 || step == steps) break;
    // Hildreth's method: row by row onto what each asks for, with what each has done so far taken back first.
    force.assign(rows_.size(), 0);
    Vec3d x = start;
    for (int sweep = 0; sweep < sweeps; ++sweep)
      for (std::size_t i = 0; i < rows_.size(); ++i) {
        const Row& row = rows_[i];
        const double unmet = row.need + outside * size - dot(row.slope, x - turn);
        const double next = std::max(0.0, force[i] + (unmet - give * force[i]) / (dot(row.slope, row.slope) + give));
        x += row.slope * (next - force[i]);
        force[i] = next;
      }
    if (const double far = length(x); far > limit) x = x * (limit / far);
    turn = x;
  }
  return best;
}

}  // namespace understudy
