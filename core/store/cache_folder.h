// A folder in which computed data outlives the program.
#pragma once

#include <cstdint>
#include <string>

#include "core/base/computed_store.h"

namespace understudy {

/// The user's: $UNDERSTUDY_CACHE ("off": none), else $XDG_CACHE_HOME/understudy, else ~/.cache/understudy. "" where there is none.
[[nodiscard]] std::string userCacheFolder();

/// Keeps each key in a file of its own, written whole or not at all. Beyond `mostBytes` the files that were not used for longest
/// go. Other files in the folder are left alone; a folder that cannot be made or written keeps nothing and says nothing.
class CacheFolder final : public ComputedStore {
 public:
  explicit CacheFolder(std::string folder, std::uintmax_t mostBytes = std::uintmax_t{256} << 20);
  [[nodiscard]] std::optional<std::string> load(const std::string& key) override;
  void save(const std::string& key, std::string_view bytes) override;

 private:
  [[nodiscard]] std::string fileOf(const std::string& key) const;
  void makeRoom(const std::string& newest) const;

  std::string folder_;
  std::uintmax_t mostBytes_;
};

/// Sets the process's store to this folder; "": to none.
void useCacheFolder(const std::string& folder);

}  // namespace understudy
