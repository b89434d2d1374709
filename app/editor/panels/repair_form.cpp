#include "app/editor/panels/repair_form.h"

#include <QCheckBox>
#include <QComboBox>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QSignalBlocker>
#include <QToolButton>
#include <QVBoxLayout>

#include "app/editor/document/describe.h"
#include "app/editor/document/repairing.h"
#include "app/editor/document/spans.h"
#include "app/editor/panels/field_widgets.h"
#include "app/editor/panels/form_builder.h"
#include "core/repair/grip.h"
#include "core/take/edits.h"

namespace understudy::editor {

RepairForm::RepairForm(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 0, 6, 0);
}

void RepairForm::write(const Change& change, const QString& mergeKey) {
  const Repair* repair = findRepair(document_.take(), id_);
  if (!repair) return;
  Repair next = *repair;
  change(next);
  changeItem(document_, ledAsChosen(*repair, std::move(next)), tr("Change %1").arg(kindText(*repair)), mergeKey);
}

void RepairForm::show(const Repair& repair) {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return;
  const QString signature = QStringLiteral("%1 %2 %3 %4").arg(repair.id).arg(FormBuilder::shapeOf(repair)).arg(evaluated->rate.hertz()).arg(evaluated->firstFrame - evaluated->trimFirst);
  id_ = repair.id;
  if (signature != signature_) {
    signature_ = signature;
    rebuild(repair);
  }
  Repair copy = repair;
  for (const auto& fill : fill_) fill(copy);
}

void RepairForm::rebuild(const Repair& repair) {
  fill_.clear();
  if (body_) {
    body_->hide();  // at once: its fields are of another repair
    body_->deleteLater();
  }
  body_ = new QWidget(this);
  layout()->addWidget(body_);
  FormBuilder builder(*this, body_);
  builder.common(repair);
  builder.parameters(repair);
  body_->show();
}

}  // namespace understudy::editor
