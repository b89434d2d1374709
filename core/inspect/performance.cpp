#include "core/inspect/performance.h"

namespace understudy {

Result<std::shared_ptr<const Performance>> analysePerformance(const Figure& performer, const SkeletonMap& map, std::shared_ptr<const Motion> motion,
                                                              const RunControl& control) {
  auto out = std::make_shared<Performance>();
  out->motion = std::move(motion);
  const auto keep = [&](auto& into, auto result) -> bool {
    if (result) {
      into = std::move(*result);
      out->issues.insert(out->issues.end(), into.issues.begin(), into.issues.end());
      return true;
    }
    if (result.error().fault == Fault::cancelled) return false;
    out->issues.push_back(makeWarning(result.error().what, result.error().where, result.error().todo));
    return true;
  };
  if (!keep(out->contacts, findContacts(performer, map, *out->motion, {}, control))) return RunControl::cancelled();
  if (!keep(out->body, findBodyContacts(performer, map, *out->motion, {}, control))) return RunControl::cancelled();
  return std::shared_ptr<const Performance>(std::move(out));
}

}  // namespace understudy
