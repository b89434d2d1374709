#include "core/body/body_model_bytes.h"

#include <cmath>
#include <cstring>
#include <type_traits>

#ifndef UNDERSTUDY_BODY_SOURCES
#define UNDERSTUDY_BODY_SOURCES "0"
#endif

namespace understudy {
namespace {

constexpr char magic[8] = {'U', 'S', 'B', 'O', 'D', 'Y', '0', '1'};

std::uint64_t checksum(std::string_view bytes) {
  std::uint64_t h = 1469598103934665603ull;
  std::size_t i = 0;
  for (; i + 8 <= bytes.size(); i += 8) {
    std::uint64_t word;
    std::memcpy(&word, bytes.data() + i, 8);
    h = (h ^ word) * 1099511628211ull;
    h ^= h >> 29;
  }
  for (; i < bytes.size(); ++i) h = (h ^ static_cast<unsigned char>(bytes[i])) * 1099511628211ull;
  return h;
}

class Writer {
 public:
  template <class T>
    requires std::is_arithmetic_v<T>
  void put(T v) { out_.append(reinterpret_cast<const char*>(&v), sizeof v); }
  void put(const Vec3d& v) { put(v.x), put(v.y), put(v.z); }
  template <class T>
    requires std::is_arithmetic_v<T>
  void put(const std::vector<T>& v) {
    put(static_cast<std::uint64_t>(v.size()));
    if (!v.empty()) out_.append(reinterpret_cast<const char*>(v.data()), v.size() * sizeof(T));
  }
  void put(const DistanceGrid& grid) {
    put(grid.low());
    put(grid.cell());
    for (const int n : grid.nodes()) put(n);
    put(grid.values());
  }
  void put(const BodySolid& solid) {
    put(static_cast<std::uint8_t>(solid.part));
    put(solid.grid);
    put(solid.guide);
    put(solid.joints);
    put(solid.middle);
    put(solid.radius);
    put(solid.weightCell);
    for (const int n : solid.weightSize) put(n);
    put(solid.weights);
  }
  void put(const ArmPoints& arm) {
    put(static_cast<std::uint64_t>(arm.points.size()));
    for (const ArmPoint& p : arm.points) {
      put(p.reference);
      put(static_cast<std::uint8_t>(p.part));
      put(p.vertex);
      put(p.allowed);
      put(p.first);
      put(p.count);
    }
    put(arm.joint);
    put(arm.weight);
    put(static_cast<std::uint64_t>(arm.clusters.size()));
    for (const ArmPoints::Cluster& c : arm.clusters) put(c.first), put(c.count);
  }
  [[nodiscard]] std::string take() { return std::move(out_); }

 private:
  std::string out_;
};

/// Stops at the first thing that cannot be; good() tells.
class Reader {
 public:
  Reader(std::string_view bytes, int joints, int vertices) : left_(bytes), joints_(joints), vertices_(vertices) {}
  [[nodiscard]] bool good() const { return good_; }
  [[nodiscard]] bool atEnd() const { return good_ && left_.empty(); }

  template <class T>
    requires std::is_arithmetic_v<T>
  void get(T& v) {
    if (!enough(1, sizeof v)) return;
    std::memcpy(&v, left_.data(), sizeof v);
    left_.remove_prefix(sizeof v);
    if constexpr (std::is_floating_point_v<T>) check(std::isfinite(v));
  }
  void get(Vec3d& v) { get(v.x), get(v.y), get(v.z); }
  template <class T>
    requires std::is_arithmetic_v<T>
  void get(std::vector<T>& v) {
    const std::uint64_t count = size(sizeof(T));
    v.resize(count);
    if (v.empty()) return;
    std::memcpy(v.data(), left_.data(), count * sizeof(T));
    left_.remove_prefix(count * sizeof(T));
  }
  void get(DistanceGrid& grid) {
    Vec3d low;
    double cell = 1;
    std::array<int, 3> nodes{};
    std::vector<float> values;
    get(low);
    get(cell);
    for (int& n : nodes) get(n);
    get(values);
    std::uint64_t count = 1;
    for (const int n : nodes) {
      check(n >= 0 && n < 100000);
      count *= good_ ? static_cast<std::uint64_t>(n) : 0;
    }
    check(count == values.size() && (values.empty() || (cell > 0 && nodes[0] > 1 && nodes[1] > 1 && nodes[2] > 1)));
    if (good_ && !values.empty()) grid = DistanceGrid(low, cell, nodes, std::move(values));
  }
  void get(BodySolid& solid) {
    part(solid.part);
    get(solid.grid);
    get(solid.guide);
    get(solid.joints);
    get(solid.middle);
    get(solid.radius);
    get(solid.weightCell);
    std::uint64_t count = solid.joints.size();
    for (int& n : solid.weightSize) {
      get(n);
      check(n >= 0 && n < 100000);
      count *= good_ ? static_cast<std::uint64_t>(n) : 0;
    }
    get(solid.weights);
    for (const int j : solid.joints) check(j >= 0 && j < joints_);
    check(!solid.joints.empty() && solid.joints.size() <= 16 && !solid.grid.empty());
    check(solid.joints.size() == 1 ? solid.weights.empty() : solid.weights.size() == count && solid.weightCell > 0 && solid.weightSize[0] > 1 && solid.weightSize[1] > 1 && solid.weightSize[2] > 1);
    if (good_) solid.findCells();
  }
  void get(ArmPoints& arm) {
    arm.points.resize(size(48));
    for (ArmPoint& p : arm.points) {
      get(p.reference);
      part(p.part);
      get(p.vertex);
      get(p.allowed);
      get(p.first);
      get(p.count);
      check(p.vertex >= 0 && p.vertex < vertices_);
    }
    get(arm.joint);
    get(arm.weight);
    check(arm.joint.size() == arm.weight.size());
    for (const int j : arm.joint) check(j >= 0 && j < joints_);
    for (const ArmPoint& p : arm.points) check(p.first <= arm.joint.size() && p.count <= arm.joint.size() - p.first);
    arm.clusters.resize(size(8));
    const int points = static_cast<int>(arm.points.size());
    for (ArmPoints::Cluster& c : arm.clusters) {
      get(c.first), get(c.count);
      check(c.first >= 0 && c.count >= 0 && c.first <= points && c.count <= points - c.first);
    }
  }
  /// How many things of at least `each` bytes follow; 0 where there cannot be that many.
  std::uint64_t size(std::size_t each) {
    std::uint64_t count = 0;
    get(count);
    return enough(count, each) ? count : 0;
  }

 private:
  void check(bool holds) { good_ = good_ && holds; }
  bool enough(std::uint64_t count, std::size_t each) {
    check(count <= left_.size() / each);
    return good_;
  }
  void part(BodyPart& part) {
    std::uint8_t v = 0;
    get(v);
    check(v < bodyPartCount);
    if (good_) part = static_cast<BodyPart>(v);
  }

  std::string_view left_;
  int joints_ = 0, vertices_ = 0;
  bool good_ = true;
};

}  // namespace

std::string bodyModelFormat() { return UNDERSTUDY_BODY_SOURCES; }

std::string writeBodyModel(const BodyModel& model) {
  Writer w;
  for (const std::vector<BodySolid>* list : {&model.solids, &model.limbs}) {
    w.put(static_cast<std::uint64_t>(list->size()));
    for (const BodySolid& solid : *list) w.put(solid);
  }
  for (const ArmPoints& arm : model.arms) w.put(arm);
  w.put(model.gridError);
  const std::string body = w.take();
  const std::uint64_t sum = checksum(body);
  std::string out(magic, sizeof magic);
  out.append(reinterpret_cast<const char*>(&sum), sizeof sum);
  return out + body;
}

bool readBodyModel(std::string_view bytes, BodyModel& model) {
  std::uint64_t sum = 0;
  if (bytes.size() < sizeof magic + sizeof sum || std::memcmp(bytes.data(), magic, sizeof magic) != 0) return false;
  std::memcpy(&sum, bytes.data() + sizeof magic, sizeof sum);
  bytes.remove_prefix(sizeof magic + sizeof sum);
  if (checksum(bytes) != sum) return false;
  Reader r(bytes, static_cast<int>(model.rotation.size()), model.surface.vertices());
  BodyModel read;
  for (std::vector<BodySolid>* list : {&read.solids, &read.limbs}) {
    list->resize(r.size(100));
    for (BodySolid& solid : *list) r.get(solid);
  }
  for (ArmPoints& arm : read.arms) r.get(arm);
  r.get(read.gridError);
  if (!r.atEnd()) return false;
  model.solids = std::move(read.solids);
  model.limbs = std::move(read.limbs);
  model.arms = std::move(read.arms);
  model.gridError = read.gridError;
  return true;
}

}  // namespace understudy
