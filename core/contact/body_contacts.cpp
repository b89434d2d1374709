#include "core/contact/body_contacts.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/base/parallel.h"
#include "core/math/median.h"
#include "core/retarget/posed_body.h"

namespace understudy {
namespace {

constexpr double palmAlong = 0.45;            // middle of the palm on the way from wrist to finger tips
constexpr double handThickness = 0.010;       // from the hand's axis to its skin, fraction of the stature
constexpr std::array samplesOnHand{0.15, 0.35, 0.55, 0.75, 0.95};
/// A hanging arm that is at its thigh for no longer than this (seconds), and goes into it and out again by more than this (fraction of the
/// stature), only swings by.
constexpr double passing = 0.4, sweep = 0.012;

struct JointWay {
  std::vector<Quatd> rotation;
  std::vector<Vec3d> position;
};

class Finder {
 public:
  Finder(const Motion& motion, const BodyContactSettings& settings) : motion_(motion), s_(settings) {}

  Result<BodyContacts> run(const PosedBody& body, const RunControl& control) {
    out_.sites = bodySites(body);
    stature_ = out_.sites.stature;
    rate_ = motion_.rate.hertz();
    frames_ = motion_.frames;
    if (!out_.sites.at(BodySite::leftHand).known() && !out_.sites.at(BodySite::rightHand).known()) {
      out_.issues.push_back(makeNote("No hands are mapped: touches of the body are not looked for"));
      return std::move(out_);
    }
    if (const Status read = readWays(body, control); !read) return read.error();
    const bool both = out_.sites.at(BodySite::leftHand).known() && out_.sites.at(BodySite::rightHand).known();
    if (both) findTogether();
    if (both) findHandToHand();
    std::array<Course, 2> courses;
    parallelFor(2, [&](int hand) {
      if (!control.stopped() && out_.sites.at(handSite(hand)).known()) courses[static_cast<std::size_t>(hand)] = courseOf(hand);
    }, control.threads);
    if (control.stopped()) return RunControl::cancelled();
    for (int hand = 0; hand < 2; ++hand)
      if (const Course& course = courses[static_cast<std::size_t>(hand)]; !course.nearest.empty()) collect(hand, course.nearest, course.limit);
    std::stable_sort(out_.touches.begin(), out_.touches.end(), [](const BodyContact& a, const BodyContact& b) { return a.first < b.first; });
    return std::move(out_);
  }

 private:
  static BodySite handSite(int hand) { return hand == 0 ? BodySite::leftHand : BodySite::rightHand; }

  Status readWays(const PosedBody& body, const RunControl& control) {
    const int n = motion_.joints;
    std::vector<Quatd> local(static_cast<std::size_t>(n)), rotation(local.size());
    std::vector<Vec3d> translations(body.rig.translation), position(local.size());
    for (std::size_t p = 0; p < ways_.size(); ++p) {
      if (!out_.sites.shapes[p].known()) continue;
      ways_[p].rotation.resize(static_cast<std::size_t>(frames_));
      ways_[p].position.resize(static_cast<std::size_t>(frames_));
    }
    for (int f = 0; f < frames_; ++f) {
      if (f % 256 == 0 && control.stopped()) return RunControl::cancelled();
      const auto q = motion_.rotationsAt(f);
      for (int j = 0; j < n; ++j) local[j] = Quatd(q[j]);
      const auto t = motion_.translationsAt(f);
      for (std::size_t k = 0; k < t.size(); ++k) translations[motion_.movedJoints[k]] = Vec3d(t[k]);
      worldOf(body.rig, local, translations, rotation, position);
      for (std::size_t p = 0; p < ways_.size(); ++p) {
        const int joint = out_.sites.shapes[p].joint;
        if (joint < 0) continue;
        if (!isFinite(rotation[joint]) || !isFinite(position[joint]))
          return makeError(Fault::input, "The motion holds numbers that are not finite", "frame " + std::to_string(f + 1), "Repair or trim the clip");
        ways_[p].rotation[f] = rotation[joint];
        ways_[p].position[f] = position[joint];
      }
    }
    return Done{};
  }

  [[nodiscard]] Vec3d pointOf(BodySite site, int frame, const Vec3d& local) const {
    const JointWay& way = ways_[static_cast<std::size_t>(site)];
    return way.position[frame] + rotate(way.rotation[frame], local);
  }
  [[nodiscard]] Vec3d onHand(int hand, int frame, double along) const {
    return pointOf(handSite(hand), frame, axisPoint(out_.sites.at(handSite(hand)), along));
  }
  [[nodiscard]] Vec3d palm(int hand, int frame) const { return onHand(hand, frame, palmAlong); }

  /// How near a hand is to a site, and where: the hand's points count the more the nearer they are, so that the place moves
  /// smoothly as the hand rolls.
  [[nodiscard]] BodyContactFrame seen(int hand, BodySite site, int frame) const {
    const SiteShape& shape = out_.sites.at(site);
    const JointWay& way = ways_[static_cast<std::size_t>(site)];
    std::array<double, samplesOnHand.size()> gaps{};
    double least = 1e300;
    for (std::size_t i = 0; i < samplesOnHand.size(); ++i) {
      gaps[i] = viewFrom(shape, way.rotation[frame], way.position[frame], onHand(hand, frame, samplesOnHand[i])).gap - handThickness * stature_;
      least = std::min(least, gaps[i]);
    }
    double sum = 0, weighted = 0;
    for (std::size_t i = 0; i < samplesOnHand.size(); ++i) {
      const double w = std::exp((least - gaps[i]) / (0.01 * stature_));
      sum += w;
      weighted += w * samplesOnHand[i];
    }
    BodyContactFrame result;
    result.site = site;
    result.onHand = weighted / sum;
    result.place = viewFrom(shape, way.rotation[frame], way.position[frame], onHand(hand, frame, result.onHand)).place;
    result.gap = least;
    return result;
  }

  [[nodiscard]] bool candidate(int hand, BodySite site) const {
    if (!out_.sites.at(site).known()) return false;
    switch (site) {
      case BodySite::leftUpperArm:
      case BodySite::leftForearm: return hand == 1;
      case BodySite::rightUpperArm:
      case BodySite::rightForearm: return hand == 0;
      case BodySite::leftHand:
      case BodySite::rightHand: return false;  // looked for apart
      default: return true;
    }
  }
  static bool isOtherArm(BodySite site) { return site >= BodySite::leftUpperArm && site <= BodySite::rightHand; }

  [[nodiscard]] bool together(int frame) const {
    return std::any_of(out_.together.begin(), out_.together.end(), [&](const HandsTogether& t) { return frame >= t.first && frame <= t.last; });
  }

  /// The hands touch each other: their wrists then come near the other forearm as well.
  [[nodiscard]] bool handsMeet(int frame) const {
    const int slack = std::max(1, static_cast<int>(std::lround(s_.shortest * rate_)));
    return std::any_of(out_.touches.begin(), out_.touches.end(),
                       [&](const BodyContact& t) { return t.handToHand() && frame >= t.first - slack && frame <= t.last + slack; });
  }

  /// The arm is straight and points down along the trunk.
  [[nodiscard]] bool hangs(int hand, int frame) const {
    const BodySite upper = hand == 0 ? BodySite::leftUpperArm : BodySite::rightUpperArm, fore = hand == 0 ? BodySite::leftForearm : BodySite::rightForearm;
    const SiteShape& chest = out_.sites.at(BodySite::chest);
    if (!out_.sites.at(upper).known() || !out_.sites.at(fore).known() || !chest.known()) return false;
    const Vec3d shoulder = pointOf(upper, frame, out_.sites.at(upper).start), elbow = pointOf(fore, frame, out_.sites.at(fore).start),
                wrist = pointOf(handSite(hand), frame, Vec3d{});
    const Vec3d down = pointOf(BodySite::chest, frame, chest.start) - pointOf(BodySite::chest, frame, chest.end);
    constexpr double degree = std::numbers::pi / 180;
    return angleBetween(wrist - shoulder, down) < 35 * degree && angleBetween(elbow - shoulder, wrist - elbow) < 45 * degree;
  }

  /// A hand against what of the body is nearest, frame by frame.
  struct Course {
    std::vector<BodyContactFrame> nearest;
    std::vector<double> limit;  ///< parts of the stature, within which it touches
  };

  [[nodiscard]] Course courseOf(int hand) const {
    Course out{std::vector<BodyContactFrame>(static_cast<std::size_t>(frames_)), std::vector<double>(static_cast<std::size_t>(frames_), s_.enter)};
    auto& [nearest, limit] = out;
    for (int f = 0; f < frames_; ++f) {
      BodyContactFrame best;
      best.gap = 1e300;
      const bool held = together(f) || handsMeet(f);
      const bool hanging = hangs(hand, f);
      double slack = 0;
      for (int p = 0; p < bodySiteCount; ++p) {
        const BodySite site = static_cast<BodySite>(p);
        if (!candidate(hand, site) || (held && isOtherArm(site))) continue;
        BodyContactFrame view = seen(hand, site, f);
        const bool brushes = hanging && (site == BodySite::belly || site == BodySite::leftThigh || site == BodySite::rightThigh);
        const double extra = brushes ? (s_.enter - s_.hanging) * stature_ : 0;
        // A little reluctance to change the site keeps the place from flickering between neighbours.
        const double change = f > 0 && nearest[f - 1].gap < 1e299 && nearest[f - 1].site != site ? 0.004 * stature_ : 0;
        if (view.gap + extra + change < best.gap + slack) {
          slack = extra + change;
          best = view;
        }
      }
      nearest[f] = best;
      if (slack > 0.005 * stature_) limit[f] = s_.hanging;
    }
    return out;
  }

  void findHandToHand() {
    std::vector<BodyContactFrame> nearest(static_cast<std::size_t>(frames_));
    std::vector<double> limit(static_cast<std::size_t>(frames_), s_.enter);
    for (int f = 0; f < frames_; ++f) {
      nearest[f] = seen(0, BodySite::rightHand, f);
      // Seen from either hand: the nearer of both.
      nearest[f].gap = std::min(nearest[f].gap, seen(1, BodySite::leftHand, f).gap);
      if (together(f)) nearest[f].gap = 1e300;
    }
    // Blows that happen between frames.
    const int reach = std::max(1, static_cast<int>(std::lround(rate_ / 30)));
    for (int f = reach; f + reach < frames_; ++f) {
      const double g = nearest[f].gap;
      if (g > s_.blow * stature_ || g < s_.enter * stature_) continue;
      if (nearest[f - 1].gap < g || nearest[f + 1].gap <= g) continue;
      // Hands that fly past each other keep their velocities; only a blow changes them.
      const auto apart = [&](int k) { return palm(1, k) - palm(0, k); };
      const Vec3d before = (apart(f) - apart(f - reach)) * (rate_ / reach), after = (apart(f + reach) - apart(f)) * (rate_ / reach);
      const Vec3d away = normalised(apart(f));
      if (dot(before, away) < 0 && dot(after - before, away) * rate_ / reach > s_.shock * stature_) limit[f] = s_.blow + 1e-9;
    }
    collect(0, nearest, limit);
  }

  void collect(int hand, const std::vector<BodyContactFrame>& nearest, const std::vector<double>& limit) {
    struct Run {
      int first, last;
      bool blow;
    };
    std::vector<Run> runs;
    const std::vector<char> lingering = lingers(nearest, limit);
    for (int f = 0; f < frames_; ++f) {
      if (nearest[f].gap > limit[f] * stature_ && !lingering[f]) continue;
      const double lift = s_.stay - s_.enter;
      int first = f, last = f;
      const int before = runs.empty() ? 0 : runs.back().last + 1;
      const auto stays = [&](int g) { return nearest[g].gap <= (std::min(limit[g], s_.enter) + lift) * stature_; };
      while (first > before && stays(first - 1)) --first;
      while (last + 1 < frames_ && stays(last + 1)) ++last;
      const bool blow = limit[f] > s_.enter;
      if (!runs.empty() && first - runs.back().last - 1 <= s_.bridge * rate_ && !blow && !runs.back().blow && bridged(nearest, runs.back().last, first))
        runs.back().last = last;
      else
        runs.push_back({first, last, blow});
      f = last;
    }
    for (const Run& run : runs) {
      const double seconds = (run.last - run.first + 1) / rate_;
      double least = 1e300;
      for (int f = run.first; f <= run.last; ++f) least = std::min(least, nearest[f].gap);
      if (!run.blow && seconds < s_.shortest && least > 0) continue;
      if (!run.blow && swingsBy(nearest, limit, run.first, run.last)) continue;
      add(hand, run.first, run.last, nearest, run.blow);
    }
  }

  /// Frames at which a hand keeps near enough for long enough to touch, though it never comes as near as others do: how thick bodies are is
  /// known by proportions only, while a hand that hovers by itself does not keep its distance.
  [[nodiscard]] std::vector<char> lingers(const std::vector<BodyContactFrame>& nearest, const std::vector<double>& limit) const {
    std::vector<char> out(static_cast<std::size_t>(frames_), 0);
    const auto within = [&](int f, double most) { return limit[f] >= s_.enter && nearest[f].gap <= most * stature_; };
    for (int first = 0; first < frames_; ++first) {
      if (!within(first, s_.stay)) continue;
      int last = first, near = 1;
      double least = nearest[first].gap;
      for (; last + 1 < frames_ && within(last + 1, s_.drifts * s_.stay); ++last) {
        least = std::min(least, nearest[last + 1].gap);
        near += within(last + 1, s_.stay);
      }
      if (near / rate_ >= s_.lingering && least <= s_.lingers * stature_)
        for (int f = first; f <= last; ++f) out[f] = within(f, s_.stay);
      first = last;
    }
    return out;
  }

  /// A hanging arm that swings by its thigh goes in and out again, since proportions tell thicknesses only so far: it does not touch.
  [[nodiscard]] bool swingsBy(const std::vector<BodyContactFrame>& nearest, const std::vector<double>& limit, int first, int last) const {
    if ((last - first + 1) / rate_ > passing) return false;
    double least = 1e300;
    for (int f = first; f <= last; ++f) {
      if (limit[f] > s_.hanging) return false;
      least = std::min(least, nearest[f].gap);
    }
    // Where the clip begins or ends in the middle of it, one way is all there is to see.
    const bool comes = first > 0, goes = last + 1 < static_cast<int>(nearest.size());
    const auto sweeps = [&](int f) { return nearest[f].gap - least > sweep * stature_; };
    return (comes || goes) && (!comes || sweeps(first)) && (!goes || sweeps(last));
  }

  /// Short gaps belong to a touch only if the hand stays near.
  [[nodiscard]] bool bridged(const std::vector<BodyContactFrame>& nearest, int last, int first) const {
    for (int f = last + 1; f < first; ++f)
      if (nearest[f].gap > 2 * s_.stay * stature_) return false;
    return true;
  }

  void add(int hand, int first, int last, const std::vector<BodyContactFrame>& nearest, bool blow) {
    BodyContact c;
    c.hand = hand;
    c.first = first;
    c.last = last;
    c.nearest = first;
    std::array<int, bodySiteCount> count{};
    for (int f = first; f <= last; ++f) {
      c.frames.push_back(nearest[f]);
      ++count[static_cast<std::size_t>(nearest[f].site)];
      if (nearest[f].gap < nearest[c.nearest].gap) c.nearest = f;
    }
    c.site = static_cast<BodySite>(std::max_element(count.begin(), count.end()) - count.begin());
    // Turns are counted on, so that places between frames can be interpolated.
    for (std::size_t i = 1; i < c.frames.size(); ++i) {
      if (c.frames[i].site != c.frames[i - 1].site) continue;
      const double before = c.frames[i - 1].place.around;
      c.frames[i].place.around = before + std::remainder(c.frames[i].place.around - before, 2 * std::numbers::pi);
    }
    const double seconds = (last - first + 1) / rate_;
    c.kind = seconds < s_.meeting ? BodyContactKind::meet : wanders(c) > s_.wander * stature_ ? BodyContactKind::glide : BodyContactKind::rest;
    const double depth = (s_.stay * stature_ - nearest[c.nearest].gap) / (2 * s_.stay * stature_);
    c.confidence = blow ? 0.7 : std::clamp(0.35 + 0.5 * std::clamp(depth, 0.0, 1.0) + 0.15 * std::min(1.0, seconds / 0.3), 0.0, 1.0);
    out_.touches.push_back(std::move(c));
  }

  /// Greatest distance of the touched place, seen from the site, to where it was first (metres).
  [[nodiscard]] double wanders(const BodyContact& c) const {
    double most = 0;
    std::array<int, bodySiteCount> from;
    from.fill(-1);
    for (int i = 0; i < static_cast<int>(c.frames.size()); ++i) {
      const auto p = static_cast<std::size_t>(c.frames[i].site);
      if (from[p] < 0) from[p] = i;
      const auto local = [&](int k) {
        const JointWay& way = ways_[p];
        const int f = c.first + k;
        return rotate(conjugate(way.rotation[f]), onHand(c.hand, f, c.frames[k].onHand) - way.position[f]);
      };
      most = std::max(most, distance(local(i), local(from[p])));
    }
    return most;
  }

  struct Evidence {
    double middle = 0, spread = 0, travel = 0, range = 0;
    bool holds = false;
  };

  /// Whether the hands keep their distance over first … last while they travel.
  [[nodiscard]] Evidence weigh(const std::vector<double>& apart, const std::array<std::vector<Vec3d>, 2>& places, int first, int last) const {
    const double n = last - first + 1;
    Evidence e;
    double sum = 0, deviation = 0, low = 1e300, high = -1e300;
    for (int f = first; f <= last; ++f) {
      sum += apart[f];
      low = std::min(low, apart[f]);
      high = std::max(high, apart[f]);
    }
    e.middle = sum / n;
    // As a standard deviation, from absolute deviations: a grip that drifts for a while is still a grip.
    for (int f = first; f <= last; ++f) deviation += std::abs(apart[f] - e.middle);
    e.spread = std::sqrt(std::numbers::pi / 2) * deviation / n;
    e.range = high - low;
    e.travel = 1e300;
    for (const std::vector<Vec3d>& way : places) {
      Vec3d mean{};
      for (int f = first; f <= last; ++f) mean += way[f];
      mean = mean / n;
      double variance = 0;
      for (int f = first; f <= last; ++f) variance += dot(way[f] - mean, way[f] - mean);
      e.travel = std::min(e.travel, std::sqrt(variance / n));
    }
    const double farther = std::max(1.0, e.middle / (0.12 * stature_));
    e.holds = high <= s_.apart * stature_ && e.range <= s_.band * stature_ && e.travel >= s_.least * stature_ && e.travel >= s_.travel * farther * e.spread;
    return e;
  }

  void findTogether() {
    if (!out_.sites.at(BodySite::chest).known()) return;
    const JointWay& chest = ways_[static_cast<std::size_t>(BodySite::chest)];
    std::vector<double> apart;
    std::array<std::vector<Vec3d>, 2> places;
    for (int f = 0; f < frames_; ++f) {
      apart.push_back(distance(palm(0, f), palm(1, f)));
      for (int hand = 0; hand < 2; ++hand) places[hand].push_back(rotate(conjugate(chest.rotation[f]), palm(hand, f) - chest.position[f]));
    }
    // Where a short window shows it, and as far from there as the distance stays in the band, also at rest.
    const int window = std::max(4, static_cast<int>(std::lround(s_.holding * rate_))), step = std::max(1, window / 8);
    int after = 0;
    for (int at = 0; at + window <= frames_; at += step) {
      if (at < after) continue;
      const Evidence seed = weigh(apart, places, at, at + window - 1);
      if (!seed.holds) continue;
      // As wide a stretch as still tells.
      for (const double width : {s_.band, 0.7 * s_.band, 0.5 * s_.band}) {
        int first = at, last = at + window - 1;
        extend(apart, width * stature_, after, first, last);
        if (!weigh(apart, places, first, last).holds) continue;
        record(apart, places, first, last);
        after = last + 1;
        break;
      }
    }
  }

  /// Widens first … last as far as the distance stays within the band, not before `from`.
  void extend(const std::vector<double>& apart, double band, int from, int& first, int& last) const {
    double low = 1e300, high = -1e300;
    for (int f = first; f <= last; ++f) {
      low = std::min(low, apart[f]);
      high = std::max(high, apart[f]);
    }
    const auto take = [&](int f) {
      const double l = std::min(low, apart[f]), h = std::max(high, apart[f]);
      if (h - l > band || h > s_.apart * stature_) return false;
      low = l;
      high = h;
      return true;
    };
    while (last + 1 < frames_ && take(last + 1)) ++last;
    while (first > from && take(first - 1)) --first;
  }

  [[nodiscard]] HandsTogether describe(const std::vector<double>& apart, const std::array<std::vector<Vec3d>, 2>& places, int first, int last) const {
    const Evidence e = weigh(apart, places, first, last);
    HandsTogether t;
    t.first = first;
    t.last = last;
    t.distance = median({apart.begin() + first, apart.begin() + last + 1});
    t.spread = e.spread;
    t.travel = e.travel;
    const JointWay &left = ways_[static_cast<std::size_t>(BodySite::leftHand)], &right = ways_[static_cast<std::size_t>(BodySite::rightHand)];
    std::array<std::vector<double>, 3> offsets;
    Quatd sum{0, 0, 0, 0};
    const Quatd some = conjugate(left.rotation[first]) * right.rotation[first];
    for (int f = first; f <= last; ++f) {
      const Vec3d d = rotate(conjugate(left.rotation[f]), palm(1, f) - palm(0, f));
      for (int i = 0; i < 3; ++i) offsets[static_cast<std::size_t>(i)].push_back(d[i]);
      const Quatd q = sameHemisphere(conjugate(left.rotation[f]) * right.rotation[f], some);
      sum = {sum.w + q.w, sum.x + q.x, sum.y + q.y, sum.z + q.z};
    }
    t.position = {median(offsets[0]), median(offsets[1]), median(offsets[2])};
    t.rotation = normalised(sum);
    double squares = 0;
    for (int f = first; f <= last; ++f) {
      const double a = angleBetween(t.rotation, conjugate(left.rotation[f]) * right.rotation[f]);
      squares += a * a;
    }
    t.turn = std::sqrt(squares / (last - first + 1));
    const double ratio = e.travel / std::max(e.spread, 1e-3 * stature_);
    t.confidence = std::clamp(0.4 + 0.04 * ratio + 0.1 * std::min(2.0, (last - first + 1) / rate_), 0.0, 1.0);
    return t;
  }

  /// Whether the hands go beside each other as the shoulders are: arms that swing alike keep them so by themselves.
  [[nodiscard]] bool sideBySide(const std::array<std::vector<Vec3d>, 2>& places, int first, int last) const {
    Vec3d mean{0, 0, 0};
    for (int f = first; f <= last; ++f) mean = mean + places[1][f] - places[0][f];
    mean = mean / static_cast<double>(last - first + 1);
    const double across = std::abs(dot(mean, out_.sites.at(BodySite::chest).side));
    return across >= s_.besideLeast * stature_ && across >= std::cos(s_.besideTilt) * length(mean);
  }

  void record(const std::vector<double>& apart, const std::array<std::vector<Vec3d>, 2>& places, int first, int last) {
    HandsTogether t = describe(apart, places, first, last);
    if (t.turn > (sideBySide(places, first, last) ? s_.twistSideBySide : s_.twist)) return;
    // What goes on over a short break is one thing held.
    if (!out_.together.empty()) {
      HandsTogether& before = out_.together.back();
      if (first - before.last - 1 <= s_.regrip * rate_ && std::abs(before.distance - t.distance) < 0.5 * s_.band * stature_) {
        t = describe(apart, places, before.first, last);
        out_.together.pop_back();
      }
    }
    out_.together.push_back(t);
  }

  const Motion& motion_;
  const BodyContactSettings& s_;
  BodyContacts out_;
  std::array<JointWay, bodySiteCount> ways_;
  double stature_ = 0, rate_ = 0;
  int frames_ = 0;
};

}  // namespace

Result<BodyContacts> findBodyContacts(const Figure& figure, const SkeletonMap& map, const Motion& motion, const BodyContactSettings& settings,
                                      const RunControl& control) {
  if (motion.joints != figure.skeleton.size())
    return makeError(Fault::input, "The motion has " + std::to_string(motion.joints) + " joints, the skeleton " + std::to_string(figure.skeleton.size()),
                     figure.path, "Use a motion of this file");
  if (motion.frames < 1) return makeError(Fault::input, "The motion has no frames", figure.path, "Choose a clip that has some");
  if (!std::isfinite(motion.rate.hertz()) || motion.rate.hertz() <= 0)
    return makeError(Fault::input, "The motion's frame rate is not positive", figure.path, "State a frame rate");
  for (int r = 0; r < roleCount; ++r)
    if (map.roles[static_cast<std::size_t>(r)].first() >= figure.skeleton.size())
      return makeError(Fault::mapping, "The bone map names a joint the skeleton does not have", std::string(roleName(roleAt(r))), "Map the performer again");
  Result<PosedBody> body = posedBody(figure, map, &motion, {});
  if (!body) return body.error();
  return Finder(motion, settings).run(*body, control);
}

}  // namespace understudy
