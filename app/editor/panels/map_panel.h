// The bone map: table, picking in the stage, mapping anew.
#pragma once

#include <QWidget>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QLabel;
class QTableView;
class QToolButton;

namespace understudy::editor {

class MapFigure;
class MapModel;

class MapPanel : public QWidget {
  Q_OBJECT
 public:
  MapPanel(Document& document, Session& session, QWidget* parent = nullptr);
  [[nodiscard]] QTableView& table() { return *table_; }
  [[nodiscard]] MapFigure& figure() { return *figure_; }
  [[nodiscard]] MapModel& model() { return *model_; }

 private:
  void refresh();
  void followSelection();
  Document& document_;
  Session& session_;
  MapModel* model_;
  MapFigure* figure_;
  QTableView* table_;
  QLabel* summary_;
  QToolButton* pick_;
  std::optional<Bone> followed_;
};

}  // namespace understudy::editor
