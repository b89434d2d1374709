// Runs understudy-cli repair as people and scripts do.
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/io/read.h"
#include "core/repair/fields.h"
#include "core/store/reel_file.h"
#include "tests/support/walk_and_stick.h"

namespace understudy {
namespace {

using Json = nlohmann::json;
namespace fs = std::filesystem;

class RepairCommand : public WalkAndStick {
 protected:
  void SetUp() override { ASSERT_EQ(repair({"new", reel(), "--performer", walk(), "--character", stick()}).exitCode, 0); }

  std::string reel() const { return file("walk.reel"); }
  static ProgramRun repair(std::vector<std::string> words) {
    words.insert(words.begin(), "repair");
    return cli(words);
  }
  ProgramRun on(const std::string& action, std::vector<std::string> more = {}) const {
    more.insert(more.begin(), {action, reel()});
    return repair(more);
  }
  Json answer(const std::string& action, std::vector<std::string> more = {}) const {
    more.emplace_back("--json");
    const ProgramRun run = on(action, more);
    EXPECT_EQ(run.exitCode, 0) << run.err << run.out;
    return Json::parse(run.out, nullptr, false);
  }
  Take take() const {
    const auto loaded = loadReel(reel());
    EXPECT_TRUE(loaded.ok());
    return loaded ? *loaded->takes.front() : Take{};
  }
  /// The request is refused with this exit code, `part` is told, and the reel keeps its bytes.
  void refused(const std::string& action, const std::vector<std::string>& more, int code, const std::string& part) const {
    const std::string before = readFile(reel());
    const ProgramRun run = on(action, more);
    EXPECT_EQ(run.exitCode, code) << action << " " << testing::PrintToString(more) << ": " << run.err << run.out;
    EXPECT_NE(run.err.find(part), std::string::npos) << run.err;
    EXPECT_TRUE(run.err.find("understudy-cli: ") != std::string::npos) << run.err;
    EXPECT_EQ(readFile(reel()), before) << "a refused request changed the reel";
    for (const auto& entry : fs::directory_iterator(folder_.path())) EXPECT_EQ(entry.path().string().find(".tmp"), std::string::npos) << entry.path();
  }

};

TEST_F(RepairCommand, EveryActionHasItsHelp) {
  const ProgramRun all = repair({"--help"});
  EXPECT_EQ(all.exitCode, 0);
  for (const std::string action : {"new", "list", "add", "change", "copy", "remove", "evaluate", "export", "schema"}) {
    EXPECT_NE(all.out.find("\n  " + action + " "), std::string::npos) << action;
    const ProgramRun help = repair({action, "--help"});
    EXPECT_EQ(help.exitCode, 0);
    for (const std::string& part : {"Usage: understudy-cli repair " + action, std::string("--json"), std::string("Exit codes:")})
      EXPECT_NE(help.out.find(part), std::string::npos) << action << " lacks " << part;
  }
  // Every parameter of every kind is an option.
  const std::string help = repair({"add", "--help"}).out;
  const auto known = [&](const FieldInfo& info, const auto&) {
    std::string option;
    for (const char c : std::string(info.name)) option += std::isupper(static_cast<unsigned char>(c)) ? std::string("-") + static_cast<char>(std::tolower(c)) : std::string(1, c);
    if (option == "id" || option == "proposed") return;
    EXPECT_NE(help.find("\n  --" + option + " "), std::string::npos) << option;
  };
  const auto check = [&]<class... T>(const T&... values) { (fields(known, values), ...); };
  check(PlantRepair{}, TouchRepair{}, GripRepair{}, ClearanceRepair{}, UntwistRepair{}, HandShapeRepair{}, GroundRepair{}, PropItem{}, Lock{}, Repair{});
  EXPECT_EQ(repair({}).exitCode, 2);
  EXPECT_NE(repair({"ad", reel()}).err.find("Did you mean 'add'?"), std::string::npos);
}

TEST_F(RepairCommand, ANewReelHoldsTheTakeAndIsNeverWrittenOver) {
  const Take made = take();
  EXPECT_EQ(fs::path(made.performer->path).filename(), "walk.bvh");
  EXPECT_EQ(fs::path(made.character->path).filename(), "stick.glb");
  EXPECT_TRUE(made.repairs->empty());
  EXPECT_FALSE(made.map->character[static_cast<std::size_t>(Role::hips)].joints.empty());
  refused("new", {"--performer", walk(), "--character", stick()}, 2, "already");
  EXPECT_EQ(repair({"new", file("no.reel"), "--performer", walk(), "--character", file("missing.glb")}).exitCode, 3);
  EXPECT_FALSE(fs::exists(file("no.reel")));
  EXPECT_EQ(repair({"new", file("none/no.reel"), "--performer", walk(), "--character", stick()}).exitCode, 5);
}

TEST_F(RepairCommand, FramesOnTheCommandLineBecomeSecondsInTheFile) {
  // The walk has 60 frames/s: frame 13 is 0.2 s from the start.
  const Json added = answer("add", {"--kind", "plant", "--part", "leftFoot", "--span", "13:43", "--marks", "heel:13,flat:16,ball:31", "--release", "40", "--ease-before", "6",
                                    "--ground", "12mm", "--name", "first step"});
  EXPECT_EQ(added["added"], Json::array({"1"}));
  const Take made = take();
  ASSERT_EQ(made.repairs->size(), 1u);
  const Repair& repair = *made.repairs->front();
  EXPECT_EQ(repair.name, "first step");
  EXPECT_NEAR(repair.span->first, 0.2, 1e-12);
  EXPECT_NEAR(repair.span->last, 0.7, 1e-12);
  EXPECT_NEAR(repair.easeBefore, 0.1, 1e-12);
  const auto& plant = std::get<PlantRepair>(repair.action);
  EXPECT_EQ(plant.part, PlantPart::leftFoot);
  EXPECT_NEAR(plant.ground, 0.012, 1e-12);
  EXPECT_NEAR(*plant.release, 0.65, 1e-12);
  ASSERT_EQ(plant.marks.size(), 3u);
  EXPECT_EQ(plant.marks[2].phase, PlantPhase::ball);
  EXPECT_NEAR(plant.marks[2].time, 0.5, 1e-12);
  const Json list = answer("list");
  EXPECT_EQ(list["frames"]["1"], Json::array({13, 43}));
  EXPECT_EQ(list["repairs"][0]["kind"], "plant");
  EXPECT_NE(on("list").out.find("13:43"), std::string::npos);
  const std::string longest = "first step of the way to the far window";
  ASSERT_EQ(on("change", {"1", "--name", longest}).exitCode, 0);
  EXPECT_NE(on("list").out.find(longest + " 13:43"), std::string::npos);
}

TEST_F(RepairCommand, NumbersFollowTheFirstFrameOfTheTake) {
  ASSERT_EQ(repair({"new", file("late.reel"), "--performer", walk(), "--character", stick(), "--range", "11:51", "--first-frame", "101"}).exitCode, 0);
  // Exported frame 101 is the clip's 11th.
  const ProgramRun run = repair({"add", file("late.reel"), "--kind", "offset", "--bones", "@head", "--rotate", "0,10,0", "--span", "101:111"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const auto loaded = loadReel(file("late.reel"));
  ASSERT_TRUE(loaded.ok());
  EXPECT_NEAR(loaded->takes.front()->repairs->front()->span->first, 10 / 60.0, 1e-12);
  EXPECT_NE(run.out.find("101:111"), std::string::npos) << run.out;
}

TEST_F(RepairCommand, AnglesAreDegreesAndLengthsMetres) {
  ASSERT_EQ(on("add", {"--kind", "offset", "--bones", "@leftHand,@head", "--rotate", "0,90,0", "--move", "0,0,2cm", "--space", "world", "--both-sides", "yes"}).exitCode, 0);
  const Take made = take();
  const auto& offset = std::get<OffsetRepair>(made.repairs->front()->action);
  ASSERT_EQ(offset.bones.size(), 2u);
  EXPECT_EQ(offset.bones[0].joint, "@leftHand");
  EXPECT_NEAR(offset.bones[1].rotation.y, 3.14159265358979 / 2, 1e-12);
  EXPECT_NEAR(offset.bones[1].translation.z, 0.02, 1e-12);
  EXPECT_EQ(offset.space, NudgeSpace::world);
  EXPECT_TRUE(offset.bothSides);
  // Turns are given to the bones there are.
  ASSERT_EQ(on("change", {"1", "--rotate", "0,0,0.5rad"}).exitCode, 0);
  const Take changed = take();
  const auto& other = std::get<OffsetRepair>(changed.repairs->front()->action);
  ASSERT_EQ(other.bones.size(), 2u);
  EXPECT_NEAR(other.bones[0].rotation.z, 0.5, 1e-12);
  EXPECT_EQ(other.bones[0].rotation.y, 0);
  EXPECT_NEAR(other.bones[0].translation.z, 0.02, 1e-12);
}

TEST_F(RepairCommand, AnOffsetArrivesInTheExportedFileAndOnlyThere) {
  const auto pose = [&](const std::string& path) {
    auto figure = readFigure(path, {});
    EXPECT_TRUE(figure.ok()) << figure.error().text();
    const auto clip = std::find_if(figure->clips.begin(), figure->clips.end(), [](const Clip& c) { return c.name == "Understudy"; });
    EXPECT_NE(clip, figure->clips.end());
    return std::pair(*sample(*clip, figure->skeleton), figure->skeleton);
  };
  ASSERT_EQ(on("export", {"--out", file("plain.glb")}).exitCode, 0);
  // Two bones of the character by its own names.
  const Take before = take();
  const std::string hand = before.map->character[static_cast<std::size_t>(Role::leftHand)].joints.front();
  ASSERT_EQ(on("add", {"--kind", "offset", "--bones", hand, "--rotate", "0,20,0", "--span", "21:31", "--ease-before", "0", "--ease-after", "0"}).exitCode, 0);
  const Json exported = answer("export", {"--out", file("turned.glb")});
  EXPECT_EQ(exported["out"], file("turned.glb"));
  EXPECT_EQ(exported["repairs"][0]["applied"], true);
  const auto [plain, bones] = pose(file("plain.glb"));
  const auto [turned, same] = pose(file("turned.glb"));
  const auto joint = findJoint(bones, hand);
  ASSERT_TRUE(joint.ok());
  ASSERT_EQ(plain.frames, turned.frames);
  for (int f = 0; f < plain.frames; ++f)
    for (int j = 0; j < bones.size(); ++j) {
      const auto i = static_cast<std::size_t>(f * bones.size() + j);
      const Quatd a = {plain.rotations[i].w, plain.rotations[i].x, plain.rotations[i].y, plain.rotations[i].z};
      const Quatd b = {turned.rotations[i].w, turned.rotations[i].x, turned.rotations[i].y, turned.rotations[i].z};
      const double degrees = length(logOf(conjugate(a) * b)) * 180 / 3.14159265358979;
      EXPECT_NEAR(degrees, j == *joint && f >= 20 && f <= 30 ? 20 : 0, 0.01) << "frame " << f + 1 << ", joint " << j;
    }
}

TEST_F(RepairCommand, ChangesKeepWhatWasNotNamed) {
  ASSERT_EQ(on("add", {"--kind", "smooth", "--bones", "@leftHand", "--cutoff", "5", "--span", "10:20", "--name", "wrist"}).exitCode, 0);
  ASSERT_EQ(on("change", {"1", "--muted", "yes", "--weight", "0.25"}).exitCode, 0);
  Take changed = take();
  EXPECT_TRUE(changed.repairs->front()->muted);
  EXPECT_EQ(changed.repairs->front()->weight, 0.25);
  EXPECT_EQ(changed.repairs->front()->name, "wrist");
  EXPECT_EQ(std::get<SmoothRepair>(changed.repairs->front()->action).cutoff, 5);
  EXPECT_EQ(answer("evaluate")["repairs"][0]["reason"], "muted");
  ASSERT_EQ(on("change", {"1", "--shift", "6", "--muted", "no"}).exitCode, 0);
  EXPECT_EQ(answer("list")["frames"]["1"], Json::array({16, 26}));
  ASSERT_EQ(on("change", {"1", "--span", "none"}).exitCode, 0);
  EXPECT_FALSE(take().repairs->front()->span);
  // The same again is no change.
  const std::string bytes = readFile(reel());
  const auto time = fs::last_write_time(reel());
  EXPECT_EQ(answer("change", {"1", "--weight", "0.25"})["saved"], false);
  EXPECT_EQ(readFile(reel()), bytes);
  EXPECT_EQ(fs::last_write_time(reel()), time);
  refused("change", {"1"}, 2, "nothing to change");
  refused("change", {"7", "--weight", "1"}, 2, "no repair 7");
  refused("change", {"1", "--shift", "500", "--span", "1:5"}, 2, "outside the clip");
}

TEST_F(RepairCommand, NudgesPropsObjectsAndLocksAreKeptToo) {
  ASSERT_EQ(on("add", {"--kind", "nudge", "--bones", "@head", "--rotate", "10,0,0", "--time", "31", "--late", "yes"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "prop", "--name", "staff", "--length", "140cm"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "object", "--form", "box", "--size", "1,0.2,1", "--name", "step"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "lock", "--bones", "@head", "--span", "2:4"}).exitCode, 0);
  Take made = take();
  ASSERT_EQ(made.nudges->size(), 1u);
  EXPECT_NEAR(made.nudges->front()->time, 0.5, 1e-12);
  EXPECT_TRUE(made.nudges->front()->late);
  ASSERT_EQ(made.props->size(), 1u);
  EXPECT_NEAR(made.props->front().length, 1.4, 1e-12);
  ASSERT_EQ(made.set->size(), 1u);
  EXPECT_EQ(made.set->front().kind, SetKind::box);
  ASSERT_EQ(made.locks->size(), 1u);
  ASSERT_EQ(on("change", {"1", "--time", "46"}).exitCode, 0);
  ASSERT_EQ(on("change", {"prop:1", "--radius", "2cm"}).exitCode, 0);
  ASSERT_EQ(on("change", {"lock:1", "--span", "2:9"}).exitCode, 0);
  made = take();
  EXPECT_NEAR(made.nudges->front()->time, 0.75, 1e-12);
  EXPECT_NEAR(made.props->front().radius, 0.02, 1e-12);
  EXPECT_NEAR(made.props->front().length, 1.4, 1e-12);
  EXPECT_NEAR(made.locks->front().span->last, 8 / 60.0, 1e-12);
  // What a repair needs stays as long as that does.
  ASSERT_EQ(on("add", {"--kind", "touch", "--bone", "@leftHand", "--target", "set", "--on", "step", "--span", "20:30"}).exitCode, 0);
  refused("remove", {"object:1"}, 2, "needed by touch");
  ASSERT_EQ(on("remove", {"1,2,prop:1,object:1,lock:1"}).exitCode, 0);
  made = take();
  EXPECT_TRUE(made.nudges->empty() && made.repairs->empty() && made.props->empty() && made.set->empty() && made.locks->empty());
  refused("remove", {"9"}, 2, "no repair 9");
  refused("remove", {"1;2"}, 2, "1;2");
}

TEST_F(RepairCommand, ListsAreReadBackIntoAnotherReel) {
  ASSERT_EQ(on("add", {"--kind", "prop", "--name", "staff"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "still", "--bones", "@leftHand", "--span", "20:30", "--time", "22"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "nudge", "--bones", "@head", "--rotate", "10,0,0", "--time", "31"}).exitCode, 0);
  const Take from = take();
  writeFile(file("list.json"), on("list", {"--json"}).out);
  ASSERT_EQ(repair({"new", file("other.reel"), "--performer", walk(), "--character", stick()}).exitCode, 0);
  const ProgramRun added = repair({"add", file("other.reel"), "--from", file("list.json")});
  ASSERT_EQ(added.exitCode, 0) << added.err;
  const auto other = loadReel(file("other.reel"));
  ASSERT_TRUE(other.ok());
  EXPECT_EQ(*other->takes.front()->repairs, *from.repairs);
  EXPECT_EQ(*other->takes.front()->nudges, *from.nudges);
  EXPECT_EQ(*other->takes.front()->props, *from.props);
}

TEST_F(RepairCommand, CopiesGoToTheOtherSideAndToLaterFrames) {
  ASSERT_EQ(on("add", {"--kind", "offset", "--bones", "@leftHand", "--rotate", "10,20,30", "--space", "world", "--span", "10:20", "--name", "wave"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "nudge", "--bones", "@leftFoot", "--rotate", "5,0,0", "--time", "15"}).exitCode, 0);
  EXPECT_EQ(answer("copy", {"1,2", "--mirrored", "--shift", "6"})["added"], Json::array({"3", "4"}));
  const Take made = take();
  ASSERT_EQ(made.repairs->size(), 2u);
  ASSERT_EQ(made.nudges->size(), 2u);
  EXPECT_EQ(std::get<OffsetRepair>((*made.repairs)[0]->action).bones[0].joint, "@leftHand");
  EXPECT_EQ(std::get<OffsetRepair>((*made.repairs)[1]->action).bones[0].joint, "@rightHand");
  EXPECT_EQ((*made.nudges)[1]->joints[0].joint, "@rightFoot");
  EXPECT_EQ((*made.repairs)[1]->name, "wave");
  const Json frames = answer("list")["frames"];
  EXPECT_EQ(frames["3"], Json::array({16, 26}));
  EXPECT_EQ(frames["4"], Json::array({21, 21}));
  refused("copy", {"1"}, 2, "nothing new");
  refused("copy", {"9", "--mirrored"}, 2, "no repair 9");
  refused("copy", {"1", "--shift", "50"}, 2, "outside the clip");
}

TEST_F(RepairCommand, CopiesFollowTheRolesOfAnotherCharacter) {
  StickOptions other;
  other.legLength = 0.5;
  writeFile(file("short.glb"), makeStickCharacterGlb(other));
  ASSERT_EQ(repair({"new", file("short.reel"), "--performer", walk(), "--character", file("short.glb")}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "prop", "--name", "staff"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "object", "--form", "box", "--size", "1,0.2,1", "--name", "step"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "still", "--bones", "@leftHand", "--span", "20:30"}).exitCode, 0);
  ASSERT_EQ(on("add", {"--kind", "touch", "--bone", "@rightHand", "--target", "set", "--on", "step", "--span", "40:50"}).exitCode, 0);
  const std::string before = readFile(reel());
  const ProgramRun copied = on("copy", {"1,2", "--to", file("short.reel")});
  ASSERT_EQ(copied.exitCode, 0) << copied.err;
  EXPECT_EQ(readFile(reel()), before) << "the reel that is copied from stays";
  const auto loaded = loadReel(file("short.reel"));
  ASSERT_TRUE(loaded.ok());
  const Take& made = *loaded->takes.front();
  ASSERT_EQ(made.repairs->size(), 2u);
  EXPECT_EQ(std::get<StillRepair>((*made.repairs)[0]->action).bones, std::vector<std::string>{"@leftHand"});
  ASSERT_EQ(made.set->size(), 1u) << "what a touch needs comes along";
  EXPECT_EQ(made.set->front().name, "step");
  EXPECT_TRUE(made.props->empty());
  refused("copy", {"1", "--to", file("missing.reel")}, 3, "missing.reel");
  refused("copy", {"1", "--to-take", "2"}, 2, "no take 2");
}

TEST_F(RepairCommand, WrongRequestsLeaveTheReelAlone) {
  ASSERT_EQ(on("add", {"--kind", "plant", "--part", "leftFoot", "--span", "10:30"}).exitCode, 0);
  refused("add", {}, 2, "--kind");
  refused("add", {"--kind", "plnt"}, 2, "Did you mean 'plant'?");
  refused("add", {"--kind", "still", "--bones", "@leftHorn", "--span", "5:9"}, 2, "leftHorn");
  refused("add", {"--kind", "offset", "--bones", "tail", "--rotate", "1,0,0"}, 2, "tail");
  refused("add", {"--kind", "offset", "--rotate", "1,0,0"}, 2, "--bones");
  refused("add", {"--kind", "still", "--span", "50:62"}, 2, "1:61");
  refused("add", {"--kind", "still", "--span", "0:6"}, 2, "outside the clip");
  refused("add", {"--kind", "still", "--span", "9:6"}, 2, "ends before it begins");
  refused("add", {"--kind", "still", "--span", "6"}, 2, "A:B");
  refused("add", {"--kind", "bridge"}, 2, "no edges");
  for (const std::string value : {"nan", "inf", "-1", "2", "a", ""}) refused("add", {"--kind", "smooth", "--weight", value}, 2, "--weight");
  refused("add", {"--kind", "smooth", "--cutoff", "0"}, 2, "--cutoff");
  refused("add", {"--kind", "smooth", "--part", "leftFoot"}, 2, "no --part");
  refused("add", {"--kind", "plant", "--part", "leftFoot", "--span", "25:40"}, 2, "planted in plant 1 too");
  refused("add", {"--kind", "plant", "--part", "rightFoot", "--span", "10:20", "--marks", "flat:30"}, 2, "outside its span");
  refused("add", {"--kind", "plant", "--part", "rightFoot", "--span", "10:20", "--marks", "flat:15,ball:12"}, 2, "order");
  refused("add", {"--kind", "plant", "--part", "rightFoot", "--span", "10:20", "--marks", "hop:15"}, 2, "heel, flat, ball, toe, spin");
  refused("add", {"--kind", "plant", "--part", "leftHand", "--span", "10:20", "--marks", "heel:15"}, 2, "Only a foot");
  refused("add", {"--kind", "plant", "--part", "rightFoot", "--span", "10:20", "--normal", "0,0,0"}, 2, "no length");
  refused("add", {"--kind", "grip", "--prop", "3"}, 2, "no prop 3");
  refused("add", {"--kind", "clearance", "--bodies", "tail"}, 2, "torso, head, thighs");
  refused("add", {"--kind", "hand-shape", "--shape", "claw"}, 2, "relaxed");
  refused("add", {"--kind", "touch", "--target", "set", "--on", "table"}, 2, "no set object");
  refused("add", {"--kind", "prop", "--path", file("missing.glb")}, 3, "not there");
  refused("add", {"--kind", "prop", "--length", "0"}, 2, "--length");
  refused("add", {"--kind", "still", "--take", "2"}, 2, "no take 2");
  refused("add", {"--from", file("missing.json")}, 3, "missing.json");
  writeFile(file("broken.json"), "{");
  refused("add", {"--from", file("broken.json")}, 3, "not JSON");
  writeFile(file("odd.json"), R"({"kind":"plant","prat":"leftFoot"})");
  refused("add", {"--from", file("odd.json")}, 2, "prat");
  writeFile(file("half.json"), R"([{"kind":"still","span":{"first":0.1,"last":0.2}},{"kind":"still","span":{"first":0.1,"last":20}}])");
  refused("add", {"--from", file("half.json")}, 2, "outside the clip");
  for (const char* odd : {"5", "[5]", "[[]]", "{\"repairs\":5}", "{\"kind\":5}", "{\"kind\":\"still\",\"bones\":5}", "{\"kind\":\"still\",\"span\":[1,2]}",
                          "{\"kind\":\"still\",\"item\":7,\"span\":{\"first\":1e300,\"last\":1e301}}", "{\"kind\":\"nudge\",\"time\":\"soon\"}",
                          "{\"kind\":\"nudge\",\"time\":1e300,\"bones\":[{\"joint\":\"@head\"}]}", "{\"kind\":\"plant\",\"marks\":[{\"time\":-1e300}]}",
                          "{\"props\":[{\"holders\":[{\"bone\":\"tail\"}]}]}", "{\"locks\":[{\"bones\":[\"tail\"]}]}", "{\"set\":[{\"kind\":\"mesh\"}]}", "null", "[]", "{}"}) {
    writeFile(file("odd.json"), odd);
    const std::string before = readFile(reel());
    const ProgramRun run = on("add", {"--from", file("odd.json")});
    EXPECT_TRUE(run.exitCode == 2 || run.exitCode == 3) << odd << ": " << run.exitCode << " " << run.err;
    EXPECT_EQ(run.err.find("defect"), std::string::npos) << odd << ": " << run.err;
    EXPECT_EQ(readFile(reel()), before) << odd;
  }
  refused("export", {"--out", reel()}, 2, "never written over");
  refused("export", {"--out", file("a.doc")}, 2, ".glb, .gltf, .bvh or .csv");
  refused("evaluate", {"--repair", "9"}, 2, "no repair 9");
  refused("evaluate", {"--limit-mm", "-1"}, 2, "--limit-mm");
  EXPECT_EQ(repair({"list", file("missing.reel")}).exitCode, 3);
  writeFile(file("damaged.reel"), "{\"format\":");
  EXPECT_EQ(repair({"list", file("damaged.reel")}).exitCode, 3);
  EXPECT_EQ(readFile(file("damaged.reel")), "{\"format\":");
}

TEST_F(RepairCommand, AReelIsListedWithoutItsSources) {
  ASSERT_EQ(on("add", {"--kind", "still", "--bones", "@leftHand", "--span", "13:25"}).exitCode, 0);
  std::string text = readFile(reel());
  for (std::size_t at = text.find("walk.bvh"); at != std::string::npos; at = text.find("walk.bvh", at)) text.replace(at, 8, "gone.bvh");
  writeFile(reel(), text);
  const ProgramRun run = on("list");
  EXPECT_EQ(run.exitCode, 0) << run.err;
  EXPECT_NE(run.out.find("0.20 s:0.40 s"), std::string::npos) << run.out;
  refused("evaluate", {}, 3, "gone.bvh");
}

TEST_F(RepairCommand, TheSchemaIsThePublishedOne) {
  const ProgramRun run = repair({"schema"});
  EXPECT_EQ(run.exitCode, 0);
  const std::string path = std::string(UNDERSTUDY_SOURCE) + "/resources/schema/repair.schema.json";
  EXPECT_EQ(run.out, readFile(path)) << "write it anew: understudy-cli repair schema > resources/schema/repair.schema.json";
  const Json schema = Json::parse(run.out);
  EXPECT_EQ(schema["oneOf"].size(), repairKinds().size());
}

}  // namespace
}  // namespace understudy
