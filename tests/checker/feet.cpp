#include "tests/checker/measure_tools.h"

#include <algorithm>
#include <cmath>

namespace checker {
namespace {

Vector3d rotationVector(const Quaterniond& from, const Quaterniond& to) {
  Quaterniond d = from.conjugate() * to;
  if (d.w() < 0) d.coeffs() = -d.coeffs();
  const double s = d.vec().norm();
  return s < 1e-12 ? Vector3d(2 * d.vec()) : Vector3d(d.vec() * (2 * std::atan2(s, d.w()) / s));
}

}  // namespace

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
      const double height = lowest - span.ground;
      lows.push_back(std::abs(c.mm(height)));
      high = std::max(high, height);
      low = std::min(low, height);
      sink = std::min(sink, height);
      rows.push_back(round3(c.mm(height)));
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

}  // namespace checker
