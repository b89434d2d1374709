#include "app/editor/document/preview_writer.h"

#include <QDir>
#include <QFileInfo>
#include <cmath>

#include "app/editor/document/marking.h"
#include "app/editor/document/repairing.h"
#include "app/editor/look/appearance.h"
#include "render/preview.h"

namespace understudy::editor {

void writePreview(Document& document, const QString& asked) {
  // Where no video can be made its pictures are, in a folder of its name.
  const bool instead = isVideoName(asked.toStdString()) && !canWriteVideo();
  const QFileInfo wanted(asked);
  const QString file = instead ? wanted.dir().filePath(wanted.completeBaseName() + QStringLiteral(" pictures")) : asked;
  const auto evaluated = document.shown();
  const LoadedFigure* character = document.loaded(Cast::character);
  const LoadedFigure* performer = document.loaded(Cast::performer);
  const bool carried = evaluated && evaluated->complete() && character;
  const LoadedFigure* who = carried ? character : performer;
  if (!evaluated || !who || !who->stage) {
    document.tell(makeError(Fault::usage, Document::tr("There is nothing to draw yet").toStdString(), {}, Document::tr("Load a performer and a character").toStdString()));
    return;
  }
  PreviewSettings settings;
  settings.width = 1280;
  settings.height = 720;
  settings.theme = Appearance::instance().kind() == Appearance::Kind::light ? Theme::light : Theme::dark;
  settings.firstNumber = evaluated->firstFrame;
  for (const Note& note : *document.take().notes) {
    PreviewNote shown;
    shown.first = 1 + static_cast<int>(std::lround(note.time * evaluated->rate.hertz())) - evaluated->trimFirst;
    shown.last = shown.first + static_cast<int>(evaluated->rate.hertz());
    shown.text = (note.bone.empty() ? std::string() : boneText(note.bone).toStdString() + ": ") + note.text;
    settings.notes.push_back(shown);
  }
  for (const Marker& marker : *document.take().markers) {
    const int first = 1 + frameOf(*evaluated, marker);
    settings.notes.push_back({first, first + static_cast<int>(evaluated->rate.hertz()), markerText(marker).toStdString()});
  }
  const TiledMotion motion = carried ? evaluated->motion : evaluated->performer;
  const Affined placement = document.worldFromFile(carried ? Cast::character : Cast::performer);
  const int hips = evaluated->map ? (carried ? evaluated->map->character : evaluated->map->performer).joint(Role::hips) : -1;
  document.files().post(Document::tr("Drawing %1").arg(QFileInfo(file).fileName()), [&document, stage = who->stage, motion, placement, hips, settings, file, instead](const RunControl& control) -> JobLane::Answer {
    const Motion flat = motion.flat();
    const auto done = [&]() -> Status {
      auto context = OffscreenContext::create();
      if (!context) return context.error();
      const auto preview = Preview::make(stage, flat, {1, flat.frames}, placement, hips, settings);
      if (!preview) return preview.error();
      const std::string name = file.toStdString();
      if (isVideoName(name)) return writeVideo(*preview, **context, settings, flat.rate, name, control);
      const auto files = writePictures(*preview, **context, settings, name, control);
      if (!files) return files.error();
      return Done{};
    }();
    return [&document, done, file, instead] {
      if (done && instead)
        document.tell(makeWarning(Document::tr("A video needs the program ffmpeg, which is not there: its pictures are in a folder").toStdString(), file.toStdString(),
                                  Document::tr("Install ffmpeg and write the preview again, or take the pictures").toStdString()));
      else if (done) document.tell(makeNote(Document::tr("The preview is written").toStdString(), file.toStdString()));
      else document.tell(done.error());
    };
  });
}

}  // namespace understudy::editor
