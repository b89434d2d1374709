#include "app/editor/window/command_finder.h"

#include <QAbstractItemView>
#include <QAction>
#include <QCompleter>
#include <QFocusEvent>
#include <QPainter>
#include <QStandardItemModel>
#include <QStyledItemDelegate>
#include <algorithm>

#include "app/editor/look/appearance.h"
#include "app/editor/window/actions.h"

namespace understudy::editor {
namespace {

constexpr int keyRole = Qt::UserRole + 1;

/// The name on the left, the key on the right.
class CommandDelegate : public QStyledItemDelegate {
 public:
  using QStyledItemDelegate::QStyledItemDelegate;
  QSize sizeHint(const QStyleOptionViewItem&, const QModelIndex&) const override { return {200, 26}; }
  void paint(QPainter* p, const QStyleOptionViewItem& option, const QModelIndex& index) const override {
    const Colours& c = colours();
    p->fillRect(option.rect, option.state & (QStyle::State_Selected | QStyle::State_MouseOver) ? c.picked : c.card);
    const QRect text = option.rect.adjusted(10, 0, -10, 0);
    const QString key = index.data(keyRole).toString();
    p->setFont(Appearance::small());
    p->setPen(c.dimText);
    p->drawText(text, Qt::AlignVCenter | Qt::AlignRight, key);
    const int room = text.width() - (key.isEmpty() ? 0 : QFontMetrics(p->font()).horizontalAdvance(key) + 14);
    p->setFont(Appearance::body());
    p->setPen(c.text);
    p->drawText(text, Qt::AlignVCenter | Qt::AlignLeft, QFontMetrics(p->font()).elidedText(index.data().toString(), Qt::ElideRight, room));
  }
};

}  // namespace

CommandFinder::CommandFinder(const Actions& actions, QWidget* parent) : QLineEdit(parent), actions_(actions), model_(new QStandardItemModel(this)) {
  setObjectName(QStringLiteral("finder"));
  setPlaceholderText(tr("Find command or frame"));
  setAccessibleName(tr("Find a command or a frame"));
  setToolTip(tr("Type a command's name or a frame number  (Ctrl+K)"));
  setFixedWidth(std::max(190, fontMetrics().horizontalAdvance(placeholderText()) + 40));
  auto* completer = new QCompleter(model_, this);
  completer->setFilterMode(Qt::MatchContains);
  completer->setCaseSensitivity(Qt::CaseInsensitive);
  completer->setMaxVisibleItems(12);
  setCompleter(completer);
  completer->popup()->setItemDelegate(new CommandDelegate(completer->popup()));
  completer->popup()->setAccessibleName(tr("Commands"));
  completer->popup()->installEventFilter(this);
  // After the completer has put the name into the field, which would else stay there.
  connect(completer, qOverload<const QString&>(&QCompleter::activated), this, &CommandFinder::find, Qt::QueuedConnection);
  connect(this, &QLineEdit::returnPressed, this, [this] { find(text()); });
}

QAbstractItemView& CommandFinder::list() { return *completer()->popup(); }

void CommandFinder::ask() {
  setFocus();
  selectAll();
}

void CommandFinder::fill() {
  model_->clear();
  int wide = width();
  const QFontMetrics body(Appearance::body()), small(Appearance::small());
  for (const QAction* action : actions_.all()) {
    const QString name = action->property("name").toString(), key = action->shortcut().toString(QKeySequence::NativeText);
    auto* item = new QStandardItem(name);
    item->setData(key, keyRole);
    item->setData(key.isEmpty() ? name : tr("%1, key %2").arg(name, key), Qt::AccessibleTextRole);
    model_->appendRow(item);
    wide = std::max(wide, body.horizontalAdvance(name) + small.horizontalAdvance(key) + 60);
  }
  completer()->popup()->setMinimumWidth(wide);
}

void CommandFinder::focusInEvent(QFocusEvent* event) {
  if (event->reason() != Qt::PopupFocusReason) fill();
  QLineEdit::focusInEvent(event);
}

void CommandFinder::focusOutEvent(QFocusEvent* event) {
  // What was begun and left is not kept for the next time.
  if (event->reason() != Qt::PopupFocusReason && event->reason() != Qt::ActiveWindowFocusReason) clear();
  QLineEdit::focusOutEvent(event);
}

bool CommandFinder::eventFilter(QObject* watched, QEvent* event) {
  // The list is wider than the field, which stands at the window's right: their right edges go together.
  if (watched == completer()->popup() && (event->type() == QEvent::Show || event->type() == QEvent::Resize || event->type() == QEvent::Move)) {
    QWidget& popup = *completer()->popup();
    if (const QPoint at = mapToGlobal(QPoint(width() - popup.width(), height())); popup.pos() != at) popup.move(at);
  }
  return QLineEdit::eventFilter(watched, event);
}

void CommandFinder::find(const QString& text) {
  if (text.isEmpty()) return;
  bool number = false;
  const int frame = text.trimmed().toInt(&number);
  QAction* action = actions_.find(text);
  // Some letters of a name stand for the first that is listed.
  if (!action && !number)
    if (QCompleter& names = *completer(); names.completionPrefix() == text && names.completionCount() > 0)
      action = actions_.find(names.completionModel()->index(0, 0).data().toString());
  if (action) action->trigger();
  else if (number) Q_EMIT frameAsked(frame);
  else return;
  clear();
  Q_EMIT done();
}

}  // namespace understudy::editor
