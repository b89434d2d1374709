#include "app/editor/panels/set_panel.h"

#include <QComboBox>
#include <QDoubleSpinBox>
#include <QGridLayout>
#include <QLabel>
#include <QLineEdit>
#include <QListWidget>
#include <QMenu>
#include <QScopedValueRollback>
#include <QSpinBox>
#include <QToolButton>
#include <QVBoxLayout>
#include <cmath>

#include "app/editor/document/repairing.h"
#include "app/editor/document/set_and_locks.h"
#include "app/editor/document/spans.h"
#include "app/editor/look/icons.h"
#include "core/math/angle.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

QDoubleSpinBox* millimetres(const QString& name, QWidget* parent) {
  auto* box = new QDoubleSpinBox(parent);
  box->setAccessibleName(name);
  box->setToolTip(name);
  box->setRange(-1e6, 1e6);
  box->setDecimals(0);
  box->setSingleStep(10);
  box->setMinimumWidth(54);
  box->setKeyboardTracking(false);
  return box;
}

}  // namespace

SetPanel::SetPanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  setObjectName(QStringLiteral("setPanel"));
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 4, 4, 0);
  column->setSpacing(6);
  const auto tool = [this](const char* iconName, const QString& tip) {
    auto* button = new QToolButton(this);
    button->setIcon(icon(QString::fromLatin1(iconName)));
    button->setIconSize({18, 18});
    button->setProperty("flat", true);
    button->setToolTip(tip);
    button->setAccessibleName(tip);
    return button;
  };
  auto* top = new QHBoxLayout;
  auto* add = new QToolButton(this);
  add->setObjectName(QStringLiteral("addToSet"));
  add->setText(tr("Add"));
  add->setIcon(icon(QStringLiteral("add")));
  add->setToolButtonStyle(Qt::ToolButtonTextBesideIcon);
  add->setToolTip(tr("Add a thing to stand on or to touch"));
  add->setPopupMode(QToolButton::InstantPopup);
  auto* menu = new QMenu(add);
  for (const SetKind kind : {SetKind::plane, SetKind::box, SetKind::ball, SetKind::steps})
    menu->addAction(setKindText(kind), this, [this, kind] { select(addToSet(document_, session_, kind)); });
  add->setMenu(menu);
  remove_ = tool("remove", tr("Remove from the set"));
  connect(remove_, &QToolButton::clicked, this, [this] {
    if (const SetItem* item = chosen()) removeFromSet(document_, item->id);
  });
  top->addWidget(add);
  top->addStretch(1);
  top->addWidget(remove_);
  column->addLayout(top);
  list_ = new QListWidget(this);
  list_->setObjectName(QStringLiteral("set"));
  list_->setAccessibleName(tr("Things of the set"));
  list_->setMaximumHeight(104);
  empty_ = new QLabel(tr("Nothing yet. A plane, a box, a ball or steps give feet something to stand on and touches something to meet. The set is never exported."), this);
  empty_->setWordWrap(true);
  empty_->setProperty("quiet", true);
  column->addWidget(empty_);
  column->addWidget(list_);
  form_ = new QWidget(this);
  auto* grid = new QGridLayout(form_);
  grid->setContentsMargins(0, 0, 0, 0);
  grid->setHorizontalSpacing(5);
  const auto label = [&](const QString& text, int row) {
    auto* quiet = new QLabel(text, form_);
    quiet->setProperty("quiet", true);
    grid->addWidget(quiet, row, 0);
    return quiet;
  };
  name_ = new QLineEdit(form_);
  name_->setAccessibleName(tr("Name"));
  label(tr("name"), 0);
  grid->addWidget(name_, 0, 1, 1, 3);
  kind_ = new QComboBox(form_);
  kind_->setAccessibleName(tr("Kind"));
  for (const SetKind kind : {SetKind::plane, SetKind::box, SetKind::ball, SetKind::steps, SetKind::mesh}) kind_->addItem(setKindText(kind));
  label(tr("kind"), 1);
  grid->addWidget(kind_, 1, 1, 1, 3);
  label(tr("place"), 2);
  auto* sizeLabel = label(tr("size"), 3);
  for (int i = 0; i < 3; ++i) {
    place_[static_cast<std::size_t>(i)] = millimetres(tr("Place along %1, millimetres").arg(QLatin1Char("XYZ"[i])), form_);
    size_[static_cast<std::size_t>(i)] = millimetres(tr("Size along %1, millimetres").arg(QLatin1Char("XYZ"[i])), form_);
    size_[static_cast<std::size_t>(i)]->setMinimum(1);
    grid->addWidget(place_[static_cast<std::size_t>(i)], 2, 1 + i);
    grid->addWidget(size_[static_cast<std::size_t>(i)], 3, 1 + i);
  }
  sizeLabel->setToolTip(tr("Edges of a box; radius of a ball; width, rise and run of steps"));
  turn_ = new QDoubleSpinBox(form_);
  turn_->setAccessibleName(tr("Turn about up, degrees"));
  turn_->setRange(-180, 180);
  turn_->setDecimals(1);
  turn_->setSuffix(QStringLiteral("°"));
  turn_->setKeyboardTracking(false);
  label(tr("turn"), 4);
  grid->addWidget(turn_, 4, 1);
  count_ = new QSpinBox(form_);
  count_->setAccessibleName(tr("Number of steps"));
  count_->setRange(1, 10000);
  count_->setKeyboardTracking(false);
  auto* steps = new QLabel(tr("steps"), form_);
  steps->setProperty("quiet", true);
  grid->addWidget(steps, 4, 2);
  grid->addWidget(count_, 4, 3);
  ofSteps_ = {steps, count_};
  column->addWidget(form_);
  auto* locksTop = new QHBoxLayout;
  auto* heading = new QLabel(tr("LOCKS"), this);
  heading->setObjectName(QStringLiteral("heading"));
  auto* lock = tool("add", tr("Lock the selected bones over the play range  (Ctrl+J)"));
  connect(lock, &QToolButton::clicked, this, [this] { lockSelection(document_, session_); });
  unlock_ = tool("remove", tr("Take the lock away"));
  connect(unlock_, &QToolButton::clicked, this, [this] {
    std::vector<Lock> locks = *document_.take().locks;
    if (const int row = locks_->currentRow(); row >= 0 && row < static_cast<int>(locks.size())) {
      locks.erase(locks.begin() + row);
      document_.edit(tr("Unlock"), setLocks(document_.take(), std::move(locks)));
    }
  });
  locksTop->addWidget(heading, 1);
  locksTop->addWidget(lock);
  locksTop->addWidget(unlock_);
  column->addLayout(locksTop);
  locks_ = new QListWidget(this);
  locks_->setObjectName(QStringLiteral("locks"));
  locks_->setAccessibleName(tr("Locks"));
  locks_->setMaximumHeight(104);
  emptyLocks_ = new QLabel(tr("No locks. Locked bones and frames are left alone by all that works by itself."), this);
  emptyLocks_->setWordWrap(true);
  emptyLocks_->setProperty("quiet", true);
  column->addWidget(emptyLocks_);
  column->addWidget(locks_);
  column->addStretch(1);

  connect(list_, &QListWidget::currentRowChanged, this, [this] { refresh(); });
  connect(locks_, &QListWidget::currentRowChanged, this, [this](int row) { unlock_->setEnabled(row >= 0); });
  connect(name_, &QLineEdit::editingFinished, this, &SetPanel::write);
  connect(kind_, &QComboBox::activated, this, &SetPanel::write);
  connect(count_, &QSpinBox::valueChanged, this, &SetPanel::write);
  for (QDoubleSpinBox* box : {place_[0], place_[1], place_[2], size_[0], size_[1], size_[2], turn_}) connect(box, &QDoubleSpinBox::valueChanged, this, &SetPanel::write);
  connect(&document, &Document::takeChanged, this, &SetPanel::refresh);
  connect(&document, &Document::evaluatedChanged, this, &SetPanel::refreshLocks);
  refresh();
}

const SetItem* SetPanel::chosen() const {
  const auto& set = *document_.take().set;
  const int row = list_->currentRow();
  return row >= 0 && row < static_cast<int>(set.size()) ? &set[static_cast<std::size_t>(row)] : nullptr;
}

void SetPanel::select(std::uint64_t id) {
  const auto& set = *document_.take().set;
  for (std::size_t i = 0; i < set.size(); ++i)
    if (set[i].id == id) list_->setCurrentRow(static_cast<int>(i));
}

void SetPanel::refresh() {
  if (filling_) return;
  const QScopedValueRollback guard(filling_, true);
  const auto& set = *document_.take().set;
  const int row = std::min(list_->currentRow(), static_cast<int>(set.size()) - 1);
  while (list_->count() > static_cast<int>(set.size())) delete list_->takeItem(list_->count() - 1);
  for (std::size_t i = 0; i < set.size(); ++i) {
    const QString text = QString::fromStdString(set[i].name) + QStringLiteral(" · ") + setKindText(set[i].kind);
    if (static_cast<int>(i) < list_->count()) list_->item(static_cast<int>(i))->setText(text);
    else list_->addItem(text);
    list_->item(static_cast<int>(i))->setSizeHint({0, 26});
    list_->item(static_cast<int>(i))->setToolTip(text);
  }
  list_->setCurrentRow(row < 0 && !set.empty() ? 0 : row);
  list_->setVisible(!set.empty());
  empty_->setVisible(set.empty());
  const SetItem* item = chosen();
  form_->setVisible(item);
  remove_->setEnabled(item);
  if (item) {
    if (!name_->hasFocus()) name_->setText(QString::fromStdString(item->name));
    kind_->setCurrentIndex(static_cast<int>(item->kind));
    for (int i = 0; i < 3; ++i) {
      place_[static_cast<std::size_t>(i)]->setValue(item->place.position[i] * 1000);
      size_[static_cast<std::size_t>(i)]->setValue(item->size[i] * 1000);
      const bool used = item->kind == SetKind::box || item->kind == SetKind::steps || (item->kind == SetKind::ball && i == 0);
      size_[static_cast<std::size_t>(i)]->setEnabled(used);
    }
    const Quatd q = item->place.rotation;
    const double degrees = 2 * std::atan2(q.y, q.w) * degreesPerRadian;
    turn_->setValue(degrees > 180 ? degrees - 360 : degrees);
    count_->setValue(item->count);
    for (QWidget* widget : ofSteps_) widget->setVisible(item->kind == SetKind::steps);
  }
  refreshLocks();
}

void SetPanel::refreshLocks() {
  const auto evaluated = document_.evaluated();
  const auto& locks = *document_.take().locks;
  const int row = std::min(locks_->currentRow(), static_cast<int>(locks.size()) - 1);
  locks_->clear();
  for (const Lock& lock : locks) {
    QStringList bones;
    for (const std::string& bone : lock.bones) bones << boneText(bone);
    QString text = bones.isEmpty() ? tr("all bones") : bones.join(QStringLiteral(", "));
    if (evaluated && lock.span) {
      const int by = evaluated->firstFrame - evaluated->trimFirst;
      text += QStringLiteral(" · %1–%2").arg(frameAt(lock.span->first, evaluated->rate) + by).arg(frameAt(lock.span->last, evaluated->rate) + by);
    } else {
      text += tr(" · whole clip");
    }
    auto* item = new QListWidgetItem(text, locks_);
    item->setSizeHint({0, 26});
    item->setToolTip(text);
  }
  locks_->setCurrentRow(row);
  locks_->setVisible(!locks.empty());
  emptyLocks_->setVisible(locks.empty());
  unlock_->setEnabled(locks_->currentRow() >= 0);
}

void SetPanel::write() {
  const SetItem* item = chosen();
  if (filling_ || !item) return;
  SetItem next = *item;
  next.name = name_->text().trimmed().isEmpty() ? item->name : name_->text().trimmed().toStdString();
  if (next.kind != SetKind::mesh && kind_->currentIndex() != static_cast<int>(SetKind::mesh)) next.kind = static_cast<SetKind>(kind_->currentIndex());
  for (int i = 0; i < 3; ++i) {
    // Only what was changed: the rest keeps more than the field shows.
    if (const double v = place_[static_cast<std::size_t>(i)]->value(); std::abs(v - item->place.position[i] * 1000) > 0.5) next.place.position[i] = v / 1000;
    if (const double v = size_[static_cast<std::size_t>(i)]->value(); std::abs(v - item->size[i] * 1000) > 0.5) next.size[i] = v / 1000;
  }
  next.place.rotation = fromAxisAngle(Vec3d{0, 1, 0}, turn_->value() / degreesPerRadian);
  if (std::abs(angleBetween(next.place.rotation, item->place.rotation)) < 1e-3) next.place.rotation = item->place.rotation;
  next.count = count_->value();
  if (!(next == *item)) changeInSet(document_, next);
}

}  // namespace understudy::editor
