#include <gtest/gtest.h>

#include "core/mapping/bone_map.h"
#include "tests/support/sketch.h"

namespace understudy {
namespace {

Figure small() {
  Figure f;
  f.skeleton.add("root", -1, {}, 0);
  f.skeleton.add("a", 0, {}, 1);
  f.skeleton.add("b", 1, {}, 2);
  f.skeleton.add("hand", 0, {}, 3);
  f.skeleton.add("hand", 1, {}, 4);
  f.skeleton.add("", 2, {}, 7);
  return f;
}

TEST(MapFile, RoundTripKeepsJoints) {
  const auto all = test::customarySkeletons();
  BoneMap map{mapRoles(all[0].figure), mapRoles(all[2].figure)};
  const std::string text = writeMapFile(map, all[0].figure, all[2].figure);
  const auto back = readMapFile(text, "map.json", all[0].figure, all[2].figure);
  ASSERT_TRUE(back.ok()) << back.error().text();
  for (int r = 0; r < roleCount; ++r) {
    EXPECT_EQ(back->performer.roles[r].joints, map.performer.roles[r].joints) << roleName(roleAt(r));
    EXPECT_EQ(back->character.roles[r].joints, map.character.roles[r].joints) << roleName(roleAt(r));
  }
  EXPECT_EQ(writeMapFile(map, all[0].figure, all[2].figure), text);
  EXPECT_NE(text.find("\"reason\""), std::string::npos);
}

TEST(MapFile, TakesNamesListsPathsAndIndices) {
  const Figure f = small();
  Issues issues;
  const auto map = readMapFile(R"({"roles": {
    "hips": {"performer": "root"},
    "spine": {"character": ["a", "b"]},
    "leftHand": {"performer": "root/hand", "character": "root/a/hand"},
    "head": {"performer": "#7", "character": 7},
    "neck": null
  }})",
                               "m.json", f, f, &issues);
  ASSERT_TRUE(map.ok()) << map.error().text();
  EXPECT_EQ(map->performer.joint(Role::hips), 0);
  EXPECT_TRUE(map->character.at(Role::hips).empty());
  EXPECT_EQ(map->character.at(Role::spine).joints, (std::vector<int>{1, 2}));
  EXPECT_EQ(map->performer.joint(Role::leftHand), 3);
  EXPECT_EQ(map->character.joint(Role::leftHand), 4);
  EXPECT_EQ(map->performer.joint(Role::head), 5);
  EXPECT_EQ(map->character.joint(Role::head), 5);
  EXPECT_EQ(map->character.at(Role::head).confidence, 1);
  EXPECT_TRUE(issues.empty());
}

TEST(MapFile, WarnsAboutWhatItLeavesOut) {
  const Figure f = small();
  Issues issues;
  const auto map = readMapFile(
      "{\"note\": 1, \"roles\": {\n\"leftElbow\": {\"performer\": \"a\"},\n\"hips\": {\"performer\": \"root\", \"colour\": 3},\n"
      "\"spine\": {\"performer\": \"root\"}}}",
      "m.json", f, f, &issues);
  ASSERT_TRUE(map.ok());
  ASSERT_EQ(issues.size(), 4U);
  for (const Issue& issue : issues) EXPECT_EQ(issue.severity, Severity::warning);
  EXPECT_EQ(issues[1].where, "m.json, line 2");
  EXPECT_EQ(map->performer.joint(Role::hips), 0);
  EXPECT_TRUE(map->performer.at(Role::spine).empty());
}

struct Bad {
  const char* text;
  const char* what;
  const char* where;
};

TEST(MapFile, ErrorsNameRoleKeyAndLine) {
  const Figure f = small();
  const Bad cases[] = {{"", "no valid JSON", "m.json, line 1"},
                       {"{\"roles\": {\n\n \"hips\": oops}}", "no valid JSON", "m.json, line 3"},
                       {"[]", "no \"roles\"", "m.json"},
                       {"{\"roles\": 3}", "no \"roles\"", "m.json"},
                       {"{\"roles\": {\n\"hips\": \"root\"}}", "'hips'", "m.json, line 2"},
                       {"{\"roles\": {\n\"hips\": {\n\"performer\": \"pelvis\"}}}", "There is no joint 'pelvis'", "m.json, line 3"},
                       {"{\"roles\": {\n\"leftHand\": {\"character\": \"hand\"}}}", "stands for 2 joints", "m.json, line 2"},
                       {"{\"roles\": {\"hips\": {\"performer\": 99}}}", "no node 99", "m.json, line 1"},
                       {"{\"roles\": {\"hips\": {\"performer\": 1e300}}}", "not by number", "m.json, line 1"},
                       {"{\"roles\": {\"hips\": {\"performer\": [[\"root\"]]}}}", "not by array", "m.json, line 1"},
                       {"{\"roles\": {\"spine\": {\"performer\": [\"a\", \"a\"]}}}", "stands twice", "m.json, line 1"}};
  for (const Bad& bad : cases) {
    const auto map = readMapFile(bad.text, "m.json", f, f);
    ASSERT_FALSE(map.ok()) << bad.text;
    EXPECT_NE(map.error().what.find(bad.what), std::string::npos) << bad.text << "\n" << map.error().text();
    EXPECT_EQ(map.error().where, bad.where) << bad.text;
    EXPECT_FALSE(map.error().todo.empty()) << bad.text;
    EXPECT_EQ(static_cast<int>(map.error().fault), static_cast<int>(Fault::mapping));
  }
}

// Every truncation of a good file is an error, never a crash.
TEST(MapFile, TruncationsFailCleanly) {
  const auto all = test::customarySkeletons();
  const BoneMap map{mapRoles(all[3].figure), mapRoles(all[3].figure)};
  std::string text = writeMapFile(map, all[3].figure, all[3].figure);
  text.pop_back();
  for (std::size_t n = 0; n < text.size(); n += 7)
    EXPECT_FALSE(readMapFile(std::string_view(text).substr(0, n), "m.json", all[3].figure, all[3].figure).ok());
}

}  // namespace
}  // namespace understudy
