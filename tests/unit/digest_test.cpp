#include "core/base/memo.h"

#include <gtest/gtest.h>

#include <unordered_set>
#include <vector>

namespace understudy {
namespace {

TEST(Digest, TellsValuesOrderAndLengthApart) {
  std::unordered_set<Digest, Digest::Hash> seen;
  for (int a = 0; a < 100; ++a)
    for (int b = 0; b < 100; ++b) {
      Digest d;
      EXPECT_TRUE(seen.insert(d.add(double(a)).add(1e-9 * b)).second) << a << ' ' << b;
    }
  EXPECT_TRUE(seen.insert(Digest()).second);
  Digest longer;
  for (int n = 0; n < 100; ++n) EXPECT_TRUE(seen.insert(longer.add(std::uint64_t{1})).second) << n;
}

TEST(Digest, OneBitTurnsAboutHalfOfTheHash) {
  long bits = 0;
  for (int bit = 0; bit < 64; ++bit) {
    Digest a, b;
    a.add(std::uint64_t{0x5eed}).add(std::uint64_t{7});
    b.add(std::uint64_t{0x5eed} ^ (std::uint64_t{1} << bit)).add(std::uint64_t{7});
    bits += __builtin_popcountll(Digest::Hash()(a) ^ Digest::Hash()(b));
  }
  EXPECT_GT(bits, 64 * 24);
  EXPECT_LT(bits, 64 * 40);
}

TEST(Digest, TheSameInputsAgreeHoweverTheyArePutIn) {
  const std::vector<double> values{1, -2.5, 1e300};
  Digest a, b;
  a.add(std::span<const double>(values));
  for (const double v : values) b.add(v);
  EXPECT_EQ(a, b);
}

TEST(Digest, TellsEveryWordOfMemoryApart) {
  for (std::size_t words = 0; words < 14; ++words) {
    std::vector<double> values(words, 0.5);
    std::unordered_set<Digest, Digest::Hash> seen{Digest().addWords(values.data(), words)};
    for (std::size_t k = 0; k < words; ++k) {
      std::vector<double> other = values;
      other[k] = 0.25;
      EXPECT_TRUE(seen.insert(Digest().addWords(other.data(), words)).second) << k << " of " << words;
    }
    values.push_back(0);
    EXPECT_TRUE(seen.insert(Digest().addWords(values.data(), words + 1)).second) << words;
    values.back() = 0.5;
    EXPECT_EQ(Digest().addWords(values.data(), words + 1), Digest().addWords(std::vector<double>(words + 1, 0.5).data(), words + 1));
  }
}

TEST(Memo, KeepsTheLatestAndWhatIsAskedFor) {
  const Memo<int> memo(10);
  const auto name = [](int k) { return Digest().add(static_cast<std::uint64_t>(k)); };
  EXPECT_FALSE(memo.find(name(0)));
  for (int k = 0; k < 100; ++k) {
    memo.keep(name(k), k);
    EXPECT_EQ(memo.find(name(k)), k);
    EXPECT_EQ(memo.find(name(0)), 0) << k;
  }
  for (int k = 92; k < 100; ++k) EXPECT_EQ(memo.find(name(k)), k);
  EXPECT_FALSE(memo.find(name(40)));
}

}  // namespace
}  // namespace understudy
