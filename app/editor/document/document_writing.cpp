// What the document writes: the reel, and the animation handed over.
#include <QFileInfo>

#include "app/editor/document/document.h"
#include "app/editor/document/findings_keeper.h"
#include "core/bake/bake.h"
#include "core/inspect/history.h"
#include "core/repair/transform.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"

namespace understudy::editor {

bool Document::save(const QString& path) {
  const Status status = saveReel(reel(), path.toStdString());
  if (!status) {
    Q_EMIT message(status.error());
    return false;
  }
  path_ = path;
  undo_.markSaved();
  Q_EMIT stateChanged();
  return true;
}

void Document::handOver(const HandOver& settings, int firstFrame) {
  // What was found on it and cannot be mended goes along, so that nobody tries once more.
  std::optional<Findings> left;
  Findings settled;
  if (findings_->current()) {
    left = findings_->findings();
    std::erase_if(*left, [](const Finding& finding) { return !finding.proposal.empty() && !finding.waved; });
    settled = findings_->settled();
  }
  Take next = setFirstFrame(setExport(take(), settings), firstFrame);
  edit(tr("Hand-over settings"), next);
  const auto character = figure(Cast::character);
  if (!evaluated_ || !evaluated_->complete() || !character) {
    Q_EMIT message(makeError(Fault::mapping, tr("There is no animated character to hand over yet").toStdString(), {},
                             tr("Load a performer and a character, and fill the required roles of the bone map").toStdString()));
    return;
  }
  const QString name = QFileInfo(QString::fromStdString(settings.path)).fileName();
  const Sources sources{shownPerformer_, character, {}, {}};
  files_.post(tr("Writing %1").arg(name), [this, snapshot = take(), sources, settings, left = std::move(left), settled = std::move(settled)](const RunControl& control) -> JobLane::Answer {
    // Evaluated afresh: what is written is the take as it stands now, also while the shown one is still under way.
    const auto fail = [this](const Issue& error) -> JobLane::Answer { return [this, error] { Q_EMIT message(error); }; };
    control.report(0, "Evaluating");
    auto result = understudy::evaluate(snapshot, sources, nullptr, control);
    if (!result) return fail(result.error());
    auto baked = bake(snapshot, *sources.character, result.value());
    if (!baked) return fail(baked.error());
    baked->clip.history = historyText(snapshot, result.value(), left ? &*left : nullptr, settled);
    control.report(0.3, "Writing");
    const Status written = understudy::handOver(*sources.character, baked->clip, settings.path, settings.animationOnly, control);
    if (!written) return fail(written.error());
    control.report(0.7, "Measuring");
    HandOverReport report;
    report.path = QString::fromStdString(settings.path);
    report.notes = baked->notes;
    auto fidelity = measureFidelity(settings.path, *sources.character, baked->clip, control);
    if (fidelity) {
      report.fidelity = fidelity.value();
      report.measured = true;
    } else {
      report.notes.push_back(fidelity.error());
    }
    return [this, report] { Q_EMIT handedOver(report); };
  });
}

}  // namespace understudy::editor
