#include "core/repair/plant_work.h"

#include <algorithm>
#include <cmath>

#include "core/repair/plant.h"
#include "core/repair/plant_ease.h"

namespace understudy {
namespace {

constexpr double alongLeg = 8;    // how much more a foot's way along its leg counts for the pelvis than across
constexpr double aboutToLand = 0.4; // how much one that comes down counts: the pelvis is there when it lands
constexpr double easyReach = 0.003; // part of its length that the pelvis leaves a leg in hand
constexpr double straightestEver = 0.998;
constexpr double onTheBall = 0.2; // how much a foot counts that can rise further
constexpr double clearTime = 0.12;  // seconds from a stay in which a foot on its way begins to keep off the ground
constexpr double releaseLoss = 0.6; // part of its hold that a foot loses over its release
constexpr double slackReach = 0.012; // part of its length by which a leg may be stretched beyond its own reach where it does not stand
constexpr double onTheWay = 0.05; // how much a foot counts that is on its way to or from the ground

/// Of the pelvis: with the feet that stand, and raised as their anchors say.
struct Way {
  Vec3d follows;
  double lift = 0;
};

struct Goal {
  FootPose pose;
  bool active = false;
  int stay = -1;     // planted by it
  double firm = 0;   // 1 planted, falling to 0 where the ease ends
  double share = 0;  // part of the pelvis' way that the foot goes too
};

/// One call of applyPlants().
class PlantWork {
 public:
  PlantWork(const PlantPlan& plan, const PartPlants& parts, const TiledMotion& in, FrameSpan frames)
      : plan_(plan), parts_(parts), in_(in), frames_(frames), clip_{0, in.frames() - 1}, pose_(plan.context, plan.legs), drop_({0, -1}) {}

  void run(TiledMotion& out, std::vector<Residual>& residuals) {
    const FrameSpan writes = writtenIn(frames_);
    if (writes.empty()) return;
    load();
    for (int side = 0; side < 2; ++side) {
      fillGoals(side);
      ease(side);
    }
    lowerPelvis();
    for (int side = 0; side < 2; ++side) clear(side);
    for (int f = writes.first; f <= writes.last; ++f) solve(f, out, residuals);
  }

 private:
  [[nodiscard]] FrameSpan writtenIn(FrameSpan frames) const {
    FrameSpan out;
    for (const Stay& s : plan_.stays) {
      const FrameSpan w = common(plan_.written(s), frames);
      if (w.empty()) continue;
      out = out.empty() ? w : FrameSpan{std::min(out.first, w.first), std::max(out.last, w.last)};
    }
    if (parts_.hasSeat())
      for (const FrameSpan& e : parts_.extents())
        if (const FrameSpan w = common(e, frames); !w.empty()) out = out.empty() ? w : FrameSpan{std::min(out.first, w.first), std::max(out.last, w.last)};
    return out;
  }

  [[nodiscard]] const LegFrame& own(int side, int frame) const {
    return own_.legs[static_cast<std::size_t>(side)][static_cast<std::size_t>(frame - own_.first)];
  }
  [[nodiscard]] Goal& goal(int side, int frame) { return goalsOf_[static_cast<std::size_t>(side)][static_cast<std::size_t>(frame - goals_.first)]; }
  [[nodiscard]] const PlantLeg& leg(int side) const { return plan_.legs[static_cast<std::size_t>(side)]; }
  [[nodiscard]] const Stay& stay(int index) const { return plan_.stays[static_cast<std::size_t>(index)]; }

  /// What is written depends on goals up to twice the reach away; those on all of the stays they belong to, which roll as the
  /// pelvis goes; and its way on all stays around.
  void load() {
    const int r = plan_.reach;
    goals_ = common(widened(frames_, 2 * r, 2 * r), clip_);
    FrameSpan ways = goals_;
    for (const Stay& s : plan_.stays) {
      mine_.push_back(!common(plan_.eased(s), goals_).empty());
      if (mine_.back()) ways = {std::min(ways.first, s.span.first), std::max(ways.last, s.span.last)};
    }
    FrameSpan needed = ways;
    for (std::size_t i = 0; i < plan_.stays.size(); ++i) {
      const Stay& s = plan_.stays[i];
      if (common(plan_.eased(s), widened(ways, r, r)).empty()) continue;
      near_.push_back(static_cast<int>(i));
      needed = {std::min(needed.first, s.span.first), std::max(needed.last, s.span.last)};
    }
    own_.first = needed.first;
    for (int f = needed.first; f <= needed.last; ++f) {
      pose_.load(in_, f);
      for (int side = 0; side < 2; ++side) own_.legs[static_cast<std::size_t>(side)].push_back(leg(side).limb.complete() ? pose_.leg(side) : LegFrame{});
    }
    standing_.resize(plan_.stays.size());
    for (const int i : near_) stand(i, std::vector<Vec3d>(static_cast<std::size_t>(stay(i).span.count()), Vec3d{0, stay(i).lift, 0}));
    ways_ = ways;
    std::vector<Way> raw;
    for (int f = ways.first - r; f <= ways.last + r; ++f) raw.push_back(rawWay(f));
    for (int f = ways.first; f <= ways.last; ++f) {
      Way sum;
      for (int k = 0; k <= 2 * r; ++k) {
        const Way& w = raw[static_cast<std::size_t>(f - ways.first + k)];
        sum.follows += w.follows * plan_.kernel[static_cast<std::size_t>(k)];
        sum.lift += w.lift * plan_.kernel[static_cast<std::size_t>(k)];
      }
      way_.push_back(sum.follows + Vec3d{0, sum.lift, 0});
      lift_.push_back(sum.lift);
    }
    for (const int i : near_) {
      if (!mine_[static_cast<std::size_t>(i)]) continue;
      const FrameSpan span = stay(i).span;
      stand(i, {way_.begin() + (span.first - ways.first), way_.begin() + (span.last + 1 - ways.first)});
    }
  }

  void stand(int index, const std::vector<Vec3d>& moves) {
    const Stay& s = stay(index);
    std::vector<LegFrame> ownFrames;
    for (int f = s.span.first; f <= s.span.last; ++f) ownFrames.push_back(own(s.side, f));
    std::vector<FootPose> feet = standingFeet(s, leg(s.side), ownFrames, moves);
    if (s.weight < 1)
      for (std::size_t k = 0; k < feet.size(); ++k) feet[k] = changed(ownFrames[k].foot, changeOf(ownFrames[k].foot, feet[k]) * s.weight);
    standing_[static_cast<std::size_t>(index)] = std::move(feet);
  }
  [[nodiscard]] const FootPose& standing(int index, int frame) const {
    return standing_[static_cast<std::size_t>(index)][static_cast<std::size_t>(frame - stay(index).span.first)];
  }

  /// How much a foot counts for the pelvis: flat and on its heel it stands; on its ball it can make up for the leg's length.
  [[nodiscard]] static double standingWeight(const Stay& s, int frame) {
    if (!s.span.holds(frame) || frame >= s.release) return 0;
    const PlantPhase phase = s.phase(frame);
    return phase == PlantPhase::ball ? onTheBall : phase == PlantPhase::toe ? 0 : 1;
  }

  /// Where the feet that stand would have the pelvis, before it is smoothed: raised as their anchors say, and gone with them as far
  /// as it may.
  [[nodiscard]] Way rawWay(int frame) const {
    Mat3d sum({}, {}, {});
    Vec3d wanted;
    double lift = 0, weight = 0, presence = 0;
    for (const int i : near_) {
      const Stay& s = stay(i);
      double a = 1;
      if (frame < s.span.first) a = fade(static_cast<double>(s.span.first - frame) / (s.before + 1));
      if (frame > s.span.last) a = fade(static_cast<double>(frame - s.span.last) / (s.after + 1));
      if (a <= 0) continue;
      presence = std::max(presence, a);
      const int at = std::clamp(frame, s.span.first, std::min(s.release - 1, s.span.last));
      const LegFrame& leg_ = own(s.side, at);
      const Vec3d change = standing(i, at).at - leg_.foot.at - Vec3d{0, s.lift * s.weight, 0}, along = normalised(leg_.foot.at - leg_.hip, Vec3d{0, 1, 0});
      const double w = standingWeight(s, frame) + (frame < s.span.first ? aboutToLand : onTheWay) * a;
      // The knee asks for the leg's length much more than for its direction.
      const double stiff = alongLeg * w * dot(along, change);
      sum.cx += Vec3d{w, 0, 0} + along * (alongLeg * w * along.x);
      sum.cy += Vec3d{0, w, 0} + along * (alongLeg * w * along.y);
      sum.cz += Vec3d{0, 0, w} + along * (alongLeg * w * along.z);
      wanted += change * w + along * stiff;
      lift += w * s.lift * s.weight;
      weight += w;
    }
    Vec3d follows;
    if (weight > 0) {
      follows = inverse(sum) * wanted * presence;
      lift *= presence / weight;
      const double most = plantSettings().followLimit * plan_.context.leg, size = length(follows);
      if (size > 1e-9) follows = follows * (most * std::tanh(size / most) / size);
    }
    return {follows, lift};
  }
  [[nodiscard]] const Vec3d& way(int frame) const { return way_[static_cast<std::size_t>(frame - ways_.first)]; }

  void fillGoals(int side) {
    std::vector<Goal>& goals = goalsOf_[static_cast<std::size_t>(side)];
    goals.assign(static_cast<std::size_t>(goals_.count()), {});
    for (const int i : plan_.order[static_cast<std::size_t>(side)]) {
      const Stay& s = stay(i);
      const FrameSpan span = common(s.span, goals_);
      for (int f = span.first; f <= span.last; ++f) goal(side, f) = {standing(i, f), true, i, s.weight * (1 - releaseLoss * released(s, f))};
    }
  }

  /// From 0 before the release to 1 after the stay.
  [[nodiscard]] static double released(const Stay& s, int frame) {
    return frame < s.release ? 0 : 1 - fade(static_cast<double>(frame - s.release + 1) / (s.span.last - s.release + 2));
  }

  [[nodiscard]] FootPose carried(int side, int frame, double share) const {
    FootPose out = own(side, frame).foot;
    out.at += way(frame) * share;
    return out;
  }
  /// Of a standing foot against its own way, had it gone with the pelvis.
  [[nodiscard]] Change changeAt(int side, int index, int frame) const { return changeOf(carried(side, frame, 1), standing(index, frame)); }

  [[nodiscard]] Fading fading(int side, int index, bool outwards, int length) const {
    const Stay& s = stay(index);
    const int edge = outwards ? s.span.last : s.span.first, inside = std::clamp(edge + (outwards ? -1 : 1), s.span.first, s.span.last);
    Fading out;
    out.value = changeAt(side, index, edge);
    out.slope = out.value - changeAt(side, index, inside);
    out.length = length;
    out.slopeLength = std::min(length, std::max(1, static_cast<int>(std::lround(0.15 * plan_.context.rate.hertz()))));
    return out;
  }

  /// Between stays the changes at their edges fade out along the foot's own way, which goes with the pelvis near them.
  void ease(int side) {
    const std::vector<int>& order = plan_.order[static_cast<std::size_t>(side)];
    for (std::size_t i = 0; i <= order.size(); ++i) {
      const int before = i > 0 ? order[i - 1] : -1, after = i < order.size() ? order[i] : -1;
      const Stay* a = before >= 0 ? &stay(before) : nullptr;
      const Stay* b = after >= 0 ? &stay(after) : nullptr;
      const FrameSpan gap{a ? a->span.last + 1 : clip_.first, b ? b->span.first - 1 : clip_.last};
      const int longest = a && b ? gap.count() + 1 : clip_.count() + 1;
      const FrameSpan here = common(gap, goals_);
      if (here.empty()) continue;
      const int lengthA = a ? std::min(a->after, longest) : 0, lengthB = b ? std::min(b->before, longest) : 0;
      const bool useA = a && lengthA > 0 && here.first - a->span.last < lengthA, useB = b && lengthB > 0 && b->span.first - here.last < lengthB;
      if (!useA && !useB) continue;
      Fading fromA, fromB;
      if (useA) fromA = fading(side, before, true, lengthA);
      if (useB) fromB = fading(side, after, false, lengthB);
      for (int f = here.first; f <= here.last; ++f) {
        Goal& g = goal(side, f);
        Change sum;
        double apart = 1;
        if (useA && f - a->span.last < lengthA) {
          const double part = fade(static_cast<double>(f - a->span.last) / lengthA);
          sum = fromA.at(f - a->span.last);
          g.active = true;
          g.firm = part * a->weight * (a->release <= a->span.last ? 1 - releaseLoss : 1);
          apart *= 1 - part;
        }
        if (useB && b->span.first - f < lengthB) {
          const double part = fade(static_cast<double>(b->span.first - f) / lengthB);
          sum = sum + fromB.at(b->span.first - f);
          g.active = true;
          g.firm = std::max(g.firm, part * b->weight);
          apart *= 1 - part;
        }
        if (!g.active) continue;
        g.share = 1 - apart;
        g.pose = changed(carried(side, f, g.share), sum);
      }
    }
  }

  /// What part of its length a leg may reach over: no knee is made straighter than it was, unless that is bent enough anyway.
  [[nodiscard]] static double mayReach(const LegFrame& o) { return std::clamp(o.straight, plantSettings().straightest, straightestEver); }

  /// The reach a leg is given that is asked for `wanted`: a planted one as far as it may, one that is on its way a little more than
  /// it had, without snapping straight.
  [[nodiscard]] static double softReach(const LegFrame& o, double wanted, double firm) {
    const double may = mayReach(o), own_ = std::min(o.straight, may);
    const auto bounded = [&](double from, double room) {
      const double x = wanted - from;
      return x <= 0 ? wanted : x >= 2 * room ? from + room : from + x - x * x / (4 * room);
    };
    const double planted = bounded(may - easyReach / 2, easyReach / 2), loose = bounded(own_, std::clamp(straightestEver - own_, 0.0005, slackReach));
    return loose + (planted - loose) * firm;
  }

  /// The pelvis sinks where a leg would be straighter than it may.
  void lowerPelvis() {
    const PlantSettings& settings = plantSettings();
    Strip need(goals_);
    for (int f = goals_.first; f <= goals_.last; ++f)
      for (int side = 0; side < 2; ++side) {
        const Goal& g = goal(side, f);
        if (!g.active) continue;
        const LegFrame& o = own(side, f);
        const double full = distance(o.hip, o.knee) + distance(o.knee, o.foot.at), most = (mayReach(o) - easyReach) * full;
        const Vec3d d = o.hip + way(f) - g.pose.at;
        const double flat = d.x * d.x + d.z * d.z, limit = settings.pelvisLimit * plan_.context.leg;
        const double sinks = flat >= most * most ? limit : d.y - std::sqrt(most * most - flat);
        need[f] = std::max(need[f], std::clamp(sinks, 0.0, limit) * g.firm);
      }
    drop_ = covering(need, common(frames_, goals_), plan_.kernel);
  }

  /// Between stays the sole must not be pushed deeper than the ground, near them not even where it was: the foot is levelled as far
  /// as that helps, then raised.
  void clear(int side) {
    const PlantLeg& foot = leg(side);
    Strip down(goals_), up(goals_), rise(goals_);  // turns that lower and raise the toes; metres
    bool any = false;
    for (int f = goals_.first; f <= goals_.last; ++f) {
      const Goal& g = goal(side, f);
      if (!g.active || g.stay >= 0) continue;
      const GroundPlane& plane = stay(nearest(side, f)).plane;
      const auto lowest = [&](const FootPose& pose) { return plane.above(pose.at) + foot.lowest(pose, plane.normal).height; };
      const double floor = (1 - g.share) * std::min(0.0, lowest(own(side, f).foot));
      if (lowest(g.pose) >= floor) continue;
      any = true;
      const double pitch = foot.pitchOf(g.pose.foot, plane.normal);
      double least = 0, most = 1;
      if (lowest(pitched(foot, g.pose, -pitch)) > floor)
        for (int step = 0; step < 12; ++step) {
          const double middle = (least + most) / 2;
          (lowest(pitched(foot, g.pose, -pitch * middle)) > floor ? most : least) = middle;
        }
      (pitch > 0 ? down : up)[f] = std::abs(pitch) * most;
      rise[f] = std::max(0.0, floor - lowest(pitched(foot, g.pose, -pitch * most)));
    }
    if (!any) return;
    const FrameSpan here = common(frames_, goals_);
    const Strip downs = covering(down, here, plan_.kernel), ups = covering(up, here, plan_.kernel), rises = covering(rise, here, plan_.kernel);
    for (int f = here.first; f <= here.last; ++f) {
      Goal& g = goal(side, f);
      if (!g.active || g.stay >= 0) continue;
      if (ups.at(f) <= 0 && downs.at(f) <= 0 && rises.at(f) <= 0) continue;
      const Stay& s = stay(nearest(side, f));
      const double part = 1 - fade(std::max(s.span.first - f, f - s.span.last) / (clearTime * plan_.context.rate.hertz()));
      g.pose = pitched(foot, g.pose, (ups.at(f) - downs.at(f)) * part);
      g.pose.at += s.plane.normal * (rises.at(f) * part);
    }
  }
  [[nodiscard]] int nearest(int side, int frame) const {
    int best = -1, away = 1 << 30;
    for (const int i : plan_.order[static_cast<std::size_t>(side)])
      if (const int a = std::max(stay(i).span.first - frame, frame - stay(i).span.last); a < away) away = a, best = i;
    return best;
  }
  void solve(int frame, TiledMotion& out, std::vector<Residual>& residuals) {
    const PartPlants::Hold seat = parts_.seatAt(in_, frame);
    Vec3d goes = way(frame);
    const double lift = lift_[static_cast<std::size_t>(frame - ways_.first)];
    goes.y = std::max(goes.y - drop_.at(frame), lift - plantSettings().pelvisLimit * plan_.context.leg);
    const Vec3d moves = goes * (1 - seat.firm) + seat.shift;
    const bool raise = moves != Vec3d{};
    if (!raise && !goal(0, frame).active && !goal(1, frame).active) return;
    pose_.load(in_, frame);
    if (raise) pose_.move(moves);
    for (int side = 0; side < 2; ++side) {
      if (!leg(side).limb.complete()) continue;
      Goal g = goal(side, frame);
      const LegFrame& was = own(side, frame);
      if (!g.active) {
        if (!raise) continue;
        g.pose = was.foot;
      }
      FootPose target = g.pose;
      double miss = 0;
      const bool leaves = g.active && (g.stay < 0 || frame >= stay(g.stay).release);
      const auto reached = [&](FootPose pose) {
        const Vec3d hip = was.hip + moves;
        const double full = distance(was.hip, was.knee) + distance(was.knee, was.foot.at), wanted = distance(hip, pose.at) / full;
        if (wanted <= 1e-9) return pose;
        const double reach = softReach(was, wanted, g.firm);
        if (reach >= wanted) return pose;
        // One that lets go or is on its way is raised, so that it does not slip.
        const double across = std::hypot(hip.x - pose.at.x, hip.z - pose.at.z), rest = full * full * reach * reach - across * across;
        if (leaves && hip.y > pose.at.y && rest > 0) pose.at.y = hip.y - std::sqrt(rest);
        else pose.at = hip + (pose.at - hip) * (reach / wanted);
        return pose;
      };
      target = reached(target);
      miss = distance(target.at, g.pose.at);
      pose_.place(side, target);
      if (leg(side).soft && g.firm > 0) miss = std::max(miss, settle(side, g, target, reached));
      if (g.stay >= 0 && frame < stay(g.stay).release) residuals[plan_.stays[static_cast<std::size_t>(g.stay)].repair].note(frame, miss + distance(pose_.leg(side).foot.at, target.at));
    }
    pose_.store(out, frame);
  }

  /// A sole that partly hangs on the shank has given way: the foot makes up for it. Returns by how much it is kept from that.
  template <class Reached>
  double settle(int side, const Goal& g, FootPose& target, const Reached& reached) {
    const PlantLeg& foot = leg(side);
    const Vec3d normal = g.stay >= 0 ? stay(g.stay).plane.normal : Vec3d{0, 1, 0};
    PlantLeg::Give sum;
    const PlantLeg::Print wanted = foot.print(target, normal);
    const double pitch = foot.pitchOf(target.foot, normal);
    for (int round = 0; round < 6; ++round) {
      const LegFrame now = pose_.leg(side);
      const PlantLeg::Give more = foot.give(wanted, pitch, foot.given(target, sum, 1), now.shank, now.knee, normal);
      sum.tilt += more.tilt;
      sum.shift += more.shift;
      pose_.place(side, reached(foot.given(target, sum, 1)));
      if (length(more.shift) + std::abs(more.tilt) * foot.footLength() < 3e-5 * plan_.context.height) break;
    }
    const double part = g.stay >= 0 ? 1 : g.share;
    const FootPose asked = foot.given(target, sum, part);
    target = reached(asked);
    if (part < 1) pose_.place(side, target);
    return distance(asked.at, target.at);
  }

  const PlantPlan& plan_;
  const PartPlants& parts_;
  const TiledMotion& in_;
  FrameSpan frames_, clip_, goals_;
  LegsPose pose_;
  struct {
    int first = 0;
    std::array<std::vector<LegFrame>, 2> legs;
  } own_;
  std::vector<char> mine_;                       // stays whose feet are wanted here
  std::vector<int> near_;                        // stays that matter to the pelvis here
  std::vector<std::vector<FootPose>> standing_;  // by stay
  std::array<std::vector<Goal>, 2> goalsOf_;     // over goals_
  FrameSpan ways_;
  std::vector<Vec3d> way_;                       // of the pelvis, over ways_
  std::vector<double> lift_;                     // what of it the anchors say
  Strip drop_;
};

}  // namespace

PlantPlan::PlantPlan(const RepairContext& c)
    : context(c), legs(c.standing->legs), reach(std::max(1, static_cast<int>(std::lround(plantSettings().pelvisTime * c.rate.hertz())))), kernel(bump(reach)) {}

FrameSpan PlantPlan::affected(FrameSpan span) const {
  FrameSpan out = span;
  const auto cover = [](FrameSpan& all, FrameSpan w) { all = all.empty() ? w : FrameSpan{std::min(all.first, w.first), std::max(all.last, w.last)}; };
  FrameSpan pelvis;  // where its way may change
  for (const Stay& s : stays) {
    if (!common(widened(written(s), 2 * reach, 2 * reach), span).empty()) cover(out, written(s));
    if (!common(s.span, span).empty()) cover(pelvis, widened(eased(s), reach, reach));
  }
  for (const Stay& s : stays)
    if (!common(pelvis, s.span).empty()) cover(out, written(s));
  return out;
}

void applyPlants(const PlantPlan& plan, const PartPlants& parts, const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) {
  PlantWork(plan, parts, in, frames).run(out, residuals);
}

}  // namespace understudy
