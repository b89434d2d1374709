#include "tests/support/layer_checks.h"

#include <algorithm>
#include <cmath>
#include <cstring>
#include <numeric>
#include <random>
#include <stdexcept>
#include <thread>

#include "core/io/read.h"
#include "tests/support/fixtures.h"

namespace understudy::test {
namespace {

using Random = std::mt19937;

template <class T>
T must(Result<T> result) {
  if (!result) throw std::runtime_error(result.error().text());
  return std::move(*result);
}

int between(Random& random, int low, int high) { return std::uniform_int_distribution<int>(low, high)(random); }

/// Slow wobbles of the roles' joints and of the tracks.
void roughen(Motion& motion, double radians, double move, Random& random) {
  std::uniform_real_distribution<double> any(-1, 1);
  const auto wave = [&](int frame, double phase) { return std::sin(0.31 * frame + phase) * 0.6 + std::sin(0.73 * frame + 3 * phase) * 0.4; };
  for (int j = 0; j < motion.joints; ++j) {
    const Vec3d axis = normalised(Vec3d{any(random), any(random), any(random)}, Vec3d{1, 0, 0});
    const double phase = 7 * any(random);
    for (int f = 0; f < motion.frames; ++f) {
      Quatf& q = motion.rotationsAt(f)[static_cast<std::size_t>(j)];
      q = Quatf(normalised(Quatd(q) * expOf(axis * (radians * wave(f, phase)))));
    }
  }
  for (std::size_t k = 0; k < motion.movedJoints.size(); ++k) {
    const Vec3d axis{any(random), any(random), any(random)};
    for (int f = 0; f < motion.frames; ++f) motion.translationsAt(f)[k] += Vec3f(axis * (move * wave(f, static_cast<double>(k))));
  }
  makeContinuous(motion);
}

std::vector<Residual> emptyResiduals(const RepairLayer& layer, int frames) {
  std::vector<Residual> all;
  for (std::size_t i = 0; i < layer.repairs().size(); ++i) {
    const FrameSpan extent = common(layer.extent(i), {0, frames - 1});
    all.push_back({layer.repairs()[i]->id, extent.first, std::vector<Miss>(static_cast<std::size_t>(extent.count()))});
  }
  return all;
}

LayerRun started(const RepairLayer& layer, const TiledMotion& in) {
  const int frames = in.frames();
  return {in.withMoved(layer.context().figure->skeleton, layer.movedJoints()).writable(0, frames), emptyResiduals(layer, frames)};
}

std::string compare(const LayerRun& a, const LayerRun& b, const std::string& how) {
  if (const int f = firstDifference(a.motion, b.motion); f >= 0) return "frame " + std::to_string(f) + " differs " + how;
  if (a.residuals != b.residuals) return "residuals differ " + how;
  return {};
}

}  // namespace

Stand walkingStick(int frames, unsigned seed) {
  const TemporaryFolder folder;
  WalkOptions walk;
  walk.frames = frames;
  walk.frameTime = 1.0 / 30;
  writeFile(folder.file("walk.bvh"), makeWalkBvh(walk));
  writeFile(folder.file("stick.glb"), makeStickCharacterGlb());
  const Figure performer = must(readFigure(folder.file("walk.bvh")));
  const auto character = std::make_shared<const Figure>(must(readFigure(folder.file("stick.glb"))));
  const auto map = std::make_shared<const BoneMap>(BoneMap{mapRoles(performer), mapRoles(*character)});
  const Motion clip = must(sample(performer.clips.at(0), performer.skeleton));
  Motion motion = must(retarget(performer, clip, *character, *map)).motion;
  Random random(seed);
  if (seed != 0) roughen(motion, 0.0175, 0.002 / character->space.metresPerUnit, random);
  return {must(repairContext(character, map, {}, motion.rate, motion.frames)), TiledMotion(std::make_shared<const Motion>(std::move(motion)))};
}

Stand swinging(std::shared_ptr<const Figure> figure, std::shared_ptr<const BoneMap> map, int frames, double degrees, unsigned seed) {
  const auto context = must(repairContext(figure, map, {}, {30, 1}, frames));
  const int hips = context->joint(Role::hips);
  Motion motion = restMotion(figure->skeleton, frames, {30, 1}, hips >= 0 ? std::vector<int>{hips} : std::vector<int>{});
  for (int f = 0; f < frames; ++f)
    for (int j = 0; j < motion.joints; ++j) motion.rotationsAt(f)[static_cast<std::size_t>(j)] = Quatf(context->body.local[static_cast<std::size_t>(j)]);
  for (std::size_t k = 0; k < motion.movedJoints.size(); ++k)
    for (int f = 0; f < frames; ++f) motion.translationsAt(f)[k] = Vec3f(context->body.translation[static_cast<std::size_t>(motion.movedJoints[k])]);
  Random random(seed);
  roughen(motion, degrees * 0.0174532925, 0.1 / figure->space.metresPerUnit, random);
  return {context, TiledMotion(std::make_shared<const Motion>(std::move(motion)))};
}

LayerRun runLayer(const RepairLayer& layer, const TiledMotion& in) { return runLayer(layer, in, {{0, in.frames() - 1}}); }

LayerRun runLayer(const RepairLayer& layer, const TiledMotion& in, const std::vector<FrameSpan>& spans) {
  LayerRun run = started(layer, in);
  for (const FrameSpan& span : spans) layer.apply(in, span, run.motion, run.residuals);
  return run;
}

bool sameFrame(const TiledMotion& a, const TiledMotion& b, int frame) {
  const auto x = a.rotationsAt(frame), y = b.rotationsAt(frame);
  const auto s = a.translationsAt(frame), t = b.translationsAt(frame);
  return x.size() == y.size() && std::memcmp(x.data(), y.data(), x.size_bytes()) == 0 && s.size() == t.size() &&
         std::memcmp(s.data(), t.data(), s.size_bytes()) == 0;
}

int firstDifference(const TiledMotion& a, const TiledMotion& b) {
  for (int f = 0; f < std::max(a.frames(), b.frames()); ++f)
    if (f >= a.frames() || f >= b.frames() || !sameFrame(a, b, f)) return f;
  return -1;
}

std::string splitsDiffer(const RepairLayer& layer, const TiledMotion& in, unsigned seed) {
  Random random(seed);
  const int frames = in.frames();
  const std::string by = "(seed " + std::to_string(seed) + ")";
  const LayerRun whole = runLayer(layer, in);
  for (int turn = 0; turn < 4; ++turn) {
    std::vector<int> cuts{0, frames};
    for (int k = between(random, 1, 12); k > 0; --k) cuts.push_back(between(random, 0, frames));
    // Some frames alone, which is what an edit of one frame asks for.
    for (int f = between(random, 0, frames - 1), k = 0; k < 6 && f < frames; ++k, ++f) cuts.push_back(f);
    std::sort(cuts.begin(), cuts.end());
    std::vector<FrameSpan> spans;
    for (std::size_t i = 1; i < cuts.size(); ++i)
      if (cuts[i] > cuts[i - 1]) spans.push_back({cuts[i - 1], cuts[i] - 1});
    std::shuffle(spans.begin(), spans.end(), random);
    if (std::string wrong = compare(whole, runLayer(layer, in, spans), "when cut into " + std::to_string(spans.size()) + " pieces " + by); !wrong.empty())
      return wrong;
  }
  LayerRun pair = started(layer, in);
  const int half = between(random, 0, frames - 1);
  {
    std::jthread other([&] { layer.apply(in, {half, frames - 1}, pair.motion, pair.residuals); });
    if (half > 0) layer.apply(in, {0, half - 1}, pair.motion, pair.residuals);
  }
  return compare(whole, pair, "on two threads " + by);
}

std::string touchesOutside(const RepairLayer& layer, const TiledMotion& in, std::size_t nudges, const std::function<bool(int joint)>& mayChange) {
  const int frames = in.frames();
  const TiledMotion base = in.withMoved(layer.context().figure->skeleton, layer.movedJoints());
  const LayerRun run = runLayer(layer, in);
  std::vector<FrameSpan> extents;
  for (std::size_t i = 0; i < layer.repairs().size(); ++i) extents.push_back(layer.extent(i));
  for (std::size_t i = 0; i < nudges; ++i) extents.push_back(layer.nudgeExtent(i));
  for (int f = 0; f < frames; ++f) {
    const bool inside = std::any_of(extents.begin(), extents.end(), [&](const FrameSpan& s) { return s.holds(f); });
    if (!inside && !sameFrame(base, run.motion, f)) return "frame " + std::to_string(f) + " lies in no extent and was changed";
    if (!mayChange) continue;
    const auto p = base.rotationsAt(f), q = run.motion.rotationsAt(f);
    for (int j = 0; j < base.joints(); ++j)
      if (std::memcmp(&p[static_cast<std::size_t>(j)], &q[static_cast<std::size_t>(j)], sizeof(Quatf)) != 0 && !mayChange(j))
        return "joint '" + jointKey(layer.context().figure->skeleton, j) + "' was turned at frame " + std::to_string(f);
    const auto s = base.translationsAt(f), t = run.motion.translationsAt(f);
    for (std::size_t k = 0; k < s.size(); ++k)
      if (std::memcmp(&s[k], &t[k], sizeof(Vec3f)) != 0 && !mayChange(base.movedJoints()[k]))
        return "joint '" + jointKey(layer.context().figure->skeleton, base.movedJoints()[k]) + "' was moved at frame " + std::to_string(f);
  }
  return {};
}

std::string reachesFurther(const RepairLayer& layer, const TiledMotion& in, unsigned seed) {
  Random random(seed);
  std::uniform_real_distribution<double> any(-0.1, 0.1);
  const int frames = in.frames();
  const LayerRun whole = runLayer(layer, in);
  for (int turn = 0; turn < 24; ++turn) {
    FrameSpan span;
    span.first = between(random, 0, frames - 1);
    span.last = std::min(frames - 1, span.first + between(random, 0, 8));
    // At the edges of extents most can go wrong.
    if (!layer.repairs().empty() && turn % 2 == 0) {
      const FrameSpan extent = common(layer.extent(static_cast<std::size_t>(between(random, 0, static_cast<int>(layer.repairs().size()) - 1))), {0, frames - 1});
      if (!extent.empty()) {
        span.first = std::clamp((turn % 4 == 0 ? extent.first : extent.last) + between(random, -6, 3), 0, frames - 1);
        span.last = std::min(frames - 1, span.first + between(random, 0, 3));
      }
    }
    TiledMotion changed = in.writable(span.first, span.count());
    for (int f = span.first; f <= span.last; ++f) {
      for (Quatf& q : changed.rotationsToWrite(f)) q = Quatf(normalised(Quatd(q) * expOf(Vec3d{any(random), any(random), any(random)})));
      for (Vec3f& t : changed.translationsToWrite(f)) t += Vec3f(Vec3d{any(random), any(random), any(random)});
    }
    const FrameSpan told = layer.affected(span);
    const LayerRun other = runLayer(layer, changed);
    for (int f = 0; f < frames; ++f)
      if (!span.holds(f) && !told.holds(f) && !sameFrame(whole.motion, other.motion, f))
        return "a change of frames " + std::to_string(span.first) + "-" + std::to_string(span.last) + " reaches frame " + std::to_string(f) +
               ", but affected() ends with " + std::to_string(told.first) + "-" + std::to_string(told.last) + " (seed " + std::to_string(seed) + ")";
  }
  return {};
}

std::string notFinite(const TiledMotion& motion) {
  for (int f = 0; f < motion.frames(); ++f) {
    const auto rotations = motion.rotationsAt(f);
    for (std::size_t j = 0; j < rotations.size(); ++j)
      if (!isFinite(rotations[j]) || std::abs(dot(rotations[j], rotations[j]) - 1) > 1e-4F)
        return "frame " + std::to_string(f) + ", joint " + std::to_string(j) + ": no unit quaternion";
    for (const Vec3f& t : motion.translationsAt(f))
      if (!isFinite(t)) return "frame " + std::to_string(f) + ": a translation is not finite";
  }
  return {};
}

std::string brokenPromises(const RepairLayer& layer, const TiledMotion& in, unsigned seed, std::size_t nudges,
                           const std::function<bool(int joint)>& mayChange) {
  std::string wrong = notFinite(runLayer(layer, in).motion);
  if (wrong.empty()) wrong = touchesOutside(layer, in, nudges, mayChange);
  if (wrong.empty()) wrong = splitsDiffer(layer, in, seed);
  if (wrong.empty()) wrong = reachesFurther(layer, in, seed);
  return wrong;
}

}  // namespace understudy::test
