// glTF through tinygltf; sampling, node hierarchy and skinning are done here.
#define TINYGLTF_IMPLEMENTATION
#define TINYGLTF_NO_STB_IMAGE
#define TINYGLTF_NO_STB_IMAGE_WRITE
#define TINYGLTF_NO_INCLUDE_JSON
#include <nlohmann/json.hpp>
#include <tiny_gltf.h>

#include <cmath>
#include <map>
#include <stdexcept>

#include "tests/checker/film.h"

namespace checker {
namespace {


/// Numbers of an accessor, `width` an element, normalised where it says so.
std::vector<double> numbers(const tinygltf::Model& model, int which, int& width) {
  const tinygltf::Accessor& accessor = model.accessors.at(index(which));
  width = tinygltf::GetNumComponentsInType(static_cast<std::uint32_t>(accessor.type));
  std::vector<double> out(accessor.count * index(width), 0.0);
  const int size = tinygltf::GetComponentSizeInBytes(static_cast<std::uint32_t>(accessor.componentType));
  const auto read = [&](const unsigned char* at, int type, bool normalised) -> double {
    const auto as = [&](auto value) {
      std::memcpy(&value, at, sizeof value);
      return value;
    };
    switch (type) {
      case TINYGLTF_COMPONENT_TYPE_FLOAT: return static_cast<double>(as(float{}));
      case TINYGLTF_COMPONENT_TYPE_DOUBLE: return as(double{});
      case TINYGLTF_COMPONENT_TYPE_UNSIGNED_BYTE: return normalised ? as(std::uint8_t{}) / 255.0 : as(std::uint8_t{});
      case TINYGLTF_COMPONENT_TYPE_BYTE: return normalised ? std::max(as(std::int8_t{}) / 127.0, -1.0) : as(std::int8_t{});
      case TINYGLTF_COMPONENT_TYPE_UNSIGNED_SHORT: return normalised ? as(std::uint16_t{}) / 65535.0 : as(std::uint16_t{});
      case TINYGLTF_COMPONENT_TYPE_SHORT: return normalised ? std::max(as(std::int16_t{}) / 32767.0, -1.0) : as(std::int16_t{});
      default: return as(std::uint32_t{});
    }
  };
  if (accessor.bufferView >= 0) {
    const tinygltf::BufferView& view = model.bufferViews.at(index(accessor.bufferView));
    const tinygltf::Buffer& buffer = model.buffers.at(index(view.buffer));
    const int stride = accessor.ByteStride(view);
    for (std::size_t e = 0; e < accessor.count; ++e)
      for (int c = 0; c < width; ++c)
        out[e * index(width) + index(c)] =
            read(buffer.data.data() + view.byteOffset + accessor.byteOffset + e * index(stride) + index(c * size), accessor.componentType, accessor.normalized);
  }
  if (accessor.sparse.isSparse) throw std::runtime_error("sparse accessors are not read by the checker");
  return out;
}

Affine3d matrixOf(const double* columns) {
  Affine3d m;
  m.matrix() = Eigen::Map<const Eigen::Matrix4d>(columns);
  return m;
}

struct Track {
  int node = 0;
  char path = 'r';
  int mode = 0;  ///< 0 linear, 1 step, 2 cubic spline
  int width = 4;
  std::vector<double> times, values;
};

Eigen::VectorXd sample(const Track& track, double time) {
  const int w = track.width;
  const auto key = [&](std::size_t k, int part) {
    const std::size_t stride = track.mode == 2 ? 3 : 1;
    return Eigen::Map<const Eigen::VectorXd>(track.values.data() + (k * stride + index(part)) * index(w), w).eval();
  };
  const int value = track.mode == 2 ? 1 : 0;
  const auto& t = track.times;
  if (time <= t.front()) return key(0, value);
  if (time >= t.back()) return key(t.size() - 1, value);
  const std::size_t b = index(static_cast<int>(std::upper_bound(t.begin(), t.end(), time) - t.begin())), a = b - 1;
  const double span = t[b] - t[a], u = (time - t[a]) / span;
  if (track.mode == 1) return key(a, 0);
  if (track.mode == 2) {
    const double u2 = u * u, u3 = u2 * u;
    return (2 * u3 - 3 * u2 + 1) * key(a, 1) + span * (u3 - 2 * u2 + u) * key(a, 2) + (-2 * u3 + 3 * u2) * key(b, 1) + span * (u3 - u2) * key(b, 0);
  }
  const Eigen::VectorXd p = key(a, 0), q = key(b, 0);
  if (track.path != 'r') return p + u * (q - p);
  const Quaterniond r = Quaterniond(p[3], p[0], p[1], p[2]).slerp(u, Quaterniond(q[3], q[0], q[1], q[2]));
  return Eigen::Vector4d(r.x(), r.y(), r.z(), r.w());
}

struct Local {
  Vector3d t = Vector3d::Zero(), s = Vector3d::Ones();
  Quaterniond r = Quaterniond::Identity();
  bool hasMatrix = false;
  Affine3d matrix = Affine3d::Identity();
  [[nodiscard]] Affine3d affine() const {
    return hasMatrix ? matrix : Affine3d(Eigen::Translation3d(t) * r.normalized() * Eigen::Scaling(s));
  }
};

}  // namespace

Film readGltf(const std::string& path, const std::string& clip, double fps) {
  tinygltf::TinyGLTF loader;
  loader.SetImageLoader([](tinygltf::Image*, const int, std::string*, std::string*, int, int, const unsigned char*, int, void*) { return true; }, nullptr);
  tinygltf::Model model;
  std::string error, warning;
  const bool binary = path.size() > 4 && path.substr(path.size() - 5) != ".gltf";
  if (!(binary ? loader.LoadBinaryFromFile(&model, &error, &warning, path) : loader.LoadASCIIFromFile(&model, &error, &warning, path)))
    throw std::runtime_error("cannot read " + path + ": " + error);

  Film film;
  film.fps = fps;
  const std::size_t count = model.nodes.size();
  film.names.resize(count);
  film.parents.assign(count, -1);
  film.ends.assign(count, Vector3d::Zero());
  std::vector<Local> rest(count);
  for (std::size_t n = 0; n < count; ++n) {
    const tinygltf::Node& node = model.nodes[n];
    film.names[n] = node.name;
    for (int child : node.children) film.parents[index(child)] = static_cast<int>(n);
    if (node.matrix.size() == 16) {
      rest[n].hasMatrix = true;
      rest[n].matrix = matrixOf(node.matrix.data());
    }
    if (node.translation.size() == 3) rest[n].t = Vector3d(node.translation.data());
    if (node.scale.size() == 3) rest[n].s = Vector3d(node.scale.data());
    if (node.rotation.size() == 4) rest[n].r = Quaterniond(node.rotation[3], node.rotation[0], node.rotation[1], node.rotation[2]);
  }
  std::vector<std::size_t> order;
  for (std::size_t n = 0; n < count; ++n)
    if (film.parents[n] < 0) order.push_back(n);
  for (std::size_t i = 0; i < order.size(); ++i)
    for (int child : model.nodes[order[i]].children) order.push_back(index(child));
  const auto pose = [&](const std::vector<Local>& local, Affine3d* world) {
    for (std::size_t n : order) world[n] = film.parents[n] < 0 ? local[n].affine() : world[film.parents[n]] * local[n].affine();
  };

  int chosen = static_cast<int>(model.animations.size()) - 1;
  for (std::size_t a = 0; a < model.animations.size(); ++a)
    if (!clip.empty() && model.animations[a].name == clip) chosen = static_cast<int>(a);
  std::vector<Track> tracks;
  double end = 0;
  if (chosen >= 0) {
    film.clip = model.animations[index(chosen)].name;
    for (const auto& channel : model.animations[index(chosen)].channels) {
      if (channel.target_node < 0 || channel.target_path == "weights") continue;
      const auto& sampler = model.animations[index(chosen)].samplers.at(index(channel.sampler));
      Track track;
      track.node = channel.target_node;
      track.path = channel.target_path[0];
      track.mode = sampler.interpolation == "STEP" ? 1 : sampler.interpolation == "CUBICSPLINE" ? 2 : 0;
      int one = 1;
      track.times = numbers(model, sampler.input, one);
      track.values = numbers(model, sampler.output, track.width);
      if (track.times.empty()) continue;
      end = std::max(end, track.times.back());
      tracks.push_back(std::move(track));
    }
  }
  film.frames = static_cast<int>(std::lround(end * fps)) + 1;
  film.world.resize(index(film.frames) * count);
  std::vector<Local> local = rest;
  for (int f = 0; f < film.frames; ++f) {
    for (const Track& track : tracks) {
      const Eigen::VectorXd v = sample(track, f / fps);
      Local& node = local[index(track.node)];
      if (track.path == 'r') node.r = Quaterniond(v[3], v[0], v[1], v[2]);
      else (track.path == 't' ? node.t : node.s) = v.head<3>();
    }
    pose(local, film.world.data() + index(f) * count);
  }
  for (const Affine3d& w : film.world) film.finite = film.finite && w.matrix().allFinite();

  // Bind pose: what the inverse bind matrices say, set into the world by the topmost joint of each skin.
  std::vector<Affine3d> restWorld(count);
  pose(rest, restWorld.data());
  std::vector<bool> bound(count, false);
  film.bind = restWorld;
  std::vector<std::vector<Affine3d>> inverse(model.skins.size());
  for (std::size_t s = 0; s < model.skins.size(); ++s) {
    const tinygltf::Skin& skin = model.skins[s];
    int width = 16;
    const std::vector<double> values = skin.inverseBindMatrices >= 0 ? numbers(model, skin.inverseBindMatrices, width) : std::vector<double>{};
    for (std::size_t k = 0; k < skin.joints.size(); ++k) inverse[s].push_back(values.empty() ? Affine3d::Identity() : matrixOf(values.data() + k * 16));
    const auto depth = [&](int n) {
      int d = 0;
      for (int p = film.parents[index(n)]; p >= 0; p = film.parents[index(p)]) ++d;
      return d;
    };
    std::size_t top = 0;
    for (std::size_t k = 1; k < skin.joints.size(); ++k)
      if (depth(skin.joints[k]) < depth(skin.joints[top])) top = k;
    const Affine3d worldFromMesh = restWorld[index(skin.joints[top])] * inverse[s][top];
    for (std::size_t k = 0; k < skin.joints.size(); ++k) {
      const std::size_t n = index(skin.joints[k]);
      if (bound[n]) continue;
      film.bind[n] = worldFromMesh * inverse[s][k].inverse();
      bound[n] = true;
    }
  }
  for (std::size_t n : order)
    if (!bound[n] && film.parents[n] >= 0) film.bind[n] = film.bind[index(film.parents[n])] * rest[n].affine();

  for (std::size_t n = 0; n < count; ++n) {
    const tinygltf::Node& node = model.nodes[n];
    if (node.mesh < 0) continue;
    for (const auto& primitive : model.meshes[index(node.mesh)].primitives) {
      if (primitive.mode != TINYGLTF_MODE_TRIANGLES && primitive.mode != -1) continue;
      const auto positionAt = primitive.attributes.find("POSITION");
      if (positionAt == primitive.attributes.end()) continue;
      int width = 3;
      const std::vector<double> positions = numbers(model, positionAt->second, width);
      const int first = static_cast<int>(film.points.size()), vertices = static_cast<int>(positions.size() / 3);
      std::vector<std::vector<std::pair<int, double>>> influences(index(vertices));
      if (node.skin >= 0)
        for (int set = 0;; ++set) {
          const auto j = primitive.attributes.find("JOINTS_" + std::to_string(set)), w = primitive.attributes.find("WEIGHTS_" + std::to_string(set));
          if (j == primitive.attributes.end() || w == primitive.attributes.end()) break;
          int four = 4;
          const auto joints = numbers(model, j->second, four), weights = numbers(model, w->second, four);
          for (int v = 0; v < vertices; ++v)
            for (int c = 0; c < 4; ++c)
              if (weights[index(v * 4 + c)] > 0) influences[index(v)].emplace_back(static_cast<int>(joints[index(v * 4 + c)]), weights[index(v * 4 + c)]);
        }
      for (int v = 0; v < vertices; ++v) {
        const Vector3d p(positions.data() + index(v * 3));
        SkinPoint point;
        double sum = 0;
        for (const auto& i : influences[index(v)]) sum += i.second;
        if (node.skin >= 0 && sum > 0) {
          for (const auto& i : influences[index(v)])
            point.shares.push_back({model.skins[index(node.skin)].joints.at(index(i.first)), i.second / sum, inverse[index(node.skin)].at(index(i.first)) * p});
        } else {
          point.rigid = true;
          point.shares.push_back({static_cast<int>(n), 1, p});
        }
        film.points.push_back(std::move(point));
      }
      std::vector<int> order3;
      if (primitive.indices >= 0) {
        int one = 1;
        for (double i : numbers(model, primitive.indices, one)) order3.push_back(static_cast<int>(i));
      } else {
        for (int v = 0; v < vertices; ++v) order3.push_back(v);
      }
      for (std::size_t i = 0; i + 2 < order3.size(); i += 3) film.triangles.push_back({first + order3[i], first + order3[i + 1], first + order3[i + 2]});
    }
  }
  return film;
}

}  // namespace checker
