// Inside of StageFigure: what drawing, shadow and picking share. Internal to render/.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/math/transform.h"
#include "render/offscreen.h"
#include "render/stage.h"

namespace understudy {

inline constexpr int maxInfluences = 8;

/// As it lies in the vertex buffer.
struct StageVertex {
  float position[3];
  float normal[3];
  float texcoord[2];
  std::uint16_t colour[4];                    ///< linear, 0 … 65535
  std::uint16_t entries[maxInfluences];       ///< palette entries, heaviest first
  std::uint16_t weights[maxInfluences];       ///< 0 … 65535, sum 65535
};

/// Triangles of one mesh.
struct StageBatch {
  int mesh = -1;
  int material = -1;
  std::uint32_t firstIndex = 0, indexCount = 0;
  std::uint32_t firstVertex = 0, vertexCount = 0;
  int influences = 1;     ///< largest number a vertex has
  int firstEntry = 0;     ///< some palette entry of it, to tell whether it is mirrored
};

/// Palette entry i = world(joint) · inverseBind.
struct PaletteEntry {
  int joint = -1;
  Affined inverseBind;
};

/// A piece of surface that casts soft shadow.
struct ShadowPoint {
  Vec3f position;
  std::array<std::uint16_t, 4> entries{};
  std::array<float, 4> weights{};
  float area = 0;  ///< square file units
  int mesh = -1;
};

class StageFigure {
 public:
  std::shared_ptr<const Figure> figure;
  std::vector<StageVertex> vertices;
  std::vector<std::uint32_t> indices;
  std::vector<StageBatch> batches;
  std::vector<PaletteEntry> palette;
  std::vector<Picture> images;           ///< decoded, index as in Figure::images; empty where not decodable
  std::vector<ShadowPoint> shadowPoints;
  std::vector<int> drawn;                ///< drawnJoints()
  std::vector<Affined> rest;             ///< rest world transforms
  std::vector<float> boneRadius;         ///< a joint: body thickness there, file units; 0 where no bone is drawn
  double height = 0;                     ///< file units: extent of the rest pose's drawn joints (largest axis)
  int headJoint = -1;                    ///< top end of the body, −1 unknown
};

/// World transform (metres) of each palette entry.
[[nodiscard]] std::vector<Affinef> paletteOf(const StageFigure& figure, const Affined& placement, std::span<const Affined> jointWorld);
/// The pose of an instance: its own, or the rest pose where it has none of the right size.
[[nodiscard]] std::span<const Affined> poseOf(const FigureInstance& instance);
/// Position of a vertex in the world.
[[nodiscard]] Vec3f skinned(const StageVertex& vertex, std::span<const Affinef> palette, int influences);

/// The bones an instance shows: joint and its nearest shown ancestor (−1: none).
struct ShownBone {
  int joint = -1, parent = -1;
};
[[nodiscard]] std::vector<ShownBone> shownBones(const FigureInstance& instance);

/// A tapered capsule of the stand-in body, world metres.
struct Capsule {
  Vec3f from, to;
  float fromRadius = 0, toRadius = 0;
};
[[nodiscard]] std::vector<Capsule> bodyCapsules(const FigureInstance& instance);

[[nodiscard]] inline bool meshHidden(const FigureInstance& instance, int mesh) {
  return mesh >= 0 && static_cast<std::size_t>(mesh) < instance.hiddenMeshes.size() && instance.hiddenMeshes[mesh] == 1;
}
[[nodiscard]] inline bool meshThrough(const FigureInstance& instance, int mesh) {
  return mesh >= 0 && static_cast<std::size_t>(mesh) < instance.hiddenMeshes.size() && instance.hiddenMeshes[mesh] == 2;
}
/// How much of a mesh's colour is left where it is seen through.
inline constexpr float throughAlpha = 0.26f;

}  // namespace understudy
