// Flaws named by a truth file, measured in the reference and in the result.
#include <algorithm>
#include <cmath>

#include "tests/checker/measure_tools.h"

namespace checker {
namespace {

/// The role of a performer's bone.
std::string roleOf(const Case& c, const std::string& bone) {
  if (c.roles.count(bone)) return bone;
  for (const auto& [role, node] : c.performerRoles)
    if (c.performer->names[index(node)] == bone) return role;
  return {};
}

int sideOf(const std::string& role) { return role.rfind("right", 0) == 0 ? 1 : 0; }

std::vector<Vector3d> sole(const Case& c, const Film& film, int frame, int side) {
  std::vector<Vector3d> out;
  for (int p : c.regions.foot[index(side)]) out.push_back(film.skinned(frame, p));
  return out;
}

double lowest(const std::vector<Vector3d>& points) {
  double low = 1e30;
  for (const Vector3d& p : points) low = std::min(low, p.y());
  return low;
}

/// Slip of the skin in contact, vector sum over the frames.
double slip(const Case& c, const Film& film, int side, int first, int last) {
  const double near = 0.001 * c.regions.height / 1.7;
  Vector3d carried = Vector3d::Zero();
  double most = 0;
  for (int f = first; f < last; ++f) {
    const auto now = sole(c, film, f, side), next = sole(c, film, f + 1, side);
    const double a = lowest(now), b = lowest(next);
    double least = 1e30;
    Vector3d step = Vector3d::Zero();
    for (std::size_t i = 0; i < now.size(); ++i) {
      Vector3d d = next[i] - now[i];
      d.y() = 0;
      if (now[i].y() <= a + near && next[i].y() <= b + near && d.norm() < least) least = d.norm(), step = d;
    }
    carried += step;
    most = std::max(most, carried.norm());
  }
  return c.mm(most);
}

double twistAbout(const Quaterniond& q, const Vector3d& axis) { return 2 * std::atan2(q.vec().dot(axis), q.w()) * degrees; }

}  // namespace

std::vector<Span> truthStances(const Json& truth, int frames) {
  std::vector<Span> out;
  int side = 0;
  if (!truth.contains("feet")) return out;
  for (const char* foot : {"LFoot", "RFoot"}) {
    int first = -1, last = -1;
    const auto close = [&] {
      if (first >= 0) out.push_back({side, first, last, first > 0, last < frames - 1, -1, -1, true});
    };
    for (const Json& phase : truth["feet"][foot]) {
      const int a = phase["frames"][0].get<int>() - 1, b = phase["frames"][1].get<int>() - 1;
      if (first < 0 || a > last + 1) {
        close();
        first = a;
      }
      last = b;
    }
    close();
    ++side;
  }
  return out;
}

Json truthSoles(const Case& c, const Json& truth) {
  const Film& film = *c.result;
  std::vector<double> heel, ball, toeSpread, under;
  const std::array<const char*, 2> feet{"LFoot", "RFoot"};
  for (int side = 0; side < 2; ++side) {
    const auto& points = c.regions.foot[index(side)];
    const std::string name = side == 0 ? "left" : "right";
    if (points.empty() || !c.roles.count(name + "Foot")) continue;
    // Heel: rear quarter of the sole; ball: between 55 and 75 per cent of its length; both its lowest centimetre in the bind pose.
    std::vector<Vector3d> bind;
    Vector3d middle = Vector3d::Zero();
    for (int p : points) bind.push_back(film.skinnedInBind(p));
    for (const Vector3d& p : bind) middle += p / static_cast<double>(bind.size());
    Vector3d forward = middle - film.bind[index(c.roles.at(name + "Foot"))].translation();
    forward.y() = 0;
    forward.normalize();
    double back = 1e30, front = -1e30;
    for (const Vector3d& p : bind) {
      back = std::min(back, p.dot(forward));
      front = std::max(front, p.dot(forward));
    }
    const auto region = [&](double from, double to) {
      std::vector<int> out;
      double low = 1e30;
      for (const Vector3d& p : bind) {
        const double u = (p.dot(forward) - back) / (front - back);
        if (u >= from && u <= to) low = std::min(low, p.y());
      }
      for (std::size_t i = 0; i < bind.size(); ++i) {
        const double u = (bind[i].dot(forward) - back) / (front - back);
        if (u >= from && u <= to && bind[i].y() <= low + 0.005 * c.regions.height) out.push_back(points[i]);
      }
      return out;
    };
    const std::vector<int> heelPoints = region(0, 0.25), ballPoints = region(0.55, 0.75), toePoints = region(0.75, 1);
    const auto low = [&](const std::vector<int>& of, int f) {
      double y = 1e30;
      for (int p : of) y = std::min(y, film.skinned(f, p).y());
      return c.mm(y);
    };
    for (const Json& phase : truth["feet"][feet[index(side)]])
      for (int f = phase["frames"][0].get<int>(); f < phase["frames"][1].get<int>() - 1 && f < c.frames; ++f) {
        // The first and last frame of a phase belong to either: they are left out.
        under.push_back(c.mm(lowest(sole(c, film, f, side))));
        if (phase["phase"] == "flat") {
          heel.push_back(std::abs(low(heelPoints, f)));
          ball.push_back(std::abs(low(ballPoints, f)));
        } else if (phase["phase"] == "ball") {
          toeSpread.push_back(std::abs(low(toePoints, f)));
        }
      }
  }
  const auto rows = [](std::vector<double> v) {
    if (v.empty()) return Json(nullptr);
    return Json{{"p95", round3(quantile(v, 0.95))}, {"max", round3(quantile(v, 1))}};
  };
  return {{"heelWhenFlat", rows(heel)}, {"ballWhenFlat", rows(ball)}, {"toesInBallPhase", rows(toeSpread)}, {"lowest", under.empty() ? Json() : Json(round3(quantile(under, 0)))}};
}

Json truthFlaws(const Case& c, const Json& truth) {
  Json out = Json::array();
  for (const Json& flaw : truth["flaws"]) {
    const std::string kind = flaw["kind"], role = roleOf(c, flaw["bone"]);
    const int first = flaw["frames"][0].get<int>() - 1, last = std::min(flaw["frames"][1].get<int>() - 1, c.frames - 1), side = sideOf(role);
    Json row{{"kind", kind}, {"role", role}, {"frames", flaw["frames"]}, {"put", flaw["size"]}, {"unit", flaw["unit"]}};
    double bar = 0;
    const auto measure = [&](const Film& film) -> double {
      if (kind == "slide") {
        bar = 0.5;
        return slip(c, film, side, std::max(0, first - 3), last);
      }
      if (kind == "float" || kind == "sink") {
        bar = 1;
        double most = 0;
        for (int f = first; f <= last; ++f) most = std::max(most, std::abs(c.mm(lowest(sole(c, film, f, side)))));
        return most;
      }
      if (kind == "depth") {
        bar = 2;
        const DepthRows& rows = &film == c.reference ? c.referenceDepth : c.depth;
        double most = 0;
        for (int f = first; f <= last && !rows.empty(); ++f) most = std::max(most, c.mm(rows.arm[index(side)][index(f)]));
        return most;
      }
      const auto turns = jointTurns(film, c.roles, role, c.frames);
      if (turns.empty()) return 0;
      if (kind == "pop") {
        // The largest step onto or off the frame that counts as a pop: beyond six times the median around it. 0: none does.
        bar = 2;
        const int reach = std::max(4, static_cast<int>(std::lround(0.25 * film.fps)));
        std::vector<double> steps;
        const int from = std::max(0, first - 1 - reach), to = std::min(c.frames - 2, last + reach);
        for (int f = from; f <= to; ++f) steps.push_back(angleBetween(turns[index(f)], turns[index(f + 1)]));
        const double median = quantile(steps, 0.5);
        double most = 0;
        for (int f = std::max(0, first - 1); f <= std::min(last, c.frames - 2); ++f)
          if (const double step = angleBetween(turns[index(f)], turns[index(f + 1)]); step > 6 * median) most = std::max(most, step);
        return most;
      }
      if (kind == "flip") {
        bar = 90;
        double most = 0;
        for (int f = std::max(0, first - 2); f <= std::min(last + 1, c.frames - 2); ++f) most = std::max(most, angleBetween(turns[index(f)], turns[index(f + 1)]));
        return most;
      }
      if (kind == "twist") {
        bar = 30;
        const std::string child = role.find("Lower") != std::string::npos ? role.substr(0, role.find("Lower")) + "Hand" : "";
        if (!c.roles.count(child)) return 0;
        const int n = c.roles.at(role), m = c.roles.at(child);
        const Vector3d axis = (turnOf(film.bind[index(n)]).conjugate() * (film.bind[index(m)].translation() - film.bind[index(n)].translation())).normalized();
        const int a = std::max(0, first - 2), b = std::min(c.frames - 1, last + 2);
        double most = 0;
        for (int f = a; f <= b; ++f) {
          const Quaterniond between = turns[index(a)].slerp(b == a ? 0 : static_cast<double>(f - a) / (b - a), turns[index(b)]);
          double t = twistAbout(between.conjugate() * turns[index(f)], axis);
          while (t > 180) t -= 360;
          while (t < -180) t += 360;
          most = std::max(most, std::abs(t));
        }
        return most;
      }
      if (kind == "hand leaves shaft" || kind == "grip drift") {
        bar = 2;
        const int a = c.roles.at(side == 0 ? "rightHand" : "leftHand"), b = c.roles.at(role);
        Vector3d palm = Vector3d::Zero();
        for (int p : c.regions.hand[index(side)]) palm += film.bind[index(b)].inverse() * film.skinnedInBind(p) / static_cast<double>(c.regions.hand[index(side)].size());
        std::array<std::vector<double>, 3> axis;
        std::vector<Vector3d> at;
        const int from = truth["broom"]["supportGrip"][0].get<int>() + 6, to = std::min(truth["broom"]["supportGrip"][1].get<int>() - 8, c.frames - 1);
        for (int f = from; f <= to; ++f) {
          at.push_back(film.at(f, a).inverse() * (film.at(f, b) * palm));
          for (int k = 0; k < 3; ++k) axis[index(k)].push_back(at.back()[k]);
        }
        const Vector3d middle(quantile(axis[0], 0.5), quantile(axis[1], 0.5), quantile(axis[2], 0.5));
        double most = 0;
        for (int f = std::max(from, first); f <= std::min(last, to); ++f) most = std::max(most, (at[index(f - from)] - middle).norm() * film.at(f, a).linear().col(0).norm());
        return c.mm(most);
      }
      return -1;
    };
    if (c.reference) row["before"] = round3(measure(*c.reference));
    const double after = measure(*c.result);
    row["after"] = round3(after);
    row["bar"] = bar;
    row["gone"] = after < 0 ? Json(nullptr) : Json(after <= bar);
    out.push_back(std::move(row));
  }
  return out;
}

}  // namespace checker
