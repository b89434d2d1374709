// Autosave: unsaved reels kept in a state folder until they are saved or given up.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/base/result.h"
#include "core/take/take.h"

namespace understudy {

/// An autosaved reel found in a state folder.
struct Recovery {
  std::string file;          ///< the autosave
  std::string session;       ///< who wrote it
  std::string reelPath;      ///< the reel it belongs to; empty: never saved
  std::int64_t savedAt = 0;  ///< seconds since 1970
  bool running = false;      ///< its program still runs, so it is not to be recovered
};

/// A name for this run, such as "12345-6f2a91": process and a random part.
[[nodiscard]] std::string newSessionName();

/// Writes `session`.autosave into `folder` (made where it is missing). Errors: unwritable, disk full.
[[nodiscard]] Status autosave(const std::string& folder, const std::string& session, const Reel& reel, const std::string& reelPath);
/// Removes the session's autosave, after a save or a regular end. A missing one is fine.
void discardAutosave(const std::string& folder, const std::string& session);
/// Autosaves in `folder`, newest first. Files that are none are left alone.
[[nodiscard]] std::vector<Recovery> findRecoveries(const std::string& folder);
[[nodiscard]] Result<Reel> recover(const Recovery& recovery, Issues* issues = nullptr);

}  // namespace understudy
