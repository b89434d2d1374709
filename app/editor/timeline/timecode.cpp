#include "app/editor/timeline/timecode.h"

#include <QStringList>
#include <algorithm>
#include <cmath>
#include <cstdlib>

namespace understudy::editor {

int timecodeBase(double hertz) { return std::max(1, static_cast<int>(std::ceil(std::isfinite(hertz) ? hertz - 1e-6 : 1))); }

QString timecode(int frame, double hertz) {
  const int base = timecodeBase(hertz), n = std::abs(frame), seconds = n / base;
  const auto two = [](int value) { return QStringLiteral("%1").arg(value, 2, 10, QLatin1Char('0')); };
  const int digits = base > 100 ? 3 : 2;
  return (frame < 0 ? QStringLiteral("-") : QString()) + two(seconds / 3600) + QLatin1Char(':') + two(seconds / 60 % 60) + QLatin1Char(':') + two(seconds % 60) + QLatin1Char(':') +
         QStringLiteral("%1").arg(n % base, digits, 10, QLatin1Char('0'));
}

std::optional<int> frameOfTimecode(const QString& text, double hertz) {
  QString plain = text.trimmed();
  const bool negative = plain.startsWith(QLatin1Char('-'));
  if (negative) plain.remove(0, 1);
  const QStringList parts = plain.split(QLatin1Char(':'));
  if (parts.size() > 4) return {};
  const int base = timecodeBase(hertz);
  const long long scale[] = {1, base, 60LL * base, 3600LL * base};
  long long frame = 0;
  for (qsizetype i = 0; i < parts.size(); ++i) {
    bool number = false;
    const int value = parts[i].toInt(&number);
    if (!number || value < 0) return {};
    frame += value * scale[parts.size() - 1 - i];
  }
  if (frame > 1000000000) return {};
  return static_cast<int>(negative ? -frame : frame);
}

}  // namespace understudy::editor
