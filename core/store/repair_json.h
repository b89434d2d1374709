// Repairs, props, set objects and locks as JSON text, and the schema of it.
#pragma once

#include <string>
#include <string_view>

#include "core/base/result.h"
#include "core/repair/repair.h"

namespace understudy {

/// One JSON object. A repair holds "kind" and, under the kind's fields, its parameters. Times are seconds, lengths metres,
/// angles radians; numbers that are not finite become 0.
[[nodiscard]] std::string writeRepair(const Repair& repair);
[[nodiscard]] std::string writeProp(const PropItem& prop);
[[nodiscard]] std::string writeSetItem(const SetItem& item);
[[nodiscard]] std::string writeLock(const Lock& lock);

/// `file` and `place` ("takes[0].repairs[3]") go into messages. Fields that are absent keep their default or, with `base`, what
/// that has (the kind cannot change then). Unknown fields are kept in `unknown`, with a warning. Errors name the field and what it may be.
[[nodiscard]] Result<Repair> readRepair(std::string_view json, const std::string& file, const std::string& place, Issues* issues = nullptr, const Repair* base = nullptr);
[[nodiscard]] Result<PropItem> readProp(std::string_view json, const std::string& file, const std::string& place, Issues* issues = nullptr, const PropItem* base = nullptr);
[[nodiscard]] Result<SetItem> readSetItem(std::string_view json, const std::string& file, const std::string& place, Issues* issues = nullptr, const SetItem* base = nullptr);
[[nodiscard]] Result<Lock> readLock(std::string_view json, const std::string& file, const std::string& place, Issues* issues = nullptr);

/// JSON Schema (draft 2020-12) of a repair, of all kinds.
[[nodiscard]] std::string repairSchema();

}  // namespace understudy
