#include <gtest/gtest.h>

#include "core/mapping/bone_map.h"
#include "core/mapping/name_rules.h"
#include "tests/support/sketch.h"

namespace understudy {
namespace {

std::map<Role, int> found(const SkeletonMap& map) {
  std::map<Role, int> out;
  for (int r = 0; r < roleCount; ++r)
    if (!map.roles[r].empty()) out[roleAt(r)] = map.roles[r].first();
  return out;
}

struct NameCase {
  const char* name;
  Part part;
  Side side;
};

// Spellings: CMU Acclaim and its conversions, H-Anim (ISO/IEC 19774), VRM, and customs of modelling pipelines.
TEST(NameRules, ReadsCustomarySpellings) {
  const NameCase cases[] = {{"lhumerus", Part::upperArm, Side::left},
                            {"rradius", Part::lowerArm, Side::right},
                            {"lfemur", Part::upperLeg, Side::left},
                            {"rtibia", Part::lowerLeg, Side::right},
                            {"lowerback", Part::spine, Side::centre},
                            {"upperneck", Part::neck, Side::centre},
                            {"hero01:LeftForeArm", Part::lowerArm, Side::left},
                            {"RightUpLeg", Part::upperLeg, Side::right},
                            {"LeftToeBase", Part::toes, Side::left},
                            {"Bip01 L UpperArm", Part::upperArm, Side::left},
                            {"Bip001 R Finger1", Part::index, Side::right},
                            {"l_sternoclavicular", Part::shoulder, Side::left},
                            {"r_knee", Part::lowerLeg, Side::right},
                            {"vl5", Part::spine, Side::centre},
                            {"skullbase", Part::head, Side::centre},
                            {"J_Bip_R_LowerLeg", Part::lowerLeg, Side::right},
                            {"DEF-upper_arm.L", Part::upperArm, Side::left},
                            {"clavicle_r", Part::shoulder, Side::right},
                            {"calf_l", Part::lowerLeg, Side::left},
                            {"UpperLegL", Part::upperLeg, Side::left},
                            {"port_forearm", Part::lowerArm, Side::left},
                            {"starboard_shin", Part::lowerLeg, Side::right},
                            {"LeftFootThumb1", Part::toes, Side::left},
                            {"lThumb2", Part::thumb, Side::left},
                            {"f_pinky.02.R", Part::little, Side::right},
                            {"左ひじ", Part::lowerArm, Side::left},
                            {"Pelvis", Part::hips, Side::centre},
                            {"RightHip", Part::upperLeg, Side::right}};
  for (const NameCase& c : cases) {
    const NameCue cue = readName(c.name);
    EXPECT_EQ(static_cast<int>(cue.best()), static_cast<int>(c.part)) << c.name;
    EXPECT_EQ(static_cast<int>(cue.side), static_cast<int>(c.side)) << c.name;
    EXPECT_FALSE(cue.helper) << c.name;
  }
}

TEST(NameRules, MarksHelpersEndsAndTwists) {
  for (const char* name :
       {"kneeIK.l", "control-foot-roll.l", "handIK.l", "PoleTargetL", "handslot.r", "ik_hand_gun", "J_Sec_Hair1_01", "Bip01 Footsteps"})
    EXPECT_TRUE(readName(name).helper) << name;
  for (const char* name : {"FootL_end", "Bip01HeadNub", "LeftHandEnd", "HeadTop_End"}) EXPECT_TRUE(readName(name).end) << name;
  for (const char* name : {"upperarm_twist_01_l", "LeftForeArmRoll", "lThighTwist"}) EXPECT_TRUE(readName(name).twist) << name;
  EXPECT_FALSE(readName("Bone.012").known());
  EXPECT_FALSE(readName("").known());
}

TEST(MapRoles, CustomarySkeletonsByNameAndShape) {
  for (const test::Sketch& s : test::customarySkeletons()) {
    const SkeletonMap map = mapRoles(s.figure);
    EXPECT_EQ(test::wrongRoles(s, found(map), false), "") << s.title;
    EXPECT_TRUE(missingRequired(map).empty()) << s.title;
    for (int r = 0; r < roleCount; ++r)
      if (!map.roles[r].empty()) {
        EXPECT_GT(map.roles[r].confidence, 0) << s.title;
        EXPECT_LE(map.roles[r].confidence, 1) << s.title;
        EXPECT_NE(map.roles[r].reason, "") << s.title;
      }
  }
}

TEST(MapRoles, WithoutNamesRequiredRolesStayRight) {
  for (test::Sketch& s : test::customarySkeletons()) {
    MapSettings settings;
    settings.useNames = false;
    test::addSkin(s);
    EXPECT_EQ(test::wrongRoles(s, found(mapRoles(s.figure, settings)), true), "") << s.title;
  }
}

TEST(MapRoles, ChainsListTwistAndExtraJoints) {
  const auto all = test::customarySkeletons();
  const test::Sketch& s = all[2];
  const SkeletonMap map = mapRoles(s.figure);
  const auto names = [&](Role role) {
    std::string out;
    for (const int j : map.at(role).joints) out += s.figure.skeleton.names[j] + " ";
    return out;
  };
  EXPECT_EQ(names(Role::spine), "spine_01 spine_02 ");
  EXPECT_EQ(names(Role::chest), "spine_03 spine_04 ");
  EXPECT_EQ(names(Role::neck), "neck_01 neck_02 ");
  EXPECT_EQ(names(Role::leftUpperArm), "upperarm_l upperarm_twist_01_l ");
}

TEST(MapRoles, SidesThatContradictTheFeetAreReported) {
  auto all = test::customarySkeletons();
  test::Sketch& s = all[0];
  for (std::string& name : s.figure.skeleton.names) {
    if (const auto l = name.find("Left"); l != std::string::npos)
      name.replace(l, 4, "Right");
    else if (const auto r = name.find("Right"); r != std::string::npos)
      name.replace(r, 5, "Left");
  }
  const SkeletonMap map = mapRoles(s.figure);
  EXPECT_EQ(test::wrongRoles(s, found(map), true), "");
  EXPECT_FALSE(map.issues.empty());
}

TEST(MapRoles, StatedRolesOutweighEverything) {
  auto all = test::customarySkeletons();
  test::Sketch& s = all[8];
  const int neck = s.truth.at(Role::neck);
  s.figure.statedRoles = {{"head", neck}, {"noSuchRole", 1}, {"hips", 100000}};
  const SkeletonMap map = mapRoles(s.figure);
  EXPECT_EQ(map.joint(Role::head), neck);
  EXPECT_EQ(map.joint(Role::neck), -1);
  EXPECT_EQ(map.at(Role::head).reason, "stated by the file");
  EXPECT_EQ(map.joint(Role::hips), s.truth.at(Role::hips));
}

TEST(MapRoles, NothingInNothingOut) {
  EXPECT_EQ(missingRequired(mapRoles(Figure{})).size(), 15U);
  Figure lone;
  lone.skeleton.add("Hips", -1, {}, 0);
  const SkeletonMap map = mapRoles(lone);
  EXPECT_GE(missingRequired(map).size(), 14U);
  Figure nan = test::customarySkeletons()[0].figure;
  nan.skeleton.rest[3].translation.x = std::nan("");
  EXPECT_NO_THROW((void)mapRoles(nan));
}

}  // namespace
}  // namespace understudy
