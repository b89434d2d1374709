#include "core/io/bvh_hierarchy.h"

#include <array>

#include "core/io/gltf_json.h"

namespace understudy {
namespace {

constexpr int deepest = 10000;

class HierarchyReader {
 public:
  HierarchyReader(BvhScanner& in, Skeleton& skeleton, std::vector<BvhChannel>& channels, const RunControl& control)
      : in_(in), skeleton_(skeleton), channels_(channels), control_(control) {}

  bool run() { return readStart() && readHierarchy(); }

 private:
  bool readStart() {
    const std::string_view all{in_.begin, static_cast<std::size_t>(in_.end - in_.begin)};
    if (trimmedText(all).empty()) return in_.fail(in_.begin, "The file is empty", "Export it again");
    if (all.starts_with("\xFF\xFE") || all.starts_with("\xFE\xFF"))
      return in_.fail(in_.begin, "The file is written in 16-bit characters", "Save it as plain text (UTF-8)");
    if (all.starts_with("\xEF\xBB\xBF")) in_.at += 3;
    const std::string_view first = in_.word();
    if (!equalsNoCase(first, "hierarchy"))
      return in_.fail(first.data(), "The file starts with " + shown(first) + " instead of HIERARCHY", "Check that this is a BVH file");
    return true;
  }

  std::string jointName() {
    std::string_view name = in_.restOfLine();
    if (name.empty()) {
      in_.skipSpace();
      if (in_.at < in_.end && *in_.at != '{' && *in_.at != '}') name = in_.restOfLine();
    }
    if (validUtf8(name) == name) return std::string(name);
    if (!namesConverted_) in_.note(name.data(), "A joint's name is not in UTF-8", "It is read as Latin-1");
    namesConverted_ = true;
    return latinToUtf8(name);
  }

  bool openJoint(const char* keyword, std::string name, bool endSite) {
    if (static_cast<int>(open_.size()) >= deepest)
      return in_.fail(keyword, "The joints are nested more than " + std::to_string(deepest) + " deep", "Check that this is the hierarchy of a body");
    const std::string_view brace = in_.word();
    if (brace != "{") {
      if (brace.empty()) return in_.fail(in_.end, "The file ends before the joint's opening brace", "The file is incomplete: export it again");
      return in_.fail(brace.data(), shown(brace) + " stands where an opening brace should", "Put { after the joint's name");
    }
    const int joint = skeleton_.add(std::move(name), open_.empty() ? -1 : open_.back().joint, Trsd{}, skeleton_.size());
    open_.push_back({joint, endSite, false, false, keyword});
    return true;
  }

  bool readChannels(const char* keyword) {
    Open& own = open_.back();
    if (own.endSite) return in_.fail(keyword, "An End Site has CHANNELS", "Only joints may be animated");
    if (own.channels) return in_.fail(keyword, "The " + jointText(skeleton_, own.joint) + " has CHANNELS twice", "Keep one of the lines");
    own.channels = true;
    double count = 0;
    if (!in_.number(count, "the number of channels")) return false;
    std::size_t found = 0;
    std::array<bool, 3> positioned{};
    while (true) {
      const char* keep = in_.at;
      const std::string_view token = in_.word();
      BvhChannel channel{own.joint, BvhChannelKind::ignored};
      constexpr std::string_view positions = "position", rotations = "rotation", scales = "scale";
      const std::string_view kind = token.empty() ? token : token.substr(1);
      const int axis = token.empty() ? -1 : lower(token.front()) - 'x';
      const bool known = axis >= 0 && axis < 3 && (equalsNoCase(kind, positions) || equalsNoCase(kind, rotations) || equalsNoCase(kind, scales));
      if (!known) {
        const bool structural = token.empty() || token == "{" || token == "}" || equalsNoCase(token, "joint") || equalsNoCase(token, "end") ||
                                equalsNoCase(token, "offset") || equalsNoCase(token, "root") || equalsNoCase(token, "motion");
        if (!structural && static_cast<double>(found) < count)
          return in_.fail(token.data(), shown(token) + " is no channel", "Channels are Xposition, Yposition, Zposition, Xrotation, Yrotation, Zrotation");
        in_.at = keep;
        break;
      }
      if (equalsNoCase(kind, positions)) {
        if (positioned[static_cast<std::size_t>(axis)])
          return in_.fail(token.data(), "The " + jointText(skeleton_, own.joint) + " has " + std::string(token) + " twice", "Name each position channel once");
        positioned[static_cast<std::size_t>(axis)] = true;
        channel.kind = static_cast<BvhChannelKind>(axis);
      } else if (equalsNoCase(kind, rotations)) {
        channel.kind = static_cast<BvhChannelKind>(3 + axis);
      } else {
        in_.warn(token.data(), "The channel " + std::string(token) + " of the " + jointText(skeleton_, own.joint) + " is ignored", "Scale is not part of BVH");
      }
      channels_.push_back(channel);
      ++found;
    }
    if (static_cast<double>(found) != count)
      in_.warn(keyword, "The " + jointText(skeleton_, own.joint) + " announces " + shown(std::to_string(static_cast<long long>(count))) + " channels and names " +
               std::to_string(found), "The names count");
    return true;
  }

  bool readHierarchy() {
    while (true) {
      const std::string_view token = in_.word();
      const char* p = token.data();
      if (token.empty()) {
        if (!open_.empty())
          return in_.fail(in_.end, "The file ends inside the hierarchy, with the " + jointText(skeleton_, open_.back().joint) + " still open",
                      "The file is incomplete: export it again");
        return in_.fail(in_.end, "The file ends without MOTION", "The file is incomplete: export it again");
      }
      if (equalsNoCase(token, "root") || equalsNoCase(token, "joint")) {
        const bool root = equalsNoCase(token, "root");
        if (root && !open_.empty()) return in_.fail(p, "A ROOT stands inside another joint", "Close the joints before it, or call it JOINT");
        if (!root && open_.empty()) return in_.fail(p, "A JOINT stands outside any ROOT", "Check the braces before it");
        if (!open_.empty() && open_.back().endSite) return in_.fail(p, "A JOINT stands inside an End Site", "Check the braces before it");
        if (!openJoint(p, jointName(), false)) return false;
      } else if (equalsNoCase(token, "end")) {
        if (open_.empty() || open_.back().endSite) return in_.fail(p, "An End Site stands outside a joint", "Check the braces before it");
        const std::string_view site = in_.word();
        if (!equalsNoCase(site, "site")) return in_.fail(site.empty() ? in_.end : site.data(), "'End' is not followed by 'Site'", "Write End Site");
        in_.restOfLine();
        if (!openJoint(p, {}, true)) return false;
      } else if (equalsNoCase(token, "offset")) {
        if (open_.empty()) return in_.fail(p, "An OFFSET stands outside a joint", "Check the braces before it");
        Vec3d offset;
        if (!in_.number(offset.x, "an OFFSET value") || !in_.number(offset.y, "an OFFSET value") || !in_.number(offset.z, "an OFFSET value")) return false;
        if (open_.back().offset) in_.warn(p, "The " + jointText(skeleton_, open_.back().joint) + " has OFFSET twice", "The last one counts");
        open_.back().offset = true;
        skeleton_.rest[static_cast<std::size_t>(open_.back().joint)].translation = offset;
      } else if (equalsNoCase(token, "channels")) {
        if (open_.empty()) return in_.fail(p, "CHANNELS stand outside a joint", "Check the braces before them");
        if (!readChannels(p)) return false;
      } else if (token == "}") {
        if (open_.empty()) return in_.fail(p, "A closing brace has no opening one", "Check the braces before it");
        if (!open_.back().offset) in_.warn(p, "The " + jointText(skeleton_, open_.back().joint) + " has no OFFSET", "It is placed on its parent");
        open_.pop_back();
      } else if (equalsNoCase(token, "motion")) {
        if (!open_.empty())
          return in_.fail(p, "MOTION starts while the " + jointText(skeleton_, open_.back().joint) + " (line " + std::to_string(in_.lineOf(open_.back().keyword)) +
                             ") is still open", "Add the missing closing brace");
        if (skeleton_.size() == 0) return in_.fail(p, "The hierarchy holds no joint", "Check that the right skeleton was exported");
        return true;
      } else {
        return in_.fail(p, shown(token) + " is not understood here", "Expected ROOT, JOINT, End Site, OFFSET, CHANNELS, MOTION or a brace");
      }
      if (control_.stopped()) {
        in_.error = RunControl::cancelled();
        return false;
      }
    }
  }

  struct Open {
    int joint = 0;
    bool endSite = false, offset = false, channels = false;
    const char* keyword = nullptr;
  };

  BvhScanner& in_;
  Skeleton& skeleton_;
  std::vector<BvhChannel>& channels_;
  const RunControl& control_;
  std::vector<Open> open_;
  bool namesConverted_ = false;
};

}  // namespace

bool readBvhHierarchy(BvhScanner& in, Skeleton& skeleton, std::vector<BvhChannel>& channels, const RunControl& control) {
  return HierarchyReader(in, skeleton, channels, control).run();
}

std::string jointText(const Skeleton& skeleton, int joint) {
  const std::string& name = skeleton.names[static_cast<std::size_t>(joint)];
  return name.empty() ? "joint #" + std::to_string(skeleton.fileNodes[static_cast<std::size_t>(joint)]) : "joint '" + name + "'";
}

}  // namespace understudy
