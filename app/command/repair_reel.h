// The reel a repair action works on: opened, evaluated, saved whole or not at all.
#pragma once

#include <string>

#include "app/command/command.h"
#include "core/evaluate/evaluate.h"

namespace understudy::cli {

/// The numbers people see and type: those of the exported frames.
struct FrameNumbers {
  FrameRate rate;
  int first = 1;   ///< of the untrimmed clip's first frame
  int frames = 0;  ///< of the untrimmed clip
  [[nodiscard]] int shown(int index) const { return index + first; }
  [[nodiscard]] FrameRange shown(FrameSpan span) const { return {span.first + first, span.last + first}; }
  [[nodiscard]] double seconds(int number) const { return rate.seconds(number - first); }
};

struct OpenReel {
  std::string path;
  std::string hash;     ///< of the file as read
  Reel reel;
  int index = 0;        ///< of the take that is worked on
  Issues issues;
  [[nodiscard]] const Take& take() const { return *reel.takes[static_cast<std::size_t>(index)]; }
};

[[nodiscard]] OptionSpec takeOption();
/// The reel of the first argument and the take of --take. Errors: not readable, no such take.
[[nodiscard]] Result<OpenReel> openReel(const Options& options);
/// The same of any file; `take` counts from 1, 0: the one last worked on.
[[nodiscard]] Result<OpenReel> openReel(const std::string& path, int take);

/// The take read and evaluated.
struct Shown {
  Sources sources;
  EvaluationCache cache;
  Evaluated evaluated;
  FrameNumbers numbers;
};
/// Errors: files that cannot be read, and whatever keeps the take from being evaluated.
[[nodiscard]] Result<Shown> showTake(const Take& take, const RunControl& control);
[[nodiscard]] FrameNumbers frameNumbers(const Take& take, const Evaluated& evaluated);

/// Replaces the take in its file. False: it was equal, and the file is left as it is. Errors: the file has changed since it was read, or cannot be
/// written; it is then as it was.
[[nodiscard]] Result<bool> saveTake(const OpenReel& open, const Take& take);

/// "14:30"
[[nodiscard]] std::string textOf(FrameRange range);

}  // namespace understudy::cli
