#include "core/inspect/touches.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <optional>

#include "core/repair/poser.h"
#include "core/repair/touch.h"
#include "core/repair/touch_skin.h"

namespace understudy {
namespace {

class Carrier {
 public:
  /// What became of a contact.
  struct Carried {
    std::optional<Repair> repair;
    double beyond = 0;  ///< metres by which the arm is too short for it
  };

  Carrier(const RepairContext& context, FrameRate rate, const TiledMotion& plain, const Alignment& alignment, const TouchProposalSettings& settings)
      : context_(context), rate_(rate), plain_(plain), settings_(settings), skin_(TouchSkin::of(context)) {
    PerRole<Quatd> turns;
    for (std::size_t r = 0; r < turns.size(); ++r) turns[r] = alignment[r].correction;
    sites_ = bodySites(context.body, turns);
    // Drawn heads are larger than people's: from the head's joint, which lies about where the chin is, to the top of the skin.
    SiteShape& head = sites_.shapes[static_cast<std::size_t>(BodySite::head)];
    if (const std::optional<double> top = skin_->headTop(); head.known() && top) {
      const auto j = static_cast<std::size_t>(head.joint);
      const double height = *top - context.body.position[j].y;
      const Quatd back = conjugate(context.body.rotation[j]);
      if (height > 0.05 * context.height) {
        // As in people: an axis of .04 in a head of .13.
        head.start = rotate(back, Vec3d{0, 0.5 * height - 0.02 / 0.13 * height, 0});
        head.end = rotate(back, Vec3d{0, 0.5 * height + 0.02 / 0.13 * height, 0});
        head.cap = 0.045 / 0.13 * height;
      }
    }
  }

  /// The longest part of a touch in which its hand gets near its place and does not leap; none: less than half of it, as where other
  /// parts of the body are in the way.
  [[nodiscard]] std::optional<Repair> sound(Repair repair) const {
    const int whole = repairFrames(repair, context_.rate, context_.frames).span.count();
    // A shorter touch is smoothed in another way: it has to be sound as well.
    for (int pass = 0; pass < 4; ++pass) {
      const FrameSpan span = repairFrames(repair, context_.rate, context_.frames).span, best = soundPart(repair);
      if (2 * best.count() < whole || best.empty()) return std::nullopt;
      if (best == span) return repair;
      repair.span = TimeRange{context_.rate.seconds(best.first), context_.rate.seconds(best.last)};
    }
    return std::nullopt;
  }

  [[nodiscard]] FrameSpan soundPart(const Repair& repair) const {
    constexpr FrameSpan none{0, -1};
    Issues ignored;
    const std::shared_ptr<const RepairContext> borrowed(std::shared_ptr<const RepairContext>(), &context_);
    const RepairLayerPtr layer = makeTouchLayer(borrowed, {&repair}, ignored);
    const FrameSpan clip{0, plain_.frames() - 1}, span = common(repairFrames(repair, context_.rate, context_.frames).span, clip);
    if (!layer || span.empty()) return none;
    const FrameSpan acting = common(layer->extent(0), clip);
    TiledMotion out = plain_;
    if (const std::vector<int> moved = layer->movedJoints(); !moved.empty()) out = out.withMoved(context_.figure->skeleton, moved);
    out = out.writable(acting.first, acting.count());
    std::vector<Residual> residuals(1);
    residuals[0].first = acting.first;
    residuals[0].values.resize(static_cast<std::size_t>(acting.count()));
    layer->apply(plain_, acting, out, residuals);
    const std::vector<TouchMiss> misses = touchMisses(context_, out, repair);
    if (static_cast<int>(misses.size()) < span.count()) return none;
    Poser was(context_), is(context_);
    const double rate = context_.rate.hertz(), fastest = settings_.fastest * context_.height / rate, farthest = settings_.farthest * context_.height;
    std::vector<Quatd> wasBefore, isBefore;
    std::array<Vec3d, 2> changeBefore{};
    FrameSpan best = none, run{span.first, span.first - 1};
    for (int f = acting.first; f <= acting.last; ++f) {
      was.load(plain_, f);
      is.load(out, f);
      std::vector<Quatd> wasNow, isNow;
      bool leaps = false;
      for (std::size_t arm = 0; arm < 2; ++arm) {
        const LimbRig& limb = context_.arms[arm];
        if (!limb.complete()) continue;
        const Vec3d change = is.position(limb.end) - was.position(limb.end);
        leaps = leaps || (f > acting.first && distance(change, changeBefore[arm]) > fastest);
        changeBefore[arm] = change;
        for (const int joint : {limb.root, limb.mid, limb.end}) {
          wasNow.push_back(was.local(joint));
          isNow.push_back(is.local(joint));
        }
      }
      for (std::size_t k = 0; k < isBefore.size(); ++k)
        leaps = leaps || angleBetween(isBefore[k], isNow[k]) - angleBetween(wasBefore[k], wasNow[k]) > settings_.quickest / rate;
      wasBefore = std::move(wasNow);
      isBefore = std::move(isNow);
      if (!span.holds(f)) continue;
      const bool good = misses[static_cast<std::size_t>(f - span.first)].place < farthest;
      // A leap parts the frames before it from those after.
      if (leaps) run = {f, f - 1};
      if (good)
        run.last = f;
      else
        run = {f + 1, f};
      if (run.count() > best.count()) best = run;
    }
    return best;
  }

  [[nodiscard]] Carried touch(const BodyContact& contact) const {
    const BodySite hand = contact.hand == 0 ? BodySite::leftHand : BodySite::rightHand;
    const SiteShape& shape = sites_.at(hand);
    Carried carried;
    if (!shape.known()) return carried;
    Repair repair;
    repair.name = contact.handToHand() ? "hands meet" : std::string(bodySiteName(hand)) + " on the " + std::string(bodySiteName(contact.site));
    repair.span = TimeRange{seconds(contact.first), seconds(contact.last)};
    repair.easeBefore = repair.easeAfter = settings_.ease;
    repair.proposed = true;
    TouchRepair touch;
    touch.kind = contact.kind == BodyContactKind::meet ? TouchKind::meet : contact.kind == BodyContactKind::rest ? TouchKind::rest : TouchKind::glide;
    touch.target = contact.handToHand() ? TouchTarget::hand : TouchTarget::body;
    touch.bone = boneName(context_, shape.joint);
    touch.skin = true;
    const std::vector<Moment> moments = momentsOf(contact);
    std::vector<double> aside(moments.size(), 0);
    if (!contact.handToHand()) {
      Poser poser(context_);
      for (std::size_t i = 0; i < moments.size(); ++i) {
        const std::optional<double> needed = asideFor(poser, shape, contact.hand, moments[i], carried.beyond);
        if (!needed) return carried;
        aside[i] = *needed;
      }
      // Neighbours go along, so that the path stays smooth.
      for (std::size_t i = 1; i < aside.size(); ++i) aside[i] = std::max(aside[i], aside[i - 1] - 0.15);
      for (std::size_t i = aside.size(); i-- > 1;) aside[i - 1] = std::max(aside[i - 1], aside[i] - 0.15);
    }
    std::vector<TouchMark> marks;
    Poser poser(context_);
    for (std::size_t i = 0; i < moments.size(); ++i) {
      Moment moment = moments[i];
      if (aside[i] > 0) moment.at.place = aslant(poser, contact.hand, moment, aside[i]);
      const std::optional<TouchMark> mark = markOf(shape, moment);
      if (!mark) return carried;
      marks.push_back(*mark);
    }
    if (marks.empty()) return carried;
    touch.on = marks.front().on;
    touch.place = marks.front().place;
    touch.normal = marks.front().normal;
    touch.point = marks.front().point;
    if (marks.size() > 1) touch.path = std::move(marks);
    repair.action = std::move(touch);
    carried.repair = std::move(repair);
    return carried;
  }

 private:
  struct Moment {
    double time = 0;
    BodyContactFrame at;
  };

  void load(Poser& poser, double time) const {
    poser.load(plain_, std::clamp(static_cast<int>(std::lround(time * context_.rate.hertz())), 0, plain_.frames() - 1));
  }

  /// A place part of the way from its own to the one that faces the arm's shoulder.
  [[nodiscard]] SitePlace aslant(Poser& poser, int hand, const Moment& moment, double part) const {
    load(poser, moment.time);
    const SiteShape& shape = sites_.at(moment.at.site);
    const LimbRig& arm = context_.arms[static_cast<std::size_t>(hand)];
    const SitePlace facing = viewFrom(shape, poser.rotation(shape.joint), poser.position(shape.joint), poser.position(arm.root)).place, own = moment.at.place;
    const double turn = std::remainder(facing.around - own.around, 2 * std::numbers::pi);
    const auto between = [&](double a, double b) { return a + (b - a) * part; };
    return {between(std::clamp(own.along, 0.0, 1.0), std::clamp(facing.along, 0.0, 1.0)), own.around + turn * part, between(own.tilt, facing.tilt)};
  }

  /// How far (0 … 1) a place has to wander towards the shoulder so that the hand gets there. None: not even then.
  [[nodiscard]] std::optional<double> asideFor(Poser& poser, const SiteShape& hand, int side, const Moment& moment, double& beyond) const {
    const LimbRig& arm = context_.arms[static_cast<std::size_t>(side)];
    if (!arm.complete() || !sites_.at(moment.at.site).known()) return std::nullopt;
    double least = 1e300, best = 1;
    for (double part = 0; part < 1.01; part += 0.1) {
      Moment moved = moment;
      if (part > 0) moved.at.place = aslant(poser, side, moment, part);
      const std::optional<TouchMark> mark = markOf(hand, moved);
      const Result<int> on = mark ? findBone(context_, mark->on) : Result<int>(makeError(Fault::mapping, "No such bone"));
      if (!on) return std::nullopt;
      load(poser, moment.time);
      const Vec3d place = poser.toWorld(*on, mark->place) + rotate(poser.rotation(*on), mark->normal) * context_.scaled(0.015);
      const Vec3d wrist = place - rotate(poser.rotation(arm.end), mark->point), root = poser.position(arm.root);
      const double full = distance(root, poser.position(arm.mid)) + distance(poser.position(arm.mid), poser.position(arm.end));
      const double inner = std::abs(distance(root, poser.position(arm.mid)) - distance(poser.position(arm.mid), poser.position(arm.end)));
      const double d = distance(wrist, root), over = std::max(d - 1.02 * full, 0.98 * inner - d);  // collarbone and spine help a little
      if (over <= 0) return std::min(part, 1.0);
      if (over < least) {
        least = over;
        best = std::min(part, 1.0);
      }
    }
    // A little more the skin nearby may give.
    if (least < 0.06 * arm.full()) return best;
    beyond = std::max(beyond, least);
    return std::nullopt;
  }

  [[nodiscard]] double seconds(int frame) const { return rate_.seconds(frame); }

  /// Means over frames around each moment that touch the same site, so that the capture's noise does not show in the path.
  [[nodiscard]] std::vector<Moment> momentsOf(const BodyContact& contact) const {
    const int n = static_cast<int>(contact.frames.size());
    const bool stays = contact.kind != BodyContactKind::glide &&
                       std::all_of(contact.frames.begin(), contact.frames.end(), [&](const BodyContactFrame& f) { return f.site == contact.site; });
    const auto mean = [&](int middle, int reach) {
      BodyContactFrame out = contact.frames[static_cast<std::size_t>(middle)];
      double count = 0, along = 0, around = 0, tilt = 0, onHand = 0;
      for (int k = std::max(0, middle - reach); k <= std::min(n - 1, middle + reach); ++k) {
        const BodyContactFrame& f = contact.frames[static_cast<std::size_t>(k)];
        if (f.site != out.site) continue;
        ++count;
        along += f.place.along;
        tilt += f.place.tilt;
        around += std::remainder(f.place.around - out.place.around, 2 * std::numbers::pi);
        onHand += f.onHand;
      }
      out.place = {along / count, out.place.around + around / count, tilt / count};
      out.onHand = onHand / count;
      return out;
    };
    if (contact.kind == BodyContactKind::meet) return {{seconds(contact.nearest), mean(contact.nearest - contact.first, 0)}};
    if (stays) return {{seconds(contact.first), mean(n / 2, n)}};
    std::vector<Moment> moments;
    const int pieces = std::max(1, static_cast<int>(std::lround(seconds(n - 1) * settings_.moments)));
    for (int i = 0; i <= pieces; ++i) {
      const int k = static_cast<int>(std::lround(static_cast<double>(i) * (n - 1) / pieces));
      // At the ends the means stay centred.
      const int reach = std::min({static_cast<int>(std::lround(rate_.hertz() / settings_.moments / 2)), k, n - 1 - k});
      if (i > 0 && seconds(contact.first + k) <= moments.back().time) continue;
      moments.push_back({seconds(contact.first + k), mean(k, reach)});
    }
    return moments;
  }

  [[nodiscard]] std::optional<TouchMark> markOf(const SiteShape& hand, const Moment& moment) const {
    const BodySite site = moment.at.site;
    const SiteShape& shape = sites_.at(site);
    if (!shape.known()) return std::nullopt;
    TouchMark mark;
    mark.time = moment.time;
    mark.point = axisPoint(hand, moment.at.onHand);
    const double along = moment.at.place.along, on = std::clamp(along, 0.0, 1.0);
    const Vec3d out = outwards(shape, moment.at.place.around);
    if (site == BodySite::leftHand || site == BodySite::rightHand) {
      // Both hands' axes meet; their skins keep them apart.
      mark.on = boneName(context_, shape.joint);
      mark.place = axisPoint(shape, on);
      mark.normal = out;
      return mark;
    }
    const Vec3d axis = shape.end - shape.start;
    const Vec3d direction = out * std::cos(moment.at.place.tilt) + axis * (std::sin(moment.at.place.tilt) / length(axis));
    const auto j = static_cast<std::size_t>(shape.joint);
    const Vec3d from = context_.body.position[j] + rotate(context_.body.rotation[j], axisPoint(shape, on)), towards = rotate(context_.body.rotation[j], direction);
    const double thick = std::max({shape.frontStart, shape.frontEnd, shape.sideStart, shape.sideEnd});
    // Stylised bodies are up to several times as thick as people.
    if (const std::optional<SkinPlace> skin = skin_->outermost(site, from, towards, std::max(4 * thick, 0.3 * context_.height))) {
      mark.on = boneName(context_, skin->joint);
      mark.place = skin->place;
      mark.normal = skin->normal;
      return mark;
    }
    mark.on = boneName(context_, shape.joint);
    mark.place = axisPoint(shape, on) + direction * thick;
    mark.normal = direction;
    return mark;
  }

  const RepairContext& context_;
  FrameRate rate_;
  const TiledMotion& plain_;
  const TouchProposalSettings& settings_;
  std::shared_ptr<const TouchSkin> skin_;
  BodySites sites_;
};

std::string millimetres(double metres) {
  char text[32];
  std::snprintf(text, sizeof text, metres < 0.00995 ? "%.1f mm" : "%.0f mm", 1000 * metres);
  return text;
}

}  // namespace

std::vector<Repair> touchesOf(const RepairContext& context, const BodyContacts& contacts, FrameRate rate, const TiledMotion& plain,
                              const Alignment& alignment, const TouchProposalSettings& settings, Issues& issues) {
  std::vector<Repair> repairs;
  if (contacts.touches.empty() || plain.frames() < 1) return repairs;
  const Carrier carrier(context, rate, plain, alignment, settings);
  const auto onArm = [](const BodyContact& c) {
    return c.site == BodySite::leftUpperArm || c.site == BodySite::rightUpperArm || c.site == BodySite::leftForearm || c.site == BodySite::rightForearm;
  };
  const auto leaveOut = [&](const BodyContact& contact, const std::string& why) {
    issues.push_back(makeNote("A touch of the " + std::string(bodySiteName(contact.site)) + " is not carried over: " + why,
                              "frame " + std::to_string(contact.first + 1)));
  };
  for (const BodyContact& contact : contacts.touches) {
    if (contact.confidence < settings.confidence) continue;
    const bool mutual = onArm(contact) && std::any_of(contacts.touches.begin(), contacts.touches.end(), [&](const BodyContact& other) {
      return other.hand != contact.hand && onArm(other) && other.first <= contact.last && contact.first <= other.last;
    });
    if (mutual) {
      leaveOut(contact, "both hands lie on each other's arms");
      continue;
    }
    Carrier::Carried carried = carrier.touch(contact);
    std::optional<Repair> sound = carried.repair ? carrier.sound(*carried.repair) : std::nullopt;
    if (sound)
      repairs.push_back(std::move(*sound));
    else if (carried.repair)
      leaveOut(contact, "other parts of the body are in the way");
    else
      leaveOut(contact, carried.beyond > 0 ? "the arm misses it by " + millimetres(carried.beyond) : "the character lacks a part for it");
  }
  return repairs;
}

TouchKept touchKept(const RepairContext& context, const TiledMotion& motion, const Repair& touch, const TouchLimits& limits,
                    const std::vector<const Repair*>& grips) {
  TouchKept kept;
  double worst = -1;
  const RepairFrames frames = repairFrames(touch, context.rate, context.frames);
  const auto* action = std::get_if<TouchRepair>(&touch.action);
  if (!action) return kept;
  const std::vector<TouchMiss> misses = touchMisses(context, motion, touch, grips);
  for (std::size_t i = 0; i < misses.size(); ++i) {
    const TouchMiss& miss = misses[i];
    ++kept.frames;
    const double gap = std::max(0.0, miss.gap), depth = std::max(0.0, -miss.gap);
    const double over = miss.skin ? std::max(gap / limits.gap, depth / limits.depth) : gap / limits.place;
    kept.gap = std::max(kept.gap, gap);
    kept.depth = std::max(kept.depth, depth);
    kept.place = std::max(kept.place, miss.place);
    if (over <= context.height / 1.7) ++kept.kept;
    if (over > worst) {
      worst = over;
      kept.worst = frames.span.first + static_cast<int>(i);
    }
  }
  return kept;
}

Findings touchFindings(const RepairContext& context, const TiledMotion& motion, const std::vector<Repair>& touches, const TouchLimits& limits,
                       const std::vector<const Repair*>& grips) {
  Findings findings;
  for (const Repair& touch : touches) {
    const auto* action = std::get_if<TouchRepair>(&touch.action);
    if (!action) continue;
    const TouchKept kept = touchKept(context, motion, touch, limits, grips);
    if (kept.frames == 0 || kept.kept == kept.frames) continue;
    Finding finding;
    finding.kind = touch.proposed ? FindingKind::lostContact : FindingKind::missedTouch;
    finding.span = repairFrames(touch, context.rate, context.frames).span;
    finding.worst = kept.worst;
    const bool deep = kept.depth * limits.gap > kept.gap * limits.depth;
    const double size = deep ? kept.depth : kept.gap;
    finding.measure = 1000 * size;
    finding.severity = std::clamp(size / context.scaled(0.05), 0.05, 1.0);
    finding.bones = {action->bone};
    const std::string name = touch.name.empty() ? "a touch" : touch.name;
    if (!touch.proposed)
      finding.sentence = name + " misses by " + millimetres(size);
    else if (action->target == TouchTarget::hand)
      finding.sentence = deep ? "hands that met reach " + millimetres(size) + " into each other" : "hands that met miss by " + millimetres(size);
    else
      finding.sentence = name + ": " + (deep ? millimetres(size) + " inside" : millimetres(size) + " away") + ", where the performer touches";
    finding.proposal = {touch};
    nameFinding(finding, context.rate);
    findings.push_back(std::move(finding));
  }
  return findings;
}

}  // namespace understudy
