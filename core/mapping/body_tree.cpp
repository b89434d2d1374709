#include "core/mapping/body_tree.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

// Which joints deform a mesh, carry curves, or are no bones at all.
struct Kinds {
  bool weightsKnown = false;
  std::vector<char> weighted, inSkin, aboveSkin, carriesMesh, hasCurve;
};

Kinds kindsOf(const Figure& figure) {
  const Skeleton& sk = figure.skeleton;
  const std::size_t n = sk.parents.size();
  Kinds k{false, std::vector<char>(n), std::vector<char>(n), std::vector<char>(n), std::vector<char>(n), std::vector<char>(n)};
  for (const Skin& skin : figure.skins)
    for (const int j : skin.joints)
      if (j >= 0 && j < sk.size()) k.inSkin[j] = 1;
  for (int j = sk.size() - 1; j >= 0; --j)
    if ((k.inSkin[j] || k.aboveSkin[j]) && sk.parents[j] >= 0) k.aboveSkin[sk.parents[j]] = 1;
  for (const Mesh& mesh : figure.meshes)
    if (mesh.node >= 0 && mesh.node < sk.size()) k.carriesMesh[mesh.node] = 1;
  for (const Mesh& mesh : figure.meshes) {
    if (mesh.skin < 0 || mesh.skin >= static_cast<int>(figure.skins.size())) continue;
    const std::vector<int>& joints = figure.skins[mesh.skin].joints;
    const std::size_t count = std::min(mesh.influenceJoint.size(), mesh.influenceWeight.size());
    k.weightsKnown = k.weightsKnown || count > 0;
    for (std::size_t i = 0; i < count; ++i)
      if (mesh.influenceWeight[i] > 0 && mesh.influenceJoint[i] < joints.size()) k.weighted[joints[mesh.influenceJoint[i]]] = 1;
  }
  if (!figure.clips.empty()) {
    const Clip& clip = figure.clips.front();
    for (const KeyedCurve& curve : clip.curves)
      if (curve.joint >= 0 && curve.joint < sk.size() && curve.target != CurveTarget::morphWeights) k.hasCurve[curve.joint] = 1;
    if (clip.sampled && clip.sampled->joints == sk.size()) {
      const Motion& m = *clip.sampled;
      const int step = std::max(1, m.frames / 24);
      for (int f = 0; f < m.frames; f += step) {
        const auto now = m.rotationsAt(f);
        for (int j = 0; j < m.joints; ++j) {
          const Quatf q = now[j];
          if (std::abs(q.x) + std::abs(q.y) + std::abs(q.z) > 1e-6F) k.hasCurve[j] = 1;
        }
      }
      for (const int j : m.movedJoints) k.hasCurve[j] = 1;
    }
  }
  return k;
}

}  // namespace

BodyTree treeOf(const Figure& figure, bool useNames) {
  const Kinds kinds = kindsOf(figure);
  const Skeleton& sk = figure.skeleton;
  const int n = sk.size();
  BodyTree t;
  t.parents = sk.parents;
  t.cues.resize(n);
  if (useNames)
    for (int j = 0; j < n; ++j) t.cues[j] = readName(sk.names[j]);
  t.trust = useNames ? nameTrust(t.cues, sk.parents) : 0;
  t.isBone.assign(n, 0);
  t.isTip.assign(n, 0);
  t.bones.resize(n);
  t.tips.resize(n);
  const bool skinned = figure.hasSkin(), believed = t.trust > .5, bvh = figure.format == "BVH";
  t.isSure = skinned || std::find(kinds.hasCurve.begin(), kinds.hasCurve.end(), 1) != kinds.hasCurve.end();
  std::vector<char> leaf(n, 1), bodyBelow(n, 0), onlyTips(n, 1);
  for (int j = n - 1; j >= 0; --j) {
    const int p = sk.parents[j];
    const NameCue& cue = t.cues[j];
    bool bone = !skinned || kinds.inSkin[j] || kinds.aboveSkin[j];
    if (skinned && kinds.carriesMesh[j] && !kinds.inSkin[j] && !kinds.aboveSkin[j]) {
      if (p >= 0) leaf[p] = 0;
      continue;  // a prop, or the mesh itself
    }
    if (believed && cue.helper && !bodyBelow[j]) continue;
    bool tip = skinned && !bone && onlyTips[j];
    // Exporters list the ends of chains among a skin's joints, but nothing hangs on them.
    if (skinned && kinds.weightsKnown && leaf[j] && !kinds.weighted[j] && !(believed && cue.known() && !cue.end)) tip = true;
    if (believed && cue.end && onlyTips[j]) tip = true;
    // An End Site cannot turn; elsewhere a leaf that nothing moves below a moved joint ends a chain, unless its name is a bone's.
    if (!skinned && leaf[j] && !kinds.hasCurve[j] && !(believed && cue.known() && !cue.end) && (bvh || (p >= 0 && kinds.hasCurve[p])))
      tip = true;
    if (tip) bone = false;
    t.isBone[j] = bone;
    t.isTip[j] = tip;
    if (believed && cue.known() && !cue.helper) bodyBelow[j] = 1;
    if (p >= 0) {
      leaf[p] = 0;
      if (bone) onlyTips[p] = 0;
      if (bodyBelow[j]) bodyBelow[p] = 1;
      if (bone) t.bones[p].push_back(j);
      if (tip) t.tips[p].push_back(j);
    }
  }
  for (int j = 0; j < n; ++j) {
    std::reverse(t.bones[j].begin(), t.bones[j].end());
    if (!t.bones[j].empty()) t.isBone[j] = 1;
  }
  // Joints kept alive by their children are children themselves.
  for (int j = 0; j < n; ++j)
    if (t.isBone[j] && sk.parents[j] >= 0) {
      auto& own = t.bones[sk.parents[j]];
      if (std::find(own.begin(), own.end(), j) == own.end()) own.push_back(j);
      t.isBone[sk.parents[j]] = 1;
    }
  return t;
}

std::vector<Vec3d> positions(const Figure& figure, const std::vector<Affined>& world) {
  const Affined toWorld = figure.space.toWorld();
  std::vector<Vec3d> out(world.size());
  for (std::size_t j = 0; j < world.size(); ++j) {
    out[j] = apply(toWorld, world[j].translation);
    if (!isFinite(out[j])) out[j] = {};
  }
  return out;
}

// Bind matrices live in the mesh's own space, which may lie or be scaled differently from the scene: the first joint of
// each skin tells how to bring it there.
std::vector<Affined> bindInScene(const Figure& figure, const std::vector<Affined>& rest) {
  const Skeleton& sk = figure.skeleton;
  std::vector<Affined> world(rest.size());
  std::vector<char> bound(rest.size(), 0);
  for (const Skin& skin : figure.skins) {
    const std::size_t count = std::min(skin.joints.size(), skin.inverseBind.size());
    std::size_t top = count;
    for (std::size_t i = 0; i < count; ++i)
      if (top == count || skin.joints[i] < skin.joints[top]) top = i;
    if (top == count) continue;
    const Affined scene = rest[skin.joints[top]] * skin.inverseBind[top];
    for (std::size_t i = 0; i < count; ++i) {
      const int j = skin.joints[i];
      if (bound[j] || std::abs(determinant(skin.inverseBind[i].linear)) < 1e-30) continue;
      world[j] = scene * inverse(skin.inverseBind[i]);
      bound[j] = 1;
    }
  }
  for (int j = 0; j < sk.size(); ++j)
    if (!bound[j]) world[j] = sk.parents[j] < 0 ? Affined(sk.rest[j]) : world[sk.parents[j]] * Affined(sk.rest[j]);
  return world;
}

std::vector<Affined> clipPose(const Figure& figure, double fraction) {
  const Skeleton& sk = figure.skeleton;
  const Clip& clip = figure.clips.front();
  if (clip.sampled) {
    const int last = std::max(0, clip.sampled->frames - 1);
    return worldAt(sk, *clip.sampled, std::clamp(static_cast<int>(fraction * last), 0, last));
  }
  std::vector<Trsd> local = sk.rest;
  const double time = clip.start + fraction * (clip.end - clip.start);
  for (const KeyedCurve& curve : clip.curves) {
    if (curve.joint < 0 || curve.joint >= sk.size() || curve.times.empty() || curve.target == CurveTarget::morphWeights) continue;
    float v[4] = {0, 0, 0, 0};
    evaluate(curve, time, v);
    if (curve.target == CurveTarget::translation) local[curve.joint].translation = {v[0], v[1], v[2]};
    if (curve.target == CurveTarget::rotation) local[curve.joint].rotation = normalised(Quatd{v[0], v[1], v[2], v[3]});
    if (curve.target == CurveTarget::scale) local[curve.joint].scale = {v[0], v[1], v[2]};
  }
  std::vector<Affined> world(local.size());
  forwardKinematics(sk, local, world);
  return world;
}

bool hasMotion(const Figure& figure) {
  if (figure.clips.empty()) return false;
  const Clip& clip = figure.clips.front();
  return clip.sampled ? clip.sampled->frames > 0 && clip.sampled->joints == figure.skeleton.size() : !clip.curves.empty();
}

}  // namespace understudy
