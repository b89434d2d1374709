#include "core/io/figure_stream.h"

#include <cmath>
#include <cstring>
#include <type_traits>

namespace understudy {
namespace {

constexpr char magic[8] = {'u', 's', 'f', 'i', 'g', 'u', 'r', 'e'};
constexpr std::uint32_t version = 1;
constexpr std::uint8_t holdsFigure = 1, holdsIssue = 2;
constexpr char endMark[4] = {'.', 'e', 'n', 'd'};

/// Values copied as they lie in memory: no padding, no pointers.
template <class T>
concept Plain = std::is_trivially_copyable_v<T> && !std::is_pointer_v<T> && !std::is_same_v<T, bool>;

class Packer {
 public:
  std::vector<std::uint8_t> bytes;

  template <Plain T>
  void value(const T& v) {
    raw(&v, sizeof v);
  }
  void value(bool v) { value(static_cast<std::uint8_t>(v)); }
  void value(const std::string& s) {
    value(static_cast<std::uint64_t>(s.size()));
    raw(s.data(), s.size());
  }
  template <Plain T>
  void list(const std::vector<T>& v) {
    value(static_cast<std::uint64_t>(v.size()));
    raw(v.data(), v.size() * sizeof(T));
  }
  template <class T, class Each>
  void items(const std::vector<T>& v, Each each) {
    value(static_cast<std::uint64_t>(v.size()));
    for (const T& item : v) each(item);
  }
  template <class T>
  void shared(const std::shared_ptr<const T>& pointer, auto each) {
    value(static_cast<std::uint8_t>(pointer != nullptr));
    if (pointer) each(*pointer);
  }

 private:
  void raw(const void* data, std::size_t size) {
    const auto* begin = static_cast<const std::uint8_t*>(data);
    bytes.insert(bytes.end(), begin, begin + size);
  }
};

class Unpacker {
 public:
  explicit Unpacker(std::span<const std::uint8_t> bytes) : left_(bytes) {}
  [[nodiscard]] bool failed() const { return failed_; }
  [[nodiscard]] std::size_t left() const { return left_.size(); }

  template <Plain T>
  void value(T& v) {
    raw(&v, sizeof v);
  }
  void value(bool& v) {
    std::uint8_t byte = 0;
    value(byte);
    if (byte > 1) failed_ = true;
    v = byte == 1;
  }
  void value(std::string& s) {
    s.resize(count(1));
    raw(s.data(), s.size());
  }
  template <Plain T>
  void list(std::vector<T>& v) {
    v.resize(count(sizeof(T)));
    raw(v.data(), v.size() * sizeof(T));
  }
  /// Grown item by item: what is allocated stays in proportion to the bytes that were really there.
  template <class T, class Each>
  void items(std::vector<T>& v, Each each) {
    const std::size_t wanted = count(1);
    v.clear();
    for (std::size_t i = 0; i < wanted && !failed_; ++i) each(v.emplace_back());
  }
  template <class T>
  void shared(std::shared_ptr<const T>& pointer, auto each) {
    bool present = false;
    value(present);
    if (!present || failed_) return;
    auto made = std::make_shared<T>();
    each(*made);
    pointer = std::move(made);
  }

 private:
  std::size_t count(std::size_t itemBytes) {
    std::uint64_t n = 0;
    value(n);
    if (failed_ || n > left_.size() / itemBytes) {
      failed_ = true;
      return 0;
    }
    return static_cast<std::size_t>(n);
  }
  void raw(void* data, std::size_t size) {
    if (failed_ || size > left_.size()) {
      failed_ = true;
      return;
    }
    if (size > 0) std::memcpy(data, left_.data(), size);
    left_ = left_.subspan(size);
  }
  std::span<const std::uint8_t> left_;
  bool failed_ = false;
};

// One description of the layout serves both directions, so that the two ends cannot drift apart.
template <class A, class T>
void visitIssue(A& a, T& issue) {
  a.value(issue.severity);
  a.value(issue.fault);
  a.value(issue.what);
  a.value(issue.where);
  a.value(issue.todo);
}

template <class A, class T>
void visitMotion(A& a, T& motion) {
  a.value(motion.rate);
  a.value(motion.frames);
  a.value(motion.joints);
  a.list(motion.rotations);
  a.list(motion.movedJoints);
  a.list(motion.translations);
  a.list(motion.scaledJoints);
  a.list(motion.scales);
}

template <class A, class T>
void visitFigure(A& a, T& figure) {
  a.value(figure.path);
  a.value(figure.format);
  a.items(figure.skeleton.names, [&](auto& name) { a.value(name); });
  a.list(figure.skeleton.parents);
  a.list(figure.skeleton.rest);
  a.list(figure.skeleton.fileNodes);
  a.value(figure.space.metresPerUnit);
  a.value(figure.space.worldFromFile);
  a.value(figure.space.unitName);
  a.value(figure.space.upName);
  a.value(figure.space.unitStated);
  a.value(figure.space.upStated);
  a.items(figure.skins, [&](auto& skin) {
    a.value(skin.name);
    a.list(skin.joints);
    a.list(skin.inverseBind);
  });
  a.items(figure.meshes, [&](auto& mesh) {
    a.value(mesh.name);
    a.value(mesh.node);
    a.value(mesh.skin);
    a.value(mesh.material);
    a.list(mesh.positions);
    a.list(mesh.normals);
    a.list(mesh.texcoords);
    a.list(mesh.colours);
    a.list(mesh.indices);
    a.list(mesh.influenceStart);
    a.list(mesh.influenceJoint);
    a.list(mesh.influenceWeight);
    a.items(mesh.morphs, [&](auto& morph) {
      a.value(morph.name);
      a.list(morph.positions);
    });
    a.list(mesh.morphWeights);
  });
  a.items(figure.materials, [&](auto& material) {
    a.value(material.name);
    a.value(material.baseColour);
    a.value(material.image);
    a.value(material.doubleSided);
    a.value(material.alphaCutoff);
  });
  a.items(figure.images, [&](auto& image) {
    a.value(image.name);
    a.value(image.mimeType);
    a.list(image.bytes);
  });
  a.items(figure.clips, [&](auto& clip) {
    a.value(clip.name);
    a.value(clip.rate);
    a.value(clip.rateStated);
    a.value(clip.start);
    a.value(clip.end);
    a.items(clip.curves, [&](auto& curve) {
      a.value(curve.joint);
      a.value(curve.target);
      a.value(curve.interpolation);
      a.value(curve.morphCount);
      a.list(curve.times);
      a.list(curve.values);
    });
    a.shared(clip.sampled, [&](auto& motion) { visitMotion(a, motion); });
  });
  a.items(figure.issues, [&](auto& issue) { visitIssue(a, issue); });
}

Packer begun(std::uint8_t kind) {
  Packer packer;
  packer.value(magic);
  packer.value(version);
  packer.value(kind);
  return packer;
}

Issue broken(std::string what, std::string where = {}) {
  return makeError(Fault::internal, std::move(what), std::move(where));
}

bool isFinite(const Vec2f& v) {
  return std::isfinite(v.x) && std::isfinite(v.y);
}
bool isFinite(const Trsd& t) {
  return isFinite(t.translation) && isFinite(t.rotation) && isFinite(t.scale);
}
bool isFinite(const Affined& a) {
  return isFinite(a.linear.cx) && isFinite(a.linear.cy) && isFinite(a.linear.cz) && isFinite(a.translation);
}
bool isFinite(const std::array<float, 4>& c) {
  return std::isfinite(c[0]) && std::isfinite(c[1]) && std::isfinite(c[2]) && std::isfinite(c[3]);
}
bool allFinite(const auto& list) {
  for (const auto& v : list)
    if (!isFinite(v)) return false;
  return true;
}
bool allFinite(const std::vector<float>& list) {
  for (float v : list)
    if (!std::isfinite(v)) return false;
  return true;
}
bool isRate(const FrameRate& rate) {
  return rate.num > 0 && rate.den > 0;
}

std::string named(std::string_view kind, std::size_t index, const std::string& name) {
  return std::string(kind) + " " + std::to_string(index + 1) + (name.empty() ? "" : " '" + name + "'");
}

/// What is wrong with a mesh, or nothing.
std::string faultOf(const Mesh& mesh, const Figure& figure) {
  const std::size_t vertices = mesh.positions.size();
  if (mesh.node < -1 || mesh.node >= figure.skeleton.size()) return "hangs on a joint that does not exist";
  if (mesh.skin < -1 || mesh.skin >= static_cast<int>(figure.skins.size())) return "uses a skin that does not exist";
  if (mesh.material < -1 || mesh.material >= static_cast<int>(figure.materials.size())) return "uses a material that does not exist";
  if ((!mesh.normals.empty() && mesh.normals.size() != vertices) || (!mesh.texcoords.empty() && mesh.texcoords.size() != vertices) ||
      (!mesh.colours.empty() && mesh.colours.size() != vertices))
    return "has vertex lists of different lengths";
  if (!allFinite(mesh.positions) || !allFinite(mesh.normals) || !allFinite(mesh.texcoords) || !allFinite(mesh.colours) ||
      !allFinite(mesh.influenceWeight) || !allFinite(mesh.morphWeights))
    return "holds numbers that are not finite";
  if (mesh.indices.size() % 3 != 0) return "has a triangle that is cut short";
  for (std::uint32_t index : mesh.indices)
    if (index >= vertices) return "has a triangle with a vertex that does not exist";
  if (mesh.influenceJoint.size() != mesh.influenceWeight.size()) return "has weights and joints of different lengths";
  if (mesh.skin >= 0) {
    if (mesh.influenceStart.size() != vertices + 1 || mesh.influenceStart.front() != 0 ||
        mesh.influenceStart.back() != mesh.influenceJoint.size())
      return "has weights that do not fit its vertices";
    for (std::size_t v = 0; v < vertices; ++v)
      if (mesh.influenceStart[v] > mesh.influenceStart[v + 1]) return "has weights that do not fit its vertices";
    for (std::uint16_t joint : mesh.influenceJoint)
      if (joint >= figure.skins[static_cast<std::size_t>(mesh.skin)].joints.size()) return "has a weight on a joint its skin lacks";
  }
  if (!mesh.morphWeights.empty() && mesh.morphWeights.size() != mesh.morphs.size()) return "has morph weights that do not fit its morphs";
  for (const MorphTarget& morph : mesh.morphs)
    if (morph.positions.size() != vertices || !allFinite(morph.positions)) return "has a morph that does not fit its vertices";
  return {};
}

std::string faultOf(const Motion& motion, const Figure& figure) {
  const auto fits = [&](std::size_t size, std::size_t width) { return size == static_cast<std::size_t>(motion.frames) * width; };
  if (!isRate(motion.rate) || motion.frames < 0 || motion.joints != figure.skeleton.size()) return "does not fit the skeleton";
  if (!fits(motion.rotations.size(), static_cast<std::size_t>(motion.joints)) ||
      !fits(motion.translations.size(), motion.movedJoints.size()) || !fits(motion.scales.size(), motion.scaledJoints.size()))
    return "has tracks of different lengths";
  for (const auto* list : {&motion.movedJoints, &motion.scaledJoints})
    for (std::size_t i = 0; i < list->size(); ++i)
      if ((*list)[i] < 0 || (*list)[i] >= figure.skeleton.size() || (i > 0 && (*list)[i] <= (*list)[i - 1]))
        return "moves a joint that does not exist";
  if (!allFinite(motion.rotations) || !allFinite(motion.translations) || !allFinite(motion.scales))
    return "holds numbers that are not finite";
  return {};
}

std::string faultOf(const KeyedCurve& curve, const Figure& figure) {
  if (curve.joint < 0 || curve.joint >= figure.skeleton.size()) return "moves a joint that does not exist";
  if (curve.target > CurveTarget::morphWeights || curve.interpolation > Interpolation::cubic) return "is of an unknown kind";
  const bool morph = curve.target == CurveTarget::morphWeights;
  if (morph && (curve.morphCount < 1 || curve.morphCount > 65536)) return "moves an absurd number of morphs";
  const std::size_t width = morph ? static_cast<std::size_t>(curve.morphCount) : curve.target == CurveTarget::rotation ? 4 : 3;
  const std::size_t stride = curve.interpolation == Interpolation::cubic ? 3 * width : width;
  if (curve.times.empty() || curve.values.size() != curve.times.size() * stride) return "has keys and values of different lengths";
  if (!allFinite(curve.times) || !allFinite(curve.values)) return "holds numbers that are not finite";
  for (std::size_t i = 1; i < curve.times.size(); ++i)
    if (curve.times[i] < curve.times[i - 1]) return "has keys out of order";
  return {};
}

}  // namespace

std::vector<std::uint8_t> packFigure(const Figure& figure) {
  Packer packer = begun(holdsFigure);
  visitFigure(packer, figure);
  packer.value(endMark);
  return std::move(packer.bytes);
}

std::vector<std::uint8_t> packIssue(const Issue& issue) {
  Packer packer = begun(holdsIssue);
  visitIssue(packer, issue);
  packer.value(endMark);
  return std::move(packer.bytes);
}

Result<Figure> unpackFigure(std::span<const std::uint8_t> bytes) {
  Unpacker unpacker(bytes);
  char mark[sizeof magic] = {};
  std::uint32_t theirs = 0;
  std::uint8_t kind = 0;
  unpacker.value(mark);
  if (unpacker.failed() || std::memcmp(mark, magic, sizeof magic) != 0)
    return broken("The reader process sent something that is no figure");
  unpacker.value(theirs);
  if (unpacker.failed() || theirs != version) return broken("The reader process is of another version than this program");
  unpacker.value(kind);
  char end[sizeof endMark] = {};
  if (kind == holdsIssue) {
    Issue issue;
    visitIssue(unpacker, issue);
    unpacker.value(end);
    if (unpacker.failed() || std::memcmp(end, endMark, sizeof end) != 0 || unpacker.left() != 0 || issue.severity > Severity::error ||
        issue.fault > Fault::internal)
      return broken("The reader process sent a message that is cut short");
    issue.severity = Severity::error;
    return issue;
  }
  if (kind != holdsFigure) return broken("The reader process sent something that is no figure");
  Figure figure;
  visitFigure(unpacker, figure);
  unpacker.value(end);
  if (unpacker.failed() || std::memcmp(end, endMark, sizeof end) != 0 || unpacker.left() != 0)
    return broken("The reader process sent a figure that is cut short");
  if (const Status status = checkFigure(figure); !status) return status.error();
  return figure;
}

Status checkFigure(const Figure& figure) {
  const Skeleton& skeleton = figure.skeleton;
  const std::size_t joints = skeleton.parents.size();
  if (joints > 1000000 || skeleton.names.size() != joints || skeleton.rest.size() != joints || skeleton.fileNodes.size() != joints)
    return broken("The skeleton's lists are of different lengths");
  for (std::size_t j = 0; j < joints; ++j) {
    const auto where = [&] { return named("joint", j, skeleton.names[j]); };
    if (skeleton.parents[j] < -1 || skeleton.parents[j] >= static_cast<int>(j)) return broken("A joint comes before its parent", where());
    if (!isFinite(skeleton.rest[j])) return broken("A rest pose holds numbers that are not finite", where());
    const double norm = dot(skeleton.rest[j].rotation, skeleton.rest[j].rotation);
    if (std::abs(norm - 1) > 1e-3) return broken("A rest rotation is no rotation", where());
  }
  if (!(figure.space.metresPerUnit > 0) || !std::isfinite(figure.space.metresPerUnit) || !isFinite(figure.space.worldFromFile))
    return broken("The unit or the axes make no sense");
  for (std::size_t s = 0; s < figure.skins.size(); ++s) {
    const Skin& skin = figure.skins[s];
    if (skin.joints.size() != skin.inverseBind.size())
      return broken("The skin's lists are of different lengths", named("skin", s, skin.name));
    for (int joint : skin.joints)
      if (joint < 0 || joint >= skeleton.size()) return broken("The skin uses a joint that does not exist", named("skin", s, skin.name));
    if (!allFinite(skin.inverseBind)) return broken("The skin holds numbers that are not finite", named("skin", s, skin.name));
  }
  for (std::size_t m = 0; m < figure.meshes.size(); ++m)
    if (const std::string fault = faultOf(figure.meshes[m], figure); !fault.empty())
      return broken("The mesh " + fault, named("mesh", m, figure.meshes[m].name));
  for (std::size_t m = 0; m < figure.materials.size(); ++m) {
    const Material& material = figure.materials[m];
    if (material.image < -1 || material.image >= static_cast<int>(figure.images.size()))
      return broken("The material uses an image that does not exist", named("material", m, material.name));
    if (!isFinite(material.baseColour) || !std::isfinite(material.alphaCutoff))
      return broken("The material holds numbers that are not finite", named("material", m, material.name));
  }
  for (std::size_t c = 0; c < figure.clips.size(); ++c) {
    const Clip& clip = figure.clips[c];
    const std::string where = named("clip", c, clip.name);
    if (!isRate(clip.rate) || !std::isfinite(clip.start) || !std::isfinite(clip.end) || clip.end < clip.start)
      return broken("The clip's rate or length makes no sense", where);
    if ((clip.end - clip.start) * clip.rate.hertz() > 1e7) return broken("The clip has more than ten million frames", where);
    for (const KeyedCurve& curve : clip.curves)
      if (const std::string fault = faultOf(curve, figure); !fault.empty()) return broken("A curve " + fault, where);
    if (clip.sampled)
      if (const std::string fault = faultOf(*clip.sampled, figure); !fault.empty()) return broken("The clip " + fault, where);
  }
  for (const Issue& issue : figure.issues)
    if (issue.severity > Severity::error || issue.fault > Fault::internal) return broken("A note is of an unknown kind");
  return Done{};
}

}  // namespace understudy
