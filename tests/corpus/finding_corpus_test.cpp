// How surely flaws are found: flaws of known size put into finished clips, on which next to nothing is found without them.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <map>

#include "core/body/body_model.h"
#include "core/inspect/limb_names.h"
#include "core/io/read.h"
#include "core/job/finish.h"
#include "core/repair/clearance.h"
#include "core/repair/poser.h"
#include "tests/support/fixtures.h"
#include "tests/support/flaws.h"

namespace understudy {
namespace {

const std::string corpus = UNDERSTUDY_CORPUS;
constexpr double degree = 3.14159265358979323846 / 180;

/// Depth of a hand and forearm in the torso on the exact triangles of the posed skin, metres of a character 1.7 m tall.
class ExactDepth {
 public:
  explicit ExactDepth(const RepairContext& context) : context_(context), model_(bodyModelOf(context)), torso_(partMesh(model_->surface, BodyPart::torso)) {}

  double at(const TiledMotion& motion, int frame, bool left) const {
    Poser poser(context_);
    poser.load(motion, frame);
    std::vector<Quatd> rotation;
    std::vector<Vec3d> position;
    for (int j = 0; j < context_.figure->skeleton.size(); ++j) rotation.push_back(poser.rotation(j)), position.push_back(poser.position(j));
    const std::vector<Affined> turned = turnedFrames(model_->reference(), {rotation, position});
    const BodySurface& skin = model_->surface;
    std::vector<int> arm;
    for (int v = 0; v < skin.vertices(); ++v)
      if (const BodyPart part = skin.parts[static_cast<std::size_t>(v)]; left ? part == BodyPart::leftForearm || part == BodyPart::leftHand : part == BodyPart::rightForearm || part == BodyPart::rightHand)
        arm.push_back(v);
    std::vector<Vec3d> trunk(torso_.vertices.size()), points(arm.size());
    pointsOf(skin, turned, torso_.vertices, trunk);
    pointsOf(skin, turned, arm, points);
    const TriangleTree tree(torso_.withRims(trunk), torso_.indices);
    double worst = 0;
    for (const Vec3d& p : points)
      if (tree.inside(p)) worst = std::max(worst, tree.nearest(p).distance);
    return worst * 1.7 / context_.height;
  }

 private:
  const RepairContext& context_;
  std::shared_ptr<const BodyModel> model_;
  PartMesh torso_;
};

/// A finished clip as a performance on its own character.
struct Clean {
  std::string name;
  std::shared_ptr<const Figure> character;
  SkeletonMap map;
  Motion motion;
  FlawPlaces places;
  double height = 1.7;
  std::shared_ptr<const Finished> made;              ///< with its repairs
  std::shared_ptr<const Performance> performance;    ///< it was made from
};

struct Look {
  Findings findings;
  Evaluated seen;
};

/// The finished take as it is, but with this result.
Result<Look> lookAtTake(const Clean& clean, const Motion& result) {
  Look out;
  out.seen = clean.made->evaluated;
  out.seen.untrimmed = out.seen.motion = TiledMotion(std::make_shared<Motion>(result));
  Result<Inspection> look = inspectTake(clean.made->take, out.seen, *clean.performance);
  if (!look) return look.error();
  out.findings = std::move(look->findings);
  return out;
}

Result<Look> lookAt(const Clean& clean, const Motion& motion) {
  auto performer = std::make_shared<Figure>(*clean.character);
  Clip clip;
  clip.name = "flawed";
  clip.rate = motion.rate;
  clip.end = motion.duration();
  clip.sampled = std::make_shared<const Motion>(motion);
  performer->clips = {clip};
  Take take;
  take.performer = FileReference{"performer"};
  take.character = FileReference{"character"};
  take.map = keysOf({clean.map, clean.map}, performer->skeleton, clean.character->skeleton);
  Sources sources;
  sources.performer = performer;
  sources.character = clean.character;
  sources.performerFile = *take.performer;
  sources.characterFile = *take.character;
  Result<Evaluated> seen = evaluate(take, sources);
  if (!seen) return seen.error();
  auto performance = analysePerformance(*performer, seen->map->performer, seen->performerNative);
  if (!performance) return performance.error();
  Result<Inspection> look = inspectTake(take, *seen, **performance);
  if (!look) return look.error();
  Look out;
  out.findings = std::move(look->findings);
  out.seen = std::move(*seen);
  return out;
}

std::optional<Clean> finished(const std::string& performer, const std::string& character) {
  Take take;
  take.performer = FileReference{performer};
  take.character = FileReference{character};
  const auto sources = readSources(take);
  if (!sources) return std::nullopt;
  auto done = finishTake(take, *sources);
  if (!done) return std::nullopt;
  Clean clean;
  clean.name = std::filesystem::path(performer).stem().string() + " on " + std::filesystem::path(character).stem().string();
  clean.character = sources->character;
  clean.map = done->evaluated.map->character;
  clean.motion = done->evaluated.motion.flat();
  clean.height = done->evaluated.context->height;
  auto performance = analysePerformance(*sources->performer, done->evaluated.map->performer, done->evaluated.performerNative);
  if (!performance) return std::nullopt;
  clean.performance = *performance;
  clean.made = std::make_shared<Finished>(*done);
  const RepairContext& context = *done->evaluated.context;
  for (const Node<Repair>& repair : *done->take.repairs) {
    if (repair->muted) continue;
    const FrameSpan span = repairFrames(*repair, context.rate, context.frames).span;
    if (const auto* plant = std::get_if<PlantRepair>(&repair->action); plant && plant->part <= PlantPart::rightFoot) {
      // While the foot stands flat: what is put into a rolling foot is not what is said.
      FrameSpan flat;
      for (std::size_t k = 0; k < plant->marks.size() && flat.empty(); ++k)
        if (plant->marks[k].phase == PlantPhase::flat)
          flat = {static_cast<int>(plant->marks[k].time * context.rate.hertz()) + 2,
                  k + 1 < plant->marks.size() ? static_cast<int>(plant->marks[k + 1].time * context.rate.hertz()) - 2 : span.last - 2};
      if (plant->marks.empty()) flat = span;
      clean.places.stances.push_back({plant->part == PlantPart::leftFoot ? Role::leftFoot : Role::rightFoot, flat.first, flat.last});
    }
    if (const auto* touch = std::get_if<TouchRepair>(&repair->action); touch && touch->target == TouchTarget::body)
      clean.places.contacts.push_back({touch->bone == "@leftHand" ? Role::leftHand : Role::rightHand, span.first, span.last});
    if (const auto* grip = std::get_if<GripRepair>(&repair->action)) clean.places.grips.push_back({grip->leadLeft ? Role::rightHand : Role::leftHand, span.first + 20, span.last - 20});
  }
  return clean;
}

const std::vector<Clean>& cleanClips() {
  static const std::vector<Clean> clips = [] {
    std::vector<Clean> list;
    const std::string samples = std::string(UNDERSTUDY_SOURCE) + "/samples/";
    for (const auto& [performer, character] : std::vector<std::pair<std::string, std::string>>{{corpus + "/motion/walk_figure8.bvh", corpus + "/characters/CesiumMan.gltf"},
                                                                                               {corpus + "/motion/cmu_02_07_swordplay.bvh", corpus + "/characters/CesiumMan.gltf"},
                                                                                               {corpus + "/motion/cmu_02_10_wash_self.bvh", corpus + "/characters/CesiumMan.gltf"},
                                                                                               {samples + "sweep.bvh", samples + "keeper.glb"}})
      if (auto clean = finished(performer, character)) list.push_back(std::move(*clean));
    return list;
  }();
  return clips;
}

FindingKind kindOf(FlawKind kind) {
  switch (kind) {
    case FlawKind::slide: return FindingKind::slide;
    case FlawKind::floating: return FindingKind::afloat;
    case FlawKind::sink: return FindingKind::sink;
    case FlawKind::pop: return FindingKind::pop;
    case FlawKind::flip: return FindingKind::flip;
    case FlawKind::twist: return FindingKind::twist;
    case FlawKind::depth: return FindingKind::depth;
    case FlawKind::gripDrift: return FindingKind::gripDrift;
    case FlawKind::lostContact: break;
  }
  return FindingKind::lostContact;
}

bool onLimb(const Finding& finding, Role role) {
  const BodyLimb limb = limbOfBone("@" + std::string(roleName(role)));
  // A hand's drift is told of the hand that leaves, but both hold.
  return std::any_of(finding.bones.begin(), finding.bones.end(), [&](const std::string& bone) { return limbOfBone(bone) == limb; });
}

bool known(const Findings& before, const Finding& finding) {
  return std::any_of(before.begin(), before.end(), [&](const Finding& f) { return sameFlaw(f, finding, 3) && finding.measure < 1.25 * f.measure + 1; });
}

struct Counts {
  int put = 0, found = 0, beyond = 0;
};

/// Puts flaws of one kind and size into all clean clips and counts those that are found, and findings that are of none of them.
Counts tried(FlawKind kind, double size, unsigned seed) {
  static std::map<std::string, Look> before;
  Counts counts;
  for (const Clean& clean : cleanClips()) {
    // A contact is lost where the performer keeps it.
    const bool ofTake = kind == FlawKind::lostContact;
    const std::string name = clean.name + (ofTake ? ", its take" : "");
    if (!before.count(name)) {
      auto look = ofTake ? lookAtTake(clean, clean.motion) : lookAt(clean, clean.motion);
      if (!look) throw std::runtime_error(look.error().text());
      before[name] = std::move(*look);
    }
    const bool turned = kind == FlawKind::pop || kind == FlawKind::flip || kind == FlawKind::twist;
    const double own = turned ? size : size * clean.height / 1.7;
    std::vector<Flaw> flaws = drawFlaws(kind, 8, clean.map, clean.motion, clean.places, own, own, seed, static_cast<int>(clean.motion.rate.hertz()));
    // What the kit could put in, by itself.
    std::optional<ExactDepth> exact;
    if (kind == FlawKind::depth) exact.emplace(*before[name].seen.context);
    const Findings& old = before[name].findings;
    std::erase_if(flaws, [&](Flaw& flaw) {
      double reached = 0;
      // Clean is where nothing of the kind is found without it.
      if (std::any_of(old.begin(), old.end(), [&](const Finding& f) { return f.kind == kindOf(kind) && onLimb(f, flaw.role) && !common(widened(f.span, 30, 30), {flaw.first, flaw.last}).empty(); }))
        return true;
      if (kind == FlawKind::lostContact) {
        // Straight away from the trunk: along a skin it would stay a contact.
        const Affined world = clean.character->space.toWorld();
        const std::vector<Affined> pose = worldAt(clean.character->skeleton, clean.motion, (flaw.first + flaw.last) / 2);
        Vec3d away = apply(world, pose[static_cast<std::size_t>(clean.map.joint(flaw.role))].translation) - apply(world, pose[static_cast<std::size_t>(clean.map.joint(Role::hips))].translation);
        away.y = 0;
        flaw.direction = normalised(away);
      }
      if (exact) {
        // As far towards the trunk as the arm needs to be that deep in it.
        const int middle = (flaw.first + flaw.last) / 2;
        const bool left = flaw.role == Role::leftHand;
        const auto depth = [&](double way) {
          flaw.size = way;
          return exact->at(TiledMotion(std::make_shared<Motion>(withFlaw(*clean.character, clean.map, clean.motion, flaw))), middle, left);
        };
        double low = 0, high = 0.5 * clean.height / 1.7;
        if (depth(0) > 0 || depth(high) < size) return true;
        while (high - low > 0.0005) (depth((low + high) / 2) < size ? low : high) = (low + high) / 2;
        flaw.size = high;
        return false;
      }
      const Motion alone = withFlaw(*clean.character, clean.map, clean.motion, flaw, &reached);
      if (reached < 0.98 * own && kind != FlawKind::flip) return true;
      if (kind == FlawKind::pop) {
        // At least six times the median step around.
        const auto joint = static_cast<std::size_t>(clean.map.joint(flaw.role));
        std::vector<double> steps;
        for (int f = std::max(1, flaw.first - 8); f <= std::min(clean.motion.frames - 1, flaw.first + 8); ++f)
          steps.push_back(angleBetween(Quatd(clean.motion.rotationsAt(f - 1)[joint]), Quatd(clean.motion.rotationsAt(f)[joint])));
        std::nth_element(steps.begin(), steps.begin() + static_cast<std::ptrdiff_t>(steps.size() / 2), steps.end());
        return own < 6 * steps[steps.size() / 2];
      }
      return false;
    });
    if (flaws.empty()) continue;
    const Motion flawed = withFlaws(*clean.character, clean.map, clean.motion, flaws);
    auto look = ofTake ? lookAtTake(clean, flawed) : lookAt(clean, flawed);
    if (!look) throw std::runtime_error(look.error().text());
    const int reach = static_cast<int>(0.1 * clean.motion.rate.hertz());
    for (const Flaw& flaw : flaws) {
      ++counts.put;
      const bool seen = std::any_of(look->findings.begin(), look->findings.end(), [&](const Finding& f) {
        const bool jump = (kind == FlawKind::flip || kind == FlawKind::pop) && (f.kind == FindingKind::flip || f.kind == FindingKind::pop);
        return (f.kind == kindOf(kind) || jump) && onLimb(f, flaw.role) && !common(widened(f.span, reach, reach), {flaw.first, flaw.last}).empty() && !known(old, f);
      });
      counts.found += seen;
      if (!seen && std::getenv("SHOW_MISSED"))
        std::printf("    missed on %s: %s %s %d:%d size %.3f\n", clean.name.c_str(), flawName(kind).c_str(), std::string(roleName(flaw.role)).c_str(), flaw.first, flaw.last, flaw.size);
      if (!seen && std::getenv("SHOW_MISSED"))
        for (const Finding& f : look->findings)
          if (f.kind == kindOf(kind) && onLimb(f, flaw.role) && !common(widened(f.span, 60, 60), {flaw.first, flaw.last}).empty()) std::printf("        near: %s %d:%d\n", f.sentence.c_str(), f.span.first, f.span.last);
    }
    // What a flaw brings along is not counted as more than it: on its own limb around its time, on others (arms on a chest that jumps) in its frames.
    const int around = static_cast<int>(0.5 * clean.motion.rate.hertz());
    for (const Finding& f : look->findings) {
      const bool follows = std::any_of(flaws.begin(), flaws.end(), [&](const Flaw& flaw) {
        // What the performer touches is another thing while a limb is off its way.
        return onLimb(f, flaw.role) || f.kind == FindingKind::lostContact ? !common(widened(f.span, around, around), {flaw.first, flaw.last}).empty() : f.worst >= flaw.first - reach && f.worst <= flaw.last + reach;
      });
      if (follows || known(old, f)) continue;
      ++counts.beyond;
      if (std::getenv("SHOW_MISSED")) std::printf("    beyond on %s: %s (%d:%d)\n", clean.name.c_str(), f.sentence.c_str(), f.span.first, f.span.last);
    }
  }
  return counts;
}

class FoundFlaws : public testing::TestWithParam<FlawKind> {};

TEST_P(FoundFlaws, AreFoundAtTheirSizesAndNothingElseIs) {
  if (!std::filesystem::exists(corpus)) GTEST_SKIP() << "no open corpus beside the project";
  const FlawKind kind = GetParam();
  ASSERT_EQ(cleanClips().size(), 4U);
  const bool pop = kind == FlawKind::pop, twist = kind == FlawKind::twist, flip = kind == FlawKind::flip;
  const std::vector<double> sizes = flip    ? std::vector<double>{180 * degree}
                                    : pop   ? std::vector<double>{2 * degree, 4 * degree, 8 * degree, 16 * degree}
                                    : twist ? std::vector<double>{15 * degree, 30 * degree, 60 * degree, 120 * degree}
                                            : std::vector<double>{0.0025, 0.005, 0.01, 0.02};
  // A hand touches within a gap of 5 mm and may lie 2 mm in the skin; what it leaves by less is not lost.
  const double least = flip ? 0 : pop ? 2 * degree : twist ? 30 * degree : kind == FlawKind::lostContact ? 0.01 : 0.005;
  int put = 0, found = 0, beyond = 0;
  for (const double size : sizes) {
    // Few contacts can be lost in one go.
    Counts counts;
    for (unsigned seed = 5; seed < (kind == FlawKind::lostContact ? 9U : 6U); ++seed) {
      const Counts more = tried(kind, size, seed);
      counts.put += more.put;
      counts.found += more.found;
      counts.beyond += more.beyond;
    }
    const double shown = pop || twist || flip ? size / degree : size * 1000;
    std::printf("%s of %.4g %s: %d of %d found, recall %.3f; %d findings beyond\n", flawName(kind).c_str(), shown, pop || twist || flip ? "degrees" : "mm", counts.found, counts.put,
                counts.put ? static_cast<double>(counts.found) / counts.put : 0, counts.beyond);
    if (size < 0.999 * least) continue;
    put += counts.put;
    found += counts.found;
    beyond += counts.beyond;
  }
  ASSERT_GT(put, 0);
  std::printf("%s: recall %.3f, precision %.3f\n", flawName(kind).c_str(), static_cast<double>(found) / put, found + beyond ? static_cast<double>(found) / (found + beyond) : 0);
  EXPECT_GE(found, 0.95 * put);
  EXPECT_GE(found, 0.95 * (found + beyond));
}

INSTANTIATE_TEST_SUITE_P(Kinds, FoundFlaws, testing::ValuesIn(allFlawKinds), [](const auto& each) {
  std::string name = flawName(each.param);
  std::replace(name.begin(), name.end(), ' ', '_');
  return name;
});

}  // namespace
}  // namespace understudy
