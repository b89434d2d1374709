#include <fcntl.h>
#include <signal.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <string>

#include "core/io/read.h"
#include "core/io/write.h"

namespace understudy {
namespace {

constexpr std::uintmax_t kLargestFile = std::uintmax_t{4} << 30;

std::string reason(int code) { return std::strerror(code); }

/// Closes a descriptor on every way out.
struct Descriptor {
  int fd = -1;
  ~Descriptor() {
    if (fd >= 0) ::close(fd);
  }
  /// Closes now and says whether that went well: some file systems report a full disk only here.
  int close() {
    const int code = ::close(fd) == 0 ? 0 : errno;
    fd = -1;
    return code;
  }
};

Issue readFault(const std::string& path, int code) {
  if (code == ENOENT || code == ENOTDIR) return makeError(Fault::input, "There is no such file", path, "Check the path");
  if (code == EACCES || code == EPERM) return makeError(Fault::input, "The file may not be read", path, "Check its permissions");
  if (code == EISDIR) return makeError(Fault::input, "This is a folder, not a file", path, "Name a file inside it");
  return makeError(Fault::input, "The file cannot be read (" + reason(code) + ")", path, "Check the disk and try again");
}

Issue writeFault(const std::string& path, int code) {
  if (code == ENOSPC || code == EDQUOT || code == EFBIG)
    return makeError(Fault::output, "There is not enough space to write the file (" + reason(code) + ")", path,
                     "Free some space or choose another place; nothing was changed");
  if (code == ENOENT || code == ENOTDIR)
    return makeError(Fault::output, "The folder to write to does not exist", path, "Create the folder or choose another place");
  if (code == EACCES || code == EPERM || code == EROFS)
    return makeError(Fault::output, "The folder may not be written to", path, "Check its permissions or choose another place");
  if (code == EISDIR) return makeError(Fault::output, "This is a folder, not a file", path, "Name a file inside it");
  if (code == ENAMETOOLONG) return makeError(Fault::output, "The file name is too long", path, "Choose a shorter name");
  return makeError(Fault::output, "The file cannot be written (" + reason(code) + ")", path, "Choose another place; nothing was changed");
}

/// While it lives, a write beyond the size limit of the process fails with EFBIG instead of ending the program.
class NoSizeSignal {
 public:
  NoSizeSignal() {
    sigemptyset(&set_);
    sigaddset(&set_, SIGXFSZ);
    pthread_sigmask(SIG_BLOCK, &set_, &before_);
  }
  ~NoSizeSignal() {
    const timespec now{0, 0};
    while (sigtimedwait(&set_, nullptr, &now) > 0) {
    }
    pthread_sigmask(SIG_SETMASK, &before_, nullptr);
  }
  NoSizeSignal(const NoSizeSignal&) = delete;
  NoSizeSignal& operator=(const NoSizeSignal&) = delete;

 private:
  sigset_t set_{}, before_{};
};

/// 0, or the error number.
int writeAll(int fd, std::string_view bytes) {
  const NoSizeSignal guard;
  while (!bytes.empty()) {
    const ssize_t count = ::write(fd, bytes.data(), std::min<std::size_t>(bytes.size(), std::size_t{1} << 30));
    if (count < 0) {
      if (errno == EINTR) continue;
      return errno;
    }
    bytes.remove_prefix(static_cast<std::size_t>(count));
  }
  return 0;
}

}  // namespace

Result<std::vector<std::uint8_t>> readBytes(const std::string& path) {
  Descriptor file{::open(path.c_str(), O_RDONLY | O_CLOEXEC)};
  if (file.fd < 0) return readFault(path, errno);
  struct stat about {};
  if (::fstat(file.fd, &about) != 0) return readFault(path, errno);
  if (S_ISDIR(about.st_mode)) return readFault(path, EISDIR);
  const auto tooLarge = [&] {
    return makeError(Fault::input, "The file is larger than 4 GiB", path, "Split it or check that it is the right file");
  };
  if (S_ISREG(about.st_mode) && static_cast<std::uintmax_t>(about.st_size) > kLargestFile) return tooLarge();
  std::vector<std::uint8_t> bytes(S_ISREG(about.st_mode) ? static_cast<std::size_t>(about.st_size) : 0);
  std::size_t have = 0;
  // Pipes and devices state no size, and a file may grow while it is read.
  while (true) {
    if (have == bytes.size()) {
      std::uint8_t probe[4096];
      const ssize_t count = ::read(file.fd, probe, sizeof probe);
      if (count < 0 && errno == EINTR) continue;
      if (count < 0) return readFault(path, errno);
      if (count == 0) break;
      if (have + static_cast<std::size_t>(count) > kLargestFile) return tooLarge();
      bytes.insert(bytes.end(), probe, probe + count);
      have += static_cast<std::size_t>(count);
      continue;
    }
    const ssize_t count = ::read(file.fd, bytes.data() + have, bytes.size() - have);
    if (count < 0 && errno == EINTR) continue;
    if (count < 0) return readFault(path, errno);
    if (count == 0) break;
    have += static_cast<std::size_t>(count);
  }
  bytes.resize(have);
  return bytes;
}

Status writeBytes(const std::string& path, std::string_view bytes) {
  if (path.empty()) return makeError(Fault::output, "No file name is given", {}, "Name the file to write");
  struct stat about {};
  const bool exists = ::stat(path.c_str(), &about) == 0;
  if (exists && S_ISDIR(about.st_mode)) return writeFault(path, EISDIR);
  if (exists && !S_ISREG(about.st_mode)) {
    // A device or a pipe cannot be replaced by renaming.
    Descriptor device{::open(path.c_str(), O_WRONLY | O_CLOEXEC)};
    if (device.fd < 0) return writeFault(path, errno);
    if (const int code = writeAll(device.fd, bytes)) return writeFault(path, code);
    if (const int code = device.close()) return writeFault(path, code);
    return Done{};
  }
  if (exists && ::access(path.c_str(), W_OK) != 0) {
    if (errno == EROFS) return writeFault(path, EROFS);
    return makeError(Fault::output, "The file exists and may not be overwritten", path, "Check its permissions or choose another name");
  }
  // A link keeps pointing where it did: what it points at is replaced.
  std::error_code linkError;
  std::filesystem::path target = path;
  if (std::filesystem::is_symlink(target, linkError)) {
    const auto real = std::filesystem::weakly_canonical(target, linkError);
    if (!linkError) target = real;
  }
  const std::filesystem::path folder = target.has_parent_path() ? target.parent_path() : std::filesystem::path(".");
  std::string temporary;
  Descriptor file;
  for (int attempt = 0; file.fd < 0; ++attempt) {
    temporary = (folder / (".understudy-" + std::to_string(::getpid()) + "-" + std::to_string(attempt) + ".tmp")).string();
    file.fd = ::open(temporary.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
    if (file.fd < 0 && (errno != EEXIST || attempt == 1000)) return writeFault(path, errno);
  }
  const auto giveUp = [&](int code) {
    ::unlink(temporary.c_str());
    return writeFault(path, code);
  };
  if (exists && ::fchmod(file.fd, about.st_mode & 0777) != 0 && errno != EPERM) return giveUp(errno);
  if (const int code = writeAll(file.fd, bytes)) return giveUp(code);
  if (::fsync(file.fd) != 0 && errno != EINVAL && errno != EROFS) return giveUp(errno);
  if (const int code = file.close()) return giveUp(code);
  if (::rename(temporary.c_str(), target.c_str()) != 0) return giveUp(errno);
  // The new name itself should survive a power cut; a file system that cannot do this loses nothing else.
  Descriptor folderFile{::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)};
  if (folderFile.fd >= 0) ::fsync(folderFile.fd);
  return Done{};
}

}  // namespace understudy
