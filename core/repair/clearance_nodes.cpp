// Solutions at nodes: from nothing at some, of which those are kept that go together in time, then smoothed and cleared again in turns.
#include "core/repair/clearance_impl.h"

#include <algorithm>
#include <cmath>

#include "core/base/stop_scope.h"
#include "core/repair/steady_choice.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) from which solutions are different ways, and up to which they are the same.
constexpr double otherWay = 0.10, sameWay = 0.04;
/// Ways that are followed from one place at most.
constexpr std::size_t mostWays = 4;
/// What a change of the way costs against a way that long, and how firmly what is left in the body counts.
constexpr double unsteady = 4, leftFirm = 400;

}  // namespace

void ClearanceRun::Impl::solve(FrameSpan frames) {
  frames = widened(frames, HandWays::support(stride_), HandWays::support(stride_));
  const int lastNode = (in_.frames() - 1 + stride_ - 1) / stride_;
  // Whole groups of four nodes, also beyond the clip's end, where its last pose stays.
  constexpr int far = coarse * (followed + lookedAround);
  const int from = std::max(0, (frames.first - around(stride_)) / stride_ - 2 - spread) / coarse * coarse;
  const int to = std::min(lastNode + 3, (frames.last + around(stride_)) / stride_ + 3 + spread + 3) / coarse * coarse;
  first_ = std::max(0, from - far);
  last_ = std::min((lastNode + 3) / coarse * coarse, to + far);
  const auto count = static_cast<std::size_t>(last_ - first_ + 1);
  nodes_.assign(count, {});
  seen_.assign(count, {});
  moments_.assign(count, {});
  idle_.assign(count, 0);
  for (int n = first_; n <= last_; ++n) idle_[place(n)] = !busy(n);
  // Every fourth node from nothing, the others from those beside them, so that neighbours go the same way.
  for (int n = first_; n <= last_; n += coarse) search(n, 40, 0);
  choose();
  drop(from, to);
  for (int half = coarse / 2; half >= 1; half /= 2)
    for (int n = first_ + half; n + half <= last_; n += 2 * half) search(n, 10, half);
  std::vector<ArmChanges> smooth = nodes_;
  int round = 0;
  for (const int radius : rounds) {
    ++round;
    for (int n = first_; n <= last_; ++n) smooth[place(n)] = mixed(nodes_, n - first_, radius, count_);
    for (int n = first_; n <= last_; ++n) {
      ArmChanges& x = smooth[place(n)];
      const ArmGroup::Watches& watch = seen_[place(n)].watches;
      if (nothing(watch) || nothing(x) || stopAsked()) continue;
      if (round <= 2 && (work_.hands == ClearedHands::free || shared())) {
        x = searched(n, &x, 8, seen_[place(n)]);
        continue;
      }
      Digest of = digestAt(n);
      x = solved((of.add(tagNear) << x).add(digestOf(seen_[place(n)])), seen_[place(n)], [&](ArmGroup::Seen& seen) {
        load(n);
        group_->look(x, seen);
        return cleared(x, seen.watches, margin_ + slack_, 3, times_.freedom(frameOf(n)));
      });
    }
    nodes_ = smooth;
  }
  each(frames);
}

ArmChanges ClearanceRun::Impl::searched(int n, const ArmChanges* start, int steps, ArmGroup::Seen& seen) {
  Digest of = digestAt(n);
  of.add(start ? tagFrom : tagHome).add(static_cast<std::uint64_t>(steps)).add(digestOf(seen));
  if (start) of << *start;
  return solved(of, seen, [&](ArmGroup::Seen& looked) {
    load(n);
    const ArmChanges home = homeOf();
    return group_->search(start ? *start : home, home, margin_ + slack_, steps, times_.freedom(frameOf(n)), looked);
  });
}

void ClearanceRun::Impl::search(int n, int steps, int half) {
  if (idle_[place(n)] || stopAsked()) return;
  ArmChanges start;
  if (half > 0)
    for (std::size_t a = 0; a < count_; ++a)
      for (std::size_t i = 0; i < ArmChange::size; ++i) start[a].x[i] = (nodes_[place(n - half)][a].x[i] + nodes_[place(n + half)][a].x[i]) / 2;
  nodes_[place(n)] = searched(n, half > 0 ? &start : nullptr, steps, seen_[place(n)]);
}

void ClearanceRun::Impl::choose() {
  const std::size_t count = static_cast<std::size_t>((last_ - first_) / coarse + 1);
  const auto node = [&](std::size_t c) { return first_ + static_cast<int>(c) * coarse; };
  const double metre = work_.context.height / 1.7;
  std::vector<std::vector<Way>> ways(count);
  for (std::size_t c = 0; c < count; ++c) ways[c].push_back({nodes_[place(node(c))], seen_[place(node(c))]});
  bool any = false;
  for (const int by : {1, -1})
    for (std::size_t k = 1; k < count; ++k) {
      const std::size_t start = by > 0 ? k : count - 1 - k;
      if (idle_[place(node(start))] || stopAsked()) continue;
      load(node(start));
      if (group_->cost(ways[start - static_cast<std::size_t>(by)][0].x, ways[start][0].x) < otherWay * metre) continue;
      Way way = ways[start - static_cast<std::size_t>(by)][0];
      for (std::size_t c = start, n = 0; c < count && n < followed; c += static_cast<std::size_t>(by), ++n) {
        if (idle_[place(node(c))] || ways[c].size() >= mostWays) break;
        way.seen = {};
        way.x = searched(node(c), &way.x, 16, way.seen);
        load(node(c));
        if (std::any_of(ways[c].begin(), ways[c].end(), [&](const Way& other) { return group_->cost(way.x, other.x) < sameWay * metre; })) break;
        ways[c].push_back(way);
        any = true;
      }
    }
  if (!any || stopAsked()) return;
  std::vector<std::vector<double>> worth(count);
  for (std::size_t c = 0; c < count; ++c) {
    worth[c].assign(ways[c].size(), 0);
    if (ways[c].size() < 2) continue;
    load(node(c));
    const ArmChanges home = homeOf();
    for (std::size_t w = 0; w < ways[c].size(); ++w) worth[c][w] = group_->worth(ways[c][w].x, home, leftFirm, ways[c][w].seen.watches, margin_);
  }
  std::size_t loaded = count;
  const std::vector<int> chosen = steadyChoice(worth, lookedAround, [&](std::size_t c, int a, int b) {
    if (loaded != c) load(node(c));
    loaded = c;
    const double way = group_->cost(ways[c - 1][static_cast<std::size_t>(a)].x, ways[c][static_cast<std::size_t>(b)].x);
    return unsteady * way * way;
  });
  for (std::size_t c = 0; c < count; ++c) {
    if (chosen[c] == 0) continue;
    Way& way = ways[c][static_cast<std::size_t>(chosen[c])];
    nodes_[place(node(c))] = way.x;
    seen_[place(node(c))] = std::move(way.seen);
  }
}

void ClearanceRun::Impl::drop(int from, int to) {
  const auto keep = [&](auto& list) {
    list.erase(list.begin() + (to - first_ + 1), list.end());
    list.erase(list.begin(), list.begin() + (from - first_));
  };
  keep(nodes_);
  keep(seen_);
  keep(moments_);
  keep(idle_);
  first_ = from;
  last_ = to;
}

ArmChanges ClearanceRun::Impl::homeOf() const {
  ArmChanges home;
  if (work_.hands == ClearedHands::free)
    for (std::size_t a = 0; a < count_; ++a)
      if (task_.arms[a].settings.torso) home[a] = arms_[a].fitted((*work_.fits)[static_cast<std::size_t>(task_.arms[a].side)]);
  return home;
}

}  // namespace understudy
