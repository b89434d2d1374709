#include "core/repair/clearance_run.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "core/base/stop_scope.h"
#include "core/math/b_spline.h"
#include "core/repair/arm_around.h"
#include "core/repair/change_series.h"
#include "core/repair/clearance_memo.h"
#include "core/repair/clearance_times.h"
#include "core/repair/hand_onto_skin.h"
#include "core/repair/hand_ways.h"
#include "core/repair/part_choice.h"
#include "core/repair/steady_choice.h"

namespace understudy {
namespace {

/// Nodes of the solution lie this many a second.
constexpr double nodesPerSecond = 30;
/// Half widths of the smoothing rounds, in nodes. After each one the arms are cleared again.
constexpr int rounds[] = {6, 5, 4, 3, 2, 2};
constexpr int spread = 6 + 5 + 4 + 3 + 2 + 2;
/// Every so many nodes a solution is looked for from nothing.
constexpr int coarse = 4;
/// Of those: how far a way out of the body is followed beside another one, and how far its choice looks.
constexpr int followed = 8, lookedAround = 8;
/// Metres (at a height of 1.7) from which solutions are different ways, and up to which they are the same.
constexpr double otherWay = 0.10, sameWay = 0.04;
/// Ways that are followed from one place at most.
constexpr std::size_t mostWays = 4;
/// What a change of the way costs against a way that long, and how firmly what is left in the body counts.
constexpr double unsteady = 4, leftFirm = 400;
/// Turns of an arm's bones beyond this are told, radians (15°).
constexpr double toldFrom = 0.2617994;
/// How often frames whose clearance evening out took away again are cleared anew, how many last times whatever the head says, and how far around
/// them (in nodes) the arm goes along.
constexpr int againRounds = 7, lastRounds = 2, againWide = 3;
/// Metres (at a height of 1.7) left in the body from which on not everything can be had.
constexpr double noRoom = 0.003;
/// Radians at most by which a hand tilts on what it touches.
constexpr double mostTilt = 0.7;
/// Metres (at a height of 1.7) by which points that were not watched may lie in the body before they are.
constexpr double hair = 0.002;
/// Metres (at a height of 1.7) in the body from which on it is asked how much of what frames were given again does good, and how much of the
/// depth in the head counts then.
constexpr double leftAlone = 0.003, headCounts = 0.3;
constexpr PartWindow giveWindow{};
/// Metres (at a height of 1.7) in the body from which on an arm's frame counts as one that has to change.
constexpr double calledFrom = 0.002;
/// Seconds around such frames in which a free arm's change stays whole, and in which it is gone.
constexpr double wholeSeconds = 0.08, goneSeconds = 0.3;
/// Metres won a metre moved from which on all of a solution is taken; and of one where there is no room for all.
constexpr double worthwhile = 0.2, worthwhileInNeed = 0.5;

bool nothing(const ArmChanges& x) { return x[0].none() && x[1].none(); }
bool nothing(const ArmGroup::Watches& w) { return w[0].none() && w[1].none(); }

}  // namespace

class ClearanceRun::Impl {
 public:
  Impl(const ClearanceWork& work, const ClearanceTask& task, const TiledMotion& in, Poser& poser)
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

  /// Frames on both sides of one whose own solutions it is made of.
  [[nodiscard]] static int around(int stride) { return stride + (againRounds * (againWide + 1) + giveWindow.support() + 2) * stride + ArmAround::support(stride) + HandWays::support(stride); }

  void solve(FrameSpan frames) {
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

  /// The change of a frame, evened out.
  [[nodiscard]] ArmChanges at(int f) const {
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

  void write(Poser& poser, int f, ArmChanges x, std::vector<Residual>& residuals) {
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

 private:
  [[nodiscard]] std::size_t place(int node) const { return static_cast<std::size_t>(node - first_); }
  [[nodiscard]] int frameOf(int node) const { return std::min(node * stride_, in_.frames() - 1); }
  [[nodiscard]] bool shared() const { return count_ == 2; }

  /// A frame of the input with its changes.
  void posed(Poser& poser, int f) {
    poser.load(in_, f);
    ArmChanges x = at(f);
    if (nothing(x)) return;
    loadFrom(poser, f);
    x = group_->kept(x, times_.freedom(f));
    for (std::size_t a = 0; a < count_; ++a) arms_[a].write(poser, x[a]);
  }

  /// As much of a solution as its way is worth: where there is no room, a far change that wins little is noise.
  [[nodiscard]] ArmChanges settled(const ArmChanges& start, const ArmChanges& solved, double worth) const {
    if (group_->left() <= 0 || solved == start) return solved;
    const double way = group_->cost(solved, start), won = group_->won();
    const double t = way > 0 ? smoothStep(won / (worth * way)) : 1;
    ArmChanges out = start;
    for (std::size_t a = 0; a < count_; ++a)
      for (std::size_t i = 0; i < ArmChange::size; ++i) out[a].x[i] += t * (solved[a].x[i] - start[a].x[i]);
    return out;
  }
  /// A change near another one that clears the loaded arms of what is watched. Where there is no room for all, the head gives way.
  [[nodiscard]] ArmChanges cleared(const ArmChanges& start, const ArmGroup::Watches& watches, double margin, int steps, const ArmFreedom& freedom, bool headLast = false) {
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
  /// Whether a node, by what smoothing reaches from it, can matter to any frame.
  [[nodiscard]] bool busy(int node) const {
    const int reach = (spread + 6) * stride_, f = frameOf(node), step = std::max(1, stride_);
    for (int k = std::max(0, f - reach); k <= std::min(in_.frames() - 1, f + reach); k += step)
      for (std::size_t a = 0; a < count_; ++a)
        if (times_.weightOf(a, k) > 0) return true;
    return false;
  }

  /// The arms of a frame.
  struct Moment {
    std::array<ArmClearer::Pose, 2> pose;
    std::array<std::optional<ArmClearer::Touch>, 2> touches;  // where they have been looked for
    Digest digest;                                            // of all that solutions there depend on
    int frame = -1;
  };
  void read(Poser& poser, int f, Moment& moment) {
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
  void load(Moment& moment) {
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
  /// Where a loaded arm's hand is nearest to the body.
  ArmClearer::Touch touchOf(std::size_t a, Digest of) {
    of.add(tagTouch).add(std::uint64_t{a});
    if (const std::optional<ArmClearer::Touch> known = touchMemo_->find(of)) return *known;
    const ArmClearer::Touch out = arms_[a].touch();
    touchMemo_->keep(of, out);
    return out;
  }
  Moment& momentOf(int n) {
    Moment& moment = moments_[place(n)];
    if (moment.frame < 0) {
      poser_.load(in_, frameOf(n));
      read(poser_, frameOf(n), moment);
    }
    return moment;
  }
  void load(int n) { load(momentOf(n)); }
  [[nodiscard]] Digest digestAt(int n) { return momentOf(n).digest; }
  void loadFrom(Poser& poser, int f) {
    read(poser, f, own_);
    load(own_);
    own_.frame = -1;  // of another motion
  }

  /// What solutions are for: the same start means something else in each.
  static constexpr std::uint64_t tagHome = 1, tagFrom = 2, tagNear = 3, tagEach = 4, tagAgain = 5, tagNeed = 6, tagTouch = 7, tagGive = 8;
  /// The solution of that name, which `work` finds where it is not known; it may change what is seen.
  template <class Work>
  [[nodiscard]] ArmChanges solved(const Digest& of, ArmGroup::Seen& seen, Work work) {
    if (const auto known = memo_->find(of)) {
      if (known->seen) seen = *known->seen;
      return known->x;
    }
    ClearanceMemo::Solution out;
    out.x = work(seen);
    out.seen = std::make_shared<const ArmGroup::Seen>(seen);
    memo_->keep(of, out);
    return out.x;
  }
  /// From a start, or from where the arms fit the body.
  [[nodiscard]] ArmChanges searched(int n, const ArmChanges* start, int steps, ArmGroup::Seen& seen) {
    Digest of = digestAt(n);
    of.add(start ? tagFrom : tagHome).add(static_cast<std::uint64_t>(steps)).add(digestOf(seen));
    if (start) of << *start;
    return solved(of, seen, [&](ArmGroup::Seen& looked) {
      load(n);
      const ArmChanges home = homeOf();
      return group_->search(start ? *start : home, home, margin_ + slack_, steps, times_.freedom(frameOf(n)), looked);
    });
  }

  void search(int n, int steps, int half) {
    if (idle_[place(n)] || stopAsked()) return;
    ArmChanges start;
    if (half > 0)
      for (std::size_t a = 0; a < count_; ++a)
        for (std::size_t i = 0; i < ArmChange::size; ++i) start[a].x[i] = (nodes_[place(n - half)][a].x[i] + nodes_[place(n + half)][a].x[i]) / 2;
    nodes_[place(n)] = searched(n, half > 0 ? &start : nullptr, steps, seen_[place(n)]);
  }

  /// A way of the arms out of the body at a node.
  struct Way {
    ArmChanges x;
    ArmGroup::Seen seen;
  };

  /// Where neighbours went different ways, each is followed beside the other one; of all the ways those are kept that go together.
  void choose() {
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

  /// Leaves nodes outside of a range alone from here on.
  void drop(int from, int to) {
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

  /// Where the loaded pose's arms fit the body.
  [[nodiscard]] ArmChanges homeOf() const {
    ArmChanges home;
    if (work_.hands == ClearedHands::free)
      for (std::size_t a = 0; a < count_; ++a)
        if (task_.arms[a].settings.torso) home[a] = arms_[a].fitted((*work_.fits)[static_cast<std::size_t>(task_.arms[a].side)]);
    return home;
  }

  /// The solutions of a frame and its neighbours in one.
  [[nodiscard]] ArmChanges evened(int f) const {
    return mixed(found_, f - from_, stride_, count_);
  }

  /// Frame by frame, a little beyond the ends, so that what each frame adds can be evened out.
  void each(FrameSpan frames) {
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
    give(before);
  }

  /// Where nothing lies in the body some time around, a free arm stays as it was.
  void fade() {
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
  /// How much a node's own pose calls for a change, 0 … 1.
  [[nodiscard]] double needAt(int n) {
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

  Moment& momentAt(int f) {
    if (f % stride_ == 0) return momentOf(f / stride_);
    if (own_.frame != f) {
      poser_.load(in_, f);
      read(poser_, f, own_);
    }
    return own_;
  }
  /// Evening out takes away again much of what is needed for a moment only: frames that are in the body after it are given what they lack in
  /// addition, and frames around them part of it.
  void again() {
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
        Moment& moment = momentAt(f);
        Digest of = moment.digest;
        (of.add(tagAgain).add(std::uint64_t{headLast}) << now).add(digestOf(watchAt(f)));
        std::optional<ClearanceMemo::Solution> known = memo_->find(of);
        if (!known) {
          load(moment);
          known = clearedAgain(f, now, headLast);
          memo_->keep(of, *known);
        }
        open[static_cast<std::size_t>(k)] = known->open;
        const ArmChanges& clear = known->x;
        const double lack = known->lack;
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
  /// Where there is no room, what is given again and again leads away and wins nothing: only so much of it is taken as does good.
  void give(const std::vector<ArmChanges>& before) {
    const int first = (from_ + stride_ - 1) / stride_, count = std::max(0, (from_ + static_cast<int>(found_.size()) - 1) / stride_ - first + 1);
    const auto frame = [&](std::size_t place) { return (first + static_cast<int>(place)) * stride_; };
    const auto even = [&](const std::vector<ArmChanges>& series, std::size_t place) { return mixed(series, frame(place) - from_, stride_, count_); };
    std::vector<char> changed(static_cast<std::size_t>(count));
    for (std::size_t k = 0; k < changed.size(); ++k) changed[k] = !stopAsked() && even(found_, k) != even(before, k);
    const double metre = work_.context.height / 1.7;
    const std::vector<double> taken = partsTaken(changed, leftAlone * metre, giveWindow, [&](std::size_t place, double part) {
      const ArmChanges a = even(before, place), b = even(found_, place);
      ArmChanges x = a;
      for (std::size_t arm = 0; arm < count_; ++arm)
        for (std::size_t i = 0; i < ArmChange::size; ++i) x[arm].x[i] += part * (b[arm].x[i] - a[arm].x[i]);
      Moment& moment = momentAt(frame(place));
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
  /// What a loaded frame lacks.
  [[nodiscard]] ClearanceMemo::Solution clearedAgain(int f, const ArmChanges& now, bool headLast) {
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
  void setHeadLast(bool last) {
    for (ArmClearer& arm : arms_) arm.setHeadLast(last);
  }

  [[nodiscard]] const ArmGroup::Watches& watchAt(int f) const { return seen_[place(std::clamp((f + stride_ / 2) / stride_, first_, last_))].watches; }

  const ClearanceWork& work_;
  const ClearanceTask& task_;
  const ClearanceTimes times_;
  const TiledMotion& in_;
  Poser& poser_;
  int stride_;
  std::size_t count_;
  double margin_, slack_;
  std::vector<ArmClearer> arms_;
  std::optional<ArmAround> around_;
  std::optional<ArmGroup> group_;
  std::optional<HandWays> hand_;
  int first_ = 0, last_ = 0, from_ = 0;
  std::vector<ArmChanges> nodes_, found_;
  std::vector<ArmGroup::Seen> seen_;
  std::vector<Moment> moments_;
  std::vector<char> idle_;
  Moment own_;
  std::shared_ptr<const ClearanceMemo> memo_;
  std::shared_ptr<const HandTouchMemo> touchMemo_;
  Digest all_;  // of what all frames have in common
};

ClearanceRun::ClearanceRun(const ClearanceWork& work, const ClearanceTask& task, const TiledMotion& in, Poser& poser) : impl_(std::make_unique<Impl>(work, task, in, poser)) {}
ClearanceRun::~ClearanceRun() = default;
void ClearanceRun::solve(FrameSpan frames) { impl_->solve(frames); }
ArmChanges ClearanceRun::at(int frame) const { return impl_->at(frame); }
void ClearanceRun::write(Poser& poser, int frame, const ArmChanges& changes, std::vector<Residual>& residuals) { impl_->write(poser, frame, changes, residuals); }
int ClearanceRun::strideAt(FrameRate rate) { return std::max(1, static_cast<int>(std::lround(rate.hertz() / nodesPerSecond))); }
int ClearanceRun::support(int stride) { return (spread + 4 + 4 + coarse * (followed + lookedAround + 1)) * stride + Impl::around(stride); }

}  // namespace understudy
