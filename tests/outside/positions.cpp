// Writes the joint positions of a file's first clip, file unit and axes, as CSV: what the independent readers are held
// against. Usage: understudy-positions FILE OUT.csv
#include <cstdio>

#include "core/io/read.h"

int main(int argc, char** argv) {
  using namespace understudy;
  if (argc != 3) return 2;
  const Result<Figure> figure = readFigure(argv[1]);
  if (!figure || figure->clips.empty()) return 3;
  const Result<Motion> motion = sample(figure->clips[0], figure->skeleton);
  std::FILE* out = motion ? std::fopen(argv[2], "w") : nullptr;
  if (!out) return 5;
  std::fputs("frame,joint,x,y,z\n", out);
  for (int f = 0; f < motion->frames; ++f) {
    const auto world = worldAt(figure->skeleton, *motion, f);
    for (int j = 0; j < figure->skeleton.size(); ++j)
      std::fprintf(out, "%d,\"%s\",%.6f,%.6f,%.6f\n", f + 1, jointKey(figure->skeleton, j).c_str(), world[j].translation.x, world[j].translation.y,
                   world[j].translation.z);
  }
  return std::fclose(out) == 0 ? 0 : 5;
}
