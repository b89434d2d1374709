#include "core/inspect/cloth.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "core/base/parallel.h"
#include "core/body/body_model.h"
#include "core/inspect/limb_names.h"
#include "core/repair/clearance.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

/// A loose bone with some points of its skin, and the parts they should stay out of.
struct Loose {
  int joint = -1;
  std::vector<int> vertices;
  std::vector<const BodySolid*> solids;
  std::vector<double> rest;  ///< [vertex · solids + solid]: metres inside in the reference pose
};

std::vector<Loose> looseBones(const RepairContext& context, const BodyModel& model, const ClothLimits& limits) {
  const BodySurface& skin = model.surface;
  const Skeleton& bones = context.figure->skeleton;
  std::vector<char> mapped(static_cast<std::size_t>(bones.size()), 0);
  for (const RoleJoints& role : context.roles().roles)
    for (const int joint : role.joints) mapped[static_cast<std::size_t>(joint)] = 1;
  // Between or beside mapped bones (twist bones, second spine bones) is no cloth: a loose chain ends without a mapped bone.
  std::vector<char> carries = mapped;
  for (int j = bones.size() - 1; j >= 0; --j)
    if (carries[static_cast<std::size_t>(j)])
      if (const int parent = bones.parents[static_cast<std::size_t>(j)]; parent >= 0) carries[static_cast<std::size_t>(parent)] = 1;
  std::vector<std::vector<int>> own(static_cast<std::size_t>(bones.size()));
  for (int v = 0; v < skin.vertices(); ++v) {
    const auto i = static_cast<std::size_t>(v);
    for (std::uint32_t k = skin.influenceStart[i]; k < skin.influenceStart[i + 1]; ++k)
      if (skin.influenceWeight[k] > 0.5F) own[static_cast<std::size_t>(skin.influenceJoint[k])].push_back(v);
  }
  std::vector<Loose> out;
  for (int j = 0; j < bones.size(); ++j) {
    const auto i = static_cast<std::size_t>(j);
    if (carries[i] || own[i].empty()) continue;
    Loose loose;
    loose.joint = j;
    const BodyPart part = skin.jointParts[i];
    const auto against = [&](BodyPart other) {
      if (const BodySolid* solid = model.solid(other)) loose.solids.push_back(solid);
    };
    if (part == BodyPart::torso) against(BodyPart::leftThigh), against(BodyPart::rightThigh);
    if (part == BodyPart::head) against(BodyPart::torso);
    if (loose.solids.empty()) continue;
    const std::size_t stride = std::max<std::size_t>(1, own[i].size() / static_cast<std::size_t>(limits.points));
    for (std::size_t k = 0; k < own[i].size(); k += stride) loose.vertices.push_back(own[i][k]);
    out.push_back(std::move(loose));
  }
  return out;
}

}  // namespace

Findings clothFindings(const RepairContext& context, const TiledMotion& motion, const ClothLimits& limits, int threads) {
  Findings out;
  if (!context.figure || context.figure->meshes.empty()) return out;
  const std::shared_ptr<const BodyModel> model = bodyModelOf(context);
  std::vector<Loose> bones = looseBones(context, *model, limits);
  if (bones.empty()) return out;
  struct Depths {
    std::vector<double> worst;
    std::vector<BodyPart> in;
  };
  const auto frames = static_cast<std::size_t>(motion.frames());
  std::vector<Depths> depths(bones.size(), {std::vector<double>(frames), std::vector<BodyPart>(frames, BodyPart::none)});
  // How deep a bone's skin lies in a pose, each metre inside its points that there are in the reference pose taken off; those are left in
  // `rests` where it is given.
  const auto depthOf = [&](const Loose& loose, const std::vector<Affined>& turned, std::vector<Vec3d>& points, BodyPart& in, std::vector<double>* rests) {
    points.resize(loose.vertices.size());
    pointsOf(model->surface, turned, loose.vertices, points);
    double worst = 0;
    for (std::size_t s = 0; s < loose.solids.size(); ++s) {
      const PosedSolid solid(*loose.solids[s], turned);
      for (std::size_t p = 0; p < points.size(); ++p) {
        const double inside = solid.atLeast(points[p]) > 0 ? 0 : std::max(0.0, -solid.distance(points[p], solid.place(points[p])));
        if (rests) rests->push_back(inside);
        const double deeper = rests ? 0 : inside - loose.rest[s * points.size() + p];
        if (deeper > worst) {
          worst = deeper;
          in = loose.solids[s]->part;
        }
      }
    }
    return worst;
  };
  const std::vector<Affined> still = turnedFrames(model->reference(), model->reference());
  for (Loose& loose : bones) {
    std::vector<Vec3d> points;
    std::vector<double> rest;
    BodyPart ignored = BodyPart::none;
    static_cast<void>(depthOf(loose, still, points, ignored, &rest));
    loose.rest = std::move(rest);
  }
  constexpr int atOnce = 64;
  parallelFor((motion.frames() + atOnce - 1) / atOnce, [&](int chunk) {
    Poser poser(context);
    std::vector<Vec3d> points;
    std::vector<Quatd> rotation(static_cast<std::size_t>(context.figure->skeleton.size()));
    std::vector<Vec3d> position(rotation.size());
    for (int f = chunk * atOnce; f < std::min((chunk + 1) * atOnce, motion.frames()); ++f) {
      poser.load(motion, f);
      for (std::size_t j = 0; j < rotation.size(); ++j) {
        rotation[j] = poser.rotation(static_cast<int>(j));
        position[j] = poser.position(static_cast<int>(j));
      }
      const std::vector<Affined> turned = turnedFrames(model->reference(), {rotation, position});
      const auto at = static_cast<std::size_t>(f);
      for (std::size_t b = 0; b < bones.size(); ++b) depths[b].worst[at] = depthOf(bones[b], turned, points, depths[b].in[at], nullptr);
    }
  }, threads);
  const int join = std::max(1, static_cast<int>(std::lround(limits.join * context.rate.hertz())));
  for (std::size_t b = 0; b < bones.size(); ++b) {
    std::vector<FrameSpan> spans;
    for (int f = 0; f < motion.frames(); ++f) {
      if (depths[b].worst[static_cast<std::size_t>(f)] < context.scaled(limits.least)) continue;
      if (!spans.empty() && f - spans.back().last <= join) spans.back().last = f;
      else spans.push_back({f, f});
    }
    for (const FrameSpan& span : spans) {
      Finding finding;
      finding.kind = FindingKind::depth;
      finding.hint = true;
      finding.span = span;
      finding.worst = static_cast<int>(std::max_element(depths[b].worst.begin() + span.first, depths[b].worst.begin() + span.last + 1) - depths[b].worst.begin());
      const double most = depths[b].worst[static_cast<std::size_t>(finding.worst)];
      finding.measure = 1000 * most;
      finding.severity = std::clamp(most / context.scaled(0.08), 0.02, 1.0);
      finding.bones = {boneName(context, bones[b].joint)};
      finding.sentence = "What hangs on “" + spokenBone(finding.bones.front()) + "” lies " + spokenFigure(finding.measure, "mm") + " in the " +
                         std::string(bodyPartName(depths[b].in[static_cast<std::size_t>(finding.worst)]));
      finding.cause = "No role moves this bone: it keeps its place on what it hangs on";
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
    }
  }
  return out;
}

}  // namespace understudy
