// When touches act and where their points and targets are.
#include "core/repair/touch_layer.h"

#include <algorithm>
#include <numbers>

namespace understudy {
namespace {

Vec3d cubic(const Vec3d& a, const Vec3d& b, const Vec3d& c, const Vec3d& d, double ta, double tb, double tc, double td, double t) {
  // Hermite between b and c with the slopes of the parabolas' neighbours (Catmull–Rom for uneven moments).
  const double h = tc - tb, u = (t - tb) / h;
  const Vec3d mb = (c - a) * (h / (tc - ta)), mc = (d - b) * (h / (td - tb));
  const double u2 = u * u, u3 = u2 * u;
  return b * (2 * u3 - 3 * u2 + 1) + mb * (u3 - 2 * u2 + u) + c * (3 * u2 - 2 * u3) + mc * (u3 - u2);
}

}  // namespace

std::vector<TouchMiss> TouchLayer::misses(const TiledMotion& motion) const {
  std::vector<TouchMiss> out;
  if (items_.empty()) return out;
  const Item& item = items_.front();
  const FrameSpan span = frames_[item.index].span;
  Poser poser(*context_);
  for (int f = span.first; f <= std::min(span.last, motion.frames() - 1); ++f) {
    poser.load(motion, f);
    const Moment m = momentAt(poser, item, f);
    const Wish wish = placeWish(poser, item, m);
    TouchMiss miss;
    miss.skin = item.skin != nullptr;
    miss.gap = length(wish.way());
    if (item.skin) {
      // How far along the normal the skin lies does not count.
      miss.gap = gapOf(poser, motion, item, f, m) - item.touch->gap;
      const Vec3d off = wish.way() - m.normal * dot(wish.way(), m.normal);
      miss.place = length(off);
    }
    out.push_back(miss);
  }
  return out;
}

double TouchLayer::gapOf(const Poser& poser, const TiledMotion& motion, const Item& item, int frame, const Moment& m) const {
  const bool exactly = measure_ == SkinMeasure::exact;
  const std::optional<Digest> name = nameOf(motion, item, frame, std::nullopt, exactly ? Asked::gapExactly : Asked::gap);
  if (const auto known = name ? known_->find(*name) : std::nullopt) return known->own.x;
  const double gap = exactly ? skins(poser, item, m).exact({}).distance : quickGap(poser, item, m);
  if (name) known_->keep(*name, {{gap, 0, 0}, {}, {}});
  return gap;
}

FrameSpan TouchLayer::extent(std::size_t repair) const {
  if (std::holds_alternative<TouchRepair>(repairs_[repair]->action)) return RepairLayer::extent(repair);
  FrameSpan all;
  for (const std::size_t touch : heldTouches_[repair]) {
    const FrameSpan acting = frames_[touch].acting();
    all = all.empty() ? acting : FrameSpan{std::min(all.first, acting.first), std::max(all.last, acting.last)};
  }
  return all;
}

FrameSpan TouchLayer::affected(FrameSpan changed) const {
  FrameSpan result = changed;
  const auto include = [&](FrameSpan s) {
    if (s.empty()) return;
    result.first = std::min(result.first, s.first);
    result.last = std::max(result.last, s.last);
  };
  for (const Item& item : items_) {
    const RepairFrames& f = frames_[item.index];
    const FrameSpan acting = f.acting();
    int reach = 0;
    for (int round = 1; item.skin && round <= calmRounds; ++round) reach += calmFrames(round) + medianFrames() + sparseFrames();
    if (reach > 0) reach += steadyFrames();
    if (reach > 0) include(common(widened(common(changed, f.span), reach, reach), f.span));
    if (!common(changed, {f.span.first, f.span.first + slopeFrames + reach}).empty()) include({acting.first, f.span.first});
    if (!common(changed, {f.span.last - slopeFrames - reach, f.span.last}).empty()) include({f.span.last, acting.last});
  }
  return result;
}

std::vector<int> TouchLayer::movedJoints() const {
  std::vector<int> joints;
  for (const Item& item : items_)
    for (const int limb : {item.limb, item.other})
      if (limb >= 0 && limbAt(limb).detached) joints.push_back(limbAt(limb).end);
  std::sort(joints.begin(), joints.end());
  joints.erase(std::unique(joints.begin(), joints.end()), joints.end());
  return joints;
}

void TouchLayer::apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const {
  Poser poser(*context_);
  Kept kept(*this);
  for (int f = frames.first; f <= frames.last; ++f) {
    std::vector<Pull> pulls = pullsAt(f);
    if (pulls.empty()) continue;
    for (Pull& pull : pulls) {
      const RepairFrames& when = frames_[pull.item->index];
      if (when.span.holds(f)) {
        if (pull.item->skin) {
          pull.start = doneAt(poser, in, *pull.item, f, kept);
          pull.settled = true;
        }
      } else {
        pull.edge = edgeOf(poser, in, *pull.item, f < when.span.first ? 0 : 1, kept);
      }
    }
    poser.load(in, f);
    solve(poser, in, pulls, f);
    for (const Pull& pull : pulls) {
      // What nobody keeps is not measured.
      if (!frames_[pull.item->index].span.holds(f) || residuals[pull.item->index].values.empty()) continue;
      residuals[pull.item->index].note(f, pull.item->skin ? std::abs(skinGap(poser, *pull.item, f)) : length(wishOf(poser, *pull.item, f).way()));
    }
    poser.store(out, f);
  }
}

int TouchLayer::calmFrames(int round) const {
  return std::max(1, static_cast<int>(std::lround(calms[static_cast<std::size_t>(round - 1)] * context_->rate.hertz())));
}

std::vector<TouchLayer::Pull> TouchLayer::pullsAt(int frame) const {
  std::vector<Pull> pulls;
  for (const Item& item : items_) {
    const double w = item.weight * spanWeight(frames_[item.index], frame);
    const bool locked = isLocked(item.limb, frame) && (item.other < 0 || isLocked(item.other, frame));
    if (w > 0 && !locked) pulls.push_back({&item, w, nullptr, std::nullopt, false});
  }
  for (int limb = 0; limb < 4; ++limb) {
    std::vector<Pull*> own;
    for (Pull& pull : pulls)
      if (pull.item->limb == limb || pull.item->other == limb) own.push_back(&pull);
    if (own.size() < 2) continue;
    double whole = 0, sum = 1;
    for (const Pull* pull : own) {
      if (pull->weight > 1 - 1e-9)
        ++whole;
      else
        sum += pull->weight / (1 - pull->weight);
    }
    std::vector<double> shares;
    for (const Pull* pull : own)
      shares.push_back(whole > 0 ? (pull->weight > 1 - 1e-9 ? 1 / whole : 0) : pull->weight / (1 - pull->weight) / sum);
    for (std::size_t i = 0; i < own.size(); ++i) own[i]->weight = std::min(own[i]->weight, shares[i]);
  }
  std::erase_if(pulls, [](const Pull& pull) { return pull.weight <= 0; });
  return pulls;
}

TouchLayer::Between TouchLayer::between(const Item& item, int frame) {
  const std::vector<Moment>& path = item.path;
  const std::size_t last = path.size() - 1;
  if (last == 0 || frame <= path.front().frame) return {0, 0, 0, 0, 0, 0};
  if (frame >= path.back().frame) return {last, last, last, last, 0, 0};
  std::size_t k = 1;
  while (path[k].frame < frame) ++k;
  Between out{k >= 2 ? k - 2 : 0, k - 1, k, std::min(k + 1, last), 0, 0};
  // At the path's ends the missing neighbour is mirrored.
  const double b = path[k - 1].frame, c = path[k].frame;
  out.start = out.before == out.first ? 2 * b - c : path[out.before].frame;
  out.end = out.after == out.second ? 2 * c - b : path[out.after].frame;
  return out;
}

TouchLayer::Moment TouchLayer::momentAt(const Poser& poser, const Item& item, int frame) const {
  const std::vector<Moment>& path = item.path;
  const auto world = [&](const Moment& m) {
    Moment out = m;
    if (m.joint >= 0) {
      out.place = poser.toWorld(m.joint, m.place);
      out.normal = rotate(poser.rotation(m.joint), m.normal);
    }
    return out;
  };
  const Between at = between(item, frame);
  if (at.first == at.second) return world(path[at.first]);
  Moment out;
  out.joint = frame - path[at.first].frame < path[at.second].frame - frame ? path[at.first].joint : path[at.second].joint;
  const Moment a = world(path[at.before]), b = world(path[at.first]), c = world(path[at.second]), d = world(path[at.after]);
  const auto through = [&](const Vec3d& va, const Vec3d& vb, const Vec3d& vc, const Vec3d& vd) {
    return cubic(at.before == at.first ? vb * 2.0 - vc : va, vb, vc, at.after == at.second ? vc * 2.0 - vb : vd, at.start, b.frame, c.frame, at.end, frame);
  };
  out.place = through(a.place, b.place, c.place, d.place);
  out.point = through(a.point, b.point, c.point, d.point);
  out.normal = normalised(lerp(b.normal, c.normal, (frame - b.frame) / (c.frame - b.frame)), b.normal);
  return out;
}

TouchLayer::Wish TouchLayer::wishOf(const Poser& poser, const Item& item, int frame) const {
  const Moment m = momentAt(poser, item, frame);
  Wish wish = placeWish(poser, item, m);
  if (item.skin) wish.target += m.normal * ontoSkin(poser, item, wish.way(), m);
  return wish;
}

TouchLayer::Wish TouchLayer::placeWish(const Poser& poser, const Item& item, const Moment& m) const {
  const TouchRepair& touch = *item.touch;
  Wish wish;
  wish.point = poser.toWorld(item.bone, item.propInBone ? understudy::apply(*item.propInBone, m.point) : m.point);
  wish.carrier = m.joint;
  wish.target = m.place + m.normal * touch.gap;
  if (touch.kind == TouchKind::glide && touch.path.empty()) {
    if (touch.target == TouchTarget::plane) {
      wish.target = wish.point - m.normal * (dot(wish.point - m.place, m.normal) - touch.gap);
    } else if (item.shape) {
      const SurfacePoint nearest = nearestOn(*item.shape, wish.point);
      wish.target = nearest.point + nearest.normal * touch.gap;
    }
  }
  return wish;
}

double TouchLayer::shareOf(const Item& item, int frame) const {
  if (item.other < 0 || isLocked(item.other, frame)) return 0;
  return isLocked(item.limb, frame) ? 1 : std::clamp(item.touch->share, 0.0, 1.0);
}

bool TouchLayer::isLocked(int limb, int frame) const {
  const LimbRig& rig = limbAt(limb);
  return std::any_of(context_->locks.begin(), context_->locks.end(), [&](const RepairContext::Locked& lock) {
    if (!lock.span.holds(frame)) return false;
    return std::any_of(lock.joints.begin(), lock.joints.end(), [&](int j) { return j == rig.root || j == rig.mid || j == rig.end; });
  });
}

}  // namespace understudy
