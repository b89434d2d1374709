#include "core/inspect/feet.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "core/repair/poser.h"

namespace understudy {
namespace {

/// Phase at a frame, from the marks of a plant.
PlantPhase phaseAt(const PlantRepair& plant, FrameRate rate, int frame) {
  PlantPhase phase = plant.marks.empty() ? PlantPhase::flat : plant.marks.front().phase;
  for (const PlantMark& mark : plant.marks)
    if (std::lround(mark.time * rate.hertz()) <= frame) phase = mark.phase;
  return phase;
}

std::string millimetres(double metres) {
  char text[32];
  std::snprintf(text, sizeof text, metres < 0.00995 ? "%.1f mm" : "%.0f mm", 1000 * metres);
  return text;
}

}  // namespace

std::optional<PlantKept> plantKept(const RepairContext& context, const TiledMotion& motion, const Repair& repair) {
  const auto* plant = std::get_if<PlantRepair>(&repair.action);
  if (!plant || (plant->part != PlantPart::leftFoot && plant->part != PlantPart::rightFoot)) return std::nullopt;
  const Sole& sole = context.soles[plant->part == PlantPart::leftFoot ? 0 : 1];
  const RepairFrames frames = repairFrames(repair, context.rate, context.frames);
  if (sole.points.empty() || frames.span.empty() || frames.span.last >= motion.frames()) return std::nullopt;
  std::vector<std::pair<int, Vec3d>> points;
  for (const JointPoint& p : sole.points) points.emplace_back(p.joint, context.rigidPoint(p));

  PlantKept kept;
  kept.held = frames.span;
  if (plant->release) kept.held.last = std::clamp(static_cast<int>(std::lround(*plant->release * context.rate.hertz())), kept.held.first, kept.held.last);
  Poser poser(context);
  std::vector<Vec3d> start;
  std::vector<Vec3d> at(points.size());
  const double down = context.scaled(0.002);
  for (int f = kept.held.first; f <= kept.held.last; ++f) {
    poser.load(motion, f);
    double low = 1e300;
    for (std::size_t i = 0; i < points.size(); ++i) {
      at[i] = poser.toWorld(points[i].first, points[i].second);
      low = std::min(low, dot(at[i], plant->normal) - plant->ground);
    }
    if (low > kept.above) {
      kept.above = low;
      kept.aboveFrame = f;
    }
    if (-low > kept.below) {
      kept.below = -low;
      kept.belowFrame = f;
    }
    if (phaseAt(*plant, context.rate, f) != PlantPhase::flat) {
      start.clear();
      continue;
    }
    if (start.empty()) start = at;
    for (std::size_t i = 0; i < points.size(); ++i) {
      if (dot(at[i], plant->normal) - plant->ground > low + down) continue;
      const Vec3d way = at[i] - start[i];
      const double slid = length(way - plant->normal * dot(way, plant->normal));
      if (slid > kept.slide) {
        kept.slide = slid;
        kept.slideFrame = f;
      }
    }
  }
  return kept;
}

Findings feetFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& plants, const FeetLimits& limits) {
  Findings out;
  for (const Repair& repair : plants) {
    const std::optional<PlantKept> kept = plantKept(context, motion, repair);
    if (!kept) continue;
    const bool left = std::get<PlantRepair>(repair.action).part == PlantPart::leftFoot;
    const std::string foot = left ? "left foot" : "right foot";
    const auto add = [&](FindingKind kind, double metres, double limit, int frame, std::string sentence) {
      if (metres <= context.scaled(limit)) return;
      Finding finding;
      finding.kind = kind;
      finding.measure = 1000 * metres;
      finding.severity = std::clamp(metres / context.scaled(0.04), 0.02, 1.0);
      finding.span = kept->held;
      finding.worst = frame;
      finding.bones = {left ? "@leftFoot" : "@rightFoot"};
      finding.sentence = std::move(sentence);
      finding.proposal = {repair};
      nameFinding(finding, context.rate);
      out.push_back(std::move(finding));
    };
    add(FindingKind::slide, kept->slide, limits.slide, kept->slideFrame, "The " + foot + " slides " + millimetres(kept->slide) + " while it stands");
    add(FindingKind::afloat, kept->above, limits.height, kept->aboveFrame, "The " + foot + " stands up to " + millimetres(kept->above) + " above the ground");
    add(FindingKind::sink, kept->below, limits.height, kept->belowFrame, "The " + foot + " sinks " + millimetres(kept->below) + " into the ground");
  }
  return out;
}

}  // namespace understudy
