// Judges an exported result from files alone: the .glb handed over, the performer's file, a bone map. Shares no code with the program.
#include <cmath>
#include <cstdio>
#include <fstream>
#include <iostream>
#include <stdexcept>

#include "tests/checker/measures.h"

namespace {

using checker::Film;
using checker::Roles;
using nlohmann::json;

const char* help =
    "understudy-checker --result FILE.glb --performer FILE [OPTIONS]\n"
    "  --map FILE                the program's map file; or\n"
    "  --character-roles FILE    role -> name or node index, one side each,\n"
    "  --performer-roles FILE    as in the open corpus\n"
    "  --clip NAME               animation to judge; default Understudy, else the last\n"
    "  --performer-up AXIS       +Y, +Z ...; default: from the feet to the trunk, over the clip\n"
    "  --fps R                   frames a second to look at; default the performer's\n"
    "  --labels CSV              contact labels (frame,time,left,right); default: a low-and-slow rule of its own\n"
    "  --plants FILE.reel        judge the feet while the reel's plants hold them, and these plants against the labels; its touches beside those found\n"
    "  --reference FILE.glb      another export on the same character to compare with\n"
    "  --truth FILE              truth file (flaws; feet and broom where there are): its stances, soles in its phases, its flaws before and after\n"
    "  --search N                clearance: N arm frames deeper than 5 mm before, is there a pose at most 2 mm deep?\n"
    "  --seed S                  for --search; default 1\n"
    "  --hands                   distance of the hands from the torso and from each other, a frame each\n"
    "  --frames                  per-frame figures as well\n"
    "  --line NAME               one line of a table instead of JSON (NAME '': the table's head)\n"
    "All lengths in millimetres on a character of 1.7 m; frames counted from 1.\n";

json load(const std::string& path) {
  std::ifstream in(path);
  if (!in) throw std::runtime_error("cannot open " + path);
  return json::parse(in);
}

/// "name", 12, or a list whose first entry is meant.
int nodeOf(const Film& film, json value) {
  if (value.is_array()) value = value.empty() ? json() : value.front();
  if (value.is_number_integer()) return value.get<int>() < film.nodes() ? value.get<int>() : -1;
  return value.is_string() ? film.find(value.get<std::string>()) : -1;
}

Roles rolesOf(const Film& film, const json& roles, const std::string& side) {
  Roles out;
  for (const auto& [role, entry] : roles.at("roles").items()) {
    json value = entry;
    if (entry.is_object()) value = entry.contains(side) ? entry.at(side) : json();
    const int node = nodeOf(film, value);
    if (node >= 0) out[role] = node;
  }
  return out;
}

double legOf(const Film& film, const Roles& roles) {
  double sum = 0;
  int count = 0;
  for (const char* s : {"left", "right"}) {
    const std::string side = s;
    if (!roles.count(side + "UpperLeg") || !roles.count(side + "LowerLeg") || !roles.count(side + "Foot")) continue;
    const auto hip = film.place(0, roles.at(side + "UpperLeg")), knee = film.place(0, roles.at(side + "LowerLeg")), ankle = film.place(0, roles.at(side + "Foot"));
    sum += (hip - knee).norm() + (knee - ankle).norm();
    ++count;
  }
  return count ? sum / count : 0;
}

/// The axis along which the trunk is above the feet, on average.
std::string upOf(const Film& film, const Roles& roles) {
  Eigen::Vector3d sum = Eigen::Vector3d::Zero();
  for (const char* low : {"leftFoot", "rightFoot"})
    for (const char* high : {"hips", "head"})
      if (roles.count(low) && roles.count(high))
        for (int f = 0; f < film.frames; ++f) sum += film.place(f, roles.at(high)) - film.place(f, roles.at(low));
  int axis = 1;
  sum.cwiseAbs().maxCoeff(&axis);
  return std::string(sum[axis] < 0 ? "-" : "+") + static_cast<char>('X' + axis);
}

std::string cell(const json& value, const char* format = "%.1f") {
  if (!value.is_number()) return "-";
  char text[32];
  std::snprintf(text, sizeof text, format, value.get<double>());
  return text;
}

void printLine(const std::string& name, const json& r) {
  const char* row = "%-46s %6s %5s %5s | %5s %5s | %4s %6s %6s %6s %6s %5s %5s %6s | %6s | %6s %6s %5s | %6s %6s %6s | %4s %4s %4s | %5s | %6s\n";
  if (name.empty()) {
    std::printf(row, "", "frames", "arms", "legs", "arms'", "legs'", "st.", "slip/f", "slip", "float", "sink", "on gr", "still", "slip+", "acc", "grip95", "gripMx", "<2mm", "depth", "Mx", ">10mm", "pops", "new", "flip", "moved", "touch");
    return;
  }
  const json &f = r["feet"], &h = r["hands"], &d = r["armDepth"];
  double high = -1e9, low = 1e9;
  for (const json& s : f["list"]) {
    high = std::max(high, s["highest"].get<double>());
    low = std::min(low, s["lowest"].get<double>());
  }
  const auto at = [](const json& j, const char* a, const char* b) { return j.is_object() && j.contains(a) && j[a].is_object() ? j[a].value(b, json()) : json(); };
  const json& against = r["directions"];
  const json& plain = r["againstReference"];
  std::printf(row, name.c_str(), cell(r["frames"], "%.0f").c_str(), cell(at(against, "arms", "p95")).c_str(), cell(at(against, "legs", "p95")).c_str(),
              cell(at(plain, "arms", "p95")).c_str(), cell(at(plain, "legs", "p95")).c_str(), cell(f["stances"], "%.0f").c_str(),
              cell(at(f, "slipFrame", "p95"), "%.2f").c_str(), cell(at(f, "slipTotal", "max")).c_str(), cell(high > -1e8 ? json(high) : json()).c_str(),
              cell(low < 1e8 ? json(low) : json()).c_str(), cell(f["framesWithinMillimetre"], "%.2f").c_str(), cell(f["framesStill"], "%.2f").c_str(), cell(f["releaseBeyondPerformerWorst"]).c_str(),
              cell(r["legAcceleration"]["result"]["peakAtEdges"], "%.0f").c_str(), cell(at(h, "drift", "p95")).c_str(), cell(at(h, "drift", "max")).c_str(),
              cell(h.value("within2mm", json()), "%.2f").c_str(), cell(at(d, "depth", "p95")).c_str(), cell(at(d, "depth", "max")).c_str(),
              cell(d.is_object() ? d["deeperThan10"] : json(), "%.3f").c_str(), cell(r["jumps"]["pops"], "%.0f").c_str(), cell(r["jumps"]["newPops"], "%.0f").c_str(), cell(r["jumps"]["flips"], "%.0f").c_str(), cell(r["moved"].is_object() ? r["moved"].value("withoutFlawNear", json()) : json(), "%.3f").c_str(),
              cell(r["touches"]["share"], "%.3f").c_str());
}

bool isGltf(const std::string& path) {
  for (const char* end : {".glb", ".gltf", ".vrma", ".vrm"})
    if (path.ends_with(end)) return true;
  return false;
}

int run(const std::vector<std::string>& words) {
  std::map<std::string, std::string> options;
  bool perFrame = false, handRows = false;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (words[i] == "--help") return std::fputs(help, stdout) < 0;
    if (words[i] == "--frames") perFrame = true;
    else if (words[i] == "--hands") handRows = true;
    else if (words[i].rfind("--", 0) == 0 && i + 1 < words.size()) options[words[i].substr(2)] = words[i + 1], ++i;
    else throw std::runtime_error("what is '" + words[i] + "'? See --help");
  }
  if (options.count("line") && options["line"].empty()) return printLine("", {}), 0;
  if (!options.count("result")) throw std::runtime_error("--result is missing. See --help");
  const auto roles = [&](const Film& film, const std::string& side) {
    if (options.count(side + "-roles")) return rolesOf(film, load(options[side + "-roles"]), side);
    if (options.count("map")) return rolesOf(film, load(options["map"]), side);
    throw std::runtime_error("--map or --" + side + "-roles is needed");
  };
  checker::Case c;
  Film performer;
  double fps = 30;
  const std::string performerPath = options.count("performer") ? options["performer"] : "";
  if (performerPath.ends_with(".bvh") || isGltf(performerPath)) {
    performer = isGltf(performerPath) ? checker::readGltf(performerPath, "", 30) : checker::readBvh(performerPath);
    c.performer = &performer;
    c.performerRoles = roles(performer, "performer");
    checker::standUp(performer, options.count("performer-up") ? options["performer-up"] : upOf(performer, c.performerRoles));
    c.performerLeg = legOf(performer, c.performerRoles);
    fps = performer.fps;
  }
  if (options.count("fps")) fps = std::stod(options["fps"]);
  const std::string clip = options.count("clip") ? options["clip"] : "Understudy";
  const Film result = checker::readGltf(options["result"], clip, fps);
  c.result = &result;
  c.roles = roles(result, "character");
  c.regions = checker::regionsOf(result, c.roles);
  c.leg = legOf(result, c.roles);
  c.frames = result.frames;
  if (c.performer) c.frames = std::min(c.frames, static_cast<int>(std::lround((performer.frames - 1) / performer.fps * fps)) + 1);
  Film reference;
  if (options.count("reference")) {
    reference = checker::readGltf(options["reference"], clip, fps);
    c.reference = &reference;
    c.frames = std::min(c.frames, reference.frames);
  }
  json out{{"clip", result.clip}, {"frames", c.frames}, {"fps", fps}, {"height", c.regions.height}, {"leg", c.leg}, {"performerLeg", c.performerLeg}, {"finite", result.finite}};
  if (!result.finite) {
    std::cout << out.dump(1) << "\n";
    return 1;
  }
  std::vector<checker::Span> spans;
  const json truth = options.count("truth") ? load(options["truth"]) : json();
  if (truth.contains("feet")) spans = checker::truthStances(truth, c.frames);
  else if (options.count("labels")) spans = checker::labelled(options["labels"], fps, c.frames);
  else if (c.performer) {
    spans = checker::lowAndSlow(performer, c.performerRoles, c.performerLeg);
    for (auto& s : spans) {
      s.first = static_cast<int>(std::lround(s.first / performer.fps * fps));
      s.last = std::min(c.frames - 1, static_cast<int>(std::lround(s.last / performer.fps * fps)));
    }
  }
  const std::vector<checker::Span> stances = spans;
  if (options.count("plants")) {
    spans = checker::plantsOf(load(options["plants"]), fps, c.frames);
    if (truth.contains("feet")) out["plants"] = checker::coverage(spans, checker::knownContacts(stances, c.frames), fps);
    else if (options.count("labels")) out["plants"] = checker::coverage(spans, checker::knownContacts(options["labels"], fps, c.frames), fps);
    out["feetByStance"] = checker::feet(c, stances, false);
  }
  out["feet"] = checker::feet(c, spans, perFrame);
  out["legAcceleration"] = checker::legAcceleration(c, spans);
  out["hands"] = checker::hands(c);
  c.depth = checker::depthRows(c, result, c.regions.torso);
  if (c.reference) c.referenceDepth = checker::depthRows(c, reference, c.regions.torso);
  out["directions"] = c.performer ? checker::directions(c, performer, c.performerRoles, false) : json();
  out["againstReference"] = c.reference ? checker::directions(c, reference, c.roles, true) : json();
  out["armDepth"] = checker::armDepth(c, perFrame);
  out["armsBelowFloor"] = checker::armsBelowFloor(c);
  out["feetBelowFloor"] = checker::feetBelowFloor(c);
  out["restBelowFloor"] = checker::restBelowFloor(c);
  out["touches"] = checker::touches(c, options.count("plants") ? load(options["plants"]) : json());
  out["jumps"] = checker::popsAndFlips(c);
  out["moved"] = checker::moved(c, spans);
  if (options.count("search")) out["search"] = checker::clearanceSearch(c, std::stoi(options["search"]), options.count("seed") ? static_cast<unsigned>(std::stoul(options["seed"])) : 1U);
  if (handRows) out["handGaps"] = checker::handGaps(c);
  if (!truth.is_null() && c.performer) {
    if (truth.contains("feet")) out["soles"] = checker::truthSoles(c, truth);
    out["truth"] = checker::truthFlaws(c, truth);
  }
  if (options.count("line")) printLine(options["line"], out);
  else std::cout << out.dump(1) << "\n";
  return 0;
}

}  // namespace

int main(int count, char** words) {
  try {
    return run({words + 1, words + count});
  } catch (const std::exception& error) {
    std::fprintf(stderr, "understudy-checker: %s\n", error.what());
    return 2;
  }
}
