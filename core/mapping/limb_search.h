// Chains of a tree that look like limbs. Internal to mapping.
#pragma once

#include <array>
#include <initializer_list>
#include <vector>

#include "core/mapping/body_shape.h"

namespace understudy {

/// What lies below each joint. Metres.
struct TreeMeasures {
  std::vector<double> reach;  // longest way from a joint to the end of its subtree
  std::vector<double> lowest, highest;
  std::vector<int> count;  // bones in the subtree
  std::vector<int> depth;  // bones on the longest chain (by number)
};

[[nodiscard]] TreeMeasures measureTree(const BodyTree& t);

/// Two chains by their first joints.
struct ChainPair {
  int a = -1, b = -1;
  double likeness = 0;
};

/// Chains below one joint that are like each other.
[[nodiscard]] std::vector<ChainPair> mirroredPairs(const BodyTree& t, const TreeMeasures& m);

struct LegChoice {
  ChainPair pair;
  double score;
};
/// The pairs most like legs, the best first.
[[nodiscard]] std::vector<LegChoice> rankLegs(const BodyTree& t, const TreeMeasures& m, const std::vector<ChainPair>& pairs);

/// Places of a limb's main joints in a chain.
struct LimbPlaces {
  int upper = -1, lower = -1, end = -1;
  double cost = 1e9;
};

/// Without its height.
[[nodiscard]] Vec3d horizontal(const Vec3d& v);
/// How well a joint's name fits a part: 1 … −1, weighted by the trust in names.
[[nodiscard]] double named(const BodyTree& t, int joint, Part part);
/// The chain of bones from `root` outwards, at each fork the way that reaches farthest.
[[nodiscard]] std::vector<int> chainFrom(const BodyTree& t, const TreeMeasures& m, int root);
/// The place of the farthest tip of a joint, its own where it has none.
[[nodiscard]] Vec3d tipOf(const BodyTree& t, int joint);
/// Picks upper, lower and end joint of two chains that belong together (the same places in both).
[[nodiscard]] LimbPlaces pickTriple(const BodyTree& t, const TreeMeasures& m, const std::vector<int>& a, const std::vector<int>& b, bool leg, double ground);
/// How far names along a chain speak for some parts, −1.5 … 1.5, weighted by the trust in names.
[[nodiscard]] double nameVotes(const BodyTree& t, const std::vector<int>& chain, std::initializer_list<Part> wanted);
/// The nearest joint above both, −1 where there is none.
[[nodiscard]] int commonAncestor(const BodyTree& t, int a, int b);
/// Feet that hang elsewhere: a pair of joints outside the legs, below the knees, near where the shanks end.
void findDetachedFeet(const BodyTree& t, const TreeMeasures& m, BodyShape& body, double ground);

}  // namespace understudy
