#include "samples/keeper.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "samples/random.h"
#include "samples/shape.h"

namespace understudy::samples {
namespace {

using Colour = std::array<double, 3>;
constexpr Colour teal{46, 111, 134}, darkTeal{33, 84, 104}, red{200, 66, 52}, darkRed{166, 46, 38}, skinTone{232, 194, 158},
    white{243, 240, 232}, slate{66, 70, 82}, bootBlack{40, 43, 50}, sole{86, 66, 50}, ochre{205, 146, 70}, brass{214, 168, 74},
    ink{28, 26, 30}, lip{150, 62, 56}, glow{255, 226, 130}, leather{92, 62, 42}, wood{156, 122, 74}, straw{208, 166, 92};

struct Bone {
  Vec3d head, tail;
  int joint = -1;
};

// Where the bones are; everything else hangs on it.
class Rig {
 public:
  explicit Rig(Figure& figure) : figure_(figure) {
    root_ = figure_.skeleton.add("keeper", -1, {}, 0);
    world_.push_back({});
  }

  // A bone from head to tail: local Y runs along it, local Z leans towards `front`.
  int add(const std::string& name, const std::string& parent, const Vec3d& head, const Vec3d& tail, const Vec3d& front,
          bool skinned = true) {
    const Vec3d y = normalised(tail - head);
    const Vec3d z = normalised(front - y * dot(front, y));
    const Affined world{{cross(y, z), y, z}, head};
    const int up = parent.empty() ? root_ : bones_.at(parent).joint;
    const Affined local = inverse(world_[up]) * world;
    Trsd rest;
    rest.translation = local.translation;
    rest.rotation = toQuat(local.linear);
    const int joint = figure_.skeleton.add(name, up, rest, figure_.skeleton.size());
    world_.push_back(world);
    bones_[name] = {head, tail, joint};
    if (skinned) figure_.skins[0].joints.push_back(joint);
    return joint;
  }
  [[nodiscard]] const Bone& at(const std::string& name) const { return bones_.at(name); }
  [[nodiscard]] Cone cone(const std::string& name, double radiusA, double radiusB, Vec3d squash = {1, 1, 1}) const {
    return {at(name).head, at(name).tail, radiusA, radiusB, squash};
  }
  [[nodiscard]] Handle handle(const std::string& name, double radiusA, double radiusB, Vec3d squash = {1, 1, 1}) const {
    return {at(name).joint, cone(name, radiusA, radiusB, squash)};
  }
  // Inverse bind matrices of the skeleton as stored, so that node pose and bind pose agree to rounding.
  void bind() {
    const std::vector<Affined> world = restWorld(figure_.skeleton);
    for (const int joint : figure_.skins[0].joints) figure_.skins[0].inverseBind.push_back(inverse(world[joint]));
  }

 private:
  Figure& figure_;
  int root_ = 0;
  std::vector<Affined> world_;
  std::map<std::string, Bone> bones_;
};

struct Build {
  double leg = 1, belly = 1, head = 1, arm = 1, hand = 1;
};

Part makePart(const std::string& name, const Colour& colour, Field field, Vec3d low, Vec3d high, double cell, WeightField weights) {
  return {name, colour, std::move(field), low, high, cell, std::move(weights), {}, {}};
}

Field blend(std::vector<Cone> cones, double k) {
  return [cones = std::move(cones), k](const Vec3d& p) { return blended(cones, k, p); };
}

// A band around a body: an oval profile swept round `axis` through `centre`, between two offsets of the body's field.
// `half` is its half width along the axis.
Part bandPart(const std::string& name, const Colour& colour, const Field& body, double inner, double outer, const Vec3d& centre,
              const Vec3d& axis, double half, int around, const WeightField& weights) {
  constexpr int across = 8;
  const Vec3d u = normalised(cross(std::abs(axis.z) < 0.8 ? Vec3d{0, 0, 1} : Vec3d{1, 0, 0}, axis)), v = cross(axis, u);
  Surface surface;
  for (int i = 0; i < around; ++i) {
    const double a = 2 * M_PI * i / around;
    const Vec3d out = u * std::cos(a) + v * std::sin(a);
    for (int k = 0; k < across; ++k) {
      const double b = 2 * M_PI * (k + 0.5) / across;
      const Vec3d from = centre + axis * (half * std::sin(b));
      const double wanted = (inner + outer) / 2 + (outer - inner) / 2 * std::cos(b);
      double low = 0, high = 0.45;
      for (int step = 0; step < 40; ++step) {
        const double middle = (low + high) / 2;
        (body(from + out * middle) < wanted ? low : high) = middle;
      }
      surface.positions.push_back(from + out * low);
    }
  }
  const auto index = [&](int i, int k) { return static_cast<std::uint32_t>((i + around) % around * across + (k + across) % across); };
  Vec3d least = surface.positions[0], most = least;
  for (int i = 0; i < around; ++i)
    for (int k = 0; k < across; ++k) {
      const auto& p = surface.positions;
      surface.normals.push_back(normalised(cross(p[index(i + 1, k)] - p[index(i - 1, k)], p[index(i, k + 1)] - p[index(i, k - 1)])));
      surface.indices.insert(surface.indices.end(),
                             {index(i, k), index(i + 1, k), index(i + 1, k + 1), index(i, k), index(i + 1, k + 1), index(i, k + 1)});
      for (int c = 0; c < 3; ++c) {
        least[c] = std::min(least[c], p[index(i, k)][c]);
        most[c] = std::max(most[c], p[index(i, k)][c]);
      }
    }
  const double middle = (inner + outer) / 2, thick = (outer - inner) / 2;
  Part part = {
      name,
      colour,
      [=](const Vec3d& p) { return (std::hypot((body(p) - middle) / thick, dot(p - centre, axis) / half) - 1) * std::min(thick, half); },
      least,
      most,
      0,
      weights,
      {},
      {}};
  part.surface = std::move(surface);
  return part;
}

double above(const Vec3d& p, double y) {
  return y - p.y;
}  // negative above the plane

struct Keeper {
  Figure figure;
  Build build;
  Vec3d armDirection[2];
  std::vector<Part> parts;

  static constexpr const char* sideName[2] = {"port_", "starboard_"};
  static double sign(int side) { return side == 0 ? 1 : -1; }  // port is +X

  void skeleton(Rig& rig, bool tPose) {
    const double raise = tPose ? 0 : 40 * M_PI / 180;
    const double hip = 0.085 + 0.415 * build.leg;
    const double up = hip - 0.50;  // everything above the hips rises with the legs
    const Vec3d front{0, 0, 1};
    const auto lift = [&](double x, double y, double z) { return Vec3d{x, y + up, z}; };
    rig.add("hull", "", lift(0, 0.525, 0), lift(0, 0.615, -0.004), front);
    rig.add("waist", "hull", lift(0, 0.615, -0.004), lift(0, 0.73, -0.010), front);
    rig.add("ribs", "waist", lift(0, 0.73, -0.010), lift(0, 0.90, -0.012), front);
    rig.add("neck", "ribs", lift(0, 0.90, -0.012), lift(0, 0.955, 0.0), front);
    rig.add("head", "neck", lift(0, 0.955, 0.0), lift(0, 0.955 + 0.33 * build.head, 0.005), front);
    rig.add("beard", "head", lift(0, 1.0, 0.11), lift(0, 0.87, 0.165), front);
    for (int side = 0; side < 2; ++side) {
      const double s = sign(side);
      const std::string n = sideName[side];
      const double eye = 0.955 + 0.165 * build.head;
      rig.add(n + "eye", "head", lift(0.058 * s, eye, 0.11), lift(0.058 * s, eye, 0.16), {0, 1, 0});
    }
    for (int side = 0; side < 2; ++side) {
      const double s = sign(side);
      const std::string n = sideName[side];
      const Vec3d shoulder = lift(0.188 * s, 0.852, -0.012);
      const Vec3d along{std::cos(raise) * s, -std::sin(raise), 0};
      const Vec3d fore = normalised(along + Vec3d{0, 0, tPose ? 0.03 : 0.14});
      const Vec3d elbow = shoulder + along * (0.185 * build.arm), wrist = elbow + fore * (0.172 * build.arm);
      const double h = build.hand;
      rig.add(n + "yoke", "ribs", lift(0.05 * s, 0.858, -0.005), shoulder, front);
      rig.add(n + "arm", n + "yoke", shoulder, elbow, front);
      rig.add(n + "forearm", n + "arm", elbow, wrist, front);
      rig.add(n + "forearm_twist1", n + "forearm", lerp(elbow, wrist, 1.0 / 3), lerp(elbow, wrist, 2.0 / 3), front);
      rig.add(n + "forearm_twist2", n + "forearm", lerp(elbow, wrist, 2.0 / 3), wrist, front);
      const Vec3d palm = normalised(Vec3d{-std::sin(raise) * s, -std::cos(raise), 0});  // out of the palm
      const Vec3d thumbwards = normalised(cross(palm, fore) * s);
      const auto local = [&](double f, double t, double p) { return wrist + fore * (f * h) + thumbwards * (t * h) + palm * (p * h); };
      rig.add(n + "hand", n + "forearm", wrist, local(0.095, 0, 0.004), front);
      rig.add(n + "thumb1", n + "hand", local(0.035, 0.035, 0.012), local(0.068, 0.068, 0.022), front);
      rig.add(n + "thumb2", n + "thumb1", local(0.068, 0.068, 0.022), local(0.098, 0.082, 0.028), front);
      rig.add(n + "index1", n + "hand", local(0.098, 0.036, 0.004), local(0.138, 0.040, 0.012), front);
      rig.add(n + "index2", n + "index1", local(0.138, 0.040, 0.012), local(0.172, 0.040, 0.026), front);
      rig.add(n + "middle1", n + "hand", local(0.098, -0.018, 0.004), local(0.140, -0.020, 0.012), front);
      rig.add(n + "middle2", n + "middle1", local(0.140, -0.020, 0.012), local(0.172, -0.020, 0.028), front);
      armDirection[side] = fore;
    }
    for (int side = 0; side < 2; ++side) {
      const double s = sign(side);
      const std::string n = sideName[side];
      const Vec3d hipJoint{0.098 * s, hip - 0.005, 0}, knee{0.103 * s, 0.085 + 0.205 * build.leg, 0.014}, ankle{0.108 * s, 0.085, -0.012};
      const Vec3d ball{0.118 * s, 0.028, 0.098}, tip{0.124 * s, 0.028, 0.175};
      rig.add(n + "thigh", "hull", hipJoint, knee, front);
      rig.add(n + "shin", n + "thigh", knee, ankle, front);
      rig.add(n + "foot", n + "shin", ankle, ball, {0, 1, 0});
      rig.add(n + "toes", n + "foot", ball, tip, {0, 1, 0});
    }
    rig.add("lantern", "hull", lift(-0.205, 0.575, 0.105), lift(-0.205, 0.46, 0.115), front);
    for (int side = 0; side < 2; ++side) {
      const std::string n = sideName[side];
      const Vec3d heel{0.106 * sign(side), 0, -0.075};
      rig.add(n + "foot_goal", "", heel, heel + Vec3d{0, 0, 0.2}, {0, 1, 0}, false);
    }
  }

  void shape(const Rig& rig) {
    const double hip = 0.085 + 0.415 * build.leg, up = hip - 0.50;
    const auto at = [&](double x, double y, double z) { return Vec3d{x, y + up, z}; };
    const double b = build.belly;
    const Vec3d deep{1, 1, 0.84};

    // Torso alone, then with sleeves: belt and hem follow the torso only.
    std::vector<Cone> torso{{at(0, 0.44, 0.004), at(0, 0.57, 0.010), 0.232 * b, 0.222 * b, deep},
                            {at(0, 0.57, 0.012), at(0, 0.74, 0.0), 0.220 * b, 0.178, deep},
                            {at(-0.105, 0.825, -0.006), at(0.105, 0.825, -0.006), 0.088, 0.088},
                            {at(0, 0.80, -0.005), at(0, 0.90, -0.004), 0.120, 0.078}};
    std::vector<Cone> coat = torso;
    WeightField body;
    body.softness = 0.034;
    body.handles = {{rig.at("hull").joint, {at(0, 0.47, 0.005), at(0, 0.565, 0.008), 0.212 * b, 0.205 * b, deep}},
                    {rig.at("waist").joint, {at(0, 0.625, 0.008), at(0, 0.70, 0), 0.200 * b, 0.185, deep}},
                    {rig.at("ribs").joint, {at(0, 0.77, -0.005), at(0, 0.84, -0.01), 0.165, 0.12, deep}},
                    {rig.at("neck").joint, {at(0, 0.925, -0.006), at(0, 0.95, 0), 0.06, 0.06}}};
    for (int side = 0; side < 2; ++side) {
      const std::string n = sideName[side];
      const Bone arm = rig.at(n + "arm"), fore = rig.at(n + "forearm");
      coat.push_back({arm.head, arm.tail, 0.082, 0.066});
      coat.push_back({fore.head, lerp(fore.head, fore.tail, 1.0), 0.064, 0.070});
      body.handles.push_back(rig.handle(n + "yoke", 0.085, 0.08));
      body.handles.push_back({arm.joint, {lerp(arm.head, arm.tail, 0.28), arm.tail, 0.074, 0.064}});
      body.handles.push_back({fore.joint, {fore.head, lerp(fore.head, fore.tail, 0.25), 0.064, 0.066}});
      body.handles.push_back(rig.handle(n + "forearm_twist1", 0.066, 0.068));
      body.handles.push_back(rig.handle(n + "forearm_twist2", 0.068, 0.070));
      const Bone thigh = rig.at(n + "thigh");
      body.handles.push_back({thigh.joint, {lerp(thigh.head, thigh.tail, 0.25), thigh.tail, 0.155, 0.165}});
    }
    const Field torsoField = blend(torso, 0.022);
    const double hem = 0.405 + up;
    const Field coatWhole = blend(coat, 0.020);
    const Vec3d wrists[2] = {rig.at("port_forearm").tail, rig.at("starboard_forearm").tail};
    const Vec3d directions[2] = {armDirection[0], armDirection[1]};
    const Field coatField = [=](const Vec3d& p) {
      double d = smoothMax(coatWhole(p), above(p, hem), 0.006);
      for (int side = 0; side < 2; ++side) {
        // The sleeve ends at the wrist; only near the hand, so that the plane does not cut anything else.
        const Vec3d v = p - wrists[side];
        if (length(v) < 0.16) d = smoothMax(d, dot(v, directions[side]) - 0.002, 0.004);
      }
      // A placket: the right front edge lies a little proud of the left.
      if (p.z > 0) d += 0.0035 * std::exp(-std::pow((p.x + 0.012) / 0.0045, 2));
      return d;
    };
    const Vec3d armLow{-0.62, -0.2 + up, -0.25}, armHigh{0.62, 0.99 + up, 0.30};
    Part coatPart = makePart("coat", teal, coatField, {armLow.x, hem - 0.03, armLow.z}, armHigh, 0.0385 * b, body);
    coatPart.tint = [=](const Vec3d& p, const Vec3d&) {
      const double down = std::clamp((0.95 + up - p.y) / 0.55, 0.0, 1.0);
      return Vec3d{1, 1, 1} * (1.06 - 0.16 * down);
    };
    parts.push_back(coatPart);

    WeightField torsoWeights = body;
    const double hemHeight = 0.412;
    parts.push_back(bandPart("belt", leather, torsoField, -0.012, 0.010, at(0, 0.572, 0), {0, 1, 0}, 0.023, 40, torsoWeights));
    parts.push_back(bandPart("hem", darkTeal, torsoField, -0.016, 0.009, at(0, hemHeight, 0), {0, 1, 0}, 0.020, 40, torsoWeights));

    // On the coat's front: march inwards along −Z until the field says so.
    const auto onFront = [&](double x, double y) {
      double z = 0.32;
      for (int i = 0; i < 200 && torsoField(at(x, y, z)) > 0; ++i) z -= std::max(0.0005, 0.5 * torsoField(at(x, y, z)));
      return at(x, y, z);
    };
    {
      const Vec3d c = onFront(0, 0.572);
      const Field buckle = [=](const Vec3d& p) {
        const Vec3d d = p - c;
        const double box = std::max(std::abs(d.x) - 0.026, std::abs(d.y) - 0.024);
        const double ring = std::max(box, -(std::max(std::abs(d.x) - 0.015, std::abs(d.y) - 0.013)));
        return smoothMax(ring, std::abs(d.z - 0.008) - 0.008, 0.004);
      };
      parts.push_back(makePart("brass", brass, buckle, c - Vec3d{0.04, 0.04, 0.02}, c + Vec3d{0.04, 0.04, 0.04}, 0.0085, torsoWeights));
    }
    for (const double y : {0.475, 0.66, 0.735, 0.805}) {
      const Vec3d c = onFront(0.022, y);
      const Cone button{c, c + Vec3d{0, 0, 0.001}, 0.0145, 0.0145, {1, 1, 0.7}};
      parts.push_back(
          makePart("brass", brass, blend({button}, 0.002), c - Vec3d{0.02, 0.02, 0.02}, c + Vec3d{0.02, 0.02, 0.02}, 0.0092, torsoWeights));
    }
    // Collar: a thick roll around the neck, open at the throat.
    const Field throatField = [=](const Vec3d& p) {
      const Vec3d c = p - at(0, 0.925, -0.008);
      return std::hypot(c.x, c.z) - 0.112;
    };
    WeightField collarWeights;
    collarWeights.softness = 0.03;
    collarWeights.handles = {body.handles[2], body.handles[3]};
    collarWeights.handles[1].shape.radiusA = collarWeights.handles[1].shape.radiusB = 0.04;
    parts.push_back(bandPart("collar", darkTeal, throatField, -0.028, 0.028, at(0, 0.925, -0.008), normalised(Vec3d{0, 1, 0.18}), 0.034, 28,
                             collarWeights));

    limbs(rig, body);
    headParts(rig);
    lantern(rig);
  }

  void limbs(const Rig& rig, const WeightField& body) {
    std::vector<Cone> trousers{{rig.at("hull").head - Vec3d{0.06, 0.03, 0}, rig.at("hull").head - Vec3d{-0.06, 0.03, 0}, 0.11, 0.11}};
    WeightField legs;
    legs.softness = 0.026;
    legs.handles.push_back({rig.at("hull").joint, trousers[0]});
    for (int side = 0; side < 2; ++side) {
      const std::string n = sideName[side];
      trousers.push_back(rig.cone(n + "thigh", 0.108, 0.088));
      const Bone shin = rig.at(n + "shin");
      trousers.push_back({shin.head, lerp(shin.head, shin.tail, 0.40), 0.084, 0.078});
      const Bone thigh = rig.at(n + "thigh");
      legs.handles.push_back({thigh.joint, {lerp(thigh.head, thigh.tail, 0.2), thigh.tail, 0.10, 0.087}});
      legs.handles.push_back(rig.handle(n + "shin", 0.087, 0.08));
    }
    // Left and right must not melt into each other below the crotch: blend each side with the seat, then take the nearer.
    const std::vector<Cone> port{trousers[0], trousers[1], trousers[2]}, starboard{trousers[0], trousers[3], trousers[4]};
    const double hip = rig.at("port_thigh").head.y;
    const Field trouserField = [=](const Vec3d& p) {
      const double d = smoothMin(blended(port, 0.018, p), blended(starboard, 0.018, p), 0.006);
      return smoothMax(d, p.y - (hip + 0.045), 0.01);
    };
    parts.push_back(makePart("trousers", slate, trouserField, {-0.26, 0.05, -0.18}, {0.26, hip + 0.08, 0.19}, 0.0350 * build.leg, legs));

    for (int side = 0; side < 2; ++side) {
      const double s = sign(side);
      const std::string n = sideName[side];
      const Bone shin = rig.at(n + "shin"), foot = rig.at(n + "foot"), toes = rig.at(n + "toes"), fore = rig.at(n + "forearm");
      const Vec3d ankle = shin.tail;
      const Vec3d top = lerp(shin.head, shin.tail, 0.52);
      const double x = ankle.x;
      const std::vector<Cone> boot{{top, ankle, 0.088, 0.074},
                                   {{x, 0.052, -0.040}, {x + 0.004 * s, 0.050, 0.06}, 0.060, 0.063},
                                   {{x + 0.004 * s, 0.048, 0.06}, {foot.tail.x + 0.004 * s, 0.042, 0.130}, 0.062, 0.054}};
      const double cut = top.y + 0.010;
      const Field bootRound = blend(boot, 0.014);
      const Field bootField = [=](const Vec3d& p) { return smoothMax(smoothMax(bootRound(p), 0.010 - p.y, 0.004), p.y - cut, 0.006); };
      WeightField feet;
      feet.softness = 0.017;
      feet.handles = {rig.handle(n + "shin", 0.084, 0.066),
                      {foot.joint, {{x, 0.045, -0.045}, {foot.tail.x, 0.042, foot.tail.z - 0.012}, 0.058, 0.056}},
                      {toes.joint, {{toes.head.x, 0.038, toes.head.z + 0.016}, {toes.tail.x, 0.036, toes.tail.z}, 0.054, 0.05}}};
      const Vec3d low{x - 0.11, -0.02, -0.14}, high{x + 0.11, cut + 0.03, 0.21};
      parts.push_back(makePart("boots", bootBlack, bootField, low, high, 0.0235, feet));
      const Field soleField = [=](const Vec3d& p) {
        const Vec3d q{p.x, std::max(p.y, 0.030), p.z};
        return smoothMax(bootRound(q) - 0.004, std::abs(p.y - 0.015) - 0.018, 0.004) + 0.003;
      };
      // The cut and the rounding leave the lowest points a hair off the floor; the sole stands exactly on y = 0.
      parts.push_back(makePart("soles", sole, soleField, low, {high.x, 0.05, high.z}, 0.0182, {{feet.handles[1], feet.handles[2]}, 0.014}));
      parts.push_back(bandPart("boot_tops", leather, bootRound, -0.014, 0.010, {x, cut - 0.010, 0.001}, {0, 1, 0}, 0.020, 22,
                               {{feet.handles[0]}, 0.02}));

      // Cuff at the end of the sleeve, and the glove.
      const Vec3d f = armDirection[side], wrist = fore.tail;
      const Cone sleeve{fore.head, fore.tail + f * 0.05, 0.064, 0.071};
      const Field sleeveRound = [=](const Vec3d& p) { return distanceTo(sleeve, p); };
      parts.push_back(bandPart("cuffs", darkTeal, sleeveRound, -0.020, 0.010, wrist - f * 0.014, f, 0.021, 20, body));
      hand(rig, n);
    }
  }

  void hand(const Rig& rig, const std::string& n) {
    const double h = build.hand;
    const Bone palm = rig.at(n + "hand"), t1 = rig.at(n + "thumb1"), t2 = rig.at(n + "thumb2"), p1 = rig.at(n + "index1"),
               p2 = rig.at(n + "index2"), m1 = rig.at(n + "middle1"), m2 = rig.at(n + "middle2");
    const Vec3d across = normalised(p1.head - m1.head), along = normalised(palm.tail - palm.head);
    const Vec3d gap = across * (0.021 * h), w = palm.head;
    const std::vector<Cone> cones{{w - along * 0.03, w + along * (0.03 * h), 0.040, 0.041 * h},
                                  {w + along * (0.05 * h) + across * (0.020 * h), p1.head, 0.034 * h, 0.027 * h},
                                  {w + along * (0.05 * h) - across * (0.020 * h), m1.head - gap, 0.034 * h, 0.026 * h},
                                  {w + along * (0.04 * h), m1.head + gap, 0.036 * h, 0.028 * h},
                                  {w + along * (0.03 * h) + across * (0.018 * h), t1.head, 0.032 * h, 0.027 * h},
                                  {t1.head, t1.tail, 0.026 * h, 0.023 * h},
                                  {t1.tail, t2.tail, 0.023 * h, 0.020 * h},
                                  {p1.head, p1.tail, 0.0235 * h, 0.022 * h},
                                  {p2.head, p2.tail, 0.022 * h, 0.019 * h},
                                  {m1.head + gap, m1.tail + gap, 0.0235 * h, 0.0225 * h},
                                  {m1.tail + gap, m2.tail + gap, 0.0225 * h, 0.0195 * h},
                                  {m1.head - gap, m1.tail - gap * 1.05, 0.0225 * h, 0.021 * h},
                                  {m1.tail - gap * 1.05, m2.tail - gap - along * (0.008 * h), 0.021 * h, 0.018 * h}};
    WeightField weights;
    weights.softness = 0.009 * h;
    const int joints[] = {palm.joint, palm.joint, palm.joint, palm.joint, palm.joint, t1.joint, t2.joint,
                          p1.joint,   p2.joint,   m1.joint,   m2.joint,   m1.joint,   m2.joint};
    for (std::size_t i = 0; i < cones.size(); ++i) weights.handles.push_back({joints[i], cones[i]});
    const Vec3d c = lerp(w, m2.tail, 0.5);
    const Vec3d reach{0.165 * h, 0.165 * h, 0.165 * h};
    parts.push_back(makePart("gloves", ochre, blend(cones, 0.0055), c - reach, c + reach, 0.0162 * h, weights));
  }

  void headParts(const Rig& rig) {
    const double k = build.head;
    const Vec3d base = rig.at("head").head;
    // Head coordinates: metres from the head joint, before its size is applied.
    const auto at = [&](double x, double y, double z) { return base + Vec3d{x, y, z} * k; };
    const auto cone = [&](Vec3d a, Vec3d b, double ra, double rb, Vec3d squash = {1, 1, 1}) {
      return Cone{at(a.x, a.y, a.z), at(b.x, b.y, b.z), ra * k, rb * k, squash};
    };
    const WeightField head{{rig.handle("head", 0.16, 0.16)}, 0.02};
    WeightField throat{
        {rig.handle("head", 0.15, 0.15), {rig.at("neck").joint, {base - Vec3d{0, 0.055, 0}, base - Vec3d{0, 0.04, 0}, 0.075, 0.07}}}, 0.02};
    const std::vector<Cone> skull{cone({0, 0.15, 0.008}, {0, 0.19, 0.0}, 0.160, 0.150),
                                  cone({0, 0.08, 0.03}, {0, 0.12, 0.03}, 0.115, 0.13)};
    std::vector<Cone> face = skull;
    face.push_back(cone({0, -0.05, -0.008}, {0, 0.05, 0}, 0.072, 0.075));      // neck
    face.push_back(cone({0, 0.128, 0.168}, {0, 0.118, 0.192}, 0.022, 0.030));  // nose
    for (const double s : {1.0, -1.0}) {
      face.push_back(cone({0.160 * s, 0.14, -0.004}, {0.168 * s, 0.165, -0.012}, 0.024, 0.030, {0.7, 1, 1}));
      face.push_back(cone({0.075 * s, 0.105, 0.118}, {0.085 * s, 0.108, 0.112}, 0.040, 0.036));  // cheeks
    }
    Part facePart = makePart("face", skinTone, blend(face, 0.012), at(-0.23, -0.16, -0.2), at(0.23, 0.38, 0.26), 0.0280 * k, throat);
    facePart.tint = [=](const Vec3d& p, const Vec3d&) {
      const Vec3d q = (p - base) / k;
      const auto near = [&](const Vec3d& c, double r) { return std::exp(-dot(q - c, q - c) / (r * r)); };
      const double blush =
          0.75 * near({0.092, 0.105, 0.135}, 0.036) + 0.75 * near({-0.092, 0.105, 0.135}, 0.036) + 0.8 * near({0, 0.12, 0.205}, 0.034);
      return Vec3d{1 - 0.04 * blush, 1 - 0.36 * blush, 1 - 0.38 * blush};
    };
    parts.push_back(facePart);

    // Cap: the skull, larger, cut above the brow; ribs run up to the crown. The band is its turned-up edge.
    const Field skullField = blend(skull, 0.012);
    const std::vector<Cone> dome{cone({0, 0.16, 0.002}, {0, 0.205, -0.004}, 0.176, 0.158),
                                 cone({0, 0.28, -0.012}, {0, 0.325, -0.02}, 0.09, 0.045)};
    const Field domeField = blend(dome, 0.022);
    const auto brim = [=](const Vec3d& p) { return (p.y - base.y) / k - 0.218 + 0.10 * (p.z - base.z) / k * -1.0; };
    const Field cap = [=](const Vec3d& p) {
      const double angle = std::atan2(p.x - base.x, p.z - base.z);
      const double ribs = 0.0022 * std::cos(angle * 18) * std::clamp((std::hypot(p.x, p.z) - 0.03) / 0.06, 0.0, 1.0);
      return smoothMax(domeField(p) - ribs, -brim(p) * 0.95, 0.006);
    };
    Part capPart = makePart("cap", red, cap, at(-0.23, 0.12, -0.24), at(0.23, 0.44, 0.24), 0.0215 * k, head);
    capPart.tint = [=](const Vec3d& p, const Vec3d&) {
      const double angle = std::atan2(p.x - base.x, p.z - base.z);
      return Vec3d{1, 1, 1} * (0.93 + 0.09 * std::cos(angle * 18));
    };
    parts.push_back(capPart);
    // brim() is a plane: its normal and a point of it at the band's middle.
    const Vec3d brimNormal = normalised(Vec3d{0, 1, -0.10});
    const Vec3d brimCentre = at(0, 0.218 + 0.012, 0);
    parts.push_back(bandPart("cap_band", darkRed, domeField, -0.016, 0.017, brimCentre, brimNormal, 0.034 * k, 40, head));

    // Beard: a mass of white cones around the jaw, a moustache above the mouth; strands as shallow waves.
    std::vector<Cone> beard;
    for (const double s : {1.0, -1.0}) {
      beard.push_back(cone({0.152 * s, 0.135, 0.030}, {0.138 * s, 0.055, 0.062}, 0.024, 0.040));
      beard.push_back(cone({0.138 * s, 0.055, 0.062}, {0.085 * s, 0.005, 0.112}, 0.042, 0.052));
      beard.push_back(cone({0.085 * s, 0.005, 0.112}, {0.0, -0.035, 0.138}, 0.052, 0.060));
      beard.push_back(cone({0.04 * s, -0.02, 0.13}, {0.012 * s, -0.095, 0.150}, 0.050, 0.022));
    }
    const Field beardRound = blend(beard, 0.014);
    const Field beardField = [=](const Vec3d& p) {
      const Vec3d q = (p - base) / k;
      const double strands = 0.0028 * std::sin(q.x * 95 + 1.6 * std::sin(q.y * 30)) * std::sin(q.y * 22 + 1);
      return beardRound(p) + strands;
    };
    WeightField beardWeights{{{rig.at("head").joint, cone({0, 0.08, 0.02}, {0, 0.12, 0.02}, 0.13, 0.14)},
                              {rig.at("beard").joint, cone({0, -0.03, 0.145}, {0, -0.09, 0.155}, 0.045, 0.03)}},
                             0.035 * k};
    parts.push_back(makePart("beard", white, beardField, at(-0.22, -0.16, -0.03), at(0.22, 0.2, 0.24), 0.0195 * k, beardWeights));
    std::vector<Cone> moustache;
    for (const double s : {1.0, -1.0}) {
      moustache.push_back(cone({0.010 * s, 0.083, 0.186}, {0.052 * s, 0.074, 0.176}, 0.021, 0.022));
      moustache.push_back(cone({0.052 * s, 0.074, 0.176}, {0.100 * s, 0.094, 0.146}, 0.020, 0.009));
    }
    parts.push_back(makePart("beard", white, blend(moustache, 0.006), at(-0.13, 0.03, 0.1), at(0.13, 0.13, 0.23), 0.0125, head));
    std::vector<Cone> mouth;
    for (const double s : {1.0, -1.0}) mouth.push_back(cone({0, 0.046, 0.188}, {0.036 * s, 0.060, 0.176}, 0.0145, 0.008));
    parts.push_back(makePart("mouth", lip, blend(mouth, 0.003), at(-0.06, 0.02, 0.15), at(0.06, 0.08, 0.22), 0.0105, head));

    for (const double s : {1.0, -1.0}) {
      const int eyeJoint = rig.at(s > 0 ? "port_eye" : "starboard_eye").joint;
      // March from in front onto the face, so that eyes and brows sit on it whatever the head's size.
      const auto onFace = [&](double x, double y) {
        double z = 0.25;
        for (int i = 0; i < 300 && skullField(at(x, y, z)) > 0; ++i) z -= std::max(0.0003, 0.4 * skullField(at(x, y, z)) / k);
        return z;
      };
      const double z = onFace(0.056 * s, 0.158);
      const auto ball = [&](const char* name, const Colour& colour, Vec3d c, double r, Vec3d squash, double cell, int joint) {
        const Cone shape = cone(c, c + Vec3d{0, 0.0004, 0}, r, r, squash);
        const double reach = 1.9 * r;
        parts.push_back(makePart(name, colour, blend({shape}, 0.001), at(c.x - reach, c.y - reach, c.z - reach),
                                 at(c.x + reach, c.y + reach, c.z + reach), cell * k, {{{joint, shape}}, 0.02}));
      };
      ball("eyes", ink, {0.056 * s, 0.158, z + 0.001}, 0.019, {1, 1.32, 0.55}, 0.0078, eyeJoint);
      ball("glints", white, {0.056 * s + 0.006, 0.169, z + 0.0095}, 0.0058, {1, 1, 0.7}, 0.0042, eyeJoint);
      const double zb = onFace(0.060 * s, 0.196);
      const std::vector<Cone> brow{
          cone({0.030 * s, 0.199, onFace(0.030 * s, 0.199) + 0.005}, {0.060 * s, 0.203, zb + 0.005}, 0.0105, 0.0135),
          cone({0.060 * s, 0.203, zb + 0.005}, {0.094 * s, 0.184, onFace(0.094 * s, 0.184) + 0.004}, 0.0135, 0.007)};
      parts.push_back(
          makePart("beard", white, blend(brow, 0.003), at(0.06 * s - 0.06, 0.16, 0.06), at(0.06 * s + 0.06, 0.235, 0.2), 0.0125, head));
    }
  }

  void lantern(const Rig& rig) {
    const Bone bone = rig.at("lantern");
    const Vec3d c = lerp(bone.head, bone.tail, 0.62);
    const WeightField weights{{{bone.joint, {c, c + Vec3d{0, 0.001, 0}, 0.03, 0.03}}}, 0.02};
    const Field frame = [=](const Vec3d& p) {
      const Vec3d d = p - c;
      const double r = std::hypot(d.x, d.z);
      const double foot = smoothMax(r - 0.036, std::abs(d.y + 0.048) - 0.010, 0.004);
      const double lid = smoothMax(r - 0.036 + std::max(0.0, d.y - 0.045) * 0.9, std::abs(d.y - 0.056) - 0.014, 0.004);
      const double ring = std::hypot(std::hypot(d.x, d.y - 0.084) - 0.018, d.z) - 0.008;
      double bars = 1;
      for (int i = 0; i < 4; ++i) {
        const double a = M_PI / 4 + i * M_PI / 2;
        bars = std::min(bars, std::max(std::hypot(d.x - 0.031 * std::cos(a), d.z - 0.031 * std::sin(a)) - 0.0072, std::abs(d.y) - 0.05));
      }
      return smoothMin(smoothMin(smoothMin(foot, lid, 0.003), ring, 0.003), bars, 0.003);
    };
    parts.push_back(makePart("brass", brass, frame, c - Vec3d{0.05, 0.075, 0.05}, c + Vec3d{0.05, 0.125, 0.05}, 0.0105, weights));
    const Field glass = [=](const Vec3d& p) {
      const Vec3d d = p - c;
      return smoothMax(std::hypot(d.x, d.z) - 0.027, std::abs(d.y) - 0.044, 0.004);
    };
    Part lamp = makePart("glow", glow, glass, c - Vec3d{0.045, 0.06, 0.045}, c + Vec3d{0.045, 0.06, 0.045}, 0.0162, weights);
    parts.push_back(lamp);
  }
};

}  // namespace

Figure makeKeeper(const KeeperSettings& settings) {
  Keeper keeper;
  Figure& figure = keeper.figure;
  figure.format = "glTF 2.0";
  if (settings.seed != 1) {
    Pcg32 random(settings.seed, 11);
    keeper.build = {random.between(0.93, 1.10), random.between(0.93, 1.05), random.between(0.94, 1.05), random.between(0.94, 1.08),
                    random.between(0.93, 1.08)};
  }
  figure.skins.push_back({"keeper", {}, {}});
  Rig rig(figure);
  keeper.skeleton(rig, settings.tPose);
  rig.bind();
  keeper.shape(rig);
  const int meshNode = figure.skeleton.add("keeper_body", -1, {}, figure.skeleton.size());
  addParts(figure, keeper.parts, meshNode, 0);
  return std::move(figure);
}

Figure makeBroom(double length) {
  Figure figure;
  figure.format = "glTF 2.0";
  const int node = figure.skeleton.add("broom", -1, {}, 0);
  const double r = 0.0095 * length, head = 0.22 * length;
  const Field shaft = blend({{{0, head * 0.8, 0}, {0, length - r, 0}, r, r}}, 0.001);
  const Field twigs = [=](const Vec3d& p) {
    // A bundle that widens towards the floor, with shallow grooves all round.
    const double t = std::clamp(1 - p.y / head, 0.0, 1.0);
    const double radius = head * (0.10 + 0.27 * std::pow(t, 0.75));
    const double grooves = 0.010 * head * std::cos(std::atan2(p.x, p.z) * 14);
    return smoothMax((std::hypot(p.x, p.z / 0.62) - radius + grooves) * 0.6, std::abs(p.y - head / 2) - head / 2, 0.02 * head);
  };
  const auto tie = [=](double y) {
    return Field([=](const Vec3d& p) {
      const double t = 1 - y / head;
      const double radius = head * (0.10 + 0.27 * std::pow(t, 0.75));
      const double ring = (std::hypot(p.x, p.z / 0.62) - radius) * 0.6;
      return std::hypot(ring, p.y - y) - 0.035 * head;
    });
  };
  const Vec3d low{-0.6 * head, -0.1 * head, -0.6 * head}, high{0.6 * head, 1.2 * head, 0.6 * head};
  addParts(figure,
           {makePart("shaft", wood, shaft, {-3 * r, head * 0.7, -3 * r}, {3 * r, length + 3 * r, 3 * r}, 0.9 * r, {}),
            makePart("bristles", straw, twigs, low, high, 0.05 * head, {}),
            makePart("ties", darkRed, tie(0.70 * head), low, high, 0.034 * head, {}),
            makePart("ties", darkRed, tie(0.85 * head), low, high, 0.034 * head, {})},
           node, -1);
  return figure;
}

}  // namespace understudy::samples
