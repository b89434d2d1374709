// A motion in tiles of 64 frames that its versions share: an edit of a few frames copies a few tiles.
#pragma once

#include <memory>
#include <span>
#include <vector>

#include "core/base/digest.h"
#include "core/motion/motion.h"

namespace understudy {

/// What a Motion holds, seen through shared tiles. Frames count from 0 of the view; tiles are cut from frame 0 of the
/// underlying motion, so views with another trim share them. Copies are cheap; reading from several threads is safe.
class TiledMotion {
 public:
  static constexpr int tileFrames = 64;

  TiledMotion() = default;
  /// All frames of `motion`, without copying them.
  explicit TiledMotion(std::shared_ptr<const Motion> motion);

  [[nodiscard]] FrameRate rate() const { return layout_ ? layout_->rate : FrameRate{}; }
  [[nodiscard]] int frames() const { return frames_; }
  [[nodiscard]] int joints() const { return layout_ ? layout_->joints : 0; }
  /// Joints with translations / scales, ascending.
  [[nodiscard]] const std::vector<int>& movedJoints() const;
  [[nodiscard]] const std::vector<int>& scaledJoints() const;

  [[nodiscard]] std::span<const Quatf> rotationsAt(int frame) const;
  [[nodiscard]] std::span<const Vec3f> translationsAt(int frame) const;
  [[nodiscard]] std::span<const Vec3f> scalesAt(int frame) const;

  /// The frames first … first+count−1 of this view (counted from 0); the caller keeps them inside.
  [[nodiscard]] TiledMotion view(int first, int count) const;
  /// A version that can be written to at frames first … first+count−1: the tiles they lie in are copied once.
  [[nodiscard]] TiledMotion writable(int first, int count) const;
  /// The same for several spans at once.
  [[nodiscard]] TiledMotion writable(std::span<const FrameSpan> spans) const;
  /// Takes a frame's rotations, translations and scales from a motion of the same skeleton, into one that is writable there.
  /// Tracks that `from` lacks get the rest position.
  void copyFrame(const Skeleton& skeleton, const TiledMotion& from, int frame);
  /// Whether a frame holds the same bytes as that of a motion with the same tracks.
  [[nodiscard]] bool sameAt(const TiledMotion& other, int frame) const;
  /// Of the pose that joints take at a frame: their rotations, and the translations of those that have them.
  [[nodiscard]] Digest poseAt(int frame) const;
  /// Shares tiles with another version of the whole motion wherever both hold the same bytes; shared ones are not written to any more.
  void shareTiles(const TiledMotion& other);
  /// The same motion with translation tracks for these joints as well, filled with their rest positions.
  [[nodiscard]] TiledMotion withMoved(const Skeleton& skeleton, const std::vector<int>& joints) const;
  /// Only of a version made by writable(), at the frames it was made for.
  [[nodiscard]] std::span<Quatf> rotationsToWrite(int frame);
  [[nodiscard]] std::span<Vec3f> translationsToWrite(int frame);

  /// A plain copy of all frames of the view.
  [[nodiscard]] Motion flat() const;
  /// Number of tiles that both hold in common, at the same place.
  [[nodiscard]] int sharedTiles(const TiledMotion& other) const;
  [[nodiscard]] int tiles() const { return static_cast<int>(tiles_.size()); }

 private:
  struct Layout {
    FrameRate rate;
    int joints = 0;
    std::vector<int> moved, scaled;
  };
  struct Tile {
    std::shared_ptr<const Motion> owner;  ///< holds the data; `first` is the tile's first frame in it
    int first = 0;
    Motion* writable = nullptr;           ///< owner, while this version may write to it
  };
  [[nodiscard]] const Tile& tileOf(int frame) const { return tiles_[static_cast<std::size_t>((offset_ + frame) / tileFrames)]; }
  void own(int tile);
  [[nodiscard]] int inOwner(const Tile& tile, int frame) const { return tile.first + (offset_ + frame) % tileFrames; }

  std::shared_ptr<const Layout> layout_;
  std::vector<Tile> tiles_;
  int offset_ = 0;  ///< of the view's frame 0 from the underlying motion's
  int frames_ = 0;
};

/// Local pose and world transforms (file unit and axes) of a frame, as for a Motion.
void poseAt(const Skeleton& skeleton, const TiledMotion& motion, int frame, std::span<Trsd> local);
void worldAt(const Skeleton& skeleton, const TiledMotion& motion, int frame, std::span<Affined> world);
[[nodiscard]] std::vector<Affined> worldAt(const Skeleton& skeleton, const TiledMotion& motion, int frame);

}  // namespace understudy
