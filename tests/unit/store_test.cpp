#include <gtest/gtest.h>

#include <unistd.h>

#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/store/autosave.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

Reel fullReel(const std::string& folder) {
  Take take;
  take.name = "Sweeping the gallery ✓ \"east\"";
  take = setPerformer(take, {.path = folder + "/clips/keeper.bvh", .metresPerUnit = 0.01, .up = "+Z", .contentHash = "00ff"});
  take = setCharacter(take, {.path = folder + "/keeper.glb"});
  take = setClip(take, 2);
  take = setRole(take, MapSide::performer, Role::spine, {"Spine", "Spine1"});
  take = setRole(take, MapSide::character, Role::spine, {"a/b/c", "#7"});
  take = setTrim(take, FrameRange{11, 50}, {30000, 1001});
  take = setRate(take, FrameRate{30000, 1001}, {30, 1}, {30, 1});
  take = setFirstFrame(take, 1001);
  take = setStride(take, 0.1 + 0.2);
  take = setGround(take, false);
  take = setPerformerReference(take, {.clipFrame = 0, .facingDegrees = -90.5});
  take = setAlignmentOffset(take, Role::leftFoot, {0.1, 1.0 / 3, -2e-9});
  take = setAlignmentChoice(take, Role::leftFoot, false);
  Nudge nudge;
  nudge.name = "lantern higher";
  nudge.time = 47 * 1001 / 30000.0;
  nudge.easeBefore = 0.1;
  nudge.easeAfter = 0;
  nudge.weight = 0.75;
  nudge.muted = true;
  nudge.space = NudgeSpace::view;
  nudge.joints = {{"port_hand", {0.1, 0.2, 0.3}, {}}, {"hips", {}, {0, 0.01, 0}}};
  take = addNudge(addNudge(take, nudge), {});
  take = setExport(take, {.path = folder + "/out/keeper_sweep.glb", .format = "glb", .animationOnly = true, .animationName = "sweep", .rate = FrameRate{24, 1}});
  Reel reel;
  reel = addTake(addTake(reel, take), {.name = "second"});
  return selectTake(reel, 0);
}

TEST(ReelFile, RoundTripIsEqual) {
  const TemporaryFolder folder;
  const Reel reel = fullReel(folder.path());
  const std::string path = folder.file("keeper.reel");
  ASSERT_TRUE(saveReel(reel, path).ok());
  Issues issues;
  const auto back = loadReel(path, &issues);
  ASSERT_TRUE(back.ok()) << back.error().text();
  EXPECT_EQ(*back, reel);
  EXPECT_TRUE(issues.empty());
  EXPECT_EQ(writeReel(*back, path), readFile(path));
}

TEST(ReelFile, PathsAreRelativeAndMoveWithTheFolder) {
  const TemporaryFolder folder;
  const std::string path = folder.file("keeper.reel");
  ASSERT_TRUE(saveReel(fullReel(folder.path()), path).ok());
  EXPECT_EQ(readFile(path).find(folder.path()), std::string::npos);
  const TemporaryFolder other;
  std::filesystem::copy_file(path, other.file("keeper.reel"));
  const auto moved = loadReel(other.file("keeper.reel"));
  ASSERT_TRUE(moved.ok());
  EXPECT_EQ(moved->takes[0]->performer->path, other.file("clips/keeper.bvh"));
}

TEST(ReelFile, UnknownFieldsAreKeptAndTold) {
  const TemporaryFolder folder;
  const std::string path = folder.file("a.reel");
  auto json = nlohmann::ordered_json::parse(writeReel(fullReel(folder.path()), path));
  json["props"] = {{"broom", 1}};
  json["takes"][0]["weather"] = {1, 2, 3};
  json["takes"][0]["nudges"][0]["colour"] = "amber";
  json["takes"][0]["performer"]["camera"] = nullptr;
  Issues issues;
  const auto reel = readReel(json.dump(), path, &issues);
  ASSERT_TRUE(reel.ok()) << reel.error().text();
  EXPECT_EQ(issues.size(), 4U);
  const auto back = nlohmann::ordered_json::parse(writeReel(*reel, path));
  EXPECT_EQ(back["props"], json["props"]);
  EXPECT_EQ(back["takes"][0]["weather"], json["takes"][0]["weather"]);
  EXPECT_EQ(back["takes"][0]["nudges"][0]["colour"], "amber");
  EXPECT_TRUE(back["takes"][0]["performer"].contains("camera"));
}

TEST(ReelFile, RepairsOfEveryKindComeBackAsTheyWere) {
  const TemporaryFolder folder;
  Take take;
  std::uint64_t id = 0;
  const auto add = [&](RepairAction action) {
    Repair repair;
    repair.id = ++id;
    repair.name = "repair " + std::to_string(id);
    repair.span = TimeRange{0.25 * static_cast<double>(id), 3.5};
    repair.easeAfter = 0.125;
    repair.weight = 0.75;
    repair.solo = id % 2 == 0;
    repair.action = std::move(action);
    take = addRepair(take, std::move(repair));
  };
  add(OffsetRepair{{{"@leftUpperArm", {0.1, 0, 0}, {0, 0.2, 0}}}, NudgeSpace::world, true});
  add(BridgeRepair{{"@spine"}, false});
  add(StillRepair{{"tail"}, 1.5, true});
  add(RestoreRepair{{"@head"}});
  add(UntwistRepair{{}, false, 0.25, 1});
  add(SmoothRepair{{"@leftHand"}, 4, false});
  PlantRepair plant;
  plant.part = PlantPart::rightFoot;
  plant.marks = {{0.5, PlantPhase::heel}, {0.75, PlantPhase::spin}};
  plant.anchored = true;
  plant.anchor = {1, 2, 3};
  add(plant);
  TouchRepair touch;
  touch.kind = TouchKind::glide;
  touch.target = TouchTarget::body;
  touch.on = "@hips";
  add(touch);
  GripRepair grip;
  grip.supportGrip = {{0, 0.5, 0}, normalised(Quatd{1, 2, 3, 4})};
  add(grip);
  add(ClearanceRepair{{"@leftUpperArm"}, {"torso"}, 0.004, true});
  add(HandShapeRepair{false, "fist", 0.5});
  add(GroundRepair{{"torso"}, 0.01});
  ASSERT_EQ(id, repairKinds().size());
  PropItem prop;
  prop.id = 1;
  prop.path = folder.path() + "/broom.glb";
  take = setProps(take, {prop});
  SetItem steps;
  steps.kind = SetKind::steps;
  steps.count = 4;
  take = setSet(take, {steps});
  take = setLocks(take, {{{"@head"}, TimeRange{0, 1}}});
  take = setWaved(take, "slide left 12", true);
  const Reel reel = addTake({}, take);
  Issues issues;
  const auto back = readReel(writeReel(reel, folder.file("a.reel")), folder.file("a.reel"), &issues);
  ASSERT_TRUE(back.ok()) << back.error().text();
  EXPECT_TRUE(issues.empty());
  EXPECT_EQ(*back, reel);
}

TEST(ReelFile, SaysWhatIsWrongAndWhere) {
  const std::string good = writeReel(fullReel("/gallery"), "/gallery/a.reel");
  const auto message = [&](const std::string& text) {
    const auto reel = readReel(text, "/gallery/a.reel");
    EXPECT_FALSE(reel.ok()) << text.substr(0, 80);
    return reel.ok() ? std::string() : reel.error().text();
  };
  const auto changed = [&](const nlohmann::json::json_pointer& at, const nlohmann::json& value) {
    auto json = nlohmann::json::parse(good);
    json[at] = value;
    return message(json.dump());
  };
  using Pointer = nlohmann::json::json_pointer;
  EXPECT_NE(message("").find("empty"), std::string::npos);
  EXPECT_NE(message("{\n \"format\": \"understudy reel\",\n oops").find("line 3"), std::string::npos);
  EXPECT_NE(message("[1,2]").find("no reel"), std::string::npos);
  EXPECT_NE(message("{\"format\":\"understudy reel\"}").find("version"), std::string::npos);
  EXPECT_NE(changed(Pointer("/version"), 99).find("newer"), std::string::npos);
  EXPECT_NE(changed(Pointer("/takes/0/nudges/0/time"), "noon").find("takes[0].nudges[0].time"), std::string::npos);
  EXPECT_NE(changed(Pointer("/takes/0/nudges/0/joints/1/rotation"), {1, 2}).find("takes[0].nudges[0].joints[1].rotation"), std::string::npos);
  EXPECT_NE(changed(Pointer("/takes/0/clip"), 0).find("takes[0].clip"), std::string::npos);
  EXPECT_NE(changed(Pointer("/takes/0/rate"), 24).find("takes[0].rate"), std::string::npos);
  EXPECT_NE(changed(Pointer("/takes/0/trim/first"), -4).find("takes[0].trim"), std::string::npos);
  EXPECT_NE(changed(Pointer("/takes"), 3).find("takes"), std::string::npos);
  EXPECT_NE(changed(Pointer("/takes/1"), 3).find("takes[1]"), std::string::npos);
}

TEST(ReelFile, RelinksSourcesThatMovedAlong) {
  const TemporaryFolder folder;
  std::filesystem::create_directories(folder.file("project/clips"));
  writeFile(folder.file("project/clips/keeper.bvh"), "a");
  writeFile(folder.file("project/keeper.glb"), "b");
  Take take = setCharacter(setPerformer({}, {.path = "/elsewhere/project/clips/keeper.bvh"}), {.path = "/elsewhere/project/gone.glb"});
  Reel reel;
  reel = addTake(reel, take);
  Issues issues;
  const Reel linked = relinkMoved(reel, folder.file("project/a.reel"), &issues);
  EXPECT_EQ(linked.takes[0]->performer->path, folder.file("project/clips/keeper.bvh"));
  EXPECT_EQ(linked.takes[0]->character->path, "/elsewhere/project/gone.glb");
  ASSERT_EQ(issues.size(), 2U);
  EXPECT_EQ(issues[0].severity, Severity::note);
  EXPECT_EQ(issues[1].severity, Severity::warning);
}

// Source: test vectors of the FNV authors (draft-eastlake-fnv): FNV-1a 64 of "" and "foobar".
TEST(ReelFile, ContentHashIsFnv1a) {
  const TemporaryFolder folder;
  writeFile(folder.file("empty"), "");
  writeFile(folder.file("foobar"), "foobar");
  EXPECT_EQ(contentHash(folder.file("empty")), "cbf29ce484222325");
  EXPECT_EQ(contentHash(folder.file("foobar")), "85944171f73967e8");
  EXPECT_EQ(contentHash(folder.file("none")), "");
}

TEST(Autosave, IsFoundRecoveredAndDiscarded) {
  const TemporaryFolder folder;
  const std::string state = folder.file("state/deep");
  const Reel reel = fullReel(folder.path());
  const std::string session = newSessionName();
  ASSERT_TRUE(autosave(state, session, reel, folder.file("keeper.reel")).ok());
  writeFile(state + "/broken.autosave", "{\"format\":\"under");
  writeFile(state + "/notes.txt", "hello");
  const auto found = findRecoveries(state);
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].session, session);
  EXPECT_EQ(found[0].reelPath, folder.file("keeper.reel"));
  EXPECT_GT(found[0].savedAt, 1600000000);
  const auto back = recover(found[0]);
  ASSERT_TRUE(back.ok()) << back.error().text();
  EXPECT_EQ(*back, reel);
  discardAutosave(state, session);
  EXPECT_TRUE(findRecoveries(state).empty());
  EXPECT_TRUE(findRecoveries(folder.file("nowhere")).empty());
  // The parent of this test runs for sure; an autosave of a running program is marked.
  ASSERT_TRUE(autosave(state, std::to_string(getppid()) + "-abcdef", reel, "").ok());
  ASSERT_EQ(findRecoveries(state).size(), 1U);
  EXPECT_TRUE(findRecoveries(state)[0].running);
}

}  // namespace
}  // namespace understudy
