// What both glTF writers share: packing numbers into accessors, the animation itself, the binary container.
#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/io/gltf_file.h"
#include "core/io/write.h"

namespace understudy {

/// Collects bytes, buffer views and accessors that go behind those a file already has.
struct GltfPack {
  std::size_t firstView = 0;      ///< index the first new view gets
  std::size_t firstAccessor = 0;  ///< index the first new accessor gets
  std::size_t buffer = 0;         ///< buffer the bytes go into
  std::size_t firstByte = 0;      ///< where in that buffer they begin, a multiple of 4
  std::string bytes;
  std::vector<std::string> views;      ///< JSON objects
  std::vector<std::string> accessors;  ///< JSON objects

  /// Adds a view of the bytes appended since `from`; pads to a multiple of 4. `target`: 34962, 34963 or 0.
  std::size_t view(std::size_t from, int target = 0);
  /// `more`: further members, each with a comma before it.
  std::size_t accessor(std::size_t view, std::size_t byteOffset, int componentType, std::size_t count, std::string_view type,
                       std::string_view more = {});
  void put(float value);
  void put(std::uint16_t value);
  void put(std::uint32_t value);
};

/// Error if the clip cannot be written on this skeleton: no frames, other joints, numbers that are not finite.
[[nodiscard]] Status checkBaked(const Skeleton& skeleton, const BakedClip& clip);

/// Adds the clip's numbers to `pack` and returns the animation as a JSON object. Frame f has the time f / rate; a track
/// that never changes gets one key. `nodeOf` gives the node index of a joint, −1 where it gets no tracks.
[[nodiscard]] std::string packAnimation(GltfPack& pack, const BakedClip& clip, std::string_view name, const std::function<int(int)>& nodeOf);

/// A .glb of its parts; `json` and `bin` are padded. Error: larger than the container's 4 GiB.
[[nodiscard]] Result<std::string> assembleGlb(std::string json, bool hasBin, std::string_view binHead, std::string_view binTail,
                                              std::span<const GltfChunk> extra, const std::string& path);

/// `name`, or `name 2`, `name 3` … if it is taken.
[[nodiscard]] std::string uniqueName(const std::string& name, const std::vector<std::string>& taken);

[[nodiscard]] std::string jsonList(std::span<const double> values);
[[nodiscard]] std::string joined(const std::vector<std::string>& items);

}  // namespace understudy
