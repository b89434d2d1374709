#include "app/editor/timeline/curves_page.h"

#include <QComboBox>
#include <QHBoxLayout>
#include <QLineEdit>
#include <QListWidget>
#include <QScopedValueRollback>
#include <QToolButton>
#include <QVBoxLayout>
#include <algorithm>

#include "app/editor/document/describe.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"

namespace understudy::editor {

CurvesPage::CurvesPage(Document& document, Session& session, FrameScale& scale, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  auto* across = new QHBoxLayout(this);
  across->setContentsMargins(0, 0, 0, 0);
  across->setSpacing(8);
  auto* left = new QVBoxLayout;
  left->setSpacing(4);
  auto* search = new QHBoxLayout;
  search->setSpacing(4);
  filter_ = new QLineEdit(this);
  filter_->setPlaceholderText(tr("Filter bones"));
  filter_->setAccessibleName(tr("Filter bones by name or role"));
  filter_->setClearButtonEnabled(true);
  search->addWidget(filter_, 1);
  keyed_ = button(search, QStringLiteral("pin"), {}, tr("Only bones with keys"));
  keyed_->setCheckable(true);
  left->addLayout(search);
  bones_ = new QListWidget(this);
  bones_->setAccessibleName(tr("Bones whose curves are shown"));
  bones_->setSelectionMode(QAbstractItemView::ExtendedSelection);
  bones_->setMinimumHeight(56);
  bones_->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  bones_->setTextElideMode(Qt::ElideRight);
  left->addWidget(bones_, 1);
  auto* side = new QWidget(this);
  side->setFixedWidth(208);
  side->setLayout(left);
  left->setContentsMargins(0, 0, 0, 0);
  across->addWidget(side);

  auto* right = new QVBoxLayout;
  right->setSpacing(2);
  auto* row = new QHBoxLayout;
  row->setSpacing(4);
  for (int i = 0; i < 3; ++i) {
    QToolButton* channel = button(row, {}, QString(), QString());
    channel->setObjectName(QStringLiteral("channel%1").arg(i));
    channel->setCheckable(true);
    channel->setChecked(true);
    channels_[static_cast<std::size_t>(i)] = channel;
    connect(channel, &QToolButton::toggled, this, [this, i](bool on) { view_->setChannel(i, on); });
  }
  angles_ = new QComboBox(this);
  angles_->setAccessibleName(tr("Angles"));
  angles_->setToolTip(tr("Which angles the curves show: about the bone's own axes, or how a limb swings and twists"));
  angles_->addItem(tr("turns X, Y, Z"));
  angles_->addItem(tr("swing and twist"));
  angles_->setMinimumWidth(136);
  row->addWidget(angles_);
  auto* before = button(row, QString(), tr("before"), tr("Show the curves as they were before"));
  before->setCheckable(true);
  before->setChecked(true);
  auto* fit = button(row, QStringLiteral("frame"), {}, tr("Fit all values; Ctrl and the wheel zoom them"));
  row->addStretch(1);
  auto* key = button(row, QStringLiteral("add"), tr("key"), tr("Key the bone here  (K)"));
  key->setObjectName(QStringLiteral("keyHere"));
  auto* level = button(row, QString(), tr("level"), tr("Level handles: the change comes to rest at the picked keys"));
  auto* smooth = button(row, QString(), tr("smooth"), tr("Smooth handles: the change goes through the picked keys"));
  auto* remove = button(row, QStringLiteral("remove"), {}, tr("Remove the picked keys  (Delete)"));
  forPicked_ = {level, smooth, remove};
  right->addLayout(row);
  view_ = new CurvesView(document, session, scale, this);
  right->addWidget(view_, 1);
  across->addLayout(right, 1);

  connect(angles_, &QComboBox::currentIndexChanged, this, [this](int i) {
    view_->setAngles(static_cast<Angles>(i));
    refresh();
  });
  connect(before, &QToolButton::toggled, view_, &CurvesView::setBeforeShown);
  connect(fit, &QToolButton::clicked, view_, &CurvesView::fitValues);
  connect(key, &QToolButton::clicked, view_, &CurvesView::keyHere);
  connect(level, &QToolButton::clicked, view_, &CurvesView::level);
  connect(smooth, &QToolButton::clicked, view_, &CurvesView::smooth);
  connect(remove, &QToolButton::clicked, view_, &CurvesView::removePicked);
  connect(view_, &CurvesView::pickedChanged, this, &CurvesPage::refresh);
  connect(filter_, &QLineEdit::textChanged, this, &CurvesPage::fillBones);
  connect(keyed_, &QToolButton::toggled, this, &CurvesPage::fillBones);
  connect(&document, &Document::evaluatedChanged, this, [this] {
    if (isVisible()) fillBones();
  });
  connect(&session, &Session::selectionChanged, this, &CurvesPage::followSelection);
  connect(&Appearance::instance(), &Appearance::changed, this, &CurvesPage::refresh);
  connect(bones_, &QListWidget::itemSelectionChanged, this, [this] {
    if (filling_) return;
    std::vector<Bone> chosen;
    for (const QListWidgetItem* item : bones_->selectedItems()) chosen.push_back({Cast::character, item->data(Qt::UserRole).toInt()});
    const QScopedValueRollback guard(filling_, true);
    if (!chosen.empty()) {
      const auto role = roleOf(document_.map().character, chosen.front().joint);
      session_.selectRole(role, chosen.front());
    }
    view_->setBones(std::move(chosen));
    refresh();
  });
  refresh();
}

QToolButton* CurvesPage::button(QHBoxLayout* row, const QString& name, const QString& text, const QString& tip) {
  auto* b = new QToolButton(this);
  b->setProperty("iconName", name);
  b->setText(text);
  b->setToolTip(tip);
  b->setAccessibleName(tip.section(QStringLiteral("  ("), 0, 0));
  b->setToolButtonStyle(name.isEmpty() ? Qt::ToolButtonTextOnly : text.isEmpty() ? Qt::ToolButtonIconOnly : Qt::ToolButtonTextBesideIcon);
  b->setIconSize({16, 16});
  b->setMinimumSize(26, 26);
  b->setProperty("pill", text.isEmpty() ? QVariant() : QVariant(true));
  row->addWidget(b);
  return b;
}

void CurvesPage::showEvent(QShowEvent* event) {
  QWidget::showEvent(event);
  // Curves need more room than lanes; it is given back.
  setMinimumHeight(148);
  fillBones();
  followSelection();
}

void CurvesPage::hideEvent(QHideEvent* event) {
  QWidget::hideEvent(event);
  setMinimumHeight(0);
}

void CurvesPage::followSelection() {
  if (filling_) return;
  const QScopedValueRollback guard(filling_, true);
  bones_->clearSelection();
  if (const auto bone = session_.selected(); bone && bone->cast == Cast::character)
    for (int i = 0; i < bones_->count(); ++i)
      if (bones_->item(i)->data(Qt::UserRole).toInt() == bone->joint) {
        bones_->item(i)->setSelected(true);
        bones_->scrollToItem(bones_->item(i));
      }
  view_->setBones({});
  refresh();
}

void CurvesPage::fillBones() {
  const QScopedValueRollback guard(filling_, true);
  std::vector<int> chosen;
  for (const QListWidgetItem* item : bones_->selectedItems()) chosen.push_back(item->data(Qt::UserRole).toInt());
  const auto character = document_.figure(Cast::character);
  const QString wanted = filter_->text().trimmed();
  const std::vector<int> keyed = keyedJoints(document_);
  struct Row {
    int joint;
    QString text;
    bool keyed;
  };
  std::vector<Row> rows;
  for (int j = 0; character && j < character->skeleton.size(); ++j) {
    const bool hasKeys = std::binary_search(keyed.begin(), keyed.end(), j);
    const auto role = roleOf(document_.map().character, j);
    const QString name = jointText(*character, j), text = role ? tr("%1 · %2").arg(roleText(*role), name) : name;
    if ((keyed_->isChecked() && !hasKeys) || (!wanted.isEmpty() && !text.contains(wanted, Qt::CaseInsensitive))) continue;
    rows.push_back({j, text, hasKeys});
  }
  bool same = bones_->count() == static_cast<int>(rows.size());
  for (int i = 0; same && i < bones_->count(); ++i) {
    const QListWidgetItem* item = bones_->item(i);
    const Row& row = rows[static_cast<std::size_t>(i)];
    same = item->data(Qt::UserRole).toInt() == row.joint && item->text() == row.text && item->data(Qt::UserRole + 1).toBool() == row.keyed;
  }
  if (!same) {
    bones_->clear();
    for (const Row& row : rows) {
      auto* item = new QListWidgetItem(row.text, bones_);
      item->setData(Qt::UserRole, row.joint);
      item->setData(Qt::UserRole + 1, row.keyed);
      item->setToolTip(row.text);
      item->setSizeHint({0, 24});
      if (row.keyed) item->setIcon(icon(QStringLiteral("pin")));
      item->setSelected(std::find(chosen.begin(), chosen.end(), row.joint) != chosen.end());
    }
  }
}

void CurvesPage::refresh() {
  const QStringList names = CurvesView::channelNames(view_->angles());
  const QColor tones[] = {colours().axisX, colours().axisY, colours().axisZ};
  for (int i = 0; i < 3; ++i) {
    QToolButton* channel = channels_[static_cast<std::size_t>(i)];
    channel->setText(names[i]);
    channel->setToolTip(tr("Show the angle “%1”").arg(names[i]));
    channel->setAccessibleName(channel->toolTip());
    channel->setStyleSheet(QStringLiteral("QToolButton { color: %1; font-weight: 600; }").arg(tones[i].name()));
  }
  for (QToolButton* b : findChildren<QToolButton*>())
    if (const QString name = b->property("iconName").toString(); !name.isEmpty()) b->setIcon(icon(name));
  for (QToolButton* b : forPicked_) b->setEnabled(!view_->picked().empty());
}

}  // namespace understudy::editor
