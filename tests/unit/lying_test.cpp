// Performers that lie down: where the character comes to lie, and which contacts their feet have.
#include <gtest/gtest.h>

#include <algorithm>

#include "core/body/body_surface.h"
#include "core/contact/contacts.h"
#include "core/math/smooth_step.h"
#include "core/retarget/retarget.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

constexpr int frames = 240, downFrom = 80, downAt = 120;
constexpr double belly = 0.2;

/// Stands, lets itself fall back and lies; the back of its torso, which is round, just on the floor. `heels`: radians by which its legs
/// come down to the floor then.
Motion liesDown(const Figure& figure, double heels = 0) {
  Motion motion = restMotion(figure.skeleton, frames, {60, 1}, {0});
  for (int f = 0; f < frames; ++f) {
    const double down = smoothStep((f - downFrom) / double(downAt - downFrom));
    motion.rotationsAt(f)[0] = Quatf(fromAxisAngle(Vec3d{1, 0, 0}, -M_PI / 2 * down));
    for (const char* leg : {"leftUpperLeg", "rightUpperLeg"})
      motion.rotationsAt(f)[static_cast<std::size_t>(*findJoint(figure.skeleton, leg))] = Quatf(fromAxisAngle(Vec3d{1, 0, 0}, heels * down));
    motion.translationsAt(f)[0] = Vec3f(Vec3d{0, 0.9 + (belly - 0.9) * down, 0});
  }
  return motion;
}

/// Height of the lowest point of trunk and legs, metres, exactly.
double lowest(const Figure& figure, const SkeletonMap& map, const Motion& motion, int frame) {
  const std::vector<Affined> rest = restWorld(figure.skeleton);
  const BodySurface surface = bodySurface(figure, map, rest, figure.space.toWorld());
  std::vector<Affined> turned(rest.size());
  worldAt(figure.skeleton, motion, frame, turned);
  for (std::size_t j = 0; j < turned.size(); ++j) turned[j] = turned[j] * inverse(rest[j]);
  std::vector<int> vertices;
  for (int v = 0; v < surface.vertices(); ++v)
    if (const BodyPart part = surface.parts[static_cast<std::size_t>(v)]; part >= BodyPart::torso && part <= BodyPart::rightShank && part != BodyPart::head) vertices.push_back(v);
  std::vector<Vec3d> at(vertices.size());
  pointsOf(surface, turned, vertices, at);
  return std::min_element(at.begin(), at.end(), [](const Vec3d& a, const Vec3d& b) { return a.y < b.y; })->y;
}

TEST(Lying, RestsOnTheFloorWhateverTheBodiesWidths) {
  const auto performer = test::puppet({belly, 1, false, false});
  const Motion clip = liesDown(*performer);
  BoneMap map;
  map.performer = test::puppetMap(*performer);
  ASSERT_NEAR(lowest(*performer, map.performer, clip, frames - 1), 0, 0.002);
  for (const auto& [width, scale] : {std::pair{0.32, 1.4}, {0.14, 0.8}, {0.2, 1.0}}) {
    const auto character = test::puppet({width, scale, false, false});
    map.character = test::puppetMap(*character);
    const Result<Retargeted> out = retarget(*performer, clip, *character, map);
    ASSERT_TRUE(out.ok()) << out.error().text();
    for (const int f : {0, 40, downFrom}) EXPECT_NEAR(lowest(*character, map.character, out->motion, f), 0, 0.003 * scale) << width << " standing at " << f;
    for (const int f : {downAt + 10, 180, frames - 1}) EXPECT_NEAR(lowest(*character, map.character, out->motion, f), 0, 0.012 * scale) << width << " lying at " << f;
    // And comes there gently.
    double most = 0;
    for (int f = 1; f + 1 < frames; ++f) {
      const auto y = [&](int k) { return static_cast<double>(out->motion.translationsAt(k)[0].y) / scale; };
      most = std::max(most, std::abs(y(f + 1) - 2 * y(f) + y(f - 1)));
    }
    EXPECT_LT(most, 0.006) << width;
  }
}

TEST(Lying, HasNoFeetThatStand) {
  const auto performer = test::puppet({belly, 1, false, false});
  const Result<Contacts> contacts = findContacts(*performer, test::puppetMap(*performer), liesDown(*performer, 0.15));
  ASSERT_TRUE(contacts.ok());
  EXPECT_NEAR(contacts->floor, 0, 0.005);
  for (const FootContact& foot : contacts->feet) {
    ASSERT_FALSE(foot.spans.empty());
    for (const ContactSpan& span : foot.spans) {
      EXPECT_LE(span.first, downFrom);
      EXPECT_LT(span.last, downAt);
      EXPECT_NEAR(span.height, 0, 0.01);
    }
  }
}

}  // namespace
}  // namespace understudy
