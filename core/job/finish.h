// From a take as it stands to a finished one: look for flaws, accept what is proposed, look again.
#pragma once

#include "core/inspect/inspect.h"
#include "core/inspect/likeness.h"
#include "core/job/finish_guard.h"
#include "core/report/finish_report.h"

namespace understudy {

struct FinishSettings {
  InspectSettings inspect;
  GuardSettings guard;
  LikenessSettings likeness;
};

struct Finished {
  Take take;             ///< with the accepted repairs
  Evaluated evaluated;   ///< of that take
  Findings found;        ///< all that was found on the way, as it was before its repair
  Findings remaining;    ///< found on the result
  Findings settled;      ///< on the result as well: Inspection::settled
  std::vector<Withdrawal> withdrawn;    ///< repairs that were tried and are muted in the take
  std::vector<Departure> departures;    ///< limbs that repairs take far from their way
  std::vector<ReportedStep> timing;
  Issues issues;
};

/// Accepts every proposal, stage by stage in the order in which repairs are applied, so that each is judged on what it will see, looks
/// again for what that brings out, and mutes what does more harm than good.
/// Findings that were waved off are left alone. A take that needs nothing comes back as it is. Errors: as evaluate(); a take that
/// cannot be retargeted; stopped.
[[nodiscard]] Result<Finished> finishTake(const Take& take, const Sources& sources, const FinishSettings& settings = {}, EvaluationCache* cache = nullptr,
                                          const RunControl& control = {});

/// What people and machines are told of it: everything but pictures, plots and paths of outputs.
[[nodiscard]] FinishReport reportOf(const Finished& finished, const Sources& sources);

}  // namespace understudy
