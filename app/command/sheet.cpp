// understudy-cli sheet: a contact sheet of a file's motion as a picture.
#include "app/command/commands.h"

#ifdef UNDERSTUDY_WITH_RENDER
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>

#include "app/command/json_text.h"
#include "core/io/read.h"
#include "core/io/write.h"
#include "core/mapping/bone_map.h"
#include "core/retarget/retarget.h"
#include "core/store/reel_file.h"
#include "render/contact_sheet.h"
#include "render/preview.h"
#endif

namespace understudy::cli {
namespace {

#ifdef UNDERSTUDY_WITH_RENDER

Result<SheetView> parseView(const std::string& text) {
  if (text.empty() || text == "three-quarter") return SheetView::threeQuarter;
  if (text == "front") return SheetView::front;
  if (text == "side") return SheetView::side;
  return makeError(Fault::usage, "'" + text + "' is no view", {}, "Give front, side or three-quarter");
}

/// Meshes named in a comma-separated list. Error: a name no mesh, and no node that carries one, has.
Result<std::vector<std::uint8_t>> hiddenMeshes(const Figure& figure, const std::string& list) {
  std::vector<std::uint8_t> hidden;
  if (list.empty()) return hidden;
  hidden.resize(figure.meshes.size());
  for (std::size_t at = 0; at <= list.size();) {
    const std::size_t end = std::min(list.find(',', at), list.size());
    const std::string name = list.substr(at, end - at);
    at = end + 1;
    if (name.empty()) continue;
    bool found = false;
    for (std::size_t m = 0; m < figure.meshes.size(); ++m) {
      const int node = figure.meshes[m].node;
      if (figure.meshes[m].name != name && (node < 0 || figure.skeleton.names[node] != name)) continue;
      hidden[m] = 1;
      found = true;
    }
    if (!found) {
      std::vector<std::string> names;
      for (const Mesh& mesh : figure.meshes) names.push_back(mesh.name);
      const std::string near = nearest(name, names);
      return makeError(Fault::usage, "There is no mesh '" + name + "'", figure.path, near.empty() ? "" : "Did you mean '" + near + "'?");
    }
  }
  return hidden;
}

/// What is pinned to a time as it is drawn: for a second from its frame on.
PreviewNote shownAt(double time, const Take& take, FrameRate rate) {
  const double from = take.trim ? take.trim->first : 0;
  PreviewNote shown;
  shown.first = 1 + static_cast<int>(std::lround((time - from) * rate.hertz()));
  shown.last = shown.first + static_cast<int>(rate.hertz());
  return shown;
}

/// A note, with who says it and of what.
PreviewNote shownNote(const Note& note, const Take& take, FrameRate rate) {
  PreviewNote shown = shownAt(note.time, take, rate);
  if (!note.bone.empty()) shown.text = note.bone.substr(note.bone.front() == '@') + ": ";
  shown.text += note.text;
  if (!note.author.empty()) shown.text += " (" + note.author + ")";
  if (note.done) shown.text += " - done";
  return shown;
}

int run(const Context& context, const Options& options) {
  const std::string path = options.arguments().front(), out = options.value("out");
  const Result<SheetView> view = parseView(options.value("view"));
  if (!view) return fail(context, view.error());
  const std::string theme = options.value("theme");
  if (!theme.empty() && theme != "dark" && theme != "light") return fail(context, makeError(Fault::usage, "'" + theme + "' is no theme", {}, "Give dark or light"));
  SheetSettings settings;
  settings.view = *view;
  settings.theme = theme == "light" ? Theme::light : Theme::dark;
  for (const auto& [name, value, low, high] : {std::tuple{"cells", &settings.cells, 1, 400}, std::tuple{"columns", &settings.columns, 1, 40},
                                               std::tuple{"size", &settings.cellSize, 64, 1024}}) {
    const Result<int> given = options.integer(name, *value);
    if (!given) return fail(context, given.error());
    if (*given < low || *given > high) {
      return fail(context, makeError(Fault::usage, "--" + std::string(name) + " " + std::to_string(*given) + " is out of bounds", {},
                                     "Give " + std::to_string(low) + " to " + std::to_string(high)));
    }
    *value = *given;
  }
  FrameRange range{0, 0};
  if (options.has("range")) {
    const Result<FrameRange> given = parseFrameRange(options.value("range"));
    if (!given) return fail(context, given.error());
    range = *given;
  }
  const bool pictures = out.ends_with("/"), video = isVideoName(out);
  if (const Status status = checkOutput(out, {path}); !status) return fail(context, status.error());
  if (!pictures)
    if (const Status status = checkWritableTarget(out); !status) return fail(context, status.error());
  const Result<FileReference> reference = fileReference(options, path, "");
  if (!reference) return fail(context, reference.error());

  ReadSettings reading;
  reading.metresPerUnit = reference->metresPerUnit;
  reading.up = reference->up;
  Result<Figure> read = readFigure(path, reading, context.control);
  if (!read) return fail(context, read.error());
  const auto figure = std::make_shared<const Figure>(std::move(*read));
  Issues issues = figure->issues;

  Motion motion;
  std::string clipName = "rest pose";
  int clip = -1;
  if (figure->clips.empty() && !options.has("clip")) {
    issues.push_back(makeNote("The file holds no animation: its rest pose is drawn", path));
    motion = restMotion(figure->skeleton, 1, FrameRate{});
  } else {
    const Result<int> chosen = chooseClip(*figure, options.value("clip"));
    if (!chosen) return fail(context, chosen.error());
    clip = *chosen;
    Result<Motion> sampled = sample(figure->clips[clip], figure->skeleton, context.control);
    if (!sampled) return fail(context, sampled.error());
    motion = std::move(*sampled);
    clipName = figure->clips[clip].name.empty() ? "clip " + std::to_string(clip + 1) : figure->clips[clip].name;
  }
  if (range.first == 0) range = {1, motion.frames};
  if (range.last > motion.frames) {
    return fail(context, makeError(Fault::usage, "Frames " + options.value("range") + " lie outside the clip", path,
                                   "It has frames 1 to " + std::to_string(motion.frames)));
  }
  const Result<std::vector<std::uint8_t>> hidden = hiddenMeshes(*figure, options.value("hide"));
  if (!hidden) return fail(context, hidden.error());
  settings.hiddenMeshes = *hidden;

  // Turned to face the viewer where a body can be made out, else as the file has it.
  const SkeletonMap map = mapRoles(*figure);
  Affined placement = figure->space.toWorld();
  if (const Result<ReferencePose> pose = referencePose(*figure, map, &motion); pose.ok()) placement = worldFromFile(*figure, *pose);
  const StageFigurePtr stageFigure = prepareFigure(figure, &issues);

  settings.title = std::filesystem::path(path).filename().string();
  char seconds[32];
  std::snprintf(seconds, sizeof seconds, "%.2f s", motion.duration());
  settings.subtitle = clipName + "  ·  frames " + std::to_string(range.first) + "–" + std::to_string(range.last) + " of " + std::to_string(motion.frames) +
                      " at " + motion.rate.text() + " fps  ·  " + seconds;
  std::vector<PreviewNote> notes;
  if (options.has("reel")) {
    const Result<Reel> reel = loadReel(options.value("reel"), &issues);
    if (!reel) return fail(context, reel.error());
    if (const Take* take = reel->currentTake()) {
      for (const Note& note : *take->notes) notes.push_back(shownNote(note, *take, motion.rate));
      for (const Marker& marker : *take->markers) {
        notes.push_back(shownAt(marker.time, *take, motion.rate));
        notes.back().text = "marker " + marker.name;
      }
      std::stable_sort(notes.begin(), notes.end(), [](const PreviewNote& a, const PreviewNote& b) { return a.first < b.first; });
    }
  }
  settings.notes = notes;
  auto off = OffscreenContext::create();
  if (!off) return fail(context, off.error());
  if (pictures || video) {
    PreviewSettings preview;
    preview.view = settings.view;
    preview.theme = settings.theme;
    preview.hiddenMeshes = settings.hiddenMeshes;
    preview.notes = notes;
    if (options.has("size")) preview.height = settings.cellSize / 2 * 2, preview.width = preview.height * 16 / 18 * 2;
    const auto made = Preview::make(stageFigure, motion, range, placement, map.joint(Role::hips), preview);
    if (!made) return fail(context, made.error());
    if (video) {
      if (const Status status = writeVideo(*made, **off, preview, motion.rate, out, context.control); !status) return fail(context, status.error());
    } else if (const auto files = writePictures(*made, **off, preview, out.substr(0, out.size() - 1), context.control); !files) {
      return fail(context, files.error());
    }
    tell(context, issues);
    const Json body = {{"ok", true}, {"file", path}, {"out", out}, {"clip", clipName}, {"range", {range.first, range.last}}, {"width", preview.width}, {"height", preview.height}};
    if (context.json) return printJson(context, textOf(body));
    return context.quiet ? exitDone
                         : print(context, out + ": " + std::to_string(range.count()) + " frames of " + clipName + ", " + std::to_string(preview.width) + " × " +
                                              std::to_string(preview.height) + " pixels\n");
  }
  const Result<ContactSheet> sheet = drawContactSheet(**off, stageFigure, motion, range, placement, map.joint(Role::hips), settings, context.control);
  if (!sheet) return fail(context, sheet.error());
  const std::vector<std::uint8_t> png = encodePng(sheet->picture);
  if (const Status status = writeBytes(out, {reinterpret_cast<const char*>(png.data()), png.size()}); !status) return fail(context, status.error());

  tell(context, issues);
  if (!context.json) {
    if (context.quiet) return exitDone;
    return print(context, out + ": " + std::to_string(sheet->picture.width) + " × " + std::to_string(sheet->picture.height) + " pixels, " + clipName +
                              ", frames " + std::to_string(range.first) + " to " + std::to_string(range.last) + "\n");
  }
  Json cells = Json::array();
  for (const SheetCell& cell : sheet->cells) {
    cells.push_back({{"frame", cell.frame}, {"x", cell.x}, {"y", cell.y}, {"width", cell.width}, {"height", cell.height}});
  }
  const Json body = {{"ok", true},
                     {"file", path},
                     {"out", out},
                     {"clip", clipName},
                     {"clipNumber", clip + 1},
                     {"range", {range.first, range.last}},
                     {"frames", motion.frames},
                     {"rate", motion.rate.hertz()},
                     {"width", sheet->picture.width},
                     {"height", sheet->picture.height},
                     {"driver", (*off)->renderer().driver()},
                     {"cells", std::move(cells)},
                     {"issues", toJson(issues)}};
  return printJson(context, textOf(body));
}

#else

int run(const Context& context, const Options&) {
  return fail(context, makeError(Fault::internal, "This program was built without pictures", {}, "Build it with UNDERSTUDY_RENDER switched on"));
}

#endif

}  // namespace

Command sheetCommand() {
  Command command;
  command.name = "sheet";
  command.summary = "draws a contact sheet of a file's motion";
  command.description =
      "Draws frames spread evenly over a clip into one PNG picture, each from two sides: the\n"
      "figure as it is, and below it from the side with its skeleton. The camera goes along with\n"
      "the hips while the metre grid stands still, so that a sliding foot is seen to slide.\n"
      "With the name of a video (.mp4, .mov, .mkv, .webm, .gif) every frame is drawn with its number\n"
      "and joined by the program ffmpeg; with a folder (a name that ends in /) each becomes a PNG file.\n"
      "Needs no display.";
  command.arguments = {{"FILE", "BVH, glTF 2.0, FBX or Collada file"}};
  command.options = {{"out", "FILE", "the picture, the video, or with / at its end the folder to write", true},
                     {"clip", "N", "the clip, by number counted from 1 or by exact name; default: the last one\nnamed Understudy…, else the first"},
                     {"range", "A:B", "frames to draw, both included, counted from 1; default: all"},
                     {"view", "VIEW", "of the upper strip: three-quarter (default), front or side"},
                     {"cells", "N", "how many frames to draw (default 12)"},
                     {"columns", "N", "how many side by side (default 6)"},
                     {"size", "PIXELS", "of a cell (default 300); the height of a preview (default 540)"},
                     {"theme", "NAME", "dark (default) or light"},
                     {"reel", "FILE", "show the notes and markers of this reel's current take at their frames"},
                     {"hide", "NAMES", "meshes to leave out, separated by commas"}};
  for (const OptionSpec& option : readOverrideOptions("", "the file")) command.options.push_back(option);
  command.run = run;
  return command;
}

}  // namespace understudy::cli
