#include "core/contact/contact_spans.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "core/math/median.h"

namespace understudy {

int shortReach(double rate) { return std::max(1, static_cast<int>(std::lround(rate * 0.01))); }

std::vector<Vec3d> velocities(const std::vector<Vec3d>& path, double rate, int reach) {
  const int n = static_cast<int>(path.size());
  std::vector<Vec3d> result(path.size());
  for (int i = 0; i < n; ++i) {
    const int a = std::max(0, i - reach), b = std::min(n - 1, i + reach);
    if (b > a) result[i] = (path[b] - path[a]) * (rate / (b - a));
  }
  return result;
}

// Velocities are taken over longer spans, up to 40 ms on either side, while a standing foot still seems to move up and down.
Track trackOf(const std::vector<Vec3d>& path, double level, double rate, double leg, const std::vector<int>& standing) {
  constexpr double calm = 0.08;  // leg/s, half of what a gentle landing shows
  Track track;
  for (const Vec3d& p : path) track.height.push_back((p.y - level) / leg);
  const int shortest = shortReach(rate), longest = std::max(shortest, static_cast<int>(std::lround(rate * 0.04)));
  for (int reach = shortest; reach <= longest; ++reach) {
    const std::vector<Vec3d> v = velocities(path, rate, reach);
    double sum = 0;
    for (const int f : standing) sum += v[f].y * v[f].y;
    track.unrest = std::sqrt(sum / std::max<double>(1, static_cast<double>(standing.size()))) / leg;
    track.extraReach = reach - shortest;
    if (track.unrest > calm && reach < longest) continue;
    for (const Vec3d& one : v) {
      track.speed.push_back(length(one) / leg);
      track.rise.push_back(one.y / leg);
    }
    break;
  }
  return track;
}

namespace {

// Where the parabola through three neighbouring values has its extreme, −.5 … .5 from the middle one.
double vertex(double before, double at, double after) {
  const double curve = before - 2 * at + after;
  return std::abs(curve) < 1e-12 ? 0 : std::clamp(0.5 * (before - after) / curve, -0.5, 0.5);
}

// Frame (with fraction) of the landing of a run that became slow and near at `start`.
double landingFrame(const Track& t, int start, int end, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(t.height.size());
  const int from = std::max(0, start - static_cast<int>(std::floor(s.searchBefore * rate)));
  const int to = std::min({n - 1, end, start + static_cast<int>(std::ceil(s.searchAfter * rate))});
  int best = from;
  for (int i = from; i <= to; ++i)
    if (t.rise[i] < t.rise[best]) best = i;
  double frame = start;
  if (t.rise[best] < -std::max(s.fall, 3 * t.unrest)) {  // else noise could be taken for a fall
    frame = best;
    if (best > from && best < to) frame += vertex(t.rise[best - 1], t.rise[best], t.rise[best + 1]);
  }
  // A foot put down gently is still falling after its fastest fall.
  for (int i = static_cast<int>(std::floor(frame)); i < to && t.height[i] > s.landHeight; ++i) {
    const double drop = t.height[i] - t.height[i + 1];
    if (t.height[i + 1] <= s.landHeight && drop > 0)
      frame = std::max(frame, i + (t.height[i] - s.landHeight) / drop);
    else
      frame = std::max(frame, i + 1.0);
  }
  return frame;
}

// Frame (with fraction) at which the last point to leave becomes fast or high after `last`; where push-off throws it into
// swing, the moment its acceleration has risen to half its peak: while the foot bears load, the ground holds it back.
double leavingFrame(const Track& heel, const Track& ball, int last, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(ball.speed.size());
  double frame = last;
  const Track* leaves = nullptr;
  for (const Track* t : {&heel, &ball}) {
    if (!t->maybe(last, s)) continue;
    double part = 1;
    const double v0 = t->speed[last], v1 = t->speed[last + 1], h0 = t->height[last], h1 = t->height[last + 1];
    if (v1 >= s.slow) part = std::min(part, (s.slow - v0) / (v1 - v0));
    if (h1 >= s.nearHeight) part = std::min(part, (s.nearHeight - h0) / (h1 - h0));
    if (last + part > frame) frame = last + part, leaves = t;
  }
  if (!leaves) return frame;
  // Over as many frames as keep the capture's noise below the push.
  int reach = leaves->extraReach;
  while (4 * leaves->unrest * rate / (1 + 2 * reach) > s.push && (reach + 1) < 0.03 * rate) ++reach;
  const auto gain = [&](int i) {  // at i + ½
    const int a = std::max(0, i - reach), b = std::min(n - 1, i + 1 + reach);
    return (leaves->speed[b] - leaves->speed[a]) * rate / (b - a);
  };
  const int from = std::max(0, static_cast<int>(std::floor(frame - s.searchBefore * rate)));
  const int to = std::min(n - 2, static_cast<int>(std::ceil(frame + s.searchAfter * rate)));
  int peak = from;
  for (int i = from; i <= to; ++i)
    if (gain(i) > gain(peak)) peak = i;
  const double half = 0.5 * gain(peak);
  if (2 * half < s.push) return frame;
  double rises = from;
  for (int i = peak - 1; i >= from; --i)
    if (gain(i) < half) {
      rises = i + 0.5 + (half - gain(i)) / (gain(i + 1) - gain(i));
      break;
    }
  return std::max(0.0, std::clamp(rises, frame - s.searchBefore * rate, frame + s.searchBefore * rate));
}

struct Run {
  int first, last;
};

// A careful step may never become fast or high: the foot rests, travels with heel and ball off the ground, and rests again.
std::vector<Run> splitAtSlowSteps(const std::vector<Run>& runs, const Track& heel, const Track& ball, double rate, double leg,
                                  const FootContact& foot, const ContactSettings& s) {
  std::vector<Run> result;
  for (const Run& run : runs) {
    Run part = run;
    int rested = -1, left = -1;  // last rest; first frame in the air since
    int landed = -1;             // last frame in the air since
    for (int i = run.first; i <= run.last; ++i) {
      const double slower = std::min(heel.speed[i], ball.speed[i]);
      if (slower < s.still && std::min(heel.height[i], ball.height[i]) < s.stepLift) {
        if (left >= 0 && (landed - left + 1) / rate >= s.shortest && distance(foot.ball[rested], foot.ball[i]) > s.stepLength * leg &&
            distance(foot.heel[rested], foot.heel[i]) > s.stepLength * leg) {
          result.push_back({part.first, left - 1});
          part.first = landed + 1;
        }
        rested = i;
        left = -1;
      } else if (rested >= 0 && slower >= s.still && std::min(heel.height[i], ball.height[i]) >= s.stepLift) {
        if (left < 0) left = i;
        landed = i;
      }
    }
    result.push_back(part);
  }
  return result;
}

/// The contact over a run of frames in which the foot is near and slow; nothing where that is too short.
std::optional<ContactSpan> spanOf(const Run& run, const Track& heel, const Track& ball, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(heel.height.size());
  ContactSpan span;
  span.landingSeen = run.first > 0;
  span.leavingSeen = run.last < n - 1;
  double from = run.first, to = run.last;
  if (span.landingSeen) {
    // The lower end of the foot lands; the other one follows.
    const Track& lands = heel.height[run.first] <= ball.height[run.first] ? heel : ball;
    from = landingFrame(lands, run.first, run.last, rate, s);
  }
  if (span.leavingSeen) to = leavingFrame(heel, ball, run.last, rate, s);
  if (span.landingSeen && span.leavingSeen && (to - from) / rate < s.shortest) return std::nullopt;
  span.first = std::max(0, static_cast<int>(std::ceil(from - 1e-9)));
  span.last = span.leavingSeen ? static_cast<int>(std::ceil(to - 1e-9)) - 1 : n - 1;
  span.landing = from / rate;
  span.leaving = to / rate;
  return span;
}

}  // namespace

void findSpans(FootContact& foot, const Track& heel, const Track& ball, double rate, double leg, const ContactSettings& s) {
  const int n = static_cast<int>(foot.heel.size());
  foot.phases.assign(foot.heel.size(), FootPhase::none);
  std::vector<Run> runs;
  for (int i = 0; i < n; ++i) {
    if (!heel.maybe(i, s) && !ball.maybe(i, s)) continue;
    if (!runs.empty() && (i - runs.back().last - 1) / rate < s.shortest && i - runs.back().last <= std::max(1.0, s.shortest * rate))
      runs.back().last = i;
    else
      runs.push_back({i, i});
  }
  runs = splitAtSlowSteps(runs, heel, ball, rate, leg, foot, s);
  for (const Run& run : runs) {
    std::optional<ContactSpan> span = spanOf(run, heel, ball, rate, s);
    if (!span) continue;
    if (!foot.spans.empty()) span->first = std::max(span->first, foot.spans.back().last + 1);
    if (span->last >= span->first) foot.spans.push_back(*span);
  }
}

Track raised(Track track, double level) {
  for (double& h : track.height) h -= level;
  return track;
}

double levelOf(const ContactSpan& span, const Track& heel, const Track& ball, const ContactSettings& s) {
  std::vector<double> heights;
  for (int i = span.first; i <= span.last; ++i)
    if (heel.speed[i] < s.still && ball.speed[i] < s.still) heights.push_back(std::min(heel.height[i], ball.height[i]));
  const double level = median(std::move(heights));
  return std::abs(level) > s.nearHeight ? level : 0;
}

void findRaised(FootContact& foot, const Track& heel, const Track& ball, const std::vector<char>& onFeet, const std::vector<double>& reach,
                const std::vector<double>& stepping, double rate, const ContactSettings& s) {
  const int n = static_cast<int>(foot.heel.size());
  const auto rests = [&](int i) {
    return onFeet[i] && heel.speed[i] < s.still && ball.speed[i] < s.still && std::min(heel.height[i], ball.height[i]) > s.nearHeight &&
           std::abs(heel.height[i] - ball.height[i]) < 2 * s.downHeight;
  };
  const double least = s.carries * rate;
  for (int i = 0; i < n; ++i) {
    if (!rests(i)) continue;
    // Noise makes frames in between look faster.
    Run still{i, i};
    int count = 1;
    for (int k = i + 1; k < n && k - still.last <= std::max(1.0, s.shortest * rate); ++k)
      if (rests(k)) still.last = k, ++count;
    i = still.last;
    if (count < least) continue;
    const double level = levelOf({.first = still.first, .last = still.last}, heel, ball, s);
    const Track h = raised(heel, level), b = raised(ball, level);
    const auto near = [&](int f) { return (h.maybe(f, s) || b.maybe(f, s)) && std::min(h.height[f], b.height[f]) > -s.nearHeight; };
    Run run = still;
    while (run.first > 0 && near(run.first - 1)) --run.first;
    while (run.last + 1 < n && near(run.last + 1)) ++run.last;
    const bool stretched = std::any_of(reach.begin() + run.first, reach.begin() + run.last + 1, [&](double r) { return r > s.carryReach; });
    const auto steps = static_cast<double>(std::count_if(stepping.begin() + still.first, stepping.begin() + still.last + 1, [&](double v) { return v > s.slow; }));
    if (!stretched || steps < s.shortest * rate) continue;
    std::optional<ContactSpan> span = spanOf(run, h, b, rate, s);
    if (!span) continue;
    for (const ContactSpan& other : foot.spans) {
      if (other.first <= still.first) span->first = std::max(span->first, other.last + 1);
      else span->last = std::min(span->last, other.first - 1);
    }
    if (span->first > still.first || span->last < still.last) continue;
    foot.spans.insert(std::find_if(foot.spans.begin(), foot.spans.end(), [&](const ContactSpan& o) { return o.first > span->last; }), *span);
    i = std::max(i, span->last);
  }
}

void describe(FootContact& foot, ContactSpan& span, const Track& heel, const Track& ball, double leg, double floor, double groundUnderBall,
              const ContactSettings& s) {
  // The ground may be higher or lower here than where the levels were taken: its height is that of the stillest frames.
  std::vector<double> heelHeights, ballHeights;
  for (int i = span.first; i <= span.last; ++i) {
    if (ball.speed[i] >= s.still) continue;
    ballHeights.push_back(ball.height[i]);
    if (heel.speed[i] < s.still) heelHeights.push_back(heel.height[i]);
  }
  const double ballBase = std::clamp(median(ballHeights), -s.nearHeight, s.nearHeight);
  const double heelBase = std::clamp(median(heelHeights), -s.nearHeight, s.nearHeight);
  int lastBall = -1, lastHeel = -1, firstBall = -1;
  for (int i = span.first; i <= span.last; ++i) {
    if (ball.height[i] - ballBase < s.downHeight && ball.speed[i] < s.settled) {
      if (firstBall < 0) firstBall = i;
      lastBall = i;
    }
    if (heel.height[i] - heelBase < s.downHeight && heel.speed[i] < s.slow) lastHeel = i;
  }
  const bool heelFirst = span.landingSeen ? heel.height[span.first] <= ball.height[span.first] + s.downHeight / 2
                                          : heel.height[span.first] - heelBase < s.downHeight;
  for (int i = span.first; i <= span.last; ++i) {
    const bool ballIsDown = firstBall >= 0 && i >= firstBall && i <= lastBall;
    const bool heelIsDown = i <= lastHeel && (heelFirst || (heel.height[i] - heelBase < s.downHeight && heel.speed[i] < s.settled));
    FootPhase phase = heelIsDown && ballIsDown ? FootPhase::flat : heelIsDown ? FootPhase::heel : FootPhase::ball;
    if (!heelIsDown && lastBall >= 0 && i > lastBall) phase = FootPhase::toe;
    foot.phases[i] = phase;
    const double pivotSpeed = phase == FootPhase::heel ? heel.speed[i] : phase == FootPhase::flat ? std::min(heel.speed[i], ball.speed[i]) : ball.speed[i];
    if (pivotSpeed < s.still) {
      if (span.stillFirst < 0) span.stillFirst = i;
      span.stillLast = i;
      ++span.stillFrames;
    }
  }
  span.height = groundUnderBall + ballBase * leg - floor;
}

}  // namespace understudy
