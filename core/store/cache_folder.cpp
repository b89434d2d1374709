#include "core/store/cache_folder.h"

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <vector>

#include "core/io/write.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
constexpr const char* ending = ".computed";

}  // namespace

std::string userCacheFolder() {
  if (const char* own = std::getenv("UNDERSTUDY_CACHE"); own && *own) return std::string(own) == "off" ? std::string() : std::string(own);
  // A relative XDG_CACHE_HOME is to be ignored (XDG Base Directory Specification).
  if (const char* shared = std::getenv("XDG_CACHE_HOME"); shared && *shared == '/') return (fs::path(shared) / "understudy").string();
  if (const char* home = std::getenv("HOME"); home && *home == '/') return (fs::path(home) / ".cache" / "understudy").string();
  return {};
}

CacheFolder::CacheFolder(std::string folder, std::uintmax_t mostBytes) : folder_(std::move(folder)), mostBytes_(mostBytes) {}

std::string CacheFolder::fileOf(const std::string& key) const { return (fs::path(folder_) / (key + ending)).string(); }

std::optional<std::string> CacheFolder::load(const std::string& key) {
  const std::string file = fileOf(key);
  std::error_code error;
  const std::uintmax_t size = fs::file_size(file, error);
  if (error || size > mostBytes_ || !fs::is_regular_file(file, error)) return std::nullopt;
  std::ifstream in(file, std::ios::binary);
  std::string bytes(static_cast<std::size_t>(size), '\0');
  if (!in.read(bytes.data(), static_cast<std::streamsize>(bytes.size()))) return std::nullopt;
  // Its time tells when it was used last.
  fs::last_write_time(file, fs::file_time_type::clock::now(), error);
  return bytes;
}

void CacheFolder::save(const std::string& key, std::string_view bytes) {
  if (bytes.size() > mostBytes_) return;
  std::error_code error;
  fs::create_directories(folder_, error);
  const std::string file = fileOf(key);
  if (writeBytes(file, bytes)) makeRoom(file);
}

void CacheFolder::makeRoom(const std::string& newest) const {
  struct Kept {
    fs::path path;
    fs::file_time_type used;
    std::uintmax_t bytes = 0;
  };
  std::vector<Kept> files;
  std::uintmax_t total = 0;
  std::error_code error;
  for (fs::directory_iterator at(folder_, error), end; !error && at != end; at.increment(error)) {
    std::error_code one;
    if (at->path().extension() != ending || !at->is_regular_file(one)) continue;
    const Kept file{at->path(), at->last_write_time(one), at->file_size(one)};
    if (one) continue;
    total += file.bytes;
    if (file.path != fs::path(newest)) files.push_back(file);
  }
  std::sort(files.begin(), files.end(), [](const Kept& a, const Kept& b) { return a.used != b.used ? a.used < b.used : a.path < b.path; });
  for (const Kept& file : files) {
    if (total <= mostBytes_) break;
    if (fs::remove(file.path, error)) total -= file.bytes;
  }
}

void useCacheFolder(const std::string& folder) { setComputedStore(folder.empty() ? nullptr : std::make_shared<CacheFolder>(folder)); }

}  // namespace understudy
