#include "app/editor/panels/step_strip.h"

#include <QAbstractButton>
#include <QFileInfo>
#include <QHBoxLayout>
#include <QPainter>
#include <algorithm>

#include "app/editor/document/findings_keeper.h"
#include "app/editor/document/mapping.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"

namespace understudy::editor {

class StepButton : public QAbstractButton {
 public:
  StepButton(int number, QWidget* parent) : QAbstractButton(parent), number_(number) {
    setFocusPolicy(Qt::TabFocus);
    setCursor(Qt::PointingHandCursor);
  }
  void show(const StepState& state) {
    state_ = state;
    setAccessibleName(QStringLiteral("%1 %2").arg(number_).arg(state.title));
    setAccessibleDescription(state.note);
    setToolTip(QStringLiteral("%1: %2  (Ctrl+%3)").arg(state.title, state.note).arg(number_));
    update();
  }
  /// Pixels its words take.
  [[nodiscard]] int wide() const {
    QFont title = Appearance::body();
    title.setWeight(QFont::DemiBold);
    return 52 + std::max({60, QFontMetrics(title).horizontalAdvance(state_.title), QFontMetrics(Appearance::small()).horizontalAdvance(state_.note)});
  }
  QSize sizeHint() const override { return {190, 44}; }
  QSize minimumSizeHint() const override { return {118, 44}; }

 protected:
  void paintEvent(QPaintEvent*) override {
    const Colours& c = colours();
    QPainter p(this);
    p.setRenderHint(QPainter::Antialiasing);
    if (underMouse() || hasFocus()) {
      p.setPen(hasFocus() ? QPen(c.performer, 1) : Qt::NoPen);
      p.setBrush(c.panel);
      p.drawRoundedRect(QRectF(rect()).adjusted(1, 1, -5, -1), 7, 7);
    }
    const QRectF disc(8, (height() - 24) / 2.0, 24, 24);
    p.setPen(QPen(state_.next ? c.lamp : state_.done ? c.performer : c.disabledText, 1.6));
    p.setBrush(state_.next ? QBrush(c.lamp) : state_.done ? QBrush(c.performer) : Qt::NoBrush);
    p.drawEllipse(disc);
    if (state_.done && !state_.next) {
      p.drawPixmap(QPointF(disc.left() + 5, disc.top() + 5), iconPixmap(QStringLiteral("check"), c.window, 14, devicePixelRatioF()));
    } else {
      QFont font = Appearance::body();
      font.setWeight(QFont::DemiBold);
      p.setFont(font);
      p.setPen(state_.next ? c.onLamp : c.dimText);
      p.drawText(disc, Qt::AlignCenter, QString::number(number_));
    }
    const QRectF text(40, 4, width() - 48, height() - 8);
    QFont title = Appearance::body();
    title.setWeight(state_.next ? QFont::DemiBold : QFont::Normal);
    p.setFont(title);
    p.setPen(state_.done || state_.next ? c.text : c.dimText);
    p.drawText(QRectF(text.left(), text.top(), text.width(), text.height() / 2), Qt::AlignLeft | Qt::AlignVCenter, state_.title);
    p.setFont(Appearance::small());
    p.setPen(c.dimText);
    p.drawText(QRectF(text.left(), text.center().y(), text.width(), text.height() / 2), Qt::AlignLeft | Qt::AlignVCenter,
               QFontMetrics(p.font()).elidedText(state_.note, Qt::ElideMiddle, static_cast<int>(text.width())));
  }

 private:
  int number_;
  StepState state_;
};

std::array<StepState, stepCount> stepsOf(const Document& document, bool handedOver) {
  std::array<StepState, stepCount> steps;
  const auto say = [](const char* text) { return StepStrip::tr(text); };
  const Take& take = document.take();
  const QString performer = QFileInfo(QString::fromStdString(take.performer->path)).fileName();
  const QString character = QFileInfo(QString::fromStdString(take.character->path)).fileName();
  const bool both = document.figure(Cast::performer) && document.figure(Cast::character);
  steps[0].title = say("Load");
  steps[0].done = both;
  steps[0].note = both ? performer + QStringLiteral(" · ") + character
                  : !performer.isEmpty() ? say("now the character")
                  : !character.isEmpty() ? say("now the performer")
                                         : say("drop two files");
  const auto evaluated = document.evaluated();
  const MapSummary map = both ? summaryOf(document.map()) : MapSummary{};
  steps[1].title = say("Map");
  steps[1].done = both && evaluated && evaluated->map && map.missing == 0 && map.doubtful == 0;
  steps[1].note = !both || !evaluated ? say("not yet")
                  : map.missing > 0  ? say("%1 missing").arg(map.missing) + (map.doubtful > 0 ? say(" · %1 doubtful").arg(map.doubtful) : QString())
                  : map.doubtful > 0 ? say("%1 sure · %2 doubtful").arg(map.sure).arg(map.doubtful)
                                     : say("%1 sure").arg(map.sure);
  steps[2].title = say("Match");
  const bool complete = evaluated && evaluated->complete();
  const std::size_t own = take.retarget->alignmentOffsets.size() + take.retarget->alignmentChoices.size();
  steps[2].done = complete;
  steps[2].note = !complete ? say("not yet") : own > 0 ? say("%1 set by hand").arg(own) : say("rest poses aligned");
  steps[3].title = say("Repair");
  const FindingsKeeper& found = document.findings();
  const int open = found.open(), mendable = found.mendable();
  const auto made = static_cast<int>(take.nudges->size() + take.repairs->size());
  steps[3].done = complete && found.current() && mendable == 0;
  steps[3].note = !complete            ? say("not yet")
                  : found.finishing()  ? say("finishing…")
                  : !found.current()   ? say("looking for flaws…")
                  : open > 0           ? (mendable > 0 ? (open == 1 ? say("1 finding: Finish") : say("%1 findings: Finish").arg(open)) : say("%1 remain").arg(open))
                  : made == 0          ? say("nothing found")
                                       : say("nothing left · %1 made").arg(made);
  steps[4].title = say("Hand over");
  steps[4].done = handedOver;
  steps[4].note = handedOver ? QFileInfo(QString::fromStdString(take.handOver->path)).fileName() : complete ? say("ready") : say("not yet");
  // Repairing is optional: once it was looked at and nothing more can be mended by itself, handing over is what comes next.
  const int next = !both ? 0 : map.missing > 0 ? 1 : complete && (mendable > 0 || !found.current()) ? 3 : complete && !handedOver ? 4 : -1;
  if (next >= 0) steps[static_cast<std::size_t>(next)].next = true;
  return steps;
}

StepStrip::StepStrip(Document& document, QWidget* parent) : QWidget(parent), document_(document) {
  setObjectName(QStringLiteral("stepStrip"));
  setAttribute(Qt::WA_StyledBackground);
  auto* row = new QHBoxLayout(this);
  row->setContentsMargins(8, 3, 8, 5);
  row->setSpacing(2);
  for (int i = 0; i < stepCount; ++i) {
    auto* button = new StepButton(i + 1, this);
    buttons_[static_cast<std::size_t>(i)] = button;
    row->addWidget(button, 1);
    connect(button, &QAbstractButton::clicked, this, [this, i] { Q_EMIT opened(static_cast<Step>(i)); });
  }
  connect(&document, &Document::takeChanged, this, &StepStrip::refresh);
  connect(&document, &Document::filesChanged, this, &StepStrip::refresh);
  connect(&document, &Document::evaluatedChanged, this, &StepStrip::refresh);
  connect(&document.findings(), &FindingsKeeper::changed, this, &StepStrip::refresh);
  connect(&document, &Document::handedOver, this, [this] {
    handedOver_ = document_.take();
    everHandedOver_ = true;
    refresh();
  });
  connect(&Appearance::instance(), &Appearance::changed, this, [this] { update(); });
  refresh();
}

QSize StepStrip::sizeHint() const { return {900, 52}; }

void StepStrip::refresh() {
  const auto steps = stepsOf(document_, everHandedOver_ && handedOver_ == document_.take());
  for (std::size_t i = 0; i < steps.size(); ++i) buttons_[i]->show(steps[i]);
  // Room by what each has to say.
  for (StepButton* button : buttons_) qobject_cast<QHBoxLayout*>(layout())->setStretchFactor(button, button->wide());
}

}  // namespace understudy::editor
