#include "core/report/page_plot.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace understudy {
namespace {

std::string number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.2f", value);
  std::string out = text;
  out.erase(out.find_last_not_of('0') + 1);
  if (out.ends_with('.')) out.pop_back();
  return out == "-0" ? "0" : out;
}

/// Steps of 1, 2 or 5 times a power of ten, at most `most` of them over the range.
double tickStep(double range, int most) {
  if (!(range > 0) || most < 1) return 1;
  const double rough = range / most, power = std::pow(10.0, std::floor(std::log10(rough)));
  for (const double factor : {1.0, 2.0, 5.0})
    if (factor * power >= rough * (1 - 1e-9)) return factor * power;
  return 10 * power;
}

const char* classOf(CurveRole role) {
  switch (role) {
    case CurveRole::performer: return "performer";
    case CurveRole::before: return "before";
    case CurveRole::after: return "after";
    case CurveRole::bound: break;
  }
  return "bound";
}

struct Area {
  double left, top, width, height;
};

std::string textAt(double x, double y, const char* cls, const std::string& text) {
  return "<text class=\"" + std::string(cls) + "\" x=\"" + number(x) + "\" y=\"" + number(y) + "\">" + htmlText(text) + "</text>";
}
std::string lineFrom(double x1, double y1, double x2, double y2, const char* cls) {
  return "<line class=\"" + std::string(cls) + "\" x1=\"" + number(x1) + "\" y1=\"" + number(y1) + "\" x2=\"" + number(x2) + "\" y2=\"" + number(y2) + "\"/>";
}

/// Frame numbers along the bottom of an area.
std::string frameAxis(const Area& area, int first, int last) {
  std::string svg;
  const double step = std::max(1.0, tickStep(last - first, 8));
  for (double frame = std::ceil(first / step) * step; frame <= last + 1e-9; frame += step) {
    const double x = area.left + area.width * (last > first ? (frame - first) / (last - first) : 0);
    svg += lineFrom(x, area.top, x, area.top + area.height, "grid");
    svg += textAt(x, area.top + area.height + 16, "tick", number(frame));
  }
  return svg;
}

}  // namespace

std::string htmlText(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size();) {
    const auto byte = static_cast<unsigned char>(text[i]);
    const std::size_t size = byte < 0x80 ? 1 : byte >= 0xC2 && byte < 0xE0 ? 2 : (byte & 0xF0) == 0xE0 ? 3 : byte >= 0xF0 && byte < 0xF5 ? 4 : 0;
    bool whole = size > 0 && i + size <= text.size();
    for (std::size_t k = 1; whole && k < size; ++k) whole = (static_cast<unsigned char>(text[i + k]) & 0xC0) == 0x80;
    if (!whole) {
      out += "\xEF\xBF\xBD";
      ++i;
      continue;
    }
    if (size > 1) {
      out.append(text.substr(i, size));
    } else {
      switch (text[i]) {
        case '&': out += "&amp;"; break;
        case '<': out += "&lt;"; break;
        case '>': out += "&gt;"; break;
        case '"': out += "&quot;"; break;
        case '\'': out += "&#39;"; break;
        default: out += byte < 0x20 && text[i] != '\n' && text[i] != '\t' ? ' ' : text[i];
      }
    }
    i += size;
  }
  return out;
}

std::string measureText(double value, const std::string& unit) {
  if (!std::isfinite(value)) return "–";
  char text[48];
  std::snprintf(text, sizeof text, std::abs(value) < 9.95 ? "%.1f" : "%.0f", value);
  return std::string(text) + (unit.empty() ? "" : unit == "°" ? "°" : " " + unit);
}

std::string plotSvg(const ReportPlot& plot) {
  double low = 0, high = 0;
  std::size_t points = 0;
  for (const ReportCurve& curve : plot.curves)
    for (const double value : curve.values)
      if (std::isfinite(value)) {
        low = std::min(low, value);
        high = std::max(high, value);
        ++points;
      }
  std::size_t frames = 0;
  for (const ReportCurve& curve : plot.curves) frames = std::max(frames, curve.values.size());
  if (points == 0) return {};
  if (high - low < 1e-9) high = low + 1;
  const double step = tickStep(high - low, 4);
  low = std::floor(low / step) * step;
  high = std::ceil(high / step) * step;
  const int first = plot.firstFrame, last = first + static_cast<int>(frames) - 1;
  const Area area{52, 10, 736, 150};
  const auto xOf = [&](double frame) { return area.left + area.width * (last > first ? (frame - first) / (last - first) : 0); };
  const auto yOf = [&](double value) { return area.top + area.height * (high - value) / (high - low); };

  std::string svg = "<svg viewBox=\"0 0 800 190\" role=\"img\" aria-label=\"" + htmlText(plot.title) + "\">";
  for (const FrameRange& range : plot.marked) {
    const double from = xOf(std::clamp(range.first - 0.5, static_cast<double>(first), static_cast<double>(last))),
                 to = xOf(std::clamp(range.last + 0.5, static_cast<double>(first), static_cast<double>(last)));
    if (to > from)
      svg += "<rect class=\"marked\" x=\"" + number(from) + "\" y=\"" + number(area.top) + "\" width=\"" + number(to - from) + "\" height=\"" + number(area.height) + "\"/>";
  }
  svg += frameAxis(area, first, last);
  for (double value = low; value <= high + step * 1e-6; value += step) {
    svg += lineFrom(area.left, yOf(value), area.left + area.width, yOf(value), std::abs(value) < step * 1e-6 ? "axis" : "grid");
    svg += textAt(area.left - 6, yOf(value) + 4, "value", number(value));
  }
  svg += textAt(area.left + 4, area.top + 12, "unit", plot.unit);
  svg += textAt(area.left + area.width, area.top + area.height + 28, "unit end", "frame");

  std::vector<const ReportCurve*> order;
  for (const ReportCurve& curve : plot.curves) order.push_back(&curve);
  // What matters most is drawn last.
  std::stable_sort(order.begin(), order.end(), [](const ReportCurve* a, const ReportCurve* b) {
    const auto rank = [](CurveRole role) { return role == CurveRole::bound ? 0 : role == CurveRole::performer ? 1 : role == CurveRole::before ? 2 : 3; };
    return rank(a->role) < rank(b->role);
  });
  for (const ReportCurve* curve : order) {
    std::string path;
    bool pen = false;
    const auto to = [&](double frame, double value) {
      path += (pen ? "L" : "M") + number(xOf(frame)) + " " + number(yOf(value));
      pen = true;
    };
    const std::vector<double>& v = curve->values;
    if (v.size() == 1 && std::isfinite(v[0])) {
      to(first, v[0]);
      to(last, v[0]);
    } else {
      // Two points a pixel are all that can be seen: the lowest and the highest.
      const std::size_t bucket = std::max<std::size_t>(1, v.size() / 736);
      for (std::size_t begin = 0; begin < v.size(); begin += bucket) {
        const std::size_t end = std::min(v.size(), begin + bucket);
        std::size_t least = end, most = end;
        for (std::size_t i = begin; i < end; ++i) {
          if (!std::isfinite(v[i])) continue;
          if (least == end || v[i] < v[least]) least = i;
          if (most == end || v[i] > v[most]) most = i;
        }
        if (least == end) {
          pen = false;
          continue;
        }
        to(first + static_cast<double>(std::min(least, most)), v[std::min(least, most)]);
        if (least != most) to(first + static_cast<double>(std::max(least, most)), v[std::max(least, most)]);
      }
    }
    if (!path.empty()) svg += "<path class=\"curve " + std::string(classOf(curve->role)) + "\" d=\"" + path + "\"/>";
  }
  svg += "</svg>";
  std::string legend;
  for (const ReportCurve& curve : plot.curves)
    legend += "<span><svg class=\"key\" viewBox=\"0 0 28 10\" aria-hidden=\"true\"><path class=\"curve " + std::string(classOf(curve.role)) + "\" d=\"M1 5L27 5\"/></svg>" +
              htmlText(curve.label) + "</span>";
  return "<figure class=\"plot\"><figcaption>" + htmlText(plot.title) + "</figcaption>" + svg + "<div class=\"legend\">" + legend + "</div></figure>";
}

std::string findingsSvg(const FinishReport& report) {
  const std::vector<KindTotal> totals = totalsOf(report);
  if (totals.empty() || report.frames < 1) return {};
  const int first = report.firstFrame, last = first + report.frames - 1;
  const double row = 24;
  const Area area{120, 8, 668, row * static_cast<double>(totals.size())};
  const double height = area.top + area.height + 34;
  std::string svg = "<svg viewBox=\"0 0 800 " + number(height) + "\" role=\"img\" aria-label=\"Where the findings lie\">";
  svg += frameAxis(area, first, last);
  svg += textAt(area.left + area.width, area.top + area.height + 28, "unit end", "frame");
  for (std::size_t k = 0; k < totals.size(); ++k) {
    const double top = area.top + row * static_cast<double>(k);
    svg += lineFrom(area.left, top + row, area.left + area.width, top + row, "grid");
    svg += textAt(area.left - 8, top + 16, "value", totals[k].kind);
    // What remains lies on top.
    for (const FindingState state : {FindingState::waved, FindingState::repaired, FindingState::remaining})
      for (const ReportedFinding& finding : report.findings) {
        if (finding.kind != totals[k].kind || finding.unit != totals[k].unit || finding.state != state) continue;
        const double from = std::clamp<double>(finding.span.first, first, last), to = std::clamp<double>(finding.span.last + 1.0, first, last + 1.0);
        const double x = area.left + area.width * (from - first) / report.frames, width = std::max(4.0, area.width * (to - from) / report.frames);
        const char* cls = state == FindingState::remaining ? "remaining" : state == FindingState::repaired ? "repaired" : "waved";
        svg += "<rect class=\"bar " + std::string(cls) + "\" x=\"" + number(x) + "\" y=\"" + number(top + 5) + "\" width=\"" + number(width) +
               "\" height=\"14\" rx=\"3\"><title>" + htmlText(std::to_string(finding.span.first) + ":" + std::to_string(finding.span.last) + " " + finding.sentence) +
               "</title></rect>";
      }
  }
  svg += "</svg>";
  return "<figure class=\"plot\">" + svg +
         "<div class=\"legend\"><span><i class=\"swatch remaining\"></i>remains</span><span><i class=\"swatch repaired\"></i>repaired</span>"
         "<span><i class=\"swatch waved\"></i>waved off</span></div></figure>";
}

std::string base64(const std::vector<std::uint8_t>& bytes) {
  static constexpr char letters[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::uint32_t b = bytes[i], c = i + 1 < bytes.size() ? bytes[i + 1] : 0, d = i + 2 < bytes.size() ? bytes[i + 2] : 0;
    const std::uint32_t group = b << 16 | c << 8 | d;
    out += letters[group >> 18 & 63];
    out += letters[group >> 12 & 63];
    out += i + 1 < bytes.size() ? letters[group >> 6 & 63] : '=';
    out += i + 2 < bytes.size() ? letters[group & 63] : '=';
  }
  return out;
}

}  // namespace understudy
