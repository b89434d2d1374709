#include "core/job/finish_curves.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>
#include <set>

#include "core/math/angle.h"
#include "core/repair/clearance.h"

namespace understudy {
namespace {

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();

/// The performer's joint that fills the role of a character's bone; −1: none.
int performerJoint(const Evaluated& seen, int joint) {
  for (int r = 0; r < roleCount; ++r) {
    const auto& mine = seen.map->character.at(roleAt(r)).joints;
    const auto& theirs = seen.map->performer.at(roleAt(r)).joints;
    if (!theirs.empty() && std::find(mine.begin(), mine.end(), joint) != mine.end()) return theirs.front();
  }
  return -1;
}

/// Places of some joints over the clip, metres in the stage; of the performer as large as on the character.
struct Paths {
  std::vector<int> joints;  ///< of the character
  std::vector<std::vector<Vec3d>> performer, before, after;  ///< by joint, empty where the performer has none
  std::vector<double> moved;  ///< metres the bone that moves most is moved by the repairs, by frame
  double movedSum = 0;        ///< over frames and joints
  std::size_t movedCount = 0;
  [[nodiscard]] std::size_t indexOf(int joint) const { return static_cast<std::size_t>(std::find(joints.begin(), joints.end(), joint) - joints.begin()); }
};

Paths pathsOf(const Finished& finished, const Sources& sources, std::vector<int> joints) {
  const Evaluated& seen = finished.evaluated;
  const Skeleton &bones = sources.character->skeleton, &captured = sources.performer->skeleton;
  const Affined stage = worldFromFile(*sources.character, seen.report->characterReference);
  const Affined performerStage = worldFromFile(*sources.performer, seen.report->performerReference);
  Paths paths;
  paths.joints = std::move(joints);
  const std::size_t count = paths.joints.size();
  paths.performer.resize(count);
  paths.before.resize(count);
  paths.after.resize(count);
  std::vector<int> theirs(count);
  for (std::size_t k = 0; k < count; ++k) theirs[k] = performerJoint(seen, paths.joints[k]);
  std::vector<Affined> base(static_cast<std::size_t>(bones.size())), now = base, performer(static_cast<std::size_t>(captured.size()));
  for (int f = 0; f < seen.frames; ++f) {
    worldAt(bones, seen.base, f, base);
    worldAt(bones, seen.motion, f, now);
    worldAt(captured, seen.performer, f, performer);
    double most = 0;
    for (std::size_t j = 0; j < base.size(); ++j) {
      const double d = length(apply(stage, now[j].translation) - apply(stage, base[j].translation));
      most = std::max(most, d);
      paths.movedSum += d;
    }
    paths.movedCount += base.size();
    paths.moved.push_back(most);
    for (std::size_t k = 0; k < count; ++k) {
      const auto j = static_cast<std::size_t>(paths.joints[k]);
      paths.before[k].push_back(apply(stage, base[j].translation));
      paths.after[k].push_back(apply(stage, now[j].translation));
      if (theirs[k] >= 0) paths.performer[k].push_back(apply(performerStage, performer[static_cast<std::size_t>(theirs[k])].translation) * seen.report->stride);
    }
  }
  return paths;
}

/// Mean of v·(2 − 2^(h/H)) with h clamped to [0, H], in mm a frame: the foot's horizontal speed, counted the more the nearer the foot is
/// to the ground (Zhang, Starke, Komura, Saito 2018). Heights count from the lowest in the clip.
double meanSkate(const std::vector<Vec3d>& path, double low) {
  if (path.size() < 2) return nothing;
  double lowest = path.front().y, sum = 0;
  for (const Vec3d& p : path) lowest = std::min(lowest, p.y);
  for (std::size_t i = 1; i < path.size(); ++i) {
    const double h = std::clamp(path[i].y - lowest, 0.0, low);
    sum += 1000 * std::hypot(path[i].x - path[i - 1].x, path[i].z - path[i - 1].z) * (2 - std::exp2(h / low));
  }
  return sum / static_cast<double>(path.size() - 1);
}

using Curve = std::vector<double>;

Curve over(int first, int last, const std::function<double(int)>& value) {
  Curve curve;
  for (int f = first; f <= last; ++f) curve.push_back(value(f));
  return curve;
}

Curve speedOf(const std::vector<Vec3d>& path, int first, int last, bool horizontal) {
  if (path.empty()) return {};
  return over(first, last, [&](int f) {
    if (f < 1) return nothing;
    const Vec3d d = path[static_cast<std::size_t>(f)] - path[static_cast<std::size_t>(f) - 1];
    return 1000 * (horizontal ? std::hypot(d.x, d.z) : length(d));
  });
}

Curve heightOf(const std::vector<Vec3d>& path, int first, int last, double ground) {
  if (path.empty()) return {};
  return over(first, last, [&](int f) { return 1000 * (path[static_cast<std::size_t>(f)].y - ground); });
}

Curve gapOf(const std::vector<Vec3d>& a, const std::vector<Vec3d>& b, int first, int last) {
  if (a.empty() || b.empty()) return {};
  return over(first, last, [&](int f) { return 1000 * length(a[static_cast<std::size_t>(f)] - b[static_cast<std::size_t>(f)]); });
}

Curve turnOf(const TiledMotion& motion, int joint, int first, int last) {
  if (joint < 0) return {};
  return over(first, last, [&](int f) {
    if (f < 1) return nothing;
    const Quatf a = motion.rotationsAt(f - 1)[static_cast<std::size_t>(joint)], b = motion.rotationsAt(f)[static_cast<std::size_t>(joint)];
    const double cosine = std::abs(static_cast<double>(a.w) * b.w + static_cast<double>(a.x) * b.x + static_cast<double>(a.y) * b.y + static_cast<double>(a.z) * b.z);
    return 2 * degreesPerRadian * std::acos(std::min(1.0, cosine));
  });
}

/// "left foot" of "@leftFoot".
std::string plainName(const std::string& bone) {
  if (!bone.starts_with('@')) return bone;
  std::string name;
  for (const char c : bone.substr(1)) {
    if (c >= 'A' && c <= 'Z') name += ' ';
    name += static_cast<char>(c >= 'A' && c <= 'Z' ? c + 32 : c);
  }
  return name;
}

void add(ReportPlot& plot, CurveRole role, const char* label, Curve values) {
  if (!values.empty()) plot.curves.push_back({role, label, std::move(values)});
}

}  // namespace

std::vector<std::size_t> worthShowing(const FinishReport& report, int most) {
  const std::vector<ReportedFinding>& all = report.findings;
  std::vector<std::size_t> order;
  for (std::size_t i = 0; i < all.size(); ++i)
    if (all[i].state != FindingState::waved && all[i].state != FindingState::hint) order.push_back(i);
  const auto graver = [&](std::size_t a, std::size_t b) { return all[a].severity > all[b].severity; };
  std::stable_sort(order.begin(), order.end(), graver);
  std::vector<std::size_t> chosen;
  std::set<std::string> kinds;
  const auto take = [&](const std::function<bool(const ReportedFinding&)>& wanted) {
    for (const std::size_t i : order)
      if (static_cast<int>(chosen.size()) < most && std::find(chosen.begin(), chosen.end(), i) == chosen.end() && wanted(all[i])) {
        chosen.push_back(i);
        kinds.insert(all[i].kind);
      }
  };
  take([](const ReportedFinding& f) { return f.state == FindingState::remaining && f.cause.empty(); });
  take([](const ReportedFinding& f) { return f.state == FindingState::remaining; });
  take([&](const ReportedFinding& f) { return !kinds.contains(f.kind); });
  return chosen;
}

void addCurves(FinishReport& report, const Finished& finished, const Sources& sources, int most) {
  const Evaluated& seen = finished.evaluated;
  if (!seen.context || !seen.map || !sources.character || !sources.performer || seen.frames < 2) return;
  const RepairContext& context = *seen.context;
  const std::vector<std::size_t> shown = worthShowing(report, most);
  std::vector<int> joints;
  const auto want = [&](int joint) {
    if (joint >= 0 && std::find(joints.begin(), joints.end(), joint) == joints.end()) joints.push_back(joint);
  };
  const auto ball = [&](bool left) {
    const int toes = context.joint(left ? Role::leftToes : Role::rightToes);
    return toes >= 0 ? toes : context.joint(left ? Role::leftFoot : Role::rightFoot);
  };
  want(ball(true));
  want(ball(false));
  want(context.joint(Role::leftHand));
  want(context.joint(Role::rightHand));
  std::vector<std::vector<int>> bonesOf(shown.size());
  for (std::size_t s = 0; s < shown.size(); ++s)
    for (const std::string& name : report.findings[shown[s]].bones)
      if (const Result<int> joint = findBone(context, name)) {
        bonesOf[s].push_back(*joint);
        want(*joint);
      }
  const Paths paths = pathsOf(finished, sources, joints);

  const double low = context.scaled(0.025);
  for (const bool left : {true, false}) {
    const std::size_t k = paths.indexOf(ball(left));
    if (k == paths.joints.size()) continue;
    report.figures.push_back({std::string("mean skate of the ") + (left ? "left" : "right") + " foot", "mm a frame", meanSkate(paths.performer[k], low * std::max(seen.report->stride, 1e-6)),
                              meanSkate(paths.before[k], low), meanSkate(paths.after[k], low)});
  }
  const double farthest = *std::max_element(paths.moved.begin(), paths.moved.end());
  if (!finished.take.repairs->empty() || !finished.take.nudges->empty()) {
    report.figures.push_back({"farthest a bone is moved by the repairs", "mm", nothing, 0, 1000 * farthest});
    report.figures.push_back({"mean over all bones and frames", "mm", nothing, 0, 1000 * paths.movedSum / static_cast<double>(std::max<std::size_t>(1, paths.movedCount))});
    ReportPlot plot;
    plot.title = "How far the repairs move the bone that moves most";
    plot.unit = "mm";
    plot.firstFrame = report.firstFrame;
    Curve moved;
    for (const double metres : paths.moved) moved.push_back(1000 * metres);
    plot.curves = {{CurveRole::after, "moved by the repairs", std::move(moved)}};
    for (const ReportedFinding& finding : report.findings)
      if (finding.state == FindingState::remaining) plot.marked.push_back(finding.span);
    report.plots.push_back(std::move(plot));
  }

  const int ease = std::max(12, static_cast<int>(std::lround(seen.rate.hertz() / 2)));
  for (std::size_t s = 0; s < shown.size(); ++s) {
    ReportedFinding& finding = report.findings[shown[s]];
    if (bonesOf[s].empty()) continue;
    int first = finding.span.first - report.firstFrame - ease, last = finding.span.last - report.firstFrame + ease;
    // Of a long one the part around the worst frame.
    const int worst = (finding.worstFrame > 0 ? finding.worstFrame : finding.span.first) - report.firstFrame;
    first = std::clamp(std::max(first, worst - 300), 0, seen.frames - 1);
    last = std::clamp(std::min(last, worst + 300), 0, seen.frames - 1);
    const int joint = bonesOf[s].front();
    const std::size_t k = paths.indexOf(joint);
    const std::string name = plainName(finding.bones.front());
    ReportPlot plot;
    plot.firstFrame = report.firstFrame + first;
    plot.marked = {finding.span};
    if (finding.unit == "°") {
      plot.title = "Turn of the " + name + " from frame to frame";
      plot.unit = "°";
      add(plot, CurveRole::performer, "performer", turnOf(seen.performer, performerJoint(seen, joint), first, last));
      add(plot, CurveRole::before, "before", turnOf(seen.base, joint, first, last));
      add(plot, CurveRole::after, "after", turnOf(seen.motion, joint, first, last));
    } else if (finding.kind == "grip drift" || finding.kind == "lost contact") {
      const std::size_t l = paths.indexOf(context.joint(Role::leftHand)), r = paths.indexOf(context.joint(Role::rightHand));
      if (l == paths.joints.size() || r == paths.joints.size()) continue;
      plot.title = "Distance between the hands";
      plot.unit = "mm";
      add(plot, CurveRole::performer, "performer, scaled", gapOf(paths.performer[l], paths.performer[r], first, last));
      add(plot, CurveRole::before, "before", gapOf(paths.before[l], paths.before[r], first, last));
      add(plot, CurveRole::after, "after", gapOf(paths.after[l], paths.after[r], first, last));
    } else if (finding.kind == "depth" && finding.state != FindingState::hint && (joint == context.arms[0].root || joint == context.arms[1].root)) {
      const auto side = static_cast<std::size_t>(joint == context.arms[1].root);
      const auto curve = [&](const TiledMotion& motion) {
        const std::vector<float> depth = armDepths(context, motion, {first + seen.trimFirst, last + seen.trimFirst})[side];
        Curve values;
        for (int f = first; f <= last; ++f) values.push_back(1000 * static_cast<double>(depth[static_cast<std::size_t>(f + seen.trimFirst)]));
        return values;
      };
      plot.title = std::string("Depth of the ") + (side == 0 ? "left" : "right") + " arm in body or floor";
      plot.unit = "mm";
      add(plot, CurveRole::before, "before", curve(seen.stageInputs.front()));
      add(plot, CurveRole::after, "after", curve(seen.untrimmed));
    } else if (finding.kind == "float" || finding.kind == "sink") {
      double ground = 0;
      if (!paths.after[k].empty()) {
        ground = paths.after[k].front().y;
        for (const Vec3d& p : paths.after[k]) ground = std::min(ground, p.y);
      }
      plot.title = "Height of the " + name + " above its lowest place after the repairs";
      plot.unit = "mm";
      add(plot, CurveRole::before, "before", heightOf(paths.before[k], first, last, ground));
      add(plot, CurveRole::after, "after", heightOf(paths.after[k], first, last, ground));
    } else {
      const bool foot = finding.kind == "slide";
      plot.title = foot ? "Travel of the " + name + " over the ground, a frame" : "Travel of the " + name + ", a frame";
      plot.unit = "mm";
      add(plot, CurveRole::performer, "performer, scaled", speedOf(paths.performer[k], first, last, foot));
      add(plot, CurveRole::before, "before", speedOf(paths.before[k], first, last, foot));
      add(plot, CurveRole::after, "after", speedOf(paths.after[k], first, last, foot));
    }
    finding.plots.push_back(std::move(plot));
  }
}

}  // namespace understudy
