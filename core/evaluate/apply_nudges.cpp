#include <algorithm>

#include "core/evaluate/evaluate.h"
#include "core/repair/offset.h"

namespace understudy {
namespace {

/// As much of a context as nudges need: no map and no body have to be known.
std::shared_ptr<const RepairContext> bareContext(const Figure& character, const TiledMotion& motion, const BoneMap* map, const RetargetReport* report) {
  auto context = std::make_shared<RepairContext>();
  context->figure = std::shared_ptr<const Figure>(std::shared_ptr<const Figure>{}, &character);
  context->map = map ? std::shared_ptr<const BoneMap>(std::shared_ptr<const BoneMap>{}, map) : std::make_shared<const BoneMap>();
  context->rate = motion.rate();
  context->frames = motion.frames();
  PosedBody& body = context->body;
  body.figure = &character;
  body.map = &context->map->character;
  if (report) body.pose = report->characterReference;
  body.rig = rigidRig(character, body.pose.facing);
  const Skeleton& skeleton = character.skeleton;
  const auto n = static_cast<std::size_t>(skeleton.size());
  if (body.pose.fileWorld.size() != n) body.pose.fileWorld = restWorld(skeleton);
  const Affined toWorld = worldFromFile(character, body.pose);
  const Quatd turn = body.pose.facing * character.space.worldFromFile;
  for (std::size_t j = 0; j < n; ++j) {
    body.rotation.push_back(turn * polarParts(body.pose.fileWorld[j]).rotation);
    body.position.push_back(apply(toWorld, body.pose.fileWorld[j].translation));
  }
  context->below.resize(n);
  for (int j = 0; j < skeleton.size(); ++j)
    for (int p = skeleton.parents[static_cast<std::size_t>(j)]; p >= 0; p = skeleton.parents[static_cast<std::size_t>(p)])
      context->below[static_cast<std::size_t>(p)].push_back(j);
  return context;
}

}  // namespace

TiledMotion applyNudges(const Figure& character, const TiledMotion& base, const Nudges& nudges, const BoneMap* map, const RetargetReport* report,
                        std::vector<int>* nudgedJoints, Issues* issues) {
  const auto context = bareContext(character, base, map, report);
  std::vector<const Nudge*> list;
  for (const Node<Nudge>& nudge : nudges) list.push_back(&*nudge);
  Issues told;
  const RepairLayerPtr layer = makeOffsetLayer(context, {}, list, told);
  if (issues) issues->insert(issues->end(), told.begin(), told.end());
  if (nudgedJoints) nudgedJoints->clear();
  if (!layer) return base;

  TiledMotion out = base.withMoved(character.skeleton, layer->movedJoints());
  const TiledMotion in = out;
  std::vector<FrameSpan> spans;
  for (std::size_t i = 0; i < list.size(); ++i) {
    const FrameSpan extent = layer->nudgeExtent(i);
    if (extent.empty()) continue;
    spans.push_back(common(extent, {0, base.frames() - 1}));
    if (!nudgedJoints) continue;
    for (const JointNudge& part : list[i]->joints)
      if (const Result<int> joint = findBone(*context, part.joint); joint && (part.rotation != Vec3d{} || part.translation != Vec3d{})) nudgedJoints->push_back(*joint);
  }
  std::vector<Residual> none;
  for (const FrameSpan& span : joined(std::move(spans))) {
    out = out.writable(span.first, span.count());
    layer->apply(in, span, out, none);
  }
  if (nudgedJoints) {
    std::sort(nudgedJoints->begin(), nudgedJoints->end());
    nudgedJoints->erase(std::unique(nudgedJoints->begin(), nudgedJoints->end()), nudgedJoints->end());
  }
  return out;
}

}  // namespace understudy
