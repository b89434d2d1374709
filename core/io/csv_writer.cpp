#include <array>
#include <charconv>

#include "core/io/world_tracks.h"
#include "core/io/write.h"

namespace understudy {
namespace {

void append(std::string& text, double value, int decimals) {
  std::array<char, 400> buffer;
  const auto [stop, error] = std::to_chars(buffer.data(), buffer.data() + buffer.size(), value, std::chars_format::fixed, decimals);
  if (error == std::errc{}) text.append(buffer.data(), stop);
}

/// A field as in RFC 4180.
std::string field(const std::string& value) {
  if (value.find_first_of(",\"\r\n") == std::string::npos) return value;
  std::string out = "\"";
  for (char c : value) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + '"';
}

}  // namespace

Status writeCsv(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control) {
  if (!clip.motion || clip.motion->joints != character.skeleton.size())
    return makeError(Fault::internal, "The animation does not belong to this skeleton", path);
  const Motion& motion = *clip.motion;
  const std::size_t count = character.skeleton.parents.size();
  std::vector<std::string> keys(count);
  for (std::size_t j = 0; j < count; ++j) keys[j] = field(jointKey(character.skeleton, static_cast<int>(j)));
  const WorldTracks tracks(character.skeleton, motion);
  const Affined toWorld = character.space.toWorld();
  std::vector<Quatd> turns(count), before(count);
  std::vector<Vec3d> points(count);
  std::string text = "frame,time,joint,px,py,pz,qw,qx,qy,qz\n";
  for (int f = 0; f < motion.frames; ++f) {
    if ((f & 63) == 0) {
      if (control.stopped()) return RunControl::cancelled();
      control.report(static_cast<double>(f) / motion.frames, "Writing CSV");
    }
    tracks.at(f, turns, points);
    std::string head = std::to_string(clip.firstFrame + f) + ',';
    append(head, motion.rate.seconds(f), 9);
    head += ',';
    for (std::size_t j = 0; j < count; ++j) {
      const Vec3d p = apply(toWorld, points[j]);
      const Quatd q = sameHemisphere(normalised(character.space.worldFromFile * turns[j]), before[j]);
      before[j] = q;
      if (!isFinite(p) || !isFinite(q))
        return makeError(Fault::internal, "The animation holds a value that is no number", keys[j] + ", frame " + std::to_string(f + 1));
      text += head;
      text += keys[j];
      for (double value : {p.x, p.y, p.z}) text += ',', append(text, value, 7);
      for (double value : {q.w, q.x, q.y, q.z}) text += ',', append(text, value, 9);
      text += '\n';
    }
  }
  return writeBytes(path, text);
}

}  // namespace understudy
