// A character's profile in the editor: saved by its command, and the next clip needs no input for the map.
#include <filesystem>

#include "core/store/profile_file.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

TEST_F(EditorRun, ASavedProfileMapsTheNextClip) {
  load();
  // The artist finds that the character's neck should stay as it is: its row is emptied by keys.
  MapModel& model = window->map().model();
  QTableView& table = window->map().table();
  ASSERT_GE(document().map().character.joint(Role::neck), 0);
  selectRole(Role::neck);
  table.setCurrentIndex(model.index(model.rowOf(Role::neck), MapModel::characterColumn));
  table.setFocus();
  QTest::keyClick(&table, Qt::Key_F2);
  auto* box = table.viewport()->findChild<QComboBox*>();
  ASSERT_TRUE(box);
  QTest::keyClick(box, Qt::Key_A, Qt::ControlModifier);
  QTest::keyClick(box->lineEdit(), Qt::Key_Delete);
  QTest::keyClick(box->lineEdit(), Qt::Key_Return);
  settle();
  ASSERT_LT(document().map().character.joint(Role::neck), 0);
  const int hips = document().map().character.joint(Role::hips);

  EXPECT_FALSE(std::filesystem::exists(profilePathOf(stick))) << "never without being asked";
  key(Qt::Key_S, Qt::ControlModifier | Qt::AltModifier);
  settle();
  const auto saved = loadProfile(profilePathOf(stick));
  ASSERT_TRUE(saved.ok()) << saved.error().text();
  EXPECT_TRUE(saved->map[static_cast<std::size_t>(indexOf(Role::neck))].joints.empty());
  EXPECT_FALSE(document().take().character->path.empty());

  // Another reel, another clip, the same character: dropped, and mapped.
  document().clear();
  settle();
  const std::string other = folder.file("other.bvh");
  WalkOptions options;
  options.frames = 40;
  writeFile(other, makeWalkBvh(options));
  drop({other, stick});
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete()) << window->messages().text().toStdString();
  EXPECT_EQ(session().frames(), 40);
  EXPECT_LT(document().map().character.joint(Role::neck), 0);
  EXPECT_EQ(document().map().character.joint(Role::hips), hips);
  // Taking it up is one step with the character, and undone with it.
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(*document().take().map, MapKeys{});
}

}  // namespace
}  // namespace understudy::editor
