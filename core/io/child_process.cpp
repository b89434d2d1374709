#include "core/io/child_process.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <system_error>
#include <thread>

extern char** environ;

namespace understudy {
namespace {

using Clock = std::chrono::steady_clock;
constexpr int pollMilliseconds = 40;
constexpr const char* tryAgain = "The file may be damaged or of an unusual kind: try exporting it again as glTF (.glb)";

/// Ends the process (and what it started) unless it was waited for.
class Child {
 public:
  Child(pid_t pid, int pipe) : pid_(pid), pipe_(pipe) {}
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;
  ~Child() {
    end();
    ::close(pipe_);
  }
  [[nodiscard]] int pipe() const { return pipe_; }
  void end() {
    if (pid_ <= 0) return;
    ::kill(-pid_, SIGKILL);
    int status = 0;
    while (::waitpid(pid_, &status, 0) < 0 && errno == EINTR) {
    }
    pid_ = 0;
  }
  /// True once the process has ended; then `status` is what waitpid says.
  bool ended(int& status) {
    pid_t done = 0;
    do done = ::waitpid(pid_, &status, WNOHANG);
    while (done < 0 && errno == EINTR);
    if (done == 0) return false;
    if (done < 0) status = 0;
    pid_ = 0;
    return true;
  }

 private:
  pid_t pid_;
  int pipe_;
};

Issue stopped(const std::string& file, const std::string& how) {
  return makeError(Fault::input, "The reader process stopped while reading the file (" + how + ")", file, tryAgain);
}

std::string signalText(int signal) {
  const char* name = ::strsignal(signal);
  return "signal " + std::to_string(signal) + (name ? std::string(", ") + name : "");
}

}  // namespace

std::string readerBesideThisProgram() {
  std::error_code error;
  const std::filesystem::path self = std::filesystem::read_symlink("/proc/self/exe", error);
  return error ? std::string() : (self.parent_path() / "understudy-reader").string();
}

Result<std::vector<std::uint8_t>> runReader(const std::string& program, const std::vector<std::string>& arguments,
                                            const ChildLimits& limits, const RunControl& control) {
  const std::string file = arguments.empty() ? std::string() : arguments.back();
  if (program.empty() || ::access(program.c_str(), X_OK) != 0)
    return makeError(Fault::input,
                     "FBX and Collada files need the program understudy-reader, which is missing" +
                         (program.empty() ? std::string() : " (looked for '" + program + "')"),
                     file, "Install it beside this program, or export the file as glTF (.glb) or BVH");
  if (control.stopped()) return RunControl::cancelled();

  int ends[2] = {-1, -1};
  if (::pipe2(ends, O_CLOEXEC) != 0)
    return makeError(Fault::input, "The reader process cannot be started: " + std::string(std::strerror(errno)), file);
  std::vector<char*> argv;
  std::vector<std::string> words{program};
  words.insert(words.end(), arguments.begin(), arguments.end());
  for (std::string& word : words) argv.push_back(word.data());
  argv.push_back(nullptr);

  posix_spawn_file_actions_t actions;
  posix_spawnattr_t attributes;
  ::posix_spawn_file_actions_init(&actions);
  ::posix_spawnattr_init(&attributes);
  ::posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
  ::posix_spawn_file_actions_adddup2(&actions, ends[1], 1);
  ::posix_spawn_file_actions_addopen(&actions, 2, "/dev/null", O_WRONLY, 0);
  // Its own process group: ending it also ends whatever it has started. Signals as in a fresh process.
  sigset_t none, all;
  ::sigemptyset(&none);
  ::sigfillset(&all);
  ::posix_spawnattr_setpgroup(&attributes, 0);
  ::posix_spawnattr_setsigmask(&attributes, &none);
  ::posix_spawnattr_setsigdefault(&attributes, &all);
  ::posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETPGROUP | POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
  pid_t pid = 0;
  const int failure = ::posix_spawn(&pid, program.c_str(), &actions, &attributes, argv.data(), environ);
  ::posix_spawn_file_actions_destroy(&actions);
  ::posix_spawnattr_destroy(&attributes);
  ::close(ends[1]);
  if (failure != 0) {
    ::close(ends[0]);
    return makeError(Fault::input, "The reader process '" + program + "' cannot be started: " + std::strerror(failure), file,
                     "Check that understudy-reader is installed beside this program and may be run");
  }

  Child child(pid, ends[0]);
  const auto deadline = Clock::now() + std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(limits.seconds));
  std::vector<std::uint8_t> output;
  std::vector<std::uint8_t> block(1U << 18);
  const auto late = [&] {
    return makeError(Fault::input,
                     "The reader process was ended: it took longer than " + std::to_string(std::lround(limits.seconds)) + " s", file,
                     tryAgain);
  };
  for (;;) {
    if (control.stopped()) return RunControl::cancelled();
    if (Clock::now() >= deadline) return late();
    pollfd ready{child.pipe(), POLLIN, 0};
    const int events = ::poll(&ready, 1, pollMilliseconds);
    if (events < 0 && errno != EINTR) return stopped(file, std::strerror(errno));
    if (events <= 0) continue;
    const ssize_t got = ::read(child.pipe(), block.data(), block.size());
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return stopped(file, std::strerror(errno));
    if (got == 0) break;
    if (output.size() + static_cast<std::size_t>(got) > limits.outputBytes)
      return makeError(Fault::input,
                       "The reader process was ended: the file holds more than " + std::to_string(limits.outputBytes >> 20) + " MB of data",
                       file, "Export less of the scene");
    output.insert(output.end(), block.begin(), block.begin() + got);
  }
  int status = 0;
  while (!child.ended(status)) {
    if (control.stopped()) return RunControl::cancelled();
    if (Clock::now() >= deadline) return late();
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  if (WIFSIGNALED(status)) return stopped(file, signalText(WTERMSIG(status)));
  if (!WIFEXITED(status) || WEXITSTATUS(status) != 0) return stopped(file, "exit code " + std::to_string(WEXITSTATUS(status)));
  return output;
}

}  // namespace understudy
