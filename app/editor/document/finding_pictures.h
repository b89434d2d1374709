// Pictures of findings: each at its worst frame, and the chosen one as its proposal would make it. Drawn in the background when asked
// for.
#pragma once

#include <QImage>
#include <QObject>
#include <QTimer>
#include <map>
#include <set>

#include "app/editor/document/document.h"

namespace understudy::editor {

class FindingPictures : public QObject {
  Q_OBJECT
 public:
  explicit FindingPictures(Document& document, QObject* parent = nullptr);
  ~FindingPictures() override;

  /// The finding as it is, `smallSide` device-independent pixels a side; null while it is not drawn, which it will be.
  [[nodiscard]] QImage before(const std::string& key);
  /// Before and after, `largeSide` a side; both null while not drawn, the second also where nothing is proposed.
  struct Pair {
    QImage before, after;
  };
  [[nodiscard]] Pair pair(const std::string& key);
  [[nodiscard]] JobLane& lane() { return lane_; }

  static constexpr int smallSide = 40, largeSide = 126;

 Q_SIGNALS:
  void changed();

 private:
  void stale();
  void work();
  Document& document_;
  std::map<std::string, QImage> small_;
  std::map<std::string, Pair> large_;
  std::set<std::string> wantedSmall_, wantedLarge_;
  std::shared_ptr<const Evaluated> of_;
  Take seen_;
  StageFigurePtr stage_;
  std::uint64_t round_ = 0;
  QTimer soon_;
  std::shared_ptr<EvaluationCache> cache_;
  JobLane lane_;
};

}  // namespace understudy::editor
