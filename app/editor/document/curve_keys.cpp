#include "app/editor/document/curve_keys.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "app/editor/document/describe.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

bool isKey(const Nudge& nudge) { return nudge.late && nudge.space == NudgeSpace::bone && nudge.joints.size() == 1; }

int jointOf(const Document& document, const Nudge& nudge) {
  const auto evaluated = document.evaluated();
  if (!isKey(nudge) || !evaluated || !evaluated->context) return -1;
  const auto joint = findBone(*evaluated->context, nudge.joints[0].joint);
  return joint ? joint.value() : -1;
}

NudgeSlope slopeOf(const Nudge& nudge) {
  for (const NudgeSlope& slope : nudge.slopes)
    if (!nudge.joints.empty() && slope.joint == nudge.joints[0].joint) return slope;
  return {nudge.joints.empty() ? std::string() : nudge.joints[0].joint, {}, {}};
}

void setSlope(Nudge& nudge, const NudgeSlope& slope) {
  nudge.slopes.clear();
  if (slope.before != Vec3d{} || slope.after != Vec3d{}) nudge.slopes.push_back(slope);
}

/// What a nudge adds at a frame of the untrimmed clip.
Vec3d turnAt(const Nudge& nudge, FrameRate rate, int frame) {
  const NudgeFrames span = nudgeFrames(nudge, rate);
  const NudgeSlope slope = slopeOf(nudge);
  return (nudge.joints[0].rotation * easeWeight(span, frame) + (frame < span.frame ? slope.before : slope.after) * (slopeWeight(span, frame) / rate.hertz())) *
         nudge.weight;
}

/// `turn` or the same rotation the other way round, whichever is nearer.
Vec3d nearTurn(const Vec3d& turn, const Vec3d& reference) {
  const double size = length(turn);
  if (size < 1e-9) return turn;
  Vec3d best = turn;
  for (int k : {-2, -1, 1, 2}) {
    const Vec3d other = turn * ((size + 2 * std::numbers::pi * k) / size);
    if (length(other - reference) < length(best - reference) - 1e-9) best = other;
  }
  return best;
}

Quatd restOf(const Skeleton& skeleton, int joint) { return skeleton.rest[static_cast<std::size_t>(joint)].rotation; }

/// Step of the finite differences, in frames.
constexpr double tiny = 1e-4;

Triple slopeAngles(const Quatd& left, const Quatd& right, const Vec3d& turn, const Vec3d& perFrame, const Quatd& rest, Angles angles, const Vec3d& axis,
                   const Triple& value) {
  const Quatd ahead = normalised(conjugate(rest) * left * expOf(turn + perFrame * tiny) * right);
  const Quatd here = normalised(conjugate(rest) * left * expOf(turn) * right);
  const Triple a = anglesOf(ahead, angles, axis, value), b = anglesOf(here, angles, axis, value);
  return {(a[0] - b[0]) / tiny, (a[1] - b[1]) / tiny, (a[2] - b[2]) / tiny};
}

using Chain = std::vector<Nudge>;  // of one joint, by time

Chain chainOf(const Document& document, const Take& take, int joint) {
  Chain chain;
  for (const auto& nudge : *take.nudges)
    if (jointOf(document, *nudge) == joint) chain.push_back(*nudge);
  std::stable_sort(chain.begin(), chain.end(), [](const Nudge& a, const Nudge& b) { return a.time < b.time; });
  return chain;
}

}  // namespace

std::vector<CurveKey> curveKeys(const Document& document, int joint, Angles angles, const std::array<std::vector<double>, 3>& curves) {
  std::vector<CurveKey> keys;
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (!evaluated || !character || curves[0].empty()) return keys;
  for (const auto& nudge : *document.take().nudges) {
    if (nudge->muted || jointOf(document, *nudge) != joint) continue;
    CurveKey key;
    key.nudge = nudge->id;
    key.joint = joint;
    key.frame = frameOf(*evaluated, *nudge);
    if (key.frame < 0 || key.frame >= static_cast<int>(curves[0].size())) continue;
    for (std::size_t i = 0; i < 3; ++i) key.value[i] = curves[i][static_cast<std::size_t>(key.frame)];
    const NudgeFrames span = nudgeFrames(*nudge, evaluated->rate);
    key.before = span.before;
    key.after = span.after;
    if (const NudgeSlope slope = slopeOf(*nudge); !nudge->slopes.empty()) {
      if (const auto held = holdKey(document, key)) {
        const Vec3d axis = boneAxis(character->skeleton, joint);
        const Quatd rest = restOf(character->skeleton, joint);
        const Vec3d turn = nudge->joints[0].rotation * nudge->weight;
        const double scale = nudge->weight / evaluated->rate.hertz();
        key.slopeBefore = slopeAngles(held->left, held->right, turn, slope.before * scale, rest, angles, axis, key.value);
        key.slopeAfter = slopeAngles(held->left, held->right, turn, slope.after * scale, rest, angles, axis, key.value);
      }
    }
    keys.push_back(key);
  }
  std::stable_sort(keys.begin(), keys.end(), [](const CurveKey& a, const CurveKey& b) { return a.frame < b.frame; });
  return keys;
}

std::optional<HeldKey> holdKey(const Document& document, const CurveKey& key) {
  const auto evaluated = document.evaluated();
  const Nudge* nudge = findNudge(document.take(), key.nudge);
  const Nudge* shown = findNudge(document.evaluatedTake(), key.nudge);
  const auto character = document.figure(Cast::character);
  if (!evaluated || !nudge || !shown || !character || key.joint < 0 || key.joint >= evaluated->motion.joints()) return {};
  HeldKey held{key, *nudge, {}, {}};
  const int frame = evaluated->trimFirst + key.frame;
  bool past = false;
  for (const auto& other : *document.evaluatedTake().nudges) {
    if (past && !other->muted && jointOf(document, *other) == key.joint) held.right = held.right * expOf(turnAt(*other, evaluated->rate, frame));
    past = past || other->id == key.nudge;
  }
  const Quatd now(evaluated->motion.rotationsAt(key.frame)[static_cast<std::size_t>(key.joint)]);
  held.left = normalised(now * conjugate(held.right) * expOf(turnAt(*shown, evaluated->rate, frame) * -1.0));
  return held;
}

Nudge withValue(const HeldKey& held, const Skeleton& skeleton, const Triple& wanted, Angles angles) {
  Nudge next = held.nudge;
  const Quatd target = restOf(skeleton, held.key.joint) * rotationOf(wanted, angles, boneAxis(skeleton, held.key.joint));
  const double weight = std::abs(next.weight) > 1e-3 ? next.weight : 1;
  const Vec3d turn = logOf(normalised(conjugate(held.left) * target * conjugate(held.right)));
  next.joints[0].rotation = nearTurn(turn, next.joints[0].rotation * weight) / weight;
  next.weight = weight;
  next.muted = false;
  return next;
}

Nudge withSlope(const HeldKey& held, const Skeleton& skeleton, int channel, double degreesAFrame, bool after, bool both, Angles angles, FrameRate rate) {
  Nudge next = held.nudge;
  NudgeSlope slope = slopeOf(next);
  Triple wanted = after ? held.key.slopeAfter : held.key.slopeBefore;
  wanted[static_cast<std::size_t>(channel)] = degreesAFrame;
  // The turn a little later, had the angles gone on at these slopes.
  Triple ahead = held.key.value;
  for (std::size_t i = 0; i < 3; ++i) ahead[i] += wanted[i] * tiny;
  const double weight = std::abs(next.weight) > 1e-3 ? next.weight : 1;
  const Vec3d axis = boneAxis(skeleton, held.key.joint), turn = next.joints[0].rotation * weight;
  const auto turnOf = [&](const Triple& value) {
    return nearTurn(logOf(normalised(conjugate(held.left) * restOf(skeleton, held.key.joint) * rotationOf(value, angles, axis) * conjugate(held.right))), turn);
  };
  const Vec3d perSecond = (turnOf(ahead) - turnOf(held.key.value)) * (rate.hertz() / tiny / weight);
  if (after || both) slope.after = perSecond;
  if (!after || both) slope.before = perSecond;
  setSlope(next, slope);
  return next;
}

void changeKeys(Document& document, const QString& label, const std::vector<Nudge>& nudges, const QString& mergeKey) {
  const auto evaluated = document.evaluated();
  if (!evaluated || nudges.empty()) return;
  const FrameRate rate = evaluated->rate;
  Take next = document.take();
  std::vector<int> joints;
  std::map<std::pair<std::uint64_t, std::uint64_t>, bool> met;  // neighbours whose eases reached each other
  for (const Nudge& nudge : nudges)
    if (const int joint = jointOf(document, nudge); joint >= 0 && std::find(joints.begin(), joints.end(), joint) == joints.end()) joints.push_back(joint);
  for (int joint : joints) {
    const Chain chain = chainOf(document, next, joint);
    for (std::size_t i = 1; i < chain.size(); ++i) {
      const NudgeFrames a = nudgeFrames(chain[i - 1], rate), b = nudgeFrames(chain[i], rate);
      met[{chain[i - 1].id, chain[i].id}] = a.after == b.frame - a.frame && b.before == a.after;
    }
  }
  for (const Nudge& nudge : nudges) next = changeNudge(next, nudge);
  for (int joint : joints) {
    Chain chain = chainOf(document, next, joint);
    for (std::size_t i = 1; i < chain.size(); ++i) {
      Nudge &a = chain[i - 1], &b = chain[i];
      const NudgeFrames fa = nudgeFrames(a, rate), fb = nudgeFrames(b, rate);
      const int gap = fb.frame - fa.frame;
      const auto was = met.find({a.id, b.id});
      if ((was != met.end() && was->second) || fa.after > gap) a.easeAfter = rate.seconds(gap);
      if ((was != met.end() && was->second) || fb.before > gap) b.easeBefore = rate.seconds(gap);
    }
    for (const Nudge& nudge : chain) next = changeNudge(next, nudge);
  }
  document.edit(label, next, mergeKey);
}

std::uint64_t addKey(Document& document, int joint, int frame, const QString& mergeKey) {
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (!evaluated || !evaluated->complete() || !character || joint < 0 || joint >= character->skeleton.size() || frame < 0 || frame >= evaluated->frames) return 0;
  const FrameRate rate = evaluated->rate;
  Chain chain = chainOf(document, document.take(), joint);
  const int at = evaluated->trimFirst + frame;
  for (const Nudge& key : chain)
    if (nudgeFrames(key, rate).frame == at) return key.id;
  // What the keys there are add up to, one after another as they apply.
  const auto together = [&](int f) {
    Quatd all;
    for (const auto& nudge : *document.take().nudges)
      if (!nudge->muted && jointOf(document, *nudge) == joint) all = all * expOf(turnAt(*nudge, rate, f));
    return logOf(normalised(all));
  };
  const Vec3d turn = together(at), ahead = together(at + 1) - together(at - 1);
  Nudge nudge = nudgeAt(*evaluated, frame);
  nudge.late = true;
  nudge.joints = {{jointKey(character->skeleton, joint), turn, {}}};
  setSlope(nudge, {nudge.joints[0].joint, ahead * (rate.hertz() / 2), ahead * (rate.hertz() / 2)});
  // Keys up to two seconds apart make one curve; further ones stay changes of their own.
  Take next = document.take();
  for (Nudge& key : chain) {
    const NudgeFrames span = nudgeFrames(key, rate);
    const int gap = std::abs(span.frame - at);
    const bool nearest = std::none_of(chain.begin(), chain.end(), [&](const Nudge& other) {
      const int f = nudgeFrames(other, rate).frame;
      return (f - at) * (span.frame - at) > 0 && std::abs(f - at) < gap;
    });
    if (!nearest || (gap > std::lround(2 * rate.hertz()) && gap > (span.frame < at ? span.after : span.before))) continue;
    (span.frame < at ? key.easeAfter : key.easeBefore) = rate.seconds(gap);
    (span.frame < at ? nudge.easeBefore : nudge.easeAfter) = rate.seconds(gap);
    next = changeNudge(next, key);
  }
  std::uint64_t id = 0;
  next = addNudge(next, nudge, &id);
  document.edit(Document::tr("Key %1").arg(jointText(*character, joint)), next, mergeKey);
  return id;
}

void removeKeys(Document& document, const std::vector<std::uint64_t>& nudges) {
  Take next = document.take();
  for (std::uint64_t id : nudges) next = removeNudge(next, id);
  document.edit(Document::tr("Remove keys"), next);
}

void levelKeys(Document& document, const std::vector<std::uint64_t>& nudges) {
  std::vector<Nudge> changed;
  for (std::uint64_t id : nudges)
    if (const Nudge* nudge = findNudge(document.take(), id)) {
      changed.push_back(*nudge);
      changed.back().slopes.clear();
    }
  changeKeys(document, Document::tr("Level keys"), changed, {});
}

void smoothKeys(Document& document, const std::vector<std::uint64_t>& nudges) {
  const auto evaluated = document.evaluated();
  if (!evaluated) return;
  std::vector<Nudge> changed;
  for (std::uint64_t id : nudges) {
    const Nudge* nudge = findNudge(document.take(), id);
    const int joint = nudge ? jointOf(document, *nudge) : -1;
    if (joint < 0) continue;
    const Chain chain = chainOf(document, document.take(), joint);
    const auto at = std::find_if(chain.begin(), chain.end(), [&](const Nudge& n) { return n.id == id; });
    // Where no key follows, the change ends with its ease.
    const Vec3d before = at == chain.begin() ? Vec3d{} : (at - 1)->joints[0].rotation, after = at + 1 == chain.end() ? Vec3d{} : (at + 1)->joints[0].rotation;
    const double from = at == chain.begin() ? nudge->time - nudge->easeBefore : (at - 1)->time;
    const double to = at + 1 == chain.end() ? nudge->time + nudge->easeAfter : (at + 1)->time;
    if (to - from < 1e-9) continue;
    const Vec3d slope = (after - before) / (to - from);
    changed.push_back(*nudge);
    setSlope(changed.back(), {nudge->joints[0].joint, slope, slope});
  }
  changeKeys(document, Document::tr("Smooth keys"), changed, {});
}

std::vector<int> keyedJoints(const Document& document) {
  std::vector<int> joints;
  for (const auto& nudge : *document.take().nudges)
    if (const int joint = jointOf(document, *nudge); joint >= 0) joints.push_back(joint);
  std::sort(joints.begin(), joints.end());
  joints.erase(std::unique(joints.begin(), joints.end()), joints.end());
  return joints;
}

}  // namespace understudy::editor
