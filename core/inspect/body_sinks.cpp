#include "core/inspect/body_sinks.h"

#include <algorithm>
#include <array>

#include "core/inspect/limb_names.h"
#include "core/repair/ground_body.h"

namespace understudy {
namespace {

constexpr double unseen = 0.002;  // metres of a character 1.7 m tall: so deep is not looked at

/// Whether a plant holds each foot (left, right), by frame.
std::array<std::vector<char>, 2> stands(const RepairContext& context, const std::vector<const Repair*>& repairs, int frames) {
  std::array<std::vector<char>, 2> out;
  for (std::vector<char>& side : out) side.assign(static_cast<std::size_t>(frames), 0);
  for (const Repair* repair : repairs) {
    const auto* plant = std::get_if<PlantRepair>(&repair->action);
    if (!plant || repair->muted || repair->weight <= 0 || (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot)) continue;
    const FrameSpan span = common(repairFrames(*repair, context.rate, frames).span, {0, frames - 1});
    for (int f = span.first; f <= span.last; ++f) out[plant->part == PlantPart::leftFoot ? 0 : 1][static_cast<std::size_t>(f)] = 1;
  }
  return out;
}

}  // namespace

Findings bodySinks(const RepairContext& context, const TiledMotion& motion, const std::vector<const Repair*>& repairs, const BodySinkLimits& limits) {
  Findings out;
  GroundBody body(context);
  if (body.empty() || context.joint(Role::hips) < 0) return out;
  const double least = context.scaled(limits.least), seen = context.scaled(unseen);
  const int join = std::max(1, static_cast<int>(limits.join * context.rate.hertz()));
  const std::vector<double> ground = lowestGround(context, repairs);
  Poser pose(context);
  std::vector<double> depth;
  std::vector<FrameSpan> times;
  for (int f = 0; f < motion.frames(); ++f) {
    pose.load(motion, f);
    depth.push_back(body.depth(pose, ground[static_cast<std::size_t>(f)]));
    if (depth.back() <= least) continue;
    if (!times.empty() && f - times.back().last <= join) times.back().last = f;
    else times.push_back({f, f});
  }
  const std::array<std::vector<char>, 2> standing = stands(context, repairs, motion.frames());
  // A shank whose foot stands is lifted by nothing.
  const auto canRise = [&](int f) {
    const auto k = static_cast<std::size_t>(f);
    pose.load(motion, f);
    return body.depth(pose, ground[k], {true, true, !standing[0][k], !standing[1][k]}) > seen;
  };
  const auto deepAt = [&](int f) { return depth[static_cast<std::size_t>(f)]; };
  for (const FrameSpan& time : times) {
    Finding finding;
    finding.kind = FindingKind::sink;
    finding.span = time;
    finding.worst = static_cast<int>(std::max_element(depth.begin() + time.first, depth.begin() + time.last + 1) - depth.begin());
    finding.measure = 1000 * deepAt(finding.worst);
    finding.severity = std::clamp(deepAt(finding.worst) / context.scaled(0.1), 0.05, 1.0);
    finding.bones = {"@hips"};
    pose.load(motion, finding.worst);
    const double level = ground[static_cast<std::size_t>(finding.worst)];
    const auto deepest = [&](const GroundParts& parts) { return body.depth(pose, level, parts); };
    const double torso = deepest({true, false, false, false}), thighs = deepest({false, true, false, false}), shanks = deepest({false, false, true, true});
    const char* what = torso >= thighs && torso >= shanks ? "The trunk sinks " : thighs >= shanks ? "A thigh sinks " : "A shank sinks ";
    finding.sentence = what + spokenFigure(finding.measure, "mm") + " into the ground";
    bool helps = false;
    for (int f = time.first; f <= time.last && !helps; ++f) helps = canRise(f);
    if (!helps) {
      finding.cause = "The foot below stands, and keeps it there";
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
      continue;
    }
    FrameSpan whole = time;
    while (whole.first > 0 && deepAt(whole.first - 1) > seen) --whole.first;
    while (whole.last + 1 < motion.frames() && deepAt(whole.last + 1) > seen) ++whole.last;
    Repair repair;
    repair.name = "body above the ground";
    repair.span = TimeRange{context.rate.seconds(whole.first), context.rate.seconds(whole.last)};
    repair.easeBefore = repair.easeAfter = limits.ease;
    repair.action = GroundRepair{};
    finding.proposal = {std::move(repair)};
    nameFinding(finding, context.rate);
    out.push_back(std::move(finding));
  }
  return out;
}

}  // namespace understudy
