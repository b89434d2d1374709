// Work off the window's thread: one job after another, with progress, cancelling, and an answer on the window's thread.
#pragma once

#include <QObject>
#include <QString>
#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <stop_token>
#include <thread>

#include "core/base/run_control.h"

namespace understudy::editor {

/// A thread that runs jobs in order. A job returns what is to be done with its result on the window's thread.
class JobLane : public QObject {
  Q_OBJECT
 public:
  using Answer = std::function<void()>;
  using Job = std::function<Answer(const RunControl&)>;

  explicit JobLane(QObject* parent = nullptr);
  /// Asks the running job to stop and waits for it; answers not yet given are dropped.
  ~JobLane() override;

  /// Queues a job. `replace` drops jobs still waiting (the newest input wins; the running one finishes).
  void post(const QString& name, Job job, bool replace = false);
  /// Asks the running job to stop and drops those waiting.
  void cancel();
  /// Asks the running job to stop; those waiting stay.
  void interrupt();
  /// True from post() until the last answer was given.
  [[nodiscard]] bool busy() const { return open_ > 0; }

 Q_SIGNALS:
  void started(const QString& name);
  void progressed(double fraction, const QString& step);
  void idle();
  /// cancel() found something to do.
  void cancelled();
  /// A job ended in an exception (out of memory, a defect): what it said.
  void broken(const QString& what);

 private:
  struct Entry {
    QString name;
    Job job;
    std::stop_source stop;
  };
  void run();
  void closeOne();

  std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<Entry> waiting_;
  std::stop_source running_{std::nostopstate};
  bool quit_ = false;
  int open_ = 0;  // window's thread only
  std::thread thread_;
};

}  // namespace understudy::editor
