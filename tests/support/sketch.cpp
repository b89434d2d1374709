#include "tests/support/sketch.h"

#include <sstream>
#include <stdexcept>

namespace understudy::test {
namespace {

std::string replaced(std::string text, std::string_view with) {
  if (const auto at = text.find('@'); at != std::string::npos) text.replace(at, 1, with);
  return text;
}

}  // namespace

Sketch sketch(std::string title, std::string_view left, std::string_view right, std::string_view lines) {
  Sketch out;
  out.title = std::move(title);
  out.figure.path = out.title;
  out.figure.format = "glTF 2.0";
  Skeleton& sk = out.figure.skeleton;
  std::map<std::string, int> index;
  std::vector<Vec3d> at;
  const auto add = [&](const std::string& name, const std::string& parent, Vec3d p, const std::string& role, bool mirror) {
    int up = -1;
    if (parent != "-") {
      if (!index.contains(parent)) throw std::runtime_error(out.title + ": no parent " + parent);
      up = index[parent];
    }
    Trsd rest;
    rest.translation = up < 0 ? p : p - at[up];
    index[name] = sk.add(name, up, rest, sk.size());
    at.push_back(p);
    if (role.empty()) return;
    const auto r = roleNamed(role);
    if (!r) throw std::runtime_error(out.title + ": no role " + role);
    out.truth[mirror ? mirrored(*r) : *r] = index[name];
  };
  std::istringstream in{std::string(lines)};
  std::string line;
  while (std::getline(in, line)) {
    std::istringstream words(line);
    std::string name, parent, role;
    Vec3d p;
    if (!(words >> name >> parent >> p.x >> p.y >> p.z)) continue;
    words >> role;
    for (char& c : name)
      if (c == '~') c = ' ';
    for (char& c : parent)
      if (c == '~') c = ' ';
    if (name.find('@') == std::string::npos) {
      add(name, parent, p, role, false);
    } else {
      add(replaced(name, left), replaced(parent, left), p, role, false);
      add(replaced(name, right), replaced(parent, right), {-p.x, p.y, p.z}, role, true);
    }
  }
  return out;
}

void addSkin(Sketch& sketch) {
  Skin skin;
  const Skeleton& sk = sketch.figure.skeleton;
  const std::vector<Affined> world = restWorld(sk);
  for (int j = 0; j < sk.size(); ++j) {
    const std::string& name = sk.names[j];
    if (name.find("End") != std::string::npos || name.find("_end") != std::string::npos || name.find("Nub") != std::string::npos) continue;
    skin.joints.push_back(j);
    skin.inverseBind.push_back(inverse(world[j]));
  }
  sketch.figure.skins = {skin};
}

std::string wrongRoles(const Sketch& sketch, const std::map<Role, int>& found, bool requiredOnly) {
  std::string out;
  const auto label = [&](const std::map<Role, int>& m, Role r) {
    const auto it = m.find(r);
    return it == m.end() ? std::string("nothing") : sketch.figure.skeleton.names[it->second];
  };
  for (int r = 0; r < roleCount; ++r) {
    const Role role = roleAt(r);
    if (requiredOnly && !isRequired(role)) continue;
    const bool a = sketch.truth.contains(role), b = found.contains(role);
    if (a == b && (!a || sketch.truth.at(role) == found.at(role))) continue;
    out += "  " + std::string(roleName(role)) + ": " + label(found, role) + " instead of " + label(sketch.truth, role) + "\n";
  }
  return out;
}

std::vector<Sketch> customarySkeletons() {
  std::vector<Sketch> all;
  all.push_back(sketch("namespaced, numbered spine, fingers to the tip", "Left", "Right", R"(
ns:Hips - 0 .98 0 hips
ns:Spine ns:Hips 0 1.08 -.01 spine
ns:Spine1 ns:Spine 0 1.19 -.02 chest
ns:Spine2 ns:Spine1 0 1.31 -.02 upperChest
ns:Neck ns:Spine2 0 1.46 -.02 neck
ns:Head ns:Neck 0 1.54 0 head
ns:HeadTop_End ns:Head 0 1.75 .02
ns:@Shoulder ns:Spine2 .06 1.41 -.02 leftShoulder
ns:@Arm ns:@Shoulder .18 1.41 -.03 leftUpperArm
ns:@ForeArm ns:@Arm .45 1.41 -.03 leftLowerArm
ns:@Hand ns:@ForeArm .70 1.41 -.03 leftHand
ns:@HandThumb1 ns:@Hand .73 1.39 .01 leftThumbMetacarpal
ns:@HandThumb2 ns:@HandThumb1 .76 1.37 .03 leftThumbProximal
ns:@HandThumb3 ns:@HandThumb2 .79 1.36 .05 leftThumbDistal
ns:@HandThumb4 ns:@HandThumb3 .81 1.35 .06
ns:@HandIndex1 ns:@Hand .80 1.41 .01 leftIndexProximal
ns:@HandIndex2 ns:@HandIndex1 .84 1.41 .01 leftIndexIntermediate
ns:@HandIndex3 ns:@HandIndex2 .87 1.41 .01 leftIndexDistal
ns:@HandIndex4 ns:@HandIndex3 .90 1.41 .01
ns:@HandMiddle1 ns:@Hand .80 1.41 -.02 leftMiddleProximal
ns:@HandMiddle2 ns:@HandMiddle1 .84 1.41 -.02 leftMiddleIntermediate
ns:@HandMiddle3 ns:@HandMiddle2 .88 1.41 -.02 leftMiddleDistal
ns:@HandMiddle4 ns:@HandMiddle3 .91 1.41 -.02
ns:@UpLeg ns:Hips .09 .93 0 leftUpperLeg
ns:@Leg ns:@UpLeg .09 .51 .01 leftLowerLeg
ns:@Foot ns:@Leg .09 .10 -.02 leftFoot
ns:@ToeBase ns:@Foot .10 .02 .11 leftToes
ns:@Toe_End ns:@ToeBase .10 .02 .18)"));

  all.push_back(sketch("two-legged, thighs on the spine, collar bones on the neck", "L", "R", R"(
Bip01 - 0 .97 0
Bip01~Footsteps Bip01 0 0 0
Bip01~Pelvis Bip01 0 .97 0 hips
Bip01~Spine Bip01~Pelvis 0 1.06 0 spine
Bip01~Spine1 Bip01~Spine 0 1.20 0 chest
Bip01~Spine2 Bip01~Spine1 0 1.33 -.01 upperChest
Bip01~Neck Bip01~Spine2 0 1.50 -.02 neck
Bip01~Head Bip01~Neck 0 1.59 0 head
Bip01~HeadNub Bip01~Head 0 1.8 0
Bip01~@~Clavicle Bip01~Neck .03 1.46 -.01 leftShoulder
Bip01~@~UpperArm Bip01~@~Clavicle .19 1.44 -.01 leftUpperArm
Bip01~@~Forearm Bip01~@~UpperArm .38 1.24 -.02 leftLowerArm
Bip01~@~Hand Bip01~@~Forearm .55 1.05 .02 leftHand
Bip01~@~Finger0 Bip01~@~Hand .55 1.02 .06 leftThumbMetacarpal
Bip01~@~Finger01 Bip01~@~Finger0 .57 .99 .08 leftThumbProximal
Bip01~@~Finger02 Bip01~@~Finger01 .59 .97 .09 leftThumbDistal
Bip01~@~Finger1 Bip01~@~Hand .61 .98 .05 leftIndexProximal
Bip01~@~Finger11 Bip01~@~Finger1 .64 .95 .05 leftIndexIntermediate
Bip01~@~Finger12 Bip01~@~Finger11 .66 .93 .05 leftIndexDistal
Bip01~@~Finger2 Bip01~@~Hand .62 .98 .03 leftMiddleProximal
Bip01~@~Finger21 Bip01~@~Finger2 .65 .95 .03 leftMiddleIntermediate
Bip01~@~Finger22 Bip01~@~Finger21 .67 .92 .03 leftMiddleDistal
Bip01~@~Thigh Bip01~Spine .1 .96 0 leftUpperLeg
Bip01~@~Calf Bip01~@~Thigh .1 .52 .01 leftLowerLeg
Bip01~@~Foot Bip01~@~Calf .1 .09 -.03 leftFoot
Bip01~@~Toe0 Bip01~@~Foot .1 .01 .1 leftToes
Bip01~@~Toe0Nub Bip01~@~Toe0 .1 .01 .17)"));

  all.push_back(sketch("snake case, root on the ground, twist and IK bones, five spine bones", "l", "r", R"(
root - 0 0 0
ik_foot_root root 0 0 0
ik_foot_@ ik_foot_root .1 .1 -.02
ik_hand_root root 0 0 0
ik_hand_gun ik_hand_root -.6 1.1 .05
ik_hand_@ ik_hand_gun .6 1.1 .05
pelvis root 0 .97 0 hips
spine_01 pelvis 0 1.02 .01 spine
spine_02 spine_01 0 1.08 .01
spine_03 spine_02 0 1.15 .01 chest
spine_04 spine_03 0 1.24 0
spine_05 spine_04 0 1.38 -.02 upperChest
neck_01 spine_05 0 1.51 -.01 neck
neck_02 neck_01 0 1.56 0
head neck_02 0 1.61 .01 head
clavicle_@ spine_05 .02 1.47 .01 leftShoulder
upperarm_@ clavicle_@ .18 1.46 -.02 leftUpperArm
upperarm_twist_01_@ upperarm_@ .24 1.40 -.02
lowerarm_@ upperarm_@ .38 1.28 -.03 leftLowerArm
lowerarm_twist_01_@ lowerarm_@ .50 1.18 .01
hand_@ lowerarm_@ .57 1.12 .04 leftHand
thumb_01_@ hand_@ .58 1.09 .08 leftThumbMetacarpal
thumb_02_@ thumb_01_@ .59 1.06 .11 leftThumbProximal
thumb_03_@ thumb_02_@ .61 1.03 .13 leftThumbDistal
index_metacarpal_@ hand_@ .59 1.10 .06
index_01_@ index_metacarpal_@ .63 1.05 .09 leftIndexProximal
index_02_@ index_01_@ .65 1.02 .10 leftIndexIntermediate
index_03_@ index_02_@ .66 1.00 .11 leftIndexDistal
pinky_metacarpal_@ hand_@ .60 1.10 .03
pinky_01_@ pinky_metacarpal_@ .65 1.05 .01 leftLittleProximal
pinky_02_@ pinky_01_@ .67 1.03 .01 leftLittleIntermediate
pinky_03_@ pinky_02_@ .68 1.01 .01 leftLittleDistal
thigh_@ pelvis .1 .95 0 leftUpperLeg
thigh_twist_01_@ thigh_@ .1 .75 0
calf_@ thigh_@ .11 .52 .01 leftLowerLeg
calf_twist_01_@ calf_@ .12 .30 0
foot_@ calf_@ .12 .08 -.03 leftFoot
ball_@ foot_@ .13 .02 .11 leftToes)"));

  // Joint centres after the example figure of ISO/IEC 19774 (H-Anim), rounded.
  all.push_back(sketch("H-Anim joints, shoulders and skull on a lumbar joint", "l", "r", R"(
humanoid_root - 0 .824 .0277 hips
sacroiliac humanoid_root 0 .9149 .0016
@_hip sacroiliac .0961 .9124 0 leftUpperLeg
@_knee @_hip .104 .4867 .0308 leftLowerLeg
@_ankle @_knee .1101 .0656 -.0736 leftFoot
@_midtarsal @_ankle .1086 .0001 .0368 leftToes
vl5 humanoid_root .0028 1.0568 -.0776 spine
skullbase vl5 .0044 1.6209 .0236 head
@_shoulder vl5 .2029 1.4376 -.0387 leftUpperArm
@_elbow @_shoulder .2014 1.1357 -.0682 leftLowerArm
@_wrist @_elbow .1984 .8663 -.0583 leftHand)"));

  all.push_back(sketch("J_Bip spelling with hair, skirt and bust chains", "L", "R", R"(
Root - 0 0 0
J_Bip_C_Hips Root 0 .9 0 hips
J_Bip_C_Spine J_Bip_C_Hips 0 .96 .01 spine
J_Bip_C_Chest J_Bip_C_Spine 0 1.07 0 chest
J_Bip_C_UpperChest J_Bip_C_Chest 0 1.18 -.01 upperChest
J_Bip_C_Neck J_Bip_C_UpperChest 0 1.30 -.02 neck
J_Bip_C_Head J_Bip_C_Neck 0 1.37 -.01 head
J_Adj_@_FaceEye J_Bip_C_Head .02 1.43 .03 leftEye
J_Sec_Hair1_01 J_Bip_C_Head .05 1.5 -.05
J_Sec_Hair2_01 J_Sec_Hair1_01 .06 1.4 -.1
J_Sec_Hair3_01 J_Sec_Hair2_01 .06 1.1 -.12
J_Sec_Hair1_02 J_Bip_C_Head -.05 1.5 -.05
J_Sec_Hair2_02 J_Sec_Hair1_02 -.06 1.4 -.1
J_Sec_Hair3_02 J_Sec_Hair2_02 -.06 1.1 -.12
J_Sec_@_Bust1 J_Bip_C_UpperChest .05 1.17 .08
J_Sec_@_Bust2 J_Sec_@_Bust1 .06 1.16 .12
J_Bip_@_Shoulder J_Bip_C_UpperChest .02 1.27 -.01 leftShoulder
J_Bip_@_UpperArm J_Bip_@_Shoulder .10 1.27 -.01 leftUpperArm
J_Bip_@_LowerArm J_Bip_@_UpperArm .31 1.27 -.01 leftLowerArm
J_Bip_@_Hand J_Bip_@_LowerArm .53 1.27 -.01 leftHand
J_Bip_@_Index1 J_Bip_@_Hand .60 1.27 .01 leftIndexProximal
J_Bip_@_Index2 J_Bip_@_Index1 .63 1.27 .01 leftIndexIntermediate
J_Bip_@_Index3 J_Bip_@_Index2 .65 1.27 .01 leftIndexDistal
J_Bip_@_Thumb1 J_Bip_@_Hand .55 1.26 .02 leftThumbMetacarpal
J_Bip_@_Thumb2 J_Bip_@_Thumb1 .58 1.26 .05 leftThumbProximal
J_Bip_@_Thumb3 J_Bip_@_Thumb2 .60 1.26 .07 leftThumbDistal
J_Bip_@_UpperLeg J_Bip_C_Hips .08 .86 .01 leftUpperLeg
J_Sec_@_SkirtFront1 J_Bip_C_Hips .09 .85 .08
J_Sec_@_SkirtFront2 J_Sec_@_SkirtFront1 .10 .70 .10
J_Sec_@_SkirtFront3 J_Sec_@_SkirtFront2 .11 .55 .12
J_Bip_@_LowerLeg J_Bip_@_UpperLeg .08 .49 .02 leftLowerLeg
J_Bip_@_Foot J_Bip_@_LowerLeg .08 .09 -.02 leftFoot
J_Bip_@_ToeBase J_Bip_@_Foot .08 .02 .09 leftToes)"));

  all.push_back(sketch("deform bones with inline halves, three neck bones", "L", "R", R"(
rig - 0 0 0
DEF-spine rig 0 1.01 .05 hips
DEF-pelvis.@ DEF-spine .02 1.01 .04
DEF-spine.001 DEF-spine 0 1.16 .01 spine
DEF-spine.002 DEF-spine.001 0 1.29 0 chest
DEF-spine.003 DEF-spine.002 0 1.42 0 upperChest
DEF-neck DEF-spine.003 0 1.60 -.02 neck
DEF-neck.001 DEF-neck 0 1.66 -.01
DEF-head DEF-neck.001 0 1.71 0 head
DEF-shoulder.@ DEF-spine.003 .02 1.55 .06 leftShoulder
DEF-breast.@ DEF-spine.003 .1 1.4 .1
DEF-upper_arm.@ DEF-shoulder.@ .20 1.54 -.02 leftUpperArm
DEF-upper_arm.@.001 DEF-upper_arm.@ .33 1.45 -.02
DEF-forearm.@ DEF-upper_arm.@.001 .46 1.36 -.03 leftLowerArm
DEF-forearm.@.001 DEF-forearm.@ .58 1.28 0
DEF-hand.@ DEF-forearm.@.001 .70 1.20 .02 leftHand
DEF-thumb.01.@ DEF-hand.@ .70 1.18 .06 leftThumbMetacarpal
DEF-thumb.02.@ DEF-thumb.01.@ .72 1.14 .08 leftThumbProximal
DEF-thumb.03.@ DEF-thumb.02.@ .74 1.12 .09 leftThumbDistal
DEF-f_index.01.@ DEF-hand.@ .77 1.14 .05 leftIndexProximal
DEF-f_index.02.@ DEF-f_index.01.@ .80 1.11 .05 leftIndexIntermediate
DEF-f_index.03.@ DEF-f_index.02.@ .82 1.09 .05 leftIndexDistal
DEF-f_pinky.01.@ DEF-hand.@ .78 1.14 -.01 leftLittleProximal
DEF-f_pinky.02.@ DEF-f_pinky.01.@ .80 1.12 -.01 leftLittleIntermediate
DEF-f_pinky.03.@ DEF-f_pinky.02.@ .82 1.10 -.01 leftLittleDistal
DEF-thigh.@ DEF-spine .10 1.01 .04 leftUpperLeg
DEF-thigh.@.001 DEF-thigh.@ .10 .77 .03
DEF-shin.@ DEF-thigh.@.001 .10 .53 .02 leftLowerLeg
DEF-shin.@.001 DEF-shin.@ .10 .31 0
DEF-foot.@ DEF-shin.@.001 .10 .09 -.02 leftFoot
DEF-toe.@ DEF-foot.@ .10 .02 .12 leftToes)"));

  all.push_back(sketch("glued side letters, bend and twist bones, pelvis beside the abdomen", "l", "r", R"(
hip - 0 1.04 0 hips
pelvis hip 0 1.06 0
@ThighBend pelvis .08 .95 0 leftUpperLeg
@ThighTwist @ThighBend .09 .74 0
@Shin @ThighTwist .10 .53 .01 leftLowerLeg
@Foot @Shin .11 .09 -.03 leftFoot
@Toe @Foot .12 .02 .1 leftToes
abdomenLower hip 0 1.09 0 spine
abdomenUpper abdomenLower 0 1.17 0
chestLower abdomenUpper 0 1.27 0 chest
chestUpper chestLower 0 1.40 -.02 upperChest
@Collar chestUpper .02 1.48 -.02 leftShoulder
@ShldrBend @Collar .15 1.47 -.03 leftUpperArm
@ShldrTwist @ShldrBend .28 1.47 -.03
@ForearmBend @ShldrTwist .41 1.47 -.04 leftLowerArm
@ForearmTwist @ForearmBend .53 1.47 -.03
@Hand @ForearmTwist .65 1.47 -.02 leftHand
@Carpal1 @Hand .68 1.47 0
@Index1 @Carpal1 .74 1.47 .01 leftIndexProximal
@Index2 @Index1 .77 1.47 .01 leftIndexIntermediate
@Index3 @Index2 .79 1.47 .01 leftIndexDistal
@Carpal2 @Hand .68 1.47 -.02
@Mid1 @Carpal2 .74 1.47 -.03 leftMiddleProximal
@Mid2 @Mid1 .77 1.47 -.03 leftMiddleIntermediate
@Mid3 @Mid2 .80 1.47 -.03 leftMiddleDistal
neckLower chestUpper 0 1.54 -.02 neck
neckUpper neckLower 0 1.58 -.01
head neckUpper 0 1.63 0 head)"));

  all.push_back(sketch("ship's words, wide and short-legged, A-pose", "port", "starboard", R"(
keel - 0 .55 0 hips
spine_a keel 0 .66 0 spine
spine_b spine_a 0 .82 0 chest
neck spine_b 0 1.05 0 neck
head neck 0 1.14 .02 head
@_collar spine_b .08 1.0 0 leftShoulder
@_arm @_collar .26 .98 0 leftUpperArm
@_arm_twist @_arm .35 .90 0
@_forearm @_arm .45 .82 -.01 leftLowerArm
@_hand @_forearm .64 .65 .03 leftHand
@_thumb @_hand .66 .61 .09 leftThumbMetacarpal
@_thigh keel .14 .52 0 leftUpperLeg
@_shin @_thigh .15 .30 .01 leftLowerLeg
@_foot @_shin .15 .09 -.02 leftFoot
@_toes @_foot .17 .03 .12 leftToes)"));

  all.push_back(sketch("feet under the root, hips bone in the spine, poles", "L", "R", R"(
Bone - 0 0 -.02
Foot.@ Bone .2 .03 .02 leftFoot
Foot.@_end Foot.@ .2 .02 .2
PoleTarget.@ Bone .2 .5 .7
PoleTarget.@_end PoleTarget.@ .2 .6 .7
Body Bone 0 .75 0 hips
Hips Body 0 .7 -.03 spine
Abdomen Hips 0 .9 -.02 chest
Torso Abdomen 0 1.15 0 upperChest
Neck Torso 0 1.5 .03 neck
Head Neck 0 1.62 .05 head
Head_end Head 0 2.0 .05
Shoulder.@ Torso .12 1.38 .01 leftShoulder
UpperArm.@ Shoulder.@ .28 1.44 .01 leftUpperArm
LowerArm.@ UpperArm.@ .55 1.43 0 leftLowerArm
Palm.@ LowerArm.@ .80 1.43 .01 leftHand
UpperLeg.@ Body .2 .8 0 leftUpperLeg
LowerLeg.@ UpperLeg.@ .2 .42 .05 leftLowerLeg
LowerLeg.@_end LowerLeg.@ .2 .03 .02)"));

  all.push_back(sketch("root on the ground with trunk and pelvis side by side", "L", "R", R"(
root - 0 0 0
pelvis root 0 .95 0 hips
@_thigh pelvis .1 .92 0 leftUpperLeg
@_knee @_thigh .1 .5 .01 leftLowerLeg
@_ankle @_knee .1 .08 -.02 leftFoot
@_ball @_ankle .1 .02 .1 leftToes
spine_low root 0 1.02 0 spine
spine_middle spine_low 0 1.15 0 chest
spine_high spine_middle 0 1.3 0 upperChest
neck spine_high 0 1.48 0 neck
head neck 0 1.57 .01 head
@_clavicle spine_high .04 1.42 0 leftShoulder
@_shoulder @_clavicle .18 1.42 -.01 leftUpperArm
@_elbow @_shoulder .40 1.26 -.02 leftLowerArm
@_wrist @_elbow .58 1.12 .01 leftHand)"));

  // Joints as in parametric body models: the ankle's child is called foot, the wrist's child hand.
  all.push_back(sketch("ankle and foot, wrist and hand", "L", "R", R"(
Pelvis - 0 .93 0 hips
@_Hip Pelvis .06 .84 0 leftUpperLeg
@_Knee @_Hip .1 .46 0 leftLowerLeg
@_Ankle @_Knee .09 .06 -.04 leftFoot
@_Foot @_Ankle .12 0 .08 leftToes
Spine1 Pelvis 0 1.05 -.02 spine
Spine2 Spine1 0 1.18 -.01 chest
Spine3 Spine2 0 1.24 0 upperChest
Neck Spine3 0 1.45 -.03 neck
Head Neck 0 1.54 .02 head
@_Collar Spine3 .08 1.36 -.02 leftShoulder
@_Shoulder @_Collar .19 1.39 -.03 leftUpperArm
@_Elbow @_Shoulder .45 1.38 -.05 leftLowerArm
@_Wrist @_Elbow .70 1.39 -.05 leftHand
@_Hand @_Wrist .78 1.38 -.06)"));

  all.push_back(sketch("numbered joints named after the limb only", "L", "R", R"(
torso_joint_1 - 0 .9 0 hips
torso_joint_2 torso_joint_1 0 1.05 0 spine
torso_joint_3 torso_joint_2 0 1.3 0 chest
neck_joint_1 torso_joint_3 0 1.45 0 neck
neck_joint_2 neck_joint_1 0 1.55 .01 head
arm_joint_@_1 torso_joint_3 .14 1.35 0 leftUpperArm
arm_joint_@_2 arm_joint_@_1 .36 1.2 -.02 leftLowerArm
arm_joint_@_3 arm_joint_@_2 .55 1.07 0 leftHand
leg_joint_@_1 torso_joint_1 .08 .85 0 leftUpperLeg
leg_joint_@_2 leg_joint_@_1 .09 .48 .02 leftLowerLeg
leg_joint_@_3 leg_joint_@_2 .09 .1 -.02 leftFoot
leg_joint_@_5 leg_joint_@_3 .10 .03 .1 leftToes)"));

  all.push_back(sketch("Japanese names", "左", "右", R"(
センター - 0 .85 0
下半身x センター 0 1.0 0
上半身 センター 0 1.0 0
上半身2 上半身 0 1.15 0
首 上半身2 0 1.4 0
頭 首 0 1.48 0
@肩 上半身2 .05 1.36 0
@腕 @肩 .15 1.35 0
@ひじ @腕 .38 1.25 -.01
@手首 @ひじ .58 1.15 .02
@足 下半身x .09 .95 0
@ひざ @足 .09 .52 .01
@足首 @ひざ .09 .09 -.02
@つま先 @足首 .09 .01 .1)"));
  {
    // Here the joint that carries legs and trunk is either of two; the rest is plain.
    Sketch& s = all.back();
    const auto name = [&](Role role, const char* joint) {
      for (int j = 0; j < s.figure.skeleton.size(); ++j)
        if (s.figure.skeleton.names[j] == joint) s.truth[role] = j;
    };
    name(Role::hips, "センター");
    name(Role::spine, "上半身");
    name(Role::chest, "上半身2");
    name(Role::neck, "首");
    name(Role::head, "頭");
    const std::pair<Role, const char*> sided[] = {{Role::leftShoulder, "肩"}, {Role::leftUpperArm, "腕"}, {Role::leftLowerArm, "ひじ"},
                                                  {Role::leftHand, "手首"},   {Role::leftUpperLeg, "足"}, {Role::leftLowerLeg, "ひざ"},
                                                  {Role::leftFoot, "足首"},   {Role::leftToes, "つま先"}};
    for (const auto& [role, part] : sided) {
      name(role, (std::string("左") + part).c_str());
      name(mirrored(role), (std::string("右") + part).c_str());
    }
  }
  return all;
}

}  // namespace understudy::test
