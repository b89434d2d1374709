// Issues as JSON for machines. Included by .cpp files only.
#pragma once

#include <nlohmann/json.hpp>

#include "core/base/result.h"

namespace understudy {

[[nodiscard]] inline nlohmann::ordered_json toJson(const Issue& issue) {
  nlohmann::ordered_json json = {{"severity", issue.severity == Severity::note ? "note" : issue.severity == Severity::warning ? "warning" : "error"}, {"what", issue.what}};
  if (!issue.where.empty()) json["where"] = issue.where;
  if (!issue.todo.empty()) json["todo"] = issue.todo;
  return json;
}

[[nodiscard]] inline nlohmann::ordered_json toJson(const Issues& issues) {
  nlohmann::ordered_json list = nlohmann::ordered_json::array();
  for (const Issue& issue : issues) list.push_back(toJson(issue));
  return list;
}

}  // namespace understudy
