// Builds the fields of a repair from the description of its parameters.
#pragma once

#include <QWidget>
#include <functional>
#include <string>
#include <vector>

#include "app/editor/panels/field_widgets.h"
#include "app/editor/panels/repair_form.h"

class QGridLayout;

namespace understudy::editor {

class FormBuilder {
 public:
  FormBuilder(RepairForm& form, QWidget* body);
  /// Name, span, eases, weight.
  void common(const Repair& repair);
  /// All of the kind's own.
  void parameters(const Repair& repair);
  /// Text that differs where a repair needs other fields.
  [[nodiscard]] static QString shapeOf(const Repair& repair);

  /// Finds a part of a repair.
  template <class T>
  using Lens = std::function<T&(Repair&)>;

  // One field each, by the type of the member.
  void field(const FieldInfo& info, const Lens<double>& lens);
  void field(const FieldInfo& info, const Lens<int>& lens);
  void field(const FieldInfo& info, const Lens<bool>& lens);
  void field(const FieldInfo& info, const Lens<std::string>& lens);
  void field(const FieldInfo& info, const Lens<std::uint64_t>& lens);
  void field(const FieldInfo& info, const Lens<std::optional<double>>& lens);
  void field(const FieldInfo& info, const Lens<Vec3d>& lens);
  void field(const FieldInfo& info, const Lens<Placement>& lens);
  void field(const FieldInfo& info, const Lens<std::vector<std::string>>& lens);
  void field(const FieldInfo& info, const Lens<std::vector<JointNudge>>& lens);
  void field(const FieldInfo& info, const Lens<std::vector<PlantMark>>& lens);
  void field(const FieldInfo& info, const Lens<std::vector<TouchMark>>& lens);
  /// A choice among the names of an enumeration; get and set count from 0.
  void choice(const FieldInfo& info, const std::vector<const char*>& names, const std::function<int(Repair&)>& get, const std::function<void(Repair&, int)>& set);

 private:
  NumberField* number(const FieldInfo& info, Shown shown, const QString& name, const std::function<double(Repair&)>& get,
                      const std::function<void(Repair&, double)>& set, double least, double most);
  NumberField* number(const FieldInfo& info, const Lens<double>& lens);
  /// A label, dragging where there is a number, and what belongs to it.
  void row(const FieldInfo& info, const std::vector<QWidget*>& widgets, NumberField* scrub = nullptr);
  void row(const QString& label, const QString& tip, const std::vector<QWidget*>& widgets, NumberField* scrub = nullptr);
  [[nodiscard]] QWidget* boneBox(const QString& name, const Lens<std::string>& lens);
  [[nodiscard]] QWidget* smallButton(const QString& text, const QString& tip, const std::function<void()>& run);
  void write(const RepairForm::Change& change, const QString& mergeKey = {});

  RepairForm& form_;
  QWidget* body_;
  QGridLayout *grid_, *plain_, *more_ = nullptr;
  QWidget* moreBody_ = nullptr;
  Units units_;
  int key_ = 0;
};

}  // namespace understudy::editor
