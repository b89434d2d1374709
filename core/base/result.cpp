#include "core/base/result.h"

namespace understudy {

std::string Issue::text() const {
  std::string line;
  if (!where.empty()) line += where + ": ";
  line += what;
  if (!todo.empty()) {
    if (!line.empty() && line.back() != '.') line += '.';
    line += ' ' + todo;
  }
  return line;
}

Issue makeError(Fault fault, std::string what, std::string where, std::string todo) {
  return {Severity::error, fault, std::move(what), std::move(where), std::move(todo)};
}

Issue makeWarning(std::string what, std::string where, std::string todo) {
  return {Severity::warning, Fault::none, std::move(what), std::move(where), std::move(todo)};
}

Issue makeNote(std::string what, std::string where, std::string todo) {
  return {Severity::note, Fault::none, std::move(what), std::move(where), std::move(todo)};
}

}  // namespace understudy
