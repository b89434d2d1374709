#include "app/editor/panels/findings_panel.h"

#include <QCheckBox>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QHelpEvent>
#include <QLabel>
#include <QListView>
#include <QMouseEvent>
#include <QPushButton>
#include <QScopedValueRollback>
#include <QSlider>
#include <QTimer>
#include <QToolTip>
#include <QVBoxLayout>
#include <algorithm>
#include <cmath>

#include "app/editor/document/repairing.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "app/editor/panels/findings_model.h"

namespace understudy::editor {

FindingsPanel::FindingsPanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  setObjectName(QStringLiteral("panel"));
  setAttribute(Qt::WA_StyledBackground);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 8, 0, 4);
  column->setSpacing(6);
  auto* top = new QHBoxLayout;
  state_ = new QLabel(this);
  state_->setObjectName(QStringLiteral("findingsState"));
  state_->setProperty("quiet", true);
  state_->setWordWrap(true);
  finish_ = new QPushButton(tr("Finish"), this);
  finish_->setObjectName(QStringLiteral("finish"));
  finish_->setToolTip(tr("Accept all that is offered, look again, until nothing more can be mended  (Ctrl+F)"));
  connect(finish_, &QPushButton::clicked, this, &FindingsPanel::finish);
  top->addWidget(state_, 1);
  top->addWidget(finish_);
  column->addLayout(top);
  model_ = new FindingsModel(document, this);
  list_ = new QListView(this);
  list_->setObjectName(QStringLiteral("findings"));
  list_->setAccessibleName(tr("Findings, in order of time"));
  list_->setModel(model_);
  auto* delegate = new FindingDelegate(list_);
  list_->setItemDelegate(delegate);
  list_->setMouseTracking(true);
  list_->setVerticalScrollMode(QAbstractItemView::ScrollPerPixel);
  list_->viewport()->installEventFilter(this);
  connect(delegate, &FindingDelegate::acceptAsked, this, [this](int row) {
    const std::string key = model_->keyAt(row);
    QToolTip::hideText();  // of a finding that is about to go
    hover(-1);
    document_.findings().accept(key);
  });
  column->addWidget(list_, 1);
  sentence_ = new QLabel(this);
  sentence_->setWordWrap(true);
  sentence_->setAlignment(Qt::AlignTop | Qt::AlignLeft);
  pair_ = new QWidget(this);
  pair_->setObjectName(QStringLiteral("findingPair"));
  auto* pictures = new QGridLayout(pair_);
  pictures->setContentsMargins(0, 0, 0, 0);
  pictures->setHorizontalSpacing(6);
  pictures->setVerticalSpacing(1);
  beforePicture_ = new QLabel(pair_);
  beforePicture_->setAccessibleName(tr("The chosen finding as it is"));
  beforePicture_->setToolTip(beforePicture_->accessibleName());
  afterPicture_ = new QLabel(pair_);
  afterPicture_->setObjectName(QStringLiteral("findingAfter"));
  afterPicture_->setAccessibleName(tr("As the offered repair would make it"));
  afterPicture_->setToolTip(afterPicture_->accessibleName());
  afterWords_ = new QLabel(tr("as offered"), pair_);
  auto* beforeWords = new QLabel(tr("as it is"), pair_);
  for (QLabel* label : {beforePicture_, afterPicture_}) label->setFixedSize(FindingPictures::largeSide, FindingPictures::largeSide), label->setProperty("picture", true);
  for (QLabel* label : {beforeWords, afterWords_}) label->setProperty("quiet", true), label->setFont(Appearance::small());
  pictures->addWidget(beforePicture_, 0, 0);
  pictures->addWidget(afterPicture_, 0, 1);
  pictures->addWidget(beforeWords, 1, 0);
  pictures->addWidget(afterWords_, 1, 1);
  pictures->setColumnStretch(2, 1);
  column->addWidget(pair_);
  connect(&model_->pictures(), &FindingPictures::changed, this, &FindingsPanel::showPair);
  column->addWidget(sentence_);
  auto* strength = new QHBoxLayout;
  auto* label = new QLabel(tr("strength"), this);
  label->setProperty("quiet", true);
  strength_ = new QSlider(Qt::Horizontal, this);
  strength_->setObjectName(QStringLiteral("strength"));
  strength_->setAccessibleName(tr("Strength of what is accepted, per cent"));
  strength_->setRange(0, 100);
  strength_->setValue(100);
  strength_->setPageStep(10);
  strengthText_ = new QLabel(tr("100 %"), this);
  strengthText_->setMinimumWidth(40);
  connect(strength_, &QSlider::valueChanged, this, [this](int value) {
    strengthText_->setText(tr("%1 %").arg(value));
    document_.findings().setStrength(value / 100.0);
  });
  strength->addWidget(label);
  strength->addWidget(strength_, 1);
  strength->addWidget(strengthText_);
  column->addLayout(strength);
  auto* buttons = new QHBoxLayout;
  buttons->setSpacing(4);
  accept_ = new QPushButton(tr("Accept"), this);
  accept_->setToolTip(tr("Take the repair that is offered  (X)"));
  kind_ = new QPushButton(tr("All of its kind"), this);
  kind_->setToolTip(tr("Take what is offered for every finding of this kind  (Shift+X)"));
  wave_ = new QPushButton(tr("Wave off"), this);
  wave_->setToolTip(tr("It is meant to be like this: do not tell it again  (W)"));
  connect(accept_, &QPushButton::clicked, this, &FindingsPanel::acceptChosen);
  connect(kind_, &QPushButton::clicked, this, &FindingsPanel::acceptKind);
  connect(wave_, &QPushButton::clicked, this, &FindingsPanel::waveOff);
  for (QPushButton* button : {accept_, kind_, wave_}) {
    button->setProperty("small", true);
    button->setMinimumWidth(button->fontMetrics().horizontalAdvance(button->text()) + 14);
    buttons->addWidget(button, button->minimumWidth());
  }
  column->addLayout(buttons);
  all_ = new QCheckBox(tr("show those waved off"), this);
  connect(all_, &QCheckBox::toggled, model_, &FindingsModel::setAll);
  column->addWidget(all_);

  connect(list_->selectionModel(), &QItemSelectionModel::currentChanged, this, [this](const QModelIndex& now) {
    if (!filling_ && now.isValid()) choose(model_->keyAt(now.row()));
  });
  connect(list_, &QListView::clicked, this, [this](const QModelIndex& index) { choose(model_->keyAt(index.row())); });
  connect(&document.findings(), &FindingsKeeper::changed, this, &FindingsPanel::refresh);
  connect(&document.findings(), &FindingsKeeper::chosenChanged, this, &FindingsPanel::refresh);
  connect(&document, &Document::evaluatedChanged, this, &FindingsPanel::refresh);
  refresh();
}

void FindingsPanel::refresh() {
  if (filling_) return;
  const QScopedValueRollback guard(filling_, true);
  const FindingsKeeper& keeper = document_.findings();
  const auto evaluated = document_.evaluated();
  const bool complete = evaluated && evaluated->complete();
  const int open = keeper.open(), mendable = keeper.mendable();
  const int hints = keeper.hints();
  QString state = (!complete             ? tr("nothing to look at yet")
                  : keeper.finishing()  ? tr("finishing…")
                  : !keeper.current()   ? tr("looking…")
                  : open == 0           ? tr("nothing found")
                  : mendable == 0       ? tr("%1 remain").arg(open)
                  : mendable == open    ? tr("%1 found").arg(open)
                                        : tr("%1 found · %2 can be mended").arg(open).arg(mendable));
  if (complete && keeper.current() && !keeper.finishing() && hints > 0) state += hints == 1 ? tr(" · 1 hint") : tr(" · %1 hints").arg(hints);
  state_->setText(state);
  finish_->setEnabled(complete && !keeper.finishing() && mendable > 0);
  markNext(*finish_, mendable > 0);
  const Finding* chosen = keeper.chosen();
  const int row = chosen ? model_->rowOf(chosen->key) : -1;
  if (row < 0)
    list_->selectionModel()->clear();
  else if (list_->currentIndex().row() != row)
    list_->setCurrentIndex(model_->index(row));
  if (row >= 0) QTimer::singleShot(0, list_, [this] { list_->scrollTo(list_->currentIndex()); });  // once the sentence has taken its room
  accept_->setEnabled(chosen && !chosen->proposal.empty());
  kind_->setEnabled(chosen && !chosen->proposal.empty());
  wave_->setEnabled(chosen);
  wave_->setText(chosen && chosen->waved ? tr("Tell again") : tr("Wave off"));
  showPair();
  sentence_->setVisible(chosen);
  if (chosen) {
    QString text = QString::fromStdString(chosen->sentence) + QLatin1Char('.');
    if (QString cause = QString::fromStdString(chosen->cause); !cause.isEmpty()) text += QLatin1Char(' ') + cause.replace(0, 1, cause[0].toUpper()) + QLatin1Char('.');
    if (!chosen->harm.empty()) text += QLatin1Char(' ') + tr("What is offered brings along: %1.").arg(QString::fromStdString(chosen->harm));
    sentence_->setText(text);
  }
}

void FindingsPanel::showPair() {
  const Finding* chosen = document_.findings().chosen();
  // A low window keeps its room for the list.
  pair_->setVisible(chosen && height() > 470);
  if (!chosen || !pair_->isVisible()) return;
  const FindingPictures::Pair pair = model_->pictures().pair(chosen->key);
  beforePicture_->setPixmap(QPixmap::fromImage(pair.before));
  afterPicture_->setPixmap(QPixmap::fromImage(pair.after));
  // While they are drawn their frames stand there already.
  const bool offered = pair.before.isNull() ? !chosen->proposal.empty() : !pair.after.isNull();
  afterPicture_->setVisible(offered);
  afterWords_->setVisible(offered);
}

void FindingsPanel::choose(const std::string& key) {
  const Finding* finding = document_.findings().find(key);
  const auto evaluated = document_.evaluated();
  if (!finding || !evaluated) return;
  document_.findings().choose(key);
  pictureOf(*finding);
}

// The frame where it is worst, and the bone it is about.
void FindingsPanel::pictureOf(const Finding& finding) {
  const auto evaluated = document_.evaluated();
  if (!evaluated || !evaluated->context) return;
  session_.setFrame(std::clamp(finding.worst - evaluated->trimFirst, 0, std::max(0, evaluated->frames - 1)));
  if (finding.bones.empty()) return;
  if (const auto joint = findBone(*evaluated->context, finding.bones.front())) session_.select(Bone{Cast::character, joint.value()});
}

void FindingsPanel::step(int direction) {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return;
  if (const Finding* next = document_.findings().next(session_.frame() + evaluated->trimFirst, direction)) choose(std::string(next->key));
}

void FindingsPanel::acceptChosen() {
  const Finding* chosen = document_.findings().chosen();
  if (!chosen) return;
  const std::string key = chosen->key;
  // The one after it is next, so that a list can be gone through by one key.
  const Finding* after = document_.findings().next(chosen->span.last, 1);
  const std::string next = after ? after->key : std::string();
  document_.findings().accept(key);
  if (!next.empty()) choose(next);
}

void FindingsPanel::acceptKind() {
  if (const Finding* chosen = document_.findings().chosen()) document_.findings().acceptKind(chosen->kind);
}

void FindingsPanel::waveOff() {
  if (const Finding* chosen = document_.findings().chosen()) document_.findings().waveOff(chosen->key, !chosen->waved);
}

void FindingsPanel::finish() { document_.findings().finish(); }

void FindingsPanel::togglePreview() {
  FindingsKeeper& keeper = document_.findings();
  const Finding* chosen = keeper.chosen();
  keeper.preview(chosen && keeper.previewed() != chosen->key ? chosen->key : std::string());
}

void FindingsPanel::hover(int row) {
  if (row == hovered_) return;
  hovered_ = row;
  FindingsKeeper& keeper = document_.findings();
  const Finding* finding = keeper.find(model_->keyAt(row));
  const auto evaluated = document_.evaluated();
  if (!finding || finding->proposal.empty() || !evaluated) {
    keeper.preview({});
    if (before_) {
      session_.setPlaying(false);
      session_.setRange(before_->first, before_->last);
      session_.setFrame(before_->frame);
      session_.setPlaying(before_->playing);
      before_.reset();
    }
    return;
  }
  if (!before_) before_ = Before{session_.frame(), session_.rangeFirst(), session_.rangeLast(), session_.playing()};
  const int room = static_cast<int>(std::lround(0.3 * evaluated->rate.hertz()));
  session_.setRange(finding->span.first - evaluated->trimFirst - room, finding->span.last - evaluated->trimFirst + room);
  keeper.preview(finding->key);
  session_.setFrame(session_.rangeFirst());
  session_.setPlaying(true);
}

int FindingsPanel::offerAt(const QPoint& at) const {
  const QModelIndex index = list_->indexAt(at);
  const QString offer = index.data(FindingsModel::proposalRole).toString();
  return !offer.isEmpty() && FindingDelegate::offerRect(list_->visualRect(index), offer).contains(at) ? index.row() : -1;
}

bool FindingsPanel::eventFilter(QObject* watched, QEvent* event) {
  if (event->type() == QEvent::MouseMove) {
    hover(offerAt(static_cast<QMouseEvent*>(event)->pos()));
  } else if (event->type() == QEvent::ToolTip) {
    // While an offer plays no words lie over the list.
    if (offerAt(static_cast<QHelpEvent*>(event)->pos()) >= 0) return true;
  } else if (event->type() == QEvent::Leave) {
    hover(-1);
  }
  return QWidget::eventFilter(watched, event);
}

}  // namespace understudy::editor
