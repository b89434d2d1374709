#include "app/editor/document/findings_keeper.h"

#include <algorithm>
#include <cmath>

#include "app/editor/document/document.h"
#include "app/editor/document/repairing.h"
#include "core/inspect/inspect.h"
#include "core/job/finish.h"
#include "core/job/offers.h"
#include "core/take/edits.h"

namespace understudy::editor {

/// The performance is looked at once, and again where clip or map are others.
struct FindingsKeeper::Analysed {
  std::shared_ptr<const Motion> motion;
  SkeletonMap map;
  std::shared_ptr<const Performance> performance;
};

FindingsKeeper::FindingsKeeper(Document& document) : QObject(&document), document_(document), analysed_(std::make_shared<Analysed>()) {
  connect(&document, &Document::evaluatedChanged, this, &FindingsKeeper::look);
  quiet_.setSingleShot(true);
  connect(&quiet_, &QTimer::timeout, this, &FindingsKeeper::weigh);
  connect(&document, &Document::sealed, this, [this] {
    if (waiting_) look();
  });
  connect(&document, &Document::takeChanged, this, [this] {
    previewed_.clear();
    // Looking at an older take only keeps the machine from what was just asked for; look() comes again after it.
    lane_.cancel();
    weighing_.cancel();
    quiet_.stop();
  });
  connect(&lane_, &JobLane::broken, &document, [&document](const QString& what) {
    document.tell(makeError(Fault::internal, tr("Looking for flaws was broken off: %1").arg(what).toStdString()));
  });
}

FindingsKeeper::~FindingsKeeper() { blockSignals(true); }

void FindingsKeeper::look() {
  const bool told = !current() && known_;
  const std::uint64_t mine = ++asked_;
  const auto evaluated = document_.evaluated();
  const Sources sources = document_.sources();
  if (!evaluated || !evaluated->complete() || !evaluated->context || !sources.performer) {
    looked_ = mine;
    known_ = false;
    if (!findings_.empty()) findings_.clear();
    Q_EMIT changed();
    return;
  }
  // While something is dragged it is told once that they are of an older take.
  if (!told || !document_.held()) Q_EMIT changed();
  // What looks at an older take is given up. While something is dragged the machine is for the stage.
  lane_.cancel();
  weighing_.cancel();
  quiet_.stop();
  waiting_ = document_.held();
  if (waiting_) return;
  InspectSettings settings;
  if (const LoadedFigure* character = document_.loaded(Cast::character); character && character->profile) (void)setLimits(character->profile->thresholds, settings.limits);
  lane_.post(tr("Looking for flaws"), [this, mine, settings, evaluated, sources, take = document_.evaluatedTake(), analysed = analysed_](const RunControl& control) mutable -> JobLane::Answer {
    if (analysed->motion != evaluated->performerNative || !(analysed->map == evaluated->map->performer) || !analysed->performance) {
      auto performance = analysePerformance(*sources.performer, evaluated->map->performer, evaluated->performerNative, control);
      if (!performance) return {};
      *analysed = {evaluated->performerNative, evaluated->map->performer, performance.value()};
    }
    if (!take.props->empty()) settings.prop = take.props->front().id;
    auto seen = inspectTake(take, *evaluated, *analysed->performance, settings, control);
    if (!seen) return {};
    return [this, mine, findings = std::move(seen->findings), settled = std::move(seen->settled)]() mutable {
      if (mine < looked_) return;
      looked_ = mine;
      known_ = true;
      findings_ = std::move(findings);
      settled_ = std::move(settled);
      if (patience_ >= 0 && current()) quiet_.start(patience_);
      // The same complaint about waved-off ones never comes back; the choice stays while its flaw does.
      Q_EMIT changed();
      if (!chosen_.empty() && !find(chosen_)) choose({});
    };
  }, true);
}

// Costs about as much as finishing: long clips are not tried by themselves.
void FindingsKeeper::weigh() {
  constexpr int longest = 6000;
  const auto evaluated = document_.evaluated();
  const Sources sources = document_.sources();
  if (!current() || finishing_ || mendable() == 0 || !evaluated || evaluated->frames > longest || !sources.character) return;
  FinishSettings settings;
  if (const LoadedFigure* character = document_.loaded(Cast::character); character && character->profile) (void)setLimits(character->profile->thresholds, settings.inspect.limits);
  const Take take = document_.evaluatedTake();
  if (!take.props->empty()) settings.inspect.prop = take.props->front().id;
  weighing_.post(tr("Trying what is offered"), [this, mine = asked_, findings = findings_, take, sources, settings](const RunControl& control) mutable -> JobLane::Answer {
    // One thread: whatever is asked for meanwhile comes first.
    RunControl alone = control;
    alone.threads = 1;
    auto tried = weighed(std::move(findings), take, sources, settings, nullptr, alone);
    if (!tried) return {};
    return [this, mine, findings = std::move(tried).value()]() mutable {
      if (mine != asked_ || !current()) return;
      // Waved off or taken up meanwhile stays as it is now.
      for (Finding& finding : findings)
        if (const Finding* now = find(finding.key)) finding.waved = now->waved;
      findings_ = std::move(findings);
      Q_EMIT changed();
    };
  }, true);
}

const Finding* FindingsKeeper::find(const std::string& key) const {
  if (key.empty()) return nullptr;
  const auto at = std::find_if(findings_.begin(), findings_.end(), [&](const Finding& f) { return f.key == key; });
  return at == findings_.end() ? nullptr : &*at;
}

int FindingsKeeper::open() const {
  return static_cast<int>(std::count_if(findings_.begin(), findings_.end(), [](const Finding& f) { return !f.waved && !f.hint; }));
}

int FindingsKeeper::hints() const {
  return static_cast<int>(std::count_if(findings_.begin(), findings_.end(), [](const Finding& f) { return !f.waved && f.hint; }));
}

int FindingsKeeper::mendable() const {
  return static_cast<int>(std::count_if(findings_.begin(), findings_.end(), [](const Finding& f) { return !f.waved && !f.proposal.empty(); }));
}

void FindingsKeeper::choose(const std::string& key) {
  if (key == chosen_) return;
  chosen_ = key;
  Q_EMIT chosenChanged();
}

const Finding* FindingsKeeper::next(int frame, int direction) const {
  const auto wanted = [](const Finding& f) { return !f.waved; };
  // From a chosen one the list's order counts, so that several at one frame are all met.
  const auto at = std::find_if(findings_.begin(), findings_.end(), [&](const Finding& f) { return f.key == chosen_; });
  if (at != findings_.end()) {
    if (direction > 0) {
      const auto found = std::find_if(at + 1, findings_.end(), wanted);
      return found == findings_.end() ? nullptr : &*found;
    }
    for (auto it = at; it != findings_.begin();)
      if (wanted(*--it)) return &*it;
    return nullptr;
  }
  const Finding* best = nullptr;
  for (const Finding& f : findings_) {
    if (!wanted(f)) continue;
    if (direction > 0 && f.span.last >= frame) return &f;
    if (direction < 0 && f.span.first <= frame) best = &f;
  }
  return best;
}

void FindingsKeeper::setStrength(double strength) {
  strength = std::clamp(strength, 0.0, 1.0);
  if (strength == strength_) return;
  strength_ = strength;
  if (!previewed_.empty()) preview(previewed_);
}

namespace {

Take added(const Take& take, const Finding& finding, double strength, const Evaluated& evaluated) {
  Take next = take;
  for (Repair proposal : finding.proposal) {
    if (repairsAlready(*next.repairs, proposal, evaluated.rate, evaluated.clipFrames)) continue;
    proposal.id = 0;
    proposal.weight *= strength;
    next = addRepair(next, std::move(proposal));
  }
  return next;
}

}  // namespace

Take FindingsKeeper::withProposal(const Finding& finding) const {
  const auto evaluated = document_.evaluated();
  return evaluated ? added(document_.take(), finding, strength_, *evaluated) : document_.take();
}

void FindingsKeeper::preview(const std::string& key) {
  const Finding* finding = find(key);
  previewed_ = finding && !finding->proposal.empty() ? key : std::string();
  document_.preview(previewed_.empty() ? std::nullopt : std::optional(withProposal(*finding)));
}

void FindingsKeeper::accept(const QString& label, const std::vector<const Finding*>& findings) {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return;
  Take next = document_.take();
  for (const Finding* finding : findings) next = added(next, *finding, strength_, *evaluated);
  document_.edit(label, next);
}

void FindingsKeeper::accept(const std::string& key) {
  const Finding* finding = find(key);
  if (!finding || finding->proposal.empty()) return;
  accept(tr("Accept %1").arg(kindText(finding->proposal.front())), {finding});
}

void FindingsKeeper::acceptKind(FindingKind kind) {
  std::vector<const Finding*> all;
  for (const Finding& finding : findings_)
    if (finding.kind == kind && !finding.waved && !finding.proposal.empty()) all.push_back(&finding);
  accept(tr("Accept all that %1").arg(findingKindText(kind)), all);
}

void FindingsKeeper::waveOff(const std::string& key, bool waved) {
  if (find(key)) document_.edit(waved ? tr("Wave off a finding") : tr("Take a finding up again"), setWaved(document_.take(), key, waved));
}

void FindingsKeeper::finish() {
  if (finishing_ || !document_.evaluated() || !document_.evaluated()->complete()) return;
  finishing_ = true;
  quiet_.stop();
  weighing_.cancel();
  Q_EMIT changed();
  FindingLimits limits;
  if (const LoadedFigure* character = document_.loaded(Cast::character); character && character->profile) (void)setLimits(character->profile->thresholds, limits);
  document_.runOnTake(tr("Finishing"), [limits](const Take& take, const Sources& sources, EvaluationCache& cache, const RunControl& control) -> Result<Take> {
    FinishSettings settings;
    settings.inspect.limits = limits;
    if (!take.props->empty()) settings.inspect.prop = take.props->front().id;
    auto done = finishTake(take, sources, settings, &cache, control);
    if (!done) return done.error();
    return std::move(done->take);
  }, [this] {
    finishing_ = false;
    Q_EMIT changed();
    Q_EMIT finished();
  });
}

QString findingKindText(FindingKind kind) {
  switch (kind) {
    case FindingKind::slide: return FindingsKeeper::tr("slides");
    case FindingKind::afloat: return FindingsKeeper::tr("floats");
    case FindingKind::sink: return FindingsKeeper::tr("sinks in");
    case FindingKind::snap: return FindingsKeeper::tr("snaps straight");
    case FindingKind::flip: return FindingsKeeper::tr("flips");
    case FindingKind::pop: return FindingsKeeper::tr("jumps");
    case FindingKind::twist: return FindingsKeeper::tr("twists");
    case FindingKind::range: return FindingsKeeper::tr("bends too far");
    case FindingKind::depth: return FindingsKeeper::tr("lies in body or floor");
    case FindingKind::gripDrift: return FindingsKeeper::tr("leaves its grip");
    case FindingKind::missedTouch: return FindingsKeeper::tr("misses its touch");
    case FindingKind::lostContact: return FindingsKeeper::tr("lost its contact");
    case FindingKind::balance: return FindingsKeeper::tr("is off balance");
    case FindingKind::broken: break;
  }
  return FindingsKeeper::tr("breaks a repair");
}

QString measureText(const Finding& finding) {
  const QString number = QString::number(finding.measure, 'f', finding.measure < 9.95 ? 1 : 0);
  return std::string_view(findingUnit(finding.kind)) == "mm" ? FindingsKeeper::tr("%1 mm").arg(number) : number + QStringLiteral("°");
}

QString findingIcon(FindingKind kind) {
  switch (kind) {
    case FindingKind::slide: return QStringLiteral("slide");
    case FindingKind::afloat: return QStringLiteral("float");
    case FindingKind::sink: return QStringLiteral("sink");
    case FindingKind::flip:
    case FindingKind::pop:
    case FindingKind::snap: return QStringLiteral("pop");
    case FindingKind::twist: return QStringLiteral("untwist");
    case FindingKind::range: return QStringLiteral("offset");
    case FindingKind::depth: return QStringLiteral("depth");
    case FindingKind::gripDrift: return QStringLiteral("grip");
    default: return QStringLiteral("touch");
  }
}

}  // namespace understudy::editor
