// The map file: JSON for programs, with confidence and reasons for people.
#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "core/mapping/bone_map.h"

namespace understudy {
namespace {

using Json = nlohmann::ordered_json;

int lineAt(std::string_view text, std::size_t offset) {
  return 1 + static_cast<int>(std::count(text.begin(), text.begin() + static_cast<long>(std::min(offset, text.size())), '\n'));
}

std::string whereIs(const std::string& path, int line) {
  return line > 0 ? path + ", line " + std::to_string(line) : path;
}

// Line of a key's quoted spelling after the line of its role; 0 where it cannot be found (escaped spellings).
int lineOf(std::string_view text, const std::string& role, const std::string& key) {
  std::size_t at = text.find("\"" + role + "\"");
  if (at == std::string_view::npos) return 0;
  if (!key.empty())
    if (const std::size_t inner = text.find(key, at); inner != std::string_view::npos) at = inner;
  return lineAt(text, at);
}

Json entry(const RoleJoints& joints, const Skeleton& skeleton) {
  if (joints.joints.size() == 1) return jointKey(skeleton, joints.joints.front());
  Json list = Json::array();
  for (const int j : joints.joints) list.push_back(jointKey(skeleton, j));
  return list;
}

struct Reader {
  std::string_view text;
  const std::string& path;
  Issues* issues;

  void warn(std::string what, const std::string& role, const std::string& key, std::string todo) const {
    if (issues) issues->push_back(makeWarning(std::move(what), whereIs(path, lineOf(text, role, key)), std::move(todo)));
  }

  [[nodiscard]] Result<int> joint(const Json& value, const std::string& role, const char* side, const Skeleton& skeleton) const {
    std::string key;
    if (value.is_string()) {
      key = value.get<std::string>();
    } else if (value.is_number_integer() || value.is_number_unsigned()) {
      // A number is the index of a node in its file.
      const double number = value.get<double>();
      const auto at = std::find_if(skeleton.fileNodes.begin(), skeleton.fileNodes.end(), [&](int node) { return node == number; });
      if (at != skeleton.fileNodes.end()) return static_cast<int>(at - skeleton.fileNodes.begin());
      return makeError(Fault::mapping, "Role '" + role + "', " + side + ": there is no node " + value.dump(),
                       whereIs(path, lineOf(text, role, value.dump())),
                       "Run 'look' on the " + std::string(side) + "'s file to list its joints");
    } else {
      return makeError(
          Fault::mapping,
          "Role '" + role + "', " + side + ": a joint is given by a name, a path or a node's index, not by " + value.type_name(),
          whereIs(path, lineOf(text, role, {})), "Write a name in quotes, or a list of names");
    }
    const Result<int> found = findJoint(skeleton, key);
    if (found) return *found;
    return makeError(Fault::mapping, "Role '" + role + "', " + side + ": " + found.error().what, whereIs(path, lineOf(text, role, key)),
                     found.error().todo);
  }

  [[nodiscard]] Status side(const Json& roleEntry, const std::string& role, const char* side, const Skeleton& skeleton,
                            RoleJoints& out) const {
    if (!roleEntry.contains(side) || roleEntry[side].is_null()) return Done{};
    const Json& value = roleEntry[side];
    const Json list = value.is_array() ? value : Json::array({value});
    for (const Json& one : list) {
      const Result<int> found = joint(one, role, side, skeleton);
      if (!found) return found.error();
      if (std::find(out.joints.begin(), out.joints.end(), *found) != out.joints.end())
        return makeError(Fault::mapping,
                         "Role '" + role + "', " + side + ": joint '" + jointKey(skeleton, *found) + "' stands twice in the list",
                         whereIs(path, lineOf(text, role, {})), "Name each joint once");
      out.joints.push_back(*found);
    }
    if (!out.joints.empty()) out.confidence = 1, out.reason = "from the map file";
    return Done{};
  }
};

// A joint moves with one role only: the first one that names it keeps it.
void dropDoubles(SkeletonMap& map, const Skeleton& skeleton, const char* side, const Reader& reader) {
  std::vector<int> owner(skeleton.parents.size(), -1);
  for (int r = 0; r < roleCount; ++r) {
    RoleJoints& entry = map.roles[r];
    const std::string role(roleName(roleAt(r)));
    std::erase_if(entry.joints, [&](int j) {
      if (owner[j] < 0) {
        owner[j] = r;
        return false;
      }
      reader.warn("The " + std::string(side) + "'s joint '" + jointKey(skeleton, j) + "' is given to two roles; '" +
                      std::string(roleName(roleAt(owner[j]))) + "' keeps it, '" + role + "' does without",
                  role, jointKey(skeleton, j), "Leave it in one of them");
      return true;
    });
    if (entry.joints.empty()) entry = {};
  }
}

}  // namespace

std::string writeMapFile(const BoneMap& map, const Figure& performer, const Figure& character) {
  Json roles = Json::object();
  for (int r = 0; r < roleCount; ++r) {
    const RoleJoints &p = map.performer.roles[r], &c = map.character.roles[r];
    if (p.empty() && c.empty()) continue;
    Json one = Json::object();
    if (!p.empty()) one["performer"] = entry(p, performer.skeleton);
    if (!c.empty()) one["character"] = entry(c, character.skeleton);
    Json confidence = Json::object(), reason = Json::object();
    const auto note = [&](const char* side, const RoleJoints& joints) {
      if (joints.empty()) return;
      confidence[side] = std::round(joints.confidence * 100) / 100;
      if (!joints.reason.empty()) reason[side] = joints.reason;
    };
    note("performer", p);
    note("character", c);
    one["confidence"] = std::move(confidence);
    if (!reason.empty()) one["reason"] = std::move(reason);
    roles[std::string(roleName(roleAt(r)))] = std::move(one);
  }
  const Json file{{"format", "understudy-map"}, {"version", 1}, {"roles", std::move(roles)}};
  return file.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Result<BoneMap> readMapFile(std::string_view json, const std::string& path, const Figure& performer, const Figure& character,
                            Issues* issues) {
  if (json.starts_with("\xEF\xBB\xBF")) json.remove_prefix(3);
  Json file;
  try {
    file = Json::parse(json);
  } catch (const Json::parse_error& error) {
    return makeError(Fault::mapping, "This is no valid JSON", whereIs(path, lineAt(json, error.byte > 0 ? error.byte - 1 : 0)),
                     "Look for a missing comma, quote or brace there");
  }
  if (!file.is_object() || !file.contains("roles") || !file["roles"].is_object())
    return makeError(Fault::mapping, "The map holds no \"roles\" object", path,
                     "A map file looks like {\"roles\": {\"hips\": {\"performer\": NAME, \"character\": NAME}}}");
  if (file.contains("version") && file["version"].is_number() && file["version"].get<double>() > 1 && issues)
    issues->push_back(makeWarning("The map was written by a newer version; what is unknown in it is left out", path));

  const Reader reader{json, path, issues};
  for (const auto& [key, value] : file.items())
    if (key != "roles" && key != "format" && key != "version")
      reader.warn("Unknown field '" + key + "' is left out of the map", key, {}, {});
  BoneMap map;
  for (const auto& [name, value] : file["roles"].items()) {
    const auto role = roleNamed(name);
    if (!role) {
      reader.warn("Unknown role '" + name + "' is left out of the map", name, {}, "Roles are spelt as in VRM 1.0, such as leftUpperArm");
      continue;
    }
    if (value.is_null()) continue;
    if (!value.is_object())
      return makeError(Fault::mapping, "Role '" + name + "' holds " + value.type_name() + " instead of an object",
                       whereIs(path, lineOf(json, name, {})), "Write {\"performer\": NAME, \"character\": NAME}");
    for (const auto& [field, content] : value.items())
      if (field != "performer" && field != "character" && field != "confidence" && field != "reason")
        reader.warn("Role '" + name + "': unknown field '" + field + "' is left out of the map", name, field, {});
    if (const Status s = reader.side(value, name, "performer", performer.skeleton, map.performer.at(*role)); !s) return s.error();
    if (const Status s = reader.side(value, name, "character", character.skeleton, map.character.at(*role)); !s) return s.error();
  }
  dropDoubles(map.performer, performer.skeleton, "performer", reader);
  dropDoubles(map.character, character.skeleton, "character", reader);
  return map;
}

}  // namespace understudy
