#include "app/editor/window/preferences.h"

#include <QAction>
#include <QCheckBox>
#include <QFormLayout>
#include <QHBoxLayout>
#include <QHeaderView>
#include <QKeyEvent>
#include <QKeySequenceEdit>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QScopedValueRollback>
#include <QSettings>
#include <QTableWidget>
#include <QVBoxLayout>

#include "app/editor/look/appearance.h"
#include "app/editor/panels/notes_panel.h"
#include "app/editor/window/actions.h"

namespace understudy::editor {

PreferencesDialog::PreferencesDialog(Actions& actions, QWidget* parent) : QDialog(parent), actions_(actions) {
  setWindowTitle(tr("Preferences"));
  resize(560, 620);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(20, 18, 20, 16);
  column->setSpacing(10);
  auto* form = new QFormLayout;
  light_ = new QCheckBox(tr("light"), this);
  form->addRow(tr("Look"), light_);
  author_ = new QLineEdit(this);
  author_->setObjectName(QStringLiteral("author"));
  author_->setPlaceholderText(noteAuthor());
  author_->setText(QSettings().value(QStringLiteral("author")).toString());
  author_->setToolTip(tr("The name that notes of a review are signed with"));
  form->addRow(tr("Author of notes"), author_);
  column->addLayout(form);
  auto* heading = new QLabel(tr("KEYS"), this);
  heading->setObjectName(QStringLiteral("heading"));
  column->addWidget(heading);
  filter_ = new QLineEdit(this);
  filter_->setPlaceholderText(tr("Filter commands or keys"));
  filter_->setAccessibleName(tr("Filter commands or keys"));
  filter_->setClearButtonEnabled(true);
  column->addWidget(filter_);
  keys_ = new QTableWidget(0, 2, this);
  keys_->setObjectName(QStringLiteral("keys"));
  keys_->setAccessibleName(tr("Commands and their keys"));
  keys_->setHorizontalHeaderLabels({tr("command"), tr("key")});
  keys_->horizontalHeader()->setSectionResizeMode(0, QHeaderView::Stretch);
  keys_->horizontalHeader()->setSectionResizeMode(1, QHeaderView::ResizeToContents);
  keys_->verticalHeader()->hide();
  keys_->verticalHeader()->setDefaultSectionSize(26);
  keys_->setShowGrid(false);
  keys_->setTabKeyNavigation(false);
  keys_->setSelectionBehavior(QAbstractItemView::SelectRows);
  keys_->setSelectionMode(QAbstractItemView::SingleSelection);
  keys_->setEditTriggers(QAbstractItemView::NoEditTriggers);
  column->addWidget(keys_, 1);
  auto* row = new QHBoxLayout;
  key_ = new QKeySequenceEdit(this);
  key_->setAccessibleName(tr("New key of the chosen command"));
  // The field takes every key that is pressed in it but Tab, which goes on.
  for (QWidget* part : {static_cast<QWidget*>(key_), static_cast<QWidget*>(key_->findChild<QLineEdit*>())})
    if (part) part->installEventFilter(this);
  auto* give = new QPushButton(tr("Set key"), this);
  auto* none = new QPushButton(tr("No key"), this);
  auto* own = new QPushButton(tr("Its own"), this);
  for (QPushButton* button : {give, none, own}) button->setAutoDefault(false);
  row->addWidget(key_, 1);
  row->addWidget(give);
  row->addWidget(none);
  row->addWidget(own);
  column->addLayout(row);
  said_ = new QLabel(this);
  said_->setProperty("quiet", true);
  said_->setWordWrap(true);
  column->addWidget(said_);
  auto* bottom = new QHBoxLayout;
  auto* reset = new QPushButton(tr("All keys as they came"), this);
  auto* close = new QPushButton(tr("Close"), this);
  reset->setAutoDefault(false);
  bottom->addWidget(reset);
  bottom->addStretch(1);
  bottom->addWidget(close);
  column->addLayout(bottom);
  connect(light_, &QCheckBox::clicked, this, &PreferencesDialog::lightAsked);
  connect(author_, &QLineEdit::editingFinished, this, [this] { QSettings().setValue(QStringLiteral("author"), author_->text().trimmed()); });
  connect(filter_, &QLineEdit::textChanged, this, &PreferencesDialog::fill);
  connect(keys_, &QTableWidget::itemSelectionChanged, this, &PreferencesDialog::choose);
  connect(give, &QPushButton::clicked, this, &PreferencesDialog::give);
  connect(none, &QPushButton::clicked, this, [this] {
    key_->clear();
    this->give();
  });
  connect(own, &QPushButton::clicked, this, [this] {
    if (QAction* action = actions_.find(keys_->item(keys_->currentRow(), 0) ? keys_->item(keys_->currentRow(), 0)->text() : QString()))
      key_->setKeySequence(Actions::ownKey(*action)), this->give();
  });
  connect(reset, &QPushButton::clicked, &actions_, &Actions::resetKeys);
  connect(close, &QPushButton::clicked, this, &QDialog::accept);
  connect(&actions_, &Actions::keysChanged, this, &PreferencesDialog::fill);
  fill();
}

void PreferencesDialog::fill() {
  const QScopedValueRollback guard(filling_, true);
  light_->setChecked(Appearance::instance().kind() == Appearance::Kind::light);
  const QString chosen = keys_->currentRow() >= 0 ? keys_->item(keys_->currentRow(), 0)->text() : QString(), wanted = filter_->text().trimmed();
  keys_->setRowCount(0);
  for (const QAction* action : actions_.all()) {
    const QString name = action->property("name").toString(), key = action->shortcut().toString(QKeySequence::NativeText);
    if (!wanted.isEmpty() && !name.contains(wanted, Qt::CaseInsensitive) && !key.contains(wanted, Qt::CaseInsensitive)) continue;
    const int row = keys_->rowCount();
    keys_->insertRow(row);
    keys_->setItem(row, 0, new QTableWidgetItem(name));
    auto* cell = new QTableWidgetItem(key);
    if (action->shortcut() != Actions::ownKey(*action)) {
      QFont font = Appearance::body();
      font.setWeight(QFont::DemiBold);
      cell->setFont(font);
      cell->setToolTip(tr("came as %1").arg(Actions::ownKey(*action).toString(QKeySequence::NativeText)));
    }
    keys_->setItem(row, 1, cell);
    if (name == chosen) keys_->selectRow(row);
  }
}

bool PreferencesDialog::eventFilter(QObject* watched, QEvent* event) {
  if (event->type() == QEvent::KeyPress || event->type() == QEvent::ShortcutOverride) {
    const auto* key = static_cast<QKeyEvent*>(event);
    const bool back = key->key() == Qt::Key_Backtab;
    if ((back || key->key() == Qt::Key_Tab) && !(key->modifiers() & (Qt::ControlModifier | Qt::AltModifier | Qt::MetaModifier))) {
      if (event->type() == QEvent::KeyPress) focusNextPrevChild(!back);
      event->accept();
      return true;
    }
  }
  return QDialog::eventFilter(watched, event);
}

void PreferencesDialog::choose() {
  if (filling_ || keys_->currentRow() < 0) return;
  if (const QAction* action = actions_.find(keys_->item(keys_->currentRow(), 0)->text())) key_->setKeySequence(action->shortcut());
  said_->clear();
}

void PreferencesDialog::give() {
  if (keys_->currentRow() < 0) return;
  QAction* action = actions_.find(keys_->item(keys_->currentRow(), 0)->text());
  if (!action) return;
  const QKeySequence key = key_->keySequence();
  const QAction* had = actions_.withKey(key);
  const QString other = had && had != action ? had->property("name").toString() : QString();
  actions_.setKey(*action, key);
  said_->setText(other.isEmpty() ? QString() : tr("“%1” had this key and has none now.").arg(other));
}

}  // namespace understudy::editor
