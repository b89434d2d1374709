// A character's skin as touches need it: where a ray leaves the body, and how far a hand's skin is from it.
#pragma once

#include <array>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <vector>

#include "core/body/body_model.h"
#include "core/contact/body_sites.h"
#include "core/repair/poser.h"
#include "core/repair/touch_tree.h"

namespace understudy {

/// A place of the skin in its bone's rigid frame.
struct SkinPlace {
  int joint = -1;
  Vec3d place, normal;
};

class TouchSkin {
 public:
  explicit TouchSkin(const RepairContext& context);
  /// The character's, made when first asked for.
  [[nodiscard]] static std::shared_ptr<const TouchSkin> of(const RepairContext& context);

  /// True where a hand (0 left, 1 right) has skin that can touch.
  [[nodiscard]] bool hasHand(int side) const { return !hands_[static_cast<std::size_t>(side)].points.empty(); }
  [[nodiscard]] bool hasBody() const { return !solids_.empty(); }

  /// Where a ray in the reference pose (stage) leaves a site's skin for good, within `reach`. None: it meets none.
  [[nodiscard]] std::optional<SkinPlace> outermost(BodySite site, const Vec3d& from, const Vec3d& direction, double reach) const;

  /// Height of the highest skin of the head in the reference pose (stage, metres); none: it has no skin.
  [[nodiscard]] std::optional<double> headTop() const;

  /// Metres (at a height of 1.7) by which grids of bent bodies may be off: triangles that much farther are asked as well, and an answer that
  /// far from the grid's is another surface's.
  static constexpr double gridsOff = 0.008;

  /// What a hand's skin may touch.
  enum class Against : unsigned char { body, otherArm, otherHand };  ///< the body without the other arm; the arm with its hand

  /// Points of a hand, as sums over joints.
  struct Carried {
    std::vector<Vec3d> points;  ///< reference pose
    std::vector<std::uint32_t> start{0};
    std::vector<int> joint;
    std::vector<float> weight;
    [[nodiscard]] Vec3d posed(std::size_t i, std::span<const Affined> turned) const;
  };
  struct HandPoints : Carried {
    Carried fine;                         ///< many more, for exact answers, each after the others that are nearest to the same point, the nearest first
    std::vector<std::uint32_t> fineStart; ///< of each point's own, and where the last end
    double farthestFine = 0;              ///< metres from a point to one of its own
    std::vector<std::size_t> order;       ///< points in groups of neighbours, the one in their middle first
    std::vector<std::size_t> groupStart;  ///< in that order; one more than there are groups
    /// A point's own fine ones, and metres from the first of them to the farthest.
    struct Patch {
      std::uint32_t first = 0, last = 0;
      double reach = 0;
    };
    std::vector<Patch> patches;           ///< group by group
    /// Metres from the first fine one of the first patch to the farthest of the group.
    struct PatchGroup {
      std::size_t first = 0, last = 0;
      double reach = 0;
    };
    std::vector<PatchGroup> patchGroups;
    void findGroups();
  };

  /// Hand and body in one pose. Not for several threads at once. The skin outlives it.
  class Posed {
   public:
    Posed(const TouchSkin& skin, const Poser& poser, int side, Against against);
    struct Nearest {
      double distance = 0;  ///< metres, negative: the hand is in the body
      Vec3d gradient;       ///< of the distance at the nearest point
    };
    /// Of the hand moved by `shift`. Where all of it is `within` metres off or farther: that, without a gradient; the nearer, the quicker.
    [[nodiscard]] Nearest nearest(const Vec3d& shift, double within = 1e300) const;
    /// The same by the posed triangles themselves, for shifts of a few centimetres: grids of bent bodies are off by millimetres.
    [[nodiscard]] Nearest exact(const Vec3d& shift) const;

   private:
    /// How near a point, or any of several, is at least once the hand is moved by `shift`: other shifts follow from that.
    struct Known {
      Vec3d shift;
      double distance = -1e300;
      [[nodiscard]] double at(const Vec3d& other) const;
    };
    struct Solid {
      Solid(const BodySolid& what, std::span<const Affined> turned) : solid(what, turned) {}
      PosedSolid solid;
      // Worked out when a solid is first near enough to matter.
      mutable PosedSolid::Nearby near;
      mutable std::vector<Known> points, groups;
      mutable Known all;
      mutable std::size_t nearest = 0;  ///< of its points, when they were last asked
      mutable std::optional<PosedSkin> skin;
      mutable std::vector<Known> fine;  ///< of the hand's fine points: what their exact distance is at least
    };
    /// The search for the point that is nearest by the triangles.
    struct Search;
    /// Works out where a solid is near the hand, when that first matters.
    void place(const Solid& solid) const;
    const Vec3d& fineAt(std::size_t f) const;

    const TouchSkin& skin_;
    const HandPoints& hand_;
    std::vector<Affined> turned_;
    double size_ = 1;               // height ÷ 1.7
    mutable std::vector<Vec3d> fine_;  // points of the hand, as far as they have been asked for
    mutable std::vector<char> finePosed_;
    std::vector<Vec3d> points_;     // group by group
    std::vector<double> fromHub_;   // metres between a point and the first of its group
    Vec3d middle_;
    double radius_ = 0;
    std::vector<Solid> solids_;
    mutable std::size_t nearest_ = 0;  // of the solids, when they were last asked
    mutable std::optional<std::pair<const Solid*, std::size_t>> nearestFine_;  // a solid and a patch, when they were last asked
  };

 private:
  [[nodiscard]] HandPoints handPoints(const Skeleton& skeleton, int end, int side) const;
  /// The skin of a solid.
  [[nodiscard]] const SkinTree& skinOf(const BodySolid& solid) const;

  std::shared_ptr<const BodyModel> model_;
  std::vector<const BodySolid*> solids_;   ///< the model's solids and limbs
  std::vector<Vec3d> normals_;             ///< of the surface's vertices
  std::array<HandPoints, 2> hands_;
  std::array<std::vector<std::size_t>, static_cast<std::size_t>(BodySite::count)> shown_;  ///< by site: first indices of the triangles its rays may leave through
  struct Skins {
    std::mutex guard;
    std::map<const BodySolid*, SkinTree> of;
  };
  std::unique_ptr<Skins> skins_ = std::make_unique<Skins>();  ///< as far as they have been asked for
};

}  // namespace understudy
