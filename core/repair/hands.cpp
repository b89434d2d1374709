#include "core/repair/hands.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace understudy {
namespace {

constexpr double degree = std::numbers::pi / 180;

/// Skin of one hand: points in the hand's frame, the joint that carries each, and triangles.
struct HandSkin {
  std::vector<Vec3d> points;
  std::vector<int> joints;
  std::vector<std::array<std::uint32_t, 3>> triangles;
};

class HandFinder {
 public:
  HandFinder(const PosedBody& body, int side) : body_(body), skeleton_(body.figure->skeleton), left_(side == 0) {
    joint_ = body.joint(left_ ? Role::leftHand : Role::rightHand);
  }

  Hand find() {
    Hand hand;
    hand.joint = joint_;
    if (joint_ < 0) return hand;
    frame_ = {body_.rotation[joint_], body_.position[joint_]};
    readSkin();
    hand.fromSkin = skin_.points.size() >= 4;
    direct(hand);
    side(hand);
    measure(hand);
    fingers(hand);
    return hand;
  }

 private:
  [[nodiscard]] Vec3d inHand(const Vec3d& world) const { return apply(inverse(frame_), world); }
  [[nodiscard]] int fingerJoint(int finger, int bone) const {
    return body_.joint(roleAt(indexOf(left_ ? Role::leftThumbMetacarpal : Role::rightThumbMetacarpal) + 3 * finger + bone));
  }
  /// The first bone of a finger (0 thumb … 4 little) that the map knows, −1 if none.
  [[nodiscard]] int fingerRoot(int finger) const {
    for (int bone = 0; bone < 3; ++bone)
      if (const int j = fingerJoint(finger, bone); j >= 0) return j;
    return -1;
  }

  void readSkin() {
    const Figure& figure = *body_.figure;
    std::vector<char> below(skeleton_.parents.size(), 0);
    below[joint_] = 1;
    for (const int j : besideHand(skeleton_, *body_.map, left_)) below[j] = 1;
    for (int j = 0; j < skeleton_.size(); ++j) below[j] = below[j] || (skeleton_.parents[j] >= 0 && below[skeleton_.parents[j]]);
    const Affined toWorld = worldFromFile(figure, body_.pose);
    for (const bool rigid : {false, true}) {
      // Rigid meshes may be props in the hand: they count only where no skin covers the hand, and only on the hand and its fingers.
      if (rigid && !skin_.points.empty()) break;
      for (const Mesh& mesh : figure.meshes) {
        if ((mesh.skin < 0) != rigid) continue;
        if (rigid && (mesh.node < 0 || !below[mesh.node] || !carriesHand(mesh.node))) continue;
        if (!rigid) {
          const Skin& skin = figure.skins[mesh.skin];
          if (std::none_of(skin.joints.begin(), skin.joints.end(), [&](int j) { return below[j] != 0; })) continue;
        }
        const std::vector<Vec3f> positions = skinnedPositions(figure, mesh, body_.pose.fileWorld);
        std::vector<std::int64_t> place(positions.size(), -1);
        for (std::size_t v = 0; v < positions.size(); ++v) {
          int carrier = mesh.node;
          if (!rigid) {
            float best = 0;
            for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k)
              if (mesh.influenceWeight[k] > best) {
                best = mesh.influenceWeight[k];
                carrier = figure.skins[mesh.skin].joints[mesh.influenceJoint[k]];
              }
            if (best <= 0) continue;
          }
          if (carrier < 0 || !below[carrier]) continue;
          place[v] = static_cast<std::int64_t>(skin_.points.size());
          skin_.points.push_back(inHand(apply(toWorld, Vec3d(positions[v]))));
          skin_.joints.push_back(carrier);
        }
        for (std::size_t t = 0; t + 2 < mesh.indices.size(); t += 3) {
          const std::int64_t a = place[mesh.indices[t]], b = place[mesh.indices[t + 1]], c = place[mesh.indices[t + 2]];
          if (a >= 0 && b >= 0 && c >= 0)
            skin_.triangles.push_back({static_cast<std::uint32_t>(a), static_cast<std::uint32_t>(b), static_cast<std::uint32_t>(c)});
        }
      }
    }
  }

  /// Whether a rigid mesh on this joint is part of the hand: on the hand's own joint or on a finger.
  [[nodiscard]] bool carriesHand(int joint) const {
    for (int finger = 0; finger < 5; ++finger)
      if (const int root = fingerRoot(finger); root >= 0 && (joint == root || isAncestor(skeleton_, root, joint))) return true;
    return joint == joint_;
  }

  /// Joint that carries a finger or, for the rest of the hand, −1; else the finger's number.
  [[nodiscard]] int fingerOf(int joint) const {
    for (int finger = 0; finger < 5; ++finger)
      if (const int root = fingerRoot(finger); root >= 0 && (joint == root || isAncestor(skeleton_, root, joint))) return finger;
    return -1;
  }

  void direct(Hand& hand) {
    Vec3d sum;
    int count = 0;
    for (int finger = 1; finger < 5; ++finger)
      if (const int j = fingerRoot(finger); j >= 0) {
        sum += inHand(body_.position[j]);
        ++count;
      }
    const int lower = body_.joint(left_ ? Role::leftLowerArm : Role::rightLowerArm);
    const Vec3d forearm = lower >= 0 ? rotate(conjugate(frame_.turn), body_.position[joint_] - body_.position[lower]) : Vec3d{0, 1, 0};
    fallback_ = normalised(forearm, Vec3d{0, 1, 0});
    if (count > 0 && length(sum) > 1e-6) {
      knuckles_ = sum / static_cast<double>(count);
      hand.along = normalised(knuckles_);
      // Fingers that begin at the wrist itself say where the hand points by their tips only.
      if (length(knuckles_) < 0.05 * length(forearm)) hand.along = fallback_;
    } else if (hand.fromSkin) {
      Vec3d centre;
      for (const Vec3d& p : skin_.points) centre += p;
      centre = centre / static_cast<double>(skin_.points.size());
      // The part of the skin beyond the wrist; a mitten's centre lies off the forearm's line by little.
      hand.along = length(centre) > 0.05 * length(forearm) && angleBetween(centre, fallback_) < 60 * degree ? normalised(centre) : fallback_;
    } else {
      hand.along = fallback_;
    }
  }

  void side(Hand& hand) {
    const auto across = [&](const Vec3d& v) { return v - hand.along * dot(v, hand.along); };
    Vec3d thumbward;
    int first = -1, last = -1;
    for (int finger = 1; finger < 5; ++finger)
      if (fingerRoot(finger) >= 0) {
        if (first < 0) first = finger;
        last = finger;
      }
    std::optional<Vec3d> thumb;
    for (int bone = 2; bone >= 0 && !thumb; --bone)
      if (const int j = fingerJoint(0, bone); j >= 0) thumb = inHand(body_.position[j]);
    if (first >= 0 && last > first) {
      thumbward = across(inHand(body_.position[fingerRoot(first)]) - inHand(body_.position[fingerRoot(last)]));
      hand.reason = "across the knuckles";
    }
    const double size = std::max(length(knuckles_), 1e-6);
    if (thumb && length(thumbward) < 0.05 * size) {
      // From the fingers' own line, so that a single finger chain beside the thumb is not taken for the middle of the hand.
      thumbward = across(*thumb - (first >= 0 ? hand.along * dot(*thumb, hand.along) : Vec3d{}));
      hand.reason = "towards the thumb";
    }
    if (length(thumbward) < 0.05 * size || !isFinite(thumbward)) {
      // In the poses characters are bound in (arms out, down or between) the thumb's side is to the front.
      thumbward = across(rotate(conjugate(frame_.turn), Vec3d{0, 0, 1}));
      hand.reason = "to the front in the reference pose: the hand shows no thumb";
    }
    if (length(thumbward) < 1e-6) thumbward = anyPerpendicular(hand.along);
    const Vec3d y = normalised(thumbward);
    // Right hand: fingers × palm normal = thumb; the left is its mirror image.
    const Vec3d z = left_ ? cross(hand.along, y) : cross(y, hand.along);
    hand.palm.turn = toQuat(Mat3d{cross(y, z), y, z});
  }

  void measure(Hand& hand) {
    const Vec3d y = rotate(hand.palm.turn, Vec3d{0, 1, 0}), z = rotate(hand.palm.turn, Vec3d{0, 0, 1});
    const double height = std::max(body_.pose.height, 1e-6);
    if (length(knuckles_) > 1e-6) {
      hand.length = dot(knuckles_, hand.along);
    } else if (hand.fromSkin) {
      double reach = 0;
      for (const Vec3d& p : skin_.points) reach = std::max(reach, dot(p, hand.along));
      hand.length = 0.6 * reach;
    }
    // Hand .108 H, of which the palm is about half (Drillis and Contini 1966 for the hand).
    if (!(hand.length > 1e-3 * height)) hand.length = 0.054 * height;
    Vec3d middle = hand.along * (0.7 * hand.length);
    if (length(knuckles_) > 1e-6) middle = knuckles_ * 0.7;
    double low = 1e300, high = -1e300;
    for (std::size_t i = 0; i < skin_.points.size(); ++i) {
      if (fingerOf(skin_.joints[i]) >= 0) continue;
      const double t = dot(skin_.points[i] - middle, y);
      low = std::min(low, t);
      high = std::max(high, t);
    }
    hand.width = high > low ? high - low : 0.05 * height;
    hand.palm.at = middle + z * surface(middle, z, 0.35 * hand.width, 0.008 * height);
  }

  /// How far from `from` along the unit direction `way` the skin ends: the outermost triangle on that line, else the outermost
  /// point within `radius` of it, else `otherwise`.
  [[nodiscard]] double surface(const Vec3d& from, const Vec3d& way, double radius, double otherwise) const {
    double best = -1e300;
    for (const auto& t : skin_.triangles) {
      const Vec3d a = skin_.points[t[0]], e1 = skin_.points[t[1]] - a, e2 = skin_.points[t[2]] - a;
      const Vec3d p = cross(way, e2);
      const double det = dot(e1, p);
      if (std::abs(det) < 1e-18) continue;
      const Vec3d s = from - a;
      const double u = dot(s, p) / det;
      const Vec3d q = cross(s, e1);
      const double v = dot(way, q) / det;
      if (u < -1e-9 || v < -1e-9 || u + v > 1 + 1e-9) continue;
      best = std::max(best, dot(e2, q) / det);
    }
    if (best > -1e299) return best;
    for (const Vec3d& p : skin_.points) {
      const Vec3d d = p - from;
      const double t = dot(d, way);
      if (length(d - way * t) < radius) best = std::max(best, t);
    }
    return best > -1e299 ? best : otherwise;
  }

  void fingers(Hand& hand) const {
    const Vec3d z = rotate(hand.palm.turn, Vec3d{0, 0, 1});
    const Vec3d closing = cross(hand.along, z);  // turns the fingers' direction towards the palm's normal
    const double height = std::max(body_.pose.height, 1e-6);
    for (int number = 0; number < 5; ++number) {
      Finger finger;
      finger.thumb = number == 0;
      for (int bone = 0; bone < 3; ++bone) {
        const int j = fingerJoint(number, bone);
        if (j < 0 || (!finger.bones.empty() && !isAncestor(skeleton_, finger.bones.back().joint, j))) continue;
        FingerBone b;
        b.joint = j;
        b.rest = {conjugate(frame_.turn) * body_.rotation[j], inHand(body_.position[j])};
        finger.bones.push_back(b);
      }
      if (finger.bones.empty()) continue;
      for (std::size_t i = 0; i < finger.bones.size(); ++i) {
        FingerBone& b = finger.bones[i];
        const int next = i + 1 < finger.bones.size() ? finger.bones[i + 1].joint : -1;
        for (std::size_t v = 0; v < skin_.points.size(); ++v) {
          const int j = skin_.joints[v];
          const bool own = j == b.joint || (isAncestor(skeleton_, b.joint, j) && (next < 0 || (j != next && !isAncestor(skeleton_, next, j))));
          if (own) b.skin.push_back(skin_.points[v]);
        }
        if (next >= 0) {
          b.end = finger.bones[i + 1].rest.at;
          continue;
        }
        // The tip: a leaf below the last joint, else the farthest skin, else a bone as long as the one before.
        const Vec3d before = i > 0 ? b.rest.at - finger.bones[i - 1].rest.at : hand.along * (0.5 * hand.length);
        double far = 0;
        for (const Vec3d& p : b.skin) far = std::max(far, dot(p - b.rest.at, normalised(before)));
        int leaf = -1;
        for (int j = b.joint + 1; j < skeleton_.size(); ++j)
          if (skeleton_.parents[j] == b.joint) leaf = j;
        const Vec3d leafAt = leaf >= 0 ? inHand(body_.position[leaf]) : Vec3d{};
        if (leaf >= 0 && distance(leafAt, b.rest.at) > 0.2 * length(before))
          b.end = leafAt;
        else
          b.end = b.rest.at + normalised(before, hand.along) * (far > 0 ? far : 0.8 * length(before));
      }
      if (finger.thumb) {
        // The thumb closes towards the front of the palm, whatever way it is set.
        const Vec3d root = finger.bones.front().rest.at, way = finger.bones.back().end - root;
        const Vec3d front = hand.palm.at + z * (0.35 * hand.width) + hand.along * (0.1 * hand.length);
        finger.curl = normalised(cross(way, front - root), -closing);
      } else {
        // Fingers that are spread curl about their own knuckles' line, which lies across the palm.
        const Vec3d way = finger.bones.back().end - finger.bones.front().rest.at;
        const Vec3d spread = normalised(way - z * dot(way, z), hand.along);
        finger.curl = normalised(cross(spread, z), closing);
      }
      Vec3d last = finger.thumb ? finger.bones.front().end - finger.bones.front().rest.at : hand.along;
      for (FingerBone& b : finger.bones) {
        const auto flat = [&](const Vec3d& v) { return v - finger.curl * dot(v, finger.curl); };
        const Vec3d from = flat(last), to = flat(b.end - b.rest.at);
        b.bend = length(from) > 1e-9 && length(to) > 1e-9 ? std::atan2(dot(cross(from, to), finger.curl), dot(from, to)) : 0;
        last = b.end - b.rest.at;
        if (b.skin.empty()) {
          b.skin = {lerp(b.rest.at, b.end, 0.5), b.end};
          b.thick = 0.0045 * height;  // a finger is about 15 mm thick on a body of 1.7 m
        } else if (b.skin.size() > 160) {
          std::vector<Vec3d> fewer;
          for (std::size_t k = 0; k < 160; ++k) fewer.push_back(b.skin[k * b.skin.size() / 160]);
          b.skin = std::move(fewer);
        }
      }
      hand.fingers.push_back(std::move(finger));
    }
  }

  const PosedBody& body_;
  const Skeleton& skeleton_;
  bool left_;
  int joint_ = -1;
  Rigid frame_;
  HandSkin skin_;
  Vec3d knuckles_, fallback_;
};

/// Distance from a point to an endless axis.
double fromAxis(const Vec3d& p, const Vec3d& at, const Vec3d& axis) { return length(cross(p - at, axis)); }

}  // namespace

std::array<Hand, 2> findHands(const PosedBody& body) { return {HandFinder(body, 0).find(), HandFinder(body, 1).find()}; }

HandClosing handPose(const Hand& hand, HandPose pose, const HandleInPalm& handle) {
  HandClosing out;
  const Vec3d axisAt = apply(hand.palm, handle.at), axis = normalised(rotate(hand.palm.turn, handle.axis), Vec3d{0, 1, 0});
  int place = 0;  // of the finger among those that are no thumb
  const int count = static_cast<int>(std::count_if(hand.fingers.begin(), hand.fingers.end(), [](const Finger& f) { return !f.thumb; }));
  for (const Finger& finger : hand.fingers) {
    const double ulnar = count > 1 && !finger.thumb ? static_cast<double>(place) / (count - 1) : 0;  // 0 index … 1 little
    // Joint angles seen in hands at rest and in a fist, in degrees, rounded: the fingers close more towards the little one.
    const auto wanted = [&](std::size_t bone) {
      const std::size_t b = std::min<std::size_t>(bone, 2);
      constexpr double relaxed[3] = {20, 30, 15}, fist[3] = {80, 95, 55}, thumbFist[3] = {20, 35, 45}, thumbRelaxed[3] = {5, 10, 10};
      switch (pose) {
        case HandPose::relaxed: return finger.thumb ? thumbRelaxed[b] : relaxed[b] * (1 + 0.5 * ulnar);
        case HandPose::fist: return finger.thumb ? thumbFist[b] : fist[b];
        case HandPose::point: return finger.thumb ? thumbFist[b] : place == 0 ? 0.0 : fist[b];
        default: return 0.0;
      }
    };
    double sum = 0, gap = 1e300;
    Vec3d root = finger.bones.front().rest.at;
    for (std::size_t i = 0; i < finger.bones.size(); ++i) {
      const FingerBone& bone = finger.bones[i];
      // The thumb's own set is its flat pose: its first bone has no neighbour to be straight with.
      const double straight = finger.thumb && i == 0 ? 0 : -bone.bend;
      const auto at = [&](double turn, const Vec3d& p) { return root + rotate(fromAxisAngle(finger.curl, sum + turn), p - bone.rest.at); };
      double turn = 0;
      if (pose == HandPose::grip) {
        const Vec3d way = bone.end - bone.rest.at;
        const double span = std::max(dot(way, way), 1e-12);
        const auto clear = [&](double t) {
          double least = 1e300;
          for (const Vec3d& p : bone.skin)
            if (dot(p - bone.rest.at, way) > 0.35 * span) least = std::min(least, fromAxis(at(t, p), axisAt, axis) - bone.thick);
          if (least > 1e299) least = fromAxis(at(t, bone.end), axisAt, axis) - bone.thick;
          return least - handle.radius;
        };
        const double open = straight - (i == 0 ? 35 : 10) * degree, shut = straight + (finger.thumb ? 70 : 110) * degree;
        constexpr int steps = 48;
        double best = 1e300;
        turn = straight;
        double before = clear(open);
        if (before <= 0) {
          turn = open;
        } else {
          for (int s = 1; s <= steps; ++s) {
            const double t = open + (shut - open) * s / steps, c = clear(t);
            if (c <= 0) {
              double low = open + (shut - open) * (s - 1) / steps, high = t;
              for (int k = 0; k < 30; ++k) {
                const double mid = (low + high) / 2;
                (clear(mid) > 0 ? low : high) = mid;
              }
              turn = low;
              best = 0;
              break;
            }
            if (c < best) {
              best = c;
              turn = t;
            }
          }
        }
        gap = std::min(gap, clear(turn));
      } else if (pose != HandPose::own) {
        turn = straight + wanted(i) * degree;
        if (finger.thumb && i > 0 && pose == HandPose::flat) turn = 0;
      }
      sum += turn;
      out.turns.push_back({bone.joint, fromAxisAngle(finger.curl, sum) * bone.rest.turn});
      root = root + rotate(fromAxisAngle(finger.curl, sum), bone.end - bone.rest.at);
    }
    out.gaps.push_back(gap > 1e299 ? 0 : gap);
    if (!finger.thumb) ++place;
  }
  return out;
}

}  // namespace understudy
