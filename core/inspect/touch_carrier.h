// One contact of the performer carried to the character's skin.
#pragma once

#include <algorithm>
#include <array>
#include <memory>
#include <mutex>
#include <optional>
#include <vector>

#include "core/base/digest.h"
#include "core/inspect/touches.h"
#include "core/repair/poser.h"
#include "core/repair/touch_skin.h"

namespace understudy {

/// What it is given outlives it. Safe for threads.
class TouchCarrier {
 public:
  /// What became of a contact.
  struct Carried {
    std::vector<Repair> ways;  ///< of carrying it, the likeliest first
    double beyond = 0;  ///< metres by which the arm is too short for it
  };

  TouchCarrier(const RepairContext& context, FrameRate rate, const TiledMotion& plain, const Alignment& alignment, const TouchProposalSettings& settings);

  /// Frames in which a touch is sound, and how far the arm is turned at both ends, radians.
  struct SoundPart {
    FrameSpan span;
    double turnFirst = 0, turnLast = 0;
  };

  /// The parts of a touch in which its hand touches near its place and does not leap, each long enough to be seen; between them the
  /// hand has time to go from one to the next. None: other parts of the body are in the way everywhere.
  [[nodiscard]] std::vector<Repair> sound(const Repair& repair, std::vector<SoundPart> parts) const;
  /// The same of the way on which it touches longest.
  [[nodiscard]] std::vector<Repair> sound(const std::vector<Repair>& ways) const;

  /// Runs of frames of these touches' spans that are sound, where all of them are applied. From pass 1 on a leap outside of them takes
  /// the nearest frames off, the more the later the pass.
  [[nodiscard]] std::vector<SoundPart> soundParts(const std::vector<Repair>& repairs, int pass) const;

  /// Frames at which an arm leaps against the plain motion, from `acting.first` on.
  [[nodiscard]] std::vector<char> leapsOver(const TiledMotion& out, FrameSpan acting) const;

  [[nodiscard]] Carried touch(const BodyContact& contact) const;

  /// What a contact comes to in the end.
  struct Outcome {
    std::vector<Repair> sound;  ///< none: it is left out
    bool ways = false;          ///< there were some, of which none is sound
    double beyond = 0;          ///< metres by which the arm is too short for it
  };
  /// As touch() and sound() of it; what is known of a contact from before counts while nothing it depends on has changed.
  [[nodiscard]] Outcome outcome(const BodyContact& contact) const;

 private:
  /// Of what all contacts depend on, but for the character and its motion.
  [[nodiscard]] Digest digestOf(const Alignment& alignment) const;

  struct Moment {
    double time = 0;
    BodyContactFrame at;
  };

  void load(Poser& poser, double time) const;

  /// Places all over a site, the same for every moment.
  struct SiteTable {
    std::vector<SitePlace> places;
    std::vector<std::optional<SkinPlace>> skin;
    std::vector<double> girth;  ///< metres from the axis
    double length = 0;          ///< of the axis, metres
  };
  [[nodiscard]] const SiteTable& tableOf(BodySite site) const;
  [[nodiscard]] SiteTable madeTable(BodySite site) const;

  /// A hand in a pose against what it is to touch, and against the body where that is something else.
  struct Posed {
    std::optional<TouchSkin::Posed> touched, body;
  };
  /// What a place would cost: metres the arm is too short for it, and metres the hand would lie in the body.
  struct Effort {
    double over = 0, depth = 0;
    double alone = 0;    ///< as `over`, without collarbone and spine
    double cramped = 0;  ///< metres
    double turned = 0;   ///< radians, upper arm and forearm, root of the sum of squares
    Vec3d shift;         ///< of the wrist, stage
    double armDepth = 0; ///< metres the arm would lie in the body wherever its elbow swings
  };
  [[nodiscard]] Effort effortOf(const Poser& poser, const Posed& posed, const LimbRig& arm, const SkinPlace& skin, const Vec3d& point) const;

  /// A place that a moment may touch.
  struct State {
    double along = 0, around = 0;  ///< how far the place is moved: part of the axis, radians
    Vec3d moved;                   ///< the same in metres ÷ height, along and around
    Vec3d shift;                   ///< of the wrist against the plain motion, metres ÷ height
    Effort effort;
    double total = 0;
    int from = -1;
  };
  /// Works out how deep the arm would lie in the body at the cheaper places of each moment, and leaves out the others.
  void keepOutOfBody(std::vector<std::vector<State>>& chain, const std::vector<Moment>& moments, int side) const;

  /// The places of a contact moved over their part of the body and the one it goes on into, as little as it takes for the arm to get
  /// there without leaving its way too far and for the hand to lie outside of the body, and so that the way between the moments stays
  /// smooth: the cheapest chains of places, by dynamic programming, for several prices of each; the likeliest first.
  [[nodiscard]] std::vector<std::vector<Moment>> waysWithinReach(std::vector<Moment> moments, const SiteShape& hand, int side, TouchSkin::Against touched, double& beyond) const;
  /// The moments with their places moved along and around, smoothly.
  [[nodiscard]] std::vector<Moment> moved(std::vector<Moment> moments, std::vector<std::pair<double, double>> moves) const;
  /// Moments that touch another part of the body than most do go to where the nearest in time of those touches.
  static void stayOnOnePart(std::vector<Moment>& moments);

  [[nodiscard]] double seconds(int frame) const { return rate_.seconds(frame); }

  /// Means over frames around each moment that touch the same site, so that the capture's noise does not show in the path.
  [[nodiscard]] std::vector<Moment> momentsOf(const BodyContact& contact) const;

  [[nodiscard]] std::optional<TouchMark> markOf(const SiteShape& hand, const Moment& moment) const;

  [[nodiscard]] Vec3d directionOf(const SiteShape& shape, const SitePlace& place) const;
  static double thicknessOf(const SiteShape& shape) { return std::max({shape.frontStart, shape.frontEnd, shape.sideStart, shape.sideEnd}); }

  /// The skin of a site at a place; none where its ray meets none.
  [[nodiscard]] std::optional<SkinPlace> skinAt(BodySite site, const SitePlace& place) const;
  /// The same on the capsule of a site without skin.
  [[nodiscard]] SkinPlace onShape(BodySite site, const SitePlace& place) const;

  const RepairContext& context_;
  FrameRate rate_;
  const TiledMotion& plain_;
  const TouchProposalSettings& settings_;
  std::shared_ptr<const TouchSkin> skin_;
  BodySites sites_;
  Digest of_;
  mutable std::array<SiteTable, bodySiteCount> tables_;  ///< as far as they have been asked for
  mutable std::array<std::once_flag, bodySiteCount> tabled_;
};

}  // namespace understudy
