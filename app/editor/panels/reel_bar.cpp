#include "app/editor/panels/reel_bar.h"

#include <QComboBox>
#include <QFileInfo>
#include <QHBoxLayout>
#include <QInputDialog>
#include <QMenu>
#include <QSignalBlocker>
#include <QToolButton>
#include <algorithm>

#include "app/editor/look/icons.h"
#include "core/take/edits.h"

namespace understudy::editor {

QString takeText(const Reel& reel, int index) {
  const Take& take = *reel.takes[static_cast<std::size_t>(index)];
  if (!take.name.empty()) return QString::fromStdString(take.name);
  const QString file = QFileInfo(QString::fromStdString(take.performer->path)).completeBaseName();
  return file.isEmpty() ? ReelBar::tr("take %1").arg(index + 1) : ReelBar::tr("take %1 · %2").arg(index + 1).arg(file);
}

void addTakeLike(Document& document, bool bare) {
  Take copy = document.take();
  copy.name = ReelBar::tr("take %1").arg(document.reel().takes.size() + 1).toStdString();
  if (bare) {
    copy.nudges = {};
    copy = setRepairs(copy, {});
  }
  document.editReel(ReelBar::tr("New take"), addTake(document.reel(), copy));
}

ReelBar::ReelBar(Document& document, QWidget* parent) : QWidget(parent), document_(document) {
  auto* row = new QHBoxLayout(this);
  row->setContentsMargins(0, 0, 0, 0);
  row->setSpacing(4);
  takes_ = new QComboBox(this);
  takes_->setObjectName(QStringLiteral("takes"));
  takes_->setAccessibleName(tr("Take"));
  takes_->setToolTip(tr("The take that is worked on  (Ctrl+Tab)"));
  takes_->setSizeAdjustPolicy(QComboBox::AdjustToMinimumContentsLengthWithIcon);
  takes_->setMinimumContentsLength(8);
  row->addWidget(takes_, 1);
  auto* more = new QToolButton(this);
  more->setObjectName(QStringLiteral("takeMenu"));
  more->setIcon(icon(QStringLiteral("add")));
  more->setMinimumSize(28, 28);
  more->setPopupMode(QToolButton::InstantPopup);
  more->setToolTip(tr("New takes, and changes for all takes of the reel"));
  more->setAccessibleName(more->toolTip());
  menu_ = new QMenu(more);
  more->setMenu(menu_);
  row->addWidget(more);
  menu_->addAction(tr("New take like this one"), this, [this] { addTakeLike(document_, false); });
  menu_->addAction(tr("New take without repairs"), this, [this] { addTakeLike(document_, true); });
  menu_->addAction(tr("Rename…"), this, &ReelBar::rename);
  menu_->addSeparator();
  menu_->addAction(tr("This performer's file for all takes"), this,
                   [this] { document_.editReel(tr("One performer for all takes"), setPerformerForAll(document_.reel(), *document_.take().performer)); });
  menu_->addAction(tr("This character for all takes"), this,
                   [this] { document_.editReel(tr("One character for all takes"), setCharacterForAll(document_.reel(), *document_.take().character)); });
  menu_->addSeparator();
  QAction* remove = menu_->addAction(tr("Remove this take"), this, [this] { document_.editReel(tr("Remove a take"), removeTake(document_.reel(), document_.reel().current)); });
  connect(menu_, &QMenu::aboutToShow, this, [this, remove] { remove->setEnabled(document_.reel().takes.size() > 1); });
  connect(takes_, &QComboBox::activated, this, [this](int index) { document_.editReel(tr("Choose a take"), selectTake(document_.reel(), index)); });
  connect(&document, &Document::takeChanged, this, &ReelBar::refresh);
  refresh();
}

void ReelBar::rename() {
  auto* dialog = new QInputDialog(this);
  dialog->setAttribute(Qt::WA_DeleteOnClose);
  dialog->setWindowTitle(tr("Rename the take"));
  dialog->setLabelText(tr("Name"));
  dialog->setTextValue(takeText(document_.reel(), document_.reel().current));
  dialog->setOkButtonText(tr("Rename"));
  dialog->setCancelButtonText(tr("Go back"));
  connect(dialog, &QInputDialog::textValueSelected, this, [this](const QString& name) { document_.edit(tr("Rename the take"), setName(document_.take(), name.trimmed().toStdString())); });
  dialog->open();
}

void ReelBar::refresh() {
  const QSignalBlocker blocker(takes_);
  takes_->clear();
  const Reel& reel = document_.reel();
  for (int i = 0; i < static_cast<int>(reel.takes.size()); ++i) takes_->addItem(takeText(reel, i));
  takes_->setCurrentIndex(reel.current);
}

}  // namespace understudy::editor
