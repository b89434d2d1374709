#include "core/inspect/touches.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "core/base/parallel.h"
#include "core/inspect/touch_carrier.h"
#include "core/repair/touch.h"

namespace understudy {
namespace {

std::string millimetres(double metres) {
  char text[32];
  std::snprintf(text, sizeof text, metres < 0.00995 ? "%.1f mm" : "%.0f mm", 1000 * metres);
  return text;
}

}  // namespace

std::vector<Repair> touchesOf(const RepairContext& context, const BodyContacts& contacts, FrameRate rate, const TiledMotion& plain,
                              const Alignment& alignment, const TouchProposalSettings& settings, Issues& issues, int threads) {
  std::vector<Repair> repairs;
  if (contacts.touches.empty() || plain.frames() < 1) return repairs;
  const TouchCarrier carrier(context, rate, plain, alignment, settings);
  const auto onArm = [](const BodyContact& c) {
    return c.site == BodySite::leftUpperArm || c.site == BodySite::rightUpperArm || c.site == BodySite::leftForearm || c.site == BodySite::rightForearm;
  };
  const auto leaveOut = [&](const BodyContact& contact, const std::string& why) {
    issues.push_back(makeNote("A touch of the " + std::string(bodySiteName(contact.site)) + " is not carried over: " + why,
                              "frame " + std::to_string(contact.first + 1)));
  };
  std::vector<const BodyContact*> sure;
  for (const BodyContact& contact : contacts.touches)
    if (contact.confidence >= settings.confidence) sure.push_back(&contact);
  const auto mutual = [&](const BodyContact& contact) {
    return onArm(contact) && std::any_of(contacts.touches.begin(), contacts.touches.end(), [&](const BodyContact& other) {
      return other.hand != contact.hand && onArm(other) && other.first <= contact.last && contact.first <= other.last;
    });
  };
  std::vector<TouchCarrier::Outcome> outcomes(sure.size());
  parallelFor(static_cast<int>(sure.size()), [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    if (!mutual(*sure[at])) outcomes[at] = carrier.outcome(*sure[at]);
  }, threads);
  for (std::size_t i = 0; i < sure.size(); ++i) {
    const BodyContact& contact = *sure[i];
    if (mutual(contact)) {
      leaveOut(contact, "both hands lie on each other's arms");
      continue;
    }
    const TouchCarrier::Outcome& carried = outcomes[i];
    if (!carried.sound.empty())
      repairs.insert(repairs.end(), carried.sound.begin(), carried.sound.end());
    else if (carried.ways)
      leaveOut(contact, "other parts of the body are in the way");
    else
      leaveOut(contact, carried.beyond > 0 ? "the arm misses it by " + millimetres(carried.beyond) : "the character lacks a part for it");
  }
  return repairs;
}

TouchKept touchKept(const RepairContext& context, const TiledMotion& motion, const Repair& touch, const TouchLimits& limits,
                    const std::vector<const Repair*>& grips) {
  TouchKept kept;
  double worst = -1;
  const RepairFrames frames = repairFrames(touch, context.rate, context.frames);
  const auto* action = std::get_if<TouchRepair>(&touch.action);
  if (!action) return kept;
  const std::vector<TouchMiss> misses = touchMisses(context, motion, touch, grips);
  for (std::size_t i = 0; i < misses.size(); ++i) {
    const TouchMiss& miss = misses[i];
    ++kept.frames;
    const double gap = std::max(0.0, miss.gap), depth = std::max(0.0, -miss.gap);
    const double over = miss.skin ? std::max(gap / limits.gap, depth / limits.depth) : gap / limits.place;
    kept.gap = std::max(kept.gap, gap);
    kept.depth = std::max(kept.depth, depth);
    kept.place = std::max(kept.place, miss.place);
    const int frame = frames.span.first + static_cast<int>(i);
    if (over <= context.height / 1.7) ++kept.kept;
    else kept.lost = {kept.lost.empty() ? frame : kept.lost.first, frame};
    if (over > worst) {
      worst = over;
      kept.worst = frame;
    }
  }
  return kept;
}

Findings touchFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& touches, const TouchLimits& limits,
                       const std::vector<const Repair*>& grips, int threads) {
  Findings findings;
  std::vector<TouchKept> all(touches.size());
  parallelFor(static_cast<int>(touches.size()), [&](int i) {
    const auto at = static_cast<std::size_t>(i);
    all[at] = touchKept(context, motion, touches[at], limits, grips);
  }, threads);
  for (std::size_t i = 0; i < touches.size(); ++i) {
    const Repair& touch = touches[i];
    const auto* action = std::get_if<TouchRepair>(&touch.action);
    if (!action) continue;
    const TouchKept& kept = all[i];
    if (kept.frames == 0 || kept.kept == kept.frames) continue;
    Finding finding;
    finding.kind = touch.proposed ? FindingKind::lostContact : FindingKind::missedTouch;
    finding.worst = kept.worst;
    const bool deep = kept.depth * limits.gap > kept.gap * limits.depth;
    const double size = deep ? kept.depth : kept.gap;
    finding.measure = 1000 * size;
    finding.severity = std::clamp(size / context.scaled(0.05), 0.05, 1.0);
    finding.bones = {action->bone};
    const std::string name = touch.name.empty() ? "a touch" : touch.name;
    if (!touch.proposed)
      finding.sentence = name + " misses by " + millimetres(size);
    else if (action->target == TouchTarget::hand)
      finding.sentence = deep ? "hands that met reach " + millimetres(size) + " into each other" : "hands that met miss by " + millimetres(size);
    else
      finding.sentence = name + ": " + (deep ? millimetres(size) + " inside" : millimetres(size) + " away") + ", where the performer touches";
    finding.proposal = {touch};
    // Known by the whole touch, of which other frames may be lost the next time.
    finding.span = repairFrames(touch, context.rate, context.frames).span;
    nameFinding(finding, context.rate);
    finding.span = kept.lost;
    findings.push_back(std::move(finding));
  }
  return findings;
}

}  // namespace understudy
