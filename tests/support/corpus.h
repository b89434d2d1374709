// Open clips and characters that lie beside the project, where they do.
#pragma once

#include <gtest/gtest.h>

#include <string>

#include "core/io/read.h"

namespace understudy {

inline const std::string corpus = UNDERSTUDY_CORPUS;

/// A file of the corpus, meshes of characters included. Fails the test, and is empty, where it cannot be read.
[[nodiscard]] inline Figure readCorpus(const std::string& name) {
  ReadSettings settings;
  settings.readerProgram = UNDERSTUDY_BINARY "/bin/understudy-reader";
  settings.meshes = name.starts_with("characters/");
  Result<Figure> figure = readFigure(corpus + "/" + name, settings);
  EXPECT_TRUE(figure.ok()) << (figure.ok() ? "" : figure.error().text());
  return figure.ok() ? std::move(*figure) : Figure{};
}

}  // namespace understudy
