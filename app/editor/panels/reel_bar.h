// The takes of a reel: which one is worked on, and what is done for all of them.
#pragma once

#include <QWidget>

#include "app/editor/document/document.h"

class QComboBox;
class QMenu;
class QToolButton;

namespace understudy::editor {

class ReelBar : public QWidget {
  Q_OBJECT
 public:
  explicit ReelBar(Document& document, QWidget* parent = nullptr);
  [[nodiscard]] QComboBox& takes() { return *takes_; }
  [[nodiscard]] QMenu& menu() { return *menu_; }
  /// Asks for the take's name.
  void rename();

 private:
  void refresh();
  Document& document_;
  QComboBox* takes_;
  QMenu* menu_;
};

/// "sweep", or the take's number and its performer's file where it has no name.
[[nodiscard]] QString takeText(const Reel& reel, int index);
/// A new take like the current one, without its repairs and nudges where `bare`.
void addTakeLike(Document& document, bool bare);

}  // namespace understudy::editor
