// The stage: draws figures on a ground with light and shadow, skeletons, trails and marks; finds what lies under a
// pixel. OpenGL 3.3 core, through functions looked up at run time. World frame: metres, Y up, +Z front.
//
// Everything but StageRenderer works without OpenGL. Spans must stay valid for the call they are passed to.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/base/result.h"
#include "core/figure/figure.h"
#include "render/camera.h"

namespace understudy {

/// Display (sRGB) colour, components 0 … 1.
struct Colour {
  float r = 1, g = 1, b = 1, a = 1;
  friend bool operator==(const Colour&, const Colour&) = default;
};
/// Colour from 0xRRGGBB.
[[nodiscard]] Colour colourOf(std::uint32_t rgb, float alpha = 1);
[[nodiscard]] Colour withAlpha(Colour colour, float alpha);

enum class Theme { dark, light };

/// The one place where the stage's colours are kept; the editor's widgets take theirs from here as well.
struct StagePalette {
  Colour skyTop, skyHorizon, ground;      ///< background and floor
  Colour gridFine, gridMetre, gridAxis;   ///< half metres, metres, the lines through the origin
  Colour text;                            ///< distance marks and captions on the stage
  Colour performer, character, prop;      ///< who is who, everywhere
  Colour selection, selectionEdge;        ///< ivory double outline: line, and the dark gap inside it
  Colour hover;
  Colour flaw, warning;                   ///< severity (Okabe–Ito vermilion and reddish purple)
  Colour next;                            ///< lamp yellow: the next action only
  Colour clay;                            ///< meshes without a colour of their own
};
[[nodiscard]] StagePalette stagePalette(Theme theme);

/// A figure made ready for drawing and picking: triangles sorted by material, up to 8 influences a vertex, default
/// morph weights applied. Holds no OpenGL objects: it may be made and dropped anywhere, on any thread; the renderer
/// keeps its own buffers for it and frees them some time after the last reference is gone.
class StageFigure;
using StageFigurePtr = std::shared_ptr<const StageFigure>;

/// `figure` is kept alive by the result. Textures that cannot be decoded are left out and told in `issues`.
[[nodiscard]] StageFigurePtr prepareFigure(std::shared_ptr<const Figure> figure, Issues* issues = nullptr);
[[nodiscard]] const Figure& figureOf(const StageFigure& stageFigure);
/// Joints worth drawing as a skeleton: those a skin or a clip uses and their connecting ancestors, without control
/// helpers far from any weight. Used where FigureInstance::skeletonJoints is empty.
[[nodiscard]] std::span<const int> drawnJoints(const StageFigure& stageFigure);

/// One figure on the stage in one pose.
struct FigureInstance {
  StageFigurePtr figure;
  Affined placement;                        ///< file unit and axes → world metres (Space::toWorld, facing, side-by-side offset)
  std::span<const Affined> jointWorld;      ///< one a joint, file unit and axes; empty: rest pose

  bool showMesh = true;
  bool showBody = false;                    ///< tapered capsules around the bones: a body for a figure without meshes
  bool showSkeleton = false;
  bool xray = true;                         ///< skeleton drawn over the meshes
  bool shadow = true;
  float meshAlpha = 1;                      ///< < 1: seen through (overlay, ghost of an earlier state)
  std::optional<Colour> meshTint;           ///< replaces the figure's own colours; its alpha says how far
  Colour skeletonColour;
  float skeletonWidth = 1;                  ///< factor on the thickness of bones
  std::span<const int> skeletonJoints;      ///< joints to draw (a bone joins one to its nearest drawn ancestor); empty: drawnJoints()
  std::span<const int> selectedJoints;      ///< ivory double outline
  int hoveredJoint = -1;
  std::span<const int> feet;                ///< joints (feet, toes) with a contact shadow of their own; may be empty
  std::span<const std::uint8_t> hiddenMeshes;  ///< one a mesh of the figure, 1: hidden, 2: seen through; empty: all shown
  std::span<const Colour> jointColours;     ///< one a joint: bone and dot colour (map view); empty: skeletonColour
};

/// The path of a point.
struct Trail {
  std::span<const Vec3d> points;   ///< world metres, one a frame
  Colour colour;
  float width = 2;                 ///< pixels
  int tickEvery = 5;               ///< a dot every so many frames; 0: none
  int now = -1;                    ///< index of the current frame (a larger dot, later frames fainter); −1: none
};

/// A straight line in the world (a finding's distance, a reach).
struct Segment {
  Vec3d from, to;
  Colour colour;
  float width = 2;        ///< pixels
  bool dashed = false;
};

/// A dot or ring facing the camera.
struct Mark {
  Vec3d at;
  Colour colour;
  float radius = 8;       ///< pixels
  bool ring = false;      ///< outline only
};

struct Scene {
  std::vector<FigureInstance> figures;
  std::vector<Trail> trails;
  std::vector<Segment> segments;
  std::vector<Mark> marks;
};

struct StageStyle {
  Theme theme = Theme::dark;
  bool bare = false;            ///< figures, ground and shadow only: no grid, skeletons, trails, marks
  bool grid = true;
  bool distanceMarks = true;    ///< numbers along the axes, each metre
  bool shadows = true;
  int samples = 1;              ///< 1 while moving; 4 when idle: multisampled
  float pixelRatio = 1;         ///< device pixels a logical pixel: scales line widths
  double groundHeight = 0;      ///< metres
  std::optional<Colour> background;  ///< a plain background instead of sky and ground; alpha 0 gives a transparent picture
};

/// Draws with the context that was current when it was made. Make, use and destroy it with that context current.
class StageRenderer {
 public:
  /// Looks up an OpenGL function by name; null where it does not exist.
  using GetProcAddress = std::function<void*(const char* name)>;

  /// Errors: no OpenGL 3.3, or a shader the driver refuses (its log is in the message).
  [[nodiscard]] static Result<std::unique_ptr<StageRenderer>> create(const GetProcAddress& getProcAddress);
  ~StageRenderer();
  StageRenderer(const StageRenderer&) = delete;
  StageRenderer& operator=(const StageRenderer&) = delete;

  /// Draws into `framebuffer` (0: the window's), lower left corner, `width` × `height` device pixels. Needs a
  /// depth buffer there when `style.samples` is 1. Leaves that framebuffer bound; blending, depth test and culling
  /// off, no program, vertex array or texture bound.
  void draw(const Scene& scene, const Camera& camera, const StageStyle& style, int width, int height, unsigned framebuffer = 0);

  /// The driver's name and version, for messages.
  [[nodiscard]] std::string driver() const;

 private:
  struct Impl;
  explicit StageRenderer(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

/// What lies under a pixel.
struct PickHit {
  int figure = -1;   ///< index into Scene::figures
  int joint = -1;    ///< by skeleton: the nearest joint or bone's joint; by skin: the joint with the largest weight
  int mesh = -1;     ///< mesh of the figure where skin was hit, −1: skeleton
  Vec3d point;       ///< world metres
  double depth = 0;  ///< metres from the camera
};
struct PickSettings {
  double reach = 9;          ///< pixels around a bone that still hit it
  bool skeletons = true;     ///< shown skeletons come first where they are x-rayed
  bool meshes = true;
  bool through = false;      ///< meshes that are seen through count as well
};
/// Where the skin of posed figures is, kept from one pick to the next: a mouse that moves over figures at rest costs no skinning.
/// Serves one thread at a time.
class PickCache {
 public:
  PickCache();
  ~PickCache();
  PickCache(const PickCache&) = delete;
  PickCache& operator=(const PickCache&) = delete;
  /// How often a figure was skinned since the start.
  [[nodiscard]] int skinned() const;
  struct Impl;
  [[nodiscard]] Impl& impl() { return *impl_; }

 private:
  std::unique_ptr<Impl> impl_;
};

/// Finds the skeleton or skin under a pixel (top left corner 0, 0). Pure CPU; shown figures only. The same with a cache and without.
[[nodiscard]] std::optional<PickHit> pick(const Scene& scene, const Camera& camera, double width, double height, double x, double y,
                                          const PickSettings& settings = {}, PickCache* cache = nullptr);

/// Space a posed figure takes: its shown meshes, or its joints where none are shown.
[[nodiscard]] Bounds boundsOf(const FigureInstance& instance);
/// Space a figure takes over a motion (at most 64 frames looked at, first and last always).
[[nodiscard]] Bounds boundsOver(const StageFigure& figure, const Affined& placement, const Motion& motion);

}  // namespace understudy
