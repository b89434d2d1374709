// Findings of the take as it stands, looked for in the background after each change, and what is done about them.
#pragma once

#include <QObject>
#include <QTimer>
#include <memory>
#include <string>

#include "app/editor/document/job_lane.h"
#include "core/inspect/finding.h"
#include "core/inspect/performance.h"
#include "core/take/take.h"

namespace understudy::editor {

/// How a finding is shown everywhere: flaws by how bad they are, hints always quietly.
[[nodiscard]] inline bool isGrave(const Finding& finding) { return !finding.hint && finding.severity >= 0.35; }

class Document;

class FindingsKeeper : public QObject {
  Q_OBJECT
 public:
  explicit FindingsKeeper(Document& document);
  ~FindingsKeeper() override;

  /// In order of time; those of the newest evaluation that was looked at.
  [[nodiscard]] const Findings& findings() const { return findings_; }
  /// They are of the take as it is shown.
  [[nodiscard]] bool current() const { return known_ && looked_ == asked_; }
  /// Not waved off: the flaws, what is only worth a look, and those something is proposed for.
  [[nodiscard]] int open() const;
  [[nodiscard]] int hints() const;
  [[nodiscard]] int mendable() const;
  /// The chosen finding; null for none.
  [[nodiscard]] const Finding* chosen() const { return find(chosen_); }
  [[nodiscard]] const Finding* find(const std::string& key) const;
  void choose(const std::string& key);
  /// The next one after (1) or before (−1) a frame of the untrimmed clip; null for none.
  [[nodiscard]] const Finding* next(int frame, int direction) const;

  /// How much of a proposal is taken, 0 … 1.
  [[nodiscard]] double strength() const { return strength_; }
  void setStrength(double strength);

  /// The take with what a finding proposes.
  [[nodiscard]] Take withProposal(const Finding& finding) const;
  /// Shows what a proposal would do, while the take stays as it is; nothing for an empty key.
  void preview(const std::string& key);
  [[nodiscard]] const std::string& previewed() const { return previewed_; }

  void accept(const std::string& key);
  void acceptKind(FindingKind kind);
  void waveOff(const std::string& key, bool waved);
  /// Accepts everything, stage by stage, in the background: one step of undo.
  void finish();
  [[nodiscard]] bool finishing() const { return finishing_; }

  /// What is no flaw of it, though it looks like one; of the same evaluation as findings().
  [[nodiscard]] const Findings& settled() const { return settled_; }
  /// Tries all proposals on a copy, in the background: those that do more harm than good are offered no more, and what others bring
  /// along is told. Does so by itself once nothing has changed for a while.
  void weigh();
  /// That while in milliseconds; below 0: only when asked.
  void setPatience(int milliseconds) { patience_ = milliseconds; }
  [[nodiscard]] JobLane& weighing() { return weighing_; }

  [[nodiscard]] JobLane& lane() { return lane_; }

 Q_SIGNALS:
  void changed();
  void chosenChanged();
  void finished();

 private:
  void look();
  void accept(const QString& label, const std::vector<const Finding*>& findings);

  Document& document_;
  Findings findings_, settled_;
  std::string chosen_, previewed_;
  std::uint64_t asked_ = 0, looked_ = 0;
  bool known_ = false, finishing_ = false, waiting_ = false;
  double strength_ = 1;
  /// Found once a clip; used by this lane's thread only.
  struct Analysed;
  std::shared_ptr<Analysed> analysed_;
  QTimer quiet_;
  int patience_ = 1500;
  JobLane lane_, weighing_;
};

/// "slides", "snaps straight": what a bone does; after the bone's name it makes a sentence.
[[nodiscard]] QString findingKindText(FindingKind kind);
/// "31 mm", "14°".
[[nodiscard]] QString measureText(const Finding& finding);
/// Name of its icon.
[[nodiscard]] QString findingIcon(FindingKind kind);

}  // namespace understudy::editor
