#include "app/editor/document/marking.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>

#include "core/take/edits.h"

namespace understudy::editor {

int frameOf(const Evaluated& evaluated, const Marker& marker) { return static_cast<int>(std::lround(marker.time * evaluated.rate.hertz())) - evaluated.trimFirst; }

const Marker* markerAt(const Document& document, int frame) {
  const auto evaluated = document.evaluated();
  if (!evaluated) return nullptr;
  for (const Marker& marker : *document.take().markers)
    if (frameOf(*evaluated, marker) == frame) return &marker;
  return nullptr;
}

const Marker* markerBeside(const Document& document, int frame, int by) {
  const auto evaluated = document.evaluated();
  if (!evaluated) return nullptr;
  const Marker* best = nullptr;
  for (const Marker& marker : *document.take().markers) {
    const int at = frameOf(*evaluated, marker);
    if (at < 0 || at >= evaluated->frames || (at - frame) * by <= 0) continue;
    if (!best || std::abs(at - frame) < std::abs(frameOf(*evaluated, *best) - frame)) best = &marker;
  }
  return best;
}

QString markerText(const Marker& marker) { return marker.name.empty() ? Document::tr("marker") : QString::fromStdString(marker.name); }

std::uint64_t ensureMarker(Document& document, int frame) {
  const auto evaluated = document.evaluated();
  if (!evaluated || evaluated->frames < 1) return 0;
  if (const Marker* there = markerAt(document, frame)) return there->id;
  Marker marker;
  marker.time = evaluated->rate.seconds(evaluated->trimFirst + frame);
  std::uint64_t id = 0;
  document.edit(Document::tr("Set a marker"), addMarker(document.take(), marker, &id));
  return id;
}

void nameMarker(Document& document, std::uint64_t id, const QString& name) {
  const Marker* marker = findMarker(document.take(), id);
  if (!marker) return;
  Marker next = *marker;
  next.name = name.trimmed().toStdString();
  document.edit(Document::tr("Name a marker"), changeMarker(document.take(), next));
}

int moveMarker(Document& document, std::uint64_t id, int frame, const QString& mergeKey) {
  const auto evaluated = document.evaluated();
  const Marker* marker = findMarker(document.take(), id);
  if (!evaluated || !marker) return frame;
  frame = std::clamp(frame, 0, std::max(0, evaluated->frames - 1));
  Marker next = *marker;
  if (frameOf(*evaluated, *marker) != frame) next.time = evaluated->rate.seconds(evaluated->trimFirst + frame);
  document.edit(Document::tr("Move a marker"), changeMarker(document.take(), next), mergeKey);
  return frame;
}

void removeMarker(Document& document, std::uint64_t id) { document.edit(Document::tr("Remove a marker"), understudy::removeMarker(document.take(), id)); }

}  // namespace understudy::editor
