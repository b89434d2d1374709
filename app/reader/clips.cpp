#include "app/reader/clips.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <set>

namespace understudy {
namespace {

Vec3d vecOf(const aiVector3D& v) {
  return {v.x, v.y, v.z};
}
Quatd quatOf(const aiQuaternion& q) {
  return normalised(Quatd{q.w, q.x, q.y, q.z});
}

/// Index of the last key at or before `time`, and how far it lies towards the next one.
template <class Key>
std::pair<unsigned, double> keyAt(const Key* keys, unsigned count, double time) {
  const Key* end = keys + count;
  const Key* next = std::upper_bound(keys, end, time, [](double t, const Key& key) { return t < key.mTime; });
  if (next == keys) return {0, 0.0};
  if (next == end) return {count - 1, 0.0};
  const double span = next->mTime - next[-1].mTime;
  return {static_cast<unsigned>(next - keys) - 1, span > 0 ? (time - next[-1].mTime) / span : 0.0};
}
Vec3d valueAt(const aiVectorKey* keys, unsigned count, double time) {
  const auto [i, t] = keyAt(keys, count, time);
  return t > 0 ? lerp(vecOf(keys[i].mValue), vecOf(keys[i + 1].mValue), t) : vecOf(keys[i].mValue);
}
Quatd valueAt(const aiQuatKey* keys, unsigned count, double time) {
  const auto [i, t] = keyAt(keys, count, time);
  return t > 0 ? slerp(quatOf(keys[i].mValue), quatOf(keys[i + 1].mValue), t) : quatOf(keys[i].mValue);
}
/// Local transform of a node at a time (ticks); parts without keys stay as they rest.
Affined localAt(const aiNodeAnim& channel, const Affined& rest, double time) {
  Trsd pose = trsOf(rest);
  if (channel.mNumPositionKeys > 0) pose.translation = valueAt(channel.mPositionKeys, channel.mNumPositionKeys, time);
  if (channel.mNumRotationKeys > 0) pose.rotation = valueAt(channel.mRotationKeys, channel.mNumRotationKeys, time);
  if (channel.mNumScalingKeys > 0) pose.scale = valueAt(channel.mScalingKeys, channel.mNumScalingKeys, time);
  return Affined(pose);
}

void addTimes(const aiNodeAnim& channel, std::vector<double>& times) {
  for (unsigned i = 0; i < channel.mNumPositionKeys; ++i) times.push_back(channel.mPositionKeys[i].mTime);
  for (unsigned i = 0; i < channel.mNumRotationKeys; ++i) times.push_back(channel.mRotationKeys[i].mTime);
  for (unsigned i = 0; i < channel.mNumScalingKeys; ++i) times.push_back(channel.mScalingKeys[i].mTime);
}
void sortUnique(std::vector<double>& times, double tolerance) {
  std::sort(times.begin(), times.end());
  times.erase(std::unique(times.begin(), times.end(), [&](double a, double b) { return b - a <= tolerance; }), times.end());
}

/// Local poses of one joint over time, in seconds.
struct Track {
  std::vector<double> times;
  std::vector<Trsd> poses;
  bool moves = false, turns = false, scales = false;
};

struct Stack {
  const aiAnimation& animation;
  double secondsPerTick;
  std::map<const aiNode*, const aiNodeAnim*> channels;
};

/// True where a part of the chain after the first rotation is offset: then the translation depends on the rotation and
/// a straight line between keys is not good enough.
bool pivotsMatter(const JointChain& chain) {
  bool turned = false;
  for (const ChainLink& link : chain.links) {
    if (turned && length(link.local.translation) > 1e-9 && !link.part.starts_with("Geometric")) return true;
    turned = turned || link.part == "Rotation" || link.part == "Scaling";
  }
  return false;
}

Track trackOf(const JointChain& chain, const Stack& stack, double hertz) {
  Track track;
  const aiNodeAnim* own = nullptr;
  bool helpers = false;
  for (const ChainLink& link : chain.links) {
    const auto found = stack.channels.find(link.node);
    if (found == stack.channels.end()) continue;
    if (link.part.empty())
      own = found->second;
    else
      helpers = true;
    track.moves = track.moves || found->second->mNumPositionKeys > 0;
    track.turns = track.turns || found->second->mNumRotationKeys > 0;
    track.scales = track.scales || found->second->mNumScalingKeys > 0;
    addTimes(*found->second, track.times);
  }
  if (track.times.empty()) return track;
  const double tick = stack.secondsPerTick;
  if (helpers) {
    track.moves = track.turns = track.scales = true;
    if (pivotsMatter(chain) && hertz > 0) {
      const auto [low, high] = std::minmax_element(track.times.begin(), track.times.end());
      const double first = *low, frames = (*high - *low) * tick * hertz;
      if (frames < 1e6)
        for (int f = 1; f < frames; ++f) track.times.push_back(first + f / (hertz * tick));
    }
  }
  sortUnique(track.times, 1e-5 / tick);

  Affined rest;
  Quatd postRotation;
  for (const ChainLink& link : chain.links) {
    if (!link.part.starts_with("Geometric")) rest = rest * link.local;
    if (link.part == "PostRotation") postRotation = trsOf(link.local).rotation;
  }
  for (double& time : track.times) {
    Trsd pose;
    if (helpers) {
      Affined local;
      for (const ChainLink& link : chain.links) {
        if (link.part.starts_with("Geometric")) continue;
        const auto found = stack.channels.find(link.node);
        local = local * (found == stack.channels.end() ? link.local : localAt(*found->second, link.local, time));
      }
      pose = trsOf(local);
    } else {
      // A channel by the node's own name stands for the whole chain; it holds the post-rotation the wrong way round,
      // which turning by it twice puts right.
      pose = trsOf(rest);
      if (own->mNumPositionKeys > 0) pose.translation = valueAt(own->mPositionKeys, own->mNumPositionKeys, time);
      if (own->mNumRotationKeys > 0) pose.rotation = valueAt(own->mRotationKeys, own->mNumRotationKeys, time) * postRotation * postRotation;
      if (own->mNumScalingKeys > 0) pose.scale = valueAt(own->mScalingKeys, own->mNumScalingKeys, time);
    }
    track.poses.push_back(pose);
    time *= tick;
  }
  return track;
}

bool finite(const Trsd& p) {
  return isFinite(p.translation) && isFinite(p.rotation) && isFinite(p.scale);
}
double relativeStep(const Trsd& a, const Trsd& b, double size) {
  const double turn = angleBetween(a.rotation, b.rotation);
  return std::max({turn, distance(a.translation, b.translation) / size, distance(a.scale, b.scale)});
}

/// Median length of the joints' offsets: what a small distance is measured by.
double typicalOffset(const Skeleton& skeleton) {
  std::vector<double> lengths;
  for (const Trsd& rest : skeleton.rest)
    if (const double l = length(rest.translation); l > 1e-9) lengths.push_back(l);
  if (lengths.empty()) return 1;
  std::nth_element(lengths.begin(), lengths.begin() + static_cast<std::ptrdiff_t>(lengths.size() / 2), lengths.end());
  return lengths[lengths.size() / 2];
}

/// One curve of a track; `offset` is the skeleton's typical one. A curve that keeps its rest value is left out unless
/// `keepConstant`; one that keeps any value has a single key.
void addCurve(Clip& clip, int joint, CurveTarget target, const Track& track, const Trsd& rest, double offset, bool keepConstant) {
  const double size = std::max(length(rest.translation), offset);
  const auto differs = [&](const Trsd& a, const Trsd& b) {
    switch (target) {
      case CurveTarget::translation:
        return distance(a.translation, b.translation) > 1e-5 * size;
      case CurveTarget::rotation:
        return angleBetween(a.rotation, b.rotation) > 1e-6;
      default:
        return distance(a.scale, b.scale) > 2e-5 * std::max(length(b.scale), 1e-9);
    }
  };
  bool constant = true, atRest = true;
  for (const Trsd& pose : track.poses) {
    constant = constant && !differs(pose, track.poses.front());
    atRest = atRest && !differs(pose, rest);
  }
  if (atRest && !keepConstant) return;
  KeyedCurve curve;
  curve.joint = joint;
  curve.target = target;
  const std::size_t keys = constant ? 1 : track.poses.size();
  Quatd last{};
  for (std::size_t k = 0; k < keys; ++k) {
    const Trsd& pose = track.poses[k];
    curve.times.push_back(static_cast<float>(track.times[k]));
    if (target == CurveTarget::rotation) {
      last = k == 0 ? pose.rotation : sameHemisphere(pose.rotation, last);
      for (double v : {last.w, last.x, last.y, last.z}) curve.values.push_back(static_cast<float>(v));
    } else {
      const Vec3d& v = target == CurveTarget::translation ? pose.translation : pose.scale;
      for (int i = 0; i < 3; ++i) curve.values.push_back(static_cast<float>(v[i]));
    }
  }
  clip.curves.push_back(std::move(curve));
}

/// Rate at which the keys of the busiest joints are evenly spaced; 0 where they are not.
double keyRate(const std::vector<Track>& tracks) {
  const Track* busiest = nullptr;
  for (const Track& track : tracks)
    if (!busiest || track.times.size() > busiest->times.size()) busiest = &track;
  if (!busiest || busiest->times.size() < 3) return 0;
  std::vector<double> steps;
  for (std::size_t i = 1; i < busiest->times.size(); ++i) steps.push_back(busiest->times[i] - busiest->times[i - 1]);
  std::vector<double> sorted = steps;
  std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2), sorted.end());
  const double step = sorted[sorted.size() / 2];
  if (!(step > 1e-4)) return 0;
  std::size_t even = 0;
  for (double s : steps)
    if (std::abs(s / step - std::round(s / step)) < 0.02 && s > 0.5 * step) ++even;
  return even * 10 >= steps.size() * 9 ? 1 / step : 0;
}

void noteUnbaked(const std::vector<Track>& tracks, const Clip& clip, double offset, Figure& figure) {
  // Between keys that are further apart than a frame the artist's own curve (with tangents) is lost.
  const double frame = 1 / clip.rate.hertz();
  int joints = 0, moving = 0, worst = -1;
  double widest = 0;
  for (std::size_t j = 0; j < tracks.size(); ++j) {
    const Track& track = tracks[j];
    const double size = std::max(length(figure.skeleton.rest[j].translation), offset);
    bool sparse = false, moves = false;
    for (std::size_t k = 1; k < track.times.size(); ++k) {
      const double gap = track.times[k] - track.times[k - 1];
      const double step = relativeStep(track.poses[k - 1], track.poses[k], size);
      moves = moves || step > 1e-4;
      if (gap < 1.5 * frame || step < 2e-3) continue;
      sparse = true;
      if (gap > widest) widest = gap, worst = static_cast<int>(j);
    }
    joints += sparse;
    moving += moves;
  }
  // A few gaps in a clip that is dense elsewhere are an exporter's own thinning of straight stretches.
  if (joints == 0 || joints * 5 < moving) return;
  figure.issues.push_back(makeWarning(
      "The clip is not baked per frame: " + std::to_string(joints) + " joint" + (joints == 1 ? " has" : "s have") + " keys up to " +
          std::to_string(static_cast<int>(std::lround(widest / frame))) + " frames apart (joint '" +
          figure.skeleton.names[static_cast<std::size_t>(worst)] + "'). Poses between keys may differ from the program it was made in",
      "clip '" + clip.name + "'", "Bake the animation to every frame before exporting"));
}

}  // namespace

void buildClips(const aiScene& scene, const NodeTable& table, double statedHertz, Figure& figure) {
  const std::size_t joints = table.chains.size();
  const double offset = typicalOffset(figure.skeleton);
  for (unsigned a = 0; a < scene.mNumAnimations; ++a) {
    const aiAnimation& animation = *scene.mAnimations[a];
    Clip clip;
    clip.name = animation.mName.C_Str();
    const std::string where = "clip '" + clip.name + "'";
    const double ticks = animation.mTicksPerSecond > 0 ? animation.mTicksPerSecond : 1;
    Stack stack{animation, 1 / ticks, {}};
    std::set<std::string> strangers, twice;
    for (unsigned c = 0; c < animation.mNumChannels; ++c) {
      const aiNodeAnim* channel = animation.mChannels[c];
      const aiNode* node = nodeNamed(table, channel->mNodeName.C_Str());
      if (!node)
        strangers.insert(channel->mNodeName.C_Str());
      else if (!stack.channels.emplace(node, channel).second)
        twice.insert(channel->mNodeName.C_Str());
    }
    if (!strangers.empty() && !(strangers.size() == 1 && *strangers.begin() == scene.mRootNode->mName.C_Str()))
      figure.issues.push_back(makeWarning(std::to_string(strangers.size()) + " animated node" + (strangers.size() == 1 ? " is" : "s are") +
                                              " not in the scene ('" + *strangers.begin() + "'); left out",
                                          where));
    if (!twice.empty())
      figure.issues.push_back(makeWarning("The node '" + *twice.begin() + "' is animated twice; the first is taken", where));

    std::vector<Track> tracks(joints);
    bool broken = false;
    for (std::size_t j = 0; j < joints; ++j) {
      tracks[j] = trackOf(table.chains[j], stack, statedHertz > 0 ? statedHertz : 30);
      for (std::size_t k = 0; k < tracks[j].poses.size(); ++k)
        if (!finite(tracks[j].poses[k]) || !std::isfinite(tracks[j].times[k])) {
          tracks[j].poses[k] = k > 0 ? tracks[j].poses[k - 1] : figure.skeleton.rest[j];
          if (!std::isfinite(tracks[j].times[k])) tracks[j].times[k] = k > 0 ? tracks[j].times[k - 1] : 0;
          broken = true;
        }
    }
    if (broken) figure.issues.push_back(makeWarning("The clip holds keys that are not finite; each keeps the key before it", where));
    const double spaced = keyRate(tracks);
    double hertz = statedHertz > 0 ? statedHertz : spaced;
    if (statedHertz > 0 && spaced > 1.02 * statedHertz && spaced <= 1000) {
      char text[96];
      std::snprintf(text, sizeof text, "The file states %.5g frames a second, its keys come %.5g times a second", statedHertz, spaced);
      figure.issues.push_back(makeNote(text, where, "The rate of the keys is used"));
      hertz = spaced;
    }
    clip.rateStated = hertz > 0;
    clip.rate = snapFrameRate(hertz > 0 && hertz <= 1000 ? hertz : 30);

    double start = 1e300, end = -1e300;
    for (std::size_t j = 0; j < joints; ++j) {
      const Track& track = tracks[j];
      if (track.poses.empty()) continue;
      start = std::min(start, track.times.front());
      end = std::max(end, track.times.back());
      const Trsd& rest = figure.skeleton.rest[j];
      if (track.turns) addCurve(clip, static_cast<int>(j), CurveTarget::rotation, track, rest, offset, true);
      if (track.moves) addCurve(clip, static_cast<int>(j), CurveTarget::translation, track, rest, offset, false);
      if (track.scales) addCurve(clip, static_cast<int>(j), CurveTarget::scale, track, rest, offset, false);
    }
    if (clip.curves.empty()) {
      figure.issues.push_back(makeNote("The clip animates no joint; left out", where));
      continue;
    }
    clip.start = static_cast<float>(start);
    clip.end = std::max<double>(clip.start, static_cast<float>(end));
    noteUnbaked(tracks, clip, offset, figure);
    figure.clips.push_back(std::move(clip));
  }
}

}  // namespace understudy
