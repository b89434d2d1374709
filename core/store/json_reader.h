// What readers and writers of this folder's JSON files share. Internal: its types stay out of public headers.
#pragma once

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/take/take.h"

namespace understudy::store {

using Json = nlohmann::ordered_json;

// ---- writing ----

inline Json number(double value) { return std::isfinite(value) ? Json(value) : Json(0.0); }
inline Json toJson(const Vec3d& v) { return Json::array({number(v.x), number(v.y), number(v.z)}); }

/// Fields a newer version wrote go back where they came from.
inline void addUnknown(Json& json, const std::string& unknown) {
  if (unknown.empty()) return;
  const Json extra = Json::parse(unknown, nullptr, false);
  if (!extra.is_object()) return;
  for (const auto& [key, value] : extra.items())
    if (!json.contains(key)) json[key] = value;
}

inline Json toJson(const RoleKeys& keys) {
  Json json = {{"joints", keys.joints}, {"confidence", number(keys.confidence)}};
  if (!keys.reason.empty()) json["reason"] = keys.reason;
  return json;
}

inline Json toJson(const ReferenceSettings& reference) {
  Json json = Json::object();
  if (reference.clipFrame) json["clipFrame"] = *reference.clipFrame + 1;
  if (reference.facingDegrees) json["facingDegrees"] = number(*reference.facingDegrees);
  return json;
}

inline Json alignmentJson(const std::map<Role, Vec3d>& offsets, const std::map<Role, bool>& choices) {
  Json alignment = Json::object();
  for (const auto& [role, offset] : offsets) alignment[std::string(roleName(role))]["offset"] = toJson(offset);
  for (const auto& [role, match] : choices) alignment[std::string(roleName(role))]["matchFrames"] = match;
  return alignment;
}

// ---- reading ----

/// The first thing wrong stops the reading; its place in the file is kept with it.
struct Wrong {
  Issue issue;
};

/// One JSON object being read: fields are taken out of it, and what is left over at the end is unknown.
class Reader {
 public:
  Reader(const Json& json, std::string place, const std::string& file, Issues* issues)
      : rest_(json), place_(std::move(place)), file_(file), issues_(issues) {
    if (!json.is_object()) wrong("", "an object");
  }
  [[noreturn]] void wrong(const std::string& key, const std::string& wanted) const {
    const std::string at = key.empty() ? place_ : place_.empty() ? key : place_ + "." + key;
    throw Wrong{makeError(Fault::input, "'" + at + "' is not " + wanted, file_, "The file was changed by hand or damaged; use a backup or the autosave")};
  }
  [[nodiscard]] const std::string& file() const { return file_; }
  [[nodiscard]] Issues* issues() const { return issues_; }
  [[nodiscard]] bool has(const std::string& key) const { return rest_.contains(key); }
  [[nodiscard]] std::string at(const std::string& key) const { return place_.empty() ? key : place_ + "." + key; }

  Json take(const std::string& key) {
    const auto found = rest_.find(key);
    if (found == rest_.end()) return {};
    Json value = std::move(*found);
    rest_.erase(found);
    return value;
  }
  std::string text(const std::string& key, std::string fallback = {}) {
    const Json value = take(key);
    if (value.is_null()) return fallback;
    if (!value.is_string()) wrong(key, "a text");
    return value.get<std::string>();
  }
  double real(const std::string& key, double fallback) {
    const Json value = take(key);
    if (value.is_null()) return fallback;
    if (!value.is_number() || !std::isfinite(value.get<double>())) wrong(key, "a number");
    return value.get<double>();
  }
  int whole(const std::string& key, int fallback) {
    const Json value = take(key);
    if (value.is_null()) return fallback;
    const double number = value.is_number() ? value.get<double>() : std::numeric_limits<double>::quiet_NaN();
    if (!(std::abs(number) <= 1e9) || number != std::floor(number)) wrong(key, "a whole number");
    return static_cast<int>(number);
  }
  bool flag(const std::string& key, bool fallback) {
    const Json value = take(key);
    if (value.is_null()) return fallback;
    if (!value.is_boolean()) wrong(key, "true or false");
    return value.get<bool>();
  }
  Vec3d vector(const std::string& key) {
    const Json value = take(key);
    if (value.is_null()) return {};
    const bool three = value.is_array() && value.size() == 3 &&
                       std::all_of(value.begin(), value.end(), [](const Json& n) { return n.is_number() && std::isfinite(n.get<double>()); });
    if (!three) wrong(key, "a list of three numbers");
    return {value[0].get<double>(), value[1].get<double>(), value[2].get<double>()};
  }
  std::optional<FrameRate> rate(const std::string& key) {
    if (!has(key)) return std::nullopt;
    const Json value = take(key);
    const auto parsed = value.is_string() ? parseFrameRate(value.get<std::string>()) : Result<FrameRate>(Issue{});
    if (!parsed) wrong(key, "a frame rate such as \"24\" or \"30000/1001\"");
    return *parsed;
  }
  Reader object(const std::string& key) {
    const Json value = take(key);
    return Reader(value.is_null() ? Json::object() : value, at(key), file_, issues_);
  }
  std::vector<Json> list(const std::string& key) {
    const Json value = take(key);
    if (value.is_null()) return {};
    if (!value.is_array()) wrong(key, "a list");
    return {value.begin(), value.end()};
  }
  std::vector<std::string> texts(const std::string& key) {
    std::vector<std::string> out;
    for (const Json& value : list(key)) {
      if (!value.is_string()) wrong(key, "a list of texts");
      out.push_back(value.get<std::string>());
    }
    return out;
  }
  Reader item(const std::string& key, std::size_t index, const Json& value) const {
    return Reader(value, at(key) + "[" + std::to_string(index) + "]", file_, issues_);
  }
  /// Keys not taken yet.
  [[nodiscard]] std::vector<std::string> keys() const {
    std::vector<std::string> all;
    for (const auto& [key, value] : rest_.items()) all.push_back(key);
    return all;
  }
  /// What nobody took, as text to be kept; "" where nothing is left.
  std::string unknown() {
    if (rest_.empty()) return {};
    if (issues_)
      for (const std::string& key : keys())
        issues_->push_back(makeWarning("The field '" + at(key) + "' is not known to this version", file_, "It is kept as it is"));
    return rest_.dump();
  }
  /// What nobody took is told and dropped.
  void dropUnknown() {
    if (issues_)
      for (const std::string& key : keys())
        issues_->push_back(makeWarning("The field '" + at(key) + "' is not known to this version", file_, "It is left out"));
  }

 private:
  Json rest_;
  std::string place_;
  const std::string& file_;
  Issues* issues_;
};

inline RoleKeys readRole(Reader r) {
  RoleKeys keys;
  for (const Json& joint : r.list("joints")) {
    if (!joint.is_string()) r.wrong("joints", "a list of joint names");
    keys.joints.push_back(joint.get<std::string>());
  }
  keys.confidence = r.real("confidence", 0);
  keys.reason = r.text("reason");
  r.dropUnknown();
  return keys;
}

inline ReferenceSettings readReferenceSettings(Reader r) {
  ReferenceSettings reference;
  if (r.has("clipFrame")) {
    const int frame = r.whole("clipFrame", 1);
    if (frame < 1) r.wrong("clipFrame", "a frame number counted from 1");
    reference.clipFrame = frame - 1;
  }
  if (r.has("facingDegrees")) reference.facingDegrees = r.real("facingDegrees", 0);
  r.dropUnknown();
  return reference;
}

inline void readAlignment(Reader r, std::map<Role, Vec3d>& offsets, std::map<Role, bool>& choices) {
  for (const std::string& name : r.keys()) {
    const auto role = roleNamed(name);
    if (!role) continue;
    Reader one = r.object(name);
    if (one.has("offset")) offsets[*role] = one.vector("offset");
    if (one.has("matchFrames")) choices[*role] = one.flag("matchFrames", true);
    one.dropUnknown();
  }
  r.dropUnknown();
}

template <class T, class Read>
std::vector<T> readList(Reader& r, const std::string& key, Read read) {
  std::vector<T> out;
  const std::vector<Json> items = r.list(key);
  for (std::size_t i = 0; i < items.size(); ++i) {
    auto item = read(items[i].dump(), r.file(), r.at(key) + "[" + std::to_string(i) + "]", r.issues());
    if (!item) throw Wrong{item.error()};
    out.emplace_back(std::move(*item));
  }
  return out;
}

inline std::string whereOf(std::string_view text, std::size_t byte) {
  const std::size_t end = std::min(byte > 0 ? byte - 1 : 0, text.size());
  const auto line = 1 + std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(end), '\n');
  const std::size_t start = text.rfind('\n', end > 0 ? end - 1 : 0);
  const std::size_t column = end - (start == std::string_view::npos || end == 0 ? 0 : start + 1) + 1;
  return "line " + std::to_string(line) + ", column " + std::to_string(column);
}

}  // namespace understudy::store
