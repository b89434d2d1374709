#include <cmath>
#include <nlohmann/json.hpp>

#include "samples/performance.h"

namespace understudy::samples {
namespace {

using nlohmann::ordered_json;

double rounded(double value) {
  return std::round(value * 1e5) / 1e5;
}
ordered_json vector(const Vec3d& v) {
  return {rounded(v.x), rounded(v.y), rounded(v.z)};
}
// Frames are counted from 1 in files.
ordered_json frames(const Span& span) {
  return {span.first + 1, span.last + 1};
}

}  // namespace

std::string truthOf(const Performance& performance, std::uint64_t seed) {
  ordered_json json;
  json["what"] =
      "What make-samples put into sweep.bvh. Frames are counted from 1, ranges are inclusive; lengths in metres, +Y up, in the clip's own "
      "world.";
  json["seed"] = seed;
  json["framesPerSecond"] = performance.framesPerSecond;
  json["frames"] = performance.frames;
  json["performerHeight"] = rounded(performance.performer.height);
  json["set"] = {{"ground", 0.0},
                 {"marks", ordered_json::array({{{"name", "floor_mark"}, {"at", vector(performance.mark)}, {"radius", 0.03}}})}};
  const int after = performance.leadGrip.last + 1;
  json["broom"] = {
      {"length", rounded(performance.broomLength)},
      {"leadHand", "RHand"},
      {"supportHand", "LHand"},
      {"leadAlongShaft", rounded(performance.leadAlongShaft)},
      {"supportAlongShaft", rounded(performance.supportAlongShaft)},
      {"gripPointInHand", {{"LHand", vector(performance.gripPoint[0])}, {"RHand", vector(performance.gripPoint[1])}}},
      {"leadGrip", frames(performance.leadGrip)},
      {"supportGrip", frames(performance.supportGrip)},
      {"leftOnRail",
       {{"fromFrame", after + 1}, {"head", vector(performance.broomHead[after])}, {"up", vector(performance.broomUp[after])}}}};
  for (const Stroke& stroke : performance.strokes)
    json["strokes"].push_back({{"frames", frames(stroke.span)}, {"markFrame", stroke.markFrame + 1}, {"touchesMark", !stroke.missed}});
  for (const Gesture& gesture : performance.gestures)
    json["gestures"].push_back({{"what", gesture.what}, {"frames", frames(gesture.span)}});
  for (const FootPhase& phase : performance.phases)
    json["feet"][phase.side == 0 ? "LFoot" : "RFoot"].push_back({{"phase", phase.phase}, {"frames", frames(phase.span)}});
  json["flaws"] = ordered_json::array();
  for (const Flaw& flaw : performance.flaws)
    json["flaws"].push_back({{"kind", flaw.kind},
                             {"bone", flaw.joint},
                             {"frames", frames(flaw.span)},
                             {"size", rounded(flaw.size)},
                             {"unit", flaw.unit},
                             {"note", flaw.note}});
  return json.dump(1) + "\n";
}

}  // namespace understudy::samples
