#include <algorithm>
#include <cmath>

#include "core/repair/plant.h"
#include "core/repair/plant_parts.h"
#include "core/repair/plant_stay.h"
#include "core/repair/plant_strip.h"

namespace understudy {
namespace {

/// A change of a foot against its own way. `toe`: in the toes' frame below the foot.
struct Change {
  Vec3d at, foot, toe;
};
Change operator+(const Change& a, const Change& b) { return {a.at + b.at, a.foot + b.foot, a.toe + b.toe}; }
Change operator-(const Change& a, const Change& b) { return {a.at - b.at, a.foot - b.foot, a.toe - b.toe}; }
Change operator*(const Change& a, double s) { return {a.at * s, a.foot * s, a.toe * s}; }

Change changeOf(const FootPose& own, const FootPose& wanted) {
  return {wanted.at - own.at, logOf(wanted.foot * conjugate(own.foot)),
          logOf(conjugate(conjugate(own.foot) * own.toe) * (conjugate(wanted.foot) * wanted.toe))};
}
FootPose changed(const FootPose& own, const Change& c) {
  FootPose out;
  out.at = own.at + c.at;
  out.foot = normalised(expOf(c.foot) * own.foot);
  out.toe = normalised(out.foot * (conjugate(own.foot) * own.toe) * expOf(c.toe));
  return out;
}

struct Goal {
  FootPose pose;
  bool active = false;
  int stay = -1;     // planted by it
  double firm = 0;   // 1 planted, falling to 0 where the ease ends
};

class PlantLayer : public RepairLayer {
 public:
  PlantLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)), legs_(context_->standing->legs) {
    const PlantSettings& s = plantSettings();
    reach_ = std::max(1, static_cast<int>(std::lround(s.pelvisTime * context_->rate.hertz())));
    kernel_ = bump(reach_);
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const auto* plant = std::get_if<PlantRepair>(&repairs_[i]->action);
      if (!plant || (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot)) continue;
      const int side = plant->part == PlantPart::leftFoot ? 0 : 1;
      if (!legs_[static_cast<std::size_t>(side)].limb.complete() || context_->joint(Role::hips) < 0) {
        issues.push_back(makeWarning("This plant needs a leg and hips in the bone map; it is left out", describe(*repairs_[i]), "Map them"));
        continue;
      }
      std::optional<Stay> stay = stayOf(*context_, *repairs_[i], frames_[i], legs_[static_cast<std::size_t>(side)]);
      if (!stay) continue;
      stay->repair = i;
      const auto other = std::find_if(stays_.begin(), stays_.end(), [&](const Stay& o) { return o.side == stay->side && !common(o.span, stay->span).empty(); });
      if (other != stays_.end()) {
        issues.push_back(makeWarning("This plant overlaps " + describe(*repairs_[other->repair]) + " of the same foot; it is left out", describe(*repairs_[i]),
                                     "Shorten one of them"));
        continue;
      }
      stays_.push_back(std::move(*stay));
    }
    parts_ = std::make_unique<PartPlants>(*this, issues);
    std::sort(stays_.begin(), stays_.end(), [](const Stay& a, const Stay& b) { return a.span.first < b.span.first; });
    for (std::size_t i = 0; i < stays_.size(); ++i) order_[static_cast<std::size_t>(stays_[i].side)].push_back(static_cast<int>(i));
  }

  [[nodiscard]] FrameSpan extent(std::size_t repair) const override {
    for (const Stay& s : stays_)
      if (s.repair == repair) return common(written(s), {0, context_->frames - 1});
    return parts_->extent(repair).value_or(FrameSpan{});
  }
  [[nodiscard]] FrameSpan affected(FrameSpan span) const override {
    FrameSpan out = span;
    for (const Stay& s : stays_)
      if (const FrameSpan w = written(s); !common(widened(w, reach_, reach_), span).empty()) out = {std::min(out.first, w.first), std::max(out.last, w.last)};
    for (const FrameSpan& w : parts_->extents())
      if (!common(w, span).empty()) out = {std::min(out.first, w.first), std::max(out.last, w.last)};
    return common(out, {0, context_->frames - 1});
  }
  [[nodiscard]] std::vector<int> movedJoints() const override {
    if (stays_.empty() && parts_->empty()) return {};
    std::vector<int> out{context_->joint(Role::hips)};
    for (const PlantLeg& leg : legs_) {
      if (!leg.limb.complete()) continue;
      if (leg.limb.detached) out.push_back(leg.limb.end);
      if (leg.offPelvis) out.push_back(leg.limb.root);
    }
    std::sort(out.begin(), out.end());
    out.erase(std::unique(out.begin(), out.end()), out.end());
    return out;
  }
  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override;

 private:
  /// Frames a stay may write: eases, the pelvis' way into the lift, and its way down and up again.
  [[nodiscard]] FrameSpan written(const Stay& s) const {
    return widened(s.span, std::max(s.before + reach_, 2 * reach_), std::max(s.after + reach_, 2 * reach_));
  }
  friend class PlantWork;

  const std::array<PlantLeg, 2>& legs_;
  std::vector<Stay> stays_;                 // by first frame
  std::unique_ptr<const PartPlants> parts_;
  std::array<std::vector<int>, 2> order_;   // of each foot
  int reach_ = 1;
  std::vector<double> kernel_;
};

/// One call of apply().
class PlantWork {
 public:
  PlantWork(const PlantLayer& layer, const TiledMotion& in, FrameSpan frames)
      : layer_(layer), in_(in), frames_(frames), clip_{0, in.frames() - 1}, pose_(*layer.context_, layer.legs_), lift_({0, -1}), drop_({0, -1}) {}

  void run(TiledMotion& out, std::vector<Residual>& residuals) {
    const int r = layer_.reach_;
    // What is written depends on goals up to twice the reach away, those on all of the stays they belong to.
    goals_ = common(widened(frames_, 2 * r, 2 * r), clip_);
    FrameSpan needed = goals_;
    std::vector<int> near;
    for (std::size_t i = 0; i < layer_.stays_.size(); ++i) {
      const Stay& s = layer_.stays_[i];
      if (common(widened(s.span, s.before, s.after), goals_).empty()) continue;
      near.push_back(static_cast<int>(i));
      needed = {std::min(needed.first, s.span.first), std::max(needed.last, s.span.last)};
    }
    own_.first = needed.first;
    const FrameSpan writes = writtenIn(frames_);
    if (writes.empty()) return;
    for (int f = needed.first; f <= needed.last; ++f) {
      pose_.load(in_, f);
      for (int side = 0; side < 2; ++side)
        own_.legs[static_cast<std::size_t>(side)].push_back(layer_.legs_[static_cast<std::size_t>(side)].limb.complete() ? pose_.leg(side) : LegFrame{});
    }
    for (const int i : near) stand(i);
    raisePelvis();
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
    for (const Stay& s : layer_.stays_) {
      const FrameSpan w = common(layer_.written(s), frames);
      if (w.empty()) continue;
      out = out.empty() ? w : FrameSpan{std::min(out.first, w.first), std::max(out.last, w.last)};
    }
    if (layer_.parts_->hasSeat())
      for (const FrameSpan& e : layer_.parts_->extents())
        if (const FrameSpan w = common(e, frames); !w.empty()) out = out.empty() ? w : FrameSpan{std::min(out.first, w.first), std::max(out.last, w.last)};
    return out;
  }

  [[nodiscard]] const LegFrame& own(int side, int frame) const {
    return own_.legs[static_cast<std::size_t>(side)][static_cast<std::size_t>(frame - own_.first)];
  }
  [[nodiscard]] Goal& goal(int side, int frame) { return goalsOf_[static_cast<std::size_t>(side)][static_cast<std::size_t>(frame - goals_.first)]; }
  [[nodiscard]] const PlantLeg& leg(int side) const { return layer_.legs_[static_cast<std::size_t>(side)]; }

  void stand(int index) {
    const Stay& s = layer_.stays_[static_cast<std::size_t>(index)];
    std::vector<LegFrame> ownFrames;
    for (int f = s.span.first; f <= s.span.last; ++f) ownFrames.push_back(own(s.side, f));
    std::vector<FootPose> feet = standingFeet(s, leg(s.side), ownFrames);
    if (s.weight < 1)
      for (std::size_t k = 0; k < feet.size(); ++k) feet[k] = changed(ownFrames[k].foot, changeOf(ownFrames[k].foot, feet[k]) * s.weight);
    if (standing_.size() < layer_.stays_.size()) standing_.resize(layer_.stays_.size());
    standing_[static_cast<std::size_t>(index)] = std::move(feet);
  }
  [[nodiscard]] const FootPose& standing(int index, int frame) const {
    return standing_[static_cast<std::size_t>(index)][static_cast<std::size_t>(frame - layer_.stays_[static_cast<std::size_t>(index)].span.first)];
  }

  /// The pelvis rises by what the plants' anchors say.
  void raisePelvis() {
    const int r = layer_.reach_;
    Strip raw(widened(goals_, r, r));
    for (int f = raw.first; f <= raw.span().last; ++f) {
      double sum = 0, weight = 0;
      for (const Stay& s : layer_.stays_) {
        double a = 1;
        if (f < s.span.first) a = fade(static_cast<double>(s.span.first - f) / (s.before + 1));
        if (f > s.span.last) a = fade(static_cast<double>(f - s.span.last) / (s.after + 1));
        if (a <= 0) continue;
        sum += a * s.lift * s.weight;
        weight += a;
      }
      raw[f] = sum / std::max(1.0, weight);
    }
    lift_ = smoothed(raw, goals_, layer_.kernel_);
  }

  void fillGoals(int side) {
    std::vector<Goal>& goals = goalsOf_[static_cast<std::size_t>(side)];
    goals.assign(static_cast<std::size_t>(goals_.count()), {});
    for (const int i : layer_.order_[static_cast<std::size_t>(side)]) {
      const FrameSpan span = common(layer_.stays_[static_cast<std::size_t>(i)].span, goals_);
      for (int f = span.first; f <= span.last; ++f) goal(side, f) = {standing(i, f), true, i, layer_.stays_[static_cast<std::size_t>(i)].weight};
    }
  }

  [[nodiscard]] Change changeAt(int side, int stay, int frame) const { return changeOf(own(side, frame).foot, standing(stay, frame)); }

  /// A change that fades from the edge of a stay: value and slope matched there, nothing left after `length` frames.
  struct Fading {
    Change value, slope;  // slope: a frame outwards
    int length = 0;
    int slopeLength = 0;
    [[nodiscard]] Change at(int distance) const {
      // Quintic with value, slope and no further curvature at the edge; all level at the far end.
      const double t = static_cast<double>(distance) / length;
      if (t >= 1) return {};
      const double u = std::min(1.0, static_cast<double>(distance) / slopeLength);
      return value * fade(t) + slope * (slopeLength * u * (1 - u * u * (6 - u * (8 - 3 * u))));
    }
  };
  [[nodiscard]] Fading fading(int side, int stay, bool outwards, int length) const {
    const Stay& s = layer_.stays_[static_cast<std::size_t>(stay)];
    const int edge = outwards ? s.span.last : s.span.first, inside = std::clamp(edge + (outwards ? -1 : 1), s.span.first, s.span.last);
    Fading out;
    out.value = changeAt(side, stay, edge);
    out.slope = out.value - changeAt(side, stay, inside);
    out.length = length;
    out.slopeLength = std::min(length, std::max(1, static_cast<int>(std::lround(0.15 * layer_.context_->rate.hertz()))));
    return out;
  }

  /// Between stays the changes at their edges fade out along the foot's own way.
  void ease(int side) {
    const std::vector<int>& order = layer_.order_[static_cast<std::size_t>(side)];
    for (std::size_t i = 0; i <= order.size(); ++i) {
      const int before = i > 0 ? order[i - 1] : -1, after = i < order.size() ? order[i] : -1;
      const Stay* a = before >= 0 ? &layer_.stays_[static_cast<std::size_t>(before)] : nullptr;
      const Stay* b = after >= 0 ? &layer_.stays_[static_cast<std::size_t>(after)] : nullptr;
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
        if (useA && f - a->span.last < lengthA) {
          sum = fromA.at(f - a->span.last);
          g.active = true;
          g.firm = fade(static_cast<double>(f - a->span.last) / lengthA) * a->weight;
        }
        if (useB && b->span.first - f < lengthB) {
          sum = sum + fromB.at(b->span.first - f);
          g.active = true;
          g.firm = std::max(g.firm, fade(static_cast<double>(b->span.first - f) / lengthB) * b->weight);
        }
        if (g.active) g.pose = changed(own(side, f).foot, sum);
      }
    }
  }

  /// What part of its length a leg may reach over: planted ones as far as they may, others as far as they did.
  [[nodiscard]] double mayReach(const Goal& g, const LegFrame& o, double full) const {
    const double straightest = plantSettings().straightest;
    return straightest + (1 - g.firm) * std::max(0.0, std::min(1.0, distance(o.hip, o.foot.at) / full) - straightest);
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
        const double full = distance(o.hip, o.knee) + distance(o.knee, o.foot.at), most = mayReach(g, o, full) * full;
        const Vec3d d = o.hip + Vec3d{0, lift_.at(f), 0} - g.pose.at;
        const double flat = d.x * d.x + d.z * d.z, limit = settings.pelvisLimit * layer_.context_->leg;
        const double sinks = flat >= most * most ? limit : d.y - std::sqrt(most * most - flat);
        need[f] = std::max(need[f], std::clamp(sinks, 0.0, limit) * g.firm);
      }
    drop_ = covering(need, common(frames_, goals_), layer_.kernel_);
  }

  /// Fading must not push the sole deeper than the ground or than it was.
  void clear(int side) {
    Strip need(goals_);
    for (int f = goals_.first; f <= goals_.last; ++f) {
      const Goal& g = goal(side, f);
      if (!g.active || g.stay >= 0) continue;
      const GroundPlane* plane = nullptr;
      int nearest = 1 << 30;
      for (const int i : layer_.order_[static_cast<std::size_t>(side)]) {
        const Stay& s = layer_.stays_[static_cast<std::size_t>(i)];
        const int away = f < s.span.first ? s.span.first - f : f - s.span.last;
        if (away < nearest) nearest = away, plane = &s.plane;
      }
      const FootPose& was = own(side, f).foot;
      const double low = leg(side).lowest(g.pose, plane->normal).height, before = leg(side).lowest(was, plane->normal).height;
      need[f] = std::max(0.0, std::min(0.0, plane->above(was.at) + before) - (plane->above(g.pose.at) + low));
    }
    if (std::all_of(need.values.begin(), need.values.end(), [](double v) { return v <= 0; })) return;
    const FrameSpan here = common(frames_, goals_);
    const Strip rise = covering(need, here, layer_.kernel_);
    for (int f = here.first; f <= here.last; ++f)
      if (Goal& g = goal(side, f); g.active && g.stay < 0) g.pose.at.y += rise.at(f) * (1 - g.firm);
  }

  void solve(int frame, TiledMotion& out, std::vector<Residual>& residuals) {
    const PartPlants::Hold seat = layer_.parts_->seatAt(in_, frame);
    const Vec3d moves = Vec3d{0, (lift_.at(frame) - drop_.at(frame)) * (1 - seat.firm), 0} + seat.shift;
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
      // A leg that is asked for more than it may nears full stretch without snapping straight.
      const Vec3d hip = was.hip + moves;
      const double full = distance(was.hip, was.knee) + distance(was.knee, was.foot.at), wanted = distance(hip, target.at);
      const double may = mayReach(g, was, full) * full, zone = std::max(0.8 * (full - may), 1e-4 * full);
      if (wanted > may) target.at = hip + (target.at - hip) * ((may + zone * (1 - std::exp((may - wanted) / zone))) / wanted);
      miss = distance(target.at, g.pose.at);
      pose_.place(side, target);
      if (leg(side).soft && g.firm > 0) settle(side, g, target);
      if (g.stay >= 0) residuals[layer_.stays_[static_cast<std::size_t>(g.stay)].repair].note(frame, miss + distance(pose_.leg(side).foot.at, target.at));
    }
    pose_.store(out, frame);
  }

  /// A sole that partly hangs on the shank has given way: the foot makes up for it.
  void settle(int side, const Goal& g, FootPose& target) {
    const Vec3d normal = g.stay >= 0 ? layer_.stays_[static_cast<std::size_t>(g.stay)].plane.normal : Vec3d{0, 1, 0};
    PlantLeg::Give sum;
    const PlantLeg::Print wanted = leg(side).print(target, normal);
    const double pitch = leg(side).pitchOf(target.foot, normal);
    for (int round = 0; round < 6; ++round) {
      const LegFrame now = pose_.leg(side);
      const PlantLeg::Give more = leg(side).give(wanted, pitch, leg(side).given(target, sum, 1), now.shank, now.knee, normal);
      sum.tilt += more.tilt;
      sum.shift += more.shift;
      pose_.place(side, leg(side).given(target, sum, 1));
      if (length(more.shift) + std::abs(more.tilt) * leg(side).footLength() < 3e-5 * layer_.context_->height) break;
    }
    target = leg(side).given(target, sum, g.firm);
    if (g.firm < 1) pose_.place(side, target);
  }

  const PlantLayer& layer_;
  const TiledMotion& in_;
  FrameSpan frames_, clip_, goals_;
  LegsPose pose_;
  struct {
    int first = 0;
    std::array<std::vector<LegFrame>, 2> legs;
  } own_;
  std::vector<std::vector<FootPose>> standing_;  // by stay
  std::array<std::vector<Goal>, 2> goalsOf_;     // over goals_
  Strip lift_, drop_;
};

void PlantLayer::apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const {
  frames = common(frames, {0, in.frames() - 1});
  if (!stays_.empty() || parts_->hasSeat()) PlantWork(*this, in, frames).run(out, residuals);
  parts_->apply(in, frames, out, residuals);
}

}  // namespace

const PlantSettings& plantSettings() {
  static const PlantSettings settings;
  return settings;
}

RepairLayerPtr makePlantLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  return std::make_shared<PlantLayer>(std::move(context), std::move(repairs), issues);
}

}  // namespace understudy
