#include "app/editor/panels/map_figure.h"

#include <QMouseEvent>
#include <QPainter>
#include <algorithm>
#include <array>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/pictures.h"
#include "app/editor/look/appearance.h"

namespace understudy::editor {
namespace {

struct Chain {
  Role role;
  std::vector<Role> next;  ///< the first of these that is mapped is where the limb ends
};

const std::vector<Chain>& chains() {
  using enum Role;
  static const std::vector<Chain> all{
      {hips, {spine, chest, upperChest, neck, head}}, {spine, {chest, upperChest, neck, head}}, {chest, {upperChest, neck, head}}, {upperChest, {neck, head}},
      {neck, {head}}, {head, {}},
      {leftShoulder, {leftUpperArm}}, {leftUpperArm, {leftLowerArm}}, {leftLowerArm, {leftHand}}, {leftHand, {}},
      {rightShoulder, {rightUpperArm}}, {rightUpperArm, {rightLowerArm}}, {rightLowerArm, {rightHand}}, {rightHand, {}},
      {leftUpperLeg, {leftLowerLeg}}, {leftLowerLeg, {leftFoot}}, {leftFoot, {leftToes}}, {leftToes, {}},
      {rightUpperLeg, {rightLowerLeg}}, {rightLowerLeg, {rightFoot}}, {rightFoot, {rightToes}}, {rightToes, {}}};
  return all;
}

double distanceTo(const QLineF& line, QPointF p) {
  const QPointF d = line.p2() - line.p1();
  const double l = QPointF::dotProduct(d, d), t = l > 0 ? std::clamp(QPointF::dotProduct(p - line.p1(), d) / l, 0.0, 1.0) : 0;
  return QLineF(line.p1() + d * t, p).length();
}

}  // namespace

std::vector<MapLimb> mapLimbs(const Document& document) {
  std::vector<MapLimb> limbs;
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (!evaluated || !character || !evaluated->map) return limbs;
  const SkeletonMap& map = evaluated->map->character;
  std::vector<Affined> world = evaluated->report ? evaluated->report->characterReference.fileWorld : std::vector<Affined>{};
  if (static_cast<int>(world.size()) != character->skeleton.size()) world = restWorld(character->skeleton);
  const Affined toWorld = document.worldFromFile(Cast::character);
  const auto at = [&](int joint) { return apply(toWorld, world[static_cast<std::size_t>(joint)].translation); };
  const auto ends = [&](const Chain& chain) {
    for (Role next : chain.next)
      if (map.joint(next) >= 0) return map.joint(next);
    return -1;
  };
  for (const Chain& chain : chains()) {
    MapLimb limb;
    limb.role = chain.role;
    limb.state = stateOf(*evaluated->map, chain.role);
    const int joint = map.joint(chain.role), end = ends(chain);
    if (joint < 0) {
      if (limb.state != RowState::missing) continue;
      // The gap lies between what comes before and what comes after.
      int before = -1;
      for (const Chain& other : chains())
        if (map.joint(other.role) >= 0 && std::find(other.next.begin(), other.next.end(), chain.role) != other.next.end()) before = map.joint(other.role);
      if (before < 0 && end < 0) continue;
      limb.from = at(before >= 0 ? before : end);
      limb.to = at(end >= 0 ? end : before);
      limbs.push_back(limb);
      continue;
    }
    limb.from = at(joint);
    if (end >= 0) {
      limb.to = at(end);
    } else {
      // A tip: as far as its children reach, else a little on along the bone.
      Vec3d sum;
      int count = 0;
      for (int child = 0; child < character->skeleton.size(); ++child)
        if (character->skeleton.parents[static_cast<std::size_t>(child)] == joint) sum += at(child), ++count;
      const int parent = character->skeleton.parents[static_cast<std::size_t>(joint)];
      limb.to = count > 0 ? sum / static_cast<double>(count) : limb.from + (parent >= 0 ? normalised(limb.from - at(parent)) : Vec3d{0, 1, 0}) * (0.05 * document.height(Cast::character));
    }
    limbs.push_back(limb);
  }
  return limbs;
}

MapFigure::MapFigure(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  setAccessibleName(tr("Bone map over the character; arrow keys go from role to role"));
  setToolTip(tr("Click a limb to choose its role; with picking on, click a bone's dot to fill it"));
  setFocusPolicy(Qt::StrongFocus);
  setMouseTracking(true);
  connect(&document, &Document::evaluatedChanged, this, [this] {
    // A repair or nudge leaves map and reference poses as they are, and with them this picture.
    const auto evaluated = document_.evaluated();
    const LoadedFigure* loaded = document_.loaded(Cast::character);
    const bool same = evaluated && loaded && evaluated->report && evaluated->map == drawnMap_ && evaluated->report == drawnReport_ && loaded->stage == drawnStage_;
    if (!same) refresh();
  });
  connect(&session, &Session::selectionChanged, this, [this] { update(); });
  connect(&session, &Session::pickingChanged, this, [this] { update(); });
  connect(&Appearance::instance(), &Appearance::changed, this, &MapFigure::refresh);
}

void MapFigure::resizeEvent(QResizeEvent*) { refresh(); }

void MapFigure::refresh() {
  limbs_ = mapLimbs(document_);
  joints_.clear();
  const LoadedFigure* loaded = document_.loaded(Cast::character);
  const auto evaluated = document_.evaluated();
  drawnMap_ = evaluated ? evaluated->map : nullptr;
  drawnReport_ = evaluated ? evaluated->report : nullptr;
  drawnStage_ = loaded ? loaded->stage : nullptr;
  if (!loaded || !loaded->stage || !evaluated || width() < 20) {
    skin_ = {};
    return update();
  }
  Shot shot;
  shot.figure = loaded->stage;
  shot.placement = document_.worldFromFile(Cast::character);
  if (evaluated->report) shot.pose = evaluated->report->characterReference.fileWorld;
  if (static_cast<int>(shot.pose.size()) != loaded->figure->skeleton.size()) shot.pose = restWorld(loaded->figure->skeleton);
  for (const Affined& joint : shot.pose) joints_.push_back(apply(shot.placement, joint.translation));
  shot.plain = true;
  shot.theme = Appearance::instance().kind() == Appearance::Kind::light ? Theme::light : Theme::dark;
  shot.camera = turnedTo(shot.camera, View::front);
  shot.camera = camerasFor(shot, {shot.pose}, -1, static_cast<double>(width()) / drawnHeight(), 0.04).front();
  camera_ = shot.camera;
  const std::uint64_t mine = ++asked_;
  const double ratio = devicePixelRatioF();
  const QSize pixels = QSize(width(), drawnHeight()) * ratio;
  lane_.post(tr("Drawing the map"), [this, shot, pixels, ratio, mine](const RunControl&) -> JobLane::Answer {
    auto made = paintShot(shot, pixels.width(), pixels.height());
    QImage image = made ? made.value() : QImage();
    image.setDevicePixelRatio(ratio);
    return [this, image, mine] {
      if (mine != asked_) return;
      skin_ = image;
      update();
      Q_EMIT drawn();
    };
  }, true);
  update();
}

std::optional<QPointF> MapFigure::picture(const Vec3d& world) const {
  const Projected p = project(camera_, width(), drawnHeight(), world);
  return p.visible ? std::optional(QPointF(p.x, p.y)) : std::nullopt;
}

std::optional<QLineF> MapFigure::lineOf(Role role) const {
  for (const MapLimb& limb : limbs_) {
    if (limb.role != role) continue;
    const auto a = picture(limb.from), b = picture(limb.to);
    if (a && b) return QLineF(*a, *b);
  }
  return {};
}

std::optional<QPointF> MapFigure::pointOf(int joint) const {
  return joint >= 0 && joint < static_cast<int>(joints_.size()) ? picture(joints_[static_cast<std::size_t>(joint)]) : std::nullopt;
}

std::optional<Role> MapFigure::roleAt(QPointF point) const {
  std::optional<Role> best;
  double nearest = 12;
  for (const MapLimb& limb : limbs_)
    if (const auto line = lineOf(limb.role))
      if (const double d = distanceTo(*line, point); d < nearest) nearest = d, best = limb.role;
  return best;
}

int MapFigure::jointAt(QPointF point) const {
  int best = -1;
  double nearest = 12;
  for (int j = 0; j < static_cast<int>(joints_.size()); ++j)
    if (const auto p = pointOf(j))
      if (const double d = QLineF(*p, point).length(); d < nearest) nearest = d, best = j;
  return best;
}

void MapFigure::paintEvent(QPaintEvent*) {
  const Colours& c = colours();
  QPainter p(this);
  p.setRenderHint(QPainter::Antialiasing);
  p.setPen(Qt::NoPen);
  p.setBrush(c.sunken);
  p.drawRoundedRect(rect(), 6, 6);
  if (limbs_.empty()) {
    p.setPen(c.dimText);
    p.setFont(Appearance::small());
    p.drawText(rect().adjusted(12, 8, -12, -8), Qt::AlignCenter | Qt::TextWordWrap, tr("The map appears over your character once both files are loaded"));
    return;
  }
  p.setOpacity(0.75);
  if (!skin_.isNull()) p.drawImage(QPointF(0, 0), skin_);
  p.setOpacity(1);
  if (session_.picking()) {
    p.setPen(QPen(c.selectionGap, 1));
    p.setBrush(c.key);
    for (int j = 0; j < static_cast<int>(joints_.size()); ++j)
      if (const auto at = pointOf(j)) p.drawEllipse(*at, 3.2, 3.2);
  }
  for (const MapLimb& limb : limbs_) {
    const auto line = lineOf(limb.role);
    if (!line) continue;
    const bool chosen = session_.role() == limb.role, hot = hovered_ == limb.role;
    // Ends stay clear of each other, so that every limb can be told from its neighbour.
    QLineF shown = *line;
    if (const double l = shown.length(); l > 10) shown = QLineF(shown.pointAt(2.5 / l), shown.pointAt(1 - 2.5 / l));
    if (limb.state == RowState::missing) {
      p.setBrush(Qt::NoBrush);
      p.setPen(QPen(c.flaw, chosen ? 2.4 : 1.6));
      for (const QPointF& end : {line->p1(), line->p2()}) p.drawEllipse(end, 5, 5);
      continue;
    }
    if (chosen || hot) {
      p.setPen(QPen(c.selectionGap, 9, Qt::SolidLine, Qt::RoundCap));
      p.drawLine(shown);
      p.setPen(QPen(c.selection, chosen ? 7.4 : 6.4, Qt::SolidLine, Qt::RoundCap));
      p.drawLine(shown);
    }
    const bool doubtful = limb.state == RowState::doubtful;
    p.setPen(QPen(c.selectionGap, 5.2, Qt::SolidLine, Qt::RoundCap));
    p.drawLine(shown);
    QPen pen(doubtful ? c.warning : limb.state == RowState::unused ? c.dimText : c.character, 3.4, Qt::SolidLine, doubtful ? Qt::FlatCap : Qt::RoundCap);
    if (doubtful) pen.setDashPattern({1.6, 0.9});
    p.setPen(pen);
    p.drawLine(shown);
    if (!doubtful) continue;
    QFont font = Appearance::body();
    font.setWeight(QFont::Bold);
    p.setFont(font);
    const QRectF badge(line->center().x() + 4, line->center().y() - 9, 16, 18);
    p.setPen(Qt::NoPen);
    p.setBrush(c.card);
    p.drawRoundedRect(badge, 8, 8);
    p.setPen(c.warning);
    p.drawText(badge, Qt::AlignCenter, QStringLiteral("?"));
  }
  const std::optional<Role> named = hovered_ ? hovered_ : session_.role();
  if (named) {
    p.setFont(Appearance::small());
    p.setPen(c.text);
    const int joint = document_.map().character.joint(*named);
    const auto character = document_.figure(Cast::character);
    QString text = roleText(*named);
    if (joint >= 0 && character) text += QStringLiteral(" → ") + jointText(*character, joint);
    else text += tr(" → no bone yet");
    p.drawText(QRectF(rect()).adjusted(8, 0, -8, -6), Qt::AlignBottom | Qt::AlignHCenter, QFontMetrics(p.font()).elidedText(text, Qt::ElideMiddle, width() - 16));
  }
  if (hasFocus()) {
    p.setBrush(Qt::NoBrush);
    p.setPen(QPen(c.performer, 1));
    p.drawRoundedRect(QRectF(rect()).adjusted(0.5, 0.5, -0.5, -0.5), 6, 6);
  }
}

void MapFigure::mousePressEvent(QMouseEvent* event) {
  if (event->button() != Qt::LeftButton) return;
  if (session_.picking() && session_.role()) {
    if (const int joint = jointAt(event->position()); joint >= 0) assignRole(document_, Cast::character, *session_.role(), {joint}, event->modifiers() & Qt::ControlModifier);
    return;
  }
  if (const auto role = roleAt(event->position())) session_.selectRole(role, boneOf(document_.map(), *role));
}

void MapFigure::mouseMoveEvent(QMouseEvent* event) {
  const auto role = roleAt(event->position());
  if (role == hovered_) return;
  hovered_ = role;
  update();
}

void MapFigure::keyPressEvent(QKeyEvent* event) {
  const int by = event->key() == Qt::Key_Down || event->key() == Qt::Key_Right ? 1 : event->key() == Qt::Key_Up || event->key() == Qt::Key_Left ? -1 : 0;
  if (by == 0 || limbs_.empty()) return QWidget::keyPressEvent(event);
  const int count = static_cast<int>(limbs_.size());
  int at = -1;
  for (int i = 0; i < count; ++i)
    if (session_.role() == limbs_[static_cast<std::size_t>(i)].role) at = i;
  at = at < 0 ? 0 : (at + by + count) % count;
  const Role role = limbs_[static_cast<std::size_t>(at)].role;
  session_.selectRole(role, boneOf(document_.map(), role));
}

}  // namespace understudy::editor
