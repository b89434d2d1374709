#include "core/evaluate/pipeline.h"

#include <algorithm>

#include "core/base/parallel.h"
#include "core/base/stop_scope.h"

namespace understudy {
namespace {

/// Frames a thread takes at once: kinds that look around a frame do so once a chunk, but every thread should have some.
constexpr int leastChunk = 256, mostChunk = 1024;
/// The most in frames that a layer looks at around one, where that is more; the least is as many as those.
constexpr int mostAround = 16;

/// Entries of two lists that differ, by their places in each. What both have in the same order is the same, also between others.
struct Difference {
  std::vector<std::size_t> before, after;
  [[nodiscard]] bool none() const { return before.empty() && after.empty(); }
};

template <class T>
Difference differenceOf(const std::vector<Node<T>>& before, const std::vector<Node<T>>& after) {
  Difference d;
  std::size_t next = 0;
  for (std::size_t i = 0; i < before.size(); ++i) {
    std::size_t found = next;
    while (found < after.size() && !(before[i] == after[found])) ++found;
    if (found == after.size()) {
      d.before.push_back(i);
      continue;
    }
    while (next < found) d.after.push_back(next++);
    ++next;
  }
  while (next < after.size()) d.after.push_back(next++);
  return d;
}

std::vector<FrameSpan> clipped(std::vector<FrameSpan> spans, int frames) {
  for (FrameSpan& s : spans) s = common(s, {0, frames - 1});
  return joined(std::move(spans));
}

/// Spans of output frames that may differ where the input differs in `changed`.
std::vector<FrameSpan> spread(const RepairLayer& layer, const std::vector<FrameSpan>& changed, int frames) {
  std::vector<FrameSpan> out = changed;
  for (const FrameSpan& s : changed) out.push_back(layer.affected(s));
  return clipped(std::move(out), frames);
}

/// Where a layer may write for the given entries.
void addExtents(const RepairLayer& layer, const std::vector<std::size_t>& repairs, const std::vector<std::size_t>& nudges, std::vector<FrameSpan>& into) {
  for (const std::size_t i : repairs) into.push_back(layer.extent(i));
  for (const std::size_t i : nudges) into.push_back(layer.nudgeExtent(i));
}

std::vector<FrameSpan> extentsOf(const RepairLayer& layer, std::size_t nudges, int frames) {
  std::vector<FrameSpan> all;
  for (std::size_t i = 0; i < layer.repairs().size(); ++i) all.push_back(layer.extent(i));
  for (std::size_t i = 0; i < nudges; ++i) all.push_back(layer.nudgeExtent(i));
  return clipped(std::move(all), frames);
}

/// Parts of `spans` inside `extents`, in chunks. `around`: frames the layer looks at around one.
std::vector<FrameSpan> chunksOf(const std::vector<FrameSpan>& spans, const std::vector<FrameSpan>& extents, int around, int threads) {
  std::vector<FrameSpan> chunks;
  int total = 0;
  for (const FrameSpan& s : spans) total += s.count();
  const int least = std::max(leastChunk, around), most = std::max(mostChunk, mostAround * around);
  const int length = threads == 1 ? most : std::clamp(total / (2 * threads), least, most);
  for (const FrameSpan& s : spans)
    for (const FrameSpan& e : extents) {
      const FrameSpan both = common(s, e);
      for (int f = both.first; f <= both.last; f += length) chunks.push_back({f, std::min(f + length - 1, both.last)});
    }
  return chunks;
}

/// Gives locked bones their input back.
void keepLocked(const RepairContext& context, const TiledMotion& in, FrameSpan frames, TiledMotion& out) {
  for (const RepairContext::Locked& lock : context.locks) {
    const FrameSpan both = common(frames, lock.span);
    for (int f = both.first; f <= both.last; ++f) {
      const auto from = in.rotationsAt(f);
      const auto into = out.rotationsToWrite(f);
      for (const int j : lock.joints) into[static_cast<std::size_t>(j)] = from[static_cast<std::size_t>(j)];
      const auto places = out.translationsToWrite(f);
      for (std::size_t k = 0; k < places.size(); ++k) {
        const int joint = out.movedJoints()[k];
        if (!std::binary_search(lock.joints.begin(), lock.joints.end(), joint)) continue;
        const auto& tracks = in.movedJoints();
        const auto at = std::lower_bound(tracks.begin(), tracks.end(), joint);
        places[k] = at != tracks.end() && *at == joint ? in.translationsAt(f)[static_cast<std::size_t>(at - tracks.begin())]
                                                       : Vec3f(context.figure->skeleton.rest[static_cast<std::size_t>(joint)].translation);
      }
    }
  }
}

/// The frames among `spans` in which two versions differ.
std::vector<FrameSpan> differing(const TiledMotion& a, const TiledMotion& b, const std::vector<FrameSpan>& spans) {
  std::vector<FrameSpan> out;
  for (const FrameSpan& s : spans)
    for (int f = s.first; f <= s.last; ++f) {
      if (a.sameAt(b, f)) continue;
      if (!out.empty() && out.back().last == f - 1) out.back().last = f;
      else out.push_back({f, f});
    }
  return joined(std::move(out));
}

std::vector<Residual> residualsFor(const RepairLayer& layer, const std::vector<Residual>& old, const std::vector<FrameSpan>& again, int frames) {
  std::vector<Residual> all;
  for (std::size_t i = 0; i < layer.repairs().size(); ++i) {
    Residual r;
    r.repair = layer.repairs()[i]->id;
    const FrameSpan extent = common(layer.extent(i), {0, frames - 1});
    r.first = extent.first;
    r.values.resize(static_cast<std::size_t>(extent.count()));
    for (const Residual& before : old) {
      if (before.repair != r.repair) continue;
      const FrameSpan both = common(extent, {before.first, before.first + static_cast<int>(before.values.size()) - 1});
      for (int f = both.first; f <= both.last; ++f) r.values[static_cast<std::size_t>(f - r.first)] = before.values[static_cast<std::size_t>(f - before.first)];
    }
    for (const FrameSpan& s : again) {
      const FrameSpan both = common(extent, s);
      for (int f = both.first; f <= both.last; ++f) r.values[static_cast<std::size_t>(f - r.first)] = {};
    }
    all.push_back(std::move(r));
  }
  return all;
}

/// Runs one stage. `changed` says where `in` differs from the last run's input and becomes where the output does.
Result<std::shared_ptr<const StageRun>> runStage(RepairStage stage, const std::shared_ptr<const StageRun>& last, const std::shared_ptr<const RepairContext>& context, const TiledMotion& in, bool fresh, Repairs repairs,
                Nudges nudges, std::vector<FrameSpan>& changed, const RunControl& control) {
  static const StageRun never;
  const StageRun& run = last ? *last : never;
  const int frames = in.frames();
  const Skeleton& skeleton = context->figure->skeleton;
  auto result = std::make_shared<StageRun>();
  StageRun& next = *result;
  next.framesRun = run.framesRun;
  next.context = context;
  next.repairs = std::move(repairs);
  next.nudges = std::move(nudges);
  next.in = in;

  const Difference repairChange = differenceOf(run.repairs, next.repairs), nudgeChange = differenceOf(run.nudges, next.nudges);
  if (last && !fresh && run.context == context && repairChange.none() && nudgeChange.none() && changed.empty()) return last;
  const bool sameLayer = !fresh && run.context == context && repairChange.none() && nudgeChange.none();
  if (sameLayer) {
    // The layer points at the values of the last run, which must live as long as it.
    next.repairs = run.repairs;
    next.nudges = run.nudges;
    next.layer = run.layer;
    next.issues = run.issues;
  } else {
    std::vector<const Repair*> list;
    for (const Node<Repair>& repair : next.repairs) list.push_back(&*repair);
    std::vector<const Nudge*> keys;
    for (const Node<Nudge>& nudge : next.nudges) keys.push_back(&*nudge);
    if (!list.empty() || !keys.empty()) next.layer = makeLayer(stage, context, std::move(list), std::move(keys), next.issues);
  }

  if (!fresh && run.context == context) {
    std::vector<FrameSpan> own;
    if (run.layer && !sameLayer) addExtents(*run.layer, repairChange.before, nudgeChange.before, own);
    if (next.layer && !sameLayer) addExtents(*next.layer, repairChange.after, nudgeChange.after, own);
    own.insert(own.end(), changed.begin(), changed.end());
    own = clipped(std::move(own), frames);
    std::vector<FrameSpan> all = own;
    for (const RepairLayer* layer : {run.layer.get(), next.layer.get()})
      if (layer)
        for (const FrameSpan& s : spread(*layer, own, frames)) all.push_back(s);
    changed = clipped(std::move(all), frames);
  } else {
    changed = {{0, frames - 1}};
  }

  if (!next.layer) {
    next.out = in;
    return std::shared_ptr<const StageRun>(std::move(result));
  }
  const TiledMotion widened = in.withMoved(skeleton, next.layer->movedJoints());
  const bool reuse = !fresh && run.context == context && run.layer && run.out.movedJoints() == widened.movedJoints() && run.out.frames() == frames;
  const std::vector<FrameSpan> extents = extentsOf(*next.layer, next.nudges.size(), frames);
  std::vector<FrameSpan> again = changed;
  if (reuse) {
    next.out = run.out.writable(changed);
    for (const FrameSpan& s : changed)
      for (int f = s.first; f <= s.last; ++f) next.out.copyFrame(skeleton, in, f);
  } else {
    again = {{0, frames - 1}};
    const bool sameBefore = !fresh && run.context == context && run.out.movedJoints() == widened.movedJoints() && run.out.frames() == frames;
    if (sameBefore) changed.insert(changed.end(), extents.begin(), extents.end());
    changed = sameBefore ? joined(std::move(changed)) : again;
    next.out = widened.writable(extents);
  }
  next.residuals = residualsFor(*next.layer, reuse ? run.residuals : std::vector<Residual>{}, again, frames);
  const std::vector<FrameSpan> chunks = chunksOf(again, extents, next.layer->affected({0, 0}).count(), workers(control.threads));
  parallelFor(
      static_cast<int>(chunks.size()),
      [&](int i) {
        if (control.stopped()) return;
        const StopScope scope(control.stop);
        const FrameSpan chunk = chunks[static_cast<std::size_t>(i)];
        next.layer->apply(in, chunk, next.out, next.residuals);
        if (next.layer->automatic()) keepLocked(*context, in, chunk, next.out);
      },
      control.threads);
  if (control.stopped()) return RunControl::cancelled();
  for (const FrameSpan& s : chunks) next.framesRun += s.count();
  // What came out as it was before is no matter to the stages that follow.
  if (last && !fresh && run.context == context && run.out.movedJoints() == next.out.movedJoints() && run.out.frames() == frames) {
    changed = differing(run.out, next.out, changed);
    next.out.shareTiles(run.out);
  }
  next.out.shareTiles(in);
  return std::shared_ptr<const StageRun>(std::move(result));
}

template <class T>
bool applies(const T& item, bool solo) {
  return !item.muted && item.weight != 0 && (!solo || item.solo);
}

}  // namespace

Status runPipeline(Pipeline& pipeline, const std::shared_ptr<const RepairContext>& context, const TiledMotion& base, bool sameBase, const Repairs& repairs,
                   const Nudges& nudges, const RunControl& control) {
  Pipeline next = pipeline;
  next.base = base;
  bool solo = false;
  for (const Node<Repair>& repair : repairs) solo = solo || (repair->solo && !repair->muted);
  for (const Node<Nudge>& nudge : nudges) solo = solo || (nudge->solo && !nudge->muted);
  std::vector<FrameSpan> changed;
  bool fresh = !sameBase;
  const TiledMotion* in = &next.base;
  for (int s = 0; s < stageCount; ++s) {
    const auto stage = static_cast<RepairStage>(s);
    Repairs of;
    for (const Node<Repair>& repair : repairs)
      if (applies(*repair, solo) && isAnchored(*repair) && concerns(stage, *repair)) of.push_back(repair);
    Nudges keys;
    for (const Node<Nudge>& nudge : nudges)
      if (applies(*nudge, solo) && concerns(stage, *nudge)) keys.push_back(nudge);
    std::shared_ptr<const StageRun>& run = next.stages[static_cast<std::size_t>(s)];
    fresh = fresh || !run || run->in.movedJoints() != in->movedJoints() || run->in.frames() != in->frames();
    Result<std::shared_ptr<const StageRun>> done = runStage(stage, run, context, *in, fresh, std::move(of), std::move(keys), changed, control);
    if (!done) return done.error();
    run = std::move(*done);
    in = &run->out;
  }
  pipeline = std::move(next);
  return Done{};
}

}  // namespace understudy
