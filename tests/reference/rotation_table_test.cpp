// core/math/quat.h and the BVH reader against tests/data/rotation_table.csv, worked out by scipy 1.10.1
// (scipy.spatial.transform.Rotation and Slerp; Debian 12's python3-scipy) with tests/reference/make_rotation_table.py.
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include "core/io/bvh.h"
#include "core/math/quat.h"

namespace understudy {
namespace {

struct Row {
  std::string order;
  std::vector<double> v;
};

/// Rows of one kind; a row with another count of numbers than `count` fails the test.
std::vector<Row> rowsOf(const std::string& kind, std::size_t count) {
  std::ifstream file(UNDERSTUDY_SOURCE "/tests/data/rotation_table.csv");
  EXPECT_TRUE(file.is_open());
  std::vector<Row> rows;
  for (std::string line; std::getline(file, line);) {
    std::istringstream in(line);
    std::string cell;
    if (line.empty() || line[0] == '#' || !std::getline(in, cell, ',') || cell != kind) continue;
    Row row;
    std::getline(in, row.order, ',');
    while (std::getline(in, cell, ',')) row.v.push_back(std::stod(cell));
    EXPECT_EQ(row.v.size(), count) << line;
    if (row.v.size() == count) rows.push_back(std::move(row));
  }
  return rows;
}

template <class T>
struct Tolerance;
template <>
struct Tolerance<double> {
  static constexpr double value = 1e-12;
};
template <>
struct Tolerance<float> {
  static constexpr double value = 1e-6;
};

template <class T>
Quat<T> quatAt(const Row& row, std::size_t i) {
  return Quat<T>(Quatd{row.v[i], row.v[i + 1], row.v[i + 2], row.v[i + 3]});
}
template <class T>
Vec3<T> vecAt(const Row& row, std::size_t i) {
  return Vec3<T>(Vec3d{row.v[i], row.v[i + 1], row.v[i + 2]});
}
/// Largest difference of a component, q and −q being the same rotation.
template <class T>
double difference(const Quat<T>& q, const Quatd& truth) {
  const Quatd d = sameHemisphere(Quatd(q), truth);
  return std::max({std::abs(d.w - truth.w), std::abs(d.x - truth.x), std::abs(d.y - truth.y), std::abs(d.z - truth.z)});
}
template <class T>
double difference(const Vec3<T>& v, const Vec3d& truth) {
  const Vec3d d = Vec3d(v) - truth;
  return std::max({std::abs(d.x), std::abs(d.y), std::abs(d.z)});
}

template <class T>
class RotationTable : public ::testing::Test {
 protected:
  static constexpr double tolerance = Tolerance<T>::value;
};
using Scalars = ::testing::Types<double, float>;
TYPED_TEST_SUITE(RotationTable, Scalars);

TYPED_TEST(RotationTable, EulerAnglesInSixOrders) {
  using T = TypeParam;
  const std::vector<Row> rows = rowsOf("euler", 7);
  ASSERT_EQ(rows.size(), 60u);
  for (const Row& row : rows) {
    Quat<T> q;
    for (std::size_t k = 0; k < 3; ++k) {
      Vec3<T> axis;
      axis[row.order[k] - 'X'] = T(1);
      q = q * fromAxisAngle(axis, static_cast<T>(row.v[k] * M_PI / 180));
    }
    EXPECT_LT(difference(q, quatAt<double>(row, 3)), this->tolerance) << row.order << ' ' << row.v[0] << ' ' << row.v[1] << ' ' << row.v[2];
  }
}

TYPED_TEST(RotationTable, MatrixBothWays) {
  using T = TypeParam;
  const std::vector<Row> rows = rowsOf("matrix", 13);
  ASSERT_EQ(rows.size(), 26u);
  for (const Row& row : rows) {
    const Mat3<T> m = toMatrix(quatAt<T>(row, 0));
    Mat3d truth;
    for (int r = 0; r < 3; ++r) {
      const auto at = [&](int c) { return row.v[static_cast<std::size_t>(4 + 3 * r + c)]; };
      truth.cx[r] = at(0), truth.cy[r] = at(1), truth.cz[r] = at(2);
    }
    EXPECT_LT(difference(m.cx, truth.cx), this->tolerance);
    EXPECT_LT(difference(m.cy, truth.cy), this->tolerance);
    EXPECT_LT(difference(m.cz, truth.cz), this->tolerance);
    EXPECT_LT(difference(toQuat(Mat3<T>(truth)), quatAt<double>(row, 0)), this->tolerance);
  }
}

TYPED_TEST(RotationTable, Slerp) {
  using T = TypeParam;
  const std::vector<Row> rows = rowsOf("slerp", 13);
  ASSERT_EQ(rows.size(), 40u);
  int close = 0;
  for (const Row& row : rows) {
    const Quatd a = quatAt<double>(row, 0), b = quatAt<double>(row, 4);
    const Quat<T> q = slerp(Quat<T>(a), Quat<T>(b), static_cast<T>(row.v[8]));
    // Below 3.6° slerp goes along the chord. With the angle h between the quaternions that is off by at most
    // h³/6 · max t(1−t)(1−2t) = h³/6 · 0.0962, and an arccosine in floats by a few eps/h just above it.
    const double h = std::acos(std::min(1.0, std::abs(dot(a, b))));
    const bool chord = std::abs(dot(a, b)) > 0.9995;
    close += chord;
    EXPECT_LT(difference(q, quatAt<double>(row, 9)), this->tolerance + (chord ? h * h * h / 6 * 0.0963 : 0))
        << "angle " << 2 * h << " t " << row.v[8];
  }
  EXPECT_GE(close, 3);
}

TYPED_TEST(RotationTable, LogAndExp) {
  using T = TypeParam;
  const std::vector<Row> logs = rowsOf("log", 7), exps = rowsOf("exp", 7);
  ASSERT_EQ(logs.size(), 24u);
  ASSERT_EQ(exps.size(), 24u);
  for (const Row& row : logs) {
    // The rotation vector is up to π long: the tolerance is relative to that.
    EXPECT_LT(difference(logOf(quatAt<T>(row, 0)), vecAt<double>(row, 4)), this->tolerance * M_PI) << row.v[0];
  }
  for (const Row& row : exps) {
    // An angle of up to 9 radians is itself only known to 9/2 units in the last place of 1.
    const Vec3d r = vecAt<double>(row, 0);
    EXPECT_LT(difference(expOf(Vec3<T>(r)), quatAt<double>(row, 3)), this->tolerance * std::max(1.0, length(r) / 2)) << length(r);
  }
}

TYPED_TEST(RotationTable, ProductAndRotatedVector) {
  using T = TypeParam;
  const std::vector<Row> products = rowsOf("product", 12), turned = rowsOf("rotate", 10);
  ASSERT_EQ(products.size(), 20u);
  ASSERT_EQ(turned.size(), 20u);
  for (const Row& row : products) {
    EXPECT_LT(difference(quatAt<T>(row, 0) * quatAt<T>(row, 4), quatAt<double>(row, 8)), this->tolerance);
    EXPECT_LT(angleBetween(quatAt<T>(row, 0) * quatAt<T>(row, 4), quatAt<T>(row, 8)), this->tolerance * 2);
  }
  for (const Row& row : turned) {
    EXPECT_LT(difference(rotate(quatAt<T>(row, 0), vecAt<T>(row, 4)), vecAt<double>(row, 7)), this->tolerance * 4);
  }
}

// Worked by hand: Rz(40°)·Rx(70°) about X has twist 70° and swing Rz(40°) = (cos 20°, 0, 0, sin 20°).
TYPED_TEST(RotationTable, SwingAndTwist) {
  using T = TypeParam;
  const auto about = [](const Vec3<T>& axis, double angle) { return fromAxisAngle(axis, static_cast<T>(angle * M_PI / 180)); };
  const Vec3<T> x{1, 0, 0}, z{0, 0, 1};
  const SwingTwist<T> parts = swingTwist(about(z, 40) * about(x, 70), x);
  EXPECT_LT(difference(parts.swing, Quatd{.9396926207859084, 0, 0, .3420201433256687}), this->tolerance);
  EXPECT_NEAR(length(logOf(parts.twist)) * 180 / M_PI, 70, this->tolerance * 100);
  for (const Row& row : rowsOf("log", 7)) {
    const SwingTwist<T> some = swingTwist(quatAt<T>(row, 0), x);
    EXPECT_LT(difference(some.swing * some.twist, quatAt<double>(row, 0)), this->tolerance);
    EXPECT_LT(std::abs(some.swing.x), this->tolerance);  // no turn about the axis is left in the swing
  }
}

// One file an order: a joint with that channel order, one frame a row of the table. Motions hold floats.
TEST(RotationTableBvh, EveryChannelOrderGivesTheTablesQuaternions) {
  std::map<std::string, std::vector<Row>> byOrder;
  for (Row& row : rowsOf("euler", 7)) byOrder[row.order].push_back(std::move(row));
  ASSERT_EQ(byOrder.size(), 6u);
  for (const auto& [order, rows] : byOrder) {
    std::ostringstream text;
    text.precision(17);
    text << "HIERARCHY\nROOT keeper\n{\n OFFSET 0 90 0\n CHANNELS 6 Xposition Yposition Zposition";
    for (const char c : order) text << ' ' << c << "rotation";
    text << "\n JOINT lamp\n {\n  OFFSET 0 20 0\n  CHANNELS 3";
    for (const char c : order) text << ' ' << c << "rotation";
    text << "\n  End Site\n  {\n   OFFSET 0 10 0\n  }\n }\n}\nMOTION\nFrames: " << rows.size() << "\nFrame Time: 0.025\n";
    for (std::size_t f = 0; f < rows.size(); ++f) {
      const Row &root = rows[f], &child = rows[rows.size() - 1 - f];
      text << "0 90 0 " << root.v[0] << ' ' << root.v[1] << ' ' << root.v[2] << ' ' << child.v[0] << ' ' << child.v[1] << ' ' << child.v[2]
           << '\n';
    }
    const Result<Figure> figure = readBvhText(text.str(), order + ".bvh");
    ASSERT_TRUE(figure.ok()) << figure.error().text();
    ASSERT_EQ(figure->clips.size(), 1u);
    ASSERT_TRUE(figure->clips[0].sampled);
    const Motion& motion = *figure->clips[0].sampled;
    ASSERT_EQ(motion.frames, static_cast<int>(rows.size()));
    for (int f = 0; f < motion.frames; ++f) {
      const auto i = static_cast<std::size_t>(f);
      EXPECT_LT(difference(motion.rotationsAt(f)[0], quatAt<double>(rows[i], 3)), 1e-6) << order << " frame " << f + 1;
      EXPECT_LT(difference(motion.rotationsAt(f)[1], quatAt<double>(rows[rows.size() - 1 - i], 3)), 1e-6) << order << " frame " << f + 1;
    }
  }
}

}  // namespace
}  // namespace understudy
