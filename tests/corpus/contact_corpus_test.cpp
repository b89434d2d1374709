// Ground contacts of captured walks against force plates, from the BVH alone, one setting for all.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include "core/contact/contacts.h"
#include "core/io/read.h"

namespace understudy {
namespace {

const std::string folder = std::string(UNDERSTUDY_CORPUS) + "/motion/";

struct Labels {
  std::array<std::vector<int>, 2> down;              // −1 unlabelled
  std::array<std::vector<double>, 2> landing, leaving;  // seconds
};

Labels readLabels(const std::string& name) {
  Labels labels;
  std::ifstream frames(folder + name + ".csv"), events(folder + name + "_events.csv");
  for (std::string line; std::getline(frames, line);) {
    std::istringstream in(line);
    std::string cell;
    std::vector<std::string> cells;
    while (std::getline(in, cell, ',')) cells.push_back(cell);
    if (cells.size() < 4 || line[0] == '#' || std::isdigit(static_cast<unsigned char>(line[0])) == 0) continue;
    for (int side = 0; side < 2; ++side) labels.down[side].push_back(std::stoi(cells[2 + side]));
  }
  for (std::string line; std::getline(events, line);) {
    if (!line.starts_with("L,") && !line.starts_with("R,")) continue;
    const int side = line[0] == 'L' ? 0 : 1;
    const std::size_t comma = line.find(',', 2);
    const double time = std::stod(line.substr(comma + 1));
    (line.compare(2, comma - 2, "foot_strike") == 0 ? labels.landing : labels.leaving)[side].push_back(time);
  }
  return labels;
}

struct Tally {
  int hit = 0, miss = 0, wrong = 0, clear = 0;
  void add(bool found, int truth) {
    if (truth < 0) return;
    ++(truth == 1 ? (found ? hit : miss) : (found ? wrong : clear));
  }
  [[nodiscard]] int count() const { return hit + miss + wrong + clear; }
  [[nodiscard]] double accuracy() const { return static_cast<double>(hit + clear) / count(); }
  [[nodiscard]] double f1() const { return 2.0 * hit / (2.0 * hit + miss + wrong); }
};

// Heel or toe low and slow, each above its own fifth percentile of height.
std::vector<bool> lowAndSlow(const FootContact& foot, double leg, double rate) {
  const int n = static_cast<int>(foot.heel.size());
  std::vector<bool> down(static_cast<std::size_t>(n));
  for (const auto& [path, limit] : {std::pair{&foot.heel, 0.039}, std::pair{&foot.ball, 0.033}}) {
    std::vector<double> heights;
    for (const Vec3d& p : *path) heights.push_back(p.y);
    std::sort(heights.begin(), heights.end());
    const double base = heights[heights.size() / 20];
    for (int i = 0; i < n; ++i) {
      const int a = std::max(0, i - 1), b = std::min(n - 1, i + 1);
      if (((*path)[i].y - base) / leg < limit && distance((*path)[a], (*path)[b]) * rate / (b - a) / leg < 0.89) down[i] = true;
    }
  }
  return down;
}

class ContactCorpus : public ::testing::TestWithParam<std::pair<const char*, const char*>> {};

TEST_P(ContactCorpus, AgreesWithForcePlates) {
  const auto [file, labelName] = GetParam();
  if (!std::filesystem::exists(folder + file)) GTEST_SKIP() << "no corpus at " << UNDERSTUDY_CORPUS;
  const auto figure = readFigure(folder + file);
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  const SkeletonMap map = mapRoles(*figure);
  ASSERT_FALSE(figure->clips.empty());
  const auto clip = sample(figure->clips[0], figure->skeleton);
  ASSERT_TRUE(clip.ok()) << clip.error().text();
  const Motion& motion = *clip;
  const auto found = findContacts(*figure, map, motion);
  ASSERT_TRUE(found.ok()) << found.error().text();
  const Labels labels = readLabels(labelName);
  const double rate = motion.rate.hertz();

  Tally ours, plain;
  std::vector<double> errors;
  for (int side = 0; side < 2; ++side) {
    const FootContact& foot = found->feet[side];
    const std::vector<bool> simple = lowAndSlow(foot, found->leg, rate);
    ASSERT_EQ(foot.phases.size(), labels.down[side].size());
    for (int i = 0; i < motion.frames; ++i) {
      ours.add(foot.down(i), labels.down[side][i]);
      plain.add(simple[i], labels.down[side][i]);
    }
    const auto nearest = [&](double truth, bool landing) {
      double best = 1e9;
      for (const ContactSpan& span : foot.spans)
        if (landing ? span.landingSeen : span.leavingSeen) {
          const double e = (landing ? span.landing : span.leaving) - truth;
          if (std::abs(e) < std::abs(best)) best = e;
        }
      std::printf("  %s %s at %.3f s: %+.1f ms\n", side == 0 ? "left" : "right", landing ? "landing" : "leaving", truth, best * 1000);
      errors.push_back(std::abs(best));
    };
    for (const double t : labels.landing[side]) nearest(t, true);
    for (const double t : labels.leaving[side]) nearest(t, false);
  }
  ASSERT_GT(ours.count(), 100);
  ASSERT_GE(errors.size(), 6U);
  std::sort(errors.begin(), errors.end());
  std::printf("%s: accuracy %.4f, F1 %.4f over %d labelled frames (plain low and slow: %.4f, %.4f); events: median %.1f ms, worst %.1f ms\n", file,
              ours.accuracy(), ours.f1(), ours.count(), plain.accuracy(), plain.f1(), errors[errors.size() / 2] * 1000, errors.back() * 1000);
  EXPECT_GE(ours.accuracy(), 0.975);
  EXPECT_GE(ours.f1(), 0.98);
  EXPECT_LE(errors[errors.size() / 2], 0.020);
  EXPECT_LE(errors.back(), 0.050);
}

// The same trials at lower rates, where nothing was looked at when the defaults were chosen; labels of the nearest plate frame.
TEST_P(ContactCorpus, HoldsAtLowerRates) {
  const auto [file, labelName] = GetParam();
  if (!std::filesystem::exists(folder + file)) GTEST_SKIP() << "no corpus at " << UNDERSTUDY_CORPUS;
  const auto figure = readFigure(folder + file);
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  ASSERT_FALSE(figure->clips.empty());
  const auto clip = sample(figure->clips[0], figure->skeleton);
  ASSERT_TRUE(clip.ok()) << clip.error().text();
  const SkeletonMap map = mapRoles(*figure);
  const Labels labels = readLabels(labelName);
  for (const int rate : {24, 30, 60}) {
    const Motion motion = resampled(*clip, {rate, 1});
    const auto found = findContacts(*figure, map, motion);
    ASSERT_TRUE(found.ok()) << found.error().text();
    Tally ours, plain;
    for (int side = 0; side < 2; ++side) {
      const std::vector<bool> simple = lowAndSlow(found->feet[side], found->leg, rate);
      for (int i = 0; i < motion.frames; ++i) {
        const auto at = static_cast<std::size_t>(std::lround(motion.rate.seconds(i) * clip->rate.hertz()));
        if (at >= labels.down[side].size()) continue;
        ours.add(found->feet[side].down(i), labels.down[side][at]);
        plain.add(simple[i], labels.down[side][at]);
      }
    }
    std::printf("%s at %d fps: accuracy %.4f, F1 %.4f over %d labelled frames (plain low and slow: %.4f, %.4f)\n", file, rate, ours.accuracy(), ours.f1(),
                ours.count(), plain.accuracy(), plain.f1());
    EXPECT_GE(ours.f1(), 0.95) << rate;
  }
}

// The defaults are no knife's edge: each one a fifth smaller or larger still agrees with the plates.
TEST_P(ContactCorpus, DoesNotHangOnItsSettings) {
  const auto [file, labelName] = GetParam();
  if (!std::filesystem::exists(folder + file)) GTEST_SKIP() << "no corpus at " << UNDERSTUDY_CORPUS;
  const auto figure = readFigure(folder + file);
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  const auto clip = sample(figure->clips.at(0), figure->skeleton);
  ASSERT_TRUE(clip.ok()) << clip.error().text();
  const SkeletonMap map = mapRoles(*figure);
  const Labels labels = readLabels(labelName);
  double worst = 1;
  using Field = double ContactSettings::*;
  for (const Field field : {&ContactSettings::nearHeight, &ContactSettings::slow, &ContactSettings::fall, &ContactSettings::searchBefore,
                            &ContactSettings::searchAfter, &ContactSettings::landHeight, &ContactSettings::push, &ContactSettings::still,
                            &ContactSettings::shortest, &ContactSettings::heelBehind, &ContactSettings::ballAbove})
    for (const double factor : {0.8, 1.2}) {
      ContactSettings settings;
      settings.*field *= factor;
      const auto found = findContacts(*figure, map, *clip, settings);
      ASSERT_TRUE(found.ok()) << found.error().text();
      Tally tally;
      for (int side = 0; side < 2; ++side)
        for (int i = 0; i < clip->frames; ++i) tally.add(found->feet[side].down(i), labels.down[side][i]);
      worst = std::min(worst, tally.f1());
    }
  std::printf("%s: worst F1 with one setting off by a fifth: %.4f\n", file, worst);
  EXPECT_GE(worst, 0.97);
}

// Every captured performer: an answer, finite, and for those that walk all the time stance shares as walks have them.
TEST(ContactCorpusAll, GivesPlausibleAnswers) {
  if (!std::filesystem::exists(folder)) GTEST_SKIP() << "no corpus at " << UNDERSTUDY_CORPUS;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) {
    if (entry.path().extension() != ".bvh") continue;
    const std::string name = entry.path().filename().string();
    const auto figure = readFigure(entry.path().string());
    ASSERT_TRUE(figure.ok()) << figure.error().text();
    const auto clip = sample(figure->clips.at(0), figure->skeleton);
    ASSERT_TRUE(clip.ok()) << clip.error().text();
    const auto found = findContacts(*figure, mapRoles(*figure), *clip);
    ASSERT_TRUE(found.ok()) << name << ": " << found.error().text();
    std::array<double, 2> share{};
    for (int side = 0; side < 2; ++side) {
      const FootContact& foot = found->feet[side];
      ASSERT_EQ(foot.phases.size(), static_cast<std::size_t>(clip->frames)) << name;
      for (int i = 0; i < clip->frames; ++i) share[side] += foot.down(i) / static_cast<double>(clip->frames);
      int last = -1;
      for (const ContactSpan& span : foot.spans) {
        EXPECT_GT(span.first, last) << name;
        EXPECT_LE(span.first, span.last) << name;
        EXPECT_TRUE(std::isfinite(span.landing) && std::isfinite(span.leaving) && std::isfinite(span.height)) << name;
        last = span.last;
      }
    }
    std::printf("%s: leg %.3f m, floor %+.3f m, on the ground %.2f left, %.2f right of the time, %zu and %zu contacts\n", name.c_str(), found->leg, found->floor,
                share[0], share[1], found->feet[0].spans.size(), found->feet[1].spans.size());
    EXPECT_LT(std::abs(found->floor), 0.08) << name;
    if (name.find("walk") != std::string::npos && name.find("zombie") == std::string::npos)
      for (const double s : share) {
        EXPECT_GT(s, 0.5) << name;
        EXPECT_LT(s, 0.8) << name;
      }
  }
}

INSTANTIATE_TEST_SUITE_P(Walks, ContactCorpus,
                         ::testing::Values(std::pair{"gait_walk1_lowerbody.bvh", "gait_walk1_contact"},
                                           std::pair{"gait_fullbody_walk.bvh", "gait_fullbody_walk_contact"}),
                         [](const auto& one) { return one.index == 0 ? std::string("lower_body") : std::string("full_body"); });

}  // namespace
}  // namespace understudy
