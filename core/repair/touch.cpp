#include "core/repair/touch.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <string>

#include "core/math/rigid.h"
#include "core/repair/grip.h"
#include "core/repair/poser.h"
#include "core/repair/touch_skin.h"
#include "core/scene/set.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
// Farthest turns that help a limb that is too short.
constexpr double mostCollar = 15 * degree, mostSpine = 10 * degree;
// Parts of a limb's length: up to `easy` it needs no help; with all help it may be as straight as `straightest`.
/// Metres (at a height of 1.7) at which skin touches skin: grids and chosen points are not exact.
constexpr double justTouching = 0.001;
/// Seconds on either side over which the way onto the skin is smoothed, round after round; after each but the last it settles on the
/// skin again. Before that, the median of this many seconds on either side takes off what single frames ask for.
constexpr std::array calms{0.12, 0.10, 0.03};
constexpr int calmRounds = static_cast<int>(calms.size());
constexpr double median = 0.035;
/// Metres (at a height of 1.7) by which the smooth way may be left to touch.
constexpr double trembling = 0.012;
constexpr double steady = 0.03;  ///< seconds on either side over which that is smoothed
constexpr double easy = 0.97, straightest = 0.999;
/// Farthest turn of a hand whose prop does not reach its place by the arm alone.
constexpr double mostSwing = 25 * degree;

/// A place that is touched, and what touches it, at a moment.
struct Moment {
  double frame = 0;
  int joint = -1;  ///< carries place and normal; −1: the stage does
  Vec3d place, normal, point;
};

struct Item {
  std::size_t index = 0;  ///< of the repair in its layer
  const TouchRepair* touch = nullptr;
  double weight = 1;
  int bone = -1;
  int limb = -1;          ///< 0, 1: arms; 2, 3: legs
  int other = -1;         ///< arm of the touched hand, where it comes too
  std::vector<Moment> path;
  std::optional<SetShape> shape;
  std::optional<Rigid> propInBone;
  std::shared_ptr<const TouchSkin> skin;  ///< where the hand's skin is what touches
};

/// What a touch asks for in one pose.
struct Wish {
  Vec3d point, target;
  int carrier = -1;  ///< joint that carries the target, −1: none
  [[nodiscard]] Vec3d way() const { return target - point; }
};

Vec3d cubic(const Vec3d& a, const Vec3d& b, const Vec3d& c, const Vec3d& d, double ta, double tb, double tc, double td, double t) {
  // Hermite between b and c with the slopes of the parabolas' neighbours (Catmull–Rom for uneven moments).
  const double h = tc - tb, u = (t - tb) / h;
  const Vec3d mb = (c - a) * (h / (tc - ta)), mc = (d - b) * (h / (td - tb));
  const double u2 = u * u, u3 = u2 * u;
  return b * (2 * u3 - 3 * u2 + 1) + mb * (u3 - 2 * u2 + u) + c * (3 * u2 - 2 * u3) + mc * (u3 - u2);
}

class TouchLayer final : public RepairLayer {
 public:
  TouchLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)) {
    for (const Role role : {Role::spine, Role::chest, Role::upperChest})
      for (const int joint : context_->roles().at(role).joints) {
        const auto carries = [&](const LimbRig& arm) { return arm.root >= 0 && isAncestor(context_->figure->skeleton, joint, arm.root); };
        if (carries(context_->arms[0]) && carries(context_->arms[1])) spine_.push_back(joint);
      }
    std::sort(spine_.begin(), spine_.end());
    spine_.erase(std::unique(spine_.begin(), spine_.end()), spine_.end());
    for (const Role role : {Role::neck, Role::head})
      if (const int j = context_->joint(role); head_ < 0 && j >= 0 && !spine_.empty() && isAncestor(context_->figure->skeleton, spine_.back(), j)) head_ = j;
    heldTouches_.resize(repairs_.size());
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const TouchRepair* touch = std::get_if<TouchRepair>(&repairs_[i]->action);
      if (!touch || frames_[i].span.empty()) continue;
      if (touch->prop != 0)
        if (const std::optional<std::size_t> grip = gripOver(i, touch->prop)) heldTouches_[*grip].push_back(i);
      Result<Item> item = prepare(i, *touch);
      if (!item) {
        issues.push_back(makeWarning(item.error().what, describe(*repairs_[i]), item.error().todo));
        continue;
      }
      items_.push_back(std::move(*item));
    }
  }

  [[nodiscard]] bool empty() const { return items_.empty(); }

  [[nodiscard]] std::vector<TouchMiss> misses(const TiledMotion& motion) const {
    std::vector<TouchMiss> out;
    if (items_.empty()) return out;
    const Item& item = items_.front();
    const FrameSpan span = frames_[item.index].span;
    Poser poser(*context_);
    for (int f = span.first; f <= std::min(span.last, motion.frames() - 1); ++f) {
      poser.load(motion, f);
      const Wish wish = wishOf(poser, item, f);
      TouchMiss miss;
      miss.skin = item.skin != nullptr;
      miss.gap = length(wish.way());
      if (item.skin) {
        const Moment m = momentAt(poser, item, f);
        miss.gap = TouchSkin::Posed(*item.skin, poser, item.limb, against(item, m)).nearest({}).distance - item.touch->gap;
        const Vec3d off = wish.way() - m.normal * dot(wish.way(), m.normal);
        miss.place = length(off);
      }
      out.push_back(miss);
    }
    return out;
  }

  /// A grip moves nothing here, but says where the prop of a touch lies in the hand.
  [[nodiscard]] FrameSpan extent(std::size_t repair) const override {
    if (std::holds_alternative<TouchRepair>(repairs_[repair]->action)) return RepairLayer::extent(repair);
    FrameSpan all;
    for (const std::size_t touch : heldTouches_[repair]) {
      const FrameSpan acting = frames_[touch].acting();
      all = all.empty() ? acting : FrameSpan{std::min(all.first, acting.first), std::max(all.last, acting.last)};
    }
    return all;
  }

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    FrameSpan result = changed;
    const auto include = [&](FrameSpan s) {
      if (s.empty()) return;
      result.first = std::min(result.first, s.first);
      result.last = std::max(result.last, s.last);
    };
    for (const Item& item : items_) {
      const RepairFrames& f = frames_[item.index];
      const FrameSpan acting = f.acting();
      int reach = 0;
      for (int round = 1; item.skin && round <= calmRounds; ++round) reach += calmFrames(round) + medianFrames();
      if (reach > 0) reach += steadyFrames();
      if (reach > 0) include(common(widened(common(changed, f.span), reach, reach), f.span));
      if (!common(changed, {f.span.first, f.span.first + slopeFrames + reach}).empty()) include({acting.first, f.span.first});
      if (!common(changed, {f.span.last - slopeFrames - reach, f.span.last}).empty()) include({f.span.last, acting.last});
    }
    return result;
  }

  [[nodiscard]] std::vector<int> movedJoints() const override {
    std::vector<int> joints;
    for (const Item& item : items_)
      for (const int limb : {item.limb, item.other})
        if (limb >= 0 && limbAt(limb).detached) joints.push_back(limbAt(limb).end);
    std::sort(joints.begin(), joints.end());
    joints.erase(std::unique(joints.begin(), joints.end()), joints.end());
    return joints;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override {
    Poser poser(*context_);
    Kept kept(*this);
    for (int f = frames.first; f <= frames.last; ++f) {
      std::vector<Pull> pulls = pullsAt(f);
      if (pulls.empty()) continue;
      for (Pull& pull : pulls) {
        const RepairFrames& when = frames_[pull.item->index];
        if (when.span.holds(f)) {
          if (pull.item->skin) {
            pull.start = doneAt(poser, in, *pull.item, f, kept);
            pull.settled = true;
          }
        } else {
          pull.edge = edgeOf(poser, in, *pull.item, f < when.span.first ? 0 : 1, kept);
        }
      }
      poser.load(in, f);
      solve(poser, in, pulls, f);
      for (const Pull& pull : pulls) {
        if (!frames_[pull.item->index].span.holds(f)) continue;
        residuals[pull.item->index].note(f, pull.item->skin ? std::abs(skinGap(poser, *pull.item, f)) : length(wishOf(poser, *pull.item, f).way()));
      }
      poser.store(out, f);
    }
  }

 private:
  static constexpr int slopeFrames = 2;

  /// How far the hand, and the other one where both come, are moved; in the stage or a joint's frame.
  struct Change {
    Vec3d own, other;
    Vec3d swing;  ///< rotation vector by which the hand with a prop is turned
    [[nodiscard]] Change turned(const Quatd& q) const { return {rotate(q, own), rotate(q, other), rotate(q, swing)}; }
    [[nodiscard]] Change plus(const Change& c, double w) const { return {own + c.own * w, other + c.other * w, swing + c.swing * w}; }
    [[nodiscard]] double size() const { return std::max(length(own), length(other)); }
  };
  /// The change at a span's edge, in its carrier's frame, and how it changes outwards a frame.
  struct Edge {
    Change change, outwards;
    int carrier = -1;
  };
  struct Pull {
    const Item* item = nullptr;
    double weight = 0;  ///< share of the limb
    const Edge* edge = nullptr;
    std::optional<Change> start;  ///< skin goes on from here
    bool settled = false;         ///< and stays there
  };
  /// What one run has worked out, by item and frame of its span.
  struct Kept {
    struct Of {
      std::array<std::vector<std::optional<Change>>, calmRounds + 1> rounds;  ///< as asked for, and after each smoothing
      std::array<std::vector<std::optional<Change>>, calmRounds> usual;       ///< medians of the rounds but the last
      std::vector<std::optional<double>> left;                                ///< after the last round
      std::array<std::optional<Edge>, 2> edges;
    };
    explicit Kept(const TouchLayer& layer) : items(layer.items_.size()) {
      for (std::size_t i = 0; i < items.size(); ++i) {
        const auto n = static_cast<std::size_t>(layer.frames_[layer.items_[i].index].span.count());
        for (auto& round : items[i].rounds) round.resize(n);
        for (auto& round : items[i].usual) round.resize(n);
        items[i].left.resize(n);
      }
    }
    std::vector<Of> items;
  };
  [[nodiscard]] Kept::Of& keptOf(Kept& kept, const Item& item) const { return kept.items[static_cast<std::size_t>(&item - items_.data())]; }
  /// Frames on either side over which the way onto the skin is smoothed in a round, counted from 1.
  [[nodiscard]] int calmFrames(int round) const {
    return std::max(1, static_cast<int>(std::lround(calms[static_cast<std::size_t>(round - 1)] * context_->rate.hertz())));
  }
  /// The same over which what is left to the skin is smoothed.
  [[nodiscard]] int steadyFrames() const { return static_cast<int>(std::lround(steady * context_->rate.hertz())); }
  [[nodiscard]] int medianFrames() const { return std::max(1, static_cast<int>(std::lround(median * context_->rate.hertz()))); }

  [[nodiscard]] const LimbRig& limbAt(int limb) const {
    return limb < 2 ? context_->arms[static_cast<std::size_t>(limb)] : context_->legs[static_cast<std::size_t>(limb - 2)];
  }

  [[nodiscard]] int limbOf(int joint) const {
    for (int limb = 0; limb < 4; ++limb) {
      const LimbRig& rig = limbAt(limb);
      if (rig.complete() && (joint == rig.end || isAncestor(context_->figure->skeleton, rig.end, joint))) return limb;
    }
    return -1;
  }

  [[nodiscard]] Result<Item> prepare(std::size_t index, const TouchRepair& touch) const {
    const auto wrong = [](std::string what, std::string todo) { return makeError(Fault::usage, std::move(what), {}, std::move(todo)); };
    Item item;
    item.index = index;
    item.touch = &touch;
    item.weight = std::clamp(repairs_[index]->weight, 0.0, 1.0);
    const Result<int> bone = findBone(*context_, touch.bone);
    if (!bone) return bone.error();
    item.bone = *bone;
    item.limb = limbOf(*bone);
    if (item.limb < 0 && touch.prop == 0)
      return wrong("'" + touch.bone + "' is no hand and no foot of a limb that is mapped", "Choose a hand, a foot or a bone below one");
    if (!isFinite(touch.point) || !isFinite(touch.place) || !isFinite(touch.normal) || !std::isfinite(touch.gap))
      return wrong("The touch holds numbers that are not finite", "Make it again");
    const Vec3d normal = normalised(touch.normal, Vec3d{0, 1, 0});
    if (touch.prop != 0) {
      Result<std::pair<int, Rigid>> held = propInHand(index, touch);
      if (!held) return held.error();
      item.bone = held->first;
      item.limb = limbOf(held->first);
      item.propInBone = held->second;
    }
    Moment moment;
    moment.place = touch.place;
    moment.normal = normal;
    moment.point = touch.point;
    switch (touch.target) {
      case TouchTarget::point:
      case TouchTarget::plane: break;
      case TouchTarget::set: {
        const auto object = std::find_if(context_->set.begin(), context_->set.end(),
                                         [&](const SetItem& s) { return s.name == touch.on || std::to_string(s.id) == touch.on; });
        if (object == context_->set.end()) return wrong("The set has no object '" + touch.on + "'", "Add it, or choose one it has");
        Result<SetShape> shape = setShape(*object);
        if (!shape) return shape.error();
        item.shape = std::move(*shape);
        // The place is in the object's own frame.
        moment.place = understudy::apply(item.shape->place, touch.place);
        moment.normal = rotate(item.shape->place.turn, normal);
        break;
      }
      case TouchTarget::body:
      case TouchTarget::hand: {
        if (touch.path.empty() || !touch.on.empty()) {
          const Result<int> on = findBone(*context_, touch.on);
          if (!on) return on.error();
          moment.joint = *on;
        }
        const double rate = context_->rate.hertz();
        for (const TouchMark& mark : touch.path) {
          const Result<int> on = findBone(*context_, mark.on);
          if (!on) return on.error();
          if (!std::isfinite(mark.time) || !isFinite(mark.place) || !isFinite(mark.normal) || !isFinite(mark.point))
            return wrong("The touch's path holds numbers that are not finite", "Make it again");
          if (!item.path.empty() && mark.time * rate <= item.path.back().frame)
            return wrong("The moments of the touch's path are not in order", "Sort them by time");
          item.path.push_back({mark.time * rate, *on, mark.place, normalised(mark.normal, Vec3d{0, 1, 0}), mark.point});
        }
        if (touch.target == TouchTarget::hand) {
          const int other = limbOf(item.path.empty() ? moment.joint : item.path.front().joint);
          if (other < 0 || other == item.limb) return wrong("'" + touch.on + "' is not the other hand", "Touch the hand of the other arm");
          if (touch.share > 0) item.other = other;
        }
        break;
      }
      case TouchTarget::prop: return wrong("Touching a prop that another hand holds is not supported yet", "Use a grip, or touch a point");
    }
    if (item.path.empty()) item.path.push_back(moment);
    if (touch.skin && item.limb < 2 && (touch.target == TouchTarget::body || touch.target == TouchTarget::hand)) {
      std::shared_ptr<const TouchSkin> skin = TouchSkin::of(*context_);
      if (skin->hasHand(item.limb) && skin->hasBody()) item.skin = std::move(skin);
    }
    for (const Moment& m : item.path)
      if (m.joint >= 0 && item.other < 0 && limbOf(m.joint) == item.limb) return wrong("A limb cannot touch its own end", "Choose another target");
    return item;
  }

  /// The grip that holds a prop over most of a touch's span.
  [[nodiscard]] std::optional<std::size_t> gripOver(std::size_t touch, std::uint64_t prop) const {
    std::optional<std::size_t> best;
    int most = 0;
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const GripRepair* grip = std::get_if<GripRepair>(&repairs_[i]->action);
      if (!grip || grip->prop != prop || !grip->anchored || !context_->arms[grip->leadLeft ? 0 : 1].complete()) continue;
      const int shared = common(frames_[i].span, frames_[touch].span).count();
      if (shared <= most) continue;
      most = shared;
      best = i;
    }
    return best;
  }

  /// The hand that holds a touch's prop over its span, and the prop in that hand's rigid frame: by a grip, else by the prop's own
  /// holder at that time, else as its lead grip lies in the palm of the touch's bone.
  [[nodiscard]] Result<std::pair<int, Rigid>> propInHand(std::size_t index, const TouchRepair& touch) const {
    const auto prop = std::find_if(context_->props.begin(), context_->props.end(), [&](const PropItem& p) { return p.id == touch.prop; });
    if (prop == context_->props.end())
      return makeError(Fault::usage, "There is no prop " + std::to_string(touch.prop), {}, "Add the prop, or touch with a bone");
    if (const std::optional<std::size_t> at = gripOver(index, touch.prop)) {
      const GripRepair& grip = std::get<GripRepair>(repairs_[*at]->action);
      return std::pair{context_->arms[grip.leadLeft ? 0 : 1].end, rigidOf(grip.leadPalm) * inverse(rigidOf(grip.leadGrip))};
    }
    const FrameSpan span = frames_[index].span;
    const PropHolder* holder = nullptr;
    for (const PropHolder& h : prop->holders)
      if (h.time * context_->rate.hertz() <= 0.5 * (span.first + span.last) && (!holder || h.time >= holder->time)) holder = &h;
    if (holder) {
      const Result<int> bone = holder->bone.empty() ? Result<int>(-1) : findBone(*context_, holder->bone);
      if (!bone) return bone.error();
      if (limbOf(*bone) < 0)
        return makeError(Fault::usage, "No hand holds the prop '" + prop->name + "' there", {}, "Give it to a hand, by a grip or a holder, or move the span");
      return std::pair{*bone, Rigid{normalised(holder->place.rotation), holder->place.position}};
    }
    const Result<int> bone = findBone(*context_, touch.bone);
    if (!bone) return bone.error();
    const int limb = limbOf(*bone);
    const auto& hands = handsOf(*context_);
    if (limb < 0 || limb > 1 || hands[static_cast<std::size_t>(limb)].joint < 0)
      return makeError(Fault::usage, "'" + touch.bone + "' cannot hold the prop that is to touch", {}, "Name the hand that leads the prop");
    const Hand& hand = hands[static_cast<std::size_t>(limb)];
    return std::pair{hand.joint, hand.palm * inverse(Rigid{normalised(prop->leadGrip.rotation), prop->leadGrip.position})};
  }

  static Result<SetShape> setShape(const SetItem& object) {
    SetShape shape;
    switch (object.kind) {
      case SetKind::plane: shape.form = SetForm::plane; break;
      case SetKind::box: shape.form = SetForm::box; break;
      case SetKind::ball: shape.form = SetForm::ball; break;
      case SetKind::steps: shape.form = SetForm::steps; break;
      case SetKind::mesh: {
        shape.form = SetForm::mesh;
        Result<std::shared_ptr<const SetMesh>> mesh = readSetMesh(object.path);
        if (!mesh) return mesh.error();
        shape.mesh = std::move(*mesh);
        break;
      }
    }
    shape.place = {normalised(object.place.rotation), object.place.position};
    shape.size = object.size;
    shape.count = object.count;
    if (const Status good = checkShape(shape); !good) return good.error();
    return shape;
  }

  /// What acts at a frame. A touch in its span takes its limb whole; fading ones share what is left: w/(1−w) against 1.
  [[nodiscard]] std::vector<Pull> pullsAt(int frame) const {
    std::vector<Pull> pulls;
    for (const Item& item : items_) {
      const double w = item.weight * spanWeight(frames_[item.index], frame);
      const bool locked = isLocked(item.limb, frame) && (item.other < 0 || isLocked(item.other, frame));
      if (w > 0 && !locked) pulls.push_back({&item, w, nullptr, std::nullopt, false});
    }
    for (int limb = 0; limb < 4; ++limb) {
      std::vector<Pull*> own;
      for (Pull& pull : pulls)
        if (pull.item->limb == limb || pull.item->other == limb) own.push_back(&pull);
      if (own.size() < 2) continue;
      double whole = 0, sum = 1;
      for (const Pull* pull : own) {
        if (pull->weight > 1 - 1e-9)
          ++whole;
        else
          sum += pull->weight / (1 - pull->weight);
      }
      std::vector<double> shares;
      for (const Pull* pull : own)
        shares.push_back(whole > 0 ? (pull->weight > 1 - 1e-9 ? 1 / whole : 0) : pull->weight / (1 - pull->weight) / sum);
      for (std::size_t i = 0; i < own.size(); ++i) own[i]->weight = std::min(own[i]->weight, shares[i]);
    }
    std::erase_if(pulls, [](const Pull& pull) { return pull.weight <= 0; });
    return pulls;
  }

  [[nodiscard]] Moment momentAt(const Poser& poser, const Item& item, int frame) const {
    const std::vector<Moment>& path = item.path;
    const auto world = [&](const Moment& m) {
      Moment out = m;
      if (m.joint >= 0) {
        out.place = poser.toWorld(m.joint, m.place);
        out.normal = rotate(poser.rotation(m.joint), m.normal);
      }
      return out;
    };
    if (path.size() == 1 || frame <= path.front().frame) return world(path.front());
    if (frame >= path.back().frame) return world(path.back());
    std::size_t k = 1;
    while (path[k].frame < frame) ++k;
    const std::size_t before = k >= 2 ? k - 2 : 0, after = std::min(k + 1, path.size() - 1);
    Moment out;
    out.joint = frame - path[k - 1].frame < path[k].frame - frame ? path[k - 1].joint : path[k].joint;
    const Moment a = world(path[before]), b = world(path[k - 1]), c = world(path[k]), d = world(path[after]);
    // At the path's ends the missing neighbour is mirrored.
    const double ta = before == k - 1 ? 2 * b.frame - c.frame : a.frame, td = after == k ? 2 * c.frame - b.frame : d.frame;
    const auto through = [&](const Vec3d& va, const Vec3d& vb, const Vec3d& vc, const Vec3d& vd) {
      return cubic(before == k - 1 ? vb * 2.0 - vc : va, vb, vc, after == k ? vc * 2.0 - vb : vd, ta, b.frame, c.frame, td, frame);
    };
    out.place = through(a.place, b.place, c.place, d.place);
    out.point = through(a.point, b.point, c.point, d.point);
    out.normal = normalised(lerp(b.normal, c.normal, (frame - b.frame) / (c.frame - b.frame)), b.normal);
    return out;
  }

  [[nodiscard]] Wish wishOf(const Poser& poser, const Item& item, int frame) const {
    const TouchRepair& touch = *item.touch;
    const Moment m = momentAt(poser, item, frame);
    Wish wish;
    wish.point = poser.toWorld(item.bone, item.propInBone ? understudy::apply(*item.propInBone, m.point) : m.point);
    wish.carrier = m.joint;
    wish.target = m.place + m.normal * touch.gap;
    if (touch.kind == TouchKind::glide && touch.path.empty()) {
      if (touch.target == TouchTarget::plane) {
        wish.target = wish.point - m.normal * (dot(wish.point - m.place, m.normal) - touch.gap);
      } else if (item.shape) {
        const SurfacePoint nearest = nearestOn(*item.shape, wish.point);
        wish.target = nearest.point + nearest.normal * touch.gap;
      }
    }
    if (item.skin) wish.target += m.normal * ontoSkin(poser, item, wish.way(), m);
    return wish;
  }

  /// How far along the normal a hand that was moved by `way` has to go on until its skin just touches.
  [[nodiscard]] double ontoSkin(const Poser& poser, const Item& item, const Vec3d& way, const Moment& m) const {
    const TouchSkin::Posed posed(*item.skin, poser, item.limb, against(item, m));
    const double wanted = item.touch->gap + context_->scaled(justTouching);
    // Outwards to where it is free, or inwards to where it first touches: distances never change faster than the way, so that
    // neither goes past.
    double along = 0;
    for (int pass = 0; pass < 40; ++pass) {
      const TouchSkin::Posed::Nearest nearest = posed.nearest(way + m.normal * along);
      const double off = wanted - nearest.distance;
      if (std::abs(off) < context_->scaled(1e-4)) break;
      const double steep = std::abs(dot(nearest.gradient, m.normal));
      along += off / std::clamp(steep, 0.5, 1.0);
      if (std::abs(along) > context_->scaled(0.5)) break;
    }
    return along;
  }

  [[nodiscard]] TouchSkin::Against against(const Item& item, const Moment& m) const {
    if (item.touch->target == TouchTarget::hand) return TouchSkin::Against::otherHand;
    const int root = limbAt(1 - item.limb).root;
    const bool arm = m.joint >= 0 && root >= 0 && (m.joint == root || isAncestor(context_->figure->skeleton, root, m.joint));
    return arm ? TouchSkin::Against::bodyAndOtherArm : TouchSkin::Against::body;
  }

  /// The change at a frame of the span by a touch that is alone, going on from `start`.
  [[nodiscard]] Change changeOf(Poser& poser, const TiledMotion& in, const Item& item, int frame, const std::optional<Change>& start) const {
    poser.load(in, frame);
    const int own = limbAt(item.limb).end, other = item.other >= 0 ? limbAt(item.other).end : -1;
    const Vec3d ownHad = poser.position(own), otherHad = other >= 0 ? poser.position(other) : Vec3d{};
    const Quatd turnHad = poser.rotation(own);
    Pull pull{&item, 1, nullptr, start, false};
    solve(poser, in, {pull}, frame);
    return {poser.position(own) - ownHad, other >= 0 ? poser.position(other) - otherHad : Vec3d{},
            item.propInBone ? logOf(poser.rotation(own) * conjugate(turnHad)) : Vec3d{}};
  }

  /// Where skin goes on from at a frame in a round: the mean of what the frames around it ask for, so that the hand neither jitters
  /// nor leaps as other points of it come to touch.
  [[nodiscard]] Change calmAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round) const {
    const FrameSpan span = frames_[item.index].span;
    const int reach = calmFrames(round);
    Change sum;
    double total = 0;
    for (int f = std::max(span.first, frame - reach); f <= std::min(span.last, frame + reach); ++f) {
      const double w = 1 + std::cos(std::numbers::pi * (f - frame) / (reach + 1));
      sum = sum.plus(usualAt(poser, in, item, f, kept, round - 1), w);
      total += w;
    }
    return Change{}.plus(sum, 1 / total);
  }

  /// The median of the changes around a frame after so many rounds, number by number.
  [[nodiscard]] const Change& usualAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round) const {
    const FrameSpan span = frames_[item.index].span;
    std::optional<Change>& usual = keptOf(kept, item).usual[static_cast<std::size_t>(round)][static_cast<std::size_t>(frame - span.first)];
    if (usual) return *usual;
    // The same number of frames on both sides, so that the ends of the span are their own.
    const int reach = std::min({medianFrames(), frame - span.first, span.last - frame});
    std::array<std::vector<double>, 6> values;
    for (int f = frame - reach; f <= frame + reach; ++f) {
      const Change& change = doneAt(poser, in, item, f, kept, round);
      const double numbers[] = {change.own.x, change.own.y, change.own.z, change.other.x, change.other.y, change.other.z};
      for (std::size_t k = 0; k < values.size(); ++k) values[k].push_back(numbers[k]);
    }
    std::array<double, 6> middle{};
    for (std::size_t k = 0; k < values.size(); ++k) {
      const auto at = values[k].begin() + reach;
      std::nth_element(values[k].begin(), at, values[k].end());
      middle[k] = *at;
    }
    usual = Change{{middle[0], middle[1], middle[2]}, {middle[3], middle[4], middle[5]}, {}};
    return *usual;
  }

  /// The change at a frame after so many rounds of smoothing; after the last one it is what is applied.
  [[nodiscard]] const Change& doneAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round = calmRounds) const {
    std::optional<Change>& done = keptOf(kept, item).rounds[static_cast<std::size_t>(round)][static_cast<std::size_t>(frame - frames_[item.index].span.first)];
    if (!done) {
      if (item.skin && round == calmRounds) {
        const FrameSpan span = frames_[item.index].span;
        const int reach = steadyFrames();
        double along = 0, total = 0;
        for (int f = std::max(span.first, frame - reach); f <= std::min(span.last, frame + reach); ++f) {
          const double w = 1 + std::cos(std::numbers::pi * (f - frame) / (reach + 1));
          along += w * leftAt(poser, in, item, f, kept);
          total += w;
        }
        along /= total;
        const Change calm = calmAt(poser, in, item, frame, kept, round);
        poser.load(in, frame);
        solve(poser, in, {Pull{&item, 1, nullptr, calm, true}}, frame);
        const Vec3d normal = momentAt(poser, item, frame).normal;
        const double share = shareOf(item, frame);
        done = calm.plus({normal * (along * (1 - share)), normal * (-along * share), {}}, 1);
      } else {
        std::optional<Change> start;
        if (item.skin && round > 0) start = calmAt(poser, in, item, frame, kept, round);
        done = changeOf(poser, in, item, frame, start);
      }
    }
    return *done;
  }

  /// What the smooth way leaves to the skin along the place's normal, metres; no more than a hand's trembling.
  [[nodiscard]] double leftAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept) const {
    std::optional<double>& left = keptOf(kept, item).left[static_cast<std::size_t>(frame - frames_[item.index].span.first)];
    if (left) return *left;
    const Change calm = calmAt(poser, in, item, frame, kept, calmRounds);
    poser.load(in, frame);
    solve(poser, in, {Pull{&item, 1, nullptr, calm, true}}, frame);
    const Moment m = momentAt(poser, item, frame);
    const TouchSkin::Posed touch(*item.skin, poser, item.limb, against(item, m));
    const double wanted = item.touch->gap + context_->scaled(justTouching), farthest = context_->scaled(trembling);
    double along = 0, best = 0, least = std::numeric_limits<double>::infinity();
    for (int pass = 0; pass < 12; ++pass) {
      const TouchSkin::Posed::Nearest n = touch.nearest(m.normal * along);
      const double off = wanted - n.distance;
      if (std::abs(off) < least) {
        least = std::abs(off);
        best = along;
      }
      if (std::abs(off) < context_->scaled(1e-4)) break;
      along = std::clamp(along + off / std::clamp(std::abs(dot(n.gradient, m.normal)), 0.5, 1.0), -farthest, farthest);
    }
    left = best;
    return best;
  }

  [[nodiscard]] const Edge* edgeOf(Poser& poser, const TiledMotion& in, const Item& item, int side, Kept& kept) const {
    std::optional<Edge>& known = keptOf(kept, item).edges[static_cast<std::size_t>(side)];
    if (known) return &*known;
    const RepairFrames& when = frames_[item.index];
    const int edge = side == 0 ? when.span.first : when.span.last, inwards = side == 0 ? 1 : -1;
    const int steps = std::min(slopeFrames, when.span.last - when.span.first);
    std::array<Change, slopeFrames + 1> change;
    Edge out;
    for (int k = 0; k <= steps; ++k) {
      const int f = edge + inwards * k;
      const Change done = doneAt(poser, in, item, f, kept);
      poser.load(in, f);
      if (k == 0) out.carrier = momentAt(poser, item, f).joint;
      change[static_cast<std::size_t>(k)] = out.carrier >= 0 ? done.turned(conjugate(poser.rotation(out.carrier))) : done;
    }
    out.change = change[0];
    if (steps > 0) out.outwards = Change{}.plus(change[0].plus(change[static_cast<std::size_t>(steps)], -1), 1.0 / steps);
    // The slope goes on no further than the change is large.
    const double ease = side == 0 ? when.before : when.after, most = out.change.size() + context_->scaled(0.01);
    if (const double far = out.outwards.size() * ease; far > most) out.outwards = Change{}.plus(out.outwards, most / far);
    known = out;
    return &*known;
  }

  /// Distance of the skins beyond the wanted gap, metres.
  [[nodiscard]] double skinGap(const Poser& poser, const Item& item, int frame) const {
    const double d = TouchSkin::Posed(*item.skin, poser, item.limb, against(item, momentAt(poser, item, frame))).nearest({}).distance - item.touch->gap;
    // Just touching is touching.
    return d - std::clamp(d, 0.0, 2 * context_->scaled(justTouching));
  }

  void solve(Poser& poser, const TiledMotion& in, const std::vector<Pull>& pulls, int frame) const {
    Task task;
    task.frame = frame;
    for (int limb = 0; limb < 4; ++limb) {
      const LimbRig& rig = limbAt(limb);
      if (!rig.complete()) continue;
      LimbTask& l = task.limbs[static_cast<std::size_t>(limb)];
      l.goal = poser.position(rig.end);
      l.rotation = poser.rotation(rig.end);
      const Vec3d root = poser.position(rig.root), line = normalised(l.goal - root), bend = poser.position(rig.mid) - root, off = bend - line * dot(bend, line);
      l.reach = distance(root, l.goal);
      if (length(off) > 0.02 * length(bend)) {
        l.side = normalised(off);
        l.line = line;
      }
    }
    const auto add = [&](const Pull& pull, const Change& change, double w) {
      LimbTask& own = task.limbs[static_cast<std::size_t>(pull.item->limb)];
      own.goal += change.own * w;
      if (pull.item->propInBone && dot(change.swing, change.swing) > 0) own.rotation = expOf(change.swing * w) * own.rotation;
      if (pull.item->other >= 0) task.limbs[static_cast<std::size_t>(pull.item->other)].goal += change.other * w;
    };
    bool exact = false;
    for (const Pull& pull : pulls) {
      for (const int limb : {pull.item->limb, pull.item->other})
        if (limb >= 0) task.limbs[static_cast<std::size_t>(limb)].weight = std::max(task.limbs[static_cast<std::size_t>(limb)].weight, pull.weight);
      task.spineMayHelp = task.spineMayHelp && pull.item->touch->spine;
      if (pull.edge) {
        const RepairFrames& when = frames_[pull.item->index];
        const int out = frame < when.span.first ? when.span.first - frame : frame - when.span.last;
        const Change change = pull.edge->change.plus(pull.edge->outwards, out);
        add(pull, pull.edge->carrier >= 0 ? change.turned(poser.rotation(pull.edge->carrier)) : change, pull.weight);
        continue;
      }
      if (pull.start) {
        add(pull, *pull.start, pull.weight);
      } else {
        const Vec3d way = wishOf(poser, *pull.item, frame).way();
        const double share = shareOf(*pull.item, frame);
        add(pull, {way * (1 - share), way * -share, {}}, pull.weight);
      }
      exact = exact || (pull.weight > 1 - 1e-9 && !pull.settled);
    }
    const bool spineTurned = bring(poser, task);
    if (exact) follow(poser, in, pulls, task, spineTurned);
  }

  /// Part of the way the other hand comes: none where it is locked, all where this one is.
  [[nodiscard]] double shareOf(const Item& item, int frame) const {
    if (item.other < 0 || isLocked(item.other, frame)) return 0;
    return isLocked(item.limb, frame) ? 1 : std::clamp(item.touch->share, 0.0, 1.0);
  }

  [[nodiscard]] bool isLocked(int limb, int frame) const {
    const LimbRig& rig = limbAt(limb);
    return std::any_of(context_->locks.begin(), context_->locks.end(), [&](const RepairContext::Locked& lock) {
      if (!lock.span.holds(frame)) return false;
      return std::any_of(lock.joints.begin(), lock.joints.end(), [&](int j) { return j == rig.root || j == rig.mid || j == rig.end; });
    });
  }

  struct LimbTask {
    Vec3d goal;
    double weight = 0;   ///< 0: it only keeps its place
    Quatd rotation;      ///< of the end, world
    double reach = 0;    ///< how far the end was from the root before
    double swung = 0;    ///< radians the end has been turned for its prop's sake
    std::optional<Vec3d> side;  ///< unit, to which the middle joint was off the line from root to end
    Vec3d line;                 ///< unit, that line
  };
  struct Task {
    int frame = 0;
    std::array<LimbTask, 4> limbs;
    bool spineMayHelp = true;
  };

  /// Spine and other hand have moved targets along: goes after them. What is out of reach is left to the other hand; skin that is to
  /// touch then does so at the nearest place within reach.
  void follow(Poser& poser, const TiledMotion& in, const std::vector<Pull>& pulls, Task& task, bool spineTurned) const {
    const double near = 1e-6 * context_->height;
    const auto goalOf = [&](int limb) -> Vec3d& { return task.limbs[static_cast<std::size_t>(limb)].goal; };
    std::array<LimbTask, 4> best = task.limbs;
    double bestMiss = std::numeric_limits<double>::infinity();
    bool last = true;  // the pose is that of the best goals
    // Props that are pointed to their place take more steps, of which none is halved.
    const bool points = std::any_of(pulls.begin(), pulls.end(), [](const Pull& pull) { return pull.item->propInBone.has_value(); });
    const int passes = points ? 24 : 10;
    for (int pass = 0;; ++pass) {
      const auto reached = [&](int limb) { return distance(poser.position(limbAt(limb).end), goalOf(limb)) < near; };
      std::array<Vec3d, 4> next;
      for (int limb = 0; limb < 4; ++limb) next[static_cast<std::size_t>(limb)] = goalOf(limb);
      double miss = 0;
      bool again = false;
      for (const Pull& pull : pulls) {
        if (pull.edge || pull.settled || pull.weight < 1 - 1e-9) continue;
        const Item& item = *pull.item;
        const auto own = static_cast<std::size_t>(item.limb), other = static_cast<std::size_t>(std::max(0, item.other));
        if (item.skin) {
          const Change s = settled(poser, item, task.frame, pull.start.has_value());
          miss = std::max(miss, s.size());
          if (s.size() < near) continue;
          next[own] = poser.position(limbAt(item.limb).end) + s.own;
          if (item.other >= 0) next[other] = poser.position(limbAt(item.other).end) + s.other;
        } else {
          const Vec3d way = wishOf(poser, item, task.frame).way();
          miss = std::max(miss, length(way));
          if (length(way) < near) continue;
          const bool ownCan = shareOf(item, task.frame) < 1 && reached(item.limb), otherCan = item.other >= 0 && shareOf(item, task.frame) > 0 && reached(item.other);
          const double share = shareOf(item, task.frame);
          if (!ownCan && !otherCan) {
            const std::optional<Vec3d> swung = item.propInBone ? swing(poser, item, task) : std::nullopt;
            if (swung) next[own] = *swung;
            again = swung || again;
            continue;
          }
          next[own] += way * (ownCan && otherCan ? 1 - share : ownCan ? 1.0 : 0.0);
          if (item.other >= 0) next[other] -= way * (ownCan && otherCan ? share : otherCan ? 1.0 : 0.0);
        }
        again = true;
      }
      last = miss < bestMiss;
      if (last) {
        bestMiss = miss;
        best = task.limbs;
      }
      if (!again || pass + 1 >= passes) break;
      // Touches on each other's arms chase one another: half steps.
      const double step = pass < 3 || points ? 1 : 0.5;
      for (int limb = 0; limb < 4; ++limb) goalOf(limb) += (next[static_cast<std::size_t>(limb)] - goalOf(limb)) * step;
      poser.load(in, task.frame);  // what helps is found anew, not added up
      const bool turnedBefore = spineTurned;
      spineTurned = bring(poser, task);
      // A single hand that got where it should has moved no target along.
      const Item& item = *pulls.front().item;
      if (pulls.size() == 1 && item.other < 0 && item.skin && !spineTurned && !turnedBefore && reached(item.limb)) return;
    }
    if (last) return;
    task.limbs = best;
    poser.load(in, task.frame);
    bring(poser, task);
  }

  /// Turns the hand so that its prop points to the place, as the arm does not get there, and says where the hand is to be then;
  /// nothing where it is so already.
  std::optional<Vec3d> swing(const Poser& poser, const Item& item, Task& task) const {
    LimbTask& limb = task.limbs[static_cast<std::size_t>(item.limb)];
    const Vec3d pivot = poser.position(limbAt(item.limb).end);
    const Wish wish = wishOf(poser, item, task.frame);
    const Vec3d from = wish.point - pivot, to = wish.target - pivot;
    if (length(from) < 1e-6 || length(to) < 1e-6) return std::nullopt;
    Vec3d turn = logOf(rotationBetween(normalised(from), normalised(to)));
    const double room = mostSwing - limb.swung;
    if (length(turn) > room) turn = turn * (std::max(0.0, room) / length(turn));
    limb.swung += length(turn);
    limb.rotation = expOf(turn) * limb.rotation;
    const Vec3d goal = pivot + armOf(poser, item.limb).within(to - rotate(expOf(turn), from));
    if (length(turn) < 1e-7 && distance(goal, limb.goal) < 1e-6 * context_->height) return std::nullopt;
    return goal;
  }

  struct Arm {
    Vec3d root, end;
    double least = 0, most = 0;

    /// The nearest shift that the arm can reach.
    [[nodiscard]] Vec3d within(const Vec3d& shift) const {
      const Vec3d arm = end + shift - root;
      const double d = length(arm);
      return d > 1e-9 ? shift + arm * (std::clamp(d, least, most) / d - 1) : shift;
    }
  };
  [[nodiscard]] Arm armOf(const Poser& poser, int limb) const {
    const LimbRig& rig = limbAt(limb);
    Arm arm{poser.position(rig.root), poser.position(rig.end)};
    const double upper = distance(arm.root, poser.position(rig.mid)), lower = distance(poser.position(rig.mid), arm.end);
    arm.least = 1.002 * std::abs(upper - lower);
    // Some bend is left, so that the elbow does not snap as the hand comes nearer.
    arm.most = 0.988 * (upper + lower);
    return arm;
  }

  /// Further changes of hands at which the skins touch: from the wished place on, or from here, by turns onto the skin, out of the
  /// body, into the arms' reach, until all hold.
  [[nodiscard]] Change settled(const Poser& poser, const Item& item, int frame, bool fromHere) const {
    const Moment m = momentAt(poser, item, frame);
    const double fine = context_->scaled(1e-4), wanted = item.touch->gap + context_->scaled(justTouching);
    const bool hands = item.touch->target == TouchTarget::hand;
    const double share = shareOf(item, frame);
    const Vec3d way = fromHere ? Vec3d{} : wishOf(poser, item, frame).way();
    Change s{way * (1 - share), way * -share, {}};
    const Arm own = armOf(poser, item.limb), other = armOf(poser, 1 - item.limb);
    const TouchSkin::Posed touch(*item.skin, poser, item.limb, against(item, m));
    std::optional<TouchSkin::Posed> ownBody, otherBody;
    if (hands) {
      ownBody.emplace(*item.skin, poser, item.limb, TouchSkin::Against::body);
      if (item.other >= 0 && item.skin->hasHand(item.other)) otherBody.emplace(*item.skin, poser, item.other, TouchSkin::Against::body);
    }
    const auto step = [](const TouchSkin::Posed::Nearest& n, double off) {
      const double steep = length(n.gradient);
      return steep > 1e-6 ? n.gradient * (off / (steep * std::max(steep, 0.5))) : Vec3d{};
    };
    // A smooth start asks for little: along the place's own normal it stays smooth, also where that is not enough.
    if (fromHere) {
      double along = 0;
      for (int pass = 0; pass < 16; ++pass) {
        const TouchSkin::Posed::Nearest n = touch.nearest(m.normal * along);
        const double off = wanted - n.distance;
        if (std::abs(off) < 0.5 * fine) {
          s = {m.normal * (along * (1 - share)), m.normal * (-along * share), {}};
          break;
        }
        along += off / std::clamp(std::abs(dot(n.gradient, m.normal)), 0.5, 1.0);
        if (std::abs(along) > context_->scaled(0.08)) break;
      }
    }
    for (int pass = 0; pass < 30; ++pass) {
      double off = 0;
      if (pass > 0 || fromHere) {
        const TouchSkin::Posed::Nearest n = touch.nearest(s.own - s.other);
        const double d = wanted - n.distance;
        off = std::max(off, std::abs(d));
        const Vec3d onto = step(n, d);
        s.own += onto * (1 - share);
        s.other -= onto * share;
      }
      if (ownBody) {
        const TouchSkin::Posed::Nearest n = ownBody->nearest(s.own);
        if (const double d = wanted - n.distance; d > 0) {
          off = std::max(off, d);
          s.own += step(n, d);
          if (otherBody) s.other += step(n, d);
        }
      }
      if (otherBody) {
        const TouchSkin::Posed::Nearest n = otherBody->nearest(s.other);
        if (const double d = wanted - n.distance; d > 0) {
          off = std::max(off, d);
          s.other += step(n, d);
          s.own += step(n, d);
        }
      }
      const Change within{own.within(s.own), share > 0 ? other.within(s.other) : s.other, {}};
      off = std::max({off, distance(within.own, s.own), distance(within.other, s.other)});
      s = within;
      if (off < fine) break;
    }
    return s;
  }

  /// Brings the limbs with a weight to their goals. True if the spine was turned.
  bool bring(Poser& poser, const Task& task) const {
    bool spineTurned = false;
    for (int arm = 0; arm < 2; ++arm) {
      const LimbTask& l = task.limbs[static_cast<std::size_t>(arm)];
      if (l.weight > 0) spineTurned = help(poser, arm, l.goal, l.reach, task.spineMayHelp) || spineTurned;
    }
    for (int limb = 0; limb < 4; ++limb) {
      const LimbTask& l = task.limbs[static_cast<std::size_t>(limb)];
      const bool carried = limb < 2 && spineTurned && limbAt(limb).complete();
      if (l.weight <= 0 && !carried) continue;
      LimbGoal wanted;
      wanted.target = l.goal;
      wanted.endRotation = l.rotation;
      // The elbow's side goes along with the limb's line by the least turn, which is unsteady for opposite directions only.
      if (l.side) wanted.pole = rotate(rotationBetween(l.line, normalised(l.goal - poser.position(limbAt(limb).root), l.line)), *l.side);
      poser.solveLimb(limbAt(limb), wanted);
    }
    return spineTurned;
  }

  /// Turns collarbone and spine as far as an arm needs it to reach its goal. True if the spine was turned.
  bool help(Poser& poser, int arm, const Vec3d& goal, double reach, bool spineMayHelp) const {
    const LimbRig& rig = limbAt(arm);
    const double full = distance(poser.position(rig.root), poser.position(rig.mid)) + distance(poser.position(rig.mid), poser.position(rig.end));
    const double from = std::max(easy * full, std::min(reach, 0.9985 * full)), most = straightest * full;
    const double now = distance(poser.position(rig.root), goal);
    if (now <= from) return false;
    // How far shoulder and goal may be apart in the end: nears `most` without a kink.
    const double wanted = from + (most - from) * (1 - std::exp((from - now) / (most - from)));
    const int girdle = rig.girdle;
    const bool spine = spineMayHelp && !spine_.empty();
    if (girdle < 0 && !spine) return false;
    const Vec3d shoulder = poser.position(rig.root), towards = normalised(goal - shoulder);
    const auto axisAbout = [&](int joint) { return normalised(cross(shoulder - poser.position(joint), towards)); };
    const Vec3d collarPivot = girdle >= 0 ? poser.position(girdle) : Vec3d{}, spinePivot = spine ? poser.position(spine_.front()) : Vec3d{};
    const Vec3d collarAxis = girdle >= 0 ? axisAbout(girdle) : Vec3d{}, spineAxis = spine ? axisAbout(spine_.front()) : Vec3d{};
    const auto collarAngle = [&](double x) { return mostCollar * (1 - (1 - x) * (1 - x)); };
    const auto spineAngle = [&](double x) { return mostSpine * x * x; };
    const auto apart = [&](double x) {
      Vec3d s = shoulder;
      if (girdle >= 0) s = collarPivot + rotate(fromAxisAngle(collarAxis, collarAngle(x)), s - collarPivot);
      if (spine) s = spinePivot + rotate(fromAxisAngle(spineAxis, spineAngle(x)), s - spinePivot);
      return distance(s, goal);
    };
    double low = 0, high = 1;
    if (apart(1) < wanted) {
      for (int i = 0; i < 40; ++i) {
        const double middle = 0.5 * (low + high);
        (apart(middle) > wanted ? low : high) = middle;
      }
    }
    if (girdle >= 0) poser.turn(girdle, fromAxisAngle(collarAxis, collarAngle(high)));
    if (!spine || spineAngle(high) < 1e-9) return false;
    const Quatd head = head_ >= 0 ? poser.rotation(head_) : Quatd{};
    const Quatd each = fromAxisAngle(spineAxis, spineAngle(high) / static_cast<double>(spine_.size()));
    for (const int joint : spine_) poser.turn(joint, each);
    if (head_ >= 0) poser.setRotation(head_, head);
    return true;
  }

  std::vector<Item> items_;
  std::vector<std::vector<std::size_t>> heldTouches_;  ///< of each repair that is a grip: the touches whose prop it holds
  std::vector<int> spine_;
  int head_ = -1;
};

}  // namespace

RepairLayerPtr makeTouchLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  auto layer = std::make_shared<const TouchLayer>(std::move(context), std::move(repairs), issues);
  if (layer->empty()) return nullptr;
  return layer;
}

std::vector<TouchMiss> touchMisses(const RepairContext& context, const TiledMotion& motion, const Repair& touch, const std::vector<const Repair*>& grips) {
  Issues ignored;
  std::vector<const Repair*> all{&touch};
  for (const Repair* repair : grips)
    if (std::holds_alternative<GripRepair>(repair->action)) all.push_back(repair);
  // The layer only looks at the context while this lasts.
  const std::shared_ptr<const RepairContext> borrowed(std::shared_ptr<const RepairContext>(), &context);
  return TouchLayer(borrowed, std::move(all), ignored).misses(motion);
}

}  // namespace understudy
