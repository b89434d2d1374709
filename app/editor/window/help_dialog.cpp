#include "app/editor/window/help_dialog.h"

#include <QAction>
#include <QDir>
#include <QFile>
#include <QHBoxLayout>
#include <QListWidget>
#include <QTextBrowser>

#include "app/editor/look/appearance.h"
#include "app/editor/window/actions.h"

namespace understudy::editor {
namespace {

const QString root = QStringLiteral(":/understudy/help/");

/// The page's heading; its file's name where it has none.
QString titleOf(const QString& file) {
  QFile page(file);
  if (!page.open(QIODevice::ReadOnly)) return file;
  const QString text = QString::fromUtf8(page.read(2000));
  const qsizetype from = text.indexOf(QStringLiteral("<h1>")), to = text.indexOf(QStringLiteral("</h1>"));
  return from < 0 || to < from ? file : text.mid(from + 4, to - from - 4);
}

}  // namespace

HelpDialog::HelpDialog(const Actions& actions, QWidget* parent) : QDialog(parent), actions_(actions) {
  setWindowTitle(tr("Help"));
  resize(940, 680);
  auto* row = new QHBoxLayout(this);
  row->setContentsMargins(10, 10, 10, 10);
  pages_ = new QListWidget(this);
  pages_->setObjectName(QStringLiteral("helpPages"));
  pages_->setAccessibleName(tr("Pages"));
  pages_->setFixedWidth(210);
  page_ = new QTextBrowser(this);
  page_->setObjectName(QStringLiteral("helpPage"));
  page_->setAccessibleName(tr("Help page"));
  page_->setOpenExternalLinks(true);
  page_->setSearchPaths({root});
  row->addWidget(pages_);
  row->addWidget(page_, 1);
  for (const QString& file : QDir(root).entryList({QStringLiteral("*.html")}, QDir::Files, QDir::Name)) {
    auto* item = new QListWidgetItem(titleOf(root + file), pages_);
    item->setData(Qt::UserRole, file.chopped(5));
    item->setSizeHint({0, 28});
  }
  auto* keys = new QListWidgetItem(tr("Keys"), pages_);
  keys->setData(Qt::UserRole, QStringLiteral("keys"));
  keys->setSizeHint({0, 28});
  connect(pages_, &QListWidget::currentItemChanged, this, [this](const QListWidgetItem* item) {
    if (item) showPage(item->data(Qt::UserRole).toString());
  });
  pages_->setCurrentRow(0);
}

QString HelpDialog::keysPage() const {
  QString html = QStringLiteral("<h1>%1</h1><p>%2</p><table cellspacing=\"0\" cellpadding=\"4\">").arg(tr("Keys"), tr("As they are set now; the preferences change them."));
  for (const QAction* action : actions_.all()) {
    const QString key = action->shortcut().toString(QKeySequence::NativeText);
    html += QStringLiteral("<tr><td>%1</td><td><b>%2</b></td></tr>").arg(action->property("name").toString().toHtmlEscaped(), key.toHtmlEscaped());
  }
  return html + QStringLiteral("</table>");
}

void HelpDialog::showPage(const QString& name) {
  for (int i = 0; i < pages_->count(); ++i)
    if (pages_->item(i)->data(Qt::UserRole).toString() == name && pages_->currentRow() != i) return pages_->setCurrentRow(i);
  page_->document()->setDefaultStyleSheet(QStringLiteral("h1 { font-size: 20px; } h2 { font-size: 15px; } a { color: %1; } td, p, li { font-size: 13px; }").arg(colours().performer.name()));
  if (name == QStringLiteral("keys")) page_->setHtml(keysPage());
  else if (QFile file(root + name + QStringLiteral(".html")); file.open(QIODevice::ReadOnly)) page_->setHtml(actions_.withKeys(QString::fromUtf8(file.readAll())));
}

}  // namespace understudy::editor
