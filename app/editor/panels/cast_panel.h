// Who plays: performer and character as cards, with what was found in their files and what can be overridden.
#pragma once

#include <QToolButton>
#include <QWidget>

#include "app/editor/document/document.h"

namespace understudy::editor {

class CastCard : public QToolButton {
  Q_OBJECT
 public:
  CastCard(Document& document, Cast cast, QWidget* parent = nullptr);
  [[nodiscard]] QSize sizeHint() const override { return {260, 64}; }
  [[nodiscard]] QSize minimumSizeHint() const override { return {160, 44}; }

 Q_SIGNALS:
  void fileAsked(understudy::editor::Cast cast);

 protected:
  void paintEvent(QPaintEvent* event) override;

 private:
  void fillMenu();
  Document& document_;
  Cast cast_;
};

class CastPanel : public QWidget {
  Q_OBJECT
 public:
  explicit CastPanel(Document& document, QWidget* parent = nullptr);

 Q_SIGNALS:
  void fileAsked(understudy::editor::Cast cast);
};

}  // namespace understudy::editor
