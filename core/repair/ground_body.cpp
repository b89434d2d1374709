#include "core/repair/ground_body.h"

#include <algorithm>
#include <array>
#include <map>
#include <numeric>

#include "core/body/body_model.h"
#include "core/math/outermost.h"
#include "core/repair/clearance.h"

namespace understudy {
namespace {

constexpr int directions = 160;      // along which a joint's skin is looked at
constexpr double lowerFor = 1.0;     // seconds before and after a stay in which lower ground counts

/// What of the trunk's skin hangs down as capes and coats do: pieces of their own that reach lower than half way down the thighs. Nothing
/// where no other skin is left. One a vertex of the mesh's own.
std::vector<char> hangs(const PartMesh& mesh, const BodySurface& surface, double level) {
  std::vector<int> piece(mesh.vertices.size());
  std::iota(piece.begin(), piece.end(), 0);
  const auto rootOf = [&](int v) {
    while (piece[static_cast<std::size_t>(v)] != v) v = piece[static_cast<std::size_t>(v)] = piece[static_cast<std::size_t>(piece[static_cast<std::size_t>(v)])];
    return v;
  };
  const auto join = [&](int a, int b) { piece[static_cast<std::size_t>(rootOf(a))] = rootOf(b); };
  const auto placeOf = [&](int v) -> const Vec3d& { return surface.positions[static_cast<std::size_t>(mesh.vertices[static_cast<std::size_t>(v)])]; };
  const int own = static_cast<int>(piece.size());
  // Seams of texture have the same vertex twice.
  std::map<std::array<double, 3>, int> known;
  for (int v = 0; v < own; ++v) join(v, known.try_emplace({placeOf(v).x, placeOf(v).y, placeOf(v).z}, v).first->second);
  for (std::size_t t = 0; t + 2 < mesh.indices.size(); t += 3)
    for (const std::size_t k : {t + 1, t + 2})
      if (mesh.indices[t] < piece.size() && mesh.indices[k] < piece.size()) join(static_cast<int>(mesh.indices[t]), static_cast<int>(mesh.indices[k]));
  std::vector<char> low(piece.size(), 0), out(piece.size(), 0);
  for (int v = 0; v < own; ++v)
    if (placeOf(v).y < level) low[static_cast<std::size_t>(rootOf(v))] = 1;
  for (int v = 0; v < own; ++v) out[static_cast<std::size_t>(v)] = low[static_cast<std::size_t>(rootOf(v))];
  if (std::all_of(out.begin(), out.end(), [](char h) { return h; })) std::fill(out.begin(), out.end(), char{0});
  return out;
}

GroundSkin groundSkin(const RepairContext& context) {
  GroundSkin out;
  const std::shared_ptr<const BodyModel> model = bodyModelOf(context);
  const BodySurface& surface = model->surface;
  const Skeleton& skeleton = context.figure->skeleton;
  std::vector<std::vector<int>> carried(static_cast<std::size_t>(skeleton.size()));
  const auto isFoot = [&](int joint) {
    return std::any_of(context.legs.begin(), context.legs.end(), [&](const LimbRig& leg) { return leg.end >= 0 && (joint == leg.end || isAncestor(skeleton, leg.end, joint)); });
  };
  double level = -1e300;
  for (const LimbRig& leg : context.legs)
    if (leg.complete()) level = std::max(level, (model->position[static_cast<std::size_t>(leg.root)].y + model->position[static_cast<std::size_t>(leg.mid)].y) / 2);
  for (const BodyPart part : {BodyPart::torso, BodyPart::leftThigh, BodyPart::rightThigh, BodyPart::leftShank, BodyPart::rightShank}) {
    const PartMesh mesh = partMesh(surface, part);
    const std::vector<char> hanging = part == BodyPart::torso ? hangs(mesh, surface, level) : std::vector<char>(mesh.vertices.size(), 0);
    for (std::size_t m = 0; m < mesh.vertices.size(); ++m) {
      const int v = mesh.vertices[m];
      if (hanging[m] || surface.parts[static_cast<std::size_t>(v)] != part) continue;
      const int joint = surface.heaviestJoint(v);
      if (joint >= 0 && !isFoot(joint)) carried[static_cast<std::size_t>(joint)].push_back(v);
    }
  }
  for (int joint = 0; joint < skeleton.size(); ++joint) {
    const std::vector<int>& own = carried[static_cast<std::size_t>(joint)];
    if (own.empty()) continue;
    GroundSkin::Piece piece;
    piece.joint = joint;
    const BodyPart part = surface.parts[static_cast<std::size_t>(own.front())];
    piece.part = part == BodyPart::torso ? GroundPart::torso : part == BodyPart::leftThigh || part == BodyPart::rightThigh ? GroundPart::thighs
                 : part == BodyPart::leftShank                                ? GroundPart::leftShank
                                                                              : GroundPart::rightShank;
    std::vector<Vec3d> places;
    for (const int v : own) places.push_back(surface.positions[static_cast<std::size_t>(v)]);
    piece.first.push_back(0);
    for (const std::size_t i : outermost(places, directions)) {
      const auto v = static_cast<std::size_t>(own[i]);
      piece.points.push_back(places[i]);
      piece.radius = std::max(piece.radius, distance(places[i], model->position[static_cast<std::size_t>(joint)]));
      for (std::uint32_t k = surface.influenceStart[v]; k < surface.influenceStart[v + 1]; ++k) {
        piece.joints.push_back(surface.influenceJoint[k]);
        piece.weights.push_back(static_cast<double>(surface.influenceWeight[k]));
      }
      piece.first.push_back(static_cast<std::uint32_t>(piece.joints.size()));
    }
    out.pieces.push_back(std::move(piece));
  }
  return out;
}

}  // namespace

GroundBody::GroundBody(const RepairContext& context)
    : skin_(context.figure->meshes.empty() ? std::make_shared<const GroundSkin>() : context.parts->get<GroundSkin>([&] { return groundSkin(context); })),
      turned_(static_cast<std::size_t>(context.figure->skeleton.size())), stamp_(turned_.size(), 0) {}

double GroundBody::depth(const Poser& pose, double ground, const GroundParts& parts) {
  ++now_;
  double low = 1e300;
  for (const GroundSkin::Piece& piece : skin_->pieces) {
    if (!parts[static_cast<std::size_t>(piece.part)]) continue;
    const double least = pose.position(piece.joint).y - piece.radius;
    if (least > ground) {
      low = std::min(low, least);
      continue;
    }
    for (const int j : piece.joints) {
      const auto joint = static_cast<std::size_t>(j);
      if (stamp_[joint] == now_) continue;
      stamp_[joint] = now_;
      turned_[joint] = pose.turned(j);
    }
    for (std::size_t i = 0; i < piece.points.size(); ++i) {
      double y = 0;
      for (std::uint32_t k = piece.first[i]; k < piece.first[i + 1]; ++k) y += apply(turned_[static_cast<std::size_t>(piece.joints[k])], piece.points[i]).y * piece.weights[k];
      low = std::min(low, y);
    }
  }
  return ground - low;
}

std::vector<double> lowestGround(const RepairContext& context, const std::vector<const Repair*>& repairs) {
  std::vector<double> out(static_cast<std::size_t>(std::max(0, context.frames)), 0.0);
  const int around = static_cast<int>(lowerFor * context.rate.hertz());
  for (const Repair* repair : repairs) {
    const auto* plant = std::get_if<PlantRepair>(&repair->action);
    if (!plant || repair->muted || repair->weight <= 0 || plant->ground >= 0) continue;
    const FrameSpan span = repairFrames(*repair, context.rate, context.frames).span;
    if (span.empty()) continue;
    const FrameSpan held = common(widened(span, around, around), {0, context.frames - 1});
    for (int f = held.first; f <= held.last; ++f) out[static_cast<std::size_t>(f)] = std::min(out[static_cast<std::size_t>(f)], plant->ground);
  }
  return out;
}

}  // namespace understudy
