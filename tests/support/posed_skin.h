// A character's skin at a frame, as its exact triangles.
#pragma once

#include <memory>
#include <vector>

#include "core/body/body_model.h"
#include "core/repair/clearance.h"
#include "core/repair/poser.h"

namespace understudy::test {

class PosedSkin {
 public:
  PosedSkin(const RepairContext& context, const TiledMotion& motion, int frame) : model_(bodyModelOf(context)) {
    Poser poser(context);
    poser.load(motion, frame);
    std::vector<Quatd> rotation;
    std::vector<Vec3d> position;
    for (int j = 0; j < context.body.rig.size(); ++j) {
      rotation.push_back(poser.rotation(j));
      position.push_back(poser.position(j));
    }
    turned_ = turnedFrames(model_->reference(), {rotation, position});
  }
  [[nodiscard]] const BodySurface& surface() const { return model_->surface; }
  /// World metres.
  [[nodiscard]] Vec3d at(int vertex) const {
    Vec3d out;
    pointsOf(surface(), turned_, {&vertex, 1}, {&out, 1});
    return out;
  }
  /// A part of the body as a closed surface.
  [[nodiscard]] TriangleTree solid(BodyPart part) const {
    const PartMesh mesh = partMesh(surface(), part);
    std::vector<Vec3d> own(mesh.vertices.size());
    pointsOf(surface(), turned_, mesh.vertices, own);
    return TriangleTree(mesh.withRims(std::move(own)), mesh.indices);
  }

 private:
  std::shared_ptr<const BodyModel> model_;
  std::vector<Affined> turned_;
};

}  // namespace understudy::test
