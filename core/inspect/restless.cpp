#include "core/inspect/restless.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/inspect/limb_names.h"

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

/// Degrees by which a bone's frames are off the middle of their neighbours, and whether the next one is off to the other side.
struct Shakes {
  std::vector<double> off;
  std::vector<char> turns;
};

Shakes shakesOf(const TiledMotion& motion, int joint) {
  const int frames = motion.frames();
  Shakes out{std::vector<double>(static_cast<std::size_t>(frames), 0), std::vector<char>(static_cast<std::size_t>(frames), 0)};
  const auto at = [&](int f) { return Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(joint)]); };
  Vec3d last;
  Quatd before = at(0), here = at(1);
  for (int f = 1; f + 1 < frames; ++f) {
    const Quatd after = at(f + 1);
    const Vec3d way = offMiddle(before, here, after);
    out.off[static_cast<std::size_t>(f)] = length(way) / degree;
    out.turns[static_cast<std::size_t>(f)] = dot(way, last) < 0;
    last = way;
    before = here;
    here = after;
  }
  return out;
}

/// Frames around which half of a bone's are off by the limit, and turn back often enough.
std::vector<FrameSpan> restlessSpans(const Shakes& shakes, double rate, const RestlessLimits& limits) {
  const int frames = static_cast<int>(shakes.off.size()), around = std::max(2, static_cast<int>(std::lround(limits.around * rate)));
  std::vector<FrameSpan> out;
  int off = 0, turns = 0, from = 0, to = -1;
  for (int f = 0; f < frames; ++f) {
    for (; to < std::min(frames - 1, f + around); ++to) {
      off += shakes.off[static_cast<std::size_t>(to + 1)] >= limits.least;
      turns += shakes.turns[static_cast<std::size_t>(to + 1)];
    }
    for (; from < f - around; ++from) {
      off -= shakes.off[static_cast<std::size_t>(from)] >= limits.least;
      turns -= shakes.turns[static_cast<std::size_t>(from)];
    }
    const int count = to - from + 1;
    if (2 * off < count || turns * rate < 2 * limits.shakes * count) continue;
    if (out.empty() || f > out.back().last + around) out.push_back({f, f});
    out.back().last = f;
  }
  // A few frames are a jump or two, which bridges mend.
  std::erase_if(out, [&](const FrameSpan& s) { return s.count() <= around / 2; });
  for (FrameSpan& s : out) s = common(widened(s, around / 2, around / 2), {0, frames - 1});
  return out;
}

}  // namespace

Findings restlessFindings(const RepairContext& context, const TiledMotion& motion, const RestlessLimits& limits) {
  Findings out;
  const double rate = context.rate.hertz();
  if (motion.frames() < 6) return out;
  Issues ignored;
  const std::vector<int> bones = findBones(context, {}, {}, ignored);
  const auto hangsOn = [&](int joint, int above) { return joint == above || isAncestor(context.figure->skeleton, above, joint); };
  // A hand or foot may hang elsewhere than on its limb.
  const auto ends = [&](int joint, int other) {
    for (const auto* limbs : {&context.arms, &context.legs})
      for (const LimbRig& limb : *limbs)
        if (limb.complete() && (hangsOn(limb.mid, joint) && hangsOn(other, limb.end))) return true;
    return false;
  };
  // From the pelvis outwards: joints come after their parents.
  std::vector<std::pair<std::vector<int>, FrameSpan>> taken;
  for (const int joint : bones) {
    if (limbOfBone(boneName(context, joint)) == BodyLimb::other) continue;
    const Shakes shakes = shakesOf(motion, joint);
    for (const FrameSpan& span : restlessSpans(shakes, rate, limits)) {
      if (std::any_of(taken.begin(), taken.end(), [&](const auto& t) { return common(t.second, span) == span && std::find(t.first.begin(), t.first.end(), joint) != t.first.end(); })) continue;
      std::vector<int> together{joint};
      for (const int other : bones)
        if (other != joint && (hangsOn(other, joint) || ends(joint, other))) together.push_back(other);
      Finding finding;
      finding.kind = FindingKind::pop;
      finding.span = span;
      for (int f = span.first; f <= span.last; ++f)
        if (const double off = shakes.off[static_cast<std::size_t>(f)]; off > finding.measure) finding.measure = off, finding.worst = f;
      finding.severity = std::clamp(finding.measure / 45, 0.05, 1.0);
      std::vector<std::string> names;
      for (const int other : together) names.push_back(boneName(context, other));
      finding.bones = {names.front()};
      finding.sentence = "The " + boneDoes(finding.bones.front(), "shakes") + " by up to " + spokenFigure(finding.measure, "°") + " from frame to frame";
      Repair smooth;
      smooth.name = "shaking of the " + spokenBone(finding.bones.front());
      smooth.span = TimeRange{context.rate.seconds(span.first), context.rate.seconds(span.last)};
      smooth.easeBefore = smooth.easeAfter = limits.ease;
      smooth.proposed = true;
      smooth.action = SmoothRepair{std::move(names), limits.cutoff, true};
      finding.proposal = {std::move(smooth)};
      taken.emplace_back(std::move(together), span);
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
    }
  }
  return out;
}

}  // namespace understudy
