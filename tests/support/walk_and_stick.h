// Tests of the command line that carry a walk over to a stick character.
#pragma once

#include <gtest/gtest.h>

#include <string>

#include "tests/support/fixtures.h"
#include "tests/support/run_program.h"

namespace understudy {

/// The two files are made once for all tests of a suite; each test has a folder of its own besides.
class WalkAndStick : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    shared_ = new TemporaryFolder;
    writeFile(walk(), makeWalkBvh());
    writeFile(stick(), makeStickCharacterGlb());
  }
  static void TearDownTestSuite() {
    delete shared_;
    shared_ = nullptr;
  }
  static std::string walk() { return shared_->file("walk.bvh"); }
  static std::string stick() { return shared_->file("stick.glb"); }
  [[nodiscard]] std::string file(const std::string& name) const { return folder_.file(name); }
  static ProgramRun cli(std::vector<std::string> words, const ProgramSettings& settings = {}) {
    words.insert(words.begin(), UNDERSTUDY_BINARY "/bin/understudy-cli");
    return runProgram(words, settings);
  }

  TemporaryFolder folder_;

 private:
  static inline TemporaryFolder* shared_ = nullptr;
};

}  // namespace understudy
