// Whatever happens to the reader process, the program gets one clear message and lives on.
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <fstream>
#include <thread>

#include "core/io/child_process.h"
#include "core/io/figure_stream.h"
#include "core/io/read.h"

namespace understudy {
namespace {

namespace fs = std::filesystem;

class ReaderProcess : public ::testing::Test {
 protected:
  void SetUp() override {
    folder_ = fs::temp_directory_path() /
              ("reader_process_" + std::to_string(::getpid()) + "_" + ::testing::UnitTest::GetInstance()->current_test_info()->name());
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }

  std::string write(const std::string& name, const std::string& text, bool program = false) {
    const fs::path path = folder_ / name;
    std::ofstream(path, std::ios::binary) << text;
    if (program) ::chmod(path.c_str(), 0755);
    return path.string();
  }
  std::string script(const std::string& body) { return write("reader.sh", "#!/bin/sh\n" + body + "\n", true); }

  Issue errorWith(const std::string& program, const std::string& file) {
    ReadSettings settings;
    settings.readerProgram = program;
    const Result<Figure> figure = readThroughChild(file, settings);
    EXPECT_FALSE(figure.ok());
    return figure ? Issue{} : figure.error();
  }
  Issue realError(const std::string& file) { return errorWith(UNDERSTUDY_BINARY "/bin/understudy-reader", file); }

  static void expectUseful(const Issue& issue, const std::string& file) {
    EXPECT_EQ(issue.fault, Fault::input) << issue.text();
    EXPECT_NE(issue.text().find(file), std::string::npos) << issue.text();
    EXPECT_FALSE(issue.todo.empty()) << issue.text();
  }

  fs::path folder_;
};

TEST_F(ReaderProcess, MissingProgram) {
  const Issue issue = errorWith((folder_ / "nobody").string(), "keeper.fbx");
  expectUseful(issue, "keeper.fbx");
  EXPECT_NE(issue.what.find("understudy-reader"), std::string::npos);
}

TEST_F(ReaderProcess, ProgramThatIsNone) {
  expectUseful(errorWith(write("reader", "no program", true), "keeper.fbx"), "keeper.fbx");
}

TEST_F(ReaderProcess, CrashIsOneMessage) {
  for (const char* signal : {"SEGV", "ABRT", "KILL"}) {
    const Issue issue = errorWith(script(std::string("kill -") + signal + " $$"), "keeper.fbx");
    expectUseful(issue, "keeper.fbx");
    EXPECT_NE(issue.what.find("stopped while reading"), std::string::npos) << issue.text();
    EXPECT_NE(issue.todo.find("glTF"), std::string::npos);
  }
}

TEST_F(ReaderProcess, FailureCodeIsOneMessage) {
  expectUseful(errorWith(script("exit 3"), "keeper.fbx"), "keeper.fbx");
}

TEST_F(ReaderProcess, SilenceAndGarbageAreNoFigure) {
  for (const char* body :
       {"exit 0", "echo hello", "head -c 300000 /dev/zero", "printf usfigure", "echo usfigure0123456789012345678901234567890123456789"})
    expectUseful(errorWith(script(body), "keeper.fbx"), "keeper.fbx");
}

TEST_F(ReaderProcess, HangIsEnded) {
  ChildLimits limits;
  limits.seconds = 0.3;
  const auto begin = std::chrono::steady_clock::now();
  const auto out = runReader(script("sleep 30"), {"keeper.fbx"}, limits);
  ASSERT_FALSE(out.ok());
  expectUseful(out.error(), "keeper.fbx");
  EXPECT_LT(std::chrono::steady_clock::now() - begin, std::chrono::seconds(20));
}

TEST_F(ReaderProcess, HangAfterClosingItsOutputIsEnded) {
  ChildLimits limits;
  limits.seconds = 0.3;
  EXPECT_FALSE(runReader(script("exec >&-; sleep 30"), {"keeper.fbx"}, limits).ok());
}

TEST_F(ReaderProcess, EndlessOutputIsEnded) {
  ChildLimits limits;
  limits.outputBytes = 1 << 20;
  const auto out = runReader(script("cat /dev/zero"), {"keeper.fbx"}, limits);
  ASSERT_FALSE(out.ok());
  expectUseful(out.error(), "keeper.fbx");
}

TEST_F(ReaderProcess, CancellingEndsIt) {
  std::stop_source source;
  RunControl control;
  control.stop = source.get_token();
  std::thread canceller([&] {
    std::this_thread::sleep_for(std::chrono::milliseconds(150));
    source.request_stop();
  });
  const auto begin = std::chrono::steady_clock::now();
  const auto out = runReader(script("sleep 30"), {"keeper.fbx"}, {}, control);
  canceller.join();
  ASSERT_FALSE(out.ok());
  EXPECT_EQ(out.error().fault, Fault::cancelled);
  EXPECT_LT(std::chrono::steady_clock::now() - begin, std::chrono::seconds(20));
}

TEST_F(ReaderProcess, FilesThatCannotBeRead) {
  EXPECT_EQ(realError((folder_ / "missing.fbx").string()).what, "There is no such file");
  EXPECT_EQ(realError(folder_.string()).fault, Fault::input);
  expectUseful(realError(write("empty.fbx", "")), "empty.fbx");
  expectUseful(realError(write("text.fbx", "The keeper sweeps the gallery.")), "text.fbx");
  expectUseful(realError(write("head.fbx", std::string("Kaydara FBX Binary  \0\x1a\0", 23))), "head.fbx");
  expectUseful(realError(write("head.dae", "<?xml version=\"1.0\"?><COLLADA version=\"1.4.1\"><library_")), "head.dae");
  expectUseful(realError(write("nothing.dae", "<?xml version=\"1.0\"?><COLLADA version=\"1.4.1\"></COLLADA>")), "nothing.dae");
  expectUseful(realError(write("ascii.fbx", "; FBX 7.4.0 project file\nFBXHeaderExtension: {\n FBXVersion: 7400\n")), "ascii.fbx");
}

TEST_F(ReaderProcess, NamesThatLookLikeOptions) {
  const Issue issue = realError("--no-meshes");
  EXPECT_EQ(issue.what, "There is no such file") << issue.text();
}

TEST_F(ReaderProcess, TruncatedAndDamagedFilesNeverHarm) {
  const fs::path original = UNDERSTUDY_CORPUS "/motion/cmu_07_01_walk.fbx";
  if (!fs::exists(original)) GTEST_SKIP() << "not here: " << original;
  std::ifstream in(original, std::ios::binary);
  const std::string bytes((std::istreambuf_iterator<char>(in)), {});
  for (double part : {0.001, 0.3, 0.6, 0.95, 0.999}) {
    const std::string file = write("cut.fbx", bytes.substr(0, static_cast<std::size_t>(part * static_cast<double>(bytes.size()))));
    expectUseful(realError(file), "cut.fbx");
  }
  ReadSettings settings;
  settings.readerProgram = UNDERSTUDY_BINARY "/bin/understudy-reader";
  unsigned state = 1;
  for (int trial = 0; trial < 8; ++trial) {
    std::string damaged = bytes;
    for (int k = 0; k < 40; ++k) {
      state = state * 1664525U + 1013904223U;
      damaged[(state >> 4) % damaged.size()] = static_cast<char>(state >> 24);
    }
    // Either it is refused with a message or what comes out is sound.
    const Result<Figure> figure = readThroughChild(write("damaged.fbx", damaged), settings);
    if (figure)
      EXPECT_TRUE(checkFigure(*figure).ok());
    else
      EXPECT_FALSE(figure.error().what.empty());
  }
}

}  // namespace
}  // namespace understudy
