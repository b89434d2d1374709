#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <numbers>

#include "core/io/bvh.h"
#include "core/io/world_tracks.h"
#include "core/io/write.h"

namespace understudy {
namespace {

constexpr double kDegrees = 180 / std::numbers::pi;

/// An order of three different axes: the turn about `axis[0]` is applied last.
struct Order {
  std::array<int, 3> axis;
  double parity;  ///< +1 for the cyclic orders
};
// The customary ZXY first: it is kept wherever it stays clear of its singularity.
constexpr std::array<Order, 6> kOrders{{{{2, 0, 1}, 1}, {{2, 1, 0}, -1}, {{0, 1, 2}, 1}, {{1, 0, 2}, -1}, {{0, 2, 1}, -1}, {{1, 2, 0}, 1}}};

double element(const Mat3d& m, int row, int column) { return (column == 0 ? m.cx : column == 1 ? m.cy : m.cz)[row]; }

/// Sine of the middle angle; ±1 is where the other two angles are no longer told apart.
double middleSine(const Mat3d& m, const Order& order) { return order.parity * element(m, order.axis[0], order.axis[2]); }

/// Angles (radians) in file order whose turns give `m`, chosen near `before`.
Vec3d anglesOf(const Mat3d& m, const Order& order, const Vec3d& before) {
  const auto [i, j, k] = order.axis;
  const double e = order.parity;
  const double across = std::hypot(element(m, j, k), element(m, k, k));
  Vec3d angles;
  angles.y = std::atan2(e * element(m, i, k), across);
  if (across > 1e-6) {
    angles.x = std::atan2(-e * element(m, j, k), element(m, k, k));
    angles.z = std::atan2(-e * element(m, i, j), element(m, i, i));
  } else {
    // Only the sum or the difference of the outer angles is defined: keep the last one and solve for the first.
    angles.z = before.z;
    const double s = std::sin(angles.z), c = std::cos(angles.z);
    // Column j of m · (turn back about k by the last angle).
    const double jj = element(m, j, j) * c + e * element(m, j, i) * s, kj = element(m, k, j) * c + e * element(m, k, i) * s;
    angles.x = std::atan2(e * kj, jj);
  }
  const auto nearest = [](double angle, double reference) { return angle - 2 * std::numbers::pi * std::round((angle - reference) / (2 * std::numbers::pi)); };
  const Vec3d one{nearest(angles.x, before.x), nearest(angles.y, before.y), nearest(angles.z, before.z)};
  // The same rotation has a second spelling; curves stay smooth when the nearer one is taken.
  const Vec3d two{nearest(angles.x + std::numbers::pi, before.x), nearest(std::numbers::pi - angles.y, before.y),
                  nearest(angles.z + std::numbers::pi, before.z)};
  return distance(two, before) < distance(one, before) ? two : one;
}

void append(std::string& text, double value, int decimals) {
  std::array<char, 64> buffer;
  const auto [stop, error] = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, std::chars_format::fixed, decimals);
  if (error != std::errc{}) return;
  const std::string_view written{buffer.data(), static_cast<std::size_t>(stop - buffer.data())};
  // "-0.000" is noise in a comparison of two files.
  if (written.front() == '-' && written.find_first_not_of("-0.") == std::string_view::npos)
    text += written.substr(1);
  else
    text += written;
}

/// A name BVH can hold: one line, without braces.
std::string writtenName(const Skeleton& skeleton, int joint) {
  std::string name = skeleton.names[static_cast<std::size_t>(joint)];
  for (char& c : name)
    if (static_cast<unsigned char>(c) < 32 || c == '{' || c == '}') c = '_';
  while (!name.empty() && name.back() == ' ') name.pop_back();
  while (!name.empty() && name.front() == ' ') name.erase(name.begin());
  return name.empty() ? "joint_" + std::to_string(skeleton.fileNodes[static_cast<std::size_t>(joint)]) : name;
}

/// The joints worth writing: everything of a BVH; of other formats the joints that deform or move, and those above
/// them, but no cameras, lights or mesh nodes.
std::vector<char> keptJoints(const Figure& figure, const BakedClip& clip) {
  const Skeleton& skeleton = figure.skeleton;
  const bool all = figure.format == "BVH" || !figure.hasSkin();
  std::vector<char> kept(skeleton.parents.size(), all ? 1 : 0);
  if (all) return kept;
  const auto keep = [&](int joint) {
    for (int j = joint; j >= 0 && !kept[static_cast<std::size_t>(j)]; j = skeleton.parents[static_cast<std::size_t>(j)])
      kept[static_cast<std::size_t>(j)] = 1;
  };
  for (const Skin& skin : figure.skins)
    for (int joint : skin.joints) keep(joint);
  for (int joint : clip.rotated) keep(joint);
  for (int joint : clip.motion->movedJoints) keep(joint);
  return kept;
}

}  // namespace

Result<std::string> bvhText(const Figure& character, const BakedClip& clip, const RunControl& control) {
  if (!clip.motion || clip.motion->joints != character.skeleton.size())
    return makeError(Fault::internal, "The animation does not belong to this skeleton");
  const Skeleton& skeleton = character.skeleton;
  const Motion& motion = *clip.motion;
  const std::size_t count = skeleton.parents.size();
  if (motion.frames <= 0) return makeError(Fault::input, "The animation has no frames", {}, "Choose a range with at least one frame");
  const auto kept = keptJoints(character, clip);
  const auto parent = [&](int j) { return skeleton.parents[static_cast<std::size_t>(j)]; };

  // BVH knows no rest rotation: the zero pose is the rest pose when every joint's frame is aligned with the file's axes
  // there. Turns are then those from the rest pose, and scale is absorbed by the distances between joints.
  const WorldTracks tracks(skeleton, motion);
  std::vector<Quatd> restTurn(count), turn(count);
  std::vector<Vec3d> restPoint(count), point(count);
  tracks.rest(restTurn, restPoint);
  double low = 0, high = 0;
  for (std::size_t j = 0; j < count; ++j)
    for (int a = 0; a < 3; ++a) low = std::min(low, restPoint[j][a]), high = std::max(high, restPoint[j][a]);
  const double size = std::max(high - low, 1e-6);
  const int decimals = std::clamp(static_cast<int>(std::ceil(7 - std::log10(size))), 4, 12);

  const std::size_t frames = static_cast<std::size_t>(motion.frames);
  if (frames > (std::size_t{1} << 28) / std::max<std::size_t>(count, 1))
    return makeError(Fault::output, "The animation is too long for a BVH file", {}, "Choose a shorter range");
  std::vector<Quatd> local(frames * count);
  std::vector<Vec3d> offset(frames * count);
  std::vector<Vec3d> restOffset(count);
  for (std::size_t j = 0; j < count; ++j) {
    const int p = skeleton.parents[j];
    restOffset[j] = p < 0 ? restPoint[j] : restPoint[j] - restPoint[static_cast<std::size_t>(p)];
  }
  std::vector<char> moved(count, 0);
  std::vector<std::array<double, 6>> worst(count, std::array<double, 6>{});
  for (std::size_t f = 0; f < frames; ++f) {
    if ((f & 63) == 0) {
      if (control.stopped()) return RunControl::cancelled();
      control.report(0.5 * static_cast<double>(f) / static_cast<double>(frames), "Writing BVH");
    }
    tracks.at(static_cast<int>(f), turn, point);
    for (std::size_t j = 0; j < count; ++j) {
      if (!kept[j]) continue;
      turn[j] = normalised(turn[j] * conjugate(restTurn[j]));
      if (!isFinite(turn[j]) || !isFinite(point[j]))
        return makeError(Fault::internal, "The animation holds a value that is no number", jointKey(skeleton, static_cast<int>(j)) + ", frame " +
                                                                                               std::to_string(f + 1));
      const int p = skeleton.parents[j];
      const Quatd back = p < 0 ? Quatd{} : conjugate(turn[static_cast<std::size_t>(p)]);
      local[f * count + j] = back * turn[j];
      offset[f * count + j] = p < 0 ? point[j] : rotate(back, point[j] - point[static_cast<std::size_t>(p)]);
      // Single precision along a chain leaves this much without anything having moved.
      if (distance(offset[f * count + j], restOffset[j]) > 2e-6 * size) moved[j] = 1;
      const Mat3d m = toMatrix(local[f * count + j]);
      for (std::size_t o = 0; o < kOrders.size(); ++o) worst[j][o] = std::max(worst[j][o], std::abs(middleSine(m, kOrders[o])));
    }
  }

  const auto children = childrenOf(skeleton);
  // What was read from an End Site goes back to one, as long as nothing has turned or moved it.
  std::vector<char> endSite(count, 0);
  for (std::size_t j = 0; j < count; ++j) {
    endSite[j] = character.format == "BVH" && skeleton.names[j].empty() && skeleton.parents[j] >= 0 && children[j].empty() && !moved[j];
    for (std::size_t f = 0; f < frames && endSite[j]; ++f)
      if (length(local[f * count + j].vec()) > 1e-6) endSite[j] = 0;
  }
  std::vector<int> order(count, 0);
  for (std::size_t j = 0; j < count; ++j) {
    constexpr double tooSteep = 0.985;  // sin 80°
    if (worst[j][0] > tooSteep) order[j] = static_cast<int>(std::min_element(worst[j].begin(), worst[j].end()) - worst[j].begin());
  }

  std::string text = "HIERARCHY\n";
  std::vector<int> written;  // joints in the order their channels come
  std::vector<int> roots;
  for (int j = 0; j < skeleton.size(); ++j)
    if (parent(j) < 0 && kept[static_cast<std::size_t>(j)]) roots.push_back(j);
  // Most programs read one root only.
  const bool wrap = roots.size() > 1 && character.format != "BVH";
  const auto indent = [&](int depth) { text.append(static_cast<std::size_t>(depth), '\t'); };
  constexpr std::string_view axes = "XYZ";
  if (wrap) text += "ROOT world\n{\n\tOFFSET 0 0 0\n\tCHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation\n";
  struct Visit {
    int joint;
    int depth;
    bool close;
  };
  std::vector<Visit> stack;
  for (auto r = roots.rbegin(); r != roots.rend(); ++r) stack.push_back({*r, wrap ? 1 : 0, false});
  while (!stack.empty()) {
    const Visit visit = stack.back();
    stack.pop_back();
    const auto j = static_cast<std::size_t>(visit.joint);
    if (visit.close) {
      indent(visit.depth);
      text += "}\n";
      continue;
    }
    indent(visit.depth);
    if (endSite[j]) {
      text += "End Site\n";
    } else {
      text += visit.depth == 0 ? "ROOT " : "JOINT ";
      text += writtenName(skeleton, visit.joint) + "\n";
    }
    indent(visit.depth);
    text += "{\n";
    indent(visit.depth + 1);
    if (visit.depth == 0) moved[j] = 1;
    // Readers disagree whether position channels replace OFFSET or add to it; zero leaves nothing to disagree about. A
    // BVH character keeps its own.
    const Vec3d fixedOffset = moved[j] && character.format != "BVH" ? Vec3d{} : restOffset[j];
    text += "OFFSET";
    for (int a = 0; a < 3; ++a) text += ' ', append(text, fixedOffset[a], decimals);
    text += '\n';
    if (!endSite[j]) {
      written.push_back(visit.joint);
      indent(visit.depth + 1);
      text += moved[j] ? "CHANNELS 6 Xposition Yposition Zposition" : "CHANNELS 3";
      for (int axis : kOrders[static_cast<std::size_t>(order[j])].axis) {
        text += ' ';
        text += axes[static_cast<std::size_t>(axis)];
        text += "rotation";
      }
      text += '\n';
    }
    stack.push_back({visit.joint, visit.depth, true});
    bool leaf = true;
    for (auto c = children[j].rbegin(); c != children[j].rend(); ++c) {
      if (!kept[static_cast<std::size_t>(*c)]) continue;
      leaf = false;
      stack.push_back({*c, visit.depth + 1, false});
    }
    if (leaf && !endSite[j] && character.format != "BVH") {
      // Some programs insist on an end for every chain; the figure knows no length for it.
      indent(visit.depth + 1);
      text += "End Site\n";
      indent(visit.depth + 1);
      text += "{\n";
      indent(visit.depth + 2);
      text += "OFFSET 0 0 0\n";
      indent(visit.depth + 1);
      text += "}\n";
    }
  }
  if (wrap) text += "}\n";

  text += "MOTION\nFrames: " + std::to_string(motion.frames) + "\nFrame Time: ";
  append(text, motion.rate.seconds(1), 10);
  text += '\n';
  std::vector<Vec3d> before(count);
  for (std::size_t f = 0; f < frames; ++f) {
    if ((f & 63) == 0) {
      if (control.stopped()) return RunControl::cancelled();
      control.report(0.5 + 0.5 * static_cast<double>(f) / static_cast<double>(frames), "Writing BVH");
    }
    const std::size_t lineStart = text.size();
    if (wrap) text += "0 0 0 0 0 0";
    for (const int joint : written) {
      const auto j = static_cast<std::size_t>(joint);
      if (moved[j]) {
        for (int a = 0; a < 3; ++a) {
          if (text.size() > lineStart) text += ' ';
          append(text, offset[f * count + j][a], decimals);
        }
      }
      before[j] = anglesOf(toMatrix(local[f * count + j]), kOrders[static_cast<std::size_t>(order[j])], before[j]);
      for (int a = 0; a < 3; ++a) {
        if (text.size() > lineStart) text += ' ';
        append(text, before[j][a] * kDegrees, 6);
      }
    }
    text += '\n';
  }
  return text;
}

Status writeBvh(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control) {
  const Result<std::string> text = bvhText(character, clip, control);
  if (!text) {
    Issue error = text.error();
    if (error.where.empty()) error.where = path;
    return error;
  }
  return writeBytes(path, *text);
}

}  // namespace understudy
