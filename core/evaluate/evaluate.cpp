#include "core/evaluate/evaluate.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "core/evaluate/pipeline.h"
#include "core/io/read.h"
#include "core/take/edits.h"

namespace understudy {
namespace {

using FigurePtr = std::shared_ptr<const Figure>;

bool emptySide(const PerRole<RoleKeys>& side) {
  return std::all_of(side.begin(), side.end(), [](const RoleKeys& r) { return r.joints.empty(); });
}

bool hasMesh(const Figure& figure, const std::string& name) {
  return std::any_of(figure.meshes.begin(), figure.meshes.end(), [&](const Mesh& mesh) {
    return mesh.name == name || (mesh.node >= 0 && figure.skeleton.names[static_cast<std::size_t>(mesh.node)] == name);
  });
}

}  // namespace

// Each stage keeps its last inputs beside its result. The figures are held, so that their addresses stay theirs.
struct EvaluationCache::Stages {
  Counts counts;

  struct Sampled {
    FigurePtr performer;
    int clip = -1;
    std::optional<FrameRate> rate;
    std::shared_ptr<const Motion> native, motion;
    Issues issues;
  } sampled;

  struct AutoMap {
    FigurePtr figure;
    SkeletonMap map;
  } performerMap, characterMap;

  struct Mapped {
    FigurePtr performer, character;
    Node<MapKeys> keys;
    std::shared_ptr<const BoneMap> map;
    Issues issues;
  } mapped;

  struct Carried {
    FigurePtr performer, character;
    std::shared_ptr<const Motion> clip;
    std::shared_ptr<const BoneMap> map;
    Node<RetargetSettings> settings;
    std::shared_ptr<const RetargetReport> report;
    TiledMotion base;
    std::optional<Issue> error;
  } carried;

  struct Repaired {
    std::shared_ptr<const RetargetReport> report;  // one a retargeting: stands for the base
    std::shared_ptr<const RepairContext> context;
    Node<std::vector<PropItem>> props;
    Node<std::vector<SetItem>> set;
    Node<std::vector<Lock>> locks;
    std::vector<std::string> leftOut;
    Issues issues;                                 // of locks and the character's body
    Pipeline pipeline;
    Node<Nudges> nudges;
    Node<Repairs> repairs;
  } repaired;
};

EvaluationCache::EvaluationCache() : stages_(std::make_unique<Stages>()) {}
EvaluationCache::~EvaluationCache() = default;
EvaluationCache::EvaluationCache(EvaluationCache&&) noexcept = default;
EvaluationCache& EvaluationCache::operator=(EvaluationCache&&) noexcept = default;
EvaluationCache::Counts EvaluationCache::counts() const { return stages_->counts; }

Result<FigurePtr> readReference(const FileReference& file, const RunControl& control) {
  ReadSettings settings;
  settings.metresPerUnit = file.metresPerUnit;
  settings.up = file.up;
  Result<Figure> figure = readFigure(file.path, settings, control);
  if (!figure) return figure.error();
  return std::make_shared<const Figure>(std::move(*figure));
}

Result<Sources> readSources(const Take& take, const Sources* keep, const RunControl& control) {
  Sources sources;
  const auto read = [&](const FileReference& file, const FigurePtr* kept, const FileReference* keptFile, FigurePtr& into) -> Status {
    if (file.path.empty()) return Done{};
    if (kept && *kept && keptFile->path == file.path && keptFile->metresPerUnit == file.metresPerUnit && keptFile->up == file.up) {
      into = *kept;
      return Done{};
    }
    Result<FigurePtr> figure = readReference(file, control);
    if (!figure) return figure.error();
    into = std::move(*figure);
    return Done{};
  };
  if (take.performer->path.empty() && take.character->path.empty())
    return makeError(Fault::input, "The take has neither performer nor character", take.name, "Choose their files");
  sources.performerFile = *take.performer;
  sources.characterFile = *take.character;
  if (Status s = read(*take.performer, keep ? &keep->performer : nullptr, keep ? &keep->performerFile : nullptr, sources.performer); !s)
    return s.error();
  if (Status s = read(*take.character, keep ? &keep->character : nullptr, keep ? &keep->characterFile : nullptr, sources.character); !s)
    return s.error();
  return sources;
}

Result<Evaluated> evaluate(const Take& take, const Sources& sources, EvaluationCache* cache, const RunControl& control) {
  if (!sources.performer) return makeError(Fault::input, "The take has no performer", take.name, "Choose a file with a captured motion");
  EvaluationCache own;
  EvaluationCache::Stages& stages = (cache ? cache : &own)->stages();
  const Figure& performer = *sources.performer;
  Evaluated out;

  auto& sampled = stages.sampled;
  if (sampled.performer != sources.performer || sampled.clip != take.clip || sampled.rate != take.rate || !sampled.motion) {
    if (performer.clips.empty())
      return makeError(Fault::input, "The performer's file holds no animation", performer.path, "Choose a file with a clip in it");
    if (take.clip < 0 || take.clip >= static_cast<int>(performer.clips.size()))
      return makeError(Fault::usage, "There is no clip " + std::to_string(take.clip + 1), performer.path,
                       "The file has " + std::to_string(performer.clips.size()) + (performer.clips.size() == 1 ? " clip" : " clips"));
    const Clip& clip = performer.clips[static_cast<std::size_t>(take.clip)];
    if (clip.still) return makeError(Fault::input, "The clip has no frames", performer.path, "Choose a file with a captured motion");
    Result<Motion> motion = sample(clip, performer.skeleton, control);
    if (!motion) return motion.error();
    if (control.stopped()) return RunControl::cancelled();
    if (motion->frames < 1) return makeError(Fault::input, "The clip has no frames", performer.path, "Choose another clip");
    ++stages.counts.sampled;
    EvaluationCache::Stages::Sampled next{sources.performer, take.clip, take.rate, nullptr, nullptr, {}};
    next.native = std::make_shared<const Motion>(std::move(*motion));
    next.motion = take.rate && !(*take.rate == next.native->rate) ? std::make_shared<const Motion>(resampled(*next.native, *take.rate, &next.issues)) : next.native;
    sampled = std::move(next);
  }
  const Motion& clip = *sampled.motion;
  out.rate = clip.rate;
  out.clipFrames = clip.frames;
  out.firstFrame = take.firstFrame;

  int first = 0, last = clip.frames - 1;
  if (take.trim) {
    const auto frameAt = [&](double seconds) { return static_cast<int>(std::lround(std::clamp(seconds * clip.rate.hertz(), -1.0, 1e9))); };
    first = frameAt(take.trim->first);
    last = frameAt(take.trim->last);
    if (first < 0 || last < first || first >= clip.frames)
      return makeError(Fault::usage, "The trim keeps no frame: it asks for " + std::to_string(first + 1) + ":" + std::to_string(last + 1) +
                                         " of a clip with frames 1:" + std::to_string(clip.frames),
                       performer.path, "Choose a range inside the clip");
    if (last >= clip.frames) {
      out.issues.push_back(makeWarning("The trim ends behind the clip, which has " + std::to_string(clip.frames) + " frames", performer.path,
                                       "It ends with the clip instead"));
      last = clip.frames - 1;
    }
  }
  out.trimFirst = first;
  // What resampling has to say is about the clip's last frame.
  if (last == clip.frames - 1) out.issues.insert(out.issues.end(), sampled.issues.begin(), sampled.issues.end());
  out.frames = last - first + 1;
  out.performerNative = sampled.native;
  out.history = sources.performer->clips[static_cast<std::size_t>(take.clip)].history;
  out.performer = TiledMotion(sampled.motion).view(first, out.frames);
  if (!sources.character) {
    out.issues.push_back(makeError(Fault::input, "The take has no character", take.name, "Choose your rigged character's file"));
    return out;
  }
  const Figure& character = *sources.character;

  auto& mapped = stages.mapped;
  if (mapped.performer != sources.performer || mapped.character != sources.character || !(mapped.keys == take.map) || !mapped.map) {
    ++stages.counts.mapped;
    EvaluationCache::Stages::Mapped next{sources.performer, sources.character, take.map, nullptr, {}};
    BoneMap map = resolveMap(*take.map, performer.skeleton, character.skeleton, &next.issues);
    const auto automatic = [&](EvaluationCache::Stages::AutoMap& known, const FigurePtr& figure) {
      if (known.figure != figure) known = {figure, mapRoles(*figure)};
      return known.map;
    };
    if (emptySide(take.map->performer)) map.performer = automatic(stages.performerMap, sources.performer);
    if (emptySide(take.map->character)) map.character = automatic(stages.characterMap, sources.character);
    // An equal map keeps its address, so that what follows is not done again.
    next.map = mapped.map && *mapped.map == map ? mapped.map : std::make_shared<const BoneMap>(std::move(map));
    mapped = std::move(next);
  }
  out.map = mapped.map;
  out.issues.insert(out.issues.end(), mapped.issues.begin(), mapped.issues.end());
  if (control.stopped()) return RunControl::cancelled();

  auto& carried = stages.carried;
  if (carried.performer != sources.performer || carried.character != sources.character || carried.clip != sampled.motion ||
      carried.map != mapped.map || !(carried.settings == take.retarget)) {
    ++stages.counts.retargeted;
    Result<Retargeted> result = retarget(performer, clip, character, *mapped.map, *take.retarget, control);
    if (!result && result.error().fault == Fault::cancelled) return result.error();
    EvaluationCache::Stages::Carried next{sources.performer, sources.character, sampled.motion, mapped.map, take.retarget, nullptr, {}, {}};
    if (result) {
      next.report = std::make_shared<const RetargetReport>(std::move(result->report));
      next.base = TiledMotion(std::make_shared<const Motion>(std::move(result->motion)));
    } else {
      next.error = result.error();
    }
    carried = std::move(next);
  }
  if (carried.error) {
    out.issues.push_back(*carried.error);
    return out;
  }
  out.report = carried.report;
  out.base = carried.base.view(first, out.frames);

  auto& repaired = stages.repaired;
  const bool sameBase = repaired.report == carried.report && repaired.context && repaired.leftOut == take.leftOut;
  const bool sameContext = sameBase && repaired.props == take.props && repaired.set == take.set && repaired.locks == take.locks;
  if (!sameContext) {
    EvaluationCache::Stages::Repaired next;
    next.report = carried.report;
    next.props = take.props;
    next.set = take.set;
    next.locks = take.locks;
    next.leftOut = take.leftOut;
    std::shared_ptr<const RepairContext> start = repaired.context;
    if (!sameBase) {
      Result<std::shared_ptr<const RepairContext>> made = repairContext(sources.character, mapped.map, *take.retarget, clip.rate, clip.frames);
      if (!made) {
        out.issues.push_back(made.error());
        return out;
      }
      auto parts = repaired.context && repaired.context->leftOut == take.leftOut && repaired.context->figure == sources.character && repaired.context->map == mapped.map &&
                           repaired.context->body.pose.fileWorld == (*made)->body.pose.fileWorld
                       ? repaired.context->parts
                       : (*made)->parts;
      auto shared = std::make_shared<RepairContext>(**made);
      shared->parts = std::move(parts);
      shared->leftOut = take.leftOut;
      start = std::move(shared);
    }
    auto context = std::make_shared<RepairContext>(*start);
    context->props = *take.props;
    context->set = *take.set;
    context->locks.clear();
    for (const std::string& mesh : take.leftOut)
      if (!hasMesh(character, mesh))
        next.issues.push_back(makeWarning("There is no mesh '" + mesh + "' to leave out of the body", character.path, "Its meshes are listed by 'look'"));
    for (const Lock& lock : *take.locks) {
      Repair span;
      span.span = lock.span;
      context->locks.push_back({findBones(*context, lock.bones, "lock", next.issues), repairFrames(span, clip.rate, clip.frames).span});
      if (lock.bones.empty()) {
        std::vector<int>& all = context->locks.back().joints;
        all.resize(static_cast<std::size_t>(character.skeleton.size()));
        std::iota(all.begin(), all.end(), 0);
      }
    }
    next.context = std::move(context);
    repaired = std::move(next);
  }
  if (!(sameContext && repaired.nudges == take.nudges && repaired.repairs == take.repairs)) {
    ++stages.counts.repaired;
    if (const Status done = runPipeline(repaired.pipeline, repaired.context, carried.base, sameContext, *take.repairs, *take.nudges, control); !done)
      return done.error();
    repaired.nudges = take.nudges;
    repaired.repairs = take.repairs;
  }
  out.context = repaired.context;
  out.untrimmed = resultOf(repaired.pipeline);
  out.motion = out.untrimmed.view(first, out.frames);
  out.issues.insert(out.issues.end(), repaired.issues.begin(), repaired.issues.end());
  for (int s = 0; s < stageCount; ++s) {
    const StageRun& run = *repaired.pipeline.stages[static_cast<std::size_t>(s)];
    out.stageInputs[static_cast<std::size_t>(s)] = run.in;
    out.residuals.insert(out.residuals.end(), run.residuals.begin(), run.residuals.end());
    out.issues.insert(out.issues.end(), run.issues.begin(), run.issues.end());
    out.framesRun[static_cast<std::size_t>(s)] = run.framesRun;
  }
  for (const Node<Repair>& repair : *take.repairs)
    if (!isAnchored(*repair))
      out.issues.push_back(makeWarning("It has no place yet and is left out", describe(*repair), "Refit the take's repairs"));
  return out;
}

Result<Take> refitted(const Take& take, const Sources& sources, EvaluationCache* cache, Issues* issues, const RunControl& control) {
  Take next = take;
  EvaluationCache own;
  if (!cache) cache = &own;
  // Stage by stage, since an anchored repair changes what the later stages see. Grips lie where arms that hold nothing are clear.
  for (int s = 0; s < stageCount; ++s) {
    const auto stage = static_cast<RepairStage>(s);
    if (stage == RepairStage::freeClearance || stage == RepairStage::hands) continue;
    const auto waits = [&](const Node<Repair>& repair) { return !isAnchored(*repair) && concerns(stage, *repair); };
    if (std::none_of(next.repairs->begin(), next.repairs->end(), waits)) continue;
    const Result<Evaluated> seen = evaluate(next, sources, cache, control);
    if (!seen) return seen.error();
    if (!seen->complete()) return next;
    Repairs repairs = *next.repairs;
    for (Node<Repair>& repair : repairs) {
      if (!waits(repair)) continue;
      Result<Repair> with = anchored(*repair, seen->context, seen->stageInputs[static_cast<std::size_t>(s)]);
      if (with)
        repair = std::move(*with);
      else if (issues)
        issues->push_back(with.error());
    }
    next = setRepairs(next, std::move(repairs));
  }
  return next;
}

std::vector<int> turnedJoints(const TiledMotion& a, const TiledMotion& b) {
  std::vector<char> differs(static_cast<std::size_t>(std::min(a.joints(), b.joints())), 0);
  for (int f = 0; f < std::min(a.frames(), b.frames()); ++f) {
    const auto x = a.rotationsAt(f), y = b.rotationsAt(f);
    if (x.data() == y.data()) continue;
    for (std::size_t j = 0; j < differs.size(); ++j) differs[j] = differs[j] || !(x[j] == y[j]);
  }
  std::vector<int> joints;
  for (std::size_t j = 0; j < differs.size(); ++j)
    if (differs[j]) joints.push_back(static_cast<int>(j));
  return joints;
}

Nudge nudgeAt(const Evaluated& evaluated, int frame) {
  Nudge nudge;
  nudge.time = evaluated.rate.seconds(evaluated.trimFirst + frame);
  return nudge;
}

int frameOf(const Evaluated& evaluated, const Nudge& nudge) { return nudgeFrames(nudge, evaluated.rate).frame - evaluated.trimFirst; }

}  // namespace understudy
