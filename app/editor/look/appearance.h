// Colours and type of the editor: one family of tones, dark (night sea) and light (morning fog).
#pragma once

#include <QColor>
#include <QFont>
#include <QObject>
#include <QString>

class QApplication;

namespace understudy::editor {

/// Every colour the editor uses, by what it means. Text on `window`, `panel`, `card`, `sunken` and `picked` has a contrast of at least
/// 4.5:1, marks of at least 3:1.
struct Colours {
  QColor window, panel, card, cardHover, sunken, line;  ///< surfaces, from the ground up, and hairlines
  QColor text, dimText, disabledText;
  QColor performer, character;     ///< the two figures, everywhere
  QColor picked;                   ///< surface of the selected row
  QColor selection, selectionGap;  ///< double outline of what is selected: a line, and the gap that sets it off
  QColor key;                      ///< key pins
  QColor lamp, onLamp;             ///< the next action, and nothing else
  QColor flaw, warning;            ///< severity, also told by shape
  QColor quietText;                ///< text on warning and flaw surfaces
  QColor stageTop, stageBottom, stageGrid;
  QColor axisX, axisY, axisZ;      ///< curves and handle rings
};

class Appearance : public QObject {
  Q_OBJECT
 public:
  enum class Kind { dark, light };
  static Appearance& instance();

  [[nodiscard]] Kind kind() const { return kind_; }
  [[nodiscard]] const Colours& colours() const { return colours_; }
  /// Sets palette, style sheet and type of the application.
  void apply(Kind kind);
  [[nodiscard]] static Colours coloursOf(Kind kind);

  /// Type in device-independent pixels: body 13, small 11.5, title 14.
  [[nodiscard]] static QFont body();
  [[nodiscard]] static QFont small();
  [[nodiscard]] static QFont title();

 Q_SIGNALS:
  void changed();

 private:
  Appearance() = default;
  Kind kind_ = Kind::dark;
  Colours colours_ = coloursOf(Kind::dark);
};

inline const Colours& colours() { return Appearance::instance().colours(); }

/// Gives a button the lamp's yellow of the next action, or takes it away.
void markNext(QWidget& button, bool next);

/// Contrast ratio of two opaque colours after WCAG 2.1 (relative luminance), 1 … 21.
[[nodiscard]] double contrast(const QColor& a, const QColor& b);

}  // namespace understudy::editor
