// The document: a reel with its undo stack, the files it reads, and what evaluating it gives.
#pragma once

#include <QObject>
#include <QString>
#include <QTimer>
#include <atomic>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "app/editor/document/job_lane.h"
#include "app/editor/document/session.h"
#include "core/evaluate/evaluate.h"
#include "core/io/write.h"
#include "core/take/profile.h"
#include "core/take/undo.h"
#include "render/stage.h"

namespace understudy::editor {

class FindingsKeeper;
class PropsKeeper;

/// A file as read and made ready for the stage.
struct LoadedFigure {
  FileReference reference;
  std::shared_ptr<const Figure> figure;
  StageFigurePtr stage;
  std::shared_ptr<const Profile> profile;  ///< the one that lies beside the file; null: none
};

/// Reads a file and makes it ready for the stage; on any thread.
[[nodiscard]] Result<LoadedFigure> loadFigure(const FileReference& reference, const RunControl& control);

/// What handing over gave.
struct HandOverReport {
  QString path;
  Fidelity fidelity;
  bool measured = false;
  Issues notes;
};

/// Every change of the reel goes through edit(); everything else here follows from the current take. Files are read and
/// takes evaluated on lanes of their own, so that the window never waits.
class Document : public QObject {
  Q_OBJECT
 public:
  explicit Document(QObject* parent = nullptr);
  ~Document() override;

  [[nodiscard]] const Reel& reel() const { return undo_.current(); }
  [[nodiscard]] const Take& take() const;
  /// Makes `next` the current take. Successive edits with the same merge key are one step of undo. Equal takes are no edit.
  void edit(const QString& label, Take next, const QString& mergeKey = {});
  /// An edit of the list of takes.
  void editReel(const QString& label, Reel next);
  /// Ends a run of merged edits (the mouse button was let go).
  void seal();
  /// Something is in the hand until seal(): what looks at the whole take waits until it is let go.
  void hold() { held_ = true; }
  [[nodiscard]] bool held() const { return held_; }
  void undo();
  void redo();
  [[nodiscard]] bool canUndo() const { return undo_.canUndo(); }
  [[nodiscard]] bool canRedo() const { return undo_.canRedo(); }
  [[nodiscard]] QString undoLabel() const { return QString::fromStdString(undo_.undoLabel()); }
  [[nodiscard]] QString redoLabel() const { return QString::fromStdString(undo_.redoLabel()); }

  /// Null while not read.
  [[nodiscard]] const LoadedFigure* loaded(Cast cast) const;
  [[nodiscard]] std::shared_ptr<const Figure> figure(Cast cast) const;
  /// A file that has been read already; null otherwise.
  [[nodiscard]] const LoadedFigure* known(const FileReference& reference) const;
  /// The newest evaluation; null before the first one. May lag behind the take while one is under way.
  [[nodiscard]] std::shared_ptr<const Evaluated> evaluated() const { return evaluated_; }
  [[nodiscard]] bool evaluating() const { return shown_ != wanted_; }
  /// The take that evaluated() is of.
  [[nodiscard]] const Take& evaluatedTake() const { return evaluatedTake_; }
  [[nodiscard]] FindingsKeeper& findings() { return *findings_; }
  [[nodiscard]] const FindingsKeeper& findings() const { return *findings_; }
  [[nodiscard]] PropsKeeper& props() const { return *props_; }
  /// Changes the take by work in the background, as one step of undo; dropped where the take has changed meanwhile.
  using TakeWork = std::function<Result<Take>(const Take&, const Sources&, EvaluationCache&, const RunControl&)>;
  void runOnTake(const QString& label, TakeWork work, std::function<void()> then);
  /// What the stage shows: a preview while there is one, else evaluated(); of a change that takes long first what lies near the
  /// frame that is looked at, the other frames without it.
  [[nodiscard]] std::shared_ptr<const Evaluated> shown() const { return preview_ ? preview_ : provisional_ ? provisional_ : evaluated_; }
  [[nodiscard]] bool provisional() const { return !preview_ && provisional_; }
  /// The frame that is looked at, counted from 0 in the trimmed clip.
  void setShownFrame(int frame) { shownFrame_ = frame; }
  /// Evaluates `take` in the background and shows it until the preview is taken away (nothing) or the take changes.
  void preview(std::optional<Take> take);
  [[nodiscard]] bool previewing() const { return preview_ != nullptr; }
  /// The files behind evaluated().
  [[nodiscard]] Sources sources() const { return {shownPerformer_, shownCharacter_, {}, {}}; }
  /// World metres from a figure's file coordinates, facing included where it is known.
  [[nodiscard]] Affined worldFromFile(Cast cast) const;
  /// Height in metres, 1.7 where unknown.
  [[nodiscard]] double height(Cast cast) const;
  /// The bone map of the current evaluation; empty roles without one.
  [[nodiscard]] const BoneMap& map() const;

  /// Roles of one side that are filled by hand fill those of the other side too.
  [[nodiscard]] bool mirrorsMap() const { return mirrorsMap_; }
  void setMirrorsMap(bool mirrors) { mirrorsMap_ = mirrors; }
  /// Reads a file and takes it up: reels replace the document, other files become performer or character by what they
  /// hold, or as `as` says. On failure a message, and nothing changes.
  void open(const QString& path, std::optional<Cast> as = {});
  /// A new, empty reel.
  void clear();
  [[nodiscard]] QString path() const { return path_; }
  [[nodiscard]] bool modified() const { return !undo_.isSaved(); }
  /// False, with a message, where it cannot be written.
  bool save(const QString& path);
  /// Writes what is known of the character beside its file: bone map, alignment, hand shapes. Without a map a message says what is missing.
  void saveProfile();
  /// Takes up a reel that was autosaved; it counts as modified.
  void restore(const Reel& reel, const QString& path);
  /// Writes the current take to its character's file format; answers with handedOver().
  void handOver(const HandOver& settings, int firstFrame);

  [[nodiscard]] JobLane& files() { return files_; }
  [[nodiscard]] JobLane& evaluations() { return evaluations_; }
  [[nodiscard]] JobLane& previews() { return previewing_; }
  void tell(const Issue& issue) { Q_EMIT message(issue); }

 Q_SIGNALS:
  void takeChanged();        ///< also after undo, redo, opening
  void filesChanged();       ///< another figure is loaded
  void evaluatedChanged();   ///< evaluated() is new
  void shownChanged();       ///< a preview came or went
  void sealed();             ///< what was held is let go
  void stateChanged();       ///< path, modified, undo labels
  void opened(const QString& path);
  void handedOver(const understudy::editor::HandOverReport& report);
  void message(const understudy::Issue& issue);

 private:
  void takeUp(Reel reel, const QString& path, bool saved);
  void takeUpFigure(const LoadedFigure& loaded, std::optional<Cast> as);
  void openReel(const QString& path);
  void follow();
  void evaluateSoon();
  void showNear(std::uint64_t job, std::shared_ptr<const Evaluated> shown);
  void takeBack();
  void remember(LoadedFigure loaded);

  UndoStack<Reel> undo_;
  bool held_ = false;
  QString path_;
  std::vector<LoadedFigure> store_;
  std::vector<FileReference> failed_;
  std::shared_ptr<const Evaluated> evaluated_;
  std::shared_ptr<const Figure> shownPerformer_, shownCharacter_;
  std::shared_ptr<const Evaluated> preview_, provisional_;
  std::shared_ptr<std::atomic<bool>> nearDone_;  ///< of the job posted last
  int shownFrame_ = 0;
  Take evaluatedTake_;
  std::shared_ptr<const RepairContext> carryFrom_;  ///< of the character before, until its repairs are carried over
  FindingsKeeper* findings_;
  PropsKeeper* props_;
  std::uint64_t wanted_ = 0, shown_ = 0, previews_ = 0;
  std::shared_ptr<EvaluationCache> cache_, previewCache_;
  bool mirrorsMap_ = false;
  Issues told_;
  JobLane files_, evaluations_, previewing_;
};

}  // namespace understudy::editor
