// Pictures drawn as SVG text inside a page. Colours come from the page's own style.
#pragma once

#include <string>

#include "core/report/finish_report.h"

namespace understudy {

/// Text with what HTML would read as markup spelt out. Bytes that are no UTF-8 are replaced.
[[nodiscard]] std::string htmlText(std::string_view text);

/// "12 mm", "0.4 mm", "177°"; what is not finite is "–".
[[nodiscard]] std::string measureText(double value, const std::string& unit);

/// Curves with axes and, where there are several, a legend. A curve of more points than can be seen keeps its lowest and highest one a step.
/// Empty where there is nothing to draw.
[[nodiscard]] std::string plotSvg(const ReportPlot& plot);

/// All findings over the clip's frames, one row a kind. Empty where there are none.
[[nodiscard]] std::string findingsSvg(const FinishReport& report);

/// Base 64 (RFC 4648).
[[nodiscard]] std::string base64(const std::vector<std::uint8_t>& bytes);

}  // namespace understudy
