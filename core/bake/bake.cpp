#include "core/bake/bake.h"

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "core/bake/reduce.h"
#include "core/evaluate/props.h"
#include "core/io/read.h"
#include "core/io/with_props.h"
#include "core/io/world_tracks.h"
#include "core/repair/grip.h"

namespace understudy {
namespace {

void bakeProps(const Take& take, const Figure& character, const Evaluated& evaluated, Baked& baked) {
  std::vector<const Repair*> repairs;
  for (const Node<Repair>& repair : *take.repairs) repairs.push_back(&*repair);
  const Quatd unturn = conjugate(evaluated.context->body.pose.facing);
  for (const PropItem& item : *take.props) {
    const bool held = !item.holders.empty() || std::any_of(repairs.begin(), repairs.end(), [&](const Repair* repair) {
      const GripRepair* grip = std::get_if<GripRepair>(&repair->action);
      return grip && grip->prop == item.id && !repair->muted && repair->weight > 0;
    });
    if (!held) continue;
    BakedProp prop;
    prop.name = item.name.empty() ? "prop" : item.name;
    std::error_code error;
    if (!item.node.empty() && (item.path == character.path || std::filesystem::equivalent(item.path, character.path, error))) {
      const Result<int> joint = findJoint(character.skeleton, item.node);
      if (!joint) {
        baked.notes.push_back(makeWarning("The prop '" + prop.name + "' is left out: " + joint.error().what, joint.error().where, joint.error().todo));
        continue;
      }
      prop.joint = *joint;
    } else {
      Result<PropModel> model = openProp(item);
      if (!model) {
        baked.notes.push_back(makeWarning("The prop '" + prop.name + "' is left out: " + model.error().what, model.error().where, model.error().todo));
        continue;
      }
      baked.props.push_back(std::make_unique<const Figure>(std::move(model->figure)));
      prop.figure = baked.props.back().get();
    }
    const std::vector<Rigid> own = propPath(*evaluated.context, evaluated.untrimmed, item, repairs, {evaluated.trimFirst, evaluated.trimFirst + evaluated.frames - 1});
    if (own.empty()) continue;
    for (int f = 0; f < baked.motion->frames; ++f) {
      const double at = std::min(baked.motion->rate.seconds(f) * evaluated.rate.hertz(), static_cast<double>(own.size() - 1));
      // A whole frame but for rounding is that frame.
      const double near = std::round(at), whole = std::abs(at - near) < 1e-6 ? near : std::floor(at);
      const auto k = static_cast<std::size_t>(whole);
      const Rigid r = at - whole > 1e-6 && k + 1 < own.size() ? blend(own[k], own[k + 1], at - whole) : own[k];
      prop.path.push_back({normalised(unturn * r.turn), rotate(unturn, r.at)});
    }
    baked.clip.props.push_back(std::move(prop));
  }
}

}  // namespace

Result<Baked> bake(const Take& take, const Figure& character, const Evaluated& evaluated) {
  if (!evaluated.complete() || evaluated.motion.frames() == 0) {
    for (const Issue& issue : evaluated.issues)
      if (issue.severity == Severity::error) return issue;
    return makeError(Fault::internal, "There is nothing to hand over", take.name);
  }
  Baked baked;
  Motion motion = evaluated.motion.flat();
  // The sampled rest of the clip is a cut of a continuous motion, but a nudge may have turned a joint past half a turn.
  makeContinuous(motion);
  if (take.handOver->rate && !(*take.handOver->rate == motion.rate)) motion = resampled(motion, *take.handOver->rate, &baked.notes);
  baked.motion = std::make_unique<const Motion>(std::move(motion));
  baked.clip.name = take.handOver->animationName;
  baked.clip.motion = baked.motion.get();
  baked.clip.firstFrame = take.firstFrame;
  baked.clip.rotated = evaluated.report->animatedJoints;
  const std::vector<int> repaired = turnedJoints(evaluated.base, evaluated.motion);
  baked.clip.rotated.insert(baked.clip.rotated.end(), repaired.begin(), repaired.end());
  std::sort(baked.clip.rotated.begin(), baked.clip.rotated.end());
  baked.clip.rotated.erase(std::unique(baked.clip.rotated.begin(), baked.clip.rotated.end()), baked.clip.rotated.end());
  bakeProps(take, character, evaluated, baked);
  if (take.handOver->bake != BakeKind::sampled) {
    ReduceSettings settings;
    settings.tolerance = take.handOver->tolerance;
    settings.editable = take.handOver->bake == BakeKind::editable;
    Result<KeyPlan> plan = planKeys(character, *baked.motion, baked.clip.rotated, &evaluated.map->character, settings);
    if (!plan) return plan.error();
    baked.clip.plan = std::move(plan).value();
  }
  return baked;
}

Result<Fidelity> measureFidelity(const std::string& path, const Figure& character, const BakedClip& baked, const RunControl& control) {
  if (path.ends_with(".csv")) return makeError(Fault::usage, "A CSV file holds positions, no curves to measure", path);
  ReadSettings settings;
  settings.meshes = false;
  Result<Figure> read = readFigure(path, settings, control);
  if (!read) return read.error();
  Figure& written = *read;
  const bool bvh = written.format == "BVH";
  // BVH states neither unit nor axes; it was written in the character's.
  if (bvh) written.space = character.space;
  const Clip* clip = nullptr;
  for (const Clip& candidate : written.clips)
    if (bvh || candidate.name == baked.name) clip = &candidate;
  if (!clip && !written.clips.empty()) clip = &written.clips.back();
  if (!clip) return makeError(Fault::output, "The written file holds no animation", path);
  Result<Motion> motion = sample(*clip, written.skeleton, control);
  if (!motion) return motion.error();
  // Props are nodes of their own in the file, or joints of the character that go their own way.
  std::unique_ptr<const WithProps> with;
  if (!baked.props.empty() && !bvh) {
    Result<std::unique_ptr<const WithProps>> all = withProps(character, baked, false);
    if (!all) return all.error();
    with = std::move(*all);
  }
  const Motion& expected = with ? with->motion : *baked.motion;
  if (motion->frames != expected.frames)
    return makeError(Fault::output, "The written file holds " + std::to_string(motion->frames) + " frames instead of " + std::to_string(expected.frames), path);

  const Skeleton& own = with ? with->figure.skeleton : character.skeleton;
  const Skeleton& other = written.skeleton;
  std::vector<std::pair<int, int>> pairs;
  // The BVH writer names joints that have no name.
  const bool sameOrder = own.size() == other.size() && own.names == other.names;
  for (int j = 0; j < own.size(); ++j) {
    if (sameOrder) {
      pairs.emplace_back(j, j);
    } else if (const Result<int> at = findJoint(other, bvh && own.names[static_cast<std::size_t>(j)].empty()
                                                           ? "joint_" + std::to_string(own.fileNodes[static_cast<std::size_t>(j)])
                                                           : jointKey(own, j))) {
      pairs.emplace_back(j, *at);
    }
  }
  if (pairs.empty()) return makeError(Fault::output, "The written file holds none of the character's joints", path);

  Fidelity fidelity;
  int worst = -1;
  const WorldTracks ownTracks(own, expected), otherTracks(other, *motion);
  const auto count = [](const Skeleton& s) { return static_cast<std::size_t>(s.size()); };
  std::vector<Quatd> ownRest(count(own)), otherRest(count(other)), ownTurn(count(own)), otherTurn(count(other));
  std::vector<Vec3d> ownPoint(count(own)), otherPoint(count(other));
  ownTracks.rest(ownRest, ownPoint);
  otherTracks.rest(otherRest, otherPoint);
  const Affined ownWorld = character.space.toWorld(), otherWorld = written.space.toWorld();
  const auto changeOf = [](const Space& space, const Quatd& turn, const Quatd& rest) {
    return normalised(space.worldFromFile * turn * conjugate(rest) * conjugate(space.worldFromFile));
  };
  for (int f = 0; f < expected.frames; ++f) {
    if ((f & 63) == 0) {
      if (control.stopped()) return RunControl::cancelled();
      control.report(static_cast<double>(f) / expected.frames, "Checking the written file");
    }
    ownTracks.at(f, ownTurn, ownPoint);
    otherTracks.at(f, otherTurn, otherPoint);
    for (const auto& [a, b] : pairs) {
      const auto i = static_cast<std::size_t>(a), k = static_cast<std::size_t>(b);
      const Quatd wanted = changeOf(character.space, ownTurn[i], ownRest[i]), got = changeOf(written.space, otherTurn[k], otherRest[k]);
      const Vec3d apart = apply(otherWorld, otherPoint[k]) - apply(ownWorld, ownPoint[i]);
      for (const Vec3d& axis : {Vec3d{0.03, 0, 0}, Vec3d{0, 0.03, 0}, Vec3d{0, 0, 0.03}}) {
        const double millimetres = 1000 * length(apart + rotate(got, axis) - rotate(wanted, axis));
        if (!(millimetres <= fidelity.worstMillimetres)) {
          fidelity.worstMillimetres = millimetres;
          worst = a;
          fidelity.worstFrame = f;
        }
      }
    }
  }
  if (worst >= 0) fidelity.worstJoint = jointKey(own, worst);
  if (clip->sampled) {
    const Motion& m = *clip->sampled;
    fidelity.keys = static_cast<std::size_t>(m.frames) * (static_cast<std::size_t>(m.joints) + m.movedJoints.size());
  }
  for (const KeyedCurve& curve : clip->curves) fidelity.keys += curve.times.size();
  std::error_code error;
  const auto bytes = std::filesystem::file_size(path, error);
  fidelity.bytes = error ? 0 : static_cast<std::size_t>(bytes);
  return fidelity;
}

}  // namespace understudy
