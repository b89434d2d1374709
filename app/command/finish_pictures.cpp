#include "app/command/finish_pictures.h"

#ifdef UNDERSTUDY_WITH_RENDER
#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "render/offscreen.h"
#include "render/stage.h"
#endif

namespace understudy::cli {

#ifdef UNDERSTUDY_WITH_RENDER
namespace {

constexpr int pictureWidth = 420, pictureHeight = 360;

/// Where to stand so that a flaw of this kind at this joint is seen.
Camera cameraFor(const RepairContext& context, const std::vector<Affined>& world, const Affined& placement, const std::string& kind, int joint) {
  const auto at = [&](int j) { return apply(placement, world[static_cast<std::size_t>(j)].translation); };
  const int hips = context.joint(Role::hips);
  // Turned with the body: from its front, or for feet from its side, low.
  double heading = 0;
  if (const int left = context.legs[0].root, right = context.legs[1].root; left >= 0 && right >= 0) {
    const Vec3d across = at(left) - at(right);
    if (std::hypot(across.x, across.z) > 1e-6) heading = std::atan2(-across.z, across.x);
  }
  Camera camera;
  camera.fieldOfView = 0.42;
  const bool foot = kind == "slide" || kind == "float" || kind == "sink";
  const Vec3d joins = at(joint), centre = hips >= 0 ? at(hips) : joins;
  camera.target = foot ? Vec3d{joins.x, 0.16 * context.height, joins.z} : (joins + centre) * 0.5 + Vec3d{0, 0.08 * context.height, 0};
  camera.distance = (foot ? 1.3 : 2.1) * context.height;
  const double side = dot(joins - centre, Vec3d{std::cos(heading), 0, -std::sin(heading)}) >= 0 ? 1 : -1;
  camera.yaw = heading + (foot ? side * 1.25 : side * 0.5);
  camera.pitch = foot ? 0.06 : 0.15;
  return camera;
}

/// Two pictures of one size beside each other.
Picture beside(const Picture& a, const Picture& b) {
  constexpr int gap = 4;
  Picture both(a.width + gap + b.width, a.height);
  std::fill(both.rgba.begin(), both.rgba.end(), std::uint8_t{255});
  for (int row = 0; row < a.height; ++row) {
    std::copy_n(a.at(0, row), static_cast<std::size_t>(a.width) * 4, both.at(0, row));
    std::copy_n(b.at(0, row), static_cast<std::size_t>(b.width) * 4, both.at(a.width + gap, row));
  }
  return both;
}

}  // namespace

void addPictures(FinishReport& report, const Finished& finished, const Sources& sources, int most, const RunControl& control) {
  const Evaluated& seen = finished.evaluated;
  if (!seen.context || report.findings.empty()) return;
  auto off = OffscreenContext::create();
  if (!off) {
    report.issues.push_back(makeWarning("The report has no pictures: " + off.error().what, off.error().where, off.error().todo));
    return;
  }
  const RepairContext& context = *seen.context;
  const Affined placement = worldFromFile(*sources.character, context.body.pose);
  const StageFigurePtr figure = prepareFigure(sources.character);
  std::vector<std::size_t> order(report.findings.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return report.findings[a].severity > report.findings[b].severity; });
  std::set<std::string> shown;
  for (const std::size_t i : order) {
    if (most <= 0 || control.stopped()) return;
    ReportedFinding& finding = report.findings[i];
    if (finding.bones.empty() || !shown.insert(finding.kind + finding.bones.front()).second) continue;
    const Result<int> joint = findBone(context, finding.bones.front());
    const int frame = finding.worstFrame - report.firstFrame;
    if (!joint || frame < 0 || frame >= seen.frames) continue;
    std::array<Picture, 2> pictures;
    std::optional<Camera> camera;
    bool drawn = true;
    for (int after = 0; after < 2 && drawn; ++after) {
      const std::vector<Affined> world = worldAt(sources.character->skeleton, after ? seen.motion : seen.base, frame);
      if (!camera) camera = cameraFor(context, world, placement, finding.kind, *joint);
      Scene scene;
      FigureInstance instance;
      instance.figure = figure;
      instance.placement = placement;
      instance.jointWorld = world;
      const std::array<int, 1> selected{*joint};
      instance.selectedJoints = selected;
      scene.figures.push_back(instance);
      StageStyle style;
      style.theme = Theme::light;
      style.samples = 4;
      style.distanceMarks = false;
      auto picture = (*off)->render(scene, *camera, style, pictureWidth, pictureHeight);
      drawn = picture.ok();
      if (drawn) pictures[static_cast<std::size_t>(after)] = std::move(*picture);
    }
    if (!drawn) continue;
    ReportPicture one;
    one.frame = finding.worstFrame;
    one.caption = "As retargeted, and finished";
    one.png = encodePng(beside(pictures[0], pictures[1]));
    finding.pictures.push_back(std::move(one));
    --most;
  }
}

#else

void addPictures(FinishReport& report, const Finished&, const Sources&, int, const RunControl&) {
  report.issues.push_back(makeNote("The report has no pictures: the program was built without OpenGL"));
}

#endif

}  // namespace understudy::cli
