// Transport and the two pages of the timeline.
#pragma once

#include <QWidget>

#include "app/editor/document/document.h"
#include "app/editor/document/session.h"
#include "app/editor/timeline/frame_scale.h"

class QComboBox;
class QLabel;
class QStackedWidget;
class QTabBar;
class QToolButton;

namespace understudy::editor {

class CurvesPage;
class FrameField;
class LanesView;
class MarkersRow;

class TimelinePanel : public QWidget {
  Q_OBJECT
 public:
  TimelinePanel(Document& document, Session& session, QWidget* parent = nullptr);
  [[nodiscard]] LanesView& lanes() { return *lanes_; }
  [[nodiscard]] CurvesPage& curves() { return *curves_; }
  [[nodiscard]] MarkersRow& markers() { return *markers_; }
  [[nodiscard]] FrameScale& scale() { return scale_; }
  void showCurves(bool curves);
  void toggleCurves();
  void setTimecode(bool timecode);
  /// Puts the cursor into the field of the frame.
  void editFrame();

 private:
  QToolButton* button(const QString& iconName, const QString& tip);
  void refresh();

  Document& document_;
  Session& session_;
  FrameScale scale_;
  LanesView* lanes_;
  CurvesPage* curves_;
  MarkersRow* markers_;
  QStackedWidget* pages_;
  QTabBar* tabs_;
  QToolButton *play_, *loop_, *timecode_;
  FrameField* frame_;
  QLabel* total_;
  QComboBox* speed_;
};

}  // namespace understudy::editor
