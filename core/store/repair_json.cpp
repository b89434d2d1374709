#include "core/store/repair_json.h"

#include <cmath>
#include <nlohmann/json.hpp>

#include "core/repair/fields.h"

namespace understudy {
namespace {

using Json = nlohmann::ordered_json;

template <class T>
concept Named = std::is_enum_v<T>;
template <class T>
struct IsList : std::false_type {};
template <class T>
struct IsList<std::vector<T>> : std::true_type {};
template <class T>
struct IsOptional : std::false_type {};
template <class T>
struct IsOptional<std::optional<T>> : std::true_type {};

// ---- writing ----

Json numberJson(double value) { return std::isfinite(value) ? Json(value) : Json(0.0); }

template <class T>
Json valueJson(const T& value) {
  if constexpr (std::is_same_v<T, double>) {
    return numberJson(value);
  } else if constexpr (std::is_same_v<T, bool> || std::is_same_v<T, int> || std::is_same_v<T, std::uint64_t> || std::is_same_v<T, std::string>) {
    return value;
  } else if constexpr (Named<T>) {
    return namesOf(value)[static_cast<std::size_t>(value)];
  } else if constexpr (std::is_same_v<T, Vec3d>) {
    return Json::array({numberJson(value.x), numberJson(value.y), numberJson(value.z)});
  } else if constexpr (std::is_same_v<T, Quatd>) {
    return Json::array({numberJson(value.w), numberJson(value.x), numberJson(value.y), numberJson(value.z)});
  } else if constexpr (IsList<T>::value) {
    Json list = Json::array();
    for (const auto& item : value) list.push_back(valueJson(item));
    return list;
  } else if constexpr (IsOptional<T>::value) {
    return value ? valueJson(*value) : Json();
  } else {
    Json object = Json::object();
    fields([&](const FieldInfo& info, const auto& member) {
      Json json = valueJson(member);
      if (!json.is_null()) object[info.name] = std::move(json);
    }, value);
    return object;
  }
}

/// Only what differs from a new one, so that files stay readable.
template <class T>
void addChanged(Json& json, const T& value) {
  const T plain{};
  Json defaults = valueJson(plain), all = valueJson(value);
  for (auto& [key, member] : all.items())
    if (!defaults.contains(key) || defaults[key] != member) json[key] = std::move(member);
}

std::string textOf(Json json, const std::string& unknown) {
  if (!unknown.empty())
    if (const Json extra = Json::parse(unknown, nullptr, false); extra.is_object())
      for (const auto& [key, value] : extra.items())
        if (!json.contains(key)) json[key] = value;
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

// ---- reading ----

struct Wrong {
  Issue issue;
};

struct Source {
  const std::string& file;
  Issues* issues;
  [[noreturn]] void wrong(const std::string& place, const std::string& wanted) const {
    throw Wrong{makeError(Fault::input, "'" + place + "' is not " + wanted, file, "Correct it there")};
  }
};

template <class T>
void readValue(const Source& source, const std::string& place, const Json& json, const FieldInfo& info, T& value);

/// Reads the members that are there and takes them out of `json`; what is left stays in it.
template <class T>
void readFields(const Source& source, const std::string& place, Json& json, T& value) {
  fields([&](const FieldInfo& info, auto& member) {
    const auto found = json.find(info.name);
    if (found == json.end()) return;
    readValue(source, place.empty() ? std::string(info.name) : place + "." + info.name, *found, info, member);
    json.erase(info.name);
  }, value);
}

std::string limitsOf(const FieldInfo& info) {
  const auto shown = [](double v) {
    std::string text = std::to_string(v);
    text.erase(text.find_last_not_of('0') + 1);
    if (text.ends_with('.')) text.pop_back();
    return text;
  };
  if (std::isfinite(info.least) && std::isfinite(info.most)) return " from " + shown(info.least) + " to " + shown(info.most);
  return std::isfinite(info.least) ? " of at least " + shown(info.least) : std::isfinite(info.most) ? " of at most " + shown(info.most) : "";
}

template <class T>
void readValue(const Source& source, const std::string& place, const Json& json, const FieldInfo& info, T& value) {
  if constexpr (std::is_same_v<T, double> || std::is_same_v<T, int>) {
    const double number = json.is_number() ? json.get<double>() : std::nan("");
    const bool whole = std::is_same_v<T, int>;
    if (!std::isfinite(number) || number < info.least || number > info.most || (whole && (number != std::floor(number) || std::abs(number) > 1e9)))
      source.wrong(place, (whole ? "a whole number" : "a number") + limitsOf(info));
    value = static_cast<T>(number);
  } else if constexpr (std::is_same_v<T, std::uint64_t>) {
    if (!json.is_number_unsigned()) source.wrong(place, "a whole number");
    value = json.get<std::uint64_t>();
  } else if constexpr (std::is_same_v<T, bool>) {
    if (!json.is_boolean()) source.wrong(place, "true or false");
    value = json.get<bool>();
  } else if constexpr (std::is_same_v<T, std::string>) {
    if (!json.is_string()) source.wrong(place, "a text");
    value = json.get<std::string>();
  } else if constexpr (Named<T>) {
    const auto& names = namesOf(value);
    std::string wanted;
    for (std::size_t i = 0; i < names.size(); ++i) {
      if (json.is_string() && json.get<std::string>() == names[i]) {
        value = static_cast<T>(i);
        return;
      }
      wanted += (i ? ", " : "") + std::string(names[i]);
    }
    source.wrong(place, "one of " + wanted);
  } else if constexpr (std::is_same_v<T, Vec3d> || std::is_same_v<T, Quatd>) {
    constexpr std::size_t size = std::is_same_v<T, Vec3d> ? 3 : 4;
    double n[4] = {0, 0, 0, 0};
    if (!json.is_array() || json.size() != size) source.wrong(place, size == 3 ? "a list of three numbers" : "a list of four numbers");
    for (std::size_t i = 0; i < size; ++i) {
      if (!json[i].is_number() || !std::isfinite(json[i].template get<double>())) source.wrong(place, "a list of numbers");
      n[i] = json[i].template get<double>();
    }
    if constexpr (size == 3) {
      value = {n[0], n[1], n[2]};
    } else {
      if (n[0] * n[0] + n[1] * n[1] + n[2] * n[2] + n[3] * n[3] < 1e-12) source.wrong(place, "a rotation (w, x, y, z)");
      // Bytes that were written come back as they are.
      value = {n[0], n[1], n[2], n[3]};
      if (std::abs(dot(value, value) - 1) > 1e-9) value = normalised(value);
    }
  } else if constexpr (IsList<T>::value) {
    if (!json.is_array()) source.wrong(place, "a list");
    T list;
    for (std::size_t i = 0; i < json.size(); ++i) {
      typename T::value_type item{};
      readValue(source, place + "[" + std::to_string(i) + "]", json[i], info, item);
      list.push_back(std::move(item));
    }
    value = std::move(list);
  } else if constexpr (IsOptional<T>::value) {
    if (json.is_null()) {
      value.reset();
      return;
    }
    typename T::value_type inner{};
    readValue(source, place, json, info, inner);
    value = std::move(inner);
  } else {
    if (!json.is_object()) source.wrong(place, "an object");
    Json rest = json;
    readFields(source, place, rest, value);
    for (const auto& [key, left] : rest.items()) source.wrong(place + "." + key, "a field that is known here");
  }
}

Result<Json> parsed(std::string_view text, const std::string& file, const std::string& place) {
  Json json = Json::parse(text, nullptr, false);
  if (json.is_discarded() || !json.is_object()) return makeError(Fault::input, "'" + place + "' is not a JSON object", file, "Correct it there");
  return json;
}

std::string leftOver(const Source& source, const std::string& place, const Json& rest) {
  if (rest.empty()) return {};
  if (source.issues)
    for (const auto& [key, value] : rest.items())
      source.issues->push_back(makeWarning("The field '" + (place.empty() ? key : place + "." + key) + "' is not known to this version", source.file, "It is kept as it is"));
  return rest.dump();
}

template <class T>
Result<T> readPlain(std::string_view text, const std::string& file, const std::string& place, Issues* issues, const T* base) {
  Result<Json> json = parsed(text, file, place);
  if (!json) return json.error();
  const Source source{file, issues};
  try {
    T value = base ? *base : T{};
    readFields(source, place, *json, value);
    if constexpr (requires { value.unknown; })
      if (const std::string left = leftOver(source, place, *json); !left.empty()) value.unknown = left;
    return value;
  } catch (const Wrong& wrong) {
    return wrong.issue;
  }
}

template <std::size_t I = 0>
RepairAction actionOfKind(std::size_t kind) {
  if constexpr (I + 1 < std::variant_size_v<RepairAction>)
    if (kind != I) return actionOfKind<I + 1>(kind);
  return RepairAction(std::in_place_index<I>);
}

// ---- schema ----

template <class T>
Json schemaOf(const FieldInfo& info, const T& value);

template <class T>
Json objectSchema(const T& value) {
  Json properties = Json::object();
  fields([&](const FieldInfo& info, const auto& member) {
    Json one = schemaOf(info, member);
    one["description"] = std::string(info.what) + (*info.unit ? std::string(" (") + info.unit + ")" : std::string());
    properties[info.name] = std::move(one);
  }, value);
  return {{"type", "object"}, {"properties", std::move(properties)}};
}

template <class T>
Json schemaOf(const FieldInfo& info, const T& value) {
  if constexpr (std::is_same_v<T, double> || std::is_same_v<T, int>) {
    Json json = {{"type", std::is_same_v<T, int> ? "integer" : "number"}};
    if (std::isfinite(info.least)) json["minimum"] = info.least;
    if (std::isfinite(info.most)) json["maximum"] = info.most;
    json["default"] = value;
    return json;
  } else if constexpr (std::is_same_v<T, std::uint64_t>) {
    return {{"type", "integer"}, {"minimum", 0}};
  } else if constexpr (std::is_same_v<T, bool>) {
    return {{"type", "boolean"}, {"default", value}};
  } else if constexpr (std::is_same_v<T, std::string>) {
    return {{"type", "string"}, {"default", value}};
  } else if constexpr (Named<T>) {
    return {{"enum", namesOf(value)}, {"default", valueJson(value)}};
  } else if constexpr (std::is_same_v<T, Vec3d> || std::is_same_v<T, Quatd>) {
    const int size = std::is_same_v<T, Vec3d> ? 3 : 4;
    return {{"type", "array"}, {"items", {{"type", "number"}}}, {"minItems", size}, {"maxItems", size}, {"default", valueJson(value)}};
  } else if constexpr (IsList<T>::value) {
    return {{"type", "array"}, {"items", schemaOf(info, typename T::value_type{})}};
  } else if constexpr (IsOptional<T>::value) {
    return {{"anyOf", {schemaOf(info, typename T::value_type{}), {{"type", "null"}}}}};
  } else {
    return objectSchema(value);
  }
}

template <std::size_t I = 0>
void addKinds(Json& kinds) {
  if constexpr (I < std::variant_size_v<RepairAction>) {
    Json kind = objectSchema(std::variant_alternative_t<I, RepairAction>{});
    Json properties = {{"kind", {{"const", repairKinds()[I]}}}};
    for (auto& [key, value] : kind["properties"].items()) properties[key] = value;
    kinds.push_back({{"title", repairKinds()[I]}, {"properties", std::move(properties)}});
    addKinds<I + 1>(kinds);
  }
}

}  // namespace

std::string writeRepair(const Repair& repair) {
  Json json = {{"id", repair.id}, {"kind", repair.kind()}};
  addChanged(json, repair);
  std::visit([&](const auto& action) { addChanged(json, action); }, repair.action);
  return textOf(std::move(json), repair.unknown);
}

std::string writeProp(const PropItem& prop) {
  Json json = {{"id", prop.id}};
  addChanged(json, prop);
  return textOf(std::move(json), prop.unknown);
}

std::string writeSetItem(const SetItem& item) {
  Json json = {{"id", item.id}};
  addChanged(json, item);
  return textOf(std::move(json), item.unknown);
}

std::string writeLock(const Lock& lock) { return textOf(valueJson(lock), {}); }

Result<Repair> readRepair(std::string_view text, const std::string& file, const std::string& place, Issues* issues, const Repair* base) {
  Result<Json> json = parsed(text, file, place);
  if (!json) return json.error();
  const Source source{file, issues};
  const std::string at = place.empty() ? std::string("kind") : place + ".kind";
  try {
    Repair repair = base ? *base : Repair{};
    const auto kind = json->find("kind");
    std::string wanted;
    if (kind != json->end()) {
      std::size_t index = repairKinds().size();
      for (std::size_t i = 0; i < repairKinds().size(); ++i) {
        if (kind->is_string() && kind->get<std::string>() == repairKinds()[i]) index = i;
        wanted += (i ? ", " : "") + repairKinds()[i];
      }
      if (index == repairKinds().size()) source.wrong(at, "one of " + wanted);
      if (base && index != base->action.index()) source.wrong(at, "'" + base->kind() + "'; a repair's kind cannot be changed");
      if (!base) repair.action = actionOfKind(index);
      json->erase("kind");
    } else if (!base) {
      return makeError(Fault::input, "'" + at + "' is missing", file, "Say what kind of repair it is");
    }
    readFields(source, place, *json, repair);
    std::visit([&](auto& action) { readFields(source, place, *json, action); }, repair.action);
    if (repair.span && repair.span->last < repair.span->first) source.wrong(place.empty() ? "span" : place + ".span", "a span that ends after it begins");
    if (const std::string left = leftOver(source, place, *json); !left.empty()) repair.unknown = left;
    return repair;
  } catch (const Wrong& wrong) {
    return wrong.issue;
  }
}

Result<PropItem> readProp(std::string_view json, const std::string& file, const std::string& place, Issues* issues, const PropItem* base) {
  return readPlain<PropItem>(json, file, place, issues, base);
}
Result<SetItem> readSetItem(std::string_view json, const std::string& file, const std::string& place, Issues* issues, const SetItem* base) {
  return readPlain<SetItem>(json, file, place, issues, base);
}
Result<Lock> readLock(std::string_view json, const std::string& file, const std::string& place, Issues* issues) {
  return readPlain<Lock>(json, file, place, issues, nullptr);
}

std::string repairSchema() {
  Json schema = {{"$schema", "https://json-schema.org/draft/2020-12/schema"}, {"title", "Understudy repair"}};
  Json common = objectSchema(Repair{});
  schema["type"] = "object";
  schema["required"] = {"kind"};
  schema["properties"] = common["properties"];
  schema["oneOf"] = Json::array();
  addKinds(schema["oneOf"]);
  return schema.dump(2) + "\n";
}

}  // namespace understudy
