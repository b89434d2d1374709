#include <gtest/gtest.h>

#include <cmath>

#include "core/job/finish_guard.h"
#include "core/take/edits.h"
#include "tests/support/finding_kit.h"

namespace understudy {
namespace {

using test::flaw;

/// A touch that mends a lost contact of severity 0.2, and makes a jump of `jump`.
struct Trial {
  explicit Trial(double jump) {
    TouchRepair touch;
    touch.bone = "@leftHand";
    take = addRepair(take, test::proposedRepair(touch, "hand on chest"), &touchId);
    take = addRepair(take, test::proposedRepair(PlantRepair{}, "left foot"), &plantId);
    lost = flaw(FindingKind::lostContact, "@leftHand", {10, 40}, 60, 0.2);
    accepted = {{lost, {touchId}}, {flaw(FindingKind::slide, "@leftFoot", {0, 50}, 20, 0.1), {plantId}}};
    with = {flaw(FindingKind::pop, "@leftLowerArm", {12, 12}, 18, jump, "touch 1 'hand on chest' turns it by 17° more in that frame"),
            flaw(FindingKind::pop, "@leftLowerLeg", {22, 22}, 30, 0.9, "plant 2 'left foot' turns it by 29° more in that frame")};
  }
  Take take;
  std::uint64_t touchId = 0, plantId = 0;
  Finding lost;
  std::vector<Accepted> accepted;
  Findings with;
};

TEST(FinishGuard, MutesWhatDoesMoreHarmThanGood) {
  Trial trial(0.4);
  Judged now{trial.take, trial.with};
  int judged = 0;
  const auto judge = [&](const Take& take) -> Result<Findings> {
    ++judged;
    EXPECT_TRUE(findRepair(take, trial.touchId)->muted);
    EXPECT_FALSE(findRepair(take, trial.plantId)->muted);
    return Findings{trial.with[1], trial.lost};
  };
  const auto done = withdrawHarmful(now, trial.accepted, judge);
  ASSERT_TRUE(done.ok());
  ASSERT_EQ(done->size(), 1U);
  EXPECT_EQ(done->front().repair, trial.touchId);
  EXPECT_EQ(done->front().reason, "with it the left lower arm jumps by 18°");
  EXPECT_EQ(judged, 1);
  EXPECT_EQ(now.findings.size(), 2U);
  EXPECT_NE(findRepair(now.take, trial.touchId)->name.find("jumps by 18°"), std::string::npos);
}

TEST(FinishGuard, LeavesWhatIsWorthItOrNoBetterWithout) {
  Trial small(0.1);
  const auto never = [](const Take&) -> Result<Findings> {
    ADD_FAILURE() << "nothing to try";
    return Findings{};
  };
  Judged now{small.take, small.with};
  EXPECT_TRUE(withdrawHarmful(now, small.accepted, never)->empty());
  Trial large(0.4);
  Judged other{large.take, large.with};
  const auto worse = [&](const Take&) -> Result<Findings> { return Findings{large.lost, large.with[0], large.with[1]}; };
  EXPECT_TRUE(withdrawHarmful(other, large.accepted, worse)->empty());
  EXPECT_TRUE(other.take == large.take);
}

/// Two touches of one hand, one after the other.
struct TwoTouches {
  TwoTouches() {
    TouchRepair touch;
    touch.bone = "@leftHand";
    take = addRepair(take, test::proposedRepair(touch, "hand on chest"), &first);
    take = addRepair(take, test::proposedRepair(touch, "hand on head"), &second);
  }
  Take take;
  std::uint64_t first = 0, second = 0;
  Finding lostFirst = flaw(FindingKind::lostContact, "@leftHand", {10, 40}, 60, 0.9), lostSecond = flaw(FindingKind::lostContact, "@leftHand", {60, 80}, 60, 0.9);
};

TEST(FinishGuard, MutesTheTouchThatHoldsAnArmInTheBodyAndNoOther) {
  TwoTouches two;
  TouchRepair touch;
  std::uint64_t other = 0;
  touch.bone = "@rightHand";
  two.take = addRepair(two.take, test::proposedRepair(touch, "right hand on hips"), &other);
  const Finding lostOther = flaw(FindingKind::lostContact, "@rightHand", {10, 40}, 60, 0.9);
  Finding deepFirst = flaw(FindingKind::depth, "@leftUpperArm", {5, 45}, 40, 0.5);
  deepFirst.sentence = "The left forearm lies 40 mm in the floor; 2 times within 0.9 s";
  const Finding deepSecond = flaw(FindingKind::depth, "@leftUpperArm", {70, 75}, 32, 0.4);
  Judged now{two.take, {deepFirst, deepSecond}};
  // Without the second one its arm lies in the body as well.
  const auto judge = [&](const Take& tried) -> Result<Findings> {
    EXPECT_FALSE(findRepair(tried, other)->muted);  // its arm is in no body
    Findings out{deepSecond};
    if (!findRepair(tried, two.first)->muted) out.push_back(deepFirst);
    else out.push_back(two.lostFirst);
    if (findRepair(tried, two.second)->muted) out.push_back(two.lostSecond);
    return out;
  };
  const auto done = withdrawHarmful(now, {{two.lostFirst, {two.first}}, {two.lostSecond, {two.second}}, {lostOther, {other}}}, judge);
  ASSERT_TRUE(done.ok());
  ASSERT_EQ(done->size(), 1U);
  EXPECT_EQ(done->front().repair, two.first);
  EXPECT_EQ(done->front().reason, "with it the left forearm lies 40 mm in the floor");
  EXPECT_FALSE(findRepair(now.take, two.second)->muted);
  EXPECT_EQ(now.findings.size(), 2U);
}

TEST(FinishGuard, MutesATouchThatHoldsAnArmThoughAnotherHasToStay) {
  const TwoTouches two;
  const Finding deepFirst = flaw(FindingKind::depth, "@leftUpperArm", {5, 45}, 80, 1), deepSecond = flaw(FindingKind::depth, "@leftUpperArm", {60, 75}, 32, 0.4);
  Judged now{two.take, {deepFirst, deepSecond}};
  // Both arms come out, but without the second touch the arm jumps.
  const auto judge = [&](const Take& tried) -> Result<Findings> {
    Findings out;
    if (!findRepair(tried, two.first)->muted) out.push_back(deepFirst);
    if (!findRepair(tried, two.second)->muted) out.push_back(deepSecond);
    else out.push_back(flaw(FindingKind::pop, "@leftLowerArm", {61, 61}, 30, 0.6));
    return out;
  };
  const auto done = withdrawHarmful(now, {{two.lostFirst, {two.first}}, {two.lostSecond, {two.second}}}, judge);
  ASSERT_TRUE(done.ok());
  ASSERT_EQ(done->size(), 1U);
  EXPECT_EQ(done->front().repair, two.first);
  EXPECT_FALSE(findRepair(now.take, two.second)->muted);
  EXPECT_EQ(now.findings.size(), 1U);
}

TEST(FinishGuard, MutesATouchThatHoldsAnArmLessDeepWhereItsContactIsLostAllTheSame) {
  for (const bool lost : {true, false}) {
    Take take;
    std::uint64_t id = 0;
    TouchRepair touch;
    touch.bone = "@leftHand";
    take = addRepair(take, test::proposedRepair(touch, "hand on chest"), &id);
    const Finding contact = flaw(FindingKind::lostContact, "@leftHand", {10, 40}, 60, 0.9), deep = flaw(FindingKind::depth, "@leftUpperArm", {5, 45}, 16, 0.2);
    Judged now{take, lost ? Findings{deep, contact} : Findings{deep}};
    const auto done = withdrawHarmful(now, {{contact, {id}}}, [&](const Take&) -> Result<Findings> { return Findings{contact}; });
    ASSERT_TRUE(done.ok());
    EXPECT_EQ(done->size(), lost ? 1U : 0U);
  }
}

TEST(FinishGuard, GivesBackATouchThatHoldsNoArmInTheBodyByItself) {
  TwoTouches two;
  for (const std::uint64_t id : {two.first, two.second}) {
    Repair repair = *findRepair(two.take, id);
    repair.span = id == two.first ? TimeRange{10 / 30.0, 40 / 30.0} : TimeRange{60 / 30.0, 80 / 30.0};
    two.take = changeRepair(two.take, std::move(repair));
  }
  // On its way from one touch to the other the arm lies in the body, as it does in the first one.
  const Finding deep = flaw(FindingKind::depth, "@leftUpperArm", {5, 70}, 60, 0.75);
  const auto judge = [&](const Take& tried) -> Result<Findings> {
    Findings out;
    if (!findRepair(tried, two.first)->muted) out.push_back(deep);
    else out.push_back(two.lostFirst);
    if (findRepair(tried, two.second)->muted) out.push_back(two.lostSecond);
    return out;
  };
  Judged now{two.take, {deep}};
  const auto done = withdrawHarmful(now, {{two.lostFirst, {two.first}}, {two.lostSecond, {two.second}}}, judge);
  ASSERT_TRUE(done.ok());
  ASSERT_EQ(done->size(), 1U);
  EXPECT_EQ(done->front().repair, two.first);
  EXPECT_FALSE(findRepair(now.take, two.second)->muted);
  EXPECT_EQ(findRepair(now.take, two.second)->name, "hand on head");
  EXPECT_EQ(now.findings.size(), 1U);
}

TEST(FinishGuard, KeepsThePartsOfATouchAtWhichTheArmIsOutOfTheBody) {
  Take take;
  std::uint64_t id = 0;
  TouchRepair touch;
  touch.bone = "@leftHand";
  Repair whole = test::proposedRepair(touch, "hand on chest");
  whole.span = TimeRange{30 / 30.0, 90 / 30.0};
  take = addRepair(take, whole, &id);
  const Finding contact = flaw(FindingKind::lostContact, "@leftHand", {30, 90}, 60, 0.9), deep = flaw(FindingKind::depth, "@leftUpperArm", {50, 86}, 40, 0.5);
  const auto held = [&](const Take& tried, FrameSpan& part) {
    int count = 0;
    for (const Node<Repair>& repair : *tried.repairs) {
      if (repair->muted) continue;
      ++count;
      part = {static_cast<int>(std::lround(30 * repair->span->first)), static_cast<int>(std::lround(30 * repair->span->last))};
    }
    return count;
  };
  const auto judge = [&](const Take& tried) -> Result<Findings> {
    FrameSpan part;
    const int count = held(tried, part);
    if (count > 0 && !common(part, deep.span).empty()) return Findings{deep};
    Finding left = contact;
    if (count > 0) left.span.first = part.last + 1;
    return Findings{left};
  };
  Judged now{take, {deep}};
  const auto done = withdrawHarmful(now, {{contact, {id}}}, judge);
  ASSERT_TRUE(done.ok());
  EXPECT_EQ(done->size(), 1U);  // the whole one is told
  EXPECT_TRUE(findRepair(now.take, id)->muted);
  FrameSpan part;
  ASSERT_EQ(held(now.take, part), 1);  // what is left behind the frames at which it is deep is too short
  EXPECT_EQ(part.first, 30);
  EXPECT_LT(part.last, 50);
  EXPECT_GE(part.last, 45);
}

TEST(FinishGuard, MutesAClearanceThatLeavesTheDepthItWasMadeFor) {
  Take take;
  std::uint64_t id = 0;
  take = addRepair(take, test::proposedRepair(ClearanceRepair{}, "arms out of the body"), &id);
  const Finding before = flaw(FindingKind::depth, "@leftUpperArm", {0, 90}, 23, 0.3), after = flaw(FindingKind::depth, "@leftUpperArm", {0, 90}, 22, 0.29);
  Judged now{take, {after}};
  const auto judge = [&](const Take&) -> Result<Findings> { return Findings{flaw(FindingKind::depth, "@leftUpperArm", {0, 90}, 23, 0.29)}; };
  const auto done = withdrawHarmful(now, {{before, {id}}}, judge);
  ASSERT_TRUE(done.ok());
  ASSERT_EQ(done->size(), 1U);
  EXPECT_EQ(done->front().reason, "of 23 mm it leaves 22 mm");
}

}  // namespace
}  // namespace understudy
