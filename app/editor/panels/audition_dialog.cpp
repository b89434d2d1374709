#include "app/editor/panels/audition_dialog.h"

#include <QFileDialog>
#include <QFileInfo>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QListView>
#include <QPainter>
#include <QPushButton>
#include <QSettings>
#include <QVBoxLayout>
#include <algorithm>
#include <cmath>

#include "app/editor/look/appearance.h"

namespace understudy::editor {

AuditionModel::AuditionModel(Audition& audition, QObject* parent) : QAbstractListModel(parent), audition_(audition) {
  connect(&audition, &Audition::reset, this, [this] {
    beginResetModel();
    endResetModel();
  });
  connect(&audition, &Audition::added, this, [this](int row) {
    beginInsertRows({}, row, row);
    endInsertRows();
  });
  connect(&audition, &Audition::changed, this, [this](int row) { Q_EMIT dataChanged(index(row), index(row)); });
}

int AuditionModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : static_cast<int>(audition_.clips().size()); }

QStringList AuditionModel::lines(const AuditionClip& clip) {
  if (!clip.problem.isEmpty()) return {tr("cannot be carried over"), clip.problem};
  QStringList lines{tr("%1 s · arms reach %2 %, legs %3 %").arg(clip.seconds, 0, 'f', 1).arg(std::lround(100 * clip.reach)).arg(std::lround(100 * clip.strideReach))};
  if (clip.findings >= 0)
    lines << (clip.contacts == 1 ? tr("1 contact") : tr("%1 contacts").arg(clip.contacts)) + QStringLiteral(" · ") + (clip.findings == 1 ? tr("≈ 1 finding") : tr("≈ %1 findings").arg(clip.findings));
  else lines << tr("looking…");
  return lines;
}

QVariant AuditionModel::data(const QModelIndex& index, int role) const {
  if (!index.isValid() || index.row() >= rowCount()) return {};
  const AuditionClip& c = clip(index.row());
  if (role == Qt::DisplayRole) return c.name;
  if (role == Qt::AccessibleTextRole) return c.name + QStringLiteral(", ") + lines(c).join(QStringLiteral(", "));
  if (role == Qt::ToolTipRole)
    return tr("%1\n%2 frames at %3 fps\narms reach %4 %, legs %5 % of their length at the most").arg(c.path).arg(c.frames).arg(c.hertz, 0, 'g', 5)
        .arg(std::lround(100 * c.reach)).arg(std::lround(100 * c.strideReach));
  return {};
}

Qt::ItemFlags AuditionModel::flags(const QModelIndex& index) const {
  return index.isValid() && clip(index.row()).usable() ? Qt::ItemIsEnabled | Qt::ItemIsSelectable : Qt::ItemIsEnabled;
}

QSize AuditionDelegate::sizeHint(const QStyleOptionViewItem&, const QModelIndex&) const { return {Audition::pictureWidth + 18, Audition::pictureHeight + 74}; }

int AuditionDelegate::pictureAt(const AuditionClip& clip) const {
  const int count = static_cast<int>(clip.loop.size());
  if (count < 2 || clip.loopSeconds <= 0) return 0;
  const double t = std::fmod(static_cast<double>(clock_.elapsed()) * 1e-3, clip.loopSeconds);
  return std::clamp(static_cast<int>(t / clip.loopSeconds * count), 0, count - 1);
}

void AuditionDelegate::paint(QPainter* p, const QStyleOptionViewItem& option, const QModelIndex& index) const {
  const Colours& c = colours();
  const AuditionClip& clip = model_.clip(index.row());
  p->save();
  p->setRenderHints(QPainter::Antialiasing | QPainter::SmoothPixmapTransform);
  const bool selected = option.state & QStyle::State_Selected;
  const QRectF card = QRectF(option.rect).adjusted(4, 4, -4, -4);
  p->setPen(Qt::NoPen);
  p->setBrush(selected ? c.picked : option.state & QStyle::State_MouseOver ? c.cardHover : c.card);
  p->drawRoundedRect(card, 7, 7);
  const QRectF picture(card.left() + 5, card.top() + 5, Audition::pictureWidth, Audition::pictureHeight);
  if (!clip.loop.empty()) {
    p->drawImage(picture, clip.loop[static_cast<std::size_t>(pictureAt(clip))]);
  } else {
    p->setBrush(c.sunken);
    p->drawRoundedRect(picture, 4, 4);
    p->setPen(c.dimText);
    p->setFont(Appearance::small());
    p->drawText(picture, Qt::AlignCenter, clip.problem.isEmpty() ? AuditionModel::tr("no picture") : AuditionModel::tr("not on this character"));
  }
  if (selected) {
    p->setPen(QPen(c.selection, 2));
    p->setBrush(Qt::NoBrush);
    p->drawRoundedRect(card.adjusted(1, 1, -1, -1), 7, 7);
  }
  const double width = card.width() - 16;
  QRectF line(card.left() + 8, picture.bottom() + 5, width, 18);
  p->setFont(Appearance::body());
  p->setPen(clip.usable() ? c.text : c.dimText);
  p->drawText(line, Qt::AlignVCenter, QFontMetrics(p->font()).elidedText(clip.name, Qt::ElideMiddle, static_cast<int>(width)));
  p->setFont(Appearance::small());
  p->setPen(c.dimText);
  for (const QString& text : AuditionModel::lines(clip)) {
    line.translate(0, 17);
    p->drawText(line, Qt::AlignVCenter, QFontMetrics(p->font()).elidedText(text, Qt::ElideRight, static_cast<int>(width)));
  }
  p->restore();
}

AuditionDialog::AuditionDialog(Document& document, QWidget* parent) : QDialog(parent), audition_(document) {
  setWindowTitle(tr("Audition"));
  resize(1020, 680);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(16, 14, 16, 14);
  auto* top = new QHBoxLayout;
  folder_ = new QLineEdit(this);
  folder_->setObjectName(QStringLiteral("auditionFolder"));
  folder_->setAccessibleName(tr("Folder of clips"));
  folder_->setPlaceholderText(tr("Folder of clips"));
  auto* browse = new QPushButton(tr("Choose a folder…"), this);
  browse->setAutoDefault(false);
  top->addWidget(folder_, 1);
  top->addWidget(browse);
  column->addLayout(top);
  model_ = new AuditionModel(audition_, this);
  grid_ = new QListView(this);
  grid_->setObjectName(QStringLiteral("auditionGrid"));
  grid_->setAccessibleName(tr("Clips on the character"));
  grid_->setModel(model_);
  auto* delegate = new AuditionDelegate(*model_, grid_);
  grid_->setItemDelegate(delegate);
  grid_->setViewMode(QListView::IconMode);
  grid_->setResizeMode(QListView::Adjust);
  grid_->setMovement(QListView::Static);
  grid_->setUniformItemSizes(true);
  grid_->setSelectionMode(QAbstractItemView::ExtendedSelection);
  grid_->setVerticalScrollMode(QAbstractItemView::ScrollPerPixel);
  grid_->setMouseTracking(true);
  column->addWidget(grid_, 1);
  auto* bottom = new QHBoxLayout;
  state_ = new QLabel(this);
  state_->setProperty("quiet", true);
  state_->setWordWrap(true);
  auto* close = new QPushButton(tr("Close"), this);
  close->setAutoDefault(false);
  take_ = new QPushButton(tr("Take up"), this);
  take_->setObjectName(QStringLiteral("auditionTake"));
  take_->setProperty("next", true);
  take_->setDefault(true);
  bottom->addWidget(state_, 1);
  bottom->addWidget(close);
  bottom->addWidget(take_);
  column->addLayout(bottom);
  connect(browse, &QPushButton::clicked, this, &AuditionDialog::browse);
  connect(close, &QPushButton::clicked, this, &QDialog::reject);
  connect(take_, &QPushButton::clicked, this, &AuditionDialog::takeUp);
  connect(folder_, &QLineEdit::editingFinished, this, [this] {
    if (QFileInfo(folder_->text()).isDir() && folder_->text() != audition_.folder()) look(folder_->text());
  });
  connect(grid_->selectionModel(), &QItemSelectionModel::selectionChanged, this, &AuditionDialog::refresh);
  connect(grid_, &QListView::doubleClicked, this, &AuditionDialog::takeUp);
  for (auto signal : {&Audition::added, &Audition::changed}) connect(&audition_, signal, this, &AuditionDialog::refresh);
  for (auto signal : {&Audition::reset, &Audition::finished}) connect(&audition_, signal, this, &AuditionDialog::refresh);
  loop_.setInterval(80);
  connect(&loop_, &QTimer::timeout, grid_->viewport(), qOverload<>(&QWidget::update));
  refresh();
}

void AuditionDialog::open() {
  QDialog::open();
  loop_.start();
  const QString last = QSettings().value(QStringLiteral("auditionFolder"), QSettings().value(QStringLiteral("lastFolder"))).toString();
  if (folder_->text().isEmpty() && QFileInfo(last).isDir()) folder_->setText(last);
  if (QFileInfo(folder_->text()).isDir()) look(folder_->text());
}

void AuditionDialog::hideEvent(QHideEvent* event) {
  loop_.stop();
  audition_.stop();
  QDialog::hideEvent(event);
}

void AuditionDialog::look(const QString& folder) {
  folder_->setText(folder);
  QSettings().setValue(QStringLiteral("auditionFolder"), folder);
  audition_.start(folder);
}

void AuditionDialog::browse() {
  const QString folder = QFileDialog::getExistingDirectory(this, tr("Choose a folder of clips"), folder_->text());
  if (!folder.isEmpty()) look(folder);
}

void AuditionDialog::refresh() {
  const int count = static_cast<int>(grid_->selectionModel()->selectedIndexes().size()), clips = model_->rowCount();
  take_->setEnabled(count > 0);
  take_->setText(count > 1 ? tr("Take up %1 clips as a reel").arg(count) : tr("Take up"));
  if (audition_.folder().isEmpty()) state_->setText(tr("Choose a folder: every clip in it loops here on your character."));
  else if (audition_.busy()) state_->setText(tr("clips so far: %1…").arg(clips));
  else if (clips == 0) state_->setText(tr("There is no motion in this folder. BVH, FBX, glTF, VRMA and Collada files can be tried out."));
  else state_->setText(clips == 1 ? tr("One clip. Pick it to take it up.") : tr("%1 clips. Pick one, or several for a reel with a take each.").arg(clips));
}

void AuditionDialog::takeUp() {
  std::vector<int> rows;
  for (const QModelIndex& index : grid_->selectionModel()->selectedIndexes()) rows.push_back(index.row());
  std::sort(rows.begin(), rows.end());
  if (rows.empty()) return;
  audition_.takeUp(rows);
  accept();
}

}  // namespace understudy::editor
