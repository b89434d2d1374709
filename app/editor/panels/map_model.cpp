#include "app/editor/panels/map_model.h"

#include <QAbstractItemView>
#include <QComboBox>
#include <QCompleter>
#include <QPainter>

#include "app/editor/document/describe.h"
#include "app/editor/look/appearance.h"

namespace understudy::editor {
namespace {

const SkeletonMap& sideOfMap(const Document& document, Cast cast) {
  return cast == Cast::performer ? document.map().performer : document.map().character;
}

}  // namespace

MapModel::MapModel(Document& document, QObject* parent) : QAbstractTableModel(parent), document_(document) {
  connect(&document, &Document::evaluatedChanged, this, &MapModel::refresh);
  refresh();
}

void MapModel::refresh() {
  std::vector<Role> rows;
  for (int r = 0; r < roleCount; ++r) {
    const Role role = roleAt(r);
    const bool extra = isFinger(role) || role == Role::leftEye || role == Role::rightEye || role == Role::jaw;
    if (!extra || all_) rows.push_back(role);
  }
  if (rows != rows_) {
    beginResetModel();
    rows_ = rows;
    endResetModel();
  } else if (!rows_.empty()) {
    Q_EMIT dataChanged(index(0, 0), index(rowCount() - 1, columnCount() - 1));
  }
}

void MapModel::setAll(bool all) {
  all_ = all;
  refresh();
}

int MapModel::rowOf(Role role) const {
  for (std::size_t i = 0; i < rows_.size(); ++i)
    if (rows_[i] == role) return static_cast<int>(i);
  return -1;
}

int MapModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : static_cast<int>(rows_.size()); }
int MapModel::columnCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : 3; }

QVariant MapModel::data(const QModelIndex& index, int role) const {
  if (!index.isValid()) return {};
  const Role slot = roleOfRow(index.row());
  if (index.column() == roleColumn) {
    if (role == Qt::DisplayRole) return roleText(slot);
    if (role == stateRole) return static_cast<int>(stateOf(document_.map(), slot));
    if (role == Qt::AccessibleTextRole) {
      const char* const words[] = {QT_TR_NOOP("sure"), QT_TR_NOOP("doubtful"), QT_TR_NOOP("missing"), QT_TR_NOOP("not used")};
      return roleText(slot) + QStringLiteral(", ") + tr(words[static_cast<int>(stateOf(document_.map(), slot))]);
    }
    if (role == Qt::ToolTipRole)
      return isRequired(slot) ? tr("%1: required").arg(QString::fromUtf8(roleName(slot).data(), static_cast<qsizetype>(roleName(slot).size())))
                              : tr("%1: optional").arg(QString::fromUtf8(roleName(slot).data(), static_cast<qsizetype>(roleName(slot).size())));
    return {};
  }
  const Cast cast = castOf(index.column());
  const auto figure = document_.figure(cast);
  const RoleJoints& joints = sideOfMap(document_, cast).at(slot);
  if (role == Qt::DisplayRole) {
    QStringList names;
    if (figure)
      for (int j : joints.joints) names << jointText(*figure, j);
    return names.join(QStringLiteral(" + "));
  }
  if (role == Qt::EditRole) return joints.first();
  if (role == stateRole) return static_cast<int>(stateOf(sideOfMap(document_, cast), slot));
  if (role == Qt::ToolTipRole) {
    if (!figure) return {};
    if (joints.empty()) return isRequired(slot) ? tr("Missing: choose a joint here, or pick one in the stage") : tr("Empty; optional");
    return QStringLiteral("%1\n%2").arg(data(index, Qt::DisplayRole).toString(), QString::fromStdString(joints.reason));
  }
  return {};
}

QVariant MapModel::headerData(int section, Qt::Orientation orientation, int role) const {
  if (orientation != Qt::Horizontal) return {};
  if (role == Qt::TextAlignmentRole) return static_cast<int>(Qt::AlignLeft | Qt::AlignVCenter);
  if (role != Qt::DisplayRole) return {};
  const QString titles[] = {tr("Role"), tr("Performer"), tr("Character")};
  return titles[section];
}

Qt::ItemFlags MapModel::flags(const QModelIndex& index) const {
  Qt::ItemFlags flags = Qt::ItemIsEnabled | Qt::ItemIsSelectable;
  if (index.column() != roleColumn && document_.figure(Cast::performer) && document_.figure(Cast::character)) flags |= Qt::ItemIsEditable;
  return flags;
}

bool MapModel::setData(const QModelIndex& index, const QVariant& value, int role) {
  if (role != Qt::EditRole || index.column() == roleColumn) return false;
  const int joint = value.toInt();
  const RoleJoints& now = sideOfMap(document_, castOf(index.column())).at(roleOfRow(index.row()));
  if (joint == now.first()) return false;
  assignRole(document_, castOf(index.column()), roleOfRow(index.row()), joint < 0 ? std::vector<int>{} : std::vector<int>{joint});
  return true;
}

void MapDelegate::paint(QPainter* painter, const QStyleOptionViewItem& option, const QModelIndex& index) const {
  const Colours& c = colours();
  painter->save();
  painter->setRenderHint(QPainter::Antialiasing);
  const auto* model = qobject_cast<const MapModel*>(index.model());
  // Nothing is missing while there is nobody to map.
  const bool empty = model && !(model->document().evaluated() && model->document().evaluated()->map);
  const bool selected = option.state & QStyle::State_Selected;
  painter->fillRect(option.rect, selected ? c.picked : c.panel);
  const auto state = empty ? RowState::unused : static_cast<RowState>(index.data(MapModel::stateRole).toInt());
  QRectF area = QRectF(option.rect).adjusted(6, 0, -4, 0);
  if (index.column() == MapModel::roleColumn) {
    const QPointF at(area.left() + 8, area.center().y());
    painter->setPen(Qt::NoPen);
    if (state == RowState::sure) {
      painter->setBrush(c.performer);
      painter->drawEllipse(at, 4, 4);
    } else if (state == RowState::doubtful) {
      // Notched: a disc with a bite, and its question mark.
      painter->setBrush(c.warning);
      painter->drawPie(QRectF(at.x() - 7.5, at.y() - 7.5, 15, 15), 40 * 16, 280 * 16);
      painter->setPen(selected ? c.picked : c.panel);
      QFont font = Appearance::small();
      font.setBold(true);
      painter->setFont(font);
      painter->drawText(QRectF(at.x() - 9.5, at.y() - 8, 16, 16), Qt::AlignCenter, QStringLiteral("?"));
    } else if (state == RowState::missing) {
      painter->setBrush(Qt::NoBrush);
      painter->setPen(QPen(c.flaw, 2));
      painter->drawArc(QRectF(at.x() - 5, at.y() - 5, 10, 10), 35 * 16, 110 * 16);
      painter->drawArc(QRectF(at.x() - 5, at.y() - 5, 10, 10), 215 * 16, 110 * 16);
    } else {
      painter->setPen(QPen(c.disabledText, 1.4));
      painter->drawLine(at - QPointF(3, 0), at + QPointF(3, 0));
    }
    area.setLeft(area.left() + 22);
  } else if (state == RowState::doubtful) {
    painter->setPen(QPen(c.warning, 1.4, Qt::DotLine));
    painter->drawLine(QPointF(area.left(), area.bottom() - 3), QPointF(area.right() - 4, area.bottom() - 3));
  }
  QString text = index.data().toString();
  QColor tone = index.column() == MapModel::performerColumn ? c.performer : index.column() == MapModel::characterColumn ? c.character : c.text;
  if (text.isEmpty()) {
    text = state == RowState::missing ? tr("missing") : QStringLiteral("–");
    tone = state == RowState::missing ? c.text : c.dimText;
  } else if (state == RowState::unused && index.column() == MapModel::roleColumn) {
    tone = c.dimText;
  }
  painter->setFont(Appearance::small());
  painter->setPen(tone);
  painter->drawText(area, Qt::AlignVCenter | Qt::AlignLeft, QFontMetrics(painter->font()).elidedText(text, Qt::ElideRight, static_cast<int>(area.width())));
  if (option.state & QStyle::State_HasFocus) {
    painter->setPen(QPen(c.selection, 1));
    painter->setBrush(Qt::NoBrush);
    painter->drawRoundedRect(QRectF(option.rect).adjusted(1.5, 1.5, -1.5, -1.5), 3, 3);
  }
  painter->restore();
}

QSize MapDelegate::sizeHint(const QStyleOptionViewItem&, const QModelIndex& index) const {
  if (index.column() != MapModel::roleColumn) return {60, 25};
  return {QFontMetrics(Appearance::small()).horizontalAdvance(index.data().toString()) + 38, 25};
}

QWidget* MapDelegate::createEditor(QWidget* parent, const QStyleOptionViewItem&, const QModelIndex& index) const {
  const auto* model = qobject_cast<const MapModel*>(index.model());
  const auto figure = model ? model->document().figure(MapModel::castOf(index.column())) : nullptr;
  if (!figure) return nullptr;
  auto* box = new QComboBox(parent);
  box->setEditable(true);
  box->setInsertPolicy(QComboBox::NoInsert);
  box->addItem(tr("– none –"), -1);
  for (int j = 0; j < figure->skeleton.size(); ++j) box->addItem(jointText(*figure, j), j);
  box->completer()->setFilterMode(Qt::MatchContains);
  box->completer()->setCompletionMode(QCompleter::PopupCompletion);
  box->view()->setMinimumWidth(220);
  connect(box, &QComboBox::activated, this, [this, box] {
    auto* self = const_cast<MapDelegate*>(this);
    Q_EMIT self->commitData(box);
    Q_EMIT self->closeEditor(box);
  });
  return box;
}

void MapDelegate::setEditorData(QWidget* editor, const QModelIndex& index) const {
  auto* box = qobject_cast<QComboBox*>(editor);
  box->setCurrentIndex(std::max(0, box->findData(index.data(Qt::EditRole))));
}

void MapDelegate::setModelData(QWidget* editor, QAbstractItemModel* model, const QModelIndex& index) const {
  auto* box = qobject_cast<QComboBox*>(editor);
  // Typed text counts where it names a joint; else the cell stays as it was.
  const int at = box->findText(box->currentText(), Qt::MatchFixedString);
  if (at >= 0) model->setData(index, box->itemData(at), Qt::EditRole);
}

}  // namespace understudy::editor
