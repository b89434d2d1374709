// The layer of touches, for the files that make it up.
#pragma once

#include <array>
#include <cmath>
#include <memory>
#include <optional>
#include <utility>
#include <vector>

#include "core/base/memo.h"
#include "core/math/rigid.h"
#include "core/repair/poser.h"
#include "core/repair/touch.h"
#include "core/repair/touch_skin.h"
#include "core/scene/set.h"

namespace understudy {

class TouchLayer final : public RepairLayer {
 public:
  TouchLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues, SkinMeasure measure);

  [[nodiscard]] bool empty() const { return items_.empty(); }

  [[nodiscard]] std::vector<TouchMiss> misses(const TiledMotion& motion) const;

  /// A grip moves nothing here, but says where the prop of a touch lies in the hand.
  [[nodiscard]] FrameSpan extent(std::size_t repair) const override;

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override;

  [[nodiscard]] std::vector<int> movedJoints() const override;

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const override;

 private:
  /// Seconds on either side over which the way onto the skin is smoothed, round after round; after each but the last it settles on the
  /// skin again. Before that, the median of `median` seconds on either side takes off what single frames ask for.
  static constexpr std::array calms{0.12, 0.10, 0.03};
  static constexpr int calmRounds = static_cast<int>(calms.size());
  static constexpr double median = 0.035;
  static constexpr double sparse = 1.0 / 40;  ///< seconds between frames that are asked, at most, in rounds before the last two
  static constexpr double steady = 0.017;  ///< seconds on either side over which what the smooth way leaves to the skin is smoothed
  /// Metres (at a height of 1.7) at which skin touches skin: grids and chosen points are not exact.
  static constexpr double justTouching = 0.002;
  /// Part of a limb's length to which it may be straightened, so that the middle joint does not snap.
  static constexpr double straightest = 0.992;
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
    std::optional<Digest> what;             ///< of all of it that every frame depends on; only of skin
  };

  /// What a touch asks for in one pose.
  struct Wish {
    Vec3d point, target;
    int carrier = -1;  ///< joint that carries the target, −1: none
    [[nodiscard]] Vec3d way() const { return target - point; }
  };

  static constexpr int slopeFrames = 2;

  /// How far the hand, and the other one where both come, are moved, in the stage.
  struct Change {
    Vec3d own, other;
    Vec3d swing;  ///< rotation vector by which the hand with a prop is turned
    [[nodiscard]] Change plus(const Change& c, double w) const { return {own + c.own * w, other + c.other * w, swing + c.swing * w}; }
    [[nodiscard]] double size() const { return std::max(length(own), length(other)); }
  };
  /// How a limb's joints are turned against the motion: rotation vectors in the frame of what each hangs on.
  struct Bend {
    Vec3d girdle, root, mid;
    Vec3d end;         ///< of a hand with a prop, in its own frame; other ends keep their world rotation
    double inner = 0;  ///< angle at the middle joint, radians
    [[nodiscard]] Bend plus(const Bend& b, double w) const { return {girdle + b.girdle * w, root + b.root * w, mid + b.mid * w, end + b.end * w, inner}; }
  };
  /// A pose against the motion's own. Fading out over joints keeps an arm from running past its shoulder or straight on its way.
  struct Turns {
    Bend own, other;
    std::vector<Vec3d> spine;
    [[nodiscard]] Turns plus(const Turns& t, double w) const;
    [[nodiscard]] double size() const;  ///< radians, of the joint that is turned most
  };
  /// The turns at a span's edge, and how they change outwards a frame.
  struct Edge {
    Turns turns, outwards;
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
  [[nodiscard]] int calmFrames(int round) const;
  /// The same over which what is left to the skin is smoothed.
  [[nodiscard]] int steadyFrames() const { return static_cast<int>(std::lround(steady * context_->rate.hertz())); }
  [[nodiscard]] int sparseFrames() const { return std::max(1, static_cast<int>(sparse * context_->rate.hertz())); }
  [[nodiscard]] int medianFrames() const { return std::max(1, static_cast<int>(std::lround(median * context_->rate.hertz()))); }

  [[nodiscard]] const LimbRig& limbAt(int limb) const;

  [[nodiscard]] int limbOf(int joint) const;

  [[nodiscard]] Result<Item> prepare(std::size_t index, const TouchRepair& touch) const;

  /// The grip that holds a prop over most of a touch's span.
  [[nodiscard]] std::optional<std::size_t> gripOver(std::size_t touch, std::uint64_t prop) const;

  /// What holds a prop over most of a touch's span, a grip's lead hand or the prop's own holder (−1: the stage), and the prop in its
  /// rigid frame. Nothing where none does.
  [[nodiscard]] std::optional<Result<std::pair<int, Rigid>>> heldProp(std::size_t index, const PropItem& prop) const;
  [[nodiscard]] Result<std::pair<int, Rigid>> propPlace(std::size_t index, const PropItem& prop) const;

  /// The hand that holds a touch's prop over its span, and the prop in that hand's rigid frame: by a grip, else by the prop's own
  /// holder at that time, else as its lead grip lies in the palm of the touch's bone.
  [[nodiscard]] Result<std::pair<int, Rigid>> propInHand(std::size_t index, const TouchRepair& touch) const;

  /// What acts at a frame. A touch in its span takes its limb whole; fading ones share what is left: w/(1−w) against 1.
  [[nodiscard]] std::vector<Pull> pullsAt(int frame) const;

  [[nodiscard]] Moment momentAt(const Poser& poser, const Item& item, int frame) const;

  [[nodiscard]] Wish wishOf(const Poser& poser, const Item& item, int frame) const;
  /// The same by the place alone, whatever skin there is.
  [[nodiscard]] Wish placeWish(const Poser& poser, const Item& item, const Moment& m) const;

  /// How far along the normal a hand that was moved by `way` has to go on until its skin just touches.
  [[nodiscard]] double ontoSkin(const Poser& poser, const Item& item, const Vec3d& way, const Moment& m) const;

  [[nodiscard]] TouchSkin::Against against(const Item& item, const Moment& m) const;

  [[nodiscard]] static Digest digestOf(const Item& item);
  /// The moments between which a frame lies, and how it lies between them.
  struct Between {
    std::size_t before = 0, first = 0, second = 0, after = 0;  ///< of the path; where first and second are one the frame has that moment's place
    double start = 0, end = 0;                                 ///< frames of `before` and `after`, mirrored at the path's ends
  };
  [[nodiscard]] static Between between(const Item& item, int frame);
  static void addMoment(Digest& name, const Item& item, int frame);
  /// Names what an item comes to at a frame, going on from a change: frames of a touch that was tried with another span, of a motion that
  /// has not changed there, or that is the same at another time, are not worked out again. Nothing where more than that matters.
  enum class Asked : unsigned char { change, left, leftExactly, gap, gapExactly };
  [[nodiscard]] std::optional<Digest> nameOf(const TiledMotion& in, const Item& item, int frame, const std::optional<Change>& start, Asked asked) const;

  /// The change at a frame of the span by a touch that is alone, going on from `start`.
  [[nodiscard]] Change changeOf(Poser& poser, const TiledMotion& in, const Item& item, int frame, const std::optional<Change>& start) const;
  [[nodiscard]] Change freshChangeOf(Poser& poser, const TiledMotion& in, const Item& item, int frame, const std::optional<Change>& start) const;

  /// Where skin goes on from at a frame in a round: the mean of what the frames around it ask for, so that the hand neither jitters
  /// nor leaps as other points of it come to touch.
  [[nodiscard]] Change calmAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round) const;

  /// The median of the changes around a frame after so many rounds, number by number.
  [[nodiscard]] const Change& usualAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round) const;

  /// The change at a frame after so many rounds of smoothing; after the last one it is what is applied.
  [[nodiscard]] const Change& doneAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round = calmRounds) const;

  /// What the smooth way leaves to the skin along the place's normal, metres; no more than a hand's trembling.
  [[nodiscard]] double leftAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept) const;
  [[nodiscard]] double freshLeftAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, const Change& calm) const;

  /// How the joints are turned at a frame of the span by a touch that is alone.
  [[nodiscard]] Turns turnsAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept) const;
  [[nodiscard]] const Edge* edgeOf(Poser& poser, const TiledMotion& in, const Item& item, int side, Kept& kept) const;

  /// Distance of the skins in a pose of a motion, as told to others.
  [[nodiscard]] double gapOf(const Poser& poser, const TiledMotion& motion, const Item& item, int frame, const Moment& m) const;
  /// The same by grids.
  [[nodiscard]] double quickGap(const Poser& poser, const Item& item, const Moment& m) const { return skins(poser, item, m).nearest({}).distance; }

  /// A hand against what it touches; where it lies in the body instead, against that.
  struct Skins {
    TouchSkin::Posed touched;
    std::optional<TouchSkin::Posed> body;
    [[nodiscard]] TouchSkin::Posed::Nearest nearest(const Vec3d& shift) const {
      return deeper(touched.nearest(shift), [&] { return body->nearest(shift); });
    }
    [[nodiscard]] TouchSkin::Posed::Nearest exact(const Vec3d& shift) const {
      return deeper(touched.exact(shift), [&] { return body->exact(shift); });
    }

   private:
    template <class Ask>
    [[nodiscard]] TouchSkin::Posed::Nearest deeper(const TouchSkin::Posed::Nearest& own, const Ask& ask) const {
      if (!body) return own;
      const TouchSkin::Posed::Nearest other = ask();
      return other.distance < std::min(0.0, own.distance) ? other : own;
    }
  };
  [[nodiscard]] Skins skins(const Poser& poser, const Item& item, const Moment& m) const;

  /// Distance of the skins beyond the wanted gap, metres.
  [[nodiscard]] double skinGap(const Poser& poser, const Item& item, int frame) const;

  /// Turns the joints by what is left of the touches before and after their spans.
  void fade(Poser& poser, const std::vector<Pull>& pulls, int frame) const;
  void solve(Poser& poser, const TiledMotion& in, const std::vector<Pull>& pulls, int frame) const;

  /// Part of the way the other hand comes: none where it is locked, all where this one is.
  [[nodiscard]] double shareOf(const Item& item, int frame) const;

  [[nodiscard]] bool isLocked(int limb, int frame) const;

  struct LimbTask {
    Vec3d goal;
    double weight = 0;   ///< 0: it only keeps its place
    Quatd rotation;      ///< of the end, world
    double reach = 0;    ///< how far the end was from the root before
    double swung = 0;    ///< radians the end has been turned for its prop's sake
    std::optional<Vec3d> side;  ///< unit, to which the middle joint was off the line from root to end
    Vec3d line;                 ///< unit, that line
    Vec3d root;                 ///< where the limb's root was
  };
  struct Task {
    int frame = 0;
    std::array<LimbTask, 4> limbs;
    bool spineMayHelp = true;
  };

  /// A limb as it is, that is to keep its place.
  [[nodiscard]] LimbTask asItIs(const Poser& poser, int limb) const;
  void bringTo(Poser& poser, int limb, const LimbTask& task, const Vec3d& target) const;

  /// Spine and other hand have moved targets along: goes after them. What is out of reach is left to the other hand; skin that is to
  /// touch then does so at the nearest place within reach.
  void follow(Poser& poser, const TiledMotion& in, const std::vector<Pull>& pulls, Task& task, bool spineTurned) const;

  /// Turns the hand so that its prop points to the place, as the arm does not get there, and says where the hand is to be then;
  /// nothing where it is so already.
  std::optional<Vec3d> swing(const Poser& poser, const Item& item, Task& task) const;

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
  [[nodiscard]] Arm armOf(const Poser& poser, int limb) const;

  /// Further changes of hands at which the skins touch: from the wished place on, or from here, by turns onto the skin, out of the
  /// body, into the arms' reach, until all hold.
  [[nodiscard]] Change settled(const Poser& poser, const Item& item, int frame, bool fromHere) const;

  /// Where the end of a limb that is to stay at `place` goes as its root moves from `rootWas`: it stays as far as
  /// the limb does not become straight, since its middle joint would snap.
  [[nodiscard]] Vec3d carriedPlace(const Poser& poser, int limb, const Vec3d& place, const Vec3d& rootWas) const;

  /// Brings the limbs with a weight to their goals. True if the spine was turned.
  bool bring(Poser& poser, const Task& task) const;

  /// Turns collarbone and spine as far as an arm needs it to reach its goal. True if the spine was turned.
  bool help(Poser& poser, int arm, const Vec3d& goal, double reach, bool spineMayHelp) const;

  SkinMeasure measure_;
  std::vector<Item> items_;
  std::vector<std::vector<std::size_t>> heldTouches_;  ///< of each repair that is a grip: the touches whose prop, or whose target, it holds
  std::vector<int> spine_;
  int head_ = -1;
  /// Of a character: what touches came to.
  struct Known : Memo<Change> {};
  std::shared_ptr<const Known> known_;
};

}  // namespace understudy
