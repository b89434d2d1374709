// Reels on disk: JSON, versioned, saved whole or not at all.
#pragma once

#include <string>
#include <string_view>

#include "core/base/result.h"
#include "core/take/take.h"

namespace understudy {

inline constexpr int reelVersion = 1;

/// The reel as JSON text. Paths of sources are written relative to the folder of `path` where both have a root in common.
[[nodiscard]] std::string writeReel(const Reel& reel, const std::string& path);
/// Reads what writeReel wrote, and what older versions wrote. `path` gives relative paths their root and names the file in
/// messages. Unknown fields are kept and written back; `issues` names them. Errors: not JSON (with line and column), no
/// reel, made by a newer version, a field of the wrong kind (with its place, such as takes[0].nudges[2].time).
[[nodiscard]] Result<Reel> readReel(std::string_view json, const std::string& path, Issues* issues = nullptr);

/// Saves by way of a temporary file in the same folder, flushed before it takes the place of the old one: at any moment the
/// file is the old reel or the new one. Errors: unwritable, disk full.
[[nodiscard]] Status saveReel(const Reel& reel, const std::string& path);
[[nodiscard]] Result<Reel> loadReel(const std::string& path, Issues* issues = nullptr);

/// Looks for sources that are not where the reel says: beside the reel, and along the end of their old path below the reel's
/// folder and its parents. Found ones are relinked (a note each); others are named in a warning.
[[nodiscard]] Reel relinkMoved(const Reel& reel, const std::string& reelPath, Issues* issues = nullptr);

/// 64-bit FNV-1a of a file's bytes as 16 hexadecimal digits; "" where it cannot be read.
[[nodiscard]] std::string contentHash(const std::string& path);

}  // namespace understudy
