// Frames as timecode, hours:minutes:seconds:frames, counted without dropping (SMPTE ST 12-1): at 29.97 frames a second it numbers
// thirty frames a second. No widgets.
#pragma once

#include <QString>
#include <optional>

namespace understudy::editor {

/// Frames a second as timecode counts them: the rate rounded up to a whole number, at least 1.
[[nodiscard]] int timecodeBase(double hertz);
/// "00:01:23:07" for a frame number; a sign in front where it is negative.
[[nodiscard]] QString timecode(int frame, double hertz);
/// Reads "1:23:07", "12:5" or a plain frame number; nothing where it is neither.
[[nodiscard]] std::optional<int> frameOfTimecode(const QString& text, double hertz);

}  // namespace understudy::editor
