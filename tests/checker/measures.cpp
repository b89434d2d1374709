#include "tests/checker/measures.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <set>
#include <sstream>

namespace checker {
namespace {

using Json = nlohmann::json;
constexpr double degrees = 180 / EIGEN_PI;

std::size_t index(int i) { return static_cast<std::size_t>(i); }
const char* sideName(int side) { return side == 0 ? "left" : "right"; }

int node(const Roles& roles, const std::string& role) {
  const auto found = roles.find(role);
  return found == roles.end() ? -1 : found->second;
}

double round3(double v) { return std::round(v * 1000) / 1000; }

Json summary(const std::vector<double>& values) {
  if (values.empty()) return nullptr;
  double sum = 0;
  for (double v : values) sum += v;
  return {{"mean", round3(sum / static_cast<double>(values.size()))}, {"p95", round3(quantile(values, 0.95))}, {"max", round3(quantile(values, 1))}};
}

double angleBetween(const Vector3d& a, const Vector3d& b) { return std::atan2(a.cross(b).norm(), a.dot(b)) * degrees; }
double angleBetween(const Quaterniond& a, const Quaterniond& b) {
  const Quaterniond d = a.conjugate() * b;
  return 2 * std::atan2(d.vec().norm(), std::abs(d.w())) * degrees;
}

const std::vector<std::pair<const char*, const char*>> parentRoles = {
    {"spine", "hips"}, {"chest", "spine"}, {"upperChest", "chest"}, {"neck", "upperChest"}, {"head", "neck"},
    {"leftUpperLeg", "hips"}, {"leftLowerLeg", "leftUpperLeg"}, {"leftFoot", "leftLowerLeg"}, {"leftToes", "leftFoot"},
    {"rightUpperLeg", "hips"}, {"rightLowerLeg", "rightUpperLeg"}, {"rightFoot", "rightLowerLeg"}, {"rightToes", "rightFoot"},
    {"leftShoulder", "upperChest"}, {"leftUpperArm", "leftShoulder"}, {"leftLowerArm", "leftUpperArm"}, {"leftHand", "leftLowerArm"},
    {"rightShoulder", "upperChest"}, {"rightUpperArm", "rightShoulder"}, {"rightLowerArm", "rightUpperArm"}, {"rightHand", "rightLowerArm"}};

std::string parentOf(const std::string& role) {
  for (const auto& [child, parent] : parentRoles)
    if (role == child) return parent;
  return {};
}

const std::vector<std::array<const char*, 3>> limbs = {
    {"leftUpperArm", "leftUpperArm", "leftLowerArm"}, {"leftLowerArm", "leftLowerArm", "leftHand"},
    {"rightUpperArm", "rightUpperArm", "rightLowerArm"}, {"rightLowerArm", "rightLowerArm", "rightHand"},
    {"leftUpperLeg", "leftUpperLeg", "leftLowerLeg"}, {"leftLowerLeg", "leftLowerLeg", "leftFoot"},
    {"rightUpperLeg", "rightUpperLeg", "rightLowerLeg"}, {"rightLowerLeg", "rightLowerLeg", "rightFoot"}};

Vector3d rotationVector(const Quaterniond& from, const Quaterniond& to) {
  Quaterniond d = from.conjugate() * to;
  if (d.w() < 0) d.coeffs() = -d.coeffs();
  const double s = d.vec().norm();
  return s < 1e-12 ? Vector3d(2 * d.vec()) : Vector3d(d.vec() * (2 * std::atan2(s, d.w()) / s));
}

Vector3d flat(Vector3d v) {
  v.y() = 0;
  return v;
}

/// Ball of the foot or toe end of the performer: what stays on the ground longest.
Vector3d toe(const Film& film, const Roles& roles, int frame, int side) {
  const int toes = node(roles, std::string(sideName(side)) + "Toes"), foot = node(roles, std::string(sideName(side)) + "Foot");
  if (toes >= 0) return film.place(frame, toes);
  return film.at(frame, foot) * film.ends[index(foot)];
}

}  // namespace

int Case::performerFrame(int frame) const {
  return std::min(performer->frames - 1, static_cast<int>(std::lround(frame / result->fps * performer->fps)));
}

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0;
  const std::size_t k = static_cast<std::size_t>(std::lround(q * static_cast<double>(values.size() - 1)));
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(k), values.end());
  return values[k];
}

std::vector<Quaterniond> jointTurns(const Film& film, const Roles& roles, const std::string& role, int frames) {
  std::vector<Quaterniond> out;
  const int child = node(roles, role);
  if (child < 0) return out;
  std::string above = parentOf(role);
  while (!above.empty() && node(roles, above) < 0) above = parentOf(above);
  const int parent = node(roles, above);
  for (int f = 0; f < frames; ++f) {
    const Quaterniond q = film.turn(f, child);
    out.push_back(parent < 0 ? q : film.turn(f, parent).conjugate() * q);
  }
  return out;
}

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

Json directions(const Case& c, const Film& other, const Roles& otherRoles, bool sameWorld) {
  const auto frameOf = [&](int f) { return sameWorld ? f : c.performerFrame(f); };
  const auto along = [](const Film& film, const Roles& roles, const std::array<const char*, 3>& limb, int f) -> Vector3d {
    return (film.place(f, roles.at(limb[2])) - film.place(f, roles.at(limb[1]))).normalized();
  };
  const auto both = [&](const std::array<const char*, 3>& limb) {
    for (int i : {1, 2})
      if (node(c.roles, limb[index(i)]) < 0 || node(otherRoles, limb[index(i)]) < 0) return false;
    return true;
  };
  // One turn about up for the whole clip: the two worlds may face different ways.
  double sine = 0, cosine = 0;
  for (const auto& limb : limbs)
    if (!sameWorld && both(limb))
      for (int f = 0; f < c.frames; ++f) {
        const Vector3d p = along(other, otherRoles, limb, frameOf(f)), q = along(*c.result, c.roles, limb, f);
        sine += p.z() * q.x() - p.x() * q.z();
        cosine += p.x() * q.x() + p.z() * q.z();
      }
  const double yaw = sameWorld ? 0 : std::atan2(sine, cosine);
  const Eigen::AngleAxisd turn(yaw, Vector3d::UnitY());
  Json out;
  std::vector<double> arms, legs;
  for (const auto& limb : limbs) {
    if (!both(limb)) continue;
    std::vector<double> errors;
    for (int f = 0; f < c.frames; ++f) errors.push_back(angleBetween(turn * along(other, otherRoles, limb, frameOf(f)), along(*c.result, c.roles, limb, f)));
    auto& all = std::string(limb[0]).find("Arm") != std::string::npos ? arms : legs;
    all.insert(all.end(), errors.begin(), errors.end());
    out[limb[0]] = summary(errors);
  }
  out["arms"] = summary(arms);
  if (sameWorld && !c.referenceDepth.empty()) {
    // Where neither clearance nor grip demand more: for a third of a second around the arm was not in the torso, nor the hands together.
    const int ease = static_cast<int>(std::lround(c.result->fps / 3));
    std::vector<double> free;
    const Json held = hands(c)["spans"];
    for (const auto& limb : limbs) {
      if (!both(limb) || std::string(limb[0]).find("Arm") == std::string::npos) continue;
      const auto& rows = c.referenceDepth.arm[std::string(limb[0]).rfind("right", 0) == 0 ? 1 : 0];
      int since = c.frames;
      std::vector<bool> near(index(c.frames), false);
      for (int f = 0; f < c.frames; ++f) near[index(f)] = (since = c.mm(rows[index(f)]) > 2 ? 0 : since + 1) <= ease;
      since = c.frames;
      for (int f = c.frames - 1; f >= 0; --f) near[index(f)] = (since = c.mm(rows[index(f)]) > 2 ? 0 : since + 1) <= ease || near[index(f)];
      for (const Json& s : held)
        for (int f = std::max(0, s["first"].get<int>() - ease); f < std::min(c.frames, s["last"].get<int>() + ease); ++f) near[index(f)] = true;
      for (int f = 0; f < c.frames; ++f)
        if (!near[index(f)]) free.push_back(angleBetween(along(other, otherRoles, limb, f), along(*c.result, c.roles, limb, f)));
    }
    out["armsFree"] = summary(free);
  }
  out["legs"] = summary(legs);
  out["yaw"] = round3(yaw * degrees);
  return out;
}

Json feet(const Case& c, const std::vector<Span>& spans, bool perFrame) {
  const Film& film = *c.result;
  const double scale = c.performer && c.performerLeg > 0 ? c.leg / c.performerLeg : 1;
  Json list = Json::array();
  std::vector<double> frameSlips, totals, lows, slips, flats;
  double worstReversal = 0, worstExcess = -1e9;
  for (const Span& span : spans) {
    const std::vector<int>& points = c.regions.foot[index(span.side)];
    if (points.empty() || span.last >= c.frames || span.last <= span.first) continue;
    const int length = span.last - span.first + 1;
    // The stance's own edges are not the program's: two frames of a 30 Hz clip are left out at landing, the release at the end.
    const int begin = span.judgedFirst >= 0 ? span.judgedFirst : span.first + (span.landingSeen ? static_cast<int>(std::lround(0.067 * film.fps)) : 0);
    const int release = span.judgedLast >= 0 ? std::min(span.judgedLast, c.frames - 1) : span.leavingSeen ? span.first + static_cast<int>(0.85 * length) - static_cast<int>(std::lround(0.033 * film.fps)) : span.last;
    if (release <= begin) continue;
    std::vector<Vector3d> before, now(points.size());
    Vector3d carried = Vector3d::Zero();
    double slipFrame = 0, slipTotal = 0, high = -1e9, low = 1e9, sink = 1e9;
    std::vector<double> rows;
    const double near = 0.001 * c.regions.height / 1.7;
    for (int f = begin; f <= release; ++f) {
      double lowest = 1e30;
      for (std::size_t i = 0; i < points.size(); ++i) {
        now[i] = film.skinned(f, points[i]);
        lowest = std::min(lowest, now[i].y());
      }
      lows.push_back(std::abs(c.mm(lowest)));
      high = std::max(high, lowest);
      low = std::min(low, lowest);
      sink = std::min(sink, lowest);
      rows.push_back(round3(c.mm(lowest)));
      if (f > begin) {
        // The skin that is on the ground in both frames; the part of it that moved least, for feet turn about what they stand on.
        double was = 1e30;
        for (const Vector3d& p : before) was = std::min(was, p.y());
        Vector3d step = Vector3d::Zero();
        double least = 1e30, under = 1e30;
        Vector3d lowestStep = Vector3d::Zero();
        for (std::size_t i = 0; i < points.size(); ++i) {
          const Vector3d d = flat(now[i] - before[i]);
          if (now[i].y() < under) {
            under = now[i].y();
            lowestStep = d;
          }
          if (now[i].y() <= lowest + near && before[i].y() <= was + near && d.norm() < least) {
            least = d.norm();
            step = d;
          }
        }
        if (least > 1e29) step = lowestStep;
        carried += step;
        slipFrame = std::max(slipFrame, step.norm());
        slipTotal = std::max(slipTotal, carried.norm());
        frameSlips.push_back(c.mm(step.norm()));
      }
      before = now;
    }
    totals.push_back(c.mm(slipTotal));
    Json row{{"side", sideName(span.side)}, {"first", span.first + 1}, {"last", span.last + 1}, {"judged", {begin + 1, release + 1}},
             {"slipFrame", round3(c.mm(slipFrame))}, {"slipTotal", round3(c.mm(slipTotal))}, {"highest", round3(c.mm(high))}, {"lowest", round3(c.mm(low))}};
    if (perFrame) row["height"] = rows;
    if (span.leavingSeen && span.wholeStance && c.performer && span.last > release) {
      // Release: the point of the skin in contact when it starts, horizontally.
      std::size_t tip = 0;
      for (std::size_t i = 0; i < points.size(); ++i)
        if (before[i].y() < before[tip].y()) tip = i;
      double reached = 0, reversal = 0, slip = 0;
      for (int f = release; f <= span.last; ++f) {
        slip = flat(film.skinned(f, points[tip]) - before[tip]).norm();
        reached = std::max(reached, slip);
        reversal = std::max(reversal, reached - slip);
      }
      // The performer's own toe: its ball or its tip, whichever travels farther.
      double travel = 0;
      const auto toes = [&](int f) {
        const int n = node(c.performerRoles, std::string(sideName(span.side)) + "Toes");
        const Vector3d ball = toe(*c.performer, c.performerRoles, f, span.side);
        return std::pair{ball, n < 0 ? ball : Vector3d(c.performer->at(f, n) * c.performer->ends[index(n)])};
      };
      const auto from = toes(c.performerFrame(release));
      for (int f = release; f <= span.last; ++f) {
        const auto at = toes(c.performerFrame(f));
        travel = std::max({travel, flat(at.first - from.first).norm() * scale, flat(at.second - from.second).norm() * scale});
      }
      row["releaseSlip"] = round3(c.mm(reached));
      row["releaseReversal"] = round3(c.mm(reversal));
      row["performerToeTravel"] = round3(c.mm(travel));
      slips.push_back(c.mm(reached));
      worstReversal = std::max(worstReversal, c.mm(reversal));
      worstExcess = std::max(worstExcess, c.mm(reached - travel));
    }
    list.push_back(std::move(row));
  }
  int onGround = 0, still = 0;
  for (double v : lows) onGround += v <= 1;
  for (double v : frameSlips) still += v <= 0.1;
  int whole = 0;
  for (double v : totals) whole += v <= 0.5;
  const auto share = [](int n, std::size_t of) { return of == 0 ? Json(nullptr) : Json(round3(static_cast<double>(n) / static_cast<double>(of))); };
  return {{"stances", totals.size()}, {"frames", lows.size()}, {"slipFrame", summary(frameSlips)}, {"slipTotal", summary(totals)}, {"offGround", summary(lows)},
          {"framesWithinMillimetre", share(onGround, lows.size())}, {"framesStill", share(still, frameSlips.size())}, {"stancesStill", share(whole, totals.size())},
          {"releaseSlip", summary(slips)}, {"releaseReversalWorst", round3(worstReversal)},
          {"releaseBeyondPerformerWorst", slips.empty() ? Json(nullptr) : Json(round3(worstExcess))}, {"list", list}};
}

Json legAcceleration(const Case& c, const std::vector<Span>& spans) {
  std::vector<bool> edge(index(c.frames), false);
  const int reach = static_cast<int>(std::lround(c.result->fps / 3));
  for (const Span& s : spans)
    for (int at : {s.first, s.last, s.last - static_cast<int>(0.15 * (s.last - s.first))})
      for (int f = std::max(0, at - reach); f <= std::min(c.frames - 1, at + reach); ++f) edge[index(f)] = true;
  const auto of = [&](const Film& film, const Roles& roles, bool performer) {
    std::vector<double> near, away;
    for (const char* role : {"leftUpperLeg", "leftLowerLeg", "leftFoot", "rightUpperLeg", "rightLowerLeg", "rightFoot"}) {
      const auto turns = jointTurns(film, roles, role, performer ? film.frames : c.frames);
      for (int f = 1; f + 1 < static_cast<int>(turns.size()) && f < c.frames; ++f) {
        const double a = (rotationVector(turns[index(f)], turns[index(f + 1)]) - rotationVector(turns[index(f - 1)], turns[index(f)])).norm() * film.fps * film.fps;
        (edge[index(f)] ? near : away).push_back(a);
      }
    }
    return Json{{"peakAtEdges", round3(quantile(near, 1))}, {"p99AtEdges", round3(quantile(near, 0.99))}, {"p99Elsewhere", round3(quantile(away, 0.99))},
                {"peakElsewhere", round3(quantile(away, 1))}};
  };
  Json out{{"result", of(*c.result, c.roles, false)}};
  if (c.reference) out["reference"] = of(*c.reference, c.roles, false);
  if (c.performer && std::abs(c.performer->fps - c.result->fps) < 1e-6) out["performer"] = of(*c.performer, c.performerRoles, true);
  return out;
}

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

Json popsAndFlips(const Case& c) {
  struct Found {
    std::set<std::pair<std::string, int>> pops, flips;
    Json list = Json::array();
  };
  const auto search = [&](const Film& film, const Roles& roles, int frames) {
    Found found;
    for (const auto& [role, at] : roles) {
      (void)at;
      if (role != "hips" && parentOf(role).empty()) continue;
      const auto turns = jointTurns(film, roles, role, frames);
      std::vector<double> steps;
      for (std::size_t f = 0; f + 1 < turns.size(); ++f) steps.push_back(angleBetween(turns[f], turns[f + 1]));
      const int reach = std::max(4, static_cast<int>(std::lround(0.25 * film.fps)));
      for (int f = 0; f < static_cast<int>(steps.size()); ++f) {
        if (steps[index(f)] < 2) continue;
        const int a = std::max(0, f - reach), b = std::min(static_cast<int>(steps.size()) - 1, f + reach);
        const double median = quantile({steps.begin() + a, steps.begin() + b + 1}, 0.5);
        if (steps[index(f)] > 6 * median) {
          found.pops.emplace(role, f);
          found.list.push_back({{"role", role}, {"frame", f + 2}, {"step", round3(steps[index(f)])}, {"median", round3(median)}});
        }
        const double before = f > 0 ? steps[index(f - 1)] : 0, after = f + 1 < static_cast<int>(steps.size()) ? steps[index(f + 1)] : 0;
        if (steps[index(f)] > 90 && steps[index(f)] > 3 * std::max(before, after)) found.flips.emplace(role, f);
      }
    }
    return found;
  };
  const Found mine = search(*c.result, c.roles, c.frames);
  Json out{{"pops", mine.pops.size()}, {"flips", mine.flips.size()}};
  std::set<std::pair<std::string, int>> known;
  if (c.performer) {
    const Found theirs = search(*c.performer, c.performerRoles, c.performer->frames);
    for (const auto& [role, f] : theirs.pops) known.emplace(role, static_cast<int>(std::lround(f / c.performer->fps * c.result->fps)));
    out["performerPops"] = theirs.pops.size();
    out["performerFlips"] = theirs.flips.size();
  }
  if (c.reference) {
    const Found theirs = search(*c.reference, c.roles, c.frames);
    known.insert(theirs.pops.begin(), theirs.pops.end());
    out["referencePops"] = theirs.pops.size();
  }
  Json fresh = Json::array();
  for (const Json& pop : mine.list) {
    bool old = false;
    for (int d = -2; d <= 2; ++d) old = old || known.count({pop["role"], pop["frame"].get<int>() - 2 + d}) > 0;
    if (!old) fresh.push_back(pop);
  }
  out["newPops"] = fresh.size();
  out["newList"] = fresh;
  // Twist of a limb's joint about its own length, from the bind pose.
  Json twists;
  for (const auto& [role, child] : std::vector<std::pair<const char*, const char*>>{
           {"leftUpperArm", "leftLowerArm"}, {"leftLowerArm", "leftHand"}, {"rightUpperArm", "rightLowerArm"}, {"rightLowerArm", "rightHand"},
           {"leftUpperLeg", "leftLowerLeg"}, {"leftLowerLeg", "leftFoot"}, {"rightUpperLeg", "rightLowerLeg"}, {"rightLowerLeg", "rightFoot"}}) {
    const int n = node(c.roles, role), m = node(c.roles, child);
    const auto turns = jointTurns(*c.result, c.roles, role, c.frames);
    if (turns.empty() || m < 0) continue;
    std::string above = parentOf(role);
    while (node(c.roles, above) < 0 && !above.empty()) above = parentOf(above);
    if (above.empty()) continue;
    const Quaterniond bind = turnOf(c.result->bind[index(node(c.roles, above))]).conjugate() * turnOf(c.result->bind[index(n)]);
    const Vector3d axis = (turnOf(c.result->bind[index(n)]).conjugate() * (c.result->bind[index(m)].translation() - c.result->bind[index(n)].translation())).normalized();
    double most = 0;
    int beyond = 0;
    for (const Quaterniond& q : turns) {
      const Quaterniond d = bind.conjugate() * q;
      double angle = 2 * std::atan2(d.vec().dot(axis), d.w()) * degrees;
      if (angle > 180) angle -= 360;
      if (angle < -180) angle += 360;
      most = std::max(most, std::abs(angle));
      beyond += std::abs(angle) > 120;
    }
    twists[role] = {{"max", round3(most)}, {"framesBeyond120", beyond}};
  }
  out["twist"] = twists;
  return out;
}

Json moved(const Case& c, const std::vector<Span>& spans) {
  if (!c.reference) return nullptr;
  const Film &a = *c.result, &b = *c.reference;
  if (a.nodes() != b.nodes()) return {{"error", "another skeleton"}};
  Json bones = Json::object();
  int total = 0, turned = 0, unflawed = 0;
  // Flaws of the reference, a second's third around: legs and pelvis while a foot stands, arms while one is in torso, head, thighs or floor or
  // both keep together, any joint that jumps.
  const int ease = static_cast<int>(std::lround(a.fps / 3));
  const std::vector<std::string> roleOf = roleOfNodes(a, c.roles);
  std::vector<bool> legs(index(c.frames), false);
  std::array<std::vector<bool>, 2> arms{legs, legs};
  const auto mark = [&](std::vector<bool>& rows, int first, int last) {
    for (int f = std::max(0, first - ease); f <= std::min(c.frames - 1, last + ease); ++f) rows[index(f)] = true;
  };
  for (const Span& s : spans) mark(legs, s.first, s.last);
  for (int side = 0; side < 2; ++side)
    for (int f = 0; f < c.frames && !c.referenceDepth.empty(); ++f)
      if (c.mm(c.referenceDepth.arm[index(side)][index(f)]) > 2) mark(arms[index(side)], f, f);
  for (const auto& triangles : c.regions.others) {
    const DepthRows rows = depthRows(c, b, triangles);
    for (int side = 0; side < 2; ++side)
      for (int f = 0; f < static_cast<int>(rows.arm[index(side)].size()); ++f)
        if (c.mm(rows.arm[index(side)][index(f)]) > 2) mark(arms[index(side)], f, f);
  }
  const DepthRows below = floorRows(c, b);
  for (int side = 0; side < 2; ++side)
    for (int f = 0; f < c.frames; ++f)
      if (c.mm(below.arm[index(side)][index(f)]) > 2) mark(arms[index(side)], f, f);
  for (const Json& s : hands(c)["spans"])
    for (auto& rows : arms) mark(rows, s["first"], s["last"]);
  std::map<std::string, std::vector<bool>> jumping;
  for (const auto& [role, at] : c.roles) {
    (void)at;
    const auto turns = jointTurns(b, c.roles, role, c.frames);
    std::vector<double> steps;
    for (std::size_t f = 0; f + 1 < turns.size(); ++f) steps.push_back(angleBetween(turns[f], turns[f + 1]));
    auto& rows = jumping[role];
    rows.assign(index(c.frames), false);
    for (int f = 0; f < static_cast<int>(steps.size()); ++f) {
      const int from = std::max(0, f - ease), to = std::min(static_cast<int>(steps.size()), f + ease + 1);
      if (steps[index(f)] >= 2 && steps[index(f)] > 6 * quantile({steps.begin() + from, steps.begin() + to}, 0.5)) mark(rows, f, f + 1);
    }
  }
  const auto excused = [&](int n, int f) {
    const std::string& role = roleOf[index(n)];
    if (role.empty() || role == "hips" || role.find("Leg") != std::string::npos || role.find("Foot") != std::string::npos || role.find("Toes") != std::string::npos)
      if (legs[index(f)]) return true;
    for (int side = 0; side < 2; ++side)
      if (role.rfind(sideName(side), 0) == 0 && role.find("Leg") == std::string::npos && arms[index(side)][index(f)]) return true;
    const auto jump = jumping.find(role);
    return jump != jumping.end() && jump->second[index(f)];
  };
  double most = 0;
  for (int n = 0; n < a.nodes(); ++n) {
    int here = 0, alone = 0;
    double farthest = 0, widest = 0;
    std::vector<int> frames;
    for (int f = 0; f < c.frames; ++f) {
      const int p = a.parents[index(n)];
      const Quaterniond qa = p < 0 ? a.turn(f, n) : a.turn(f, p).conjugate() * a.turn(f, n), qb = p < 0 ? b.turn(f, n) : b.turn(f, p).conjugate() * b.turn(f, n);
      // A bone that keeps its direction while its parent turns is not moved, neither is one that goes along with it.
      const double angle = std::min(angleBetween(qa, qb), angleBetween(a.turn(f, n), b.turn(f, n))), distance = c.mm((a.place(f, n) - b.place(f, n)).norm());
      ++total;
      if (angle > 0.2) {
        ++turned;
        ++here;
        const bool free = !excused(n, f);
        unflawed += free;
        alone += free;
      }
      if (distance > 0.01) frames.push_back(f);
      farthest = std::max(farthest, distance);
      widest = std::max(widest, angle);
    }
    most = std::max(most, farthest);
    if (farthest > 0.01)
      bones[a.names[index(n)].empty() ? "#" + std::to_string(n) : a.names[index(n)]] = {
          {"mm", round3(farthest)}, {"degrees", round3(widest)}, {"framesOver0.2deg", here}, {"withoutFlawNear", alone}, {"framesMoved", frames.size()}, {"firstMoved", frames.front() + 1}, {"lastMoved", frames.back() + 1}};
  }
  return {{"boneFramesOver0.2deg", round3(turned / static_cast<double>(total))}, {"withoutFlawNear", round3(unflawed / static_cast<double>(total))}, {"farthest", round3(most)}, {"bones", bones}};
}

}  // namespace checker
