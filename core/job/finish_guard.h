// Repairs that do more harm than good, taken back.
#pragma once

#include <functional>
#include <vector>

#include "core/inspect/inspect.h"
#include "core/take/take.h"

namespace understudy {

/// A flaw with the repairs that were accepted for it.
struct Accepted {
  Finding finding;
  std::vector<std::uint64_t> repairs;
};

/// A repair that was tried and is muted in the take, its name telling why.
struct Withdrawal {
  std::uint64_t repair = 0;
  std::string reason;  ///< measured, a sentence without its full stop
};

/// A take with what is found on it.
struct Judged {
  Take take;
  Findings findings;
};

/// How much is wrong: the severities of all findings that are not waved off, added up.
[[nodiscard]] double burden(const Findings& findings);

struct GuardSettings {
  double useless = 0.8;  ///< of the severity that a clearance was accepted for and that it leaves; from here on it is tried without
  double deep = 0.375;   ///< of the severity of an arm in the body (30 mm at a height of 1.7 m) from which on the touches there are tried without
  double deepInVain = 0.125;  ///< the same (10 mm) of touches whose contact is lost all the same
  double lost = 0.16;         ///< severity (8 mm) from which on a contact counts as lost, where that is so over half of its time
  std::size_t mostReleases = 3;  ///< rounds of taking touches back from arms in the body
  int mostReturns = 6;       ///< touches that were taken back from arms in the body and are tried again
  double shortest = 0.2;     ///< seconds of a part of such a touch that is kept by itself
  double apart = 0.05;       ///< seconds between such a part and frames at which the arm lies in the body
  int mostTrials = 4;    ///< evaluations of the take that the guard may ask for
};

/// Mutes accepted repairs whose harm (jumps, flips and twists they make, and what they leave of the flaws they were accepted for)
/// outweighs what they mend, where the take as a whole is the better for it: `judge` evaluates a take and looks for flaws. So are touches without
/// which arms come out of the body; of these the ones that hold no arm in it by themselves are given back in the end, or the parts of them that do
/// not, as touches of their own. Plants are never taken back. `now` becomes the better take with its findings. `rate`: of the findings' frames.
/// Errors: those of `judge`.
[[nodiscard]] Result<std::vector<Withdrawal>> withdrawHarmful(Judged& now, const std::vector<Accepted>& accepted,
                                                              const std::function<Result<Findings>(const Take&)>& judge, const GuardSettings& settings = {},
                                                              FrameRate rate = {});

}  // namespace understudy
