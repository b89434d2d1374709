// Previews of a motion: a picture a frame, with frame numbers and notes, and a video of them.
#pragma once

#include <string>
#include <vector>

#include "core/base/run_control.h"
#include "core/motion/motion.h"
#include "render/contact_sheet.h"

namespace understudy {

struct PreviewSettings {
  SheetView view = SheetView::threeQuarter;
  int width = 960, height = 540;        ///< pixels, 64 … 4096; even ones suit all video players
  Theme theme = Theme::dark;
  bool numbers = true;                  ///< frame numbers
  int firstNumber = 1;                  ///< shown on the motion's first frame
  std::vector<PreviewNote> notes;
  std::vector<std::uint8_t> hiddenMeshes;
};

/// One frame (counted from 1) at a time. Holds the poses' framing, so that the camera goes along smoothly.
class Preview {
 public:
  /// `motion` must outlive it. Errors: no motion on this figure, range outside of it, sizes out of bounds.
  [[nodiscard]] static Result<Preview> make(StageFigurePtr figure, const Motion& motion, FrameRange range, const Affined& placement, int followed,
                                            PreviewSettings settings);
  [[nodiscard]] Result<Picture> picture(OffscreenContext& context, int frame) const;
  [[nodiscard]] FrameRange range() const { return range_; }

 private:
  StageFigurePtr figure_;
  const Motion* motion_ = nullptr;
  FrameRange range_;
  Affined placement_;
  int followed_ = -1;
  PreviewSettings settings_;
  Camera camera_;
};

/// Writes all frames as PNG files named by their numbers (0001.png …) into a folder, which is made. Error: unwritable, stopped.
[[nodiscard]] Result<std::vector<std::string>> writePictures(const Preview& preview, OffscreenContext& context, const PreviewSettings& settings, const std::string& folder,
                                                             const RunControl& control = {});
/// The same as a video by the ffmpeg program: .mp4, .mov, .mkv, .webm or .gif. Errors: ffmpeg is not there (the message says what to do
/// instead), or fails.
[[nodiscard]] Status writeVideo(const Preview& preview, OffscreenContext& context, const PreviewSettings& settings, FrameRate rate, const std::string& file,
                                const RunControl& control = {});
/// Whether the program that videos need is there.
[[nodiscard]] bool canWriteVideo();
/// Whether a name ends like a video.
[[nodiscard]] bool isVideoName(const std::string& file);

}  // namespace understudy
