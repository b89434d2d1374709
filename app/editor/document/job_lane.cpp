#include "app/editor/document/job_lane.h"

#include <QMetaObject>
#include <exception>

namespace understudy::editor {

JobLane::JobLane(QObject* parent) : QObject(parent), thread_([this] { run(); }) {}

JobLane::~JobLane() {
  {
    const std::lock_guard lock(mutex_);
    quit_ = true;
    waiting_.clear();
    running_.request_stop();
  }
  wake_.notify_all();
  thread_.join();
}

void JobLane::post(const QString& name, Job job, bool replace) {
  {
    const std::lock_guard lock(mutex_);
    if (replace) {
      open_ -= static_cast<int>(waiting_.size());
      waiting_.clear();
    }
    waiting_.push_back({name, std::move(job), {}});
    ++open_;
  }
  wake_.notify_all();
}

void JobLane::cancel() {
  const bool was = busy();
  {
    const std::lock_guard lock(mutex_);
    running_.request_stop();
    open_ -= static_cast<int>(waiting_.size());
    waiting_.clear();
  }
  if (was && !busy()) Q_EMIT idle();
  if (was) Q_EMIT cancelled();
}

void JobLane::interrupt() {
  const std::lock_guard lock(mutex_);
  running_.request_stop();
}

void JobLane::closeOne() {
  if (--open_ == 0) Q_EMIT idle();
}

void JobLane::run() {
  for (;;) {
    Entry entry;
    {
      std::unique_lock lock(mutex_);
      wake_.wait(lock, [this] { return quit_ || !waiting_.empty(); });
      if (quit_) return;
      entry = std::move(waiting_.front());
      waiting_.pop_front();
      running_ = entry.stop;
    }
    QMetaObject::invokeMethod(this, [this, name = entry.name] { Q_EMIT started(name); }, Qt::QueuedConnection);
    RunControl control;
    control.stop = entry.stop.get_token();
    control.progress = [this](double fraction, std::string_view step) {
      QMetaObject::invokeMethod(this, [this, fraction, text = QString::fromUtf8(step.data(), static_cast<qsizetype>(step.size()))] {
        Q_EMIT progressed(fraction, text);
      }, Qt::QueuedConnection);
    };
    Answer answer;
    try {
      answer = entry.job(control);
    } catch (const std::exception& error) {
      answer = [this, what = QString::fromUtf8(error.what())] { Q_EMIT broken(what); };
    }
    QMetaObject::invokeMethod(this, [this, answer = std::move(answer)] {
      if (answer) answer();
      closeOne();
    }, Qt::QueuedConnection);
  }
}

}  // namespace understudy::editor
