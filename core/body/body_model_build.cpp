#include <algorithm>
#include <cmath>
#include <cstring>
#include <mutex>

#include "core/base/computed_store.h"
#include "core/base/parallel.h"
#include "core/body/body_model_bytes.h"
#include "core/body/body_solids.h"

namespace understudy {
namespace {

/// Points of an arm's skin where the part of the upper arm begins that is kept out of the body: how many more there are at most, and how much
/// nearer together.
constexpr int beginPoints = 24;
constexpr double beginSpacing = 0.35;

ArmPoints makeArm(const BodySurface& surface, int side, const JointFrames& reference, const SkeletonMap& map, const std::vector<BodySolid>& solids,
                  double spacing, double scale, int most) {
  const BodyPart upper = side == 0 ? BodyPart::leftUpperArm : BodyPart::rightUpperArm, fore = side == 0 ? BodyPart::leftForearm : BodyPart::rightForearm,
                 hand = side == 0 ? BodyPart::leftHand : BodyPart::rightHand;
  const int shoulder = map.joint(side == 0 ? Role::leftUpperArm : Role::rightUpperArm), elbow = map.joint(side == 0 ? Role::leftLowerArm : Role::rightLowerArm);
  ArmPoints out;
  if (shoulder < 0 || elbow < 0) return out;
  std::vector<int> all;
  std::vector<char> used(surface.positions.size(), 0);
  for (const std::uint32_t i : surface.indices) used[i] = 1;
  for (int v = 0; v < surface.vertices(); ++v) {
    const BodyPart p = surface.parts[static_cast<std::size_t>(v)];
    if (used[static_cast<std::size_t>(v)] && (p == upper || p == fore || p == hand)) all.push_back(v);
  }
  if (all.empty()) return out;
  // Each next point is the one furthest from those chosen.
  std::vector<double> away(all.size(), 1e300);
  std::vector<int> chosen;
  const Vec3d from = reference.position[static_cast<std::size_t>(shoulder)];
  std::size_t next = 0;
  double far = -1;
  for (std::size_t i = 0; i < all.size(); ++i) {
    const double d = distance(from, surface.positions[static_cast<std::size_t>(all[i])]);
    if (d > far) far = d, next = i;
  }
  const auto choose = [&](double apart, int count, const auto& asked) {
    for (int k = 0; k < count; ++k) {
      chosen.push_back(all[next]);
      const Vec3d at = surface.positions[static_cast<std::size_t>(all[next])];
      far = 0;
      for (std::size_t i = 0; i < all.size(); ++i) {
        away[i] = std::min(away[i], distance(at, surface.positions[static_cast<std::size_t>(all[i])]));
        if (asked(i) && away[i] > far) far = away[i], next = i;
      }
      if (far < apart) break;
    }
  };
  choose(spacing, most, [](std::size_t) { return true; });
  const Vec3d along = normalised(reference.position[static_cast<std::size_t>(elbow)] - from);
  const double upperLength = distance(from, reference.position[static_cast<std::size_t>(elbow)]);
  const auto partAlong = [&](int v) { return dot(surface.positions[static_cast<std::size_t>(v)] - from, along) / upperLength; };
  // The upper arm grows out of the body: only its half next to the elbow can be kept out. Where that begins, it meets the body first: there a
  // rim between two chosen points is missed.
  constexpr double begins = 0.48, ends = 0.75;
  const auto atBegin = [&](std::size_t i) {
    const double part = partAlong(all[i]);
    return surface.parts[static_cast<std::size_t>(all[i])] == upper && part >= begins && part < ends;
  };
  far = 0;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (atBegin(i) && away[i] > far) far = away[i], next = i;
  if (far >= beginSpacing * spacing) choose(beginSpacing * spacing, beginPoints, atBegin);
  // Neighbours together: by part, then along the arm.
  const auto key = [&](int v) {
    const BodyPart p = surface.parts[static_cast<std::size_t>(v)];
    return std::pair{static_cast<int>(p), dot(surface.positions[static_cast<std::size_t>(v)] - from, along)};
  };
  std::stable_sort(chosen.begin(), chosen.end(), [&](int a, int b) { return key(a) < key(b); });
  for (const int v : chosen) {
    ArmPoint p;
    p.reference = surface.positions[static_cast<std::size_t>(v)];
    p.part = surface.parts[static_cast<std::size_t>(v)];
    p.vertex = v;
    for (const BodySolid& solid : solids) p.allowed = std::max(p.allowed, -solid.grid.at(p.reference));
    if (p.allowed > 0) p.allowed += 0.002 * scale;
    if (p.part == upper && partAlong(v) < begins) continue;
    p.first = static_cast<std::uint32_t>(out.joint.size());
    for (std::uint32_t k = surface.influenceStart[static_cast<std::size_t>(v)]; k < surface.influenceStart[static_cast<std::size_t>(v) + 1]; ++k) {
      out.joint.push_back(surface.influenceJoint[k]);
      out.weight.push_back(surface.influenceWeight[k]);
    }
    p.count = static_cast<std::uint32_t>(out.joint.size()) - p.first;
    out.points.push_back(p);
  }
  for (int i = 0; i < static_cast<int>(out.points.size());) {
    ArmPoints::Cluster c{i, 0};
    while (i < static_cast<int>(out.points.size()) && c.count < 16 && out.points[static_cast<std::size_t>(i)].part == out.points[static_cast<std::size_t>(c.first)].part) ++i, ++c.count;
    out.clusters.push_back(c);
  }
  return out;
}

/// Two FNV-1a hashes side by side, eight bytes at a time: 128 bits.
class ContentKey {
 public:
  void add(const void* data, std::size_t bytes) {
    const auto* p = static_cast<const unsigned char*>(data);
    for (; bytes >= 8; p += 8, bytes -= 8) {
      std::uint64_t word;
      std::memcpy(&word, p, 8);
      mix(word);
    }
    for (; bytes > 0; ++p, --bytes) mix(*p);
  }
  template <class T>
  void add(const std::vector<T>& v) {
    mix(v.size());
    add(v.data(), v.size() * sizeof(T));
  }
  void add(double v) { add(&v, sizeof v); }
  [[nodiscard]] std::string text() const {
    char out[40];
    std::snprintf(out, sizeof out, "%016llx%016llx", static_cast<unsigned long long>(a_), static_cast<unsigned long long>(b_));
    return out;
  }

 private:
  void mix(std::uint64_t word) {
    a_ = (a_ ^ word) * 1099511628211ull;
    a_ ^= a_ >> 29;
    b_ = (b_ ^ word) * 0x9e3779b97f4a7c15ull;
    b_ ^= b_ >> 31;
  }
  std::uint64_t a_ = 1469598103934665603ull, b_ = 0x2545f4914f6cdd1dull;
};

/// Limbs and seams hands can touch: the parts each goes on into. Of a seam only the skin between them, as its parts are solids themselves.
struct Joined {
  BodyPart part;
  std::array<BodyPart, 2> with;
  bool seam = false;
};
constexpr Joined joinedParts[] = {{BodyPart::leftShank, {BodyPart::leftThigh, BodyPart::leftThigh}},
                                  {BodyPart::rightShank, {BodyPart::rightThigh, BodyPart::rightThigh}},
                                  {BodyPart::leftUpperArm, {BodyPart::torso, BodyPart::torso}},
                                  {BodyPart::leftForearm, {BodyPart::leftUpperArm, BodyPart::leftHand}},
                                  {BodyPart::leftHand, {BodyPart::leftHand, BodyPart::leftHand}},
                                  {BodyPart::rightUpperArm, {BodyPart::torso, BodyPart::torso}},
                                  {BodyPart::rightForearm, {BodyPart::rightUpperArm, BodyPart::rightHand}},
                                  {BodyPart::rightHand, {BodyPart::rightHand, BodyPart::rightHand}},
                                  {BodyPart::leftThigh, {BodyPart::torso, BodyPart::rightThigh}, true},
                                  {BodyPart::rightThigh, {BodyPart::torso, BodyPart::torso}, true},
                                  {BodyPart::head, {BodyPart::torso, BodyPart::torso}, true}};

void build(BodyModel& model, const SkeletonMap& map, const BodyModelSettings& settings) {
  const double scale = model.height / 1.7, cell = settings.cell * scale;
  for (const BodyPart part : {BodyPart::torso, BodyPart::head, BodyPart::leftThigh, BodyPart::rightThigh}) {
    BodySolid solid = bendingSolid(model.surface, part, cell, model.gridError);
    if (!solid.grid.empty() && !solid.joints.empty()) model.solids.push_back(std::move(solid));
  }
  std::array<BodySolid, std::size(joinedParts)> limbs;
  parallelFor(static_cast<int>(std::size(joinedParts)), [&](int i) {
    const auto k = static_cast<std::size_t>(i);
    limbs[k] = joinedSolid(model.surface, joinedParts[k].part, joinedParts[k].with, joinedParts[k].seam, cell, 1);
  });
  for (BodySolid& solid : limbs)
    if (!solid.grid.empty() && !solid.joints.empty()) model.limbs.push_back(std::move(solid));
  for (int side = 0; side < 2; ++side)
    model.arms[static_cast<std::size_t>(side)] =
        makeArm(model.surface, side, model.reference(), map, model.solids, settings.spacing * scale, scale, settings.mostPoints);
}

}  // namespace

PartMesh meshOf(const BodyModel& model, const BodySolid& solid) {
  const bool limb = std::any_of(model.limbs.begin(), model.limbs.end(), [&](const BodySolid& own) { return &own == &solid; });
  for (const Joined& j : joinedParts)
    if (limb && j.part == solid.part) return partMesh(model.surface, j.part, j.with, j.seam);
  return partMesh(model.surface, solid.part);
}

std::shared_ptr<const BodyModel> bodyModel(BodySurface surface, const JointFrames& reference, const SkeletonMap& map, const Skeleton& skeleton, double height,
                                           const BodyModelSettings& settings) {
  ContentKey content;
  content.add(surface.positions);
  content.add(surface.parts);
  content.add(surface.influenceStart);
  content.add(surface.influenceJoint);
  content.add(surface.influenceWeight);
  content.add(surface.indices);
  content.add(skeleton.parents);
  for (const double v : {height, settings.cell, settings.spacing, static_cast<double>(settings.mostPoints)}) content.add(v);
  for (const Quatd& q : reference.rotation) content.add(&q, sizeof q);
  for (const Vec3d& p : reference.position) content.add(&p, sizeof p);
  for (const RoleJoints& r : map.roles) content.add(r.joints);
  const std::string key = content.text();

  static std::mutex guard;
  static std::vector<std::pair<std::string, std::shared_ptr<const BodyModel>>> kept;
  const std::lock_guard lock(guard);
  for (const auto& [k, model] : kept)
    if (k == key) return model;

  auto model = std::make_shared<BodyModel>();
  model->surface = std::move(surface);
  model->rotation.assign(reference.rotation.begin(), reference.rotation.end());
  model->position.assign(reference.position.begin(), reference.position.end());
  model->height = height;
  const std::shared_ptr<ComputedStore> store = computedStore();
  const std::string name = "body-" + key + "-" + bodyModelFormat();
  bool known = false;
  if (store)
    if (const std::optional<std::string> bytes = store->load(name)) known = readBodyModel(*bytes, *model);
  if (!known) {
    build(*model, map, settings);
    if (store) store->save(name, writeBodyModel(*model));
  }
  constexpr std::size_t most = 6;
  if (kept.size() >= most) kept.erase(kept.begin());
  kept.emplace_back(key, model);
  return model;
}

}  // namespace understudy
