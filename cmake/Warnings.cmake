# Warnings are errors for our own code; third-party headers come in as SYSTEM.
add_library(understudy_warnings INTERFACE)
target_compile_options(understudy_warnings INTERFACE
  -Wall -Wextra -Wpedantic -Wshadow -Wnon-virtual-dtor -Wold-style-cast -Woverloaded-virtual
  -Wno-missing-field-initializers
  $<$<CXX_COMPILER_ID:GNU>:-Wno-restrict>  # GCC 12 reports string concatenation falsely (GCC bug 105329)
  -Werror)

if(UNDERSTUDY_SANITIZE)
  add_compile_options(-fsanitize=${UNDERSTUDY_SANITIZE} -fno-omit-frame-pointer -fno-sanitize-recover=all)
  add_link_options(-fsanitize=${UNDERSTUDY_SANITIZE})
endif()
