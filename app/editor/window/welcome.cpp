#include "app/editor/window/welcome.h"

#include <QCryptographicHash>
#include <QDir>
#include <QEvent>
#include <QFileInfo>
#include <QHBoxLayout>
#include <QLabel>
#include <QListWidget>
#include <QPushButton>
#include <QSettings>
#include <QStandardPaths>
#include <QVBoxLayout>

#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "app/editor/window/samples.h"

namespace understudy::editor {
namespace {

QString thumbnailFile(const QString& reel) {
  const QByteArray name = QCryptographicHash::hash(QFileInfo(reel).absoluteFilePath().toUtf8(), QCryptographicHash::Sha1).toHex();
  return QStandardPaths::writableLocation(QStandardPaths::AppLocalDataLocation) + QStringLiteral("/thumbnails/") + QString::fromLatin1(name) + QStringLiteral(".png");
}

}  // namespace

void keepThumbnail(const QString& reel, const QImage& picture) {
  if (picture.isNull()) return;
  const QString file = thumbnailFile(reel);
  QDir().mkpath(QFileInfo(file).absolutePath());
  // The middle of the stage, as wide as the list shows it.
  const int side = std::min(picture.width(), picture.height() * 4 / 3);
  const QImage middle = picture.copy((picture.width() - side) / 2, (picture.height() - side * 3 / 4) / 2, side, side * 3 / 4);
  middle.scaled(240, 180, Qt::KeepAspectRatio, Qt::SmoothTransformation).save(file, "PNG");
}

QImage thumbnailOf(const QString& reel) { return QImage(thumbnailFile(reel)); }

Welcome::Welcome(Document& document, QWidget* over) : QFrame(over), document_(document), over_(over) {
  setObjectName(QStringLiteral("welcome"));
  setAttribute(Qt::WA_StyledBackground);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(26, 22, 26, 20);
  column->setSpacing(10);
  title_ = new QLabel(tr("Put a performance on your character"), this);
  title_->setFont(Appearance::title());
  what_ = new QLabel(tr("Drop two files anywhere in this window: a capture (BVH, FBX, glTF) and a rigged character (glTF, FBX, Collada). "
                             "A prop may follow. The strip above says what is done and what comes next."), this);
  what_->setWordWrap(true);
  what_->setProperty("quiet", true);
  column->addWidget(title_);
  column->addWidget(what_);
  // One row of buttons, or two where their words need it.
  rows_ = new QBoxLayout(QBoxLayout::LeftToRight);
  auto *row = new QHBoxLayout, *second = new QHBoxLayout;
  auto* open = new QPushButton(tr("Open files…"), this);
  open->setToolTip(tr("Choose a performer, a character or a reel  (Ctrl+O)"));
  open->setProperty("next", true);
  auto* audition = new QPushButton(tr("Audition a folder…"), this);
  audition->setToolTip(tr("See every clip of a folder on your character  (Ctrl+Shift+A)"));
  demo_ = new QPushButton(tr("Open the demo"), this);
  demo_->setObjectName(QStringLiteral("openDemo"));
  demo_->setToolTip(tr("The keeper of a lighthouse sweeps the gallery"));
  tour_ = new QPushButton(tr("Take the tour"), this);
  tour_->setObjectName(QStringLiteral("takeTour"));
  tour_->setToolTip(tr("The demo from two files to the finished one, step by step"));
  for (QPushButton* button : {open, audition}) row->addWidget(button);
  for (QPushButton* button : {demo_, tour_}) second->addWidget(button);
  second->addStretch(1);
  rows_->addLayout(row);
  rows_->addLayout(second, 1);
  column->addLayout(rows_);
  heading_ = new QLabel(tr("LATELY"), this);
  heading_->setObjectName(QStringLiteral("heading"));
  column->addSpacing(4);
  column->addWidget(heading_);
  recent_ = new QListWidget(this);
  recent_->setObjectName(QStringLiteral("recent"));
  recent_->setAccessibleName(tr("Recent files"));
  recent_->setViewMode(QListView::IconMode);
  recent_->setIconSize({120, 90});
  recent_->setGridSize({142, 128});
  recent_->setMovement(QListView::Static);
  recent_->setResizeMode(QListView::Adjust);
  recent_->setWordWrap(false);
  recent_->setTextElideMode(Qt::ElideMiddle);
  column->addWidget(recent_, 1);
  connect(open, &QPushButton::clicked, this, &Welcome::openAsked);
  connect(audition, &QPushButton::clicked, this, &Welcome::auditionAsked);
  connect(demo_, &QPushButton::clicked, this, &Welcome::demoAsked);
  connect(tour_, &QPushButton::clicked, this, &Welcome::tourAsked);
  for (auto signal : {&QListWidget::itemActivated, &QListWidget::itemClicked})
    connect(recent_, signal, this, [this](const QListWidgetItem* item) { Q_EMIT fileAsked(item->data(Qt::UserRole).toString()); });
  connect(&document, &Document::takeChanged, this, &Welcome::refresh);
  connect(&document, &Document::filesChanged, this, &Welcome::refresh);
  connect(&Appearance::instance(), &Appearance::changed, this, [this] {
    listed_.clear();
    refresh();
  });
  over->installEventFilter(this);
  refresh();
}

void Welcome::refresh() {
  const Take& take = document_.take();
  const bool empty = take.performer->path.empty() && take.character->path.empty();
  if (empty) fill();
  const bool left = isVisible() && !empty;
  setVisible(empty);
  if (left) over_->setFocus();
  if (empty) {
    place();
    raise();
  }
}

void Welcome::fill() {
  const QStringList files = QSettings().value(QStringLiteral("recentFiles")).toStringList();
  if (files.join(QLatin1Char('\n')) == listed_ && recent_->count() > 0) return;
  listed_ = files.join(QLatin1Char('\n'));
  recent_->clear();
  for (const QString& file : files) {
    if (!QFileInfo::exists(file)) continue;
    auto* item = new QListWidgetItem(QFileInfo(file).fileName(), recent_);
    item->setData(Qt::UserRole, file);
    item->setToolTip(file);
    const QImage picture = thumbnailOf(file);
    item->setIcon(picture.isNull() ? icon(file.endsWith(QLatin1String(".reel")) ? QStringLiteral("save") : QStringLiteral("performer")) : QIcon(QPixmap::fromImage(picture)));
  }
  const bool there = !sampleFolder().isEmpty();
  demo_->setVisible(there);
  tour_->setVisible(there);
}

void Welcome::place() {
  const int w = std::min(640, over_->width() - 32);
  int wanted = 52;
  for (const QPushButton* button : findChildren<QPushButton*>()) wanted += button->sizeHint().width() + rows_->spacing();
  rows_->setDirection(wanted > w ? QBoxLayout::TopToBottom : QBoxLayout::LeftToRight);
  // Files of late are shown where there is room for a row of them.
  constexpr int listRoom = 150;
  const int room = over_->height() - 32 - covered_, spacing = layout()->spacing();
  const QMargins around = layout()->contentsMargins();
  const int words = around.top() + title_->sizeHint().height() + what_->heightForWidth(w - around.left() - around.right()) + rows_->sizeHint().height() + 3 * spacing + around.bottom();
  const bool list = recent_->count() > 0 && words + listRoom <= room;
  if (list == recent_->isHidden()) {
    heading_->setVisible(list);
    recent_->setVisible(list);
  }
  const int h = std::min(list ? 430 : words, room);
  setGeometry((over_->width() - w) / 2, (over_->height() - covered_ - h) / 2, w, h);
}

void Welcome::setCovered(int height) {
  covered_ = height;
  place();
}

bool Welcome::event(QEvent* event) {
  if (event->type() == QEvent::LayoutRequest) place();  // longer words, a file more
  return QFrame::event(event);
}

bool Welcome::eventFilter(QObject* watched, QEvent* event) {
  if (watched == over_ && event->type() == QEvent::Resize) place();
  return QFrame::eventFilter(watched, event);
}

}  // namespace understudy::editor
