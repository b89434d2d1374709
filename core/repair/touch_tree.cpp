#include "core/repair/touch_tree.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "core/body/triangle_tree.h"

namespace understudy {
namespace {

constexpr std::size_t mostInLeaf = 3;
/// Metres by which balls are larger, as shares of joints add up to one but for rounding.
constexpr double slack = 1e-5;

}  // namespace

SkinTree::SkinTree(const BodySurface& surface, const PartMesh& mesh) : surface_(&surface) {
  const std::size_t own = mesh.vertices.size();
  const auto vertex = [&](std::uint32_t corner) { return mesh.vertices[corner]; };
  std::vector<std::uint32_t> triangles;
  std::vector<Vec3d> middles(mesh.indices.size() / 3);
  for (const std::vector<int>& rim : mesh.rims) {
    rims_.emplace_back();
    for (const int v : rim) rims_.back().push_back(mesh.vertices[static_cast<std::size_t>(v)]);
  }
  for (std::uint32_t t = 0; t < mesh.indices.size() / 3; ++t) {
    const std::uint32_t* c = &mesh.indices[3 * t];
    const std::uint32_t most = std::max({c[0], c[1], c[2]});
    if (most < own) {
      triangles.push_back(t);
      for (int k = 0; k < 3; ++k) middles[t] += surface.positions[static_cast<std::size_t>(vertex(c[k]))] / 3.0;
      continue;
    }
    Fill fill;
    fill.rim = most - static_cast<std::uint32_t>(own);
    const std::vector<int>& rim = mesh.rims[fill.rim];
    for (std::size_t k = 0; k < 3; ++k) fill.corners[k] = c[k] < own ? static_cast<int>(std::find(rim.begin(), rim.end(), static_cast<int>(c[k])) - rim.begin()) : -1;
    fills_.push_back(fill);
  }
  std::stable_sort(fills_.begin(), fills_.end(), [](const Fill& a, const Fill& b) { return a.rim < b.rim; });
  if (!triangles.empty()) build(mesh, triangles, middles);
}

std::vector<SkinTree::Node::Share> SkinTree::sharesOf(const PartMesh& mesh, std::span<const std::uint32_t> triangles) const {
  struct Range {
    double least = 1, most = 0, sum = 0;
    std::size_t corners = 0;
  };
  std::map<int, Range> ranges;
  for (const std::uint32_t t : triangles)
    for (std::size_t k = 0; k < 3; ++k) {
      const auto v = static_cast<std::size_t>(mesh.vertices[mesh.indices[3 * t + k]]);
      for (std::uint32_t i = surface_->influenceStart[v]; i < surface_->influenceStart[v + 1]; ++i) {
        Range& range = ranges[surface_->influenceJoint[i]];
        const auto share = static_cast<double>(surface_->influenceWeight[i]);
        range.least = std::min(range.least, share);
        range.most = std::max(range.most, share);
        range.sum += share;
        ++range.corners;
      }
    }
  std::vector<Node::Share> out;
  const std::size_t corners = 3 * triangles.size();
  for (const auto& [joint, range] : ranges) {
    const double mean = range.sum / static_cast<double>(corners), least = range.corners < corners ? 0 : range.least;
    out.push_back({joint, mean, std::max(range.most - mean, mean - least)});
  }
  return out;
}

int SkinTree::build(const PartMesh& mesh, std::span<std::uint32_t> triangles, std::span<const Vec3d> middles) {
  const int at = static_cast<int>(nodes_.size());
  nodes_.emplace_back();
  Node node;
  Vec3d low{1e300, 1e300, 1e300}, high = -low;
  const auto each = [&](const auto& take) {
    for (const std::uint32_t t : triangles)
      for (std::size_t k = 0; k < 3; ++k) take(static_cast<std::size_t>(mesh.vertices[mesh.indices[3 * t + k]]));
  };
  each([&](std::size_t v) {
    for (int c = 0; c < 3; ++c) {
      low[c] = std::min(low[c], surface_->positions[v][c]);
      high[c] = std::max(high[c], surface_->positions[v][c]);
    }
  });
  node.middle = (low + high) * 0.5;
  each([&](std::size_t v) { node.radius = std::max(node.radius, distance(node.middle, surface_->positions[v])); });
  node.shares = sharesOf(mesh, triangles);
  if (triangles.size() <= mostInLeaf) {
    node.first = static_cast<std::uint32_t>(corners_.size());
    node.firstVertex = static_cast<std::uint32_t>(vertices_.size());
    for (const std::uint32_t t : triangles) {
      std::array<std::uint8_t, 3> corners{};
      for (std::size_t k = 0; k < 3; ++k) {
        const int v = mesh.vertices[mesh.indices[3 * t + k]];
        const auto known = std::find(vertices_.begin() + node.firstVertex, vertices_.end(), v);
        corners[k] = static_cast<std::uint8_t>(known - vertices_.begin() - node.firstVertex);
        if (known == vertices_.end()) vertices_.push_back(v);
      }
      corners_.push_back(corners);
    }
    node.last = static_cast<std::uint32_t>(corners_.size());
    node.lastVertex = static_cast<std::uint32_t>(vertices_.size());
  } else {
    const Vec3d size = high - low;
    const int axis = size.x >= size.y && size.x >= size.z ? 0 : size.y >= size.z ? 1 : 2;
    const std::size_t half = triangles.size() / 2;
    std::nth_element(triangles.begin(), triangles.begin() + static_cast<std::ptrdiff_t>(half), triangles.end(), [&](std::uint32_t a, std::uint32_t b) {
      return middles[a][axis] != middles[b][axis] ? middles[a][axis] < middles[b][axis] : a < b;
    });
    build(mesh, triangles.first(half), middles);
    node.right = build(mesh, triangles.subspan(half), middles);
  }
  nodes_[static_cast<std::size_t>(at)] = std::move(node);
  return at;
}

struct PosedSkin::Best {
  double square = 1e300, least = 1e300, facing = 0;
  Vec3d way, normal;
  /// True where it is nearer.
  bool take(const Vec3d& to, const Vec3d& face) {
    const double d = dot(to, to);
    if (d > square + 1e-12) return false;
    // At edges and corners the face that looks at the point most tells the side.
    const double looks = std::abs(dot(face, normalised(to, face)));
    if (d > square - 1e-12 && looks <= facing) return false;
    square = std::min(square, d);
    least = std::min(least, std::sqrt(square));
    facing = looks;
    way = to;
    normal = face;
    return true;
  }
};

PosedSkin::Triangle PosedSkin::triangle(const Vec3d& a, const Vec3d& b, const Vec3d& c) {
  Triangle out{{a, b, c}, (a + b + c) / 3.0, normalised(cross(b - a, c - a)), 0};
  for (const Vec3d& corner : out.corners) out.radius = std::max(out.radius, dot(corner - out.middle, corner - out.middle));
  out.radius = std::sqrt(out.radius);
  return out;
}

void PosedSkin::pose() const {
  if (!tree_.empty()) addBall(0);
  std::vector<std::vector<Vec3d>> rims;
  std::vector<Vec3d> means;
  for (const std::vector<int>& rim : tree_.rims_) {
    pointsOf(*tree_.surface_, turned_, rim, rims.emplace_back(rim.size()));
    Vec3d mean;
    for (const Vec3d& p : rims.back()) mean += p;
    means.push_back(mean / static_cast<double>(rim.size()));
  }
  for (const SkinTree::Fill& fill : tree_.fills_) {
    const auto corner = [&](std::size_t k) { return fill.corners[k] < 0 ? means[fill.rim] : rims[fill.rim][static_cast<std::size_t>(fill.corners[k])]; };
    if (fills_.empty() || rims_.empty() || rims_.back().middle != means[fill.rim]) {
      const auto at = static_cast<std::uint32_t>(fills_.size());
      rims_.push_back({means[fill.rim], 0, at, at});
    }
    fills_.push_back(triangle(corner(0), corner(1), corner(2)));
    Rim& rim = rims_.back();
    rim.last = static_cast<std::uint32_t>(fills_.size());
    for (const Vec3d& p : fills_.back().corners) rim.radius = std::max(rim.radius, distance(p, rim.middle));
  }
}

std::uint32_t PosedSkin::addBall(int node) const {
  const SkinTree::Node& n = tree_.nodes_[static_cast<std::size_t>(node)];
  Ball out;
  out.node = node;
  out.leaf = n.right < 0;
  if (n.shares.empty()) {
    out.radius = 1e150;
  } else {
    // A vertex lies no farther from where its joints take the middle than in the reference pose, and that no farther from their mean than
    // shares differ.
    const auto middleBy = [&](const SkinTree::Node::Share& share) { return apply(turned_[static_cast<std::size_t>(share.joint)], n.middle); };
    for (const SkinTree::Node::Share& share : n.shares) out.middle += middleBy(share) * share.mean;
    double off = 0;
    for (const SkinTree::Node::Share& share : n.shares)
      if (share.off > 0) off += share.off * distance(middleBy(share), out.middle);
    out.radius = n.radius + off + slack;
  }
  balls_.push_back(out);
  return static_cast<std::uint32_t>(balls_.size() - 1);
}

inline std::uint32_t PosedSkin::partOf(std::uint32_t ball, std::size_t half) const {
  if (const std::uint32_t known = balls_[ball].parts[half]; known > 0) return known;
  const int node = balls_[ball].node;
  const std::uint32_t added = addBall(half == 0 ? node + 1 : tree_.nodes_[static_cast<std::size_t>(node)].right);
  return balls_[ball].parts[half] = added;
}

void PosedSkin::look(std::uint32_t leaf, const Vec3d& point, Best& all, Best& skin) const {
  const SkinTree::Node& node = tree_.nodes_[static_cast<std::size_t>(balls_[leaf].node)];
  std::uint32_t& at = balls_[leaf].posed;
  if (at == 0) {
    std::array<Vec3d, 3 * mostInLeaf> vertices;
    const std::span<const int> which(tree_.vertices_.data() + node.firstVertex, node.lastVertex - node.firstVertex);
    pointsOf(*tree_.surface_, turned_, which, std::span(vertices).first(which.size()));
    at = 1 + static_cast<std::uint32_t>(triangles_.size());
    for (std::uint32_t t = node.first; t < node.last; ++t) {
      const auto& c = tree_.corners_[t];
      triangles_.push_back(triangle(vertices[c[0]], vertices[c[1]], vertices[c[2]]));
    }
  }
  for (std::uint32_t k = at - 1; k < at - 1 + (node.last - node.first); ++k) {
    const Triangle& t = triangles_[k];
    const Vec3d off = point - t.middle;
    if (t.beyond(off, skin.least)) continue;
    const Vec3d to = point - closestOnTriangle(point, t.corners[0], t.corners[1], t.corners[2]);
    all.take(to, t.normal);
    if (skin.take(to, t.normal)) last_ = leaf;
  }
}

PosedSkin::Answer PosedSkin::nearest(const Vec3d& point, double within, double enough) const {
  // The side is told by all faces, those that fill holes as well; the distance by the skin alone.
  Best all, skin;
  all.least = skin.least = within;
  if (balls_.empty()) pose();
  if (balls_.empty()) return {within, false, {}, {}};
  const std::optional<std::uint32_t> first = last_;
  if (first) look(*first, point, all, skin);
  struct Open {
    std::uint32_t ball;
    double radius, square;
  };
  std::array<Open, 64> later;
  std::size_t open = 0;
  const auto reached = [&](std::uint32_t at) {
    const Ball& ball = balls_[at];
    const Vec3d off = point - ball.middle;
    return Open{at, ball.radius, dot(off, off)};
  };
  const auto mayHold = [&](const Open& what) {
    const double far = what.radius + skin.least + 1e-9;
    return what.square <= far * far;
  };
  Open at = reached(0);
  bool here = mayHold(at);
  while (skin.least >= enough) {
    if (!here) {
      if (open == 0) break;
      at = later[--open];
      if (!mayHold(at)) continue;
    }
    if (balls_[at.ball].leaf) {
      if (at.ball != first) look(at.ball, point, all, skin);
      here = false;
      continue;
    }
    // The nearer one is looked at first.
    Open near = reached(partOf(at.ball, 0)), other = reached(partOf(at.ball, 1));
    if (other.square < near.square) std::swap(near, other);
    if (mayHold(other)) later[open++] = other;
    at = near;
    here = mayHold(near);
  }
  for (const Rim& rim : rims_) {
    const Vec3d away = point - rim.middle;
    if (const double far = rim.radius + all.least + 1e-9; dot(away, away) > far * far) continue;
    for (std::uint32_t k = rim.first; k < rim.last; ++k) {
      const Triangle& t = fills_[k];
      const Vec3d off = point - t.middle;
      if (t.beyond(off, all.least)) continue;
      all.take(point - closestOnTriangle(point, t.corners[0], t.corners[1], t.corners[2]), t.normal);
    }
  }
  return {skin.least, dot(all.way, all.normal) < 0, skin.way, skin.normal};
}

}  // namespace understudy
