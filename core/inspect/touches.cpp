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

  /// The parts of a touch in which its hand touches near its place and does not leap, each long enough to be seen; between them the
  /// hand has time to go from one to the next. None: other parts of the body are in the way everywhere.
  [[nodiscard]] std::vector<Repair> sound(const Repair& repair) const {
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

  /// Runs of frames of these touches' spans that are sound, where all of them are applied. From pass 1 on a leap outside of them takes
  /// the nearest frames off, the more the later the pass.
  [[nodiscard]] std::vector<FrameSpan> soundParts(const std::vector<Repair>& repairs, int pass) const {
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

  /// Frames at which an arm leaps against the plain motion, from `acting.first` on.
  [[nodiscard]] std::vector<char> leapsOver(const TiledMotion& out, FrameSpan acting) const {
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
    std::vector<Moment> moments = momentsOf(contact);
    if (!contact.handToHand()) {
      if (!context_.arms[static_cast<std::size_t>(contact.hand)].complete()) return carried;
      for (const Moment& moment : moments)
        if (!sites_.at(moment.at.site).known()) return carried;
      bringWithinReach(moments, shape, contact.hand, carried.beyond);
    }
    std::vector<TouchMark> marks;
    for (const Moment& moment : moments) {
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

  /// Places all over a site, the same for every moment.
  struct SiteTable {
    std::vector<SitePlace> places;
    std::vector<std::optional<SkinPlace>> skin;
    std::vector<double> girth;  ///< metres from the axis
    double length = 0;          ///< of the axis, metres
  };
  [[nodiscard]] const SiteTable& tableOf(BodySite site) const {
    SiteTable& table = tables_[static_cast<std::size_t>(site)];
    if (!table.places.empty()) return table;
    const SiteShape& shape = sites_.at(site);
    const auto j = static_cast<std::size_t>(shape.joint);
    table.length = distance(shape.start, shape.end);
    constexpr int alongs = 7, arounds = 20;
    for (int a = 0; a < alongs; ++a)
      for (int k = 0; k < arounds; ++k) {
        const SitePlace place{static_cast<double>(a) / (alongs - 1), (2.0 * k / arounds - 1) * std::numbers::pi, 0};
        table.places.push_back(place);
        table.skin.push_back(skinAt(site, place));
        const Vec3d axis = context_.body.position[j] + rotate(context_.body.rotation[j], axisPoint(shape, place.along));
        double girth = std::max(shape.frontStart, shape.sideStart);
        if (const auto& skin = table.skin.back()) {
          const auto c = static_cast<std::size_t>(skin->joint);
          girth = distance(axis, context_.body.position[c] + rotate(context_.body.rotation[c], skin->place));
        }
        table.girth.push_back(girth);
      }
    return table;
  }

  /// What a place would cost: metres the arm is too short for it, and metres the hand would lie in the body.
  struct Effort {
    double over = 0, depth = 0;
    double cramped = 0;  ///< metres
  };
  [[nodiscard]] Effort effortOf(const Poser& poser, const TouchSkin::Posed* hand, const LimbRig& arm, const SkinPlace& skin, const Vec3d& point) const {
    const Vec3d normal = rotate(poser.rotation(skin.joint), skin.normal), root = poser.position(arm.root);
    Vec3d wrist = poser.toWorld(skin.joint, skin.place) + normal * context_.scaled(0.015) - rotate(poser.rotation(arm.end), point);
    Effort effort;
    if (hand) {
      // The hand comes to lie where its skin touches.
      const double gap = hand->nearest(wrist - poser.position(arm.end)).distance;
      effort.depth = std::max(0.0, -gap);
      wrist -= normal * std::clamp(gap, -context_.scaled(0.2), context_.scaled(0.05));
    }
    const double upper = distance(root, poser.position(arm.mid)), lower = distance(poser.position(arm.mid), poser.position(arm.end)), d = distance(wrist, root);
    effort.over = std::max({0.0, d - 0.96 * (upper + lower), std::abs(upper - lower) - d});
    // Near the shoulder small ways of the hand are large turns of the arm.
    effort.cramped = std::max(0.0, 0.45 * (upper + lower) - d);
    return effort;
  }

  /// Moves the places of a contact over their sites, as little as it takes for the arm to get there and the hand to lie outside of the
  /// body, and so that the way between the moments stays smooth: the cheapest chain of places, by dynamic programming.
  void bringWithinReach(std::vector<Moment>& moments, const SiteShape& hand, int side, double& beyond) const {
    const LimbRig& arm = context_.arms[static_cast<std::size_t>(side)];
    // Costs, by lengths as parts of the height: moving a place .2 along the body is worth as much as .01 of what is out of reach.
    constexpr double outOfReach = 400, cramped = 40, inside = 100, unsteady = 12;
    const double height = context_.height;
    struct State {
      double along = 0, around = 0;  ///< how far the place is moved: part of the axis, radians
      Vec3d moved;                   ///< the same in metres ÷ height, along and around
      double cost = 0, total = 0, over = 0;
      int from = -1;
    };
    std::vector<std::vector<State>> chain(moments.size());
    bool needed = false;
    Poser poser(context_);
    for (std::size_t i = 0; i < moments.size(); ++i) {
      const Moment& moment = moments[i];
      const SitePlace own = moment.at.place;
      const double ownAlong = std::clamp(own.along, 0.0, 1.0);
      const Vec3d point = axisPoint(hand, moment.at.onHand);
      load(poser, moment.time);
      std::optional<TouchSkin::Posed> posed;
      if (skin_->hasHand(side) && skin_->hasBody()) posed.emplace(*skin_, poser, side, TouchSkin::Against::body);
      const auto add = [&](const SkinPlace& skin, double along, double around, double length, double girth) {
        State state;
        state.along = along;
        state.around = around;
        state.moved = Vec3d{along * length, around * girth, 0} / height;
        const Effort effort = effortOf(poser, posed ? &*posed : nullptr, arm, skin, point);
        state.over = effort.over;
        const auto square = [](double v) { return v * v; };
        state.cost = dot(state.moved, state.moved) + outOfReach * square(effort.over / height) + inside * square(effort.depth / height) + cramped * square(effort.cramped / height);
        chain[i].push_back(state);
      };
      const SkinPlace direct = skinAt(moment.at.site, own).value_or(onShape(moment.at.site, own));
      add(direct, 0, 0, 0, 0);
      // Places are left alone unless the arm is too short for some.
      needed = needed || chain[i].front().over > 0.04 * arm.full();
      const SiteTable& table = tableOf(moment.at.site);
      for (std::size_t k = 0; k < table.places.size(); ++k)
        if (table.skin[k])
          add(*table.skin[k], table.places[k].along - ownAlong, std::remainder(table.places[k].around - own.around, 2 * std::numbers::pi), table.length, table.girth[k]);
    }
    if (!needed) return;
    for (std::size_t i = 0; i < chain.size(); ++i)
      for (State& state : chain[i]) {
        state.total = state.cost;
        if (i == 0) continue;
        double best = 1e300;
        for (std::size_t k = 0; k < chain[i - 1].size(); ++k) {
          const State& before = chain[i - 1][k];
          const Vec3d step = state.moved - before.moved;
          const double total = before.total + unsteady * dot(step, step);
          if (total >= best) continue;
          best = total;
          state.from = static_cast<int>(k);
        }
        state.total += best;
      }
    std::vector<std::pair<double, double>> moves(moments.size());
    int at = 0;
    for (std::size_t k = 0; k < chain.back().size(); ++k)
      if (chain.back()[k].total < chain.back()[static_cast<std::size_t>(at)].total) at = static_cast<int>(k);
    for (std::size_t i = moments.size(); i-- > 0;) {
      const State& state = chain[i][static_cast<std::size_t>(at)];
      moves[i] = {state.along, state.around};
      beyond = std::max(beyond, state.over);
      at = state.from;
    }
    // The table is coarse: between its places the way is rounded.
    for (std::size_t i = 1; i < moves.size(); ++i)
      moves[i].second = moves[i - 1].second + std::remainder(moves[i].second - moves[i - 1].second, 2 * std::numbers::pi);
    for (int round = 0; round < 2; ++round) {
      const std::vector<std::pair<double, double>> was = moves;
      for (std::size_t i = 0; i < moves.size(); ++i) {
        const auto &a = was[i > 0 ? i - 1 : i], &b = was[std::min(i + 1, was.size() - 1)];
        moves[i] = {0.25 * a.first + 0.5 * was[i].first + 0.25 * b.first, 0.25 * a.second + 0.5 * was[i].second + 0.25 * b.second};
      }
    }
    for (std::size_t i = 0; i < moments.size(); ++i) {
      SitePlace& place = moments[i].at.place;
      const auto [along, around] = moves[i];
      if (along == 0 && around == 0) continue;
      place.along = std::clamp(place.along, 0.0, 1.0) + along;
      place.around += around;
      place.tilt *= std::exp(-10 * (std::abs(along) + std::abs(around)));
    }
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
    const SkinPlace skin = skinAt(site, moment.at.place).value_or(onShape(site, moment.at.place));
    mark.on = boneName(context_, skin.joint);
    mark.place = skin.place;
    mark.normal = skin.normal;
    return mark;
  }

  [[nodiscard]] Vec3d directionOf(const SiteShape& shape, const SitePlace& place) const {
    const Vec3d axis = shape.end - shape.start;
    return outwards(shape, place.around) * std::cos(place.tilt) + axis * (std::sin(place.tilt) / length(axis));
  }
  static double thicknessOf(const SiteShape& shape) { return std::max({shape.frontStart, shape.frontEnd, shape.sideStart, shape.sideEnd}); }

  /// The skin of a site at a place; none where its ray meets none.
  [[nodiscard]] std::optional<SkinPlace> skinAt(BodySite site, const SitePlace& place) const {
    const SiteShape& shape = sites_.at(site);
    const auto j = static_cast<std::size_t>(shape.joint);
    const Vec3d from = context_.body.position[j] + rotate(context_.body.rotation[j], axisPoint(shape, std::clamp(place.along, 0.0, 1.0)));
    // Stylised bodies are up to several times as thick as people.
    return skin_->outermost(site, from, rotate(context_.body.rotation[j], directionOf(shape, place)), std::max(4 * thicknessOf(shape), 0.3 * context_.height));
  }
  /// The same on the capsule of a site without skin.
  [[nodiscard]] SkinPlace onShape(BodySite site, const SitePlace& place) const {
    const SiteShape& shape = sites_.at(site);
    const Vec3d direction = directionOf(shape, place);
    return {shape.joint, axisPoint(shape, std::clamp(place.along, 0.0, 1.0)) + direction * thicknessOf(shape), direction};
  }

  const RepairContext& context_;
  FrameRate rate_;
  const TiledMotion& plain_;
  const TouchProposalSettings& settings_;
  std::shared_ptr<const TouchSkin> skin_;
  BodySites sites_;
  mutable std::array<SiteTable, bodySiteCount> tables_;
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
    const std::vector<Repair> sound = carried.repair ? carrier.sound(*carried.repair) : std::vector<Repair>{};
    if (!sound.empty())
      repairs.insert(repairs.end(), sound.begin(), sound.end());
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
