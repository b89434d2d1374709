#include "core/evaluate/props.h"

#include <algorithm>
#include <cmath>
#include <filesystem>

#include "core/io/read.h"
#include "core/math/outermost.h"
#include "core/repair/grip.h"

namespace understudy {

Result<PropModel> openProp(const PropItem& item, const std::shared_ptr<const Figure>& character, const RunControl& control) {
  if (item.path.empty()) {
    if (!(item.scale > 0)) return makeError(Fault::usage, "A prop's scale must be above 0", item.name, "Use 1 for its own size");
    return shaftProp(item.length * item.scale, item.radius * item.scale);
  }
  std::shared_ptr<const Figure> source;
  std::error_code error;
  if (character && (character->path == item.path || std::filesystem::equivalent(character->path, item.path, error))) {
    source = character;
  } else {
    ReadSettings settings;
    settings.body = false;
    Result<Figure> figure = readFigure(item.path, settings, control);
    if (!figure) return figure.error();
    source = std::make_shared<const Figure>(std::move(*figure));
  }
  Result<PropModel> model = propOf(*source, item.node, item.scale);
  if (!model || source->space.unitStated || source->format != "OBJ") return model;
  // OBJ files state no unit. Nothing a hand holds is larger than ten metres: then the numbers are centimetres, or millimetres.
  double size = 0;
  for (const Mesh& mesh : model->figure.meshes)
    for (const Vec3f& p : mesh.positions) size = std::max({size, std::abs(static_cast<double>(p.x)), std::abs(static_cast<double>(p.y)), std::abs(static_cast<double>(p.z))});
  size /= item.scale;
  const double unit = size > 1000 ? 0.001 : size > 10 ? 0.01 : 1;
  if (unit == 1) return model;
  Result<PropModel> smaller = propOf(*source, item.node, item.scale * unit);
  if (smaller)
    smaller->figure.issues.push_back(makeNote(std::string("The file states no unit; by its size the numbers are taken as ") + (unit == 0.01 ? "centimetres" : "millimetres"),
                                              item.path, "Set the prop's scale if that is wrong"));
  return smaller;
}

namespace {

/// Points of the surface: the outermost in directions spread evenly (a golden spiral), then each next one the farthest from those before.
std::vector<Vec3d> outlineOf(const PropModel& model) {
  constexpr std::size_t most = 64;
  constexpr int directions = 256;
  std::vector<Vec3d> all, out;
  for (const Mesh& mesh : model.figure.meshes)
    for (const Vec3f& p : mesh.positions)
      if (isFinite(Vec3d(p))) all.push_back(Vec3d(p));
  for (const std::size_t i : outermost(all, directions)) out.push_back(all[i]);
  std::vector<double> away(all.size(), 1e300);
  for (std::size_t i = 0; i < all.size(); ++i)
    for (const Vec3d& p : out) away[i] = std::min(away[i], distance(all[i], p));
  while (out.size() < std::min(most, all.size())) {
    out.push_back(all[static_cast<std::size_t>(std::max_element(away.begin(), away.end()) - away.begin())]);
    for (std::size_t i = 0; i < all.size(); ++i) away[i] = std::min(away[i], distance(all[i], out.back()));
  }
  return out;
}

}  // namespace

Result<PropItem> withGrips(const PropItem& item, const PropModel& model, double height) {
  if (item.gripped) return item;
  const Result<PropShape> shape = shapeOf(model);
  if (!shape) return shape.error();
  const double size = height > 0 ? height / 1.7 : 1;
  const PropGrips grips = proposeGrips(*shape, 0.085 * size, 0.24 * size);
  PropItem out = item;
  out.leadGrip = placementOf(grips.lead);
  out.supportGrip = placementOf(grips.support);
  out.end = grips.end;
  out.foot = grips.foot;
  if (!item.path.empty()) out.radius = grips.radius;
  if (!item.path.empty()) out.outline = outlineOf(model);
  out.gripped = true;
  return out;
}

Result<PropItem> makeProp(PropItem item, const std::shared_ptr<const Figure>& character, double height, const RunControl& control) {
  const Result<PropModel> model = openProp(item, character, control);
  if (!model) return model.error();
  if (item.name.empty()) item.name = model->name;
  return withGrips(item, *model, height);
}

}  // namespace understudy
