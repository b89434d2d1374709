// Preferences: looks, who writes notes, and every command's key.
#pragma once

#include <QDialog>
#include <vector>

class QCheckBox;
class QKeySequenceEdit;
class QLabel;
class QLineEdit;
class QTableWidget;

namespace understudy::editor {

class Actions;

class PreferencesDialog : public QDialog {
  Q_OBJECT
 public:
  PreferencesDialog(Actions& actions, QWidget* parent = nullptr);
  [[nodiscard]] QTableWidget& keys() { return *keys_; }
  [[nodiscard]] QKeySequenceEdit& key() { return *key_; }
  [[nodiscard]] QLineEdit& filter() { return *filter_; }

 Q_SIGNALS:
  void lightAsked(bool light);

 protected:
  bool eventFilter(QObject* watched, QEvent* event) override;

 private:
  void fill();
  void choose();
  void give();

  Actions& actions_;
  QCheckBox* light_;
  QLineEdit *author_, *filter_;
  QTableWidget* keys_;
  QKeySequenceEdit* key_;
  QLabel* said_;
  bool filling_ = false;
};

}  // namespace understudy::editor
