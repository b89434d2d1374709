// finish with a prop: read back from the written file alone.
#include <gtest/gtest.h>

#include <filesystem>

#include "core/io/read.h"
#include "tests/support/fixtures.h"
#include "tests/support/run_program.h"

namespace understudy {
namespace {

const std::string cli = UNDERSTUDY_BINARY "/bin/understudy-cli";
const std::string samples = UNDERSTUDY_SOURCE "/samples/";

ProgramRun finishWith(const std::string& prop, const std::string& out, const std::string& lead = "right") {
  return runProgram({cli, "finish", "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb", "--prop", prop, "--lead", lead, "--out", out,
                     "--no-pictures", "--json"});
}

TEST(PropCommand, TheBroomIsWrittenAndBothHandsKeepTheirPlaceOnIt) {
  const TemporaryFolder folder;
  const ProgramRun run = finishWith(samples + "broom.glb", folder.file("done"));
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Result<Figure> read = readFigure(folder.file("done") + "/result.glb");
  ASSERT_TRUE(read.ok()) << read.error().text();
  const Result<int> broom = findJoint(read->skeleton, "broom"), right = findJoint(read->skeleton, "starboard_hand"), left = findJoint(read->skeleton, "port_hand");
  ASSERT_TRUE(broom.ok() && right.ok() && left.ok());
  int meshes = 0;
  for (const Mesh& mesh : read->meshes) meshes += mesh.node == *broom;
  EXPECT_GT(meshes, 0);
  const Result<Motion> motion = sample(read->clips.back(), read->skeleton);
  ASSERT_TRUE(motion.ok());
  ASSERT_EQ(motion->frames, 612);
  // In the hands as the samples' truth file says, a few frames inside: the lead hand all along, the support hand from 158 to 386.
  const auto strays = [&](int joint, int first, int last) {
    std::vector<Vec3d> places;
    for (int f = first; f <= last; ++f) {
      const std::vector<Affined> world = worldAt(read->skeleton, *motion, f);
      places.push_back(apply(inverse(world[static_cast<std::size_t>(*broom)]), world[static_cast<std::size_t>(joint)].translation));
    }
    double worst = 0;
    for (const Vec3d& p : places) worst = std::max(worst, distance(p, places[places.size() / 2]));
    return worst;
  };
  EXPECT_LT(strays(*right, 0, 611), 0.0005);
  EXPECT_LT(strays(*left, 165, 378), 0.0005);
  EXPECT_GT(strays(*left, 0, 611), 0.05);  // it lets go, so the figures mean something
}

TEST(PropCommand, TheOtherHandMayLeadAPropFromAnObjFile) {
  const TemporaryFolder folder;
  writeFile(folder.file("pole.obj"), "o pole\nv -0.01 0 -0.01\nv 0.01 0 -0.01\nv 0.01 0 0.01\nv -0.01 0 0.01\nv -0.01 1 -0.01\nv 0.01 1 -0.01\nv 0.01 1 0.01\nv -0.01 1 0.01\n"
                                     "f 1 2 3 4\nf 8 7 6 5\nf 1 5 6 2\nf 2 6 7 3\nf 3 7 8 4\nf 4 8 5 1\n");
  const ProgramRun run = finishWith(folder.file("pole.obj"), folder.file("done"), "left");
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Result<Figure> read = readFigure(folder.file("done") + "/result.glb");
  ASSERT_TRUE(read.ok());
  const Result<int> pole = findJoint(read->skeleton, "pole"), left = findJoint(read->skeleton, "port_hand");
  ASSERT_TRUE(pole.ok() && left.ok());
  const Result<Motion> motion = sample(read->clips.back(), read->skeleton);
  ASSERT_TRUE(motion.ok());
  const auto place = [&](int f) {
    const std::vector<Affined> world = worldAt(read->skeleton, *motion, f);
    return apply(inverse(world[static_cast<std::size_t>(*pole)]), world[static_cast<std::size_t>(*left)].translation);
  };
  for (const int f : {100, 200, 300, 500}) EXPECT_LT(distance(place(f), place(0)), 0.0005) << "frame " << f;
}

TEST(PropCommand, PropsThatAreNoneAreToldAndNothingIsWritten) {
  const TemporaryFolder folder;
  writeFile(folder.file("letter.obj"), "Dear keeper,\n");
  for (const std::string& prop : {folder.file("missing.glb"), folder.file("letter.obj"), samples + "sweep.bvh"}) {
    const ProgramRun run = finishWith(prop, folder.file("done"));
    EXPECT_NE(run.exitCode, 0) << prop;
    EXPECT_NE((run.err + run.out).find(std::filesystem::path(prop).filename().string()), std::string::npos) << run.err << run.out;
    EXPECT_FALSE(std::filesystem::exists(folder.file("done") + "/result.glb"));
  }
}

}  // namespace
}  // namespace understudy
