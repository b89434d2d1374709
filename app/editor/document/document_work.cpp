// Work on the take in the background: what the stage shows of it, previews, and changes that take their time.
#include <algorithm>
#include <atomic>

#include "app/editor/document/document.h"
#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/near_take.h"
#include "core/evaluate/evaluate.h"
#include "core/repair/transform.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

/// Repairs and nudges of another character, as far as this one can have them; the others are told.
Take carried(const Take& take, const Sources& sources, const RepairContext& from, EvaluationCache* cache, Issues& lost, const RunControl& control) {
  Take bare = setRepairs(take, {});
  const auto seen = understudy::evaluate(bare, sources, cache, control);
  if (!seen || !seen->context || seen->context->figure == from.figure) return take;
  Take next = bare;
  next.nudges = {};
  for (const auto& repair : *take.repairs) {
    if (auto with = carriedOver(*repair, from, *seen->context, lost)) next = addRepair(next, std::move(with).value());
    else lost.push_back(with.error());
  }
  for (const auto& nudge : *take.nudges) {
    if (auto with = carriedOver(*nudge, from, *seen->context, lost)) next = addNudge(next, std::move(with).value());
    else lost.push_back(with.error());
  }
  return next;
}

}  // namespace

void Document::evaluateSoon() {
  const std::uint64_t mine = ++wanted_;
  const Sources sources = this->sources();
  if (!sources.performer) {
    shown_ = mine;
    provisional_.reset();
    if (evaluated_) {
      evaluated_.reset();
      Q_EMIT evaluatedChanged();
    }
    return;
  }
  // What lies near the frame that is looked at comes first where the whole takes long; while something is dragged, it alone.
  struct Near {
    Take before;
    FrameRate rate;
    int clipFrames = 0, frame = 0;
  };
  std::optional<Near> near;
  if (evaluated_ && evaluated_->complete() && !carryFrom_) near = Near{evaluatedTake_, evaluated_->rate, evaluated_->clipFrames, shownFrame_ + evaluated_->trimFirst};
  // The whole of an older take is given up once its near part was shown.
  if (nearDone_ && *nearDone_) evaluations_.interrupt();
  nearDone_ = std::make_shared<std::atomic<bool>>(false);
  const QString name = undo_.canUndo() ? tr("Working out “%1”").arg(undoLabel()) : tr("Working out the take");
  // The cache is used by this lane only; the take is a snapshot.
  evaluations_.post(name, [this, mine, sources, near, held = held_, snapshot = take(), cache = cache_, from = carryFrom_, nearDone = nearDone_](const RunControl& control) -> JobLane::Answer {
    if (const auto part = near ? nearTake(snapshot, near->before, near->rate, near->clipFrames, near->frame) : std::nullopt) {
      const auto placed = refitted(*part, sources, cache.get(), nullptr, control);
      if (auto result = understudy::evaluate(placed ? placed.value() : *part, sources, cache.get(), control)) {
        QMetaObject::invokeMethod(this, [this, mine, shared = std::make_shared<const Evaluated>(std::move(result).value())] { showNear(mine, shared); }, Qt::QueuedConnection);
        if (held) return {};
        *nearDone = true;
      }
    }
    // Repairs that have no place yet get it from the motion they are to mend.
    Issues lost;
    Take fitted = from && sources.character ? carried(snapshot, sources, *from, cache.get(), lost, control) : snapshot;
    if (sources.character && std::any_of(fitted.repairs->begin(), fitted.repairs->end(), [](const auto& r) { return !isAnchored(*r); }))
      if (auto with = refitted(fitted, sources, cache.get(), &lost, control)) fitted = std::move(with).value();
    auto result = understudy::evaluate(fitted, sources, cache.get(), control);
    auto shared = result ? std::make_shared<const Evaluated>(std::move(result).value()) : nullptr;
    if (!shared && result.error().fault == Fault::cancelled) return {};
    Issue error = shared ? Issue{} : result.error();
    return [this, mine, sources, shared, error, snapshot, fitted, lost] {
      const bool stale = mine <= shown_ || sources.performer != shownPerformer_ || sources.character != shownCharacter_;
      if (stale) return;
      shown_ = mine;
      evaluated_ = shared;
      evaluatedTake_ = fitted;
      if (mine == wanted_) provisional_.reset();
      if (shared && shared->complete()) carryFrom_.reset();
      if (!(fitted == snapshot) && take() == snapshot) {
        undo_.amend(setCurrentTake(reel(), fitted));
        Q_EMIT takeChanged();
        Q_EMIT stateChanged();
      }
      Q_EMIT evaluatedChanged();
      Issues issues = lost;
      if (shared)
        issues.insert(issues.end(), shared->issues.begin(), shared->issues.end());
      else
        issues.push_back(error);
      // The same complaint is told once, not at every edit.
      // A take that waits for its other file lacks nothing that needs telling: the steps say what comes next.
      const bool waits = !sources.character;
      for (const Issue& issue : issues)
        if (!waits && issue.severity != Severity::note && std::find(told_.begin(), told_.end(), issue) == told_.end()) Q_EMIT message(issue);
      told_ = std::move(issues);
    };
  }, true);
}

void Document::showNear(std::uint64_t job, std::shared_ptr<const Evaluated> shown) {
  if (job <= shown_ || !evaluating()) return;
  provisional_ = std::move(shown);
  Q_EMIT shownChanged();
}

// Asked to stop, the take goes back to what is shown.
void Document::takeBack() {
  if (!evaluating()) return;
  provisional_.reset();
  if (!evaluated_) {
    shown_ = wanted_;
    Q_EMIT message(makeNote(tr("Stopped: the take is not worked out yet").toStdString(), {}, tr("Open its files again, or change anything of it, to go on").toStdString()));
    return;
  }
  const bool back = undo_.undoTo([this](const Reel& reel) { return reel.currentTake() && *reel.currentTake() == evaluatedTake_; });
  if (!back && !(take() == evaluatedTake_)) undo_.undo();
  const bool same = take() == evaluatedTake_ && figure(Cast::performer) == shownPerformer_ && figure(Cast::character) == shownCharacter_;
  if (!same) return follow();
  shown_ = ++wanted_;
  Q_EMIT takeChanged();
  Q_EMIT stateChanged();
  Q_EMIT evaluatedChanged();
}

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
