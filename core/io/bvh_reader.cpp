#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <memory>
#include <numbers>

#include "core/io/bvh.h"
#include "core/io/bvh_number.h"

namespace understudy {
namespace {

using bvh::isBlank;
using bvh::isDigit;
using bvh::isLineEnd;

constexpr int kDeepest = 10000;
constexpr std::size_t kMostRotations = std::size_t{1} << 28;  // 4 GiB of quaternions
constexpr double kLargestValue = 1e9;

enum class ChannelKind : std::uint8_t { positionX, positionY, positionZ, rotationX, rotationY, rotationZ, ignored };

struct Channel {
  int joint = 0;
  ChannelKind kind = ChannelKind::ignored;
};

const char* channelName(ChannelKind kind) {
  constexpr const char* names[] = {"Xposition", "Yposition", "Zposition", "Xrotation", "Yrotation", "Zrotation", "ignored channel"};
  return names[static_cast<int>(kind)];
}

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

bool equalsNoCase(std::string_view text, std::string_view lowerCase) {
  return text.size() == lowerCase.size() &&
         std::equal(text.begin(), text.end(), lowerCase.begin(), [](char a, char b) { return lower(a) == b; });
}

bool isSpace(char c) { return isBlank(c) || isLineEnd(c); }

std::string_view trimmedText(std::string_view text) {
  while (!text.empty() && isSpace(text.front())) text.remove_prefix(1);
  while (!text.empty() && isSpace(text.back())) text.remove_suffix(1);
  return text;
}

/// A token as shown in a message: short, on one line, without control characters.
std::string shown(std::string_view token) {
  std::string out;
  for (char c : token.substr(0, 40)) out += static_cast<unsigned char>(c) < 32 || c == 127 ? '?' : c;
  if (token.size() > 40) out += "...";
  return "'" + out + "'";
}

bool isUtf8(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const auto byte = static_cast<unsigned char>(text[i]);
    const int more = byte < 0x80 ? 0 : byte >= 0xC2 && byte < 0xE0 ? 1 : byte >= 0xE0 && byte < 0xF0 ? 2 : byte >= 0xF0 && byte < 0xF5 ? 3 : -1;
    if (more < 0 || i + static_cast<std::size_t>(more) >= text.size()) return false;
    for (int k = 1; k <= more; ++k)
      if ((static_cast<unsigned char>(text[i + static_cast<std::size_t>(k)]) & 0xC0) != 0x80) return false;
    if (more == 2) {
      const auto second = static_cast<unsigned char>(text[i + 1]);
      if ((byte == 0xE0 && second < 0xA0) || (byte == 0xED && second >= 0xA0)) return false;
    }
    if (more == 3) {
      const auto second = static_cast<unsigned char>(text[i + 1]);
      if ((byte == 0xF0 && second < 0x90) || (byte == 0xF4 && second >= 0x90)) return false;
    }
    i += static_cast<std::size_t>(more) + 1;
  }
  return true;
}

/// Bytes read as Latin-1, so that every name can be shown and stored.
std::string latinToUtf8(std::string_view text) {
  std::string out;
  for (char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x80) {
      out += c;
    } else {
      out += static_cast<char>(0xC0 | (byte >> 6));
      out += static_cast<char>(0x80 | (byte & 0x3F));
    }
  }
  return out;
}

/// What one joint's channels mean, worked out once for all frames.
struct RotationPlan {
  int joint = 0;
  int count = 0;                 ///< rotation channels
  std::array<int, 3> column{};   ///< value of the row, for up to three channels
  std::array<int, 3> axis{};     ///< 0, 1, 2
  float parity = 1;              ///< +1 for XYZ, YZX, ZXY, −1 for the other orders of three different axes
  bool plain = false;            ///< three different axes: the closed form applies
  std::vector<std::pair<int, int>> general;  ///< (column, axis) in file order, where it does not
};

struct PositionPlan {
  int joint = 0;
  std::array<int, 3> column{-1, -1, -1};
};

class Reader {
 public:
  Reader(std::string_view text, const std::string& path, const ReadSettings& settings, const RunControl& control)
      : begin_(text.data()), end_(text.data() + text.size()), at_(text.data()), path_(path), settings_(settings), control_(control) {}

  Result<Figure> run() {
    figure_.path = path_;
    figure_.format = "BVH";
    if (!readStart() || !readHierarchy() || !readHeader() || !readMotion()) return *error_;
    finish();
    return std::move(figure_);
  }

 private:
  // --- messages -----------------------------------------------------------------------------------------------------
  [[nodiscard]] int lineOf(const char* p) const {
    int line = 1;
    if (p == begin_) return line;  // an empty text may have no address
    const auto size = [&](const char* from) { return static_cast<std::size_t>(p - from); };
    const char* q = begin_;
    while ((q = static_cast<const char*>(std::memchr(q, '\n', size(q)))) != nullptr) ++line, ++q;
    q = begin_;
    while ((q = static_cast<const char*>(std::memchr(q, '\r', size(q)))) != nullptr) ++q, line += q == end_ || *q != '\n';
    return line;
  }
  [[nodiscard]] std::string place(const char* p) const { return path_ + ", line " + std::to_string(lineOf(p)); }
  bool fail(const char* p, std::string what, std::string todo) {
    error_ = makeError(Fault::input, std::move(what), place(p), std::move(todo));
    return false;
  }
  void warn(const char* p, std::string what, std::string todo) {
    figure_.issues.push_back(makeWarning(std::move(what), place(p), std::move(todo)));
  }
  void note(const char* p, std::string what, std::string todo) {
    figure_.issues.push_back(makeNote(std::move(what), place(p), std::move(todo)));
  }
  [[nodiscard]] std::string jointText(int joint) const {
    const std::string& name = figure_.skeleton.names[static_cast<std::size_t>(joint)];
    return name.empty() ? "joint #" + std::to_string(figure_.skeleton.fileNodes[static_cast<std::size_t>(joint)]) : "joint '" + name + "'";
  }

  // --- tokens -------------------------------------------------------------------------------------------------------
  [[nodiscard]] bool atComment(const char* p) const {
    return p < end_ && (*p == '#' || *p == ';' || (*p == '/' && p + 1 < end_ && p[1] == '/'));
  }
  void skipLine() {
    while (at_ < end_ && !isLineEnd(*at_)) ++at_;
  }
  /// White space and comments.
  void skipSpace() {
    while (at_ < end_) {
      if (isSpace(*at_)) {
        ++at_;
      } else if (atComment(at_)) {
        skipLine();
      } else {
        return;
      }
    }
  }
  /// The next word; braces stand alone. Empty at the end of the file.
  std::string_view word() {
    skipSpace();
    const char* start = at_;
    if (at_ < end_ && (*at_ == '{' || *at_ == '}')) return {start, static_cast<std::size_t>(++at_ - start)};
    while (at_ < end_ && !isSpace(*at_) && *at_ != '{' && *at_ != '}') ++at_;
    return {start, static_cast<std::size_t>(at_ - start)};
  }
  std::string_view peekWord() {
    const char* keep = at_;
    const std::string_view token = word();
    at_ = keep;
    return token;
  }
  /// What stands on the rest of the line, up to an opening brace.
  std::string_view restOfLine() {
    const char* start = at_;
    while (at_ < end_ && !isLineEnd(*at_) && *at_ != '{') ++at_;
    return trimmedText({start, static_cast<std::size_t>(at_ - start)});
  }
  bool number(double& value, const char* what) {
    const std::string_view token = word();
    const char* start = token.data();
    if (token.empty()) return fail(end_, std::string("The file ends where ") + what + " should stand", "The file is incomplete: export it again");
    if (bvh::readAnyNumber(start, start + token.size(), value) != start + token.size())
      return fail(start, shown(token) + " stands where " + what + " should", "Correct the number");
    if (!std::isfinite(value) || std::abs(value) > kLargestValue)
      return fail(start, shown(token) + " is no usable number for " + what, "Correct the number");
    return true;
  }

  // --- parts of the file --------------------------------------------------------------------------------------------
  bool readStart() {
    const std::string_view all{begin_, static_cast<std::size_t>(end_ - begin_)};
    if (trimmedText(all).empty()) return fail(begin_, "The file is empty", "Export it again");
    if (all.starts_with("\xFF\xFE") || all.starts_with("\xFE\xFF"))
      return fail(begin_, "The file is written in 16-bit characters", "Save it as plain text (UTF-8)");
    if (all.starts_with("\xEF\xBB\xBF")) at_ += 3;
    const std::string_view first = word();
    if (!equalsNoCase(first, "hierarchy"))
      return fail(first.data(), "The file starts with " + shown(first) + " instead of HIERARCHY", "Check that this is a BVH file");
    return true;
  }

  std::string jointName() {
    std::string_view name = restOfLine();
    if (name.empty()) {
      skipSpace();
      if (at_ < end_ && *at_ != '{' && *at_ != '}') name = restOfLine();
    }
    if (isUtf8(name)) return std::string(name);
    if (!namesConverted_) note(name.data(), "A joint's name is not in UTF-8", "It is read as Latin-1");
    namesConverted_ = true;
    return latinToUtf8(name);
  }

  bool openJoint(const char* keyword, std::string name, bool endSite) {
    if (static_cast<int>(open_.size()) >= kDeepest)
      return fail(keyword, "The joints are nested more than " + std::to_string(kDeepest) + " deep", "Check that this is the hierarchy of a body");
    const std::string_view brace = word();
    if (brace != "{") {
      if (brace.empty()) return fail(end_, "The file ends before the joint's opening brace", "The file is incomplete: export it again");
      return fail(brace.data(), shown(brace) + " stands where an opening brace should", "Put { after the joint's name");
    }
    Skeleton& skeleton = figure_.skeleton;
    const int joint = skeleton.add(std::move(name), open_.empty() ? -1 : open_.back().joint, Trsd{}, skeleton.size());
    open_.push_back({joint, endSite, false, false, keyword});
    return true;
  }

  bool readChannels(const char* keyword) {
    Open& own = open_.back();
    if (own.endSite) return fail(keyword, "An End Site has CHANNELS", "Only joints may be animated");
    if (own.channels) return fail(keyword, "The " + jointText(own.joint) + " has CHANNELS twice", "Keep one of the lines");
    own.channels = true;
    double count = 0;
    if (!number(count, "the number of channels")) return false;
    std::size_t found = 0;
    std::array<bool, 3> positioned{};
    while (true) {
      const char* keep = at_;
      const std::string_view token = word();
      Channel channel{own.joint, ChannelKind::ignored};
      constexpr std::string_view positions = "position", rotations = "rotation", scales = "scale";
      const std::string_view kind = token.empty() ? token : token.substr(1);
      const int axis = token.empty() ? -1 : lower(token.front()) - 'x';
      const bool known = axis >= 0 && axis < 3 && (equalsNoCase(kind, positions) || equalsNoCase(kind, rotations) || equalsNoCase(kind, scales));
      if (!known) {
        const bool structural = token.empty() || token == "{" || token == "}" || equalsNoCase(token, "joint") || equalsNoCase(token, "end") ||
                                equalsNoCase(token, "offset") || equalsNoCase(token, "root") || equalsNoCase(token, "motion");
        if (!structural && static_cast<double>(found) < count)
          return fail(token.data(), shown(token) + " is no channel", "Channels are Xposition, Yposition, Zposition, Xrotation, Yrotation, Zrotation");
        at_ = keep;
        break;
      }
      if (equalsNoCase(kind, positions)) {
        if (positioned[static_cast<std::size_t>(axis)])
          return fail(token.data(), "The " + jointText(own.joint) + " has " + std::string(token) + " twice", "Name each position channel once");
        positioned[static_cast<std::size_t>(axis)] = true;
        channel.kind = static_cast<ChannelKind>(axis);
      } else if (equalsNoCase(kind, rotations)) {
        channel.kind = static_cast<ChannelKind>(3 + axis);
      } else {
        warn(token.data(), "The channel " + std::string(token) + " of the " + jointText(own.joint) + " is ignored", "Scale is not part of BVH");
      }
      channels_.push_back(channel);
      ++found;
    }
    if (static_cast<double>(found) != count)
      warn(keyword, "The " + jointText(own.joint) + " announces " + shown(std::to_string(static_cast<long long>(count))) + " channels and names " +
               std::to_string(found), "The names count");
    return true;
  }

  bool readHierarchy() {
    while (true) {
      const std::string_view token = word();
      const char* p = token.data();
      if (token.empty()) {
        if (!open_.empty())
          return fail(end_, "The file ends inside the hierarchy, with the " + jointText(open_.back().joint) + " still open",
                      "The file is incomplete: export it again");
        return fail(end_, "The file ends without MOTION", "The file is incomplete: export it again");
      }
      if (equalsNoCase(token, "root") || equalsNoCase(token, "joint")) {
        const bool root = equalsNoCase(token, "root");
        if (root && !open_.empty()) return fail(p, "A ROOT stands inside another joint", "Close the joints before it, or call it JOINT");
        if (!root && open_.empty()) return fail(p, "A JOINT stands outside any ROOT", "Check the braces before it");
        if (!open_.empty() && open_.back().endSite) return fail(p, "A JOINT stands inside an End Site", "Check the braces before it");
        if (!openJoint(p, jointName(), false)) return false;
      } else if (equalsNoCase(token, "end")) {
        if (open_.empty() || open_.back().endSite) return fail(p, "An End Site stands outside a joint", "Check the braces before it");
        const std::string_view site = word();
        if (!equalsNoCase(site, "site")) return fail(site.empty() ? end_ : site.data(), "'End' is not followed by 'Site'", "Write End Site");
        restOfLine();
        if (!openJoint(p, {}, true)) return false;
      } else if (equalsNoCase(token, "offset")) {
        if (open_.empty()) return fail(p, "An OFFSET stands outside a joint", "Check the braces before it");
        Vec3d offset;
        if (!number(offset.x, "an OFFSET value") || !number(offset.y, "an OFFSET value") || !number(offset.z, "an OFFSET value")) return false;
        if (open_.back().offset) warn(p, "The " + jointText(open_.back().joint) + " has OFFSET twice", "The last one counts");
        open_.back().offset = true;
        figure_.skeleton.rest[static_cast<std::size_t>(open_.back().joint)].translation = offset;
      } else if (equalsNoCase(token, "channels")) {
        if (open_.empty()) return fail(p, "CHANNELS stand outside a joint", "Check the braces before them");
        if (!readChannels(p)) return false;
      } else if (token == "}") {
        if (open_.empty()) return fail(p, "A closing brace has no opening one", "Check the braces before it");
        if (!open_.back().offset) warn(p, "The " + jointText(open_.back().joint) + " has no OFFSET", "It is placed on its parent");
        open_.pop_back();
      } else if (equalsNoCase(token, "motion")) {
        if (!open_.empty())
          return fail(p, "MOTION starts while the " + jointText(open_.back().joint) + " (line " + std::to_string(lineOf(open_.back().keyword)) +
                             ") is still open", "Add the missing closing brace");
        if (figure_.skeleton.size() == 0) return fail(p, "The hierarchy holds no joint", "Check that the right skeleton was exported");
        return true;
      } else {
        return fail(p, shown(token) + " is not understood here", "Expected ROOT, JOINT, End Site, OFFSET, CHANNELS, MOTION or a brace");
      }
      if (control_.stopped()) return stop();
    }
  }

  bool stop() {
    error_ = RunControl::cancelled();
    return false;
  }

  /// "Frames:3", "Frames : 3", "frame time: .01": the keyword and what follows it on its line.
  bool headerValue(std::string_view first, std::string_view second, const char*& start, std::string_view& value) {
    skipSpace();
    const char* keep = at_;
    start = at_;
    const auto keyword = [&](std::string_view expected) {
      if (static_cast<std::size_t>(end_ - at_) < expected.size() || !equalsNoCase({at_, expected.size()}, expected)) return false;
      at_ += expected.size();
      return true;
    };
    const auto blanks = [&] {
      while (at_ < end_ && isBlank(*at_)) ++at_;
    };
    if (!keyword(first)) return at_ = keep, false;
    if (!second.empty()) {
      blanks();
      if (!keyword(second)) return at_ = keep, false;
    }
    blanks();
    if (at_ < end_ && *at_ == ':') ++at_;
    blanks();
    const char* from = at_;
    while (at_ < end_ && !isSpace(*at_) && !atComment(at_)) ++at_;
    value = {from, static_cast<std::size_t>(at_ - from)};
    return true;
  }

  bool readHeader() {
    bool haveFrames = false, haveTime = false;
    const char* start = at_;
    std::string_view value;
    while (!haveFrames || !haveTime) {
      if (!haveTime && headerValue("frame", "time", start, value)) {
        haveTime = true;
        readFrameTime(start, value);
      } else if (!haveFrames && headerValue("frames", {}, start, value)) {
        haveFrames = true;
        double frames = 0;
        const bool numeric = !value.empty() && bvh::readAnyNumber(value.data(), value.data() + value.size(), frames) == value.data() + value.size();
        if (!numeric || std::isnan(frames) || frames < 0 || frames != std::floor(frames))
          return fail(start, "The number of frames is " + (value.empty() ? std::string("missing") : shown(value)), "Write Frames: and a whole number");
        declared_ = static_cast<std::uint64_t>(std::min(frames, 1e18));
      } else {
        break;
      }
    }
    framesAt_ = start;
    if (!haveFrames)
      return fail(at_ < end_ ? at_ : end_, at_ < end_ ? "'Frames:' is missing" : "The file ends before 'Frames:'", "Write Frames: and the number of rows");
    if (!haveTime) {
      figure_.issues.push_back(makeWarning("The file states no frame time", place(at_), "30 frames/s are assumed; set the rate if that is wrong"));
      rate_ = {30, 1};
      rateStated_ = false;
    }
    return true;
  }

  void readFrameTime(const char* start, std::string_view value) {
    double seconds = 0;
    const bool numeric = !value.empty() && bvh::readAnyNumber(value.data(), value.data() + value.size(), seconds) == value.data() + value.size();
    if (!numeric || !std::isfinite(seconds) || seconds <= 0 || seconds < 1e-5 || seconds > 1e4) {
      warn(start, "The frame time is " + (value.empty() ? std::string("missing") : shown(value)), "30 frames/s are assumed; set the rate if that is wrong");
      rate_ = {30, 1};
      rateStated_ = false;
      return;
    }
    rate_ = snapFrameRate(1 / seconds);
    const bool customary = rate_.den == 1 || rate_.den == 1001;
    if (customary) return;
    // A time written with few digits stands for all that round to it: .0333 means 30, .017 means 60.
    const std::size_t point = value.find('.');
    if (point == std::string_view::npos || value.find_first_of("eE") != std::string_view::npos) return;
    const double half = 0.5 * std::pow(10.0, -static_cast<double>(value.size() - point - 1));
    for (const int hertz : {30, 60, 120, 24, 25, 50, 100, 240, 48, 72, 90, 144, 200, 180, 150, 300, 250, 360, 480, 500, 1000}) {
      if (std::abs(1.0 / hertz - seconds) > half) continue;
      rate_ = {hertz, 1};
      note(start, "The frame time " + std::string(value) + " is rounded", "It is read as " + rate_.text() + " frames/s");
      return;
    }
  }

  // --- motion -------------------------------------------------------------------------------------------------------
  void makePlans() {
    const int joints = figure_.skeleton.size();
    for (std::size_t c = 0; c < channels_.size();) {
      const int joint = channels_[c].joint;
      RotationPlan rotation;
      rotation.joint = joint;
      PositionPlan position;
      position.joint = joint;
      bool moved = false;
      for (; c < channels_.size() && channels_[c].joint == joint; ++c) {
        const int kind = static_cast<int>(channels_[c].kind);
        if (kind < 3) {
          position.column[static_cast<std::size_t>(kind)] = static_cast<int>(c);
          moved = true;
        } else if (kind < 6) {
          rotation.general.emplace_back(static_cast<int>(c), kind - 3);
        }
      }
      if (moved) positions_.push_back(position);
      rotation.count = static_cast<int>(rotation.general.size());
      if (rotation.count == 0) continue;
      if (rotation.count == 3) {
        for (std::size_t k = 0; k < 3; ++k) {
          rotation.column[k] = rotation.general[k].first;
          rotation.axis[k] = rotation.general[k].second;
        }
        const int a = rotation.axis[0], b = rotation.axis[1], d = rotation.axis[2];
        rotation.plain = a != b && b != d && a != d;
        rotation.parity = (a + 1) % 3 == b ? 1.0f : -1.0f;
      }
      rotations_.push_back(std::move(rotation));
    }
    std::vector<char> turns(static_cast<std::size_t>(joints), 0);
    for (const RotationPlan& plan : rotations_) turns[static_cast<std::size_t>(plan.joint)] = 1;
    for (int j = 0; j < joints; ++j)
      if (!turns[static_cast<std::size_t>(j)]) still_.push_back(j);
  }

  /// Sines and cosines of half of every angle (degrees) of a row. Each angle is brought to within ±90° of a multiple of
  /// 180° in double (exactly, for any angle a file holds), then Taylor polynomials on |x| ≤ π/4 err by less than 1e-9.
  void halfAngles(const double* degrees, float* sines, float* cosines, std::size_t count) const {
    constexpr double toNearest = 6755399441055744.0;  // 1.5 · 2^52: adding it rounds to a whole number in the low bits
    constexpr double halfRadians = std::numbers::pi / 360;
    for (std::size_t i = 0; i < count; ++i) {
      const double shifted = degrees[i] * (1.0 / 180) + toNearest;
      const std::uint64_t turns = std::bit_cast<std::uint64_t>(shifted);
      const double x = (degrees[i] - (shifted - toNearest) * 180) * halfRadians;
      const double z = x * x;
      const double s = x * (1 + z * (-1.0 / 6 + z * (1.0 / 120 + z * (-1.0 / 5040 + z * (1.0 / 362880)))));
      const double c = 1 + z * (-1.0 / 2 + z * (1.0 / 24 + z * (-1.0 / 720 + z * (1.0 / 40320 + z * (-1.0 / 3628800)))));
      // Quarter turns of the half angle: swap and change signs.
      const std::uint64_t odd = 0 - (turns & 1);
      const std::uint64_t sb = std::bit_cast<std::uint64_t>(s), cb = std::bit_cast<std::uint64_t>(c);
      const std::uint64_t sine = ((sb & ~odd) | (cb & odd)) ^ ((turns & 2) << 62);
      const std::uint64_t cosine = ((cb & ~odd) | (sb & odd)) ^ (((turns + 1) & 2) << 62);
      sines[i] = static_cast<float>(std::bit_cast<double>(sine));
      cosines[i] = static_cast<float>(std::bit_cast<double>(cosine));
    }
  }

  void storeRow(std::size_t frame) {
    const std::size_t joints = static_cast<std::size_t>(figure_.skeleton.size());
    halfAngles(row_.data(), sines_.data(), cosines_.data(), row_.size());
    Quatf* out = motion_->rotations.data() + frame * joints;
    const Quatf* before = frame > 0 ? out - joints : nullptr;
    for (const RotationPlan& plan : rotations_) {
      Quatf q;
      if (plan.plain) {
        const auto ia = static_cast<std::size_t>(plan.column[0]), ib = static_cast<std::size_t>(plan.column[1]),
                   ic = static_cast<std::size_t>(plan.column[2]);
        const float sa = sines_[ia], ca = cosines_[ia], sb = sines_[ib], cb = cosines_[ib], e = plan.parity;
        const float sc = sines_[ic], cc = cosines_[ic];
        // The product of three turns about different axes, written out; `e` is the handedness of their order.
        const float both = ca * cb, neither = sa * sb, first = sa * cb, second = ca * sb;
        float part[3];
        part[plan.axis[0]] = first * cc + e * (second * sc);
        part[plan.axis[1]] = second * cc - e * (first * sc);
        part[plan.axis[2]] = both * sc + e * (neither * cc);
        q = {both * cc - e * (neither * sc), part[0], part[1], part[2]};
      } else {
        for (const auto& [column, axis] : plan.general) {
          Quatf turn{cosines_[static_cast<std::size_t>(column)], 0, 0, 0};
          (axis == 0 ? turn.x : axis == 1 ? turn.y : turn.z) = sines_[static_cast<std::size_t>(column)];
          q = q * turn;
        }
        if (plan.general.size() > 3) q = normalised(q);
      }
      if (before) q = sameHemisphere(q, before[plan.joint]);
      out[plan.joint] = q;
    }
    for (int j : still_) out[j] = {};
    Vec3f* moved = motion_->translations.data() + frame * positions_.size();
    for (std::size_t k = 0; k < positions_.size(); ++k) {
      const PositionPlan& plan = positions_[k];
      const Vec3d& offset = figure_.skeleton.rest[static_cast<std::size_t>(plan.joint)].translation;
      for (int a = 0; a < 3; ++a) {
        const int column = plan.column[static_cast<std::size_t>(a)];
        moved[k][a] = static_cast<float>(column < 0 ? offset[a] : row_[static_cast<std::size_t>(column)]);
      }
    }
  }

  enum class RowEnd { row, endOfFile, shortRow, bad };

  /// Reads one row into row_. With `wrapped`, rows may run over line ends; otherwise a line end before the last value is
  /// a short row. `have` counts the values read.
  RowEnd readRow(bool wrapped, std::size_t& have) {
    have = 0;
    skipSpace();
    if (at_ >= end_) return RowEnd::endOfFile;
    rowAt_ = at_;
    const std::size_t wanted = row_.size();
    const char* p = at_;
    const char* safe = end_ - std::min<std::ptrdiff_t>(end_ - begin_, 40);
    while (have < wanted) {
      while (p < end_ && isBlank(*p)) ++p;
      if (p < safe) {
        if (const char* next = bvh::readPlainNumber(p, row_[have])) {
          p = next;
          ++have;
          continue;
        }
      }
      if (p >= end_ || isLineEnd(*p) || atComment(p)) {
        at_ = p;
        if (!wrapped) return RowEnd::shortRow;
        skipSpace();
        p = at_;
        if (p >= end_) return RowEnd::shortRow;
        continue;
      }
      const char* tokenEnd = p;
      while (tokenEnd < end_ && !isSpace(*tokenEnd)) ++tokenEnd;
      const std::string_view token{p, static_cast<std::size_t>(tokenEnd - p)};
      const char* next = bvh::readAnyNumber(p, tokenEnd, row_[have]);
      if (next != tokenEnd || !std::isfinite(row_[have]) || std::abs(row_[have]) > kLargestValue) {
        const bool number = next == tokenEnd;
        fail(p, shown(token) + (number ? " is no usable value for " : " is no number, where ") + channelName(channels_[have].kind) + " of the " +
                 jointText(channels_[have].joint) + (number ? "" : " should stand"),
             "Correct the value or export the clip again");
        return RowEnd::bad;
      }
      p = next;
      ++have;
    }
    at_ = p;
    return RowEnd::row;
  }

  bool readMotion() {
    makePlans();
    const std::size_t joints = static_cast<std::size_t>(figure_.skeleton.size());
    motion_ = std::make_shared<Motion>();
    motion_->rate = rate_;
    motion_->joints = static_cast<int>(joints);
    for (const PositionPlan& plan : positions_) motion_->movedJoints.push_back(plan.joint);

    if (channels_.empty()) {
      warn(framesAt_, "No joint has channels", "The figure stands still in its rest pose");
      return restOnly();
    }
    if (declared_ == 0) {
      skipSpace();
      warn(framesAt_, "The file announces 0 frames", at_ < end_ ? "Its rows are ignored; the figure stands in its rest pose"
                                                              : "The figure stands in its rest pose");
      return restOnly();
    }
    // Every value takes at least a digit and a space, so the file's size bounds what can follow.
    const auto most = static_cast<std::uint64_t>(end_ - at_) / (2 * channels_.size()) + 1;
    const std::size_t frames = static_cast<std::size_t>(std::min(declared_, most));
    if (frames > kMostRotations / joints || frames > static_cast<std::size_t>(std::numeric_limits<int>::max()))
      return fail(framesAt_, std::to_string(frames) + " frames of " + std::to_string(joints) + " joints are too many", "Split the clip");
    motion_->rotations.resize(frames * joints);
    motion_->translations.resize(frames * positions_.size());
    row_.assign(channels_.size(), 0);
    sines_.assign(channels_.size(), 0);
    cosines_.assign(channels_.size(), 0);

    const char* start = at_;
    bool wrapped = false;
    std::size_t frame = 0, have = 0;
    while (frame < frames) {
      if ((frame & 255) == 0) {
        if (control_.stopped()) return stop();
        control_.report(static_cast<double>(at_ - begin_) / static_cast<double>(end_ - begin_), "Reading motion");
      }
      const RowEnd result = readRow(wrapped, have);
      if (result == RowEnd::bad) return false;
      if (result == RowEnd::endOfFile) break;
      bool odd = result == RowEnd::shortRow;
      const char* oddAt = rowAt_;
      if (odd) {
        skipSpace();
        if (at_ >= end_) {
          warn(oddAt, "The last row has " + std::to_string(have) + " of " + std::to_string(channels_.size()) + " values", "It is left out");
          break;
        }
      } else if (!wrapped) {
        while (at_ < end_ && isBlank(*at_)) ++at_;
        odd = at_ < end_ && !isLineEnd(*at_) && !atComment(at_);
        if (odd) have = channels_.size() + 1;
      }
      if (odd) {
        // Some programs break long rows; then the values must add up over the whole file.
        if (!valuesAddUp(start)) {
          return fail(oddAt, have > channels_.size() ? "The row has more than " + std::to_string(channels_.size()) + " values"
                                                     : "The row has " + std::to_string(have) + " values instead of " + std::to_string(channels_.size()),
                      "Check frame " + std::to_string(frame + 1) + " or export the clip again");
        }
        note(oddAt, "Rows do not end with lines", "They are read value by value");
        wrapped = true;
        at_ = start;
        frame = 0;
        continue;
      }
      storeRow(frame++);
    }
    if (frame == 0) {
      warn(framesAt_, "The file announces " + std::to_string(declared_) + " frames and holds no complete row", "The figure stands in its rest pose");
      return restOnly();
    }
    if (frame < declared_) {
      warn(framesAt_, "The file announces " + std::to_string(declared_) + " frames and holds " + std::to_string(frame) +
               (frame == 1 ? " complete row" : " complete rows"), "What is there is kept");
      motion_->rotations.resize(frame * joints);
      motion_->translations.resize(frame * positions_.size());
      motion_->rotations.shrink_to_fit();
      motion_->translations.shrink_to_fit();
    } else {
      countSurplus(wrapped);
    }
    motion_->frames = static_cast<int>(frame);
    return true;
  }

  /// Do the values from `p` on fill whole rows?
  [[nodiscard]] bool valuesAddUp(const char* p) {
    std::uint64_t values = 0;
    const char* keep = at_;
    at_ = p;
    while (true) {
      skipSpace();
      if (at_ >= end_) break;
      while (at_ < end_ && !isSpace(*at_)) ++at_;
      ++values;
    }
    at_ = keep;
    return values % channels_.size() == 0;
  }

  void countSurplus(bool wrapped) {
    skipSpace();
    if (at_ >= end_) return;
    const char* first = at_;
    std::uint64_t count = 0;
    while (at_ < end_) {
      ++count;
      if (wrapped) {
        for (std::size_t k = 0; k < channels_.size() && at_ < end_; ++k, skipSpace())
          while (at_ < end_ && !isSpace(*at_)) ++at_;
      } else {
        skipLine();
      }
      skipSpace();
    }
    warn(first, "The file announces " + std::to_string(declared_) + " frames and holds " + std::to_string(count) +
             (count == 1 ? " row more" : " rows more"), "The surplus is ignored");
  }

  bool restOnly() {
    *motion_ = restMotion(figure_.skeleton, 1, rate_);
    noFrames_ = true;
    return true;
  }

  /// Position channels below the root normally hold the whole distance to the parent. Where they hold about nothing
  /// while OFFSET holds the bone, they are meant as an addition.
  void judgePositions() {
    Skeleton& skeleton = figure_.skeleton;
    double bones = 0, values = 0;
    const std::size_t width = positions_.size();
    if (motion_->movedJoints.size() != width) return;  // rest pose only
    const auto counts = [&](const PositionPlan& plan) { return skeleton.parents[static_cast<std::size_t>(plan.joint)] >= 0; };
    for (int f = 0; f < motion_->frames; ++f) {
      for (std::size_t k = 0; k < width; ++k) {
        if (!counts(positions_[k])) continue;
        const Vec3d& offset = skeleton.rest[static_cast<std::size_t>(positions_[k].joint)].translation;
        for (int a = 0; a < 3; ++a) {
          if (positions_[k].column[static_cast<std::size_t>(a)] < 0) continue;
          const double value = static_cast<double>(motion_->translations[static_cast<std::size_t>(f) * width + k][a]);
          bones += std::abs(offset[a]);
          values += std::abs(value);
        }
      }
    }
    if (!(values < 0.2 * bones)) return;
    for (std::size_t k = 0; k < width; ++k) {
      if (!counts(positions_[k])) continue;
      const Vec3d& offset = skeleton.rest[static_cast<std::size_t>(positions_[k].joint)].translation;
      for (int f = 0; f < motion_->frames; ++f)
        for (int a = 0; a < 3; ++a)
          if (positions_[k].column[static_cast<std::size_t>(a)] >= 0)
            motion_->translations[static_cast<std::size_t>(f) * width + k][a] += static_cast<float>(offset[a]);
    }
    figure_.issues.push_back(makeWarning("Position channels below the root stay near zero while OFFSET holds the bones", path_,
                                         "They are read as an addition to OFFSET"));
  }

  void finish() {
    judgePositions();
    Clip clip;
    const std::size_t slash = path_.find_last_of('/');
    clip.name = slash == std::string::npos ? path_ : path_.substr(slash + 1);
    if (const std::size_t dot = clip.name.find_last_of('.'); dot != std::string::npos && dot > 0) clip.name.resize(dot);
    clip.rate = rate_;
    clip.rateStated = rateStated_;
    clip.start = 0;
    clip.end = motion_->duration();
    clip.sampled = motion_;
    clip.still = noFrames_;
    figure_.clips.push_back(std::move(clip));
    detectSpace(figure_, settings_);
  }

  struct Open {
    int joint = 0;
    bool endSite = false, offset = false, channels = false;
    const char* keyword = nullptr;
  };

  const char* begin_;
  const char* end_;
  const char* at_;
  const std::string& path_;
  const ReadSettings& settings_;
  const RunControl& control_;
  std::optional<Issue> error_;
  Figure figure_;
  std::vector<Open> open_;
  std::vector<Channel> channels_;
  bool namesConverted_ = false;
  std::uint64_t declared_ = 0;
  FrameRate rate_;
  bool rateStated_ = true;
  const char* framesAt_ = nullptr;
  const char* rowAt_ = nullptr;
  std::shared_ptr<Motion> motion_;
  bool noFrames_ = false;  ///< the motion is only the rest pose
  std::vector<RotationPlan> rotations_;
  std::vector<PositionPlan> positions_;
  std::vector<int> still_;
  std::vector<double> row_;
  std::vector<float> sines_, cosines_;
};

}  // namespace

Result<Figure> readBvhText(std::string_view text, const std::string& path, const ReadSettings& settings, const RunControl& control) {
  try {
    return Reader(text, path, settings, control).run();
  } catch (const std::bad_alloc&) {
    return makeError(Fault::input, "There is not enough memory for this file", path, "Close other programs or split the clip");
  }
}

Result<Figure> readBvh(const std::string& path, const ReadSettings& settings, const RunControl& control) {
  const Result<std::vector<std::uint8_t>> bytes = readBytes(path);
  if (!bytes) return bytes.error();
  return readBvhText({reinterpret_cast<const char*>(bytes->data()), bytes->size()}, path, settings, control);
}

}  // namespace understudy
