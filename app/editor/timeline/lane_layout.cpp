#include "app/editor/timeline/lane_layout.h"

#include <QCoreApplication>
#include <algorithm>

#include "app/editor/document/describe.h"
#include "app/editor/document/repairing.h"
#include "app/editor/document/spans.h"

namespace understudy::editor {
namespace {

constexpr int mostRows = 3;

/// Bars that overlap go to rows of their own, as far as there are rows.
void stack(Lane& lane) {
  std::stable_sort(lane.bars.begin(), lane.bars.end(), [](const LaneBar& a, const LaneBar& b) { return a.first < b.first; });
  if (lane.group == LaneGroup::nudges) return;
  std::vector<int> ends;
  for (LaneBar& bar : lane.bars) {
    std::size_t row = 0;
    while (row < ends.size() && ends[row] >= bar.first) ++row;
    if (row == ends.size() && ends.size() < mostRows) ends.push_back(bar.last);
    row = std::min(row, ends.size() - 1);
    ends[row] = std::max(ends[row], bar.last);
    bar.row = static_cast<int>(row);
  }
  lane.rows = std::max<int>(1, static_cast<int>(ends.size()));
}

}  // namespace

QString laneName(LaneGroup group) {
  const auto say = [](const char* text) { return QCoreApplication::translate("lanes", text); };
  switch (group) {
    case LaneGroup::leftFoot: return say("Left foot");
    case LaneGroup::rightFoot: return say("Right foot");
    case LaneGroup::hands: return say("Hands");
    case LaneGroup::touches: return say("Touches");
    case LaneGroup::clearance: return say("Clearance");
    case LaneGroup::other: return say("Repairs");
    case LaneGroup::props: return say("Held by");
    case LaneGroup::locks: return say("Locks");
    case LaneGroup::nudges: break;
  }
  return say("Nudges");
}

LaneGroup laneOf(const Repair& repair) {
  if (const auto* plant = std::get_if<PlantRepair>(&repair.action)) {
    switch (plant->part) {
      case PlantPart::leftFoot:
      case PlantPart::leftKnee: return LaneGroup::leftFoot;
      case PlantPart::rightFoot:
      case PlantPart::rightKnee: return LaneGroup::rightFoot;
      default: return LaneGroup::hands;
    }
  }
  if (std::holds_alternative<GripRepair>(repair.action) || std::holds_alternative<HandShapeRepair>(repair.action)) return LaneGroup::hands;
  if (std::holds_alternative<TouchRepair>(repair.action)) return LaneGroup::touches;
  if (std::holds_alternative<ClearanceRepair>(repair.action)) return LaneGroup::clearance;
  return LaneGroup::other;
}

std::vector<LaneBar> holdersOf(const Take& take, const PropItem& prop, const Evaluated& evaluated) {
  const auto say = [](const char* text) { return QCoreApplication::translate("lanes", text); };
  const int end = evaluated.clipFrames - 1;
  // Moments at which it may change hands, then who has it from each to the next.
  struct Grip {
    FrameSpan span;
    QString text;
  };
  std::vector<Grip> grips;
  std::vector<int> moments{0};
  for (const auto& node : *take.repairs) {
    const auto* grip = std::get_if<GripRepair>(&node->action);
    if (!grip || grip->prop != prop.id || node->muted) continue;
    const FrameSpan span = repairFrames(*node, evaluated.rate, evaluated.clipFrames).span;
    if (span.empty()) continue;
    const QString lead = grip->leadLeft ? say("left hand") : say("right hand");
    grips.push_back({span, grip->support ? say("both hands, %1 leads").arg(grip->leadLeft ? say("left") : say("right")) : lead});
    moments.push_back(span.first);
    moments.push_back(span.last + 1);
  }
  for (const PropHolder& holder : prop.holders) moments.push_back(frameAt(holder.time, evaluated.rate));
  std::sort(moments.begin(), moments.end());
  std::vector<LaneBar> bars;
  for (std::size_t i = 0; i < moments.size(); ++i) {
    const int first = moments[i], last = i + 1 < moments.size() ? moments[i + 1] - 1 : end;
    if (last < first || first > end) continue;
    QString text = grips.empty() && prop.holders.empty() ? say("nobody") : say("stays where it was left");
    for (const PropHolder& holder : prop.holders)
      if (frameAt(holder.time, evaluated.rate) <= first) text = holder.bone.empty() ? say("the world") : boneText(holder.bone);
    for (const Grip& grip : grips)
      if (grip.span.holds(first)) text = grip.text;
    if (!bars.empty() && bars.back().text == text) {
      bars.back().last = last - evaluated.trimFirst;
      continue;
    }
    LaneBar bar;
    bar.holder = true;
    bar.first = first - evaluated.trimFirst;
    bar.last = last - evaluated.trimFirst;
    bar.text = text;
    bars.push_back(bar);
  }
  return bars;
}

std::vector<Lane> lanesOf(const Take& take, const Evaluated& evaluated) {
  std::vector<Lane> all(9);
  for (std::size_t i = 0; i < all.size(); ++i) all[i].group = static_cast<LaneGroup>(i);
  const bool solo = std::any_of(take.repairs->begin(), take.repairs->end(), [](const auto& r) { return r->solo; }) ||
                    std::any_of(take.nudges->begin(), take.nudges->end(), [](const auto& n) { return n->solo; });
  for (const auto& node : *take.repairs) {
    const Repair& repair = *node;
    const RepairFrames frames = repairFrames(repair, evaluated.rate, evaluated.clipFrames);
    if (frames.span.empty()) continue;
    LaneBar bar;
    bar.id = repair.id;
    bar.first = frames.span.first - evaluated.trimFirst;
    bar.last = frames.span.last - evaluated.trimFirst;
    bar.before = frames.before;
    bar.after = frames.after;
    bar.whole = !repair.span;
    bar.off = repair.muted || repair.weight == 0 || (solo && !repair.solo);
    bar.proposed = repair.proposed;
    bar.text = kindText(repair) + QStringLiteral("  ") + repairText(repair);
    if (const auto* plant = std::get_if<PlantRepair>(&repair.action)) {
      for (const PlantMark& mark : plant->marks) bar.phases.emplace_back(frameAt(mark.time, evaluated.rate) - evaluated.trimFirst, mark.phase);
      if (bar.phases.empty()) bar.phases.emplace_back(bar.first, PlantPhase::flat);
      if (plant->release) bar.release = frameAt(*plant->release, evaluated.rate) - evaluated.trimFirst;
    }
    all[static_cast<std::size_t>(laneOf(repair))].bars.push_back(std::move(bar));
  }
  for (const auto& node : *take.nudges) {
    const NudgeFrames frames = nudgeFrames(*node, evaluated.rate);
    LaneBar bar;
    bar.id = node->id;
    bar.nudge = true;
    bar.first = bar.last = frames.frame - evaluated.trimFirst;
    bar.before = frames.before;
    bar.after = frames.after;
    bar.off = node->muted || node->weight == 0 || (solo && !node->solo);
    bar.text = nudgeText(*node);
    all[static_cast<std::size_t>(LaneGroup::nudges)].bars.push_back(std::move(bar));
  }
  for (const PropItem& prop : *take.props)
    for (LaneBar& bar : holdersOf(take, prop, evaluated)) {
      if (take.props->size() > 1) bar.text = QString::fromStdString(prop.name) + QStringLiteral(": ") + bar.text;
      all[static_cast<std::size_t>(LaneGroup::props)].bars.push_back(std::move(bar));
    }
  for (const Lock& lock : *take.locks) {
    LaneBar bar;
    bar.lock = true;
    bar.whole = !lock.span;
    bar.first = (lock.span ? frameAt(lock.span->first, evaluated.rate) : 0) - evaluated.trimFirst;
    bar.last = (lock.span ? frameAt(lock.span->last, evaluated.rate) : evaluated.clipFrames - 1) - evaluated.trimFirst;
    QStringList bones;
    for (const std::string& bone : lock.bones) bones << boneText(bone);
    bar.text = bones.isEmpty() ? QCoreApplication::translate("lanes", "all bones") : bones.join(QStringLiteral(", "));
    all[static_cast<std::size_t>(LaneGroup::locks)].bars.push_back(std::move(bar));
  }
  std::erase_if(all, [](const Lane& lane) { return lane.bars.empty() && lane.group != LaneGroup::nudges; });
  for (Lane& lane : all) stack(lane);
  return all;
}

}  // namespace understudy::editor
