#include "core/io/child_process.h"
#include "core/io/child_space.h"
#include "core/io/figure_stream.h"
#include "core/io/read.h"

namespace understudy {

Result<Figure> readThroughChild(const std::string& path, const ReadSettings& settings, const RunControl& control) {
  const ChildLimits limits;
  std::vector<std::string> arguments{"--memory", std::to_string(limits.memoryBytes), "--seconds",
                                     std::to_string(static_cast<int>(limits.seconds))};
  if (!settings.meshes) arguments.emplace_back("--no-meshes");
  arguments.emplace_back("--");
  arguments.push_back(path);
  control.report(0, "Reading");
  Result<std::vector<std::uint8_t>> bytes =
      runReader(settings.readerProgram.empty() ? readerBesideThisProgram() : settings.readerProgram, arguments, limits, control);
  if (!bytes) return bytes.error();
  control.report(0.8, "Reading");
  Result<Figure> figure = unpackFigure(*bytes);
  if (!figure) {
    Issue issue = figure.error();
    if (issue.fault == Fault::internal) {
      // The stream itself is wrong, whatever the reason: to whoever reads this the file is what could not be read.
      issue = makeError(Fault::input, "The reader process failed on the file (" + issue.text() + ")", path,
                        "Try exporting it again as glTF (.glb)");
    }
    return issue;
  }
  figure->path = path;
  if (const Status status = settleSpace(*figure, settings); !status) return status.error();
  control.report(1, "Reading");
  return figure;
}

}  // namespace understudy
