#include "app/editor/document/document.h"

#include <QFileInfo>
#include <algorithm>
#include <utility>

#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/props_keeper.h"
#include "core/io/read.h"
#include "core/repair/transform.h"
#include "core/store/profile_file.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

bool sameFile(const FileReference& a, const FileReference& b) {
  return a.path == b.path && a.metresPerUnit == b.metresPerUnit && a.up == b.up;
}

/// The profile beside a character's file, and what is to be said of it.
std::shared_ptr<const Profile> besideIt(const std::string& path, Issues& issues) {
  auto profile = profileBeside(path, &issues);
  if (!profile) issues.push_back(profile.error());
  return profile && *profile ? std::make_shared<const Profile>(std::move(**profile)) : nullptr;
}

/// Performer or character, by what the file holds: a skin makes a character, a motion without one a performer.
std::optional<Cast> castBy(const Figure& figure) {
  if (figure.hasSkin()) return Cast::character;
  if (!figure.clips.empty()) return Cast::performer;
  if (!figure.meshes.empty()) return Cast::character;
  return {};
}

QString fileName(const std::string& path) { return QFileInfo(QString::fromStdString(path)).fileName(); }

}  // namespace

Result<LoadedFigure> loadFigure(const FileReference& reference, const RunControl& control) {
  auto read = readReference(reference, control);
  if (!read) return read.error();
  if (control.stopped()) return RunControl::cancelled();
  LoadedFigure loaded{reference, read.value(), nullptr, nullptr};
  control.report(0.95, "Preparing the stage");
  loaded.stage = prepareFigure(loaded.figure);
  return loaded;
}

Document::Document(QObject* parent) : QObject(parent), undo_(newReel()), cache_(std::make_shared<EvaluationCache>()),
      previewCache_(std::make_shared<EvaluationCache>()) {
  connect(&evaluations_, &JobLane::cancelled, this, &Document::takeBack);
  undo_.reset(newReel());
  findings_ = new FindingsKeeper(*this);
  props_ = new PropsKeeper(*this);
  for (JobLane* lane : {&files_, &evaluations_, &previewing_})
    connect(lane, &JobLane::broken, this, [this](const QString& what) {
      Q_EMIT message(makeError(Fault::internal, tr("The work was broken off: %1").arg(what).toStdString(), {},
                               tr("The take is as it was. Save it, and report what you did").toStdString()));
    });
}
Document::~Document() {
  // Answers of jobs under way must find no document half gone.
  blockSignals(true);
  delete findings_;
  delete props_;
}

const Take& Document::take() const {
  static const Take none;
  const Take* current = reel().currentTake();
  return current ? *current : none;
}

void Document::edit(const QString& label, Take next, const QString& mergeKey) {
  if (next == take()) return;
  if (!undo_.push(label.toStdString(), setCurrentTake(reel(), std::move(next)), mergeKey.toStdString())) return;
  follow();
}

void Document::editReel(const QString& label, Reel next) {
  if (undo_.push(label.toStdString(), std::move(next))) follow();
}

void Document::seal() {
  undo_.seal();
  if (!std::exchange(held_, false)) return;
  // What was shown of it so far was only what lies near.
  if (evaluating()) evaluateSoon();
  Q_EMIT sealed();
}

void Document::undo() {
  if (undo_.undo()) follow();
}

void Document::redo() {
  if (undo_.redo()) follow();
}

const LoadedFigure* Document::known(const FileReference& reference) const {
  const auto at = std::find_if(store_.begin(), store_.end(), [&](const LoadedFigure& l) { return sameFile(l.reference, reference); });
  return at == store_.end() ? nullptr : &*at;
}

void Document::remember(LoadedFigure loaded) {
  // Read again in another unit, a file keeps its profile.
  for (const LoadedFigure& known : store_)
    if (!loaded.profile && known.reference.path == loaded.reference.path) loaded.profile = known.profile;
  std::erase_if(store_, [&](const LoadedFigure& l) { return sameFile(l.reference, loaded.reference); });
  std::erase_if(failed_, [&](const FileReference& f) { return sameFile(f, loaded.reference); });
  store_.push_back(std::move(loaded));
}

const LoadedFigure* Document::loaded(Cast cast) const {
  const FileReference& reference = cast == Cast::performer ? *take().performer : *take().character;
  return reference.path.empty() ? nullptr : known(reference);
}

std::shared_ptr<const Figure> Document::figure(Cast cast) const {
  const LoadedFigure* l = loaded(cast);
  return l ? l->figure : nullptr;
}

Affined Document::worldFromFile(Cast cast) const {
  const auto shown = figure(cast);
  if (!shown) return {};
  if (evaluated_ && evaluated_->report)
    return understudy::worldFromFile(
        *shown, cast == Cast::performer ? evaluated_->report->performerReference : evaluated_->report->characterReference);
  return shown->space.toWorld();
}

double Document::height(Cast cast) const {
  if (evaluated_ && evaluated_->report) {
    const auto& pose = cast == Cast::performer ? evaluated_->report->performerReference : evaluated_->report->characterReference;
    if (pose.height > 0) return pose.height;
  }
  return 1.7;
}

const BoneMap& Document::map() const {
  static const BoneMap none;
  return evaluated_ && evaluated_->map ? *evaluated_->map : none;
}

// Files named by the take but not read yet are read; then the take is evaluated.
void Document::follow() {
  const auto performer = figure(Cast::performer), character = figure(Cast::character);
  const bool files = performer != shownPerformer_ || character != shownCharacter_;
  shownPerformer_ = performer;
  shownCharacter_ = character;
  if (files) provisional_.reset();
  preview({});
  Q_EMIT takeChanged();
  Q_EMIT stateChanged();
  if (files) Q_EMIT filesChanged();
  for (Cast cast : {Cast::performer, Cast::character}) {
    const FileReference reference = cast == Cast::performer ? *take().performer : *take().character;
    const bool failed = std::any_of(failed_.begin(), failed_.end(), [&](const FileReference& f) { return sameFile(f, reference); });
    if (reference.path.empty() || known(reference) || failed) continue;
    files_.post(tr("Reading %1").arg(fileName(reference.path)), [this, reference](const RunControl& control) -> JobLane::Answer {
      auto read = loadFigure(reference, control);
      return [this, reference, read = std::move(read)] {
        if (read) {
          remember(read.value());
          follow();
        } else {
          failed_.push_back(reference);
          Q_EMIT message(read.error());
        }
      };
    });
  }
  evaluateSoon();
}

void Document::takeUp(Reel reel, const QString& path, bool saved) {
  if (saved) {
    undo_.reset(std::move(reel));
  } else {
    undo_.reset(newReel());
    undo_.push(tr("Recover").toStdString(), std::move(reel));
  }
  path_ = path;
  evaluated_.reset();
  provisional_.reset();
  ++wanted_;
  shown_ = wanted_;
  told_.clear();
  failed_.clear();
  Q_EMIT evaluatedChanged();
  follow();
}

void Document::clear() { takeUp(newReel(), {}, true); }
void Document::restore(const Reel& reel, const QString& path) { takeUp(reel, path, false); }

void Document::open(const QString& path, std::optional<Cast> as) {
  if (path.endsWith(QLatin1String(".reel"), Qt::CaseInsensitive)) return openReel(path);
  FileReference reference;
  reference.path = QFileInfo(path).absoluteFilePath().toStdString();
  files_.post(tr("Reading %1").arg(QFileInfo(path).fileName()), [this, reference, as](const RunControl& control) -> JobLane::Answer {
    auto read = loadFigure(reference, control);
    Issues issues;
    if (read && as.value_or(castBy(*read->figure).value_or(Cast::performer)) == Cast::character) read->profile = besideIt(reference.path, issues);
    return [this, as, read = std::move(read), issues = std::move(issues)] {
      if (!read) {
        Q_EMIT message(read.error());
        return;
      }
      takeUpFigure(read.value(), as);
      for (const Issue& issue : issues) Q_EMIT message(issue);
    };
  });
}

void Document::takeUpFigure(const LoadedFigure& loaded, std::optional<Cast> as) {
  const std::string& path = loaded.reference.path;
  const std::string name = fileName(path).toStdString();
  // Beside a character, a thing without skin and motion is something to hold.
  if (!as && figure(Cast::character) && !loaded.figure->hasSkin() && loaded.figure->clips.empty() && !loaded.figure->meshes.empty()) {
    props_->add(QString::fromStdString(path));
    Q_EMIT opened(QString::fromStdString(path));
    return;
  }
  if (!as) as = castBy(*loaded.figure);
  if (!as || (*as == Cast::performer && loaded.figure->clips.empty())) {
    Q_EMIT message(makeError(Fault::input, as ? tr("The file holds no motion").toStdString() : tr("The file holds neither motion nor skin").toStdString(),
                             name, tr("Choose a capture with frames, or a character with a skinned mesh").toStdString()));
    return;
  }
  remember(loaded);
  for (const Issue& issue : loaded.figure->issues)
    if (issue.severity != Severity::note) Q_EMIT message(issue);
  if (*as == Cast::performer) {
    edit(tr("Take %1 as performer").arg(QString::fromStdString(name)), setPerformer(take(), loaded.reference));
  } else {
    // What was made for the character before is carried over once the new one has a map.
    if (evaluated_ && evaluated_->context && !(take().repairs->empty() && take().nudges->empty())) carryFrom_ = evaluated_->context;
    const Take next = setCharacter(take(), loaded.reference);
    edit(tr("Take %1 as character").arg(QString::fromStdString(name)), loaded.profile ? withProfile(next, *loaded.profile) : next);
  }
  follow();
  Q_EMIT opened(QString::fromStdString(path));
}

void Document::saveProfile() {
  const LoadedFigure* character = loaded(Cast::character);
  const auto performer = figure(Cast::performer);
  if (!character || map().character.joint(Role::hips) < 0) {
    Q_EMIT message(makeError(Fault::usage, tr("There is no bone map to save").toStdString(), {}, tr("Load a performer and a character, and look at the map").toStdString()));
    return;
  }
  const Take whole = setMap(take(), map(), performer ? performer->skeleton : Skeleton{}, character->figure->skeleton);
  Profile profile = profileOf(whole, character->profile ? character->profile->thresholds : std::map<std::string, double>{});
  if (character->profile) profile.unknown = character->profile->unknown;
  const std::string file = character->reference.path;
  files_.post(tr("Saving the profile"), [this, profile, file](const RunControl&) mutable -> JobLane::Answer {
    profile.contentHash = contentHash(file);
    const std::string path = profilePathOf(file);
    const Status saved = understudy::saveProfile(profile, path);
    return [this, profile = std::move(profile), file, path, saved] {
      if (!saved) {
        Q_EMIT message(saved.error());
        return;
      }
      for (LoadedFigure& figure : store_)
        if (figure.reference.path == file) figure.profile = std::make_shared<const Profile>(profile);
      Q_EMIT message(makeNote(tr("The profile is saved: the next clip on this character needs no mapping").toStdString(), path));
    };
  });
}

void Document::openReel(const QString& path) {
  const std::string file = QFileInfo(path).absoluteFilePath().toStdString();
  files_.post(tr("Reading %1").arg(QFileInfo(path).fileName()), [this, file](const RunControl& control) -> JobLane::Answer {
    Issues issues;
    auto reel = loadReel(file, &issues);
    if (!reel)
      return [this, error = reel.error()] { Q_EMIT message(error); };
    Reel whole = relinkMoved(reel.value(), file, &issues);
    std::vector<LoadedFigure> figures;
    if (const Take* current = whole.currentTake())
      for (const FileReference& reference : {*current->performer, *current->character}) {
        if (reference.path.empty()) continue;
        auto read = loadFigure(reference, control);
        if (!read && read.error().fault == Fault::cancelled)
          return [this, error = read.error()] { Q_EMIT message(error); };
        if (read && reference.path == current->character->path) {
          Issues notes;
          read->profile = besideIt(reference.path, notes);
        }
        if (read)
          figures.push_back(std::move(read).value());
        else
          issues.push_back(read.error());
      }
    return [this, file, whole = std::move(whole), figures = std::move(figures), issues = std::move(issues)] {
      for (const LoadedFigure& l : figures) remember(l);
      takeUp(whole, QString::fromStdString(file), true);
      for (const Issue& issue : issues)
        if (issue.severity != Severity::note) Q_EMIT message(issue);
      Q_EMIT opened(QString::fromStdString(file));
    };
  });
}

}  // namespace understudy::editor
