#include "app/editor/panels/match_panel.h"

#include <QCheckBox>
#include <QComboBox>
#include <QDoubleSpinBox>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QHeaderView>
#include <QLabel>
#include <QPushButton>
#include <QScopedValueRollback>
#include <QSpinBox>
#include <QTableView>
#include <QVBoxLayout>
#include <cmath>

#include "app/editor/document/aligning.h"
#include "app/editor/document/describe.h"
#include "app/editor/document/mapping.h"
#include "core/math/angle.h"
#include "core/take/edits.h"

namespace understudy::editor {
MatchModel::MatchModel(Document& document, QObject* parent) : QAbstractTableModel(parent), document_(document) {
  connect(&document, &Document::evaluatedChanged, this, &MatchModel::refresh);
  refresh();
}

void MatchModel::refresh() {
  std::vector<Role> rows;
  const auto evaluated = document_.evaluated();
  for (int r = 0; r < roleCount; ++r)
    if (evaluated && evaluated->report && document_.map().performer.joint(roleAt(r)) >= 0 && document_.map().character.joint(roleAt(r)) >= 0)
      rows.push_back(roleAt(r));
  if (rows != rows_) {
    beginResetModel();
    rows_ = std::move(rows);
    endResetModel();
  } else if (!rows_.empty()) {
    Q_EMIT dataChanged(index(0, 0), index(rowCount() - 1, 2));
  }
}

int MatchModel::rowOf(Role role) const {
  for (std::size_t i = 0; i < rows_.size(); ++i)
    if (rows_[i] == role) return static_cast<int>(i);
  return -1;
}
int MatchModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : static_cast<int>(rows_.size()); }
int MatchModel::columnCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : 3; }

QVariant MatchModel::data(const QModelIndex& index, int role) const {
  const auto evaluated = document_.evaluated();
  if (!index.isValid() || !evaluated || !evaluated->report) return {};
  const Role slot = roleOfRow(index.row());
  const RoleAlignment& alignment = evaluated->report->alignment[static_cast<std::size_t>(indexOf(slot))];
  if (role == Qt::ToolTipRole) return QString::fromStdString(alignment.reason);
  if (role != Qt::DisplayRole) return {};
  const bool byHand = document_.take().retarget->alignmentChoices.contains(slot);
  switch (index.column()) {
    case 0: return roleText(slot);
    case 1: return (alignment.aligned ? tr("matched") : tr("own posture")) + (byHand ? QStringLiteral(" ●") : QString());
    default: {
      const double turned = length(alignmentOffset(document_.take(), slot)) * degreesPerRadian;
      return turned > 0 ? QStringLiteral("%1°").arg(turned, 0, 'f', 1) : QStringLiteral("–");
    }
  }
}

QVariant MatchModel::headerData(int section, Qt::Orientation orientation, int role) const {
  if (orientation != Qt::Horizontal) return {};
  if (role == Qt::TextAlignmentRole) return static_cast<int>(Qt::AlignLeft | Qt::AlignVCenter);
  if (role != Qt::DisplayRole) return {};
  const QString titles[] = {tr("Role"), tr("Rest"), tr("Turn")};
  return titles[section];
}

MatchPanel::MatchPanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 4, 4, 0);
  column->setSpacing(6);
  model_ = new MatchModel(document, this);
  table_ = new QTableView(this);
  table_->setAccessibleName(tr("Match by role"));
  table_->setModel(model_);
  table_->setSelectionBehavior(QAbstractItemView::SelectRows);
  table_->setSelectionMode(QAbstractItemView::SingleSelection);
  table_->setMinimumHeight(170);
  table_->setShowGrid(false);
  table_->setTabKeyNavigation(false);
  table_->verticalHeader()->hide();
  table_->verticalHeader()->setDefaultSectionSize(24);
  table_->horizontalHeader()->setHighlightSections(false);
  table_->horizontalHeader()->setSectionResizeMode(QHeaderView::Stretch);
  table_->horizontalHeader()->setSectionResizeMode(0, QHeaderView::ResizeToContents);
  table_->horizontalHeader()->setSectionResizeMode(1, QHeaderView::ResizeToContents);
  column->addWidget(table_, 1);

  heading_ = new QLabel(this);
  column->addWidget(heading_);
  auto* grid = new QGridLayout;
  grid->setHorizontalSpacing(6);
  grid->setVerticalSpacing(5);
  const auto quiet = [this](const QString& text) {
    auto* label = new QLabel(text, this);
    label->setProperty("quiet", true);
    return label;
  };
  choice_ = new QComboBox(this);
  choice_->setAccessibleName(tr("Rest"));
  choice_->setMinimumWidth(80);
  choice_->addItem(tr("automatic"));
  choice_->addItem(tr("matched to the performer's rest"));
  choice_->addItem(tr("keeps its own posture"));
  grid->addWidget(quiet(tr("Rest")), 0, 0);
  grid->addWidget(choice_, 0, 1, 1, 3);
  grid->addWidget(quiet(tr("Turn")), 1, 0);
  const QString axes[] = {tr("X"), tr("Y"), tr("Z")};
  for (int i = 0; i < 3; ++i) {
    auto* spin = new QDoubleSpinBox(this);
    spin->setRange(-180, 180);
    spin->setDecimals(1);
    spin->setSuffix(QStringLiteral("°"));
    spin->setPrefix(axes[i] + QLatin1Char(' '));
    spin->setMinimumWidth(58);
    spin->setKeyboardTracking(false);
    spin->setAccessibleName(tr("Turn about %1").arg(axes[i]));
    turn_[static_cast<std::size_t>(i)] = spin;
    grid->addWidget(spin, 1, 1 + i);
    connect(spin, &QDoubleSpinBox::valueChanged, this, &MatchPanel::writeTurn);
  }
  for (int i = 0; i < 2; ++i) {
    auto& row = references_[static_cast<std::size_t>(i)];
    row.text = quiet({});
    row.text->setWordWrap(true);
    row.frame = new QSpinBox(this);
    row.frame->setKeyboardTracking(false);
    row.frame->setSpecialValueText(tr("auto"));
    row.frame->setPrefix(tr("frame "));
    row.frame->setAccessibleName(i == 0 ? tr("Performer's reference frame") : tr("Character's reference frame"));
    row.frame->setToolTip(tr("Take this frame of the clip as the reference pose"));
    row.facing = new QDoubleSpinBox(this);
    row.facing->setMinimumWidth(70);
    row.frame->setMinimumWidth(std::max(60, row.frame->fontMetrics().horizontalAdvance(row.frame->specialValueText()) + 30));
    row.facing->setMinimumWidth(std::max(70, row.facing->fontMetrics().horizontalAdvance(tr("faces auto")) + 20));
    row.facing->setRange(-181, 180);
    row.facing->setDecimals(0);
    row.facing->setSpecialValueText(tr("faces auto"));
    row.facing->setPrefix(tr("faces "));
    row.facing->setSuffix(QStringLiteral("°"));
    row.facing->setKeyboardTracking(false);
    row.facing->setAccessibleName(i == 0 ? tr("Performer's facing") : tr("Character's facing"));
    row.facing->setToolTip(tr("Turn about up that faces the figure to the front"));
    grid->addWidget(row.text, 2 + 2 * i, 0, 1, 4);
    if (i == 0) grid->addWidget(row.frame, 3 + 2 * i, 1);
    grid->addWidget(row.facing, 3 + 2 * i, i == 0 ? 2 : 1, 1, 2);
    row.frame->setVisible(i == 0);
    const Cast cast = i == 0 ? Cast::performer : Cast::character;
    connect(row.frame, &QSpinBox::valueChanged, this, [this, cast] { writeReference(cast); });
    connect(row.facing, &QDoubleSpinBox::valueChanged, this, [this, cast] { writeReference(cast); });
  }
  stride_ = new QDoubleSpinBox(this);
  stride_->setMinimumWidth(80);
  stride_->setRange(0, 20);
  stride_->setDecimals(3);
  stride_->setSingleStep(0.05);
  stride_->setKeyboardTracking(false);
  stride_->setSpecialValueText(tr("by leg length"));
  stride_->setAccessibleName(tr("Stride"));
  stride_->setToolTip(tr("Scale of the travel across the ground"));
  grid->addWidget(quiet(tr("Stride")), 6, 0);
  grid->addWidget(stride_, 6, 1, 1, 2);
  ground_ = new QCheckBox(tr("ground"), this);
  ground_->setToolTip(tr("One vertical offset so that the soles stand on the floor"));
  grid->addWidget(ground_, 6, 3);
  column->addLayout(grid);

  connect(choice_, &QComboBox::activated, this, [this](int at) {
    if (const auto role = session_.role())
      document_.edit(tr("Match %1").arg(roleText(*role)), setAlignmentChoice(document_.take(), *role, at == 0 ? std::nullopt : std::optional(at == 1)));
  });
  connect(stride_, &QDoubleSpinBox::valueChanged, this, [this](double value) {
    if (!filling_) document_.edit(tr("Stride"), setStride(document_.take(), value > 0 ? std::optional(value) : std::nullopt));
  });
  connect(ground_, &QCheckBox::toggled, this, [this](bool on) {
    if (!filling_) document_.edit(tr("Ground"), setGround(document_.take(), on));
  });
  connect(table_->selectionModel(), &QItemSelectionModel::currentRowChanged, this, [this](const QModelIndex& now) {
    if (now.isValid() && !filling_) session_.selectRole(model_->roleOfRow(now.row()), boneOf(document_.map(), model_->roleOfRow(now.row())));
  });
  connect(&session, &Session::selectionChanged, this, &MatchPanel::refresh);
  connect(&document, &Document::evaluatedChanged, this, &MatchPanel::refresh);
  connect(&document, &Document::takeChanged, this, &MatchPanel::refresh);
  refresh();
}

void MatchPanel::refresh() {
  const QScopedValueRollback guard(filling_, true);
  const auto evaluated = document_.evaluated();
  const Take& take = document_.take();
  const auto role = session_.role();
  const bool able = role && evaluated && evaluated->report;
  heading_->setText(role ? roleText(*role) : tr("Choose a role above to set how it is matched"));
  choice_->setEnabled(able);
  for (auto* spin : turn_) spin->setEnabled(able);
  if (able) {
    const auto at = take.retarget->alignmentChoices.find(*role);
    choice_->setCurrentIndex(at == take.retarget->alignmentChoices.end() ? 0 : at->second ? 1 : 2);
    const Vec3d offset = alignmentOffset(take, *role);
    for (int i = 0; i < 3; ++i) turn_[static_cast<std::size_t>(i)]->setValue(offset[i] * degreesPerRadian);
    const int row = model_->rowOf(*role);
    if (row >= 0 && row != table_->currentIndex().row()) table_->selectRow(row);
  }
  for (int i = 0; i < 2; ++i) {
    auto& row = references_[static_cast<std::size_t>(i)];
    const ReferenceSettings& set = i == 0 ? take.retarget->performerReference : take.retarget->characterReference;
    const QString who = i == 0 ? tr("Performer's reference") : tr("Character's reference");
    if (evaluated && evaluated->report) {
      const ReferencePose& pose = i == 0 ? evaluated->report->performerReference : evaluated->report->characterReference;
      row.text->setText(who + QStringLiteral(": ") + QString::fromStdString(pose.source) + QStringLiteral(", ") + QString::fromStdString(pose.shape));
    } else {
      row.text->setText(who);
    }
    const int first = take.firstFrame;
    row.frame->setRange(first - 1, first + (evaluated ? std::max(0, evaluated->clipFrames - 1) : 0));
    row.frame->setValue(set.clipFrame ? *set.clipFrame + first : first - 1);
    row.facing->setValue(set.facingDegrees ? *set.facingDegrees : -181);
    row.frame->setEnabled(evaluated != nullptr);
    row.facing->setEnabled(evaluated != nullptr);
  }
  stride_->setValue(take.retarget->stride.value_or(0));
  ground_->setChecked(take.retarget->ground);
}

void MatchPanel::writeTurn() {
  const auto role = session_.role();
  if (filling_ || !role) return;
  const Vec3d offset{turn_[0]->value() / degreesPerRadian, turn_[1]->value() / degreesPerRadian, turn_[2]->value() / degreesPerRadian};
  document_.edit(tr("Turn %1").arg(roleText(*role)), setAlignmentOffset(document_.take(), *role, offset));
}

void MatchPanel::writeReference(Cast cast) {
  if (filling_) return;
  const auto& row = references_[cast == Cast::performer ? 0 : 1];
  ReferenceSettings set;
  const int first = document_.take().firstFrame;
  if (cast == Cast::performer && row.frame->value() >= first) set.clipFrame = row.frame->value() - first;
  if (row.facing->value() > -181) set.facingDegrees = row.facing->value();
  document_.edit(tr("Reference pose"), cast == Cast::performer ? setPerformerReference(document_.take(), set) : setCharacterReference(document_.take(), set));
}

}  // namespace understudy::editor
