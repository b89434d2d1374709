// What the parameters of each repair are called, mean and allow: one description from which files, the schema, the command
// line and the editor's panel all follow.
#pragma once

#include <concepts>
#include <limits>
#include <string_view>
#include <vector>

#include "core/repair/repair.h"

namespace understudy {

struct FieldInfo {
  const char* name = "";
  const char* what = "";
  const char* unit = "";  ///< of the stored number: "m", "rad", "s", "Hz", "" for none
  double least = -std::numeric_limits<double>::infinity();
  double most = std::numeric_limits<double>::infinity();
};

inline const std::vector<const char*>& namesOf(PlantPart) {
  static const std::vector<const char*> names{"leftFoot", "rightFoot", "leftKnee", "rightKnee", "leftHand", "rightHand", "seat"};
  return names;
}
inline const std::vector<const char*>& namesOf(PlantPhase) {
  static const std::vector<const char*> names{"heel", "flat", "ball", "toe", "spin"};
  return names;
}
inline const std::vector<const char*>& namesOf(TouchKind) {
  static const std::vector<const char*> names{"meet", "rest", "glide"};
  return names;
}
inline const std::vector<const char*>& namesOf(TouchTarget) {
  static const std::vector<const char*> names{"point", "plane", "set", "body", "hand", "prop"};
  return names;
}
inline const std::vector<const char*>& namesOf(NudgeSpace) {
  static const std::vector<const char*> names{"bone", "parent", "character", "world", "view", "ground"};
  return names;
}
inline const std::vector<const char*>& namesOf(SetKind) {
  static const std::vector<const char*> names{"plane", "box", "ball", "steps", "mesh"};
  return names;
}

// fields(visitor, value): calls visitor(FieldInfo, member) for every member, in the order people read them. `value` may be
// const. Members are double, int, bool, std::uint64_t, std::string, the enums above, Vec3d, Quatd, Placement, JointNudge,
// PlantMark, TouchMark, PropHolder, TimeRange, and optionals and vectors of these.

template <class T, class Wanted>
concept Described = std::same_as<std::remove_const_t<T>, Wanted>;

template <class V, Described<Placement> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"position", "Where it is", "m"}, v.position);
  visit(FieldInfo{"rotation", "How it is turned (w, x, y, z)"}, v.rotation);
}
template <class V, Described<JointNudge> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"joint", "Bone: @role or the joint's own name"}, v.joint);
  visit(FieldInfo{"rotation", "Axis times angle", "rad"}, v.rotation);
  visit(FieldInfo{"translation", "Move", "m"}, v.translation);
}
template <class V, Described<PlantMark> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"time", "When the phase begins", "s"}, v.time);
  visit(FieldInfo{"phase", "What the foot turns about; spin: upright, about what is down of its ball, or of its heel after a heel phase"}, v.phase);
  visit(FieldInfo{"turn", "How far the foot spins in it; none: its part of the plant's", "rad"}, v.turn);
}
template <class V, Described<TimeRange> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"first", "First frame", "s"}, v.first);
  visit(FieldInfo{"last", "Last frame", "s"}, v.last);
}
template <class V, Described<OffsetRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bones", "Bones and what is added to each"}, v.bones);
  visit(FieldInfo{"space", "Axes the turns are about"}, v.space);
  visit(FieldInfo{"bothSides", "The other side's bones are turned as in a mirror"}, v.bothSides);
}
template <class V, Described<BridgeRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bones", "Bones that are rebuilt; none: all"}, v.bones);
  visit(FieldInfo{"position", "Positions as well"}, v.position);
}
template <class V, Described<StillRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bones", "Bones that keep still; none: all"}, v.bones);
  visit(FieldInfo{"time", "When the kept pose is taken", "s"}, v.time);
  visit(FieldInfo{"position", "Positions as well"}, v.position);
}
template <class V, Described<RestoreRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bones", "Bones whose nudges are taken off; none: all"}, v.bones);
}
template <class V, Described<UntwistRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bones", "Limbs that are untwisted; none: all"}, v.bones);
  visit(FieldInfo{"flips", "Remove flips over time"}, v.flips);
  visit(FieldInfo{"share", "Part of the excess twist that the bone above takes", "", 0, 1}, v.share);
  visit(FieldInfo{"limit", "Twist at one joint that is left alone", "rad", 0, 6.2831853}, v.limit);
  visit(FieldInfo{"hinges", "Elbows and knees take their twist from the span's edges; hands and feet keep their orientation"}, v.hinges);
}
template <class V, Described<SmoothRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bones", "Bones that are smoothed; none: all"}, v.bones);
  visit(FieldInfo{"cutoff", "What moves faster than this is damped", "Hz", 0.1, 500}, v.cutoff);
  visit(FieldInfo{"position", "Positions as well"}, v.position);
}
template <class V, Described<PlantRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"part", "What stands on the ground"}, v.part);
  visit(FieldInfo{"marks", "Phases of the foot; none: flat"}, v.marks);
  visit(FieldInfo{"ground", "Height of the ground", "m"}, v.ground);
  visit(FieldInfo{"normal", "Direction away from the ground"}, v.normal);
  visit(FieldInfo{"release", "When the foot may begin to slip", "s"}, v.release);
  visit(FieldInfo{"anchored", "The place is kept; otherwise it is read off the motion once"}, v.anchored);
  visit(FieldInfo{"anchor", "Place of the part's joint, standing flat", "m"}, v.anchor);
  visit(FieldInfo{"yaw", "Direction of the foot about up", "rad"}, v.yaw);
  visit(FieldInfo{"turn", "How far the foot spins", "rad"}, v.turn);
  visit(FieldInfo{"lift", "How far the pelvis is raised meanwhile", "m"}, v.lift);
}
template <class V, Described<TouchMark> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"time", "When", "s"}, v.time);
  visit(FieldInfo{"on", "Bone that is touched"}, v.on);
  visit(FieldInfo{"place", "Where on it, in its own frame", "m"}, v.place);
  visit(FieldInfo{"normal", "Direction outwards there"}, v.normal);
  visit(FieldInfo{"point", "What touches, in the touching bone's own frame", "m"}, v.point);
}
template <class V, Described<TouchRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"manner", "meet: one frame; rest: stays; glide: free along the surface"}, v.kind);
  visit(FieldInfo{"bone", "Bone that carries the point"}, v.bone);
  visit(FieldInfo{"point", "The point, in the bone's own frame", "m"}, v.point);
  visit(FieldInfo{"prop", "Prop that carries the point instead; 0: none"}, v.prop);
  visit(FieldInfo{"target", "What is touched"}, v.target);
  visit(FieldInfo{"on", "Bone, set object or prop that is touched"}, v.on);
  visit(FieldInfo{"place", "Where on it", "m"}, v.place);
  visit(FieldInfo{"normal", "Direction outwards there"}, v.normal);
  visit(FieldInfo{"gap", "Distance kept", "m", -1, 10}, v.gap);
  visit(FieldInfo{"path", "Where the place goes over the span; none: it stays"}, v.path);
  visit(FieldInfo{"skin", "The hand's nearest skin touches, not only the point"}, v.skin);
  visit(FieldInfo{"share", "Part of the way the other hand comes", "", 0, 1}, v.share);
  visit(FieldInfo{"spine", "The spine may help"}, v.spine);
}
template <class V, Described<GripRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"prop", "Prop in the hands; 0: none is seen"}, v.prop);
  visit(FieldInfo{"leadLeft", "The left hand leads"}, v.leadLeft);
  visit(FieldInfo{"support", "The other hand is kept on it"}, v.support);
  visit(FieldInfo{"leadGrip", "Where the lead hand holds the prop"}, v.leadGrip);
  visit(FieldInfo{"supportGrip", "Where the support hand holds it"}, v.supportGrip);
  visit(FieldInfo{"leadPalm", "The lead hand's palm in its bone"}, v.leadPalm);
  visit(FieldInfo{"supportPalm", "The support hand's palm in its bone"}, v.supportPalm);
  visit(FieldInfo{"slide", "How far the support hand may slide along the prop", "m", 0, 10}, v.slide);
  visit(FieldInfo{"share", "Part of the way between both hands that the lead hand comes", "", 0, 1}, v.share);
  visit(FieldInfo{"floor", "Keep the prop above the ground: it tilts in both hands, and slides through one"}, v.floor);
  visit(FieldInfo{"anchored", "The frames are kept; otherwise they are worked out once"}, v.anchored);
}
template <class V, Described<ClearanceRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"limbs", "Limbs that are kept out; none: both arms"}, v.limbs);
  visit(FieldInfo{"bodies", "torso, head, thighs, floor; none: all"}, v.bodies);
  visit(FieldInfo{"margin", "Distance kept, of a character 1.7 m tall", "m", 0, 0.5}, v.margin);
  visit(FieldInfo{"prop", "Keep the prop out too"}, v.prop);
  visit(FieldInfo{"headTurn", "How far the head may turn away where the arms have no room", "rad", 0, 1}, v.headTurn);
}
template <class V, Described<HandShapeRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"left", "The left hand, else the right"}, v.left);
  visit(FieldInfo{"shape", "relaxed, flat, fist, point, grip or own"}, v.shape);
  visit(FieldInfo{"amount", "Part of the way from the hand's own shape", "", 0, 1}, v.amount);
}
template <class V, Described<GroundRepair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bodies", "torso, thighs, shanks; none: all"}, v.bodies);
  visit(FieldInfo{"margin", "Height kept above the ground, of a character 1.7 m tall", "m", 0, 0.5}, v.margin);
}
/// The part all repairs have; `kind`, `action` and `unknown` are left to the caller.
template <class V, Described<Repair> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"id", "Number of the repair in its take"}, v.id);
  visit(FieldInfo{"name", "What people call it"}, v.name);
  visit(FieldInfo{"span", "First and last frame; none: the whole clip"}, v.span);
  visit(FieldInfo{"easeBefore", "Blend before the span", "s", 0, 1e4}, v.easeBefore);
  visit(FieldInfo{"easeAfter", "Blend after the span", "s", 0, 1e4}, v.easeAfter);
  visit(FieldInfo{"weight", "Strength; 0 is skipped", "", 0, 1}, v.weight);
  visit(FieldInfo{"muted", "Left out"}, v.muted);
  visit(FieldInfo{"solo", "Only solo repairs are applied"}, v.solo);
  visit(FieldInfo{"proposed", "Made by the program"}, v.proposed);
}
template <class V, Described<PropHolder> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"time", "From when on", "s"}, v.time);
  visit(FieldInfo{"bone", "Bone that holds it; empty: the world"}, v.bone);
  visit(FieldInfo{"place", "Where it is, in the stage or in the bone's frame"}, v.place);
}
template <class V, Described<PropItem> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"id", "Number of the prop in its take"}, v.id);
  visit(FieldInfo{"name", "What people call it"}, v.name);
  visit(FieldInfo{"path", "Its file; empty: a plain shaft"}, v.path);
  visit(FieldInfo{"node", "Node of that file; empty: all of it"}, v.node);
  visit(FieldInfo{"scale", "Size against the file's", "", 1e-6, 1e6}, v.scale);
  visit(FieldInfo{"length", "Of the plain shaft", "m", 1e-4, 100}, v.length);
  visit(FieldInfo{"radius", "Of the shaft, or of the handle found on the mesh", "m", 1e-4, 10}, v.radius);
  visit(FieldInfo{"leadGrip", "Where the lead hand holds it"}, v.leadGrip);
  visit(FieldInfo{"supportGrip", "Where the support hand holds it"}, v.supportGrip);
  visit(FieldInfo{"gripped", "The grips are kept; otherwise they are found on the mesh"}, v.gripped);
  visit(FieldInfo{"end", "Its working end: what sweeps, strikes or points", "m"}, v.end);
  visit(FieldInfo{"foot", "Where its handle begins on the working end's side", "m"}, v.foot);
  visit(FieldInfo{"outline", "Points of its surface, where it came from a file", "m"}, v.outline);
  visit(FieldInfo{"holders", "Who holds it, in turn, where no grip does"}, v.holders);
}
template <class V, Described<SetItem> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"id", "Number of the object in its take"}, v.id);
  visit(FieldInfo{"name", "What people call it"}, v.name);
  visit(FieldInfo{"kind", "plane, box, ball, steps or mesh"}, v.kind);
  visit(FieldInfo{"place", "Where it stands"}, v.place);
  visit(FieldInfo{"size", "Edges of a box; radius of a ball; width, rise and run of steps", "m"}, v.size);
  visit(FieldInfo{"count", "Number of steps", "", 1, 10000}, v.count);
  visit(FieldInfo{"path", "File of a mesh"}, v.path);
}
template <class V, Described<Lock> T> void fields(V&& visit, T& v) {
  visit(FieldInfo{"bones", "Bones nothing automatic touches; none: all"}, v.bones);
  visit(FieldInfo{"span", "First and last frame; none: the whole clip"}, v.span);
}

}  // namespace understudy
