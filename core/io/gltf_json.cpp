#include "core/io/gltf_json.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <limits>

namespace understudy {

JsonKind JsonView::kind() const { return text_ ? text_->values_[index_].kind : JsonKind::absent; }

std::size_t JsonView::size() const {
  const JsonKind k = kind();
  return k == JsonKind::array || k == JsonKind::object ? text_->values_[index_].count : 0;
}

JsonView JsonView::operator[](std::size_t i) const {
  if (i >= size()) return {};
  const JsonText::Value& value = text_->values_[index_];
  return {text_, value.kind == JsonKind::object ? text_->entries_[value.first + 2 * i + 1] : text_->entries_[value.first + i]};
}

std::string_view JsonView::key(std::size_t i) const {
  if (i >= size() || !isObject()) return {};
  return text_->values_[text_->entries_[text_->values_[index_].first + 2 * i]].string;
}

std::size_t JsonView::keyBegin(std::size_t i) const {
  if (i >= size() || !isObject()) return 0;
  return text_->values_[text_->entries_[text_->values_[index_].first + 2 * i]].begin;
}

JsonView JsonView::operator[](std::string_view name) const {
  if (!isObject()) return {};
  for (std::size_t i = size(); i-- > 0;)
    if (key(i) == name) return (*this)[i];
  return {};
}

double JsonView::number(double otherwise) const { return isNumber() ? text_->values_[index_].number : otherwise; }

std::int64_t JsonView::integer(std::int64_t otherwise) const {
  if (!text_) return otherwise;
  const double v = number(std::numeric_limits<double>::infinity());
  if (!(std::abs(v) < 9.0e15) || v != std::floor(v)) return std::numeric_limits<std::int64_t>::min();
  return static_cast<std::int64_t>(v);
}

bool JsonView::boolean(bool otherwise) const { return kind() == JsonKind::boolean ? text_->values_[index_].truth : otherwise; }
std::string_view JsonView::string() const { return isString() ? text_->values_[index_].string : std::string_view{}; }
std::size_t JsonView::begin() const { return text_ ? text_->values_[index_].begin : 0; }
std::size_t JsonView::end() const { return text_ ? text_->values_[index_].end : 0; }

class JsonParser {
 public:
  explicit JsonParser(JsonText& out) : out_(out), text_(out.text_) {}

  bool document() {
    if (text_.starts_with("\xEF\xBB\xBF")) at_ = 3;
    space();
    if (!value(out_.root_, 0)) return false;
    space();
    // Binary files pad their JSON; some writers pad with zeros instead of spaces.
    while (at_ < text_.size() && text_[at_] == '\0') ++at_;
    return at_ == text_.size() || fail("there is more text behind the end of the document");
  }
  [[nodiscard]] std::size_t at() const { return at_; }
  [[nodiscard]] const char* message() const { return message_; }

 private:
  static constexpr int deepest = 400;

  bool fail(const char* message) {
    if (!message_) message_ = message;
    return false;
  }
  [[nodiscard]] char peek() const { return at_ < text_.size() ? text_[at_] : '\0'; }
  void space() {
    while (at_ < text_.size() && (text_[at_] == ' ' || text_[at_] == '\n' || text_[at_] == '\r' || text_[at_] == '\t')) ++at_;
  }

  std::uint32_t begin(JsonKind kind) {
    JsonText::Value value;
    value.kind = kind;
    value.begin = static_cast<std::uint32_t>(at_);
    out_.values_.push_back(value);
    return static_cast<std::uint32_t>(out_.values_.size() - 1);
  }
  void finish(std::uint32_t index) { out_.values_[index].end = static_cast<std::uint32_t>(at_); }

  bool value(std::uint32_t& index, int depth) {
    if (depth > deepest) return fail("values are nested too deeply");
    if (at_ >= text_.size()) return fail("the text ends where a value is expected");
    switch (text_[at_]) {
      case '{': return list(index, JsonKind::object, depth);
      case '[': return list(index, JsonKind::array, depth);
      case '"': return string(index);
      case 't': return word(index, "true", JsonKind::boolean, true);
      case 'f': return word(index, "false", JsonKind::boolean, false);
      case 'n': return word(index, "null", JsonKind::null, false);
      default: return number(index);
    }
  }

  bool word(std::uint32_t& index, std::string_view spelling, JsonKind kind, bool truth) {
    if (std::string_view(text_).substr(at_, spelling.size()) != spelling) return fail("this is no JSON value");
    index = begin(kind);
    out_.values_[index].truth = truth;
    at_ += spelling.size();
    finish(index);
    return true;
  }

  bool list(std::uint32_t& index, JsonKind kind, int depth) {
    const bool object = kind == JsonKind::object;
    const char close = object ? '}' : ']';
    index = begin(kind);
    ++at_;
    const std::size_t mark = stack_.size();
    space();
    if (peek() == close) {
      ++at_;
    } else {
      for (;;) {
        std::uint32_t child = 0;
        if (object) {
          if (peek() != '"') return fail("a name in quotation marks is expected");
          if (!string(child)) return false;
          stack_.push_back(child);
          space();
          if (peek() != ':') return fail("':' is expected");
          ++at_;
          space();
        }
        if (!value(child, depth + 1)) return false;
        stack_.push_back(child);
        space();
        if (peek() == ',') {
          ++at_;
          space();
          continue;
        }
        if (peek() != close || at_ >= text_.size()) return fail(object ? "',' or '}' is expected" : "',' or ']' is expected");
        ++at_;
        break;
      }
    }
    JsonText::Value& v = out_.values_[index];
    v.first = static_cast<std::uint32_t>(out_.entries_.size());
    v.count = static_cast<std::uint32_t>((stack_.size() - mark) / (object ? 2 : 1));
    out_.entries_.insert(out_.entries_.end(), stack_.begin() + static_cast<std::ptrdiff_t>(mark), stack_.end());
    stack_.resize(mark);
    finish(index);
    return true;
  }

  int hex4() {
    if (at_ + 4 > text_.size()) return -1;
    int code = 0;
    for (int i = 0; i < 4; ++i) {
      const char c = text_[at_ + i];
      const int digit = c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
      if (digit < 0) return -1;
      code = code * 16 + digit;
    }
    at_ += 4;
    return code;
  }

  static void appendUtf8(std::string& s, unsigned code) {
    const auto put = [&](unsigned byte) { s.push_back(static_cast<char>(byte)); };
    if (code < 0x80) {
      put(code);
    } else if (code < 0x800) {
      put(0xC0 | (code >> 6)), put(0x80 | (code & 63));
    } else if (code < 0x10000) {
      put(0xE0 | (code >> 12)), put(0x80 | ((code >> 6) & 63)), put(0x80 | (code & 63));
    } else {
      put(0xF0 | (code >> 18)), put(0x80 | ((code >> 12) & 63)), put(0x80 | ((code >> 6) & 63)), put(0x80 | (code & 63));
    }
  }

  bool string(std::uint32_t& index) {
    index = begin(JsonKind::string);
    const std::size_t start = ++at_;
    const auto plain = [&] {
      while (at_ < text_.size() && text_[at_] != '"' && text_[at_] != '\\' && static_cast<unsigned char>(text_[at_]) >= 0x20) ++at_;
    };
    plain();
    if (peek() == '"') {
      out_.values_[index].string = std::string_view(text_).substr(start, at_ - start);
      ++at_;
      finish(index);
      return true;
    }
    std::string built = text_.substr(start, at_ - start);
    for (;;) {
      if (at_ >= text_.size()) return fail("a text in quotation marks does not end");
      const char c = text_[at_];
      if (c == '"') break;
      if (c != '\\') {
        if (static_cast<unsigned char>(c) < 0x20) return fail("a control character stands inside a text");
        const std::size_t from = at_;
        plain();
        built.append(text_, from, at_ - from);
        continue;
      }
      ++at_;
      const char e = peek();
      ++at_;
      switch (e) {
        case '"': case '\\': case '/': built.push_back(e); break;
        case 'b': built.push_back('\b'); break;
        case 'f': built.push_back('\f'); break;
        case 'n': built.push_back('\n'); break;
        case 'r': built.push_back('\r'); break;
        case 't': built.push_back('\t'); break;
        case 'u': {
          int code = hex4();
          if (code < 0) return fail("\\u needs four hexadecimal digits");
          if (code >= 0xD800 && code < 0xDC00 && std::string_view(text_).substr(at_, 2) == "\\u") {
            const std::size_t back = at_;
            at_ += 2;
            const int low = hex4();
            if (low >= 0xDC00 && low < 0xE000)
              code = 0x10000 + ((code - 0xD800) << 10) + (low - 0xDC00);
            else
              at_ = back;
          }
          if (code >= 0xD800 && code < 0xE000) code = 0xFFFD;
          appendUtf8(built, static_cast<unsigned>(code));
          break;
        }
        default: return fail("an unknown escape follows '\\'");
      }
    }
    ++at_;
    out_.unescaped_.push_back(std::move(built));
    out_.values_[index].string = out_.unescaped_.back();
    finish(index);
    return true;
  }

  bool number(std::uint32_t& index) {
    const std::size_t start = at_;
    const auto digits = [&] {
      const std::size_t from = at_;
      while (at_ < text_.size() && text_[at_] >= '0' && text_[at_] <= '9') ++at_;
      return at_ > from;
    };
    if (peek() == '-') ++at_;
    const bool zero = peek() == '0';
    const std::size_t whole = at_;
    if (!digits()) return at_ = start, fail("this is no JSON value");
    if (zero && at_ - whole > 1) return fail("a number begins with 0");
    if (peek() == '.') {
      ++at_;
      if (!digits()) return fail("digits are missing behind the decimal point");
    }
    bool tiny = false;
    if (peek() == 'e' || peek() == 'E') {
      ++at_;
      tiny = peek() == '-';
      if (peek() == '+' || peek() == '-') ++at_;
      if (!digits()) return fail("the exponent has no digits");
    }
    const std::size_t stop = at_;
    at_ = start;
    index = begin(JsonKind::number);
    at_ = stop;
    const auto [end, error] = std::from_chars(text_.data() + start, text_.data() + stop, out_.values_[index].number);
    if (error == std::errc::result_out_of_range) {
      if (!tiny) return at_ = start, fail("a number is too large");
      out_.values_[index].number = 0;
    }
    finish(index);
    return true;
  }

  JsonText& out_;
  const std::string& text_;
  std::size_t at_ = 0;
  const char* message_ = nullptr;
  std::vector<std::uint32_t> stack_;
};

Status JsonText::parse(std::string text, std::string_view where) {
  values_.clear();
  entries_.clear();
  unescaped_.clear();
  text_ = std::move(text);
  if (text_.size() > std::numeric_limits<std::uint32_t>::max() - 8)
    return makeError(Fault::input, "The JSON part is larger than 4 GB", std::string(where), "Keep the buffers outside the JSON");
  values_.reserve(text_.size() / 12 + 16);
  entries_.reserve(text_.size() / 12 + 16);
  JsonParser parser(*this);
  if (parser.document()) return Done{};
  const std::size_t at = std::min(parser.at(), text_.size());
  const auto line = 1 + std::count(text_.begin(), text_.begin() + static_cast<std::ptrdiff_t>(at), '\n');
  const std::string message = parser.message();
  values_.clear();
  return makeError(Fault::input, "The JSON is damaged: " + message,
                   std::string(where) + ", line " + std::to_string(line) + ", byte " + std::to_string(at),
                   "Export the file again, or copy it again from where it came from");
}

std::string validUtf8(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  for (std::size_t i = 0; i < text.size();) {
    const auto c = static_cast<unsigned char>(text[i]);
    const std::size_t need = c < 0x80 ? 1 : c >= 0xC2 && c < 0xE0 ? 2 : (c & 0xF0) == 0xE0 ? 3 : c >= 0xF0 && c < 0xF5 ? 4 : 0;
    bool good = need > 0 && i + need <= text.size();
    for (std::size_t k = 1; good && k < need; ++k) good = (static_cast<unsigned char>(text[i + k]) & 0xC0) == 0x80;
    if (good && need >= 3) {
      // Overlong forms, surrogates and what lies above U+10FFFF.
      const auto second = static_cast<unsigned char>(text[i + 1]);
      good = !(c == 0xE0 && second < 0xA0) && !(c == 0xED && second >= 0xA0) && !(c == 0xF0 && second < 0x90) && !(c == 0xF4 && second >= 0x90);
    }
    if (good)
      out.append(text.substr(i, need)), i += need;
    else
      out += "\xEF\xBF\xBD", ++i;
  }
  return out;
}

std::string jsonQuoted(std::string_view text) {
  std::string out = "\"";
  for (const char c : validUtf8(text)) {
    if (c == '"' || c == '\\') {
      out.push_back('\\');
      out.push_back(c);
    } else if (static_cast<unsigned char>(c) < 0x20) {
      constexpr char hex[] = "0123456789abcdef";
      out += "\\u00";
      out.push_back(hex[(c >> 4) & 15]);
      out.push_back(hex[c & 15]);
    } else {
      out.push_back(c);
    }
  }
  out.push_back('"');
  return out;
}

std::string jsonNumber(double value) {
  char buffer[40];
  const auto [end, error] = std::to_chars(buffer, buffer + sizeof buffer, value == 0 ? 0.0 : value);
  return {buffer, error == std::errc{} ? end : buffer};
}

}  // namespace understudy
