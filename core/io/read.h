// Opening files: one entry point, chosen by content rather than by extension where both disagree.
#pragma once

#include <string>

#include "core/base/run_control.h"
#include "core/figure/figure.h"

namespace understudy {

struct ReadSettings {
  double metresPerUnit = 0;     ///< > 0 overrides the detected unit
  std::string up;               ///< "", or one of +X −X +Y −Y +Z −Z (ASCII '-' accepted): overrides the detected up axis
  bool meshes = true;           ///< false: skeleton and clips only
  bool body = true;             ///< false: no body is expected (props, sets), so the size says nothing about the unit
  std::string readerProgram;    ///< the child process for FBX and Collada; empty: beside this program
};

/// Reads BVH, glTF 2.0 (.gltf, .glb, .vrm, .vrma), FBX, Collada, OBJ. Errors say what, where in the file, and what to do.
[[nodiscard]] Result<Figure> readFigure(const std::string& path, const ReadSettings& settings = {}, const RunControl& control = {});

[[nodiscard]] Result<Figure> readBvh(const std::string& path, const ReadSettings& settings = {}, const RunControl& control = {});
[[nodiscard]] Result<Figure> readGltf(const std::string& path, const ReadSettings& settings = {}, const RunControl& control = {});
/// FBX, Collada, OBJ through the reader process.
[[nodiscard]] Result<Figure> readThroughChild(const std::string& path, const ReadSettings& settings = {}, const RunControl& control = {});

/// Whole file as bytes. Errors: missing, a folder, unreadable, too large.
[[nodiscard]] Result<std::vector<std::uint8_t>> readBytes(const std::string& path);

/// Finds unit and up axis of a figure whose format states neither (BVH): from the skeleton's proportions, its rest
/// pose, and where gravity points in its motion; never from the bounding box alone.
void detectSpace(Figure& figure, const ReadSettings& settings);

}  // namespace understudy
