// Offers are tried before they are made.
#include "core/job/offers.h"

#include <gtest/gtest.h>

#include "core/take/edits.h"
#include "tests/support/finding_kit.h"

namespace understudy {
namespace {

using test::flaw;
using test::proposedRepair;

Repair over(Repair repair, double first, double last) {
  repair.span = TimeRange{first, last};
  return repair;
}

/// Two flaws at 30 frames a second: a foot that slides, a hand that lost the chest; both repairs were accepted.
struct Offers {
  Offers() {
    TouchRepair touch;
    touch.bone = "@leftHand";
    found = {flaw(FindingKind::slide, "@leftFoot", {10, 40}, 20), flaw(FindingKind::lostContact, "@leftHand", {20, 50}, 60)};
    found[0].proposal = {over(proposedRepair(PlantRepair{}, "left foot"), 0.2, 1.5)};
    found[1].proposal = {over(proposedRepair(touch, "hand on chest"), 0.6, 1.7)};
    for (std::size_t i = 0; i < found.size(); ++i) tried.take = addRepair(tried.take, found[i].proposal.front(), &ids[i]);
    tried.evaluated.rate = {30, 1};
    tried.evaluated.clipFrames = tried.evaluated.frames = 100;
    tried.evaluated.firstFrame = 101;
  }
  Findings found;
  Finished tried;
  std::uint64_t ids[2] = {};
};

TEST(Offers, StandWhereNothingGetsWorse) {
  Offers offers;
  // What was there before is not held against a repair, nor what has another cause.
  offers.found.push_back(flaw(FindingKind::pop, "@leftLowerLeg", {12, 12}, 9));
  offers.tried.remaining = {flaw(FindingKind::pop, "@leftLowerLeg", {12, 12}, 9.5, 0.2, "plant 1 'left foot' turns it by 9° more in that frame"),
                            flaw(FindingKind::depth, "@leftHand", {60, 70}, 8, 0.2, "it is in the performance")};
  for (const Finding& finding : weighed(offers.found, offers.tried)) {
    EXPECT_EQ(finding.harm, "");
    EXPECT_EQ(finding.cause, "");
    EXPECT_EQ(finding.proposal.empty(), finding.kind == FindingKind::pop);
  }
}

TEST(Offers, SayWhatTheyBringAlong) {
  Offers offers;
  offers.tried.remaining = {flaw(FindingKind::pop, "@leftLowerLeg", {12, 12}, 9, 0.1, "plant 1 'left foot' turns it by 9° more in that frame"),
                            flaw(FindingKind::pop, "@leftUpperLeg", {22, 22}, 19, 0.4, "plant 1 'left foot' turns it by 19° more in that frame")};
  const Findings result = weighed(offers.found, offers.tried);
  EXPECT_EQ(result[0].harm, "Something is wrong with @leftUpperLeg at frame 123");
  EXPECT_EQ(result[0].proposal.size(), 1U);
  EXPECT_EQ(result[1].harm, "");
}

TEST(Offers, AreNotMadeWhereTheyDoMoreHarmThanGood) {
  Offers offers;
  offers.tried.withdrawn = {{offers.ids[1], "with it the left hand jumps by 17°"}};
  const Findings result = weighed(offers.found, offers.tried);
  EXPECT_EQ(result[0].proposal.size(), 1U);
  EXPECT_TRUE(result[1].proposal.empty());
  EXPECT_NE(result[1].cause.find("17°"), std::string::npos);
}

}  // namespace
}  // namespace understudy
