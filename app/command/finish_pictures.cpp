#include "app/command/finish_pictures.h"

#ifdef UNDERSTUDY_WITH_RENDER
#include <algorithm>
#include <chrono>
#include <cmath>
#include <numbers>

#include "core/job/finish_curves.h"
#include "core/repair/repair_context.h"
#include "render/offscreen.h"
#endif

namespace understudy::cli {

#ifdef UNDERSTUDY_WITH_RENDER

namespace {

constexpr int pictureWidth = 440, pictureHeight = 330;

Camera cameraAt(const Vec3d& target, double yaw, double pitch, double shown) {
  Camera camera;
  camera.target = target;
  camera.yaw = yaw;
  camera.pitch = pitch;
  camera.fieldOfView = 0.42;
  camera.distance = shown / (2 * std::tan(camera.fieldOfView / 2));
  return camera;
}

/// Of twelve sides the one where the place is not hidden, where what has moved moves across the picture, and which is not behind the figure.
double bestYaw(const Scene& scene, const Vec3d& target, const Vec3d& outwards, const Vec3d& moved, double pitch, double shown, double depth) {
  double best = 0, bestScore = -1e9;
  for (int k = 0; k < 12; ++k) {
    const double yaw = k * std::numbers::pi / 6;
    const Camera camera = cameraAt(target, yaw, pitch, shown);
    const Vec3d forward = camera.forward();
    PickSettings settings;
    settings.skeletons = false;
    const auto hit = pick(scene, camera, pictureWidth, pictureHeight, pictureWidth / 2.0, pictureHeight / 2.0, settings);
    const double hidden = hit ? std::max(0.0, (camera.distance - hit->depth) / depth - 1) : 0;
    const double across = length(moved) > 1e-6 ? length(cross(forward, normalised(moved))) : 0.5;
    const double facing = length(outwards) > 1e-6 ? -dot(forward, normalised(outwards)) : -forward.z;
    const double score = across + 0.6 * facing - 2 * std::min(1.0, hidden);
    if (score > bestScore + 1e-9) best = yaw, bestScore = score;
  }
  return best;
}

}  // namespace

void addPictures(FinishReport& report, const Finished& finished, const Sources& sources, int most, const RunControl& control) {
  const auto begin = std::chrono::steady_clock::now();
  const Evaluated& seen = finished.evaluated;
  const std::vector<std::size_t> shown = worthShowing(report, most);
  if (shown.empty() || !seen.context || !sources.character) return;
  auto off = OffscreenContext::create();
  if (!off) {
    report.issues.push_back(makeWarning("The report has no pictures: " + off.error().what, off.error().where, off.error().todo));
    return;
  }
  const RepairContext& context = *seen.context;
  const Skeleton& bones = sources.character->skeleton;
  const StagePalette palette = stagePalette(Theme::light);
  FigureInstance instance;
  instance.figure = prepareFigure(sources.character);
  instance.placement = worldFromFile(*sources.character, seen.report->characterReference);
  const bool mesh = !sources.character->meshes.empty();
  instance.showBody = !mesh;
  instance.skeletonColour = palette.character;
  for (const std::size_t s : shown) {
    if (control.stopped()) return;
    ReportedFinding& finding = report.findings[s];
    std::vector<int> joints;
    for (const std::string& name : finding.bones)
      if (const Result<int> joint = findBone(context, name)) joints.push_back(*joint);
    const int frame = (finding.worstFrame > 0 ? finding.worstFrame : finding.span.first) - report.firstFrame;
    if (joints.empty() || frame < 0 || frame >= seen.frames) continue;
    const std::vector<Affined> before = worldAt(bones, seen.base, frame), after = worldAt(bones, seen.motion, frame);
    const auto middle = [&](const std::vector<Affined>& world) {
      Vec3d sum;
      for (const int joint : joints) sum += apply(instance.placement, world[static_cast<std::size_t>(joint)].translation);
      return sum * (1.0 / static_cast<double>(joints.size()));
    };
    const Vec3d was = middle(before), is = middle(after), target = (was + is) * 0.5;
    const bool ground = finding.kind == "slide" || finding.kind == "float" || finding.kind == "sink";
    double spread = 0;
    for (const int joint : joints) spread = std::max(spread, length(apply(instance.placement, before[static_cast<std::size_t>(joint)].translation) - target));
    const double height = std::max((ground ? 0.42 : 0.62) * context.height, 3.2 * spread), pitch = ground ? 0.1 : 0.18;
    const int hips = context.joint(Role::hips);
    Vec3d outwards = hips >= 0 ? target - apply(instance.placement, before[static_cast<std::size_t>(hips)].translation) : Vec3d{};
    outwards.y = 0;

    Scene scene;
    scene.figures.push_back(instance);
    scene.figures[0].jointWorld = before;
    const double yaw = bestYaw(scene, target, outwards, is - was, pitch, height, context.scaled(0.16));
    const Camera camera = cameraAt(target, yaw, pitch, height);
    for (const bool repaired : {false, true}) {
      scene.figures[0].jointWorld = repaired ? after : before;
      scene.marks.clear();
      scene.segments.clear();
      for (const int joint : joints) {
        const Vec3d a = apply(instance.placement, before[static_cast<std::size_t>(joint)].translation), b = apply(instance.placement, after[static_cast<std::size_t>(joint)].translation);
        scene.marks.push_back({repaired ? b : a, repaired ? palette.selection : palette.flaw, 13, true});
        if (repaired && length(b - a) > context.scaled(0.004)) scene.segments.push_back({a, b, palette.flaw, 2, true});
      }
      StageStyle style;
      style.theme = Theme::light;
      style.samples = 4;
      style.distanceMarks = false;
      auto picture = (*off)->render(scene, camera, style, pictureWidth, pictureHeight);
      if (!picture) {
        report.issues.push_back(makeWarning("The report has no pictures: " + picture.error().what, {}, picture.error().todo));
        return;
      }
      finding.pictures.push_back({frame + report.firstFrame, repaired ? "with the repairs" : "as retargeted", encodePng(*picture)});
    }
  }
  report.timing.push_back({"pictures", std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count()});
  return;
}

#else

void addPictures(FinishReport& report, const Finished&, const Sources&, int, const RunControl&) {
  report.issues.push_back(makeNote("The report has no pictures: the program was built without OpenGL"));
}

#endif

}  // namespace understudy::cli
