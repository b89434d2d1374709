#include "core/motion/tiled_motion.h"

#include <algorithm>
#include <cstring>

namespace understudy {
namespace {

const std::vector<int> noJoints;

}  // namespace

TiledMotion::TiledMotion(std::shared_ptr<const Motion> motion) {
  auto layout = std::make_shared<Layout>();
  layout->rate = motion->rate;
  layout->joints = motion->joints;
  layout->moved = motion->movedJoints;
  layout->scaled = motion->scaledJoints;
  layout_ = std::move(layout);
  frames_ = motion->frames;
  for (int first = 0; first < frames_; first += tileFrames) tiles_.push_back({motion, first, nullptr});
}

const std::vector<int>& TiledMotion::movedJoints() const { return layout_ ? layout_->moved : noJoints; }
const std::vector<int>& TiledMotion::scaledJoints() const { return layout_ ? layout_->scaled : noJoints; }

std::span<const Quatf> TiledMotion::rotationsAt(int frame) const {
  const Tile& tile = tileOf(frame);
  return tile.owner->rotationsAt(inOwner(tile, frame));
}

std::span<const Vec3f> TiledMotion::translationsAt(int frame) const {
  const Tile& tile = tileOf(frame);
  return tile.owner->translationsAt(inOwner(tile, frame));
}

std::span<const Vec3f> TiledMotion::scalesAt(int frame) const {
  const Tile& tile = tileOf(frame);
  const std::size_t width = layout_->scaled.size();
  return {tile.owner->scales.data() + static_cast<std::size_t>(inOwner(tile, frame)) * width, width};
}

TiledMotion TiledMotion::view(int first, int count) const {
  TiledMotion part = *this;
  part.offset_ = offset_ + first;
  part.frames_ = count;
  return part;
}

void TiledMotion::own(int index) {
  Tile& tile = tiles_[static_cast<std::size_t>(index)];
  if (tile.writable) return;
  const Motion& source = *tile.owner;
  const int frames = std::min(tileFrames, source.frames - tile.first);
  auto own = std::make_shared<Motion>();
  own->rate = source.rate;
  own->frames = frames;
  own->joints = source.joints;
  own->movedJoints = source.movedJoints;
  own->scaledJoints = source.scaledJoints;
  const auto part = [&](const auto& values, std::size_t width) {
    const auto begin = values.begin() + static_cast<std::ptrdiff_t>(static_cast<std::size_t>(tile.first) * width);
    return std::decay_t<decltype(values)>(begin, begin + static_cast<std::ptrdiff_t>(static_cast<std::size_t>(frames) * width));
  };
  own->rotations = part(source.rotations, static_cast<std::size_t>(source.joints));
  own->translations = part(source.translations, source.movedJoints.size());
  own->scales = part(source.scales, source.scaledJoints.size());
  tile.writable = own.get();
  tile.owner = std::move(own);
  tile.first = 0;
}

TiledMotion TiledMotion::writable(std::span<const FrameSpan> spans) const {
  TiledMotion copy = *this;
  for (Tile& tile : copy.tiles_) tile.writable = nullptr;
  for (const FrameSpan& span : spans) {
    if (span.empty()) continue;
    const int from = (offset_ + span.first) / tileFrames, to = (offset_ + span.last) / tileFrames;
    for (int t = from; t <= to && t < tiles(); ++t) copy.own(t);
  }
  return copy;
}

TiledMotion TiledMotion::writable(int first, int count) const {
  const FrameSpan span{first, first + count - 1};
  return writable(std::span<const FrameSpan>(&span, 1));
}

void TiledMotion::copyFrame(const Skeleton& skeleton, const TiledMotion& from, int frame) {
  const auto rotations = from.rotationsAt(frame);
  std::copy(rotations.begin(), rotations.end(), rotationsToWrite(frame).begin());
  const auto translations = from.translationsAt(frame);
  const auto into = translationsToWrite(frame);
  if (movedJoints() == from.movedJoints()) {
    std::copy(translations.begin(), translations.end(), into.begin());
  } else {
    for (std::size_t k = 0; k < into.size(); ++k) {
      const int joint = movedJoints()[k];
      const auto at = std::lower_bound(from.movedJoints().begin(), from.movedJoints().end(), joint);
      const bool has = at != from.movedJoints().end() && *at == joint;
      into[k] = has ? translations[static_cast<std::size_t>(at - from.movedJoints().begin())] : Vec3f(skeleton.rest[static_cast<std::size_t>(joint)].translation);
    }
  }
  const Tile& tile = tileOf(frame);
  const auto scales = from.scalesAt(frame);
  std::copy(scales.begin(), scales.end(), tile.writable->scales.begin() + static_cast<std::ptrdiff_t>(static_cast<std::size_t>(inOwner(tile, frame)) * scales.size()));
}

bool TiledMotion::sameAt(const TiledMotion& other, int frame) const {
  const auto same = [](const auto& a, const auto& b) { return a.data() == b.data() || a.empty() || std::memcmp(a.data(), b.data(), a.size_bytes()) == 0; };
  return same(rotationsAt(frame), other.rotationsAt(frame)) && same(translationsAt(frame), other.translationsAt(frame)) && same(scalesAt(frame), other.scalesAt(frame));
}

Digest TiledMotion::poseAt(int frame) const {
  Digest out;
  const auto floats = [&](float a, float b) {
    std::uint32_t low = 0, high = 0;
    std::memcpy(&low, &a, sizeof low);
    std::memcpy(&high, &b, sizeof high);
    out.add(std::uint64_t{high} << 32 | low);
  };
  for (const Quatf& q : rotationsAt(frame)) floats(q.w, q.x), floats(q.y, q.z);
  const auto places = translationsAt(frame);
  for (std::size_t k = 0; k < places.size(); ++k) {
    out.add(static_cast<std::uint64_t>(movedJoints()[k]));
    floats(places[k].x, places[k].y), floats(places[k].z, 0);
  }
  return out;
}

void TiledMotion::shareTiles(const TiledMotion& other) {
  if (offset_ != 0 || other.offset_ != 0 || frames_ != other.frames_ || movedJoints() != other.movedJoints() || scaledJoints() != other.scaledJoints()) return;
  for (std::size_t t = 0; t < tiles_.size(); ++t) {
    const Tile& theirs = other.tiles_[t];
    if (tiles_[t].owner == theirs.owner) continue;
    const int first = static_cast<int>(t) * tileFrames, end = std::min(first + tileFrames, frames_);
    bool same = true;
    for (int f = first; same && f < end; ++f) same = sameAt(other, f);
    if (same) tiles_[t] = {theirs.owner, theirs.first, nullptr};
  }
}

TiledMotion TiledMotion::withMoved(const Skeleton& skeleton, const std::vector<int>& joints) const {
  std::vector<int> moved = movedJoints();
  moved.insert(moved.end(), joints.begin(), joints.end());
  std::sort(moved.begin(), moved.end());
  moved.erase(std::unique(moved.begin(), moved.end()), moved.end());
  if (moved == movedJoints()) return *this;
  TiledMotion whole = *this;
  whole.frames_ = frames_ + offset_;
  whole.offset_ = 0;
  Motion flatMotion = whole.flat();
  const std::vector<int> old = flatMotion.movedJoints;
  const std::vector<Vec3f> values = std::move(flatMotion.translations);
  flatMotion.translations.resize(static_cast<std::size_t>(flatMotion.frames) * moved.size());
  for (std::size_t k = 0; k < moved.size(); ++k) {
    const auto at = std::lower_bound(old.begin(), old.end(), moved[k]);
    const bool had = at != old.end() && *at == moved[k];
    const auto from = static_cast<std::size_t>(at - old.begin());
    const Vec3f rest(skeleton.rest[static_cast<std::size_t>(moved[k])].translation);
    for (std::size_t f = 0; f < static_cast<std::size_t>(flatMotion.frames); ++f)
      flatMotion.translations[f * moved.size() + k] = had ? values[f * old.size() + from] : rest;
  }
  flatMotion.movedJoints = std::move(moved);
  return TiledMotion(std::make_shared<const Motion>(std::move(flatMotion))).view(offset_, frames_);
}

std::span<Quatf> TiledMotion::rotationsToWrite(int frame) {
  const Tile& tile = tileOf(frame);
  return tile.writable->rotationsAt(inOwner(tile, frame));
}

std::span<Vec3f> TiledMotion::translationsToWrite(int frame) {
  const Tile& tile = tileOf(frame);
  return tile.writable->translationsAt(inOwner(tile, frame));
}

Motion TiledMotion::flat() const {
  Motion out;
  out.rate = rate();
  out.frames = frames_;
  out.joints = joints();
  out.movedJoints = movedJoints();
  out.scaledJoints = scaledJoints();
  out.rotations.reserve(static_cast<std::size_t>(frames_) * static_cast<std::size_t>(out.joints));
  out.translations.reserve(static_cast<std::size_t>(frames_) * out.movedJoints.size());
  out.scales.reserve(static_cast<std::size_t>(frames_) * out.scaledJoints.size());
  for (int f = 0; f < frames_; ++f) {
    const auto rotations = rotationsAt(f);
    out.rotations.insert(out.rotations.end(), rotations.begin(), rotations.end());
    const auto translations = translationsAt(f);
    out.translations.insert(out.translations.end(), translations.begin(), translations.end());
    const auto scales = scalesAt(f);
    out.scales.insert(out.scales.end(), scales.begin(), scales.end());
  }
  return out;
}

int TiledMotion::sharedTiles(const TiledMotion& other) const {
  int shared = 0;
  for (std::size_t t = 0; t < std::min(tiles_.size(), other.tiles_.size()); ++t)
    shared += tiles_[t].owner == other.tiles_[t].owner && tiles_[t].first == other.tiles_[t].first;
  return shared;
}

void poseAt(const Skeleton& skeleton, const TiledMotion& motion, int frame, std::span<Trsd> local) {
  const auto rotations = motion.rotationsAt(frame);
  for (std::size_t j = 0; j < rotations.size(); ++j) {
    local[j] = skeleton.rest[j];
    local[j].rotation = Quatd(rotations[j]);
  }
  const auto translations = motion.translationsAt(frame);
  for (std::size_t k = 0; k < translations.size(); ++k) local[static_cast<std::size_t>(motion.movedJoints()[k])].translation = Vec3d(translations[k]);
  const auto scales = motion.scalesAt(frame);
  for (std::size_t k = 0; k < scales.size(); ++k) local[static_cast<std::size_t>(motion.scaledJoints()[k])].scale = Vec3d(scales[k]);
}

void worldAt(const Skeleton& skeleton, const TiledMotion& motion, int frame, std::span<Affined> world) {
  std::vector<Trsd> local(skeleton.parents.size());
  poseAt(skeleton, motion, frame, local);
  forwardKinematics(skeleton, local, world);
}

std::vector<Affined> worldAt(const Skeleton& skeleton, const TiledMotion& motion, int frame) {
  std::vector<Affined> world(skeleton.parents.size());
  worldAt(skeleton, motion, frame, world);
  return world;
}

}  // namespace understudy
