// The HIERARCHY of a BVH file. Internal to the reader.
#pragma once

#include <string>
#include <vector>

#include "core/base/run_control.h"
#include "core/skeleton/skeleton.h"
#include "core/io/bvh_rows.h"
#include "core/io/bvh_scanner.h"

namespace understudy {

/// Reads from the start of the file to the word MOTION. False: it failed, `in` says why.
[[nodiscard]] bool readBvhHierarchy(BvhScanner& in, Skeleton& skeleton, std::vector<BvhChannel>& channels, const RunControl& control);

/// A joint as messages name it.
[[nodiscard]] std::string jointText(const Skeleton& skeleton, int joint);

}  // namespace understudy
