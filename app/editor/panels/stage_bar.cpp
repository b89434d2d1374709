#include "app/editor/panels/stage_bar.h"

#include <QHBoxLayout>
#include <QToolButton>

#include "app/editor/look/appearance.h"
#include "app/editor/stage/stage_widget.h"

namespace understudy::editor {

StageBar::StageBar(Session& session, StageWidget& stage, QWidget* parent) : QWidget(parent), session_(session), stage_(stage) {
  setObjectName(QStringLiteral("stageBar"));
  setAttribute(Qt::WA_StyledBackground);
  auto* row = new QHBoxLayout(this);
  row->setContentsMargins(10, 6, 10, 6);
  row->setSpacing(3);
  const std::pair<QString, View> views[] = {{tr("Free"), View::free}, {tr("Front"), View::front}, {tr("Side"), View::side}, {tr("Top"), View::top}};
  int key = 1;
  for (const auto& [text, view] : views) {
    auto* button = pill(text, tr("%1 view  (%2)").arg(text).arg(key++));
    connect(button, &QToolButton::clicked, &stage, [&stage, v = view] { stage.setView(v); });
    views_.push_back(button);
    row->addWidget(button);
  }
  row->addStretch(1);
  bones_ = pill(tr("Bones"), tr("Show the character's bones  (B)"));
  bare_ = pill(tr("Bare"), tr("Bare stage: hide all marks  (H)"));
  connect(bones_, &QToolButton::clicked, &stage, [this](bool on) { stage_.setBones(on); });
  connect(bare_, &QToolButton::clicked, &session, &Session::setBare);
  row->addWidget(bones_);
  row->addWidget(bare_);
  row->addStretch(1);
  const std::pair<QString, StageLayout> layouts[] = {{tr("Both"), StageLayout::sideBySide}, {tr("Overlaid"), StageLayout::overlaid},
                                                     {tr("Performer"), StageLayout::performerAlone}, {tr("Character"), StageLayout::characterAlone}};
  for (const auto& [text, layout] : layouts) {
    auto* button = pill(text, layout == StageLayout::sideBySide ? tr("Side by side  (%1)").arg(key++) : layout == StageLayout::overlaid ? tr("One over the other  (%1)").arg(key++) : tr("%1 alone  (%2)").arg(text).arg(key++));
    connect(button, &QToolButton::clicked, &session, [&session, l = layout] { session.setLayout(l); });
    layouts_.push_back(button);
    row->addWidget(button);
  }
  connect(&session, &Session::stageChanged, this, &StageBar::refresh);
  connect(&stage, &StageWidget::viewChanged, this, &StageBar::refresh);
  refresh();
}

QToolButton* StageBar::pill(const QString& text, const QString& tip) {
  auto* button = new QToolButton(this);
  button->setText(text);
  button->setToolTip(tip);
  button->setAccessibleName(tip.section(QStringLiteral("  ("), 0, 0));
  button->setCheckable(true);
  button->setProperty("pill", true);
  button->setFont(Appearance::small());
  // The style sheet's padding is not part of what the button asks for.
  button->setMinimumWidth(QFontMetrics(Appearance::small()).horizontalAdvance(text) + 22);
  return button;
}

void StageBar::refresh() {
  for (std::size_t i = 0; i < views_.size(); ++i) views_[i]->setChecked(static_cast<int>(stage_.view()) == static_cast<int>(i));
  for (std::size_t i = 0; i < layouts_.size(); ++i) layouts_[i]->setChecked(static_cast<int>(session_.layout()) == static_cast<int>(i));
  bones_->setChecked(stage_.showsBones());
  bare_->setChecked(session_.bare());
}

}  // namespace understudy::editor
