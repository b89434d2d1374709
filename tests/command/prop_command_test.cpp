// finish with a prop: read back from the written file alone.
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

ProgramRun finishWith(const std::string& prop, const std::string& out, const std::string& lead = "right") {
  return runProgram({cli, "finish", "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb", "--prop", prop, "--lead", lead, "--out", out,
                     "--no-pictures", "--json"});
}

/// A prop as a written file has it, frame by frame.
struct PropFilm {
  Figure figure;
  Motion motion;
  std::size_t prop = 0;
  std::vector<Vec3f> surface;  ///< in the prop's own frame

  PropFilm(const std::string& path, const std::string& name) : figure(*readFigure(path)), motion(*sample(figure.clips.back(), figure.skeleton)) {
    prop = static_cast<std::size_t>(*findJoint(figure.skeleton, name));
    for (const Mesh& mesh : figure.meshes)
      if (mesh.node == static_cast<int>(prop)) surface.insert(surface.end(), mesh.positions.begin(), mesh.positions.end());
  }
  struct Moment {
    double lowest = 1e300;  ///< of its surface, metres
    Vec3d hand;             ///< on the prop
    Quatd turn;             ///< of the hand against the prop
  };
  [[nodiscard]] std::vector<Moment> with(const std::string& hand) const {
    const std::size_t joint = static_cast<std::size_t>(*findJoint(figure.skeleton, hand));
    std::vector<Moment> out;
    for (int f = 0; f < motion.frames; ++f) {
      const std::vector<Affined> world = worldAt(figure.skeleton, motion, f);
      Moment now;
      for (const Vec3f& p : surface) now.lowest = std::min(now.lowest, apply(world[prop], Vec3d(p)).y);
      now.hand = apply(inverse(world[prop]), world[joint].translation);
      now.turn = conjugate(rotationOf(world[prop])) * rotationOf(world[joint]);
      out.push_back(now);
    }
    return out;
  }
  static Quatd rotationOf(const Affined& a) { return normalised(toQuat(a.linear)); }
};

/// The hand that carries a prop keeps its place and direction on it; where the prop would go through the floor it only runs along its
/// handle (+Y), and no further up than the floor asks.
void expectCarried(const std::vector<PropFilm::Moment>& moments, std::size_t from) {
  const PropFilm::Moment& own = moments[from];
  for (std::size_t f = 0; f < moments.size(); ++f) {
    const PropFilm::Moment& now = moments[f];
    EXPECT_LT(std::hypot(now.hand.x - own.hand.x, now.hand.z - own.hand.z), 0.0005) << "frame " << f + 1;
    EXPECT_LT(angleBetween(now.turn, own.turn), 0.001) << "frame " << f + 1;
    EXPECT_GT(now.lowest, -0.002) << "frame " << f + 1;
    if (now.lowest > 0.003) {
      EXPECT_NEAR(now.hand.y, own.hand.y, 0.0005) << "frame " << f + 1;
    }
    EXPECT_LT(now.hand.y, own.hand.y + 0.0005) << "frame " << f + 1;
  }
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
  EXPECT_LT(strays(*right, 0, 386), 0.0005);
  EXPECT_LT(strays(*left, 165, 378), 0.0005);
  EXPECT_GT(strays(*left, 0, 611), 0.05);  // it lets go, so the figures mean something

  // A broom too long for the keeper is held further down its handle instead of going through the floor; its size is the artist's.
  EXPECT_NE(run.out.find("further down its handle"), std::string::npos);
  const PropFilm film(folder.file("done") + "/result.glb", "broom");
  const std::vector<PropFilm::Moment> moments = film.with("starboard_hand");
  expectCarried(moments, 200);
  std::vector<double> heights;
  for (std::size_t f = 165; f <= 378; ++f) heights.push_back(moments[f].lowest);
  std::sort(heights.begin(), heights.end());
  EXPECT_LT(heights[heights.size() / 2], 0.01);  // it sweeps, for the most part
  // One hand only holds it at the end, low at the hip: the handle has run up through it by a good piece.
  EXPECT_LT(moments[550].hand.y, moments[200].hand.y - 0.2);
  EXPECT_NE(run.out.find("The prop 'broom' sinks"), std::string::npos);
  const Affined place = worldAt(read->skeleton, *motion, 200)[static_cast<std::size_t>(*broom)];
  EXPECT_NEAR(std::cbrt(std::abs(determinant(place.linear))), 1, 1e-5);
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

/// A broom in both hands of the keeper, as a reel that repairs are added to; judged from what is exported.
class BroomReel : public testing::Test {
 protected:
  void SetUp() override {
    ASSERT_EQ(repair({"new", reel(), "--performer", samples + "sweep.bvh", "--character", samples + "keeper.glb"}).exitCode, 0);
    ASSERT_EQ(repair({"add", reel(), "--kind", "prop", "--path", samples + "broom.glb", "--scale", "0.62"}).exitCode, 0);
    const ProgramRun grip = repair({"add", reel(), "--kind", "grip", "--prop", "1", "--span", "150:400"});
    ASSERT_EQ(grip.exitCode, 0) << grip.err;
  }
  static ProgramRun repair(std::vector<std::string> words) {
    words.insert(words.begin(), {cli, "repair"});
    return runProgram(words);
  }
  std::string reel() const { return folder_.file("sweep.reel"); }

  struct Film {
    Figure figure;
    Motion motion;
    [[nodiscard]] std::vector<Affined> at(int frame) const { return worldAt(figure.skeleton, motion, frame - 1); }
    [[nodiscard]] std::size_t node(const std::string& name) const { return static_cast<std::size_t>(*findJoint(figure.skeleton, name)); }
    /// The broom's bristles: the middle of its lower end, the origin of its file.
    [[nodiscard]] Vec3d bristles(int frame) const { return at(frame)[node("broom")].translation; }
    /// Where a hand is on the broom.
    [[nodiscard]] Vec3d onBroom(const std::string& hand, int frame) const {
      const std::vector<Affined> world = at(frame);
      return apply(inverse(world[node("broom")]), world[node(hand)].translation) * 0.62;
    }
  };
  Film exported(const std::string& name) const {
    const ProgramRun run = repair({"export", reel(), "--out", folder_.file(name)});
    EXPECT_EQ(run.exitCode, 0) << run.err;
    Result<Figure> read = readFigure(folder_.file(name));
    EXPECT_TRUE(read.ok()) << read.error().text();
    Film film;
    film.figure = std::move(*read);
    film.motion = *sample(film.figure.clips.back(), film.figure.skeleton);
    return film;
  }
  static std::string text(const Vec3d& p) { return std::to_string(p.x) + "," + std::to_string(p.y) + "," + std::to_string(p.z); }
  /// The support hand keeps its place on the broom.
  static void expectHeld(const Film& film) {
    for (int f = 165; f <= 385; f += 5) {
      EXPECT_LT(distance(film.onBroom("port_hand", f), film.onBroom("port_hand", 160)), 0.0005) << "frame " << f;
      EXPECT_LT(distance(film.onBroom("starboard_hand", f), film.onBroom("starboard_hand", 160)), 0.0005) << "frame " << f;
    }
  }
  TemporaryFolder folder_;
};

TEST_F(BroomReel, BristlesMeetAMarkAndTheGripStays) {
  const Film before = exported("before.glb");
  const Vec3d was = before.bristles(175), mark{was.x + 0.05, 0, was.z + 0.03};
  ASSERT_GT(distance(was, mark), 0.04);
  const ProgramRun run = repair({"add", reel(), "--kind", "touch", "--manner", "meet", "--prop", "1", "--point", "0,0,0", "--target", "point", "--place", text(mark), "--span",
                                 "175:175", "--ease-before", "8", "--ease-after", "8"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Film after = exported("after.glb");
  EXPECT_LT(distance(after.bristles(175), mark), 0.001);
  expectHeld(after);
  // Comes and goes within its eases.
  for (const int f : {160, 166, 184, 200}) EXPECT_LT(distance(after.bristles(f), before.bristles(f)), 1e-6) << "frame " << f;
  for (int f = 167; f < 184; ++f) {
    const Vec3d step = (after.bristles(f + 1) - after.bristles(f)) - (before.bristles(f + 1) - before.bristles(f));
    EXPECT_LT(length(step), 0.03) << "frame " << f;
  }
}

TEST_F(BroomReel, BristlesGlideOverThePlaneAndKeepTheirWay) {
  const Film before = exported("before.glb");
  const ProgramRun run = repair({"add", reel(), "--kind", "touch", "--manner", "glide", "--prop", "1", "--point", "0,0,0", "--target", "plane", "--place", "0,0.01,0", "--span",
                                 "208:230"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Film after = exported("after.glb");
  double way = 0, wayBefore = 0;
  for (int f = 208; f <= 230; ++f) {
    EXPECT_LT(std::abs(after.bristles(f).y - 0.01), 0.001) << "frame " << f;
    if (f == 208) continue;
    const auto along = [](const Vec3d& step) { return std::hypot(step.x, step.z); };
    way += along(after.bristles(f) - after.bristles(f - 1));
    wayBefore += along(before.bristles(f) - before.bristles(f - 1));
  }
  EXPECT_GT(wayBefore, 0.2);
  EXPECT_GT(way, 0.95 * wayBefore);
  expectHeld(after);
}

TEST_F(BroomReel, BristlesRestOnAnObjectOfTheSetWhichIsNotExported) {
  const Film before = exported("before.glb");
  const Vec3d was = before.bristles(281), top{was.x, 0.06, was.z};
  nlohmann::json box = {{"item", "object"}, {"kind", "box"}, {"name", "stone"}, {"size", {0.3, 0.06, 0.3}}, {"place", {{"position", {was.x, 0, was.z}}}}};
  writeFile(folder_.file("set.json"), nlohmann::json{{"set", {box}}}.dump());
  ASSERT_EQ(repair({"add", reel(), "--from", folder_.file("set.json")}).exitCode, 0);
  const ProgramRun run = repair({"add", reel(), "--kind", "touch", "--manner", "rest", "--prop", "1", "--point", "0,0,0", "--target", "set", "--on", "stone", "--place",
                                 "0.02,0.06,0.01", "--span", "276:286"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Film after = exported("after.glb");
  for (int f = 276; f <= 286; ++f) EXPECT_LT(distance(after.bristles(f), top + Vec3d{0.02, 0, 0.01}), 0.001) << "frame " << f;
  expectHeld(after);
  EXPECT_EQ(after.figure.skeleton.size(), before.figure.skeleton.size());
  EXPECT_EQ(after.figure.meshes.size(), before.figure.meshes.size());
  for (const std::string& name : after.figure.skeleton.names) EXPECT_EQ(name.find("stone"), std::string::npos);
}

TEST_F(BroomReel, FormatsWithoutPropsSaySo) {
  for (const std::string name : {"take.bvh", "take.csv"}) {
    const ProgramRun run = repair({"export", reel(), "--out", folder_.file(name)});
    EXPECT_EQ(run.exitCode, 0) << run.err;
    EXPECT_NE((run.out + run.err).find("'broom' is left out"), std::string::npos) << run.err << run.out;
  }
  const ProgramRun run = repair({"export", reel(), "--out", folder_.file("take.glb")});
  EXPECT_EQ((run.out + run.err).find("left out"), std::string::npos) << run.err;
}

TEST_F(BroomReel, OutOfReachTheBroomIsPointedThere) {
  const Film before = exported("before.glb");
  // Farther to the side than the arm can bring the hand: what a turn of the hand adds still gets it nearer.
  const Vec3d was = before.bristles(324), mark{was.x + 0.55, 0, was.z + 0.1};
  const ProgramRun run = repair({"add", reel(), "--kind", "touch", "--manner", "meet", "--prop", "1", "--point", "0,0,0", "--target", "point", "--place", text(mark), "--span",
                                 "324:324"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Film after = exported("after.glb");
  EXPECT_LT(distance(after.bristles(324), mark), 0.5 * distance(was, mark));
}

TEST_F(BroomReel, TheOtherHandLeadsAndBothKeepTheirPlaces) {
  const Film before = exported("before.glb");
  const ProgramRun run = repair({"change", reel(), "1", "--lead-left", "yes", "--share", "0"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Film after = exported("after.glb");
  expectHeld(after);
  for (const std::string hand : {"port_hand", "starboard_hand"}) EXPECT_LT(distance(after.onBroom(hand, 250), before.onBroom(hand, 250)), 0.001) << hand;
  // The hand that leads goes where the performer takes it; the other one follows.
  ASSERT_EQ(repair({"change", reel(), "1", "--muted", "yes"}).exitCode, 0);
  const Film free = exported("free.glb");
  const auto stray = [&](const Film& film, const std::string& hand) {
    double most = 0;
    for (int f = 165; f <= 385; f += 5) most = std::max(most, distance(film.at(f)[film.node(hand)].translation, free.at(f)[free.node(hand)].translation));
    return most;
  };
  EXPECT_LT(stray(after, "port_hand"), 0.3 * stray(after, "starboard_hand"));
  EXPECT_GT(stray(before, "port_hand"), stray(before, "starboard_hand"));
}

TEST_F(BroomReel, APropMayBeANodeOfALargerFileOrOfTheCharactersOwn) {
  // The keeper's own lantern, and the broom out of a file that holds a whole keeper with it.
  exported("both.glb");
  ASSERT_EQ(repair({"remove", reel(), "1,prop:1"}).exitCode, 0);
  ASSERT_EQ(repair({"add", reel(), "--kind", "prop", "--path", folder_.file("both.glb"), "--node", "broom", "--name", "borrowed"}).exitCode, 0);
  const ProgramRun own = repair({"add", reel(), "--kind", "prop", "--path", samples + "keeper.glb", "--node", "lantern", "--name", "lamp", "--holders",
                                 R"([{"time": 0, "bone": "@leftHand", "place": {"position": [0, 0, 0]}}])"});
  ASSERT_EQ(own.exitCode, 0) << own.err;
  // Held by the hand all along; the character's own node moves itself, a borrowed one comes along.
  ASSERT_EQ(repair({"add", reel(), "--kind", "grip", "--prop", "1", "--span", "150:400"}).exitCode, 0);
  const ProgramRun written = repair({"export", reel(), "--out", folder_.file("check.glb"), "--json"});
  ASSERT_EQ(written.exitCode, 0) << written.err;
  EXPECT_LT(nlohmann::json::parse(written.out)["fidelity"]["mm"].get<double>(), 0.01) << written.out;
  const Film film = exported("after.glb");
  const std::size_t lamp = film.node("lantern"), hand = film.node("port_hand");
  const auto inHand = [&](int f) { return apply(inverse(film.at(f)[hand]), film.at(f)[lamp].translation); };
  for (const int f : {1, 200, 400, 612}) EXPECT_LT(distance(inHand(f), Vec3d{}), 1e-4) << "frame " << f;
  int meshes = 0;
  for (const Mesh& mesh : film.figure.meshes) meshes += mesh.node == static_cast<int>(film.node("borrowed"));
  EXPECT_EQ(meshes, static_cast<int>(readFigure(samples + "broom.glb")->meshes.size()));
  const Result<int> second = findJoint(film.figure.skeleton, "lamp");
  EXPECT_FALSE(second.ok());

  const ProgramRun none = repair({"add", reel(), "--kind", "prop", "--path", samples + "keeper.glb", "--node", "anchor"});
  EXPECT_NE(none.exitCode, 0);
  EXPECT_NE((none.err + none.out).find("anchor"), std::string::npos);
}

TEST_F(BroomReel, FingersCloseWithinTheSpanOfAHandShapeAndNowhereElse) {
  const Film before = exported("before.glb");
  const ProgramRun run = repair({"add", reel(), "--kind", "hand shape", "--left", "yes", "--shape", "fist", "--span", "450:500", "--ease-before", "6", "--ease-after", "6"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Film after = exported("after.glb");
  const auto turned = [&](const std::string& bone, int f) {
    const std::size_t j = after.node(bone);
    return angleBetween(Quatd(before.motion.rotationsAt(f - 1)[j]), Quatd(after.motion.rotationsAt(f - 1)[j]));
  };
  for (const std::string bone : {"port_index1", "port_index2", "port_middle1"}) {
    EXPECT_GT(turned(bone, 475), 0.5) << bone;
    for (const int f : {440, 443, 508, 520}) EXPECT_LT(turned(bone, f), 1e-6) << bone << " frame " << f;
  }
  for (const std::string bone : {"starboard_index1", "port_hand", "port_forearm"}) EXPECT_LT(turned(bone, 475), 1e-6) << bone;
}

}  // namespace
}  // namespace understudy
