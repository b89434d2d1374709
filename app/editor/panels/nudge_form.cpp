#include "app/editor/panels/nudge_form.h"

#include <QCheckBox>
#include <QDoubleSpinBox>
#include <QGridLayout>
#include <QLabel>
#include <QScopedValueRollback>
#include <QSpinBox>
#include <cmath>

#include "app/editor/document/repairing.h"
#include "core/math/angle.h"
#include "core/take/edits.h"

namespace understudy::editor {
NudgeForm::NudgeForm(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  auto* grid = new QGridLayout(this);
  grid->setContentsMargins(0, 0, 6, 0);
  grid->setHorizontalSpacing(5);
  grid->setVerticalSpacing(4);
  title_ = new QLabel(this);
  grid->addWidget(title_, 0, 0, 1, 4);
  const auto quiet = [this](const QString& text) {
    auto* label = new QLabel(text, this);
    label->setProperty("quiet", true);
    return label;
  };
  const auto spin = [this](const QString& name) {
    auto* s = new QSpinBox(this);
    s->setKeyboardTracking(false);
    s->setAccessibleName(name);
    s->setSizePolicy(QSizePolicy::Ignored, QSizePolicy::Fixed);  // three share the panel's width
    s->setMinimumWidth(60);
    connect(s, &QSpinBox::valueChanged, this, &NudgeForm::write);
    return s;
  };
  const auto real = [this](const QString& name, double low, double high, int decimals, double step) {
    auto* s = new QDoubleSpinBox(this);
    s->setKeyboardTracking(false);
    s->setAccessibleName(name);
    s->setRange(low, high);
    s->setDecimals(decimals);
    s->setSingleStep(step);
    s->setSizePolicy(QSizePolicy::Ignored, QSizePolicy::Fixed);
    s->setMinimumWidth(64);
    connect(s, &QDoubleSpinBox::valueChanged, this, &NudgeForm::write);
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
  weight_ = real(tr("Weight"), 0, 400, 0, 5);
  weight_->setSuffix(tr(" %"));
  grid->addWidget(quiet(tr("frame")), 1, 0);
  grid->addWidget(frame_, 1, 1);
  grid->addWidget(before_, 1, 2);
  grid->addWidget(after_, 1, 3);
  grid->addWidget(quiet(tr("turn")), 2, 0);
  for (int i = 0; i < 3; ++i) {
    const QString axis(QLatin1Char("XYZ"[i]));
    auto* s = real(tr("Turn about %1").arg(axis), -720, 720, 1, 1);
    s->setPrefix(axis + QLatin1Char(' '));
    s->setSuffix(QStringLiteral("°"));
    turn_[static_cast<std::size_t>(i)] = s;
    grid->addWidget(s, 2, 1 + i);
  }
  grid->addWidget(quiet(tr("weight")), 3, 0);
  grid->addWidget(weight_, 3, 1);
  muted_ = new QCheckBox(tr("muted"), this);
  muted_->setToolTip(tr("Leave the nudge out for now  (M)"));
  late_ = new QCheckBox(tr("late"), this);
  late_->setToolTip(tr("Made on the result: applied after all repairs"));
  for (QCheckBox* box : {muted_, late_}) connect(box, &QCheckBox::toggled, this, &NudgeForm::write);
  grid->addWidget(muted_, 3, 2);
  grid->addWidget(late_, 3, 3);
  for (int i = 1; i < 4; ++i) grid->setColumnStretch(i, 1);
}

void NudgeForm::show(const Nudge& nudge) {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return;
  const QScopedValueRollback guard(filling_, true);
  const NudgeFrames span = nudgeFrames(nudge, evaluated->rate);
  title_->setText(nudge.joints.empty() ? QString() : boneText(nudge.joints[0].joint));
  frame_->setRange(evaluated->firstFrame, evaluated->firstFrame + std::max(0, evaluated->frames - 1));
  frame_->setValue(frameOf(*evaluated, nudge) + evaluated->firstFrame);
  before_->setValue(span.before);
  after_->setValue(span.after);
  weight_->setValue(100 * nudge.weight);
  const Vec3d r = nudge.joints.empty() ? Vec3d{} : nudge.joints[0].rotation;
  for (int i = 0; i < 3; ++i) turn_[static_cast<std::size_t>(i)]->setValue(r[i] * degreesPerRadian);
  muted_->setChecked(nudge.muted);
  late_->setChecked(nudge.late);
}

void NudgeForm::write() {
  const Nudge* nudge = findNudge(document_.take(), session_.repair());
  const auto evaluated = document_.evaluated();
  if (filling_ || !nudge || !evaluated) return;
  Nudge next = *nudge;
  // Only what was changed is written: shown values are rounded.
  const NudgeFrames span = nudgeFrames(*nudge, evaluated->rate);
  if (frame_->value() - evaluated->firstFrame != frameOf(*evaluated, *nudge))
    next.time = evaluated->rate.seconds(evaluated->trimFirst + frame_->value() - evaluated->firstFrame);
  if (before_->value() != span.before) next.easeBefore = evaluated->rate.seconds(before_->value());
  if (after_->value() != span.after) next.easeAfter = evaluated->rate.seconds(after_->value());
  if (std::abs(weight_->value() / 100 - nudge->weight) > 0.0051) next.weight = weight_->value() / 100;
  if (!next.joints.empty())
    for (int i = 0; i < 3; ++i) {
      const double shown = turn_[static_cast<std::size_t>(i)]->value() / degreesPerRadian;
      if (std::abs(shown - nudge->joints[0].rotation[i]) > 0.051 / degreesPerRadian) next.joints[0].rotation[i] = shown;
    }
  next.muted = muted_->isChecked();
  next.late = late_->isChecked();
  document_.edit(tr("Change nudge"), changeNudge(document_.take(), next));
}

}  // namespace understudy::editor
