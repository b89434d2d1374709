#include "app/editor/document/set_and_locks.h"

#include <QFileInfo>
#include <algorithm>
#include <cmath>

#include "app/editor/document/spans.h"
#include "core/take/edits.h"

namespace understudy::editor {

QString setKindText(SetKind kind) {
  switch (kind) {
    case SetKind::plane: return Document::tr("plane");
    case SetKind::box: return Document::tr("box");
    case SetKind::ball: return Document::tr("ball");
    case SetKind::steps: return Document::tr("steps");
    case SetKind::mesh: break;
  }
  return Document::tr("mesh");
}

std::uint64_t addToSet(Document& document, const Session& session, SetKind kind, const QString& path) {
  SetItem item;
  item.kind = kind;
  item.path = path.isEmpty() ? std::string() : QFileInfo(path).absoluteFilePath().toStdString();
  const double tall = document.height(Cast::character);
  switch (kind) {
    case SetKind::plane: item.size = {1, 1, 1}; break;
    case SetKind::box: item.size = Vec3d{0.25, 0.12, 0.25} * tall; break;
    case SetKind::ball: item.size = Vec3d{0.08, 0.08, 0.08} * tall; break;
    case SetKind::steps: item.size = Vec3d{0.55, 0.1, 0.17} * tall; item.count = 4; break;
    case SetKind::mesh: break;
  }
  // Before the character, where it stands at this frame; meshes lie as their file has them.
  const auto evaluated = document.evaluated();
  const auto figure = document.figure(Cast::character);
  const int hips = document.map().character.joint(Role::hips);
  if (kind != SetKind::mesh && kind != SetKind::plane && evaluated && figure && hips >= 0 && session.frame() < evaluated->motion.frames()) {
    const Vec3d at = apply(document.worldFromFile(Cast::character), worldAt(figure->skeleton, evaluated->motion, session.frame())[static_cast<std::size_t>(hips)].translation);
    item.place.position = {at.x, kind == SetKind::ball ? item.size.x : 0, at.z + 0.35 * tall};
  }
  std::vector<SetItem> set = *document.take().set;
  item.id = 1;
  for (const SetItem& other : set) item.id = std::max(item.id, other.id + 1);
  // Touches find things of the set by name.
  const QString base = path.isEmpty() ? setKindText(kind) : QFileInfo(path).completeBaseName();
  QString name = base;
  for (int n = 2; std::any_of(set.begin(), set.end(), [&](const SetItem& other) { return other.name == name.toStdString(); }); ++n) name = base + QStringLiteral(" %1").arg(n);
  item.name = name.toStdString();
  set.push_back(item);
  document.edit(Document::tr("Add %1 to the set").arg(name), setSet(document.take(), std::move(set)));
  return item.id;
}

void changeInSet(Document& document, const SetItem& item, const QString& mergeKey) {
  std::vector<SetItem> set = *document.take().set;
  for (SetItem& other : set)
    if (other.id == item.id) other = item;
  document.edit(Document::tr("Change the set"), setSet(document.take(), std::move(set)), mergeKey);
}

void removeFromSet(Document& document, std::uint64_t id) {
  std::vector<SetItem> set = *document.take().set;
  std::erase_if(set, [id](const SetItem& item) { return item.id == id; });
  document.edit(Document::tr("Remove from the set"), setSet(document.take(), std::move(set)));
}

void lockSelection(Document& document, const Session& session) {
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->context) return;
  Lock lock;
  for (const Bone& bone : session.selection())
    if (bone.cast == Cast::character) lock.bones.push_back(boneName(*evaluated->context, bone.joint));
  if (session.rangeFirst() > 0 || session.rangeLast() < session.frames() - 1)
    lock.span = TimeRange{evaluated->rate.seconds(session.rangeFirst() + evaluated->trimFirst), evaluated->rate.seconds(session.rangeLast() + evaluated->trimFirst)};
  std::vector<Lock> locks = *document.take().locks;
  if (std::find(locks.begin(), locks.end(), lock) != locks.end()) return;
  locks.push_back(lock);
  document.edit(Document::tr("Lock"), setLocks(document.take(), std::move(locks)));
}

bool unlockHere(Document& document, const Session& session) {
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->context) return false;
  std::vector<std::string> chosen;
  for (const Bone& bone : session.selection())
    if (bone.cast == Cast::character) chosen.push_back(boneName(*evaluated->context, bone.joint));
  const int frame = session.frame() + evaluated->trimFirst;
  std::vector<Lock> locks = *document.take().locks;
  const std::size_t before = locks.size();
  std::erase_if(locks, [&](const Lock& lock) {
    const bool now = !lock.span || (frame >= frameAt(lock.span->first, evaluated->rate) && frame <= frameAt(lock.span->last, evaluated->rate));
    const bool theirs = chosen.empty() || lock.bones.empty() || std::any_of(lock.bones.begin(), lock.bones.end(), [&](const std::string& b) { return std::find(chosen.begin(), chosen.end(), b) != chosen.end(); });
    return now && theirs;
  });
  if (locks.size() == before) return false;
  document.edit(Document::tr("Unlock"), setLocks(document.take(), std::move(locks)));
  return true;
}

}  // namespace understudy::editor
