// Waiting for the editor's background work.
#pragma once

#include <QCoreApplication>
#include <QSignalSpy>

#include "app/editor/document/findings_keeper.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/window/main_window.h"

namespace understudy::editor {

/// Waits until no file is read or written and no take evaluated; answers of one lane may start another. False: a job did not end
/// within `milliseconds`.
[[nodiscard]] inline bool settled(MainWindow& window, int milliseconds) {
  Document& document = window.document();
  for (;;) {
    QCoreApplication::processEvents();
    JobLane* lane = nullptr;
    for (JobLane* one : {&document.files(), &document.evaluations(), &document.findings().lane(), &document.previews(), &window.stage().otherTake().lane()})
      if (one->busy()) lane = one;
    if (!lane) return true;
    QSignalSpy idle(lane, &JobLane::idle);
    if (!idle.wait(milliseconds)) return false;
  }
}

}  // namespace understudy::editor
