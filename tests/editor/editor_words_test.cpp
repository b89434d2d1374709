// Every word the program has: commands and keys, labels, the command line's options, icons and colours, in one list to read through.
// With UNDERSTUDY_WORDS=FILE the list is written there: resources/words/words.sh does so.
#include <QAction>
#include <QDirIterator>
#include <QProcess>
#include <QRegularExpression>
#include <map>
#include <set>

#include "app/editor/look/appearance.h"
#include "app/editor/window/actions.h"
#include "tests/editor/editor_window.h"

namespace understudy::editor {
namespace {

QString textOf(const QString& file) {
  QFile read(file);
  EXPECT_TRUE(read.open(QIODevice::ReadOnly)) << file.toStdString();
  return QString::fromUtf8(read.readAll());
}

/// The texts given to tr() and its kind, literals that follow each other joined.
QStringList labelsOf(const QString& source) {
  static const QRegularExpression call(QStringLiteral(R"re((?:\btr\(|\bsay\(|\btranslate\("[A-Za-z]+",\s*)("(?:[^"\\]|\\.)*"(?:\s*"(?:[^"\\]|\\.)*")*))re"));
  static const QRegularExpression literal(QStringLiteral(R"re("((?:[^"\\]|\\.)*)")re"));
  QStringList labels;
  for (auto calls = call.globalMatch(source); calls.hasNext();) {
    QString label;
    for (auto parts = literal.globalMatch(calls.next().captured(1)); parts.hasNext();) label += parts.next().captured(1);
    labels << label;
  }
  return labels;
}

QStringList filesIn(const QString& folder, const QString& pattern) {
  QStringList files;
  for (QDirIterator each(folder, {pattern}, QDir::Files, QDirIterator::Subdirectories); each.hasNext();) files << each.next();
  files.sort();
  return files;
}

QString helpOf(const QStringList& words) {
  QProcess program;
  program.start(QStringLiteral(UNDERSTUDY_BINARY "/bin/understudy-cli"), words + QStringList{QStringLiteral("--help")});
  EXPECT_TRUE(program.waitForFinished(30000));
  return QString::fromUtf8(program.readAllStandardOutput());
}

/// Names of a help text's section, as they are listed: "  name  what it does".
QStringList namesIn(const QString& help, const QString& section) {
  QStringList names;
  bool inside = false;
  for (const QString& line : help.split(QLatin1Char('\n'))) {
    if (line == section + QLatin1Char(':')) inside = true;
    else if (inside && line.startsWith(QLatin1String("  ")) && line.size() > 2 && line[2].isLetter()) names << line.trimmed().section(QLatin1Char(' '), 0, 0);
    else if (inside && line.trimmed().isEmpty()) break;
  }
  return names;
}

class EditorWordList : public EditorRun {
 protected:
  QString list() {
    QString out = QStringLiteral("Every word of the program, made by resources/words/words.sh. Read it through: nothing here may make a practitioner name one\nprogram.\n");
    out += QStringLiteral("\n# Commands and keys\n");
    for (const QAction* action : window->actions().all())
      out += action->property("name").toString() + QStringLiteral(" | ") + action->shortcut().toString(QKeySequence::PortableText) + QLatin1Char('\n');
    const QString root = QStringLiteral(UNDERSTUDY_SOURCE);
    for (const QString& file : filesIn(root + QStringLiteral("/app/editor"), QStringLiteral("*.cpp"))) {
      QStringList labels = labelsOf(textOf(file));
      labels.removeDuplicates();
      if (labels.isEmpty()) continue;
      out += QStringLiteral("\n# Labels: ") + file.section(QLatin1String("/app/editor/"), 1) + QLatin1Char('\n') + labels.join(QLatin1Char('\n')) + QLatin1Char('\n');
    }
    out += QStringLiteral("\n# Command line\n");
    QStringList commands;
    for (const QString& command : namesIn(helpOf({}), QStringLiteral("Commands"))) {
      commands << command;
      for (const QString& action : namesIn(helpOf({command}), QStringLiteral("Actions"))) commands << command + QLatin1Char(' ') + action;
    }
    for (const QString& command : commands) {
      QStringList options;
      for (const QString& line : helpOf(command.split(QLatin1Char(' '))).split(QLatin1Char('\n')))
        if (line.startsWith(QLatin1String("  --"))) options << line.trimmed().section(QStringLiteral("  "), 0, 0);
      out += command + QStringLiteral(": ") + options.join(QStringLiteral(", ")) + QLatin1Char('\n');
    }
    out += QStringLiteral("\n# Icons\n");
    QStringList icons;
    for (const QString& file : filesIn(root + QStringLiteral("/resources/icons"), QStringLiteral("*.svg"))) icons << QFileInfo(file).completeBaseName();
    out += icons.join(QStringLiteral(", ")) + QLatin1Char('\n');
    out += QStringLiteral("\n# Colours\n");
    for (const Appearance::Kind kind : {Appearance::Kind::dark, Appearance::Kind::light}) {
      const Colours c = Appearance::coloursOf(kind);
      const std::pair<const char*, QColor> tones[] = {{"window", c.window}, {"panel", c.panel}, {"card", c.card}, {"text", c.text}, {"performer", c.performer}, {"character", c.character},
                                                      {"selection", c.selection}, {"key", c.key}, {"next action", c.lamp}, {"flaw", c.flaw}, {"warning", c.warning}, {"X", c.axisX},
                                                      {"Y", c.axisY}, {"Z", c.axisZ}};
      out += kind == Appearance::Kind::dark ? QStringLiteral("dark:") : QStringLiteral("light:");
      for (const auto& [name, tone] : tones) out += QStringLiteral(" %1 %2").arg(QLatin1String(name), tone.name());
      out += QLatin1Char('\n');
    }
    return out;
  }
};

TEST_F(EditorWordList, TheListOfAllWordsIsCurrent) {
  const QString now = list();
  if (const QString to = qEnvironmentVariable("UNDERSTUDY_WORDS"); !to.isEmpty()) {
    QFile file(to);
    ASSERT_TRUE(file.open(QIODevice::WriteOnly));
    file.write(now.toUtf8());
  }
  const QStringList kept = textOf(QStringLiteral(UNDERSTUDY_SOURCE "/resources/words/words.txt")).split(QLatin1Char('\n')), lines = now.split(QLatin1Char('\n'));
  QStringList other;
  for (const QString& line : lines)
    if (!kept.contains(line)) other << QStringLiteral("+ ") + line;
  for (const QString& line : kept)
    if (!lines.contains(line)) other << QStringLiteral("- ") + line;
  EXPECT_TRUE(kept == lines) << "make the list again with resources/words/words.sh and read what changed:\n" << other.join(QLatin1Char('\n')).toStdString();
}

TEST_F(EditorWordList, ItHasWhatIsThere) {
  const QString now = list();
  for (const char* word : {"Play or pause | Space", "Left foot", "Drop a capture and a character here", "retarget: ", "--performer", "repair add: ", "pin,", "performer #"})
    EXPECT_TRUE(now.contains(QString::fromUtf8(word))) << word;
}

TEST_F(EditorWordList, EveryCommandHasANameAndAKeyOfItsOwn) {
  std::map<QString, QString> keys;
  std::set<QString> names;
  for (const QAction* action : window->actions().all()) {
    const QString name = action->property("name").toString(), key = Actions::ownKey(*action).toString(QKeySequence::PortableText);
    EXPECT_TRUE(names.insert(name).second) << name.toStdString() << " is there twice";
    if (key.isEmpty()) continue;
    EXPECT_TRUE(keys.emplace(key, name).second) << name.toStdString() << " has the key of " << keys[key].toStdString() << ": " << key.toStdString();
  }
}

}  // namespace
}  // namespace understudy::editor
