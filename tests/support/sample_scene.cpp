#include "tests/support/sample_scene.h"

#include "core/io/read.h"
#include "core/retarget/retarget.h"

namespace understudy {

SampleScene sampleScene() {
  SampleScene out;
  const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
  Result<Figure> performer = readFigure(samples + "sweep.bvh"), character = readFigure(samples + "keeper.glb");
  if (!performer || !character) return out;
  out.performer = std::make_shared<const Figure>(std::move(*performer));
  auto figure = std::make_shared<const Figure>(std::move(*character));
  out.map = std::make_shared<const BoneMap>(BoneMap{mapRoles(*out.performer), mapRoles(*figure)});
  Result<Motion> clip = sample(out.performer->clips[0], out.performer->skeleton);
  if (!clip) return out;
  out.clip = std::move(*clip);
  Result<Retargeted> done = retarget(*out.performer, out.clip, *figure, *out.map);
  Result<std::shared_ptr<const RepairContext>> context = repairContext(figure, out.map, {}, out.clip.rate, out.clip.frames);
  if (!done || !context) return out;
  out.context = *context;
  out.motion = TiledMotion(std::make_shared<const Motion>(std::move(done->motion)));
  return out;
}

}  // namespace understudy
