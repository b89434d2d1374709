#include "core/report/report.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "core/math/angle.h"
#include "core/report/issue_json.h"

namespace understudy {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) { return std::isfinite(value) ? Json(value) : Json(); }

double yawDegrees(const Quatd& facing) { return 2 * std::atan2(facing.y, facing.w) * degreesPerRadian; }

Json toJson(const ReferencePose& pose) {
  return {{"source", pose.source}, {"shape", pose.shape}, {"height", number(pose.height)}, {"legLength", number(pose.legLength)},
          {"facingDegrees", number(yawDegrees(pose.facing))}};
}

/// World metres of the middle between the hip joints at each frame; empty where a side is not mapped.
std::vector<Vec3d> hipPath(const Figure& figure, const SkeletonMap& map, const TiledMotion& motion) {
  const int left = map.joint(Role::leftUpperLeg), right = map.joint(Role::rightUpperLeg);
  std::vector<Vec3d> path;
  if (left < 0 || right < 0) return path;
  const Affined toWorld = figure.space.toWorld();
  std::vector<Affined> world(figure.skeleton.parents.size());
  for (int f = 0; f < motion.frames(); ++f) {
    worldAt(figure.skeleton, motion, f, world);
    path.push_back(apply(toWorld, (world[static_cast<std::size_t>(left)].translation + world[static_cast<std::size_t>(right)].translation) * 0.5));
  }
  return path;
}

double horizontalLength(const std::vector<Vec3d>& path) {
  double sum = 0;
  for (std::size_t i = 1; i < path.size(); ++i) sum += std::hypot(path[i].x - path[i - 1].x, path[i].z - path[i - 1].z);
  return sum;
}

}  // namespace

std::optional<double> hipTravelRatio(const Figure& performer, const Figure& character, const Evaluated& evaluated) {
  if (!evaluated.complete() || !evaluated.map) return std::nullopt;
  const double from = horizontalLength(hipPath(performer, evaluated.map->performer, evaluated.performer));
  const double to = horizontalLength(hipPath(character, evaluated.map->character, evaluated.base));
  const double legs = evaluated.report->characterLeg / evaluated.report->performerLeg;
  if (from < 1e-3 || !(legs > 0) || !std::isfinite(legs)) return std::nullopt;
  return to / from / legs;
}

Issues takeIssues(const Take& take, const Sources& sources, const Evaluated& evaluated, const Issues& more) {
  Issues all;
  const auto add = [&](const Issue& issue) {
    if (std::find(all.begin(), all.end(), issue) == all.end()) all.push_back(issue);
  };
  // Of a file's clips only the one in use matters; of the character's, none.
  const auto addFile = [&](const Figure* figure, int clip) {
    if (!figure) return;
    const std::string used = clip >= 0 && clip < static_cast<int>(figure->clips.size()) ? "clip '" + figure->clips[static_cast<std::size_t>(clip)].name + "'" : "";
    for (const Issue& issue : figure->issues)
      if (!issue.where.starts_with("clip '") || (!used.empty() && issue.where.starts_with(used))) add(issue);
  };
  addFile(sources.performer.get(), take.clip);
  addFile(sources.character.get(), -1);
  for (const Issue& issue : evaluated.issues) add(issue);
  if (evaluated.report)
    for (const Issues* list : {&evaluated.report->performerReference.issues, &evaluated.report->characterReference.issues, &evaluated.report->issues})
      for (const Issue& issue : *list) add(issue);
  for (const Issue& issue : more) add(issue);
  return all;
}

std::string takeReport(const Take& take, const Sources& sources, const Evaluated& evaluated, const std::optional<Fidelity>& fidelity,
                       const Issues& moreIssues) {
  Json json;
  json["performer"] = take.performer->path;
  json["character"] = take.character->path;
  if (sources.performer && take.clip >= 0 && take.clip < static_cast<int>(sources.performer->clips.size()))
    json["clip"] = {{"number", take.clip + 1}, {"name", sources.performer->clips[static_cast<std::size_t>(take.clip)].name}};
  json["frames"] = evaluated.frames;
  json["clipFrames"] = evaluated.clipFrames;
  json["range"] = {evaluated.trimFirst + 1, evaluated.trimFirst + evaluated.frames};
  json["firstFrame"] = evaluated.firstFrame;
  json["rate"] = {{"hertz", evaluated.rate.hertz()}, {"exact", evaluated.rate.spelling()}};
  if (evaluated.report && sources.performer && sources.character) {
    const RetargetReport& report = *evaluated.report;
    const Skeleton& bones = sources.character->skeleton;
    json["stride"] = number(report.stride);
    const auto ratio = hipTravelRatio(*sources.performer, *sources.character, evaluated);
    json["hipTravelRatio"] = ratio ? number(*ratio) : Json();
    json["performerLeg"] = number(report.performerLeg);
    json["characterLeg"] = number(report.characterLeg);
    json["groundOffset"] = number(report.groundOffset);
    json["references"] = {{"performer", toJson(report.performerReference)}, {"character", toJson(report.characterReference)}};
    Json alignment = Json::object();
    for (int r = 0; r < roleCount; ++r) {
      const Role role = roleAt(r);
      if (!evaluated.map || evaluated.map->character.at(role).empty() || evaluated.map->performer.at(role).empty()) continue;
      const RoleAlignment& a = report.alignment[static_cast<std::size_t>(r)];
      alignment[std::string(roleName(role))] = {
          {"performer", jointKey(sources.performer->skeleton, evaluated.map->performer.joint(role))},
          {"character", jointKey(bones, evaluated.map->character.joint(role))},
          {"aligned", a.aligned},
          {"degrees", number(length(logOf(a.correction)) * degreesPerRadian)},
          {"confidence", number(a.confidence)},
          {"reason", a.reason}};
    }
    json["alignment"] = std::move(alignment);
    Json animated = Json::array();
    for (int joint : report.animatedJoints) animated.push_back(jointKey(bones, joint));
    json["animatedJoints"] = std::move(animated);
    json["fidelity"] = Json();
    if (fidelity) {
      json["fidelity"] = {{"joint", fidelity->worstJoint.empty() ? Json() : Json(fidelity->worstJoint)},
                          {"frame", fidelity->worstFrame + evaluated.firstFrame},
                          {"mm", number(fidelity->worstMillimetres)}};
      json["keys"] = fidelity->keys;
      json["bytes"] = fidelity->bytes;
    }
  }
  json["issues"] = understudy::toJson(takeIssues(take, sources, evaluated, moreIssues));
  return json.dump(1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace understudy
