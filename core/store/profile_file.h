// A character's profile on disk: readable JSON beside its file, written only when somebody asks for it.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "core/base/result.h"
#include "core/take/profile.h"

namespace understudy {

inline constexpr int profileVersion = 1;

/// Where the profile of a character's file belongs: beside it, "keeper.glb.profile.json". "" for no path.
[[nodiscard]] std::string profilePathOf(const std::string& character);

[[nodiscard]] std::string writeProfile(const Profile& profile);
/// Reads what writeProfile wrote; absent fields have their defaults. Unknown fields are kept and written back; `issues` names them.
/// Errors: not JSON (with line and column), no profile, made by a newer version, a field of the wrong kind, with its place.
[[nodiscard]] Result<Profile> readProfile(std::string_view json, const std::string& path, Issues* issues = nullptr);

/// Whole or not at all, as saveReel().
[[nodiscard]] Status saveProfile(const Profile& profile, const std::string& path);
[[nodiscard]] Result<Profile> loadProfile(const std::string& path, Issues* issues = nullptr);

/// The profile that lies beside a character's file; none: there is none. `issues` tells that it is used, and where the character's
/// file has changed since. Errors: there is one, but it cannot be read.
[[nodiscard]] Result<std::optional<Profile>> profileBeside(const std::string& character, Issues* issues = nullptr);

}  // namespace understudy
