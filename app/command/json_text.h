// JSON for machines. Included by .cpp files of the command line only.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "core/report/issue_json.h"

namespace understudy::cli {

using Json = nlohmann::ordered_json;

/// Indented text; bytes that are no UTF-8 (names of old files) are replaced, and numbers that are not finite become null.
[[nodiscard]] std::string textOf(const Json& json);
using understudy::toJson;

}  // namespace understudy::cli
