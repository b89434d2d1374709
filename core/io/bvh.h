// The BVH text format, apart from files.
#pragma once

#include <string>
#include <string_view>

#include "core/io/read.h"

namespace understudy {

/// Reads the text of a BVH file; `path` only names it in messages. Accepts any channel order, any channels on any joint,
/// several roots, names with spaces, comment lines (#, //, ;), either case, any line ends, a byte order mark, wrapped rows.
/// Position channels replace the components of OFFSET they name; End Sites become leaf joints without a name. Unit and
/// up axis are found by detectSpace. Errors name the line.
[[nodiscard]] Result<Figure> readBvhText(std::string_view text, const std::string& path, const ReadSettings& settings = {},
                                         const RunControl& control = {});

/// The text writeBvh puts into the file.
struct BakedClip;
[[nodiscard]] Result<std::string> bvhText(const Figure& character, const BakedClip& clip, const RunControl& control = {});

}  // namespace understudy
