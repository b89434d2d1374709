// Contact sheets: many frames of a motion in one picture, seen from a camera that goes along with the figure.
#pragma once

#include <string>
#include <vector>

#include "core/base/run_control.h"
#include "core/motion/motion.h"
#include "render/offscreen.h"

namespace understudy {

enum class SheetView { front, side, threeQuarter };

/// A line of text over some frames (counted from 1).
struct PreviewNote {
  int first = 1, last = 1;
  std::string text;
};

struct SheetSettings {
  SheetView view = SheetView::threeQuarter;  ///< of the upper strip; the lower one is from the side (from the front, where the upper is the side)
  bool secondView = true;
  int cells = 12;          ///< frames shown, spread evenly over the range, its ends included
  int columns = 6;
  int cellSize = 300;      ///< pixels
  Theme theme = Theme::dark;
  std::string title;       ///< heading, large
  std::string subtitle;    ///< behind it, smaller
  std::vector<PreviewNote> notes;  ///< listed below the frames, each with the number of its first
  std::vector<std::uint8_t> hiddenMeshes;  ///< one a mesh, 1: hidden; empty: all shown
};

/// Where a frame was drawn, in pixels from the top left.
struct SheetCell {
  int frame = 0;           ///< counted from 1
  int x = 0, y = 0, width = 0, height = 0;
};

struct ContactSheet {
  Picture picture;
  std::vector<SheetCell> cells;   ///< the upper strip's, then for each its lower one where there are two views
};

/// Draws frames `range` (counted from 1) of a motion on the figure's skeleton. `placement` takes file coordinates to
/// world metres with the figure facing +Z; `followed` is the joint the camera goes along with (−1: the root). The grid
/// stands still in the world, so that a foot that slides is seen to slide. Errors: range outside the motion, sizes out
/// of bounds, stopped.
[[nodiscard]] Result<ContactSheet> drawContactSheet(OffscreenContext& context, const StageFigurePtr& figure, const Motion& motion, FrameRange range,
                                                    const Affined& placement, int followed, const SheetSettings& settings,
                                                    const RunControl& control = {});

}  // namespace understudy
