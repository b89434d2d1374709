#include "app/command/take_output.h"

#include <cctype>
#include <chrono>
#include <cstdio>
#include <filesystem>

#include "app/command/take_request.h"
#include "core/inspect/history.h"

namespace understudy::cli {
namespace {

Status checkFormat(const std::string& out) {
  std::string ending = std::filesystem::path(out).extension().string();
  for (char& c : ending) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  for (const char* known : {".glb", ".gltf", ".bvh", ".csv"})
    if (ending == known) return Done{};
  std::error_code error;
  if (std::filesystem::exists(out, error) && !std::filesystem::is_regular_file(out, error))
    return makeError(Fault::output, "This is a device or a pipe, and its name does not say in which format to write", out, "Give a file's name");
  return makeError(Fault::usage, ending.empty() ? std::string("The output has no ending that names a format") : "'" + ending + "' is no format that can be written",
                   out, "End the name in .glb, .gltf, .bvh or .csv");
}

}  // namespace

Status checkTakeOutput(const std::string& out, const std::vector<std::string>& inputs) {
  if (const Status s = checkOutput(out, inputs); !s) return s;
  if (const Status s = checkWritableTarget(out); !s) return s;
  return checkFormat(out);
}

Result<TakeOutput> writeTake(const Take& take, const Sources& sources, const Evaluated& evaluated, bool check, const RunControl& control, const std::string& history) {
  const std::string& out = take.handOver->path;
  const auto begin = std::chrono::steady_clock::now();
  auto baked = bake(take, *sources.character, evaluated);
  if (!baked) return baked.error();
  if (control.stopped()) return RunControl::cancelled();
  baked->clip.history = history.empty() ? historyText(take, evaluated, nullptr) : history;
  if (const Status s = handOver(*sources.character, baked->clip, out, take.handOver->animationOnly, part(control, 0, 0.5)); !s) return s.error();
  TakeOutput output;
  const auto written = std::chrono::steady_clock::now();
  output.notes = baked->notes;
  if (std::optional<Issue> without = propsLeftOut(baked->clip, out)) output.notes.push_back(std::move(*without));
  if (check && !out.ends_with(".csv") && std::filesystem::is_regular_file(out)) {
    auto measured = measureFidelity(out, *sources.character, baked->clip, part(control, 0.5, 1));
    if (measured)
      output.fidelity = *measured;
    else if (measured.error().fault == Fault::cancelled)
      output.notes.push_back(makeWarning("The written file was not checked: stopped on request", out));
    else
      output.notes.push_back(makeWarning("The written file could not be checked: " + measured.error().what, out));
  }
  output.writeSeconds = std::chrono::duration<double>(written - begin).count();
  output.checkSeconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - written).count();
  return output;
}

std::string describeOutput(const Take& take, const Evaluated& evaluated, const TakeOutput& output) {
  const RetargetReport& r = *evaluated.report;
  char line[512];
  std::string text = take.handOver->path + "\n";
  std::snprintf(line, sizeof line, "  %d frames at %s frames/s, numbered %d to %d\n", evaluated.frames, evaluated.rate.text().c_str(), take.firstFrame,
                take.firstFrame + evaluated.frames - 1);
  text += line;
  std::snprintf(line, sizeof line, "  legs %.3f m on the performer, %.3f m on the character; travel scaled by %.4f; ground offset %+.1f mm\n", r.performerLeg,
                r.characterLeg, r.stride, 1000 * r.groundOffset);
  text += line;
  text += "  reference poses: performer " + r.performerReference.source + " (" + r.performerReference.shape + "), character " +
          r.characterReference.source + " (" + r.characterReference.shape + ")\n";
  if (const auto& fidelity = output.fidelity) {
    std::snprintf(line, sizeof line, "  checked: at most %.4f mm off at 3 cm from a joint (%s, frame %d); %zu keys, %zu bytes\n", fidelity->worstMillimetres,
                  fidelity->worstJoint.empty() ? "-" : fidelity->worstJoint.c_str(),
                  fidelity->worstFrame + take.firstFrame, fidelity->keys, fidelity->bytes);
    text += line;
  }
  return text;
}

}  // namespace understudy::cli
