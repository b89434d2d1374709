// A performer's touches of itself on another body: found, carried to its skin, kept. Distances between skins are worked out here
// from all triangles of the result.
#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "core/body/triangle_tree.h"
#include "core/inspect/touches.h"
#include "core/io/read.h"
#include "core/repair/clearance.h"
#include "core/repair/touch.h"
#include "core/repair/touch_skin.h"
#include "core/retarget/retarget.h"
#include "tests/support/gestures.h"
#include "tests/support/layer_checks.h"

namespace understudy {
namespace {

std::shared_ptr<const Figure> keeper() {
  static const std::shared_ptr<const Figure> figure = [] {
    Result<Figure> read = readFigure(std::string(UNDERSTUDY_SOURCE) + "/samples/keeper.glb");
    if (!read.ok()) throw std::runtime_error(read.error().text());
    return std::make_shared<const Figure>(std::move(*read));
  }();
  return figure;
}

struct Carried {
  std::shared_ptr<const RepairContext> context;
  TiledMotion plain, motion;
  std::vector<Repair> repairs;
  BodyContacts contacts;
  Issues issues;
};

Carried carry(const test::Gesture& gesture) {
  Carried out;
  auto map = std::make_shared<BoneMap>();
  map->performer = gesture.map->performer;
  map->character = mapRoles(*keeper());
  Result<Retargeted> plain = retarget(*gesture.performer, gesture.motion, *keeper(), *map);
  EXPECT_TRUE(plain.ok());
  const FrameRate rate = gesture.motion.rate;
  // What is worked out of the character serves all tests.
  static const auto parts = std::make_shared<ContextParts>();
  auto context = std::make_shared<RepairContext>(**repairContext(keeper(), map, {}, rate, gesture.motion.frames));
  context->body.figure = context->figure.get();
  context->body.map = &context->map->character;
  context->parts = parts;
  out.context = context;
  out.contacts = *findBodyContacts(*gesture.performer, map->performer, gesture.motion);
  out.plain = TiledMotion(std::make_shared<const Motion>(std::move(plain->motion)));
  out.repairs = touchesOf(*out.context, out.contacts, rate, out.plain, plain->report.alignment, {}, out.issues);
  std::vector<const Repair*> list;
  for (Repair& repair : out.repairs) {
    repair.id = list.size() + 1;
    list.push_back(&repair);
  }
  const RepairLayerPtr layer = makeTouchLayer(out.context, list, out.issues);
  out.motion = layer ? test::runLayer(*layer, out.plain).motion : out.plain;
  return out;
}

/// Joints of a hand, or of all that is neither of this arm nor (unless asked for) of the other one.
std::vector<char> jointsOf(const RepairContext& context, int side, bool hand, bool otherHandOnly) {
  const Skeleton& skeleton = context.figure->skeleton;
  const auto below = [&](int joint, int top) { return top >= 0 && (joint == top || isAncestor(skeleton, top, joint)); };
  std::vector<char> result(static_cast<std::size_t>(skeleton.size()), 0);
  for (int j = 0; j < skeleton.size(); ++j) {
    const bool own = below(j, context.arms[static_cast<std::size_t>(side)].end);
    if (hand || otherHandOnly)
      result[static_cast<std::size_t>(j)] = own;
    else
      result[static_cast<std::size_t>(j)] = !below(j, context.arms[0].root) && !below(j, context.arms[1].root);
  }
  return result;
}

/// Triangles all of whose corners are carried mostly by such joints, posed (stage, metres).
TriangleTree skinOf(const RepairContext& context, const TiledMotion& motion, int frame, const std::vector<char>& joints) {
  const Figure& figure = *context.figure;
  const std::vector<Affined> world = worldAt(figure.skeleton, motion, frame);
  const Affined toStage = worldFromFile(figure, context.body.pose);
  std::vector<Vec3d> positions;
  std::vector<std::uint32_t> indices;
  for (const Mesh& mesh : figure.meshes) {
    if (mesh.skin < 0) continue;
    const std::vector<Vec3f> posed = skinnedPositions(figure, mesh, world);
    std::vector<char> in(posed.size(), 0);
    for (std::size_t v = 0; v < posed.size(); ++v) {
      float best = 0;
      for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k)
        if (mesh.influenceWeight[k] > best) {
          best = mesh.influenceWeight[k];
          in[v] = joints[static_cast<std::size_t>(figure.skins[static_cast<std::size_t>(mesh.skin)].joints[mesh.influenceJoint[k]])];
        }
    }
    const auto first = static_cast<std::uint32_t>(positions.size());
    for (const Vec3f& p : posed) positions.push_back(apply(toStage, Vec3d(p)));
    for (std::size_t t = 0; t + 2 < mesh.indices.size(); t += 3)
      if (in[mesh.indices[t]] && in[mesh.indices[t + 1]] && in[mesh.indices[t + 2]])
        for (std::size_t k = 0; k < 3; ++k) indices.push_back(first + mesh.indices[t + k]);
  }
  return TriangleTree(std::move(positions), std::move(indices));
}

/// Smallest distance between two skins, from corners to triangles both ways.
double between(const TriangleTree& a, const TriangleTree& b) {
  double least = 1e300;
  for (const auto& [from, to] : {std::pair{&a, &b}, std::pair{&b, &a}})
    for (const std::uint32_t i : from->indices())
      if (const TriangleTree::Nearest at = to->nearest(from->positions()[i], least); at.triangle >= 0) least = at.distance;
  return least;
}

/// `gap`: metres at a height of 1.7 m, on all triangles.
void expectKept(const Carried& c, const std::string& what, double gap = 0.005) {
  ASSERT_FALSE(c.repairs.empty()) << what << (c.issues.empty() ? "" : c.issues[0].text());
  int frames = 0, kept = 0, asked = 0, near = 0;
  for (const Repair& repair : c.repairs) {
    const TouchKept after = touchKept(*c.context, c.motion, repair), before = touchKept(*c.context, c.plain, repair);
    frames += after.frames;
    kept += after.kept;
    EXPECT_LT(before.kept, before.frames) << what;
    const auto& touch = std::get<TouchRepair>(repair.action);
    const int side = *findBone(*c.context, touch.bone) == c.context->arms[0].end ? 0 : 1;
    const FrameSpan span = repairFrames(repair, c.context->rate, c.context->frames).span;
    for (int f = span.first; f <= span.last; f += std::max(1, span.count() / 4)) {
      const TriangleTree hand = skinOf(*c.context, c.motion, f, jointsOf(*c.context, side, true, false));
      const TriangleTree other = skinOf(*c.context, c.motion, f, jointsOf(*c.context, 1 - side, false, touch.target == TouchTarget::hand));
      ++asked;
      near += between(hand, other) <= c.context->scaled(gap);
    }
  }
  EXPECT_GE(kept, 0.9 * frames) << what;
  EXPECT_GE(near, 0.9 * asked) << what << ": gaps measured on all triangles";
}

TEST(TouchCarry, ClapsMeet) { expectKept(carry(test::clap(2)), "clap"); }
TEST(TouchCarry, PalmsStayTogether) { expectKept(carry(test::palmsTogether(1)), "palms"); }
// Touches are kept by distance grids of the rest pose, which are some millimetres off where hips bend.
TEST(TouchCarry, HandsLieOnHips) { expectKept(carry(test::handsOnHips()), "hips", 0.009); }
TEST(TouchCarry, AStrokeKeepsToTheChest) { expectKept(carry(test::strokeChest(30)), "stroke"); }
TEST(TouchCarry, AHandLiesOnTheHead) { expectKept(carry(test::handToHead()), "head"); }

TEST(TouchCarry, LayersKeepTheirPromises) {
  const Carried c = carry(test::handsOnHips());
  std::vector<const Repair*> list;
  for (const Repair& repair : c.repairs) list.push_back(&repair);
  Issues issues;
  const RepairLayerPtr layer = makeTouchLayer(c.context, list, issues);
  ASSERT_TRUE(layer);
  EXPECT_EQ(test::brokenPromises(*layer, c.plain, 11), "");
}

TEST(TouchCarry, WhatIsRememberedIsWhatIsWorkedOut) {
  const Carried c = carry(test::strokeChest(30));
  ASSERT_FALSE(c.repairs.empty());
  for (const int cut : {0, 3, 8}) {
    Repair touch = c.repairs.front();
    touch.span->first += c.context->rate.seconds(cut);
    touch.span->last -= c.context->rate.seconds(cut / 2);
    // Asked of the same character before, over another span; and of one that remembers nothing.
    auto fresh = std::make_shared<RepairContext>(*c.context);
    fresh->parts = std::make_shared<ContextParts>();
    Issues issues;
    const RepairLayerPtr known = makeTouchLayer(c.context, {&touch}, issues), anew = makeTouchLayer(fresh, {&touch}, issues);
    ASSERT_TRUE(known && anew);
    const TiledMotion a = test::runLayer(*known, c.plain).motion, b = test::runLayer(*anew, c.plain).motion;
    int moved = 0;
    for (int f = 0; f < a.frames(); ++f) {
      EXPECT_TRUE(a.sameAt(b, f)) << "cut by " << cut << ", frame " << f;
      moved += !a.sameAt(c.plain, f);
    }
    EXPECT_GT(moved, 10);
  }
}

TEST(TouchCarry, TheNearestSkinDoesNotDependOnWhatWasAskedBefore) {
  const Carried c = carry(test::strokeChest(30));
  const std::shared_ptr<const TouchSkin> skin = TouchSkin::of(*c.context);
  Poser poser(*c.context);
  std::mt19937 random(5);
  std::uniform_real_distribution<double> some(-0.06, 0.06);
  for (int f = 0; f < c.motion.frames(); f += 10)
    for (int side = 0; side < 2; ++side) {
      poser.load(c.motion, f);
      for (const TouchSkin::Against what : {TouchSkin::Against::body, TouchSkin::Against::otherArm}) {
        const TouchSkin::Posed asked(*skin, poser, side, what), askedWithin(*skin, poser, side, what);
        Vec3d shift;
        for (int k = 0; k < 12; ++k) {
          const TouchSkin::Posed::Nearest later = asked.nearest(shift), first = TouchSkin::Posed(*skin, poser, side, what).nearest(shift);
          EXPECT_EQ(later.distance, first.distance) << "frame " << f << ", " << k;
          EXPECT_EQ(later.gradient, first.gradient) << "frame " << f << ", " << k;
          // Within what is asked for it is the same, beyond that as much.
          constexpr double within = 0.02;
          const TouchSkin::Posed::Nearest bounded = askedWithin.nearest(shift, within);
          EXPECT_EQ(bounded.distance, std::min(first.distance, within)) << "frame " << f << ", " << k;
          EXPECT_EQ(bounded.gradient, first.distance < within ? first.gradient : Vec3d{}) << "frame " << f << ", " << k;
          shift += Vec3d{some(random), some(random), some(random)} * (k % 3 == 2 ? 3.0 : 0.5);
        }
      }
    }
}

TEST(TouchCarry, WhatIsKnownOfAContactCountsOnlyWhileItsMotionIsTheSame) {
  const Carried c = carry(test::strokeChest(30));
  ASSERT_FALSE(c.contacts.touches.empty());
  const BodyContact& contact = c.contacts.touches.front();
  const int arm = c.context->arms[static_cast<std::size_t>(contact.hand)].root;
  const auto carriedOver = [&](const TiledMotion& motion, std::shared_ptr<ContextParts> parts) {
    RepairContext context = *c.context;
    context.parts = std::move(parts);
    Issues issues;
    return touchesOf(context, c.contacts, c.context->rate, motion, Alignment{}, {}, issues);
  };
  const auto known = std::make_shared<ContextParts>();
  const std::vector<Repair> before = carriedOver(c.plain, known);
  EXPECT_EQ(carriedOver(c.plain, known), before);
  // The arm swings away in some frames: within the touch, and beside it.
  bool other = false;
  for (const int first : {(contact.first + contact.last) / 2, contact.last + 3}) {
    TiledMotion moved = c.plain;
    const FrameSpan span = common({first, first + 8}, {0, moved.frames() - 1});
    moved = moved.writable(span.first, span.count());
    for (int f = span.first; f <= span.last; ++f) {
      Quatf& q = moved.rotationsToWrite(f)[static_cast<std::size_t>(arm)];
      q = Quatf(fromAxisAngle(Vec3d{0, 0, 1}, 1.2) * Quatd(q));
    }
    const std::vector<Repair> fresh = carriedOver(moved, std::make_shared<ContextParts>());
    EXPECT_EQ(carriedOver(moved, known), fresh) << first;
    other = other || fresh != before;
  }
  EXPECT_TRUE(other);
}

TEST(TouchCarry, ExactDistancesAreThoseOfThePosedTriangles) {
  double exact = 0, grid = 0;
  int frames = 0;
  for (const Carried& c : {carry(test::handsOnHips()), carry(test::strokeChest(30)), carry(test::handToHead())}) {
    const std::shared_ptr<const TouchSkin> skin = TouchSkin::of(*c.context);
    Poser poser(*c.context);
    for (const Repair& repair : c.repairs) {
      const int side = *findBone(*c.context, std::get<TouchRepair>(repair.action).bone) == c.context->arms[0].end ? 0 : 1;
      const FrameSpan span = repairFrames(repair, c.context->rate, c.context->frames).span;
      for (int f = span.first; f <= span.last; f += std::max(1, span.count() / 6)) {
        poser.load(c.motion, f);
        const TouchSkin::Posed posed(*skin, poser, side, TouchSkin::Against::body);
        const TriangleTree hand = skinOf(*c.context, c.motion, f, jointsOf(*c.context, side, true, false)), body = skinOf(*c.context, c.motion, f, jointsOf(*c.context, 1 - side, false, false));
        const double whole = between(hand, body);
        // Where nothing of the hand is inside, all triangles tell how near it is.
        if (std::any_of(hand.indices().begin(), hand.indices().end(), [&](std::uint32_t i) { return body.inside(hand.positions()[i]); })) continue;
        exact += std::abs(posed.exact({}).distance - whole);
        grid += std::abs(posed.nearest({}).distance - whole);
        ++frames;
      }
    }
  }
  ASSERT_GT(frames, 10);
  EXPECT_LT(exact / frames, 0.0005) << "metres";
  EXPECT_LT(exact, 0.5 * grid) << "nothing is won over the grids";
}

TEST(TouchCarry, TheTreeOfPosedSkinFindsWhatAllTrianglesTell) {
  const Carried c = carry(test::handToHead());
  const std::shared_ptr<const BodyModel> model = bodyModelOf(*c.context);
  const BodySurface& surface = model->surface;
  Poser poser(*c.context);
  poser.load(c.plain, c.plain.frames() / 2);
  std::mt19937 random(7);
  std::uniform_real_distribution<double> some(-1, 1);
  for (const LimbRig& limb : c.context->legs) poser.turn(limb.root, fromAxisAngle(Vec3d{1, 0, 0}, 1.1));
  std::vector<Quatd> rotation;
  std::vector<Vec3d> position;
  for (int j = 0; j < c.context->figure->skeleton.size(); ++j) {
    rotation.push_back(poser.rotation(j));
    position.push_back(poser.position(j));
  }
  const std::vector<Affined> turned = turnedFrames({c.context->body.rotation, c.context->body.position}, {rotation, position});
  for (const BodySolid& solid : model->solids) {
    const PartMesh mesh = meshOf(*model, solid);
    const SkinTree tree(surface, mesh);
    const PosedSkin skin(tree, turned);
    std::vector<Vec3d> posed(mesh.vertices.size());
    pointsOf(surface, turned, mesh.vertices, posed);
    ASSERT_FALSE(posed.empty());
    for (int k = 0; k < 60; ++k) {
      const Vec3d point = posed[random() % posed.size()] + Vec3d{some(random), some(random), some(random)} * (k % 2 ? 0.02 : 0.2);
      double nearest = 1e300;
      for (std::size_t i = 0; i < mesh.indices.size(); i += 3) {
        const std::uint32_t* t = &mesh.indices[i];
        if (std::max({t[0], t[1], t[2]}) >= posed.size()) continue;
        nearest = std::min(nearest, distance(point, closestOnTriangle(point, posed[t[0]], posed[t[1]], posed[t[2]])));
      }
      for (const double within : {10.0, 0.05, 0.004}) EXPECT_NEAR(skin.nearest(point, within).distance, std::min(nearest, within), 1e-12) << "metres";
      const double enough = skin.nearest(point, 10, 0.03).distance;
      EXPECT_TRUE(nearest < 0.03 ? enough >= nearest - 1e-12 && enough < 0.03 : std::abs(enough - nearest) < 1e-12) << enough << " for " << nearest;
    }
  }
}

TEST(TouchCarry, AHandOnTheBodyIsNoTouchOfTheOtherArm) {
  const Carried c = carry(test::strokeChest(30));
  ASSERT_FALSE(c.repairs.empty());
  Repair repair = c.repairs.front();
  auto& touch = std::get<TouchRepair>(repair.action);
  ASSERT_GT(touchKept(*c.context, c.motion, repair).kept, 0);
  const bool left = *findBone(*c.context, touch.bone) == c.context->arms[0].end;
  touch.path.clear();
  touch.on = left ? "@rightLowerArm" : "@leftLowerArm";
  touch.place = {};
  const TouchKept kept = touchKept(*c.context, c.motion, repair);
  EXPECT_EQ(kept.kept, 0);
  EXPECT_GT(kept.gap, c.context->scaled(0.05));
}

TEST(TouchCarry, WhatIsKnownOfATouchTellsItsMomentsApart) {
  const Carried c = carry(test::strokeChest(30));
  ASSERT_FALSE(c.repairs.empty());
  Repair stroke = c.repairs.front();
  auto& marks = std::get<TouchRepair>(stroke.action).path;
  ASSERT_GT(marks.size(), 2U);
  for (std::size_t k = 0; k < marks.size(); ++k) marks[k].place.y += c.context->scaled(0.06) * static_cast<double>(k) / static_cast<double>(marks.size() - 1);
  const FrameSpan span = repairFrames(stroke, c.context->rate, c.context->frames).span;
  // The performer stands still: frames differ in their moments alone.
  Motion still = c.plain.flat();
  const auto each = static_cast<std::size_t>(still.joints), moved = still.movedJoints.size(), kept = static_cast<std::size_t>(span.first);
  for (std::size_t f = 0; f < static_cast<std::size_t>(still.frames); ++f) {
    if (f == kept) continue;
    std::copy_n(still.rotations.begin() + static_cast<std::ptrdiff_t>(kept * each), each, still.rotations.begin() + static_cast<std::ptrdiff_t>(f * each));
    std::copy_n(still.translations.begin() + static_cast<std::ptrdiff_t>(kept * moved), moved, still.translations.begin() + static_cast<std::ptrdiff_t>(f * moved));
  }
  const TiledMotion motion(std::make_shared<const Motion>(std::move(still)));
  // The same path, sooner done.
  Repair hasty = stroke;
  for (TouchMark& mark : std::get<TouchRepair>(hasty.action).path) mark.time = marks.front().time + 0.7 * (mark.time - marks.front().time);
  const auto ran = [&](const std::shared_ptr<const RepairContext>& context, const Repair& repair) {
    Issues issues;
    const RepairLayerPtr layer = makeTouchLayer(context, {&repair}, issues);
    return test::runLayer(*layer, motion).motion;
  };
  const auto fresh = [&] {
    auto context = std::make_shared<RepairContext>(*c.context);
    context->parts = std::make_shared<ContextParts>();
    return context;
  };
  const auto known = fresh();
  const TiledMotion first = ran(known, stroke);
  EXPECT_EQ(ran(known, hasty).flat(), ran(fresh(), hasty).flat());
  EXPECT_EQ(ran(known, stroke).flat(), first.flat());
  const auto hand = [&](int frame) {
    const int end = *findBone(*c.context, std::get<TouchRepair>(stroke.action).bone);
    return worldAt(c.context->figure->skeleton, first, frame)[static_cast<std::size_t>(end)].translation;
  };
  double way = 0;
  for (int f = span.first; f <= span.last; ++f) way = std::max(way, distance(hand(f), hand(span.first)));
  EXPECT_GT(way, c.context->scaled(0.02));
}

TEST(TouchCarry, FindingsSayWhatWasLost) {
  const Carried c = carry(test::clap(2));
  const Findings lost = touchFindings(*c.context, c.plain, c.repairs);
  ASSERT_FALSE(lost.empty());
  EXPECT_EQ(lost[0].kind, FindingKind::lostContact);
  EXPECT_NE(lost[0].sentence.find("hands that met"), std::string::npos) << lost[0].sentence;
  EXPECT_GT(lost[0].measure, 2);
  ASSERT_EQ(lost[0].proposal.size(), 1U);
  EXPECT_TRUE(touchFindings(*c.context, c.motion, c.repairs).empty());
}

TEST(TouchCarry, WhatIsOutOfReachIsLeftOutAndTold) {
  // Both hands on each other's arms, and a body whose touch lies nowhere.
  Carried c = carry(test::handToHead());
  BodyContact far = c.contacts.touches.at(0);
  far.site = BodySite::leftShank;
  for (BodyContactFrame& f : far.frames) f.site = BodySite::leftShank;
  c.contacts.touches = {far};
  Issues issues;
  const std::vector<Repair> none = touchesOf(*c.context, c.contacts, c.context->rate, c.plain, Alignment{}, {}, issues);
  EXPECT_TRUE(none.empty());
  ASSERT_FALSE(issues.empty());
  EXPECT_NE(issues[0].text().find("left shank"), std::string::npos);
}

}  // namespace
}  // namespace understudy
