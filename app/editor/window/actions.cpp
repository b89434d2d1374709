#include "app/editor/window/actions.h"

#include <QAbstractButton>
#include <QApplication>
#include <QComboBox>
#include <QKeyEvent>
#include <QMainWindow>
#include <QMenu>
#include <QMenuBar>
#include <QTabBar>
#include <QTableView>

#include "app/editor/look/icons.h"

namespace understudy::editor {

Actions::Actions(QWidget* window) : QObject(window), window_(window), bar_(qobject_cast<QMainWindow*>(window)->menuBar()) {
  qApp->installEventFilter(this);
}

bool Actions::eventFilter(QObject* watched, QEvent* event) {
  if (event->type() == QEvent::ShortcutOverride) {
    auto* key = static_cast<QKeyEvent*>(event);
    const bool plain = (key->modifiers() & ~Qt::KeypadModifier) == Qt::NoModifier;
    const bool space = key->key() == Qt::Key_Space && (qobject_cast<QAbstractButton*>(watched) || qobject_cast<QComboBox*>(watched));
    const bool arrow = (key->key() == Qt::Key_Left || key->key() == Qt::Key_Right) &&
                       (qobject_cast<QTableView*>(watched) || qobject_cast<QTabBar*>(watched) || qobject_cast<QComboBox*>(watched));
    if (plain && (space || arrow)) {
      event->accept();
      return true;
    }
  }
  return QObject::eventFilter(watched, event);
}

QMenu* Actions::menu(const QString& name) {
  for (const auto& [known, menu] : menus_)
    if (known == name) return menu;
  menus_.emplace_back(name, bar_->addMenu(name));
  return menus_.back().second;
}

QAction* Actions::add(const QString& menuName, const QString& text, const QKeySequence& key, std::function<void()> run, const char* iconName) {
  auto* action = new QAction(text, this);
  action->setProperty("name", text);
  action->setShortcut(key);
  action->setShortcutContext(Qt::WindowShortcut);
  if (iconName) action->setProperty("iconName", QString::fromLatin1(iconName));
  connect(action, &QAction::triggered, this, [run = std::move(run)] { run(); });
  menu(menuName)->addAction(action);
  window_->addAction(action);
  all_.push_back(action);
  return action;
}

void Actions::separator(const QString& menuName) { menu(menuName)->addSeparator(); }

QAction* Actions::find(const QString& text) const {
  for (QAction* action : all_)
    if (action->property("name").toString() == text) return action;
  return nullptr;
}

void Actions::refreshIcons() {
  for (QAction* action : all_)
    if (const QString name = action->property("iconName").toString(); !name.isEmpty()) action->setIcon(icon(name));
}

}  // namespace understudy::editor
