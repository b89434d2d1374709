#include "app/editor/panels/repairs_model.h"

#include <QMouseEvent>
#include <QPainter>
#include <algorithm>

#include "app/editor/document/describe.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

constexpr int cardHeight = 44, headHeight = 20;

QRectF cardOf(const QRect& row) { return QRectF(row.left() + 1, row.bottom() - cardHeight + 2, row.width() - 2, cardHeight - 3); }

QString stageHead(int stage) {
  switch (stage) {
    case 0: return RepairsModel::tr("untwist");
    case 1: return RepairsModel::tr("smooth");
    case 2: return RepairsModel::tr("bridge · still");
    case 3: return RepairsModel::tr("offset");
    case 4: return RepairsModel::tr("nudge");
    case 5: return RepairsModel::tr("restore");
    case 6: return RepairsModel::tr("plant");
    case 7: return RepairsModel::tr("ground");
    case 8: return RepairsModel::tr("clearance");
    case 9: return RepairsModel::tr("touch");
    case 10: return RepairsModel::tr("grip");
    case 11: return RepairsModel::tr("hand shape");
    default: return RepairsModel::tr("late nudge");
  }
}

}  // namespace

RepairsModel::RepairsModel(Document& document, QObject* parent) : QAbstractListModel(parent), document_(document) {
  connect(&document, &Document::takeChanged, this, &RepairsModel::refresh);
  connect(&document, &Document::evaluatedChanged, this, &RepairsModel::refresh);
  refresh();
}

void RepairsModel::refresh() {
  const Take& take = document_.take();
  std::vector<RepairItem> now = itemsOf(take);
  anySolo_ = std::any_of(take.repairs->begin(), take.repairs->end(), [](const auto& r) { return r->solo; }) ||
             std::any_of(take.nudges->begin(), take.nudges->end(), [](const auto& n) { return n->solo; });
  if (now != items_) {
    beginResetModel();
    items_ = std::move(now);
    endResetModel();
  } else if (!items_.empty()) {
    Q_EMIT dataChanged(index(0), index(rowCount() - 1));
  }
}

int RepairsModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : static_cast<int>(items_.size()); }

std::uint64_t RepairsModel::idAt(int row) const { return row >= 0 && row < rowCount() ? items_[static_cast<std::size_t>(row)].id : 0; }

int RepairsModel::rowOf(std::uint64_t id) const {
  const auto at = std::find_if(items_.begin(), items_.end(), [id](const RepairItem& item) { return item.id == id; });
  return at == items_.end() ? -1 : static_cast<int>(at - items_.begin());
}

QVariant RepairsModel::data(const QModelIndex& index, int role) const {
  if (!index.isValid() || index.row() >= rowCount()) return {};
  const RepairItem& item = items_[static_cast<std::size_t>(index.row())];
  const Nudge* nudge = item.nudge ? findNudge(document_.take(), item.id) : nullptr;
  const Repair* repair = item.nudge ? nullptr : findRepair(document_.take(), item.id);
  if (!nudge && !repair) return {};
  const auto evaluated = document_.evaluated();
  const bool muted = nudge ? nudge->muted : repair->muted, solo = nudge ? nudge->solo : repair->solo;
  switch (role) {
    case Qt::DisplayRole: return nudge ? nudgeText(*nudge) : repairText(*repair);
    case Qt::AccessibleTextRole: return data(index, kindRole).toString() + QLatin1Char(' ') + data(index, Qt::DisplayRole).toString() + QLatin1Char(' ') + data(index, spanRole).toString();
    case kindRole: return nudge ? (nudge->late ? tr("late nudge") : tr("nudge")) : kindText(*repair);
    case iconRole: return nudge ? QStringLiteral("pin") : kindIcon(repair->action.index());
    case spanRole: return !evaluated ? QString() : nudge ? nudgeSpanText(*nudge, *evaluated) : spanText(*repair, *evaluated);
    case missRole: {
      const auto miss = evaluated && repair && !muted ? worstMiss(*evaluated, repair->id) : std::nullopt;
      // What rounds to nothing need not be told.
      return miss && (miss->metres >= 0.00005 || miss->radians >= 0.001) ? missText(*miss) : QString();
    }
    case weightRole: {
      const double weight = nudge ? nudge->weight : repair->weight;
      return weight == 1 ? QString() : tr("%1 %").arg(weight * 100, 0, 'f', 0);
    }
    case mutedRole: return muted;
    case soloRole: return solo;
    case offRole: return muted || (anySolo_ && !solo) || (nudge ? nudge->weight : repair->weight) == 0;
    case headRole: {
      const bool first = index.row() == 0 || items_[static_cast<std::size_t>(index.row()) - 1].stage != item.stage;
      return first ? stageHead(item.stage) : QString();
    }
    case complaintRole: {
      if (repair && evaluated && evaluated->complete() && !document_.evaluating() && !isAnchored(*repair)) return tr("It has found no place to stand: move it, or give it another span.");
      return repair && evaluated ? complaintOf(*evaluated, *repair) : QString();
    }
    case Qt::ToolTipRole: {
      // A card may be too narrow for the whole name.
      const QString name = data(index, Qt::DisplayRole).toString(), complaint = data(index, complaintRole).toString();
      return complaint.isEmpty() ? name : name + QLatin1Char('\n') + complaint;
    }
    default: return {};
  }
}

QSize RepairDelegate::sizeHint(const QStyleOptionViewItem&, const QModelIndex& index) const {
  return {200, cardHeight + (index.data(RepairsModel::headRole).toString().isEmpty() ? 0 : headHeight)};
}

QRectF RepairDelegate::soloRect(const QRect& row) {
  const QRectF card = cardOf(row);
  return {card.right() - 26, card.center().y() - 11, 22, 22};
}
QRectF RepairDelegate::muteRect(const QRect& row) { return soloRect(row).translated(-22, 0); }

void RepairDelegate::paint(QPainter* p, const QStyleOptionViewItem& option, const QModelIndex& index) const {
  const Colours& c = colours();
  p->save();
  p->setRenderHint(QPainter::Antialiasing);
  const bool selected = option.state & QStyle::State_Selected, hovered = option.state & QStyle::State_MouseOver;
  const bool off = index.data(RepairsModel::offRole).toBool(), muted = index.data(RepairsModel::mutedRole).toBool();
  const bool solo = index.data(RepairsModel::soloRole).toBool(), wrong = !index.data(RepairsModel::complaintRole).toString().isEmpty();
  const QRectF card = cardOf(option.rect);
  if (const QString head = index.data(RepairsModel::headRole).toString(); !head.isEmpty()) {
    p->setFont(Appearance::small());
    p->setPen(c.dimText);
    const QRectF line(card.left() + 2, card.top() - headHeight, card.width() - 4, headHeight - 3);
    p->drawText(line, Qt::AlignLeft | Qt::AlignVCenter, head);
    const double w = QFontMetricsF(p->font()).horizontalAdvance(head) + 10;
    p->setPen(QPen(c.line, 1));
    p->drawLine(QPointF(line.left() + w, line.center().y() + 1), QPointF(line.right(), line.center().y() + 1));
  }
  p->setPen(Qt::NoPen);
  p->setBrush(selected ? c.picked : hovered ? c.cardHover : c.card);
  p->drawRoundedRect(card, 6, 6);
  if (selected) {
    p->setPen(QPen(c.selection, 1.2));
    p->setBrush(Qt::NoBrush);
    p->drawRoundedRect(card.adjusted(0.5, 0.5, -0.5, -0.5), 6, 6);
  }
  const auto glyph = [&](const QRectF& box, const QString& name, const QColor& tone) {
    const QPixmap picture = iconPixmap(name, tone, 18, 2);
    p->drawPixmap(QRectF(box.center().x() - 9, box.center().y() - 9, 18, 18), picture, QRectF(picture.rect()));
  };
  glyph(QRectF(card.left() + 6, card.top(), 22, card.height()), index.data(RepairsModel::iconRole).toString(), off ? c.disabledText : c.key);
  const bool buttons = selected || hovered;
  if (buttons || muted) glyph(muteRect(option.rect), muted ? QStringLiteral("muted") : QStringLiteral("shown"), muted ? c.text : c.dimText);
  if (buttons || solo) glyph(soloRect(option.rect), QStringLiteral("solo"), solo ? c.character : c.dimText);
  const QRectF text = card.adjusted(34, 3, buttons || muted ? -52 : solo ? -30 : -8, -4);
  QFont font = Appearance::body();
  p->setFont(font);
  p->setPen(off ? c.dimText : c.text);
  p->drawText(QRectF(text.left(), text.top(), text.width(), text.height() / 2), Qt::AlignVCenter,
              QFontMetrics(font).elidedText(index.data().toString(), Qt::ElideRight, static_cast<int>(text.width())));
  p->setFont(Appearance::small());
  QStringList parts{index.data(RepairsModel::spanRole).toString()};
  if (const QString weight = index.data(RepairsModel::weightRole).toString(); !weight.isEmpty()) parts << weight;
  if (muted) parts << RepairsModel::tr("muted");
  if (solo) parts << RepairsModel::tr("alone");
  if (wrong) parts.prepend(RepairsModel::tr("! not applied"));
  QRectF second(text.left(), text.center().y() - 1, text.width(), text.height() / 2);
  if (const QString miss = index.data(RepairsModel::missRole).toString(); !miss.isEmpty()) parts << RepairsModel::tr("%1 off").arg(miss);
  p->setPen(wrong ? c.warning : c.dimText);
  p->drawText(second, Qt::AlignVCenter, QFontMetrics(p->font()).elidedText(parts.join(QStringLiteral(" · ")), Qt::ElideRight, static_cast<int>(second.width())));
  p->restore();
}

bool RepairDelegate::editorEvent(QEvent* event, QAbstractItemModel*, const QStyleOptionViewItem& option, const QModelIndex& index) {
  if (event->type() != QEvent::MouseButtonRelease) return false;
  const auto* mouse = static_cast<QMouseEvent*>(event);
  if (mouse->button() != Qt::LeftButton) return false;
  if (muteRect(option.rect).contains(mouse->position())) {
    Q_EMIT muteAsked(index.row());
    return true;
  }
  if (soloRect(option.rect).contains(mouse->position())) {
    Q_EMIT soloAsked(index.row());
    return true;
  }
  return false;
}

}  // namespace understudy::editor
