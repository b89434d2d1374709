// What a finish run found, did and left: the page people read, and the same as JSON.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/base/frame_rate.h"
#include "core/base/result.h"

namespace understudy {

// Frames in here are the numbers shown (first frame of the hand-over 1 unless the take says otherwise), both ends included.

/// A picture of a frame, as the bytes of a PNG file.
struct ReportPicture {
  int frame = 0;
  std::string caption;               ///< one sentence: what is seen; also read out instead of the picture
  std::vector<std::uint8_t> png;
};

/// Whose line it is; the page draws each in its own colour and dash.
enum class CurveRole : unsigned char { performer, before, after, bound };
/// One line of a plot. A single value is a level over all frames.
struct ReportCurve {
  CurveRole role = CurveRole::after;
  std::string label;
  std::vector<double> values;        ///< one a frame from the plot's first frame; values that are not finite leave a gap
};
/// Curves over frames, drawn inside the page.
struct ReportPlot {
  std::string title;
  std::string unit;                  ///< of the values, "mm"
  int firstFrame = 1;
  std::vector<ReportCurve> curves;
  std::vector<FrameRange> marked;    ///< shaded
};

enum class FindingState : unsigned char {
  repaired,
  remaining,
  waved,      ///< waved off by the artist
  hint,       ///< worth a look, no flaw of the take
};

struct ReportedFinding {
  std::string key;                   ///< the same for the same flaw in every run
  std::string kind;                  ///< "slide", "float", …
  std::string unit;                  ///< of the measures: "mm", "mm/frame", "deg"
  double before = 0;                 ///< worst measure as found
  double after = 0;                  ///< worst measure in the same frames when done
  double severity = 0;               ///< 0 … 1
  FrameRange span;
  int worstFrame = 0;                ///< 0: not known
  std::vector<std::string> bones;
  std::string sentence;              ///< for an artist
  std::string proposal;              ///< what was offered, a sentence; empty: nothing
  std::string harm;                  ///< what accepting it brings along; empty: nothing
  FindingState state = FindingState::remaining;
  bool arisen = false;               ///< was not there before the repairs
  std::string cause;                 ///< why it remains, measured ("misses by 12 mm: out of reach"); empty: unexplained
  std::vector<ReportPicture> pictures;
  std::vector<ReportPlot> plots;
};

struct ReportedRepair {
  std::uint64_t id = 0;
  std::string kind;
  std::string name;
  FrameRange span;
  double missMillimetres = 0;        ///< worst distance from what it promises
  double missDegrees = 0;
  int missFrame = 0;                 ///< 0: nowhere
};

/// A repair that was tried and taken back: it is in the take, muted.
struct ReportedWithdrawal {
  std::uint64_t id = 0;
  std::string kind, name;
  FrameRange span;
  std::string reason;                ///< measured, a sentence
};

/// A limb that repairs take further from its way than likeness allows.
struct ReportedDeparture {
  std::string limb;                  ///< "left arm"
  FrameRange span;
  int frames = 0;                    ///< of the span that are beyond the limit
  double degrees = 0;                ///< worst, between a bone's direction and its direction as retargeted
  int worstFrame = 0;
  std::uint64_t repair = 0;          ///< that demands it; 0: a nudge
  std::string demands;               ///< as messages name it
};

struct DoubtfulRole {
  std::string role, performer, character;
  double confidence = 0;             ///< 0 … 1
  std::string reason;
};

struct ReportedStep {
  std::string name;                  ///< "read", "find", …
  double seconds = 0;
};

/// A measure of the whole clip before and after, such as the mean skate.
struct ReportedFigure {
  std::string name;
  std::string unit;
  double performer = 0;              ///< the performer's own; not finite: none
  double before = 0, after = 0;
};

/// A remark of a review that is pinned to a frame.
struct ReportedNote {
  int frame = 0;
  std::string bone;                  ///< as people say it; empty: none
  std::string text, author;
  bool done = false;
  std::vector<ReportPicture> pictures;
};

struct FinishReport {
  std::string title;                 ///< empty: the clip's and the character's names
  std::string performer, character;  ///< paths
  std::string clip;                  ///< its name
  int frames = 0;
  int firstFrame = 1;
  FrameRate rate;
  std::vector<DoubtfulRole> doubtful;
  std::vector<ReportedFinding> findings;
  std::vector<ReportedRepair> repairs;
  std::vector<ReportedWithdrawal> withdrawn;
  std::vector<ReportedDeparture> departures;
  std::vector<ReportedNote> notes;   ///< by frame
  double likenessLimit = 15;         ///< degrees beyond which departures are listed
  std::vector<ReportedFigure> figures;
  std::vector<ReportPlot> plots;     ///< of the whole clip
  std::vector<ReportPicture> pictures;
  std::vector<ReportedStep> timing;
  std::vector<std::string> outputs;  ///< paths of what was written
  Issues issues;
};

/// Findings of one kind.
struct KindTotal {
  std::string kind, unit;
  int found = 0, repaired = 0, remaining = 0, waved = 0;
  double worstBefore = 0, worstAfter = 0;
  int hints = 0;
  friend bool operator==(const KindTotal&, const KindTotal&) = default;
};
/// In the order in which the kinds first appear.
[[nodiscard]] std::vector<KindTotal> totalsOf(const FinishReport& report);
/// Remaining findings with and without a cause, and the share of frames that remaining ones cover.
struct RemainingTotal {
  int explained = 0, unexplained = 0;
  double coverage = 0;  ///< 0 … 1
};
[[nodiscard]] RemainingTotal remainingOf(const FinishReport& report);

/// JSON object of all of it but the pictures' bytes, with "totals", "explained" and "unexplained".
[[nodiscard]] std::string finishReportJson(const FinishReport& report);

/// A page that needs nothing besides itself: no script, no other file, light or dark as the reader's screen asks.
[[nodiscard]] std::string finishReportHtml(const FinishReport& report);

}  // namespace understudy
