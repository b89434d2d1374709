#include "core/repair/set_shape.h"

namespace understudy {

Result<SetShape> setShapeOf(const SetItem& object) {
  SetShape shape;
  switch (object.kind) {
    case SetKind::plane: shape.form = SetForm::plane; break;
    case SetKind::box: shape.form = SetForm::box; break;
    case SetKind::ball: shape.form = SetForm::ball; break;
    case SetKind::steps: shape.form = SetForm::steps; break;
    case SetKind::mesh: {
      shape.form = SetForm::mesh;
      Result<std::shared_ptr<const SetMesh>> mesh = readSetMesh(object.path);
      if (!mesh) return mesh.error();
      shape.mesh = std::move(*mesh);
      break;
    }
  }
  shape.place = {normalised(object.place.rotation), object.place.position};
  shape.size = object.size;
  shape.count = object.count;
  if (const Status good = checkShape(shape); !good) return good.error();
  return shape;
}

}  // namespace understudy
