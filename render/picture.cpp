// Picture files, by way of the public-domain stb headers; kept static so that other copies cannot clash.
#include <cstring>

#include "render/offscreen.h"

#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wold-style-cast"
#pragma GCC diagnostic ignored "-Wunused-function"
#pragma GCC diagnostic ignored "-Wmissing-field-initializers"
#define STB_IMAGE_STATIC
#define STB_IMAGE_IMPLEMENTATION
#define STBI_ONLY_PNG
#define STBI_ONLY_JPEG
#define STBI_NO_STDIO
#include <stb/stb_image.h>
#define STB_IMAGE_WRITE_STATIC
#define STB_IMAGE_WRITE_IMPLEMENTATION
#define STBI_WRITE_NO_STDIO
#include <stb/stb_image_write.h>
#pragma GCC diagnostic pop

namespace understudy {

std::vector<std::uint8_t> encodePng(const Picture& picture) {
  std::vector<std::uint8_t> bytes;
  const auto append = [](void* context, void* data, int size) {
    auto& out = *static_cast<std::vector<std::uint8_t>*>(context);
    const auto* from = static_cast<const std::uint8_t*>(data);
    out.insert(out.end(), from, from + size);
  };
  stbi_write_png_to_func(append, &bytes, picture.width, picture.height, 4, picture.rgba.data(), picture.width * 4);
  return bytes;
}

Result<Picture> decodePicture(const std::vector<std::uint8_t>& bytes, const std::string& where) {
  constexpr int largest = 16384;
  int width = 0, height = 0, channels = 0;
  const int size = static_cast<int>(bytes.size());
  if (bytes.empty() || bytes.size() > (std::size_t{1} << 30) || !stbi_info_from_memory(bytes.data(), size, &width, &height, &channels)) {
    return makeError(Fault::input, "The picture is neither PNG nor JPEG", where, "Save the texture as PNG or JPEG.");
  }
  if (width > largest || height > largest) {
    return makeError(Fault::input, "The picture is " + std::to_string(width) + " × " + std::to_string(height) + " pixels, more than " +
                                       std::to_string(largest) + " a side", where, "Save a smaller texture.");
  }
  stbi_uc* pixels = stbi_load_from_memory(bytes.data(), size, &width, &height, &channels, 4);
  if (!pixels) {
    const char* reason = stbi_failure_reason();
    return makeError(Fault::input, std::string("The picture is broken: ") + (reason ? reason : "unknown reason"), where,
                     "Save the texture again.");
  }
  Picture picture(width, height);
  std::memcpy(picture.rgba.data(), pixels, picture.rgba.size());
  stbi_image_free(pixels);
  return picture;
}

}  // namespace understudy
