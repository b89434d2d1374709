// Saves that are killed, cut off or run out of space.
#include <gtest/gtest.h>

#include <csignal>
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <filesystem>
#include <random>
#include <thread>

#include "core/store/autosave.h"
#include "core/store/reel_file.h"
#include "core/take/edits.h"
#include "tests/support/fixtures.h"

namespace understudy {
namespace {

Reel reelWithNudges(int count) {
  Take take;
  take.name = "take of " + std::to_string(count);
  Nudges nudges;
  for (int i = 0; i < count; ++i) {
    Nudge nudge;
    nudge.id = static_cast<std::uint64_t>(i) + 1;
    nudge.time = i / 30.0;
    nudge.joints = {{"port_hand", {0.1, 0.2, 0.3}, {}}};
    nudges.emplace_back(nudge);
  }
  take.nudges = nudges;
  Reel reel;
  return addTake(reel, take);
}

TEST(StoreRobust, AKilledSaveLeavesTheOldOrTheNewReel) {
  const TemporaryFolder folder;
  const std::string path = folder.file("keeper.reel");
  const Reel small = reelWithNudges(3), large = reelWithNudges(900);
  ASSERT_TRUE(saveReel(small, path).ok());
  // The kill is placed by the child's own progress, and the rest by how long a pair of saves takes here: no delay holds for every machine.
  const auto begin = std::chrono::steady_clock::now();
  ASSERT_TRUE(saveReel(large, path).ok() && saveReel(small, path).ok());
  const std::chrono::duration<double> pair = std::chrono::steady_clock::now() - begin;
  void* shared = mmap(nullptr, sizeof(std::atomic<int>), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
  ASSERT_NE(shared, MAP_FAILED);
  auto& saves = *new (shared) std::atomic<int>(0);
  std::mt19937 random(7);
  std::uniform_real_distribution<double> share(0, 1);
  int smalls = 0, larges = 0;
  for (int round = 0; round < 100; ++round) {
    saves = 0;
    const pid_t child = fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      for (int i = 0;; ++i, ++saves)
        if (!saveReel((i + round) % 2 ? small : large, path)) _exit(1);
    }
    // After none, one or two whole saves, somewhere within the next ones. Rounds alternate which reel is saved first.
    bool ended = false;
    while (saves < round / 2 % 3 && !ended) {
      ended = waitpid(child, nullptr, WNOHANG) == child;
      std::this_thread::sleep_for(std::chrono::microseconds(50));
    }
    ASSERT_FALSE(ended) << "the save failed by itself";
    std::this_thread::sleep_for(share(random) * pair);
    kill(child, SIGKILL);
    int state = 0;
    waitpid(child, &state, 0);
    ASSERT_TRUE(WIFSIGNALED(state)) << "the save failed by itself";
    const auto reel = loadReel(path);
    ASSERT_TRUE(reel.ok()) << "after kill " << round << ": " << reel.error().text();
    ASSERT_TRUE(*reel == small || *reel == large);
    (*reel == small ? smalls : larges) += 1;
  }
  // Both were seen, so the kills did fall into a running exchange.
  EXPECT_GT(smalls, 0);
  EXPECT_GT(larges, 0);
  munmap(shared, sizeof(std::atomic<int>));
  // What killed saves left behind is neither a reel nor an autosave, and does not stop the next save.
  EXPECT_TRUE(saveReel(small, path).ok());
  EXPECT_TRUE(findRecoveries(folder.path()).empty());
}

TEST(StoreRobust, EveryTruncationIsToldAndNeverCrashes) {
  const TemporaryFolder folder;
  const std::string text = writeReel(reelWithNudges(2), folder.file("a.reel"));
  // Without the last line break and brace onwards nothing of it is valid.
  for (std::size_t size = 0; size + 2 < text.size(); ++size) {
    const auto reel = readReel(std::string_view(text).substr(0, size), "a.reel");
    ASSERT_FALSE(reel.ok()) << size;
    ASSERT_EQ(reel.error().fault, Fault::input);
    ASSERT_FALSE(reel.error().text().empty());
  }
}

TEST(StoreRobust, DamagedBytesAreReadOrRefusedButNeverCrash) {
  const TemporaryFolder folder;
  const std::string text = writeReel(reelWithNudges(3), folder.file("a.reel"));
  std::mt19937 random(11);
  for (int round = 0; round < 3000; ++round) {
    std::string damaged = text;
    for (int k = 0; k < 1 + static_cast<int>(random() % 4); ++k) damaged[random() % damaged.size()] = static_cast<char>(random() % 256);
    Issues issues;
    const auto reel = readReel(damaged, folder.file("a.reel"), &issues);
    if (!reel) {
      ASSERT_FALSE(reel.error().what.empty());
      continue;
    }
    // What was read can be written and read again.
    const auto back = readReel(writeReel(*reel, folder.file("a.reel")), folder.file("a.reel"));
    ASSERT_TRUE(back.ok()) << back.error().text();
  }
}

TEST(StoreRobust, AbsurdFilesAreRefused) {
  for (const std::string& text : {std::string(200000, '['), std::string(200000, '{'), std::string("\0\0\0\0", 4), std::string("{\"format\":\"understudy reel\",\"version\":1e400}"),
                                  std::string("{\"format\":\"understudy reel\",\"version\":1,\"takes\":[{\"clip\":1e300}]}"),
                                  std::string("{\"format\":\"understudy reel\",\"version\":1,\"takes\":[{\"firstFrame\":0.5}]}"),
                                  std::string("{\"format\":\"understudy reel\",\"version\":-1}")}) {
    const auto reel = readReel(text, "a.reel");
    ASSERT_FALSE(reel.ok()) << text.substr(0, 60);
    EXPECT_EQ(reel.error().fault, Fault::input);
  }
}

TEST(StoreRobust, AFullDiskLeavesTheOldReel) {
  const TemporaryFolder folder;
  const std::string path = folder.file("keeper.reel");
  const Reel small = reelWithNudges(1);
  ASSERT_TRUE(saveReel(small, path).ok());
  const std::string before = readFile(path);
  const pid_t child = fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    const rlimit limit{4096, 4096};
    setrlimit(RLIMIT_FSIZE, &limit);
    const Status saved = saveReel(reelWithNudges(500), path);
    _exit(!saved && saved.error().fault == Fault::output ? 0 : 1);
  }
  int state = 0;
  waitpid(child, &state, 0);
  ASSERT_TRUE(WIFEXITED(state)) << "ended by signal " << WTERMSIG(state);
  EXPECT_EQ(WEXITSTATUS(state), 0);
  EXPECT_EQ(readFile(path), before);
  int files = 0;
  for (const auto& entry : std::filesystem::directory_iterator(folder.path())) files += entry.is_regular_file();
  EXPECT_EQ(files, 1) << "something half-written was left";
  const Status full = saveReel(small, "/dev/full");
  ASSERT_FALSE(full.ok());
  EXPECT_EQ(full.error().fault, Fault::output);
}

TEST(StoreRobust, UnwritablePlacesAreTold) {
  const TemporaryFolder folder;
  for (const std::string& path : {folder.file("none/a.reel"), folder.path(), std::string("/proc/a.reel"), folder.file(std::string(300, 'x'))}) {
    const Status saved = saveReel(reelWithNudges(1), path);
    ASSERT_FALSE(saved.ok()) << path;
    EXPECT_EQ(saved.error().fault, Fault::output);
    EXPECT_FALSE(saved.error().todo.empty());
  }
  writeFile(folder.file("file"), "x");
  EXPECT_FALSE(autosave(folder.file("file/state"), "1-a", reelWithNudges(1), "").ok());
}

}  // namespace
}  // namespace understudy
