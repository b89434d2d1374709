// Every command of the editor: name, key, menu. The finder and the menus list the same ones.
#pragma once

#include <QAction>
#include <QObject>
#include <QString>
#include <functional>
#include <vector>

class QMenuBar;
class QMenu;
class QWidget;

namespace understudy::editor {

class Actions : public QObject {
  Q_OBJECT
 public:
  explicit Actions(QWidget* window);
  /// Between the names of a menu and of one within it.
  [[nodiscard]] static QString within() { return QStringLiteral(" / "); }
  /// Adds a command to a menu (made where it is new). `key` may be empty.
  QAction* add(const QString& menu, const QString& text, const QKeySequence& key, std::function<void()> run, const char* iconName = nullptr);
  void separator(const QString& menu);
  [[nodiscard]] QMenu* menu(const QString& name);
  [[nodiscard]] const std::vector<QAction*>& all() const { return all_; }
  /// The command of a name; null where there is none.
  [[nodiscard]] QAction* find(const QString& text) const;
  void refreshIcons();
  /// The key a command has by itself, and another one, which is remembered; it is taken from the command that had it.
  [[nodiscard]] static QKeySequence ownKey(const QAction& action);
  void setKey(QAction& action, const QKeySequence& key);
  void resetKeys();
  /// The command that has a key; null for none.
  [[nodiscard]] QAction* withKey(const QKeySequence& key) const;
  /// Keys in bold in a text, <b>Ctrl+F</b>, are commands' own: the same text with the keys they have now.
  [[nodiscard]] QString withKeys(const QString& text) const;
  /// Tooltips that name a command's own key, "…  (Ctrl+F)", name the one it has now.
  void refreshTips();

 Q_SIGNALS:
  void keysChanged();

 protected:
  /// Buttons keep Space, tables and tabs their arrow keys: commands with these keys step back while they have the focus.
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  QWidget* window_;
  QMenuBar* bar_;
  std::vector<std::pair<QString, QMenu*>> menus_;
  std::vector<QAction*> all_;
};

}  // namespace understudy::editor
