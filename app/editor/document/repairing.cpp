#include "app/editor/document/repairing.h"

#include <algorithm>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/spans.h"
#include "core/repair/transform.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

QString say(const char* text) { return Document::tr(text); }

/// Place of a kind in the fixed order; nudges come after offsets, late ones at the end.
int stageOf(const Repair& repair) {
  constexpr int stages[] = {3, 2, 2, 5, 0, 1, 6, 9, 10, 8, 11, 7};  // by repairKinds()
  return stages[repair.action.index()];
}
int stageOf(const Nudge& nudge) { return nudge.late ? 12 : 4; }

std::string roleBone(Role role) { return "@" + std::string(understudy::roleName(role)); }

bool isLeft(const Document& document, std::optional<Bone> bone, bool otherwise) {
  if (!bone) return otherwise;
  const SkeletonMap& map = bone->cast == Cast::performer ? document.map().performer : document.map().character;
  const auto role = roleOf(map, bone->joint);
  return role && sideOf(*role) != Side::centre ? sideOf(*role) == Side::left : otherwise;
}

PlantPart partFor(const Document& document, std::optional<Bone> bone) {
  if (bone) {
    const SkeletonMap& map = bone->cast == Cast::performer ? document.map().performer : document.map().character;
    const auto role = roleOf(map, bone->joint);
    if (role == Role::hips) return PlantPart::seat;
    if (role == Role::leftHand) return PlantPart::leftHand;
    if (role == Role::rightHand) return PlantPart::rightHand;
  }
  return isLeft(document, bone, true) ? PlantPart::leftFoot : PlantPart::rightFoot;
}

}  // namespace

std::vector<RepairItem> itemsOf(const Take& take) {
  std::vector<RepairItem> items;
  for (const auto& repair : *take.repairs) items.push_back({repair->id, false, stageOf(*repair)});
  for (const auto& nudge : *take.nudges) items.push_back({nudge->id, true, stageOf(*nudge)});
  std::stable_sort(items.begin(), items.end(), [](const RepairItem& a, const RepairItem& b) { return a.stage < b.stage; });
  return items;
}

std::vector<std::string> bonesOf(const Repair& repair) {
  return std::visit(
      [](const auto& action) -> std::vector<std::string> {
        using T = std::decay_t<decltype(action)>;
        if constexpr (std::same_as<T, OffsetRepair>) {
          std::vector<std::string> names;
          for (const JointNudge& bone : action.bones) names.push_back(bone.joint);
          return names;
        } else if constexpr (requires { action.bones; }) {
          return action.bones;
        } else if constexpr (std::same_as<T, PlantRepair>) {
          constexpr const char* parts[] = {"@leftFoot", "@rightFoot", "@leftLowerLeg", "@rightLowerLeg", "@leftHand", "@rightHand", "@hips"};
          return {parts[static_cast<std::size_t>(action.part)]};
        } else if constexpr (std::same_as<T, TouchRepair>) {
          return {action.bone};
        } else if constexpr (std::same_as<T, GripRepair>) {
          return {action.leadLeft ? "@leftHand" : "@rightHand"};
        } else if constexpr (std::same_as<T, ClearanceRepair>) {
          return action.limbs;
        } else if constexpr (std::same_as<T, GroundRepair>) {
          return {"@hips"};
        } else {
          return {action.left ? "@leftHand" : "@rightHand"};
        }
      },
      repair.action);
}

std::optional<Repair> defaultRepair(const Document& document, const Session& session, std::size_t kind) {
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->complete() || !evaluated->context) return {};
  const RepairContext& context = *evaluated->context;
  const auto bone = session.selected();
  const int joint = bone && bone->cast == Cast::character ? bone->joint : -1;
  const std::string name = joint >= 0 ? boneName(context, joint) : std::string();
  std::vector<std::string> bones;
  for (const Bone& one : session.selection())
    if (one.cast == Cast::character) bones.push_back(boneName(context, one.joint));
  Repair repair;
  // The play range where the artist has narrowed it, else some frames around the current one.
  const bool ranged = session.rangeFirst() > 0 || session.rangeLast() < session.frames() - 1;
  const auto span = [&](double before, double after) {
    const int b = static_cast<int>(std::lround(before * evaluated->rate.hertz())), a = static_cast<int>(std::lround(after * evaluated->rate.hertz()));
    int first = ranged ? session.rangeFirst() : session.frame() - b, last = ranged ? session.rangeLast() : session.frame() + a;
    first = std::clamp(first + evaluated->trimFirst, 0, evaluated->clipFrames - 1);
    last = std::clamp(last + evaluated->trimFirst, first, evaluated->clipFrames - 1);
    repair.span = TimeRange{evaluated->rate.seconds(first), evaluated->rate.seconds(last)};
  };
  const auto rangeOnly = [&] {
    if (ranged) span(0, 0);
  };
  switch (kind) {
    case 0: {
      if (name.empty()) return {};
      OffsetRepair offset;
      for (const std::string& one : bones) offset.bones.push_back({one, {}, {}});
      repair.action = offset;
      rangeOnly();
      break;
    }
    case 1: repair.action = BridgeRepair{bones, true}; span(0.2, 0.2); break;
    case 2: repair.action = StillRepair{bones, {}, true}; span(0, 0.5); break;
    case 3: repair.action = RestoreRepair{bones}; span(0.25, 0.25); break;
    case 4: repair.action = UntwistRepair{}; rangeOnly(); break;
    case 5: {
      SmoothRepair smooth;
      smooth.bones = bones;
      repair.action = smooth;
      rangeOnly();
      break;
    }
    case 6: {
      PlantRepair plant;
      plant.part = partFor(document, bone);
      repair.action = plant;
      span(0.1, 0.4);
      break;
    }
    case 7: {
      TouchRepair touch;
      touch.bone = name.empty() ? roleBone(Role::leftHand) : name;
      const auto found = findBone(context, touch.bone);
      if (!found) return {};
      // Where the bone is now: nothing moves until the point is dragged.
      const auto world = worldAt(context.figure->skeleton, evaluated->motion, std::clamp(session.frame(), 0, std::max(0, evaluated->motion.frames() - 1)));
      touch.place = apply(document.worldFromFile(Cast::character), world[static_cast<std::size_t>(found.value())].translation);
      repair.action = touch;
      span(0.1, 0.1);
      break;
    }
    case 8: {
      GripRepair grip;
      grip.leadLeft = isLeft(document, bone, false);
      if (!document.take().props->empty()) grip.prop = document.take().props->front().id;
      repair.action = grip;
      rangeOnly();
      break;
    }
    case 9: repair.action = ClearanceRepair{}; rangeOnly(); break;
    case 10: {
      HandShapeRepair shape;
      shape.left = isLeft(document, bone, true);
      repair.action = shape;
      rangeOnly();
      break;
    }
    case 11: repair.action = GroundRepair{}; rangeOnly(); break;
    default: return {};
  }
  return repair;
}

std::uint64_t addItem(Document& document, Repair repair) {
  std::uint64_t id = 0;
  const QString label = say("Add %1").arg(kindText(repair));
  document.edit(label, addRepair(document.take(), std::move(repair), &id));
  return id;
}

void removeItem(Document& document, std::uint64_t id) {
  if (const Repair* repair = findRepair(document.take(), id)) document.edit(say("Remove %1").arg(kindText(*repair)), removeRepair(document.take(), id));
  else if (findNudge(document.take(), id)) document.edit(say("Remove nudge"), removeNudge(document.take(), id));
}

std::uint64_t duplicateItem(Document& document, std::uint64_t id) {
  std::uint64_t made = 0;
  if (const Repair* repair = findRepair(document.take(), id)) {
    Repair copy = *repair;
    copy.id = 0;
    copy.proposed = false;
    document.edit(say("Duplicate %1").arg(kindText(copy)), addRepair(document.take(), copy, &made));
  } else if (const Nudge* nudge = findNudge(document.take(), id)) {
    Nudge copy = *nudge;
    copy.id = 0;
    document.edit(say("Duplicate nudge"), addNudge(document.take(), copy, &made));
  }
  return made;
}

std::uint64_t mirrorItem(Document& document, std::uint64_t id) {
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->context) return 0;
  const RepairContext& context = *evaluated->context;
  const SagittalPlane plane = sagittalPlane(context, evaluated->motion, std::clamp(frameOfItem(document, id), 0, std::max(0, evaluated->frames - 1)));
  std::uint64_t made = 0;
  Issues issues;
  if (const Repair* repair = findRepair(document.take(), id)) {
    Repair copy = mirrored(*repair, context, plane, issues);
    copy.id = 0;
    copy.proposed = false;
    document.edit(say("Mirror %1").arg(kindText(copy)), addRepair(document.take(), copy, &made));
  } else if (const Nudge* nudge = findNudge(document.take(), id)) {
    Nudge copy = mirrored(*nudge, context, plane, issues);
    copy.id = 0;
    document.edit(say("Mirror nudge"), addNudge(document.take(), copy, &made));
  }
  for (const Issue& issue : issues) document.tell(issue);
  return made;
}

void copyItemToTake(Document& document, std::uint64_t id, int take) {
  const Reel& reel = document.reel();
  if (take < 0 || take >= static_cast<int>(reel.takes.size())) return;
  Take other = *reel.takes[static_cast<std::size_t>(take)];
  if (const Repair* repair = findRepair(document.take(), id)) {
    Repair copy = *repair;
    copy.id = 0;
    setAnchored(copy, false);  // another performance stands elsewhere
    other = addRepair(other, std::move(copy));
  } else if (const Nudge* nudge = findNudge(document.take(), id)) {
    Nudge copy = *nudge;
    copy.id = 0;
    other = addNudge(other, std::move(copy));
  } else {
    return;
  }
  document.editReel(say("Copy a repair to another take"), selectTake(setCurrentTake(selectTake(reel, take), other), reel.current));
}

std::uint64_t splitItem(Document& document, std::uint64_t id, int frame) {
  const auto evaluated = document.evaluated();
  const Repair* repair = findRepair(document.take(), id);
  if (!evaluated || !repair) return 0;
  const auto parts = split(*repair, frame + evaluated->trimFirst, evaluated->rate, evaluated->clipFrames);
  if (!parts) return 0;
  std::uint64_t made = 0;
  document.edit(say("Split %1").arg(kindText(*repair)), addRepair(changeRepair(document.take(), parts->first), parts->second, &made));
  return made;
}

std::uint64_t mergeItem(Document& document, std::uint64_t id) {
  const Repair* repair = findRepair(document.take(), id);
  const auto evaluated = document.evaluated();
  if (!repair || !repair->span || !evaluated) return 0;
  const Repair* next = nullptr;
  for (const auto& node : *document.take().repairs)
    if (node->id != id && node->span && node->span->first >= repair->span->first && (!next || node->span->first < next->span->first) && merged(*repair, *node, evaluated->rate)) next = &*node;
  if (!next) {
    document.tell(makeNote(Document::tr("No later %1 goes together with this one").arg(kindText(*repair)).toStdString(), {},
                           Document::tr("Two can be merged where kind, bones and settings are the same").toStdString()));
    return 0;
  }
  const Repair whole = *merged(*repair, *next, evaluated->rate);
  document.edit(Document::tr("Merge two of %1").arg(kindText(*repair)), changeRepair(removeRepair(document.take(), next->id), whole));
  return id;
}

void easeItem(Document& document, std::uint64_t id, bool before, int frames) {
  const auto evaluated = document.evaluated();
  if (!evaluated) return;
  const QString key = QStringLiteral("ease-by-key");
  if (const Repair* repair = findRepair(document.take(), id)) {
    const RepairFrames now = repairFrames(*repair, evaluated->rate, evaluated->clipFrames);
    changeItem(document, withEase(*repair, before ? SpanPart::easeBefore : SpanPart::easeAfter, (before ? now.before : now.after) + frames, evaluated->rate), Document::tr("Change an ease"), key);
  } else if (const Nudge* nudge = findNudge(document.take(), id)) {
    Nudge next = *nudge;
    double& ease = before ? next.easeBefore : next.easeAfter;
    ease = std::max(0.0, ease + evaluated->rate.seconds(frames));
    document.edit(Document::tr("Change an ease"), changeNudge(document.take(), next), key);
  }
}

void muteItem(Document& document, std::uint64_t id) {
  if (const Repair* repair = findRepair(document.take(), id)) {
    Repair next = *repair;
    next.muted = !next.muted;
    document.edit((next.muted ? say("Mute %1") : say("Unmute %1")).arg(kindText(next)), changeRepair(document.take(), next));
  } else if (const Nudge* nudge = findNudge(document.take(), id)) {
    Nudge next = *nudge;
    next.muted = !next.muted;
    document.edit(next.muted ? say("Mute nudge") : say("Unmute nudge"), changeNudge(document.take(), next));
  }
}

void soloItem(Document& document, std::uint64_t id) {
  if (const Repair* repair = findRepair(document.take(), id)) {
    Repair next = *repair;
    next.solo = !next.solo;
    document.edit((next.solo ? say("Only %1") : say("Not only %1")).arg(kindText(next)), changeRepair(document.take(), next));
  } else if (const Nudge* nudge = findNudge(document.take(), id)) {
    Nudge next = *nudge;
    next.solo = !next.solo;
    document.edit(next.solo ? say("Only this nudge") : say("Not only this nudge"), changeNudge(document.take(), next));
  }
}

void changeItem(Document& document, Repair repair, const QString& label, const QString& mergeKey) {
  repair.proposed = false;
  document.edit(label, changeRepair(document.take(), std::move(repair)), mergeKey);
}

void moveItem(Document& document, std::uint64_t id, int frames, const QString& mergeKey) {
  const auto evaluated = document.evaluated();
  if (!evaluated) return;
  if (const Repair* repair = findRepair(document.take(), id)) {
    changeItem(document, shifted(*repair, frames, evaluated->rate, evaluated->clipFrames), say("Move %1").arg(kindText(*repair)), mergeKey);
  } else if (const Nudge* nudge = findNudge(document.take(), id)) {
    Nudge next = *nudge;
    const int at = std::clamp(nudgeFrames(next, evaluated->rate).frame + frames, 0, std::max(0, evaluated->clipFrames - 1));
    next.time = evaluated->rate.seconds(at);
    document.edit(say("Move nudge"), changeNudge(document.take(), next), mergeKey);
  }
}

int frameOfItem(const Document& document, std::uint64_t id) {
  const auto evaluated = document.evaluated();
  if (!evaluated) return 0;
  if (const Nudge* nudge = findNudge(document.take(), id)) return frameOf(*evaluated, *nudge);
  const Repair* repair = findRepair(document.take(), id);
  if (!repair) return 0;
  const RepairFrames frames = repairFrames(*repair, evaluated->rate, evaluated->clipFrames);
  return frames.span.empty() ? 0 : frames.span.first - evaluated->trimFirst;
}

std::optional<Bone> boneOfItem(const Document& document, std::uint64_t id) {
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->context) return {};
  std::string name;
  if (const Nudge* nudge = findNudge(document.take(), id); nudge && !nudge->joints.empty()) name = nudge->joints.front().joint;
  if (const Repair* repair = findRepair(document.take(), id))
    if (const auto bones = bonesOf(*repair); !bones.empty()) name = bones.front();
  if (name.empty()) return {};
  const auto joint = findBone(*evaluated->context, name);
  return joint ? std::optional(Bone{Cast::character, joint.value()}) : std::nullopt;
}

}  // namespace understudy::editor
