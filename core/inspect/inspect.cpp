#include "core/inspect/inspect.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "core/inspect/depth.h"
#include "core/inspect/feet.h"
#include "core/inspect/grips.h"
#include "core/inspect/jumps.h"
#include "core/inspect/plants.h"
#include "core/inspect/touches.h"
#include "core/inspect/twist.h"

namespace understudy {
namespace {

/// What of the body a repair is about, where two of its kind would compete.
std::string subjectOf(const Repair& repair) {
  if (const auto* plant = std::get_if<PlantRepair>(&repair.action)) return std::to_string(static_cast<int>(plant->part));
  if (const auto* touch = std::get_if<TouchRepair>(&repair.action)) return touch->bone;
  if (const auto* bridge = std::get_if<BridgeRepair>(&repair.action)) return bridge->bones.empty() ? std::string() : bridge->bones.front();
  if (const auto* untwist = std::get_if<UntwistRepair>(&repair.action)) return untwist->bones.empty() ? std::string() : untwist->bones.front();
  return {};
}

std::string number(double value, const char* unit) {
  char text[48];
  std::snprintf(text, sizeof text, std::abs(value) < 9.95 ? "%.1f %s" : "%.0f %s", value, unit);
  return text;
}

/// Seconds at both ends of a hold that do not count for its drift.
constexpr double takingHold = 0.15;

class Inspector {
 public:
  Inspector(const Take& take, const Evaluated& evaluated, const Performance& performance, const InspectSettings& settings)
      : take_(take), seen_(evaluated), performance_(performance), settings_(settings), context_(*evaluated.context) {}

  void jumps() {
    twists();
    for (Finding& finding : jumpFindings(context_, seen_.untrimmed)) {
      if (const std::string maker = makerOf(finding); !maker.empty()) {
        finding.cause = maker;
        finding.proposal.clear();
      } else if (!finding.proposal.empty() && already(finding.proposal.front())) {
        finding.cause = "It is in the performance, and is left after its repair";
        finding.proposal.clear();
      }
      add(std::move(finding));
    }
  }

  void twists() {
    Findings found = twistFindings(context_, seen_.untrimmed);
    if (found.empty()) return;
    const Findings own = twistFindings(context_, seen_.stageInputs.front());
    for (Finding& finding : found) {
      const bool performed = std::any_of(own.begin(), own.end(), [&](const Finding& f) { return f.bones == finding.bones && !common(f.span, finding.span).empty(); });
      if (!performed || (!finding.proposal.empty() && already(finding.proposal.front()))) {
        finding.cause = performed ? "It is in the performance, and is left after its repair" : "Repairs that keep the hand or foot in its place turn it; the performance does not";
        finding.proposal.clear();
      }
      add(std::move(finding));
    }
  }

  void feet() {
    const double scale = seen_.report->performerLeg > 0 ? seen_.report->characterLeg / seen_.report->performerLeg : 1;
    measure(existing<PlantRepair>(), asked(proposePlants(performance_.contacts, performance_.motion->rate, scale)),
            [&](const std::vector<Repair>& plants) { return feetFindings(context_, seen_.untrimmed, plants); });
  }

  void touches() {
    BodyContacts open = performance_.body;
    const FrameRate rate = performance_.motion->rate;
    std::erase_if(open.touches, [&](const BodyContact& contact) {
      Repair probe;
      probe.span = TimeRange{rate.seconds(contact.first), rate.seconds(contact.last)};
      TouchRepair touch;
      const int hand = context_.arms[static_cast<std::size_t>(contact.hand)].end;
      if (hand >= 0) touch.bone = boneName(context_, hand);
      probe.action = std::move(touch);
      return already(probe);
    });
    const TiledMotion& input = seen_.stageInputs[static_cast<std::size_t>(RepairStage::touch)];
    measure(existing<TouchRepair>(), touchesOf(context_, open, rate, input, seen_.report->alignment, {}, out.issues),
            [&](const std::vector<Repair>& touches) { return touchFindings(context_, seen_.untrimmed, touches); });
  }

  void grips() {
    GripProposalSettings settings;
    settings.leadLeft = settings_.leadLeft;
    settings.prop = settings_.prop;
    std::vector<HandsTogether> holds;
    for (const HandsTogether& hold : performance_.body.together) {
      Repair probe;
      const FrameRate rate = performance_.motion->rate;
      probe.span = TimeRange{rate.seconds(hold.first), rate.seconds(hold.last)};
      probe.action = GripRepair{};
      if (!already(probe)) holds.push_back(hold);
    }
    const TiledMotion& input = seen_.stageInputs[static_cast<std::size_t>(RepairStage::grip)];
    measure(existing<GripRepair>(), proposeGrips(context_, input, holds, performance_.motion->rate, settings, out.issues),
            [&](const std::vector<Repair>& grips) { return driftFindings(grips); });
  }

  void depth() {
    const std::vector<Repair> done = existing<ClearanceRepair>();
    for (Finding& finding : depthFindings(context_, seen_.untrimmed)) {
      if (!done.empty() && already(finding.proposal.front())) {
        finding.proposal.clear();
        const Miss miss = worstMiss(done.front());
        if (miss.metres > 0) finding.cause = describe(done.front()) + " leaves " + number(1000.0 * miss.metres, "mm") + ": body parts or hands that keep their place leave no room";
      }
      for (Repair& repair : finding.proposal) repair.proposed = true;
      add(std::move(finding));
    }
  }

  void finish() {
    for (Finding& finding : out.findings) finding.waved = std::binary_search(take_.waved.begin(), take_.waved.end(), finding.key);
    std::stable_sort(out.findings.begin(), out.findings.end(), [](const Finding& a, const Finding& b) { return a.span.first < b.span.first; });
  }

  Inspection out;

 private:
  [[nodiscard]] bool already(const Repair& proposal) const { return repairsAlready(*take_.repairs, proposal, context_.rate, context_.frames); }

  /// What of the take makes a jump that was not in the performance, with its measure; "" where the performance had it.
  [[nodiscard]] std::string makerOf(const Finding& finding) const {
    const Result<int> joint = findBone(context_, finding.bones.front());
    if (!joint || finding.worst < 1) return {};
    const auto step = [&](const TiledMotion& motion) {
      const auto at = [&](int f) { return Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(*joint)]); };
      return angleBetween(at(finding.worst - 1), at(finding.worst)) * 57.29577951308232;
    };
    const double own = step(seen_.stageInputs.front());
    if (own >= 0.5 * finding.measure) return {};
    int maker = -1;
    double most = 0, before = own;
    for (int s = 0; s < stageCount; ++s) {
      const double after = step(s + 1 < stageCount ? seen_.stageInputs[static_cast<std::size_t>(s) + 1] : seen_.untrimmed);
      if (after - before > most) {
        most = after - before;
        maker = s;
      }
      before = after;
    }
    if (maker < 0) return {};
    const auto stage = static_cast<RepairStage>(maker);
    const bool clears = stage == RepairStage::freeClearance || stage == RepairStage::gripClearance;
    for (const Node<Repair>& repair : *take_.repairs)
      if (concerns(stage, *repair) && (!clears || std::holds_alternative<ClearanceRepair>(repair->action)) && !repair->muted && repairFrames(*repair, context_.rate, context_.frames).acting().holds(finding.worst))
        return describe(*repair) + " turns it by " + number(most, "°") + " more in that frame";
    return "A nudge turns it by " + number(most, "°") + " more in that frame";
  }

  /// Repairs of the take of one kind.
  template <class Kind>
  [[nodiscard]] std::vector<Repair> existing() const {
    std::vector<Repair> list;
    for (const Node<Repair>& repair : *take_.repairs)
      if (std::holds_alternative<Kind>(repair->action) && !repair->muted && repair->weight > 0) list.push_back(*repair);
    return list;
  }

  /// Proposals that no repair of the take makes needless.
  [[nodiscard]] std::vector<Repair> asked(std::vector<Repair> proposals) const {
    std::erase_if(proposals, [&](const Repair& proposal) { return already(proposal); });
    return proposals;
  }

  /// Worst miss of a repair over its span.
  [[nodiscard]] Miss worstMiss(const Repair& repair) const {
    Miss worst;
    const FrameSpan span = repairFrames(repair, context_.rate, context_.frames).span;
    for (const Residual& residual : seen_.residuals) {
      if (residual.repair != repair.id) continue;
      for (std::size_t k = 0; k < residual.values.size(); ++k) {
        if (!span.holds(residual.first + static_cast<int>(k))) continue;
        worst.metres = std::max(worst.metres, residual.values[k].metres);
        worst.radians = std::max(worst.radians, residual.values[k].radians);
      }
    }
    return worst;
  }

  /// Findings of what the take repairs, with their causes, and of what it does not, with their proposals.
  template <class Measure>
  void measure(const std::vector<Repair>& done, const std::vector<Repair>& proposals, const Measure& findings) {
    for (const Repair& repair : done)
      for (Finding& finding : findings({repair})) {
        finding.proposal.clear();
        const Miss miss = worstMiss(repair);
        if (miss.metres > 0.25e-3 * finding.measure)
          finding.cause = describe(repair) + " misses by " + number(1000.0 * miss.metres, "mm") + ": out of reach";
        else if (miss.radians > 0.01)
          finding.cause = describe(repair) + " is " + number(miss.radians * 57.29577951308232, "°") + " off: out of reach";
        add(std::move(finding));
      }
    for (Finding& finding : findings(proposals)) {
      for (Repair& repair : finding.proposal) repair.proposed = true;
      add(std::move(finding));
    }
  }

  [[nodiscard]] Findings driftFindings(const std::vector<Repair>& grips) const {
    Findings list;
    for (const Repair& grip : grips) {
      // Hands come together and part: at the ends of a hold they may be on their way.
      Repair inner = grip;
      if (inner.span && inner.span->last - inner.span->first > 4 * takingHold) {
        inner.span->first += takingHold;
        inner.span->last -= takingHold;
      }
      const GripDrift drift = gripDrift(context_, seen_.untrimmed, inner);
      const double limit = context_.scaled(0.0005);
      if (drift.worstMetres <= limit && drift.worstRadians <= 0.5 / 57.29577951308232) continue;
      const auto& action = std::get<GripRepair>(grip.action);
      Finding finding;
      finding.kind = FindingKind::gripDrift;
      finding.measure = 1000 * drift.worstMetres;
      finding.severity = std::clamp(drift.worstMetres / context_.scaled(0.06), 0.02, 1.0);
      finding.span = repairFrames(grip, context_.rate, context_.frames).span;
      finding.worst = drift.worstFrame;
      finding.bones = {action.leadLeft ? "@rightHand" : "@leftHand", action.leadLeft ? "@leftHand" : "@rightHand"};
      finding.sentence = std::string("The ") + (action.leadLeft ? "right" : "left") + " hand drifts " + number(1000 * drift.worstMetres, "mm") +
                         " from what both hands hold";
      finding.proposal = {grip};
      nameFinding(finding, context_.rate);
      list.push_back(std::move(finding));
    }
    return list;
  }

  void add(Finding finding) {
    const FrameSpan shown{seen_.trimFirst, seen_.trimFirst + seen_.frames - 1};
    if (!common(finding.span, shown).empty()) out.findings.push_back(std::move(finding));
  }

  const Take& take_;
  const Evaluated& seen_;
  const Performance& performance_;
  const InspectSettings& settings_;
  const RepairContext& context_;
};

}  // namespace

bool repairsAlready(const Repairs& repairs, const Repair& proposal, FrameRate rate, int clipFrames) {
  const FrameSpan wanted = repairFrames(proposal, rate, clipFrames).span;
  return std::any_of(repairs.begin(), repairs.end(), [&](const Node<Repair>& repair) {
    return repair->action.index() == proposal.action.index() && subjectOf(*repair) == subjectOf(proposal) &&
           !common(repairFrames(*repair, rate, clipFrames).span, wanted).empty();
  });
}

Result<Inspection> inspectTake(const Take& take, const Evaluated& evaluated, const Performance& performance, const InspectSettings& settings,
                               const RunControl& control) {
  if (!evaluated.context) return makeError(Fault::internal, "There is no result to look for flaws in", take.name);
  Inspector inspector(take, evaluated, performance, settings);
  const auto wants = [&](InspectPart part) { return settings.parts[static_cast<std::size_t>(part)] && !control.stopped(); };
  if (wants(InspectPart::jumps)) inspector.jumps();
  if (wants(InspectPart::feet)) inspector.feet();
  if (wants(InspectPart::touches)) inspector.touches();
  if (wants(InspectPart::grips)) inspector.grips();
  if (wants(InspectPart::depth)) inspector.depth();
  if (control.stopped()) return RunControl::cancelled();
  inspector.finish();
  return std::move(inspector.out);
}

}  // namespace understudy
