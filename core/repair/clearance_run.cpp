// The poses of a run of clearance, and what it writes.
#include "core/repair/clearance_impl.h"

#include <algorithm>
#include <cmath>

#include "core/math/smooth_step.h"
#include "core/repair/hand_onto_skin.h"

namespace understudy {
namespace {

/// Nodes of the solution lie this many a second.
constexpr double nodesPerSecond = 30;
/// Turns of an arm's bones beyond this are told, radians (15°).
constexpr double toldFrom = 0.2617994;
/// Metres (at a height of 1.7) left in the body from which on not everything can be had.
constexpr double noRoom = 0.003;
/// Radians at most by which a hand tilts on what it touches.
constexpr double mostTilt = 0.7;
/// Metres won a metre moved from which on all of a solution is taken; and of one where there is no room for all.
constexpr double worthwhile = 0.2, worthwhileInNeed = 0.5;

}  // namespace

ClearanceRun::Impl::Impl(const ClearanceWork& work, const ClearanceTask& task, const TiledMotion& in, Poser& poser)
    : work_(work), task_(task), times_(work, task), in_(in), poser_(poser), stride_(work.stride), count_(task.arms.size()), margin_(task.margin),
      slack_(0.003 * work.context.height / 1.7) {
  arms_.reserve(count_);
  std::vector<ArmClearer*> all;
  for (const ClearedArm& arm : task.arms) {
    ArmClearanceSettings settings = arm.settings;
    if (count_ == 1) settings.turn = mostTilt;
    arms_.emplace_back(work.context, work.model, arm.side, settings, arm.held.points);
  }
  for (ArmClearer& arm : arms_) all.push_back(&arm);
  around_.emplace(work.context, in, work.stride, all);
  group_.emplace(std::move(all));
  if (task.arms.front().settings.handStays && !shared())
    hand_.emplace(work.context, arms_.front(), task.arms.front().side, stride_, in.frames(),
                  HandWays::Asks{[this](Poser& at, int f) { posed(at, f); }, [this](int f) { return times_.holdOf(f); }, [this](int f) { return times_.giveOf(f); }});
  memo_ = work.context.parts->get<ClearanceMemo>();
  touchMemo_ = work.context.parts->get<HandTouchMemo>();
  all_.add(std::uint64_t{work.hands == ClearedHands::free}).add(margin_).add(std::uint64_t{count_});
  for (const ClearedArm& arm : task.arms) all_.add(digestOf(arm));
}

ArmChanges ClearanceRun::Impl::at(int f) const {
  std::array<double, 2> weight{};
  for (std::size_t a = 0; a < count_; ++a) weight[a] = times_.weightOf(a, f);
  if (weight[0] <= 0 && weight[1] <= 0) return {};
  ArmChanges x = evened(f);
  // What both hands hold goes one way with both.
  const double wrist = shared() ? std::min(weight[0], weight[1]) * times_.shiftOf(f) : 1;
  for (std::size_t a = 0; a < count_; ++a)
    for (std::size_t i = 0; i < ArmChange::size; ++i) x[a].x[i] *= shared() && i > 2 ? wrist : weight[a];
  return x;
}

void ClearanceRun::Impl::write(Poser& poser, int f, ArmChanges x, std::vector<Residual>& residuals) {
  loadFrom(poser, f);
  if (work_.hands == ClearedHands::stay) x = group_->kept(x, times_.freedom(f));
  double turned = 0;
  for (std::size_t a = 0; a < count_; ++a) turned = std::max(turned, arms_[a].turned(x[a]));
  for (std::size_t a = 0; a < count_; ++a) arms_[a].write(poser, x[a]);
  double left = 0;
  for (ArmClearer& arm : arms_) left = std::max(left, arm.deepestOf(poser));
  if (hand_)
    if (const Vec3d way = hand_->at(f); way != Vec3d{}) left = moveHand(poser, arms_.front(), task_.arms.front().side, way, left);
  for (const std::size_t r : task_.repairs) residuals[r].note(f, left, turned > toldFrom ? turned : 0);
}

void ClearanceRun::Impl::posed(Poser& poser, int f) {
  poser.load(in_, f);
  ArmChanges x = at(f);
  if (nothing(x)) return;
  loadFrom(poser, f);
  x = group_->kept(x, times_.freedom(f));
  for (std::size_t a = 0; a < count_; ++a) arms_[a].write(poser, x[a]);
}

ArmChanges ClearanceRun::Impl::settled(const ArmChanges& start, const ArmChanges& solved, double worth) const {
  if (group_->left() <= 0 || solved == start) return solved;
  const double way = group_->cost(solved, start), won = group_->won();
  const double t = way > 0 ? smoothStep(won / (worth * way)) : 1;
  ArmChanges out = start;
  for (std::size_t a = 0; a < count_; ++a)
    for (std::size_t i = 0; i < ArmChange::size; ++i) out[a].x[i] += t * (solved[a].x[i] - start[a].x[i]);
  return out;
}

ArmChanges ClearanceRun::Impl::cleared(const ArmChanges& start, const ArmGroup::Watches& watches, double margin, int steps, const ArmFreedom& freedom, bool headLast) {
  const auto solved = [&](double worth) { return settled(start, group_->solve(start, group_->near(start), watches, margin, steps, freedom), worth); };
  setHeadLast(headLast);
  ArmChanges out = solved(headLast ? worthwhileInNeed : worthwhile);
  if (!headLast && group_->leftFirst() > 0 && group_->left() > noRoom * work_.context.height / 1.7) {
    setHeadLast(true);
    out = solved(worthwhileInNeed);
  }
  setHeadLast(false);
  return out;
}

bool ClearanceRun::Impl::busy(int node) const {
  const int reach = (spread + 6) * stride_, f = frameOf(node), step = std::max(1, stride_);
  for (int k = std::max(0, f - reach); k <= std::min(in_.frames() - 1, f + reach); k += step)
    for (std::size_t a = 0; a < count_; ++a)
      if (times_.weightOf(a, k) > 0) return true;
  return false;
}

void ClearanceRun::Impl::read(Poser& poser, int f, Moment& moment) {
  moment.frame = f;
  moment.touches = {};
  moment.digest = all_;
  for (std::size_t a = 0; a < count_; ++a) {
    arms_[a].read(poser, moment.pose[a], a > 0 ? &moment.pose[0].frame : nullptr);
    if (arms_[a].byWrist()) moment.pose[a].side = around_->side(a, f);
    moment.digest.add(digestOf(moment.pose[a])).add(std::uint64_t{times_.holds(a, f)});
  }
  const ArmFreedom free = times_.freedom(f);
  moment.digest.add(times_.giveOf(f)).add(times_.holdOf(f)).add(std::uint64_t{free.girdle} << 2 | std::uint64_t{free.wrist} << 1 | std::uint64_t{free.turn});
}

void ClearanceRun::Impl::load(Moment& moment) {
  const int f = moment.frame;
  for (std::size_t a = 0; a < count_; ++a) {
    arms_[a].load(moment.pose[a]);
    arms_[a].setHolding(times_.holds(a, f));
    arms_[a].setGive(times_.giveOf(f));
    if (const double hold = times_.holdOf(f); hold > 0) {
      if (!moment.touches[a]) moment.touches[a] = touchOf(a, moment.digest);
      arms_[a].setTouch(hold, *moment.touches[a]);
    }
  }
  if (shared()) {
    const Vec3d middle = (arms_[0].wrist() + arms_[1].wrist()) * 0.5;
    for (ArmClearer& arm : arms_) arm.setPivot(middle);
  }
}

ArmClearer::Touch ClearanceRun::Impl::touchOf(std::size_t a, Digest of) {
  of.add(tagTouch).add(std::uint64_t{a});
  if (const std::optional<ArmClearer::Touch> known = touchMemo_->find(of)) return *known;
  const ArmClearer::Touch out = arms_[a].touch();
  touchMemo_->keep(of, out);
  return out;
}

ClearanceRun::Impl::Moment& ClearanceRun::Impl::momentOf(int n) {
  Moment& moment = moments_[place(n)];
  if (moment.frame < 0) {
    poser_.load(in_, frameOf(n));
    read(poser_, frameOf(n), moment);
  }
  return moment;
}

void ClearanceRun::Impl::loadFrom(Poser& poser, int f) {
  read(poser, f, own_);
  load(own_);
  own_.frame = -1;  // of another motion
}

ClearanceRun::Impl::Moment& ClearanceRun::Impl::momentAt(int f) {
  if (f % stride_ == 0) return momentOf(f / stride_);
  if (own_.frame != f) {
    poser_.load(in_, f);
    read(poser_, f, own_);
  }
  return own_;
}

void ClearanceRun::Impl::setHeadLast(bool last) {
  for (ArmClearer& arm : arms_) arm.setHeadLast(last);
}

ClearanceRun::ClearanceRun(const ClearanceWork& work, const ClearanceTask& task, const TiledMotion& in, Poser& poser) : impl_(std::make_unique<Impl>(work, task, in, poser)) {}
ClearanceRun::~ClearanceRun() = default;
void ClearanceRun::solve(FrameSpan frames) { impl_->solve(frames); }
ArmChanges ClearanceRun::at(int frame) const { return impl_->at(frame); }
void ClearanceRun::write(Poser& poser, int frame, const ArmChanges& changes, std::vector<Residual>& residuals) { impl_->write(poser, frame, changes, residuals); }
int ClearanceRun::strideAt(FrameRate rate) { return std::max(1, static_cast<int>(std::lround(rate.hertz() / nodesPerSecond))); }
int ClearanceRun::support(int stride) { return (Impl::spread + 4 + 4 + Impl::coarse * (Impl::followed + Impl::lookedAround + 1)) * stride + Impl::around(stride); }

}  // namespace understudy
