#include "render/preview.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <numbers>

#include "core/io/child_process.h"
#include "core/io/write.h"
#include "render/stage_figure.h"
#include "render/stroke_font.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;

Status writePng(const Picture& picture, const std::string& file) {
  const std::vector<std::uint8_t> png = encodePng(picture);
  return writeBytes(file, {reinterpret_cast<const char*>(png.data()), png.size()});
}

std::string numbered(int number) {
  std::string text = std::to_string(number);
  return std::string(text.size() < 4 ? 4 - text.size() : 0, '0') + text + ".png";
}

/// The program's place in PATH; empty where it is not.
std::string inPath(const std::string& program) {
  const char* path = std::getenv("PATH");
  std::string all = path ? path : "";
  for (std::size_t at = 0; at <= all.size();) {
    const std::size_t end = std::min(all.find(':', at), all.size());
    const std::string file = all.substr(at, end - at) + "/" + program;
    std::error_code error;
    if (end > at && fs::is_regular_file(file, error)) return file;
    at = end + 1;
  }
  return {};
}

}  // namespace

bool isVideoName(const std::string& file) {
  std::string ending = fs::path(file).extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(), [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
  for (const char* known : {".mp4", ".mov", ".mkv", ".webm", ".gif"})
    if (ending == known) return true;
  return false;
}

Result<Preview> Preview::make(StageFigurePtr figure, const Motion& motion, FrameRange range, const Affined& placement, int followed, PreviewSettings settings) {
  const Figure& file = figureOf(*figure);
  if (motion.frames < 1 || motion.joints != file.skeleton.size()) return makeError(Fault::input, "There is no motion to draw", file.path);
  if (range.first < 1 || range.last > motion.frames || range.last < range.first)
    return makeError(Fault::usage, "Frames " + std::to_string(range.first) + ":" + std::to_string(range.last) + " lie outside the clip", file.path,
                     "It has frames 1 to " + std::to_string(motion.frames));
  if (settings.width < 64 || settings.width > 4096 || settings.height < 64 || settings.height > 4096)
    return makeError(Fault::usage, "Previews are 64 to 4096 pixels wide and high");
  Preview preview;
  preview.figure_ = std::move(figure);
  preview.motion_ = &motion;
  preview.range_ = range;
  preview.placement_ = placement;
  preview.settings_ = std::move(settings);
  preview.followed_ = followed >= 0 && followed < motion.joints ? followed : preview.figure_->drawn.empty() ? -1 : preview.figure_->drawn.front();
  FigureInstance instance;
  instance.figure = preview.figure_;
  instance.placement = placement;
  instance.showBody = preview.figure_->batches.empty();
  Bounds around;
  const int step = std::max(1, range.count() / 48);
  for (int f = range.first; f <= range.last; f += step) {
    const auto pose = worldAt(file.skeleton, motion, f - 1);
    instance.jointWorld = pose;
    const Bounds posed = boundsOf(instance);
    if (posed.empty()) continue;
    Vec3d shift;
    if (preview.followed_ >= 0) {
      const Vec3d at = apply(placement, pose[static_cast<std::size_t>(preview.followed_)].translation);
      shift = {at.x, 0, at.z};
    }
    around.add(posed.low - shift);
    around.add(posed.high - shift);
  }
  if (around.empty()) return makeError(Fault::input, "There is no figure to draw", file.path, "Choose a file with a skeleton");
  around.add(Vec3d{around.centre().x, 0, around.centre().z});
  Camera camera;
  camera.fieldOfView = 0.42;
  camera.yaw = preview.settings_.view == SheetView::threeQuarter ? 0.62 : preview.settings_.view == SheetView::front ? 0 : std::numbers::pi / 2;
  camera.pitch = preview.settings_.view == SheetView::threeQuarter ? 0.2 : 0.1;
  preview.camera_ = framed(camera, around, static_cast<double>(preview.settings_.width) / preview.settings_.height, 0.07);
  return preview;
}

Result<Picture> Preview::picture(OffscreenContext& context, int frame) const {
  const StagePalette palette = stagePalette(settings_.theme);
  const auto pose = worldAt(figureOf(*figure_).skeleton, *motion_, frame - 1);
  FigureInstance instance;
  instance.figure = figure_;
  instance.placement = placement_;
  instance.jointWorld = pose;
  instance.hiddenMeshes = settings_.hiddenMeshes;
  const bool mesh = !figure_->batches.empty();
  instance.showBody = instance.showSkeleton = !mesh;
  instance.skeletonColour = mesh ? palette.character : palette.performer;
  Camera camera = camera_;
  if (followed_ >= 0) {
    const Vec3d at = apply(placement_, pose[static_cast<std::size_t>(followed_)].translation);
    camera.target += Vec3d{at.x, 0, at.z};
  }
  Scene scene;
  scene.figures.push_back(instance);
  StageStyle style;
  style.theme = settings_.theme;
  style.samples = 4;
  style.distanceMarks = false;
  auto drawn = context.render(scene, camera, style, settings_.width, settings_.height);
  if (!drawn) return drawn.error();
  const Colour ink = settings_.theme == Theme::dark ? palette.selection : palette.selectionEdge;
  const auto size = static_cast<float>(std::max(9, settings_.height / 36));
  if (settings_.numbers) writeText(*drawn, size, 2 * size, size, size / 7, ink, std::to_string(frame - 1 + settings_.firstNumber));
  float y = static_cast<float>(settings_.height) - size;
  for (const PreviewNote& note : settings_.notes) {
    if (frame < note.first || frame > note.last) continue;
    writeText(*drawn, size, y, size * 0.8F, size / 9, ink, note.text);
    y -= 1.7F * size;
  }
  return drawn;
}

Result<std::vector<std::string>> writePictures(const Preview& preview, OffscreenContext& context, const PreviewSettings& settings, const std::string& folder,
                                               const RunControl& control) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) return makeError(Fault::output, "The folder cannot be made: " + error.message(), folder, "Choose another one");
  std::vector<std::string> files;
  const FrameRange range = preview.range();
  for (int f = range.first; f <= range.last; ++f) {
    if (control.stopped()) return RunControl::cancelled();
    control.report(static_cast<double>(f - range.first) / range.count(), "Drawing frames");
    auto picture = preview.picture(context, f);
    if (!picture) return picture.error();
    files.push_back(folder + "/" + numbered(f - 1 + settings.firstNumber));
    if (const Status written = writePng(*picture, files.back()); !written) return written.error();
  }
  return files;
}

bool canWriteVideo() { return !inPath("ffmpeg").empty(); }

Status writeVideo(const Preview& preview, OffscreenContext& context, const PreviewSettings& settings, FrameRate rate, const std::string& file, const RunControl& control) {
  const std::string ffmpeg = inPath("ffmpeg");
  if (ffmpeg.empty())
    return makeError(Fault::output, "A video needs the program ffmpeg, which is not there", file, "Install ffmpeg, or write pictures into a folder instead");
  const fs::path folder = fs::path(file).parent_path() / ("." + fs::path(file).filename().string() + ".frames");
  std::error_code error;
  PreviewSettings counted = settings;
  counted.firstNumber = 1;  // of the files alone: the pictures keep the numbers they were made with
  auto drawn = writePictures(preview, context, counted, folder.string(), control);
  Status done = Done{};
  if (!drawn) {
    done = drawn.error();
  } else {
    const std::string part = (folder / ("video" + fs::path(file).extension().string())).string();
    ChildLimits limits;
    limits.seconds = 3600;
    const auto ran = runReader(ffmpeg,
                               {"-y", "-loglevel", "error", "-framerate", rate.spelling(), "-start_number", std::to_string(preview.range().first), "-i",
                                (folder / "%04d.png").string(), "-pix_fmt", "yuv420p", "-vf", "crop=trunc(iw/2)*2:trunc(ih/2)*2", part},
                               limits, control);
    if (!ran && ran.error().fault == Fault::cancelled) done = ran.error();
    else if (!ran) done = makeError(Fault::output, "ffmpeg could not make the video", file, "Try .mp4, or write pictures into a folder instead");
    else if (fs::rename(part, file, error); error) done = makeError(Fault::output, "The video cannot be put in its place: " + error.message(), file, "Choose another place");
  }
  fs::remove_all(folder, error);
  return done;
}

}  // namespace understudy
