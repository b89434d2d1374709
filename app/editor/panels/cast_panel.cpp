#include "app/editor/panels/cast_panel.h"

#include <QFileInfo>
#include <QLabel>
#include <QMenu>
#include <QPainter>
#include <QVBoxLayout>

#include "app/editor/document/describe.h"
#include "app/editor/document/props_keeper.h"
#include "app/editor/look/appearance.h"
#include "app/editor/look/icons.h"
#include "app/editor/panels/reel_bar.h"
#include "core/take/edits.h"

namespace understudy::editor {

CastCard::CastCard(Document& document, Cast cast, QWidget* parent) : QToolButton(parent), document_(document), cast_(cast) {
  setPopupMode(QToolButton::InstantPopup);
  setSizePolicy(QSizePolicy::Expanding, QSizePolicy::Maximum);
  setCursor(Qt::PointingHandCursor);
  setAccessibleName(cast == Cast::performer ? tr("Performer") : tr("Character"));
  setToolTip(cast == Cast::performer ? tr("Choose the performer's file, clip, rate, unit and up axis  (Ctrl+Shift+P)")
                                     : tr("Choose the character's file, unit and up axis  (Ctrl+Shift+C)"));
  auto* menu = new QMenu(this);
  setMenu(menu);
  connect(menu, &QMenu::aboutToShow, this, &CastCard::fillMenu);
  const auto refresh = [this, own = toolTip()] {
    setToolTip((figureLines(document_, cast_) << own).join(QLatin1Char('\n')));
    update();
  };
  for (auto signal : {&Document::takeChanged, &Document::filesChanged, &Document::evaluatedChanged}) connect(&document, signal, this, refresh);
}

void CastCard::fillMenu() {
  QMenu& m = *menu();
  m.clear();
  m.addAction(tr("Choose a file…"), this, [this] { Q_EMIT fileAsked(cast_); });
  const auto figure = document_.figure(cast_);
  if (!figure) return;
  const Take& take = document_.take();
  const auto choose = [&](QMenu* menu, const QString& text, bool checked, auto edit) {
    QAction* action = menu->addAction(text, this, edit);
    action->setCheckable(true);
    action->setChecked(checked);
  };
  if (cast_ == Cast::performer) {
    QMenu* clips = m.addMenu(tr("Clip"));
    for (int i = 0; i < static_cast<int>(figure->clips.size()); ++i) {
      const Clip& clip = figure->clips[static_cast<std::size_t>(i)];
      choose(clips, tr("%1  %2  (%3 frames)").arg(i + 1).arg(QString::fromStdString(clip.name)).arg(clip.frames()), i == take.clip,
             [this, i] { document_.edit(tr("Choose clip"), setClip(document_.take(), i)); });
    }
    QMenu* rates = m.addMenu(tr("Frames per second"));
    const auto own = static_cast<std::size_t>(take.clip) < figure->clips.size() ? figure->clips[static_cast<std::size_t>(take.clip)].rate : FrameRate{};
    const auto setTo = [this, own](std::optional<FrameRate> rate) {
      const auto evaluated = document_.evaluated();
      document_.edit(tr("Frame rate"), setRate(document_.take(), rate, evaluated ? evaluated->rate : own, own));
    };
    choose(rates, tr("The performer's own, %1").arg(QString::fromStdString(own.text())), !take.rate, [setTo] { setTo({}); });
    for (const FrameRate rate : {FrameRate{24, 1}, FrameRate{25, 1}, FrameRate{30000, 1001}, FrameRate{30, 1}, FrameRate{48, 1}, FrameRate{60, 1}, FrameRate{120, 1}})
      choose(rates, QString::fromStdString(rate.text()), take.rate == rate, [setTo, rate] { setTo(rate); });
  }
  FileReference reference = cast_ == Cast::performer ? *take.performer : *take.character;
  const auto reread = [this](FileReference next) {
    // The same file read in another way: what was made for it stays.
    Take changed = document_.take();
    (cast_ == Cast::performer ? changed.performer : changed.character) = Node<FileReference>(std::move(next));
    document_.edit(tr("Unit and axes"), changed);
  };
  QMenu* units = m.addMenu(tr("Unit"));
  choose(units, tr("As found: %1").arg(QString::fromStdString(figure->space.unitName)), reference.metresPerUnit == 0, [reference, reread]() mutable {
    reference.metresPerUnit = 0;
    reread(reference);
  });
  for (const auto& [name, size] : {std::pair{tr("metre"), 1.0}, {tr("centimetre"), 0.01}, {tr("millimetre"), 0.001}, {tr("inch"), 0.0254}, {tr("foot"), 0.3048}})
    choose(units, name, reference.metresPerUnit == size, [reference, reread, s = size]() mutable {
      reference.metresPerUnit = s;
      reread(reference);
    });
  QMenu* ups = m.addMenu(tr("Up axis"));
  choose(ups, tr("As found: %1").arg(QString::fromStdString(figure->space.upName)), reference.up.empty(), [reference, reread]() mutable {
    reference.up.clear();
    reread(reference);
  });
  for (const char* up : {"+Y", "+Z", "+X", "-Y", "-Z", "-X"})
    choose(ups, QString::fromLatin1(up), reference.up == up, [reference, reread, up]() mutable {
      reference.up = up;
      reread(reference);
    });
}

void CastCard::paintEvent(QPaintEvent*) {
  const Colours& c = colours();
  QPainter p(this);
  p.setRenderHint(QPainter::Antialiasing);
  const QRectF card = QRectF(rect()).adjusted(0.5, 0.5, -0.5, -0.5);
  const QColor tone = cast_ == Cast::performer ? c.performer : c.character;
  p.setPen(hasFocus() ? QPen(c.performer, 1) : Qt::NoPen);
  p.setBrush(underMouse() ? c.cardHover : c.card);
  p.drawRoundedRect(card, 6, 6);
  p.setPen(Qt::NoPen);
  p.setBrush(tone);
  p.drawRoundedRect(QRectF(card.left(), card.top() + 3, 4, card.height() - 6), 2, 2);
  const std::string& path = (cast_ == Cast::performer ? document_.take().performer : document_.take().character)->path;
  const QString file = QFileInfo(QString::fromStdString(path)).fileName();
  const QString who = cast_ == Cast::performer ? tr("Performer") : tr("Character");
  QFont font = Appearance::body();
  font.setWeight(QFont::DemiBold);
  p.setFont(font);
  p.setPen(tone);
  const double left = 14, wide = width() - 2 * left;
  p.drawText(QRectF(left, 6, wide, 18), Qt::AlignVCenter, who);
  const double name = QFontMetricsF(font).horizontalAdvance(who) + 8;
  p.setPen(c.text);
  p.drawText(QRectF(left + name, 6, wide - name, 18), Qt::AlignVCenter,
             file.isEmpty() ? tr("not chosen yet") : QFontMetrics(font).elidedText(file, Qt::ElideMiddle, static_cast<int>(wide - name)));
  p.setFont(Appearance::small());
  p.setPen(c.dimText);
  QStringList lines = figureLines(document_, cast_);
  if (lines.isEmpty())
    lines << (!path.empty()                ? tr("being read, or not found")
              : cast_ == Cast::performer ? tr("a capture: BVH, FBX, glTF")
                                         : tr("your rigged model: glTF, FBX, Collada"));
  double y = 25;
  for (const QString& line : lines) {
    if (y + 15 > height()) break;  // where room is short a card has fewer lines; its tooltip has them all
    p.drawText(QRectF(left, y, wide, 16), Qt::AlignVCenter, QFontMetrics(p.font()).elidedText(line, Qt::ElideRight, static_cast<int>(wide)));
    y += 17;
  }
}

CastPanel::CastPanel(Document& document, QWidget* parent) : QWidget(parent) {
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 0, 0, 0);
  column->setSpacing(6);
  auto* heading = new QLabel(tr("CAST"), this);
  heading->setObjectName(QStringLiteral("heading"));
  column->addWidget(heading);
  column->addWidget(new ReelBar(document, this));
  for (Cast cast : {Cast::performer, Cast::character}) {
    auto* card = new CastCard(document, cast, this);
    connect(card, &CastCard::fileAsked, this, &CastPanel::fileAsked);
    column->addWidget(card);
  }
  auto* props = new QWidget(this);
  props->setObjectName(QStringLiteral("props"));
  auto* list = new QVBoxLayout(props);
  list->setContentsMargins(0, 0, 0, 0);
  list->setSpacing(4);
  column->addWidget(props);
  const auto refresh = [&document, props, list] {
    const auto& items = *document.take().props;
    if (props->property("shown").toInt() == static_cast<int>(items.size())) return;
    props->setProperty("shown", static_cast<int>(items.size()));
    while (QLayoutItem* old = list->takeAt(0)) {
      old->widget()->hide();
      old->widget()->deleteLater();
      delete old;
    }
    for (const PropItem& prop : items) {
      auto* card = new QToolButton(props);
      card->setText(tr("Prop  %1").arg(QString::fromStdString(prop.name)));
      card->setIcon(icon(QStringLiteral("grip")));
      card->setToolButtonStyle(Qt::ToolButtonTextBesideIcon);
      card->setSizePolicy(QSizePolicy::Expanding, QSizePolicy::Fixed);
      card->setPopupMode(QToolButton::InstantPopup);
      auto* menu = new QMenu(card);
      menu->addAction(tr("Remove"), card, [&document, id = prop.id] { document.props().remove(id); });
      card->setMenu(menu);
      list->addWidget(card);
    }
  };
  connect(&document, &Document::takeChanged, props, refresh);
  refresh();
}

}  // namespace understudy::editor
