// The curves page of the timeline: bones to choose from, what is shown of them, and what is done with keys.
#pragma once

#include <QWidget>

#include "app/editor/timeline/curves_view.h"

class QComboBox;
class QHBoxLayout;
class QLineEdit;
class QListWidget;
class QToolButton;

namespace understudy::editor {

class CurvesPage : public QWidget {
  Q_OBJECT
 public:
  CurvesPage(Document& document, Session& session, FrameScale& scale, QWidget* parent = nullptr);
  [[nodiscard]] CurvesView& view() { return *view_; }
  [[nodiscard]] QListWidget& bones() { return *bones_; }
  [[nodiscard]] QLineEdit& filter() { return *filter_; }

 protected:
  void showEvent(QShowEvent* event) override;
  void hideEvent(QHideEvent* event) override;

 private:
  void fillBones();
  void followSelection();
  void refresh();
  QToolButton* button(QHBoxLayout* row, const QString& name, const QString& text, const QString& tip);

  Document& document_;
  Session& session_;
  CurvesView* view_;
  QLineEdit* filter_;
  QListWidget* bones_;
  QComboBox* angles_;
  std::array<QToolButton*, 3> channels_{};
  std::vector<QToolButton*> forPicked_;
  QToolButton* keyed_;
  bool filling_ = false;
};

}  // namespace understudy::editor
