// Whether the performer's touches of itself are touches of the character as well.
#include <algorithm>
#include <cmath>
#include <functional>
#include <set>

#include "tests/checker/measure_tools.h"

namespace checker {
namespace {

using Part = Regions::Part;

/// What a hand touches.
enum class Target : unsigned char { body, arm, hand };

struct Touch {
  int side = 0;  ///< 0 left, 1 right
  Target target = Target::body;
  int first = 0, last = 0;
  std::string name;
  bool takenBack = false;
};

Target targetOf(Part part) {
  switch (part) {
    case Part::leftHand:
    case Part::rightHand: return Target::hand;
    case Part::leftUpperArm:
    case Part::rightUpperArm:
    case Part::leftForearm:
    case Part::rightForearm: return Target::arm;
    default: return Target::body;
  }
}

/// The rule, in statures (leg ÷ .49): points of the hand's axis come nearer to a part's customary surface than `enters`, for as long as they
/// are nearer than `stays`, at least `shortest` seconds.
constexpr double handHalf = 0.012, enters = 0.010, stays = 0.020, handLength = 0.108, elbowToTips = 0.254, shortest = 0.15;
constexpr std::array alongHand{0.25, 0.5, 0.75, 1.0};

/// The performer at a frame as capsules around its bones, the trunk flat.
class Performer {
 public:
  Performer(const Film& film, const Roles& roles, double leg) : film_(film), roles_(roles), stature_(leg / 0.49) {
    if (!has("head") || !has("neck")) return;
    // The head goes along with its own bone, not with the neck; its middle is .117 above the shoulders, wherever its joint is.
    const auto h = index(roles_.at("head"));
    const auto in = [&](const char* role) -> Vector3d { return film_.bind[index(roles_.at(role))].translation(); };
    const Vector3d chin = film_.bind[h].translation(), neck = (chin - in("neck")).normalized();
    headUp_ = film_.ends[h].norm() > 0.02 * stature_ ? Vector3d(film_.ends[h]) : Vector3d(film_.bind[h].linear().inverse() * neck);
    headUp_.normalize();
    const Vector3d shoulders = has("leftUpperArm") && has("rightUpperArm") ? Vector3d(0.5 * (in("leftUpperArm") + in("rightUpperArm"))) : in("neck");
    headLift_ = std::clamp(0.117 * stature_ - (chin - shoulders).dot(neck), 0.0, 0.06 * stature_);
  }

  [[nodiscard]] bool able() const { return stature_ > 0 && has("leftHand") && has("rightHand") && has("leftLowerArm") && has("rightLowerArm"); }

  /// Gap in statures between a hand and what it might touch; the nearest target's name. Thighs and hips are no touch of an arm that hangs.
  [[nodiscard]] double gap(int frame, int side, Target target, std::string& name) const {
    const std::string other = side == 0 ? "right" : "left";
    const std::vector<Vector3d> hand = handAt(frame, side);
    double best = 1e30;
    const auto take = [&](double distance, const char* what) {
      if (distance / stature_ - handHalf < best) {
        best = distance / stature_ - handHalf;
        name = what;
      }
    };
    const auto limb = [&](const std::string& a, const std::string& b, double from, double to, const char* what) {
      if (!has(a) || !has(b)) return;
      const Vector3d start = at(frame, a), end = at(frame, b);
      for (const Vector3d& p : hand) take(toAxis(p, start, end, from * stature_, to * stature_), what);
    };
    if (target == Target::hand) {
      const std::vector<Vector3d> its = handAt(frame, 1 - side);
      for (const Vector3d& p : hand)
        for (std::size_t k = 0; k + 1 < its.size(); ++k) take(toAxis(p, its[k], its[k + 1], handHalf * stature_, handHalf * stature_), "hand");
      return best;
    }
    if (target == Target::arm) {
      limb(other + "UpperArm", other + "LowerArm", 0.030, 0.026, "upper arm");
      limb(other + "LowerArm", other + "Hand", 0.025, 0.018, "forearm");
      return best;
    }
    const bool hangs = hanging(frame, side);
    for (const std::string s : {"left", "right"}) {
      if (!hangs) limb(s + "UpperLeg", s + "LowerLeg", 0.050, 0.034, "thigh");
      limb(s + "LowerLeg", s + "Foot", 0.032, 0.022, "shank");
    }
    if (has("head") && has("neck")) {
      const Vector3d chin = at(frame, "head"), up = film_.at(frame, roles_.at("head")).linear() * headUp_;
      for (const Vector3d& p : hand) take(toAxis(p, chin + up * (headLift_ - 0.02 * stature_), chin + up * (headLift_ + 0.02 * stature_), 0.048 * stature_, 0.048 * stature_), "head");
    }
    if (!hangs && has("hips") && has("leftUpperArm") && has("rightUpperArm") && has("leftUpperLeg") && has("rightUpperLeg")) {
      const Vector3d low = 0.5 * (at(frame, "leftUpperLeg") + at(frame, "rightUpperLeg")), high = 0.5 * (at(frame, "leftUpperArm") + at(frame, "rightUpperArm"));
      const Vector3d axis = high - low;
      for (const Vector3d& p : hand) {
        const double t = (p - low).dot(axis) / axis.squaredNorm();
        if (t < -0.05 || t > 1.02) continue;
        const Vector3d hips = at(frame, "leftUpperLeg") - at(frame, "rightUpperLeg"), shoulders = at(frame, "leftUpperArm") - at(frame, "rightUpperArm");
        Vector3d wide = (1 - t) * hips.normalized() + t * shoulders.normalized();
        wide = (wide - axis * (wide.dot(axis) / axis.squaredNorm())).normalized();
        const Vector3d off = p - (low + axis * t), deep = axis.cross(wide).normalized();
        // Half breadth and half depth of hips, waist and chest.
        const double half = t < 0.4 ? 0.095 - 0.02 * (t / 0.4) : 0.075 + 0.015 * std::min(1.0, (t - 0.4) / 0.4), thick = 0.062;
        const Eigen::Vector2d v(off.dot(wide) / stature_, off.dot(deep) / stature_);
        const double scale = std::hypot(v.x() / half, v.y() / thick);
        take(scale > 1e-9 ? v.norm() * (1 - 1 / scale) * stature_ : -thick * stature_, "trunk");
      }
    }
    return best;
  }

 private:
  [[nodiscard]] bool has(const std::string& role) const { return roles_.count(role) > 0; }
  [[nodiscard]] Vector3d at(int frame, const std::string& role) const { return film_.place(frame, roles_.at(role)); }

  /// Signed distance to a cone around start … end.
  static double toAxis(const Vector3d& p, const Vector3d& start, const Vector3d& end, double from, double to) {
    const Vector3d axis = end - start;
    const double t = axis.squaredNorm() > 0 ? std::clamp((p - start).dot(axis) / axis.squaredNorm(), 0.0, 1.0) : 0.0;
    return (p - start - axis * t).norm() - (from + (to - from) * t);
  }

  [[nodiscard]] std::vector<Vector3d> handAt(int frame, int side) const {
    const std::string s = side == 0 ? "left" : "right";
    const int hand = roles_.at(s + "Hand");
    const Vector3d wrist = film_.place(frame, hand), forearm = wrist - at(frame, s + "LowerArm"), end = film_.at(frame, hand).linear() * film_.ends[index(hand)];
    Vector3d towards = forearm;
    // Along the fingers where there are any that are far enough off, else on from the forearm.
    for (const char* finger : {"MiddleProximal", "IndexProximal"})
      if (has(s + finger) && (at(frame, s + finger) - wrist).norm() > 0.02 * stature_) {
        towards = at(frame, s + finger) - wrist;
        break;
      }
    // A hand ends where the file says so, if that may be: fists are shorter than hands. Else the wrist's joint may lie in the hand.
    double length = std::clamp(elbowToTips * stature_ - forearm.norm(), 0.5 * handLength * stature_, handLength * stature_);
    if (!has(s + "MiddleProximal") && end.norm() > 0.02 * stature_) {
      towards = end;
      if (end.norm() > 0.5 * handLength * stature_) length = std::min(end.norm(), handLength * stature_);
    }
    std::vector<Vector3d> out;
    for (const double a : alongHand) out.push_back(wrist + towards.normalized() * (a * length));
    return out;
  }

  [[nodiscard]] bool hanging(int frame, int side) const {
    const std::string s = side == 0 ? "left" : "right";
    if (!has(s + "UpperArm") || !has("hips") || !has("neck")) return false;
    const Vector3d upper = at(frame, s + "LowerArm") - at(frame, s + "UpperArm"), lower = at(frame, s + "Hand") - at(frame, s + "LowerArm"),
                   down = at(frame, "hips") - at(frame, "neck");
    const auto angle = [](const Vector3d& a, const Vector3d& b) { return std::atan2(a.cross(b).norm(), a.dot(b)) * degrees; };
    return angle(upper + lower, down) < 35 && angle(upper, lower) < 45;
  }

  const Film& film_;
  const Roles& roles_;
  double stature_ = 0;
  Vector3d headUp_{0, 1, 0};  ///< unit, in the head's own frame
  double headLift_ = 0;       ///< from its joint to its middle
};

std::vector<Touch> byRule(const Case& c) {
  std::vector<Touch> out;
  const Performer performer(*c.performer, c.performerRoles, c.performerLeg);
  if (!performer.able()) return out;
  const int least = std::max(2, static_cast<int>(std::lround(shortest * c.result->fps)));
  std::vector<bool> meet(index(c.frames), false);  // hands that meet come near the other's wrist as well
  for (const Target target : {Target::hand, Target::arm, Target::body})
    for (int side = 0; side < (target == Target::hand ? 1 : 2); ++side) {
      int first = -1;
      bool entered = false;
      std::map<std::string, int> names;
      for (int f = 0; f <= c.frames; ++f) {
        std::string name;
        double gap = f < c.frames && !(target == Target::arm && meet[index(f)]) ? performer.gap(c.performerFrame(f), side, target, name) : 1e30;
        // Of body and other arm a hand is asked to keep the nearer: another body has no place that is as near to both.
        if (std::string other; gap < stays && target != Target::hand && performer.gap(c.performerFrame(f), side, target == Target::arm ? Target::body : Target::arm, other) < gap) gap = 1e30;
        if (gap < stays) {
          if (first < 0) first = f;
          entered = entered || gap < enters;
          ++names[name];
          continue;
        }
        if (first >= 0 && entered && f - first >= least) {
          const auto most = std::max_element(names.begin(), names.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
          out.push_back({side, target, first, f - 1, most->first});
          if (target == Target::hand) std::fill(meet.begin() + first, meet.begin() + f, true);
        }
        first = -1;
        entered = false;
        names.clear();
      }
    }
  std::stable_sort(out.begin(), out.end(), [](const Touch& a, const Touch& b) { return a.first < b.first; });
  return out;
}

std::vector<Touch> byReel(const Case& c, const Json& reel) {
  std::vector<Touch> out;
  const std::vector<std::string> roleOf = roleOfNodes(*c.result, c.roles);
  const auto role = [&](const std::string& bone) -> std::string {
    if (!bone.empty() && bone[0] == '@') return bone.substr(1);
    const int node = c.result->find(bone);
    return node < 0 ? std::string() : roleOf[index(node)];
  };
  for (const Json& repair : reel.at("takes").at(std::max<std::size_t>(1, reel.value("current", std::size_t{1})) - 1).value("repairs", Json::array())) {
    if (repair.at("kind") != "touch" || !repair.value("skin", false)) continue;
    std::string on = repair.value("on", std::string());
    if (on.empty() && repair.contains("path") && !repair["path"].empty()) on = repair["path"][0].value("on", std::string());
    const Part hand = partOfRole(role(repair.value("bone", repair.value("hand", std::string("@leftHand")))));
    if (hand != Part::leftHand && hand != Part::rightHand) continue;
    Touch touch;
    touch.side = hand == Part::rightHand;
    // The chest's skin at the shoulder goes along with an arm: what the take calls it counts.
    const Part place = partOfRole(role(on));
    touch.name = repair.value("name", std::string());
    if (const std::size_t end = touch.name.find(" (taken back"); end != std::string::npos) {
      touch.name.resize(end);
      touch.takenBack = true;
    }
    touch.target = repair.value("target", std::string()) == "hand" ? Target::hand : touch.name.find("upper arm") != std::string::npos || touch.name.find("forearm") != std::string::npos ? Target::arm : touch.name.empty() ? targetOf(place) : Target::body;
    touch.first = std::max(0, static_cast<int>(std::ceil(repair["span"]["first"].get<double>() * c.result->fps - 1e-6)));
    touch.last = std::min(c.frames - 1, static_cast<int>(std::floor(repair["span"]["last"].get<double>() * c.result->fps + 1e-6)));
    if (touch.last >= touch.first) out.push_back(touch);
  }
  return out;
}

/// The character's hands and what they can touch.
class Skins {
 public:
  explicit Skins(const Case& c) : c_(c) {
    const Film& film = *c.result;
    const auto& part = c.regions.part;
    for (int side = 0; side < 2; ++side) {
      const Part hand = side == 0 ? Part::leftHand : Part::rightHand, other = side == 0 ? Part::rightHand : Part::leftHand;
      const Part upper = side == 0 ? Part::rightUpperArm : Part::leftUpperArm, fore = side == 0 ? Part::rightForearm : Part::leftForearm;
      // Each part, and the skin between parts, is a solid of its own: their rims are simple loops.
      std::array<std::map<std::set<Part>, std::vector<std::array<int, 3>>>, 3> targets;
      for (const auto& t : film.triangles) {
        const std::set<Part> parts{part[index(t[0])], part[index(t[1])], part[index(t[2])]};
        const auto all = [&](const std::function<bool(Part)>& in) { return std::all_of(parts.begin(), parts.end(), in); };
        if (parts == std::set<Part>{hand}) sample(side, t);
        for (const int v : t)
          if (part[index(v)] == hand) sample(side, {v, v, v});
        // The body goes on into the other upper arm.
        if (all([&](Part p) { return p == upper || (p != Part::none && targetOf(p) == Target::body); }) && parts != std::set<Part>{upper}) targets[0][parts].push_back(t);
        if (all([&](Part p) { return p == upper || p == fore || p == other; })) targets[1][parts].push_back(t);
        if (parts == std::set<Part>{other}) targets[2][parts].push_back(t);
      }
      for (std::size_t k = 0; k < 3; ++k)
        for (const auto& [parts, triangles] : targets[k]) {
          auto solid = std::make_unique<Torso>(film, triangles, c.regions.height);
          if (!solid->empty()) solids_[index(side)][k].push_back(std::move(solid));
        }
    }
  }
  [[nodiscard]] bool able(const Touch& touch) const { return !samples_[index(touch.side)].empty() && !solids(touch).empty(); }

  /// Distance between the skins, millimetres; negative: the hand is in the other by as much.
  [[nodiscard]] double gap(const Touch& touch, int frame) {
    for (const auto& solid : solids(touch)) solid->pose(frame);
    double depth = 0, gap = 1e30;
    for (const Sample& s : samples_[index(touch.side)]) {
      const Vector3d p = s.weight[0] * c_.result->skinned(frame, s.point[0]) + s.weight[1] * c_.result->skinned(frame, s.point[1]) + s.weight[2] * c_.result->skinned(frame, s.point[2]);
      for (const auto& solid : solids(touch)) {
        depth = std::max(depth, solid->depth(p));
        if (depth <= 0) gap = std::min(gap, solid->distance(p));
      }
    }
    return c_.mm(depth > 0 ? -depth : gap);
  }

 private:
  struct Sample {
    std::array<int, 3> point{};
    std::array<double, 3> weight{};
  };
  using Solids = std::vector<std::unique_ptr<Torso>>;
  [[nodiscard]] const Solids& solids(const Touch& touch) const { return solids_[index(touch.side)][static_cast<std::size_t>(touch.target)]; }

  /// Points all over a triangle, at most a hundredth of a metre apart on a character of 1.7 m.
  void sample(int side, const std::array<int, 3>& t) {
    const auto at = [&](int k) { return c_.result->skinnedInBind(t[index(k)]); };
    const double longest = c_.mm(std::max({(at(0) - at(1)).norm(), (at(1) - at(2)).norm(), (at(2) - at(0)).norm()}));
    const int n = std::clamp(static_cast<int>(std::ceil(longest / 10)), 1, 12);
    for (int i = 0; i <= n; ++i)
      for (int k = 0; k + i <= n; ++k) {
        const std::array<double, 3> w{static_cast<double>(i) / n, static_cast<double>(k) / n, static_cast<double>(n - i - k) / n};
        const Vector3d p = w[0] * at(0) + w[1] * at(1) + w[2] * at(2);
        // Fine meshes have more points than it takes.
        auto& near = cells_[index(side)][{std::lround(c_.mm(p.x()) / 6), std::lround(c_.mm(p.y()) / 6), std::lround(c_.mm(p.z()) / 6)}];
        if (near) continue;
        near = true;
        samples_[index(side)].push_back({t, w});
      }
  }

  const Case& c_;
  std::array<std::vector<Sample>, 2> samples_;
  std::array<std::map<std::array<long, 3>, bool>, 2> cells_;
  std::array<std::array<Solids, 3>, 2> solids_;
};

Json judged(Skins& skins, const std::vector<Touch>& touches) {
  Json list = Json::array();
  static constexpr std::array targets{"body", "arm", "hand"};
  int frames = 0, kept = 0;
  for (const Touch& touch : touches) {
    if (!skins.able(touch)) continue;
    int good = 0, off = 0, deep = 0;
    double farthest = 0, deepest = 0;
    Json rows = Json::array();
    for (int f = touch.first; f <= touch.last; ++f) {
      const double gap = skins.gap(touch, f);
      good += gap <= 5 && gap >= -2;
      off += gap > 5;
      deep += gap < -2;
      farthest = std::max(farthest, gap);
      deepest = std::max(deepest, -gap);
      rows.push_back(std::round(10 * gap) / 10);
    }
    const int count = touch.last - touch.first + 1;
    frames += count;
    kept += good;
    list.push_back({{"hand", touch.side == 0 ? "left" : "right"}, {"on", targets[static_cast<std::size_t>(touch.target)]}, {"name", touch.name}, {"first", touch.first + 1}, {"last", touch.last + 1},
                    {"takenBack", touch.takenBack}, {"kept", good}, {"away", off}, {"inside", deep}, {"farthest", round3(farthest)}, {"deepest", round3(deepest)}, {"gaps", rows}});
  }
  return {{"frames", frames}, {"kept", kept}, {"share", frames > 0 ? Json(round3(static_cast<double>(kept) / frames)) : Json()}, {"list", list}};
}

}  // namespace

Json touches(const Case& c, const Json& reel) {
  Json out{{"rule", nullptr}, {"reel", nullptr}, {"share", nullptr}};
  Skins skins(c);
  if (c.performer) out["rule"] = judged(skins, byRule(c));
  if (!reel.is_null()) out["reel"] = judged(skins, byReel(c, reel));
  for (const char* source : {"reel", "rule"})
    if (out[source].is_object() && (out["share"].is_null() || !out[source]["share"].is_null())) out["share"] = out[source]["share"];
  if (c.performer) out["share"] = out["rule"]["share"];
  return out;
}

}  // namespace checker
