#include "core/store/profile_file.h"

#include <filesystem>

#include "core/io/read.h"
#include "core/io/write.h"
#include "core/store/json_reader.h"
#include "core/store/reel_file.h"
#include "core/store/repair_json.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
using namespace store;

Profile readFields(Reader r) {
  Profile profile;
  profile.character = r.text("character");
  profile.contentHash = r.text("contentHash");
  profile.metresPerUnit = r.real("metresPerUnit", 0);
  if (profile.metresPerUnit < 0) r.wrong("metresPerUnit", "a length above 0");
  profile.up = r.text("up");
  if (profile.up != "" && !(profile.up.size() == 2 && (profile.up[0] == '+' || profile.up[0] == '-') && profile.up[1] >= 'X' && profile.up[1] <= 'Z'))
    r.wrong("up", "one of +X, -X, +Y, -Y, +Z, -Z");
  Reader map = r.object("map");
  for (int i = 0; i < roleCount; ++i) {
    const std::string name(roleName(roleAt(i)));
    if (map.has(name)) profile.map[static_cast<std::size_t>(i)] = readRole(map.object(name));
  }
  map.dropUnknown();
  profile.reference = readReferenceSettings(r.object("reference"));
  readAlignment(r.object("alignment"), profile.alignmentOffsets, profile.alignmentChoices);
  profile.leftOut = r.texts("leftOut");
  profile.handShapes = readList<Repair>(r, "handShapes", [](const auto&... a) { return readRepair(a...); });
  for (const Repair& repair : profile.handShapes)
    if (repair.span || !std::holds_alternative<HandShapeRepair>(repair.action)) r.wrong("handShapes", "a list of hand shapes without spans");
  Reader thresholds = r.object("thresholds");
  for (const std::string& name : thresholds.keys()) profile.thresholds[name] = thresholds.real(name, 0);
  profile.animationName = r.text("animationName");
  profile.unknown = r.unknown();
  return profile;
}

}  // namespace

std::string profilePathOf(const std::string& character) { return character.empty() ? std::string() : character + ".profile.json"; }

std::string writeProfile(const Profile& profile) {
  Json json = {{"format", "understudy profile"}, {"version", profileVersion}};
  if (!profile.character.empty()) json["character"] = profile.character;
  if (!profile.contentHash.empty()) json["contentHash"] = profile.contentHash;
  if (profile.metresPerUnit > 0) json["metresPerUnit"] = number(profile.metresPerUnit);
  if (!profile.up.empty()) json["up"] = profile.up;
  Json map = Json::object();
  for (int r = 0; r < roleCount; ++r)
    if (const RoleKeys& keys = profile.map[static_cast<std::size_t>(r)]; keys != RoleKeys{}) map[std::string(roleName(roleAt(r)))] = toJson(keys);
  if (!map.empty()) json["map"] = std::move(map);
  if (profile.reference != ReferenceSettings{}) json["reference"] = toJson(profile.reference);
  if (Json alignment = alignmentJson(profile.alignmentOffsets, profile.alignmentChoices); !alignment.empty()) json["alignment"] = std::move(alignment);
  if (!profile.leftOut.empty()) json["leftOut"] = profile.leftOut;
  for (const Repair& shape : profile.handShapes) json["handShapes"].push_back(Json::parse(writeRepair(shape)));
  for (const auto& [name, value] : profile.thresholds) json["thresholds"][name] = number(value);
  if (!profile.animationName.empty()) json["animationName"] = profile.animationName;
  addUnknown(json, profile.unknown);
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Result<Profile> readProfile(std::string_view text, const std::string& path, Issues* issues) {
  if (text.starts_with("\xEF\xBB\xBF")) text.remove_prefix(3);
  Json json;
  try {
    json = Json::parse(text);
  } catch (const Json::parse_error& error) {
    return makeError(Fault::input, "The profile is damaged: its JSON is broken at " + whereOf(text, error.byte), path, "Mend or remove it");
  } catch (const Json::exception&) {
    return makeError(Fault::input, "The profile is damaged: it holds numbers beyond all bounds", path, "Mend or remove it");
  }
  if (!json.is_object() || json.value("format", Json()) != "understudy profile")
    return makeError(Fault::input, "This is no profile of a character", path, "Choose a file that was saved as one");
  const Json& stated = json["version"];
  if (!stated.is_number_integer() || stated.get<double>() < 1) return makeError(Fault::input, "'version' is not a version number", path, "Mend or remove it");
  if (stated.get<double>() > profileVersion)
    return makeError(Fault::input, "The profile was made by a newer version of the program (format " + stated.dump() + ", this one reads up to " + std::to_string(profileVersion) + ")",
                     path, "Update the program");
  json.erase("format");
  json.erase("version");
  try {
    return readFields(Reader(json, "", path, issues));
  } catch (const Wrong& wrong) {
    return wrong.issue;
  } catch (const Json::exception&) {
    return makeError(Fault::input, "The profile is damaged", path, "Mend or remove it");
  }
}

Status saveProfile(const Profile& profile, const std::string& path) { return writeBytes(path, writeProfile(profile)); }

Result<Profile> loadProfile(const std::string& path, Issues* issues) {
  const auto bytes = readBytes(path);
  if (!bytes) return bytes.error();
  return readProfile(std::string_view(reinterpret_cast<const char*>(bytes->data()), bytes->size()), path, issues);
}

Result<std::optional<Profile>> profileBeside(const std::string& character, Issues* issues) {
  const std::string path = profilePathOf(character);
  std::error_code error;
  if (path.empty() || !fs::is_regular_file(path, error)) return std::optional<Profile>();
  Result<Profile> profile = loadProfile(path, issues);
  if (!profile) return profile.error();
  if (issues) {
    issues->push_back(makeNote("The profile that lies beside the character is used", path));
    if (!profile->contentHash.empty() && profile->contentHash != contentHash(character))
      issues->push_back(makeNote("The character's file has changed since its profile was saved", path, "Look at the bone map, and save the profile again"));
  }
  return std::optional<Profile>(std::move(*profile));
}

}  // namespace understudy
