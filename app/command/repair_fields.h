// The parameters of repairs as options: their names, help and units follow from the description every repair gives of itself.
#pragma once

#include <string>
#include <vector>

#include "app/command/json_text.h"
#include "app/command/options.h"
#include "app/command/repair_reel.h"

namespace understudy::cli {

/// What can be added to a take: the kinds of repairs, "nudge", and what repairs refer to: "prop", "object" (of the set), "lock".
[[nodiscard]] const std::vector<std::string>& itemKinds();
/// Accepts "hand-shape" for "hand shape". Error: no such kind, with the nearest one.
[[nodiscard]] Result<std::string> itemKind(const std::string& text);

/// One option a parameter, for all kinds together.
[[nodiscard]] std::vector<OptionSpec> itemOptions();

/// The parameters that were given, as the members of a stored item: seconds, metres, radians. Errors: a parameter that the kind does not
/// have, or that cannot be read.
[[nodiscard]] Result<Json> itemFields(const std::string& kind, const Options& options, const FrameNumbers& numbers);

/// Stored form of a nudge, and back ("base" gives what is not there).
[[nodiscard]] Json nudgeJson(const Nudge& nudge);
[[nodiscard]] Result<Nudge> readNudgeJson(const Json& json, const std::string& file, const std::string& place, const Nudge* base = nullptr);

}  // namespace understudy::cli
