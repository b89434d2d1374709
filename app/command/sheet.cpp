// understudy-cli sheet: a contact sheet of a file's motion as a picture.
#include "app/command/commands.h"

namespace understudy::cli {
namespace {

int run(const Context& context, const Options&) {
  return fail(context, makeError(Fault::internal, "Contact sheets are not drawn yet"));
}

}  // namespace

Command sheetCommand() {
  Command command;
  command.name = "sheet";
  command.summary = "draws a contact sheet of a file's motion";
  command.arguments = {{"FILE", "BVH, glTF 2.0, FBX or Collada file"}};
  command.options = {{"out", "PNG", "the picture to write", true},
                     {"range", "A:B", "frames to draw, both included, counted from 1"}};
  command.run = run;
  return command;
}

}  // namespace understudy::cli
