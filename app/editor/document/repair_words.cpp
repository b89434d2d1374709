// Words for repairs.
#include <QCoreApplication>
#include <QLocale>
#include <array>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/repairing.h"
#include "core/math/angle.h"
#include "core/repair/fields.h"
#include "core/repair/layer.h"

namespace understudy::editor {
namespace {

QString say(const char* text) { return QCoreApplication::translate("repairs", text); }

QString bonesText(const std::vector<std::string>& bones, const QString& none) {
  if (bones.empty()) return none;
  const QString first = boneText(bones.front());
  return bones.size() == 1 ? first : say("%1 and %2 more").arg(first).arg(bones.size() - 1);
}

template <class E> QString enumText(E value) { return plainText(namesOf(value)[static_cast<std::size_t>(value)]); }

struct Words {
  QString operator()(const OffsetRepair& r) const {
    if (r.bones.empty()) return say("no bone yet");
    QString text = boneText(r.bones.front().joint);
    if (r.bones.size() > 1) text += say(" and %1 more").arg(r.bones.size() - 1);
    if (r.bothSides) text += say(", both sides");
    const JointNudge& first = r.bones.front();
    if (length(first.rotation) > 1e-6) text += QStringLiteral("  %1°").arg(length(first.rotation) * degreesPerRadian, 0, 'f', 1);
    if (length(first.translation) > 1e-6) text += QStringLiteral("  %1 mm").arg(length(first.translation) * 1000, 0, 'f', 0);
    return text;
  }
  QString operator()(const BridgeRepair& r) const { return bonesText(r.bones, say("all bones")); }
  QString operator()(const StillRepair& r) const { return bonesText(r.bones, say("all bones")); }
  QString operator()(const RestoreRepair& r) const { return say("nudges off: ") + bonesText(r.bones, say("all bones")); }
  QString operator()(const UntwistRepair& r) const { return bonesText(r.bones, say("all limbs")); }
  QString operator()(const SmoothRepair& r) const { return bonesText(r.bones, say("all bones")) + QStringLiteral("  %1 Hz").arg(r.cutoff, 0, 'g', 3); }
  QString operator()(const PlantRepair& r) const { return enumText(r.part); }
  QString operator()(const TouchRepair& r) const {
    QString text = boneText(r.bone);
    text += r.kind == TouchKind::glide ? say(" glides") : r.kind == TouchKind::meet ? say(" meets") : say(" rests");
    switch (r.target) {
      case TouchTarget::point: return text + say(" at a point");
      case TouchTarget::plane: return text + say(" on a plane");
      default: return r.on.empty() ? text + QLatin1Char(' ') + enumText(r.target) : text + say(" on %1").arg(boneText(r.on));
    }
  }
  QString operator()(const GripRepair& r) const {
    return (r.leadLeft ? say("left hand leads") : say("right hand leads")) + (r.support ? say(", both hold") : QString());
  }
  QString operator()(const ClearanceRepair& r) const { return bonesText(r.limbs, say("both arms")); }
  QString operator()(const GroundRepair& r) const {
    if (r.bodies.empty()) return say("trunk and legs");
    QStringList parts;
    for (const std::string& body : r.bodies) parts << plainText(body);
    return parts.join(QStringLiteral(", "));
  }
  QString operator()(const HandShapeRepair& r) const { return (r.left ? say("left hand ") : say("right hand ")) + plainText(r.shape); }
};

}  // namespace

QString plainText(const std::string& word) {
  QString text;
  for (char letter : word) {
    if (letter >= 'A' && letter <= 'Z') {
      text += QLatin1Char(' ');
      text += QLatin1Char(static_cast<char>(letter - 'A' + 'a'));
    } else {
      text += QLatin1Char(letter);
    }
  }
  return QCoreApplication::translate("words", text.toUtf8().constData());
}

QString boneText(const std::string& bone) {
  if (bone.starts_with('@')) return plainText(bone.substr(1));
  return QString::fromStdString(bone).section(QLatin1Char('/'), -1);
}

QString kindText(std::size_t kind) { return QCoreApplication::translate("kinds", repairKinds()[kind].c_str()); }
QString kindText(const Repair& repair) { return kindText(repair.action.index()); }

QString kindIcon(std::size_t kind) { return QString::fromStdString(repairKinds()[kind]).replace(QLatin1Char(' '), QLatin1Char('-')); }

QString repairText(const Repair& repair) { return repair.name.empty() ? std::visit(Words{}, repair.action) : QString::fromStdString(repair.name); }

QString spanText(const Repair& repair, const Evaluated& evaluated) {
  if (!repair.span) return say("whole clip");
  const RepairFrames frames = repairFrames(repair, evaluated.rate, evaluated.clipFrames);
  if (frames.span.empty()) return say("outside the clip");
  const int by = evaluated.firstFrame - evaluated.trimFirst;
  if (frames.span.count() == 1) return QString::number(frames.span.first + by);
  return QStringLiteral("%1–%2").arg(frames.span.first + by).arg(frames.span.last + by);
}

std::optional<WorstMiss> worstMiss(const Evaluated& evaluated, std::uint64_t repair) {
  std::optional<WorstMiss> worst;
  for (const Residual& residual : evaluated.residuals) {
    if (residual.repair != repair) continue;
    for (std::size_t k = 0; k < residual.values.size(); ++k) {
      const Miss& miss = residual.values[k];
      if (!worst) worst.emplace(WorstMiss{0, 0, residual.first - evaluated.trimFirst});
      if (miss.metres > worst->metres) worst->metres = miss.metres, worst->frame = residual.first + static_cast<int>(k) - evaluated.trimFirst;
      worst->radians = std::max(worst->radians, static_cast<double>(miss.radians));
    }
  }
  return worst;
}

QString missText(const WorstMiss& miss) {
  const double mm = miss.metres * 1000;
  if (mm < 0.05 && miss.radians * degreesPerRadian >= 0.05) return QStringLiteral("%1°").arg(miss.radians * degreesPerRadian, 0, 'f', 1);
  return QStringLiteral("%1 mm").arg(mm, 0, 'f', mm < 9.95 ? 1 : 0);
}

QString complaintOf(const Evaluated& evaluated, const Repair& repair) {
  const std::string name = describe(repair);
  for (const Issue& issue : evaluated.issues)
    if (issue.severity != Severity::note && (issue.where.find(name) != std::string::npos || issue.what.find(name) != std::string::npos))
      return QString::fromStdString(issue.text());
  return {};
}

}  // namespace understudy::editor
