// A BVH file's text, read word by word, with messages that name the line. Internal to the reader.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "core/base/result.h"
#include "core/io/bvh_text.h"

namespace understudy {

class BvhScanner {
 public:
  /// `text`, `path` and `issues` must stay alive; warnings and notes go to `issues`.
  BvhScanner(std::string_view text, const std::string& path, Issues& issues)
      : begin(text.data()), end(text.data() + text.size()), at(text.data()), path_(path), issues_(issues) {}

  /// A finite number of usable size; else fails with what stands there instead of `what`.
  bool number(double& value, const char* what);
  static constexpr double largest = 1e9;

  /// The next word; braces stand alone. Empty at the end of the file.
  std::string_view word();
  /// What stands on the rest of the line, up to an opening brace.
  std::string_view restOfLine();
  /// White space and comments.
  void skipSpace();
  void skipLine();
  /// To the next white space.
  void skipWord();
  [[nodiscard]] bool atComment(const char* p) const;

  /// "PATH, line N".
  [[nodiscard]] std::string place(const char* p) const;
  [[nodiscard]] int lineOf(const char* p) const;
  /// Keeps the error and returns false.
  bool fail(const char* p, std::string what, std::string todo);
  void warn(const char* p, std::string what, std::string todo);
  void note(const char* p, std::string what, std::string todo);

  const char* begin;
  const char* end;
  const char* at;
  std::optional<Issue> error;

 private:
  const std::string& path_;
  Issues& issues_;
};

}  // namespace understudy
