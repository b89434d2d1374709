// Above the stage: from where, who, and what is drawn.
#pragma once

#include <QWidget>
#include <vector>

#include "app/editor/document/session.h"

class QToolButton;

namespace understudy::editor {

class StageWidget;

class StageBar : public QWidget {
  Q_OBJECT
 public:
  StageBar(Session& session, StageWidget& stage, QWidget* parent = nullptr);

 private:
  QToolButton* pill(const QString& text, const QString& tip);
  void refresh();
  Session& session_;
  StageWidget& stage_;
  std::vector<QToolButton*> views_, layouts_;
  QToolButton *bones_, *bare_;
};

}  // namespace understudy::editor
