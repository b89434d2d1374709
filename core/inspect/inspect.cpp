#include "core/inspect/inspect.h"

#include <algorithm>

#include "core/base/parallel.h"
#include "core/inspect/body_sinks.h"
#include "core/inspect/causes.h"
#include "core/inspect/depth.h"
#include "core/inspect/feet.h"
#include "core/inspect/grips.h"
#include "core/inspect/head_sinks.h"
#include "core/inspect/history.h"
#include "core/inspect/jumps.h"
#include "core/inspect/limb_names.h"
#include "core/inspect/plants.h"
#include "core/inspect/prop_sinks.h"
#include "core/inspect/restless.h"
#include "core/inspect/touches.h"
#include "core/inspect/twist.h"
#include "core/repair/clearance.h"

namespace understudy {
namespace {

/// What of the body a repair is about, where two of its kind would compete.
std::string subjectOf(const Repair& repair) {
  if (const auto* offset = std::get_if<OffsetRepair>(&repair.action)) return offset->bones.empty() ? std::string() : offset->bones.front().joint;
  if (const auto* plant = std::get_if<PlantRepair>(&repair.action)) return std::to_string(static_cast<int>(plant->part));
  if (const auto* touch = std::get_if<TouchRepair>(&repair.action)) return touch->bone;
  if (const auto* bridge = std::get_if<BridgeRepair>(&repair.action)) return bridge->bones.empty() ? std::string() : bridge->bones.front();
  if (const auto* untwist = std::get_if<UntwistRepair>(&repair.action)) return untwist->bones.empty() ? std::string() : untwist->bones.front();
  if (const auto* smooth = std::get_if<SmoothRepair>(&repair.action)) return smooth->bones.empty() ? std::string() : smooth->bones.front();
  return {};
}

/// Seconds by which a bridge that was too short is made longer on both sides, and those beyond which it is the performance itself that is fast.
constexpr double longerBridge = 0.03, longestBridge = 0.25;
constexpr double throughAFile = 1.03;

class Inspector {
 public:
  Inspector(const Take& take, const Evaluated& evaluated, const Performance& performance, const InspectSettings& settings, int threads)
      : take_(take), seen_(evaluated), performance_(performance), settings_(settings), limits_(settings.limits), context_(*evaluated.context), causes_(take, evaluated), threads_(threads), history_(historyOf(evaluated)) {
    // What was just within its limit may be just beyond it once it has been through a file. Jumps stay as they are: which of them belong
    // together hangs on all of them.
    if (!history_) return;
    const JumpLimits jumps = limits_.jumps;
    for (const LimitField& field : limitFields()) field.of(limits_) *= throughAFile;
    limits_.jumps = jumps;
  }

  void jumps() {
    twists();
    const std::vector<Repair> smoothing = restless();
    for (Finding& finding : jumpFindings(context_, seen_.untrimmed, limits_.jumps, threads_)) {
      // What is left once it has been smoothed is looked at then.
      if (std::any_of(smoothing.begin(), smoothing.end(), [&](const Repair& s) { return smooths(s, finding); })) continue;
      finding.cause = causes_.ofJump(finding);
      if (!finding.cause.empty()) finding.proposal.clear();
      tellMuted(finding);
      for (Repair& bridge : finding.proposal) lengthen(bridge);
      // What no bridge over a good stretch takes away is how fast the performer moves.
      if (!finding.proposal.empty() && already(finding.proposal.front()))
        out.settled.push_back(std::move(finding));
      else
        add(std::move(finding));
    }
  }

  /// Bones that shake in what the capture gives, where nothing smooths them yet. Answers with what would. Of a clip that was finished
  /// on this body the capture has been looked at: what still shakes was made by its repairs.
  std::vector<Repair> restless() {
    std::vector<Repair> made;
    if (history_) return made;
    for (Finding& finding : restlessFindings(context_, seen_.stageInputs[static_cast<std::size_t>(RepairStage::smooth)], limits_.restless)) {
      if (already(finding.proposal.front())) continue;
      tellMuted(finding);
      made.insert(made.end(), finding.proposal.begin(), finding.proposal.end());
      add(std::move(finding));
    }
    return made;
  }

  void twists() {
    Findings found = twistFindings(context_, seen_.untrimmed, limits_.twist);
    if (found.empty()) return;
    const Findings own = twistFindings(context_, seen_.stageInputs.front(), limits_.twist);
    for (Finding& finding : found) {
      const bool performed = std::any_of(own.begin(), own.end(), [&](const Finding& f) { return f.bones == finding.bones && !common(f.span, finding.span).empty(); });
      if (!performed || (!finding.proposal.empty() && already(finding.proposal.front()))) {
        finding.cause = performed ? "It is in the performance, and is left after its repair" : "Repairs that keep the hand or foot in its place turn it by " + spokenFigure(finding.measure, "°") + "; the performance does not";
        finding.proposal.clear();
      }
      add(std::move(finding));
    }
  }

  void feet() {
    const double scale = seen_.report->performerLeg > 0 ? seen_.report->characterLeg / seen_.report->performerLeg : 1;
    measure<PlantRepair>(asked(history_ ? known<PlantRepair>() : proposePlants(performance_.contacts, performance_.motion->rate, scale)),
            [&](const TiledMotion& motion, const std::vector<Repair>& plants) { return feetFindings(context_, motion, plants, limits_.feet); });
  }

  void body() {
    std::vector<const Repair*> repairs;
    for (const Node<Repair>& repair : *take_.repairs) repairs.push_back(&*repair);
    if (history_)
      for (const Repair& repair : history_->repairs) repairs.push_back(&repair);
    std::vector<FrameSpan> rises;
    for (Finding& finding : bodySinks(context_, seen_.untrimmed, repairs, limits_.body)) {
      tellMuted(finding);
      if (!finding.proposal.empty() && already(finding.proposal.front())) {
        for (const Repair& ground : existing<GroundRepair>())
          if (const Miss miss = causes_.worstMiss(ground, finding.span); miss.metres > 0)
            finding.cause = describe(ground) + " leaves " + spokenFigure(std::min(finding.measure, 1000.0 * static_cast<double>(miss.metres)), "mm") + ": feet that stand keep it there";
        finding.proposal.clear();
      }
      if (!finding.proposal.empty()) rises.push_back(finding.span);
      for (Repair& repair : finding.proposal) repair.proposed = true;
      add(std::move(finding));
    }
    for (Finding& finding : headSinks(context_, seen_.untrimmed, limits_.head)) {
      tellMuted(finding);
      if (!finding.proposal.empty() && already(finding.proposal.front())) {
        const std::string bends = subjectOf(finding.proposal.front());
        for (const Repair& offset : existing<OffsetRepair>())
          if (subjectOf(offset) == bends) finding.cause = describe(offset) + " leaves " + spokenFigure(finding.measure, "mm") + ": the back straightens no further";
        finding.proposal.clear();
      }
      // Once the body is raised there is less of the head to raise.
      if (std::any_of(rises.begin(), rises.end(), [&](const FrameSpan& rise) { return !common(rise, finding.span).empty(); })) finding.proposal.clear();
      for (Repair& repair : finding.proposal) repair.proposed = true;
      add(std::move(finding));
    }
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
    std::vector<const Repair*> grips;
    for (const Node<Repair>& repair : *take_.repairs)
      if (std::holds_alternative<GripRepair>(repair->action) && !repair->muted && repair->weight > 0) grips.push_back(&*repair);
    measure<TouchRepair>(history_ ? asked(known<TouchRepair>()) : touchesOf(context_, open, rate, input, seen_.report->alignment, {}, out.issues, threads_),
            [&](const TiledMotion& motion, const std::vector<Repair>& touches) { return touchFindings(context_, motion, touches, limits_.touches, grips, threads_); });
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
    // Arms that have been led out of the body move the hands against each other in ways that are no new hold.
    const TiledMotion& performed = seen_.stageInputs[static_cast<std::size_t>(RepairStage::freeClearance)];
    measure<GripRepair>(history_ ? asked(knownGrips()) : proposeGrips(context_, input, holds, performance_.motion->rate, settings, out.issues, &performed, threads_),
            [&](const TiledMotion& motion, const std::vector<Repair>& grips) { return driftFindings(motion, grips); });
    std::vector<const Repair*> all;
    for (const Node<Repair>& repair : *take_.repairs) all.push_back(&*repair);
    for (Finding& finding : propSinks(context_, seen_.untrimmed, all, limits_.grips.ground)) {
      if (!finding.proposal.empty() && already(finding.proposal.front())) finding.proposal.clear();
      for (Repair& repair : finding.proposal) repair.proposed = true;
      add(std::move(finding));
    }
  }

  void depth() {
    const std::vector<Repair> done = existing<ClearanceRepair>();
    for (Finding& finding : depthFindings(context_, seen_.untrimmed, limits_.depth)) {
      if (done.empty()) {
        tellMuted(finding);
      } else if (already(finding.proposal.front())) {
        finding.proposal.clear();
        const Miss miss = causes_.worstMiss(done.front(), finding.span);
        if (miss.metres > 0)
          finding.cause = describe(done.front()) + " leaves " + spokenFigure(std::min(finding.measure, 1000.0 * static_cast<double>(miss.metres)), "mm") + ": body parts or hands that keep their place leave no room";
        else
          finding.cause = broughtInBy(finding);
      }
      for (Repair& repair : finding.proposal) repair.proposed = true;
      add(std::move(finding));
    }
  }

  /// What is worth a look without being a flaw of the take.
  void hints() {
    for (Findings list : {rangeFindings(context_, seen_.untrimmed, seen_.stageInputs.front(), limits_.range), clothFindings(context_, seen_.untrimmed, limits_.cloth, threads_),
                          balanceFindings(context_, seen_.untrimmed, existing<PlantRepair>(), limits_.balance)})
      for (Finding& finding : list) add(std::move(finding));
  }

  void finish() {
    out.findings = joinedEvents(std::move(out.findings), context_.rate, limits_.events);
    for (Finding& finding : out.findings) finding.waved = std::binary_search(take_.waved.begin(), take_.waved.end(), finding.key);
  }

  Inspection out;

 private:
  [[nodiscard]] bool already(const Repair& proposal) const { return repairsAlready(*take_.repairs, proposal, context_.rate, context_.frames); }

  /// A muted repair of the take that would do what is proposed, or a part of it; null where there is none.
  [[nodiscard]] const Repair* mutedFor(const Repair& proposal) const {
    const FrameSpan wanted = repairFrames(proposal, context_.rate, context_.frames).span;
    for (const Node<Repair>& repair : *take_.repairs)
      if (repair->muted && repair->action.index() == proposal.action.index() && subjectOf(*repair) == subjectOf(proposal) &&
          !common(repairFrames(*repair, context_.rate, context_.frames).span, wanted).empty())
        return &*repair;
    return nullptr;
  }

  /// Where the take has what a finding proposes, muted: says so instead of proposing it once more.
  void tellMuted(Finding& finding) const {
    const Repair* muted = finding.proposal.empty() ? nullptr : mutedFor(finding.proposal.front());
    if (!muted) return;
    finding.cause = describe(*muted) + " is muted";
    finding.proposal.clear();
  }

  /// Whether a smoothing covers a jump and the bone that jumps most.
  [[nodiscard]] bool smooths(const Repair& smoothing, const Finding& jump) const {
    const auto& bones = std::get<SmoothRepair>(smoothing.action).bones;
    return common(repairFrames(smoothing, context_.rate, context_.frames).span, jump.span) == jump.span && std::find(bones.begin(), bones.end(), jump.bones.front()) != bones.end();
  }

  [[nodiscard]] bool nudgedLate(FrameSpan span) const {
    return std::any_of(take_.nudges->begin(), take_.nudges->end(), [&](const Node<Nudge>& nudge) {
      const double first = nudge->time - nudge->easeBefore, last = nudge->time + nudge->easeAfter;
      return nudge->late && last >= context_.rate.seconds(span.first) && first <= context_.rate.seconds(span.last);
    });
  }

  /// A flaw that is not there before the late nudges is theirs: the repair is broken, and the nudges can be taken off.
  void breaksLate(Finding& finding, const Repair& repair, const Findings& before) const {
    for (const Finding& f : before)
      if (f.kind == finding.kind && f.measure > 0.5 * finding.measure) return;
    finding.kind = FindingKind::broken;
    finding.cause = "A late nudge breaks " + describe(repair);
    finding.sentence += ", since a late nudge breaks " + describe(repair);
    Repair restore;
    restore.name = "late nudge off";
    restore.span = TimeRange{context_.rate.seconds(finding.span.first), context_.rate.seconds(finding.span.last)};
    restore.easeBefore = restore.easeAfter = 0.1;
    restore.proposed = true;
    restore.action = RestoreRepair{};
    if (!already(restore)) finding.proposal = {std::move(restore)};
    nameFinding(finding, context_.rate);
  }

  /// Longer than the bridges that are there already, as far as that makes sense.
  void lengthen(Repair& bridge) const {
    const double room = context_.rate.seconds(context_.frames - 1);
    while (already(bridge) && bridge.span->last - bridge.span->first < longestBridge)
      bridge.span = TimeRange{std::max(0.0, bridge.span->first - longerBridge), std::min(room, bridge.span->last + longerBridge)};
  }

  /// Where a clip that was finished on this body stands, touches and holds.
  template <class Kind>
  [[nodiscard]] std::vector<Repair> known() const {
    std::vector<Repair> list;
    for (const Repair& repair : history_->repairs)
      if (std::holds_alternative<Kind>(repair.action)) list.push_back(repair);
    return list;
  }

  [[nodiscard]] std::vector<Repair> knownGrips() const {
    std::vector<Repair> list = known<GripRepair>();
    for (Repair& repair : list) std::get<GripRepair>(repair.action).prop = settings_.prop;
    return list;
  }

  /// Repairs of the take of one kind that act, or are muted.
  template <class Kind>
  [[nodiscard]] std::vector<Repair> existing(bool muted = false) const {
    std::vector<Repair> list;
    for (const Node<Repair>& repair : *take_.repairs)
      if (std::holds_alternative<Kind>(repair->action) && repair->muted == muted && (muted || repair->weight > 0)) list.push_back(*repair);
    return list;
  }

  /// Proposals that no repair of the take makes needless.
  [[nodiscard]] std::vector<Repair> asked(std::vector<Repair> proposals) const {
    std::erase_if(proposals, [&](const Repair& proposal) { return already(proposal); });
    return proposals;
  }

  /// What takes away again what a repair has brought: the later stage by which a flaw grows most; the repair itself where it leaves more
  /// than that. "" where neither does much.
  template <class Measure>
  [[nodiscard]] std::string undoneBy(const Repair& repair, const Finding& finding, const Measure& findings) const {
    const auto motionAfter = [&](std::size_t stage) -> const TiledMotion& { return stage + 1 < stageCount ? seen_.stageInputs[stage + 1] : seen_.untrimmed; };
    const auto measureOf = [&](const TiledMotion& motion) {
      double most = 0;
      for (const Finding& f : findings(motion, {repair}))
        if (f.kind == finding.kind && !common(f.span, finding.span).empty()) most = std::max(most, f.measure);
      return most;
    };
    constexpr auto late = static_cast<std::size_t>(RepairStage::late);
    std::size_t stage = 0, maker = late;
    while (stage < late && !appliedBy(static_cast<RepairStage>(stage), repair)) ++stage;
    if (stage >= late) return {};
    const double own = measureOf(motionAfter(stage));
    double before = own, grown = 0.25 * finding.measure;
    for (++stage; stage < late; ++stage) {
      const double after = measureOf(motionAfter(stage));
      if (after - before > grown) grown = after - before, maker = stage;
      before = after;
    }
    if (own > grown) return describe(repair) + " itself leaves " + spokenFigure(own, "mm");
    const Repair* other = maker < late ? causes_.repairAt(static_cast<RepairStage>(maker), finding.bones.front(), finding.worst) : nullptr;
    if (!other) return {};
    return describe(*other) + " takes it off by " + spokenFigure(grown, "mm") + (std::holds_alternative<ClearanceRepair>(other->action) ? ": the arm would lie in body or floor" : "");
  }

  /// What brings an arm into the body where clearance has nothing left to do: the stage after it by which the depth grows most. "" where none
  /// does.
  [[nodiscard]] std::string broughtInBy(const Finding& finding) const {
    const int side = finding.bones.front() == "@rightUpperArm" ? 1 : 0;
    std::size_t maker = stageCount;
    double before = 1e300, grown = 0.25 * finding.measure;
    for (auto stage = static_cast<std::size_t>(RepairStage::touch); stage <= stageCount; ++stage) {
      const double after = 1000.0 * armDepth(context_, stage < stageCount ? seen_.stageInputs[stage] : seen_.untrimmed, side, finding.worst);
      if (after - before > grown) grown = after - before, maker = stage - 1;
      before = after;
    }
    const Repair* repair = maker < stageCount ? causes_.repairAt(static_cast<RepairStage>(maker), finding.bones.front(), finding.worst) : nullptr;
    return repair ? describe(*repair) + " brings it in by " + spokenFigure(grown, "mm") : std::string();
  }

  /// Findings of what the take repairs, with their causes, of what muted repairs leave, and of what it does not repair, with their proposals.
  template <class Kind, class Measure>
  void measure(const std::vector<Repair>& proposals, const Measure& findings) {
    const std::vector<Repair> done = existing<Kind>();
    for (const Repair& repair : existing<Kind>(true))
      for (Finding& finding : findings(seen_.untrimmed, {repair})) {
        finding.proposal.clear();
        finding.cause = describe(repair) + " is muted";
        add(std::move(finding));
      }
    std::vector<Findings> left(done.size());
    parallelFor(static_cast<int>(done.size()), [&](int i) {
      const Repair& repair = done[static_cast<std::size_t>(i)];
      Findings& own = left[static_cast<std::size_t>(i)] = findings(seen_.untrimmed, {repair});
      for (Finding& finding : own) {
        finding.proposal.clear();
        if (std::string missed = causes_.ofMiss(repair, finding); !missed.empty()) finding.cause = std::move(missed);
        if (finding.cause.empty()) finding.cause = undoneBy(repair, finding, findings);
        if (nudgedLate(finding.span)) breaksLate(finding, repair, findings(seen_.stageInputs[static_cast<std::size_t>(RepairStage::late)], {repair}));
      }
    }, threads_);
    for (Findings& own : left)
      for (Finding& finding : own) add(std::move(finding));
    for (Finding& finding : findings(seen_.untrimmed, proposals)) {
      finding.cause.clear();
      for (Repair& repair : finding.proposal) repair.proposed = true;
      add(std::move(finding));
    }
  }

  [[nodiscard]] Findings driftFindings(const TiledMotion& motion, const std::vector<Repair>& grips) const {
    Findings list;
    for (const Repair& grip : grips) {
      // Hands come together and part: at the ends of a hold they may be on their way.
      Repair inner = grip;
      if (inner.span && inner.span->last - inner.span->first > 4 * limits_.grips.takingHold) {
        inner.span->first += limits_.grips.takingHold;
        inner.span->last -= limits_.grips.takingHold;
      }
      const GripDrift drift = gripDrift(context_, motion, inner);
      const double limit = context_.scaled(limits_.grips.place);
      if (drift.worstMetres <= limit && drift.worstRadians <= limits_.grips.turn) continue;
      const auto& action = std::get<GripRepair>(grip.action);
      Finding finding;
      finding.kind = FindingKind::gripDrift;
      finding.measure = 1000 * drift.worstMetres;
      finding.severity = std::clamp(drift.worstMetres / context_.scaled(0.06), 0.02, 1.0);
      finding.span = repairFrames(grip, context_.rate, context_.frames).span;
      finding.worst = drift.worstFrame;
      finding.bones = {action.leadLeft ? "@rightHand" : "@leftHand", action.leadLeft ? "@leftHand" : "@rightHand"};
      finding.sentence = std::string("The ") + (action.leadLeft ? "right" : "left") + " hand drifts " + spokenFigure(1000 * drift.worstMetres, "mm") +
                         " from what both hands hold";
      finding.proposal = {grip};
      nameFinding(finding, context_.rate);
      list.push_back(std::move(finding));
    }
    return list;
  }

  void add(Finding finding) {
    const FrameSpan shown{seen_.trimFirst, seen_.trimFirst + seen_.frames - 1};
    if (common(finding.span, shown).empty()) return;
    if (history_ && leftBefore(history_->settled, finding)) return out.settled.push_back(std::move(finding));
    if (const Finding* before = history_ && !finding.proposal.empty() ? leftBefore(history_->left, finding) : nullptr) {
      finding.cause = before->cause;
      finding.proposal.clear();
    }
    out.findings.push_back(std::move(finding));
  }

  const Take& take_;
  const Evaluated& seen_;
  const Performance& performance_;
  const InspectSettings& settings_;
  FindingLimits limits_;
  const RepairContext& context_;
  const Causes causes_;
  int threads_;
  const std::optional<ClipHistory> history_;
};

}  // namespace

bool repairsAlready(const Repairs& repairs, const Repair& proposal, FrameRate rate, int clipFrames) {
  const FrameSpan wanted = repairFrames(proposal, rate, clipFrames).span;
  if (const auto* bridge = std::get_if<BridgeRepair>(&proposal.action))
    return std::any_of(repairs.begin(), repairs.end(), [&](const Node<Repair>& repair) {
      const auto* other = std::get_if<BridgeRepair>(&repair->action);
      if (!other || common(repairFrames(*repair, rate, clipFrames).span, wanted) != wanted) return false;
      const auto has = [&](const std::string& bone) { return std::find(other->bones.begin(), other->bones.end(), bone) != other->bones.end(); };
      return other->bones.empty() || (!bridge->bones.empty() && std::all_of(bridge->bones.begin(), bridge->bones.end(), has));
    });
  return std::any_of(repairs.begin(), repairs.end(), [&](const Node<Repair>& repair) {
    return repair->action.index() == proposal.action.index() && subjectOf(*repair) == subjectOf(proposal) &&
           !common(repairFrames(*repair, rate, clipFrames).span, wanted).empty();
  });
}

Result<Inspection> inspectTake(const Take& take, const Evaluated& evaluated, const Performance& performance, const InspectSettings& settings,
                               const RunControl& control) {
  if (!evaluated.context) return makeError(Fault::internal, "There is no result to look for flaws in", take.name);
  Inspector inspector(take, evaluated, performance, settings, control.threads);
  const auto wants = [&](InspectPart part) { return settings.parts[static_cast<std::size_t>(part)] && !control.stopped(); };
  if (wants(InspectPart::jumps)) inspector.jumps();
  if (wants(InspectPart::feet)) inspector.feet();
  if (wants(InspectPart::body)) inspector.body();
  if (wants(InspectPart::touches)) inspector.touches();
  if (wants(InspectPart::grips)) inspector.grips();
  if (wants(InspectPart::depth)) inspector.depth();
  if (wants(InspectPart::hints)) inspector.hints();
  if (control.stopped()) return RunControl::cancelled();
  inspector.finish();
  return std::move(inspector.out);
}

}  // namespace understudy
