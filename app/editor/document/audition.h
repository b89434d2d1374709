// Trying out the clips of a folder on the character: each is read, carried over and drawn in the background.
#pragma once

#include <QImage>
#include <QObject>
#include <QString>
#include <memory>
#include <vector>

#include "app/editor/document/job_lane.h"
#include "core/evaluate/evaluate.h"

namespace understudy::editor {

class Document;

struct AuditionClip {
  QString path;
  int clip = 0;                 ///< of the file, counted from 0
  QString name;
  int frames = 0;
  double seconds = 0, hertz = 0;
  double reach = 0;             ///< the farthest a hand gets from its shoulder, part of the character's arm
  double strideReach = 0;       ///< the farthest an ankle gets from its hip, part of the character's leg
  int contacts = -1;            ///< steps and stays of both feet; −1: not known yet
  int findings = -1;            ///< estimated from feet and jumps; −1: not known yet
  QString problem;              ///< why it cannot be carried over
  std::vector<QImage> loop;     ///< pictures spread evenly over `loopSeconds`
  double loopSeconds = 0;
  [[nodiscard]] bool usable() const { return problem.isEmpty() && frames > 0; }
};

class Audition : public QObject {
  Q_OBJECT
 public:
  explicit Audition(Document& document, QObject* parent = nullptr);
  ~Audition() override;

  /// Looks through a folder and those in it, at most `fileLimit` files in order of their names.
  void start(const QString& folder);
  void stop();
  [[nodiscard]] const std::vector<AuditionClip>& clips() const { return clips_; }
  [[nodiscard]] bool busy() const { return lane_.busy(); }
  [[nodiscard]] JobLane& lane() { return lane_; }
  [[nodiscard]] QString folder() const { return folder_; }
  /// One clip becomes the take's performer; several make a reel: the take with the first, and a new take for each other.
  void takeUp(const std::vector<int>& rows);

  static constexpr int fileLimit = 200, pictures = 12, pictureWidth = 176, pictureHeight = 132;

 Q_SIGNALS:
  void reset();
  void added(int row);
  void changed(int row);
  void finished();

 private:
  struct Look;
  void readFile(const QString& file);
  void drawLoop(int row, std::shared_ptr<const Look> look);
  Document& document_;
  std::vector<AuditionClip> clips_;
  QString folder_;
  std::uint64_t round_ = 0;
  JobLane lane_;
};

}  // namespace understudy::editor
