// Writing a preview of the take: a video, or a picture a frame.
#pragma once

#include <QString>

#include "app/editor/document/document.h"

namespace understudy::editor {

/// Draws what is shown, notes and frame numbers included, in the background on the lane of files; told in a message when it is done.
/// A name without the ending of a video is a folder of pictures; so is, with a word about it, a video's where ffmpeg is missing.
void writePreview(Document& document, const QString& name);

}  // namespace understudy::editor
