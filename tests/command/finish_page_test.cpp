// The report a finish run leaves, as a reader's browser gets it.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "core/job/finish_curves.h"
#include "tests/support/fixtures.h"
#include "tests/support/run_program.h"

namespace understudy {
namespace {

using Json = nlohmann::json;

int countOf(const std::string& text, const std::string& part) {
  int n = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++n;
  return n;
}

class FinishPage : public testing::Test {
 protected:
  void SetUp() override {
    writeFile(folder.file("walk.bvh"), makeWalkBvh());
    writeFile(folder.file("stick.glb"), makeStickCharacterGlb());
  }
  ProgramRun finish(std::vector<std::string> more) const {
    more.insert(more.begin(), {std::string(UNDERSTUDY_BINARY) + "/bin/understudy-cli", "finish", "--performer", folder.file("walk.bvh"), "--character", folder.file("stick.glb"), "--out", folder.file("out")});
    return runProgram(more);
  }
  TemporaryFolder folder;
};

TEST_F(FinishPage, HoldsItsPicturesAndCurvesItself) {
  const ProgramRun run = finish({"--json"});
  ASSERT_EQ(run.exitCode, 0) << run.err;
  const Json report = Json::parse(run.out);
  const std::string page = readFile(folder.file("out/report.html"));
  ASSERT_FALSE(report["findings"].empty()) << "the walk's feet slide: there must be something to report";
  EXPECT_GT(countOf(page, "class=\"curve after\" d="), 1);
  EXPECT_EQ(countOf(page, "src=\""), countOf(page, "src=\"data:image/png;base64,iVBORw0KGgo"));
  bool excused = false;
  for (const Json& issue : report["issues"]) excused = excused || issue["what"].get<std::string>().find("no pictures") != std::string::npos;
  if (!excused) {
    EXPECT_GE(countOf(page, "<img "), 2);
    EXPECT_EQ(countOf(page, "with the repairs\" src="), countOf(page, "as retargeted\" src="));
    EXPECT_TRUE(report["seconds"].contains("pictures"));
  }
  EXPECT_EQ(page.find("<script"), std::string::npos);
  EXPECT_EQ(page.find("http"), std::string::npos);
  bool skate = false;
  for (const Json& figure : report["figures"])
    if (figure["name"] == "mean skate of the left foot") skate = figure["before"].get<double>() >= 0 && figure["after"].get<double>() >= 0;
  EXPECT_TRUE(skate);
}

TEST_F(FinishPage, LeavesPicturesOutOnRequest) {
  ASSERT_EQ(finish({"--no-pictures"}).exitCode, 0);
  const std::string page = readFile(folder.file("out/report.html"));
  EXPECT_EQ(countOf(page, "<img "), 0);
  EXPECT_GT(countOf(page, "class=\"curve after\" d="), 1);
}

TEST(FinishCurves, WhatRemainsComesFirstThenOneOfEachKind) {
  FinishReport report;
  const auto add = [&](const char* kind, FindingState state, double severity, const char* cause) {
    ReportedFinding f;
    f.kind = kind;
    f.state = state;
    f.severity = severity;
    f.cause = cause;
    report.findings.push_back(f);
  };
  add("slide", FindingState::repaired, 0.9, "");
  add("slide", FindingState::repaired, 0.95, "");
  add("pop", FindingState::repaired, 0.2, "");
  add("depth", FindingState::remaining, 0.3, "no room");
  add("depth", FindingState::remaining, 0.1, "");
  add("flip", FindingState::waved, 1, "");
  EXPECT_EQ(worthShowing(report, 10), (std::vector<std::size_t>{4, 3, 1, 2}));
  EXPECT_EQ(worthShowing(report, 2), (std::vector<std::size_t>{4, 3}));
}

}  // namespace
}  // namespace understudy
