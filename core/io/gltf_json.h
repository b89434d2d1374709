// A JSON text parsed in place: every value remembers where it stands, so that errors can name the line and a writer
// can insert beside what is there without touching it.
#pragma once

#include <cstdint>
#include <deque>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.h"

namespace understudy {

class JsonText;

enum class JsonKind : std::uint8_t { absent, null, boolean, number, string, array, object };

/// A value of a JsonText, which must outlive it. A value that is not there is `absent`, and so is all below it:
/// look-ups chain without checks.
class JsonView {
 public:
  JsonView() = default;
  JsonView(const JsonText* text, std::uint32_t index) : text_(text), index_(index) {}

  [[nodiscard]] JsonKind kind() const;
  explicit operator bool() const { return text_ != nullptr; }
  [[nodiscard]] bool isArray() const { return kind() == JsonKind::array; }
  [[nodiscard]] bool isObject() const { return kind() == JsonKind::object; }
  [[nodiscard]] bool isString() const { return kind() == JsonKind::string; }
  [[nodiscard]] bool isNumber() const { return kind() == JsonKind::number; }

  /// Entries of an array or object, 0 otherwise.
  [[nodiscard]] std::size_t size() const;
  /// Entry of an array or object by position.
  [[nodiscard]] JsonView operator[](std::size_t i) const;
  /// Name of entry i of an object.
  [[nodiscard]] std::string_view key(std::size_t i) const;
  /// Where the name of entry i of an object begins (its quotation mark).
  [[nodiscard]] std::size_t keyBegin(std::size_t i) const;
  /// Member of an object by name; of repeated names the last.
  [[nodiscard]] JsonView operator[](std::string_view name) const;
  [[nodiscard]] JsonView operator[](const char* name) const { return (*this)[std::string_view(name)]; }

  [[nodiscard]] double number(double otherwise = 0) const;
  /// A whole number that an int64 holds; `otherwise` where the value is absent, −2⁶³ where it is something else.
  [[nodiscard]] std::int64_t integer(std::int64_t otherwise) const;
  [[nodiscard]] bool boolean(bool otherwise = false) const;
  [[nodiscard]] std::string_view string() const;

  [[nodiscard]] std::size_t begin() const;  ///< byte offset of the value's first character
  [[nodiscard]] std::size_t end() const;    ///< byte offset behind its last character

 private:
  const JsonText* text_ = nullptr;
  std::uint32_t index_ = 0;
};

class JsonText {
 public:
  JsonText() = default;
  JsonText(const JsonText&) = delete;
  JsonText& operator=(const JsonText&) = delete;

  /// Parses `text`, a JSON document as RFC 8259 defines it (a byte order mark is skipped). `where` names the file in
  /// errors, which give the line.
  [[nodiscard]] Status parse(std::string text, std::string_view where);
  [[nodiscard]] JsonView root() const { return values_.empty() ? JsonView{} : JsonView(this, root_); }
  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  friend class JsonView;
  friend class JsonParser;
  struct Value {
    JsonKind kind = JsonKind::null;
    bool truth = false;
    std::uint32_t begin = 0, end = 0;
    std::uint32_t first = 0, count = 0;  ///< entries, in entries_ (arrays) or pairs (objects: key, value)
    double number = 0;
    std::string_view string;
  };
  std::string text_;
  std::vector<Value> values_;
  std::vector<std::uint32_t> entries_;
  std::deque<std::string> unescaped_;
  std::uint32_t root_ = 0;
};

/// `text` between quotation marks, escaped; bytes that are no UTF-8 become U+FFFD.
[[nodiscard]] std::string jsonQuoted(std::string_view text);
/// `text` with bytes that are no UTF-8 replaced by U+FFFD.
[[nodiscard]] std::string validUtf8(std::string_view text);
/// The shortest spelling that reads back as exactly this number, which must be finite.
[[nodiscard]] std::string jsonNumber(double value);

}  // namespace understudy
