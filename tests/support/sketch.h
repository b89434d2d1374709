// Small skeletons written down as text, for tests of the map.
#pragma once

#include <map>
#include <string>
#include <string_view>

#include "core/figure/figure.h"
#include "core/mapping/roles.h"

namespace understudy::test {

/// A skeleton and the roles its joints are meant to fill.
struct Sketch {
  std::string title;
  Figure figure;
  std::map<Role, int> truth;
};

/// One joint a line: name, parent's name or "-", world x y z (metres, Y up, facing +Z), and a role or nothing. A '@' in the
/// names makes two joints: once with `left` in its place, once with `right`, x mirrored and the role (written for the
/// left side) mirrored too.
[[nodiscard]] Sketch sketch(std::string title, std::string_view left, std::string_view right, std::string_view lines);

/// Skeletons named after the customs of well-known pipelines and standards, with invented proportions.
[[nodiscard]] std::vector<Sketch> customarySkeletons();

/// Gives the figure a skin bound in its rest pose; joints named as ends of chains stay out of it, as exporters do.
void addSkin(Sketch& sketch);

/// The roles that differ from the truth: "role: joint instead of joint"; only required ones if asked.
[[nodiscard]] std::string wrongRoles(const Sketch& sketch, const std::map<Role, int>& found, bool requiredOnly);

}  // namespace understudy::test
