// Collada and FBX files written by hand from the published definitions, and what must be read from them.
// Sources: Collada 1.4.1 specification (Khronos), chapters on skinning, animation and asset; Autodesk's FBX SDK
// documentation, "Computing transformation matrices":
// World = ParentWorld · T · Roff · Rp · Rpre · R · Rpost⁻¹ · Rp⁻¹ · Soff · Sp · S · Sp⁻¹.
#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "core/figure/figure.h"
#include "core/io/read.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;
constexpr double degrees = M_PI / 180;

class ExchangeFile : public ::testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::temp_directory_path() /
              ("exchange_" + std::to_string(::getpid()) + "_" + ::testing::UnitTest::GetInstance()->current_test_info()->name());
    fs::create_directories(folder_ / "textures");
  }
  void TearDown() override { fs::remove_all(folder_); }
  Result<Figure> read(const std::string& name, const std::string& text, bool meshes = true) {
    const fs::path path = folder_ / name;
    std::ofstream(path, std::ios::binary) << text;
    ReadSettings settings;
    settings.meshes = meshes;
    settings.readerProgram = UNDERSTUDY_BINARY "/bin/understudy-reader";
    return readThroughChild(path.string(), settings);
  }
  fs::path folder_;
};

// ---- Collada: two joints, a skinned strip of four vertices, one animation; inches, Z up.

std::string collada(const std::string& unit, const std::string& up, const std::string& rootName = "mast",
                    const std::string& tipName = "lamp") {
  std::ostringstream out;
  out << R"(<?xml version="1.0" encoding="utf-8"?>
<COLLADA xmlns="http://www.collada.org/2005/11/COLLADASchema" version="1.4.1">
 <asset><contributor><authoring_tool>by hand</authoring_tool></contributor><created>2026-01-01T00:00:00</created><modified>2026-01-01T00:00:00</modified>)"
      << unit << "<up_axis>" << up << R"(</up_axis></asset>
 <library_images><image id="img" name="img"><init_from>wool.png</init_from></image></library_images>
 <library_effects><effect id="fx"><profile_COMMON>
  <newparam sid="surf"><surface type="2D"><init_from>img</init_from></surface></newparam>
  <newparam sid="samp"><sampler2D><source>surf</source></sampler2D></newparam>
  <technique sid="common"><lambert><diffuse><texture texture="samp" texcoord="UV"/></diffuse></lambert></technique></profile_COMMON></effect>
  <effect id="fx2"><profile_COMMON><technique sid="common"><lambert><diffuse><color>0.5 0.25 1 1</color></diffuse></lambert></technique></profile_COMMON></effect></library_effects>
 <library_materials><material id="wool" name="wool"><instance_effect url="#fx"/></material><material id="paint" name="paint"><instance_effect url="#fx2"/></material></library_materials>
 <library_geometries>
  <geometry id="strip" name="strip"><mesh>
   <source id="strip-p"><float_array id="strip-pa" count="12">-5 0 0 5 0 0 -5 0 60 5 0 60</float_array>
    <technique_common><accessor source="#strip-pa" count="4" stride="3"><param name="X" type="float"/><param name="Y" type="float"/><param name="Z" type="float"/></accessor></technique_common></source>
   <source id="strip-t"><float_array id="strip-ta" count="8">0 0 1 0 0 1 1 1</float_array>
    <technique_common><accessor source="#strip-ta" count="4" stride="2"><param name="S" type="float"/><param name="T" type="float"/></accessor></technique_common></source>
   <vertices id="strip-v"><input semantic="POSITION" source="#strip-p"/></vertices>
   <triangles count="2" material="m"><input semantic="VERTEX" source="#strip-v" offset="0"/><input semantic="TEXCOORD" source="#strip-t" offset="1" set="0"/><p>0 0 1 1 2 2 1 1 3 3 2 2</p></triangles>
  </mesh></geometry>
 </library_geometries>
 <library_controllers><controller id="skin"><skin source="#strip">
   <bind_shape_matrix>1 0 0 0 0 1 0 0 0 0 1 10 0 0 0 1</bind_shape_matrix>
   <source id="skin-j"><Name_array id="skin-ja" count="2">jroot jtip</Name_array><technique_common><accessor source="#skin-ja" count="2" stride="1"><param name="JOINT" type="name"/></accessor></technique_common></source>
   <source id="skin-b"><float_array id="skin-ba" count="32">1 0 0 0 0 1 0 0 0 0 1 -10 0 0 0 1  1 0 0 0 0 1 0 0 0 0 1 -40 0 0 0 1</float_array>
    <technique_common><accessor source="#skin-ba" count="2" stride="16"><param name="TRANSFORM" type="float4x4"/></accessor></technique_common></source>
   <source id="skin-w"><float_array id="skin-wa" count="3">1 0.25 0.75</float_array><technique_common><accessor source="#skin-wa" count="3" stride="1"><param name="WEIGHT" type="float"/></accessor></technique_common></source>
   <joints><input semantic="JOINT" source="#skin-j"/><input semantic="INV_BIND_MATRIX" source="#skin-b"/></joints>
   <vertex_weights count="4"><input semantic="JOINT" source="#skin-j" offset="0"/><input semantic="WEIGHT" source="#skin-w" offset="1"/><vcount>1 1 2 2</vcount><v>0 0 0 0 0 1 1 2 0 1 1 2</v></vertex_weights>
  </skin></controller></library_controllers>
 <library_animations><animation id="anim">
   <source id="a-in"><float_array id="a-ina" count="3">0 0.5 1</float_array><technique_common><accessor source="#a-ina" count="3" stride="1"><param name="TIME" type="float"/></accessor></technique_common></source>
   <source id="a-out"><float_array id="a-outa" count="3">0 45 90</float_array><technique_common><accessor source="#a-outa" count="3" stride="1"><param name="ANGLE" type="float"/></accessor></technique_common></source>
   <source id="a-int"><Name_array id="a-inta" count="3">LINEAR LINEAR LINEAR</Name_array><technique_common><accessor source="#a-inta" count="3" stride="1"><param name="INTERPOLATION" type="name"/></accessor></technique_common></source>
   <sampler id="a-s"><input semantic="INPUT" source="#a-in"/><input semantic="OUTPUT" source="#a-out"/><input semantic="INTERPOLATION" source="#a-int"/></sampler>
   <channel source="#a-s" target="tip/rotateX.ANGLE"/></animation></library_animations>
 <library_visual_scenes><visual_scene id="scene" name="scene">
   <node id="root" name=")"
      << rootName << R"(" sid="jroot" type="JOINT"><translate sid="t">0 0 10</translate>
    <node id="tip" name=")"
      << tipName << R"(" sid="jtip" type="JOINT"><translate sid="t">0 0 30</translate><rotate sid="rotateX">1 0 0 0</rotate></node></node>
   <node id="body" name="body"><instance_controller url="#skin"><skeleton>#root</skeleton>
    <bind_material><technique_common><instance_material symbol="m" target="#wool"/></technique_common></bind_material></instance_controller></node>
 </visual_scene></library_visual_scenes>
 <scene><instance_visual_scene url="#scene"/></scene>
</COLLADA>)";
  return out.str();
}

TEST_F(ExchangeFile, ColladaKeepsItsOwnNumbers) {
  const Result<Figure> figure = read("lamp.dae", collada(R"(<unit meter="0.0254" name="inch"/>)", "Z_UP"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(figure->format, "Collada");
  EXPECT_DOUBLE_EQ(figure->space.metresPerUnit, 0.0254);
  EXPECT_EQ(figure->space.unitName, "in");
  EXPECT_EQ(figure->space.upName, "+Z");
  EXPECT_NEAR(distance(apply(figure->space.toWorld(), Vec3d{0, 0, 100}), Vec3d{0, 2.54, 0}), 0, 1e-6);
  const Result<int> root = findJoint(figure->skeleton, "mast"), tip = findJoint(figure->skeleton, "lamp");
  ASSERT_TRUE(root.ok() && tip.ok());
  EXPECT_EQ(figure->skeleton.parents[static_cast<std::size_t>(*root)], -1);
  const std::vector<Affined> rest = restWorld(figure->skeleton);
  EXPECT_NEAR(distance(rest[static_cast<std::size_t>(*tip)].translation, Vec3d{0, 0, 40}), 0, 1e-5);
}

TEST_F(ExchangeFile, ColladaSkinFollowsItsJoints) {
  const Result<Figure> figure = read("lamp.dae", collada(R"(<unit meter="0.0254" name="inch"/>)", "Z_UP"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  ASSERT_EQ(figure->skins.size(), 1U);
  ASSERT_EQ(figure->meshes.size(), 1U);
  const std::vector<Affined> bind = bindWorld(*figure);
  const int tip = *findJoint(figure->skeleton, "lamp");
  EXPECT_NEAR(distance(bind[static_cast<std::size_t>(tip)].translation, Vec3d{0, 0, 40}), 0, 1e-4);
  // The bind shape matrix lifts the mesh by 10.
  std::vector<double> heights;
  for (const Vec3f& p : skinnedPositions(*figure, figure->meshes[0], bind)) heights.push_back(p.z);
  EXPECT_NEAR(*std::min_element(heights.begin(), heights.end()), 10, 1e-4);
  EXPECT_NEAR(*std::max_element(heights.begin(), heights.end()), 70, 1e-4);
  // At the last key the tip has turned by 90° about X: 30 above it becomes 30 behind it, three quarters of the way.
  ASSERT_EQ(figure->clips.size(), 1U);
  const Result<Motion> motion = sample(figure->clips[0], figure->skeleton);
  ASSERT_TRUE(motion.ok()) << motion.error().text();
  EXPECT_NEAR(motion->duration(), 1, 1e-6);
  const std::vector<Affined> world = worldAt(figure->skeleton, *motion, motion->frames - 1);
  double lowest = 0;
  for (const Vec3f& p : skinnedPositions(*figure, figure->meshes[0], world)) lowest = std::min<double>(lowest, p.y);
  EXPECT_NEAR(lowest, -0.75 * 30, 1e-3);
}

TEST_F(ExchangeFile, ColladaNamesThatRepeatStayApart) {
  const Result<Figure> figure = read("lamp.dae", collada(R"(<unit meter="1" name="meter"/>)", "Y_UP", "bone", "bone"), false);
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_EQ(std::count(figure->skeleton.names.begin(), figure->skeleton.names.end(), "bone"), 2);
  ASSERT_EQ(figure->clips.size(), 1U);
  // The animation belongs to the child, not to its namesake.
  int turning = 0;
  for (const KeyedCurve& curve : figure->clips[0].curves) {
    if (curve.target != CurveTarget::rotation || curve.times.size() < 2) continue;
    ++turning;
    EXPECT_GE(figure->skeleton.parents[static_cast<std::size_t>(curve.joint)], 0);
  }
  EXPECT_EQ(turning, 1);
}

TEST_F(ExchangeFile, TextureIsFoundBesideTheFileAndTakesTheColoursPlace) {
  const std::string png = std::string("\x89PNG\r\n\x1a\n", 8) + "not much of a picture";
  std::ofstream(folder_ / "textures" / "wool.png", std::ios::binary) << png;
  const Result<Figure> figure = read("lamp.dae", collada("", "Y_UP"));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  ASSERT_EQ(figure->images.size(), 1U);
  EXPECT_EQ(figure->images[0].mimeType, "image/png");
  EXPECT_EQ(std::string(figure->images[0].bytes.begin(), figure->images[0].bytes.end()), png);
  const Material& material = figure->materials[static_cast<std::size_t>(figure->meshes[0].material)];
  EXPECT_EQ(material.image, 0);
  EXPECT_EQ(material.baseColour[0], 1);
}

TEST_F(ExchangeFile, DiffuseColourIsLinear) {
  std::string text = collada("", "Y_UP");
  text.replace(text.find("target=\"#wool\""), 14, "target=\"#paint\"");
  const Result<Figure> figure = read("lamp.dae", text);
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  const Material& material = figure->materials[static_cast<std::size_t>(figure->meshes[0].material)];
  // IEC 61966-2-1: 0.5 → 0.21404, 0.25 → 0.05088.
  EXPECT_NEAR(material.baseColour[0], 0.21404, 1e-4);
  EXPECT_NEAR(material.baseColour[1], 0.05088, 1e-4);
  EXPECT_NEAR(material.baseColour[2], 1, 1e-6);
}

// ---- FBX: an ASCII file with one chain of bones, each with its own pivots, all turning.

struct Bone {
  std::string name;
  Vec3d translation, rotation, scale{1, 1, 1};  // degrees, Euler XYZ
  Vec3d preRotation{}, postRotation{}, rotationOffset{}, rotationPivot{}, scalingOffset{}, scalingPivot{};
  Vec3d turnTo{};  // rotation at the last key
  bool animated = false;
  Vec3d moveTo{};  // translation at the last key
  bool moves = false;
};
constexpr int frames = 25;  // keys at 24 frames a second

Quatd euler(const Vec3d& d) {
  return fromAxisAngle(Vec3d{0, 0, 1}, d.z * degrees) * fromAxisAngle(Vec3d{0, 1, 0}, d.y * degrees) *
         fromAxisAngle(Vec3d{1, 0, 0}, d.x * degrees);
}

/// The formula of the FBX SDK documentation.
Affined localOf(const Bone& bone, double t) {
  const auto shift = [](const Vec3d& v) { return Affined{Mat3d{}, v}; };
  const auto turn = [](const Quatd& q) { return Affined{toMatrix(q), {}}; };
  const Vec3d rotation = bone.animated ? lerp(bone.rotation, bone.turnTo, t) : bone.rotation;
  const Vec3d translation = bone.moves ? lerp(bone.translation, bone.moveTo, t) : bone.translation;
  const Affined scale{Mat3d{{bone.scale.x, 0, 0}, {0, bone.scale.y, 0}, {0, 0, bone.scale.z}}, {}};
  return shift(translation) * shift(bone.rotationOffset) * shift(bone.rotationPivot) * turn(euler(bone.preRotation)) *
         turn(euler(rotation)) * turn(conjugate(euler(bone.postRotation))) * shift(-bone.rotationPivot) * shift(bone.scalingOffset) *
         shift(bone.scalingPivot) * scale * shift(-bone.scalingPivot);
}

std::string fbx(const std::vector<Bone>& bones, const std::string& axes = "1,1, 2,1, 0,1", double unit = 1) {
  std::ostringstream out;
  std::istringstream in(axes);
  int axis[6];
  for (int& a : axis) in >> a, in.ignore(1);
  constexpr long long second = 46186158000LL;
  out << "; FBX 7.4.0 project file\nFBXHeaderExtension:  {\n\tFBXHeaderVersion: 1003\n\tFBXVersion: 7400\n}\n";
  const char* names[6] = {"UpAxis", "UpAxisSign", "FrontAxis", "FrontAxisSign", "CoordAxis", "CoordAxisSign"};
  out << "GlobalSettings:  {\n\tVersion: 1000\n\tProperties70:  {\n";
  for (int i = 0; i < 6; ++i) out << "\t\tP: \"" << names[i] << "\", \"int\", \"Integer\", \"\"," << axis[i] << "\n";
  out << "\t\tP: \"UnitScaleFactor\", \"double\", \"Number\", \"\"," << unit << "\n\t\tP: \"TimeMode\", \"enum\", \"\", \"\",11\n\t}\n}\n";
  out << "Objects:  {\n";
  std::ostringstream links;
  const auto property = [&](const char* name, const Vec3d& v, const Vec3d& plain) {
    if (v == plain) return;
    out << "\t\t\tP: \"" << name << "\", \"Vector3D\", \"Vector\", \"\"," << v.x << "," << v.y << "," << v.z << "\n";
  };
  out << "\tAnimationStack: 900, \"AnimStack::Sweep\", \"\" {\n\t\tProperties70:  {\n\t\t\tP: \"LocalStop\", \"KTime\", \"Time\", \"\","
      << second << "\n\t\t\tP: \"ReferenceStop\", \"KTime\", \"Time\", \"\"," << second << "\n\t\t}\n\t}\n";
  out << "\tAnimationLayer: 901, \"AnimLayer::Base\", \"\" {\n\t}\n";
  links << "\tC: \"OO\",901,900\n";
  for (std::size_t b = 0; b < bones.size(); ++b) {
    const Bone& bone = bones[b];
    const std::size_t id = 1000 + 100 * b;
    out << "\tModel: " << id << ", \"Model::" << bone.name << "\", \"LimbNode\" {\n\t\tVersion: 232\n\t\tProperties70:  {\n"
        << "\t\t\tP: \"RotationActive\", \"bool\", \"\", \"\",1\n";
    property("RotationOffset", bone.rotationOffset, {});
    property("RotationPivot", bone.rotationPivot, {});
    property("ScalingOffset", bone.scalingOffset, {});
    property("ScalingPivot", bone.scalingPivot, {});
    property("PreRotation", bone.preRotation, {});
    property("PostRotation", bone.postRotation, {});
    out << "\t\t\tP: \"Lcl Translation\", \"Lcl Translation\", \"\", \"A\"," << bone.translation.x << "," << bone.translation.y << ","
        << bone.translation.z << "\n\t\t\tP: \"Lcl Rotation\", \"Lcl Rotation\", \"\", \"A\"," << bone.rotation.x << "," << bone.rotation.y
        << "," << bone.rotation.z << "\n\t\t\tP: \"Lcl Scaling\", \"Lcl Scaling\", \"\", \"A\"," << bone.scale.x << "," << bone.scale.y
        << "," << bone.scale.z << "\n\t\t}\n\t}\n";
    links << "\tC: \"OO\"," << id << "," << (b == 0 ? 0 : id - 100) << "\n";
    const auto animate = [&](std::size_t node, const char* target, const char* short_, const Vec3d& from, const Vec3d& to) {
      out << "\tAnimationCurveNode: " << node << ", \"AnimCurveNode::" << short_ << "\", \"\" {\n\t\tProperties70:  {\n";
      for (int i = 0; i < 3; ++i)
        out << "\t\t\tP: \"d|"
            << "XYZ"[i] << "\", \"Number\", \"\", \"A\"," << from[i] << "\n";
      out << "\t\t}\n\t}\n";
      links << "\tC: \"OO\"," << node << ",901\n\tC: \"OP\"," << node << "," << id << ", \"" << target << "\"\n";
      for (int i = 0; i < 3; ++i) {
        const std::size_t curve = node + 1 + static_cast<std::size_t>(i);
        out << "\tAnimationCurve: " << curve << ", \"AnimCurve::\", \"\" {\n\t\tDefault: 0\n\t\tKeyVer: 4008\n\t\tKeyTime: *" << frames
            << " {\n\t\t\ta: ";
        for (int f = 0; f < frames; ++f) out << (f ? "," : "") << second * f / (frames - 1);
        out << "\n\t\t}\n\t\tKeyValueFloat: *" << frames << " {\n\t\t\ta: ";
        for (int f = 0; f < frames; ++f) out << (f ? "," : "") << from[i] + (to[i] - from[i]) * f / (frames - 1);
        out << "\n\t\t}\n\t\tKeyAttrFlags: *1 {\n\t\t\ta: 24836\n\t\t}\n\t\tKeyAttrDataFloat: *4 {\n\t\t\ta: "
               "0,0,255790911,0\n\t\t}\n\t\tKeyAttrRefCount: *1 {\n\t\t\ta: "
            << frames << "\n\t\t}\n\t}\n";
        links << "\tC: \"OP\"," << curve << "," << node << ", \"d|"
              << "XYZ"[i] << "\"\n";
      }
    };
    if (bone.animated) animate(id + 10, "Lcl Rotation", "R", bone.rotation, bone.turnTo);
    if (bone.moves) animate(id + 20, "Lcl Translation", "T", bone.translation, bone.moveTo);
  }
  out << "}\nConnections:  {\n" << links.str() << "}\n";
  return out.str();
}

void expectWorld(const Figure& figure, const std::vector<Bone>& bones) {
  ASSERT_EQ(figure.skeleton.size(), static_cast<int>(bones.size()));
  const auto compare = [&](const std::vector<Affined>& world, double t, const std::string& when) {
    Affined expected;
    for (std::size_t b = 0; b < bones.size(); ++b) {
      expected = expected * localOf(bones[b], t);
      EXPECT_EQ(figure.skeleton.names[b], bones[b].name);
      EXPECT_NEAR(distance(world[b].translation, expected.translation), 0, 2e-3) << bones[b].name << when;
      for (int axis = 0; axis < 3; ++axis) {
        Vec3d unit{};
        unit[axis] = 1;
        EXPECT_NEAR(angleBetween(world[b].linear * unit, expected.linear * unit), 0, 2e-5) << bones[b].name << when;
      }
    }
  };
  compare(restWorld(figure.skeleton), 0, " at rest");
  ASSERT_EQ(figure.clips.size(), 1U);
  EXPECT_EQ(figure.clips[0].rate, (FrameRate{24, 1}));
  const Result<Motion> motion = sample(figure.clips[0], figure.skeleton);
  ASSERT_TRUE(motion.ok());
  ASSERT_EQ(motion->frames, frames);
  for (int f = 0; f < frames; ++f) compare(worldAt(figure.skeleton, *motion, f), f / (frames - 1.0), " frame " + std::to_string(f));
}

TEST_F(ExchangeFile, FbxPivotsFollowThePublishedFormula) {
  Bone root{"mast", {0, 90, 0}, {10, 20, 30}}, plain{"plain", {0, 30, 0}, {5, 0, 40}}, pre{"pre", {0, 30, 0}, {0, 10, 0}},
      both{"both", {0, 20, 5}, {15, 0, 0}}, pivot{"pivot", {0, 20, 0}, {0, 30, 0}}, still{"still", {3, 10, 0}, {0, 0, 25}},
      end{"end", {0, 12, 0}, {0, 0, 0}};
  root.animated = root.moves = true, root.turnTo = {30, -20, 60}, root.moveTo = {100, 95, 20};
  plain.animated = true, plain.turnTo = {60, 20, -10};
  pre.preRotation = {30, 40, 50}, pre.animated = true, pre.turnTo = {70, 10, 5};
  both.preRotation = {0, 90, 10}, both.postRotation = {20, -35, 10}, both.animated = true, both.turnTo = {-40, 50, 20};
  pivot.rotationPivot = {1, 4, 2}, pivot.rotationOffset = {2, 0, 1}, pivot.scalingPivot = {0, 1, 0}, pivot.preRotation = {5, 6, 7};
  pivot.animated = true, pivot.turnTo = {60, -30, 15};
  still.preRotation = {10, 0, 80}, still.postRotation = {0, 30, 0};
  const std::vector<Bone> bones{root, plain, pre, both, pivot, still, end};
  const Result<Figure> figure = read("mast.fbx", fbx(bones));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  expectWorld(*figure, bones);
}

TEST_F(ExchangeFile, FbxNamesThatRepeatStayApart) {
  std::vector<Bone> bones(5);
  for (std::size_t b = 0; b < bones.size(); ++b) {
    bones[b].name = b == 0 ? "mast" : "bone";
    bones[b].translation = {static_cast<double>(b), 25, 0};
    bones[b].preRotation = {0, 10.0 * static_cast<double>(b), 5};
    bones[b].animated = true;
    bones[b].turnTo = {8.0 * static_cast<double>(b), 0, 20.0 - 9 * static_cast<double>(b)};
  }
  const Result<Figure> figure = read("mast.fbx", fbx(bones));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  expectWorld(*figure, bones);
}

TEST_F(ExchangeFile, FbxOneKindOfPivotAtATime) {
  for (int kind = 0; kind < 8; ++kind) {
    Bone root{"mast", {0, 90, 0}, {0, 0, 0}}, bone{"bone", {0, 30, 0}, {10, 20, 30}}, end{"end", {0, 40, 0}, {0, 0, 0}};
    bone.animated = true, bone.turnTo = {-50, 60, 10};
    if (kind == 1) bone.preRotation = {40, 50, 60};
    if (kind == 2) bone.postRotation = {40, -20, 30};
    if (kind == 3) bone.preRotation = {40, 50, 60}, bone.postRotation = {-30, 10, 20};
    if (kind == 4) bone.rotationPivot = {3, 5, 7};
    if (kind == 5) bone.rotationOffset = {3, 5, 7};
    if (kind == 6) bone.scalingPivot = {3, 5, 7}, bone.scale = {2, 2, 2};
    if (kind == 7) bone.preRotation = {40, 50, 60}, bone.moves = true, bone.moveTo = {20, 30, 10};
    const std::vector<Bone> bones{root, bone, end};
    const Result<Figure> figure = read("mast.fbx", fbx(bones));
    ASSERT_TRUE(figure.ok()) << figure.error().text();
    SCOPED_TRACE("kind " + std::to_string(kind));
    expectWorld(*figure, bones);
  }
}

TEST_F(ExchangeFile, FbxAxesAndUnitAreStatedNotApplied) {
  Bone root{"mast", {0, 0, 35}, {0, 0, 0}}, end{"end", {0, 0, 30}, {0, 0, 0}};
  root.animated = true, root.turnTo = {0, 0, 90};
  // Z up, front −Y, right X; inches.
  const Result<Figure> figure = read("mast.fbx", fbx({root, end}, "2,1, 1,-1, 0,1", 2.54));
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  EXPECT_NEAR(figure->space.metresPerUnit, 0.0254, 1e-9);
  EXPECT_EQ(figure->space.unitName, "in");
  EXPECT_EQ(figure->space.upName, "+Z");
  EXPECT_NEAR(distance(figure->skeleton.rest[0].translation, Vec3d{0, 0, 35}), 0, 1e-5);
  const Affined world = figure->space.toWorld();
  EXPECT_NEAR(distance(apply(world, Vec3d{0, 0, 100}), Vec3d{0, 2.54, 0}), 0, 1e-9);
  EXPECT_NEAR(distance(apply(world, Vec3d{0, -100, 0}), Vec3d{0, 0, 2.54}), 0, 1e-9);
  EXPECT_NEAR(distance(apply(world, Vec3d{100, 0, 0}), Vec3d{2.54, 0, 0}), 0, 1e-9);
}

}  // namespace
}  // namespace understudy
