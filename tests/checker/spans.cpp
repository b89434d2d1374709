#include "tests/checker/measure_tools.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <set>
#include <sstream>

namespace checker {

std::vector<Span> lowAndSlow(const Film& performer, const Roles& roles, double leg) {
  std::vector<Span> out;
  const double metre = leg / 0.83;
  for (int side = 0; side < 2; ++side) {
    const int foot = node(roles, std::string(sideName(side)) + "Foot");
    if (foot < 0) continue;
    std::vector<Vector3d> ankle, ball;
    std::vector<double> ankleHeight, ballHeight;
    for (int f = 0; f < performer.frames; ++f) {
      ankle.push_back(performer.place(f, foot));
      ball.push_back(toe(performer, roles, f, side));
      ankleHeight.push_back(ankle.back().y());
      ballHeight.push_back(ball.back().y());
    }
    const double ankleFloor = quantile(ankleHeight, 0.05), ballFloor = quantile(ballHeight, 0.05);
    const int reach = std::max(1, static_cast<int>(std::lround(performer.fps * 0.017)));
    const auto slow = [&](const std::vector<Vector3d>& path, int f) {
      const int a = std::max(0, f - reach), b = std::min(performer.frames - 1, f + reach);
      return b == a || (path[index(b)] - path[index(a)]).norm() * performer.fps / (b - a) < 0.3 * metre;
    };
    std::vector<bool> down;
    for (int f = 0; f < performer.frames; ++f)
      down.push_back((ankleHeight[index(f)] < ankleFloor + 0.035 * metre && slow(ankle, f)) || (ballHeight[index(f)] < ballFloor + 0.03 * metre && slow(ball, f)));
    const int gap = static_cast<int>(std::lround(0.05 * performer.fps)), least = static_cast<int>(std::lround(0.15 * performer.fps));
    int first = -1, last = -1;
    const auto close = [&] {
      if (first >= 0 && last - first >= least) out.push_back({side, first, last, first > 0, last < performer.frames - 1, -1, -1, false});
      first = -1;
    };
    for (int f = 0; f < performer.frames; ++f) {
      if (!down[index(f)]) continue;
      if (first >= 0 && f - last > gap + 1) close();
      if (first < 0) first = f;
      last = f;
    }
    close();
  }
  return out;
}

namespace {

struct Labels {
  std::vector<double> times;
  std::vector<std::array<int, 2>> rows;
};

Labels readLabels(const std::string& csv) {
  std::ifstream in(csv);
  if (!in) throw std::runtime_error("cannot open " + csv);
  Labels out;
  for (std::string line; std::getline(in, line);) {
    if (line.empty() || line[0] == '#') continue;
    std::istringstream cells(line);
    std::string cell;
    std::array<int, 2> row{};
    double time = 0;
    for (int i = 0; i < 4 && std::getline(cells, cell, ','); ++i) {
      if (i == 1) time = std::stod(cell);
      if (i >= 2) row[index(i - 2)] = std::stoi(cell);
    }
    out.rows.push_back(row);
    out.times.push_back(time);
  }
  return out;
}

}  // namespace

std::vector<Span> labelled(const std::string& csv, double fps, int frames) {
  std::vector<Span> out;
  const auto [times, rows] = readLabels(csv);
  for (int side = 0; side < 2; ++side)
    for (int r = 0; r < static_cast<int>(rows.size()); ++r) {
      if (rows[index(r)][index(side)] != 1 || (r > 0 && rows[index(r - 1)][index(side)] == 1)) continue;
      int last = r;
      while (last + 1 < static_cast<int>(rows.size()) && rows[index(last + 1)][index(side)] == 1) ++last;
      const auto frame = [&, &at = times](int row) { return std::min(frames - 1, static_cast<int>(std::lround(at[index(row)] * fps))); };
      Span span;
      span.side = side;
      span.first = frame(r);
      span.last = frame(last);
      span.landingSeen = r > 0 && rows[index(r - 1)][index(side)] == 0;
      span.leavingSeen = last + 1 < static_cast<int>(rows.size()) && rows[index(last + 1)][index(side)] == 0;
      out.push_back(span);
    }
  return out;
}

Known knownContacts(const std::string& csv, double fps, int frames) {
  Known out{std::vector<int>(index(frames), -1), std::vector<int>(index(frames), -1)};
  const Labels labels = readLabels(csv);
  for (std::size_t r = 0; r < labels.rows.size(); ++r)
    for (int side = 0; side < 2; ++side)
      if (const long f = std::lround(labels.times[r] * fps); f < frames) out[index(side)][static_cast<std::size_t>(f)] = labels.rows[r][index(side)];
  return out;
}

Known knownContacts(const std::vector<Span>& stances, int frames) {
  Known out{std::vector<int>(index(frames), 0), std::vector<int>(index(frames), 0)};
  for (const Span& s : stances)
    for (int f = s.first; f <= std::min(s.last, frames - 1); ++f) out[index(s.side)][index(f)] = 1;
  return out;
}

std::vector<Span> plantsOf(const Json& reel, double fps, int frames) {
  std::vector<Span> out;
  for (const Json& repair : reel.at("takes").at(std::max<std::size_t>(1, reel.value("current", std::size_t{1})) - 1).value("repairs", Json::array())) {
    const std::string part = repair.value("part", "leftFoot");
    if (repair.at("kind") != "plant" || (part != "leftFoot" && part != "rightFoot")) continue;
    Span span;
    span.side = part == "rightFoot";
    // Frames at or after the span's start; what lies between two frames is not seen.
    span.first = std::max(0, static_cast<int>(std::ceil(repair["span"]["first"].get<double>() * fps - 1e-6)));
    span.last = std::min(frames - 1, static_cast<int>(std::floor(repair["span"]["last"].get<double>() * fps + 1e-6)));
    span.landingSeen = span.first > 0;
    span.leavingSeen = repair.contains("release") && repair["release"].is_number();
    span.judgedFirst = span.first;
    span.judgedLast = span.leavingSeen ? static_cast<int>(std::floor(repair["release"].get<double>() * fps + 1e-6)) : span.last;
    // Of treads and the like; a ground that is off by less than a step counts as the floor all the same.
    if (const double ground = repair.value("ground", 0.0); std::abs(ground) > 0.08) span.ground = ground;
    out.push_back(span);
  }
  return out;
}

Json coverage(const std::vector<Span>& plants, const Known& known, double fps) {
  int stance = 0, covered = 0, planted = 0, inSwing = 0;
  std::vector<double> landings, leavings, releases;
  for (int side = 0; side < 2; ++side) {
    const std::vector<int>& rows = known[index(side)];
    std::vector<bool> on(rows.size(), false);
    for (const Span& p : plants) {
      if (p.side != side) continue;
      for (int f = p.first; f <= p.last && f < static_cast<int>(rows.size()); ++f) on[index(f)] = true;
      if (p.leavingSeen && p.last > p.first) releases.push_back(static_cast<double>(p.last - p.judgedLast) / (p.last - p.first));
    }
    for (std::size_t f = 0; f < rows.size(); ++f) {
      if (rows[f] < 0) continue;
      stance += rows[f] == 1;
      covered += rows[f] == 1 && on[f];
      planted += on[f];
      inSwing += on[f] && rows[f] == 0;
    }
    for (std::size_t f = 1; f < rows.size(); ++f) {
      const bool lands = rows[f - 1] == 0 && rows[f] == 1, leaves = rows[f - 1] == 1 && rows[f] == 0;
      if (!lands && !leaves) continue;
      double nearest = 1e9;
      for (const Span& p : plants)
        if (p.side == side) nearest = std::min(nearest, std::abs(lands ? p.first - static_cast<double>(f) : p.last - static_cast<double>(f - 1)) / fps);
      (lands ? landings : leavings).push_back(std::min(nearest, 1.0) * 1000);
    }
  }
  std::vector<double> edges = landings;
  edges.insert(edges.end(), leavings.begin(), leavings.end());
  return {{"plants", plants.size()}, {"stanceFrames", stance}, {"covered", stance ? Json(round3(covered / static_cast<double>(stance))) : Json()},
          {"inSwing", planted ? Json(round3(inSwing / static_cast<double>(planted))) : Json()}, {"edges", edges.size()},
          {"edgeMedianMs", edges.empty() ? Json() : Json(round3(quantile(edges, 0.5)))}, {"edgeWorstMs", edges.empty() ? Json() : Json(round3(quantile(edges, 1)))},
          {"releaseShareLongest", releases.empty() ? Json() : Json(round3(quantile(releases, 1)))}};
}

}  // namespace checker
