#include "app/command/progress.h"

#include <csignal>
#include <fcntl.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <mutex>
#include <string>
#include <thread>

namespace understudy::cli {
namespace {

using Clock = std::chrono::steady_clock;

std::mutex lineMutex;
bool lineShown = false;
volatile std::sig_atomic_t signalPipe = -1;

// Only calls that are safe in a signal handler: a byte down the pipe, and the default for the next signal.
void onSignal(int number) {
  const int saved = errno;
  const char byte = 1;
  if (signalPipe >= 0 && write(signalPipe, &byte, 1) < 0) {
  }
  signal(number, SIG_DFL);
  errno = saved;
}

}  // namespace

std::function<void(double, std::string_view)> terminalProgress(bool quiet) {
  if (quiet || !isatty(STDERR_FILENO)) return nullptr;
  return [begin = Clock::now(), last = Clock::time_point{}](double fraction, std::string_view step) mutable {
    const auto now = Clock::now();
    // Short jobs show nothing; long ones are not slowed by drawing.
    if (now - begin < std::chrono::milliseconds(300) || now - last < std::chrono::milliseconds(80)) return;
    last = now;
    const std::lock_guard lock(lineMutex);
    constexpr int width = 24;
    const int filled = static_cast<int>(std::min(1.0, std::max(0.0, fraction)) * width);
    const std::string bar = std::string(static_cast<std::size_t>(filled), '=') + std::string(static_cast<std::size_t>(width - filled), ' ');
    std::fprintf(stderr, "\r[%s] %3.0f %% %.*s\x1b[K", bar.c_str(), fraction * 100, static_cast<int>(step.size()), step.data());
    std::fflush(stderr);
    lineShown = true;
  };
}

void clearProgress() {
  const std::lock_guard lock(lineMutex);
  if (!lineShown) return;
  std::fprintf(stderr, "\r\x1b[K");
  std::fflush(stderr);
  lineShown = false;
}

struct StopOnSignals::State {
  std::stop_source source;
  int pipe[2] = {-1, -1};
  std::thread watcher;
};

StopOnSignals::StopOnSignals() : state_(new State) {
  if (pipe2(state_->pipe, O_CLOEXEC) != 0) return;
  signalPipe = state_->pipe[1];
  state_->watcher = std::thread([state = state_] {
    char byte = 0;
    while (read(state->pipe[0], &byte, 1) < 0 && errno == EINTR) {
    }
    if (byte == 1) state->source.request_stop();
  });
  struct sigaction action {};
  action.sa_handler = onSignal;
  sigemptyset(&action.sa_mask);
  action.sa_flags = SA_RESTART;
  sigaction(SIGINT, &action, nullptr);
  sigaction(SIGTERM, &action, nullptr);
}

StopOnSignals::~StopOnSignals() {
  if (state_->pipe[1] >= 0) {
    signal(SIGINT, SIG_DFL);
    signal(SIGTERM, SIG_DFL);
    signalPipe = -1;
    const char end = 0;
    if (write(state_->pipe[1], &end, 1) < 0) state_->watcher.detach();
    if (state_->watcher.joinable()) state_->watcher.join();
    close(state_->pipe[0]);
    close(state_->pipe[1]);
  }
  delete state_;
}

std::stop_token StopOnSignals::token() const { return state_->source.get_token(); }

}  // namespace understudy::cli
