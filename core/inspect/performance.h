// What a performance does that its character must do too, found once a clip on the performer alone.
#pragma once

#include <memory>

#include "core/contact/body_contacts.h"
#include "core/contact/contacts.h"

namespace understudy {

/// Frames count in the untrimmed clip at the performer's own rate.
struct Performance {
  std::shared_ptr<const Motion> motion;
  Contacts contacts;        ///< of the feet with the ground; no spans where no leg is mapped
  BodyContacts body;        ///< of the hands with the body and with each other
  Issues issues;
};

/// Errors: stopped. Analyses that are not possible (no arms, no legs) are told in `issues` and left empty.
[[nodiscard]] Result<std::shared_ptr<const Performance>> analysePerformance(const Figure& performer, const SkeletonMap& map, std::shared_ptr<const Motion> motion,
                                                                            const RunControl& control = {});

}  // namespace understudy
