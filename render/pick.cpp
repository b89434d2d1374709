// What lies under a pixel, and how much space figures take. No OpenGL here.
#include <algorithm>
#include <cmath>
#include <cstring>
#include <limits>

#include "render/stage_figure.h"

namespace understudy {
namespace {

/// Distance along a unit ray to a triangle, negative where it misses (Möller and Trumbore, "Fast, Minimum Storage
/// Ray/Triangle Intersection", 1997). Barycentric weights of corners b and c go to u and v.
double hitTriangle(const Ray& ray, const Vec3d& a, const Vec3d& b, const Vec3d& c, double& u, double& v) {
  const Vec3d e1 = b - a, e2 = c - a, p = cross(ray.direction, e2);
  const double det = dot(e1, p);
  if (std::abs(det) < 1e-18) return -1;
  const Vec3d s = ray.origin - a;
  u = dot(s, p) / det;
  if (u < 0 || u > 1) return -1;
  const Vec3d q = cross(s, e1);
  v = dot(ray.direction, q) / det;
  if (v < 0 || u + v > 1) return -1;
  return dot(e2, q) / det;
}

/// So many triangles share a box, so that most need no look of their own.
constexpr std::uint32_t trianglesABox = 64;

/// A figure's skin in one pose: vertices in world metres, and boxes around runs of triangles.
struct PosedSkin {
  StageFigurePtr figure;
  std::vector<Affinef> palette;
  std::vector<Vec3f> world;
  std::vector<std::vector<Bounds>> boxes;  ///< one list a batch
};

bool samePalette(const std::vector<Affinef>& a, const std::vector<Affinef>& b) {
  return a.size() == b.size() && std::memcmp(a.data(), b.data(), a.size() * sizeof(Affinef)) == 0;
}

void poseSkin(PosedSkin& skin) {
  const StageFigure& figure = *skin.figure;
  skin.world.resize(figure.vertices.size());
  skin.boxes.assign(figure.batches.size(), {});
  for (std::size_t b = 0; b < figure.batches.size(); ++b) {
    const StageBatch& batch = figure.batches[b];
    for (std::uint32_t v = batch.firstVertex; v < batch.firstVertex + batch.vertexCount; ++v) skin.world[v] = skinned(figure.vertices[v], skin.palette, batch.influences);
    for (std::uint32_t i = 0; i < batch.indexCount; i += 3 * trianglesABox) {
      Bounds box;
      for (std::uint32_t k = i; k < std::min(batch.indexCount, i + 3 * trianglesABox); ++k) box.add(Vec3d(skin.world[figure.indices[batch.firstIndex + k]]));
      skin.boxes[b].push_back(box);
    }
  }
}

/// Whether a ray passes a box's surrounding ball.
bool near(const Ray& ray, const Bounds& box) {
  if (box.empty()) return false;
  const Vec3d to = box.centre() - ray.origin;
  return length(to - ray.direction * dot(to, ray.direction)) <= length(box.size()) / 2 + 1e-6;
}

int heaviestJoint(const StageFigure& figure, const StageVertex& vertex) { return figure.palette[vertex.entries[0]].joint; }

}  // namespace

struct PickCache::Impl {
  std::vector<PosedSkin> skins;  ///< newest use last
  int skinned = 0;

  const PosedSkin& of(const FigureInstance& instance, std::span<const Affined> pose) {
    std::vector<Affinef> palette = paletteOf(*instance.figure, instance.placement, pose);
    auto at = std::find_if(skins.begin(), skins.end(), [&](const PosedSkin& s) { return s.figure == instance.figure && samePalette(s.palette, palette); });
    if (at == skins.end()) {
      // Room for both figures and what they hold; the one unused for longest goes.
      constexpr std::size_t most = 6;
      if (skins.size() >= most) skins.erase(skins.begin());
      PosedSkin skin{instance.figure, std::move(palette), {}, {}};
      poseSkin(skin);
      ++skinned;
      skins.push_back(std::move(skin));
    } else {
      std::rotate(at, at + 1, skins.end());
    }
    return skins.back();
  }
};

PickCache::PickCache() : impl_(std::make_unique<Impl>()) {}
PickCache::~PickCache() = default;
int PickCache::skinned() const { return impl_->skinned; }

std::optional<PickHit> pick(const Scene& scene, const Camera& camera, double width, double height, double x, double y,
                            const PickSettings& settings, PickCache* cache) {
  PickCache own;
  if (!cache) cache = &own;
  const Ray ray = rayThrough(camera, width, height, x, y);
  const Vec3d eye = camera.position(), forward = camera.forward();
  std::optional<PickHit> skin, bone;
  double skinAlong = std::numeric_limits<double>::infinity();
  double boneScore = std::numeric_limits<double>::infinity();
  bool boneXray = false;

  for (std::size_t f = 0; f < scene.figures.size(); ++f) {
    const FigureInstance& instance = scene.figures[f];
    if (!instance.figure) continue;
    const StageFigure& figure = *instance.figure;
    const std::span<const Affined> pose = poseOf(instance);

    if (settings.meshes && instance.showMesh && instance.meshAlpha > 0.02f && !figure.batches.empty()) {
      const PosedSkin& posed = cache->impl().of(instance, pose);
      for (std::size_t b = 0; b < figure.batches.size(); ++b) {
        const StageBatch& batch = figure.batches[b];
        if (meshHidden(instance, batch.mesh) || (meshThrough(instance, batch.mesh) && !settings.through)) continue;
        for (std::uint32_t i = batch.firstIndex; i < batch.firstIndex + batch.indexCount; i += 3) {
          const std::uint32_t triangle = (i - batch.firstIndex) / 3;
          if (triangle % trianglesABox == 0 && !near(ray, posed.boxes[b][triangle / trianglesABox])) {
            i += 3 * (trianglesABox - 1);
            continue;
          }
          const std::uint32_t ia = figure.indices[i], ib = figure.indices[i + 1], ic = figure.indices[i + 2];
          double u = 0, v = 0;
          const double along = hitTriangle(ray, Vec3d(posed.world[ia]), Vec3d(posed.world[ib]), Vec3d(posed.world[ic]), u, v);
          if (!(along > 1e-6) || along >= skinAlong) continue;
          skinAlong = along;
          const std::uint32_t nearestCorner = u > v && u > 1 - u - v ? ib : v > 1 - u - v ? ic : ia;
          PickHit hit;
          hit.figure = static_cast<int>(f);
          hit.mesh = batch.mesh;
          hit.joint = heaviestJoint(figure, figure.vertices[nearestCorner]);
          hit.point = ray.origin + ray.direction * along;
          hit.depth = dot(hit.point - eye, forward);
          skin = hit;
        }
      }
    }

    const bool skeleton = instance.showSkeleton || instance.showBody;
    if (!settings.skeletons || !skeleton) continue;
    for (const ShownBone& shown : shownBones(instance)) {
      const Vec3d to = apply(instance.placement, pose[shown.joint].translation);
      const Projected b = project(camera, width, height, to);
      if (!b.visible) continue;
      const auto consider = [&](double distancePixels, int joint, const Vec3d& point) {
        if (distancePixels > settings.reach) return;
        const double depth = dot(point - eye, forward);
        // Of bones equally near in the picture the nearer one in space wins.
        const double score = distancePixels + 0.01 * depth;
        if (score >= boneScore) return;
        boneScore = score;
        boneXray = instance.xray;
        PickHit hit;
        hit.figure = static_cast<int>(f);
        hit.joint = joint;
        hit.point = point;
        hit.depth = depth;
        bone = hit;
      };
      // The dot itself goes before the bones that meet there.
      consider(std::max(0.0, std::hypot(b.x - x, b.y - y) - 4), shown.joint, to);
      if (shown.parent < 0) continue;
      const Vec3d from = apply(instance.placement, pose[shown.parent].translation);
      const Projected a = project(camera, width, height, from);
      if (!a.visible) continue;
      const double dx = b.x - a.x, dy = b.y - a.y, squared = dx * dx + dy * dy;
      const double t = squared > 1e-9 ? std::clamp(((x - a.x) * dx + (y - a.y) * dy) / squared, 0.0, 1.0) : 0.0;
      // A bone belongs to the joint it turns about: its upper end.
      consider(std::hypot(a.x + dx * t - x, a.y + dy * t - y) + 1, shown.parent, lerp(from, to, t));
    }
  }
  if (bone && (boneXray || !skin || bone->depth <= skin->depth + 0.02)) return bone;
  return skin;
}

Bounds boundsOf(const FigureInstance& instance) {
  Bounds bounds;
  if (!instance.figure) return bounds;
  const StageFigure& figure = *instance.figure;
  const std::span<const Affined> pose = poseOf(instance);
  if (instance.showMesh && !figure.batches.empty()) {
    const std::vector<Affinef> palette = paletteOf(figure, instance.placement, pose);
    for (const StageBatch& batch : figure.batches) {
      if (meshHidden(instance, batch.mesh)) continue;
      for (std::uint32_t v = batch.firstVertex; v < batch.firstVertex + batch.vertexCount; ++v) {
        bounds.add(Vec3d(skinned(figure.vertices[v], palette, batch.influences)));
      }
    }
  }
  if (!bounds.empty()) return bounds;
  const std::span<const int> joints = instance.skeletonJoints.empty() ? std::span<const int>(figure.drawn) : instance.skeletonJoints;
  for (const int j : joints) {
    if (j >= 0 && static_cast<std::size_t>(j) < pose.size()) bounds.add(apply(instance.placement, pose[j].translation));
  }
  bounds.grow(0.04 * length(bounds.size()) / 2);
  return bounds;
}

Bounds boundsOver(const StageFigure& figure, const Affined& placement, const Motion& motion) {
  Bounds bounds;
  const Skeleton& skeleton = figure.figure->skeleton;
  // How far the skin stands out from the joints, from the rest pose.
  FigureInstance rest;
  rest.figure = StageFigurePtr(StageFigurePtr{}, &figure);
  rest.placement = placement;
  const Bounds skin = boundsOf(rest);
  Bounds joints;
  for (const int j : figure.drawn) joints.add(apply(placement, figure.rest[j].translation));
  if (motion.frames <= 0 || motion.joints != skeleton.size()) return skin;
  double margin = 0;
  if (!skin.empty() && !joints.empty()) {
    for (int k = 0; k < 3; ++k) margin = std::max({margin, joints.low[k] - skin.low[k], skin.high[k] - joints.high[k]});
  }
  const int looks = std::min(motion.frames, 64);
  std::vector<Affined> world(skeleton.size());
  for (int i = 0; i < looks; ++i) {
    const int frame = looks == 1 ? 0 : static_cast<int>(static_cast<long long>(i) * (motion.frames - 1) / (looks - 1));
    worldAt(skeleton, motion, frame, world);
    for (const int j : figure.drawn) bounds.add(apply(placement, world[j].translation));
  }
  bounds.grow(margin);
  return bounds;
}

}  // namespace understudy
