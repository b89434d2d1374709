#include "core/scene/prop.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

constexpr int slices = 64;

/// Eigenvectors of a symmetric matrix by Jacobi's rotations, largest value first.
std::array<Vec3d, 3> principalAxes(const Mat3d& symmetric, std::array<double, 3>& values) {
  double a[3][3], v[3][3];
  for (int c = 0; c < 3; ++c)
    for (int r = 0; r < 3; ++r) {
      a[r][c] = (c == 0 ? symmetric.cx : c == 1 ? symmetric.cy : symmetric.cz)[r];
      v[r][c] = r == c ? 1 : 0;
    }
  for (int sweep = 0; sweep < 60; ++sweep) {
    int p = 0, q = 1;
    for (int i = 0; i < 3; ++i)
      for (int j = i + 1; j < 3; ++j)
        if (std::abs(a[i][j]) > std::abs(a[p][q])) {
          p = i;
          q = j;
        }
    if (std::abs(a[p][q]) < 1e-300) break;
    const double theta = 0.5 * std::atan2(2 * a[p][q], a[q][q] - a[p][p]), c = std::cos(theta), s = std::sin(theta);
    for (int k = 0; k < 3; ++k) {
      const double x = a[k][p], y = a[k][q];
      a[k][p] = c * x - s * y;
      a[k][q] = s * x + c * y;
    }
    for (int k = 0; k < 3; ++k) {
      const double x = a[p][k], y = a[q][k];
      a[p][k] = c * x - s * y;
      a[q][k] = s * x + c * y;
      const double m = v[k][p], n = v[k][q];
      v[k][p] = c * m - s * n;
      v[k][q] = s * m + c * n;
    }
  }
  std::array<int, 3> order{0, 1, 2};
  std::sort(order.begin(), order.end(), [&](int i, int j) { return a[i][i] > a[j][j]; });
  std::array<Vec3d, 3> out;
  for (std::size_t k = 0; k < 3; ++k) {
    values[k] = a[order[k]][order[k]];
    out[k] = normalised(Vec3d{v[0][order[k]], v[1][order[k]], v[2][order[k]]}, Vec3d{0, 1, 0});
  }
  return out;
}

/// Sum over all triangles of a mesh.
template <class Visit>
void eachTriangle(const PropModel& prop, Visit visit) {
  for (const Mesh& mesh : prop.figure.meshes)
    for (std::size_t t = 0; t + 2 < mesh.indices.size(); t += 3)
      visit(Vec3d(mesh.positions[mesh.indices[t]]), Vec3d(mesh.positions[mesh.indices[t + 1]]), Vec3d(mesh.positions[mesh.indices[t + 2]]));
}

double middleOf(std::vector<double> values, double q) {
  if (values.empty()) return 0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

Rigid frameAt(const PropShape& shape, double along, const Vec3d& towardsAxis, double sign, double radius) {
  const Vec3d y = shape.axis * sign;
  const Vec3d flat = towardsAxis - shape.axis * dot(towardsAxis, shape.axis);
  const Vec3d z = normalised(flat, anyPerpendicular(shape.axis));
  const Vec3d centre = shape.centre[static_cast<std::size_t>(shape.sliceAt(along))];
  const Vec3d at = centre + shape.axis * (along - dot(centre - shape.middle, shape.axis));
  return {toQuat(Mat3d{cross(y, z), y, z}), at - z * radius};
}

/// Which vertices of a bound mesh these joints move for the most part.
template <class Among>
std::vector<bool> movedBy(const Mesh& mesh, const Skin& skin, Among&& among) {
  std::vector<bool> out(mesh.positions.size(), false);
  for (std::size_t v = 0; v < out.size(); ++v) {
    float weight = 0;
    for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k)
      if (among(skin.joints[mesh.influenceJoint[k]])) weight += mesh.influenceWeight[k];
    out[v] = weight > 0.5F;
  }
  return out;
}

/// Leaves the triangles of these vertices alone, and the vertices they use.
void keepVertices(Mesh& mesh, const std::vector<bool>& kept) {
  constexpr std::uint32_t none = 0xFFFFFFFF;
  std::vector<std::uint32_t> old, now(kept.size(), none), indices;
  for (std::size_t t = 0; t + 2 < mesh.indices.size(); t += 3) {
    if (!kept[mesh.indices[t]] || !kept[mesh.indices[t + 1]] || !kept[mesh.indices[t + 2]]) continue;
    for (std::size_t k = t; k < t + 3; ++k) {
      std::uint32_t& at = now[mesh.indices[k]];
      if (at == none) {
        at = static_cast<std::uint32_t>(old.size());
        old.push_back(mesh.indices[k]);
      }
      indices.push_back(at);
    }
  }
  const auto pick = [&](auto& list) {
    if (list.empty()) return;
    std::remove_reference_t<decltype(list)> picked;
    for (const std::uint32_t v : old) picked.push_back(list[v]);
    list = std::move(picked);
  };
  std::vector<std::uint32_t> start{0};
  std::vector<std::uint16_t> joints;
  std::vector<float> weights;
  for (const std::uint32_t v : old) {
    for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k) joints.push_back(mesh.influenceJoint[k]), weights.push_back(mesh.influenceWeight[k]);
    start.push_back(static_cast<std::uint32_t>(joints.size()));
  }
  mesh.influenceStart = std::move(start);
  mesh.influenceJoint = std::move(joints);
  mesh.influenceWeight = std::move(weights);
  pick(mesh.positions);
  pick(mesh.normals);
  pick(mesh.texcoords);
  pick(mesh.colours);
  mesh.morphs.clear();
  mesh.morphWeights.clear();
  mesh.indices = std::move(indices);
}

}  // namespace

Result<PropModel> propOf(const Figure& source, const std::string& node, double scale) {
  if (!(scale > 0) || !std::isfinite(scale)) return makeError(Fault::usage, "A prop's scale must be above 0", source.path, "Use 1 for its own size");
  int root = -1;
  if (!node.empty()) {
    const Result<int> found = findJoint(source.skeleton, node);
    if (!found) return found.error();
    root = *found;
  }
  const std::vector<Affined> world = source.hasSkin() ? bindWorld(source) : restWorld(source.skeleton);
  const Affined toWorld = source.space.toWorld();
  Rigid frame;
  if (root >= 0) {
    const Affined place = toWorld * world[static_cast<std::size_t>(root)];
    if (std::abs(determinant(place.linear)) < 1e-300) return makeError(Fault::input, "The node '" + node + "' has no size", source.path, "Choose another node");
    frame = {polarParts(place).rotation, place.translation};
  }
  const Rigid back = inverse(frame);
  PropModel prop;
  prop.name = node.empty() ? (source.path.empty() ? "prop" : source.path.substr(source.path.find_last_of("/\\") + 1)) : node;
  Figure& out = prop.figure;
  out.path = source.path;
  out.format = source.format;
  out.skeleton.add("prop", -1, Trsd{}, 0);
  std::vector<int> materialOf(source.materials.size(), -1), imageOf(source.images.size(), -1);
  for (const Mesh& mesh : source.meshes) {
    const auto below = [&](int joint) { return joint == root || (joint >= 0 && isAncestor(source.skeleton, root, joint)); };
    // Of a bound mesh the node's own part is what it moves: its own node says nothing about that, but may be what was named.
    const bool named = root < 0 || below(mesh.node), part = !named && mesh.skin >= 0;
    if (!named && !part) continue;
    Mesh copy = mesh;
    if (part) keepVertices(copy, movedBy(mesh, source.skins[static_cast<std::size_t>(mesh.skin)], below));
    if (copy.indices.empty()) continue;
    const std::vector<Vec3f> positions = skinnedPositions(source, copy, world);
    copy.node = 0;
    copy.skin = -1;
    copy.influenceStart.clear();
    copy.influenceJoint.clear();
    copy.influenceWeight.clear();
    copy.morphs.clear();
    copy.morphWeights.clear();
    Mat3d turn = toWorld.linear;
    bool mirrored = false;
    if (mesh.skin < 0 && mesh.node >= 0) {
      turn = turn * world[static_cast<std::size_t>(mesh.node)].linear;
      mirrored = determinant(turn) < 0;
    }
    bool good = true;
    for (std::size_t v = 0; v < positions.size(); ++v) {
      const Vec3d p = apply(back, apply(toWorld, Vec3d(positions[v]))) * scale;
      good = good && isFinite(p);
      copy.positions[v] = Vec3f(p);
    }
    if (!good) return makeError(Fault::input, "The prop's mesh '" + mesh.name + "' holds numbers that are not finite", source.path, "Export it again");
    // Normals go by the inverse transpose; of bound meshes the bind pose leaves them as they are but for the file's axes.
    const Mat3d normalTurn = std::abs(determinant(turn)) > 1e-300 ? transposed(inverse(turn)) : Mat3d{};
    for (Vec3f& n : copy.normals) n = Vec3f(rotate(back.turn, normalised(normalTurn * Vec3d(n), Vec3d{0, 1, 0})));
    if (mirrored)
      for (std::size_t t = 0; t + 2 < copy.indices.size(); t += 3) std::swap(copy.indices[t + 1], copy.indices[t + 2]);
    if (mesh.material >= 0) {
      int& material = materialOf[static_cast<std::size_t>(mesh.material)];
      if (material < 0) {
        material = static_cast<int>(out.materials.size());
        out.materials.push_back(source.materials[static_cast<std::size_t>(mesh.material)]);
        if (int& image = out.materials.back().image; image >= 0) {
          int& kept = imageOf[static_cast<std::size_t>(image)];
          if (kept < 0) {
            kept = static_cast<int>(out.images.size());
            out.images.push_back(source.images[static_cast<std::size_t>(image)]);
          }
          image = kept;
        }
      }
      copy.material = material;
    }
    out.meshes.push_back(std::move(copy));
  }
  if (out.meshes.empty())
    return makeError(Fault::input, node.empty() ? "The file holds no mesh, so there is no prop in it" : "The node '" + node + "' and those below it hold no mesh",
                     source.path, node.empty() ? "Export the prop's mesh along" : "Choose a node with a mesh");
  return prop;
}

Result<PropModel> shaftProp(double length, double radius) {
  if (!(length > 0) || !(radius > 0) || !std::isfinite(length) || !std::isfinite(radius))
    return makeError(Fault::usage, "A shaft needs a length and a radius above 0", {}, "Give both in metres");
  PropModel prop;
  prop.name = "shaft";
  prop.figure.skeleton.add("prop", -1, Trsd{}, 0);
  Material wood;
  wood.name = "shaft";
  wood.baseColour = {0.36F, 0.23F, 0.13F, 1};
  prop.figure.materials.push_back(wood);
  Mesh mesh;
  mesh.name = "shaft";
  mesh.node = mesh.material = 0;
  constexpr std::uint32_t sides = 24;
  for (std::uint32_t k = 0; k < sides; ++k) {
    const double angle = 2 * std::numbers::pi * k / sides;
    const Vec3f out(Vec3d{std::cos(angle), 0, std::sin(angle)});
    for (int end = 0; end < 2; ++end) {
      const double y = end == 0 ? 0 : length;
      mesh.positions.push_back(Vec3f(Vec3d(out) * radius + Vec3d{0, y, 0}));
      mesh.normals.push_back(out);
    }
    for (int end = 0; end < 2; ++end) {
      mesh.positions.push_back(Vec3f(Vec3d(out) * radius + Vec3d{0, end == 0 ? 0 : length, 0}));
      mesh.normals.push_back({0, end == 0 ? -1.0F : 1.0F, 0});
    }
  }
  for (std::uint32_t k = 0; k < sides; ++k) {
    const std::uint32_t a = 4 * k, b = 4 * ((k + 1) % sides);
    mesh.indices.insert(mesh.indices.end(), {a, a + 1, b, b, a + 1, b + 1});
    if (k > 0 && k + 1 < sides) mesh.indices.insert(mesh.indices.end(), {2, a + 2, b + 2, 3, b + 3, a + 3});
  }
  prop.figure.meshes.push_back(std::move(mesh));
  return prop;
}

int PropShape::sliceAt(double along) const {
  const int count = static_cast<int>(radius.size());
  if (count == 0 || !(high > low)) return 0;
  int slice = std::clamp(static_cast<int>((along - low) / (high - low) * count), 0, count - 1);
  // Gaps between separate pieces take the nearest slice that holds something.
  for (int step = 0; step < count; ++step)
    for (const int k : {slice - step, slice + step})
      if (k >= 0 && k < count && radius[static_cast<std::size_t>(k)] > 0) return k;
  return slice;
}

Result<PropShape> shapeOf(const PropModel& prop) {
  double area = 0;
  Vec3d sum;
  eachTriangle(prop, [&](const Vec3d& a, const Vec3d& b, const Vec3d& c) {
    const double size = 0.5 * length(cross(b - a, c - a));
    area += size;
    sum += (a + b + c) * (size / 3);
  });
  if (!(area > 0) || !std::isfinite(area)) return makeError(Fault::input, "The prop's mesh has no surface", prop.figure.path, "Choose a mesh with triangles");
  PropShape shape;
  shape.middle = sum / area;
  Mat3d spread{{}, {}, {}};
  eachTriangle(prop, [&](const Vec3d& a, const Vec3d& b, const Vec3d& c) {
    // Second moment of a triangle: its area times the mean over the three edge middles.
    const double weight = length(cross(b - a, c - a)) / 6;
    for (const Vec3d& m : {(a + b) * 0.5, (b + c) * 0.5, (c + a) * 0.5}) {
      const Vec3d d = m - shape.middle;
      spread.cx += d * (d.x * weight);
      spread.cy += d * (d.y * weight);
      spread.cz += d * (d.z * weight);
    }
  });
  std::array<double, 3> values{};
  const std::array<Vec3d, 3> axes = principalAxes(spread, values);
  shape.axis = axes[0];
  shape.flat = axes[2];
  shape.low = 1e300;
  shape.high = -1e300;
  eachTriangle(prop, [&](const Vec3d& a, const Vec3d& b, const Vec3d& c) {
    for (const Vec3d& p : {a, b, c}) {
      const double along = dot(p - shape.middle, shape.axis);
      shape.low = std::min(shape.low, along);
      shape.high = std::max(shape.high, along);
    }
  });
  if (!(shape.high - shape.low > 1e-9)) return makeError(Fault::input, "The prop's mesh has no size", prop.figure.path, "Check its scale");

  // Points spread over the surface, more where triangles are long, sorted into slices across the axis.
  std::vector<std::vector<Vec3d>> points(slices);
  const double step = (shape.high - shape.low) / slices;
  eachTriangle(prop, [&](const Vec3d& a, const Vec3d& b, const Vec3d& c) {
    const double reach = std::max({distance(a, b), distance(b, c), distance(c, a)});
    const int n = std::clamp(static_cast<int>(reach / (0.5 * step)) + 1, 1, 2 * slices + 1);
    for (int i = 0; i <= n; ++i)
      for (int j = 0; i + j <= n; ++j) {
        const Vec3d p = a + (b - a) * (static_cast<double>(i) / n) + (c - a) * (static_cast<double>(j) / n);
        points[static_cast<std::size_t>(std::clamp(static_cast<int>((dot(p - shape.middle, shape.axis) - shape.low) / step), 0, slices - 1))].push_back(p);
      }
  });
  shape.radius.assign(slices, 0);
  shape.centre.assign(slices, shape.middle);
  std::vector<double> round(slices, 0);  // least width by greatest
  for (std::size_t k = 0; k < slices; ++k) {
    if (points[k].empty()) continue;
    double least = 1e300, most = 0;
    Vec3d low{1e300, 1e300, 0}, high{-1e300, -1e300, 0};
    const Vec3d u = shape.flat, w = cross(shape.axis, shape.flat);
    for (int turn = 0; turn < 8; ++turn) {
      const double angle = turn * std::numbers::pi / 8;
      const Vec3d way = u * std::cos(angle) + w * std::sin(angle);
      double a = 1e300, b = -1e300;
      for (const Vec3d& p : points[k]) {
        const double x = dot(p - shape.middle, way);
        a = std::min(a, x);
        b = std::max(b, x);
      }
      least = std::min(least, b - a);
      most = std::max(most, b - a);
      if (turn == 0) {
        low.x = a;
        high.x = b;
      }
      if (turn == 4) {
        low.y = a;
        high.y = b;
      }
    }
    shape.radius[k] = 0.25 * (least + most);
    round[k] = most > 0 ? least / most : 1;
    shape.centre[k] = shape.middle + u * (0.5 * (low.x + high.x)) + w * (0.5 * (low.y + high.y)) +
                      shape.axis * (shape.low + (static_cast<double>(k) + 0.5) * step);
  }
  // The handle: the longest run of thin slices that are about as wide one way as the other.
  std::vector<double> thin;
  for (std::size_t k = 0; k < slices; ++k)
    if (shape.radius[k] > 0 && round[k] > 0.45) thin.push_back(shape.radius[k]);
  const double limit = thin.empty() ? 1e300 : 1.7 * middleOf(thin, 0.2);
  int best = 0, bestFirst = 0;
  for (int k = 0; k < slices;) {
    const auto fits = [&](int s) { return shape.radius[static_cast<std::size_t>(s)] > 0 && shape.radius[static_cast<std::size_t>(s)] <= limit && (thin.empty() || round[static_cast<std::size_t>(s)] > 0.45); };
    if (!fits(k)) {
      ++k;
      continue;
    }
    int end = k;
    while (end + 1 < slices && fits(end + 1)) ++end;
    if (end - k + 1 > best) {
      best = end - k + 1;
      bestFirst = k;
    }
    k = end + 1;
  }
  if (best == 0) best = slices;
  const int bestLast = bestFirst + best - 1;
  shape.handleLow = shape.low + bestFirst * step;
  shape.handleHigh = shape.low + (bestLast + 1) * step;
  shape.handleRadius = middleOf({shape.radius.begin() + bestFirst, shape.radius.begin() + bestLast + 1}, 0.5);
  // The axis runs towards the handle's free end: where less of the object lies beyond the handle.
  const double before = shape.handleLow - shape.low, after = shape.high - shape.handleHigh;
  if (after > before || (after == before && shape.axis.y < 0)) {
    shape.axis = -shape.axis;
    const double low = shape.low, handleLow = shape.handleLow;
    shape.low = -shape.high;
    shape.high = -low;
    shape.handleLow = -shape.handleHigh;
    shape.handleHigh = -handleLow;
    std::reverse(shape.radius.begin(), shape.radius.end());
    std::reverse(shape.centre.begin(), shape.centre.end());
  }
  shape.handleAtEnd = shape.high - shape.handleHigh < 0.08 * (shape.high - shape.low);
  return shape;
}

PropGrips proposeGrips(const PropShape& shape, double palm, double apart) {
  PropGrips out;
  const double handle = shape.handleHigh - shape.handleLow, whole = shape.high - shape.low;
  out.radius = shape.handleRadius;
  const bool hilt = handle < 0.45 * whole && handle < 3 * apart;
  double lead = 0, support = 0, sign = 1;
  if (hilt) {
    lead = shape.handleLow + std::min(0.5 * palm, 0.5 * handle);
    support = std::min(lead + palm, shape.handleHigh - std::min(0.5 * palm, 0.25 * handle));
    sign = -1;
    out.reason = "on the short handle, the lead hand next to the heavy part";
  } else {
    lead = shape.handleHigh - std::max(0.12 * handle, std::min(0.5 * palm, 0.5 * handle));
    support = std::max(lead - apart, shape.handleLow + 0.1 * handle);
    out.reason = "on the long handle, the lead hand near its free end";
  }
  const auto centreAt = [&](double along) {
    const Vec3d& centre = shape.centre[static_cast<std::size_t>(shape.sliceAt(along))];
    return centre + shape.axis * (along - dot(centre - shape.middle, shape.axis));
  };
  out.end = centreAt(shape.low);
  out.foot = centreAt(shape.handleLow);
  out.lead = frameAt(shape, lead, shape.flat, sign, out.radius);
  out.support = frameAt(shape, support, -shape.flat, sign, out.radius);
  return out;
}

Rigid gripAt(const PropShape& shape, const Vec3d& point) {
  const double along = std::clamp(dot(point - shape.middle, shape.axis), shape.low, shape.high);
  const auto slice = static_cast<std::size_t>(shape.sliceAt(along));
  const double handle = shape.handleHigh - shape.handleLow;
  const bool hilt = handle < 0.45 * (shape.high - shape.low) && handle < 0.72;
  return frameAt(shape, along, shape.centre[slice] - point, hilt ? -1 : 1, shape.radius[slice]);
}

}  // namespace understudy
