#include "tests/checker/body.h"

#include <algorithm>
#include <cmath>
#include <set>
#include <tuple>

namespace checker {
namespace {


bool isArm(const std::string& role, const std::string& side) {
  if (role.rfind(side, 0) != 0) return false;
  for (const char* part : {"UpperArm", "LowerArm", "Hand", "Thumb", "Index", "Middle", "Ring", "Little"})
    if (role.find(part) != std::string::npos) return true;
  return false;
}

bool isTorso(const std::string& role) { return role == "hips" || role == "spine" || role == "chest" || role == "upperChest"; }
bool isHead(const std::string& role) { return role == "neck" || role == "head" || role == "jaw" || role == "leftEye" || role == "rightEye"; }

/// Distance of p to a triangle (closest point by barycentric regions; Ericson, Real-Time Collision Detection, 5.1.5).
double toTriangle(const Vector3d& p, const Vector3d& a, const Vector3d& b, const Vector3d& c) {
  const Vector3d ab = b - a, ac = c - a, ap = p - a;
  const double d1 = ab.dot(ap), d2 = ac.dot(ap);
  if (d1 <= 0 && d2 <= 0) return ap.norm();
  const Vector3d bp = p - b;
  const double d3 = ab.dot(bp), d4 = ac.dot(bp);
  if (d3 >= 0 && d4 <= d3) return bp.norm();
  const double vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) return (ap - ab * (d1 / (d1 - d3))).norm();
  const Vector3d cp = p - c;
  const double d5 = ab.dot(cp), d6 = ac.dot(cp);
  if (d6 >= 0 && d5 <= d6) return cp.norm();
  const double vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) return (ap - ac * (d2 / (d2 - d6))).norm();
  const double va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) return (p - (b + (c - b) * ((d4 - d3) / ((d4 - d3) + (d5 - d6))))).norm();
  const double sum = va + vb + vc;
  if (sum <= 0) return ap.norm();
  return (ap - ab * (vb / sum) - ac * (vc / sum)).norm();
}

/// Solid angle of a triangle (Van Oosterom and Strackee 1983).
double solidAngle(const Vector3d& p, const Vector3d& a, const Vector3d& b, const Vector3d& c) {
  const Vector3d u = a - p, v = b - p, w = c - p;
  const double x = u.norm(), y = v.norm(), z = w.norm();
  return 2 * std::atan2(u.dot(v.cross(w)), x * y * z + u.dot(v) * z + v.dot(w) * x + w.dot(u) * y);
}

}  // namespace

std::vector<std::string> roleOfNodes(const Film& film, const Roles& roles) {
  std::vector<std::string> own(index(film.nodes())), out(own.size());
  for (const auto& [role, node] : roles) own[index(node)] = role;
  // What lies between a forearm and fingers is hand as well, where the file hangs it beside the hand.
  for (const auto& [role, node] : roles) {
    const Regions::Part hand = partOfRole(role);
    if (hand != Regions::Part::leftHand && hand != Regions::Part::rightHand) continue;
    const std::string name = hand == Regions::Part::leftHand ? "leftHand" : "rightHand";
    std::set<int> above;  // the hand, where a forearm's twist lies as well
    if (const auto at = roles.find(name); at != roles.end())
      for (int n = at->second; n >= 0; n = film.parents[index(n)]) above.insert(n);
    std::vector<int> between;
    int up = film.parents[index(node)];
    for (; up >= 0 && own[index(up)].empty() && above.count(up) == 0; up = film.parents[index(up)]) between.push_back(up);
    while (up >= 0 && own[index(up)].empty()) up = film.parents[index(up)];
    if (up >= 0 && own[index(up)].find("LowerArm") != std::string::npos)
      for (const int n : between) own[index(n)] = name;
  }
  for (int n = 0; n < film.nodes(); ++n)
    for (int p = n; p >= 0 && out[index(n)].empty(); p = film.parents[index(p)]) out[index(n)] = own[index(p)];
  return out;
}

Regions::Part partOfRole(const std::string& role) {
  using Part = Regions::Part;
  if (isTorso(role)) return Part::torso;
  if (isHead(role)) return Part::head;
  const bool right = role.rfind("right", 0) == 0;
  if (!right && role.rfind("left", 0) != 0) return Part::none;
  const auto has = [&](const char* name) { return role.find(name) != std::string::npos; };
  if (has("Shoulder")) return Part::torso;
  if (has("UpperArm")) return right ? Part::rightUpperArm : Part::leftUpperArm;
  if (has("LowerArm")) return right ? Part::rightForearm : Part::leftForearm;
  if (has("UpperLeg")) return right ? Part::rightThigh : Part::leftThigh;
  if (has("LowerLeg") || has("Foot") || has("Toes")) return right ? Part::rightShank : Part::leftShank;
  return isArm(role, right ? "right" : "left") ? (right ? Part::rightHand : Part::leftHand) : Part::none;
}

Regions regionsOf(const Film& film, const Roles& roles) {
  Regions out;
  const std::vector<std::string> roleOf = roleOfNodes(film, roles);
  // Rigid meshes are body only where no skin moves with that role (props and hats hang on skinned bodies), never below a hand.
  std::set<std::string> skinned;
  bool torsoSkinned = false;
  for (const SkinPoint& point : film.points)
    if (!point.rigid)
      for (const auto& share : point.shares)
        if (share.weight > 0.5) {
          skinned.insert(roleOf[index(share.node)]);
          torsoSkinned = torsoSkinned || isTorso(roleOf[index(share.node)]);
        }
  const auto counts = [&](const SkinPoint& point) {
    if (!point.rigid) return true;
    const std::string& role = roleOf[index(point.shares[0].node)];
    return !role.empty() && skinned.count(role) == 0 && !(isTorso(role) && torsoSkinned) && role.find("Hand") == std::string::npos;
  };
  double low = 1e30, high = -1e30;
  out.part.assign(film.points.size(), Regions::Part::none);
  std::vector<bool> torso(film.points.size(), false);
  std::array<std::vector<bool>, 3> others{torso, torso, torso};
  for (int i = 0; i < static_cast<int>(film.points.size()); ++i) {
    const SkinPoint& point = film.points[index(i)];
    std::map<Regions::Part, double> weights;
    for (const auto& share : point.shares) weights[partOfRole(roleOf[index(share.node)])] += share.weight;
    if (!weights.empty() && (!point.rigid || roleOf[index(point.shares[0].node)].find("Hand") == std::string::npos))
      out.part[index(i)] = std::max_element(weights.begin(), weights.end(), [](const auto& a, const auto& b) { return a.second < b.second; })->first;
    if (!counts(point)) continue;
    const Vector3d bind = film.skinnedInBind(i);
    low = std::min(low, bind.y());
    high = std::max(high, bind.y());
    double body = 0;
    for (const auto& share : point.shares)
      if (isTorso(roleOf[index(share.node)])) body += share.weight;
    torso[index(i)] = body >= 0.5;
    for (int k = 0; k < 3; ++k) {
      double share = 0;
      for (const auto& s : point.shares)
        if (const std::string& role = roleOf[index(s.node)]; k == 0 ? isHead(role) : role == (k == 1 ? "leftUpperLeg" : "rightUpperLeg")) share += s.weight;
      others[index(k)][index(i)] = share >= 0.5;
    }
    for (int side = 0; side < 2; ++side) {
      const std::string name = side == 0 ? "left" : "right";
      double arm = 0, foot = 0, hand = 0;
      for (const auto& share : point.shares) {
        const std::string& role = roleOf[index(share.node)];
        if (isArm(role, name)) arm += share.weight;
        if (role == name + "Foot" || role == name + "Toes") foot += share.weight;
        if (role == name + "Hand") hand += share.weight;
      }
      if (foot >= 0.5) out.foot[index(side)].push_back(i);
      if (hand >= 0.5) out.hand[index(side)].push_back(i);
      const auto upper = roles.find(name + "UpperArm"), lower = roles.find(name + "LowerArm");
      if (arm >= 0.9 && upper != roles.end() && lower != roles.end()) {
        const Vector3d shoulder = film.bind[index(upper->second)].translation(), elbow = film.bind[index(lower->second)].translation();
        if ((bind - shoulder).dot(elbow - shoulder) >= 0.5 * (elbow - shoulder).squaredNorm()) out.arm[index(side)].push_back(i);
      }
    }
  }
  out.height = high - low;
  const auto whole = [](const std::vector<bool>& region, const std::array<int, 3>& t) { return region[index(t[0])] && region[index(t[1])] && region[index(t[2])]; };
  for (const auto& t : film.triangles) {
    if (whole(torso, t)) out.torso.push_back(t);
    for (int k = 0; k < 3; ++k)
      if (whole(others[index(k)], t)) out.others[index(k)].push_back(t);
  }
  return out;
}

struct Torso::Tree {
  struct Node {
    int first = 0, last = 0, left = -1, right = -1;  ///< triangles first … last−1
    Vector3d dipole = Vector3d::Zero(), centre = Vector3d::Zero(), low = Vector3d::Zero(), high = Vector3d::Zero();
    double radius = 0;
  };
  const Film& film;
  std::vector<int> sources;                 ///< film points of the welded vertices
  std::vector<std::vector<int>> loops;      ///< welded vertices around each hole
  std::vector<std::array<int, 3>> triangles;
  std::vector<bool> cap;
  std::vector<Vector3d> at;                 ///< welded vertices, then one a loop
  std::vector<Node> nodes;

  int build(int first, int last) {
    const int id = static_cast<int>(nodes.size());
    nodes.push_back({first, last});
    if (last - first <= 6) return id;
    Vector3d low = Vector3d::Constant(1e30), high = -low;
    for (int t = first; t < last; ++t) {
      const Vector3d c = centre(t);
      low = low.cwiseMin(c);
      high = high.cwiseMax(c);
    }
    int axis = 0;
    (high - low).maxCoeff(&axis);
    std::vector<int> order(index(last - first));
    for (int i = 0; i < last - first; ++i) order[index(i)] = first + i;
    std::nth_element(order.begin(), order.begin() + (last - first) / 2, order.end(), [&](int a, int b) { return centre(a)[axis] < centre(b)[axis]; });
    std::vector<std::array<int, 3>> moved;
    std::vector<bool> movedCap;
    for (int t : order) {
      moved.push_back(triangles[index(t)]);
      movedCap.push_back(cap[index(t)]);
    }
    for (int i = 0; i < last - first; ++i) {
      triangles[index(first + i)] = moved[index(i)];
      cap[index(first + i)] = movedCap[index(i)];
    }
    const int middle = first + (last - first) / 2;
    const int l = build(first, middle), r = build(middle, last);
    nodes[index(id)].left = l;
    nodes[index(id)].right = r;
    return id;
  }
  [[nodiscard]] Vector3d centre(int t) const {
    const auto& q = triangles[index(t)];
    return (at[index(q[0])] + at[index(q[1])] + at[index(q[2])]) / 3;
  }
  void place(int frame) {
    for (std::size_t i = 0; i < sources.size(); ++i) at[i] = frame < 0 ? film.skinnedInBind(sources[i]) : film.skinned(frame, sources[i]);
    for (std::size_t l = 0; l < loops.size(); ++l) {
      Vector3d sum = Vector3d::Zero();
      for (int v : loops[l]) sum += at[index(v)];
      at[sources.size() + l] = sum / static_cast<double>(loops[l].size());
    }
  }
  void refit() {
    for (auto node = nodes.rbegin(); node != nodes.rend(); ++node) {
      node->dipole.setZero();
      node->low.setConstant(1e30);
      node->high.setConstant(-1e30);
      Vector3d sum = Vector3d::Zero();
      double area = 0;
      const auto add = [&](const Vector3d& dipole, const Vector3d& middle, double weight) {
        node->dipole += dipole;
        sum += middle * weight;
        area += weight;
      };
      if (node->left < 0) {
        for (int t = node->first; t < node->last; ++t) {
          const auto& q = triangles[index(t)];
          const Vector3d normal = 0.5 * (at[index(q[1])] - at[index(q[0])]).cross(at[index(q[2])] - at[index(q[0])]);
          add(normal, centre(t), normal.norm() + 1e-30);
          for (int v : q) {
            node->low = node->low.cwiseMin(at[index(v)]);
            node->high = node->high.cwiseMax(at[index(v)]);
          }
        }
      } else {
        for (int child : {node->left, node->right}) {
          const Node& c = nodes[index(child)];
          add(c.dipole, c.centre, c.dipole.norm() + 1e-30);
          node->low = node->low.cwiseMin(c.low);
          node->high = node->high.cwiseMax(c.high);
        }
      }
      node->centre = sum / area;
      node->radius = (node->high - node->centre).cwiseAbs().cwiseMax((node->centre - node->low).cwiseAbs()).norm();
    }
  }
  [[nodiscard]] double winding(int id, const Vector3d& p) const {
    const Node& node = nodes[index(id)];
    const Vector3d d = node.centre - p;
    const double distance = d.norm();
    if (distance > 2 * node.radius) return d.dot(node.dipole) / (distance * distance * distance);
    if (node.left >= 0) return winding(node.left, p) + winding(node.right, p);
    double sum = 0;
    for (int t = node.first; t < node.last; ++t) {
      const auto& q = triangles[index(t)];
      sum += solidAngle(p, at[index(q[0])], at[index(q[1])], at[index(q[2])]);
    }
    return sum;
  }
  void nearest(int id, const Vector3d& p, double& best) const {
    const Node& node = nodes[index(id)];
    if ((p - p.cwiseMax(node.low).cwiseMin(node.high)).norm() >= best) return;
    if (node.left < 0) {
      for (int t = node.first; t < node.last; ++t)
        if (!cap[index(t)]) {
          const auto& q = triangles[index(t)];
          best = std::min(best, toTriangle(p, at[index(q[0])], at[index(q[1])], at[index(q[2])]));
        }
      return;
    }
    const auto far = [&](int child) { return (p - nodes[index(child)].centre).squaredNorm(); };
    const bool leftFirst = far(node.left) < far(node.right);
    nearest(leftFirst ? node.left : node.right, p, best);
    nearest(leftFirst ? node.right : node.left, p, best);
  }
};

Torso::Torso(const Film& film, const std::vector<std::array<int, 3>>& triangles, double height) : tree_(new Tree{film, {}, {}, {}, {}, {}, {}}) {
  Tree& tree = *tree_;
  // Vertices that meshes split for normals and textures are one again.
  std::map<std::tuple<long, long, long>, int> welded;
  std::vector<int> id(film.points.size(), -1);
  const auto weld = [&](int point) {
    if (id[index(point)] >= 0) return id[index(point)];
    const Vector3d p = film.skinnedInBind(point) / (height * 1e-4);
    const auto [found, fresh] = welded.try_emplace({std::lround(p.x()), std::lround(p.y()), std::lround(p.z())}, static_cast<int>(tree.sources.size()));
    if (fresh) tree.sources.push_back(point);
    return id[index(point)] = found->second;
  };
  std::map<std::pair<int, int>, int> edges;
  for (const auto& t : triangles) {
    const std::array<int, 3> q{weld(t[0]), weld(t[1]), weld(t[2])};
    if (q[0] == q[1] || q[1] == q[2] || q[2] == q[0]) continue;
    tree.triangles.push_back(q);
    tree.cap.push_back(false);
    for (int k = 0; k < 3; ++k) ++edges[{q[index(k)], q[index((k + 1) % 3)]}];
  }
  // Holes: directed edges without their opposite, chained; each gets a fan around the middle of its rim.
  std::multimap<int, int> rim;
  for (const auto& [edge, count] : edges) {
    const auto back = edges.find({edge.second, edge.first});
    for (int i = back == edges.end() ? 0 : back->second; i < count; ++i) rim.emplace(edge.second, edge.first);
  }
  while (!rim.empty()) {
    std::vector<int> loop;
    auto step = rim.begin();
    const int start = step->first;
    for (;;) {
      loop.push_back(step->first);
      const int next = step->second;
      rim.erase(step);
      if (next == start) break;
      step = rim.find(next);
      if (step == rim.end()) break;
    }
    if (loop.size() >= 3) tree.loops.push_back(loop);
  }
  const int vertices = static_cast<int>(tree.sources.size());
  for (std::size_t l = 0; l < tree.loops.size(); ++l)
    for (std::size_t k = 0; k < tree.loops[l].size(); ++k) {
      tree.triangles.push_back({tree.loops[l][k], tree.loops[l][(k + 1) % tree.loops[l].size()], vertices + static_cast<int>(l)});
      tree.cap.push_back(true);
    }
  tree.at.resize(tree.sources.size() + tree.loops.size());
  if (tree.triangles.empty()) return;
  tree.place(-1);
  tree.build(0, static_cast<int>(tree.triangles.size()));
  tree.refit();
}

Torso::~Torso() = default;

bool Torso::empty() const { return tree_->triangles.empty(); }

void Torso::pose(int frame) {
  if (empty()) return;
  tree_->place(frame);
  tree_->refit();
}

double Torso::distance(const Vector3d& point) const {
  double best = 1e30;
  if (!empty()) tree_->nearest(0, point, best);
  return best;
}

double Torso::depth(const Vector3d& point) const {
  if (empty()) return 0;
  const Tree::Node& root = tree_->nodes[0];
  if ((point.array() < root.low.array()).any() || (point.array() > root.high.array()).any()) return 0;
  if (std::abs(tree_->winding(0, point)) / (4 * EIGEN_PI) < 0.5) return 0;
  double best = 1e30;
  tree_->nearest(0, point, best);
  return best;
}

}  // namespace checker
