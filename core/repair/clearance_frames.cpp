// What the nodes' solutions come to frame by frame.
#include "core/repair/clearance_impl.h"

#include <algorithm>
#include <cmath>

#include "core/base/stop_scope.h"
#include "core/math/b_spline.h"
#include "core/math/smooth_step.h"
#include "core/repair/clearance_calm.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) by which points that were not watched may lie in the body before they are.
constexpr double hair = 0.002;
/// Metres (at a height of 1.7) in the body from which on it is asked how much of what frames were given again does good, and how much of the
/// depth in the head counts then.
constexpr double leftAlone = 0.003, headCounts = 0.3;
/// Metres (at a height of 1.7) in the body from which on an arm's frame counts as one that has to change.
constexpr double calledFrom = 0.002;
/// Seconds around such frames in which a free arm's change stays whole, and in which it is gone.
constexpr double wholeSeconds = 0.08, goneSeconds = 0.3;
/// Metres a second (at a height of 1.7) that an arm's bones turn faster at their far ends than they did before, up to which that is calm, and from
/// which on it is haste.
constexpr double calmUpTo = 0.5, hastyFrom = 1.0;
/// Metres (at a height of 1.7) in the body up to which an arm may come for calm.
constexpr double calmDepth = 0.0005;
/// Metres (at a height of 1.7) in the head from which on that is taken to be in the way.
constexpr double inTheWay = 0.01;
/// How much deeper an arm may come for calm then.
constexpr double headGives = 1.1;
/// Metres (at a height of 1.7) of an arm that count as little in the end.
constexpr double littleEnough = 0.06;

}  // namespace

ArmChanges ClearanceRun::Impl::evened(int f) const {
  return mixed(found_, f - from_, stride_, count_);
}

void ClearanceRun::Impl::each(FrameSpan frames) {
  from_ = std::max(0, frames.first - around(stride_));
  const int to = std::min(in_.frames() - 1, frames.last + around(stride_));
  found_.assign(static_cast<std::size_t>(to - from_ + 1), {});
  for (int f = from_; f <= to; ++f) {
    const int n = f / stride_;
    const auto node = [&](int k) -> const ArmChanges& { return nodes_[place(std::clamp(k, first_, last_))]; };
    const ArmChanges start = between(node(n - 1), node(n), node(n + 1), node(n + 2), (f % stride_) / double(stride_));
    if ((nothing(start) && nothing(watchAt(f))) || stopAsked()) continue;
    Moment& moment = momentAt(f);
    Digest of = moment.digest;
    (of.add(tagEach) << start).add(digestOf(watchAt(f)));
    ArmGroup::Seen none;
    found_[static_cast<std::size_t>(f - from_)] = solved(of, none, [&](ArmGroup::Seen&) {
      load(moment);
      return cleared(start, watchAt(f), margin_ + slack_, 2, times_.freedom(f));
    });
  }
  fade();
  const std::vector<ArmChanges> before = found_;
  again();
  give(before, giveWindow, [&](int k, const ArmChanges& x) { return leftOf(from_ + k, x); });
  calmHaste();
  touchUp();
}

void ClearanceRun::Impl::fade() {
  if (work_.hands != ClearedHands::free || shared()) return;
  const int reach = static_cast<int>(std::ceil(goneSeconds * work_.context.rate.hertz() / stride_)) + 1;
  std::vector<double> need(nodes_.size(), 0);
  for (int n = first_; n <= last_; ++n)
    if (!idle_[place(n)] && !stopAsked()) need[place(n)] = needAt(n);
  for (std::size_t k = 0; k < found_.size(); ++k) {
    if (nothing(found_[k])) continue;
    const double at = (from_ + static_cast<double>(k)) / stride_;
    double whole = 0;
    for (int n = std::max(first_, static_cast<int>(at) - reach); n <= std::min(last_, static_cast<int>(at) + reach + 1); ++n)
      whole = std::max(whole, need[place(n)] * smoothStep((goneSeconds - std::abs(n - at) * stride_ / work_.context.rate.hertz()) / (goneSeconds - wholeSeconds)));
    for (double& v : found_[k][0].x) v *= whole;
  }
}

double ClearanceRun::Impl::needAt(int n) {
  Digest of = digestAt(n);
  of.add(tagNeed);
  if (const auto known = memo_->find(of)) return known->lack;
  load(n);
  ClearanceMemo::Solution out;
  const ArmChanges none{};
  const double whole = calledFrom * work_.context.height / 1.7;
  if (group_->mayBeDeeper(none, 0)) out.lack = smoothStep(group_->depthUpTo(none, whole) / whole);
  memo_->keep(of, out);
  return out.lack;
}

void ClearanceRun::Impl::again() {
  const int reach = againWide * stride_, count = static_cast<int>(found_.size());
  std::vector<ArmChanges> lacks(found_.size());
  std::vector<double> size(found_.size());
  std::vector<char> open(found_.size(), 1);  // in the body, or changed since it was not
  for (int round = 0; round < againRounds && !stopAsked(); ++round) {
    const bool headLast = round >= againRounds - lastRounds;
    bool any = false;
    for (int k = 0; k < count; ++k) {
      const int f = from_ + k;
      size[static_cast<std::size_t>(k)] = 0;
      if (!open[static_cast<std::size_t>(k)] || nothing(watchAt(f))) continue;
      const ArmChanges now = evened(f);
      const ClearanceMemo::Solution known = clearedAgain(f, now, headLast);
      open[static_cast<std::size_t>(k)] = known.open;
      const ArmChanges& clear = known.x;
      const double lack = known.lack;
      if (lack <= 0) continue;
      size[static_cast<std::size_t>(k)] = lack;
      for (std::size_t a = 0; a < count_; ++a)
        for (std::size_t i = 0; i < ArmChange::size; ++i) lacks[static_cast<std::size_t>(k)][a].x[i] = clear[a].x[i] - now[a].x[i];
      any = true;
    }
    if (!any) continue;
    addAround(found_, lacks, size, reach, count_);
    for (int k = 0, last = -1; k < count; ++k)
      if (size[static_cast<std::size_t>(k)] > 0)
        for (int n = std::max(last + 1, k - reach - stride_); n <= std::min(count - 1, k + reach + stride_); ++n) open[static_cast<std::size_t>(n)] = 1, last = n;
  }
  setHeadLast(false);
}

void ClearanceRun::Impl::touchUp() {
  const int reach = againWide * stride_, count = static_cast<int>(found_.size());
  const double metre = work_.context.height / 1.7;
  const std::vector<ArmChanges> before = found_;
  std::vector<ArmChanges> lacks(found_.size());
  std::vector<double> size(found_.size());
  std::vector<std::optional<ArmChanges>> settled(found_.size());  // with what a frame has been found to be clear, or to have no room
  for (int round = 0; round < lastTouches && !stopAsked(); ++round) {
    bool any = false;
    for (int k = 0; k < count; ++k) {
      const auto i = static_cast<std::size_t>(k);
      const int f = from_ + k;
      size[i] = 0;
      if (nothing(watchAt(f))) continue;
      const ArmChanges now = evened(f);
      if (settled[i] == now) continue;
      const ClearanceMemo::Solution known = clearedAgain(f, now, false);
      if (known.lack <= 0 || known.lack > littleEnough * metre || stillIn(f, known.x)) {
        settled[i] = now;
        continue;
      }
      size[i] = known.lack;
      for (std::size_t a = 0; a < count_; ++a)
        for (std::size_t p = 0; p < ArmChange::size; ++p) lacks[i][a].x[p] = known.x[a].x[p] - now[a].x[p];
      any = true;
    }
    if (!any) break;
    addAround(found_, lacks, size, reach, count_);
  }
  give(before, lastWindow, [&](int k, const ArmChanges& x) { return leftOf(from_ + k, x); });
}

void ClearanceRun::Impl::give(const std::vector<ArmChanges>& before, const PartWindow& window, const std::function<double(int, const ArmChanges&)>& left) {
  const int first = (from_ + stride_ - 1) / stride_, count = std::max(0, (from_ + static_cast<int>(found_.size()) - 1) / stride_ - first + 1);
  const auto even = [&](const std::vector<ArmChanges>& series, int k) { return mixed(series, k, stride_, count_); };
  // What happens between nodes counts as well.
  const auto frames = [&](std::size_t place) {
    const int at = (first + static_cast<int>(place)) * stride_ - from_;
    return FrameSpan{std::max(0, at - stride_ / 2), std::min(static_cast<int>(found_.size()) - 1, at + (stride_ - 1) / 2)};
  };
  std::vector<char> changed(static_cast<std::size_t>(count));
  for (std::size_t n = 0; n < changed.size(); ++n)
    for (int k = frames(n).first; k <= frames(n).last && !changed[n] && !stopAsked(); ++k) changed[n] = even(found_, k) != even(before, k);
  const double metre = work_.context.height / 1.7;
  const std::vector<double> taken = partsTaken(changed, leftAlone * metre, window, [&](std::size_t place, double part) {
    double worst = 0;
    for (int k = frames(place).first; k <= frames(place).last; ++k) {
      const ArmChanges a = even(before, k), b = even(found_, k);
      ArmChanges x = a;
      for (std::size_t arm = 0; arm < count_; ++arm)
        for (std::size_t i = 0; i < ArmChange::size; ++i) x[arm].x[i] += part * (b[arm].x[i] - a[arm].x[i]);
      worst = std::max(worst, left(k, x));
    }
    return worst;
  });
  for (std::size_t k = 0; k < found_.size(); ++k) {
    if (found_[k] == before[k]) continue;
    const int f = from_ + static_cast<int>(k), n = f / stride_ - first;
    const auto at = [&](int place) { return taken[static_cast<std::size_t>(std::clamp(place, 0, count - 1))]; };
    const auto [a, b, c, d] = splineShares((f % stride_) / static_cast<double>(stride_));
    const double part = a * at(n - 1) + b * at(n) + c * at(n + 1) + d * at(n + 2);
    if (part > 1 - 1e-12) continue;
    for (std::size_t arm = 0; arm < count_; ++arm)
      for (std::size_t i = 0; i < ArmChange::size; ++i) found_[k][arm].x[i] = before[k][arm].x[i] + part * (found_[k][arm].x[i] - before[k][arm].x[i]);
  }
}

double ClearanceRun::Impl::leftOf(int f, const ArmChanges& x) {
  Moment& moment = momentAt(f);
  Digest of = moment.digest;
  of.add(tagGive) << x;
  if (const auto known = memo_->find(of)) return known->lack;
  load(moment);
  ClearanceMemo::Solution out;
  if (group_->mayBeDeeper(x, 0)) {
    const ArmGroup::Watches watches = group_->watch(x);
    const double all = group_->depth(x, watches);
    setHeadLast(true);
    out.lack = std::max(group_->depth(x, watches), headCounts * all);
    setHeadLast(false);
  }
  memo_->keep(of, out);
  return out.lack;
}

void ClearanceRun::Impl::calmHaste() {
  const int first = (from_ + stride_ - 1) / stride_, count = std::max(0, (from_ + static_cast<int>(found_.size()) - 1) / stride_ - first + 1);
  const double metre = work_.context.height / 1.7, seconds = stride_ / work_.context.rate.hertz();
  std::vector<double> haste(static_cast<std::size_t>(count), 0);
  std::vector<char> acts(haste.size());
  for (int k = 0; k < count; ++k) acts[static_cast<std::size_t>(k)] = !nothing(evened((first + k) * stride_));
  std::array<std::array<Vec3d, 2>, 2> was{}, wasFree{};
  for (int k = 0; k < count && !stopAsked(); ++k) {
    const auto acting = [&](int n) { return n >= 0 && n < count && acts[static_cast<std::size_t>(n)]; };
    if (!acting(k - 1) && !acting(k) && !acting(k + 1)) continue;
    const int f = (first + k) * stride_;
    load(momentAt(f));
    const ArmChanges change = evened(f);
    double fast = 0;
    for (std::size_t a = 0; a < count_; ++a) {
      const std::array<Vec3d, 2> now = arms_[a].lies(change[a]), nowFree = arms_[a].lies({});
      for (std::size_t i = 0; i < 2 && (acting(k - 1) || acting(k)); ++i) fast = std::max(fast, distance(now[i], was[a][i]) - distance(nowFree[i], wasFree[a][i]));
      was[a] = now, wasFree[a] = nowFree;
    }
    const double h = smoothStep((fast / seconds / metre - calmUpTo) / (hastyFrom - calmUpTo));
    for (const int n : {std::max(k - 1, 0), k}) haste[static_cast<std::size_t>(n)] = std::max(haste[static_cast<std::size_t>(n)], h);
  }
  // No deeper than they were: in the body, and in all but the head.
  const double clear = calmDepth * metre;
  std::array<std::vector<std::optional<double>>, 2> bounds;
  for (auto& list : bounds) list.resize(found_.size());
  // Up to a little more than `most`, where it is only asked whether it is more.
  const auto deep = [&](int k, const ArmChanges& x, bool headLast, double least, double most) {
    Moment& moment = momentAt(from_ + k);
    Digest of = moment.digest;
    of.add(tagCalm).add(std::uint64_t{headLast}).add(least).add(most) << x;
    if (const auto known = memo_->find(of)) return known->lack;
    load(moment);
    setHeadLast(headLast);
    ClearanceMemo::Solution out;
    out.lack = group_->mayBeDeeper(x, least) ? std::max(least, group_->depthUpTo(x, most)) : least;
    setHeadLast(false);
    memo_->keep(of, out);
    return out.lack;
  };
  // Where the head is in the way it gives way in the end: there, no deeper than around.
  const std::vector<ArmChanges> hasty = found_;
  std::vector<std::optional<double>> own(haste.size());
  const auto mayBe = [&](int k, bool headLast) {
    double most = deep(k, mixed(hasty, k, stride_, count_), headLast, clear, metre);
    if (headLast || most < inTheWay * metre) return most;
    const int n = (from_ + k + stride_ / 2) / stride_ - first;
    for (int m = std::max(0, n - CalmPasses::near); m <= std::min(count - 1, n + CalmPasses::near); ++m) {
      std::optional<double>& there = own[static_cast<std::size_t>(m)];
      const int at = (first + m) * stride_ - from_;
      if (!there) there = deep(at, mixed(hasty, at, stride_, count_), false, clear, metre);
      most = std::max(most, *there);
    }
    return headGives * most;
  };
  CalmAsks asks;
  // Metres beyond that; where there are more than `enough`, it may be said that there are so many.
  const auto beyond = [&](int k, const ArmChanges& x, double enough) {
    double out = 0;
    for (const bool headLast : {false, true}) {
      std::optional<double>& most = bounds[headLast][static_cast<std::size_t>(k)];
      if (!most) most = mayBe(k, headLast);
      out = std::max(out, stopAsked() ? enough : deep(k, x, headLast, *most, *most + enough) - *most);
      if (out > 0 && out >= enough) break;
      if (*most <= clear) break;  // nor is it in anything but the head
    }
    return out;
  };
  asks.fits = [&](int k, const ArmChanges& x) { return beyond(k, x, 0.001 * metre) <= 0; };
  // Out of the head only where it is not in the way.
  asks.push = [&](int k, const ArmChanges& x) {
    const bool headLast = deep(k, x, true, clear, clear + 0.001 * metre) > clear;
    const std::optional<double>& most = bounds[0][static_cast<std::size_t>(k)];
    if (stopAsked() || (!headLast && most && *most > inTheWay * metre)) return x;
    Moment& moment = momentAt(from_ + k);
    Digest of = moment.digest;
    (of.add(tagPush).add(std::uint64_t{headLast}) << x).add(digestOf(watchAt(from_ + k)));
    std::optional<ClearanceMemo::Solution> known = memo_->find(of);
    load(moment);
    if (!known) {
      known = clearedAgain(from_ + k, x, headLast);
      setHeadLast(false);
      memo_->keep(of, *known);
    }
    return known->lack > 0 ? known->x : x;
  };
  asks.far = [&](const ArmChanges& a, const ArmChanges& b) { return group_->cost(a, b); };
  // A hand stays on what it touches.
  if (work_.hands == ClearedHands::stay) asks.loose = [&](int k) { return shared() ? times_.shiftOf(from_ + k) : times_.giveOf(from_ + k) * (1 - times_.holdOf(from_ + k)); };
  calm(found_, first * stride_ - from_, stride_, count_, haste, asks);
  // Between a change and one that goes round what is in the way, that may be in the way.
  give(hasty, lastWindow, [&](int k, const ArmChanges& x) { return beyond(k, x, metre); });
}

bool ClearanceRun::Impl::stillIn(int f, const ArmChanges& x) {
  Moment& moment = momentAt(f);
  Digest of = moment.digest;
  of.add(tagLast) << x;
  if (const auto known = memo_->find(of)) return known->open;
  load(moment);
  ClearanceMemo::Solution out;
  const double metre = work_.context.height / 1.7;
  out.open = group_->depthUpTo(x, metre) > leftAlone * metre;
  memo_->keep(of, out);
  return out.open;
}

ClearanceMemo::Solution ClearanceRun::Impl::clearedAgain(int f, const ArmChanges& now, bool headLast) {
  Moment& moment = momentAt(f);
  Digest of = moment.digest;
  (of.add(tagAgain).add(std::uint64_t{headLast}) << now).add(digestOf(watchAt(f)));
  if (const auto known = memo_->find(of)) return *known;
  load(moment);
  const ClearanceMemo::Solution out = freshClearedAgain(f, now, headLast);
  setHeadLast(false);
  memo_->keep(of, out);
  return out;
}

ClearanceMemo::Solution ClearanceRun::Impl::freshClearedAgain(int f, const ArmChanges& now, bool headLast) {
  ClearanceMemo::Solution out;
  setHeadLast(headLast);
  // Looked at anew as well: others than the node's points may be in the way. A hair of them is not worth a start of the arm.
  ArmGroup::Watches watches = watchAt(f);
  const bool seen = group_->deeper(now, watches, 0);
  const double unseen = hair * work_.context.height / 1.7;
  const ArmGroup::Watches others = group_->mayBeDeeper(now, unseen) ? group_->watch(now) : ArmGroup::Watches{};
  const bool missed = !nothing(others) && group_->deeper(now, others, unseen);
  out.open = seen || missed;
  if (!out.open) return out;
  if (missed)
    for (std::size_t a = 0; a < count_; ++a) watches[a].add(others[a]);
  out.x = cleared(now, watches, margin_, 3, times_.freedom(f), headLast);
  out.lack = group_->cost(out.x, now);
  return out;
}

}  // namespace understudy
