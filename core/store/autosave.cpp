#include "core/store/autosave.h"

#include <signal.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <random>

#include "core/io/read.h"
#include "core/io/write.h"
#include "core/store/reel_file.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;
constexpr const char* ending = ".autosave";

std::string fileOf(const std::string& folder, const std::string& session) { return (fs::path(folder) / (session + ending)).string(); }

bool runs(const std::string& session) {
  int process = 0;
  const auto [stop, error] = std::from_chars(session.data(), session.data() + session.size(), process);
  if (error != std::errc{} || process <= 0 || process == getpid()) return false;
  return kill(process, 0) == 0 || errno == EPERM;
}

Result<Json> readWrapper(const std::string& file) {
  const auto bytes = readBytes(file);
  if (!bytes) return bytes.error();
  Json json = Json::parse(bytes->begin(), bytes->end(), nullptr, false);
  if (!json.is_object() || json.value("format", Json()) != "understudy autosave" || !json.value("reel", Json()).is_object())
    return makeError(Fault::input, "This is no autosave, or it is damaged", file);
  return json;
}

}  // namespace

std::string newSessionName() {
  std::random_device random;
  char text[48];
  std::snprintf(text, sizeof text, "%d-%06x", static_cast<int>(getpid()), random() & 0xffffffU);
  return text;
}

Status autosave(const std::string& folder, const std::string& session, const Reel& reel, const std::string& reelPath) {
  std::error_code error;
  fs::create_directories(folder, error);
  if (error) return makeError(Fault::output, "The folder for autosaves cannot be made (" + error.message() + ")", folder, "Check its permissions");
  const std::string file = fileOf(folder, session);
  Json json = {{"format", "understudy autosave"}, {"session", session}, {"reelPath", reelPath.empty() ? "" : fs::absolute(reelPath, error).string()},
               {"savedAt", std::chrono::duration_cast<std::chrono::seconds>(std::chrono::system_clock::now().time_since_epoch()).count()}};
  json["reel"] = Json::parse(writeReel(reel, file));
  return writeBytes(file, json.dump(1, ' ', false, Json::error_handler_t::replace) + "\n");
}

void discardAutosave(const std::string& folder, const std::string& session) {
  std::error_code error;
  fs::remove(fileOf(folder, session), error);
}

std::vector<Recovery> findRecoveries(const std::string& folder) {
  std::vector<Recovery> found;
  std::error_code error;
  for (fs::directory_iterator at(folder, error), end; !error && at != end; at.increment(error)) {
    if (at->path().extension() != ending) continue;
    const auto json = readWrapper(at->path().string());
    if (!json) continue;
    const auto text = [&](const char* key) { return (*json).contains(key) && (*json)[key].is_string() ? (*json)[key].get<std::string>() : std::string(); };
    Recovery recovery{at->path().string(), at->path().stem().string(), text("reelPath"), 0, false};
    if ((*json).contains("savedAt") && (*json)["savedAt"].is_number_integer()) recovery.savedAt = (*json)["savedAt"].get<std::int64_t>();
    recovery.running = runs(recovery.session);
    found.push_back(std::move(recovery));
  }
  std::sort(found.begin(), found.end(), [](const Recovery& a, const Recovery& b) { return a.savedAt != b.savedAt ? a.savedAt > b.savedAt : a.file < b.file; });
  return found;
}

Result<Reel> recover(const Recovery& recovery, Issues* issues) {
  const auto json = readWrapper(recovery.file);
  if (!json) return json.error();
  return readReel((*json)["reel"].dump(), recovery.file, issues);
}

}  // namespace understudy
