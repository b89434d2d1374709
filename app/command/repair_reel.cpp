#include "app/command/repair_reel.h"

#include "app/command/take_request.h"
#include "core/io/read.h"
#include "core/store/reel_file.h"

namespace understudy::cli {

std::string textOf(FrameRange range) { return std::to_string(range.first) + ":" + std::to_string(range.last); }

OptionSpec takeOption() { return {"take", "N", "take of the reel, counted from 1; default: the one last worked on"}; }

Result<OpenReel> openReel(const std::string& path, int take) {
  OpenReel open;
  open.path = path;
  open.hash = contentHash(open.path);
  auto reel = loadReel(open.path, &open.issues);
  if (!reel) return reel.error();
  open.reel = relinkMoved(*reel, open.path, &open.issues);
  const int takes = static_cast<int>(open.reel.takes.size());
  if (takes == 0) return makeError(Fault::input, "The reel holds no take", open.path, "Make one with 'repair new'");
  if (take < 0 || take > takes)
    return makeError(Fault::usage, "There is no take " + std::to_string(take), open.path, takes == 1 ? "The reel has one take" : "It has takes 1 to " + std::to_string(takes));
  open.index = take > 0 ? take - 1 : open.reel.current;
  return open;
}

Result<OpenReel> openReel(const Options& options) {
  const auto number = options.integer("take", 0);
  if (!number) return number.error();
  if (options.has("take") && *number < 1) return makeError(Fault::usage, "--take counts from 1");
  return openReel(options.arguments().front(), *number);
}

FrameNumbers frameNumbers(const Take& take, const Evaluated& evaluated) {
  return {evaluated.rate, take.firstFrame - evaluated.trimFirst, evaluated.clipFrames};
}

Result<Shown> showTake(const Take& take, const RunControl& control) {
  Shown shown;
  auto sources = readSources(take, nullptr, part(control, 0, 0.6));
  if (!sources) return sources.error();
  shown.sources = std::move(*sources);
  auto evaluated = evaluate(take, shown.sources, &shown.cache, part(control, 0.6, 1));
  if (!evaluated) return evaluated.error();
  if (!evaluated->context) {
    for (const Issue& issue : evaluated->issues)
      if (issue.severity == Severity::error) return issue;
    return makeError(Fault::input, "The take cannot be evaluated", take.name);
  }
  shown.evaluated = std::move(*evaluated);
  shown.numbers = frameNumbers(take, shown.evaluated);
  return shown;
}

Result<bool> saveTake(const OpenReel& open, const Take& take) {
  if (take == open.take()) return false;
  if (contentHash(open.path) != open.hash)
    return makeError(Fault::output, "The reel has been changed by somebody else meanwhile", open.path, "Nothing was written; do it again");
  Reel reel = open.reel;
  reel.takes[static_cast<std::size_t>(open.index)] = take;
  if (const Status s = saveReel(reel, open.path); !s) return s.error();
  return true;
}

}  // namespace understudy::cli
