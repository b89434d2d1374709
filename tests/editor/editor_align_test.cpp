// Alignment by eye: both figures in their reference poses, a role turned by its ring, by numbers, and undone.
#include <QTabWidget>

#include "app/editor/document/aligning.h"
#include "app/editor/panels/match_panel.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

class EditorAlign : public EditorRun {
 protected:
  int characterJoint(Role role) { return document().map().character.joint(role); }
  /// Direction from a joint to the next in the stage.
  Vec3d limb(std::size_t figure, int from, int to) {
    const FigureInstance& f = window->stage().scene().figures.at(figure);
    return normalised(apply(f.placement, f.jointWorld[static_cast<std::size_t>(to)].translation) - apply(f.placement, f.jointWorld[static_cast<std::size_t>(from)].translation));
  }
};

TEST_F(EditorAlign, TheReferenceShowsWhatTheMatchDoes) {
  load();
  const auto evaluated = document().evaluated();
  const auto character = document().figure(Cast::character);
  const std::vector<Affined> pose = alignedReference(document());
  ASSERT_EQ(pose.size(), static_cast<std::size_t>(character->skeleton.size()));
  // Matched limbs lie on the performer's.
  const auto performer = document().figure(Cast::performer);
  const ReferencePose& reference = evaluated->report->performerReference;
  const Affined fromPerformer = worldFromFile(*performer, reference), fromCharacter = worldFromFile(*character, evaluated->report->characterReference);
  int compared = 0;
  for (const auto& [upper, lower] : {std::pair{Role::leftUpperArm, Role::leftLowerArm}, {Role::rightUpperArm, Role::rightLowerArm}, {Role::leftUpperLeg, Role::leftLowerLeg}}) {
    if (!evaluated->report->alignment[static_cast<std::size_t>(indexOf(upper))].aligned) continue;
    const auto along = [&](const Affined& world, const std::vector<Affined>& joints, const SkeletonMap& map) {
      return normalised(apply(world, joints[static_cast<std::size_t>(map.joint(lower))].translation) - apply(world, joints[static_cast<std::size_t>(map.joint(upper))].translation));
    };
    EXPECT_GT(dot(along(fromPerformer, reference.fileWorld, document().map().performer), along(fromCharacter, pose, document().map().character)), 0.999) << roleName(upper);
    ++compared;
  }
  EXPECT_GT(compared, 0);
}

TEST_F(EditorAlign, ARoleIsTurnedByItsRing) {
  load();
  const Take before = document().take();
  key(Qt::Key_R, Qt::ShiftModifier);
  drawn();
  EXPECT_EQ(session().layout(), StageLayout::references);
  ASSERT_EQ(window->stage().scene().figures.size(), 2U);
  selectRole(Role::leftUpperArm);
  drawn();
  const int upper = characterJoint(Role::leftUpperArm), lower = characterJoint(Role::leftLowerArm);
  const Vec3d was = limb(1, upper, lower), body = limb(1, characterJoint(Role::hips), characterJoint(Role::head));
  // The outer ring turns about the line of sight.
  const auto at = window->stage().ringPoint(3);
  const auto centre = window->stage().pointOf({Cast::character, upper});
  ASSERT_TRUE(at && centre);
  const QPointF arm = *at - *centre;
  const double c = std::cos(0.35), s = std::sin(0.35);
  drag(&window->stage(), *at, *centre + QPointF(arm.x() * c - arm.y() * s, arm.x() * s + arm.y() * c));
  const Vec3d offset = alignmentOffset(document().take(), Role::leftUpperArm);
  EXPECT_NEAR(length(offset), 0.35, 0.03);
  EXPECT_EQ(document().take().retarget->alignmentOffsets.size(), 1U) << "this role alone";
  EXPECT_TRUE(document().take().nudges->empty()) << "and no frame";
  drawn();
  EXPECT_NEAR(std::acos(std::clamp(dot(limb(1, upper, lower), was), -1.0, 1.0)), 0.35, 0.2) << "seen at once";
  EXPECT_GT(dot(limb(1, characterJoint(Role::hips), characterJoint(Role::head)), body), 1 - 1e-9);
  // What is shown is what the match makes of it.
  const std::vector<Affined> shown = alignedReference(document());
  ASSERT_TRUE(document().evaluated()->complete());
  EXPECT_NEAR(length(document().evaluatedTake().retarget->alignmentOffsets.at(Role::leftUpperArm) - offset), 0, 1e-12);
  const Quatd now = document().evaluated()->report->alignment[static_cast<std::size_t>(indexOf(Role::leftUpperArm))].correction;
  const Affined world = worldFromFile(*document().figure(Cast::character), document().evaluated()->report->characterReference);
  const Quatd rest = polarParts(world * document().evaluated()->report->characterReference.fileWorld[static_cast<std::size_t>(upper)]).rotation;
  const Quatd turned = polarParts(world * shown[static_cast<std::size_t>(upper)]).rotation;
  EXPECT_LT(length(logOf(conjugate(turned) * (now * rest))), 1e-6);
  // By numbers: from the ring, and in the panel.
  key(Qt::Key_Z, Qt::ControlModifier);
  settle();
  EXPECT_EQ(document().take(), before) << "one drag is one step of undo";
  drawn();
  const auto ring = window->stage().ringPoint(3);
  ASSERT_TRUE(ring);
  QTest::mouseMove(&window->stage(), ring->toPoint());
  QMouseEvent move(QEvent::MouseMove, *ring, window->stage().mapToGlobal(*ring), Qt::NoButton, Qt::NoButton, Qt::NoModifier);
  QApplication::sendEvent(&window->stage(), &move);
  QTest::keyClick(&window->stage(), Qt::Key_1);
  auto* number = window->stage().findChild<QLineEdit*>(QStringLiteral("stageNumber"));
  ASSERT_TRUE(number && number->isVisible());
  QTest::keyClicks(number, QStringLiteral("2"));
  QTest::keyClick(number, Qt::Key_Return);
  settle();
  EXPECT_NEAR(length(alignmentOffset(document().take(), Role::leftUpperArm)) * 57.29577951308232, 12, 1e-6);
  QDoubleSpinBox* x = nullptr;
  auto* match = window->findChild<MatchPanel*>();
  ASSERT_TRUE(match);
  for (auto* spin : match->findChildren<QDoubleSpinBox*>())
    if (spin->accessibleName() == QStringLiteral("Turn about X")) x = spin;
  ASSERT_TRUE(x);
  EXPECT_NEAR(x->value(), alignmentOffset(document().take(), Role::leftUpperArm).x * 57.29577951308232, 0.051);
}

TEST_F(EditorAlign, OnlyRolesOfBothFiguresAreTurned) {
  load();
  key(Qt::Key_R, Qt::ShiftModifier);
  drawn();
  EXPECT_FALSE(alignedRole(document(), -1));
  EXPECT_EQ(alignedRole(document(), characterJoint(Role::leftHand)), Role::leftHand);
  session().select(Bone{Cast::performer, document().map().performer.joint(Role::leftHand)});
  drawn();
  EXPECT_FALSE(window->stage().ringPoint(3)) << "the performer is what one aligns by";
}

}  // namespace
}  // namespace understudy::editor
