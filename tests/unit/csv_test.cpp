// The table of world transforms.
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "core/io/write.h"

namespace understudy {
namespace {

Figure keeper() {
  Figure figure;
  figure.format = "BVH";
  figure.skeleton.add("keel", -1, Trsd{}, 0);
  figure.skeleton.add("arm, port \"left\"", 0, Trsd{{0, 0, 100}, {}, {1, 1, 1}}, 1);
  figure.skeleton.add("", 1, Trsd{{50, 0, 0}, {}, {1, 1, 1}}, 2);
  figure.space.metresPerUnit = 0.01;
  figure.space.worldFromFile = {std::sqrt(0.5), -std::sqrt(0.5), 0, 0};  // the file's +Z points up
  return figure;
}

std::vector<std::string> linesOf(const std::string& path) {
  std::ifstream file(path);
  std::vector<std::string> lines;
  for (std::string line; std::getline(file, line);) lines.push_back(line);
  return lines;
}

TEST(Csv, RowsHoldFrameTimeJointAndWorldTransform) {
  const Figure figure = keeper();
  Motion motion = restMotion(figure.skeleton, 2, {25, 1}, {0});
  motion.translations[1] = {0, 0, 10};
  motion.rotationsAt(1)[1] = Quatf(fromAxisAngle(Vec3d{0, 0, 1}, std::acos(-1.0) / 2));  // +X to +Y in the file
  BakedClip clip;
  clip.motion = &motion;
  clip.firstFrame = 101;
  const std::string path = (std::filesystem::temp_directory_path() / ("understudy-csv-" + std::to_string(::getpid()) + ".csv")).string();
  const Status status = writeCsv(figure, clip, path);
  ASSERT_TRUE(status.ok()) << status.error().text();
  const auto lines = linesOf(path);
  std::filesystem::remove(path);
  ASSERT_EQ(lines.size(), 7u);
  EXPECT_EQ(lines[0], "frame,time,joint,px,py,pz,qw,qx,qy,qz");
  EXPECT_TRUE(lines[2].starts_with("101,0.000000000,\"arm, port \"\"left\"\"\",")) << lines[2];
  int frame = 0;
  double time = 0, p[3], q[4];
  ASSERT_EQ(std::sscanf(lines[6].c_str(), "%d,%lf,#2,%lf,%lf,%lf,%lf,%lf,%lf,%lf", &frame, &time, p, p + 1, p + 2, q, q + 1, q + 2, q + 3), 9) << lines[6];
  EXPECT_EQ(frame, 102);
  EXPECT_NEAR(time, 0.04, 1e-9);
  // In the file (0, 50, 110) cm; up is the file's Z, and its +Y goes to −Z.
  EXPECT_NEAR(p[0], 0, 1e-6);
  EXPECT_NEAR(p[1], 1.1, 1e-6);
  EXPECT_NEAR(p[2], -0.5, 1e-6);
  const Quatd expected = figure.space.worldFromFile * fromAxisAngle(Vec3d{0, 0, 1}, std::acos(-1.0) / 2);
  EXPECT_LT(angleBetween(Quatd{q[0], q[1], q[2], q[3]}, expected), 1e-6);
}

TEST(Csv, AValueThatIsNoNumberIsNotWritten) {
  const Figure figure = keeper();
  Motion motion = restMotion(figure.skeleton, 2, {25, 1}, {0});
  motion.translations[1].x = NAN;
  BakedClip clip;
  clip.motion = &motion;
  const std::string path = (std::filesystem::temp_directory_path() / ("understudy-csv-" + std::to_string(::getpid()) + ".csv")).string();
  for (const Status& status : {writeCsv(figure, clip, path), writeBvh(figure, clip, path)}) {
    ASSERT_FALSE(status.ok());
    EXPECT_NE(status.error().where.find("frame 2"), std::string::npos) << status.error().text();
  }
  EXPECT_FALSE(std::filesystem::exists(path));
}

}  // namespace
}  // namespace understudy
