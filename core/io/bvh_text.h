// Words of a BVH file. Internal to the reader.
#pragma once

#include <string>
#include <string_view>

#include "core/io/bvh_number.h"

namespace understudy {

[[nodiscard]] inline char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }
[[nodiscard]] inline bool isSpace(char c) { return bvh::isBlank(c) || bvh::isLineEnd(c); }
[[nodiscard]] bool equalsNoCase(std::string_view text, std::string_view lowerCase);
[[nodiscard]] std::string_view trimmedText(std::string_view text);
/// A token as shown in a message: short, on one line, without control characters.
[[nodiscard]] std::string shown(std::string_view token);
/// Bytes read as Latin-1, so that every name can be shown and stored.
[[nodiscard]] std::string latinToUtf8(std::string_view text);

}  // namespace understudy
