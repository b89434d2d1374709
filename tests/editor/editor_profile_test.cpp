// A character's profile saved from the editor: the next clip on it needs no input to the map.
#include <filesystem>

#include "app/editor/panels/map_figure.h"
#include "core/take/profile.h"
#include "core/store/profile_file.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorProfile : public EditorRun {
 protected:
  /// Clicks a button of the message box that the next action opens.
  void answerBox(const QString& button) {
    auto* box = window->findChild<QMessageBox*>();
    ASSERT_TRUE(box);
    for (QAbstractButton* one : box->buttons())
      if (one->text().remove(QLatin1Char('&')) == button) return QTest::mouseClick(one, Qt::LeftButton);
    FAIL() << "no button " << button.toStdString();
  }
};

TEST_F(EditorProfile, TheSecondClipNeedsNoInputToTheMap) {
  load();
  const std::string profile = profilePathOf(stick);
  ASSERT_FALSE(std::filesystem::exists(profile));
  // The map is changed by hand: a role that no program would choose so, and a turn of another.
  selectRole(Role::leftHand);
  key(Qt::Key_P);
  ASSERT_TRUE(session().picking());
  const auto elbow = window->map().figure().pointOf(joint("lowerarm_l"));
  ASSERT_TRUE(elbow);
  QTest::mouseClick(&window->map().figure(), Qt::LeftButton, Qt::NoModifier, elbow->toPoint());
  key(Qt::Key_Escape);
  settle();
  ASSERT_EQ(document().map().character.joint(Role::leftHand), joint("lowerarm_l"));
  document().edit(QStringLiteral("turn"), setAlignmentOffset(document().take(), Role::rightUpperArm, {0, 0, 0.2}));
  settle();
  key(Qt::Key_S, Qt::ControlModifier | Qt::AltModifier);
  settle();
  ASSERT_TRUE(std::filesystem::exists(profile)) << window->messages().text().toStdString();
  EXPECT_TRUE(window->messages().text().contains(QStringLiteral("profile is saved")));
  const PerRole<RoleKeys> map = document().take().map->character;
  // Another reel, another clip, the same character.
  key(Qt::Key_Escape);
  key(Qt::Key_N, Qt::ControlModifier);
  answerBox(QStringLiteral("Discard"));
  settle();
  ASSERT_EQ(document().reel(), newReel());
  const std::string other = folder.file("another walk.bvh");
  writeFile(other, makeWalkBvh({.frames = 31, .scale = 1}));
  drop({other, stick});
  ASSERT_TRUE(document().evaluated() && document().evaluated()->complete()) << window->messages().text().toStdString();
  EXPECT_EQ(document().evaluated()->frames, 31);
  EXPECT_EQ(document().map().character.joint(Role::leftHand), joint("lowerarm_l")) << "as it was left";
  const auto now = keysOf(document().map(), document().figure(Cast::performer)->skeleton, document().figure(Cast::character)->skeleton).character;
  for (int r = 0; r < roleCount; ++r) EXPECT_EQ(now[static_cast<std::size_t>(r)].joints, map[static_cast<std::size_t>(r)].joints) << roleName(roleAt(r));
  EXPECT_NEAR(document().take().retarget->alignmentOffsets.at(Role::rightUpperArm).z, 0.2, 1e-12);
}

TEST_F(EditorProfile, WithoutAMapThereIsNothingToSave) {
  drop({stick});
  key(Qt::Key_S, Qt::ControlModifier | Qt::AltModifier);
  settle();
  EXPECT_FALSE(std::filesystem::exists(profilePathOf(stick)));
  EXPECT_TRUE(window->messages().text().contains(QStringLiteral("no bone map")));
}

}  // namespace
}  // namespace understudy::editor
