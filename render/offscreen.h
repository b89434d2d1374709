// OpenGL without a display, and pictures as pixels and PNG files.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/base/result.h"
#include "render/stage.h"

namespace understudy {

/// Pixels from the top left corner, row by row, 4 bytes each (sRGB, straight alpha).
struct Picture {
  int width = 0, height = 0;
  std::vector<std::uint8_t> rgba;

  Picture() = default;
  Picture(int w, int h) : width(w), height(h), rgba(static_cast<std::size_t>(w) * h * 4) {}
  [[nodiscard]] std::uint8_t* at(int x, int y) { return rgba.data() + (static_cast<std::size_t>(y) * width + x) * 4; }
  [[nodiscard]] const std::uint8_t* at(int x, int y) const { return rgba.data() + (static_cast<std::size_t>(y) * width + x) * 4; }
};

/// PNG file bytes of a picture.
[[nodiscard]] std::vector<std::uint8_t> encodePng(const Picture& picture);
/// Decodes PNG or JPEG bytes. Error: not such a file, or a broken one.
[[nodiscard]] Result<Picture> decodePicture(const std::vector<std::uint8_t>& bytes, const std::string& where);

/// An OpenGL 3.3 core context that needs no display. Only the thread that made it may use it.
class OffscreenContext {
 public:
  /// Error: no OpenGL driver that works without a display (what is missing, and which package brings it).
  [[nodiscard]] static Result<std::unique_ptr<OffscreenContext>> create();
  ~OffscreenContext();
  OffscreenContext(const OffscreenContext&) = delete;
  OffscreenContext& operator=(const OffscreenContext&) = delete;

  [[nodiscard]] StageRenderer& renderer();
  /// The scene as a picture. Error: a size the driver cannot draw.
  [[nodiscard]] Result<Picture> render(const Scene& scene, const Camera& camera, const StageStyle& style, int width, int height);

 private:
  struct Impl;
  explicit OffscreenContext(std::unique_ptr<Impl> impl);
  std::unique_ptr<Impl> impl_;
};

}  // namespace understudy
