// understudy-cli pack: one folder with a reel and all it reads.
#include <cstdio>

#include "app/command/commands.h"
#include "app/command/json_text.h"
#include "core/job/pack.h"
#include "core/store/reel_file.h"

namespace understudy::cli {
namespace {

int run(const Context& context, const Options& options) {
  const std::string path = options.arguments().front();
  Issues issues;
  auto reel = loadReel(path, &issues);
  if (!reel) return fail(context, reel.error());
  const Reel linked = relinkMoved(*reel, path, &issues);
  const auto packed = packReel(linked, path, options.value("out"), context.control);
  if (!packed) return fail(context, packed.error());
  issues.insert(issues.end(), packed->issues.begin(), packed->issues.end());
  if (context.json) {
    Json body = {{"ok", true}, {"reel", packed->reel}, {"bytes", packed->bytes}, {"files", Json::array()}};
    for (const PackedFile& file : packed->files) body["files"].push_back({{"from", file.from}, {"to", file.to}, {"bytes", file.bytes}});
    body["issues"] = toJson(issues);
    return printJson(context, textOf(body));
  }
  tell(context, issues);
  std::string text = packed->reel + "\n";
  char line[64];
  std::snprintf(line, sizeof line, "  %zu files, %.1f MB\n", packed->files.size(), static_cast<double>(packed->bytes) / 1e6);
  for (const PackedFile& file : packed->files) text += "  " + file.to + "\n";
  return print(context, text + line);
}

}  // namespace

Command packCommand() {
  Command command;
  command.name = "pack";
  command.summary = "makes one folder of a reel and all files it reads";
  command.description =
      "Copies the reel and, byte for byte, the performers, characters, props and meshes of its takes with the\n"
      "buffers and textures that belong to them. The packed reel names them relative to itself: the folder can be\n"
      "moved to another place or machine and gives the same bytes there. It appears when it is complete.";
  command.arguments = {{"REEL", "the reel"}};
  command.options = {{"out", "DIR", "folder to make; where it is there already it must be empty", true}};
  command.run = run;
  return command;
}

}  // namespace understudy::cli
