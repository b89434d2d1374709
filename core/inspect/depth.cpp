#include "core/inspect/depth.h"

#include <algorithm>

#include "core/inspect/limb_names.h"
#include "core/repair/clearance.h"

namespace understudy {

Findings depthFindings(const RepairContext& context, const TiledMotion& motion, const DepthSettings& settings) {
  Findings list;
  if (!context.figure || context.figure->meshes.empty() || (!context.arms[0].complete() && !context.arms[1].complete())) return list;
  const ArmDepths depths = armDepths(context, motion);
  const double least = context.scaled(settings.least);
  const int join = std::max(1, static_cast<int>(settings.join * context.rate.hertz()));
  for (int side = 0; side < 2; ++side) {
    const std::vector<float>& depth = depths[static_cast<std::size_t>(side)];
    std::vector<FrameSpan> spans;
    for (int f = 0; f < static_cast<int>(depth.size()); ++f) {
      if (static_cast<double>(depth[static_cast<std::size_t>(f)]) < least) continue;
      if (!spans.empty() && f - spans.back().last <= join) spans.back().last = f;
      else spans.push_back({f, f});
    }
    for (const FrameSpan& span : spans) {
      Finding finding;
      finding.kind = FindingKind::depth;
      finding.span = span;
      finding.worst = static_cast<int>(std::max_element(depth.begin() + span.first, depth.begin() + span.last + 1) - depth.begin());
      const double worst = static_cast<double>(depth[static_cast<std::size_t>(finding.worst)]);
      finding.measure = 1000 * worst;
      finding.severity = std::clamp(worst / context.scaled(0.08), 0.02, 1.0);
      finding.bones = {side == 0 ? "@leftUpperArm" : "@rightUpperArm"};
      const DeepParts parts = deepParts(context, motion, side, finding.worst);
      const std::string of = parts.of.empty() ? std::string(side == 0 ? "left" : "right") + " arm" : parts.of;
      finding.sentence = "The " + of + " lies " + spokenFigure(finding.measure, "mm") + " in the " + (parts.in.empty() ? "body" : parts.in);
      // One for both arms and the whole clip: it does nothing where nothing is in the way.
      Repair repair;
      repair.name = "arms out of the body";
      ClearanceRepair clearance;
      clearance.prop = !context.props.empty();
      repair.action = std::move(clearance);
      finding.proposal = {repair};
      nameFinding(finding, context.rate);
      list.push_back(std::move(finding));
    }
  }
  return list;
}

}  // namespace understudy
