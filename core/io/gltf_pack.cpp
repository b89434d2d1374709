#include "core/io/gltf_pack.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <map>
#include <optional>

#include "core/io/curve_check.h"
#include "core/motion/keyed_track.h"

namespace understudy {
namespace {

template <class T>
void append(std::string& bytes, T value) {
  char raw[sizeof value];
  std::memcpy(raw, &value, sizeof value);
  bytes.append(raw, sizeof value);
}

void pad(std::string& bytes, char with = '\0') { bytes.resize((bytes.size() + 3) / 4 * 4, with); }

/// An animation under construction: all its numbers share one view.
class Builder {
 public:
  /// `checked`: the curves are to be told by a check.
  Builder(GltfPack& pack, bool checked) : pack_(pack), checked_(checked), from_(pack.bytes.size()), view_(pack.firstView + pack.views.size()) {}

  std::size_t times(std::span<const float> t) {
    const std::size_t at = begin();
    for (float v : t) pack_.put(v);
    // The bounds are spelled as the very floats that are stored.
    const std::size_t made =
        pack_.accessor(view_, at, 5126, t.size(), "SCALAR", ",\"min\":[" + jsonNumber(t.front()) + "],\"max\":[" + jsonNumber(t.back()) + "]");
    if (checked_) timesOf_[made].assign(t.begin(), t.end());
    return made;
  }
  [[nodiscard]] std::size_t begin() const { return pack_.bytes.size() - from_; }
  void channel(int node, std::string_view path, std::size_t input, std::size_t at, std::size_t count, std::string_view type,
               std::string_view interpolation) {
    const std::size_t output = pack_.accessor(view_, at, 5126, count, type);
    if (checked_) {
      std::vector<float> values((pack_.bytes.size() - from_ - at) / sizeof(float));
      std::memcpy(values.data(), pack_.bytes.data() + from_ + at, values.size() * sizeof(float));
      check_.add(path, timesOf_[input], values);
    }
    channelOf({node}, path, input, output, interpolation);
  }
  void channelOf(const std::vector<int>& nodes, std::string_view path, std::size_t input, std::size_t output, std::string_view interpolation) {
    for (int node : nodes)
      channels_.push_back("{\"sampler\":" + std::to_string(samplers_.size()) + ",\"target\":{\"node\":" + std::to_string(node) + ",\"path\":\"" +
                          std::string(path) + "\"}}");
    samplers_.push_back("{\"input\":" + std::to_string(input) + ",\"interpolation\":\"" + std::string(interpolation) +
                        "\",\"output\":" + std::to_string(output) + "}");
  }
  [[nodiscard]] bool empty() const { return channels_.empty(); }
  /// `history`: a JSON object, or empty.
  std::string finish(std::string_view name, const std::string& history) {
    pack_.view(from_);
    const std::string extras = history.empty() ? "" : ",\"extras\":{\"understudy\":{\"curves\":\"" + check_.text() + "\",\"history\":" + history + "}}";
    return "{\"name\":" + jsonQuoted(name) + ",\"channels\":[" + joined(channels_) + "],\"samplers\":[" + joined(samplers_) + "]" + extras + "}";
  }

 private:
  GltfPack& pack_;
  bool checked_;
  std::size_t from_, view_;
  std::vector<std::string> channels_, samplers_;
  std::map<std::size_t, std::vector<float>> timesOf_;  ///< by accessor
  CurveCheck check_;
};

}  // namespace

std::size_t GltfPack::view(std::size_t from, int target) {
  const std::size_t size = bytes.size() - from;
  views.push_back("{\"buffer\":" + std::to_string(buffer) + ",\"byteOffset\":" + std::to_string(firstByte + from) +
                  ",\"byteLength\":" + std::to_string(size) + (target ? ",\"target\":" + std::to_string(target) : "") + "}");
  pad(bytes);
  return firstView + views.size() - 1;
}

std::size_t GltfPack::accessor(std::size_t view, std::size_t byteOffset, int componentType, std::size_t count, std::string_view type,
                               std::string_view more) {
  accessors.push_back("{\"bufferView\":" + std::to_string(view) + (byteOffset ? ",\"byteOffset\":" + std::to_string(byteOffset) : "") +
                      ",\"componentType\":" + std::to_string(componentType) + ",\"count\":" + std::to_string(count) + ",\"type\":\"" +
                      std::string(type) + "\"" + std::string(more) + "}");
  return firstAccessor + accessors.size() - 1;
}

void GltfPack::put(float value) { append(bytes, value); }
void GltfPack::put(std::uint16_t value) { append(bytes, value); }
void GltfPack::put(std::uint32_t value) { append(bytes, value); }

Status checkBaked(const Skeleton& skeleton, const BakedClip& clip) {
  if (!clip.motion || clip.motion->frames < 1) return makeError(Fault::usage, "There are no frames to write", {}, "Choose a clip with at least one frame");
  const Motion& m = *clip.motion;
  const auto frames = static_cast<std::size_t>(m.frames), joints = static_cast<std::size_t>(m.joints);
  if (m.joints != skeleton.size() || m.rotations.size() != frames * joints || m.translations.size() != frames * m.movedJoints.size() ||
      m.scales.size() != frames * m.scaledJoints.size())
    return makeError(Fault::internal, "The motion does not belong to this skeleton");
  const auto bad = [&](std::size_t frame, int joint) {
    return makeError(Fault::internal, "The motion holds a number that is not finite",
                     "joint " + jointKey(skeleton, joint) + ", frame " + std::to_string(frame + 1), "Nothing was written");
  };
  for (const auto* list : {&clip.rotated, &m.movedJoints, &m.scaledJoints})
    for (int j : *list)
      if (j < 0 || j >= m.joints) return makeError(Fault::internal, "The motion moves a joint that does not exist");
  if (clip.rotated.empty() && m.movedJoints.empty() && m.scaledJoints.empty())
    return makeError(Fault::mapping, "The clip moves no joint of the character", {}, "Map at least the hips and try again");
  for (std::size_t f = 0; f < frames; ++f) {
    for (int j : clip.rotated)
      if (!isFinite(m.rotations[f * joints + static_cast<std::size_t>(j)])) return bad(f, j);
    for (std::size_t k = 0; k < m.movedJoints.size(); ++k)
      if (!isFinite(m.translations[f * m.movedJoints.size() + k])) return bad(f, m.movedJoints[k]);
    for (std::size_t k = 0; k < m.scaledJoints.size(); ++k)
      if (!isFinite(m.scales[f * m.scaledJoints.size() + k])) return bad(f, m.scaledJoints[k]);
  }
  return Done{};
}

std::string packAnimation(GltfPack& pack, const BakedClip& clip, std::string_view name, const std::function<int(int)>& nodeOf) {
  const Motion& m = *clip.motion;
  const auto frames = static_cast<std::size_t>(m.frames);
  Builder builder(pack, !clip.history.empty());
  std::vector<float> t(frames);
  for (std::size_t f = 0; f < frames; ++f) t[f] = static_cast<float>(m.rate.seconds(static_cast<std::int64_t>(f)));
  std::optional<std::size_t> all, once;
  // Joints of one limb share their key frames, and so their times.
  std::map<std::vector<int>, std::size_t> shared;
  const auto planned = [&](const std::map<int, std::vector<int>>& keys, int joint) -> const std::vector<int>* {
    const auto at = keys.find(joint);
    return at == keys.end() || at->second.size() >= frames ? nullptr : &at->second;
  };
  const auto timesAt = [&](const std::vector<int>& keys) {
    const auto [at, isNew] = shared.emplace(keys, 0);
    if (isNew) {
      std::vector<float> some;
      for (int f : keys) some.push_back(t[static_cast<std::size_t>(f)]);
      at->second = builder.times(some);
    }
    return at->second;
  };
  const bool smooth = clip.plan && clip.plan->smooth;
  const std::string_view interpolation = smooth ? "CUBICSPLINE" : "LINEAR";
  // In- and out-tangent are a second's change (glTF 2.0, appendix C).
  const double hertz = m.rate.hertz();
  const auto input = [&](bool constant) {
    std::optional<std::size_t>& times = constant ? once : all;
    if (!times) times = builder.times(constant ? std::span(t).first(1) : std::span(t));
    return *times;
  };
  std::vector<int> rotated = clip.rotated;
  std::sort(rotated.begin(), rotated.end());
  rotated.erase(std::unique(rotated.begin(), rotated.end()), rotated.end());
  std::vector<Quatf> track(frames);
  for (int j : rotated) {
    if (nodeOf(j) < 0) continue;
    bool constant = true;
    for (std::size_t f = 0; f < frames; ++f) {
      Quatd q = normalised(Quatd(m.rotationsAt(static_cast<int>(f))[static_cast<std::size_t>(j)]));
      if (f > 0) q = sameHemisphere(q, Quatd(track[f - 1]));
      track[f] = Quatf(q);
      constant = constant && track[f] == track[0];
    }
    if (const auto* some = clip.plan && !constant ? planned(clip.plan->rotation, j) : nullptr) {
      const std::size_t in = timesAt(*some), at = builder.begin();
      for (int f : *some) {
        const Quatf q = track[static_cast<std::size_t>(f)];
        const Quatd slope = slopeAt(std::span<const Quatf>(track), f);
        const auto tangent = [&] {
          for (double v : {slope.x, slope.y, slope.z, slope.w}) pack.put(static_cast<float>(v * hertz));
        };
        if (smooth) tangent();
        for (float v : {q.x, q.y, q.z, q.w}) pack.put(v);
        if (smooth) tangent();
      }
      builder.channel(nodeOf(j), "rotation", in, at, some->size() * (smooth ? 3 : 1), "VEC4", interpolation);
      continue;
    }
    const std::size_t keys = constant ? 1 : frames, in = input(constant), at = builder.begin();
    for (std::size_t f = 0; f < keys; ++f)
      for (float v : {track[f].x, track[f].y, track[f].z, track[f].w}) pack.put(v);
    builder.channel(nodeOf(j), "rotation", in, at, keys, "VEC4", "LINEAR");
  }
  const auto vectors = [&](const std::vector<int>& joints, const std::vector<Vec3f>& values, const char* path, const std::map<int, std::vector<int>>* plan) {
    const std::size_t width = joints.size();
    for (std::size_t k = 0; k < width; ++k) {
      if (nodeOf(joints[k]) < 0) continue;
      bool constant = true;
      for (std::size_t f = 1; f < frames; ++f) constant = constant && values[f * width + k] == values[k];
      if (const auto* some = plan && !constant ? planned(*plan, joints[k]) : nullptr) {
        std::vector<Vec3f> own(frames);
        for (std::size_t f = 0; f < frames; ++f) own[f] = values[f * width + k];
        const std::size_t in = timesAt(*some), at = builder.begin();
        for (int f : *some) {
          const Vec3d slope = slopeAt(std::span<const Vec3f>(own), f) * hertz;
          for (int part = smooth ? 0 : 1; part < (smooth ? 3 : 2); ++part)
            for (int c = 0; c < 3; ++c) pack.put(part == 1 ? own[static_cast<std::size_t>(f)][c] : static_cast<float>(slope[c]));
        }
        builder.channel(nodeOf(joints[k]), path, in, at, some->size() * (smooth ? 3 : 1), "VEC3", interpolation);
        continue;
      }
      const std::size_t keys = constant ? 1 : frames, in = input(constant), at = builder.begin();
      for (std::size_t f = 0; f < keys; ++f)
        for (int c = 0; c < 3; ++c) pack.put(values[f * width + k][c]);
      builder.channel(nodeOf(joints[k]), path, in, at, keys, "VEC3", "LINEAR");
    }
  };
  vectors(m.movedJoints, m.translations, "translation", clip.plan ? &clip.plan->translation : nullptr);
  vectors(m.scaledJoints, m.scales, "scale", nullptr);
  return builder.finish(name, clip.history);
}

Result<std::string> assembleGlb(std::string json, bool hasBin, std::string_view binHead, std::string_view binTail, std::span<const GltfChunk> extra,
                                const std::string& path) {
  pad(json, ' ');
  const std::size_t bin = (binHead.size() + binTail.size() + 3) / 4 * 4;
  std::size_t total = 12 + 8 + json.size() + (hasBin ? 8 + bin : 0);
  for (const GltfChunk& chunk : extra) total += 8 + (chunk.bytes.size() + 3) / 4 * 4;
  if (total > 0xFFFFFFFFULL)
    return makeError(Fault::output, "The file would be larger than the 4 GiB that .glb allows", path, "Write a shorter range or a lower rate");
  std::string out;
  out.reserve(total);
  const auto u32 = [&](std::size_t v) { append(out, static_cast<std::uint32_t>(v)); };
  out += "glTF";
  u32(2), u32(total);
  u32(json.size());
  out += "JSON";
  out += json;
  if (hasBin) {
    u32(bin);
    out.append("BIN\0", 4);
    out += binHead;
    out += binTail;
    pad(out);
  }
  for (const GltfChunk& chunk : extra) {
    u32((chunk.bytes.size() + 3) / 4 * 4);
    u32(chunk.type);
    out.append(reinterpret_cast<const char*>(chunk.bytes.data()), chunk.bytes.size());
    pad(out);
  }
  return out;
}

std::string uniqueName(const std::string& name, const std::vector<std::string>& taken) {
  std::string candidate = name;
  for (int n = 2; std::find(taken.begin(), taken.end(), candidate) != taken.end(); ++n) candidate = name + " " + std::to_string(n);
  return candidate;
}

std::string jsonList(std::span<const double> values) {
  std::string out = "[";
  for (std::size_t i = 0; i < values.size(); ++i) out += (i ? "," : "") + jsonNumber(values[i]);
  return out + "]";
}

std::string joined(const std::vector<std::string>& items) {
  std::string out;
  for (const std::string& item : items) out += (out.empty() ? "" : ",") + item;
  return out;
}

}  // namespace understudy
