#include "app/editor/window/picture_script.h"

#include <QApplication>
#include <QCommandLineOption>
#include <QCommandLineParser>
#include <QPixmap>
#include <QScreen>
#include <QTextStream>
#include <QTimer>

#include <algorithm>

#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/nudging.h"
#include "app/editor/panels/findings_panel.h"
#include "app/editor/panels/repairs_panel.h"
#include "app/editor/stage/stage_widget.h"
#include "app/editor/timeline/timeline_panel.h"
#include "app/editor/window/main_window.h"

namespace understudy::editor {

void PictureScript::addOptions(QCommandLineParser& parser) {
  const auto hidden = [&parser](const char* name, const char* text, const char* value) {
    QCommandLineOption option(QString::fromLatin1(name), QString::fromLatin1(text));
    if (value) option.setValueName(QString::fromLatin1(value));
    option.setFlags(QCommandLineOption::HiddenFromHelp);
    parser.addOption(option);
  };
  hidden("screenshot", "Write a picture of the window and leave", "PNG");
  hidden("size", "Window size, 1440x900", "WxH");
  hidden("theme", "dark or light", "THEME");
  hidden("frame", "Frame to show", "N");
  hidden("select", "Role whose bone is selected", "ROLE");
  hidden("nudge", "Turn of the selected bone at the frame, degrees about X, Y, Z", "X,Y,Z");
  hidden("page", "map, match, curves, repairs, handover, bare (or several)", "PAGE");
  hidden("add", "Kinds of repairs to add at the frame, by commas", "KINDS");
  hidden("finish", "Accept all that is proposed first", nullptr);
  hidden("finding", "Number of the finding to choose, from 1", "N");
  hidden("layout", "side, overlaid, performer, character", "LAYOUT");
  hidden("view", "free, front, side, top", "VIEW");
  hidden("measure", "Print times of the first picture and of scrubbing", nullptr);
}

PictureScript::PictureScript(const QCommandLineParser& parser)
    : picture_(parser.value(QStringLiteral("screenshot"))), bone_(parser.value(QStringLiteral("select"))), page_(parser.value(QStringLiteral("page"))),
      layout_(parser.value(QStringLiteral("layout"))), nudge_(parser.value(QStringLiteral("nudge"))), view_(parser.value(QStringLiteral("view"))), add_(parser.value(QStringLiteral("add"))),
      finding_(parser.value(QStringLiteral("finding")).toInt()), finish_(parser.isSet(QStringLiteral("finish"))),
      frame_(parser.value(QStringLiteral("frame")).toInt()), files_(static_cast<int>(parser.positionalArguments().size())),
      light_(parser.value(QStringLiteral("theme")) == QLatin1String("light")), measure_(parser.isSet(QStringLiteral("measure"))) {
  clock_.start();
  const QStringList size = parser.value(QStringLiteral("size")).split(QLatin1Char('x'));
  if (size.size() == 2) width_ = size[0].toInt(), height_ = size[1].toInt();
}

void PictureScript::prepare(MainWindow& window) {
  if (!active()) return;
  window.resize(width_, height_);
  window.move(0, 0);
}

void PictureScript::start(MainWindow& window) {
  if (!active()) return;
  if (measure_)
    connect(&window.stage(), &StageWidget::drawn, this, [this] { QTextStream(stdout) << "first picture after " << clock_.elapsed() << " ms\n"; },
            Qt::SingleShotConnection);
  const auto settle = [this, &window] {
    FindingsKeeper& found = window.document().findings();
    if (found.lane().busy()) return;
    // Everything read and evaluated: no job left on either lane.
    if (window.document().files().busy() || window.document().evaluations().busy()) return;
    if (finish_) {
      if (!window.document().evaluated() || !window.document().evaluated()->complete()) return;
      finish_ = false;
      found.finish();
      return;
    }
    if (!posed_) {
      posed_ = true;
      pose(window);
      QTimer::singleShot(0, this, [this, &window] {
        if (measure_) return scrub(window);
        QTimer::singleShot(1200, this, [this, &window] {
          const QPixmap grabbed = window.screen()->grabWindow(0, window.x(), window.y(), window.width(), window.height());
          const bool saved = grabbed.save(picture_);
          QTextStream(stderr) << (saved ? "wrote " : "could not write ") << picture_ << '\n';
          QCoreApplication::exit(saved ? 0 : 1);
        });
      });
    }
  };
  connect(&window.document().files(), &JobLane::idle, this, settle, Qt::QueuedConnection);
  connect(&window.document().evaluations(), &JobLane::idle, this, settle, Qt::QueuedConnection);
  connect(&window.document().findings().lane(), &JobLane::idle, this, settle, Qt::QueuedConnection);
  if (files_ == 0) QTimer::singleShot(0, this, settle);
}

void PictureScript::pose(MainWindow& window) {
  Session& session = window.session();
  if (layout_ == QLatin1String("overlaid")) session.setLayout(StageLayout::overlaid);
  if (layout_ == QLatin1String("performer")) session.setLayout(StageLayout::performerAlone);
  if (layout_ == QLatin1String("character")) session.setLayout(StageLayout::characterAlone);
  if (frame_ > 0) session.setFrame(frame_ - window.document().take().firstFrame);
  if (page_.contains(QLatin1String("match"))) window.showStep(Step::match);
  if (page_.contains(QLatin1String("curves"))) window.timeline().showCurves(true);
  if (view_ == QLatin1String("front")) window.stage().setView(View::front);
  if (view_ == QLatin1String("side")) window.stage().setView(View::side);
  if (view_ == QLatin1String("top")) window.stage().setView(View::top);
  const auto role = roleNamed(bone_.toStdString());
  const int joint = role ? window.document().map().character.joint(*role) : -1;
  if (joint >= 0) {
    session.select(Bone{Cast::character, joint});
    const QStringList turn = nudge_.split(QLatin1Char(','));
    if (turn.size() == 3) {
      constexpr double radians = 0.017453292519943295;
      const Vec3d r{turn[0].toDouble() * radians, turn[1].toDouble() * radians, turn[2].toDouble() * radians};
      session.setRepair(turnBone(window.document(), joint, session.frame(), {}, expOf(r), QString()));
    }
  }
  for (const QString& kind : add_.split(QLatin1Char(','), Qt::SkipEmptyParts)) {
    const auto& kinds = repairKinds();
    const auto at = std::find(kinds.begin(), kinds.end(), kind.toStdString());
    if (at != kinds.end()) window.repairs().add(static_cast<std::size_t>(at - kinds.begin()));
  }
  if (page_.contains(QLatin1String("repairs"))) window.showRepairs();
  if (const auto& found = window.document().findings().findings(); finding_ > 0 && finding_ <= static_cast<int>(found.size()))
    window.findings().choose(found[static_cast<std::size_t>(finding_) - 1].key);
  if (page_.contains(QLatin1String("handover"))) window.showStep(Step::handOver);
  if (page_.contains(QLatin1String("bare"))) session.setBare(true);
  window.stage().frameAll();
}

void PictureScript::scrub(MainWindow& window) {
  const int frames = window.session().frames();
  if (frames < 2) return QCoreApplication::exit(1);
  constexpr int pictures = 150;
  auto* timer = new QElapsedTimer;
  auto* count = new int(0);
  const int before = window.stage().pictures();
  timer->start();
  connect(&window.stage(), &StageWidget::drawn, this, [this, &window, frames, timer, count, before] {
    if (++*count < pictures) {
      QTimer::singleShot(0, &window, [&window, frames, count] { window.session().setFrame(*count * 7 % frames); });
      return;
    }
    const double seconds = static_cast<double>(timer->elapsed()) * 1e-3;
    QTextStream(stdout) << "scrubbing: " << (window.stage().pictures() - before) / seconds << " pictures a second\n";
    delete timer;
    delete count;
    QCoreApplication::exit(0);
  });
  window.session().setFrame(frames / 2);
}

}  // namespace understudy::editor
