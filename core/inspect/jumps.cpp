#include "core/inspect/jumps.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/base/parallel.h"
#include "core/inspect/limb_names.h"
#include "core/math/median.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

/// Median of the steps around k, without those from k − 1 to k + but. Huge where there are too few to tell.
double usualStep(const std::vector<double>& steps, int k, int but, const JumpLimits& limits) {
  std::vector<double> near;
  for (int m = std::max(1, k - limits.around); m <= std::min(static_cast<int>(steps.size()) - 1, k + limits.around); ++m)
    if (m < k - 1 || m > k + but) near.push_back(steps[static_cast<std::size_t>(m)]);
  return near.size() < 4 ? 1e9 : median(std::move(near));
}

/// The frames at which one joint jumps: step k lies between the frames k−1 and k.
/// `off` tells how far each frame lies off the middle of those beside it.
std::vector<int> jumpsOf(const std::vector<double>& steps, const std::vector<double>& off, const JumpLimits& limits) {
  std::vector<int> out;
  const int n = static_cast<int>(steps.size());
  const auto step = [&](int k) { return k >= 1 && k < n ? steps[static_cast<std::size_t>(k)] : 0.0; };
  const auto usual = [&](int k, int but) { return usualStep(steps, k, but, limits); };
  for (int k = 1; k < n; ++k) {
    const double v = step(k), single = off[static_cast<std::size_t>(k)];
    if (single >= 0.9 * limits.least && std::min(v, step(k + 1)) >= 0.5 * single && single >= limits.offCourse * std::max(step(k - 1), step(k + 2)) && single >= limits.ratio * usual(k, 2)) {
      out.push_back(k);
      if (k + 1 < n) out.push_back(k + 1);
      ++k;
      continue;
    }
    if (v < limits.least) continue;
    // One large step, or two that follow each other, and quiet on both sides.
    const bool begins = step(k - 1) * limits.neighbours <= v, ends = step(k + 1) * limits.neighbours <= v;
    const bool pairFirst = begins && step(k + 2) * limits.neighbours <= std::min(v, step(k + 1));
    const bool pairLast = ends && step(k - 2) * limits.neighbours <= std::min(v, step(k - 1));
    if (!((begins && ends) || pairFirst || pairLast)) continue;
    if (v >= limits.ratio * usual(k, 1)) out.push_back(k);
  }
  return out;
}

/// Bones that jump in the same frames are one flaw with one bridge: a stumble of the capture takes a chain of them along.
Findings together(Findings single, FrameRate rate, const JumpLimits& limits) {
  std::stable_sort(single.begin(), single.end(), [](const Finding& a, const Finding& b) { return a.span.first < b.span.first; });
  Findings out;
  for (Finding& finding : single) {
    const auto with = std::find_if(out.begin(), out.end(), [&](const Finding& f) {
      const bool flips = f.kind == FindingKind::flip || finding.kind == FindingKind::flip;
      return (f.kind == finding.kind || !flips) && std::abs(f.span.first - finding.span.first) <= limits.apart && std::abs(f.span.last - finding.span.last) <= limits.apart &&
             f.proposal.empty() == finding.proposal.empty();
    });
    if (with == out.end()) {
      out.push_back(std::move(finding));
      continue;
    }
    Finding joint = finding.measure > with->measure ? finding : *with;
    const Finding& other = finding.measure > with->measure ? *with : finding;
    for (const std::string& bone : other.bones)
      if (std::find(joint.bones.begin(), joint.bones.end(), bone) == joint.bones.end()) joint.bones.push_back(bone);
    if (joint.kind != other.kind) joint.kind = FindingKind::pop;
    joint.span = {std::min(joint.span.first, other.span.first), std::max(joint.span.last, other.span.last)};
    if (!joint.proposal.empty()) {
      Repair& bridge = joint.proposal.front();
      std::get<BridgeRepair>(bridge.action).bones = joint.bones;
      bridge.span->first = std::min(bridge.span->first, other.proposal.front().span->first);
      bridge.span->last = std::max(bridge.span->last, other.proposal.front().span->last);
    }
    *with = std::move(joint);
  }
  for (Finding& finding : out) {
    if (finding.bones.size() < 2) continue;
    if (!finding.proposal.empty() && finding.bones.size() >= limits.wholeBody) std::get<BridgeRepair>(finding.proposal.front().action).bones.clear();
    finding.sentence += finding.bones.size() == 2 ? ", the " + spokenBone(finding.bones[1]) + " with it" : ", " + std::to_string(finding.bones.size() - 1) + " other bones with it";
    nameFinding(finding, rate);
  }
  return out;
}

}  // namespace

Findings jumpFindings(const RepairContext& context, const TiledMotion& motion, const JumpLimits& limits, int threads) {
  Findings out;
  const int frames = motion.frames();
  if (frames < 6) return out;
  Issues ignored;
  const auto turned = [&](int joint, int f) {
    const auto at = [&](int k) { return Quatd(motion.rotationsAt(k)[static_cast<std::size_t>(joint)]); };
    return f >= 1 && f < frames ? angleBetween(at(f - 1), at(f)) / degree : 0.0;
  };
  const auto parentBone = [&](int joint) {
    for (joint = context.figure->skeleton.parents[static_cast<std::size_t>(joint)]; joint >= 0; joint = context.figure->skeleton.parents[static_cast<std::size_t>(joint)])
      if (limbOfBone(boneName(context, joint)) != BodyLimb::other) return joint;
    return -1;
  };
  Poser poser(context);
  /// Whether a knee or elbow comes to full stretch, or leaves it, at a step.
  const auto straight = [&](int joint, int k) {
    for (const auto* limbs : {&context.arms, &context.legs})
      for (const LimbRig& limb : *limbs) {
        if (limb.mid != joint || !limb.complete()) continue;
        double least = 1e9, most = 0;
        for (const int f : {k - 1, k}) {
          poser.load(motion, f);
          const double bend = angleBetween(poser.position(limb.mid) - poser.position(limb.root), poser.position(limb.end) - poser.position(limb.mid)) / degree;
          least = std::min(least, bend);
          most = std::max(most, bend);
        }
        return least < limits.stretched && most - least >= limits.least;
      }
    return false;
  };
  const std::vector<int> bones = findBones(context, {}, {}, ignored);
  /// How far a bone turns at a step together with one above it, as what that one hangs on sees it.
  const auto turnedWith = [&](int above, int joint, int k) {
    const auto seen = [&](int f) {
      Quatd q;
      for (int j = joint; j >= 0; j = context.figure->skeleton.parents[static_cast<std::size_t>(j)]) {
        q = Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(j)]) * q;
        if (j == above) break;
      }
      return q;
    };
    return angleBetween(seen(k - 1), seen(k)) / degree;
  };
  struct Course {
    std::vector<double> steps, off;
    std::vector<int> jumps;
  };
  std::vector<Course> courses(bones.size());
  parallelFor(static_cast<int>(bones.size()), [&](int b) {
    const auto joint = static_cast<std::size_t>(bones[static_cast<std::size_t>(b)]);
    Course& own = courses[static_cast<std::size_t>(b)];
    const auto at = [&](int f) { return Quatd(motion.rotationsAt(f)[joint]); };
    own.steps.assign(static_cast<std::size_t>(frames), 0);
    own.off.assign(static_cast<std::size_t>(frames), 0);
    for (int f = 1; f < frames; ++f) own.steps[static_cast<std::size_t>(f)] = angleBetween(at(f - 1), at(f)) / degree;
    for (int f = 1; f + 1 < frames; ++f) own.off[static_cast<std::size_t>(f)] = length(offMiddle(at(f - 1), at(f), at(f + 1))) / degree;
    own.jumps = jumpsOf(own.steps, own.off, limits);
  }, threads);
  for (std::size_t which = 0; which < bones.size(); ++which) {
    const int joint = bones[which];
    const auto& [steps, off, jumps] = courses[which];
    const auto at = [&](int f) { return Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(joint)]); };
    const auto calm = [&, &steps = steps, &jumps = jumps](int first, int last) {
      double most = 0.05;
      for (int f = first; f <= last; ++f)
        if (f >= 1 && f < frames && std::find(jumps.begin(), jumps.end(), f) == jumps.end()) most = std::max(most, steps[static_cast<std::size_t>(f)]);
      return most;
    };
    for (std::size_t i = 0; i < jumps.size(); ++i) {
      const int k = jumps[i];
      const double size = std::max(steps[static_cast<std::size_t>(k)], off[static_cast<std::size_t>(k)]);
      // The first later jump after which the bone is back where it was before.
      std::size_t back = i;
      for (std::size_t m = i + 1; m < jumps.size() && jumps[m] - k <= limits.longest && back == i; ++m) {
        const int b = jumps[m];
        const double left = angleBetween(at(k - 1), at(b)) / degree, quiet = calm(k - 2, b + 2) * (b - k + 2);
        if (left <= std::max(0.35 * size, std::min(quiet, 0.6 * size))) back = m;
      }
      const bool returns = back != i;
      // Two steps the same way are a fast move, not a jump, but of a trunk where they take no time for one: limbs flick, as a knee that opens.
      const bool twice = !returns && i + 1 < jumps.size() && jumps[i + 1] == k + 1;
      if (twice && (2 > limits.twoSteps * context.rate.hertz() || limbOfBone(boneName(context, joint)) != BodyLimb::trunk)) {
        ++i;
        continue;
      }
      Finding finding;
      const std::string bone = boneName(context, joint);
      const bool flips = returns && size >= limits.flip;
      finding.kind = flips ? FindingKind::flip : straight(joint, k) ? FindingKind::snap : FindingKind::pop;
      finding.measure = size;
      finding.severity = std::clamp(size / 45, 0.05, 1.0);
      finding.span = returns ? FrameSpan{k, jumps[back] - 1} : FrameSpan{k, k};
      finding.worst = k;
      finding.bones = {bone};
      // A bone that stumbles takes those on it along, each turned back against it, and may itself stay below the limits. Its step back is no
      // measure of how fast it goes around the stumble.
      if (const int above = parentBone(joint); above >= 0 && !flips) {
        const double jump = turned(above, k), near = std::max(turned(above, k - 1), turned(above, returns && jumps[back] == k + 1 ? k + 2 : k + 1));
        if (jump >= limits.parent && jump >= limits.parentRatio * near) finding.bones.push_back(boneName(context, above));
      }
      // Nor do those on it stay behind that turn back against it in the same step, each would jump where it alone is rebuilt, or that
      // hang on a stumbling chain and turn out of the ordinary themselves.
      if (!flips)
        for (std::size_t b = 0; b < bones.size(); ++b) {
          const int below = bones[b];
          const int carrier = parentBone(below);
          if (carrier < 0 || below == joint) continue;
          const std::string name = boneName(context, carrier);
          if (std::find(finding.bones.begin(), finding.bones.end(), name) == finding.bones.end()) continue;
          const double jump = turned(carrier, k);
          if (jump < limits.least) continue;
          const double own = turned(below, k);
          const bool against = own >= limits.against * jump && turnedWith(carrier, below, k) <= (1 - limits.against) * jump;
          const bool along = finding.bones.size() > 1 && own >= limits.least && own >= limits.withRatio * usualStep(courses[b].steps, k, 1, limits);
          if (against || along) finding.bones.push_back(boneName(context, below));
        }
      finding.sentence = "The " + boneDoes(bone, flips ? "flips" : finding.kind == FindingKind::snap ? "snaps straight" : "jumps") + " by " + spokenFigure(size, "°") + (returns ? " and back" : "");
      Repair bridge;
      bridge.name = flips ? "flip of the " + spokenBone(bone) : "jump of the " + spokenBone(bone);
      // A jump that stays is spread over the frames around it; a frame or two at a clip's end that do not belong to it are made anew.
      const FrameSpan rebuilt = returns                        ? finding.span
                                : k <= limits.stray            ? FrameSpan{0, k - 1}
                                : frames - k <= limits.stray   ? FrameSpan{k, frames - 1}
                                                               : common({k - 3, k + (twice ? 3 : 2)}, {1, frames - 2});
      bridge.span = TimeRange{context.rate.seconds(rebuilt.first), context.rate.seconds(rebuilt.last)};
      bridge.easeBefore = bridge.easeAfter = 0;
      bridge.proposed = true;
      bridge.action = BridgeRepair{finding.bones, true};
      if (!rebuilt.empty()) finding.proposal = {std::move(bridge)};
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
      i = twice ? i + 1 : back;
    }
  }
  return together(std::move(out), context.rate, limits);
}

}  // namespace understudy
