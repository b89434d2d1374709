// Pictures of the window by a script, and measurements: options for developers.
#pragma once

#include <QElapsedTimer>
#include <QObject>
#include <QString>

class QCommandLineParser;

namespace understudy::editor {

class MainWindow;

/// --screenshot PNG with --size, --theme, --frame, --select, --nudge, --page, --layout; --measure prints how long the first picture
/// took and how many a second scrubbing draws.
class PictureScript : public QObject {
  Q_OBJECT
 public:
  static void addOptions(QCommandLineParser& parser);
  explicit PictureScript(const QCommandLineParser& parser);
  [[nodiscard]] bool active() const { return !picture_.isEmpty() || measure_; }
  [[nodiscard]] bool light() const { return light_; }
  void prepare(MainWindow& window);
  void start(MainWindow& window);

 private:
  void pose(MainWindow& window);
  void scrub(MainWindow& window);
  QString picture_, bone_, page_, layout_, nudge_, view_, add_;
  int finding_ = 0;
  bool finish_ = false;
  int width_ = 1440, height_ = 900, frame_ = 0, files_ = 0;
  bool light_ = false, measure_ = false, posed_ = false;
  QElapsedTimer clock_;
};

}  // namespace understudy::editor
