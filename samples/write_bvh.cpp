#include <algorithm>
#include <cmath>
#include <cstdio>

#include "samples/performance.h"

namespace understudy::samples {
namespace {

std::string number(double value, int digits) {
  char text[64];
  std::snprintf(text, sizeof text, "%.*f", digits, value == 0 ? 0.0 : value);
  return text;
}

std::string triple(const Vec3d& metres) {
  return number(metres.x * 100, 4) + " " + number(metres.y * 100, 4) + " " + number(metres.z * 100, 4);
}

void writeJoint(std::string& out, const Performer& performer, int joint, const std::string& indent) {
  const bool root = Performer::parent(joint) < 0;
  out += indent + (root ? "ROOT " : "JOINT ") + Performer::name(joint) + "\n" + indent + "{\n";
  const std::string inner = indent + "\t";
  out += inner + "OFFSET " + (root ? "0.0000 0.0000 0.0000" : triple(performer.offset[joint])) + "\n";
  out += inner +
         (root ? "CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation\n" : "CHANNELS 3 Zrotation Xrotation Yrotation\n");
  bool leaf = true;
  for (int child = joint + 1; child < jointCount; ++child)
    if (Performer::parent(child) == joint) {
      leaf = false;
      writeJoint(out, performer, child, inner);
    }
  if (leaf) out += inner + "End Site\n" + inner + "{\n" + inner + "\tOFFSET " + triple(performer.end[joint]) + "\n" + inner + "}\n";
  out += indent + "}\n";
}

}  // namespace

std::string bvhOf(const Performance& performance) {
  std::string out = "HIERARCHY\n";
  writeJoint(out, performance.performer, pelvis, "");
  out += "MOTION\nFrames: " + std::to_string(performance.frames) + "\nFrame Time: " + number(1.0 / performance.framesPerSecond, 7) + "\n";
  std::array<Vec3d, jointCount> last{};
  for (int f = 0; f < performance.frames; ++f) {
    const Vec3d& root = performance.root[f];
    out += number(root.x * 100, 5) + " " + number(root.y * 100, 5) + " " + number(root.z * 100, 5);
    for (int j = 0; j < jointCount; ++j) {
      // R = Rz·Rx·Ry; of the two solutions the one nearer to the frame before, whole turns carried on.
      const Mat3d m = toMatrix(performance.rotations[f][j]);
      const double x = std::asin(std::clamp(m.cy.z, -1.0, 1.0));
      const Vec3d one = Vec3d{std::atan2(-m.cy.x, m.cy.y), x, std::atan2(-m.cx.z, m.cz.z)} * (180 / M_PI);
      const Vec3d two{one.x + 180, 180 - one.y, one.z + 180};
      const auto near = [&](Vec3d v) {
        for (int i = 0; i < 3; ++i) v[i] -= 360 * std::round((v[i] - last[j][i]) / 360);
        return v;
      };
      const Vec3d a = near(one), b = near(two);
      last[j] = distance(a, last[j]) <= distance(b, last[j]) ? a : b;
      for (int i = 0; i < 3; ++i) out += " " + number(last[j][i], 5);
    }
    out += "\n";
  }
  return out;
}

}  // namespace understudy::samples
