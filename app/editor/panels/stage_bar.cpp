#include "app/editor/panels/stage_bar.h"

#include <QHBoxLayout>
#include <QMenu>
#include <QToolButton>
#include <numeric>

#include "app/editor/look/appearance.h"
#include "app/editor/panels/reel_bar.h"
#include "app/editor/stage/stage_widget.h"

namespace understudy::editor {
namespace {

int widthOf(const QToolButton& button) { return button.minimumWidth() + 3; }

}  // namespace

QStringList followNames() {
  return {StageBar::tr("nothing"), StageBar::tr("the figures"), StageBar::tr("the left hand"), StageBar::tr("the right hand"), StageBar::tr("the left foot"), StageBar::tr("the right foot"), StageBar::tr("the prop")};
}

QStringList axesNames() {
  return {StageBar::tr("bone"), StageBar::tr("parent"), StageBar::tr("character"), StageBar::tr("world"), StageBar::tr("view"), StageBar::tr("ground")};
}

StageBar::StageBar(Document& document, Session& session, StageWidget& stage, QWidget* parent) : QWidget(parent), document_(document), session_(session), stage_(stage) {
  setObjectName(QStringLiteral("stageBar"));
  setAttribute(Qt::WA_StyledBackground);
  auto* row = new QHBoxLayout(this);
  row->setContentsMargins(10, 6, 10, 6);
  row->setSpacing(3);
  views_ = group(tr("View"), {{tr("Free"), tr("Free view  (1)")}, {tr("Front"), tr("Front view  (2)")}, {tr("Side"), tr("Side view  (3)")}, {tr("Top"), tr("Top view  (4)")}},
                 [&stage](int i) { stage.setView(static_cast<View>(i)); });
  row->addStretch(1);
  show_ = new QMenu(this);
  axes_ = new QMenu(this);
  follow_ = new QMenu(this);
  showButton_ = menuPill(tr("What is drawn: bones, echoes, paths, distances, meshes"), show_);
  showButton_->setObjectName(QStringLiteral("show"));
  followButton_ = menuPill(tr("What the camera goes along with"), follow_);
  axesButton_ = menuPill(tr("Axes of the handles"), axes_);
  connect(show_, &QMenu::aboutToShow, this, &StageBar::fillShow);
  connect(axes_, &QMenu::aboutToShow, this, &StageBar::fillAxes);
  connect(follow_, &QMenu::aboutToShow, this, &StageBar::fillFollow);
  for (QToolButton* button : {showButton_, followButton_, axesButton_}) row->addWidget(button);
  row->addStretch(1);
  layouts_ = group(tr("Who"), {{tr("Both"), tr("Side by side  (5)")}, {tr("Overlaid"), tr("One over the other  (6)")}, {tr("Performer"), tr("Performer alone  (7)")},
                               {tr("Character"), tr("Character alone  (8)")}, {tr("Before | after"), tr("Without repairs beside with them  (9)")}, {tr("Two takes"), tr("Another take of the reel beside this one  (0)")},
                               {tr("References"), tr("Both in their reference poses, to align by eye  (Shift+R)")}},
                   [&session](int i) { session.setLayout(static_cast<StageLayout>(i)); });
  connect(&session, &Session::stageChanged, this, &StageBar::refresh);
  connect(&stage, &StageWidget::viewChanged, this, &StageBar::refresh);
  refresh();
}

StageBar::Group StageBar::group(const QString& name, const std::vector<std::pair<QString, QString>>& choices, std::function<void(int)> choose) {
  Group made;
  made.name = name;
  auto* menu = new QMenu(this);
  for (std::size_t i = 0; i < choices.size(); ++i) {
    auto* button = pill(choices[i].first, choices[i].second);
    button->setCheckable(true);
    const auto take = [this, choose, i] {
      choose(static_cast<int>(i));
      refresh();
    };
    connect(button, &QToolButton::clicked, this, take);
    layout()->addWidget(button);
    made.buttons.push_back(button);
    menu->addAction(choices[i].second.section(QStringLiteral("  ("), 0, 0), this, take)->setCheckable(true);
  }
  made.folded = menuPill(name, menu);
  layout()->addWidget(made.folded);
  return made;
}

QToolButton* StageBar::pill(const QString& text, const QString& tip) {
  auto* button = new QToolButton(this);
  button->setText(text);
  button->setToolTip(tip);
  button->setAccessibleName(tip.section(QStringLiteral("  ("), 0, 0));
  button->setProperty("pill", true);
  button->setFont(Appearance::small());
  // The style sheet's padding is not part of what the button asks for.
  button->setMinimumWidth(QFontMetrics(Appearance::small()).horizontalAdvance(text) + 22);
  return button;
}

QToolButton* StageBar::menuPill(const QString& tip, QMenu* menu) {
  auto* button = pill({}, tip);
  button->setMenu(menu);
  button->setPopupMode(QToolButton::InstantPopup);
  return button;
}

void StageBar::setCommands(Commands commands) {
  commands_ = std::move(commands);
  const std::pair<Group*, std::vector<QAction*>*> groups[] = {{&views_, &commands_.views}, {&layouts_, &commands_.layouts}};
  for (const auto& [group, actions] : groups) {
    group->folded->menu()->clear();
    for (QAction* action : *actions) action->setCheckable(true), group->folded->menu()->addAction(action);
  }
  for (const auto& [action, what] : commands_.shown) action->setCheckable(true);
  commands_.bare->setCheckable(true);
  refresh();
}

void StageBar::fillShow() {
  show_->clear();
  for (const auto& [action, what] : commands_.shown) show_->addAction(action);
  if (commands_.bare) show_->addAction(commands_.bare);
  fillBeside();
  fillMeshes();
}

void StageBar::fillBeside() {
  const Reel& reel = document_.reel();
  if (reel.takes.size() < 2) return;
  show_->addSeparator();
  QMenu* beside = show_->addMenu(tr("Beside this take"));
  for (int i = 0; i < static_cast<int>(reel.takes.size()); ++i) {
    if (i == reel.current) continue;
    auto* action = beside->addAction(takeText(reel, i), this, [this, i] {
      stage_.otherTake().choose(i);
      session_.setLayout(StageLayout::twoTakes);
    });
    action->setCheckable(true);
    action->setChecked(session_.layout() == StageLayout::twoTakes && stage_.otherTake().index() == i);
  }
}

void StageBar::fillMeshes() {
  const auto character = document_.figure(Cast::character);
  if (!character || character->meshes.empty()) return;
  const StageOptions& now = stage_.options();
  show_->addSeparator();
  if (commands_.allMeshes) show_->addAction(commands_.allMeshes);
  for (std::size_t i = 0; i < character->meshes.size() && i < 40; ++i) {
    const std::string& name = character->meshes[i].name;
    QMenu* mesh = show_->addMenu(name.empty() ? tr("mesh %1").arg(i + 1) : QString::fromStdString(name));
    const auto state = static_cast<MeshShow>(i < now.meshes.size() ? now.meshes[i] : 0);
    const std::pair<QString, MeshShow> states[] = {{tr("shown"), MeshShow::shown}, {tr("seen through"), MeshShow::through}, {tr("hidden"), MeshShow::hidden}};
    for (const auto& [text, value] : states) {
      auto* action = mesh->addAction(text, this, [this, i, value = value] { stage_.showMesh(static_cast<int>(i), value); });
      action->setCheckable(true);
      action->setChecked(state == value);
    }
    mesh->addAction(tr("nothing but this"), this, [this, i] { stage_.isolateMesh(static_cast<int>(i)); });
  }
}

void StageBar::fillFollow() {
  follow_->clear();
  const QStringList names = followNames();
  for (int i = 0; i < names.size(); ++i) {
    auto* action = follow_->addAction(names[i], this, [this, i] { stage_.change([i](StageOptions& o) { o.follow = static_cast<Follow>(i); }); });
    action->setCheckable(true);
    action->setChecked(static_cast<int>(stage_.options().follow) == i);
  }
}

void StageBar::fillAxes() {
  axes_->clear();
  const QStringList names = axesNames();
  for (int i = 0; i < names.size(); ++i) {
    auto* action = axes_->addAction(names[i], this, [this, i] { stage_.change([i](StageOptions& o) { o.axes = static_cast<NudgeSpace>(i); }); });
    action->setCheckable(true);
    action->setChecked(static_cast<int>(stage_.options().axes) == i);
  }
}

void StageBar::refresh() {
  const auto say = [](QToolButton* button, const QString& text) {
    button->setText(text + QStringLiteral("  ▾"));
    button->setMinimumWidth(QFontMetrics(Appearance::small()).horizontalAdvance(button->text()) + 20);
  };
  const std::pair<Group*, int> groups[] = {{&views_, static_cast<int>(stage_.view())}, {&layouts_, static_cast<int>(session_.layout())}};
  for (const auto& [group, at] : groups) {
    for (std::size_t i = 0; i < group->buttons.size(); ++i) group->buttons[i]->setChecked(static_cast<int>(i) == at);
    const QList<QAction*> actions = group->folded->menu()->actions();
    for (int i = 0; i < actions.size(); ++i) actions[i]->setChecked(i == at);
    say(group->folded, group->buttons[static_cast<std::size_t>(at)]->text());
  }
  for (const auto& [action, what] : commands_.shown) action->setChecked(stage_.options().*what);
  if (commands_.bare) commands_.bare->setChecked(session_.bare());
  say(showButton_, tr("Show"));
  say(followButton_, tr("Follow"));
  say(axesButton_, tr("Axes: %1").arg(axesNames()[static_cast<int>(stage_.options().axes)]));
  fold();
}

QSize StageBar::minimumSizeHint() const {
  int least = 20;
  for (const QToolButton* button : {views_.folded, showButton_, followButton_, axesButton_, layouts_.folded}) least += widthOf(*button);
  return {least, QWidget::minimumSizeHint().height()};
}

// Buttons in a row as far as there is room; who is shown folds first.
void StageBar::fold() {
  const auto open = [](const Group& g) { return std::accumulate(g.buttons.begin(), g.buttons.end(), 0, [](int sum, const QToolButton* b) { return sum + widthOf(*b); }); };
  int needed = 24;
  for (const QToolButton* button : {showButton_, followButton_, axesButton_}) needed += widthOf(*button);
  const bool viewsOpen = needed + open(views_) + widthOf(*layouts_.folded) <= width();
  const bool layoutsOpen = viewsOpen && needed + open(views_) + open(layouts_) <= width();
  const std::pair<Group*, bool> groups[] = {{&views_, viewsOpen}, {&layouts_, layoutsOpen}};
  for (const auto& [group, wide] : groups) {
    for (QToolButton* button : group->buttons) button->setVisible(wide);
    group->folded->setVisible(!wide);
  }
}

void StageBar::resizeEvent(QResizeEvent* event) {
  QWidget::resizeEvent(event);
  fold();
}

}  // namespace understudy::editor
