#include "app/reader/fbx_names.h"

#include <cstdint>
#include <cstring>
#include <set>
#include <string_view>

namespace understudy {
namespace {

struct Place {
  std::size_t at, length;
};

/// Binary FBX: records of (end, property count, property bytes, name), 32-bit numbers before version 7500, else 64-bit.
class BinaryWalk {
 public:
  explicit BinaryWalk(const std::vector<char>& bytes) : bytes_(bytes) {
    std::uint32_t version = 0;
    if (bytes.size() > 27) std::memcpy(&version, bytes.data() + 23, sizeof version);
    wide_ = version >= 7500;
  }
  std::vector<Place> modelNames() {
    for (std::size_t at = 27; at < bytes_.size();) {
      const Record record = recordAt(at);
      if (!record.ok) break;
      if (record.name == "Objects") {
        for (std::size_t child = record.children; child < record.end;) {
          const Record object = recordAt(child);
          if (!object.ok) break;
          if (object.name == "Model") addName(object);
          child = object.end;
        }
      }
      at = record.end;
    }
    return std::move(places_);
  }

 private:
  struct Record {
    bool ok = false;
    std::string_view name;
    std::size_t properties = 0, children = 0, end = 0;
  };
  Record recordAt(std::size_t at) const {
    const std::size_t width = wide_ ? 8 : 4, header = 3 * width + 1;
    if (at + header > bytes_.size()) return {};
    const auto number = [&](std::size_t i) -> std::uint64_t {
      std::uint64_t value = 0;
      std::memcpy(&value, bytes_.data() + at + i * width, width);  // little-endian on both sides
      return value;
    };
    const std::uint64_t end = number(0), propertyBytes = number(2);
    const auto nameLength = static_cast<unsigned char>(bytes_[at + header - 1]);
    Record record;
    if (end <= at || end > bytes_.size()) return {};  // the null record ends a list
    record.name = {bytes_.data() + at + header, std::min<std::size_t>(nameLength, bytes_.size() - at - header)};
    record.properties = at + header + nameLength;
    if (record.properties > end || propertyBytes > end - record.properties) return {};
    record.children = record.properties + static_cast<std::size_t>(propertyBytes);
    record.end = static_cast<std::size_t>(end);
    record.ok = true;
    return record;
  }
  /// Properties of a model: 'L' and its number, 'S' and "name\0\1Model", 'S' and its kind.
  void addName(const Record& model) {
    std::size_t at = model.properties;
    if (at + 14 > model.children || bytes_[at] != 'L' || bytes_[at + 9] != 'S') return;
    std::uint32_t length = 0;
    std::memcpy(&length, bytes_.data() + at + 10, sizeof length);
    at += 14;
    if (length > model.children - at) return;
    const std::string_view text(bytes_.data() + at, length);
    const std::size_t stop = text.find('\0');
    if (stop != std::string_view::npos) places_.push_back({at, stop});
  }

  const std::vector<char>& bytes_;
  bool wide_ = false;
  std::vector<Place> places_;
};

std::vector<Place> asciiModelNames(const std::vector<char>& bytes) {
  std::vector<Place> places;
  const std::string_view all(bytes.data(), bytes.size());
  constexpr std::string_view mark = "\"Model::";
  for (std::size_t at = all.find(mark); at != std::string_view::npos; at = all.find(mark, at + 1)) {
    // Only where the object is declared: Model: 123, "Model::name", "LimbNode"
    const std::size_t line = all.find_last_of("\n", at) + 1;
    const std::size_t word = all.find_first_not_of(" \t", line);
    if (all.compare(word, 6, "Model:") != 0) continue;
    const std::size_t begin = at + mark.size(), end = all.find('"', begin);
    if (end == std::string_view::npos) break;
    places.push_back({begin, end - begin});
  }
  return places;
}

/// The n-th name of that length.
std::string invented(std::size_t length, std::uint64_t n) {
  constexpr std::string_view letters = "abcdefghijklmnopqrstuvwxyz0123456789";
  std::string name(length, 'q');
  for (std::size_t i = length; i-- > 0 && n > 0; n /= letters.size()) name[i] = letters[n % letters.size()];
  return n > 0 ? std::string() : name;
}

}  // namespace

std::map<std::string, std::string> separateNames(std::vector<char>& bytes) {
  const std::string_view head(bytes.data(), std::min<std::size_t>(bytes.size(), 18));
  const std::vector<Place> places = head == "Kaydara FBX Binary" ? BinaryWalk(bytes).modelNames() : asciiModelNames(bytes);
  std::set<std::string> taken;
  for (const Place& place : places) taken.insert(std::string(bytes.data() + place.at, place.length));
  std::map<std::string, std::string> stoodFor;
  std::set<std::string> seen;
  for (const Place& place : places) {
    std::string name(bytes.data() + place.at, place.length);
    if (seen.insert(name).second || name.empty()) continue;
    std::string other;
    for (std::uint64_t n = 1;; ++n) {
      other = invented(place.length, n);
      if (other.empty() || !taken.contains(other)) break;
    }
    if (other.empty()) continue;
    taken.insert(other);
    std::memcpy(bytes.data() + place.at, other.data(), other.size());
    stoodFor.emplace(std::move(other), std::move(name));
  }
  return stoodFor;
}

}  // namespace understudy
