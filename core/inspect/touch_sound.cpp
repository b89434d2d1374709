// Parts of a touch in which its hand touches near its place and does not leap.
#include "core/inspect/touch_carrier.h"

#include <cmath>

#include "core/repair/touch.h"

namespace understudy {

namespace {

/// Part of a contact's frames that has to touch for it to be carried as it is.
constexpr double nearlyAll = 0.97;

int framesOf(const std::vector<TouchCarrier::SoundPart>& parts) {
  int sum = 0;
  for (const TouchCarrier::SoundPart& part : parts) sum += part.span.count();
  return sum;
}

bool sameSpans(const std::vector<TouchCarrier::SoundPart>& a, const std::vector<TouchCarrier::SoundPart>& b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const TouchCarrier::SoundPart& x, const TouchCarrier::SoundPart& y) { return x.span == y.span; });
}

}  // namespace

std::vector<Repair> TouchCarrier::sound(const std::vector<Repair>& ways) const {
  std::vector<Repair> best;
  int most = 0;
  for (const Repair& way : ways) {
    const int whole = repairFrames(way, context_.rate, context_.frames).span.count();
    const std::vector<SoundPart> parts = soundParts({way}, 0);
    // What a way touches by itself is more than its parts will.
    if (framesOf(parts) <= most) continue;
    std::vector<Repair> repairs = sound(way, parts);
    int frames = 0;
    for (const Repair& repair : repairs) frames += repairFrames(repair, context_.rate, context_.frames).span.count();
    if (frames <= most) continue;
    most = frames;
    best = std::move(repairs);
    if (most >= nearlyAll * whole) break;
  }
  return best;
}

std::vector<Repair> TouchCarrier::sound(const Repair& repair, std::vector<SoundPart> parts) const {
  const double rate = context_.rate.hertz();
  const int whole = repairFrames(repair, context_.rate, context_.frames).span.count();
  const int least = std::min(whole, std::max(2, static_cast<int>(std::lround(settings_.shortest * rate))));
  const auto tooShort = [&](const TouchCarrier::SoundPart& part) { return part.span.count() < least; };
  // A shorter touch is smoothed in another way, and from one to the next the hand may leap: they have to be sound together as well.
  for (int pass = 0; pass < 7; ++pass) {
    std::erase_if(parts, tooShort);
    const int apart = static_cast<int>(std::lround(settings_.pause * rate * (1 + 0.5 * pass)));
    for (std::size_t i = 1; i < parts.size(); ++i) {
      const int missing = apart - (parts[i].span.first - parts[i - 1].span.last);
      if (missing <= 0) continue;
      parts[i - 1].span.last -= missing / 2;
      parts[i].span.first += missing - missing / 2;
    }
    std::erase_if(parts, tooShort);
    if (parts.empty()) return {};
    std::vector<Repair> repairs;
    // The farther the arm is turned, and where the hand leaps on its way, the longer it takes.
    const auto ease = [&](double turn) {
      return std::clamp(turn / settings_.turning, settings_.ease, settings_.longestEase) * (1 + 0.25 * std::min(pass, 4));
    };
    for (const TouchCarrier::SoundPart& part : parts) {
      repairs.push_back(repair);
      repairs.back().span = TimeRange{context_.rate.seconds(part.span.first), context_.rate.seconds(part.span.last)};
      repairs.back().easeBefore = ease(part.turnFirst);
      repairs.back().easeAfter = ease(part.turnLast);
    }
    const std::vector<SoundPart> again = soundParts(repairs, pass + 1);
    if (sameSpans(again, parts)) return repairs;
    // Frame by frame less at one end: good enough.
    if (pass >= 2 && again.size() == parts.size() && framesOf(again) >= 0.95 * framesOf(parts)) {
      for (std::size_t i = 0; i < again.size(); ++i)
        repairs[i].span = TimeRange{context_.rate.seconds(again[i].span.first), context_.rate.seconds(again[i].span.last)};
      return repairs;
    }
    parts = again;
  }
  return {};
}

std::vector<TouchCarrier::SoundPart> TouchCarrier::soundParts(const std::vector<Repair>& repairs, int pass) const {
  Issues ignored;
  const std::shared_ptr<const RepairContext> borrowed(std::shared_ptr<const RepairContext>(), &context_);
  std::vector<const Repair*> list;
  for (const Repair& repair : repairs) list.push_back(&repair);
  const RepairLayerPtr layer = makeTouchLayer(borrowed, list, ignored, SkinMeasure::quick);
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
  std::vector<SoundPart> parts;
  const auto leapsIn = [&](int first, int last) {
    for (int f = first; f <= last; ++f)
      if (leaps[static_cast<std::size_t>(f - acting.first)]) return true;
    return false;
  };
  for (std::size_t i = 0; i < list.size(); ++i) {
    const FrameSpan span = common(repairFrames(*list[i], context_.rate, context_.frames).span, clip);
    const std::vector<TouchMiss> misses = touchMisses(context_, out, *list[i], {}, SkinMeasure::quick);
    if (static_cast<int>(misses.size()) < span.count()) return {};
    bool joined = false;  // to a part of the same span
    int good = 0, missed = 0;  // frames of the part; frames since it
    const auto close = [&] {
      if (joined && good < settings_.share * parts.back().span.count()) parts.pop_back();
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
        parts.push_back({{f, f}});
        good = 0;
        joined = true;
      }
      parts.back().span.last = f;
      ++good;
    }
    close();
  }
  // Leaps of the eases before, between and after.
  for (std::size_t i = 0; pass > 0 && i <= parts.size(); ++i) {
    const int from = i == 0 ? acting.first : parts[i - 1].span.last + 1, to = i == parts.size() ? acting.last : parts[i].span.first - 1;
    if (to < from || !leapsIn(from, to)) continue;
    const int trim = std::max(1, static_cast<int>(std::lround(0.02 * pass * context_.rate.hertz())));
    if (i > 0) parts[i - 1].span.last -= trim;
    if (i < parts.size()) parts[i].span.first += trim;
  }
  std::erase_if(parts, [](const SoundPart& part) { return part.span.empty(); });
  Poser was(context_), is(context_);
  const auto turnAt = [&](int frame) {
    was.load(plain_, frame);
    is.load(out, frame);
    double most = 0;
    for (const LimbRig& arm : context_.arms)
      if (arm.complete())
        for (const int joint : {arm.root, arm.mid}) most = std::max(most, angleBetween(was.rotation(joint), is.rotation(joint)));
    return most;
  };
  for (SoundPart& part : parts) {
    part.turnFirst = turnAt(part.span.first);
    part.turnLast = turnAt(part.span.last);
  }
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
