#include "tests/support/run_program.h"

#include <csignal>
#include <fcntl.h>
#include <poll.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cerrno>
#include <stdexcept>

namespace understudy {

ProgramRun runProgram(const std::vector<std::string>& words, const ProgramSettings& settings) {
  int out[2], err[2];
  if (pipe2(out, O_CLOEXEC) != 0 || pipe2(err, O_CLOEXEC) != 0) throw std::runtime_error("no pipe");
  std::vector<char*> arguments;
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  const pid_t child = fork();
  if (child < 0) throw std::runtime_error("no child process");
  if (child == 0) {
    const int in = open("/dev/null", O_RDONLY);
    const int target = settings.stdoutPath.empty() ? out[1] : open(settings.stdoutPath.c_str(), O_WRONLY);
    dup2(in, 0);
    dup2(target, 1);
    dup2(err[1], 2);
    if (settings.fileSizeLimit > 0) {
      const rlimit limit{settings.fileSizeLimit, settings.fileSizeLimit};
      setrlimit(RLIMIT_FSIZE, &limit);
    }
    execv(arguments[0], arguments.data());
    _exit(127);
  }
  close(out[1]);
  close(err[1]);
  ProgramRun run;
  const auto begin = std::chrono::steady_clock::now();
  bool interrupted = settings.interruptAfterMilliseconds < 0;
  pollfd files[2] = {{out[0], POLLIN, 0}, {err[0], POLLIN, 0}};
  while (files[0].fd >= 0 || files[1].fd >= 0) {
    poll(files, 2, interrupted ? -1 : 1);
    if (!interrupted && std::chrono::steady_clock::now() - begin >= std::chrono::milliseconds(settings.interruptAfterMilliseconds)) {
      kill(child, SIGINT);
      interrupted = true;
    }
    for (int i = 0; i < 2; ++i) {
      if (files[i].fd < 0 || files[i].revents == 0) continue;
      char buffer[65536];
      const ssize_t count = read(files[i].fd, buffer, sizeof buffer);
      if (count > 0) {
        (i == 0 ? run.out : run.err).append(buffer, static_cast<std::size_t>(count));
      } else if (count == 0 || errno != EINTR) {
        close(files[i].fd);
        files[i].fd = -1;
      }
    }
  }
  int state = 0;
  waitpid(child, &state, 0);
  run.exitCode = WIFEXITED(state) ? WEXITSTATUS(state) : -WTERMSIG(state);
  return run;
}

}  // namespace understudy
