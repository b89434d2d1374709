#include "app/editor/stage/stage_extras.h"

#include <algorithm>
#include <cmath>

#include "app/editor/document/findings_keeper.h"
#include "core/body/body_model.h"
#include "core/repair/clearance.h"
#include "core/repair/grip.h"
#include "core/repair/mirror.h"
#include "core/repair/poser.h"
#include "core/scene/set.h"

namespace understudy::editor {

std::vector<Vec3d> jointPath(const Skeleton& skeleton, const TiledMotion& motion, int joint, int first, int last, const Affined& placement) {
  std::vector<Vec3d> points;
  if (joint < 0 || joint >= motion.joints() || motion.joints() != skeleton.size()) return points;
  first = std::max(0, first);
  last = std::min(last, motion.frames() - 1);
  std::vector<Affined> world(static_cast<std::size_t>(skeleton.size()));
  for (int f = first; f <= last; ++f) {
    worldAt(skeleton, motion, f, world);
    points.push_back(apply(placement, world[static_cast<std::size_t>(joint)].translation));
  }
  return points;
}

std::vector<Vec3d> propPointPath(const Document& document, const Evaluated& evaluated, std::uint64_t prop, const Vec3d& point, int first, int last) {
  std::vector<Vec3d> points;
  if (!evaluated.context) return points;
  const auto item = std::find_if(evaluated.context->props.begin(), evaluated.context->props.end(), [prop](const PropItem& p) { return p.id == prop; });
  first = std::max(0, first) + evaluated.trimFirst;
  last = std::min(last + evaluated.trimFirst, evaluated.untrimmed.frames() - 1);
  if (item == evaluated.context->props.end() || last < first) return points;
  std::vector<const Repair*> repairs;
  for (const auto& repair : *document.take().repairs) repairs.push_back(&*repair);
  for (const Rigid& place : propPath(*evaluated.context, evaluated.untrimmed, *item, repairs, {first, last})) points.push_back(apply(place, point));
  return points;
}

std::vector<GapMark> gapsAt(const Document& document, const Evaluated& evaluated, int frame) {
  std::vector<GapMark> marks;
  if (!evaluated.context || frame < 0 || frame >= evaluated.motion.frames()) return marks;
  const RepairContext& context = *evaluated.context;
  const double near = context.scaled(0.03);
  Poser poser(context);
  poser.load(evaluated.motion, frame);
  for (const Sole& sole : context.soles)
    for (const JointPoint& point : sole.points) {
      const Vec3d at = poser.toWorld(point.joint, context.rigidPoint(point));
      if (std::abs(at.y) <= near) marks.push_back({at, at.y, true});
    }
  if (!document.findings().current()) return marks;
  const auto model = bodyModelOf(context);
  if (!model) return marks;
  const auto joints = static_cast<std::size_t>(context.figure->skeleton.size());
  std::vector<Quatd> rotation(joints);
  std::vector<Vec3d> position(joints);
  for (std::size_t j = 0; j < joints; ++j) rotation[j] = poser.rotation(static_cast<int>(j)), position[j] = poser.position(static_cast<int>(j));
  const std::vector<Affined> turned = turnedFrames(model->reference(), {rotation, position});
  std::vector<PosedSolid> solids;
  for (const BodySolid& solid : model->solids) solids.emplace_back(solid, turned);
  for (const ArmPoints& arm : model->arms)
    for (const ArmPoint& point : arm.points) {
      Vec3d at;
      for (std::uint32_t k = point.first; k < point.first + point.count; ++k) at += apply(turned[static_cast<std::size_t>(arm.joint[k])], point.reference) * static_cast<double>(arm.weight[k]);
      double gap = 1;
      for (const PosedSolid& solid : solids)
        if (solid.atLeast(at) < near) gap = std::min(gap, solid.sample(at).distance);
      gap += point.allowed;
      if (gap <= near) marks.push_back({at, gap, false});
    }
  return marks;
}

Quatd handleAxes(NudgeSpace space, const Evaluated& evaluated, int joint, int frame, const Camera& camera) {
  if (space == NudgeSpace::view) return toQuat(Mat3d{camera.right(), camera.up(), -camera.forward()});
  if (space == NudgeSpace::world || !evaluated.context || frame < 0 || frame >= evaluated.motion.frames()) return {};
  const RepairContext& context = *evaluated.context;
  Poser poser(context);
  poser.load(evaluated.motion, frame);
  switch (space) {
    case NudgeSpace::bone: return poser.rotation(joint);
    case NudgeSpace::parent: return poser.above(joint);
    case NudgeSpace::character: {
      const int hips = context.joint(Role::hips);
      return hips < 0 ? Quatd{} : fromAxisAngle(Vec3d{0, 1, 0}, headingOf(context, poser.rotation(hips)));
    }
    default: return fromAxisAngle(Vec3d{0, 1, 0}, yawOf(context, joint, poser.rotation(joint)));
  }
}

namespace {

StageFigurePtr pictureOf(const SetShape& shape) {
  if (!checkShape(shape)) return nullptr;
  const SetMesh triangles = trianglesOf(shape, 3);
  auto made = std::make_shared<Figure>();
  made->skeleton.add("set", -1, {}, 0);
  Mesh mesh;
  mesh.node = 0;
  // A corner for each face, so that edges stay sharp.
  for (std::size_t i = 0; i + 2 < triangles.indices.size(); i += 3) {
    const Vec3d a = triangles.positions[triangles.indices[i]], b = triangles.positions[triangles.indices[i + 1]], c = triangles.positions[triangles.indices[i + 2]];
    const Vec3f normal(normalised(cross(b - a, c - a), {0, 1, 0}));
    for (const Vec3d& corner : {a, b, c}) {
      mesh.indices.push_back(static_cast<std::uint32_t>(mesh.positions.size()));
      mesh.positions.emplace_back(corner);
      mesh.normals.push_back(normal);
    }
  }
  made->meshes.push_back(std::move(mesh));
  return prepareFigure(made);
}

}  // namespace

StageFigurePtr SetPictures::figureOf(const SetItem& item) {
  const auto known = std::find_if(made_.begin(), made_.end(), [&](const auto& one) { return one.first == item; });
  if (known != made_.end()) return known->second;
  std::erase_if(made_, [&](const auto& one) { return one.first.id == item.id; });
  const SetShape shape{static_cast<SetForm>(item.kind), Rigid{item.place.rotation, item.place.position}, item.size, item.count, nullptr};
  made_.emplace_back(item, item.kind == SetKind::mesh ? nullptr : pictureOf(shape));
  if (item.kind == SetKind::mesh)
    document_.files().post(Document::tr("Reading %1").arg(QString::fromStdString(item.name)), [this, item, shape](const RunControl& control) -> JobLane::Answer {
      auto read = readSetMesh(item.path, control);
      SetShape whole = shape;
      if (read) whole.mesh = read.value();
      return [this, item, picture = read ? pictureOf(whole) : nullptr] {
        for (auto& [thing, figure] : made_)
          if (thing == item) figure = picture;
        changed_();
      };
    });
  return made_.back().second;
}

}  // namespace understudy::editor
