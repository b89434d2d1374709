#include "app/command/json_text.h"

namespace understudy::cli {

std::string textOf(const Json& json) { return json.dump(1, ' ', false, Json::error_handler_t::replace); }

Json toJson(const Issue& issue) {
  Json json = {{"severity", issue.severity == Severity::note ? "note" : issue.severity == Severity::warning ? "warning" : "error"},
               {"what", issue.what}};
  if (!issue.where.empty()) json["where"] = issue.where;
  if (!issue.todo.empty()) json["todo"] = issue.todo;
  return json;
}

Json toJson(const Issues& issues) {
  Json list = Json::array();
  for (const Issue& issue : issues) list.push_back(toJson(issue));
  return list;
}

}  // namespace understudy::cli
