#include "core/repair/touch.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>
#include <string>

#include "core/math/rigid.h"
#include "core/repair/hands.h"
#include "core/repair/poser.h"
#include "core/scene/set.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;
// Farthest turns that help a limb that is too short.
constexpr double mostCollar = 15 * degree, mostSpine = 10 * degree;
// Parts of a limb's length: up to `easy` it needs no help; with all help it may be as straight as `straightest`.
constexpr double easy = 0.97, straightest = 0.999;

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
    for (std::size_t i = 0; i < repairs_.size(); ++i) {
      const TouchRepair* touch = std::get_if<TouchRepair>(&repairs_[i]->action);
      if (!touch || frames_[i].span.empty()) continue;
      Result<Item> item = prepare(i, *touch);
      if (!item) {
        issues.push_back(makeWarning(item.error().what, describe(*repairs_[i]), item.error().todo));
        continue;
      }
      items_.push_back(std::move(*item));
    }
  }

  [[nodiscard]] bool empty() const { return items_.empty(); }

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
      if (!common(changed, {f.span.first, f.span.first + slopeFrames}).empty()) include({acting.first, f.span.first});
      if (!common(changed, {f.span.last - slopeFrames, f.span.last}).empty()) include({f.span.last, acting.last});
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
    std::vector<std::array<std::optional<Edge>, 2>> edges(items_.size());
    for (int f = frames.first; f <= frames.last; ++f) {
      std::vector<Pull> pulls = pullsAt(f);
      if (pulls.empty()) continue;
      for (Pull& pull : pulls) {
        const RepairFrames& when = frames_[pull.item->index];
        if (when.span.holds(f)) continue;
        const int side = f < when.span.first ? 0 : 1;
        std::optional<Edge>& edge = edges[static_cast<std::size_t>(pull.item - items_.data())][static_cast<std::size_t>(side)];
        if (!edge) edge = edgeOf(poser, in, *pull.item, side);
        pull.edge = &*edge;
      }
      poser.load(in, f);
      solve(poser, in, pulls, f, residuals);
      poser.store(out, f);
    }
  }

 private:
  static constexpr int slopeFrames = 2;

  /// The change at a span's edge, in its carrier's frame, and how it changes outwards a frame.
  struct Edge {
    Vec3d change, outwards;
    int carrier = -1;
  };
  struct Pull {
    const Item* item = nullptr;
    double weight = 0;  ///< share of the limb
    const Edge* edge = nullptr;
  };

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
    if (item.limb < 0)
      return wrong("'" + touch.bone + "' is no hand and no foot of a limb that is mapped", "Choose a hand, a foot or a bone below one");
    if (!isFinite(touch.point) || !isFinite(touch.place) || !isFinite(touch.normal) || !std::isfinite(touch.gap))
      return wrong("The touch holds numbers that are not finite", "Make it again");
    const Vec3d normal = normalised(touch.normal, Vec3d{0, 1, 0});
    if (touch.prop != 0) {
      const auto prop = std::find_if(context_->props.begin(), context_->props.end(), [&](const PropItem& p) { return p.id == touch.prop; });
      if (prop == context_->props.end()) return wrong("There is no prop " + std::to_string(touch.prop), "Add the prop, or touch with a bone");
      const auto hands = findHands(context_->body);
      if (item.limb > 1 || hands[static_cast<std::size_t>(item.limb)].joint < 0)
        return wrong("'" + touch.bone + "' cannot hold the prop that is to touch", "Name the hand that leads the prop");
      const Hand& hand = hands[static_cast<std::size_t>(item.limb)];
      item.bone = hand.joint;
      item.propInBone = hand.palm * inverse(Rigid{normalised(prop->leadGrip.rotation), prop->leadGrip.position});
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
    for (const Moment& m : item.path)
      if (m.joint >= 0 && item.other < 0 && limbOf(m.joint) == item.limb) return wrong("A limb cannot touch its own end", "Choose another target");
    return item;
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
      if (w > 0) pulls.push_back({&item, w, nullptr});
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
    return wish;
  }

  [[nodiscard]] Edge edgeOf(Poser& poser, const TiledMotion& in, const Item& item, int side) const {
    const RepairFrames& when = frames_[item.index];
    const int edge = side == 0 ? when.span.first : when.span.last, inwards = side == 0 ? 1 : -1;
    const int steps = std::min(slopeFrames, when.span.last - when.span.first);
    std::array<Vec3d, slopeFrames + 1> change;
    Edge out;
    for (int k = 0; k <= steps; ++k) {
      poser.load(in, edge + inwards * k);
      const Wish wish = wishOf(poser, item, edge + inwards * k);
      if (k == 0) out.carrier = wish.carrier;
      change[static_cast<std::size_t>(k)] = out.carrier >= 0 ? rotate(conjugate(poser.rotation(out.carrier)), wish.way()) : wish.way();
    }
    out.change = change[0];
    if (steps > 0) out.outwards = (change[0] - change[static_cast<std::size_t>(steps)]) / static_cast<double>(steps);
    // The slope goes on no further than the change is large.
    const double ease = side == 0 ? when.before : when.after, most = length(out.change) + context_->scaled(0.01);
    if (const double far = length(out.outwards) * ease; far > most) out.outwards = out.outwards * (most / far);
    return out;
  }

  void solve(Poser& poser, const TiledMotion& in, const std::vector<Pull>& pulls, int frame, std::vector<Residual>& residuals) const {
    std::array<Vec3d, 4> goal, had;
    std::array<double, 4> weight{};
    std::array<Quatd, 4> rotation;
    std::array<double, 4> reach{};
    bool spineMayHelp = true;
    for (int limb = 0; limb < 4; ++limb) {
      const LimbRig& rig = limbAt(limb);
      if (!rig.complete()) continue;
      const auto l = static_cast<std::size_t>(limb);
      goal[l] = had[l] = poser.position(rig.end);
      rotation[l] = poser.rotation(rig.end);
      reach[l] = distance(poser.position(rig.root), had[l]);
    }
    const auto add = [&](const Pull& pull, const Vec3d& way, double w) {
      const double others = pull.item->other >= 0 ? std::clamp(pull.item->touch->share, 0.0, 1.0) : 0;
      goal[static_cast<std::size_t>(pull.item->limb)] += way * (w * (1 - others));
      if (pull.item->other >= 0) goal[static_cast<std::size_t>(pull.item->other)] -= way * (w * others);
    };
    bool exact = false;
    for (const Pull& pull : pulls) {
      weight[static_cast<std::size_t>(pull.item->limb)] = std::max(weight[static_cast<std::size_t>(pull.item->limb)], pull.weight);
      if (pull.item->other >= 0) weight[static_cast<std::size_t>(pull.item->other)] = std::max(weight[static_cast<std::size_t>(pull.item->other)], pull.weight);
      spineMayHelp = spineMayHelp && pull.item->touch->spine;
      if (pull.edge) {
        const RepairFrames& when = frames_[pull.item->index];
        const int out = frame < when.span.first ? when.span.first - frame : frame - when.span.last;
        const Vec3d change = pull.edge->change + pull.edge->outwards * static_cast<double>(out);
        add(pull, pull.edge->carrier >= 0 ? rotate(poser.rotation(pull.edge->carrier), change) : change, pull.weight);
      } else {
        add(pull, wishOf(poser, *pull.item, frame).way(), pull.weight);
        exact = exact || pull.weight > 1 - 1e-9;
      }
    }
    bring(poser, goal, weight, rotation, reach, spineMayHelp);
    // Spine and other hand have moved targets along: go after them.
    for (int pass = 0; exact && pass < 8; ++pass) {
      double worst = 0;
      for (const Pull& pull : pulls) {
        if (pull.edge || pull.weight < 1 - 1e-9) continue;
        const Vec3d way = wishOf(poser, *pull.item, frame).way();
        worst = std::max(worst, length(way));
        if (pull.item->other >= 0 && pass >= 3)
          // One of both may be out of reach: the other one goes all the way.
          goal[static_cast<std::size_t>(pass % 2 == 0 ? pull.item->limb : pull.item->other)] += way * (pass % 2 == 0 ? 1.0 : -1.0);
        else
          add(pull, way, 1);
      }
      if (worst < 1e-6 * context_->height) break;
      poser.load(in, frame);  // what helps is found anew, not added up
      bring(poser, goal, weight, rotation, reach, spineMayHelp);
    }
    for (const Pull& pull : pulls)
      if (frames_[pull.item->index].span.holds(frame)) residuals[pull.item->index].note(frame, length(wishOf(poser, *pull.item, frame).way()));
  }

  /// Brings the limbs with a weight to their goals; `reach`: how far their ends were from their roots before.
  void bring(Poser& poser, const std::array<Vec3d, 4>& goal, const std::array<double, 4>& weight, const std::array<Quatd, 4>& rotation,
             const std::array<double, 4>& reach, bool spineMayHelp) const {
    bool spineTurned = false;
    for (std::size_t arm = 0; arm < 2; ++arm)
      if (weight[arm] > 0) spineTurned = help(poser, static_cast<int>(arm), goal[arm], reach[arm], spineMayHelp) || spineTurned;
    for (std::size_t limb = 0; limb < 4; ++limb) {
      const bool carried = limb < 2 && spineTurned && limbAt(static_cast<int>(limb)).complete();
      if (weight[limb] <= 0 && !carried) continue;
      LimbGoal wanted;
      wanted.target = goal[limb];
      wanted.endRotation = rotation[limb];
      poser.solveLimb(limbAt(static_cast<int>(limb)), wanted);
    }
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
  std::vector<int> spine_;
  int head_ = -1;
};

}  // namespace

RepairLayerPtr makeTouchLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues) {
  auto layer = std::make_shared<const TouchLayer>(std::move(context), std::move(repairs), issues);
  if (layer->empty()) return nullptr;
  return layer;
}

}  // namespace understudy
