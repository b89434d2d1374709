#include "core/body/triangle_tree.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

constexpr int leafTriangles = 6;
constexpr double farAway = 3;  // radii

Vec3d lower(const Vec3d& a, const Vec3d& b) { return {std::min(a.x, b.x), std::min(a.y, b.y), std::min(a.z, b.z)}; }
Vec3d upper(const Vec3d& a, const Vec3d& b) { return {std::max(a.x, b.x), std::max(a.y, b.y), std::max(a.z, b.z)}; }

double squaredToBox(const Vec3d& p, const Vec3d& low, const Vec3d& high) {
  const double x = std::max({low.x - p.x, p.x - high.x, 0.0}), y = std::max({low.y - p.y, p.y - high.y, 0.0}),
               z = std::max({low.z - p.z, p.z - high.z, 0.0});
  return x * x + y * y + z * z;
}

/// Sums half solid angles of triangles seen from the origin (Van Oosterom and Strackee 1983) as arguments of complex numbers
/// that are multiplied, so that one arc tangent serves all.
class HalfAngles {
 public:
  void add(const Vec3d& a, const Vec3d& b, const Vec3d& c) {
    const double la = length(a), lb = length(b), lc = length(c);
    const double y = dot(a, cross(b, c)), x = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb;
    const double size = std::abs(x) + std::abs(y);
    // From a corner or within an edge nothing is seen of it.
    if (!(size > 0)) return;
    const double scale = 1 / size, nextX = (x_ * x - y_ * y) * scale, nextY = (x_ * y + y_ * x) * scale;
    // Arguments of one sign that pass half a turn together.
    if (y_ >= 0 && y >= 0 && nextY < 0) ++turns_;
    if (y_ < 0 && y < 0 && nextY >= 0) --turns_;
    x_ = nextX;
    y_ = nextY;
    // Products shrink; far from 0 and infinity they stay exact enough.
    if (const double now = std::abs(x_) + std::abs(y_); now < 1e-100) x_ /= now, y_ /= now;
  }
  [[nodiscard]] double sum() const { return std::atan2(y_, x_) + turns_ * (2 * M_PI); }

 private:
  double x_ = 1, y_ = 0;
  int turns_ = 0;
};

}  // namespace

Vec3d closestOnTriangle(const Vec3d& p, const Vec3d& a, const Vec3d& b, const Vec3d& c) {
  const Vec3d ab = b - a, ac = c - a, ap = p - a;
  const double d1 = dot(ab, ap), d2 = dot(ac, ap);
  if (d1 <= 0 && d2 <= 0) return a;
  const Vec3d bp = p - b;
  const double d3 = dot(ab, bp), d4 = dot(ac, bp);
  if (d3 >= 0 && d4 <= d3) return b;
  const double vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) return d1 - d3 > 0 ? a + ab * (d1 / (d1 - d3)) : a;
  const Vec3d cp = p - c;
  const double d5 = dot(ab, cp), d6 = dot(ac, cp);
  if (d6 >= 0 && d5 <= d6) return c;
  const double vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) return d2 - d6 > 0 ? a + ac * (d2 / (d2 - d6)) : a;
  const double va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) {
    const double across = (d4 - d3) + (d5 - d6);
    return across > 0 ? b + (c - b) * ((d4 - d3) / across) : b;
  }
  const double sum = va + vb + vc;
  // A triangle without an area.
  if (!(sum > 0)) return a;
  return a + ab * (vb / sum) + ac * (vc / sum);
}

TriangleTree::TriangleTree(std::vector<Vec3d> positions, std::vector<std::uint32_t> indices)
    : positions_(std::move(positions)), indices_(std::move(indices)) {
  indices_.resize(indices_.size() / 3 * 3);
  const int count = static_cast<int>(indices_.size() / 3);
  order_.resize(static_cast<std::size_t>(count));
  for (int i = 0; i < count; ++i) order_[static_cast<std::size_t>(i)] = i;
  nodes_.reserve(static_cast<std::size_t>(count));
  if (count > 0) build(0, count);
}

void TriangleTree::measure(Node& node) const {
  node.low = {1e300, 1e300, 1e300};
  node.high = {-1e300, -1e300, -1e300};
  node.area = node.centre = {};
  double weight = 0;
  const auto corner = [&](int t, int k) -> const Vec3d& { return positions_[indices_[static_cast<std::size_t>(3 * t + k)]]; };
  if (node.left < 0) {
    for (int i = node.first; i < node.first + node.count; ++i) {
      const int t = order_[static_cast<std::size_t>(i)];
      const Vec3d &a = corner(t, 0), &b = corner(t, 1), &c = corner(t, 2);
      for (const Vec3d* p : {&a, &b, &c}) node.low = lower(node.low, *p), node.high = upper(node.high, *p);
      const Vec3d area = cross(b - a, c - a) * 0.5;
      const double size = length(area);
      node.area += area;
      node.centre += (a + b + c) * (size / 3);
      weight += size;
    }
    node.centre = weight > 0 ? node.centre / weight : (node.low + node.high) * 0.5;
    node.radius = 0;
    for (int i = node.first; i < node.first + node.count; ++i)
      for (int k = 0; k < 3; ++k) node.radius = std::max(node.radius, distance(node.centre, corner(order_[static_cast<std::size_t>(i)], k)));
    return;
  }
  const Node &l = nodes_[static_cast<std::size_t>(node.left)], &r = nodes_[static_cast<std::size_t>(node.right)];
  node.low = lower(l.low, r.low);
  node.high = upper(l.high, r.high);
  node.area = l.area + r.area;
  const double wl = 1e-30 + length(l.high - l.low), wr = 1e-30 + length(r.high - r.low);
  node.centre = (l.centre * wl + r.centre * wr) / (wl + wr);
  node.radius = std::max(distance(node.centre, l.centre) + l.radius, distance(node.centre, r.centre) + r.radius);
}

int TriangleTree::build(int first, int count) {
  const int index = static_cast<int>(nodes_.size());
  nodes_.emplace_back();
  Node node;
  node.first = first;
  node.count = count;
  if (count > leafTriangles) {
    const auto middleOf = [&](int t) {
      const std::uint32_t* i = &indices_[static_cast<std::size_t>(3 * t)];
      return (positions_[i[0]] + positions_[i[1]] + positions_[i[2]]) / 3.0;
    };
    Vec3d low{1e300, 1e300, 1e300}, high = -low;
    for (int i = first; i < first + count; ++i) {
      const Vec3d m = middleOf(order_[static_cast<std::size_t>(i)]);
      low = lower(low, m), high = upper(high, m);
    }
    const Vec3d size = high - low;
    const int axis = size.x >= size.y && size.x >= size.z ? 0 : size.y >= size.z ? 1 : 2;
    const auto begin = order_.begin() + first;
    std::nth_element(begin, begin + count / 2, begin + count, [&](int a, int b) {
      const double x = middleOf(a)[axis], y = middleOf(b)[axis];
      return x < y || (x == y && a < b);
    });
    node.left = build(first, count / 2);
    node.right = build(first + count / 2, count - count / 2);
  }
  measure(node);
  nodes_[static_cast<std::size_t>(index)] = node;
  return index;
}

void TriangleTree::move(std::vector<Vec3d> positions) {
  positions_ = std::move(positions);
  for (std::size_t i = nodes_.size(); i-- > 0;) measure(nodes_[i]);  // children come after their parents
}

double TriangleTree::winding(const Vec3d& point) const {
  if (nodes_.empty()) return 0;
  double dipole = 0;
  HalfAngles half;
  int stack[96], top = 0;
  stack[top++] = 0;
  while (top > 0) {
    const Node& node = nodes_[static_cast<std::size_t>(stack[--top])];
    const Vec3d d = node.centre - point;
    const double r = length(d);
    if (r > farAway * node.radius && r > 0) {
      dipole += dot(node.area, d) / (r * r * r);
      continue;
    }
    if (node.left >= 0) {
      stack[top++] = node.left;
      stack[top++] = node.right;
      continue;
    }
    for (int i = node.first; i < node.first + node.count; ++i) {
      const std::uint32_t* c = &indices_[static_cast<std::size_t>(3 * order_[static_cast<std::size_t>(i)])];
      half.add(positions_[c[0]] - point, positions_[c[1]] - point, positions_[c[2]] - point);
    }
  }
  return (half.sum() + dipole / 2) / (2 * M_PI);
}

TriangleTree::Nearest TriangleTree::nearest(const Vec3d& point, double within) const {
  Nearest best;
  if (nodes_.empty()) return best;
  double least = within < 1e150 ? within * within : 1e300;
  struct Entry {
    int node;
    double squared;
  };
  Entry stack[96];
  int top = 0;
  stack[top++] = {0, squaredToBox(point, nodes_[0].low, nodes_[0].high)};
  while (top > 0) {
    const Entry e = stack[--top];
    if (e.squared >= least) continue;
    const Node& node = nodes_[static_cast<std::size_t>(e.node)];
    if (node.left < 0) {
      for (int i = node.first; i < node.first + node.count; ++i) {
        const int t = order_[static_cast<std::size_t>(i)];
        const std::uint32_t* c = &indices_[static_cast<std::size_t>(3 * t)];
        const Vec3d q = closestOnTriangle(point, positions_[c[0]], positions_[c[1]], positions_[c[2]]);
        const Vec3d d = q - point;
        const double squared = dot(d, d);
        if (squared < least) least = squared, best = {t, q, 0};
      }
      continue;
    }
    Entry l{node.left, squaredToBox(point, nodes_[static_cast<std::size_t>(node.left)].low, nodes_[static_cast<std::size_t>(node.left)].high)};
    Entry r{node.right, squaredToBox(point, nodes_[static_cast<std::size_t>(node.right)].low, nodes_[static_cast<std::size_t>(node.right)].high)};
    if (l.squared < r.squared) std::swap(l, r);
    stack[top++] = l;
    stack[top++] = r;
  }
  if (best.triangle >= 0) best.distance = std::sqrt(least);
  return best;
}

}  // namespace understudy
