// Finds a command by a part of its name, or goes to a frame. Every command is listed with the key it has now.
#pragma once

#include <QLineEdit>

class QAbstractItemView;
class QStandardItemModel;

namespace understudy::editor {

class Actions;

class CommandFinder : public QLineEdit {
  Q_OBJECT
 public:
  CommandFinder(const Actions& actions, QWidget* parent = nullptr);
  /// Puts the cursor into the field.
  void ask();
  /// The list below the field; as it opens it takes up what commands there are.
  [[nodiscard]] QAbstractItemView& list();

 Q_SIGNALS:
  /// A number was entered.
  void frameAsked(int number);
  /// A command has run, or a frame was asked for.
  void done();

 protected:
  void focusInEvent(QFocusEvent* event) override;
  void focusOutEvent(QFocusEvent* event) override;
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void fill();
  void find(const QString& text);
  const Actions& actions_;
  QStandardItemModel* model_;
};

}  // namespace understudy::editor
