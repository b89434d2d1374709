#include "app/editor/document/describe.h"

#include <QCoreApplication>
#include <QStringList>
#include <cmath>
#include <numbers>

#include "app/editor/document/repairing.h"

namespace understudy::editor {
namespace {

QString say(const char* text) { return QCoreApplication::translate("describe", text); }

}  // namespace

QString roleText(Role role) {
  const std::string_view name = roleName(role);
  QString text;
  for (char letter : name) {
    if (letter >= 'A' && letter <= 'Z') {
      text += QLatin1Char(' ');
      text += QLatin1Char(static_cast<char>(letter - 'A' + 'a'));
    } else {
      text += QLatin1Char(letter);
    }
  }
  return text;
}

QString jointText(const Figure& figure, int joint) {
  if (joint < 0 || joint >= figure.skeleton.size()) return {};
  const std::string& name = figure.skeleton.names[static_cast<std::size_t>(joint)];
  return QString::fromStdString(name.empty() ? jointKey(figure.skeleton, joint) : name);
}

std::optional<Role> roleOf(const SkeletonMap& map, int joint) {
  for (int r = 0; r < roleCount; ++r)
    for (int j : map.roles[static_cast<std::size_t>(r)].joints)
      if (j == joint) return roleAt(r);
  return {};
}

QString nudgeText(const Nudge& nudge) {
  if (nudge.joints.empty()) return say("nothing");
  const JointNudge& first = nudge.joints.front();
  QString text = boneText(first.joint);
  if (nudge.joints.size() > 1) text += say(" and %1 more").arg(nudge.joints.size() - 1);
  text += QStringLiteral("  %1°").arg(length(first.rotation) * 180 / std::numbers::pi, 0, 'f', 1);
  return text;
}

QString nudgeSpanText(const Nudge& nudge, const Evaluated& evaluated) {
  const NudgeFrames frames = nudgeFrames(nudge, evaluated.rate);
  return say("frame %1 − %2 + %3").arg(frameOf(evaluated, nudge) + evaluated.firstFrame).arg(frames.before).arg(frames.after);
}

QString metres(double value) { return say("%1 m").arg(value, 0, 'f', 2); }

QStringList figureLines(const Document& document, Cast cast) {
  const auto figure = document.figure(cast);
  if (!figure) return {};
  const auto evaluated = document.evaluated();
  QStringList lines;
  const QString unit = QString::fromStdString(figure->space.unitName), up = QString::fromStdString(figure->space.upName).remove(QLatin1Char('+'));
  if (cast == Cast::performer) {
    const auto clip = static_cast<std::size_t>(document.take().clip);
    QString first;
    if (clip < figure->clips.size()) {
      const Clip& c = figure->clips[clip];
      first = say("%1 frames at %2").arg(c.frames()).arg(c.rate.hertz(), 0, 'g', 5);
      if (evaluated && !(evaluated->rate == c.rate))
        first += say(" → %1 at %2").arg(evaluated->clipFrames).arg(evaluated->rate.hertz(), 0, 'g', 5);
    }
    lines << first + say(" · %1 · %2 up").arg(unit, up);
  } else {
    const int bones = figure->skeleton.size();
    lines << (bones == 1 ? say("1 bone") : say("%1 bones").arg(bones)) + say(" · %1 · %2 up").arg(unit, up);
  }
  if (evaluated && evaluated->report) {
    const RetargetReport& report = *evaluated->report;
    const ReferencePose& pose = cast == Cast::performer ? report.performerReference : report.characterReference;
    QString second = QString::fromStdString(pose.shape) + QStringLiteral(" · ") + metres(pose.height);
    if (cast == Cast::performer)
      second += say(" · %1 joints").arg(figure->skeleton.size());
    else
      second += say(" · legs %1 ×").arg(report.performerLeg > 0 ? report.characterLeg / report.performerLeg : 1, 0, 'f', 2);
    lines << second;
  } else if (cast == Cast::performer) {
    lines << say("%1 joints").arg(figure->skeleton.size());
  } else {
    std::size_t triangles = 0;
    for (const Mesh& mesh : figure->meshes) triangles += mesh.indices.size() / 3;
    lines << say("%1 triangles").arg(triangles);
  }
  return lines;
}

}  // namespace understudy::editor
