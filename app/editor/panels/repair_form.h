// The parameters of a repair, built from their description.
#pragma once

#include <QWidget>
#include <functional>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"

class QGridLayout;
class QToolButton;

namespace understudy::editor {

class RepairForm : public QWidget {
  Q_OBJECT
 public:
  RepairForm(Document& document, Session& session, QWidget* parent = nullptr);
  /// Shows a repair; builds the fields anew where their number or kind differs from those shown.
  void show(const Repair& repair);

 private:
  friend class FormBuilder;
  using Change = std::function<void(Repair&)>;
  /// Changes the shown repair; `mergeKey` empty: a step of its own.
  void write(const Change& change, const QString& mergeKey);
  void rebuild(const Repair& repair);

  Document& document_;
  Session& session_;
  std::uint64_t id_ = 0;
  QString signature_;
  QWidget* body_ = nullptr;
  QWidget* more_ = nullptr;
  bool open_ = false;
  std::vector<std::function<void(Repair&)>> fill_;
};

}  // namespace understudy::editor
