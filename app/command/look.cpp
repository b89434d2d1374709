// understudy-cli look: what a file holds, and how it was understood.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <optional>
#include <set>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "core/evaluate/evaluate.h"
#include "core/mapping/bone_map.h"
#include "core/math/angle.h"
#include "core/retarget/retarget.h"

namespace understudy::cli {
namespace {

struct Counts {
  std::size_t vertices = 0, triangles = 0;
  int influences = 0;  ///< most of any vertex
  int rigid = 0;
};

Counts countsOf(const Figure& figure) {
  Counts counts;
  for (const Mesh& mesh : figure.meshes) {
    counts.vertices += mesh.positions.size();
    counts.triangles += mesh.indices.size() / 3;
    counts.rigid += mesh.skin < 0;
    for (std::size_t v = 1; v < mesh.influenceStart.size(); ++v)
      counts.influences = std::max(counts.influences, static_cast<int>(mesh.influenceStart[v] - mesh.influenceStart[v - 1]));
  }
  return counts;
}

/// Extent along the world's up axis in metres: of the skin in its bind pose where there is one, with stiff parts that hang on the body, else of the
/// body's joints at rest (or in the pose that stands for it). Cameras, targets and helpers of the file are no part of the body.
double heightOf(const Figure& figure, const SkeletonMap& map, const std::optional<ReferencePose>& pose) {
  const Affined toWorld = figure.space.toWorld();
  double low = std::numeric_limits<double>::max(), high = -low;
  const auto add = [&](const Vec3d& point) {
    const double y = apply(toWorld, point).y;
    if (std::isfinite(y)) low = std::min(low, y), high = std::max(high, y);
  };
  const std::vector<Affined> world = bindWorld(figure);
  bool skinned = false;
  for (const Mesh& mesh : figure.meshes) {
    if (mesh.skin < 0 || mesh.positions.empty()) continue;
    skinned = true;
    for (const Vec3f& p : skinnedPositions(figure, mesh, world)) add(Vec3d(p));
  }
  // Bodies made of stiff parts: what hangs on the body counts, what is held in a hand does not.
  const auto held = [&](int node) {
    for (const Role hand : {Role::leftHand, Role::rightHand}) {
      const int joint = map.joint(hand);
      if (joint >= 0 && (node == joint || isAncestor(figure.skeleton, joint, node))) return true;
    }
    return false;
  };
  double lowJoint = std::numeric_limits<double>::max(), highJoint = -lowJoint;
  for (const RoleJoints& role : map.roles)
    if (!role.empty()) {
      const double y = apply(toWorld, world[static_cast<std::size_t>(role.first())].translation).y;
      lowJoint = std::min(lowJoint, y), highJoint = std::max(highJoint, y);
    }
  // A skin that covers the joints is the body, and hats are not.
  const bool covered = skinned && high - low >= 0.8 * (highJoint - lowJoint);
  for (const Mesh& mesh : figure.meshes) {
    const int hips = map.joint(Role::hips);
    if (covered || mesh.skin >= 0 || mesh.node < 0 || hips < 0 || !isAncestor(figure.skeleton, hips, mesh.node) || held(mesh.node)) continue;
    for (const Vec3f& p : mesh.positions) add(apply(world[static_cast<std::size_t>(mesh.node)], Vec3d(p)));
  }
  if (!skinned) {
    const std::vector<Affined>& points = pose && pose->fileWorld.size() == world.size() ? pose->fileWorld : world;
    std::vector<char> body(world.size(), map.joint(Role::hips) < 0 ? 1 : 0);
    for (const RoleJoints& role : map.roles)
      for (int joint : role.joints) body[static_cast<std::size_t>(joint)] = 1;
    for (std::size_t j = 0; j < body.size(); ++j) {
      const int parent = figure.skeleton.parents[j];
      if (parent >= 0 && body[static_cast<std::size_t>(parent)]) body[j] = 1;
      if (body[j]) add(points[j].translation);
    }
  }
  return high >= low ? high - low : 0;
}

double degreesOf(const Quatd& facing) { return 2 * std::atan2(facing.y, facing.w) * degreesPerRadian; }

/// The file's horizontal direction that the figure faces, in words.
std::string facingText(const ReferencePose& pose) {
  const Vec3d front = rotate(conjugate(pose.facing), Vec3d{0, 0, 1});
  char text[96];
  std::snprintf(text, sizeof text, "(%.2f, %.2f) in x, z with Y up; turn of %.1f° to +Z", front.x, front.z, degreesOf(pose.facing));
  return text;
}

std::string restName(const std::string& shape) { return shape.empty() ? "none" : shape; }

Json clipJson(const Clip& clip, int number) {
  return {{"number", number}, {"name", clip.name}, {"frames", clip.frames()}, {"rate", clip.rate.hertz()}, {"rateExact", clip.rate.spelling()},
          {"rateStated", clip.rateStated}, {"start", clip.start}, {"duration", clip.end - clip.start},
          {"kind", clip.sampled ? "sampled" : "keyed"}, {"curves", clip.curves.size()}};
}

int run(const Context& context, const Options& options) {
  const std::string path = options.arguments().front();
  const auto reference = fileReference(options, path, "");
  if (!reference) return fail(context, reference.error());
  const auto read = readReference(*reference, context.control);
  if (!read) return fail(context, read.error());
  const Figure& figure = **read;
  const Skeleton& skeleton = figure.skeleton;

  const SkeletonMap map = mapRoles(figure);
  const std::vector<std::string> missing = missingRequired(map);
  std::optional<ReferencePose> pose;
  std::optional<Motion> first;
  if (map.joint(Role::hips) >= 0) {
    auto atRest = referencePose(figure, map, nullptr);
    if (atRest) pose = *atRest;
    // A rest pose that is no body: the clip shows how the figure stands.
    if (!pose && !figure.clips.empty()) {
      auto motion = sample(figure.clips.front(), skeleton, context.control);
      if (motion)
        if (auto upright = referencePose(figure, map, &*motion)) {
          pose = *upright;
          pose->shape = "none";
        }
    }
  }
  if (context.control.stopped()) return fail(context, RunControl::cancelled());
  const Counts counts = countsOf(figure);
  const double height = heightOf(figure, map, pose);
  int mappedRoles = 0;
  for (const RoleJoints& role : map.roles) mappedRoles += role.empty() ? 0 : 1;
  std::set<int> skinJoints;
  for (const Skin& skin : figure.skins) skinJoints.insert(skin.joints.begin(), skin.joints.end());
  std::vector<std::string> keys;
  for (int j = 0; j < skeleton.size(); ++j) keys.push_back(jointKey(skeleton, j));
  std::vector<std::string> roles(keys.size());
  for (int r = 0; r < roleCount; ++r)
    for (int joint : map.at(roleAt(r)).joints) {
      std::string& text = roles[static_cast<std::size_t>(joint)];
      text += (text.empty() ? "" : ", ") + std::string(roleName(roleAt(r)));
    }

  if (context.json) {
    Json body = {{"ok", true},
                 {"file", path},
                 {"format", figure.format},
                 {"unit", {{"name", figure.space.unitName}, {"metres", figure.space.metresPerUnit}, {"stated", figure.space.unitStated}}},
                 {"up", {{"axis", figure.space.upName}, {"stated", figure.space.upStated}}},
                 {"height", height}};
    body["facing"] = pose ? Json{{"degrees", degreesOf(pose->facing)}} : Json();
    body["restPose"] = pose ? restName(pose->shape) : "none";
    if (pose) body["legLength"] = pose->legLength;
    Json clips = Json::array();
    for (std::size_t i = 0; i < figure.clips.size(); ++i) clips.push_back(clipJson(figure.clips[i], static_cast<int>(i) + 1));
    body["clips"] = std::move(clips);
    Json joints = Json::array();
    for (int j = 0; j < skeleton.size(); ++j) {
      const auto i = static_cast<std::size_t>(j);
      Json joint = {{"index", j}, {"key", keys[i]}, {"name", skeleton.names[i]}, {"parent", skeleton.parents[i]}, {"fileNode", skeleton.fileNodes[i]},
                    {"skinned", skinJoints.contains(j)}};
      if (!roles[i].empty()) joint["roles"] = roles[i];
      joints.push_back(std::move(joint));
    }
    body["joints"] = std::move(joints);
    body["skins"] = Json::array();
    for (const Skin& skin : figure.skins) body["skins"].push_back({{"name", skin.name}, {"joints", skin.joints.size()}});
    body["meshes"] = Json::array();
    for (const Mesh& mesh : figure.meshes)
      body["meshes"].push_back({{"name", mesh.name}, {"vertices", mesh.positions.size()}, {"triangles", mesh.indices.size() / 3}, {"skinned", mesh.skin >= 0},
                                {"morphTargets", mesh.morphs.size()}});
    body["vertices"] = counts.vertices;
    body["triangles"] = counts.triangles;
    body["influences"] = counts.influences;
    body["materials"] = figure.materials.size();
    body["images"] = figure.images.size();
    body["roles"] = {{"filled", mappedRoles}, {"missingRequired", missing}};
    body["issues"] = toJson(figure.issues);
    return printJson(context, textOf(body));
  }

  char line[512];
  std::string text = path + "\n";
  const auto row = [&](const char* name, const std::string& value) { text += "  " + std::string(name) + std::string(12 - std::min<std::size_t>(11, std::string(name).size()), ' ') + value + "\n"; };
  row("format", figure.format);
  std::snprintf(line, sizeof line, "%s (%.6g m)%s", figure.space.unitName.c_str(), figure.space.metresPerUnit, figure.space.unitStated ? "" : ", estimated");
  row("unit", line);
  row("up", figure.space.upName + (figure.space.upStated ? "" : ", estimated"));
  std::snprintf(line, sizeof line, "%.3f m", height);
  row("height", line);
  row("faces", pose ? facingText(*pose) : "not known: too few roles found");
  row("rest pose", pose ? restName(pose->shape) : "none");
  std::snprintf(line, sizeof line, "%d joints, %d of %d roles found%s", skeleton.size(), mappedRoles, roleCount,
                missing.empty() ? ", all required ones" : "");
  std::string bones = line;
  if (!missing.empty()) {
    bones += "; missing:";
    for (const std::string& name : missing) bones += " " + name;
  }
  row("skeleton", bones);
  std::snprintf(line, sizeof line, "%zu meshes (%d rigid), %zu vertices, %zu triangles; %zu skins, up to %d influences; %zu materials, %zu images", figure.meshes.size(),
                counts.rigid, counts.vertices, counts.triangles, figure.skins.size(), counts.influences, figure.materials.size(), figure.images.size());
  row("body", figure.meshes.empty() ? "no meshes" : line);
  if (figure.clips.empty()) row("clips", "none");
  for (std::size_t i = 0; i < figure.clips.size(); ++i) {
    const Clip& clip = figure.clips[i];
    std::snprintf(line, sizeof line, "%zu  '%s'  %d frames at %s frames/s%s, %.3f s", i + 1, clip.name.c_str(), clip.frames(), clip.rate.text().c_str(),
                  clip.rateStated ? "" : " (assumed)", clip.end - clip.start);
    row(i == 0 ? "clips" : "", line);
  }
  text += "  joints\n";
  const auto children = childrenOf(skeleton);
  std::vector<std::pair<int, int>> stack;
  for (int j = skeleton.size() - 1; j >= 0; --j)
    if (skeleton.parents[static_cast<std::size_t>(j)] < 0) stack.emplace_back(j, 0);
  while (!stack.empty()) {
    const auto [joint, depth] = stack.back();
    stack.pop_back();
    const auto i = static_cast<std::size_t>(joint);
    text += "    " + std::string(static_cast<std::size_t>(std::min(depth, 60)) * 2, ' ') + keys[i];
    if (!roles[i].empty()) text += "  [" + roles[i] + "]";
    text += "\n";
    for (auto c = children[i].rbegin(); c != children[i].rend(); ++c) stack.emplace_back(*c, depth + 1);
  }
  if (!figure.issues.empty()) {
    text += "  odd things\n";
    for (const Issue& issue : figure.issues) text += "    " + issue.text() + "\n";
  }
  return print(context, text);
}

}  // namespace

Command lookCommand() {
  Command command;
  command.name = "look";
  command.summary = "tells what a file holds and how it was understood";
  command.description =
      "Reads a file and says: format, unit and height, up axis and facing, rest pose (T-pose, A-pose,\n"
      "other, none), rate, frames and clips, joints as people and map files name them with the roles\n"
      "found for them, skins and meshes, and whatever was odd with what was done about it.";
  command.arguments = {{"FILE", "BVH, glTF 2.0 (.gltf .glb .vrm .vrma), FBX or Collada file"}};
  command.options = readOverrideOptions("", "the file");
  command.run = run;
  return command;
}

}  // namespace understudy::cli
