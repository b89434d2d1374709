#include "tests/checker/measure_tools.h"

#include <algorithm>
#include <cmath>

namespace checker {

Json hands(const Case& c) {
  Json out{{"spans", Json::array()}};
  const int left = node(c.roles, "leftHand"), right = node(c.roles, "rightHand");
  if (!c.performer || left < 0 || right < 0) return out;
  const int pl = node(c.performerRoles, "leftHand"), pr = node(c.performerRoles, "rightHand");
  if (pl < 0 || pr < 0) return out;
  // Together: closer than 0.38 of the leg's length, at a steady distance, for two seconds at least.
  std::vector<double> gap;
  for (int f = 0; f < c.frames; ++f) gap.push_back((c.performer->place(c.performerFrame(f), pl) - c.performer->place(c.performerFrame(f), pr)).norm() / c.performerLeg);
  const int second = static_cast<int>(std::lround(c.result->fps));
  std::vector<double> deviations, angles;
  int framesTogether = 0;
  for (int first = 0; first < c.frames;) {
    if (gap[index(first)] > 0.38) {
      ++first;
      continue;
    }
    double low = gap[index(first)], high = low;
    int last = first;
    while (last + 1 < c.frames && gap[index(last + 1)] <= 0.38) {
      const double l = std::min(low, gap[index(last + 1)]), h = std::max(high, gap[index(last + 1)]);
      if (h > 1.4 * l) break;
      low = l;
      high = h;
      ++last;
    }
    const int ease = second / 4;
    if (last - first >= 2 * second) {
      // Support palm in the lead hand's frame, against its own median over the span.
      const auto palm = [&](int hand, int side) {
        Vector3d local = Vector3d::Zero();
        const auto& skin = c.regions.hand[index(side)];
        for (int p : skin) local += c.result->bind[index(hand)].inverse() * c.result->skinnedInBind(p);
        return skin.empty() ? local : Vector3d(local / static_cast<double>(skin.size()));
      };
      double best = 1e30;
      std::vector<double> off, turned;
      std::string lead;
      for (int leadSide = 0; leadSide < 2; ++leadSide) {
        const int a = leadSide == 0 ? left : right, b = leadSide == 0 ? right : left;
        const Vector3d point = palm(b, 1 - leadSide);
        std::vector<Vector3d> at;
        std::array<std::vector<double>, 3> axis;
        std::vector<Quaterniond> turns;
        for (int f = first + ease; f <= last - ease; ++f) {
          at.push_back(c.result->at(f, a).inverse() * (c.result->at(f, b) * point));
          turns.push_back(c.result->turn(f, a).conjugate() * c.result->turn(f, b));
          for (int k = 0; k < 3; ++k) axis[index(k)].push_back(at.back()[k]);
        }
        const Vector3d middle(quantile(axis[0], 0.5), quantile(axis[1], 0.5), quantile(axis[2], 0.5));
        const double unit = c.result->at(first, a).linear().col(0).norm();
        std::vector<double> distances, turnings;
        // The rotation nearest to the median place stands for the grip's.
        std::size_t nearest = 0;
        for (std::size_t i = 0; i < at.size(); ++i)
          if ((at[i] - middle).norm() < (at[nearest] - middle).norm()) nearest = i;
        for (std::size_t i = 0; i < at.size(); ++i) {
          distances.push_back(c.mm((at[i] - middle).norm() * unit));
          turnings.push_back(angleBetween(turns[nearest], turns[i]));
        }
        if (quantile(distances, 0.95) < best) {
          best = quantile(distances, 0.95);
          off = distances;
          turned = turnings;
          lead = sideName(leadSide);
        }
      }
      int within = 0;
      for (double d : off) within += d <= 2;
      out["spans"].push_back({{"first", first + 1}, {"last", last + 1}, {"lead", lead}, {"gapOfLeg", {round3(low), round3(high)}}, {"drift", summary(off)},
                              {"turn", summary(turned)}, {"within2mm", round3(static_cast<double>(within) / static_cast<double>(off.size()))}});
      deviations.insert(deviations.end(), off.begin(), off.end());
      angles.insert(angles.end(), turned.begin(), turned.end());
      framesTogether += last - first + 1;
    }
    first = last + 1;
  }
  int within = 0;
  for (double d : deviations) within += d <= 2;
  out["frames"] = framesTogether;
  out["drift"] = summary(deviations);
  out["turn"] = summary(angles);
  out["within2mm"] = deviations.empty() ? Json(nullptr) : Json(round3(static_cast<double>(within) / static_cast<double>(deviations.size())));
  return out;
}

DepthRows depthRows(const Case& c, const Film& film, const std::vector<std::array<int, 3>>& triangles) {
  DepthRows out;
  Torso torso(film, triangles, c.regions.height);
  if (torso.empty()) return out;
  std::array<std::vector<int>, 2> asked;
  for (int side = 0; side < 2; ++side) {
    std::vector<int> free;
    for (int p : c.regions.arm[index(side)])
      if (torso.depth(film.skinnedInBind(p)) <= 0) free.push_back(p);
    const std::size_t step = std::max<std::size_t>(1, (free.size() + 249) / 250);
    for (std::size_t i = 0; i < free.size(); i += step) asked[index(side)].push_back(free[i]);
    out.points[index(side)] = asked[index(side)].size();
  }
  for (int f = 0; f < c.frames; ++f) {
    torso.pose(f);
    for (int side = 0; side < 2; ++side) {
      double most = 0;
      for (int p : asked[index(side)]) most = std::max(most, torso.depth(film.skinned(f, p)));
      out.arm[index(side)].push_back(most);
    }
  }
  return out;
}

Json armDepth(const Case& c, bool perFrame) {
  if (c.depth.empty()) return nullptr;
  std::vector<double> worst;
  Json rows = Json::array(), over = Json::array();
  int first = -1, deep = 0, two = 0;
  for (int f = 0; f < c.frames; ++f) {
    worst.push_back(c.mm(std::max(c.depth.arm[0][index(f)], c.depth.arm[1][index(f)])));
    deep += worst.back() > 10;
    two += worst.back() > 2;
    if (worst.back() > 10 && first < 0) first = f;
    if (first >= 0 && (worst.back() <= 10 || f + 1 == c.frames)) {
      over.push_back({first + 1, worst.back() <= 10 ? f : f + 1});
      first = -1;
    }
    if (perFrame) rows.push_back(round3(worst.back()));
  }
  const int at = static_cast<int>(std::max_element(worst.begin(), worst.end()) - worst.begin());
  Json out{{"depth", summary(worst)}, {"deeperThan10", round3(deep / static_cast<double>(c.frames))}, {"deeperThan2", round3(two / static_cast<double>(c.frames))},
           {"worstFrame", at + 1}, {"spansOver10", over}, {"points", {c.depth.points[0], c.depth.points[1]}}, {"torsoTriangles", c.regions.torso.size()}};
  if (perFrame) out["mm"] = rows;
  // Where the reference is deeper than 5 mm and the result is out: how far the arm is from the surface now.
  if (c.reference && !c.referenceDepth.empty()) {
    Torso torso(*c.result, c.regions.torso, c.regions.height);
    std::vector<double> gaps;
    for (int f = 0; f < c.frames; ++f)
      for (int side = 0; side < 2; ++side) {
        if (c.mm(c.referenceDepth.arm[index(side)][index(f)]) <= 5 || c.depth.arm[index(side)][index(f)] > 0) continue;
        torso.pose(f);
        double least = 1e30;
        const auto& points = c.regions.arm[index(side)];
        const std::size_t step = std::max<std::size_t>(1, points.size() / 250);
        for (std::size_t i = 0; i < points.size(); i += step) least = std::min(least, torso.distance(c.result->skinned(f, points[i])));
        gaps.push_back(c.mm(least));
      }
    out["gapWhereCleared"] = summary(gaps);
  }
  return out;
}

Json handGaps(const Case& c) {
  Torso torso(*c.result, c.regions.torso, c.regions.height);
  Json out{{"leftTorso", Json::array()}, {"rightTorso", Json::array()}, {"between", Json::array()}};
  for (int f = 0; f < c.frames; ++f) {
    torso.pose(f);
    std::array<std::vector<Vector3d>, 2> skin;
    for (int side = 0; side < 2; ++side) {
      double least = 1e30, deep = 0;
      for (int p : c.regions.hand[index(side)]) {
        skin[index(side)].push_back(c.result->skinned(f, p));
        const double d = torso.depth(skin[index(side)].back());
        deep = std::max(deep, d);
        if (d <= 0) least = std::min(least, torso.distance(skin[index(side)].back()));
      }
      out[side == 0 ? "leftTorso" : "rightTorso"].push_back(round3(c.mm(deep > 0 ? -deep : std::min(least, 10.0))));
    }
    double least = 1e30;
    for (const Vector3d& a : skin[0])
      for (const Vector3d& b : skin[1]) least = std::min(least, (a - b).squaredNorm());
    out["between"].push_back(round3(c.mm(std::min(std::sqrt(least), 10.0))));
  }
  return out;
}

}  // namespace checker
