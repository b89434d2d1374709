#include "app/editor/panels/map_panel.h"

#include <QHBoxLayout>
#include <QHeaderView>
#include <QLabel>
#include <QSignalBlocker>
#include <QSplitter>
#include <QTableView>
#include <QToolButton>
#include <QVBoxLayout>
#include <algorithm>

#include "app/editor/document/describe.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "app/editor/panels/map_figure.h"
#include "app/editor/panels/map_model.h"

namespace understudy::editor {

MapPanel::MapPanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 4, 0, 0);
  column->setSpacing(4);
  auto* bar = new QHBoxLayout;
  summary_ = new QLabel(this);
  summary_->setProperty("quiet", true);
  bar->addWidget(summary_, 1);
  pick_ = new QToolButton(this);
  pick_->setIcon(icon(QStringLiteral("pick")));
  pick_->setCheckable(true);
  pick_->setProperty("flat", true);
  pick_->setToolTip(tr("Fill the active row by clicking bones in the stage  (P)"));
  pick_->setAccessibleName(tr("Pick bones in the stage"));
  auto* again = new QToolButton(this);
  again->setIcon(icon(QStringLiteral("auto")));
  again->setProperty("flat", true);
  again->setToolTip(tr("Find the whole map again, dropping changes made by hand"));
  again->setAccessibleName(tr("Map automatically"));
  auto* all = new QToolButton(this);
  all->setText(tr("Fingers"));
  all->setCheckable(true);
  all->setProperty("flat", true);
  all->setToolTip(tr("Show fingers, eyes and jaw too"));
  auto* mirror = new QToolButton(this);
  mirror->setObjectName(QStringLiteral("mirrorMap"));
  mirror->setIcon(icon(QStringLiteral("mirror")));
  mirror->setCheckable(true);
  mirror->setProperty("flat", true);
  mirror->setToolTip(tr("Fill the other side's role with the mirrored bone as well"));
  mirror->setAccessibleName(mirror->toolTip());
  connect(mirror, &QToolButton::toggled, this, [this](bool on) { document_.setMirrorsMap(on); });
  bar->addWidget(all);
  bar->addWidget(mirror);
  bar->addWidget(again);
  bar->addWidget(pick_);
  column->addLayout(bar);
  model_ = new MapModel(document, this);
  table_ = new QTableView(this);
  table_->setObjectName(QStringLiteral("map"));
  table_->setAccessibleName(tr("Bone map"));
  table_->setModel(model_);
  table_->setItemDelegate(new MapDelegate(table_));
  table_->setSelectionBehavior(QAbstractItemView::SelectRows);
  table_->setSelectionMode(QAbstractItemView::SingleSelection);
  table_->setEditTriggers(QAbstractItemView::DoubleClicked | QAbstractItemView::EditKeyPressed | QAbstractItemView::SelectedClicked);
  table_->setShowGrid(false);
  table_->setWordWrap(false);
  table_->setTabKeyNavigation(false);
  table_->verticalHeader()->hide();
  table_->verticalHeader()->setDefaultSectionSize(25);
  table_->horizontalHeader()->setHighlightSections(false);
  table_->horizontalHeader()->setSectionResizeMode(QHeaderView::Stretch);
  table_->horizontalHeader()->setSectionResizeMode(0, QHeaderView::ResizeToContents);
  QFont bold = Appearance::small();
  bold.setWeight(QFont::DemiBold);
  table_->setMinimumWidth(150 + 2 * (QFontMetrics(bold).horizontalAdvance(std::max(tr("Performer"), tr("Character"), [](const QString& a, const QString& b) { return a.size() < b.size(); })) + 16));
  table_->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  figure_ = new MapFigure(document, session, this);
  auto* parts = new QSplitter(Qt::Vertical, this);
  parts->setChildrenCollapsible(false);
  parts->setHandleWidth(4);
  parts->addWidget(figure_);
  parts->addWidget(table_);
  parts->setSizes({240, 320});
  parts->setStretchFactor(0, 2);
  parts->setStretchFactor(1, 3);
  figure_->setMinimumHeight(130);
  column->addWidget(parts, 1);
  connect(all, &QToolButton::toggled, model_, &MapModel::setAll);
  connect(again, &QToolButton::clicked, this, [this] { mapAgain(document_); });
  connect(pick_, &QToolButton::toggled, &session, &Session::setPicking);
  connect(&session, &Session::pickingChanged, pick_, &QToolButton::setChecked);
  connect(table_->selectionModel(), &QItemSelectionModel::currentRowChanged, this, [this](const QModelIndex& now) {
    if (!now.isValid()) return;
    // The role's own bone becomes the selected one, so that handle and curves follow.
    const Role role = model_->roleOfRow(now.row());
    session_.selectRole(role, boneOf(document_.map(), role));
  });
  connect(&session, &Session::selectionChanged, this, &MapPanel::followSelection);
  connect(&document, &Document::evaluatedChanged, this, &MapPanel::refresh);
  refresh();
}

void MapPanel::refresh() {
  const bool both = document_.figure(Cast::performer) && document_.figure(Cast::character);
  pick_->setEnabled(both);
  if (!both || !document_.evaluated()) {
    summary_->setText(tr("Load both figures first"));
    return;
  }
  const MapSummary s = summaryOf(document_.map());
  QString text = tr("%1 sure").arg(s.sure);
  if (s.doubtful) text += tr(" · %1 doubtful").arg(s.doubtful);
  if (s.missing) text += tr(" · %1 missing").arg(s.missing);
  summary_->setText(text);
}

void MapPanel::followSelection() {
  const auto bone = session_.selected();
  if (bone != followed_ && bone && !session_.picking()) {
    const SkeletonMap& map = bone->cast == Cast::performer ? document_.map().performer : document_.map().character;
    const auto role = session_.role();
    const bool held = role && std::count(map.at(*role).joints.begin(), map.at(*role).joints.end(), bone->joint) > 0;
    followed_ = bone;
    if (!held) session_.setRole(roleOf(map, bone->joint));
  }
  followed_ = bone;
  const int row = session_.role() ? model_->rowOf(*session_.role()) : -1;
  if (row == table_->currentIndex().row()) return;
  // Only the row moves; the bone that was clicked stays selected.
  const QSignalBlocker blocker(table_->selectionModel());
  if (row >= 0) {
    table_->selectionModel()->setCurrentIndex(model_->index(row, 0), QItemSelectionModel::ClearAndSelect | QItemSelectionModel::Rows);
    table_->scrollTo(model_->index(row, 0));
  } else {
    table_->selectionModel()->clear();
  }
  table_->viewport()->update();
}

}  // namespace understudy::editor
