#include "core/inspect/grips.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "core/repair/poser.h"

namespace understudy {
namespace {

double quantile(std::vector<double> values, double q) {
  if (values.empty()) return 0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(q * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

/// Mean over `half` frames to both sides, fewer at the ends.
std::vector<double> blurred(const std::vector<double>& values, int half) {
  const int n = static_cast<int>(values.size());
  std::vector<double> sum(static_cast<std::size_t>(n) + 1, 0), out(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) sum[static_cast<std::size_t>(i) + 1] = sum[static_cast<std::size_t>(i)] + values[static_cast<std::size_t>(i)];
  for (int i = 0; i < n; ++i) {
    const int h = std::min({half, i, n - 1 - i});
    out[static_cast<std::size_t>(i)] = (sum[static_cast<std::size_t>(i + h + 1)] - sum[static_cast<std::size_t>(i - h)]) / (2 * h + 1);
  }
  return out;
}

/// Mean over a window that is cut off at the clip's ends.
std::vector<double> windowed(const std::vector<double>& values, int half) {
  const int n = static_cast<int>(values.size());
  std::vector<double> sum(static_cast<std::size_t>(n) + 1, 0), out(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) sum[static_cast<std::size_t>(i) + 1] = sum[static_cast<std::size_t>(i)] + values[static_cast<std::size_t>(i)];
  for (int i = 0; i < n; ++i) {
    const int a = std::max(0, i - half), b = std::min(n - 1, i + half);
    out[static_cast<std::size_t>(i)] = (sum[static_cast<std::size_t>(b) + 1] - sum[static_cast<std::size_t>(a)]) / (b - a + 1);
  }
  return out;
}

/// Root mean square distance from the mean.
double spread(const std::vector<Vec3d>& points, FrameSpan frames) {
  Vec3d mean;
  for (int f = frames.first; f <= frames.last; ++f) mean += points[static_cast<std::size_t>(f)];
  mean = mean / static_cast<double>(frames.count());
  double sum = 0;
  for (int f = frames.first; f <= frames.last; ++f) sum += dot(points[static_cast<std::size_t>(f)] - mean, points[static_cast<std::size_t>(f)] - mean);
  return std::sqrt(sum / frames.count());
}

/// The performer's palms over time.
struct Palms {
  std::vector<double> apart;            ///< metres
  std::vector<Quatd> turn;              ///< of the right palm against the left
  std::array<std::vector<Vec3d>, 2> beside;  ///< the other palm, from each palm's frame
};

}  // namespace

Result<std::vector<HeldSpan>> findHeld(const Figure& performer, const SkeletonMap& map, const Motion& motion, const HeldSettings& settings,
                                       const RunControl& control) {
  if (motion.joints != performer.skeleton.size() || motion.frames < 1)
    return makeError(Fault::usage, "The motion has no frames for this performer", performer.path, "Choose a clip of the performer's own file");
  if (map.joint(Role::leftHand) < 0 || map.joint(Role::rightHand) < 0) return std::vector<HeldSpan>{};
  Result<PosedBody> body = posedBody(performer, map, &motion, {});
  if (!body) return body.error();
  const std::array<Hand, 2> hands = findHands(*body);
  int chest = -1;
  for (const Role role : {Role::upperChest, Role::chest, Role::spine, Role::hips})
    if (chest < 0) chest = map.joint(role);
  const int n = motion.frames;
  const double height = body->pose.height > 0 ? body->pose.height : 1.7, rate = motion.rate.hertz();

  Palms palms;
  std::array<std::vector<Vec3d>, 2> local;
  std::vector<Quatd> pose(static_cast<std::size_t>(motion.joints)), rotation(pose.size());
  std::vector<Vec3d> translation = body->rig.translation, position(pose.size());
  for (int f = 0; f < n; ++f) {
    if (control.stopped()) return RunControl::cancelled();
    const auto q = motion.rotationsAt(f);
    for (std::size_t j = 0; j < pose.size(); ++j) pose[j] = normalised(Quatd(q[j]));
    const auto t = motion.translationsAt(f);
    for (std::size_t k = 0; k < t.size(); ++k) translation[static_cast<std::size_t>(motion.movedJoints[k])] = Vec3d(t[k]);
    worldOf(body->rig, pose, translation, rotation, position);
    std::array<Rigid, 2> palm;
    for (std::size_t side = 0; side < 2; ++side) {
      const auto j = static_cast<std::size_t>(hands[side].joint);
      palm[side] = Rigid{rotation[j], position[j]} * hands[side].palm;
      if (!isFinite(palm[side].at) || !isFinite(palm[side].turn))
        return makeError(Fault::input, "The motion holds numbers that are not finite", performer.path + ", frame " + std::to_string(f + 1), "Export the clip again");
      const auto c = static_cast<std::size_t>(chest);
      local[side].push_back(rotate(conjugate(rotation[c]), palm[side].at - position[c]));
    }
    palms.apart.push_back(distance(palm[0].at, palm[1].at));
    palms.turn.push_back(conjugate(palm[0].turn) * palm[1].turn);
    for (std::size_t side = 0; side < 2; ++side) palms.beside[side].push_back(apply(inverse(palm[side]), palm[1 - side].at));
  }
  const int smooth = std::max(1, static_cast<int>(std::lround(0.05 * rate))), half = std::max(1, static_cast<int>(std::lround(settings.window * rate / 2)));
  const std::vector<double> apart = blurred(palms.apart, smooth);
  std::vector<double> approach(static_cast<std::size_t>(n), 0);
  std::array<std::vector<double>, 2> speed{approach, approach};
  for (int f = 0; f < n; ++f) {
    const int a = std::max(0, f - smooth), b = std::min(n - 1, f + smooth);
    if (a == b) continue;
    const double seconds = (b - a) / rate;
    const auto k = static_cast<std::size_t>(f);
    approach[k] = std::abs(apart[static_cast<std::size_t>(b)] - apart[static_cast<std::size_t>(a)]) / seconds;
    for (std::size_t side = 0; side < 2; ++side) speed[side][k] = distance(local[side][static_cast<std::size_t>(b)], local[side][static_cast<std::size_t>(a)]) / seconds;
  }
  const std::vector<double> nearing = windowed(approach, half), left = windowed(speed[0], half), right = windowed(speed[1], half);
  std::vector<char> sure(static_cast<std::size_t>(n), 0);
  for (std::size_t k = 0; k < sure.size(); ++k) {
    const double slower = std::min(left[k], right[k]);
    sure[k] = apart[k] < settings.farthest * height && slower > settings.moving * height && nearing[k] < settings.approach * slower;
  }

  // From each sure run outwards as long as distance and turn stay what they are over the run.
  std::vector<HeldSpan> found;
  const double allowed = settings.wanders * height;
  for (int f = 0; f < n;) {
    if (!sure[static_cast<std::size_t>(f)]) {
      ++f;
      continue;
    }
    int first = f, last = f;
    while (last + 1 < n && sure[static_cast<std::size_t>(last + 1)]) ++last;
    double median = 0;
    Quatd turn;
    for (int pass = 0; pass < 4; ++pass) {
      median = quantile({apart.begin() + first, apart.begin() + last + 1}, 0.5);
      turn = palms.turn[static_cast<std::size_t>((first + last) / 2)];
      for (int again = 0; again < 6; ++again) {
        Vec3d sum;
        for (int g = first; g <= last; ++g) sum += logOf(conjugate(turn) * palms.turn[static_cast<std::size_t>(g)]);
        turn = normalised(turn * expOf(sum / static_cast<double>(last - first + 1)));
      }
      const auto fits = [&](int g) {
        return std::abs(apart[static_cast<std::size_t>(g)] - median) <= allowed && angleBetween(turn, palms.turn[static_cast<std::size_t>(g)]) <= settings.turns;
      };
      // Edges that do not fit the run's own figures are no part of it.
      while (first < last && !fits(first)) ++first;
      while (last > first && !fits(last)) --last;
      while (first > 0 && fits(first - 1)) --first;
      while (last + 1 < n && fits(last + 1)) ++last;
    }
    f = std::max(f, last) + 1;
    while (f < n && sure[static_cast<std::size_t>(f)] && f <= last) ++f;
    int count = 0;
    for (int g = first; g <= last; ++g) count += sure[static_cast<std::size_t>(g)];
    HeldSpan span;
    span.frames = {first, last};
    span.distance = median;
    std::vector<double> stray;
    for (int g = first; g <= last; ++g) stray.push_back(std::abs(palms.apart[static_cast<std::size_t>(g)] - median));
    span.drift = quantile(stray, 0.95);
    if (!found.empty() && first <= found.back().frames.last) {
      if (last <= found.back().frames.last) continue;
      span.frames.first = found.back().frames.last + 1;
    }
    if (span.frames.count() < settings.shortest * rate || count < settings.together * rate) continue;
    double way[2] = {0, 0};
    for (int g = first; g <= last; ++g)
      for (std::size_t side = 0; side < 2; ++side) way[side] += speed[side][static_cast<std::size_t>(g)];
    span.leadLeft = way[0] > 1.25 * way[1];
    // Seen from either hand the other stays in one place, measured by how far both travel against the chest.
    const double beside = std::min(spread(palms.beside[0], span.frames), spread(palms.beside[1], span.frames));
    const double travel = 0.5 * (spread(local[0], span.frames) + spread(local[1], span.frames));
    if (beside > settings.steadier * travel) continue;
    found.push_back(span);
  }
  return found;
}

std::vector<Repair> proposeGrips(const RepairContext& context, const TiledMotion& motion, const std::vector<HeldSpan>& spans, FrameRate spanRate,
                                 const GripProposalSettings& settings, Issues& issues) {
  std::vector<Repair> out;
  std::vector<TimeRange> times;
  for (const HeldSpan& span : spans) times.push_back({spanRate.seconds(span.frames.first), spanRate.seconds(span.frames.last)});
  std::vector<double> before(times.size(), settings.ease), after = before;
  for (std::size_t i = 1; i < times.size(); ++i) {
    // From one hold to the next both hands need a moment; it is taken from both where they follow each other closely.
    const double lacks = settings.ease - (times[i].first - times[i - 1].last);
    if (lacks > 0) {
      times[i - 1].last -= lacks / 2;
      times[i].first += lacks / 2;
    }
    after[i - 1] = before[i] = std::min(settings.ease, times[i].first - times[i - 1].last);
  }
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const HeldSpan& span = spans[i];
    if (times[i].last < times[i].first) continue;
    Repair repair;
    repair.name = "hands together";
    repair.span = times[i];
    repair.easeBefore = before[i];
    repair.easeAfter = after[i];
    repair.proposed = true;
    GripRepair grip;
    grip.prop = settings.prop;
    grip.leadLeft = settings.leadLeft.value_or(span.leadLeft);
    grip.share = settings.prop == 0 ? 0.5 : 0;
    repair.action = grip;
    Result<GripRepair> ready = anchorGrip(context, motion, repair);
    if (!ready) {
      issues.push_back(makeWarning("The hands stay together here, but cannot be kept so: " + ready.error().what, ready.error().where, ready.error().todo));
      continue;
    }
    repair.action = *ready;
    out.push_back(std::move(repair));
  }
  return out;
}

GripDrift gripDrift(const RepairContext& context, const TiledMotion& motion, const Repair& repair) {
  GripDrift out;
  const GripRepair* grip = std::get_if<GripRepair>(&repair.action);
  if (!grip || !grip->anchored || !grip->support) return out;
  const LimbRig &lead = context.arms[grip->leadLeft ? 0 : 1], &support = context.arms[grip->leadLeft ? 1 : 0];
  if (!lead.complete() || !support.complete()) return out;
  const Rigid relation = inverse(rigidOf(grip->leadGrip)) * rigidOf(grip->supportGrip);
  const FrameSpan span = repairFrames(repair, context.rate, motion.frames()).span;
  Poser poser(context);
  for (int f = span.first; f <= span.last; ++f) {
    poser.load(motion, f);
    const Rigid wanted = Rigid{poser.rotation(lead.end), poser.position(lead.end)} * rigidOf(grip->leadPalm) * relation;
    const Rigid got = Rigid{poser.rotation(support.end), poser.position(support.end)} * rigidOf(grip->supportPalm);
    const double metres = distance(got.at, wanted.at);
    out.meanMetres += metres / span.count();
    out.worstRadians = std::max(out.worstRadians, angleBetween(got.turn, wanted.turn));
    if (metres <= out.worstMetres) continue;
    out.worstMetres = metres;
    out.worstFrame = f;
  }
  return out;
}

}  // namespace understudy
