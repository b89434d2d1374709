#include "core/io/bvh_text.h"

#include <algorithm>

namespace understudy {

bool equalsNoCase(std::string_view text, std::string_view lowerCase) {
  return text.size() == lowerCase.size() &&
         std::equal(text.begin(), text.end(), lowerCase.begin(), [](char a, char b) { return lower(a) == b; });
}

std::string_view trimmedText(std::string_view text) {
  while (!text.empty() && isSpace(text.front())) text.remove_prefix(1);
  while (!text.empty() && isSpace(text.back())) text.remove_suffix(1);
  return text;
}

std::string shown(std::string_view token) {
  std::string out;
  for (char c : token.substr(0, 40)) out += static_cast<unsigned char>(c) < 32 || c == 127 ? '?' : c;
  if (token.size() > 40) out += "...";
  return "'" + out + "'";
}

std::string latinToUtf8(std::string_view text) {
  std::string out;
  for (char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80) {
      out += c;
    } else {
      out += static_cast<char>(0xC0 | (byte >> 6));
      out += static_cast<char>(0x80 | (byte & 0x3F));
    }
  }
  return out;
}

}  // namespace understudy
