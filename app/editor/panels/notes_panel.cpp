#include "app/editor/panels/notes_panel.h"

#include <QCheckBox>
#include <QFont>
#include <QHBoxLayout>
#include <QKeyEvent>
#include <QLabel>
#include <QListView>
#include <QPlainTextEdit>
#include <QPushButton>
#include <QSettings>
#include <QVBoxLayout>
#include <algorithm>
#include <cmath>

#include "app/editor/document/describe.h"
#include "app/editor/document/repairing.h"
#include "app/editor/look/icons.h"
#include "core/take/edits.h"

namespace understudy::editor {

int frameOf(const Evaluated& evaluated, const Note& note) { return static_cast<int>(std::lround(note.time * evaluated.rate.hertz())) - evaluated.trimFirst; }

QString noteAuthor() {
  const QString own = QSettings().value(QStringLiteral("author")).toString();
  if (!own.isEmpty()) return own;
  const QString user = qEnvironmentVariable("USER");
  return user.isEmpty() ? NotesPanel::tr("me") : user;
}

NotesModel::NotesModel(Document& document, QObject* parent) : QAbstractListModel(parent), document_(document) {
  connect(&document, &Document::takeChanged, this, &NotesModel::refresh);
  connect(&document, &Document::evaluatedChanged, this, &NotesModel::refresh);
}

void NotesModel::setAll(bool all) {
  all_ = all;
  refresh();
}

void NotesModel::refresh() {
  beginResetModel();
  ids_.clear();
  for (const Note& note : *document_.take().notes)
    if (all_ || !note.done) ids_.push_back(note.id);
  endResetModel();
}

int NotesModel::open() const {
  return static_cast<int>(std::count_if(document_.take().notes->begin(), document_.take().notes->end(), [](const Note& note) { return !note.done; }));
}

int NotesModel::rowCount(const QModelIndex& parent) const { return parent.isValid() ? 0 : static_cast<int>(ids_.size()); }

const Note* NotesModel::at(int row) const {
  return row >= 0 && row < rowCount() ? findNote(document_.take(), ids_[static_cast<std::size_t>(row)]) : nullptr;
}

QVariant NotesModel::data(const QModelIndex& index, int role) const {
  const Note* note = at(index.row());
  const auto evaluated = document_.evaluated();
  if (!note || !evaluated) return {};
  QString where = QString::number(frameOf(*evaluated, *note) + evaluated->firstFrame);
  if (!note->bone.empty()) where += QStringLiteral(" · ") + boneText(note->bone);
  if (!note->author.empty()) where += QStringLiteral(" · ") + QString::fromStdString(note->author);
  if (note->done) where += tr(" · done");
  const QString text = QString::fromStdString(note->text);
  switch (role) {
    case Qt::DisplayRole: return where + QLatin1Char('\n') + text;
    case Qt::ToolTipRole: return text;
    case Qt::AccessibleTextRole: return tr("Frame %1: %2").arg(where, text);
    case Qt::DecorationRole: return icon(note->done ? QStringLiteral("check") : QStringLiteral("note"));
    case Qt::FontRole: {
      QFont font;
      font.setStrikeOut(note->done);
      return font;
    }
    default: return {};
  }
}

NotesPanel::NotesPanel(Document& document, Session& session, QWidget* parent) : QWidget(parent), document_(document), session_(session) {
  setObjectName(QStringLiteral("panel"));
  setAttribute(Qt::WA_StyledBackground);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(0, 8, 0, 4);
  column->setSpacing(6);
  model_ = new NotesModel(document, this);
  list_ = new QListView(this);
  list_->setObjectName(QStringLiteral("notes"));
  list_->setAccessibleName(tr("Notes, in order of time"));
  list_->setModel(model_);
  list_->setWordWrap(true);
  list_->setSpacing(2);
  list_->setResizeMode(QListView::Adjust);
  column->addWidget(list_, 1);
  where_ = new QLabel(this);
  where_->setProperty("quiet", true);
  where_->setWordWrap(true);
  column->addWidget(where_);
  text_ = new QPlainTextEdit(this);
  text_->setObjectName(QStringLiteral("noteText"));
  text_->setAccessibleName(tr("Text of a new note"));
  text_->setPlaceholderText(tr("What is to be seen here? Ctrl+Enter pins it to this frame and the selected bone."));
  text_->setTabChangesFocus(true);
  text_->setFixedHeight(72);
  text_->installEventFilter(this);
  column->addWidget(text_);
  auto* row = new QHBoxLayout;
  row->setSpacing(4);
  add_ = new QPushButton(tr("Pin"), this);
  add_->setObjectName(QStringLiteral("notePin"));
  add_->setToolTip(tr("Pin the note to this frame and the selected bone  (Ctrl+Return)"));
  done_ = new QPushButton(tr("Done"), this);
  done_->setToolTip(tr("The chosen note is seen to, or open again"));
  remove_ = new QPushButton(tr("Remove"), this);
  remove_->setToolTip(tr("Remove the chosen note"));
  for (QPushButton* button : {add_, done_, remove_}) {
    button->setProperty("small", true);
    row->addWidget(button, 1);
  }
  column->addLayout(row);
  auto* all = new QCheckBox(tr("show those done"), this);
  all->setChecked(true);
  column->addWidget(all);
  connect(all, &QCheckBox::toggled, model_, &NotesModel::setAll);
  connect(add_, &QPushButton::clicked, this, &NotesPanel::add);
  connect(done_, &QPushButton::clicked, this, &NotesPanel::toggleDone);
  connect(remove_, &QPushButton::clicked, this, &NotesPanel::remove);
  connect(list_, &QListView::clicked, this, [this](const QModelIndex& index) { show(index.row()); });
  connect(list_, &QListView::activated, this, [this](const QModelIndex& index) { show(index.row()); });
  connect(list_->selectionModel(), &QItemSelectionModel::currentChanged, this, &NotesPanel::refresh);
  connect(model_, &NotesModel::modelReset, this, &NotesPanel::refresh);
  connect(text_, &QPlainTextEdit::textChanged, this, &NotesPanel::refresh);
  for (auto signal : {&Session::selectionChanged, &Session::timeChanged}) connect(&session, signal, this, &NotesPanel::refresh);
  connect(&session, &Session::frameChanged, this, &NotesPanel::refresh);
  refresh();
}

void NotesPanel::refresh() {
  const auto evaluated = document_.evaluated();
  QString bone;
  if (const auto selected = session_.selected(); selected && selected->cast == Cast::character)
    if (const auto character = document_.figure(Cast::character)) bone = jointText(*character, selected->joint);
  where_->setText(!evaluated      ? tr("Notes are pinned to frames: load a performer first.")
                  : bone.isEmpty() ? tr("frame %1, the whole picture").arg(session_.frame() + evaluated->firstFrame)
                                   : tr("frame %1, %2").arg(session_.frame() + evaluated->firstFrame).arg(bone));
  add_->setEnabled(evaluated && !text_->toPlainText().trimmed().isEmpty());
  const Note* chosen = model_->at(list_->currentIndex().row());
  done_->setEnabled(chosen);
  remove_->setEnabled(chosen);
  done_->setText(chosen && chosen->done ? tr("Open again") : tr("Done"));
}

void NotesPanel::add() {
  const auto evaluated = document_.evaluated();
  const QString text = text_->toPlainText().trimmed();
  if (!evaluated || text.isEmpty()) return;
  Note note;
  note.time = evaluated->rate.seconds(evaluated->trimFirst + session_.frame());
  note.text = text.toStdString();
  note.author = noteAuthor().toStdString();
  if (const auto bone = session_.selected(); bone && bone->cast == Cast::character && evaluated->context) note.bone = boneName(*evaluated->context, bone->joint);
  std::uint64_t id = 0;
  document_.edit(tr("Pin a note"), addNote(document_.take(), note, &id));
  text_->clear();
  for (int row = 0; row < model_->rowCount(); ++row)
    if (model_->at(row)->id == id) list_->setCurrentIndex(model_->index(row));
}

void NotesPanel::toggleDone() {
  const Note* chosen = model_->at(list_->currentIndex().row());
  if (!chosen) return;
  Note next = *chosen;
  next.done = !next.done;
  const int row = list_->currentIndex().row();
  document_.edit(next.done ? tr("Note done") : tr("Open a note again"), changeNote(document_.take(), next));
  list_->setCurrentIndex(model_->index(std::min(row, model_->rowCount() - 1)));
}

void NotesPanel::remove() {
  if (const Note* chosen = model_->at(list_->currentIndex().row())) document_.edit(tr("Remove a note"), removeNote(document_.take(), chosen->id));
}

void NotesPanel::show(int row) {
  const Note* note = model_->at(row);
  const auto evaluated = document_.evaluated();
  if (!note || !evaluated) return;
  session_.setFrame(std::clamp(frameOf(*evaluated, *note), 0, std::max(0, evaluated->frames - 1)));
  if (note->bone.empty() || !evaluated->context) return;
  if (const auto joint = findBone(*evaluated->context, note->bone)) session_.select(Bone{Cast::character, joint.value()});
}

void NotesPanel::step(int direction) {
  const auto evaluated = document_.evaluated();
  if (!evaluated) return;
  int best = -1;
  for (int row = 0; row < model_->rowCount(); ++row) {
    const int frame = frameOf(*evaluated, *model_->at(row));
    if (direction > 0 && frame > session_.frame() && best < 0) best = row;
    if (direction < 0 && frame < session_.frame()) best = row;
  }
  if (best < 0) return;
  list_->setCurrentIndex(model_->index(best));
  show(best);
}

bool NotesPanel::eventFilter(QObject* watched, QEvent* event) {
  if (event->type() == QEvent::KeyPress) {
    const auto* key = static_cast<QKeyEvent*>(event);
    if ((key->key() == Qt::Key_Return || key->key() == Qt::Key_Enter) && key->modifiers() & Qt::ControlModifier) {
      add();
      return true;
    }
  }
  return QWidget::eventFilter(watched, event);
}

}  // namespace understudy::editor
