#include "app/editor/panels/findings_model.h"

#include <QMouseEvent>
#include <QPainter>
#include <QPainterPath>
#include <algorithm>

#include "app/editor/document/repairing.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"

namespace understudy::editor {

FindingsModel::FindingsModel(Document& document, QObject* parent) : QAbstractListModel(parent), document_(document), pictures_(new FindingPictures(document, this)) {
  connect(pictures_, &FindingPictures::changed, this, [this] {
    if (!keys_.empty()) Q_EMIT dataChanged(index(0), index(rowCount() - 1), {pictureRole});
  });
  connect(&document.findings(), &FindingsKeeper::changed, this, &FindingsModel::refresh);
  connect(&document, &Document::shownChanged, this, [this] {
    if (!keys_.empty()) Q_EMIT dataChanged(index(0), index(rowCount() - 1));
  });
  refresh();
}

void FindingsModel::setAll(bool all) {
  all_ = all;
  refresh();
}

void FindingsModel::refresh() {
  std::vector<std::string> keys;
  for (const Finding& finding : document_.findings().findings())
    if (all_ || !finding.waved) keys.push_back(finding.key);
  if (keys != keys_) {
    beginResetModel();
    keys_ = std::move(keys);
    endResetModel();
  } else if (!keys_.empty()) {
    Q_EMIT dataChanged(index(0), index(rowCount() - 1));
  }
}

int FindingsModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : static_cast<int>(keys_.size()); }
std::string FindingsModel::keyAt(int row) const { return row >= 0 && row < rowCount() ? keys_[static_cast<std::size_t>(row)] : std::string(); }

int FindingsModel::rowOf(const std::string& key) const {
  const auto at = std::find(keys_.begin(), keys_.end(), key);
  return at == keys_.end() ? -1 : static_cast<int>(at - keys_.begin());
}

QVariant FindingsModel::data(const QModelIndex& index, int role) const {
  const Finding* finding = document_.findings().find(keyAt(index.row()));
  const auto evaluated = document_.evaluated();
  if (!finding || !evaluated) return {};
  const int by = evaluated->firstFrame - evaluated->trimFirst;
  switch (role) {
    case Qt::DisplayRole: {
      const QString bone = finding->bones.empty() ? QString() : boneText(finding->bones.front());
      return bone.isEmpty() ? findingKindText(finding->kind) : bone + QLatin1Char(' ') + findingKindText(finding->kind);
    }
    case noteRole: {
      const QString span = finding->span.count() > 1 ? QStringLiteral("%1–%2").arg(finding->span.first + by).arg(finding->span.last + by) : QString::number(finding->span.first + by);
      return measureText(*finding) + QStringLiteral(" · ") + span;
    }
    case Qt::ToolTipRole:
    case Qt::AccessibleTextRole: {
      QString text = QString::fromStdString(finding->sentence);
      if (!finding->cause.empty()) text += QLatin1Char('\n') + QString::fromStdString(finding->cause);
      return text;
    }
    case pictureRole: return pictures_->before(finding->key);
    case iconRole: return findingIcon(finding->kind);
    case graveRole: return isGrave(*finding);
    case hintRole: return finding->hint;
    case wavedRole: return finding->waved;
    case proposalRole: return finding->proposal.empty() || finding->waved ? QString() : kindText(finding->proposal.front());
    case causeRole: return QString::fromStdString(finding->cause);
    case previewedRole: return document_.previewing() && document_.findings().previewed() == finding->key;
    default: return {};
  }
}

QSize FindingDelegate::sizeHint(const QStyleOptionViewItem&, const QModelIndex&) const { return {200, 50}; }

QRectF FindingDelegate::offerRect(const QRect& row, const QString& text) {
  QFont font = Appearance::small();
  font.setWeight(QFont::DemiBold);
  const double w = QFontMetricsF(font).horizontalAdvance(text) + 18;
  return {row.right() - w - 5, row.bottom() - 25.0, w, 20};
}

void FindingDelegate::paint(QPainter* p, const QStyleOptionViewItem& option, const QModelIndex& index) const {
  const Colours& c = colours();
  p->save();
  p->setRenderHint(QPainter::Antialiasing);
  const bool selected = option.state & QStyle::State_Selected, hovered = option.state & QStyle::State_MouseOver;
  const bool waved = index.data(FindingsModel::wavedRole).toBool(), grave = index.data(FindingsModel::graveRole).toBool(), hint = index.data(FindingsModel::hintRole).toBool();
  const QColor tone = waved ? c.disabledText : grave ? c.flaw : c.warning;
  const QRectF card = QRectF(option.rect).adjusted(1, 1, -1, -2);
  p->setPen(Qt::NoPen);
  p->setBrush(selected ? c.picked : hovered ? c.cardHover : c.card);
  p->drawRoundedRect(card, 6, 6);
  // Severity by colour and by shape: a whole bar for flaws, a broken one for warnings, a dot for what is only worth a look.
  p->setBrush(tone);
  const QRectF bar(card.left() + 3, card.top() + 5, 4, card.height() - 10);
  if (hint) {
    p->drawEllipse(QPointF(bar.center().x(), bar.center().y()), 3, 3);
  } else if (grave) {
    p->drawRoundedRect(bar, 2, 2);
  } else {
    for (int i = 0; i < 3; ++i) p->drawRoundedRect(QRectF(bar.left(), bar.top() + i * bar.height() / 3 + 1, 4, bar.height() / 3 - 3), 1.5, 1.5);
  }
  if (selected) {
    p->setPen(QPen(c.selection, 1.2));
    p->setBrush(Qt::NoBrush);
    p->drawRoundedRect(card.adjusted(0.5, 0.5, -0.5, -0.5), 6, 6);
  }
  const QRectF place(card.left() + 11, card.center().y() - FindingPictures::smallSide / 2.0, FindingPictures::smallSide, FindingPictures::smallSide);
  const QImage shown = index.data(FindingsModel::pictureRole).value<QImage>();
  if (!shown.isNull() && !waved) {
    QPainterPath clip;
    clip.addRoundedRect(place, 5, 5);
    p->save();
    p->setClipPath(clip);
    p->drawImage(place, shown);
    p->restore();
  } else {
    const QPixmap picture = iconPixmap(index.data(FindingsModel::iconRole).toString(), waved ? c.disabledText : c.text, 18, 2);
    p->drawPixmap(QRectF(place.center().x() - 9, place.center().y() - 9, 18, 18), picture, QRectF(picture.rect()));
  }
  const QString offer = index.data(FindingsModel::proposalRole).toString();
  double right = card.right() - 8;
  if (!offer.isEmpty()) {
    const QRectF box = offerRect(option.rect, offer);
    const bool previewed = index.data(FindingsModel::previewedRole).toBool();
    p->setPen(QPen(previewed ? c.selection : c.line, 1));
    p->setBrush(previewed ? c.picked : c.sunken);
    p->drawRoundedRect(box, 10, 10);
    QFont font = Appearance::small();
    font.setWeight(QFont::DemiBold);
    p->setFont(font);
    p->setPen(c.text);
    p->drawText(box, Qt::AlignCenter, offer);
    right = box.left() - 6;
  }
  const double left = place.right() + 8;
  const QRectF text(left, card.top() + 4, right - left, card.height() - 8);
  p->setFont(Appearance::body());
  p->setPen(waved ? c.dimText : c.text);
  const double full = card.right() - 8 - text.left();
  p->drawText(QRectF(text.left(), text.top(), full, text.height() / 2), Qt::AlignVCenter,
              QFontMetrics(p->font()).elidedText(index.data().toString(), Qt::ElideRight, static_cast<int>(full)));
  p->setFont(Appearance::small());
  p->setPen(c.dimText);
  QString note = index.data(FindingsModel::noteRole).toString();
  if (index.data(FindingsModel::hintRole).toBool()) note += FindingsModel::tr(" · a hint");
  if (waved) note += FindingsModel::tr(" · waved off");
  else if (const QString cause = index.data(FindingsModel::causeRole).toString(); !cause.isEmpty()) note += QStringLiteral(" · ") + cause;
  p->drawText(QRectF(text.left(), text.center().y(), text.width(), text.height() / 2), Qt::AlignVCenter,
              QFontMetrics(p->font()).elidedText(note, Qt::ElideRight, static_cast<int>(text.width())));
  p->restore();
}

bool FindingDelegate::editorEvent(QEvent* event, QAbstractItemModel*, const QStyleOptionViewItem& option, const QModelIndex& index) {
  if (event->type() != QEvent::MouseButtonRelease) return false;
  const auto* mouse = static_cast<QMouseEvent*>(event);
  const QString offer = index.data(FindingsModel::proposalRole).toString();
  if (mouse->button() != Qt::LeftButton || offer.isEmpty() || !offerRect(option.rect, offer).contains(mouse->position())) return false;
  Q_EMIT acceptAsked(index.row());
  return true;
}

}  // namespace understudy::editor
