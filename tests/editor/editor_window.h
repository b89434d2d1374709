// A window on a real display that the editor's tests drive by events.
#pragma once

#include <gtest/gtest.h>

#include <QAbstractItemView>
#include <QApplication>
#include <QComboBox>
#include <QDoubleSpinBox>
#include <QDropEvent>
#include <QEventLoop>
#include <QFileDialog>
#include <QLabel>
#include <QLineEdit>
#include <QListView>
#include <QMessageBox>
#include <QMenu>
#include <QMimeData>
#include <QPushButton>
#include <QSignalSpy>
#include <QSlider>
#include <QSpinBox>
#include <QTableView>
#include <QTest>
#include <QTimer>
#include <QToolButton>
#include <QUrl>
#include <cmath>

#include "app/editor/document/mapping.h"
#include "app/editor/document/nudging.h"
#include "app/editor/document/props_keeper.h"
#include "app/editor/document/repairing.h"
#include "app/editor/panels/bars.h"
#include "app/editor/panels/findings_model.h"
#include "app/editor/panels/findings_panel.h"
#include "app/editor/panels/hand_over_dialog.h"
#include "app/editor/panels/map_model.h"
#include "app/editor/panels/map_panel.h"
#include "app/editor/panels/repair_form.h"
#include "app/editor/panels/repairs_model.h"
#include "app/editor/panels/repairs_panel.h"
#include "app/editor/panels/step_strip.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/lanes_view.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/file_keeper.h"
#include "app/editor/window/main_window.h"
#include "core/io/read.h"
#include "core/store/autosave.h"
#include "core/take/edits.h"
#include "app/editor/document/findings_keeper.h"
#include "tests/editor/idle.h"
#include "tests/support/fixtures.h"

namespace understudy::editor {

class EditorRun : public ::testing::Test {
 protected:
  void SetUp() override {
    writeFile(walk, makeWalkBvh());
    writeFile(stick, makeStickCharacterGlb());
    window = std::make_unique<MainWindow>();
    window->files().setAutosaveFolder(QString::fromStdString(folder.file("autosave")));
    window->document().findings().setPatience(-1);
    window->resize(1280, 800);
    window->show();
    ASSERT_TRUE(QTest::qWaitForWindowExposed(window.get()));
    QApplication::setActiveWindow(window.get());
  }

  Document& document() { return window->document(); }
  Session& session() { return window->session(); }

  void settle() { ASSERT_TRUE(settled(*window, 120000)) << "a job did not end"; }
  void drop(const std::vector<std::string>& files) {
    QMimeData data;
    QList<QUrl> urls;
    for (const std::string& file : files) urls << QUrl::fromLocalFile(QString::fromStdString(file));
    data.setUrls(urls);
    QDragEnterEvent enter(QPoint(600, 300), Qt::CopyAction, &data, Qt::LeftButton, Qt::NoModifier);
    QApplication::sendEvent(window.get(), &enter);
    ASSERT_TRUE(enter.isAccepted());
    QDropEvent event(QPointF(600, 300), Qt::CopyAction, &data, Qt::LeftButton, Qt::NoModifier);
    QApplication::sendEvent(window.get(), &event);
    settle();
  }
  void load() {
    drop({walk, stick});
    ASSERT_TRUE(document().evaluated() && document().evaluated()->complete()) << window->messages().text().toStdString();
  }
  /// Until the stage has drawn what is current.
  void drawn() {
    QSignalSpy spy(&window->stage(), &StageWidget::drawn);
    window->stage().update();
    ASSERT_TRUE(spy.wait(20000));
  }
  void key(int k, Qt::KeyboardModifiers modifiers = Qt::NoModifier) {
    // Where a file window has just closed the editor's is not active yet, and shortcuts go nowhere.
    if (!QApplication::activeWindow()) {
      window->activateWindow();
      (void)QTest::qWaitForWindowActive(window.get(), 2000);
    }
    QTest::keyClick(window.get(), static_cast<Qt::Key>(k), modifiers);
  }
  void selectRole(Role role) {
    QTableView& table = window->map().table();
    const QModelIndex cell = window->map().model().index(window->map().model().rowOf(role), MapModel::roleColumn);
    table.scrollTo(cell);
    QTest::mouseClick(table.viewport(), Qt::LeftButton, Qt::NoModifier, table.visualRect(cell).center());
  }
  void drag(QWidget* widget, QPointF from, QPointF to) {
    QTest::mousePress(widget, Qt::LeftButton, Qt::NoModifier, from.toPoint());
    for (int i = 1; i <= 8; ++i) {
      const QPointF at = from + (to - from) * (i / 8.0);
      QMouseEvent move(QEvent::MouseMove, at, widget->mapToGlobal(at), Qt::NoButton, Qt::LeftButton, Qt::NoModifier);
      QApplication::sendEvent(widget, &move);
    }
    QTest::mouseRelease(widget, Qt::LeftButton, Qt::NoModifier, to.toPoint());
    settle();
  }
  /// Opens the menu of kinds by its key and takes one by keys.
  void addByKeys(const std::string& kind) {
    key(Qt::Key_A);
    QMenu& menu = window->repairs().addMenu();
    ASSERT_TRUE(QTest::qWaitForWindowExposed(&menu));
    for (int presses = 0; presses < 20 && !(menu.activeAction() && menu.activeAction()->text() == QString::fromStdString(kind)); ++presses) QTest::keyClick(&menu, Qt::Key_Down);
    ASSERT_TRUE(menu.activeAction() && menu.activeAction()->isEnabled()) << kind;
    QTest::keyClick(&menu, Qt::Key_Return);
    settle();
  }
  const Repair& onlyRepair() {
    EXPECT_EQ(document().take().repairs->size(), 1U);
    return *document().take().repairs->front();
  }
  int joint(const char* name) { return findJoint(document().figure(Cast::character)->skeleton, name).value(); }
  /// Nudges the left upper arm at a frame by dragging its bone.
  void nudgeArm(int frame) {
    session().setFrame(frame);
    selectRole(Role::leftUpperArm);
    ASSERT_EQ(session().selected(), (Bone{Cast::character, joint("upperarm_l")}));
    drawn();
    const auto grab = window->stage().middleOf(*session().selected());
    ASSERT_TRUE(grab);
    drag(&window->stage(), *grab, *grab + QPointF(40, -50));
  }
  /// Types a name into the file window that the next action opens, and accepts it.
  void answerFileWindow(const std::string& path) {
    auto* timer = new QTimer(window.get());
    timer->setInterval(20);
    QObject::connect(timer, &QTimer::timeout, window.get(), [timer, path] {
      auto* dialog = qobject_cast<QFileDialog*>(QApplication::activeModalWidget());
      if (!dialog) return;
      timer->stop();
      timer->deleteLater();
      auto* name = dialog->findChild<QLineEdit*>();
      name->setText(QString::fromStdString(path));
      QTest::keyClick(name, Qt::Key_Return);
    });
    timer->start();
  }

  TemporaryFolder folder;
  std::string walk = folder.file("walk.bvh"), stick = folder.file("stick.glb");
  std::unique_ptr<MainWindow> window;
};

}  // namespace understudy::editor
