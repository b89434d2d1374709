// Animations of a glTF file.
#include <cstring>
#include <unordered_map>

#include "core/io/curve_check.h"
#include "core/io/gltf_reader.h"

namespace understudy {

Status GltfReader::animations() {
  const JsonView list = root_["animations"];
  std::unordered_map<std::int64_t, std::vector<float>> timesOf;  // exporters share one time accessor among many curves
  std::vector<float> raw;
  for (std::size_t c = 0; c < list.size(); ++c) {
    if (control_.stopped()) return RunControl::cancelled();
    control_.report(0.3 + 0.7 * static_cast<double>(c) / static_cast<double>(list.size()), "Reading animations");
    Clip clip;
    clip.name = validUtf8(list[c]["name"].string());
    const std::string named = "animation " + std::to_string(c) + (clip.name.empty() ? "" : " '" + clip.name + "'");
    const JsonView channels = list[c]["channels"], samplers = list[c]["samplers"], left = list[c]["extras"]["understudy"];
    CurveCheck check;
    int pointers = 0;
    for (std::size_t k = 0; k < channels.size(); ++k) {
      const JsonView target = channels[k]["target"];
      const std::string_view path = target["path"].string();
      const std::string where = named + ", channel " + std::to_string(k);
      if (path == "pointer") {
        ++pointers;
        continue;
      }
      if (!target["node"]) continue;
      KeyedCurve curve;
      curve.joint = joint(target["node"].integer(-1));
      if (curve.joint < 0) return damaged("It moves a node that does not exist", at(where));
      if (path == "rotation") curve.target = CurveTarget::rotation;
      else if (path == "translation") curve.target = CurveTarget::translation;
      else if (path == "scale") curve.target = CurveTarget::scale;
      else if (path == "weights") curve.target = CurveTarget::morphWeights;
      else {
        warn("It moves " + quoted(path) + ", which is not known; the channel is left out", where);
        continue;
      }
      const std::int64_t s = channels[k]["sampler"].integer(-1);
      if (s < 0 || s >= static_cast<std::int64_t>(samplers.size())) return damaged("It names a sampler that does not exist", at(where));
      const JsonView sampler = samplers[static_cast<std::size_t>(s)];
      const std::string_view mode = sampler["interpolation"].string();
      if (mode == "STEP") curve.interpolation = Interpolation::step;
      else if (mode == "CUBICSPLINE") curve.interpolation = Interpolation::cubic;
      else if (!mode.empty() && mode != "LINEAR") warn("The interpolation " + quoted(mode) + " is not known; it is read as linear", where);

      const std::int64_t input = sampler["input"].integer(-1), output = sampler["output"].integer(-1);
      auto found = timesOf.find(input);
      if (found == timesOf.end()) {
        std::vector<float> times;
        if (Status status = file_.floats(input, 1, times); !status.ok()) return status;
        found = timesOf.emplace(input, std::move(times)).first;
      }
      curve.times = found->second;
      const std::size_t keys = curve.times.size();
      if (keys == 0) continue;
      if (!allFinite(curve.times)) return damaged("A key's time is not a finite number", at(where));
      if (!std::is_sorted(curve.times.begin(), curve.times.end())) {
        warn("Its keys run backwards in time; the channel is left out", where, again);
        continue;
      }
      const std::size_t values = keys * (curve.interpolation == Interpolation::cubic ? 3 : 1);
      std::size_t width = curve.target == CurveTarget::rotation ? 4 : 3;
      if (curve.target == CurveTarget::morphWeights) {
        if (Status status = file_.floats(output, 1, raw); !status.ok()) return status;
        width = raw.size() / values;
        if (width == 0 || width > 65535) {
          warn("It has fewer weights than keys; the channel is left out", where, again);
          continue;
        }
        curve.morphCount = static_cast<int>(width);
      } else if (Status status = file_.floats(output, static_cast<int>(width), raw); !status.ok()) {
        return status;
      }
      if (raw.size() < values * width)
        return damaged("It has " + std::to_string(keys) + " key times, but values for " + std::to_string(raw.size() / width) + " keys only", at(where));
      raw.resize(values * width);
      if (!allFinite(raw)) return damaged("A key's value is not a finite number", at(where));
      if (left) check.add(path, curve.times, raw);
      if (curve.target == CurveTarget::rotation)
        for (std::size_t i = 0; i + 3 < raw.size(); i += 4) std::rotate(raw.begin() + static_cast<std::ptrdiff_t>(i), raw.begin() + static_cast<std::ptrdiff_t>(i) + 3, raw.begin() + static_cast<std::ptrdiff_t>(i) + 4);
      curve.values = raw;
      clip.curves.push_back(std::move(curve));
    }
    if (pointers > 0) note(std::to_string(pointers) + " channels move materials, lights or other properties and are left out", named);
    if (clip.curves.empty()) {
      note("It moves no node and is left out", named);
      continue;
    }
    clip.start = clip.curves.front().times.front();
    clip.end = clip.curves.front().times.back();
    for (const KeyedCurve& curve : clip.curves) {
      clip.start = std::min<double>(clip.start, curve.times.front());
      clip.end = std::max<double>(clip.end, curve.times.back());
    }
    const GltfKeyRate rate = gltfKeyRate(clip);
    clip.rate = rate.rate;
    clip.rateStated = rate.certain;
    if ((clip.end - clip.start) * clip.rate.hertz() > 1.0e7)
      return damaged("Its last key lies at " + jsonNumber(clip.end) + " seconds, which is absurd", at(named));
    if (const JsonView history = left["history"]; history.isObject()) {
      if (left["curves"].string() == check.text())
        clip.history = std::make_shared<const std::string>(file_.json.text().substr(history.begin(), history.end() - history.begin()));
      else
        note("It was changed after it was handed over: what was known of it then is left out", named);
    }
    figure_.clips.push_back(std::move(clip));
  }
  return Done{};
}

}  // namespace understudy
