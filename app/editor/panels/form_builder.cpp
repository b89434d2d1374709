#include "app/editor/panels/form_builder.h"

#include <QCheckBox>
#include <QComboBox>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QLineEdit>
#include <QPushButton>
#include <QSignalBlocker>
#include <QToolButton>
#include <QLabel>
#include <algorithm>
#include <string_view>

#include "app/editor/document/describe.h"
#include "app/editor/document/repairing.h"
#include "app/editor/document/spans.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

QGridLayout* gridOf(QWidget* parent) {
  auto* grid = new QGridLayout(parent);
  grid->setContentsMargins(0, 0, 0, 0);
  grid->setHorizontalSpacing(5);
  grid->setVerticalSpacing(4);
  grid->setColumnMinimumWidth(0, 58);
  grid->setColumnStretch(1, 1);
  return grid;
}

/// Members that most people never set by number: they are moved by handles in the stage.
bool isFine(std::string_view name) {
  constexpr std::string_view fine[] = {"normal", "anchor", "yaw", "lift", "point", "leadGrip", "supportGrip", "leadPalm", "supportPalm", "path", "skin", "place"};
  return std::find(std::begin(fine), std::end(fine), name) != std::end(fine);
}

/// Finds the member at a place of the description.
template <class T, class A>
T& memberAt(A& action, int place) {
  T* found = nullptr;
  int at = 0;
  fields(
      [&](const FieldInfo&, auto& member) {
        if constexpr (std::same_as<std::decay_t<decltype(member)>, T>)
          if (at == place) found = &member;
        ++at;
      },
      action);
  return *found;
}

}  // namespace

FormBuilder::FormBuilder(RepairForm& form, QWidget* body) : form_(form), body_(body), grid_(gridOf(body)), plain_(grid_) {
  const auto evaluated = form.document_.evaluated();
  units_ = {evaluated->rate, evaluated->firstFrame - evaluated->trimFirst};
}

QString FormBuilder::shapeOf(const Repair& repair) {
  std::size_t size = 0;
  if (const auto* offset = std::get_if<OffsetRepair>(&repair.action)) size = offset->bones.size();
  if (const auto* plant = std::get_if<PlantRepair>(&repair.action)) size = plant->marks.size() * 2 + (plant->release ? 1 : 0);
  return QStringLiteral("%1 %2").arg(repair.action.index()).arg(size);
}

void FormBuilder::write(const RepairForm::Change& change, const QString& mergeKey) { form_.write(change, mergeKey); }

void FormBuilder::row(const QString& text, const QString& tip, const std::vector<QWidget*>& widgets, NumberField* scrub) {
  const int at = grid_->rowCount();
  QWidget* parent = grid_->parentWidget();
  QLabel* label = scrub ? new ScrubLabel(text, scrub, parent) : new QLabel(text, parent);
  label->setProperty("quiet", true);
  label->setToolTip(tip);
  label->setFont(parent->font());
  grid_->addWidget(label, at, 0);
  auto* line = new QHBoxLayout;
  line->setSpacing(4);
  for (QWidget* widget : widgets) {
    if (widget->toolTip().isEmpty()) widget->setToolTip(tip);
    line->addWidget(widget, qobject_cast<QToolButton*>(widget) ? 0 : 1);
  }
  grid_->addLayout(line, at, 1);
}

void FormBuilder::row(const FieldInfo& info, const std::vector<QWidget*>& widgets, NumberField* scrub) {
  row(plainText(info.name), QObject::tr(info.what), widgets, scrub);
}

NumberField* FormBuilder::number(const FieldInfo& info, Shown shown, const QString& name, const std::function<double(Repair&)>& get,
                                 const std::function<void(Repair&, double)>& set, double least, double most) {
  auto* field = new NumberField(shown, units_, least, most, name, grid_->parentWidget());
  field->setObjectName(QString::fromLatin1(info.name));
  const QString key = QStringLiteral("field-%1-%2").arg(form_.id_).arg(key_++);
  QObject::connect(field, &NumberField::written, &form_, [form = &form_, set, key](double stored, bool merge) {
    form->write([&](Repair& r) { set(r, stored); }, merge ? key : QString());
  });
  QObject::connect(field, &NumberField::settled, &form_, [form = &form_] { form->document_.seal(); });
  form_.fill_.push_back([field, get](Repair& r) { field->tell(get(r)); });
  return field;
}

NumberField* FormBuilder::number(const FieldInfo& info, const Lens<double>& lens) {
  return number(info, shownAs(info), plainText(info.name), [lens](Repair& r) { return lens(r); }, [lens](Repair& r, double v) { lens(r) = v; }, info.least, info.most);
}

QWidget* FormBuilder::smallButton(const QString& text, const QString& tip, const std::function<void()>& run) {
  auto* button = new QToolButton(grid_->parentWidget());
  button->setText(text);
  button->setToolTip(tip);
  button->setAccessibleName(tip);
  QObject::connect(button, &QToolButton::clicked, &form_, run);
  return button;
}

void FormBuilder::common(const Repair& repair) {
  auto* name = new QLineEdit(body_);
  name->setObjectName(QStringLiteral("repairName"));
  name->setAccessibleName(RepairForm::tr("Name"));
  name->setPlaceholderText(kindText(repair));
  QObject::connect(name, &QLineEdit::editingFinished, &form_, [form = &form_, name] {
    form->write([&](Repair& r) { r.name = name->text().trimmed().toStdString(); }, QString());
  });
  form_.fill_.push_back([name](Repair& r) {
    if (!name->hasFocus()) name->setText(QString::fromStdString(r.name));
  });
  row(RepairForm::tr("name"), RepairForm::tr("What you call it"), {name});

  const auto evaluated = form_.document_.evaluated();
  const int clip = evaluated->clipFrames;
  const FrameRate rate = evaluated->rate;
  const FieldInfo firstInfo{"first", "First frame", "s"}, lastInfo{"last", "Last frame", "s"};
  const double end = rate.seconds(std::max(0, clip - 1));
  auto* first = number(firstInfo, Shown::frame, RepairForm::tr("First frame"), [](Repair& r) { return r.span ? r.span->first : 0; },
                       [rate, clip](Repair& r, double v) { r = withEdge(r, SpanPart::first, frameAt(v, rate), rate, clip); }, 0, 0);
  auto* last = number(lastInfo, Shown::frame, RepairForm::tr("Last frame"), [end](Repair& r) { return r.span ? r.span->last : end; },
                      [rate, clip](Repair& r, double v) { r = withEdge(r, SpanPart::last, frameAt(v, rate), rate, clip); }, 0, 0);
  for (NumberField* field : {first, last}) field->limit(units_.frameBase, units_.frameBase + clip - 1);
  auto* whole = new QToolButton(body_);
  whole->setObjectName(QStringLiteral("wholeClip"));
  whole->setCheckable(true);
  whole->setText(RepairForm::tr("all"));
  whole->setToolTip(RepairForm::tr("The whole clip"));
  QObject::connect(whole, &QToolButton::clicked, &form_, [form = &form_, end](bool on) {
    form->write([&](Repair& r) { r.span = on ? std::nullopt : std::optional(TimeRange{0, end}); }, QString());
  });
  form_.fill_.push_back([whole](Repair& r) { whole->setChecked(!r.span); });
  row(RepairForm::tr("frames"), RepairForm::tr("First and last frame"), {first, last, whole}, first);

  const FieldInfo before{"easeBefore", "", "s", 0, 1e4}, after{"easeAfter", "", "s", 0, 1e4}, weight{"weight", "", "", 0, 1};
  auto* a = number(before, [](Repair& r) -> double& { return r.easeBefore; });
  auto* b = number(after, [](Repair& r) -> double& { return r.easeAfter; });
  a->setPrefix(QStringLiteral("− "));
  b->setPrefix(QStringLiteral("+ "));
  row(RepairForm::tr("ease"), RepairForm::tr("Frames of blend before and after"), {a, b}, a);
  auto* w = number(weight, [](Repair& r) -> double& { return r.weight; });
  row(RepairForm::tr("weight"), RepairForm::tr("Strength; at 0 it is left out"), {w}, w);
}

void FormBuilder::parameters(const Repair& repair) {
  std::visit(
      [&](const auto& action) {
        using A = std::decay_t<decltype(action)>;
        int place = 0;
        fields(
            [&](const FieldInfo& info, const auto& member) {
              using T = std::decay_t<decltype(member)>;
              const int mine = place++;
              const Lens<T> lens = [mine](Repair& r) -> T& { return memberAt<T>(std::get<A>(r.action), mine); };
              if (isFine(info.name) && !moreBody_) {
                moreBody_ = new QWidget(body_);
                more_ = gridOf(moreBody_);
              }
              grid_ = isFine(info.name) ? more_ : plain_;
              if constexpr (std::is_enum_v<T>)
                choice(info, namesOf(T{}), [lens](Repair& r) { return static_cast<int>(lens(r)); }, [lens](Repair& r, int v) { lens(r) = static_cast<T>(v); });
              else
                field(info, lens);
            },
            action);
      },
      repair.action);
  grid_ = plain_;
  if (!moreBody_) return;
  auto* toggle = new QToolButton(body_);
  toggle->setObjectName(QStringLiteral("morePlaces"));
  toggle->setCheckable(true);
  toggle->setProperty("flat", true);
  toggle->setText(RepairForm::tr("Places by number"));
  toggle->setChecked(form_.open_);
  QObject::connect(toggle, &QToolButton::toggled, &form_, [form = &form_, more = moreBody_](bool on) {
    form->open_ = on;
    more->setVisible(on);
  });
  plain_->addWidget(toggle, plain_->rowCount(), 0, 1, 2);
  plain_->addWidget(moreBody_, plain_->rowCount(), 0, 1, 2);
  moreBody_->setVisible(form_.open_);
}

void FormBuilder::field(const FieldInfo& info, const Lens<double>& lens) {
  auto* n = number(info, lens);
  row(info, {n}, n);
}

void FormBuilder::field(const FieldInfo& info, const Lens<int>& lens) {
  auto* n = number(info, Shown::plain, plainText(info.name), [lens](Repair& r) { return lens(r); }, [lens](Repair& r, double v) { lens(r) = static_cast<int>(v); }, info.least, info.most);
  row(info, {n}, n);
}

void FormBuilder::field(const FieldInfo& info, const Lens<bool>& lens) {
  if (std::string_view(info.name) == "anchored") {
    auto* again = new QPushButton(RepairForm::tr("Read it off again"), body_);
    again->setObjectName(QStringLiteral("anchorAgain"));
    again->setProperty("small", true);
    QObject::connect(again, &QPushButton::clicked, &form_, [form = &form_, lens] { form->write([&](Repair& r) { lens(r) = false; }, QString()); });
    row(QString(), RepairForm::tr("Forget where it stands, and read it off the motion at its frames once more"), {again});
    return;
  }
  auto* box = new QCheckBox(plainText(info.name), grid_->parentWidget());
  box->setToolTip(QObject::tr(info.what));
  box->setObjectName(QString::fromLatin1(info.name));
  QObject::connect(box, &QCheckBox::clicked, &form_, [form = &form_, lens](bool on) { form->write([&](Repair& r) { lens(r) = on; }, QString()); });
  form_.fill_.push_back([box, lens](Repair& r) { box->setChecked(lens(r)); });
  grid_->addWidget(box, grid_->rowCount(), 0, 1, 2);
}

void FormBuilder::choice(const FieldInfo& info, const std::vector<const char*>& names, const std::function<int(Repair&)>& get,
                         const std::function<void(Repair&, int)>& set) {
  auto* box = new QComboBox(grid_->parentWidget());
  box->setObjectName(QString::fromLatin1(info.name));
  box->setAccessibleName(plainText(info.name));
  box->setSizeAdjustPolicy(QComboBox::AdjustToMinimumContentsLengthWithIcon);
  box->setMinimumContentsLength(5);
  for (const char* name : names) box->addItem(plainText(name));
  QObject::connect(box, &QComboBox::activated, &form_, [form = &form_, set](int value) { form->write([&](Repair& r) { set(r, value); }, QString()); });
  form_.fill_.push_back([box, get](Repair& r) { box->setCurrentIndex(get(r)); });
  row(info, {box});
}

}  // namespace understudy::editor
