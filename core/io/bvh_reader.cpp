#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <optional>

#include "core/io/bvh.h"
#include "core/io/bvh_hierarchy.h"
#include "core/io/bvh_number.h"
#include "core/io/bvh_rows.h"
#include "core/io/bvh_scanner.h"

namespace understudy {
namespace {

using bvh::isBlank;
using bvh::isLineEnd;

constexpr std::size_t kMostRotations = std::size_t{1} << 28;  // 4 GiB of quaternions

class Reader {
 public:
  Reader(std::string_view text, const std::string& path, const ReadSettings& settings, const RunControl& control)
      : path_(path), settings_(settings), control_(control), in_(text, path, figure_.issues) {}

  Result<Figure> run() {
    figure_.path = path_;
    figure_.format = "BVH";
    if (!readBvhHierarchy(in_, figure_.skeleton, channels_, control_) || !readHeader() || !readMotion()) return *in_.error;
    finish();
    return std::move(figure_);
  }

 private:
  /// "Frames:3", "Frames : 3", "frame time: .01": the keyword and what follows it on its line.
  bool headerValue(std::string_view first, std::string_view second, const char*& start, std::string_view& value) {
    in_.skipSpace();
    const char* keep = in_.at;
    start = in_.at;
    const auto keyword = [&](std::string_view expected) {
      if (static_cast<std::size_t>(in_.end - in_.at) < expected.size() || !equalsNoCase({in_.at, expected.size()}, expected)) return false;
      in_.at += expected.size();
      return true;
    };
    const auto blanks = [&] {
      while (in_.at < in_.end && isBlank(*in_.at)) ++in_.at;
    };
    if (!keyword(first)) return in_.at = keep, false;
    if (!second.empty()) {
      blanks();
      if (!keyword(second)) return in_.at = keep, false;
    }
    blanks();
    if (in_.at < in_.end && *in_.at == ':') ++in_.at;
    blanks();
    const char* from = in_.at;
    while (in_.at < in_.end && !isSpace(*in_.at) && !in_.atComment(in_.at)) ++in_.at;
    value = {from, static_cast<std::size_t>(in_.at - from)};
    return true;
  }

  bool readHeader() {
    bool haveFrames = false, haveTime = false;
    const char* start = in_.at;
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
          return in_.fail(start, "The number of frames is " + (value.empty() ? std::string("missing") : shown(value)), "Write Frames: and a whole number");
        declared_ = static_cast<std::uint64_t>(std::min(frames, 1e18));
      } else {
        break;
      }
    }
    framesAt_ = start;
    if (!haveFrames)
      return in_.fail(in_.at < in_.end ? in_.at : in_.end, in_.at < in_.end ? "'Frames:' is missing" : "The file ends before 'Frames:'", "Write Frames: and the number of rows");
    if (!haveTime) {
      figure_.issues.push_back(makeWarning("The file states no frame time", in_.place(in_.at), "30 frames/s are assumed; set the rate if that is wrong"));
      rate_ = {30, 1};
      rateStated_ = false;
    }
    return true;
  }

  void readFrameTime(const char* start, std::string_view value) {
    double seconds = 0;
    const bool numeric = !value.empty() && bvh::readAnyNumber(value.data(), value.data() + value.size(), seconds) == value.data() + value.size();
    if (!numeric || !std::isfinite(seconds) || seconds <= 0 || seconds < 1e-5 || seconds > 1e4) {
      in_.warn(start, "The frame time is " + (value.empty() ? std::string("missing") : shown(value)), "30 frames/s are assumed; set the rate if that is wrong");
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
      in_.note(start, "The frame time " + std::string(value) + " is rounded", "It is read as " + rate_.text() + " frames/s");
      return;
    }
  }

  enum class RowEnd { row, endOfFile, shortRow, bad };

  /// Reads one row into row_. With `wrapped`, rows may run over line ends; otherwise a line end before the last value is
  /// a short row. `have` counts the values read.
  RowEnd readRow(bool wrapped, std::size_t& have) {
    have = 0;
    in_.skipSpace();
    if (in_.at >= in_.end) return RowEnd::endOfFile;
    rowAt_ = in_.at;
    const std::size_t wanted = row_.size();
    const char* p = in_.at;
    const char* safe = in_.end - std::min<std::ptrdiff_t>(in_.end - in_.begin, 40);
    while (have < wanted) {
      while (p < in_.end && isBlank(*p)) ++p;
      if (p < safe) {
        if (const char* next = bvh::readPlainNumber(p, row_[have])) {
          p = next;
          ++have;
          continue;
        }
      }
      if (p >= in_.end || isLineEnd(*p) || in_.atComment(p)) {
        in_.at = p;
        if (!wrapped) return RowEnd::shortRow;
        in_.skipSpace();
        p = in_.at;
        if (p >= in_.end) return RowEnd::shortRow;
        continue;
      }
      const char* tokenEnd = p;
      while (tokenEnd < in_.end && !isSpace(*tokenEnd)) ++tokenEnd;
      const std::string_view token{p, static_cast<std::size_t>(tokenEnd - p)};
      const char* next = bvh::readAnyNumber(p, tokenEnd, row_[have]);
      if (next != tokenEnd || !std::isfinite(row_[have]) || std::abs(row_[have]) > BvhScanner::largest) {
        const bool number = next == tokenEnd;
        in_.fail(p, shown(token) + (number ? " is no usable value for " : " is no number, where ") + channelName(channels_[have].kind) + " of the " +
                 jointText(figure_.skeleton, channels_[have].joint) + (number ? "" : " should stand"),
             "Correct the value or export the clip again");
        return RowEnd::bad;
      }
      p = next;
      ++have;
    }
    in_.at = p;
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
      in_.warn(framesAt_, "No joint has channels", "The figure stands still in its rest pose");
      return restOnly();
    }
    if (declared_ == 0) {
      in_.skipSpace();
      in_.warn(framesAt_, "The file announces 0 frames", in_.at < in_.end ? "Its rows are ignored; the figure stands in its rest pose"
                                                              : "The figure stands in its rest pose");
      return restOnly();
    }
    // Every value takes at least a digit and a space, so the file's size bounds what can follow.
    const auto most = static_cast<std::uint64_t>(in_.end - in_.at) / (2 * channels_.size()) + 1;
    const std::size_t frames = static_cast<std::size_t>(std::min(declared_, most));
    if (frames > kMostRotations / joints || frames > static_cast<std::size_t>(std::numeric_limits<int>::max()))
      return in_.fail(framesAt_, std::to_string(frames) + " frames of " + std::to_string(joints) + " joints are too many", "Split the clip");
    motion_->rotations.resize(frames * joints);
    motion_->translations.resize(frames * motion_->movedJoints.size());
    row_.assign(channels_.size(), 0);

    const char* start = in_.at;
    bool wrapped = false;
    std::size_t frame = 0, have = 0;
    while (frame < frames) {
      if ((frame & 255) == 0) {
        if (control_.stopped()) {
          in_.error = RunControl::cancelled();
          return false;
        }
        control_.report(static_cast<double>(in_.at - in_.begin) / static_cast<double>(in_.end - in_.begin), "Reading motion");
      }
      const RowEnd result = readRow(wrapped, have);
      if (result == RowEnd::bad) return false;
      if (result == RowEnd::endOfFile) break;
      bool odd = result == RowEnd::shortRow;
      const char* oddAt = rowAt_;
      if (odd) {
        in_.skipSpace();
        if (in_.at >= in_.end) {
          in_.warn(oddAt, "The last row has " + std::to_string(have) + " of " + std::to_string(channels_.size()) + " values", "It is left out");
          break;
        }
      } else if (!wrapped) {
        while (in_.at < in_.end && isBlank(*in_.at)) ++in_.at;
        odd = in_.at < in_.end && !isLineEnd(*in_.at) && !in_.atComment(in_.at);
        if (odd) have = channels_.size() + 1;
      }
      if (odd) {
        // Some programs break long rows; then the values must add up over the whole file.
        if (!valuesAddUp(start)) {
          return in_.fail(oddAt, have > channels_.size() ? "The row has more than " + std::to_string(channels_.size()) + " values"
                                                     : "The row has " + std::to_string(have) + " values instead of " + std::to_string(channels_.size()),
                      "Check frame " + std::to_string(frame + 1) + " or export the clip again");
        }
        in_.note(oddAt, "Rows do not end with lines", "They are read value by value");
        wrapped = true;
        in_.at = start;
        frame = 0;
        continue;
      }
      rows_->store(row_, frame++, *motion_);
    }
    if (frame == 0) {
      in_.warn(framesAt_, "The file announces " + std::to_string(declared_) + " frames and holds no complete row", "The figure stands in its rest pose");
      return restOnly();
    }
    if (frame < declared_) {
      in_.warn(framesAt_, "The file announces " + std::to_string(declared_) + " frames and holds " + std::to_string(frame) +
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
    const char* keep = in_.at;
    in_.at = p;
    while (true) {
      in_.skipSpace();
      if (in_.at >= in_.end) break;
      in_.skipWord();
      ++values;
    }
    in_.at = keep;
    return values % channels_.size() == 0;
  }

  void countSurplus(bool wrapped) {
    in_.skipSpace();
    if (in_.at >= in_.end) return;
    const char* first = in_.at;
    std::uint64_t count = 0;
    while (in_.at < in_.end) {
      ++count;
      if (wrapped) {
        for (std::size_t k = 0; k < channels_.size() && in_.at < in_.end; ++k, in_.skipSpace())
          in_.skipWord();
      } else {
        in_.skipLine();
      }
      in_.skipSpace();
    }
    in_.warn(first, "The file announces " + std::to_string(declared_) + " frames and holds " + std::to_string(count) +
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

  const std::string& path_;
  const ReadSettings& settings_;
  const RunControl& control_;
  Figure figure_;
  BvhScanner in_;
  std::vector<BvhChannel> channels_;
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
