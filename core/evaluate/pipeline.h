// The stages of repairs, each kept with its result and run again only where something changed.
#pragma once

#include <array>
#include <memory>

#include "core/repair/stages.h"
#include "core/take/take.h"

namespace understudy {

/// One stage as it was run last.
struct StageRun {
  std::shared_ptr<const RepairContext> context;
  Repairs repairs;
  Nudges nudges;
  RepairLayerPtr layer;             ///< null: the stage has nothing to do
  TiledMotion in, out;
  std::vector<Residual> residuals;  ///< one a repair of the layer
  Issues issues;
  long framesRun = 0;               ///< frames evaluated since the pipeline was made
};

struct Pipeline {
  /// Shared by copies of the pipeline; null before the first run.
  std::array<std::shared_ptr<const StageRun>, stageCount> stages;
  TiledMotion base;  ///< input of the first stage
};

/// Runs all stages on `base` (the untrimmed retargeted clip). Only frames that may differ from the last run are evaluated; the
/// bytes are those of a fresh run. `sameBase` tells that `base` and `context` are those of the last run. Error: stopped; the
/// pipeline is then as it was.
[[nodiscard]] Status runPipeline(Pipeline& pipeline, const std::shared_ptr<const RepairContext>& context, const TiledMotion& base, bool sameBase,
                                 const Repairs& repairs, const Nudges& nudges, const RunControl& control);

[[nodiscard]] inline const TiledMotion& resultOf(const Pipeline& pipeline) { return pipeline.stages.back()->out; }

}  // namespace understudy
