#include "render/gl.h"

namespace understudy {

std::string Gl::load(const std::function<void*(const char*)>& getProcAddress) {
#define UNDERSTUDY_GL_LOAD(name, type)                                            \
  name = reinterpret_cast<PFNGL##type##PROC>(getProcAddress("gl" #name));         \
  if (!name) return "gl" #name;
  UNDERSTUDY_GL_FUNCTIONS(UNDERSTUDY_GL_LOAD)
#undef UNDERSTUDY_GL_LOAD
  return {};
}

}  // namespace understudy
