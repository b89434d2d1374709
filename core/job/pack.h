// A reel and all files it reads in one folder that can be moved anywhere.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/base/run_control.h"
#include "core/take/take.h"

namespace understudy {

struct PackedFile {
  std::string from;         ///< where it was
  std::string to;           ///< in the folder, relative to it
  std::uintmax_t bytes = 0;
};

struct Packed {
  std::string reel;         ///< the new reel's path
  std::vector<PackedFile> files;
  std::uintmax_t bytes = 0; ///< of all files and the reel
  Issues issues;
};

/// Writes `folder` with the reel (under the name of `reelPath`) and below "files" what its takes read: performers, characters, props,
/// meshes of the set, and the buffers and textures that belong to them, byte for byte. The reel names them relative to itself, so
/// that it evaluates to the same bytes wherever the folder is. The folder appears when everything is in it, or not at all.
/// Errors: a source is missing or unreadable (which one), the folder is there already and not empty, or cannot be written; stopped.
[[nodiscard]] Result<Packed> packReel(const Reel& reel, const std::string& reelPath, const std::string& folder, const RunControl& control = {});

}  // namespace understudy
