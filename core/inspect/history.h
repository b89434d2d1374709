// What a finished clip knows of itself, so that nobody finishes it once more.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/evaluate/evaluate.h"
#include "core/inspect/finding.h"

namespace understudy {

struct ClipHistory {
  std::vector<Repair> repairs;  ///< plants, touches and grips that acted: where the clip stands, touches and holds
  Findings left;                ///< what was found on it last, with its cause
  Findings settled;             ///< what is no flaw of it, though it looks like one (Inspection::settled)
};

/// What is left beside the curves of a take that is handed over: its plants, touches and grips, what was found on it (null: nobody has
/// looked), and where the mapped joints are at a few times. A JSON object; empty where nobody has looked and the take has no such
/// repairs. Times count from the first frame handed over.
[[nodiscard]] std::string historyText(const Take& take, const Evaluated& evaluated, const Findings* left, const Findings& settled = {});

/// The history of the clip that `evaluated` shows, where the clip has one and the plain retarget stands where the finished character
/// stood, to a millimetre (of a character 1.7 m tall): on another body, another match or another rate it says nothing. Frames count from 0
/// in the untrimmed clip.
[[nodiscard]] std::optional<ClipHistory> historyOf(const Evaluated& evaluated);

/// The finding of `left` that `finding` is again: the same flaw, hardly larger; null where there is none.
[[nodiscard]] const Finding* leftBefore(const Findings& left, const Finding& finding);

}  // namespace understudy
