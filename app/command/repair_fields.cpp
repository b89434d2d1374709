#include "app/command/repair_fields.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <numbers>

#include "core/repair/fields.h"
#include "core/store/repair_json.h"
#include "core/take/edits.h"

namespace understudy::cli {
namespace {

constexpr double pi = std::numbers::pi;

/// A nudge as parameters; its bones are those of an offset.
struct NudgeFields {
  std::string name;
  double time = 0, easeBefore = defaultEaseSeconds, easeAfter = defaultEaseSeconds, weight = 1;
  bool muted = false, solo = false, late = false;
  NudgeSpace space = NudgeSpace::bone;
  std::vector<JointNudge> bones;
};
template <class V, Described<NudgeFields> T>
void fields(V&& visit, T& v) {
  visit(FieldInfo{"name", "What people call it"}, v.name);
  visit(FieldInfo{"time", "Its frame", "s"}, v.time);
  visit(FieldInfo{"easeBefore", "Blend before the frame", "s", 0, 1e4}, v.easeBefore);
  visit(FieldInfo{"easeAfter", "Blend after the frame", "s", 0, 1e4}, v.easeAfter);
  visit(FieldInfo{"weight", "Strength; 0 is skipped", "", 0, 1}, v.weight);
  visit(FieldInfo{"muted", "Left out"}, v.muted);
  visit(FieldInfo{"solo", "Only solo repairs are applied"}, v.solo);
  visit(FieldInfo{"late", "Made on the result: applied after all repairs"}, v.late);
  visit(FieldInfo{"space", "Axes the turns are about"}, v.space);
  visit(FieldInfo{"bones", "Bones and what is added to each"}, v.bones);
}

/// A prop's grips and holders, and other things made of several parts, are given as JSON in stored units.
template <class T>
inline constexpr bool isList = false;
template <class T>
inline constexpr bool isList<std::vector<T>> = true;
template <class T>
inline constexpr bool isOptional = false;
template <class T>
inline constexpr bool isOptional<std::optional<T>> = true;

std::string optionName(std::string_view field) {
  std::string name;
  for (const char c : field) {
    if (std::isupper(static_cast<unsigned char>(c))) name += '-';
    name += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  }
  return name;
}

bool isDuration(const FieldInfo& info) { return std::string_view(info.name).starts_with("ease"); }
/// Set by the program: numbers, and where a repair came from.
bool isOwn(const FieldInfo& info) { return std::string_view(info.name) == "id" || std::string_view(info.name) == "proposed"; }

template <class T>
std::string placeholder(const FieldInfo& info, const T& value) {
  const std::string_view unit = info.unit;
  if constexpr (std::is_same_v<T, double>) {
    return unit == "s" ? (isDuration(info) ? "FRAMES" : "FRAME") : unit == "m" ? "LENGTH" : unit == "rad" ? "DEG" : unit == "Hz" ? "HZ" : "X";
  } else if constexpr (std::is_same_v<T, int> || std::is_same_v<T, std::uint64_t>) {
    return "N";
  } else if constexpr (std::is_same_v<T, bool>) {
    return "yes|no";
  } else if constexpr (std::is_enum_v<T>) {
    return "NAME";
  } else if constexpr (std::is_same_v<T, std::string>) {
    const std::string_view name = info.name;
    return name == "path" ? "FILE" : name == "bone" || name == "on" ? "BONE" : name == "name" || name == "shape" || name == "node" ? "NAME" : "TEXT";
  } else if constexpr (std::is_same_v<T, Vec3d>) {
    return "X,Y,Z";
  } else if constexpr (std::is_same_v<T, TimeRange>) {
    return "A:B";
  } else if constexpr (std::is_same_v<T, std::vector<std::string>>) {
    return std::string_view(info.name) == "bodies" ? "NAME,NAME" : "BONE,BONE";
  } else if constexpr (std::is_same_v<T, std::vector<JointNudge>>) {
    return "BONE,BONE";
  } else if constexpr (std::is_same_v<T, std::vector<PlantMark>>) {
    return "PHASE:FRAME,PHASE:FRAME";
  } else if constexpr (isOptional<T>) {
    return placeholder(info, typename T::value_type{}) + "|none";
  } else {
    static_cast<void>(value);
    return "JSON";
  }
}

template <class T>
std::string choices(const FieldInfo& info, const T& value) {
  std::string text;
  if constexpr (std::is_enum_v<T>)
    if (std::string_view(info.what).find(namesOf(value).back()) == std::string_view::npos)
      for (const char* name : namesOf(value)) text += (text.empty() ? ": " : ", ") + std::string(name);
  return text;
}

// ---- from text ----

struct Given {
  const FrameNumbers& numbers;
  std::string option;  ///< with its dashes, for messages
  [[nodiscard]] Issue wrong(const std::string& text, const std::string& wanted) const {
    return makeError(Fault::usage, option + " needs " + wanted + ", not '" + text + "'");
  }
};

std::vector<std::string> split(const std::string& text, char at = ',') {
  std::vector<std::string> parts;
  std::size_t begin = 0;
  for (;;) {
    const std::size_t end = text.find(at, begin);
    std::string one = text.substr(begin, end == std::string::npos ? end : end - begin);
    while (!one.empty() && one.front() == ' ') one.erase(0, 1);
    while (!one.empty() && one.back() == ' ') one.pop_back();
    parts.push_back(std::move(one));
    if (end == std::string::npos) return parts;
    begin = end + 1;
  }
}

/// A finite number and what follows it.
bool readNumber(const std::string& text, double& number, std::string& rest) {
  const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
  const auto [stop, error] = std::from_chars(begin, text.data() + text.size(), number);
  rest.assign(stop, text.data() + text.size());
  return error == std::errc{} && std::isfinite(number);
}

std::string shortNumber(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.6g", value);
  return text;
}

Result<double> readQuantity(const Given& given, const FieldInfo& info, const std::string& text) {
  const std::string_view unit = info.unit;
  double number = 0;
  std::string rest;
  const bool read = readNumber(text, number, rest);
  double scale = 1;
  std::string wanted = "a number";
  if (unit == "m") {
    wanted = "a length (metres, or 12mm, 3cm)";
    if (rest == "mm") scale = 1e-3;
    else if (rest == "cm") scale = 1e-2;
    else if (!rest.empty() && rest != "m") return given.wrong(text, wanted);
  } else if (unit == "rad") {
    wanted = "an angle (degrees, or 0.5rad)";
    if (rest.empty() || rest == "deg") scale = pi / 180;
    else if (rest != "rad") return given.wrong(text, wanted);
  } else if (unit == "s") {
    wanted = isDuration(info) ? "a number of frames (or 0.3s)" : "a frame (or 0.3s)";
    if (rest.empty()) {
      if (number != std::floor(number) || std::abs(number) > 1e8) return given.wrong(text, "a whole frame (or 0.3s)");
      // As recorded frames are: the division comes last.
      number = given.numbers.rate.seconds(static_cast<std::int64_t>(number) - (isDuration(info) ? 0 : given.numbers.first));
    } else if (rest != "s") {
      return given.wrong(text, wanted);
    }
  } else if (unit == "Hz") {
    if (!rest.empty() && rest != "Hz") return given.wrong(text, "a frequency in hertz");
  } else if (!rest.empty()) {
    return given.wrong(text, wanted);
  }
  if (!read) return given.wrong(text, wanted);
  const double value = number * scale;
  if (value < info.least || value > info.most) {
    // In the unit that was typed.
    const bool degrees = unit == "rad" && rest != "rad";
    const std::string of = degrees ? "degrees" : !rest.empty() ? rest : std::string(unit);
    const auto typed = [&](double limit) { return shortNumber(limit / scale); };
    const std::string limits = std::isfinite(info.least) && std::isfinite(info.most) ? typed(info.least) + " to " + typed(info.most)
                               : std::isfinite(info.least)                          ? "at least " + typed(info.least)
                                                                                    : "at most " + typed(info.most);
    return makeError(Fault::usage, given.option + " may be " + limits + (of.empty() ? "" : " " + of) + ", not '" + text + "'");
  }
  return value;
}

Result<Json> jsonText(const Given& given, const std::string& text) {
  Json json = Json::parse(text, nullptr, false);
  if (json.is_discarded()) return given.wrong(text, "JSON");
  return json;
}

template <class T>
Result<Json> valueFrom(const Given& given, const FieldInfo& info, const std::string& text, const T& value) {
  if constexpr (std::is_same_v<T, double>) {
    const auto number = readQuantity(given, info, text);
    if (!number) return number.error();
    return Json(*number);
  } else if constexpr (std::is_same_v<T, int> || std::is_same_v<T, std::uint64_t>) {
    T number{};
    const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
    if (error != std::errc{} || stop != text.data() + text.size()) return given.wrong(text, "a whole number");
    return Json(number);
  } else if constexpr (std::is_same_v<T, bool>) {
    for (const char* yes : {"yes", "true", "on"})
      if (text == yes) return Json(true);
    for (const char* no : {"no", "false", "off"})
      if (text == no) return Json(false);
    return given.wrong(text, "yes or no");
  } else if constexpr (std::is_enum_v<T>) {
    std::vector<std::string> names;
    std::string list;
    for (const char* name : namesOf(value)) {
      if (text == name) return Json(text);
      names.emplace_back(name);
      list += (list.empty() ? "" : ", ") + names.back();
    }
    return given.wrong(text, "one of " + list);
  } else if constexpr (std::is_same_v<T, std::string>) {
    return Json(text);
  } else if constexpr (std::is_same_v<T, Vec3d>) {
    const std::vector<std::string> parts = split(text);
    if (parts.size() != 3) return given.wrong(text, "three numbers X,Y,Z");
    Json list = Json::array();
    for (const std::string& one : parts) {
      const auto number = readQuantity(given, info, one);
      if (!number) return number.error();
      list.push_back(*number);
    }
    return list;
  } else if constexpr (std::is_same_v<T, TimeRange>) {
    const std::vector<std::string> parts = split(text, ':');
    if (parts.size() != 2) return given.wrong(text, "two frames A:B");
    const FieldInfo time{"time", "", "s"};
    const auto first = readQuantity(given, time, parts[0]);
    if (!first) return first.error();
    const auto last = readQuantity(given, time, parts[1]);
    if (!last) return last.error();
    if (*last < *first) return makeError(Fault::usage, given.option + " " + text + " ends before it begins", {}, "Give the first frame before the last; a single one is A:A");
    return Json{{"first", *first}, {"last", *last}};
  } else if constexpr (isOptional<T>) {
    if (text == "none" || text == "all") return Json();
    return valueFrom(given, info, text, typename T::value_type{});
  } else if constexpr (std::is_same_v<T, std::vector<PlantMark>>) {
    if (text.starts_with('[')) return jsonText(given, text);
    Json list = Json::array();
    if (text == "none") return list;
    for (const std::string& one : split(text)) {
      const std::vector<std::string> parts = split(one, ':');
      if (parts.size() != 2) return given.wrong(one, "PHASE:FRAME");
      const auto phase = valueFrom(given, info, parts[0], PlantPhase{});
      if (!phase) return phase.error();
      const auto time = readQuantity(given, FieldInfo{"time", "", "s"}, parts[1]);
      if (!time) return time.error();
      list.push_back({{"time", *time}, {"phase", *phase}});
    }
    return list;
  } else if constexpr (std::is_same_v<T, std::vector<std::string>>) {
    Json list = Json::array();
    if (text == "none" || text == "all") return list;
    for (const std::string& one : split(text)) {
      if (one.empty()) return given.wrong(text, "names with commas between them");
      list.push_back(one);
    }
    return list;
  } else if constexpr (std::is_same_v<T, std::vector<JointNudge>>) {
    if (text.starts_with('[')) return jsonText(given, text);
    Json list = Json::array();
    for (const std::string& one : split(text)) {
      if (one.empty()) return given.wrong(text, "names with commas between them");
      list.push_back({{"joint", one}});
    }
    return list;
  } else {
    return jsonText(given, text);
  }
}

// ---- per kind ----

template <std::size_t I = 0, class Use>
void withAction(const std::string& kind, Use use) {
  if constexpr (I < std::variant_size_v<RepairAction>) {
    if (repairKinds()[I] == kind) return use(std::variant_alternative_t<I, RepairAction>{});
    withAction<I + 1>(kind, use);
  }
}

/// Visits every parameter of a kind: visit(FieldInfo, default value).
template <class Visit>
void eachField(const std::string& kind, Visit visit) {
  const auto given = [&](FieldInfo info, const auto& value) {
    if (!isOwn(info)) visit(info, value);
  };
  if (kind == "prop") {
    const PropItem prop;
    fields(given, prop);
  } else if (kind == "object") {
    const SetItem item;
    fields(given, item);
  } else if (kind == "lock") {
    const Lock lock;
    fields(given, lock);
  } else if (kind == "nudge") {
    const NudgeFields nudge;
    fields(given, nudge);
  } else {
    const Repair repair;
    fields(given, repair);
    withAction(kind, [&](const auto& action) { fields(given, action); });
  }
}

/// The option of a parameter; --kind says what is added, so a set object's own kind is its form.
std::string optionOf(const std::string& kind, const FieldInfo& info) {
  return kind == "object" && std::string_view(info.name) == "kind" ? "form" : optionName(info.name);
}

bool hasBones(const std::string& kind) { return kind == "offset" || kind == "nudge"; }

}  // namespace

const std::vector<std::string>& itemKinds() {
  static const std::vector<std::string> kinds = [] {
    std::vector<std::string> all = repairKinds();
    for (const char* more : {"nudge", "prop", "object", "lock"}) all.emplace_back(more);
    return all;
  }();
  return kinds;
}

Result<std::string> itemKind(const std::string& text) {
  std::string kind = text;
  std::replace(kind.begin(), kind.end(), '-', ' ');
  std::string list;
  for (const std::string& known : itemKinds()) {
    if (known == kind) return kind;
    list += (list.empty() ? "" : ", ") + known;
  }
  const std::string near = nearest(kind, itemKinds());
  return makeError(Fault::usage, "'" + text + "' is no kind of repair", {}, (near.empty() ? "" : "Did you mean '" + near + "'? ") + std::string("There are ") + list);
}

std::vector<OptionSpec> itemOptions() {
  struct Row {
    std::string what;
    std::vector<std::string> kinds;
  };
  struct Entry {
    std::string name, value;
    std::vector<Row> rows;
  };
  std::vector<Entry> entries;
  for (const std::string& kind : itemKinds())
    eachField(kind, [&](const FieldInfo& info, const auto& value) {
      const std::string name = optionOf(kind, info);
      auto entry = std::find_if(entries.begin(), entries.end(), [&](const Entry& e) { return e.name == name; });
      if (entry == entries.end()) entry = entries.insert(entries.end(), Entry{name, placeholder(info, value), {}});
      const std::string what = info.what + choices(info, value);
      if (const std::string also = placeholder(info, value); ("|" + entry->value + "|").find("|" + also + "|") == std::string::npos) entry->value += "|" + also;
      auto row = std::find_if(entry->rows.begin(), entry->rows.end(), [&](const Row& r) { return r.what == what; });
      if (row == entry->rows.end()) row = entry->rows.insert(entry->rows.end(), Row{what, {}});
      row->kinds.push_back(kind);
    });
  std::vector<OptionSpec> options;
  for (const Entry& entry : entries) {
    std::string help;
    for (const Row& row : entry.rows) {
      std::string who;
      if (row.kinds.size() < repairKinds().size())
        for (const std::string& kind : row.kinds) who += (who.empty() ? "" : ", ") + kind;
      std::string what = row.what;
      what[0] = static_cast<char>(std::tolower(static_cast<unsigned char>(what[0])));
      help += (help.empty() ? "" : "\n") + (who.empty() ? "" : who + ": ") + what;
    }
    options.push_back({entry.name, entry.value, help});
  }
  options.push_back({"rotate", "X,Y,Z", "offset, nudge: axis times angle in degrees, for each of the bones"});
  options.push_back({"move", "X,Y,Z", "offset, nudge: move in metres, for each of the bones"});
  return options;
}

Result<Json> itemFields(const std::string& kind, const Options& options, const FrameNumbers& numbers) {
  Json json = Json::object();
  std::vector<std::string> known;
  std::optional<Issue> wrong;
  eachField(kind, [&](const FieldInfo& info, const auto& value) {
    const std::string name = optionOf(kind, info);
    known.push_back(name);
    if (wrong || !options.has(name)) return;
    const Given given{numbers, "--" + name};
    auto read = valueFrom(given, info, options.value(name), value);
    if (read)
      json[info.name] = std::move(*read);
    else
      wrong = read.error();
  });
  if (wrong) return *wrong;
  for (const OptionSpec& option : itemOptions()) {
    if (!options.has(option.name) || std::find(known.begin(), known.end(), option.name) != known.end()) continue;
    if (hasBones(kind) && (option.name == "rotate" || option.name == "move")) continue;
    return makeError(Fault::usage, "A " + kind + " has no --" + option.name, {}, "The help says which kinds have it");
  }
  if (hasBones(kind)) {
    for (const auto& [option, field, unit] : {std::tuple{"rotate", "rotation", "rad"}, std::tuple{"move", "translation", "m"}}) {
      if (!options.has(option)) continue;
      const auto value = valueFrom(Given{numbers, std::string("--") + option}, FieldInfo{field, "", unit}, options.value(option), Vec3d{});
      if (!value) return value.error();
      // Of the bones that stand already where none are given: see applyTurns.
      if (!json.contains("bones"))
        json[option] = *value;
      else
        for (Json& bone : json["bones"]) bone[field] = *value;
    }
  }
  return json;
}

Json nudgeJson(const Nudge& nudge) {
  OffsetRepair offset;
  offset.bones = nudge.joints;
  offset.space = nudge.space;
  Repair as;
  as.id = nudge.id;
  as.name = nudge.name;
  as.easeBefore = nudge.easeBefore;
  as.easeAfter = nudge.easeAfter;
  as.weight = nudge.weight;
  as.muted = nudge.muted;
  as.solo = nudge.solo;
  as.unknown = nudge.unknown;
  as.action = std::move(offset);
  Json json = Json::parse(writeRepair(as));
  json["kind"] = "nudge";
  json["time"] = nudge.time;
  if (nudge.late) json["late"] = true;
  return json;
}

Result<Nudge> readNudgeJson(const Json& given, const std::string& file, const std::string& place, const Nudge* base) {
  Json json = base ? nudgeJson(*base) : Json::object();
  json.update(given);
  Nudge nudge;
  const auto time = json.find("time");
  if (time == json.end() || !time->is_number()) return makeError(Fault::usage, "A nudge needs its frame", place.empty() ? file : place, "Give its time");
  nudge.time = time->get<double>();
  json.erase("time");
  if (const auto late = json.find("late"); late != json.end()) {
    if (!late->is_boolean()) return makeError(Fault::usage, "'late' is not true or false", place.empty() ? file : place, "Correct it there");
    nudge.late = late->get<bool>();
    json.erase("late");
  }
  json["kind"] = "offset";
  const Result<Repair> read = readRepair(json.dump(), file, place);
  if (!read) return read.error();
  const OffsetRepair& offset = std::get<OffsetRepair>(read->action);
  if (read->span || offset.bothSides) return makeError(Fault::usage, "A nudge has one frame, and neither span nor other side", place.empty() ? file : place, "Make it an offset");
  nudge.id = read->id;
  nudge.name = read->name;
  nudge.easeBefore = read->easeBefore;
  nudge.easeAfter = read->easeAfter;
  nudge.weight = read->weight;
  nudge.muted = read->muted;
  nudge.solo = read->solo;
  nudge.space = offset.space;
  nudge.joints = offset.bones;
  nudge.unknown = read->unknown;
  return nudge;
}

}  // namespace understudy::cli
