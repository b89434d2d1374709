#include "app/editor/document/audition.h"

#include <QDirIterator>
#include <QFileInfo>
#include <algorithm>
#include <cmath>

#include "app/editor/document/document.h"
#include "app/editor/document/pictures.h"
#include "app/editor/look/appearance.h"
#include "core/inspect/inspect.h"
#include "core/inspect/performance.h"
#include "core/take/edits.h"

namespace understudy::editor {

/// What the second look at a clip needs from the first.
struct Audition::Look {
  Take take;
  Sources sources;
  StageFigurePtr stage;
  Evaluated evaluated;
  Affined placement;
  int anchor = -1;
  Theme theme = Theme::dark;
};

namespace {

/// The farthest a limb's end gets from its root, part of the limb's length.
double reachOf(const Skeleton& skeleton, const TiledMotion& motion, const SkeletonMap& map, Role root, Role middle, Role end) {
  const int a = map.joint(root), b = map.joint(middle), c = map.joint(end);
  if (a < 0 || b < 0 || c < 0 || motion.frames() == 0) return 0;
  const auto at = [](const std::vector<Affined>& w, int j) { return w[static_cast<std::size_t>(j)].translation; };
  double most = 0, whole = 0;
  // Reach changes slowly: some frames a second tell it.
  const int step = std::max(1, static_cast<int>(motion.rate().hertz() / 12));
  for (int f = 0; f < motion.frames(); f += step) {
    const auto w = worldAt(skeleton, motion, f);
    whole = length(at(w, b) - at(w, a)) + length(at(w, c) - at(w, b));
    if (whole > 0) most = std::max(most, length(at(w, c) - at(w, a)) / whole);
  }
  return most;
}

/// First frame of the stretch of `count` frames in which most happens.
int busiest(const TiledMotion& motion, int count) {
  const int frames = motion.frames();
  if (count >= frames) return 0;
  std::vector<double> sum(static_cast<std::size_t>(frames), 0);
  for (int f = 1; f < frames; ++f) {
    double turned = 0;
    for (int j = 0; j < motion.joints(); ++j)
      turned += angleBetween(Quatd(motion.rotationsAt(f - 1)[static_cast<std::size_t>(j)]), Quatd(motion.rotationsAt(f)[static_cast<std::size_t>(j)]));
    sum[static_cast<std::size_t>(f)] = sum[static_cast<std::size_t>(f) - 1] + turned;
  }
  int best = 0;
  const auto over = [&](int f) { return sum[static_cast<std::size_t>(f + count - 1)] - sum[static_cast<std::size_t>(f)]; };
  for (int f = 0; f + count <= frames; ++f)
    if (over(f) > over(best)) best = f;
  return best;
}

constexpr double loopLength = 2.4;

}  // namespace

Audition::Audition(Document& document, QObject* parent) : QObject(parent), document_(document) {
  connect(&lane_, &JobLane::idle, this, &Audition::finished);
}

Audition::~Audition() { blockSignals(true); }

void Audition::stop() {
  ++round_;
  lane_.cancel();
}

void Audition::start(const QString& folder) {
  stop();
  folder_ = folder;
  clips_.clear();
  Q_EMIT reset();
  QStringList files;
  QDirIterator each(folder, {QStringLiteral("*.bvh"), QStringLiteral("*.fbx"), QStringLiteral("*.glb"), QStringLiteral("*.gltf"), QStringLiteral("*.vrma"), QStringLiteral("*.dae")},
                    QDir::Files | QDir::Readable, QDirIterator::Subdirectories);
  while (each.hasNext() && files.size() < 4 * fileLimit) files << each.next();
  files.sort(Qt::CaseInsensitive);
  for (const QString& file : files.mid(0, fileLimit)) readFile(file);
}

void Audition::readFile(const QString& file) {
  Take base = document_.take();
  base.nudges = {};
  base = setRepairs(base, {});
  const FileReference reference{file.toStdString(), 0, {}, {}, {}};
  const auto character = document_.figure(Cast::character);
  const LoadedFigure* loaded = document_.loaded(Cast::character);
  const StageFigurePtr stage = loaded ? loaded->stage : nullptr;
  const Theme theme = Appearance::instance().kind() == Appearance::Kind::light ? Theme::light : Theme::dark;
  const std::uint64_t mine = round_;
  lane_.post(tr("Reading %1").arg(QFileInfo(file).fileName()), [=, this](const RunControl& control) -> JobLane::Answer {
    std::vector<std::pair<AuditionClip, std::shared_ptr<const Look>>> found;
    auto read = readReference(reference, control);
    if (!read || control.stopped()) {
      AuditionClip clip;
      clip.path = file;
      clip.name = QFileInfo(file).completeBaseName();
      clip.problem = read ? QString() : QString::fromStdString(read.error().what);
      // Files without motion, such as the character's own, are none to try out.
      if (clip.problem.isEmpty()) return {};
      found.emplace_back(clip, nullptr);
    } else {
      for (int i = 0; i < static_cast<int>(read.value()->clips.size()); ++i) {
        AuditionClip clip;
        clip.path = file;
        clip.clip = i;
        clip.name = QFileInfo(file).completeBaseName();
        if (read.value()->clips.size() > 1) clip.name += QStringLiteral(" · ") + QString::fromStdString(read.value()->clips[static_cast<std::size_t>(i)].name);
        auto look = std::make_shared<Look>();
        look->take = setClip(setPerformer(base, reference), i);
        look->sources = {read.value(), character, {}, {}};
        auto evaluated = understudy::evaluate(look->take, look->sources, nullptr, control);
        if (!evaluated) {
          clip.problem = QString::fromStdString(evaluated.error().what);
          found.emplace_back(clip, nullptr);
          continue;
        }
        look->evaluated = std::move(evaluated).value();
        const Evaluated& e = look->evaluated;
        clip.frames = e.frames;
        clip.hertz = e.rate.hertz();
        clip.seconds = e.rate.seconds(std::max(0, e.frames - 1));
        const bool carried = e.complete();
        if (!carried && character) {
          for (const Issue& issue : e.issues)
            if (clip.problem.isEmpty() && issue.severity == Severity::error) clip.problem = QString::fromStdString(issue.what);
          if (clip.problem.isEmpty()) clip.problem = tr("its bones could not be told apart");
        }
        look->theme = theme;
        if (carried) {
          look->stage = stage;
          look->placement = worldFromFile(*character, e.report->characterReference);
          look->anchor = e.map->character.joint(Role::hips);
          for (bool left : {true, false}) {
            clip.reach = std::max(clip.reach, reachOf(character->skeleton, e.motion, e.map->character, left ? Role::leftUpperArm : Role::rightUpperArm,
                                                      left ? Role::leftLowerArm : Role::rightLowerArm, left ? Role::leftHand : Role::rightHand));
            clip.strideReach = std::max(clip.strideReach, reachOf(character->skeleton, e.motion, e.map->character, left ? Role::leftUpperLeg : Role::rightUpperLeg,
                                                                  left ? Role::leftLowerLeg : Role::rightLowerLeg, left ? Role::leftFoot : Role::rightFoot));
          }
        } else {
          look->stage = prepareFigure(read.value());
          look->placement = read.value()->space.toWorld();
        }
        // The first picture at once; the others follow when all clips have one.
        const TiledMotion& motion = carried ? e.motion : e.performer;
        if (motion.frames() > 0 && look->stage) {
          Shot shot{look->stage, look->placement, worldAt(figureOf(*look->stage).skeleton, motion, busiest(motion, static_cast<int>(loopLength * clip.hertz))), {}, false, false, {}, theme};
          shot.camera.pitch = 0.14;
          shot.camera = camerasFor(shot, {shot.pose}, look->anchor, static_cast<double>(pictureWidth) / pictureHeight).front();
          if (auto picture = paintShot(shot, pictureWidth, pictureHeight)) clip.loop.push_back(picture.value());
        }
        found.emplace_back(std::move(clip), look);
      }
    }
    return [=, this] {
      if (mine != round_) return;
      for (const auto& [clip, look] : found) {
        const int row = static_cast<int>(clips_.size());
        clips_.push_back(clip);
        Q_EMIT added(row);
        if (look) drawLoop(row, look);
      }
    };
  });
}

void Audition::drawLoop(int row, std::shared_ptr<const Look> look) {
  const std::uint64_t mine = round_;
  lane_.post(tr("Looking at %1").arg(clips_[static_cast<std::size_t>(row)].name), [=, this](const RunControl& control) -> JobLane::Answer {
    const Evaluated& e = look->evaluated;
    const TiledMotion& motion = e.complete() ? e.motion : e.performer;
    const int span = std::min(motion.frames(), std::max(2, static_cast<int>(loopLength * e.rate.hertz()))), first = busiest(motion, span);
    std::vector<std::vector<Affined>> poses;
    const int count = std::min(pictures, span);
    for (int i = 0; i < count; ++i) poses.push_back(worldAt(figureOf(*look->stage).skeleton, motion, first + i * span / count));
    Shot shot{look->stage, look->placement, {}, {}, false, false, {}, look->theme};
    shot.camera.pitch = 0.14;
    const auto cameras = camerasFor(shot, poses, look->anchor, static_cast<double>(pictureWidth) / pictureHeight);
    std::vector<QImage> loop;
    for (std::size_t i = 0; i < poses.size() && !control.stopped(); ++i) {
      shot.pose = poses[i];
      shot.camera = cameras[i];
      if (auto picture = paintShot(shot, pictureWidth, pictureHeight)) loop.push_back(picture.value());
    }
    int contacts = -1, findings = -1;
    if (e.complete()) {
      const auto performance = analysePerformance(*look->sources.performer, e.map->performer, e.performerNative, control);
      if (performance) {
        contacts = 0;
        for (const FootContact& foot : (*performance)->contacts.feet) contacts += static_cast<int>(foot.spans.size());
        InspectSettings settings;
        settings.parts = {true, true, false, false, false};
        if (const auto found = inspectTake(look->take, e, **performance, settings, control)) findings = static_cast<int>(found->findings.size());
      }
    }
    return [=, this] {
      if (mine != round_) return;
      AuditionClip& clip = clips_[static_cast<std::size_t>(row)];
      if (!loop.empty()) clip.loop = loop;
      clip.loopSeconds = span / e.rate.hertz();
      clip.contacts = contacts;
      clip.findings = findings;
      Q_EMIT changed(row);
    };
  });
}

void Audition::takeUp(const std::vector<int>& rows) {
  Reel reel = document_.reel();
  const Take like = document_.take();
  bool first = true;
  int current = reel.current;
  for (int row : rows) {
    if (row < 0 || row >= static_cast<int>(clips_.size()) || !clips_[static_cast<std::size_t>(row)].usable()) continue;
    const AuditionClip& clip = clips_[static_cast<std::size_t>(row)];
    Take take = setClip(setPerformer(like, {clip.path.toStdString(), 0, {}, {}, {}}), clip.clip);
    take = setName(take, clip.name.toStdString());
    if (first) {
      reel = setCurrentTake(reel, take);
      current = reel.current;
    } else {
      take.nudges = {};
      reel = addTake(reel, setRepairs(take, {}));
    }
    first = false;
  }
  if (first) return;
  document_.editReel(rows.size() > 1 ? tr("Take up %1 clips").arg(rows.size()) : tr("Take up a clip"), selectTake(reel, current));
}

}  // namespace understudy::editor
