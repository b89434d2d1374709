// Body models as bytes, so that a character's need be built only once.
#pragma once

#include <string>
#include <string_view>

#include "core/body/body_model.h"

namespace understudy {

/// Names what writes and reads the bytes and what builds the model: another text for every change of the sources that decide it.
[[nodiscard]] std::string bodyModelFormat();

/// Solids, limbs, arm points and gridError; not what a model is built from (surface, frames, height).
[[nodiscard]] std::string writeBodyModel(const BodyModel& model);

/// Fills them in a model that has its surface and frames. False where the bytes are damaged or not of such a model, which is then left
/// as it was.
[[nodiscard]] bool readBodyModel(std::string_view bytes, BodyModel& model);

}  // namespace understudy
