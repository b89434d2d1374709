#include "core/repair/arm_clearance.h"

#include <algorithm>
#include <cmath>

#include "core/math/smooth_step.h"
#include "core/math/two_bone.h"
#include "core/repair/wrist.h"

namespace understudy {
namespace {

bool handPart(BodyPart part) { return part == BodyPart::leftHand || part == BodyPart::rightHand; }
bool shank(BodyPart part) { return part == BodyPart::leftShank || part == BodyPart::rightShank; }
bool upperArm(BodyPart part) { return part == BodyPart::leftUpperArm || part == BodyPart::rightUpperArm; }

/// Metres of the lower ankle over the soles in the reference pose.
struct AnkleHeight {
  double metres = 0;
};

double ankleHeight(const RepairContext& context, const BodyModel& model) {
  return context.parts->get<AnkleHeight>([&]() -> AnkleHeight {
    double sole = 1e300, ankle = 1e300;
    for (std::size_t v = 0; v < model.surface.positions.size(); ++v)
      if (shank(model.surface.parts[v])) sole = std::min(sole, model.surface.positions[v].y);
    for (const Role role : {Role::leftFoot, Role::rightFoot})
      if (const int foot = context.joint(role); foot >= 0) ankle = std::min(ankle, model.position[static_cast<std::size_t>(foot)].y);
    return {sole < 1e299 && ankle < 1e299 ? ankle - sole : 0};
  })->metres;
}

/// Metres (at a height of 1.7) by which a foot may be below the stage's floor before the floor is taken to be there.
constexpr double pit = 0.1;

/// Metres (at a height of 1.7) that a radian costs by which a free hand is turned along with its forearm, and by which a wrist is bent
/// farther than wrists are at ease.
constexpr double handCost = 0.15, wristCost = 0.25;

/// Radians by which it is: people's wrists bend by 80° at most (American Academy of Orthopaedic Surgeons, Joint Motion, 1965).
double beyond(double bend) {
  constexpr double ease = 0.9, zone = 0.35;
  const double over = bend - ease;
  return over <= 0 ? 0 : over < zone ? over * over / (2 * zone) : over - 0.5 * zone;
}

Affined about(const Vec3d& before, const Vec3d& after, const Quatd& turn) { return {toMatrix(turn), after - rotate(turn, before)}; }

}  // namespace

ArmClearer::ArmClearer(const RepairContext& context, std::shared_ptr<const BodyModel> model, int side, const ArmClearanceSettings& settings, const HeldPoints& held)
    : context_(context), model_(std::move(model)), settings_(settings), side_(side) {
  limb_ = context.arms[static_cast<std::size_t>(side)];
  const ArmPoints& skin = model_->arms[static_cast<std::size_t>(side)];
  scale_ = context.height / 1.7;
  byWrist_ = settings.handStays || !held.empty();
  kind_.add(std::uint64_t{side == 0} << 4 | std::uint64_t{settings.torso} << 3 | std::uint64_t{settings.head} << 2 | std::uint64_t{settings.thighs} << 1 | std::uint64_t{settings.floor});
  for (const Vec3d& p : held) kind_.add(p.x).add(p.y).add(p.z);
  if (!limb_.complete() || (skin.points.empty() && held.empty())) return;
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
  for (const int joint : limb_.beside) {
    const bool atWrist = distance(model_->position[static_cast<std::size_t>(joint)], model_->position[static_cast<std::size_t>(limb_.end)]) < 1e-3 * context.height;
    group(joint, atWrist ? 4 : 5);
    if (!atWrist) beside_.push_back(joint);
  }

  for (const ArmPoint& p : skin.points) {
    Point point;
    point.reference = p.reference;
    point.allowed = p.allowed;
    point.part = p.part;
    point.upper = upperArm(p.part);
    point.hand = handPart(p.part);
    point.firstInfluence = static_cast<std::uint32_t>(influences_.size());
    for (std::uint32_t k = p.first; k < p.first + p.count; ++k) influences_.push_back({skin.joint[k], 0, static_cast<double>(skin.weight[k])});
    point.influences = p.count;
    points_.push_back(point);
  }
  palm_ = model_->position[static_cast<std::size_t>(limb_.end)];
  if (const auto hands = static_cast<double>(std::count_if(points_.begin(), points_.end(), [](const Point& p) { return p.hand; })); hands > 0) {
    Vec3d sum;
    for (const Point& p : points_)
      if (p.hand) sum += p.reference;
    palm_ = sum / hands;
  }
  for (const ArmPoints::Cluster& c : skin.clusters) clusters_.push_back({c.first, c.count, 0, 0});
  // What is held goes along with the hand, eight neighbours a cluster.
  const auto e = static_cast<std::size_t>(limb_.end);
  for (std::size_t i = 0; i < held.size(); ++i) {
    if (i % 8 == 0) clusters_.push_back({static_cast<int>(points_.size()), 0, 0, 0});
    ++clusters_.back().count;
    Point point;
    point.reference = model_->position[e] + rotate(model_->rotation[e], held[i]);
    point.held = true;
    point.firstInfluence = static_cast<std::uint32_t>(influences_.size());
    point.influences = 1;
    influences_.push_back({limb_.end, 0, 1.0});
    points_.push_back(point);
  }

  std::vector<char> needed(n, 0);
  needed[static_cast<std::size_t>(limb_.end)] = 1;
  for (const int joint : beside_) needed[static_cast<std::size_t>(joint)] = 1;
  for (const Influence& i : influences_) needed[static_cast<std::size_t>(i.joint)] = 1;
  for (const BodySolid& solid : model_->solids) {
    const bool wanted = solid.part == BodyPart::torso ? settings.torso : solid.part == BodyPart::head ? settings.head : settings.thighs;
    if (!wanted) continue;
    solids_.push_back(&solid);
    bool follows = false;
    for (const int j : solid.joints) {
      needed[static_cast<std::size_t>(j)] = 1;
      const auto g = static_cast<std::size_t>(groupOfJoint_[static_cast<std::size_t>(j)]);
      follows = follows || g > 0;
      groupMovesSolids_[g] = true;
    }
    solidFollows_.push_back(follows);
  }
  if (solids_.empty()) return;
  ankle_ = ankleHeight(context, *model_);
  for (std::size_t j = 0; j < n; ++j)
    if (needed[j]) armJoints_.push_back(static_cast<int>(j));
  turned_.resize(n);
  changed_.resize(n);

  for (Point& p : points_) {
    p.firstPiece = static_cast<std::uint32_t>(pieces_.size());
    for (std::uint32_t k = p.firstInfluence; k < p.firstInfluence + p.influences; ++k) {
      const int g = groupOfJoint_[static_cast<std::size_t>(influences_[k].joint)];
      std::size_t at = p.firstPiece;
      while (at < pieces_.size() && pieces_[at].group != g) ++at;
      if (at == pieces_.size()) pieces_.push_back({g, 0, {}});
      pieces_[at].weight += influences_[k].weight;
      influences_[k].piece = static_cast<std::uint32_t>(at);
    }
    p.pieces = static_cast<std::uint32_t>(pieces_.size()) - p.firstPiece;
  }
  gathered_.assign(points_.size(), 0);
  for (Cluster& c : clusters_) {
    Vec3d low{1e300, 1e300, 1e300}, high = -low;
    for (int i = c.first; i < c.first + c.count; ++i)
      for (int k = 0; k < 3; ++k) {
        low[k] = std::min(low[k], points_[static_cast<std::size_t>(i)].reference[k]);
        high[k] = std::max(high[k], points_[static_cast<std::size_t>(i)].reference[k]);
      }
    double nearest = 1e300;
    for (int i = c.first; i < c.first + c.count; ++i)
      if (const double d = distance(points_[static_cast<std::size_t>(i)].reference, (low + high) * 0.5); d < nearest) nearest = d, c.hub = i;
    const Point& hub = points_[static_cast<std::size_t>(c.hub)];
    for (int i = c.first; i < c.first + c.count; ++i) {
      Point& p = points_[static_cast<std::size_t>(i)];
      p.fromHub = distance(p.reference, hub.reference);
      c.radius = std::max(c.radius, p.fromHub);
    }
    if (hub.held) continue;
    // Bent skin stretches, most where other joints move it than the hub.
    c.radius = 1.3 * c.radius + 0.003 * scale_;
    for (int i = c.first; i < c.first + c.count; ++i) {
      Point& p = points_[static_cast<std::size_t>(i)];
      p.fromHub = std::min(c.radius, 1.3 * p.fromHub + (0.003 + 0.05 * apart(p, hub)) * scale_);
    }
  }
  able_ = true;
}

double ArmClearer::apart(const Point& a, const Point& b) const {
  double sum = 0;
  const auto add = [&](const Point& of, const Point& without, bool both) {
    for (std::uint32_t k = of.firstInfluence; k < of.firstInfluence + of.influences; ++k) {
      double other = 0;
      for (std::uint32_t n = without.firstInfluence; n < without.firstInfluence + without.influences; ++n)
        if (influences_[n].joint == influences_[k].joint) other += influences_[n].weight;
      if (both || other == 0) sum += std::abs(influences_[k].weight - other);
    }
  };
  add(a, b, true);
  add(b, a, false);
  return sum;
}

void ArmClearer::read(const Poser& poser, Pose& pose, const Quatd* frame) const {
  pose.turned.resize(armJoints_.size());
  for (std::size_t k = 0; k < armJoints_.size(); ++k) pose.turned[k] = poser.turned(armJoints_[k]);
  pose.girdle = limb_.girdle >= 0 ? poser.position(limb_.girdle) : poser.position(limb_.root);
  pose.root = poser.position(limb_.root);
  pose.mid = poser.position(limb_.mid);
  pose.end = poser.position(limb_.end);
  double lowest = ankle_;
  for (const Role role : {Role::leftFoot, Role::rightFoot})
    if (const int foot = context_.joint(role); foot >= 0) lowest = std::min(lowest, poser.position(foot).y);
  pose.floor = std::min(0.0, lowest - ankle_ + pit * scale_);
  pose.rootTurn = poser.rotation(limb_.root);
  pose.side = {};
  if (frame) {
    pose.frame = *frame;
    return;
  }
  // The frame of the reference pose, carried by what the arm hangs on.
  const int parent = context_.body.rig.parents[static_cast<std::size_t>(limb_.girdle >= 0 ? limb_.girdle : limb_.root)];
  pose.frame = parent >= 0 ? poser.rotation(parent) * conjugate(model_->rotation[static_cast<std::size_t>(parent)]) : Quatd{};
}

void ArmClearer::load(const Poser& poser) {
  read(poser, own_);
  load(own_);
}

void ArmClearer::load(const Pose& pose) {
  ++load_;
  for (std::size_t k = 0; k < armJoints_.size(); ++k) turned_[static_cast<std::size_t>(armJoints_[k])] = pose.turned[k];
  girdle_ = pose.girdle;
  root_ = pose.root;
  mid_ = pose.mid;
  end_ = pose.end;
  besidePlace_ = {};
  for (const int joint : beside_)
    besidePlace_ += understudy::apply(turned_[static_cast<std::size_t>(joint)], model_->position[static_cast<std::size_t>(joint)]) / static_cast<double>(beside_.size());
  floor_ = pose.floor;
  pivot_ = understudy::apply(turned_[static_cast<std::size_t>(limb_.end)], palm_);
  hold_ = 0;
  const Vec3d pointing = palm_ - model_->position[static_cast<std::size_t>(limb_.end)];
  hand_ = normalised(turned_[static_cast<std::size_t>(limb_.end)].linear * pointing, Vec3d{});
  straight_ = normalised(turned_[static_cast<std::size_t>(limb_.mid)].linear * pointing, Vec3d{});
  frame_ = pose.frame;
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
  const Vec3d hinge = normalised(cross(rotate(pose.rootTurn, limb_.hinge), line_), anyPerpendicular(line_));
  const Vec3d given = rotate(frame_, pose.side), side = given == Vec3d{} ? off_ : given - line_ * dot(given, line_);
  const double own = smoothStep(length(side) / (0.15 * upper_));
  bends_ = normalised(hinge * (1 - own) + normalised(side, hinge) * own, hinge);
  // An elbow that is bent well opens in its own plane, so that the forearm does not roll; a straight one knows its rest hinge alone.
  const Vec3d rested = -rotate(pose.rootTurn, limb_.hinge), plane = normalised(cross(first_, second_), rested);
  const double sure = smoothStep((angleBetween(first_, second_) - 0.2) / 0.8) * std::clamp(dot(plane, rested) / 0.5, 0.0, 1.0);
  hinge_ = normalised(rested * (1 - sure) + plane * sure, rested);
  bent_ = std::atan2(dot(cross(first_, second_), hinge_), dot(first_, second_) - dot(first_, hinge_) * dot(second_, hinge_));
  for (std::size_t s = 0; s < solids_.size(); ++s) {
    if (s < posed_.size()) posed_[s].pose(turned_);
    else posed_.emplace_back(*solids_[s], turned_);
  }
}

ArmClearer::Carry ArmClearer::carryFree(const ArmChange& change) const {
  Carry out;
  const std::array<double, ArmChange::size>& x = change.x;
  Vec3d root = root_;
  if (limb_.girdle >= 0 && (x[1] != 0 || x[2] != 0)) {
    out.turn[0] = expOf(raiseAxis_ * x[1] + swingAxis_ * x[2]);
    out.by[1] = about(girdle_, girdle_, out.turn[0]);
    root = girdle_ + rotate(out.turn[0], root_ - girdle_);
  }
  out.turn[1] = expOf(rotate(frame_, Vec3d{x[3], x[4], x[5]}));
  out.turn[2] = x[0] != 0 ? out.turn[1] * fromAxisAngle(hinge_, x[0]) : out.turn[1];
  out.by[2] = about(root_, root, out.turn[1]);
  const Vec3d elbow = understudy::apply(out.by[2], mid_);
  out.by[3] = about(mid_, elbow, out.turn[2]);
  // The same share of every turn, so that the hand's way is as smooth as theirs. Only what changes the forearm's direction calls for it: an
  // arm that rolls would turn its hand out of the body for nothing.
  if (const double share = handShare(angleBetween(second_, rotate(out.turn[2], second_))); share > 0)
    out.turn[3] = expOf(rotate(frame_, Vec3d{x[3], x[4], x[5]} * share)) * fromAxisAngle(hinge_, x[0] * share);
  out.by[4] = about(end_, understudy::apply(out.by[3], end_), out.turn[3]);
  out.by[5] = about(besidePlace_, understudy::apply(out.by[3], besidePlace_), out.turn[3]);
  return out;
}

ArmClearer::Carry ArmClearer::carry(const ArmChange& change) const {
  if (!byWrist_) return carryFree(change);
  Carry out;
  const std::array<double, ArmChange::size>& x = change.x;
  if (limb_.girdle >= 0 && (x[1] != 0 || x[2] != 0)) {
    out.turn[0] = expOf(raiseAxis_ * x[1] + swingAxis_ * x[2]);
    out.by[1] = about(girdle_, girdle_, out.turn[0]);
  }
  const Quatd& shoulder = out.turn[0];
  const Vec3d root = girdle_ + rotate(shoulder, root_ - girdle_);
  // The wrist's line and distance; full stretch is approached, never snapped to.
  if (x[6] != 0 || x[7] != 0 || x[8] != 0) out.turn[3] = expOf(rotate(frame_, Vec3d{x[6], x[7], x[8]}));
  const Vec3d wanted = pivot_ + rotate(out.turn[3], end_ - pivot_) + rotate(frame_, Vec3d{x[3], x[4], x[5]} * give_) - root;
  const Vec3d newLine = normalised(wanted, rotate(shoulder, line_));
  const double full = upper_ + lower_, shortest = std::abs(upper_ - lower_) + 1e-3 * full, far = length(wanted);
  const double exact = std::max(span_ / full, settings_.handStays ? 0.995 : 0.97);
  const double reach = std::max(shortest, softReach(far, full, exact));
  out.over = far - exact * full;
  out.missed = std::abs(far - reach);
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
  out.by[4] = about(end_, end, out.turn[3]);
  out.by[5] = about(besidePlace_, understudy::apply(out.by[3], besidePlace_), out.turn[3]);
  return out;
}

ArmClearer::Likeness ArmClearer::likeness(const ArmChange& change, const Carry& carry) const {
  const Vec3d upper = (carry.by[2].linear * first_ - first_) * upper_, fore = (carry.by[3].linear * second_ - second_) * lower_;
  const double girdle = (byWrist_ ? 0.6 : 8.0) * std::max(distance(root_, girdle_), (byWrist_ ? 0.05 : 0.1) * scale_), wrist = (0.15 + 0.25 * hold_) * (byWrist_ ? give_ : 1);
  // A hand that touches turns the less the less it is held: where it lets go nothing is left of the turn.
  const double hold = (0.03 + 0.05 * hold_) * scale_ / (hold_ > 0 ? std::max(hold_, 0.02) : 1);
  const std::array<double, ArmChange::size>& x = change.x;
  if (!byWrist_) {
    const Vec3d shift = (understudy::apply(carry.by[4], end_) - end_) * wrist;
    const Vec3d hand = logOf(carry.turn[3]) * (handCost * scale_);
    const double roll = 0.5 * limb_.upper * dot(rotate(frame_, Vec3d{x[3], x[4], x[5]}), first_);
    return {upper.x, upper.y, upper.z, fore.x, fore.y, fore.z, girdle * x[1], girdle * x[2], roll, shift.x, shift.y, shift.z, hand.x, hand.y, hand.z, 0};
  }
  return {upper.x, upper.y, upper.z, fore.x, fore.y, fore.z, girdle * x[1], girdle * x[2], 0.15 * limb_.upper * x[0], wrist * x[3], wrist * x[4], wrist * x[5], hold * x[6], hold * x[7], hold * x[8],
          wristCost * scale_ * beyond(angleBetween(carry.by[4].linear * hand_, carry.by[3].linear * straight_))};
}

std::array<Vec3d, 2> ArmClearer::lies(const ArmChange& change) const {
  const Carry c = carry(change);
  return {rotate(conjugate(frame_), c.by[2].linear * first_ * upper_), rotate(conjugate(frame_), c.by[3].linear * second_ * lower_)};
}

double ArmClearer::turned(const ArmChange& change) const {
  const Carry c = carry(change);
  return std::max(angleBetween(c.by[2].linear * first_, first_), angleBetween(c.by[3].linear * second_, second_));
}

ArmChange ArmClearer::fitted(const ArmFit& fit) const {
  if (byWrist_) return {};
  const Vec3d turn = fit.turn(rotate(conjugate(frame_), first_));
  return {{0, 0, 0, turn.x, turn.y, turn.z}};
}

std::array<double, ArmChange::size> ArmClearer::weights() const {
  const double girdle = 1.2 * std::max(distance(root_, girdle_), 0.05 * scale_);
  if (!byWrist_) return {lower_, girdle, girdle, upper_, upper_, upper_, 1, 1, 1};
  const double turn = std::max(distance(end_, pivot_), 0.1 * scale_);
  return {0.5 * std::max(circle_, 0.12 * limb_.upper), girdle, girdle, 1, 1, 1, turn, turn, turn};
}

std::pair<double, double> ArmClearer::limits(std::size_t parameter) const {
  if (parameter == 1 || parameter == 2) return {-settings_.clavicle, settings_.clavicle};
  if (parameter > 2) return {-1e9, 1e9};
  if (byWrist_) return {-settings_.swivel, settings_.swivel};
  // An elbow opens as far as nearly straight and bends as far as an arm does, except where it went further by itself.
  return {std::min(0.0, 0.03 - bent_), std::max(0.0, settings_.bend - bent_)};
}

void ArmClearer::clamp(ArmChange& change) const {
  for (std::size_t k = 0; k < 3; ++k) {
    const auto [least, most] = limits(k);
    change.x[k] = std::clamp(change.x[k], least, most);
  }
  for (const std::size_t first : {3u, 6u}) {
    const double most = first == 6 ? settings_.turn : byWrist_ ? limb_.full() : settings_.swivel;
    double sum = 0;
    for (std::size_t k = first; k < first + 3; ++k) sum += change.x[k] * change.x[k];
    if (sum > most * most)
      for (std::size_t k = first; k < first + 3; ++k) change.x[k] *= most / std::sqrt(sum);
  }
}

void ArmClearer::write(Poser& poser, const ArmChange& change) const {
  if (change.none()) return;
  const Carry c = carry(change);
  const Quatd root = c.turn[1] * poser.rotation(limb_.root), mid = c.turn[2] * poser.rotation(limb_.mid), end = c.turn[3] * poser.rotation(limb_.end);
  if (limb_.girdle >= 0 && (change.x[1] != 0 || change.x[2] != 0)) poser.turn(limb_.girdle, c.turn[0]);
  poser.setRotation(limb_.root, root);
  poser.setRotation(limb_.mid, mid);
  if (limb_.detached) poser.moveBy(limb_.end, understudy::apply(c.by[4], end_) - poser.position(limb_.end));
  poser.setEnd(limb_, end);
}

}  // namespace understudy
