// Fields of a repair that hold more than a number: bones, places, phases.
#include <QComboBox>
#include <QGridLayout>
#include <QLineEdit>
#include <QToolButton>
#include <algorithm>
#include <string_view>

#include "app/editor/document/repairing.h"
#include "app/editor/document/spans.h"
#include "app/editor/panels/form_builder.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

std::vector<std::string> namesIn(const QString& text) {
  std::vector<std::string> names;
  for (const QString& part : text.split(QLatin1Char(','), Qt::SkipEmptyParts))
    if (const QString name = part.trimmed(); !name.isEmpty()) names.push_back(name.toStdString());
  return names;
}

QString joinedNames(const std::vector<std::string>& names) {
  QStringList list;
  for (const std::string& name : names) list << QString::fromStdString(name);
  return list.join(QStringLiteral(", "));
}

}  // namespace

QWidget* FormBuilder::boneBox(const QString& name, const Lens<std::string>& lens) {
  auto* box = new QComboBox(grid_->parentWidget());
  box->setEditable(true);
  box->setAccessibleName(name);
  box->setSizeAdjustPolicy(QComboBox::AdjustToMinimumContentsLengthWithIcon);
  box->setMinimumContentsLength(5);
  const SkeletonMap& map = form_.document_.map().character;
  for (int r = 0; r < roleCount; ++r)
    if (map.joint(roleAt(r)) >= 0) {
      const std::string role = "@" + std::string(roleName(roleAt(r)));
      box->addItem(boneText(role), QString::fromStdString(role));
    }
  const auto send = [form = &form_, lens, box] {
    const int at = box->findText(box->currentText());
    const std::string bone = at >= 0 ? box->itemData(at).toString().toStdString() : box->currentText().trimmed().toStdString();
    form->write([&](Repair& r) { lens(r) = bone; }, QString());
  };
  QObject::connect(box, &QComboBox::activated, &form_, send);
  QObject::connect(box->lineEdit(), &QLineEdit::editingFinished, &form_, send);
  form_.fill_.push_back([box, lens](Repair& r) {
    if (!box->lineEdit()->hasFocus()) box->setEditText(boneText(lens(r)).isEmpty() ? QString() : lens(r).starts_with('@') ? boneText(lens(r)) : QString::fromStdString(lens(r)));
  });
  return box;
}

void FormBuilder::field(const FieldInfo& info, const Lens<std::string>& lens) {
  const std::string_view name = info.name;
  if (name == "bone" || name == "on") {
    row(info, {boneBox(plainText(info.name), lens)});
    return;
  }
  if (name == "shape") {
    static const std::vector<const char*> shapes{"relaxed", "flat", "fist", "point", "grip"};
    choice(info, shapes,
           [lens](Repair& r) {
             const auto at = std::find_if(shapes.begin(), shapes.end(), [&](const char* s) { return lens(r) == s; });
             return at == shapes.end() ? -1 : static_cast<int>(at - shapes.begin());
           },
           [lens](Repair& r, int v) { lens(r) = shapes[static_cast<std::size_t>(v)]; });
    return;
  }
  auto* line = new QLineEdit(grid_->parentWidget());
  line->setObjectName(QString::fromLatin1(info.name));
  QObject::connect(line, &QLineEdit::editingFinished, &form_, [form = &form_, lens, line] { form->write([&](Repair& r) { lens(r) = line->text().toStdString(); }, QString()); });
  form_.fill_.push_back([line, lens](Repair& r) {
    if (!line->hasFocus()) line->setText(QString::fromStdString(lens(r)));
  });
  row(info, {line});
}

void FormBuilder::field(const FieldInfo& info, const Lens<std::uint64_t>& lens) {
  auto* box = new QComboBox(grid_->parentWidget());
  box->setObjectName(QString::fromLatin1(info.name));
  box->setAccessibleName(plainText(info.name));
  form_.fill_.push_back([box, lens, form = &form_](Repair& r) {
    box->clear();
    box->addItem(RepairForm::tr("none"), QVariant::fromValue<qulonglong>(0));
    for (const PropItem& prop : *form->document_.take().props)
      box->addItem(prop.name.empty() ? RepairForm::tr("prop %1").arg(prop.id) : QString::fromStdString(prop.name), QVariant::fromValue<qulonglong>(prop.id));
    box->setCurrentIndex(std::max(0, box->findData(QVariant::fromValue<qulonglong>(lens(r)))));
  });
  QObject::connect(box, &QComboBox::activated, &form_, [form = &form_, lens, box] {
    const std::uint64_t prop = box->currentData().toULongLong();
    form->write([&](Repair& r) {
      lens(r) = prop;
      setAnchored(r, false);
    }, QString());
  });
  row(info, {box});
}

void FormBuilder::field(const FieldInfo& info, const Lens<std::optional<double>>& lens) {
  auto* on = new QToolButton(grid_->parentWidget());
  on->setCheckable(true);
  on->setObjectName(QString::fromLatin1(info.name) + QStringLiteral("On"));
  on->setText(RepairForm::tr("here"));
  on->setToolTip(RepairForm::tr("At the current frame; once more: not at all"));
  QObject::connect(on, &QToolButton::clicked, &form_, [form = &form_, lens](bool checked) {
    const auto evaluated = form->document_.evaluated();
    if (!evaluated) return;
    const double now = evaluated->rate.seconds(evaluated->trimFirst + form->session_.frame());
    form->write([&](Repair& r) {
      lens(r) = checked ? std::optional(now) : std::nullopt;
      if (checked && r.span) lens(r) = std::clamp(now, r.span->first, r.span->last);
    }, QString());
  });
  auto* n = number(info, Shown::frame, plainText(info.name), [lens](Repair& r) { return lens(r) ? *lens(r) : r.span ? r.span->first : 0; }, [lens](Repair& r, double v) { lens(r) = v; }, 0, 0);
  form_.fill_.push_back([on, n, lens](Repair& r) {
    on->setChecked(lens(r).has_value());
    n->setEnabled(lens(r).has_value());
  });
  row(info, {n, on}, n);
}

void FormBuilder::field(const FieldInfo& info, const Lens<Vec3d>& lens) {
  std::vector<QWidget*> boxes;
  NumberField* first = nullptr;
  for (int i = 0; i < 3; ++i) {
    auto* n = number(info, shownAs(info), plainText(info.name) + QLatin1Char(' ') + QLatin1Char("XYZ"[i]), [lens, i](Repair& r) { return lens(r)[i]; },
                     [lens, i](Repair& r, double v) { lens(r)[i] = v; }, info.least, info.most);
    n->setSuffix(QString());
    if (shownAs(info) == Shown::degrees) n->setSuffix(QStringLiteral("°"));
    boxes.push_back(n);
    if (!first) first = n;
  }
  row(info, boxes, first);
}

void FormBuilder::field(const FieldInfo& info, const Lens<Placement>& lens) {
  FieldInfo place = info, turn = info;
  place.unit = "m";
  turn.unit = "rad";
  field(place, Lens<Vec3d>([lens](Repair& r) -> Vec3d& { return lens(r).position; }));
  // A rotation is edited as axis times angle; the quaternion follows.
  std::vector<QWidget*> boxes;
  NumberField* first = nullptr;
  for (int i = 0; i < 3; ++i) {
    auto* n = number(turn, Shown::degrees, plainText(info.name) + RepairForm::tr(" turn ") + QLatin1Char("XYZ"[i]), [lens, i](Repair& r) { return logOf(lens(r).rotation)[i]; },
                     [lens, i](Repair& r, double v) {
                       Vec3d axis = logOf(lens(r).rotation);
                       axis[i] = v;
                       lens(r).rotation = expOf(axis);
                     }, -1e4, 1e4);
    boxes.push_back(n);
    if (!first) first = n;
  }
  row(RepairForm::tr("turned"), QObject::tr(info.what), boxes, first);
}

void FormBuilder::field(const FieldInfo& info, const Lens<std::vector<std::string>>& lens) {
  auto* line = new QLineEdit(grid_->parentWidget());
  line->setObjectName(QString::fromLatin1(info.name));
  line->setAccessibleName(plainText(info.name));
  line->setPlaceholderText(RepairForm::tr("all"));
  QObject::connect(line, &QLineEdit::editingFinished, &form_, [form = &form_, lens, line] { form->write([&](Repair& r) { lens(r) = namesIn(line->text()); }, QString()); });
  form_.fill_.push_back([line, lens](Repair& r) {
    if (!line->hasFocus()) line->setText(joinedNames(lens(r)));
  });
  if (std::string_view(info.name) == "bodies") {
    row(info, {line});
    return;
  }
  auto* add = smallButton(QStringLiteral("+"), RepairForm::tr("Add the selected bone"), [form = &form_, lens] {
    const auto bone = form->session_.selected();
    const auto evaluated = form->document_.evaluated();
    if (!bone || bone->cast != Cast::character || !evaluated || !evaluated->context) return;
    const std::string name = boneName(*evaluated->context, bone->joint);
    form->write([&](Repair& r) {
      if (std::find(lens(r).begin(), lens(r).end(), name) == lens(r).end()) lens(r).push_back(name);
    }, QString());
  });
  add->setObjectName(QString::fromLatin1(info.name) + QStringLiteral("Add"));
  row(info, {line, add});
}

void FormBuilder::field(const FieldInfo& info, const Lens<std::vector<JointNudge>>& lens) {
  const Repair* repair = findRepair(form_.document_.take(), form_.id_);
  const auto* offset = repair ? std::get_if<OffsetRepair>(&repair->action) : nullptr;
  const std::size_t count = offset ? offset->bones.size() : 0;
  for (std::size_t i = 0; i < count; ++i) {
    const auto safe = [lens, i](Repair& r) -> JointNudge& {
      if (lens(r).size() <= i) lens(r).resize(i + 1);
      return lens(r)[i];
    };
    auto* drop = smallButton(QStringLiteral("–"), RepairForm::tr("Take this bone out"), [form = &form_, lens, i] {
      form->write([&](Repair& r) {
        if (i < lens(r).size()) lens(r).erase(lens(r).begin() + static_cast<std::ptrdiff_t>(i));
      }, QString());
    });
    row(RepairForm::tr("bone"), QObject::tr(info.what), {boneBox(RepairForm::tr("Bone"), [safe](Repair& r) -> std::string& { return safe(r).joint; }), drop});
    field(FieldInfo{"turn", "Turn about X, Y, Z", "rad"}, Lens<Vec3d>([safe](Repair& r) -> Vec3d& { return safe(r).rotation; }));
    field(FieldInfo{"move", "Move along X, Y, Z in mm", "m"}, Lens<Vec3d>([safe](Repair& r) -> Vec3d& { return safe(r).translation; }));
  }
  auto* add = smallButton(RepairForm::tr("Add bone"), RepairForm::tr("Add the selected bone"), [form = &form_, lens] {
    const auto bone = form->session_.selected();
    const auto evaluated = form->document_.evaluated();
    if (!bone || bone->cast != Cast::character || !evaluated || !evaluated->context) return;
    form->write([&](Repair& r) { lens(r).push_back({boneName(*evaluated->context, bone->joint), {}, {}}); }, QString());
  });
  add->setObjectName(QStringLiteral("bonesAdd"));
  row(QString(), QObject::tr(info.what), {add});
}

void FormBuilder::field(const FieldInfo& info, const Lens<std::vector<PlantMark>>& lens) {
  const Repair* repair = findRepair(form_.document_.take(), form_.id_);
  const auto* plant = repair ? std::get_if<PlantRepair>(&repair->action) : nullptr;
  const std::size_t count = plant ? plant->marks.size() : 0;
  const FrameRate rate = units_.rate;
  for (std::size_t i = 0; i < count; ++i) {
    auto* phase = new QComboBox(grid_->parentWidget());
    phase->setObjectName(QStringLiteral("phase%1").arg(i));
    phase->setAccessibleName(RepairForm::tr("Phase %1").arg(i + 1));
    phase->setSizeAdjustPolicy(QComboBox::AdjustToMinimumContentsLengthWithIcon);
    phase->setMinimumContentsLength(4);
    for (const char* name : namesOf(PlantPhase{})) phase->addItem(plainText(name));
    QObject::connect(phase, &QComboBox::activated, &form_, [form = &form_, lens, i](int value) {
      form->write([&](Repair& r) {
        if (i < lens(r).size()) lens(r)[i].phase = static_cast<PlantPhase>(value);
      }, QString());
    });
    form_.fill_.push_back([phase, lens, i](Repair& r) {
      if (i < lens(r).size()) phase->setCurrentIndex(static_cast<int>(lens(r)[i].phase));
    });
    auto* from = number(FieldInfo{"phaseFrom", "", "s"}, Shown::frame, RepairForm::tr("Phase %1 from frame").arg(i + 1),
                        [lens, i](Repair& r) { return i < lens(r).size() ? lens(r)[i].time : 0; },
                        [rate, i](Repair& r, double v) { r = withMark(r, static_cast<int>(i), frameAt(v, rate), rate); }, 0, 0);
    from->setEnabled(i > 0);
    auto* drop = smallButton(QStringLiteral("–"), RepairForm::tr("Take this phase out"), [form = &form_, lens, i] {
      form->write([&](Repair& r) {
        auto& marks = lens(r);
        if (i >= marks.size()) return;
        if (i == 0 && marks.size() > 1) marks[1].time = marks[0].time;
        marks.erase(marks.begin() + static_cast<std::ptrdiff_t>(i));
      }, QString());
    });
    row(i == 0 ? RepairForm::tr("phases") : QString(), QObject::tr(info.what), {phase, from, drop}, from);
  }
  auto* add = smallButton(RepairForm::tr("Phase from here"), RepairForm::tr("A phase that begins at the current frame"), [form = &form_, rate] {
    const auto evaluated = form->document_.evaluated();
    if (!evaluated) return;
    form->write([&](Repair& r) {
      const auto* p = std::get_if<PlantRepair>(&r.action);
      const PlantPhase next = p && !p->marks.empty() ? static_cast<PlantPhase>(std::min(3, static_cast<int>(p->marks.back().phase) + 1)) : PlantPhase::ball;
      r = withPhase(r, next, evaluated->trimFirst + form->session_.frame(), rate);
    }, QString());
  });
  add->setObjectName(QStringLiteral("phaseAdd"));
  row(count == 0 ? RepairForm::tr("phases") : QString(), QObject::tr(info.what), {add});
}

void FormBuilder::field(const FieldInfo& info, const Lens<std::vector<TouchMark>>& lens) {
  auto* label = new QLabel(grid_->parentWidget());
  form_.fill_.push_back([label, lens](Repair& r) {
    const int n = static_cast<int>(lens(r).size());
    label->setText(n == 0 ? RepairForm::tr("it stays") : RepairForm::tr("%1 places").arg(n));
  });
  auto* drop = smallButton(QStringLiteral("–"), RepairForm::tr("Let it stay at one place"), [form = &form_, lens] { form->write([&](Repair& r) { lens(r).clear(); }, QString()); });
  row(info, {label, drop});
}

}  // namespace understudy::editor
