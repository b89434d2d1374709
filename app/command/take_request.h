// A take as options describe it: which performer on which character, mapped how, over which frames.
#pragma once

#include "app/command/command.h"
#include "core/evaluate/evaluate.h"
#include "core/inspect/limits.h"
#include "core/take/profile.h"

namespace understudy::cli {

/// --profile.
[[nodiscard]] OptionSpec profileOption();
/// The profile of --profile, or the one beside `character`; none: there is none, or "off". `issues` tells which is used.
[[nodiscard]] Result<std::optional<Profile>> requestedProfile(const Options& options, const std::string& character, Issues& issues);

/// --performer, --character (both required), --map, --profile, --clip, --fps, --range, --first-frame.
[[nodiscard]] std::vector<OptionSpec> takeOptions();
/// How the bodies are compared and the files read: --stride … --character-up.
[[nodiscard]] std::vector<OptionSpec> matchOptions();

/// The take so far as no file need be read: a typing mistake should not cost a minute.
[[nodiscard]] Result<Take> takeRequest(const Options& options);
/// Reads its files and completes it with what needs them: clip, profile, map, range. `issues` receives those of profile and map file,
/// `limits` (may be null) the profile's thresholds.
[[nodiscard]] Result<Sources> readRequest(const Options& options, Take& take, Issues& issues, const RunControl& control, FindingLimits* limits = nullptr);
/// What only the evaluated clip can tell: whether range and reference frame lie inside it.
[[nodiscard]] Status checkRequest(const Options& options, const Take& take, const Evaluated& evaluated);

/// The files a request reads.
[[nodiscard]] std::vector<std::string> inputsOf(const Options& options);

/// Progress of one step as a part of the whole.
[[nodiscard]] RunControl part(const RunControl& whole, double from, double to);

}  // namespace understudy::cli
