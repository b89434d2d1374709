#include "app/editor/panels/repairs_panel.h"

#include <QCheckBox>
#include <QDoubleSpinBox>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QListView>
#include <QPainter>
#include <QPushButton>
#include <QScopedValueRollback>
#include <QSpinBox>
#include <QToolButton>
#include <QVBoxLayout>
#include <cmath>
#include <numbers>

#include "app/editor/document/describe.h"
#include "app/editor/document/nudging.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

constexpr double degrees = 180 / std::numbers::pi;

class RepairDelegate : public QStyledItemDelegate {
 public:
  using QStyledItemDelegate::QStyledItemDelegate;
  QSize sizeHint(const QStyleOptionViewItem&, const QModelIndex&) const override { return {200, 48}; }
  void paint(QPainter* p, const QStyleOptionViewItem& option, const QModelIndex& index) const override {
    const Colours& c = colours();
    p->save();
    p->setRenderHint(QPainter::Antialiasing);
    const bool selected = option.state & QStyle::State_Selected, muted = index.data(RepairsModel::mutedRole).toBool();
    const QRectF card = QRectF(option.rect).adjusted(2, 2, -2, -3);
    p->setPen(Qt::NoPen);
    p->setBrush(selected ? c.picked : option.state & QStyle::State_MouseOver ? c.cardHover : c.card);
    p->drawRoundedRect(card, 6, 6);
    if (selected) {
      p->setPen(QPen(c.selection, 1.2));
      p->setBrush(Qt::NoBrush);
      p->drawRoundedRect(card.adjusted(0.5, 0.5, -0.5, -0.5), 6, 6);
    }
    const QPixmap pin = iconPixmap(muted ? QStringLiteral("muted") : QStringLiteral("pin"), muted ? c.dimText : c.key, 18, 2);
    p->drawPixmap(QRectF(card.left() + 9, card.center().y() - 9, 18, 18), pin, QRectF(pin.rect()));
    const QRectF text = card.adjusted(36, 4, -8, -4);
    QFont font = Appearance::body();
    p->setFont(font);
    p->setPen(muted ? c.dimText : c.text);
    p->drawText(QRectF(text.left(), text.top(), text.width(), text.height() / 2), Qt::AlignVCenter,
                QFontMetrics(font).elidedText(index.data().toString(), Qt::ElideMiddle, static_cast<int>(text.width())));
    p->setFont(Appearance::small());
    p->setPen(c.dimText);
    p->drawText(QRectF(text.left(), text.center().y(), text.width(), text.height() / 2), Qt::AlignVCenter, index.data(RepairsModel::spanRole).toString());
    p->restore();
  }
};

}  // namespace

RepairsModel::RepairsModel(Document& document, QObject* parent) : QAbstractListModel(parent), document_(document) {
  connect(&document, &Document::takeChanged, this, &RepairsModel::refresh);
  connect(&document, &Document::evaluatedChanged, this, &RepairsModel::refresh);
}

void RepairsModel::refresh() {
  const int now = static_cast<int>(document_.take().nudges->size());
  if (now > rows_) {
    beginInsertRows({}, rows_, now - 1);
    rows_ = now;
    endInsertRows();
  } else if (now < rows_) {
    beginRemoveRows({}, now, rows_ - 1);
    rows_ = now;
    endRemoveRows();
  }
  if (rows_ > 0) Q_EMIT dataChanged(index(0), index(rows_ - 1));
}

int RepairsModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : rows_; }

QVariant RepairsModel::data(const QModelIndex& index, int role) const {
  const Nudge* nudge = nudgeAtIndex(document_, index.row());
  if (!nudge) return {};
  const auto evaluated = document_.evaluated();
  switch (role) {
    case Qt::DisplayRole: return tr("nudge  ") + nudgeText(*nudge);
    case spanRole: {
      QString text = evaluated ? nudgeSpanText(*nudge, *evaluated) : QString();
      if (nudge->weight != 1) text += tr(" · weight %1").arg(nudge->weight, 0, 'f', 2);
      return nudge->muted ? text + tr(" · muted") : text;
    }
    case mutedRole: return nudge->muted;
    default: return {};
  }
}

RepairsPanel::RepairsPanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  setObjectName(QStringLiteral("panel"));
  setAttribute(Qt::WA_StyledBackground);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(12, 10, 12, 10);
  column->setSpacing(6);
  auto* heading = new QLabel(tr("REPAIRS"), this);
  heading->setObjectName(QStringLiteral("heading"));
  auto* order = new QLabel(tr("in the order they apply"), this);
  order->setProperty("quiet", true);
  order->setFont(Appearance::small());
  auto* top = new QHBoxLayout;
  top->addWidget(heading);
  top->addStretch(1);
  top->addWidget(order);
  column->addLayout(top);
  model_ = new RepairsModel(document, this);
  list_ = new QListView(this);
  list_->setObjectName(QStringLiteral("repairs"));
  list_->setAccessibleName(tr("Repairs"));
  list_->setModel(model_);
  list_->setItemDelegate(new RepairDelegate(list_));
  list_->setMouseTracking(true);
  list_->setVerticalScrollMode(QAbstractItemView::ScrollPerPixel);
  empty_ = new QLabel(tr("No repairs yet.\n\nSelect a bone of the character and drag it, or one of its rings, to nudge the pose at this frame. "
                         "The nudge eases in and out around it."), this);
  empty_->setWordWrap(true);
  empty_->setProperty("quiet", true);
  empty_->setAlignment(Qt::AlignTop | Qt::AlignLeft);
  column->addWidget(empty_);
  column->addWidget(list_, 1);
  add_ = new QPushButton(icon(QStringLiteral("pin")), tr("Nudge here"), this);
  add_->setToolTip(tr("A nudge of the selected bone at this frame  (N)"));
  connect(add_, &QPushButton::clicked, this, &RepairsPanel::nudgeAsked);
  column->addWidget(add_);

  form_ = new QWidget(this);
  auto* grid = new QGridLayout(form_);
  grid->setContentsMargins(0, 6, 0, 0);
  grid->setHorizontalSpacing(6);
  grid->setVerticalSpacing(5);
  title_ = new QLabel(form_);
  grid->addWidget(title_, 0, 0, 1, 4);
  const auto quiet = [this](const QString& text) {
    auto* label = new QLabel(text, form_);
    label->setProperty("quiet", true);
    return label;
  };
  const auto spin = [this](const QString& name) {
    auto* s = new QSpinBox(form_);
    s->setKeyboardTracking(false);
    s->setAccessibleName(name);
    connect(s, &QSpinBox::valueChanged, this, &RepairsPanel::write);
    return s;
  };
  const auto real = [this](const QString& name, double low, double high, int decimals, double step) {
    auto* s = new QDoubleSpinBox(form_);
    s->setKeyboardTracking(false);
    s->setAccessibleName(name);
    s->setRange(low, high);
    s->setDecimals(decimals);
    s->setSingleStep(step);
    connect(s, &QDoubleSpinBox::valueChanged, this, &RepairsPanel::write);
    return s;
  };
  frame_ = spin(tr("Frame of the nudge"));
  before_ = spin(tr("Ease before, frames"));
  after_ = spin(tr("Ease after, frames"));
  before_->setRange(0, 100000);
  after_->setRange(0, 100000);
  before_->setPrefix(QStringLiteral("− "));
  after_->setPrefix(QStringLiteral("+ "));
  before_->setToolTip(tr("Frames of ease before the key"));
  after_->setToolTip(tr("Frames of ease after the key"));
  weight_ = real(tr("Weight"), 0, 4, 2, 0.05);
  grid->addWidget(quiet(tr("Frame")), 1, 0);
  grid->addWidget(frame_, 1, 1);
  grid->addWidget(before_, 1, 2);
  grid->addWidget(after_, 1, 3);
  grid->addWidget(quiet(tr("Turn")), 2, 0);
  for (int i = 0; i < 3; ++i) {
    const QString axis(QLatin1Char("XYZ"[i]));
    auto* s = real(tr("Turn about %1").arg(axis), -720, 720, 1, 1);
    s->setPrefix(axis + QLatin1Char(' '));
    s->setSuffix(QStringLiteral("°"));
    turn_[static_cast<std::size_t>(i)] = s;
    grid->addWidget(s, 2, 1 + i);
  }
  grid->addWidget(quiet(tr("Weight")), 3, 0);
  grid->addWidget(weight_, 3, 1);
  muted_ = new QCheckBox(tr("muted"), form_);
  muted_->setToolTip(tr("Leave the nudge out for now  (M)"));
  connect(muted_, &QCheckBox::toggled, this, &RepairsPanel::write);
  grid->addWidget(muted_, 3, 2);
  auto* remove = new QPushButton(tr("Remove"), form_);
  remove->setProperty("small", true);
  remove->setToolTip(tr("Remove the nudge  (Delete)"));
  connect(remove, &QPushButton::clicked, this, &RepairsPanel::removeSelected);
  grid->addWidget(remove, 3, 3);
  for (int i = 1; i < 4; ++i) grid->setColumnStretch(i, 1);
  column->addWidget(form_);

  connect(list_->selectionModel(), &QItemSelectionModel::currentChanged, this, [this](const QModelIndex& now) {
    if (filling_ || !now.isValid()) return;
    session_.setRepair(now.row());
    const Nudge* nudge = nudgeAtIndex(document_, now.row());
    const auto evaluated = document_.evaluated();
    const auto character = document_.figure(Cast::character);
    if (!nudge || !evaluated) return;
    session_.setFrame(frameOf(*evaluated, *nudge));
    if (character && !nudge->joints.empty())
      if (const auto joint = findJoint(character->skeleton, nudge->joints[0].joint)) session_.select(Bone{Cast::character, joint.value()});
  });
  connect(&session, &Session::repairChanged, this, &RepairsPanel::refresh);
  connect(&session, &Session::selectionChanged, this, &RepairsPanel::refresh);
  connect(&document, &Document::takeChanged, this, &RepairsPanel::refresh);
  connect(&document, &Document::evaluatedChanged, this, &RepairsPanel::refresh);
  connect(&Appearance::instance(), &Appearance::changed, this, [this] { add_->setIcon(icon(QStringLiteral("pin"))); });
  refresh();
}

void RepairsPanel::refresh() {
  if (filling_) return;
  const QScopedValueRollback guard(filling_, true);
  const bool any = model_->rowCount() > 0;
  list_->setVisible(any);
  empty_->setVisible(!any);
  if (!any)
    static_cast<QVBoxLayout*>(layout())->setStretchFactor(empty_, 1);
  const auto evaluated = document_.evaluated();
  const auto bone = session_.selected();
  add_->setEnabled(evaluated && evaluated->complete() && bone && bone->cast == Cast::character);
  if (session_.repair() >= model_->rowCount()) session_.setRepair(-1);
  const Nudge* nudge = nudgeAtIndex(document_, session_.repair());
  form_->setVisible(nudge && evaluated);
  if (!nudge || !evaluated) {
    list_->selectionModel()->clear();
    return;
  }
  list_->setCurrentIndex(model_->index(session_.repair()));
  const NudgeFrames span = nudgeFrames(*nudge, evaluated->rate);
  title_->setText(nudge->joints.empty() ? QString() : QString::fromStdString(nudge->joints[0].joint).section(QLatin1Char('/'), -1));
  frame_->setRange(evaluated->firstFrame, evaluated->firstFrame + std::max(0, evaluated->frames - 1));
  frame_->setValue(frameOf(*evaluated, *nudge) + evaluated->firstFrame);
  before_->setValue(span.before);
  after_->setValue(span.after);
  weight_->setValue(nudge->weight);
  const Vec3d r = nudge->joints.empty() ? Vec3d{} : nudge->joints[0].rotation;
  for (int i = 0; i < 3; ++i) turn_[static_cast<std::size_t>(i)]->setValue(r[i] * degrees);
  muted_->setChecked(nudge->muted);
}

void RepairsPanel::write() {
  const Nudge* nudge = nudgeAtIndex(document_, session_.repair());
  const auto evaluated = document_.evaluated();
  if (filling_ || !nudge || !evaluated) return;
  Nudge next = *nudge;
  // Only what was changed is written: shown values are rounded.
  const NudgeFrames span = nudgeFrames(*nudge, evaluated->rate);
  if (frame_->value() - evaluated->firstFrame != frameOf(*evaluated, *nudge))
    next.time = evaluated->rate.seconds(evaluated->trimFirst + frame_->value() - evaluated->firstFrame);
  if (before_->value() != span.before) next.easeBefore = evaluated->rate.seconds(before_->value());
  if (after_->value() != span.after) next.easeAfter = evaluated->rate.seconds(after_->value());
  if (std::abs(weight_->value() - nudge->weight) > 0.004) next.weight = weight_->value();
  if (!next.joints.empty())
    for (int i = 0; i < 3; ++i) {
      const double shown = turn_[static_cast<std::size_t>(i)]->value() / degrees;
      if (std::abs(shown - nudge->joints[0].rotation[i]) > 0.051 / degrees) next.joints[0].rotation[i] = shown;
    }
  next.muted = muted_->isChecked();
  document_.edit(tr("Change nudge"), changeNudge(document_.take(), next));
}

void RepairsPanel::removeSelected() {
  const Nudge* nudge = nudgeAtIndex(document_, session_.repair());
  if (!nudge) return;
  document_.edit(tr("Remove nudge"), removeNudge(document_.take(), nudge->id));
}

void RepairsPanel::muteSelected() {
  const Nudge* nudge = nudgeAtIndex(document_, session_.repair());
  if (!nudge) return;
  Nudge next = *nudge;
  next.muted = !next.muted;
  document_.edit(next.muted ? tr("Mute nudge") : tr("Unmute nudge"), changeNudge(document_.take(), next));
}

}  // namespace understudy::editor
