#include "app/editor/document/props_keeper.h"

#include <QFileInfo>
#include <algorithm>

#include "app/editor/document/document.h"
#include "core/evaluate/props.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

/// The same thing to look at.
bool looksAlike(const PropItem& a, const PropItem& b) {
  return a.path == b.path && a.node == b.node && a.scale == b.scale && (!a.path.empty() || (a.length == b.length && a.radius == b.radius));
}

StageFigurePtr staged(PropModel model) { return prepareFigure(std::make_shared<const Figure>(std::move(model.figure))); }

}  // namespace

PropsKeeper::PropsKeeper(Document& document) : QObject(&document), document_(document) { connect(&document, &Document::takeChanged, this, &PropsKeeper::follow); }

const PropsKeeper::Read* PropsKeeper::find(const PropItem& prop) const {
  const auto at = std::find_if(read_.begin(), read_.end(), [&](const Read& r) { return looksAlike(r.item, prop); });
  return at == read_.end() ? nullptr : &*at;
}

StageFigurePtr PropsKeeper::figureOf(const PropItem& prop) const {
  const Read* read = find(prop);
  return read ? read->stage : nullptr;
}

void PropsKeeper::follow() {
  for (const PropItem& prop : *document_.take().props) {
    if (find(prop)) continue;
    read_.push_back({prop, nullptr});
    document_.files().post(tr("Reading %1").arg(QString::fromStdString(prop.name)), [this, prop, character = document_.figure(Cast::character)](const RunControl& control) -> JobLane::Answer {
      auto model = openProp(prop, character, control);
      StageFigurePtr stage = model ? staged(std::move(model).value()) : nullptr;
      const Issue error = model ? Issue{} : model.error();
      return [this, prop, stage, error] {
        for (Read& read : read_)
          if (looksAlike(read.item, prop)) read.stage = stage;
        if (!stage) document_.tell(error);
        Q_EMIT changed();
      };
    });
  }
}

void PropsKeeper::add(const QString& path) {
  PropItem item;
  item.path = path.isEmpty() ? std::string() : QFileInfo(path).absoluteFilePath().toStdString();
  item.name = path.isEmpty() ? tr("shaft").toStdString() : QFileInfo(path).completeBaseName().toStdString();
  document_.files().post(tr("Reading %1").arg(QString::fromStdString(item.name)),
                         [this, item, character = document_.figure(Cast::character), height = document_.height(Cast::character)](const RunControl& control) -> JobLane::Answer {
    auto made = makeProp(item, character, height, control);
    return [this, made = std::move(made)] {
      if (!made) {
        document_.tell(made.error());
        return;
      }
      PropItem prop = made.value();
      std::vector<PropItem> props = *document_.take().props;
      for (const PropItem& other : props) prop.id = std::max(prop.id, other.id);
      ++prop.id;
      props.push_back(prop);
      document_.edit(tr("Take up %1").arg(QString::fromStdString(prop.name)), setProps(document_.take(), std::move(props)));
    };
  });
}

void PropsKeeper::remove(std::uint64_t id) {
  std::vector<PropItem> props = *document_.take().props;
  std::erase_if(props, [id](const PropItem& p) { return p.id == id; });
  document_.edit(tr("Remove a prop"), setProps(document_.take(), std::move(props)));
}

}  // namespace understudy::editor
