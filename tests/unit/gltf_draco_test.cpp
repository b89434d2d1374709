// Meshes compressed with KHR_draco_mesh_compression, packed here by the Draco library's own encoder.
#include <draco/compression/encode.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "core/io/read.h"
#include "tests/support/tiny_gltf.h"

namespace understudy {
namespace {

using namespace understudy::test;

template <class T>
int attribute(draco::Mesh& mesh, draco::GeometryAttribute::Type kind, draco::DataType type, int width, const std::vector<T>& values) {
  draco::GeometryAttribute form;
  form.Init(kind, nullptr, static_cast<std::int8_t>(width), type, false, static_cast<std::int64_t>(sizeof(T)) * width, 0);
  const auto count = static_cast<std::uint32_t>(values.size()) / static_cast<std::uint32_t>(width);
  const int id = mesh.AddAttribute(form, true, count);
  for (draco::AttributeValueIndex i(0); i < count; ++i)
    mesh.attribute(id)->SetAttributeValue(i, values.data() + i.value() * static_cast<std::size_t>(width));
  return static_cast<int>(mesh.attribute(id)->unique_id());
}

const std::vector<float> positions{0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0.25F};
const std::vector<std::uint8_t> joints{0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 0};
const std::vector<float> weights{0.5F, 0.5F, 0, 0, 1, 0, 0, 0, 0.25F, 0.75F, 0, 0, 1, 0, 0, 0};

/// Two bones with a square of two triangles, its mesh compressed; `spoil` changes the compressed bytes.
std::string compressed(void (*spoil)(std::string&) = nullptr) {
  draco::Mesh mesh;
  mesh.set_num_points(4);
  mesh.AddFace({draco::PointIndex(0), draco::PointIndex(1), draco::PointIndex(2)});
  mesh.AddFace({draco::PointIndex(2), draco::PointIndex(1), draco::PointIndex(3)});
  const int p = attribute(mesh, draco::GeometryAttribute::POSITION, draco::DT_FLOAT32, 3, positions);
  const int j = attribute(mesh, draco::GeometryAttribute::GENERIC, draco::DT_UINT8, 4, joints);
  const int w = attribute(mesh, draco::GeometryAttribute::GENERIC, draco::DT_FLOAT32, 4, weights);
  draco::EncoderBuffer buffer;
  draco::Encoder encoder;
  if (!encoder.EncodeMeshToBuffer(mesh, &buffer).ok()) return {};
  std::string bytes(buffer.data(), buffer.size());
  if (spoil) spoil(bytes);
  TinyGltf g = TinyGltf::standard();
  const int view = g.view(bytes);
  const auto n = [](int i) { return std::to_string(i); };
  const auto empty = [&](int type, int count, const char* shape) {
    g.accessors.push_back(R"({"componentType":)" + n(type) + R"(,"count":)" + n(count) + R"(,"type":")" + shape + R"("})");
    return static_cast<int>(g.accessors.size()) - 1;
  };
  const int pa = empty(5126, 4, "VEC3"), ja = empty(5121, 4, "VEC4"), wa = empty(5126, 4, "VEC4"), ia = empty(5123, 6, "SCALAR");
  g.meshes = R"({"name":"coat","primitives":[{"attributes":{"POSITION":)" + n(pa) + R"(,"JOINTS_0":)" + n(ja) + R"(,"WEIGHTS_0":)" + n(wa) +
             R"(},"indices":)" + n(ia) + R"(,"extensions":{"KHR_draco_mesh_compression":{"bufferView":)" + n(view) +
             R"(,"attributes":{"POSITION":)" + n(p) + R"(,"JOINTS_0":)" + n(j) + R"(,"WEIGHTS_0":)" + n(w) + "}}}}]}";
  g.more = R"(,"extensionsUsed":["KHR_draco_mesh_compression"],"extensionsRequired":["KHR_draco_mesh_compression"])";
  return g.glb();
}

/// Position, first joint and its weight of each corner of the triangles, in an order that does not depend on the packing.
std::vector<std::vector<float>> corners(const Mesh& mesh) {
  std::vector<std::vector<float>> out;
  for (std::uint32_t v : mesh.indices) {
    const Vec3f& at = mesh.positions[v];
    float upper = 0;
    for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k)
      if (mesh.influenceJoint[k] == 0) upper += mesh.influenceWeight[k];
    out.push_back({at.x, at.y, at.z, upper});
  }
  std::sort(out.begin(), out.end());
  return out;
}

TEST(GltfDraco, AMeshReadsAsItWasPacked) {
  const Folder folder;
  save(folder / "packed.glb", compressed());
  const Result<Figure> figure = readGltf(folder / "packed.glb");
  ASSERT_TRUE(figure.ok()) << figure.error().text();
  ASSERT_EQ(figure->meshes.size(), 1U);
  const std::vector<std::vector<float>> expected{{0, 0, 0, 0.5F}, {0, 1, 0, 0.25F}, {0, 1, 0, 0.25F}, {1, 0, 0, 1}, {1, 0, 0, 1}, {1, 1, 0.25F, 0}};
  EXPECT_EQ(corners(figure->meshes[0]), expected);
  for (const Issue& issue : figure->issues) EXPECT_EQ(issue.text().find("KHR_draco"), std::string::npos) << issue.text();
}

TEST(GltfDraco, DamagedBytesAreToldAndNeverCrash) {
  const Folder folder;
  save(folder / "cut.glb", compressed([](std::string& bytes) { bytes.resize(bytes.size() / 2); }));
  const Result<Figure> cut = readGltf(folder / "cut.glb");
  ASSERT_FALSE(cut.ok());
  EXPECT_NE(cut.error().text().find("mesh 0, primitive 0"), std::string::npos) << cut.error().text();
  save(folder / "none.glb", compressed([](std::string& bytes) { bytes.clear(); }));
  EXPECT_FALSE(readGltf(folder / "none.glb").ok());
}

}  // namespace
}  // namespace understudy
