// make-samples: makes the demo files, the same bytes for the same seed.
#include <cstdio>
#include <filesystem>
#include <string>

#include "samples/keeper.h"
#include "samples/polygonise.h"
#include "samples/write_glb.h"
#include "core/io/write.h"

using namespace understudy;
using namespace understudy::samples;

int main(int argc, char** argv) {
  const std::string out = argc > 1 ? argv[1] : ".";
  const Figure keeper = makeKeeper({});
  std::size_t t = 0;
  for (const Mesh& m : keeper.meshes) {
    t += m.indices.size() / 3;
    std::printf("%-10s %5zu tris open %d\n", m.name.c_str(), m.indices.size() / 3, openEdges(m.indices));
  }
  std::printf("%zu triangles\n", t);
  (void)writeBytes(out + "/keeper.glb", glbOf(keeper, "keeper_body"));
  (void)writeBytes(out + "/broom.glb", glbOf(makeBroom(1.0), "broom"));
}
