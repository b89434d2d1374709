#include "render/contact_sheet.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "render/stage_figure.h"
#include "render/stroke_font.h"

namespace understudy {
namespace {

constexpr int margin = 14, gap = 6, heading = 52;

void fill(Picture& picture, const Colour& c) {
  for (std::size_t i = 0; i < picture.rgba.size(); i += 4) {
    picture.rgba[i] = static_cast<std::uint8_t>(std::lround(c.r * 255));
    picture.rgba[i + 1] = static_cast<std::uint8_t>(std::lround(c.g * 255));
    picture.rgba[i + 2] = static_cast<std::uint8_t>(std::lround(c.b * 255));
    picture.rgba[i + 3] = 255;
  }
}

void paste(Picture& onto, const Picture& from, int x, int y) {
  for (int row = 0; row < from.height; ++row) std::copy_n(from.at(0, row), static_cast<std::size_t>(from.width) * 4, onto.at(x, y + row));
}

Camera cameraOf(SheetView view) {
  Camera camera;
  camera.fieldOfView = 0.42;
  switch (view) {
    case SheetView::threeQuarter: camera.yaw = 0.62, camera.pitch = 0.2; break;
    case SheetView::front: camera.yaw = 0, camera.pitch = 0.1; break;
    case SheetView::side: camera.yaw = std::numbers::pi / 2, camera.pitch = 0.1; break;
  }
  return camera;
}

}  // namespace

Result<ContactSheet> drawContactSheet(OffscreenContext& context, const StageFigurePtr& figure, const Motion& motion, FrameRange range,
                                      const Affined& placement, int followedJoint, const SheetSettings& settings, const RunControl& control) {
  const Figure& file = figureOf(*figure);
  if (motion.frames < 1 || motion.joints != file.skeleton.size()) return makeError(Fault::input, "There is no motion to draw", file.path);
  if (range.first < 1 || range.last > motion.frames || range.last < range.first) {
    return makeError(Fault::usage, "Frames " + std::to_string(range.first) + ":" + std::to_string(range.last) + " lie outside the clip", file.path,
                     "It has frames 1 to " + std::to_string(motion.frames));
  }
  if (settings.cells < 1 || settings.cells > 400 || settings.columns < 1 || settings.columns > 40 || settings.cellSize < 64 || settings.cellSize > 1024) {
    return makeError(Fault::usage, "A sheet has 1 to 400 cells of 64 to 1024 pixels in 1 to 40 columns");
  }
  const int count = std::min(settings.cells, range.count());
  const int columns = std::min(settings.columns, count), rows = (count + columns - 1) / columns;
  const int width = settings.cellSize, upper = settings.cellSize, lower = settings.secondView ? settings.cellSize * 4 / 5 : 0;
  const int sheetWidth = std::max(2 * margin + columns * width + (columns - 1) * gap, 640);
  constexpr int noteLine = 24;
  const int framesEnd = heading + rows * (upper + lower + (lower ? 2 : 0)) + (rows - 1) * gap * 2 + margin;
  const int sheetHeight = framesEnd + (settings.notes.empty() ? 0 : static_cast<int>(settings.notes.size()) * noteLine + margin);
  if (static_cast<long long>(sheetWidth) * sheetHeight > 100'000'000) {
    return makeError(Fault::usage, "The sheet would be " + std::to_string(sheetWidth) + " × " + std::to_string(sheetHeight) + " pixels", {}, "Ask for fewer or smaller cells");
  }

  const StagePalette palette = stagePalette(settings.theme);
  FigureInstance instance;
  instance.figure = figure;
  instance.placement = placement;
  instance.hiddenMeshes = settings.hiddenMeshes;
  const bool mesh = !figure->batches.empty();
  instance.showBody = !mesh;
  instance.skeletonColour = mesh ? palette.character : palette.performer;

  if (followedJoint < 0 || followedJoint >= motion.joints) followedJoint = figure->drawn.empty() ? -1 : figure->drawn.front();
  const auto anchorOf = [&](const std::vector<Affined>& world) {
    return followedJoint >= 0 ? apply(placement, world[followedJoint].translation) : Vec3d{};
  };
  std::vector<int> frames;
  std::vector<std::vector<Affined>> poses;
  Bounds around;  // the figure in every cell, as seen from the point followed
  for (int i = 0; i < count; ++i) {
    const int frame = count == 1 ? range.first : range.first + static_cast<int>(static_cast<long long>(i) * (range.count() - 1) / (count - 1));
    frames.push_back(frame);
    poses.push_back(worldAt(file.skeleton, motion, frame - 1));
    instance.jointWorld = poses.back();
    Bounds posed = boundsOf(instance);
    if (posed.empty()) continue;
    if (!mesh) posed.grow(0.03 * posed.size().y);
    const Vec3d anchor = anchorOf(poses.back());
    const Vec3d shift{anchor.x, 0, anchor.z};
    around.add(posed.low - shift);
    around.add(posed.high - shift);
  }
  if (around.empty()) return makeError(Fault::input, "There is no figure to draw", file.path, "Choose a file with a skeleton");
  around.add(Vec3d{around.centre().x, 0, around.centre().z});

  ContactSheet sheet;
  sheet.picture = Picture(sheetWidth, sheetHeight);
  fill(sheet.picture, settings.theme == Theme::dark ? colourOf(0x10191f) : colourOf(0xf7f7f2));
  writeText(sheet.picture, margin + 2, 34, 15, 2.3f, settings.theme == Theme::dark ? palette.selection : palette.selectionEdge, settings.title);
  writeText(sheet.picture, margin + 2 + strokeTextWidth(settings.title) * 15 + 26, 34, 11, 1.4f, palette.text, settings.subtitle);

  float noteAt = static_cast<float>(framesEnd) + 14;
  for (const PreviewNote& note : settings.notes) {
    writeText(sheet.picture, margin + 2, noteAt, 11, 1.7f, settings.theme == Theme::dark ? palette.selection : palette.selectionEdge, std::to_string(note.first));
    writeText(sheet.picture, margin + 62, noteAt, 11, 1.4f, palette.text, note.text);
    noteAt += noteLine;
  }
  const SheetView views[2] = {settings.view, settings.view == SheetView::side ? SheetView::front : SheetView::side};
  const int heights[2] = {upper, lower};
  for (int strip = 0; strip < (settings.secondView ? 2 : 1); ++strip) {
    const Camera base = framed(cameraOf(views[strip]), around, static_cast<double>(width) / heights[strip], 0.06);
    for (int i = 0; i < count; ++i) {
      if (control.stopped()) return RunControl::cancelled();
      control.report((strip * count + i) / static_cast<double>(2 * count), "drawing");
      instance.jointWorld = poses[i];
      // The skeleton shows through in the second strip, so that the first one shows the plain result.
      instance.showSkeleton = !mesh || strip == 1;
      instance.meshAlpha = mesh && strip == 1 ? 0.6f : 1.0f;
      const Vec3d anchor = anchorOf(poses[i]);
      Camera camera = base;
      camera.target += Vec3d{anchor.x, 0, anchor.z};
      Scene scene;
      scene.figures.push_back(instance);
      StageStyle style;
      style.theme = settings.theme;
      style.samples = 4;
      style.distanceMarks = false;
      auto cell = context.render(scene, camera, style, width, heights[strip]);
      if (!cell) return cell.error();
      SheetCell place{frames[i], margin + (i % columns) * (width + gap), heading + (i / columns) * (upper + lower + (lower ? 2 : 0) + 2 * gap) + (strip ? upper + 2 : 0), width, heights[strip]};
      if (strip == 0) writeText(*cell, 9, 22, 11, 1.9f, settings.theme == Theme::dark ? palette.selection : palette.selectionEdge, std::to_string(frames[i]));
      paste(sheet.picture, *cell, place.x, place.y);
      sheet.cells.push_back(place);
    }
  }
  return sheet;
}

}  // namespace understudy
