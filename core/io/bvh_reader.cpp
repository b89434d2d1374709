#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <memory>
#include <optional>

#include "core/io/bvh.h"
#include "core/io/bvh_number.h"
#include "core/io/bvh_rows.h"
#include "core/io/bvh_text.h"
#include "core/io/gltf_json.h"

namespace understudy {
namespace {

using bvh::isBlank;
using bvh::isLineEnd;

constexpr int kDeepest = 10000;
constexpr std::size_t kMostRotations = std::size_t{1} << 28;  // 4 GiB of quaternions
constexpr double kLargestValue = 1e9;

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
    if (validUtf8(name) == name) return std::string(name);
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
      BvhChannel channel{own.joint, BvhChannelKind::ignored};
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
        channel.kind = static_cast<BvhChannelKind>(axis);
      } else if (equalsNoCase(kind, rotations)) {
        channel.kind = static_cast<BvhChannelKind>(3 + axis);
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
    rows_.emplace(figure_.skeleton, channels_);
    const std::size_t joints = static_cast<std::size_t>(figure_.skeleton.size());
    motion_ = std::make_shared<Motion>();
    motion_->rate = rate_;
    motion_->joints = static_cast<int>(joints);
    motion_->movedJoints = rows_->movedJoints();

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
    motion_->translations.resize(frames * motion_->movedJoints.size());
    row_.assign(channels_.size(), 0);

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
      rows_->store(row_, frame++, *motion_);
    }
    if (frame == 0) {
      warn(framesAt_, "The file announces " + std::to_string(declared_) + " frames and holds no complete row", "The figure stands in its rest pose");
      return restOnly();
    }
    if (frame < declared_) {
      warn(framesAt_, "The file announces " + std::to_string(declared_) + " frames and holds " + std::to_string(frame) +
               (frame == 1 ? " complete row" : " complete rows"), "What is there is kept");
      motion_->rotations.resize(frame * joints);
      motion_->translations.resize(frame * motion_->movedJoints.size());
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

  void finish() {
    if (rows_->addOffsets(*motion_))
      figure_.issues.push_back(makeWarning("Position channels below the root stay near zero while OFFSET holds the bones", path_,
                                           "They are read as an addition to OFFSET"));
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
  std::vector<BvhChannel> channels_;
  bool namesConverted_ = false;
  std::uint64_t declared_ = 0;
  FrameRate rate_;
  bool rateStated_ = true;
  const char* framesAt_ = nullptr;
  const char* rowAt_ = nullptr;
  std::shared_ptr<Motion> motion_;
  bool noFrames_ = false;  ///< the motion is only the rest pose
  std::optional<BvhRows> rows_;
  std::vector<double> row_;
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
