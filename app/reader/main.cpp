// The reader process: reads one FBX or Collada file and writes a figure (or an error) to standard output.
#include <sys/resource.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <exception>
#include <new>
#include <string>
#include <string_view>
#include <vector>

#include "app/reader/import.h"
#include "core/io/figure_stream.h"

namespace {

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool limitMemory = false;  // sanitizers reserve more address space than any limit
#else
constexpr bool limitMemory = true;
#endif

std::uint64_t numberOf(std::string_view text) {
  std::uint64_t value = 0;
  std::from_chars(text.data(), text.data() + text.size(), value);
  return value;
}

void limit(decltype(RLIMIT_AS) resource, std::uint64_t value) {
  rlimit bounds{};
  if (::getrlimit(resource, &bounds) != 0) return;
  const rlim_t wanted = static_cast<rlim_t>(value);
  if (bounds.rlim_max != RLIM_INFINITY && bounds.rlim_max < wanted) return;
  bounds.rlim_cur = bounds.rlim_max = wanted;
  ::setrlimit(resource, &bounds);
}

bool send(const std::vector<std::uint8_t>& bytes) {
  for (std::size_t sent = 0; sent < bytes.size();) {
    const ssize_t n = ::write(STDOUT_FILENO, bytes.data() + sent, bytes.size() - sent);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return false;
    sent += static_cast<std::size_t>(n);
  }
  return true;
}

std::vector<std::uint8_t> outcome(const std::string& path, bool meshes) {
  try {
    const understudy::Result<understudy::Figure> figure = understudy::importFile(path, meshes);
    if (!figure) return understudy::packIssue(figure.error());
    // Our own mistakes are reported here, where the file is known, rather than at the other end.
    if (const understudy::Status status = understudy::checkFigure(*figure); !status) {
      understudy::Issue issue = understudy::makeError(understudy::Fault::input,
                                                      "The file holds something this program cannot use (" + status.error().text() + ")",
                                                      path, "Try exporting it again as glTF (.glb)");
      return understudy::packIssue(issue);
    }
    return understudy::packFigure(*figure);
  } catch (const std::bad_alloc&) {
    return understudy::packIssue(understudy::makeError(understudy::Fault::input,
                                                       "The file needs more memory than the reader process may use", path,
                                                       "Export less of the scene, or export it as glTF (.glb)"));
  } catch (const std::exception& error) {
    return understudy::packIssue(understudy::makeError(understudy::Fault::input, std::string("The file cannot be read: ") + error.what(),
                                                       path, "Try exporting it again as glTF (.glb)"));
  }
}

}  // namespace

int main(int count, char** words) {
  std::string path;
  bool meshes = true;
  for (int i = 1; i < count; ++i) {
    const std::string_view word = words[i];
    if (word == "--memory" && i + 1 < count) {
      if (limitMemory)
        limit(RLIMIT_AS, numberOf(words[++i]));
      else
        ++i;
    } else if (word == "--seconds" && i + 1 < count) {
      limit(RLIMIT_CPU, numberOf(words[++i]));
    } else if (word == "--no-meshes") {
      meshes = false;
    } else if (word == "--" && i + 2 == count) {
      path = words[++i];
    } else {
      path.clear();
      break;
    }
  }
  if (path.empty()) {
    std::fputs(
        "understudy-reader is started by Understudy to read FBX and Collada files.\n"
        "usage: understudy-reader [--memory BYTES] [--seconds N] [--no-meshes] -- FILE\n"
        "It writes binary data to standard output.\n",
        stderr);
    return 2;
  }
  limit(RLIMIT_CORE, 0);
  return send(outcome(path, meshes)) ? 0 : 1;
}
