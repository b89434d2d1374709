// What is offered for flaws, weighed by trying it.
#pragma once

#include "core/job/finish.h"

namespace understudy {

/// Findings of a take with their proposals weighed: all of them are accepted on a copy, as finishTake() does, and what that brings about is
/// held against them. A proposal that does more harm than good is not offered, and the finding's cause says what it would have done;
/// one that mends its flaw but brings another along says so in Finding::harm. Findings without a proposal stay as they are.
/// `tried` is the finished copy. The editor may ask for it in the background, with a copy of its take.
[[nodiscard]] Findings weighed(Findings findings, const Finished& tried);

/// Makes that copy. Costs about as much as finishTake(). Errors: its own.
[[nodiscard]] Result<Findings> weighed(Findings findings, const Take& take, const Sources& sources, const FinishSettings& settings = {}, EvaluationCache* cache = nullptr,
                                       const RunControl& control = {});

}  // namespace understudy
