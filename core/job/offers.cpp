#include "core/job/offers.h"

#include <algorithm>

#include "core/inspect/events.h"
#include "core/inspect/limb_names.h"
#include "core/repair/layer.h"

namespace understudy {
namespace {

/// The gravest flaw that a repair brings and that was not there without it; null: none.
const Finding* broughtBy(const Repair& repair, const Findings& before, const Findings& after) {
  const std::string name = describe(repair) + " ";
  const Finding* gravest = nullptr;
  for (const Finding& f : after) {
    if (f.hint || f.waved || !f.cause.starts_with(name)) continue;
    if (std::any_of(before.begin(), before.end(), [&](const Finding& old) { return sameFlaw(old, f, 3) && f.measure <= 1.25 * old.measure + 1; })) continue;
    if (!gravest || f.severity > gravest->severity) gravest = &f;
  }
  return gravest;
}

}  // namespace

Findings weighed(Findings findings, const Finished& tried) {
  const Evaluated& seen = tried.evaluated;
  const Findings before = findings;
  for (Finding& finding : findings) {
    std::string why;
    const Finding* harm = nullptr;
    std::erase_if(finding.proposal, [&](const Repair& proposal) {
      for (const Node<Repair>& repair : *tried.take.repairs) {
        if (!repairsAlready(Repairs{repair}, proposal, seen.rate, seen.clipFrames)) continue;
        for (const Withdrawal& withdrawal : tried.withdrawn)
          if (withdrawal.repair == repair->id) {
            why = "A " + repair->kind() + " was tried and does more harm than good: " + withdrawal.reason;
            return true;
          }
        if (const Finding* brought = broughtBy(*repair, before, tried.remaining); brought && (!harm || brought->severity > harm->severity)) harm = brought;
      }
      return false;
    });
    if (finding.proposal.empty() && !why.empty()) {
      finding.cause = why;
    } else if (harm) {
      finding.harm = harm->sentence + " at frame " + std::to_string(harm->worst - seen.trimFirst + seen.firstFrame);
    }
  }
  return findings;
}

Result<Findings> weighed(Findings findings, const Take& take, const Sources& sources, const FinishSettings& settings, EvaluationCache* cache, const RunControl& control) {
  if (std::all_of(findings.begin(), findings.end(), [](const Finding& f) { return f.proposal.empty(); })) return findings;
  FinishSettings own = settings;
  own.inspect.parts[static_cast<std::size_t>(InspectPart::hints)] = false;
  const Result<Finished> tried = finishTake(take, sources, own, cache, control);
  if (!tried) return tried.error();
  return weighed(std::move(findings), *tried);
}

}  // namespace understudy
