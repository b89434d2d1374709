// What happened to a take, for machines: JSON.
#pragma once

#include <optional>
#include <string>

#include "core/evaluate/evaluate.h"
#include "core/io/write.h"

namespace understudy {

/// Horizontal path of the hips' middle ÷ leg length (thigh + shank), of the character over the performer: 1 where the
/// character covers the ground its legs ask for. Nothing where the performer stays within 1 mm or nothing is retargeted.
[[nodiscard]] std::optional<double> hipTravelRatio(const Figure& performer, const Figure& character, const Evaluated& evaluated);

/// All there is to tell about a take, each thing once: what was odd in the two files (as far as this take uses them), what the
/// evaluation and the retargeting did, and `more`.
[[nodiscard]] Issues takeIssues(const Take& take, const Sources& sources, const Evaluated& evaluated, const Issues& more = {});

/// JSON object with "performer", "character", "clip", "frames", "rate", "stride", "hipTravelRatio", "performerLeg",
/// "characterLeg" (metres), "groundOffset" (metres), "references", "alignment" per role, "fidelity" (joint, frame, mm; null
/// where not measured), "keys", "bytes", "issues".
[[nodiscard]] std::string takeReport(const Take& take, const Sources& sources, const Evaluated& evaluated,
                                     const std::optional<Fidelity>& fidelity, const Issues& moreIssues = {});

}  // namespace understudy
