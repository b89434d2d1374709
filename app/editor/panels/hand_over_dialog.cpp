#include "app/editor/panels/hand_over_dialog.h"

#include <QCheckBox>
#include <QComboBox>
#include <QDesktopServices>
#include <QDoubleSpinBox>
#include <QFileDialog>
#include <QFileInfo>
#include <QFormLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QScopedValueRollback>
#include <QSignalBlocker>
#include <QSpinBox>
#include <QStandardPaths>
#include <QUrl>
#include <QVBoxLayout>

#include "app/editor/look/appearance.h"

namespace understudy::editor {

HandOverDialog::HandOverDialog(Document& document, QWidget* parent) : QDialog(parent), document_(document) {
  setWindowTitle(tr("Hand over"));
  setMinimumWidth(520);
  auto* column = new QVBoxLayout(this);
  column->setContentsMargins(20, 18, 20, 16);
  column->setSpacing(12);
  auto* form = new QFormLayout;
  form->setHorizontalSpacing(14);
  form->setVerticalSpacing(9);
  format_ = new QComboBox(this);
  format_->setObjectName(QStringLiteral("handOverFormat"));
  format_->addItem(tr("glTF binary (.glb)"), QStringLiteral("glb"));
  format_->addItem(tr("glTF text (.gltf)"), QStringLiteral("gltf"));
  format_->addItem(tr("BVH (.bvh)"), QStringLiteral("bvh"));
  format_->addItem(tr("table of world transforms (.csv)"), QStringLiteral("csv"));
  form->addRow(tr("Format"), format_);
  auto* row = new QHBoxLayout;
  path_ = new QLineEdit(this);
  path_->setObjectName(QStringLiteral("handOverPath"));
  path_->setAccessibleName(tr("File"));
  auto* browse = new QPushButton(tr("Browse…"), this);
  row->addWidget(path_, 1);
  row->addWidget(browse);
  form->addRow(tr("File"), row);
  name_ = new QLineEdit(this);
  form->addRow(tr("Animation's name"), name_);
  rate_ = new QComboBox(this);
  form->addRow(tr("Frames per second"), rate_);
  auto* keys = new QHBoxLayout;
  curves_ = new QComboBox(this);
  curves_->setObjectName(QStringLiteral("handOverCurves"));
  curves_->setAccessibleName(tr("Curves"));
  curves_->addItem(tr("sampled: a key a frame"));
  curves_->addItem(tr("reduced: as few keys as the bound allows"));
  curves_->addItem(tr("editable: few keys, aligned along each limb, smooth"));
  tolerance_ = new QDoubleSpinBox(this);
  tolerance_->setObjectName(QStringLiteral("handOverTolerance"));
  tolerance_->setAccessibleName(tr("Bound in millimetres"));
  tolerance_->setToolTip(tr("How far any point 3 cm from a joint may be off, at every frame"));
  tolerance_->setRange(0.05, 20);
  tolerance_->setDecimals(2);
  tolerance_->setSingleStep(0.5);
  tolerance_->setSuffix(tr(" mm"));
  keys->addWidget(curves_, 1);
  keys->addWidget(tolerance_);
  form->addRow(tr("Curves"), keys);
  first_ = new QSpinBox(this);
  first_->setRange(-100000, 1000000);
  first_->setToolTip(tr("The number of the first frame, here and in the file"));
  form->addRow(tr("First frame"), first_);
  only_ = new QCheckBox(tr("nodes and animation only, without mesh"), this);
  form->addRow(QString(), only_);
  column->addLayout(form);
  hint_ = new QLabel(this);
  hint_->setWordWrap(true);
  hint_->setProperty("quiet", true);
  column->addWidget(hint_);
  report_ = new QLabel(this);
  report_->setObjectName(QStringLiteral("handOverReport"));
  report_->setWordWrap(true);
  report_->setTextInteractionFlags(Qt::TextSelectableByMouse);
  report_->hide();
  column->addWidget(report_);
  auto* buttons = new QHBoxLayout;
  buttons->addStretch(1);
  folder_ = new QPushButton(tr("Open its folder"), this);
  folder_->setObjectName(QStringLiteral("handOverFolder"));
  folder_->hide();
  close_ = new QPushButton(tr("Close"), this);
  go_ = new QPushButton(tr("Hand over"), this);
  go_->setObjectName(QStringLiteral("handOverGo"));
  go_->setProperty("next", true);
  go_->setDefault(true);
  buttons->addWidget(folder_);
  buttons->addWidget(close_);
  buttons->addWidget(go_);
  column->addLayout(buttons);
  connect(browse, &QPushButton::clicked, this, &HandOverDialog::browse);
  connect(folder_, &QPushButton::clicked, this, [this] { QDesktopServices::openUrl(QUrl::fromLocalFile(QFileInfo(written_).absolutePath())); });
  connect(close_, &QPushButton::clicked, this, &QDialog::reject);
  connect(go_, &QPushButton::clicked, this, &HandOverDialog::write);
  connect(path_, &QLineEdit::textChanged, this, &HandOverDialog::change);
  connect(name_, &QLineEdit::textChanged, this, &HandOverDialog::change);
  connect(only_, &QCheckBox::toggled, this, &HandOverDialog::change);
  connect(rate_, &QComboBox::currentIndexChanged, this, &HandOverDialog::change);
  connect(tolerance_, &QDoubleSpinBox::valueChanged, this, &HandOverDialog::change);
  connect(first_, &QSpinBox::valueChanged, this, &HandOverDialog::change);
  connect(curves_, &QComboBox::currentIndexChanged, this, [this](int kind) {
    // What one would choose first: a millimetre nobody sees, or few enough keys to work with.
    if (!filling_) tolerance_->setValue(kind == 2 ? 3 : 1);
    change();
  });
  connect(format_, &QComboBox::activated, this, [this] {
    const QFileInfo info(path_->text());
    path_->setText(info.path() + QLatin1Char('/') + info.completeBaseName() + QLatin1Char('.') + format_->currentData().toString());
  });
  connect(&document, &Document::handedOver, this, [this](const HandOverReport& report) {
    QString text = tr("Written: %1").arg(report.path);
    if (report.measured) {
      const Fidelity& f = report.fidelity;
      if (!f.worstJoint.empty())
        text += tr("\nRead back: at most %1 mm off (%2, frame %3).")
                    .arg(f.worstMillimetres, 0, 'f', 4)
                    .arg(QString::fromStdString(f.worstJoint))
                    .arg(f.worstFrame + document_.take().firstFrame);
      else
        text += tr("\nRead back: no difference.");
      text += tr("\n%1 keys, %2 kB.").arg(f.keys).arg((f.bytes + 512) / 1024);
    }
    for (const Issue& note : report.notes) text += QLatin1Char('\n') + QString::fromStdString(note.text());
    report_->setText(text);
    report_->show();
    written_ = report.path;
    check();
    close_->setFocus();
  });
  connect(&document, &Document::message, this, [this](const Issue& issue) {
    if (!isVisible() || issue.severity != Severity::error) return;
    report_->setText(QString::fromStdString(issue.text()));
    report_->show();
    check();
  });
}

QString HandOverDialog::suggestion() const {
  const Take& take = document_.take();
  const QFileInfo character(QString::fromStdString(take.character->path)), performer(QString::fromStdString(take.performer->path));
  const QString ending = character.suffix().toLower() == QLatin1String("gltf") ? QStringLiteral("gltf") : QStringLiteral("glb");
  // Beside the character, unless that is a place one cannot write to.
  const QString folder = QFileInfo(character.absolutePath()).isWritable() ? character.absolutePath() : QStandardPaths::writableLocation(QStandardPaths::DocumentsLocation);
  return folder + QLatin1Char('/') + character.completeBaseName() + QLatin1Char('_') + performer.completeBaseName() + QLatin1Char('.') + ending;
}

void HandOverDialog::open() {
  const Take& take = document_.take();
  const auto evaluated = document_.evaluated();
  report_->hide();
  written_.clear();
  path_->setText(take.handOver->path.empty() ? suggestion() : QString::fromStdString(take.handOver->path));
  name_->setText(QString::fromStdString(take.handOver->animationName));
  only_->setChecked(take.handOver->animationOnly);
  first_->setValue(take.firstFrame);
  {
    const QScopedValueRollback guard(filling_, true);
    curves_->setCurrentIndex(static_cast<int>(take.handOver->bake));
    tolerance_->setValue(take.handOver->tolerance * 1000);
  }
  rate_->clear();
  rate_->addItem(tr("the take's, %1").arg(evaluated ? QString::fromStdString(evaluated->rate.text()) : QString()), QString());
  for (const char* rate : {"24", "25", "30000/1001", "30", "48", "60", "120"}) rate_->addItem(QString::fromStdString(parseFrameRate(rate)->text()), QString::fromLatin1(rate));
  rate_->setCurrentIndex(take.handOver->rate ? std::max(0, rate_->findData(QString::fromStdString(take.handOver->rate->spelling()))) : 0);
  check();
  QDialog::open();
}

void HandOverDialog::browse() {
  // Asking whether to replace is left to this window, which says so all the time.
  const QString file = QFileDialog::getSaveFileName(this, tr("Hand over to"), path_->text(), tr("Animation (*.glb *.gltf *.bvh *.csv)"), nullptr,
                                                    QFileDialog::DontConfirmOverwrite);
  if (!file.isEmpty()) path_->setText(file);
}

void HandOverDialog::change() {
  written_.clear();
  check();
}

void HandOverDialog::check() {
  const QFileInfo info(path_->text());
  const QString ending = info.suffix().toLower();
  const int at = format_->findData(ending);
  if (at >= 0) format_->setCurrentIndex(at);
  only_->setEnabled(ending == QLatin1String("glb") || ending == QLatin1String("gltf"));
  const bool keyed = ending == QLatin1String("glb") || ending == QLatin1String("gltf");
  curves_->setEnabled(keyed);
  tolerance_->setEnabled(keyed && curves_->currentIndex() > 0);
  const Take& take = document_.take();
  const auto evaluated = document_.evaluated();
  const auto character = document_.figure(Cast::character);
  const bool own = !info.filePath().isEmpty() && (info.absoluteFilePath() == QFileInfo(QString::fromStdString(take.character->path)).absoluteFilePath() ||
                                                  info.absoluteFilePath() == QFileInfo(QString::fromStdString(take.performer->path)).absoluteFilePath());
  QString hint;
  bool able = evaluated && evaluated->complete() && character;
  if (!able) hint = tr("There is no animated character yet: load both figures and fill the required roles.");
  else if (at < 0) hint = tr("The name must end in .glb, .gltf, .bvh or .csv."), able = false;
  else if (own) hint = tr("This is a file the take reads. Choose another name: your own files are never written over."), able = false;
  else if (info.exists()) hint = tr("There is a file of this name; it will be replaced.");
  else if (ending == QLatin1String("bvh")) hint = tr("The character's skeleton and this animation.");
  else if (ending == QLatin1String("csv")) hint = tr("One row a frame and bone: world position in metres and rotation.");
  else if (only_->isChecked()) hint = tr("The character's bones and this animation.");
  else if (character->format == "glTF 2.0") hint = tr("Your character's own file with the animation added; everything else in it stays as it is.");
  else hint = tr("A new file with the character's mesh, skin and this animation.");
  // Once it is written there is nothing left to do here, as long as nothing is changed.
  const bool written = !written_.isEmpty();
  hint_->setText(hint);
  hint_->setVisible(!written);
  go_->setText(written ? tr("Write again") : able && info.exists() ? tr("Replace") : tr("Hand over"));
  go_->setEnabled(able);
  go_->setDefault(!written);
  close_->setDefault(written);
  markNext(*go_, !written);
  markNext(*close_, written);
  folder_->setVisible(written);
}

void HandOverDialog::write() {
  HandOver settings = *document_.take().handOver;
  settings.path = QFileInfo(path_->text()).absoluteFilePath().toStdString();
  settings.animationOnly = only_->isEnabled() && only_->isChecked();
  settings.animationName = name_->text().isEmpty() ? "Understudy" : name_->text().toStdString();
  settings.bake = curves_->isEnabled() ? static_cast<BakeKind>(curves_->currentIndex()) : BakeKind::sampled;
  settings.tolerance = tolerance_->value() / 1000;
  settings.rate.reset();
  if (const QString rate = rate_->currentData().toString(); !rate.isEmpty())
    if (const auto parsed = parseFrameRate(rate.toStdString())) settings.rate = parsed.value();
  report_->setText(tr("Writing…"));
  report_->show();
  go_->setEnabled(false);
  document_.handOver(settings, first_->value());
}

}  // namespace understudy::editor
