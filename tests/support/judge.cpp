#include "tests/support/judge.h"

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <random>

#include "tests/support/run_program.h"

namespace understudy {
namespace {

using Json = nlohmann::json;
const std::string bin = std::string(UNDERSTUDY_BINARY) + "/bin/";

}  // namespace

Json judged(const JudgeCase& c) {
  const std::string plain = c.folder + "/plain.glb";
  const ProgramRun retarget = runProgram({bin + "understudy-cli", "retarget", "--performer", c.performer, "--character", c.character, "--out", plain, "--no-check", "--quiet"});
  if (retarget.exitCode != 0) return {{"error", "retarget: " + retarget.err}};
  std::vector<std::string> words{bin + "understudy-checker", "--performer", c.performer, "--result", c.judgePlain ? plain : c.folder + "/result.glb"};
  if (!c.judgePlain) {
    std::vector<std::string> finish{bin + "understudy-cli", "finish", "--performer", c.performer, "--character", c.character, "--out", c.folder, "--no-pictures", "--quiet"};
    finish.insert(finish.end(), c.finish.begin(), c.finish.end());
    const ProgramRun run = runProgram(finish);
    if (run.exitCode != 0) return {{"error", "finish: " + run.err}};
    words.insert(words.end(), {"--reference", plain, "--plants", c.folder + "/result.reel"});
  }
  words.insert(words.end(), c.maps.begin(), c.maps.end());
  words.insert(words.end(), c.more.begin(), c.more.end());
  const ProgramRun run = runProgram(words);
  if (run.exitCode != 0) return {{"error", "checker: " + run.err}};
  Json out = Json::parse(run.out);
  if (std::ifstream report(c.folder + "/report.json"); report) out["report"] = Json::parse(report, nullptr, false);
  return out;
}

JudgeCase corpusCase(const std::string& corpus, const std::string& performer, const std::string& character, const std::string& folder) {
  JudgeCase c;
  c.performer = corpus + "/motion/" + performer;
  c.character = corpus + "/characters/" + character;
  c.maps = {"--performer-roles", corpus + "/roles/" + performer + ".roles.json", "--character-roles", corpus + "/roles/" + character + ".roles.json"};
  std::string labels = c.performer.substr(0, c.performer.rfind('.')) + "_contact.csv";
  if (const auto at = labels.find("_lowerbody"); at != std::string::npos) labels.erase(at, 10);
  if (std::filesystem::exists(labels)) c.more = {"--labels", labels};
  c.folder = folder;
  return c;
}

std::vector<unsigned> seedsOfCommit(int count, std::string* commit) {
  std::string id = "unknown commit";
  const ProgramRun run = runProgram({"/usr/bin/git", "-C", UNDERSTUDY_SOURCE, "rev-parse", "HEAD"});
  if (run.exitCode == 0) id = run.out.substr(0, run.out.find('\n'));
  if (commit) *commit = id;
  std::seed_seq sequence(id.begin(), id.end());
  std::vector<unsigned> seeds(static_cast<std::size_t>(count));
  sequence.generate(seeds.begin(), seeds.end());
  for (unsigned& s : seeds) s = 1000 + s % 1000000;
  return seeds;
}

}  // namespace understudy
