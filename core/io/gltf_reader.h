// Reads glTF 2.0 into a figure, part by part. Internal to the reader.
#pragma once

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "core/io/gltf_file.h"
#include "core/io/gltf_node.h"
#include "core/io/read.h"

namespace understudy {

class GltfReader {
 public:
  GltfReader(const ReadSettings& settings, const RunControl& control) : settings_(settings), control_(control) {}

  Result<Figure> read(const std::string& path);

 private:
  static constexpr const char* again = "Export the file again, or copy it again from where it came from";
  [[nodiscard]] static bool allFinite(const std::vector<float>& values) {
    return std::all_of(values.begin(), values.end(), [](float v) { return std::isfinite(v); });
  }
  [[nodiscard]] static std::string quoted(std::string_view name) { return "'" + validUtf8(name) + "'"; }
  [[nodiscard]] std::string at(const std::string& what) const { return figure_.path + ", " + what; }
  [[nodiscard]] static Issue damaged(std::string what, std::string where) { return makeError(Fault::input, std::move(what), std::move(where), again); }
  void warn(std::string what, std::string where, std::string todo = {});
  void note(std::string what, std::string where, std::string todo = {});
  void noteExtensions();
  Status nodes();
  Status addNode(const JsonView& node, int index, int parent);
  [[nodiscard]] int joint(std::int64_t node) const { return node < 0 || node >= nodeCount_ ? -1 : jointOf_[static_cast<std::size_t>(node)]; }
  Status skins();
  struct TextureUse {
    int set = 0;
    bool transformed = false;
    double offset[2] = {0, 0}, scale[2] = {1, 1}, rotation = 0;
  };
  Status materials();
  /// Index of the image behind a texture, −1 where there is none that can be shown. A missing picture is worth a
  /// warning, not a refusal: the character still moves.
  int image(std::int64_t texture, const std::string& where);
  Status meshes();
  static std::vector<float> defaultWeights(const JsonView& node, const JsonView& mesh, std::size_t count);
  Status primitive(const JsonView& p, const JsonView& meshJson, const std::string& where, Mesh& mesh, bool& use);
  static std::vector<Vec3f> vec3s(const std::vector<float>& v);
  Status triangles(const JsonView& p, int mode, const std::string& where, Mesh& mesh);
  Status influences(const JsonView& attributes, const std::string& where, Mesh& mesh);
  Status morphs(const JsonView& p, const JsonView& meshJson, const std::string& where, Mesh& mesh);
  Status animations();
  Status roles();
  Status space();

  const ReadSettings& settings_;
  const RunControl& control_;
  GltfFile file_;
  JsonView root_;
  Figure figure_;
  std::int64_t nodeCount_ = 0;
  std::vector<int> jointOf_;
  std::vector<TextureUse> uses_;
  std::vector<int> imageOf_;
  int sheared_ = 0, shearedNode_ = 0;
  std::size_t unweighted_ = 0, renormalised_ = 0, strayed_ = 0;
  double worstSum_ = 1;
  std::string unweightedWhere_, renormalisedWhere_, strayedWhere_;
};

}  // namespace understudy
