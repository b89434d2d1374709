// Joints bent further than people's.
#pragma once

#include "core/inspect/finding.h"
#include "core/repair/layer.h"

namespace understudy {

/// Degrees. Ranges are those of the American Academy of Orthopaedic Surgeons (Joint Motion: Method of Measuring and Recording, 1965), each
/// with `margin` more before anything is told.
struct RangeLimits {
  double elbow = 150, elbowBack = 0;  ///< flexion, extension beyond straight
  double knee = 135, kneeBack = 10;
  double wrist = 80;                  ///< flexion (extension 70, to the sides 20 and 30): the largest, since captures place the neutral hand loosely
  double hip = 120;                   ///< flexion of the thigh against the pelvis (extension 30, to the sides 45 and 30)
  double ankle = 50;                  ///< plantar flexion (dorsiflexion 20)
  double margin = 15;
  double shortest = 0.1;              ///< seconds; shorter stays are none
};

/// Warnings, one for each stay of a joint beyond its range. `performed` is the same motion without repairs: a joint that is as far
/// there, to within 5°, is the performer's own or its capture's, which is given as the cause.
[[nodiscard]] Findings rangeFindings(const RepairContext& context, const TiledMotion& motion, const TiledMotion& performed, const RangeLimits& limits = {});

}  // namespace understudy
