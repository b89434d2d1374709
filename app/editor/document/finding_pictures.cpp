#include "app/editor/document/finding_pictures.h"

#include <algorithm>
#include <cmath>

#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/pictures.h"
#include "app/editor/look/appearance.h"
#include "core/repair/repair_context.h"

namespace understudy::editor {
namespace {

constexpr int ratio = 2;  // drawn for screens of twice the density, which look well on others

/// The place of a finding's first bone in a pose, from the side it is seen best: in front, a little from above; `framed` metres high.
Shot shotOf(const StageFigurePtr& stage, const Affined& placement, std::vector<Affined> pose, int joint, double framed, Theme theme) {
  Shot shot;
  shot.figure = stage;
  shot.placement = placement;
  shot.pose = std::move(pose);
  shot.theme = theme;
  if (joint >= 0) shot.marked = {joint};
  shot.camera.fieldOfView = 0.42;
  shot.camera.yaw = 0.7;
  shot.camera.pitch = 0.16;
  if (joint >= 0 && joint < static_cast<int>(shot.pose.size())) shot.camera.target = apply(placement, shot.pose[static_cast<std::size_t>(joint)].translation);
  shot.camera.distance = framed / (2 * std::tan(shot.camera.fieldOfView / 2));
  return shot;
}

/// A take without what no picture shows.
Take seenOf(Take take) {
  const Take none;
  take.name = none.name;
  take.handOver = none.handOver;
  take.notes = none.notes;
  take.markers = none.markers;
  take.waved = none.waved;
  take.firstFrame = none.firstFrame;
  return take;
}

}  // namespace

FindingPictures::FindingPictures(Document& document, QObject* parent) : QObject(parent), document_(document), cache_(std::make_shared<EvaluationCache>()) {
  soon_.setSingleShot(true);
  soon_.setInterval(250);  // what is being changed is not drawn at each step
  connect(&soon_, &QTimer::timeout, this, &FindingPictures::work);
  connect(&document, &Document::takeChanged, this, &FindingPictures::stale);
  connect(&document.findings(), &FindingsKeeper::changed, this, &FindingPictures::stale);
  connect(&Appearance::instance(), &Appearance::changed, this, [this] {
    of_.reset();
    stale();
  });
}

FindingPictures::~FindingPictures() { blockSignals(true); }

void FindingPictures::stale() {
  if (of_ && of_ == document_.evaluated()) return;
  const LoadedFigure* character = document_.loaded(Cast::character);
  Take seen = seenOf(document_.take());
  if (of_ && seen == seen_ && character && character->stage == stage_ && document_.evaluated()) {
    of_ = document_.evaluated();
    if (!wantedSmall_.empty() || !wantedLarge_.empty()) soon_.start();
    return;
  }
  seen_ = std::move(seen);
  stage_ = character ? character->stage : nullptr;
  ++round_;
  lane_.cancel();
  small_.clear();
  large_.clear();
  wantedSmall_.clear();
  wantedLarge_.clear();
  of_ = document_.evaluated();
  Q_EMIT changed();
}

QImage FindingPictures::before(const std::string& key) {
  const auto at = small_.find(key);
  if (at != small_.end()) return at->second;
  if (!key.empty() && wantedSmall_.insert(key).second) soon_.start();
  return {};
}

FindingPictures::Pair FindingPictures::pair(const std::string& key) {
  const auto at = large_.find(key);
  if (at != large_.end()) return at->second;
  if (!key.empty() && wantedLarge_.insert(key).second) soon_.start();
  return {};
}

void FindingPictures::work() {
  const auto evaluated = document_.evaluated();
  const LoadedFigure* character = document_.loaded(Cast::character);
  if (!evaluated || !evaluated->complete() || !evaluated->context || !character || !character->stage || !document_.findings().current()) return;
  of_ = evaluated;
  const auto theme = Appearance::instance().kind() == Appearance::Kind::light ? Theme::light : Theme::dark;
  const Affined placement = document_.worldFromFile(Cast::character);
  const double height = document_.height(Cast::character);
  const std::uint64_t mine = round_;
  const auto post = [&](const std::string& key, bool large) {
    const Finding* finding = document_.findings().find(key);
    if (!finding) return;
    int joint = -1;
    if (!finding->bones.empty())
      if (const auto found = findBone(*evaluated->context, finding->bones.front())) joint = found.value();
    const int frame = std::clamp(finding->worst - evaluated->trimFirst, 0, std::max(0, evaluated->frames - 1));
    const std::optional<Take> proposed = large && !finding->proposal.empty() ? std::optional(document_.findings().withProposal(*finding)) : std::nullopt;
    lane_.post(tr("Drawing a finding"), [=, this, stage = character->stage, sources = document_.sources(), cache = cache_](const RunControl& control) -> JobLane::Answer {
      const int side = (large ? largeSide : smallSide) * ratio;
      Shot shot = shotOf(stage, placement, worldAt(figureOf(*stage).skeleton, evaluated->motion, frame), joint, (large ? 0.5 : 0.38) * height, theme);
      auto before = paintShot(shot, side, side);
      Pair pair;
      if (before) pair.before = before.value();
      if (proposed) {
        const auto fitted = refitted(*proposed, sources, cache.get(), nullptr, control);
        const auto after = understudy::evaluate(fitted ? fitted.value() : *proposed, sources, cache.get(), control);
        if (after && after->motion.frames() > frame) {
          shot.pose = worldAt(figureOf(*stage).skeleton, after->motion, frame);  // the same camera, so that the change is seen
          if (auto picture = paintShot(shot, side, side)) pair.after = picture.value();
        }
      }
      for (QImage* image : {&pair.before, &pair.after}) image->setDevicePixelRatio(ratio);
      return [=, this] {
        if (mine != round_) return;
        if (large) large_[key] = pair;
        else small_[key] = pair.before;
        Q_EMIT changed();
      };
    });
  };
  for (const std::string& key : wantedLarge_)
    if (!large_.contains(key)) post(key, true);
  for (const std::string& key : wantedSmall_)
    if (!small_.contains(key)) post(key, false);
}

}  // namespace understudy::editor
