// Where the demo's files are.
#pragma once

#include <QString>

namespace understudy::editor {

/// The folder with the demo's performer, character and prop; empty where it was not installed. UNDERSTUDY_SAMPLES names another one.
[[nodiscard]] QString sampleFolder();

}  // namespace understudy::editor
