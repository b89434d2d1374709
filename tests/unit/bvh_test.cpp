// What the BVH reader makes of every spelling, and what it says about every flaw.
#include <gtest/gtest.h>

#include <cctype>
#include <cmath>
#include <cstdlib>
#include <numbers>
#include <string>

#include "core/io/bvh.h"

namespace understudy {
namespace {

constexpr const char* kArm = R"(HIERARCHY
ROOT keel
{
  OFFSET 1 2 3
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT port arm
  {
    OFFSET 0 10 0
    CHANNELS 3 Yrotation Xrotation Zrotation
    End Site
    {
      OFFSET 0 5 0
    }
  }
}
)";

std::string withMotion(std::string_view rows, int frames = 1, std::string_view time = "0.0333333") {
  return std::string(kArm) + "MOTION\nFrames: " + std::to_string(frames) + "\nFrame Time: " + std::string(time) + "\n" + std::string(rows);
}

Result<Figure> read(std::string_view text) { return readBvhText(text, "gallery.bvh"); }

const Motion& motionOf(const Figure& figure) { return *figure.clips.front().sampled; }

Quatd turn(char axis, double degrees) {
  const double half = degrees * std::numbers::pi / 360;
  Quatd q{std::cos(half), 0, 0, 0};
  (axis == 'X' ? q.x : axis == 'Y' ? q.y : q.z) = std::sin(half);
  return q;
}

bool says(const Issues& issues, std::string_view part) {
  for (const Issue& issue : issues)
    if (issue.text().find(part) != std::string::npos) return true;
  return false;
}

constexpr const char* kRow = "4 5 6 10 20 30 40 50 60\n";

TEST(Bvh, ReadsJointsOffsetsAndEndSites) {
  const auto figure = read(withMotion(kRow));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  const Skeleton& skeleton = figure->skeleton;
  ASSERT_EQ(skeleton.size(), 3);
  EXPECT_EQ(skeleton.names, (std::vector<std::string>{"keel", "port arm", ""}));
  EXPECT_EQ(skeleton.parents, (std::vector<int>{-1, 0, 1}));
  EXPECT_EQ(skeleton.fileNodes, (std::vector<int>{0, 1, 2}));
  EXPECT_EQ(skeleton.rest[2].translation, (Vec3d{0, 5, 0}));
  EXPECT_EQ(motionOf(*figure).rate, (FrameRate{30, 1}));
  EXPECT_EQ(motionOf(*figure).movedJoints, std::vector<int>{0});
  EXPECT_EQ(figure->clips.front().name, "gallery");
}

TEST(Bvh, TheUsualSpellingNeedsNoRemark) {
  ReadSettings settings;  // two bones do not tell which way is up
  settings.up = "+Y";
  settings.metresPerUnit = 0.01;
  const auto figure = readBvhText(withMotion(kRow), "gallery.bvh", settings);
  ASSERT_TRUE(figure.ok());
  for (const Issue& issue : figure->issues) ADD_FAILURE() << issue.text();
}

TEST(Bvh, SurplusRowsAreCountedAndIgnored) {
  const auto figure = read(withMotion(std::string(kRow) + kRow + kRow));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).frames, 1);
  EXPECT_TRUE(says(figure->issues, "2 rows more"));
}

TEST(Bvh, RotationsFollowTheOrderOfTheChannels) {
  const auto figure = read(withMotion(kRow));
  ASSERT_TRUE(figure.ok());
  const auto q = motionOf(*figure).rotationsAt(0);
  EXPECT_LT(angleBetween(Quatd(q[0]), turn('Z', 10) * turn('X', 20) * turn('Y', 30)), 1e-6);
  EXPECT_LT(angleBetween(Quatd(q[1]), turn('Y', 40) * turn('X', 50) * turn('Z', 60)), 1e-6);
  EXPECT_EQ(q[2], Quatf{});
}

TEST(Bvh, PositionChannelsReplaceTheOffset) {
  const auto figure = read(withMotion(kRow));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).translations.front(), (Vec3f{4, 5, 6}));
}

TEST(Bvh, EveryOrderOfThreeAxes) {
  for (const std::string order : {"XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX", "XYX", "ZYZ", "YYX"}) {
    std::string text = "HIERARCHY\nROOT a\n{\nOFFSET 0 0 0\nCHANNELS 3";
    for (char axis : order) text += std::string(" ") + axis + "rotation";
    text += "\n}\nMOTION\nFrames: 1\nFrame Time: 0.01\n-171.5 93.25 222.125\n";
    const auto figure = read(text);
    ASSERT_TRUE(figure.ok()) << figure.error().text();
    const Quatd expected = turn(order[0], -171.5) * turn(order[1], 93.25) * turn(order[2], 222.125);
    EXPECT_LT(angleBetween(Quatd(motionOf(*figure).rotations[0]), expected), 1e-6) << order;
  }
}

void expectSameAsPlain(std::string_view text, const char* what) {
  const auto plain = read(withMotion(kRow));
  const auto other = read(text);
  ASSERT_TRUE(other.ok()) << what << ": " << other.error().text();
  EXPECT_EQ(motionOf(*other), motionOf(*plain)) << what;
  EXPECT_EQ(other->skeleton.names, plain->skeleton.names) << what;
  EXPECT_EQ(other->skeleton.rest, plain->skeleton.rest) << what;
}

std::string replaced(std::string text, std::string_view from, std::string_view to) {
  for (std::size_t at = text.find(from); at != std::string::npos; at = text.find(from, at + to.size())) text.replace(at, from.size(), to);
  return text;
}

TEST(Bvh, EverySpellingGivesTheSameFigure) {
  const std::string plain = withMotion(kRow);
  expectSameAsPlain(replaced(plain, "\n", "\r\n"), "carriage returns and line feeds");
  expectSameAsPlain(replaced(plain, "\n", "\r"), "carriage returns");
  expectSameAsPlain(replaced(replaced(plain, "  ", "\t"), "\n", " \t\n"), "tabs and trailing blanks");
  expectSameAsPlain("\xEF\xBB\xBF" + plain, "byte order mark");
  expectSameAsPlain(replaced(plain, "\n", "\n# lamp\n// lens\n ; rail\n\n"), "comments and empty lines");
  expectSameAsPlain(replaced(replaced(plain, "{", "\n{"), "\n  OFFSET", " OFFSET"), "braces elsewhere");
  expectSameAsPlain(replaced(plain, "Frames: 1", "Frames:1"), "no space after Frames:");
  expectSameAsPlain(replaced(plain, "Frames: 1", "frames 1"), "no colon");
  expectSameAsPlain(replaced(plain, "Frame Time: ", "FRAME TIME:"), "no space after Frame Time:");
  std::string small = plain;
  for (std::string_view word : {"HIERARCHY", "ROOT", "OFFSET", "CHANNELS", "Xposition", "Zrotation", "JOINT", "End Site", "MOTION", "Frames"}) {
    std::string lowerCase(word);
    for (char& c : lowerCase) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    small = replaced(small, word, lowerCase);
  }
  expectSameAsPlain(small, "lower case");
  expectSameAsPlain(withMotion("4e0 +5 0.6E+1 1000e-2 20. 30.0000000000000000000 .4e2 50 60.00"), "scientific notation, no line end");
  expectSameAsPlain(withMotion("4 5 6 10\n20 30 40\n50 60\n"), "a row over several lines");
  expectSameAsPlain("HIERARCHY ROOT keel{OFFSET 1 2 3 CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation JOINT port arm{OFFSET 0 10 0 "
                    "CHANNELS 3 Yrotation Xrotation Zrotation End Site{OFFSET 0 5 0}}} MOTION Frames: 1 Frame Time: 0.0333333 4 5 6 10 20 30 40 50 60",
                    "one line");
}

TEST(Bvh, NumbersAreExact) {
  // Each spelling must give the float nearest to the decimal number, as the C library reads it.
  for (const char* number : {"0", "-0.000001", "123.456789", "-179.999999", "0.1", ".5", "-.25", "7.", "1234567.8901234", "12345678.5", "0.30000001192092896",
                             "99999999", "1e-7", "-2.5E+2", "3.14159265358979323846", "0.000000000000001", "123456.123456789", "1e-400"}) {
    const auto figure = read(withMotion(std::string(number) + " 0 0 0 0 0 0 0 0                                                    \n"));
    ASSERT_TRUE(figure.ok()) << number << ": " << figure.error().text();
    EXPECT_EQ(motionOf(*figure).translations[0].x, static_cast<float>(std::strtod(number, nullptr))) << number;
  }
}

TEST(Bvh, AnglesBeyondATurnKeepTheirPrecision) {
  for (const double degrees : {0.0, 90.0, -90.0, 180.0, 270.0, 359.999, 360.0, 719.5, -1234.5678, 100000.25}) {
    const auto figure = read(withMotion("0 0 0 0 " + std::to_string(degrees) + " 0 0 0 0\n"));
    ASSERT_TRUE(figure.ok());
    EXPECT_LT(angleBetween(Quatd(motionOf(*figure).rotations[0]), turn('X', degrees)), 1e-6) << degrees;
  }
}

TEST(Bvh, QuaternionsAreContinuousAcrossAFullTurn) {
  std::string rows;
  for (int f = 0; f < 100; ++f) rows += "0 0 0 " + std::to_string(f * 15) + " 0 0 0 0 0\n";
  const auto figure = read(withMotion(rows, 100));
  ASSERT_TRUE(figure.ok());
  for (int f = 1; f < 100; ++f) EXPECT_GT(dot(motionOf(*figure).rotationsAt(f)[0], motionOf(*figure).rotationsAt(f - 1)[0]), 0.9f);
}

std::string chain(std::string_view rootChannels, std::string_view childChannels, std::string_view rows, int frames) {
  return "HIERARCHY\nROOT a\n{\nOFFSET 1 2 3\n" + std::string(rootChannels) + "\nJOINT b\n{\nOFFSET 0 10 0\n" + std::string(childChannels) +
         "\n}\n}\nMOTION\nFrames: " + std::to_string(frames) + "\nFrame Time: 0.01\n" + std::string(rows);
}

TEST(Bvh, SomePositionChannelsReplaceOnlyTheirComponents) {
  const auto figure = read(chain("CHANNELS 2 Zposition Xrotation", "CHANNELS 1 Yposition", "7 90 12\n", 1));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(motionOf(*figure).movedJoints, (std::vector<int>{0, 1}));
  EXPECT_EQ(motionOf(*figure).translations[0], (Vec3f{1, 2, 7}));
  EXPECT_EQ(motionOf(*figure).translations[1], (Vec3f{0, 12, 0}));
  const auto world = worldAt(figure->skeleton, motionOf(*figure), 0);
  EXPECT_LT(distance(world[1].translation, Vec3d{1, 2, 19}), 1e-5);
}

TEST(Bvh, SixChannelsOnEveryJoint) {
  const char* six = "CHANNELS 6 Xposition Yposition Zposition Zrotation Yrotation Xrotation";
  const auto figure = read(chain(six, six, "1 2 3 0 0 0 0 10.5 0 0 0 0\n", 1));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).translations[1], (Vec3f{0, 10.5, 0}));
}

TEST(Bvh, PositionsNearZeroBelowTheRootAddToTheOffset) {
  const char* six = "CHANNELS 6 Xposition Yposition Zposition Zrotation Yrotation Xrotation";
  const auto figure = read(chain(six, six, "5 5 5 0 0 0 0 0 0.1 0 0 0\n", 1));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).translations[0], (Vec3f{5, 5, 5}));
  EXPECT_EQ(motionOf(*figure).translations[1], (Vec3f{0, 10, 0.1f}));
  EXPECT_TRUE(says(figure->issues, "addition to OFFSET"));
}

TEST(Bvh, SeveralRootsRepeatedAndMissingNames) {
  const auto figure = read("HIERARCHY\nROOT a\n{\nOFFSET 0 0 0\nCHANNELS 1 Xrotation\nJOINT\n{\nOFFSET 1 0 0\n}\n}\nROOT a\n{\nOFFSET 5 0 0\nCHANNELS 1 Yrotation\n}\n"
                           "MOTION\nFrames: 1\nFrame Time: 0.01\n10 20\n");
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(figure->skeleton.names, (std::vector<std::string>{"a", "", "a"}));
  EXPECT_EQ(figure->skeleton.parents, (std::vector<int>{-1, 0, -1}));
  EXPECT_LT(angleBetween(Quatd(motionOf(*figure).rotations[2]), turn('Y', 20)), 1e-6);
}

TEST(Bvh, NamesOutsideUtf8BecomeReadable) {
  const auto figure = read(replaced(withMotion(kRow), "keel", "qui\xE8te"));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(figure->skeleton.names[0], "qui\xC3\xA8te");
}

TEST(Bvh, RatesAreSnapped) {
  const struct {
    const char* time;
    FrameRate rate;
  } cases[] = {{"0.0333333", {30, 1}}, {"0.033333", {30, 1}}, {"0.03333", {30, 1}}, {".033", {30, 1}},       {"0.0083333", {120, 1}}, {"0.0083", {120, 1}}, {"0.04167", {24, 1}},
               {"0.0416667", {24, 1}}, {"0.01", {100, 1}},    {"0.04", {25, 1}},    {"0.016683", {60000, 1001}}, {"0.0333667", {30000, 1001}}, {"1", {1, 1}},  {"8.3333333e-3", {120, 1}}};
  for (const auto& c : cases) {
    const auto figure = read(withMotion(kRow, 1, c.time));
    ASSERT_TRUE(figure.ok());
    EXPECT_EQ(motionOf(*figure).rate, c.rate) << c.time << " gave " << motionOf(*figure).rate.text();
  }
}

TEST(Bvh, ImpossibleFrameTimesAreReplacedAndSaid) {
  for (const char* time : {"0", "-0.01", "nan", "inf", "fast", ""}) {
    const auto figure = read(withMotion(kRow, 1, time));
    ASSERT_TRUE(figure.ok()) << time << ": " << figure.error().text();
    EXPECT_EQ(motionOf(*figure).rate, (FrameRate{30, 1}));
    EXPECT_FALSE(figure->clips[0].rateStated);
    EXPECT_TRUE(says(figure->issues, "30 frames/s are assumed")) << time;
  }
  const auto without = read(replaced(withMotion(kRow), "Frame Time: 0.0333333\n", ""));
  ASSERT_TRUE(without.ok());
  EXPECT_TRUE(says(without->issues, "states no frame time"));
}

TEST(Bvh, MissingRowsKeepWhatIsThere) {
  const auto figure = read(withMotion(std::string(kRow) + kRow, 5));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).frames, 2);
  EXPECT_EQ(motionOf(*figure).rotations.size(), 6u);
  EXPECT_TRUE(says(figure->issues, "announces 5 frames and holds 2 complete rows"));
  const auto cut = read(withMotion(std::string(kRow) + "4 5 6 10", 2));
  ASSERT_TRUE(cut.ok());
  EXPECT_EQ(motionOf(*cut).frames, 1);
  EXPECT_TRUE(says(cut->issues, "last row has 4 of 9 values"));
}

TEST(Bvh, NoFramesGiveTheRestPose) {
  const auto figure = read(withMotion("", 0));
  ASSERT_TRUE(figure.ok());
  EXPECT_EQ(motionOf(*figure).frames, 1);
  EXPECT_EQ(worldAt(figure->skeleton, motionOf(*figure), 0)[2].translation, (Vec3d{1, 17, 3}));
  EXPECT_TRUE(says(figure->issues, "0 frames"));
}

struct Bad {
  const char* what;
  std::string text;
  const char* message;
  const char* place;
};

TEST(Bvh, ErrorsSayWhatAndWhere) {
  const std::string plain = withMotion(kRow);
  const Bad cases[] = {
      {"empty", "", "empty", "line 1"},
      {"blank", " \n\n ", "empty", "line"},
      {"other text", "lamp oil\n", "instead of HIERARCHY", "line 1"},
      {"16-bit", std::string("\xFF\xFEH\0I\0", 6), "16-bit", "line 1"},
      {"not a number", withMotion("4 5 6 10 twenty 30 40 50 60\n"), "'twenty' is no number, where Xrotation of the joint 'keel'", "line 19"},
      {"nan", withMotion(std::string(kRow) + "4 5 6 10 20 30 40 nan 60\n", 2), "'nan' is no usable value for Xrotation of the joint 'port arm'", "line 20"},
      {"inf", withMotion("4 -inf 6 10 20 30 40 50 60\n"), "Yposition", "line 19"},
      {"huge", withMotion("4 1e30 6 10 20 30 40 50 60\n"), "Yposition", "line 19"},
      {"beyond double", withMotion("4 1e999 6 10 20 30 40 50 60\n"), "Yposition", "line 19"},
      {"short row", withMotion("4 5 6 10 20 30 40 50\n4 5 6 10 20 30 40 50 60\n", 2), "8 values instead of 9", "line 19"},
      {"long row", withMotion("4 5 6 10 20 30 40 50 60 70\n"), "more than 9 values", "line 19"},
      {"no frames", replaced(plain, "Frames: 1\n", ""), "'Frames:' is missing", "line 18"},
      {"negative frames", replaced(plain, "Frames: 1", "Frames: -1"), "number of frames", "line 17"},
      {"odd frames", replaced(plain, "Frames: 1", "Frames: many"), "'many'", "line 17"},
      {"no motion", kArm, "without MOTION", "line"},
      {"open brace", replaced(plain, "}\nMOTION", "MOTION"), "still open", "line 15"},
      {"extra brace", replaced(plain, "}\nMOTION", "}\n}\nMOTION"), "no opening one", "line 16"},
      {"no brace", replaced(plain, "port arm\n  {", "port arm\n"), "opening brace", "line"},
      {"unknown channel", replaced(plain, "6 Xposition", "6 Wposition"), "'Wposition' is no channel", "line 5"},
      {"unknown word", replaced(plain, "  OFFSET 0 10 0", "  OFSET 0 10 0"), "'OFSET' is not understood", "line 8"},
      {"offset", replaced(plain, "OFFSET 0 10 0", "OFFSET 0 ten 0"), "'ten'", "line 8"},
      {"no joints", "HIERARCHY\nMOTION\nFrames: 0\nFrame Time: 1\n", "no joint", "line 2"},
      {"channels in an end", replaced(plain, "OFFSET 0 5 0", "OFFSET 0 5 0 CHANNELS 1 Xrotation"), "End Site", "line 12"},
  };
  for (const Bad& bad : cases) {
    const auto figure = read(bad.text);
    ASSERT_FALSE(figure.ok()) << bad.what;
    EXPECT_EQ(figure.error().fault, Fault::input) << bad.what;
    EXPECT_NE(figure.error().what.find(bad.message), std::string::npos) << bad.what << ": " << figure.error().text();
    EXPECT_NE(figure.error().where.find(bad.place), std::string::npos) << bad.what << ": " << figure.error().text();
    EXPECT_NE(figure.error().where.find("gallery.bvh"), std::string::npos) << bad.what;
    EXPECT_FALSE(figure.error().todo.empty()) << bad.what;
  }
}

TEST(Bvh, StopsOnRequest) {
  std::stop_source source;
  source.request_stop();
  RunControl control;
  control.stop = source.get_token();
  const auto figure = readBvhText(withMotion(kRow), "gallery.bvh", {}, control);
  ASSERT_FALSE(figure.ok());
  EXPECT_EQ(figure.error().fault, Fault::cancelled);
}

}  // namespace
}  // namespace understudy
