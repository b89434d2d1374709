#include "core/inspect/history.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "core/inspect/events.h"
#include "core/repair/poser.h"
#include "core/repair/transform.h"
#include "core/store/repair_json.h"

namespace understudy {
namespace {

using Json = nlohmann::ordered_json;

constexpr int samples = 9;       ///< times at which places are told
constexpr double near = 0.001;   ///< metres of a character 1.7 m tall within which they are the same

/// Whether a repair says what the performance does, not how a flaw of it is mended.
bool tells(const Repair& repair) {
  return !repair.muted && repair.weight > 0 &&
         (std::holds_alternative<PlantRepair>(repair.action) || std::holds_alternative<TouchRepair>(repair.action) || std::holds_alternative<GripRepair>(repair.action));
}

/// Places of the joints that fill roles, metres in the stage, role by role.
Json placesAt(const Evaluated& seen, const TiledMotion& motion, int frame) {
  Poser poser(*seen.context);
  poser.load(motion, frame);
  Json places = Json::object();
  for (int r = 0; r < roleCount; ++r)
    if (const RoleJoints& joints = seen.map->character.at(roleAt(r)); !joints.empty()) {
      const Vec3d p = poser.position(joints.first());
      Json place = Json::array();
      for (const double v : {p.x, p.y, p.z}) place.push_back(std::round(v * 1e5) / 1e5);
      places[std::string(roleName(roleAt(r)))] = std::move(place);
    }
  return places;
}

bool standsThere(const Evaluated& seen, const Json& stands) {
  if (!stands.is_array() || stands.empty()) return false;
  for (const Json& at : stands) {
    const double frame = at.value("time", -1.0) * seen.rate.hertz();
    const int whole = static_cast<int>(std::lround(frame));
    if (std::abs(frame - whole) > 1e-3 || whole < 0 || whole >= seen.clipFrames) return false;
    const Json now = placesAt(seen, seen.stageInputs.front(), whole), &then = at.at("places");
    if (now.size() != then.size()) return false;
    for (const auto& [role, place] : then.items()) {
      if (!now.contains(role)) return false;
      for (std::size_t k = 0; k < 3; ++k)
        if (!(std::abs(now[role].at(k).get<double>() - place.at(k).get<double>()) <= seen.context->scaled(near))) return false;
    }
  }
  return true;
}

}  // namespace

std::string historyText(const Take& take, const Evaluated& seen, const Findings* left, const Findings& settled) {
  const double start = seen.rate.seconds(seen.trimFirst);
  const FrameSpan shown{seen.trimFirst, seen.trimFirst + seen.frames - 1};
  Json json{{"version", 1}, {"repairs", Json::array()}, {"left", Json::array()}, {"settled", Json::array()}, {"stands", Json::array()}};
  for (const Node<Repair>& repair : *take.repairs)
    if (tells(*repair) && !common(repairFrames(*repair, seen.rate, seen.clipFrames).span, shown).empty())
      json["repairs"].push_back(Json::parse(writeRepair(movedInTime(*repair, -start))));
  if (!left && json["repairs"].empty()) return {};
  const auto put = [&](const Findings& findings, const char* list) {
    for (const Finding& f : findings)
      if (!f.hint)
        json[list].push_back({{"kind", findingName(f.kind)},
                              {"first", seen.rate.seconds(f.span.first) - start},
                              {"last", seen.rate.seconds(f.span.last) - start},
                              {"measure", f.measure},
                              {"bones", f.bones},
                              {"cause", f.waved ? std::string("It was waved off") : f.cause.empty() ? std::string("It was left when the clip was finished") : f.cause}});
  };
  if (left) put(*left, "left");
  put(settled, "settled");
  for (int k = 0; k < samples && k < seen.frames; ++k) {
    const int frame = static_cast<int>(static_cast<long>(k) * (seen.frames - 1) / (samples - 1));
    json["stands"].push_back({{"time", seen.rate.seconds(frame)}, {"places", placesAt(seen, seen.motion, frame)}});
  }
  return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::optional<ClipHistory> historyOf(const Evaluated& seen) {
  if (!seen.history || !seen.complete()) return std::nullopt;
  try {
    const Json json = Json::parse(*seen.history);
    if (json.value("version", 0) != 1 || !standsThere(seen, json.at("stands"))) return std::nullopt;
    ClipHistory out;
    for (const Json& item : json.at("repairs")) {
      Result<Repair> repair = readRepair(item.dump(), "the clip's history", "repairs");
      if (!repair) return std::nullopt;
      repair->id = 0;
      repair->proposed = true;
      if (tells(*repair)) out.repairs.push_back(std::move(*repair));
    }
    const auto take = [&](const Json& item, Findings& into) {
      Finding finding;
      const std::string kind = item.at("kind");
      int k = 0;
      while (k < findingKinds && findingName(static_cast<FindingKind>(k)) != kind) ++k;
      if (k == findingKinds) return;
      finding.kind = static_cast<FindingKind>(k);
      const double most = seen.clipFrames;
      const auto frame = [&](const char* name) { return static_cast<int>(std::lround(std::clamp(item.at(name).get<double>() * seen.rate.hertz(), 0.0, most))); };
      finding.span = {frame("first"), frame("last")};
      finding.measure = item.at("measure");
      finding.bones = item.at("bones").get<std::vector<std::string>>();
      finding.cause = item.at("cause");
      into.push_back(std::move(finding));
    };
    for (const Json& item : json.at("left")) take(item, out.left);
    for (const Json& item : json.at("settled")) take(item, out.settled);
    return out;
  } catch (const Json::exception&) {
    // Somebody else's object of this name, or a damaged one: the clip is like any other.
    return std::nullopt;
  }
}

const Finding* leftBefore(const Findings& left, const Finding& finding) {
  for (const Finding& old : left)
    if (sameFlaw(old, finding, 2) && finding.measure <= 1.1 * old.measure + 0.5) return &old;
  return nullptr;
}

}  // namespace understudy
