// Props and set objects on the command line: what hands touch, what feet stand on, who holds what. Read back from written files alone.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/io/read.h"
#include "tests/support/fixtures.h"
#include "tests/support/run_program.h"

namespace understudy {
namespace {

const std::string cli = UNDERSTUDY_BINARY "/bin/understudy-cli";
const std::string samples = UNDERSTUDY_SOURCE "/samples/";
using Json = nlohmann::json;

class KeeperScene : public testing::Test {
 protected:
  void SetUp() override { ASSERT_EQ(repair({"new", reel(), "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb"}).exitCode, 0); }
  static ProgramRun repair(std::vector<std::string> words) {
    words.insert(words.begin(), {cli, "repair"});
    return runProgram(words);
  }
  std::string reel() const { return folder_.file("sweep.reel"); }
  void add(std::vector<std::string> words) const {
    words.insert(words.begin(), {"add", reel()});
    const ProgramRun run = repair(words);
    EXPECT_EQ(run.exitCode, 0) << run.err;
  }
  void addItems(const Json& items) const {
    writeFile(folder_.file("items.json"), items.dump());
    add({"--from", folder_.file("items.json")});
  }

  struct Film {
    Figure figure;
    Motion motion;
    [[nodiscard]] Affined node(const std::string& name, int frame) const {
      return worldAt(figure.skeleton, motion, frame - 1)[static_cast<std::size_t>(*findJoint(figure.skeleton, name))];
    }
    [[nodiscard]] Vec3d at(const std::string& name, int frame) const { return node(name, frame).translation; }
    [[nodiscard]] Vec3d seenFrom(const std::string& from, const std::string& name, int frame) const { return apply(inverse(node(from, frame)), at(name, frame)); }
  };
  Film exported(const std::string& name) const {
    const ProgramRun run = repair({"export", reel(), "--out", folder_.file(name)});
    EXPECT_EQ(run.exitCode, 0) << run.err;
    Result<Figure> read = readFigure(folder_.file(name));
    EXPECT_TRUE(read.ok());
    Film film;
    film.figure = std::move(*read);
    film.motion = *sample(film.figure.clips.back(), film.figure.skeleton);
    return film;
  }
  static std::string text(const Vec3d& p) { return std::to_string(p.x) + "," + std::to_string(p.y) + "," + std::to_string(p.z); }
  static Json placed(const Vec3d& p) { return {{"position", {p.x, p.y, p.z}}}; }
  /// A square of 4 m at a height, as a file.
  void writeSheet(const std::string& name, double height) const {
    const std::string y = std::to_string(height);
    writeFile(folder_.file(name), "o sheet\nv -2 " + y + " -2\nv -2 " + y + " 2\nv 2 " + y + " 2\nv 2 " + y + " -2\nf 1 2 3 4\n");
  }

  TemporaryFolder folder_;
};

constexpr int first = 420, last = 440, middle = 430;

TEST_F(KeeperScene, AHandGlidesOverABallAndAPlaneThatAreNotExported) {
  const Film before = exported("before.glb");
  const Vec3d hand = before.at("starboard_hand", middle), centre = hand - Vec3d{0, 0.22, 0};
  addItems({{"set", {{{"kind", "ball"}, {"name", "buoy"}, {"size", {0.2, 0.2, 0.2}}, {"place", placed(centre)}}}}});
  add({"--kind", "touch", "--manner", "glide", "--bone", "@rightHand", "--target", "set", "--on", "buoy", "--span", "420:440"});
  const Film ball = exported("ball.glb");
  for (int f = first; f <= last; ++f) EXPECT_NEAR(distance(ball.at("starboard_hand", f), centre), 0.2, 0.001) << "frame " << f;
  EXPECT_GT(std::abs(distance(before.at("starboard_hand", middle), centre) - 0.2), 0.015);
  EXPECT_EQ(ball.figure.skeleton.size(), before.figure.skeleton.size());

  ASSERT_EQ(repair({"remove", reel(), "1"}).exitCode, 0);
  const Vec3d top = hand + Vec3d{0, 0.03, 0};
  addItems({{"set", {{{"kind", "plane"}, {"name", "shelf"}, {"place", placed(top)}}}}});
  add({"--kind", "touch", "--manner", "glide", "--bone", "@rightHand", "--target", "set", "--on", "shelf", "--span", "420:440"});
  const Film plane = exported("plane.glb");
  for (int f = first; f <= last; ++f) EXPECT_NEAR(plane.at("starboard_hand", f).y, top.y, 0.001) << "frame " << f;
}

TEST_F(KeeperScene, AHandRestsOnAStepAndOnLoadedGeometry) {
  const Film before = exported("before.glb");
  const Vec3d hand = before.at("starboard_hand", middle);
  // A stair whose first step is where the hand is, a little lower.
  const Vec3d foot{hand.x, hand.y - 0.32, hand.z - 0.1};
  writeSheet("sheet.obj", hand.y - 0.03);
  addItems({{"set",
             {{{"kind", "steps"}, {"name", "stair"}, {"size", {0.8, 0.3, 0.2}}, {"count", 2}, {"place", placed(foot)}},
              {{"kind", "mesh"}, {"name", "sheet"}, {"path", folder_.file("sheet.obj")}}}}});
  add({"--kind", "touch", "--manner", "rest", "--bone", "@rightHand", "--target", "set", "--on", "stair", "--place", "0,0.3,0.1", "--span", "420:440", "--name", "on the stair"});
  const Film stair = exported("stair.glb");
  for (int f = first; f <= last; ++f) EXPECT_LT(distance(stair.at("starboard_hand", f), foot + Vec3d{0, 0.3, 0.1}), 0.001) << "frame " << f;
  EXPECT_GT(distance(before.at("starboard_hand", first), foot + Vec3d{0, 0.3, 0.1}), 0.005);
  add({"--kind", "touch", "--manner", "glide", "--bone", "@leftHand", "--target", "set", "--on", "sheet", "--span", "520:530"});
  const Film sheet = exported("sheet.glb");
  for (int f = 520; f <= 530; ++f) EXPECT_NEAR(sheet.at("port_hand", f).y, hand.y - 0.03, 0.001) << "frame " << f;
  EXPECT_EQ(sheet.figure.meshes.size(), before.figure.meshes.size());
}

/// The left foot stands in frames 1 to 60 of the performance: on what lies 3 cm above the floor there it stands 3 cm higher.
TEST_F(KeeperScene, FeetStandOnPlanesStepsAndLoadedGeometry) {
  const auto plant = [&] { add({"--kind", "plant", "--part", "leftFoot", "--span", "20:40"}); };
  plant();
  const Film floor = exported("floor.glb");
  const Vec3d foot = floor.at("port_foot", 30);
  writeSheet("sheet.obj", 0.03);
  const std::vector<std::pair<std::string, Json>> grounds{
      {"plane", {{"kind", "plane"}, {"name", "deck"}, {"place", placed({0, 0.03, 0})}}},
      {"steps", {{"kind", "steps"}, {"name", "stair"}, {"size", {2.0, 0.03, 2.0}}, {"count", 1}, {"place", placed({foot.x, 0, foot.z - 1})}}},
      {"mesh", {{"kind", "mesh"}, {"name", "sheet"}, {"path", folder_.file("sheet.obj")}}}};
  for (const auto& [kind, object] : grounds) {
    std::filesystem::remove(reel());
    ASSERT_EQ(repair({"new", reel(), "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb"}).exitCode, 0);
    addItems({{"set", {object}}});
    plant();
    const Film raised = exported(kind + ".glb");
    for (int f = 22; f <= 38; f += 4) EXPECT_NEAR(raised.at("port_foot", f).y - floor.at("port_foot", f).y, 0.03, 0.001) << kind << " frame " << f;
  }
}

TEST_F(KeeperScene, AHandTouchesWhatTheOtherHandHolds) {
  add({"--kind", "prop", "--path", samples + "broom.glb", "--scale", "0.62"});
  add({"--kind", "grip", "--prop", "1", "--support", "no", "--span", "150:460"});
  const Film before = exported("before.glb");
  const Vec3d place = before.seenFrom("broom", "port_hand", middle) + Vec3d{0.02, 0.035, -0.02};
  add({"--kind", "touch", "--manner", "rest", "--bone", "@leftHand", "--target", "prop", "--on", "broom", "--place", text(place), "--span", "420:440"});
  const Film after = exported("after.glb");
  for (int f = first; f <= last; ++f) {
    EXPECT_LT(distance(after.seenFrom("broom", "port_hand", f), place), 0.001) << "frame " << f;
    EXPECT_LT(distance(after.at("broom", f), before.at("broom", f)), 0.002) << "frame " << f;
  }
  EXPECT_GT(distance(before.seenFrom("broom", "port_hand", middle), place), 0.03);
  // The hand that holds it cannot.
  const ProgramRun run = repair({"add", reel(), "--kind", "touch", "--manner", "rest", "--bone", "@rightHand", "--target", "prop", "--on", "broom", "--place", "0,0.3,0", "--span",
                                 "420:440"});
  EXPECT_NE((run.out + run.err).find("is held by the hand that is to touch it"), std::string::npos) << run.out << run.err;
}

TEST_F(KeeperScene, AnObjectGoesFromTheWorldToOneHandAndToTheOther) {
  const auto holder = [](double time, const std::string& bone, const Vec3d& at) { return Json{{"time", time}, {"bone", bone}, {"place", placed(at)}}; };
  const Film before = exported("before.glb");
  const double rate = before.motion.rate.hertz();
  addItems({{"props",
             {{{"path", samples + "broom.glb"},
               {"scale", 0.62},
               {"holders", {holder(0, "", {0.4, 0, 0.2}), holder(100 / rate, "@rightHand", {0, -0.5, 0}), holder(200 / rate, "@leftHand", {0, -0.4, 0.1}), holder(300 / rate, "@head", {0, 0.2, 0})}}}}}});
  const Film film = exported("holders.glb");
  for (const int f : {5, 50, 95}) EXPECT_LT(distance(film.at("broom", f), Vec3d{0.4, 0, 0.2}), 0.001) << "frame " << f;
  const auto keeps = [&](const std::string& hand, int from, int to) {
    for (int f = from; f <= to; f += 20)
      EXPECT_LT(distance(film.seenFrom("broom", hand, f), film.seenFrom("broom", hand, from)), 0.001) << hand << " frame " << f;
    EXPECT_GT(distance(film.at("broom", from), film.at("broom", to)), 0.01);
  };
  keeps("starboard_hand", 110, 190);
  keeps("port_hand", 210, 290);
  keeps("head", 310, 390);
}

TEST_F(KeeperScene, PropsAreScaledWhereAsked) {
  const auto run = [&](const std::string& scale) {
    return runProgram({cli, "finish", "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb", "--prop", samples + "broom.glb", "--prop-scale", scale, "--range",
                       "1:60", "--no-pictures", "--out", folder_.file("done" + scale)});
  };
  const auto size = [&](const std::string& scale) {
    EXPECT_EQ(run(scale).exitCode, 0);
    const Result<Figure> read = readFigure(folder_.file("done" + scale) + "/result.glb");
    EXPECT_TRUE(read.ok());
    double low = 1e300, high = -1e300;
    for (const Mesh& mesh : read->meshes)
      if (mesh.node == *findJoint(read->skeleton, "broom"))
        for (const Vec3f& p : mesh.positions) low = std::min<double>(low, p.y), high = std::max<double>(high, p.y);
    return high - low;
  };
  EXPECT_NEAR(size("0.62") / size("1"), 0.62, 1e-4);
  for (const std::string& scale : {std::string("0"), std::string("-1"), std::string("wide")}) EXPECT_EQ(run(scale).exitCode, 2) << scale;
  const ProgramRun alone = runProgram({cli, "find", "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb", "--prop-scale", "2"});
  EXPECT_EQ(alone.exitCode, 2);
  EXPECT_NE(alone.err.find("needs --prop"), std::string::npos);
}

}  // namespace
}  // namespace understudy
