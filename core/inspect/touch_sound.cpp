// Parts of a touch in which its hand touches near its place and does not leap.
#include "core/inspect/touch_carrier.h"

#include <cmath>

#include "core/repair/touch.h"

namespace understudy {

std::vector<Repair> TouchCarrier::sound(const Repair& repair) const {
  const double rate = context_.rate.hertz();
  const int whole = repairFrames(repair, context_.rate, context_.frames).span.count();
  const int least = std::min(whole, std::max(2, static_cast<int>(std::lround(settings_.shortest * rate))));
  std::vector<FrameSpan> parts = soundParts({repair}, 0);
  // A shorter touch is smoothed in another way, and from one to the next the hand may leap: they have to be sound together as well.
  for (int pass = 0; pass < 9; ++pass) {
    std::erase_if(parts, [&](const FrameSpan& part) { return part.count() < least; });
    if (parts.empty()) return {};
    const int apart = static_cast<int>(std::lround(settings_.pause * rate * (1 + 0.5 * pass)));
    for (std::size_t i = 1; i < parts.size(); ++i) {
      const int missing = apart - (parts[i].first - parts[i - 1].last);
      if (missing <= 0) continue;
      parts[i - 1].last -= missing / 2;
      parts[i].first += missing - missing / 2;
    }
    std::erase_if(parts, [&](const FrameSpan& part) { return part.count() < least; });
    if (parts.empty()) return {};
    std::vector<Repair> repairs;
    for (const FrameSpan& part : parts) {
      repairs.push_back(repair);
      repairs.back().span = TimeRange{context_.rate.seconds(part.first), context_.rate.seconds(part.last)};
      // Where the hand leaps on its way, it takes longer.
      repairs.back().easeBefore = repairs.back().easeAfter = settings_.ease * (1 + 0.5 * std::min(pass, 4));
    }
    const std::vector<FrameSpan> again = soundParts(repairs, pass + 1);
    if (again == parts) return repairs;
    // Frame by frame less at one end: good enough.
    const auto frames = [](const std::vector<FrameSpan>& spans) {
      int sum = 0;
      for (const FrameSpan& span : spans) sum += span.count();
      return sum;
    };
    if (pass >= 3 && again.size() == parts.size() && frames(again) >= 0.95 * frames(parts)) {
      for (std::size_t i = 0; i < again.size(); ++i) repairs[i].span = TimeRange{context_.rate.seconds(again[i].first), context_.rate.seconds(again[i].last)};
      return repairs;
    }
    parts = again;
  }
  return {};
}

std::vector<FrameSpan> TouchCarrier::soundParts(const std::vector<Repair>& repairs, int pass) const {
  Issues ignored;
  const std::shared_ptr<const RepairContext> borrowed(std::shared_ptr<const RepairContext>(), &context_);
  std::vector<const Repair*> list;
  for (const Repair& repair : repairs) list.push_back(&repair);
  const RepairLayerPtr layer = makeTouchLayer(borrowed, list, ignored);
  const FrameSpan clip{0, plain_.frames() - 1};
  if (!layer || !ignored.empty()) return {};
  FrameSpan acting = common(layer->extent(0), clip);
  for (std::size_t i = 1; i < list.size(); ++i) {
    const FrameSpan more = common(layer->extent(i), clip);
    acting = {std::min(acting.first, more.first), std::max(acting.last, more.last)};
  }
  if (acting.empty()) return {};
  TiledMotion out = plain_;
  if (const std::vector<int> moved = layer->movedJoints(); !moved.empty()) out = out.withMoved(context_.figure->skeleton, moved);
  out = out.writable(acting.first, acting.count());
  std::vector<Residual> residuals(list.size());
  layer->apply(plain_, acting, out, residuals);
  const std::vector<char> leaps = leapsOver(out, acting);
  const TouchLimits limits;
  const double scale = context_.height / 1.7, farthest = settings_.farthest * context_.height;
  const int bridge = static_cast<int>(std::lround(settings_.bridge * context_.rate.hertz()));
  std::vector<FrameSpan> parts;
  const auto leapsIn = [&](int first, int last) {
    for (int f = first; f <= last; ++f)
      if (leaps[static_cast<std::size_t>(f - acting.first)]) return true;
    return false;
  };
  for (std::size_t i = 0; i < list.size(); ++i) {
    const FrameSpan span = common(repairFrames(*list[i], context_.rate, context_.frames).span, clip);
    const std::vector<TouchMiss> misses = touchMisses(context_, out, *list[i]);
    if (static_cast<int>(misses.size()) < span.count()) return {};
    bool joined = false;  // to a part of the same span
    int good = 0, missed = 0;  // frames of the part; frames since it
    const auto close = [&] {
      if (joined && good < settings_.share * parts.back().count()) parts.pop_back();
      joined = false;
    };
    for (int f = span.first; f <= span.last; ++f) {
      const TouchMiss& miss = misses[static_cast<std::size_t>(f - span.first)];
      const bool touches = miss.place < farthest && (!miss.skin || (miss.gap < limits.gap * scale && miss.gap > -limits.depth * scale));
      const bool nearly = miss.place < farthest && (!miss.skin || std::abs(miss.gap) < settings_.nearly * scale);
      // A leap parts the frames before it from those after; what nearly touches does not, nor does a short miss.
      missed = nearly ? 0 : missed + 1;
      if (missed > bridge || leapsIn(f, f)) close();
      if (!touches) continue;
      if (!joined) {
        parts.push_back({f, f});
        good = 0;
        joined = true;
      }
      parts.back().last = f;
      ++good;
    }
    close();
  }
  // Leaps of the eases before, between and after.
  for (std::size_t i = 0; pass > 0 && i <= parts.size(); ++i) {
    const int from = i == 0 ? acting.first : parts[i - 1].last + 1, to = i == parts.size() ? acting.last : parts[i].first - 1;
    if (to < from || !leapsIn(from, to)) continue;
    const int trim = std::max(1, static_cast<int>(std::lround(0.02 * pass * context_.rate.hertz())));
    if (i > 0) parts[i - 1].last -= trim;
    if (i < parts.size()) parts[i].first += trim;
  }
  std::erase_if(parts, [](const FrameSpan& part) { return part.empty(); });
  return parts;
}

std::vector<char> TouchCarrier::leapsOver(const TiledMotion& out, FrameSpan acting) const {
  Poser was(context_), is(context_);
  const double rate = context_.rate.hertz(), fastest = settings_.fastest * context_.height / rate;
  std::vector<Quatd> wasBefore, isBefore;
  std::array<Vec3d, 2> changeBefore{};
  std::vector<char> leaps(static_cast<std::size_t>(acting.count()), 0);
  for (int f = acting.first; f <= acting.last; ++f) {
    was.load(plain_, f);
    is.load(out, f);
    std::vector<Quatd> wasNow, isNow;
    bool leap = false;
    for (std::size_t arm = 0; arm < 2; ++arm) {
      const LimbRig& limb = context_.arms[arm];
      if (!limb.complete()) continue;
      const Vec3d change = is.position(limb.end) - was.position(limb.end);
      leap = leap || (f > acting.first && distance(change, changeBefore[arm]) > fastest);
      changeBefore[arm] = change;
      for (const int joint : {limb.root, limb.mid, limb.end}) {
        wasNow.push_back(was.local(joint));
        isNow.push_back(is.local(joint));
      }
    }
    for (std::size_t k = 0; k < isBefore.size(); ++k)
      leap = leap || angleBetween(isBefore[k], isNow[k]) - angleBetween(wasBefore[k], wasNow[k]) > settings_.quickest / rate;
    wasBefore = std::move(wasNow);
    isBefore = std::move(isNow);
    leaps[static_cast<std::size_t>(f - acting.first)] = leap;
  }
  return leaps;
}

}  // namespace understudy
