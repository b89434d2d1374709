#include "app/editor/window/actions.h"

#include <QAbstractButton>
#include <QApplication>
#include <QComboBox>
#include <QKeyEvent>
#include <QMainWindow>
#include <QMenu>
#include <QMenuBar>
#include <QRegularExpression>
#include <QSettings>
#include <QTabBar>
#include <QTableView>

#include "app/editor/look/icons.h"

namespace understudy::editor {

namespace {

QString keyOf(const QString& name) { return QStringLiteral("keys/") + name; }

}  // namespace

QKeySequence Actions::ownKey(const QAction& action) { return QKeySequence(action.property("ownKey").toString(), QKeySequence::PortableText); }

QAction* Actions::withKey(const QKeySequence& key) const {
  if (key.isEmpty()) return nullptr;
  for (QAction* action : all_)
    if (action->shortcut() == key) return action;
  return nullptr;
}

void Actions::setKey(QAction& action, const QKeySequence& key) {
  const auto give = [](QAction& to, const QKeySequence& k) {
    to.setShortcut(k);
    const QString name = keyOf(to.property("name").toString());
    if (k == ownKey(to)) QSettings().remove(name);
    else QSettings().setValue(name, k.toString(QKeySequence::PortableText));
  };
  if (QAction* other = withKey(key); other && other != &action) give(*other, {});
  give(action, key);
  refreshTips();
  Q_EMIT keysChanged();
}

void Actions::resetKeys() {
  QSettings().remove(QStringLiteral("keys"));
  for (QAction* action : all_) action->setShortcut(ownKey(*action));
  refreshTips();
  Q_EMIT keysChanged();
}

QString Actions::withKeys(const QString& text) const {
  static const QRegularExpression bold(QStringLiteral("<b>([^<]*)</b>"));
  QString out;
  qsizetype at = 0;
  for (auto found = bold.globalMatch(text); found.hasNext();) {
    const QRegularExpressionMatch match = found.next();
    out += text.mid(at, match.capturedStart(1) - at);
    QString words = match.captured(1);
    const QKeySequence key(words, QKeySequence::NativeText);
    for (const QAction* action : all_)
      if (!key.isEmpty() && key.toString(QKeySequence::NativeText) == words && ownKey(*action) == key)
        words = action->shortcut().isEmpty() ? tr("“%1” in the menus").arg(action->property("name").toString().toHtmlEscaped()) : action->shortcut().toString(QKeySequence::NativeText).toHtmlEscaped();
    out += words;
    at = match.capturedEnd(1);
  }
  return out + text.mid(at);
}

void Actions::refreshTips() {
  for (QWidget* widget : window_->findChildren<QWidget*>()) {
    QString own = widget->property("ownTip").toString();
    const QString tip = widget->toolTip();
    // Tips that were set anew meanwhile count from now on.
    if (own.isEmpty() || tip != widget->property("shownTip").toString()) own = tip;
    const qsizetype at = own.lastIndexOf(QStringLiteral("  ("));
    if (at < 0 || !own.endsWith(QLatin1Char(')'))) continue;
    const QKeySequence key(own.mid(at + 3, own.size() - at - 4), QKeySequence::NativeText);
    for (const QAction* action : all_) {
      if (ownKey(*action) != key || key.isEmpty()) continue;
      const QString now = action->shortcut().toString(QKeySequence::NativeText);
      const QString shown = now.isEmpty() ? own.left(at) : own.left(at + 3) + now + QLatin1Char(')');
      widget->setProperty("ownTip", own);
      widget->setProperty("shownTip", shown);
      if (shown != tip) widget->setToolTip(shown);
    }
  }
}

Actions::Actions(QWidget* window) : QObject(window), window_(window), bar_(qobject_cast<QMainWindow*>(window)->menuBar()) {
  qApp->installEventFilter(this);
}

bool Actions::eventFilter(QObject* watched, QEvent* event) {
  // A click on a button leaves the keys with what had them: else the space bar would press it again instead of playing.
  // By Tab every button is reached.
  if (event->type() == QEvent::Polish && (qobject_cast<QAbstractButton*>(watched) || qobject_cast<QComboBox*>(watched)))
    if (auto* widget = static_cast<QWidget*>(watched); widget->window() == window_ && widget->focusPolicy() != Qt::NoFocus) widget->setFocusPolicy(Qt::TabFocus);
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
  // "Menu / submenu": one within the other.
  const qsizetype in = name.lastIndexOf(within());
  QMenu* made = in < 0 ? bar_->addMenu(name) : menu(name.left(in))->addMenu(name.mid(in + within().size()));
  menus_.emplace_back(name, made);
  return made;
}

QAction* Actions::add(const QString& menuName, const QString& text, const QKeySequence& key, std::function<void()> run, const char* iconName) {
  auto* action = new QAction(text, this);
  action->setProperty("name", text);
  action->setProperty("ownKey", key.toString(QKeySequence::PortableText));
  // A key of one's own; an empty text means none.
  const QString saved = QSettings().value(keyOf(text), QStringLiteral("own")).toString();
  action->setShortcut(saved == QStringLiteral("own") ? key : QKeySequence(saved, QKeySequence::PortableText));
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
