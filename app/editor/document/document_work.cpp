// Work on the take in the background: previews, and changes that take their time.
#include "app/editor/document/document.h"
#include "app/editor/document/findings_keeper.h"
#include "core/evaluate/evaluate.h"

namespace understudy::editor {

void Document::preview(std::optional<Take> take) {
  const std::uint64_t mine = ++previews_;
  if (!take || !shownPerformer_ || !shownCharacter_) {
    if (preview_) {
      preview_.reset();
      Q_EMIT shownChanged();
    }
    return;
  }
  previewing_.post(tr("Preview"), [this, mine, sources = sources(), wanted = std::move(*take), cache = previewCache_](const RunControl& control) -> JobLane::Answer {
    auto fitted = refitted(wanted, sources, cache.get(), nullptr, control);
    auto result = understudy::evaluate(fitted ? fitted.value() : wanted, sources, cache.get(), control);
    auto shared = result ? std::make_shared<const Evaluated>(std::move(result).value()) : nullptr;
    return [this, mine, shared] {
      if (mine != previews_ || !shared) return;
      preview_ = shared;
      Q_EMIT shownChanged();
    };
  }, true);
}

void Document::runOnTake(const QString& label, TakeWork work, std::function<void()> then) {
  evaluations_.post(label, [this, label, work = std::move(work), then = std::move(then), snapshot = take(), sources = sources(), cache = cache_](
                               const RunControl& control) -> JobLane::Answer {
    auto done = work(snapshot, sources, *cache, control);
    return [this, label, then, snapshot, done = std::move(done)] {
      if (!done)
        Q_EMIT message(done.error());
      else if (take() == snapshot)
        edit(label, done.value());
      else
        Q_EMIT message(makeNote(tr("The take was changed meanwhile; the result is dropped").toStdString(), label.toStdString()));
      then();
    };
  });
}

}  // namespace understudy::editor
