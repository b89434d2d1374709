// What is worked out of a character and kept: unchanged, or made anew.
#include <gtest/gtest.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <random>

#include "core/body/body_model_bytes.h"
#include "core/body/body_solids.h"
#include "core/retarget/posed_body.h"
#include "core/store/cache_folder.h"
#include "tests/support/fixtures.h"
#include "tests/support/puppet.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;

/// The process's store for one test.
struct WithStore {
  explicit WithStore(const std::string& folder) { useCacheFolder(folder); }
  ~WithStore() { useCacheFolder({}); }
};

BodyModel bare(const test::PuppetOptions& options) {
  const auto figure = test::puppet(options);
  const SkeletonMap map = test::puppetMap(*figure);
  const Result<PosedBody> body = posedBody(*figure, map, nullptr, {});
  BodyModel model;
  model.surface = bodySurface(*figure, map, body->pose.fileWorld, worldFromFile(*figure, body->pose));
  model.rotation = body->rotation;
  model.position = body->position;
  model.height = body->pose.height;
  return model;
}

std::shared_ptr<const BodyModel> modelOf(const test::PuppetOptions& options) {
  const auto figure = test::puppet(options);
  const SkeletonMap map = test::puppetMap(*figure);
  const Result<PosedBody> body = posedBody(*figure, map, nullptr, {});
  return bodyModel(bodySurface(*figure, map, body->pose.fileWorld, worldFromFile(*figure, body->pose)), {body->rotation, body->position}, map, figure->skeleton,
                   body->pose.height);
}

TEST(BodyModelBytes, ReadBackIsTheSameToTheByte) {
  const test::PuppetOptions options{0.26, 0.9, true, true};
  const auto built = modelOf(options);
  const std::string bytes = writeBodyModel(*built);
  BodyModel read = bare(options);
  ASSERT_TRUE(readBodyModel(bytes, read));
  EXPECT_EQ(writeBodyModel(read), bytes);
  ASSERT_EQ(read.solids.size(), built->solids.size());
  ASSERT_EQ(read.limbs.size(), built->limbs.size());
  std::mt19937 random(4);
  std::uniform_real_distribution<double> place(-1, 1);
  const std::vector<Affined> still(read.rotation.size());
  for (std::size_t s = 0; s < read.solids.size(); ++s) {
    EXPECT_EQ(read.solids[s].cells, built->solids[s].cells);
    EXPECT_EQ(read.solids[s].cellBlocks, built->solids[s].cellBlocks);
    const PosedSolid a(read.solids[s], still), b(built->solids[s], still);
    for (int i = 0; i < 300; ++i) {
      const Vec3d p{place(random), 1 + place(random), place(random)};
      EXPECT_EQ(a.sample(p).distance, b.sample(p).distance);
      EXPECT_EQ(a.guide(p, a.place(p)).distance, b.guide(p, b.place(p)).distance);
    }
  }
}

TEST(BodyModelBytes, DamageOfAnyByteIsNoticed) {
  const test::PuppetOptions options{0.2, 0.7, false, true};
  const std::string bytes = writeBodyModel(*modelOf(options));
  std::mt19937 random(9);
  const BodyModel before = bare(options);
  for (int i = 0; i < 200; ++i) {
    std::string damaged = bytes;
    if (i % 4 == 0)
      damaged.resize(random() % damaged.size());
    else
      damaged[random() % damaged.size()] ^= static_cast<char>(1 + random() % 255);
    BodyModel model = before;
    EXPECT_FALSE(readBodyModel(damaged, model));
    EXPECT_TRUE(model.solids.empty() && model.limbs.empty());
  }
  BodyModel other = bare({0.2, 0.7, false, true});
  other.rotation.resize(3);
  other.position.resize(3);
  EXPECT_FALSE(readBodyModel(bytes, other)) << "joints the character does not have";
}

TEST(BodyModelBytes, GridsAreTheSameForAnyNumberOfThreads) {
  const BodyModel model = bare({0.25, 0.8, true, false});
  const std::array with{BodyPart::leftThigh};
  const BodySolid one = joinedSolid(model.surface, BodyPart::leftShank, with, false, 0.006, 1), four = joinedSolid(model.surface, BodyPart::leftShank, with, false, 0.006, 4);
  ASSERT_FALSE(one.grid.empty());
  EXPECT_EQ(one.grid.values(), four.grid.values());
}

TEST(BodyModel, ComesFromTheStoreAsItWasBuilt) {
  const TemporaryFolder folder;
  const WithStore store(folder.path());
  // Content no other test has, so that nothing of it is in memory; the memory keeps six.
  const auto first = modelOf({0.223, 1.01, false, false});
  ASSERT_EQ(std::distance(fs::directory_iterator(folder.path()), fs::directory_iterator()), 1);
  const fs::path file = fs::directory_iterator(folder.path())->path();
  const auto forget = [&] {
    useCacheFolder({});
    for (int i = 0; i < 6; ++i) (void)modelOf({0.2 + 0.001 * i, 0.4, false, false});
    useCacheFolder(folder.path());
  };
  forget();
  const auto second = modelOf({0.223, 1.01, false, false});
  EXPECT_NE(first, second);
  EXPECT_EQ(writeBodyModel(*first), writeBodyModel(*second));
  // A damaged file is made anew.
  std::ofstream(file, std::ios::binary) << "not what it was";
  forget();
  EXPECT_EQ(writeBodyModel(*modelOf({0.223, 1.01, false, false})), writeBodyModel(*first));
  EXPECT_GT(fs::file_size(file), 1000u);
}

TEST(CacheFolder, KeepsWhatWasUsedLastWithinItsSize) {
  const TemporaryFolder folder;
  CacheFolder cache(folder.path() + "/made/when/needed", 1000);
  cache.save("a", std::string(400, 'a'));
  cache.save("b", std::string(400, 'b'));
  // Times of files may be coarse: say when each was used.
  const auto at = [&](const char* key, int minutesAgo) {
    fs::last_write_time(folder.path() + "/made/when/needed/" + key + ".computed", fs::file_time_type::clock::now() - std::chrono::minutes(minutesAgo));
  };
  at("a", 20);
  at("b", 10);
  std::ofstream(folder.path() + "/made/when/needed/mine.txt") << std::string(2000, 'x');
  ASSERT_EQ(cache.load("a"), std::string(400, 'a'));  // is the younger now
  cache.save("c", std::string(400, 'c'));
  EXPECT_FALSE(cache.load("b"));
  EXPECT_EQ(cache.load("a"), std::string(400, 'a'));
  EXPECT_EQ(cache.load("c"), std::string(400, 'c'));
  cache.save("d", std::string(1001, 'd'));
  EXPECT_FALSE(cache.load("d"));
  EXPECT_TRUE(fs::exists(folder.path() + "/made/when/needed/mine.txt"));
  for (const fs::directory_entry& file : fs::directory_iterator(folder.path() + "/made/when/needed"))
    EXPECT_TRUE(file.path().extension() == ".computed" || file.path().filename() == "mine.txt") << file.path();
}

TEST(CacheFolder, AFolderThatCannotBeMadeKeepsNothing) {
  const TemporaryFolder folder;
  std::ofstream(folder.path() + "/file") << "in the way";
  CacheFolder cache(folder.path() + "/file/below");
  cache.save("a", "bytes");
  EXPECT_FALSE(cache.load("a"));
}

}  // namespace
}  // namespace understudy
