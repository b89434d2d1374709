#include "core/job/finish.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>

#include "core/inspect/causes.h"
#include "core/inspect/events.h"
#include "core/inspect/grips.h"
#include "core/repair/clearance.h"
#include "core/repair/grip.h"
#include "core/take/edits.h"

namespace understudy {
namespace {

using Clock = std::chrono::steady_clock;

double secondsSince(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

/// How often the result is looked at before what is still found is left to the artist.
constexpr int mostRounds = 3;
constexpr auto hintPart = static_cast<std::size_t>(InspectPart::hints);

/// Arms are out of the body before it is settled how hands that hold something lie to each other: on a wide body they lie farther apart.
constexpr InspectPart order[inspectParts] = {InspectPart::jumps, InspectPart::feet, InspectPart::body, InspectPart::touches, InspectPart::depth, InspectPart::grips, InspectPart::hints};

class Finisher {
 public:
  Finisher(const Take& start, const Sources& sources, const FinishSettings& settings, EvaluationCache* cache, const RunControl& control)
      : sources_(sources), settings_(settings), cache_(cache ? cache : &own_), control_(control) {
    out_.take = start;
    flaws_ = settings.inspect;
    flaws_.parts[hintPart] = false;
  }

  Result<Finished> run() {
    control_.report(0, "retarget");
    if (const Status s = fit(out_.take); !s) return s.error();
    if (!seen_.complete()) {
      for (const Issue& issue : seen_.issues)
        if (issue.severity == Severity::error) return issue;
      return makeError(Fault::internal, "Nothing was retargeted", out_.take.name);
    }
    step("retarget");
    // Contacts and clearance ask for it later; made here, its time is told apart.
    const RepairContext& context = *seen_.context;
    if (settings_.inspect.parts[static_cast<std::size_t>(InspectPart::depth)] && !context.figure->meshes.empty() && (context.arms[0].complete() || context.arms[1].complete()))
      (void)bodyModelOf(context);
    step("body");
    control_.report(0.2, "look at the performance");
    Result<std::shared_ptr<const Performance>> performance = analysePerformance(*sources_.performer, seen_.map->performer, seen_.performerNative, control_);
    if (!performance) return performance.error();
    performance_ = std::move(*performance);
    tell(performance_->issues);
    step("look at the performance");
    if (const Status s = repairParts(); !s) return s.error();
    step("find and repair");
    control_.report(0.8, "look again");
    if (const Status s = repairRest(); !s) return s.error();
    step("look again");
    if (const Status s = guard(); !s) return s.error();
    if (const Status s = settle(); !s) return s.error();
    explain();
    step("take back what does harm");
    if (const Status s = hint(); !s) return s.error();
    step("look for hints");
    out_.departures = departures(out_.take, seen_, settings_.likeness);
    out_.evaluated = std::move(seen_);
    control_.report(1, "done");
    return std::move(out_);
  }

 private:
  void step(const char* name) {
    out_.timing.push_back({name, secondsSince(from_)});
    from_ = Clock::now();
  }

  void tell(const Issues& issues) { out_.issues.insert(out_.issues.end(), issues.begin(), issues.end()); }

  /// Makes a take the present one, with its anchors, and evaluates it.
  Status fit(const Take& take) {
    Result<Take> fitted = refitted(take, sources_, cache_, &out_.issues, control_);
    if (!fitted) return fitted.error();
    out_.take = std::move(*fitted);
    Result<Evaluated> seen = evaluate(out_.take, sources_, cache_, control_);
    if (!seen) return seen.error();
    seen_ = std::move(*seen);
    return Status(Done{});
  }

  Result<Findings> look(const InspectSettings& settings, bool telling = true) {
    Result<Inspection> seen = inspectTake(out_.take, seen_, *performance_, settings, control_);
    if (!seen) return seen.error();
    if (telling) tell(seen->issues);
    if (settings.parts[static_cast<std::size_t>(InspectPart::jumps)]) out_.settled = std::move(seen->settled);
    return std::move(seen->findings);
  }

  /// Adds what the findings propose to the take and evaluates it; false where they propose nothing new.
  Result<bool> accept(const Findings& findings) {
    Take next = out_.take;
    for (const Finding& finding : findings) {
      if (std::none_of(out_.found.begin(), out_.found.end(), [&](const Finding& known) { return sameFlaw(known, finding); })) out_.found.push_back(finding);
      if (finding.waved) continue;
      Accepted accepted{finding, {}};
      for (const Repair& proposal : finding.proposal) {
        // Several findings may ask for one repair.
        std::uint64_t id = 0;
        if (repairsAlready(*next.repairs, proposal, seen_.rate, seen_.clipFrames)) {
          for (const Node<Repair>& repair : *next.repairs)
            if (repair->action.index() == proposal.action.index() && std::holds_alternative<ClearanceRepair>(proposal.action)) id = repair->id;
        } else {
          next = addRepair(next, proposal, &id);
          added_.push_back(id);
        }
        if (std::find(added_.begin(), added_.end(), id) != added_.end()) accepted.repairs.push_back(id);
      }
      if (!accepted.repairs.empty()) accepted_.push_back(std::move(accepted));
    }
    if (next == out_.take) return false;
    if (const Status s = fit(next); !s) return s.error();
    return true;
  }

  Status repairParts() {
    for (int turn = 0; turn < inspectParts; ++turn) {
      const InspectPart part = order[turn];
      if (!flaws_.parts[static_cast<std::size_t>(part)]) continue;
      control_.report(0.3 + 0.1 * turn, "find and repair");
      InspectSettings one = settings_.inspect;
      one.parts = {};
      one.parts[static_cast<std::size_t>(part)] = true;
      const Result<Findings> found = look(one);
      if (!found) return found.error();
      if (const Result<bool> accepted = accept(*found); !accepted) return accepted.error();
    }
    if (settings_.inspect.prop == 0) return Status(Done{});
    if (const Status s = lowerProp(); !s) return s;
    std::vector<PropItem> props = *out_.take.props;
    std::vector<const Repair*> repairs;
    for (const Node<Repair>& repair : *out_.take.repairs) repairs.push_back(&*repair);
    for (PropItem& prop : props)
      if (prop.id == settings_.inspect.prop) prop = carriedByLead(*seen_.context, prop, repairs, settings_.inspect.leadLeft.value_or(false));
    Take carried = setProps(out_.take, std::move(props));
    return carried == out_.take ? Status(Done{}) : fit(carried);
  }

  /// Arms that were brought out of the body may have lifted what the hands hold. Where these hold it further down its handle than it is
  /// held by default, to keep it off the floor, they take back as much of that as is no longer needed.
  Status lowerProp() {
    const RepairContext& context = *seen_.context;
    const TiledMotion& input = seen_.stageInputs[static_cast<std::size_t>(RepairStage::grip)];
    std::vector<Repair> grips;
    double needed = -1e300, room = 1e300;
    for (const Node<Repair>& repair : *out_.take.repairs) {
      const auto* grip = std::get_if<GripRepair>(&repair->action);
      if (!grip || grip->prop != settings_.inspect.prop || !grip->anchored) continue;
      Repair fresh = *repair;
      std::get<GripRepair>(fresh.action).anchored = false;
      const Result<GripRepair> usual = anchorGrip(context, input, fresh);
      if (!usual) return Status(Done{});
      room = std::min(room, distance(usual->leadGrip.position, grip->leadGrip.position));
      needed = std::max(needed, floorShift(context, input, *repair).needed);
      grips.push_back(*repair);
    }
    const double back = std::min(-needed - context.scaled(0.01), room);
    if (grips.empty() || back < context.scaled(0.005)) return Status(Done{});
    Take next = out_.take;
    for (Repair& repair : grips) {
      repair.action = shiftedGrip(context, std::get<GripRepair>(repair.action), -back);
      next = changeRepair(next, repair);
    }
    char text[160];
    std::snprintf(text, sizeof text, "With the arms out of the body the prop hung above the floor: the hands hold it %.0f mm further up again", 1000 * back);
    tell({makeNote(text, {}, {})});
    return fit(next);
  }

  /// A repair may bring out what its flaw had hidden.
  Status repairRest() {
    Result<Findings> found = look(flaws_, false);
    for (int round = 1; found && round < mostRounds; ++round) {
      const Result<bool> more = accept(*found);
      if (!more) return more.error();
      if (!*more) break;
      found = look(flaws_, false);
    }
    if (!found) return found.error();
    out_.remaining = std::move(*found);
    return Status(Done{});
  }

  Status guard() {
    Judged now{out_.take, std::move(out_.remaining)};
    Findings settled;
    const auto judge = [&](const Take& take) -> Result<Findings> {
      Result<Evaluated> seen = evaluate(take, sources_, cache_, control_);
      if (!seen) return seen.error();
      Result<Inspection> found = inspectTake(take, *seen, *performance_, flaws_, control_);
      if (!found) return found.error();
      settled = std::move(found->settled);
      return std::move(found->findings);
    };
    Result<std::vector<Withdrawal>> withdrawn = withdrawHarmful(now, accepted_, judge, settings_.guard, seen_.rate);
    if (!withdrawn) return withdrawn.error();
    out_.withdrawn = std::move(*withdrawn);
    out_.remaining = std::move(now.findings);
    if (now.take == out_.take) return Status(Done{});
    // Of the takes that were judged the last one is not always the one that is kept: what is settled on it is a matter of jumps alone.
    out_.settled.insert(out_.settled.end(), std::make_move_iterator(settled.begin()), std::make_move_iterator(settled.end()));
    return fit(now.take);
  }

  /// What was taken back, and what the last round brought, may have left flaws that have a repair: a second run would accept them, so this
  /// one does, as long as that makes the take better.
  Status settle() {
    for (int round = 0; round < mostRounds; ++round) {
      const Take before = out_.take;
      const Findings left = out_.remaining, found = out_.found, settled = out_.settled;
      const Result<bool> more = accept(left);
      if (!more) return more.error();
      if (!*more) break;
      Result<Findings> now = look(flaws_, false);
      if (!now) return now.error();
      if (burden(*now) > burden(left)) {
        out_.found = found;
        out_.settled = settled;
        return fit(before);
      }
      out_.remaining = std::move(*now);
    }
    return Status(Done{});
  }

  /// Jumps that bridges after bridges have not taken away.
  void explain() {
    const Causes causes(out_.take, seen_);
    for (Finding& finding : out_.remaining) {
      const bool jumps = finding.kind == FindingKind::pop || finding.kind == FindingKind::snap || finding.kind == FindingKind::flip;
      if (!jumps || !finding.cause.empty() || finding.proposal.empty()) continue;
      finding.cause = causes.ofJump(finding, 1);
      if (finding.cause.empty()) finding.cause = "The performance moves that fast: bridges over it have not taken it away";
    }
  }

  /// What is worth a look on the result, beside what remains.
  Status hint() {
    if (!settings_.inspect.parts[hintPart]) return Status(Done{});
    InspectSettings one = settings_.inspect;
    one.parts = {};
    one.parts[hintPart] = true;
    Result<Findings> found = look(one, false);
    if (!found) return found.error();
    for (Finding& finding : *found) out_.remaining.push_back(std::move(finding));
    std::stable_sort(out_.remaining.begin(), out_.remaining.end(), [](const Finding& a, const Finding& b) { return a.span.first < b.span.first; });
    return Status(Done{});
  }

  EvaluationCache own_;
  const Sources& sources_;
  const FinishSettings& settings_;
  InspectSettings flaws_;  ///< without hints, which propose nothing
  EvaluationCache* cache_;
  const RunControl& control_;
  std::shared_ptr<const Performance> performance_;
  Evaluated seen_;
  std::vector<Accepted> accepted_;
  std::vector<std::uint64_t> added_;
  Finished out_;
  Clock::time_point from_ = Clock::now();
};

}  // namespace

Result<Finished> finishTake(const Take& start, const Sources& sources, const FinishSettings& settings, EvaluationCache* cache, const RunControl& control) {
  return Finisher(start, sources, settings, cache, control).run();
}

}  // namespace understudy
