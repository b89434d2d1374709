// The take's props as things the stage can draw, read in the background.
#pragma once

#include <QObject>
#include <vector>

#include "core/repair/repair.h"
#include "render/stage.h"

namespace understudy::editor {

class Document;

class PropsKeeper : public QObject {
  Q_OBJECT
 public:
  explicit PropsKeeper(Document& document);
  /// Null while it is not read.
  [[nodiscard]] StageFigurePtr figureOf(const PropItem& prop) const;
  /// Reads a file and takes it up as a prop of the take, with its grips found: one step of undo.
  void add(const QString& path);
  void remove(std::uint64_t prop);

 Q_SIGNALS:
  void changed();

 private:
  void follow();
  struct Read {
    PropItem item;
    StageFigurePtr stage;  ///< null: it could not be read
  };
  [[nodiscard]] const Read* find(const PropItem& prop) const;
  Document& document_;
  std::vector<Read> read_;
};

}  // namespace understudy::editor
