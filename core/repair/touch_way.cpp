// The way of a touch over its span: what each frame asks for, made smooth.
#include "core/repair/touch_layer.h"

#include <algorithm>
#include <limits>
#include <numbers>

namespace understudy {
namespace {

/// Metres (at a height of 1.7) by which the smooth way may be left to touch.
constexpr double trembling = 0.035;

}  // namespace

std::optional<Digest> TouchLayer::nameOf(const TiledMotion& in, const Item& item, int frame, const std::optional<Change>& start, Asked asked) const {
  if (!item.what) return std::nullopt;
  Digest name = *item.what;
  name.add(in.poseAt(frame)).add(static_cast<std::uint64_t>(asked));
  addMoment(name, item, frame);
  name.add(std::uint64_t{isLocked(item.limb, frame)}).add(std::uint64_t{item.other >= 0 && isLocked(item.other, frame)}).add(std::uint64_t{start.has_value()});
  if (start)
    for (const Vec3d& v : {start->own, start->other}) name.add(v.x).add(v.y).add(v.z);
  return name;
}

TouchLayer::Change TouchLayer::changeOf(Poser& poser, const TiledMotion& in, const Item& item, int frame, const std::optional<Change>& start) const {
  const std::optional<Digest> name = nameOf(in, item, frame, start, Asked::change);
  if (const auto known = name ? known_->find(*name) : std::nullopt) return *known;
  const Change out = freshChangeOf(poser, in, item, frame, start);
  if (name) known_->keep(*name, out);
  return out;
}

TouchLayer::Change TouchLayer::freshChangeOf(Poser& poser, const TiledMotion& in, const Item& item, int frame, const std::optional<Change>& start) const {
  poser.load(in, frame);
  const int own = limbAt(item.limb).end, other = item.other >= 0 ? limbAt(item.other).end : -1;
  const Vec3d ownHad = poser.position(own), otherHad = other >= 0 ? poser.position(other) : Vec3d{};
  const Quatd turnHad = poser.rotation(own);
  Pull pull{&item, 1, nullptr, start, false};
  solve(poser, in, {pull}, frame);
  return {poser.position(own) - ownHad, other >= 0 ? poser.position(other) - otherHad : Vec3d{},
          item.propInBone ? logOf(poser.rotation(own) * conjugate(turnHad)) : Vec3d{}};
}

TouchLayer::Change TouchLayer::calmAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round) const {
  const FrameSpan span = frames_[item.index].span;
  const int reach = calmFrames(round);
  Change sum;
  double total = 0;
  for (int f = std::max(span.first, frame - reach); f <= std::min(span.last, frame + reach); ++f) {
    const double w = 1 + std::cos(std::numbers::pi * (f - frame) / (reach + 1));
    sum = sum.plus(usualAt(poser, in, item, f, kept, round - 1), w);
    total += w;
  }
  return Change{}.plus(sum, 1 / total);
}

const TouchLayer::Change& TouchLayer::usualAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round) const {
  const FrameSpan span = frames_[item.index].span;
  std::optional<Change>& usual = keptOf(kept, item).usual[static_cast<std::size_t>(round)][static_cast<std::size_t>(frame - span.first)];
  if (usual) return *usual;
  // The same number of frames on both sides, so that the ends of the span are their own.
  const int reach = std::min({medianFrames(), frame - span.first, span.last - frame});
  std::array<std::vector<double>, 6> values;
  for (int f = frame - reach; f <= frame + reach; ++f) {
    const Change& change = doneAt(poser, in, item, f, kept, round);
    const double numbers[] = {change.own.x, change.own.y, change.own.z, change.other.x, change.other.y, change.other.z};
    for (std::size_t k = 0; k < values.size(); ++k) values[k].push_back(numbers[k]);
  }
  std::array<double, 6> middle{};
  for (std::size_t k = 0; k < values.size(); ++k) {
    const auto at = values[k].begin() + reach;
    std::nth_element(values[k].begin(), at, values[k].end());
    middle[k] = *at;
  }
  usual = Change{{middle[0], middle[1], middle[2]}, {middle[3], middle[4], middle[5]}, {}};
  return *usual;
}

const TouchLayer::Change& TouchLayer::doneAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept, int round) const {
  std::optional<Change>& done = keptOf(kept, item).rounds[static_cast<std::size_t>(round)][static_cast<std::size_t>(frame - frames_[item.index].span.first)];
  if (!done) {
    if (item.skin && round == calmRounds) {
      const FrameSpan span = frames_[item.index].span;
      const int reach = steadyFrames();
      double along = 0, total = 0;
      for (int f = std::max(span.first, frame - reach); f <= std::min(span.last, frame + reach); ++f) {
        const double w = 1 + std::cos(std::numbers::pi * (f - frame) / (reach + 1));
        along += w * leftAt(poser, in, item, f, kept);
        total += w;
      }
      along /= total;
      const Change calm = calmAt(poser, in, item, frame, kept, round);
      poser.load(in, frame);
      solve(poser, in, {Pull{&item, 1, nullptr, calm, true}}, frame);
      const Vec3d normal = momentAt(poser, item, frame).normal;
      const double share = shareOf(item, frame);
      done = calm.plus({normal * (along * (1 - share)), normal * (-along * share), {}}, 1);
    } else if (const int at = frame - frames_[item.index].span.first, step = sparseFrames(), last = frames_[item.index].span.last;
               item.skin && round < calmRounds - 1 && at % step != 0 && frame != last) {
      // The way is smooth between the frames that are asked.
      const int before = frame - at % step, after = std::min(before + step, last);
      const double t = static_cast<double>(frame - before) / (after - before);
      const Change first = doneAt(poser, in, item, before, kept, round);
      done = first.plus(doneAt(poser, in, item, after, kept, round).plus(first, -1), t);
    } else {
      std::optional<Change> start;
      if (item.skin && round > 0) start = calmAt(poser, in, item, frame, kept, round);
      done = changeOf(poser, in, item, frame, start);
    }
  }
  return *done;
}

double TouchLayer::leftAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, Kept& kept) const {
  std::optional<double>& left = keptOf(kept, item).left[static_cast<std::size_t>(frame - frames_[item.index].span.first)];
  if (left) return *left;
  const Change calm = calmAt(poser, in, item, frame, kept, calmRounds);
  const std::optional<Digest> name = nameOf(in, item, frame, calm, measure_ == SkinMeasure::exact ? Asked::leftExactly : Asked::left);
  if (const auto known = name ? known_->find(*name) : std::nullopt) {
    left = known->own.x;
  } else {
    left = freshLeftAt(poser, in, item, frame, calm);
    if (name) known_->keep(*name, {{*left, 0, 0}, {}, {}});
  }
  return *left;
}

double TouchLayer::freshLeftAt(Poser& poser, const TiledMotion& in, const Item& item, int frame, const Change& calm) const {
  poser.load(in, frame);
  solve(poser, in, {Pull{&item, 1, nullptr, calm, true}}, frame);
  const Moment m = momentAt(poser, item, frame);
  const Skins touch = skins(poser, item, m);
  const double wanted = item.touch->gap + context_->scaled(justTouching), farthest = context_->scaled(trembling);
  const auto search = [&](double from, double reach, const auto& nearest) {
    double along = from, best = from, least = std::numeric_limits<double>::infinity();
    for (int pass = 0; pass < 12; ++pass) {
      const TouchSkin::Posed::Nearest n = nearest(m.normal * along);
      const double off = wanted - n.distance;
      if (std::abs(off) < least) {
        least = std::abs(off);
        best = along;
      }
      if (std::abs(off) < context_->scaled(1e-4)) break;
      along = std::clamp(along + off / std::clamp(std::abs(dot(n.gradient, m.normal)), 0.5, 1.0), from - reach, from + reach);
    }
    return best;
  };
  const double left = search(0, farthest, [&](const Vec3d& shift) { return touch.nearest(shift); });
  if (measure_ == SkinMeasure::quick) return left;
  return search(left, context_->scaled(TouchSkin::gridsOff), [&](const Vec3d& shift) { return touch.exact(shift); });
}

}  // namespace understudy
