#include "app/command/take_request.h"

#include <filesystem>

#include "app/command/map_file.h"
#include "core/store/profile_file.h"
#include "core/take/edits.h"

namespace understudy::cli {

RunControl part(const RunControl& whole, double from, double to) {
  RunControl control = whole;
  if (whole.progress)
    control.progress = [&whole, from, to](double fraction, std::string_view step) { whole.report(from + (to - from) * fraction, step); };
  return control;
}

OptionSpec profileOption() {
  return {"profile", "FILE|off", "what is known of the character, as written by 'profile save'; default: the profile that\nlies beside its file, if there is one"};
}

Result<std::optional<Profile>> requestedProfile(const Options& options, const std::string& character, Issues& issues) {
  if (!options.has("profile")) return profileBeside(character, &issues);
  const std::string path = options.value("profile");
  if (path == "off") return std::optional<Profile>();
  Result<Profile> profile = loadProfile(path, &issues);
  if (!profile) return profile.error();
  return std::optional<Profile>(std::move(*profile));
}

std::vector<OptionSpec> takeOptions() {
  return {
      {"performer", "FILE", "the captured motion: BVH, glTF 2.0, FBX or Collada", true},
      {"character", "FILE", "your rigged character: glTF 2.0, FBX, Collada or BVH", true},
      {"map", "FILE", "bone map to use, as written by 'map'; default: found automatically"},
      profileOption(),
      {"clip", "N|NAME", "clip of the performer: its number, counted from 1, or its exact name; default:\nthe last one that was handed over by Understudy, else 1"},
      {"fps", "R", "frames per second of the output (24, 29.97, 30000/1001); default: the performer's"},
      {"range", "A:B", "output frames to write, both included, counted from 1; default: all"},
      {"first-frame", "N", "number of the first written frame, where the format has numbers; default 1"},
  };
}

std::vector<OptionSpec> matchOptions() {
  std::vector<OptionSpec> options = {
      {"stride", "X", "scale of the travel; default: the ratio of the leg lengths"},
      {"no-ground", "", "do not shift the character's height so that its soles stand on the ground"},
      {"reference-frame", "N", "take this frame of the performer's clip (at the output's rate, counted from 1) as\nthe pose in which the bodies are compared"},
      {"facing", "DEG", "turn about up that makes the performer face +Z, where the detected one is wrong"},
      {"character-facing", "DEG", "the same for the character"},
  };
  for (const auto& [prefix, who] : {std::pair{"performer", "the performer's file"}, std::pair{"character", "the character's file"}})
    for (OptionSpec& option : readOverrideOptions(prefix, who)) options.push_back(std::move(option));
  return options;
}

std::vector<std::string> inputsOf(const Options& options) {
  std::vector<std::string> inputs;
  for (const char* name : {"performer", "character", "map"})
    if (options.has(name)) inputs.push_back(options.value(name));
  inputs.push_back(options.has("profile") ? options.value("profile") : profilePathOf(options.value("character")));
  return inputs;
}

Result<Take> takeRequest(const Options& options) {
  Take take;
  take.name = std::filesystem::path(options.value("performer")).stem().string();
  const auto performerFile = fileReference(options, options.value("performer"), "performer");
  if (!performerFile) return performerFile.error();
  const auto characterFile = fileReference(options, options.value("character"), "character");
  if (!characterFile) return characterFile.error();
  take.performer = *performerFile;
  take.character = *characterFile;
  if (options.has("fps")) {
    const auto rate = parseFrameRate(options.value("fps"));
    if (!rate) return rate.error();
    take.rate = *rate;
  }
  if (options.has("range"))
    if (const auto range = parseFrameRange(options.value("range")); !range) return range.error();
  const auto firstFrame = options.integer("first-frame", 1);
  if (!firstFrame) return firstFrame.error();
  take.firstFrame = *firstFrame;
  RetargetSettings settings;
  settings.ground = !options.has("no-ground");
  if (options.has("stride")) {
    const auto stride = options.number("stride", 1);
    if (!stride) return stride.error();
    if (*stride < 0 || *stride > 1000) return makeError(Fault::usage, "--stride must lie between 0 and 1000");
    settings.stride = *stride;
  }
  if (options.has("reference-frame")) {
    const auto frame = options.integer("reference-frame", 1);
    if (!frame) return frame.error();
    if (*frame < 1) return makeError(Fault::usage, "--reference-frame counts from 1");
    settings.performerReference.clipFrame = *frame - 1;
  }
  for (const auto& [name, reference] : {std::pair{"facing", &settings.performerReference}, std::pair{"character-facing", &settings.characterReference}}) {
    if (!options.has(name)) continue;
    const auto degrees = options.number(name, 0);
    if (!degrees) return degrees.error();
    reference->facingDegrees = *degrees;
  }
  return setRetarget(take, settings);
}

Result<Sources> readRequest(const Options& options, Take& take, Issues& issues, const RunControl& control, FindingLimits* limits) {
  Result<std::optional<Profile>> profile = requestedProfile(options, take.character->path, issues);
  if (!profile) return profile.error();
  if (*profile) {
    take = withProfile(take, **profile);
    FindingLimits own;
    if (const Status s = setLimits((*profile)->thresholds, limits ? *limits : own); !s) {
      Issue issue = s.error();
      issue.where = options.has("profile") ? options.value("profile") : profilePathOf(take.character->path);
      issue.fault = Fault::input;
      return issue;
    }
  }
  Sources sources;
  sources.performerFile = *take.performer;
  sources.characterFile = *take.character;
  auto performer = readReference(*take.performer, part(control, 0, 0.6));
  if (!performer) return performer.error();
  sources.performer = *performer;
  auto character = readReference(*take.character, part(control, 0.6, 1));
  if (!character) return character.error();
  sources.character = *character;

  const auto clip = chooseClip(*sources.performer, options.value("clip"));
  if (!clip) return clip.error();
  take.clip = *clip;
  if (options.has("map")) {
    auto map = loadMapFile(options.value("map"), *sources.performer, *sources.character, &issues);
    if (!map) return map.error();
    take = setMap(take, *map, sources.performer->skeleton, sources.character->skeleton);
  }
  const Clip& chosen = sources.performer->clips[static_cast<std::size_t>(take.clip)];
  const FrameRate rate = take.rate.value_or(chosen.rate);
  if (options.has("range")) {
    const auto range = parseFrameRange(options.value("range"));
    if (!range) return range.error();
    const double seconds = chosen.rate.seconds(chosen.frames() - 1);
    // One frame of grace: a clip whose length is no multiple of the frame time gets one more. The evaluation counts exactly.
    const int most = static_cast<int>(seconds * rate.hertz() + 1e-6) + 2;
    if (range->last > most)
      return makeError(Fault::usage, "The range " + options.value("range") + " ends behind the clip", take.performer->path,
                       "At " + rate.text() + " frames/s it has frames 1:" + std::to_string(most - 1));
    take = setTrim(take, *range, rate);
  }
  return sources;
}

Status checkRequest(const Options& options, const Take& take, const Evaluated& evaluated) {
  if (options.has("range")) {
    const auto range = parseFrameRange(options.value("range"));
    if (range && evaluated.trimFirst + evaluated.frames != range->last)
      return makeError(Fault::usage, "The range " + options.value("range") + " ends behind the clip", take.performer->path,
                       "At " + evaluated.rate.text() + " frames/s it has frames 1:" + std::to_string(evaluated.clipFrames));
  }
  const std::optional<int>& reference = take.retarget->performerReference.clipFrame;
  if (reference && *reference >= evaluated.clipFrames)
    return makeError(Fault::usage, "--reference-frame " + options.value("reference-frame") + " lies behind the clip", take.performer->path,
                     "It has frames 1:" + std::to_string(evaluated.clipFrames));
  return Done{};
}

}  // namespace understudy::cli
