// Runs the command line on files and has the results judged by the independent checker.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace understudy {

struct JudgeCase {
  std::string performer, character;       ///< files
  std::vector<std::string> maps;          ///< options of the checker: --map FILE, or both --…-roles FILE
  std::vector<std::string> more;          ///< further options of the checker
  std::vector<std::string> finish;        ///< further options of finish
  std::string folder;                     ///< where plain.glb and result.glb go
  bool judgePlain = false;                ///< judge the plain retarget instead of a finished clip
};

/// Retargets, finishes, judges; the checker's answer with "report" (finish's report.json) added. {"error": …} where a program failed.
[[nodiscard]] nlohmann::json judged(const JudgeCase& c);
/// The pair of a corpus: role files made by hand, contact labels where there are any.
[[nodiscard]] JudgeCase corpusCase(const std::string& corpus, const std::string& performer, const std::string& character, const std::string& folder);
/// Seeds drawn from the commit the tests are run at; the same for the same commit.
[[nodiscard]] std::vector<unsigned> seedsOfCommit(int count, std::string* commit = nullptr);

}  // namespace understudy
