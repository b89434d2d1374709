// What a window looks like, judged by a script: which texts are painted where, whether they are cut, cover each other or read
// badly, how large targets are, what keys and screen readers reach.
#pragma once

#include <QColor>
#include <QImage>
#include <QRectF>
#include <QString>
#include <QStringList>
#include <QTranslator>
#include <QWidget>
#include <set>
#include <vector>

class QMenu;

namespace understudy::editor {

/// Every translated text, made longer by `more` of its length (0: as it is). Keys and other texts that are no words stay. Remembers what
/// it gave out, so that texts that went past it are known.
class LongWords : public QTranslator {
 public:
  explicit LongWords(double more) : more_(more) {}
  QString translate(const char* context, const char* source, const char* disambiguation, int n) const override;
  bool isEmpty() const override { return false; }
  /// True where a text with an ellipsis is one of those given out: it is whole, not cut short.
  [[nodiscard]] bool gave(const QString& text) const;
  /// True where a shortened text begins as one of those given out.
  [[nodiscard]] bool begins(const QString& text) const;

 private:
  double more_;
  mutable std::set<QString> given_;
};

/// A text as a widget painted it; window coordinates, device-independent pixels.
struct PaintedText {
  QString text;
  QRectF box;        ///< where its ink is
  QRectF room;       ///< what of it can be seen at most: the widget, and its clip
  QColor colour;
  const QWidget* widget = nullptr;
};
/// All texts of a widget and its visible children.
[[nodiscard]] std::vector<PaintedText> textsOf(QWidget& window);

/// What is wrong with a window, a line each; empty: nothing.
struct QualitySettings {
  double textContrast = 4.5, markContrast = 3;  ///< WCAG 2.1, 1.4.3 and 1.4.11
  double target = 24;                           ///< device-independent pixels (WCAG 2.2, 2.5.8)
};
/// `picture` is the window as grabbed, 32 bits a pixel.
[[nodiscard]] QStringList flawsOfTexts(QWidget& window, const QImage& picture, const LongWords& words, const QualitySettings& settings = {});
[[nodiscard]] QStringList flawsOfTargets(QWidget& window, const QImage& picture, const QualitySettings& settings = {});
/// A menu that is open: all of it in sight, every line high enough, none without a text.
[[nodiscard]] QStringList flawsOfMenu(const QMenu& menu, int room, const QualitySettings& settings = {});
/// Goes through the window by the Tab key; every widget that can be used must come up, have a name, and show that it has the focus.
[[nodiscard]] QStringList flawsOfKeys(QWidget& window);

}  // namespace understudy::editor
