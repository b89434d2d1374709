#include "app/editor/panels/repairs_panel.h"

#include <QHBoxLayout>
#include <QLabel>
#include <QListView>
#include <QMenu>
#include <QScopedValueRollback>
#include <QScrollArea>
#include <QSplitter>
#include <QToolButton>
#include <QVBoxLayout>

#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "app/editor/panels/nudge_form.h"
#include "app/editor/panels/repair_form.h"
#include "app/editor/panels/repairs_model.h"
#include "core/take/edits.h"

namespace understudy::editor {

RepairsPanel::RepairsPanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  setObjectName(QStringLiteral("panel"));
  setAttribute(Qt::WA_StyledBackground);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 8, 0, 0);
  column->setSpacing(6);
  auto* tools = new QHBoxLayout;
  tools->setSpacing(2);
  menu_ = new QMenu(this);
  add_ = new QToolButton(this);
  add_->setObjectName(QStringLiteral("addRepair"));
  add_->setText(tr("Add"));
  add_->setIcon(icon(QStringLiteral("add")));
  add_->setToolButtonStyle(Qt::ToolButtonTextBesideIcon);
  add_->setToolTip(tr("Add a repair for the selected bone at this frame  (A)"));
  add_->setMenu(menu_);
  add_->setPopupMode(QToolButton::InstantPopup);
  auto* nudge = menu_->addAction(icon(QStringLiteral("pin")), tr("nudge"), this, &RepairsPanel::nudgeAsked);
  nudge->setData(-1);
  menu_->addSeparator();
  // As they apply.
  for (const std::size_t kind : {4U, 5U, 1U, 2U, 0U, 3U, 6U, 9U, 7U, 8U, 10U}) {
    auto* action = menu_->addAction(icon(kindIcon(kind)), kindText(kind), this, [this, kind] { add(kind); });
    action->setData(static_cast<int>(kind));
  }
  connect(menu_, &QMenu::aboutToShow, this, [this] {
    for (QAction* action : menu_->actions())
      if (action->data().isValid())
        action->setEnabled(action->data().toInt() < 0 ? session_.selected() && session_.selected()->cast == Cast::character
                                                      : defaultRepair(document_, session_, static_cast<std::size_t>(action->data().toInt())).has_value());
  });
  tools->addWidget(add_);
  tools->addStretch(1);
  tools_ = {button("duplicate", tr("Duplicate  (D)"), &RepairsPanel::duplicateSelected), button("mirror", tr("Mirror to the other side  (Shift+D)"), &RepairsPanel::mirrorSelected),
            button("split", tr("Split at this frame  (S)"), &RepairsPanel::splitSelected), button("remove", tr("Remove  (Delete)"), &RepairsPanel::removeSelected)};
  copyMenu_ = new QMenu(this);
  copy_ = new QToolButton(this);
  copy_->setProperty("flat", true);
  copy_->setIcon(icon(QStringLiteral("copy-to")));
  copy_->setToolTip(tr("Copy to another take"));
  copy_->setAccessibleName(tr("Copy to another take"));
  copy_->setMenu(copyMenu_);
  copy_->setPopupMode(QToolButton::InstantPopup);
  connect(copyMenu_, &QMenu::aboutToShow, this, &RepairsPanel::fillCopyMenu);
  for (QToolButton* tool : tools_) tools->addWidget(tool);
  tools->insertWidget(tools->count() - 1, copy_);
  column->addLayout(tools);

  auto* halves = new QSplitter(Qt::Vertical, this);
  halves->setChildrenCollapsible(false);
  halves->setHandleWidth(5);
  auto* upper = new QWidget(halves);
  auto* upperColumn = new QVBoxLayout(upper);
  upperColumn->setContentsMargins(0, 0, 0, 0);
  model_ = new RepairsModel(document, this);
  list_ = new QListView(upper);
  list_->setObjectName(QStringLiteral("repairs"));
  list_->setAccessibleName(tr("Repairs, in the order they apply"));
  list_->setModel(model_);
  auto* delegate = new RepairDelegate(list_);
  list_->setItemDelegate(delegate);
  list_->setMouseTracking(true);
  list_->setVerticalScrollMode(QAbstractItemView::ScrollPerPixel);
  list_->setMinimumHeight(72);
  connect(delegate, &RepairDelegate::muteAsked, this, [this](int row) { muteItem(document_, model_->idAt(row)); });
  connect(delegate, &RepairDelegate::soloAsked, this, [this](int row) { soloItem(document_, model_->idAt(row)); });
  empty_ = new QLabel(tr("No repairs yet.\n\nSelect a bone of the character and drag it, or one of its rings, to nudge the pose at this frame. "
                         "Add puts in a plant, a touch, a grip and all other kinds."), upper);
  empty_->setWordWrap(true);
  empty_->setProperty("quiet", true);
  empty_->setAlignment(Qt::AlignTop | Qt::AlignLeft);
  upperColumn->addWidget(empty_);
  upperColumn->addWidget(list_, 1);
  scroll_ = new QScrollArea(halves);
  scroll_->setWidgetResizable(true);
  scroll_->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  auto* forms = new QWidget(scroll_);
  auto* formColumn = new QVBoxLayout(forms);
  formColumn->setContentsMargins(0, 4, 0, 4);
  nudgeForm_ = new NudgeForm(document, session, forms);
  form_ = new RepairForm(document, session, forms);
  formColumn->addWidget(nudgeForm_);
  formColumn->addWidget(form_);
  formColumn->addStretch(1);
  scroll_->setWidget(forms);
  halves->addWidget(upper);
  halves->addWidget(scroll_);
  halves->setStretchFactor(0, 1);
  halves->setSizes({220, 210});
  halves_ = halves;
  connect(halves, &QSplitter::splitterMoved, this, [this] { shared_ = false; });
  column->addWidget(halves, 1);

  connect(list_->selectionModel(), &QItemSelectionModel::currentChanged, this, [this](const QModelIndex& now) {
    if (!filling_ && now.isValid()) choose(now.row());
  });
  connect(list_, &QListView::clicked, this, [this](const QModelIndex& index) { choose(index.row()); });
  for (auto signal : {&Session::repairChanged, &Session::selectionChanged}) connect(&session, signal, this, &RepairsPanel::refresh);
  for (auto signal : {&Document::takeChanged, &Document::evaluatedChanged}) connect(&document, signal, this, &RepairsPanel::refresh);
  refresh();
}

QToolButton* RepairsPanel::button(const char* iconName, const QString& tip, void (RepairsPanel::*run)()) {
  auto* b = new QToolButton(this);
  b->setObjectName(QString::fromLatin1(iconName));
  b->setIcon(icon(QString::fromLatin1(iconName)));
  b->setIconSize({18, 18});
  b->setProperty("flat", true);
  b->setToolTip(tip);
  b->setAccessibleName(tip.section(QStringLiteral("  ("), 0, 0));
  connect(b, &QToolButton::clicked, this, run);
  return b;
}

// Selects a repair: the frame and the bone follow, where the frame does not lie inside it already.
void RepairsPanel::choose(int row) {
  const std::uint64_t id = model_->idAt(row);
  if (id == 0) return;
  session_.setRepair(id);
  const auto evaluated = document_.evaluated();
  if (!evaluated) return;
  const Repair* repair = findRepair(document_.take(), id);
  const bool inside = repair && repairFrames(*repair, evaluated->rate, evaluated->clipFrames).span.holds(session_.frame() + evaluated->trimFirst);
  if (!inside) session_.setFrame(frameOfItem(document_, id));
  if (const auto bone = boneOfItem(document_, id)) session_.select(bone);
}

void RepairsPanel::refresh() {
  if (filling_) return;
  const QScopedValueRollback guard(filling_, true);
  const bool any = model_->rowCount() > 0;
  list_->setVisible(any);
  empty_->setVisible(!any);
  const auto evaluated = document_.evaluated();
  add_->setEnabled(evaluated && evaluated->complete());
  const std::uint64_t id = session_.repair();
  const Nudge* nudge = findNudge(document_.take(), id);
  const Repair* repair = findRepair(document_.take(), id);
  for (QToolButton* tool : tools_) tool->setEnabled(nudge || repair);
  copy_->setEnabled((nudge || repair) && document_.reel().takes.size() > 1);
  scroll_->setVisible((nudge || repair) && evaluated);
  nudgeForm_->setVisible(nudge);
  form_->setVisible(repair);
  if (!nudge && !repair) {
    list_->selectionModel()->clear();
    return;
  }
  const QModelIndex row = model_->index(model_->rowOf(id));
  if (list_->currentIndex() != row) list_->setCurrentIndex(row);
  if (nudge) nudgeForm_->show(*nudge);
  if (repair) form_->show(*repair);
  share();
}

// The form gets the room it asks for, as far as the list can spare it; a short list needs little.
void RepairsPanel::share() {
  if (!shared_ || scroll_->isHidden()) return;
  const int room = halves_->height() - halves_->handleWidth();
  int listed = 8;
  for (int row = 0; row < model_->rowCount(); ++row) listed += list_->sizeHintForIndex(model_->index(row)).height() + list_->spacing() * 2;
  const int asked = scroll_->widget()->sizeHint().height() + 4;
  const int list = std::clamp(room - asked, std::min(listed, std::max(list_->minimumHeight(), room * 2 / 5)), std::max(listed, list_->minimumHeight()));
  halves_->setSizes({list, room - list});
}

void RepairsPanel::resizeEvent(QResizeEvent* event) {
  QWidget::resizeEvent(event);
  share();
}

void RepairsPanel::add(std::size_t kind) {
  auto repair = defaultRepair(document_, session_, kind);
  if (!repair) return;
  session_.setRepair(addItem(document_, std::move(*repair)));
}

void RepairsPanel::removeSelected() {
  const int row = model_->rowOf(session_.repair());
  removeItem(document_, session_.repair());
  // The neighbour is next, so that several can be removed by one key.
  session_.setRepair(model_->idAt(std::min(row, model_->rowCount() - 1)));
}

void RepairsPanel::muteSelected() { muteItem(document_, session_.repair()); }
void RepairsPanel::soloSelected() { soloItem(document_, session_.repair()); }

void RepairsPanel::duplicateSelected() {
  if (const auto id = duplicateItem(document_, session_.repair())) session_.setRepair(id);
}

void RepairsPanel::mirrorSelected() {
  if (const auto id = mirrorItem(document_, session_.repair())) session_.setRepair(id);
}

void RepairsPanel::splitSelected() {
  if (const auto id = splitItem(document_, session_.repair(), session_.frame())) session_.setRepair(id);
}

void RepairsPanel::openAddMenu() {
  if (add_->isEnabled()) menu_->popup(add_->mapToGlobal(QPoint(0, add_->height())));
}

void RepairsPanel::fillCopyMenu() {
  copyMenu_->clear();
  const Reel& reel = document_.reel();
  for (int i = 0; i < static_cast<int>(reel.takes.size()); ++i) {
    if (i == reel.current) continue;
    const std::string& name = reel.takes[static_cast<std::size_t>(i)]->name;
    copyMenu_->addAction(name.empty() ? tr("take %1").arg(i + 1) : QString::fromStdString(name), this, [this, i] { copyItemToTake(document_, session_.repair(), i); });
  }
}

}  // namespace understudy::editor
