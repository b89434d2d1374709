// One contact of the performer carried to the character's skin.
#pragma once

#include <algorithm>
#include <array>
#include <memory>
#include <optional>
#include <vector>

#include "core/inspect/touches.h"
#include "core/repair/poser.h"
#include "core/repair/touch_skin.h"

namespace understudy {

/// What it is given outlives it.
class TouchCarrier {
 public:
  /// What became of a contact.
  struct Carried {
    std::optional<Repair> repair;
    double beyond = 0;  ///< metres by which the arm is too short for it
  };

  TouchCarrier(const RepairContext& context, FrameRate rate, const TiledMotion& plain, const Alignment& alignment, const TouchProposalSettings& settings);

  /// The parts of a touch in which its hand touches near its place and does not leap, each long enough to be seen; between them the
  /// hand has time to go from one to the next. None: other parts of the body are in the way everywhere.
  [[nodiscard]] std::vector<Repair> sound(const Repair& repair) const;

  /// Runs of frames of these touches' spans that are sound, where all of them are applied. From pass 1 on a leap outside of them takes
  /// the nearest frames off, the more the later the pass.
  [[nodiscard]] std::vector<FrameSpan> soundParts(const std::vector<Repair>& repairs, int pass) const;

  /// Frames at which an arm leaps against the plain motion, from `acting.first` on.
  [[nodiscard]] std::vector<char> leapsOver(const TiledMotion& out, FrameSpan acting) const;

  [[nodiscard]] Carried touch(const BodyContact& contact) const;

 private:
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

  /// What a place would cost: metres the arm is too short for it, and metres the hand would lie in the body.
  struct Effort {
    double over = 0, depth = 0;
    double cramped = 0;  ///< metres
    double turned = 0;   ///< radians, upper arm and forearm, root of the sum of squares
    Vec3d shift;         ///< of the wrist, stage
  };
  [[nodiscard]] Effort effortOf(const Poser& poser, const TouchSkin::Posed* hand, const LimbRig& arm, const SkinPlace& skin, const Vec3d& point) const;

  /// Moves the places of a contact over their sites, as little as it takes for the arm to get there and the hand to lie outside of the
  /// body, and so that the way between the moments stays smooth: the cheapest chain of places, by dynamic programming.
  void bringWithinReach(std::vector<Moment>& moments, const SiteShape& hand, int side, double& beyond) const;

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
  mutable std::array<SiteTable, bodySiteCount> tables_;
};

}  // namespace understudy
