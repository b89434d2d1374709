#include "core/store/reel_file.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "core/io/read.h"
#include "core/io/write.h"
#include "core/store/json_reader.h"
#include "core/store/repair_json.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
using namespace store;
using store::toJson;

// ---- writing ----

std::string relativeTo(const std::string& file, const std::string& reelPath) {
  if (file.empty()) return file;
  std::error_code error;
  const fs::path folder = fs::absolute(fs::path(reelPath), error).parent_path().lexically_normal();
  const fs::path full = fs::absolute(fs::path(file), error).lexically_normal();
  const fs::path relative = full.lexically_relative(folder);
  return (relative.empty() ? full : relative).generic_string();
}

Json toJson(const FileReference& file, const std::string& reelPath) {
  Json json = {{"path", relativeTo(file.path, reelPath)}};
  if (file.metresPerUnit > 0) json["metresPerUnit"] = number(file.metresPerUnit);
  if (!file.up.empty()) json["up"] = file.up;
  if (!file.contentHash.empty()) json["contentHash"] = file.contentHash;
  addUnknown(json, file.unknown);
  return json;
}

Json toJson(const MapKeys& map) {
  Json json = Json::object();
  for (int r = 0; r < roleCount; ++r) {
    const auto i = static_cast<std::size_t>(r);
    Json role = Json::object();
    if (map.performer[i] != RoleKeys{}) role["performer"] = toJson(map.performer[i]);
    if (map.character[i] != RoleKeys{}) role["character"] = toJson(map.character[i]);
    if (!role.empty()) json[std::string(roleName(roleAt(r)))] = std::move(role);
  }
  return json;
}

Json toJson(const RetargetSettings& settings) {
  Json json = {{"ground", settings.ground}};
  if (settings.stride) json["stride"] = number(*settings.stride);
  if (settings.performerReference != ReferenceSettings{}) json["performerReference"] = toJson(settings.performerReference);
  if (settings.characterReference != ReferenceSettings{}) json["characterReference"] = toJson(settings.characterReference);
  if (Json alignment = alignmentJson(settings.alignmentOffsets, settings.alignmentChoices); !alignment.empty()) json["alignment"] = std::move(alignment);
  return json;
}

Json toJson(const Nudge& nudge) {
  Json joints = Json::array();
  for (const JointNudge& part : nudge.joints) {
    Json joint = {{"joint", part.joint}, {"rotation", toJson(part.rotation)}};
    if (part.translation != Vec3d{}) joint["translation"] = toJson(part.translation);
    joints.push_back(std::move(joint));
  }
  Json json = {{"id", nudge.id},
               {"time", number(nudge.time)},
               {"easeBefore", number(nudge.easeBefore)},
               {"easeAfter", number(nudge.easeAfter)},
               {"weight", number(nudge.weight)},
               {"space", nudgeSpaceName(nudge.space)},
               {"joints", std::move(joints)}};
  if (!nudge.name.empty()) json["name"] = nudge.name;
  if (nudge.muted) json["muted"] = true;
  if (nudge.solo) json["solo"] = true;
  if (nudge.late) json["late"] = true;
  for (const NudgeSlope& slope : nudge.slopes) json["slopes"].push_back({{"joint", slope.joint}, {"before", toJson(slope.before)}, {"after", toJson(slope.after)}});
  addUnknown(json, nudge.unknown);
  return json;
}

Json toJson(const Note& note) {
  Json json = {{"id", note.id}, {"time", number(note.time)}, {"text", note.text}};
  if (!note.bone.empty()) json["bone"] = note.bone;
  if (!note.author.empty()) json["author"] = note.author;
  if (note.done) json["done"] = true;
  addUnknown(json, note.unknown);
  return json;
}

Json toJson(const Marker& marker) {
  Json json = {{"id", marker.id}, {"time", number(marker.time)}, {"name", marker.name}};
  addUnknown(json, marker.unknown);
  return json;
}

Json toJson(const HandOver& handOver, const std::string& reelPath) {
  Json json = {{"animationName", handOver.animationName}, {"animationOnly", handOver.animationOnly}};
  if (!handOver.path.empty()) json["path"] = relativeTo(handOver.path, reelPath);
  if (!handOver.format.empty()) json["format"] = handOver.format;
  if (handOver.rate) json["rate"] = handOver.rate->spelling();
  if (handOver.bake != BakeKind::sampled) json["bake"] = bakeKindName(handOver.bake);
  if (handOver.tolerance != HandOver{}.tolerance) json["tolerance"] = number(handOver.tolerance);
  return json;
}

Json toJson(const Take& take, const std::string& reelPath) {
  Json json = {{"name", take.name},
               {"performer", toJson(*take.performer, reelPath)},
               {"character", toJson(*take.character, reelPath)},
               {"clip", take.clip + 1},
               {"firstFrame", take.firstFrame}};
  if (take.rate) json["rate"] = take.rate->spelling();
  if (take.trim) json["trim"] = {{"first", number(take.trim->first)}, {"last", number(take.trim->last)}};
  if (!(*take.map == MapKeys{})) json["map"] = toJson(*take.map);
  json["retarget"] = toJson(*take.retarget);
  Json nudges = Json::array();
  for (const Node<Nudge>& nudge : *take.nudges) nudges.push_back(toJson(*nudge));
  json["nudges"] = std::move(nudges);
  const auto addList = [&json](const char* key, const auto& items, const auto& write) {
    if (items.empty()) return;
    Json list = Json::array();
    for (const auto& item : items) list.push_back(Json::parse(write(item)));
    json[key] = std::move(list);
  };
  addList("repairs", *take.repairs, [](const Node<Repair>& repair) { return writeRepair(*repair); });
  addList("props", *take.props, [&](PropItem prop) {
    prop.path = relativeTo(prop.path, reelPath);
    return writeProp(prop);
  });
  addList("set", *take.set, [&](SetItem item) {
    item.path = relativeTo(item.path, reelPath);
    return writeSetItem(item);
  });
  addList("locks", *take.locks, writeLock);
  for (const Note& note : *take.notes) json["notes"].push_back(toJson(note));
  for (const Marker& marker : *take.markers) json["markers"].push_back(toJson(marker));
  if (!take.waved.empty()) json["waved"] = take.waved;
  if (!take.leftOut.empty()) json["leftOut"] = take.leftOut;
  json["handOver"] = toJson(*take.handOver, reelPath);
  addUnknown(json, take.unknown);
  return json;
}

// ---- reading ----

std::string absoluteFrom(const std::string& file, const std::string& reelPath) {
  if (file.empty() || fs::path(file).is_absolute()) return file;
  std::error_code error;
  const fs::path folder = fs::absolute(fs::path(reelPath), error).parent_path();
  return (folder / file).lexically_normal().string();
}

FileReference readFile(Reader r, const std::string& reelPath) {
  FileReference file;
  file.path = absoluteFrom(r.text("path"), reelPath);
  file.metresPerUnit = r.real("metresPerUnit", 0);
  file.up = r.text("up");
  file.contentHash = r.text("contentHash");
  file.unknown = r.unknown();
  return file;
}

MapKeys readMap(Reader r) {
  MapKeys map;
  for (int i = 0; i < roleCount; ++i) {
    const std::string name(roleName(roleAt(i)));
    if (!r.has(name)) continue;
    Reader role = r.object(name);
    if (role.has("performer")) map.performer[static_cast<std::size_t>(i)] = readRole(role.object("performer"));
    if (role.has("character")) map.character[static_cast<std::size_t>(i)] = readRole(role.object("character"));
    role.dropUnknown();
  }
  r.dropUnknown();
  return map;
}

RetargetSettings readRetarget(Reader r) {
  RetargetSettings settings;
  settings.ground = r.flag("ground", true);
  if (r.has("stride")) settings.stride = r.real("stride", 1);
  settings.performerReference = readReferenceSettings(r.object("performerReference"));
  settings.characterReference = readReferenceSettings(r.object("characterReference"));
  readAlignment(r.object("alignment"), settings.alignmentOffsets, settings.alignmentChoices);
  r.dropUnknown();
  return settings;
}

std::uint64_t readId(Reader& r) {
  const Json id = r.take("id");
  if (id.is_null()) return 0;
  if (!id.is_number_unsigned()) r.wrong("id", "a whole number");
  return id.get<std::uint64_t>();
}

Nudge readNudge(Reader r) {
  Nudge nudge;
  nudge.id = readId(r);
  nudge.name = r.text("name");
  nudge.time = r.real("time", 0);
  nudge.easeBefore = r.real("easeBefore", defaultEaseSeconds);
  nudge.easeAfter = r.real("easeAfter", defaultEaseSeconds);
  nudge.weight = r.real("weight", 1);
  nudge.muted = r.flag("muted", false);
  nudge.solo = r.flag("solo", false);
  nudge.late = r.flag("late", false);
  if (r.has("space") && !nudgeSpaceNamed(r.text("space"), nudge.space)) r.wrong("space", "one of bone, parent, character, world, view, ground");
  const std::vector<Json> joints = r.list("joints");
  for (std::size_t i = 0; i < joints.size(); ++i) {
    Reader part = r.item("joints", i, joints[i]);
    JointNudge joint;
    joint.joint = part.text("joint");
    joint.rotation = part.vector("rotation");
    joint.translation = part.vector("translation");
    part.dropUnknown();
    nudge.joints.push_back(std::move(joint));
  }
  const std::vector<Json> slopes = r.list("slopes");
  for (std::size_t i = 0; i < slopes.size(); ++i) {
    Reader part = r.item("slopes", i, slopes[i]);
    nudge.slopes.push_back({part.text("joint"), part.vector("before"), part.vector("after")});
    part.dropUnknown();
  }
  nudge.unknown = r.unknown();
  return nudge;
}

Note readNote(Reader r) {
  Note note;
  note.id = readId(r);
  note.time = r.real("time", 0);
  note.bone = r.text("bone");
  note.text = r.text("text");
  note.author = r.text("author");
  note.done = r.flag("done", false);
  note.unknown = r.unknown();
  return note;
}

Marker readMarker(Reader r) {
  Marker marker;
  marker.id = readId(r);
  marker.time = r.real("time", 0);
  marker.name = r.text("name");
  marker.unknown = r.unknown();
  return marker;
}

HandOver readHandOver(Reader r, const std::string& reelPath) {
  HandOver handOver;
  handOver.animationName = r.text("animationName", handOver.animationName);
  handOver.animationOnly = r.flag("animationOnly", false);
  handOver.path = absoluteFrom(r.text("path"), reelPath);
  handOver.format = r.text("format");
  handOver.rate = r.rate("rate");
  if (r.has("bake") && !bakeKindNamed(r.text("bake"), handOver.bake)) r.wrong("bake", "one of sampled, reduced, editable");
  handOver.tolerance = r.real("tolerance", handOver.tolerance);
  if (!(handOver.tolerance > 0)) r.wrong("tolerance", "metres above 0");
  r.dropUnknown();
  return handOver;
}

Take readTake(Reader r, const std::string& reelPath) {
  Take take;
  take.name = r.text("name");
  take.performer = readFile(r.object("performer"), reelPath);
  take.character = readFile(r.object("character"), reelPath);
  const int clip = r.whole("clip", 1);
  if (clip < 1) r.wrong("clip", "a clip number counted from 1");
  take.clip = clip - 1;
  take.firstFrame = r.whole("firstFrame", 1);
  take.rate = r.rate("rate");
  if (r.has("trim")) {
    Reader trim = r.object("trim");
    TimeRange range;
    range.first = trim.real("first", 0);
    range.last = trim.real("last", 0);
    if (range.first < 0 || range.last < range.first) r.wrong("trim", "a span of time");
    trim.dropUnknown();
    take.trim = range;
  }
  take.map = readMap(r.object("map"));
  take.retarget = readRetarget(r.object("retarget"));
  const std::vector<Json> nudges = r.list("nudges");
  Nudges read;
  for (std::size_t i = 0; i < nudges.size(); ++i) read.emplace_back(readNudge(r.item("nudges", i, nudges[i])));
  take.nudges = std::move(read);
  take.repairs = readList<Node<Repair>>(r, "repairs", [](const auto&... a) { return readRepair(a...); });
  std::vector<PropItem> props = readList<PropItem>(r, "props", [](const auto&... a) { return readProp(a...); });
  for (PropItem& prop : props) prop.path = absoluteFrom(prop.path, reelPath);
  take.props = std::move(props);
  std::vector<SetItem> set = readList<SetItem>(r, "set", [](const auto&... a) { return readSetItem(a...); });
  for (SetItem& item : set) item.path = absoluteFrom(item.path, reelPath);
  take.set = std::move(set);
  take.locks = readList<Lock>(r, "locks", [](const auto&... a) { return readLock(a...); });
  const std::vector<Json> notes = r.list("notes");
  std::vector<Note> remarks;
  for (std::size_t i = 0; i < notes.size(); ++i) remarks.push_back(readNote(r.item("notes", i, notes[i])));
  take.notes = std::move(remarks);
  const std::vector<Json> markers = r.list("markers");
  std::vector<Marker> places;
  for (std::size_t i = 0; i < markers.size(); ++i) places.push_back(readMarker(r.item("markers", i, markers[i])));
  take.markers = std::move(places);
  take.waved = r.texts("waved");
  std::sort(take.waved.begin(), take.waved.end());
  take.leftOut = r.texts("leftOut");
  take.handOver = readHandOver(r.object("handOver"), reelPath);
  take.unknown = r.unknown();
  return take;
}

/// Brings a file of version `from` to version `from` + 1. Add a case with every new version.
void migrate(Json&, int from) {
  switch (from) {
    default: break;
  }
}

}  // namespace

std::string writeReel(const Reel& reel, const std::string& path) {
  Json takes = Json::array();
  for (const Node<Take>& take : reel.takes) takes.push_back(toJson(*take, path));
  Json json = {{"format", "understudy reel"}, {"version", reelVersion}, {"current", reel.current + 1}, {"takes", std::move(takes)}};
  addUnknown(json, reel.unknown);
  return json.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

Result<Reel> readReel(std::string_view text, const std::string& path, Issues* issues) {
  Json json;
  try {
    json = Json::parse(text);
  } catch (const Json::parse_error& error) {
    if (text.empty()) return makeError(Fault::input, "The file is empty", path, "Use a backup or the autosave");
    return makeError(Fault::input, "The reel is damaged: its JSON is broken at " + whereOf(text, error.byte), path, "Use a backup or the autosave");
  } catch (const Json::exception&) {
    return makeError(Fault::input, "The reel is damaged: it holds numbers beyond all bounds", path, "Use a backup or the autosave");
  }
  if (!json.is_object() || json.value("format", Json()) != "understudy reel")
    return makeError(Fault::input, "This is no reel", path, "Choose a file that was saved as a reel");
  const Json& stated = json["version"];
  if (!stated.is_number_integer() || stated.get<double>() < 1)
    return makeError(Fault::input, "'version' is not a version number", path, "The file was changed by hand or damaged; use a backup");
  if (stated.get<double>() > reelVersion)
    return makeError(Fault::input, "The reel was made by a newer version of the program (format " + stated.dump() + ", this one reads up to " +
                                       std::to_string(reelVersion) + ")",
                     path, "Update the program");
  for (int version = stated.get<int>(); version < reelVersion; ++version) migrate(json, version);

  Issues found;
  try {
    Reader r(json, "", path, &found);
    r.take("format");
    r.take("version");
    Reel reel;
    reel.current = r.whole("current", 1) - 1;
    const std::vector<Json> takes = r.list("takes");
    for (std::size_t i = 0; i < takes.size(); ++i) reel.takes.emplace_back(readTake(r.item("takes", i, takes[i]), path));
    reel.unknown = r.unknown();
    reel.current = std::clamp(reel.current, 0, std::max(0, static_cast<int>(reel.takes.size()) - 1));
    if (issues) issues->insert(issues->end(), found.begin(), found.end());
    return reel;
  } catch (const Wrong& wrong) {
    return wrong.issue;
  }
}

Status saveReel(const Reel& reel, const std::string& path) { return writeBytes(path, writeReel(reel, path)); }

Result<Reel> loadReel(const std::string& path, Issues* issues) {
  const auto bytes = readBytes(path);
  if (!bytes) return bytes.error();
  return readReel(std::string_view(reinterpret_cast<const char*>(bytes->data()), bytes->size()), path, issues);
}

Reel relinkMoved(const Reel& reel, const std::string& reelPath, Issues* issues) {
  std::error_code error;
  const fs::path folder = fs::absolute(fs::path(reelPath), error).parent_path();
  const auto locate = [&](const FileReference& file) -> std::string {
    // The longest end of the old path that exists below the reel's folder or one of the folders above it.
    const fs::path old(file.path);
    std::vector<fs::path> ends;
    fs::path end;
    for (auto part = std::make_reverse_iterator(old.end()); part != std::make_reverse_iterator(old.begin()); ++part) {
      if (part->empty() || *part == old.root_path() || *part == "..") break;
      end = end.empty() ? *part : *part / end;
      ends.push_back(end);
    }
    fs::path base = folder;
    for (int up = 0; up < 4; ++up) {
      for (auto tail = ends.rbegin(); tail != ends.rend(); ++tail)
        if (fs::is_regular_file(base / *tail, error)) return (base / *tail).lexically_normal().string();
      if (base == base.parent_path()) break;
      base = base.parent_path();
    }
    return {};
  };
  const auto relink = [&](const Node<FileReference>& file) -> Node<FileReference> {
    if (file->path.empty() || fs::exists(file->path, error)) return file;
    const std::string found = locate(*file);
    if (found.empty()) {
      if (issues) issues->push_back(makeWarning("The file is no longer there", file->path, "Show where it is now"));
      return file;
    }
    FileReference moved = *file;
    moved.path = found;
    if (issues) {
      const bool other = !file->contentHash.empty() && contentHash(found) != file->contentHash;
      issues->push_back(other ? makeWarning("Found again as " + found + ", but its content has changed", file->path, "Check that it is the right file")
                              : makeNote("Found again as " + found, file->path));
    }
    return moved;
  };
  Reel next = reel;
  for (Node<Take>& node : next.takes) {
    Take take = *node;
    take.performer = relink(take.performer);
    take.character = relink(take.character);
    const auto relinkPath = [&](std::string& path) {
      FileReference file;
      file.path = path;
      path = relink(Node<FileReference>(std::move(file)))->path;
    };
    std::vector<PropItem> props = *take.props;
    for (PropItem& prop : props) relinkPath(prop.path);
    if (props != *take.props) take.props = std::move(props);
    std::vector<SetItem> set = *take.set;
    for (SetItem& item : set) relinkPath(item.path);
    if (set != *take.set) take.set = std::move(set);
    if (!(take == *node)) node = std::move(take);
  }
  return next;
}

std::string contentHash(const std::string& path) {
  const auto bytes = readBytes(path);
  if (!bytes) return {};
  // FNV-1a, 64 bits (Fowler, Noll, Vo).
  std::uint64_t hash = 14695981039346656037ULL;
  for (const std::uint8_t byte : *bytes) hash = (hash ^ byte) * 1099511628211ULL;
  char text[17];
  std::snprintf(text, sizeof text, "%016llx", static_cast<unsigned long long>(hash));
  return text;
}

}  // namespace understudy
