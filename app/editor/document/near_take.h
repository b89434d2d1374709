// What is worked out first of a change that takes long: the frames around the one that is looked at.
#pragma once

#include <optional>

#include "core/take/take.h"

namespace understudy::editor {

/// The take with what changed against `before` only about a second around `frame` (counted from 0 in the untrimmed clip of `clipFrames`
/// frames): repairs far from it are as they were, long ones are cut, from the first stage on that changed. Nothing where no more than
/// that changed, where it is no matter of repairs, or where a long kind needs its whole span (plants, what is rebuilt from its edges).
[[nodiscard]] std::optional<Take> nearTake(const Take& take, const Take& before, FrameRate rate, int clipFrames, int frame);

}  // namespace understudy::editor
