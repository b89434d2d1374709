#include "core/repair/grip.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "core/math/median.h"
#include "core/repair/grip_fit.h"

namespace understudy {

const PropItem* propOf(const RepairContext& context, std::uint64_t id) {
  const auto at = std::find_if(context.props.begin(), context.props.end(), [&](const PropItem& p) { return p.id == id; });
  return at == context.props.end() ? nullptr : &*at;
}

bool isFinite(const Placement& p) { return isFinite(p.position) && isFinite(p.rotation); }

std::optional<Issue> gripUnfit(const RepairContext& context, const Repair& repair, const GripRepair& grip) {
  const std::string where = describe(repair);
  for (int side = 0; side < 2; ++side) {
    const bool leads = (side == 0) == grip.leadLeft;
    if (!leads && !grip.support) continue;
    const LimbRig& arm = context.arms[static_cast<std::size_t>(side)];
    const std::string name = side == 0 ? "left" : "right";
    if (!arm.complete())
      return makeError(Fault::mapping, "The character's " + name + " arm is not complete in the bone map", where, "Map upper arm, forearm and hand");
  }
  if (grip.prop != 0 && !propOf(context, grip.prop))
    return makeError(Fault::usage, "There is no prop " + std::to_string(grip.prop), where, "Add the prop, or let the grip hold none (0)");
  if (const PropItem* prop = grip.prop != 0 ? propOf(context, grip.prop) : nullptr; prop && !prop->gripped)
    return makeError(Fault::usage, "Where the prop is held is not known yet", where, "Find the prop's grips first, or set them");
  if (!isFinite(grip.leadGrip) || !isFinite(grip.supportGrip) || !isFinite(grip.leadPalm) || !isFinite(grip.supportPalm))
    return makeError(Fault::usage, "The grip's frames are not finite", where, "Work them out again");
  return std::nullopt;
}

const std::array<Hand, 2>& handsOf(const RepairContext& context) {
  // The parts keep what they have made as long as the context lives.
  return *context.parts->get<std::array<Hand, 2>>([&] { return findHands(context.body); });
}

Result<GripRepair> anchorGrip(const RepairContext& context, const TiledMotion& motion, const Repair& repair) {
  const GripRepair* given = std::get_if<GripRepair>(&repair.action);
  if (!given) return makeError(Fault::usage, "This is no grip", describe(repair));
  GripRepair grip = *given;
  if (const std::optional<Issue> wrong = gripUnfit(context, repair, grip)) return *wrong;
  const RepairFrames frames = repairFrames(repair, context.rate, std::min(context.frames, motion.frames()));
  if (frames.span.empty()) return makeError(Fault::usage, "The span lies outside the clip", describe(repair), "Choose frames of the clip");

  const std::array<Hand, 2>& hands = handsOf(context);
  const std::size_t l = grip.leadLeft ? 0 : 1, s = 1 - l;
  const auto palmOf = [&](std::size_t side) { return hands[side].joint >= 0 ? hands[side].palm : Rigid{}; };
  const Rigid leadPalm = palmOf(l), supportPalm = palmOf(s);
  grip.leadPalm = placementOf(leadPalm);
  grip.supportPalm = placementOf(supportPalm);
  grip.anchored = true;
  const PropItem* prop = grip.prop != 0 ? propOf(context, grip.prop) : nullptr;
  if (!grip.support) {
    if (prop) grip.leadGrip = prop->leadGrip;
    return grip;
  }

  // How the hands lie to each other over the span.
  const double share = std::clamp(grip.share, 0.0, 1.0);
  const std::vector<BothArms> samples = armsOver(context, motion, grip, hands, frames.span, std::max(1, frames.span.count() / 160));
  std::vector<double> apart;
  for (const BothArms& sample : samples) apart.push_back(distance(sample.lead.palm.at, sample.support.palm.at));
  const double usual = median(std::move(apart));
  Rigid relation = fitGrip(samples, leadPalm, supportPalm, share, samples.size(), 12).relation;
  // Places that turn about average to something shorter than any of them; hands that are kept apart stay apart.
  const double room = 0.8 * std::min(0.5 * (hands[l].width + hands[s].width), usual), now = length(relation.at);
  if (now < room) relation.at = normalised(relation.at, Vec3d{0, -1, 0}) * room;

  if (!prop) {
    grip.leadGrip = {};
    grip.supportGrip = placementOf(relation);
    return grip;
  }
  // The prop runs through both hands: its own grips say where along it and how it is turned, the hands say in which direction.
  const Rigid leadOwn = rigidOf(prop->leadGrip), supportOwn = rigidOf(prop->supportGrip);
  const Vec3d leadHold{0, 0, prop->radius}, supportHold{0, 0, prop->radius};
  const Vec3d along = supportHold - leadHold + (apply(relation, supportHold) - supportHold);
  const Vec3d own = apply(inverse(leadOwn) * supportOwn, supportHold) - leadHold;
  Rigid propInPalm = inverse(leadOwn);
  if (length(own) > 1e-6 && length(along) > 1e-6) {
    const Quatd swing = rotationBetween(normalised(own), normalised(along));
    propInPalm = Rigid{swing, leadHold - rotate(swing, leadHold)} * propInPalm;
  }
  const Rigid leadGrip = inverse(propInPalm);
  grip.leadGrip = placementOf(leadGrip);
  grip.supportGrip = placementOf(leadGrip * relation);
  return grip;
}

Result<std::vector<FrameSpan>> divideGrip(const RepairContext& context, const TiledMotion& motion, const Repair& repair, const GripDivision& settings) {
  const GripRepair* grip = std::get_if<GripRepair>(&repair.action);
  if (!grip) return makeError(Fault::usage, "This is no grip", describe(repair));
  if (const std::optional<Issue> wrong = gripUnfit(context, repair, *grip)) return *wrong;
  const FrameSpan span = repairFrames(repair, context.rate, std::min(context.frames, motion.frames())).span;
  if (span.empty()) return makeError(Fault::usage, "The span lies outside the clip", describe(repair), "Choose frames of the clip");
  if (!grip->support) return std::vector<FrameSpan>{span};

  const std::array<Hand, 2>& hands = handsOf(context);
  const std::size_t l = grip->leadLeft ? 0 : 1;
  const Rigid leadPalm = hands[l].joint >= 0 ? hands[l].palm : Rigid{}, supportPalm = hands[1 - l].joint >= 0 ? hands[1 - l].palm : Rigid{};
  const double share = std::clamp(grip->share, 0.0, 1.0), rate = context.rate.hertz();
  const int step = std::max(1, static_cast<int>(std::lround(rate / 30)));
  const std::vector<BothArms> all = armsOver(context, motion, *grip, hands, span, step);
  const auto inSteps = [&](double seconds) { return static_cast<int>(std::lround(seconds * rate / step)); };
  const auto fitOver = [&](int a, int b, std::size_t most) {
    return fitGrip({all.begin() + a, all.begin() + b + 1}, leadPalm, supportPalm, share, most, 5);
  };
  int first = 0, last = static_cast<int>(all.size()) - 1;
  // Hands on their way to the hold, or off it, lie farther from the relation near that end than the others do.
  const int edge = std::min(inSteps(settings.edge), last / 4), near = std::max(2, inSteps(settings.shortest));
  const auto leaveOut = [&](bool atStart) {
    if (edge < 1) return 0;
    const int a = atStart ? edge : std::max(0, last - edge - near), b = atStart ? std::min(last, edge + near) : last - edge;
    const GripFit inner = fitOver(a, b, 48);
    std::vector<double> usual = inner.each;
    std::nth_element(usual.begin(), usual.begin() + static_cast<std::ptrdiff_t>(usual.size() * 9 / 10), usual.end());
    // Hands that are held exactly, as in a finished result, leave nothing but rounding.
    const double allowed = std::max(1.5 * usual[usual.size() * 9 / 10], 2e-4);
    int out = 0;
    for (int k = 0; k < edge; ++k) {
      const BothArms& sample = all[static_cast<std::size_t>(atStart ? k : last - k)];
      double sum = 0;
      for (const double turn : boneTurns(sample, inner.relation, leadPalm, supportPalm, share)) sum += turn / 6;
      if (sum <= allowed) break;
      out = k + 1;
    }
    return out;
  };
  const int early = leaveOut(true), late = leaveOut(false);
  first += early;
  last -= late;

  std::vector<FrameSpan> out;
  const int least = std::max(2, inSteps(settings.shortest)), pause = std::max(1, inSteps(settings.regrip));
  const auto good = [&](int a, int b) {
    const GripFit f = fitOver(a, b, 48);
    return f.mean <= settings.mean && f.most <= settings.most;
  };
  for (int a = first; a <= last;) {
    int b = last;
    // A rest that is too short for a grip of its own goes with this one.
    if (last - a > 2 * least && !good(a, last)) {
      if (good(a, a + least)) {
        int ok = a + least, bad = last;
        for (int reach = 2 * least; a + reach < last; reach *= 2) {
          if (!good(a, a + reach)) {
            bad = a + reach;
            break;
          }
          ok = a + reach;
        }
        while (bad - ok > 3) {
          const int mid = (ok + bad) / 2;
          (good(a, mid) ? ok : bad) = mid;
        }
        b = ok;
      } else {
        // Nothing is won by cutting where even short grips bend the arms far: on to where a longer one fits again.
        b = a + least;
        while (b + pause + 2 * least <= last && !good(b + pause, b + pause + 2 * least)) b += std::max(1, least / 3);
      }
      if (last - b - pause < least) b = last;
      // Hands find their new places where they move most against each other anyway, so that a hold that stays the same is in one piece.
      const auto inOne = [&](int k) { return last - k - pause <= 2 * least || good(k + pause, last); };
      if (b < last && inOne(b)) {
        const auto moves = [&](int k) {
          const auto relation = [&](int at) { return inverse(all[static_cast<std::size_t>(at)].lead.palm) * all[static_cast<std::size_t>(at)].support.palm; };
          const Rigid from = relation(k), to = relation(std::min(k + pause, last));
          return distance(from.at, to.at) + context.scaled(0.1) * angleBetween(from.turn, to.turn);
        };
        std::vector<std::pair<double, int>> places;
        const double now = moves(b);
        for (int k = b - 1; k >= std::max(a + least, b - inSteps(settings.earlier)); --k)
          if (const double way = moves(k); way > now) places.push_back({-way, k});
        std::sort(places.begin(), places.end());
        const auto at = std::find_if(places.begin(), places.end(), [&](const auto& place) { return inOne(place.second); });
        if (at != places.end()) b = at->second;
      }
    }
    out.push_back({span.first + a * step, b == last && late == 0 ? span.last : span.first + b * step});
    a = b + pause;
    if (b == last) break;
  }
  return out;
}

}  // namespace understudy
