// Profiles: what a take says of its character, on disk, and what another take takes over from it.
#include <gtest/gtest.h>

#include <filesystem>

#include "core/inspect/limits.h"
#include "core/store/profile_file.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

/// A take of which everything that belongs to its character was changed by hand.
Take corrected() {
  Take take;
  FileReference character;
  character.path = "/cast/keeper.glb";
  character.metresPerUnit = 0.01;
  character.up = "+Z";
  take.character = character;
  take = setRole(take, MapSide::character, Role::hips, {"hull"});
  take = setRole(take, MapSide::character, Role::spine, {"waist", "ribs"});
  take = setRole(take, MapSide::performer, Role::hips, {"Root"});
  take = setAlignmentOffset(take, Role::leftHand, {0.1, 0, -0.2});
  take = setAlignmentChoice(take, Role::head, true);
  ReferenceSettings reference;
  reference.facingDegrees = 90;
  take = setCharacterReference(take, reference);
  take = setLeftOut(take, {"coat"});
  Repair shape;
  shape.action = HandShapeRepair{false, "fist", 0.8};
  take = addRepair(take, shape);
  Repair once = shape;
  once.span = TimeRange{1, 2};
  return addRepair(take, once);
}

TEST(Profile, HoldsWhatIsTheCharactersAndNothingOfThePerformers) {
  const Profile profile = profileOf(corrected(), {{"slide", 0.7}});
  EXPECT_EQ(profile.character, "keeper.glb");
  EXPECT_EQ(profile.map[static_cast<std::size_t>(indexOf(Role::spine))].joints, (std::vector<std::string>{"waist", "ribs"}));
  ASSERT_EQ(profile.handShapes.size(), 1U) << "the one of a span is the clip's";
  EXPECT_EQ(std::get<HandShapeRepair>(profile.handShapes[0].action).shape, "fist");
  EXPECT_EQ(writeProfile(profile).find("Root"), std::string::npos);

  // On another performance the character is what it was.
  Take other;
  FileReference file;
  file.path = "/cast/keeper.glb";
  other.character = file;
  other = setRole(other, MapSide::performer, Role::hips, {"Pelvis"});
  const Take with = withProfile(other, profile);
  EXPECT_EQ(with.map->character, corrected().map->character);
  EXPECT_EQ(with.map->performer, other.map->performer);
  EXPECT_EQ(with.character->metresPerUnit, 0.01);
  EXPECT_EQ(with.character->up, "+Z");
  EXPECT_EQ(with.retarget->alignmentOffsets, corrected().retarget->alignmentOffsets);
  EXPECT_EQ(with.retarget->alignmentChoices, corrected().retarget->alignmentChoices);
  EXPECT_EQ(with.retarget->characterReference.facingDegrees, 90.0);
  EXPECT_EQ(with.leftOut, std::vector<std::string>{"coat"});
  ASSERT_EQ(with.repairs->size(), 1U);
  EXPECT_EQ(withProfile(with, profile), with) << "twice is once";
}

TEST(Profile, WhatTheTakeSaysItselfStays) {
  Take take;
  FileReference file;
  file.path = "/cast/keeper.glb";
  file.up = "+Y";
  take.character = file;
  take = setRole(take, MapSide::character, Role::hips, {"pelvis"});
  take = setAlignmentOffset(take, Role::leftHand, {1, 1, 1});
  take = setLeftOut(take, {"cape"});
  const Take with = withProfile(take, profileOf(corrected()));
  EXPECT_EQ(with.character->up, "+Y");
  EXPECT_EQ(with.map->character, take.map->character);
  EXPECT_EQ(with.retarget->alignmentOffsets.at(Role::leftHand), (Vec3d{1, 1, 1}));
  EXPECT_EQ(with.leftOut, std::vector<std::string>{"cape"});
}

TEST(ProfileFile, ReadBackIsTheSame) {
  Profile profile = profileOf(corrected(), {{"depth", 12}, {"slide", 0.7}});
  profile.contentHash = "0123456789abcdef";
  profile.unknown = R"({"joy":[1,2]})";
  Issues issues;
  const Result<Profile> read = readProfile(writeProfile(profile), "x", &issues);
  ASSERT_TRUE(read.ok()) << read.error().text();
  EXPECT_EQ(*read, profile);
  EXPECT_EQ(issues.size(), 1U);  // the unknown field
  EXPECT_EQ(writeProfile(*read), writeProfile(profile));
}

TEST(ProfileFile, SaysWhatIsWrongAndWhere) {
  const auto refused = [](const std::string& text, const std::string& about) {
    const Result<Profile> read = readProfile(text, "keeper.profile.json");
    ASSERT_FALSE(read.ok()) << text;
    EXPECT_NE(read.error().text().find(about), std::string::npos) << read.error().text();
    EXPECT_NE(read.error().text().find("keeper.profile.json"), std::string::npos);
  };
  refused("", "line 1");
  refused("{\n  \"format\": \"understudy profile\",\n  \"version\": 1,\n}", "line 4");
  refused("[]", "no profile");
  refused(R"({"format":"understudy reel","version":1})", "no profile");
  refused(R"({"format":"understudy profile"})", "version");
  refused(R"({"format":"understudy profile","version":99})", "newer");
  refused(R"({"format":"understudy profile","version":1,"map":{"hips":{"joints":[3]}}})", "map.hips.joints");
  refused(R"({"format":"understudy profile","version":1,"thresholds":{"slide":"much"}})", "thresholds.slide");
  refused(R"({"format":"understudy profile","version":1,"up":"sideways"})", "up");
  refused(R"({"format":"understudy profile","version":1,"metresPerUnit":-1})", "metresPerUnit");
  refused(R"({"format":"understudy profile","version":1,"alignment":{"head":{"offset":[1,2]}}})", "alignment.head.offset");
  refused(R"({"format":"understudy profile","version":1,"handShapes":[{"kind":"untwist"}]})", "handShapes");
}

TEST(ProfileFile, LiesBesideTheCharacterAndTellsWhenThatHasChanged) {
  const TemporaryFolder folder;
  const std::string character = folder.file("keeper.glb");
  writeFile(character, "one");
  Issues none;
  const auto nothing = profileBeside(character, &none);
  ASSERT_TRUE(nothing.ok());
  EXPECT_FALSE(nothing->has_value());
  EXPECT_TRUE(none.empty());
  Profile profile;
  profile.contentHash = contentHash(character);
  ASSERT_TRUE(saveProfile(profile, profilePathOf(character)));
  Issues same, other;
  ASSERT_TRUE((*profileBeside(character, &same)).has_value());
  EXPECT_EQ(same.size(), 1U);
  writeFile(character, "another");
  ASSERT_TRUE((*profileBeside(character, &other)).has_value());
  EXPECT_EQ(other.size(), 2U);
  writeFile(profilePathOf(character), "{");
  EXPECT_FALSE(profileBeside(character).ok());
}

TEST(FindingLimits, CanBeSetByNameInTheirUnits) {
  FindingLimits limits;
  ASSERT_TRUE(setLimits({{"slide", 2}, {"gripTurn", 90}, {"jump", 5}}, limits));
  EXPECT_NEAR(limits.feet.slide, 0.002, 1e-12);
  EXPECT_NEAR(limits.grips.turn, 1.5707963, 1e-6);
  EXPECT_EQ(limits.jumps.least, 5);
  const FindingLimits before = limits;
  const Status unknown = setLimits({{"depth", 1}, {"slyde", 2}}, limits);
  ASSERT_FALSE(unknown);
  EXPECT_NE(unknown.error().text().find("slyde"), std::string::npos);
  EXPECT_EQ(limits.depth.least, before.depth.least) << "nothing is set where something is wrong";
  for (const double bad : {0.0, -1.0, std::numeric_limits<double>::quiet_NaN(), std::numeric_limits<double>::infinity()}) EXPECT_FALSE(setLimits({{"slide", bad}}, limits));
  // Each names something of its own.
  for (const LimitField& field : limitFields()) {
    FindingLimits one;
    ASSERT_TRUE(setLimits({{field.name, 77}}, one));
    int changed = 0;
    for (const LimitField& other : limitFields()) {
      FindingLimits plain;
      changed += other.of(one) != other.of(plain);
    }
    EXPECT_EQ(changed, 1) << field.name;
  }
}

TEST(LeftOut, IsKeptInReels) {
  const Take take = setLeftOut(Take{}, {"coat", "hat"});
  Reel reel;
  reel.takes.emplace_back(take);
  const Result<Reel> read = readReel(writeReel(reel, "/x.reel"), "/x.reel");
  ASSERT_TRUE(read.ok());
  EXPECT_EQ(read->takes[0]->leftOut, take.leftOut);
  EXPECT_TRUE(setCharacter(take, FileReference{"/other.glb"}).leftOut.empty());
}

}  // namespace
}  // namespace understudy
