// The field that shows and takes the frame, as a number or as timecode.
#pragma once

#include <QLineEdit>
#include <QSpinBox>

namespace understudy::editor {

class FrameField : public QSpinBox {
  Q_OBJECT
 public:
  explicit FrameField(QWidget* parent = nullptr);
  void setTimecode(bool timecode, double hertz);

 protected:
  QString textFromValue(int value) const override;
  int valueFromText(const QString& text) const override;
  QValidator::State validate(QString& text, int& at) const override;

 private:
  bool timecode_ = false;
  double hertz_ = 30;
};

}  // namespace understudy::editor
