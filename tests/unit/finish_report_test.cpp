#include "core/report/finish_report.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>

#include "core/report/page_plot.h"

namespace understudy {
namespace {

using Json = nlohmann::json;

ReportedFinding finding(const std::string& kind, FindingState state, FrameRange span, double before, double after, const std::string& cause = {}) {
  ReportedFinding f;
  f.key = kind + std::to_string(span.first);
  f.kind = kind;
  f.unit = kind == "pop" ? "°" : "mm";
  f.span = span;
  f.worstFrame = span.first;
  f.before = before;
  f.after = after;
  f.state = state;
  f.cause = cause;
  f.bones = {"@leftFoot"};
  f.sentence = "The left foot <slides> 12 mm & more";
  return f;
}

FinishReport keeperReport() {
  FinishReport report;
  report.performer = "/takes/sweep \"one\".bvh";
  report.character = "/cast/keeper.glb";
  report.clip = "sweep";
  report.frames = 200;
  report.firstFrame = 101;
  report.findings = {finding("slide", FindingState::repaired, {110, 130}, 14, 0), finding("slide", FindingState::remaining, {140, 149}, 22, 9, "misses by 9 mm: out of reach"),
                     finding("pop", FindingState::remaining, {145, 154}, 12, 12), finding("depth", FindingState::waved, {101, 300}, 30, 30)};
  report.findings[1].pictures = {{145, "the left foot from the side", {'f', 'o', 'o'}}};
  ReportPlot plot;
  plot.title = "Speed of the left foot";
  plot.unit = "mm";
  plot.firstFrame = 101;
  plot.curves = {{CurveRole::before, "before", {0, 4, 8, 4}}, {CurveRole::after, "after", {0, 1, std::nan(""), 1}}, {CurveRole::bound, "limit", {2}}};
  plot.marked = {{102, 103}};
  report.findings[1].plots = {plot};
  report.plots = {plot};
  report.repairs = {{7, "plant", "left foot", {110, 130}, 0.21, 0.1, 120}};
  report.figures = {{"mean skate", "mm", std::nan(""), 4.5, 0.2}};
  report.doubtful = {{"leftToes", "", "port_toe", 0.4, "no toes in the performance"}};
  report.timing = {{"read", 0.1}};
  report.outputs = {"/out/result.glb"};
  report.issues = {makeWarning("Something is odd", "keeper.glb")};
  return report;
}

TEST(FinishReport, TotalsCountByKind) {
  const std::vector<KindTotal> totals = totalsOf(keeperReport());
  ASSERT_EQ(totals.size(), 3u);
  EXPECT_EQ(totals[0], (KindTotal{"slide", "mm", 2, 1, 1, 0, 22, 9}));
  EXPECT_EQ(totals[2], (KindTotal{"depth", "mm", 1, 0, 0, 1, 30, 30}));
  const RemainingTotal rest = remainingOf(keeperReport());
  EXPECT_EQ(rest.explained, 1);
  EXPECT_EQ(rest.unexplained, 1);
  // 140 … 154 of 200 frames, the overlap counted once.
  EXPECT_NEAR(rest.coverage, 15 / 200.0, 1e-12);
}

TEST(FinishReport, JsonTellsEverythingInFramesAsShown) {
  const Json json = Json::parse(finishReportJson(keeperReport()));
  EXPECT_EQ(json["frames"], 200);
  EXPECT_EQ(json["explained"], 1);
  EXPECT_EQ(json["unexplained"], 1);
  ASSERT_EQ(json["findings"].size(), 4u);
  EXPECT_EQ(json["findings"][0]["state"], "repaired");
  EXPECT_EQ(json["findings"][1]["span"], Json::array({140, 149}));
  EXPECT_EQ(json["findings"][1]["cause"], "misses by 9 mm: out of reach");
  EXPECT_TRUE(json["findings"][2]["cause"].is_null());
  EXPECT_EQ(json["repairs"][0]["worst"]["frame"], 120);
  EXPECT_TRUE(json["figures"][0]["performer"].is_null());
  EXPECT_EQ(json["totals"][0]["remaining"], 1);
  EXPECT_EQ(json["seconds"]["read"], 0.1);
}

/// Every tag that opens closes, in order; returns what is not text.
std::vector<std::string> tagsOf(const std::string& html) {
  std::vector<std::string> open, tags;
  for (std::size_t at = html.find('<'); at != std::string::npos; at = html.find('<', at + 1)) {
    const std::size_t end = html.find('>', at);
    EXPECT_NE(end, std::string::npos);
    const std::string tag = html.substr(at + 1, end - at - 1);
    tags.push_back(tag);
    const std::string name = tag.substr(0, tag.find_first_of(" \n/", 1));
    if (tag.starts_with("!") || tag.ends_with("/") || name == "meta" || name == "img") continue;
    if (!tag.starts_with("/")) {
      open.push_back(name);
      continue;
    }
    EXPECT_FALSE(open.empty()) << tag;
    if (open.empty()) return tags;
    EXPECT_EQ("/" + open.back(), tag) << html.substr(at > 80 ? at - 80 : 0, 160);
    open.pop_back();
  }
  EXPECT_TRUE(open.empty());
  return tags;
}

TEST(FinishReport, ThePageStandsByItself) {
  const std::string html = finishReportHtml(keeperReport());
  const std::vector<std::string> tags = tagsOf(html);
  int pictures = 0, plots = 0;
  for (const std::string& tag : tags) {
    EXPECT_FALSE(tag.starts_with("script") || tag.starts_with("link") || tag.starts_with("iframe")) << tag;
    for (const std::string attribute : {" src=\"", " href=\""}) {
      const std::size_t at = tag.find(attribute);
      if (at == std::string::npos) continue;
      EXPECT_TRUE(tag.substr(at + attribute.size()).starts_with("data:image/png;base64,")) << tag;
    }
    pictures += tag.starts_with("img ");
    plots += tag.starts_with("path class=\"curve after\"");
    if (!tag.starts_with("img ")) continue;
    EXPECT_NE(tag.find("alt=\"Frame 145: the left foot from the side\""), std::string::npos);
  }
  EXPECT_EQ(pictures, 1);
  EXPECT_GE(plots, 2);
  EXPECT_EQ(html.find("url("), std::string::npos);
  EXPECT_EQ(html.find("@import"), std::string::npos);
  EXPECT_NE(html.find("prefers-color-scheme:dark"), std::string::npos);
  // Names and sentences are text, whatever is in them.
  EXPECT_NE(html.find("The left foot &lt;slides&gt; 12 mm &amp; more"), std::string::npos);
  EXPECT_EQ(html.find("<slides>"), std::string::npos);
  EXPECT_NE(html.find("misses by 9 mm: out of reach"), std::string::npos);
  EXPECT_NE(html.find("No cause was measured"), std::string::npos);
  EXPECT_EQ(html.find("It came with the repairs"), std::string::npos);
  FinishReport worse = keeperReport();
  worse.findings[2].arisen = true;
  EXPECT_NE(finishReportHtml(worse).find("It came with the repairs: 12°"), std::string::npos);
  EXPECT_NE(html.find("Zm9v"), std::string::npos);
}

TEST(FinishReport, AnEmptyReportIsAPageToo) {
  FinishReport report;
  tagsOf(finishReportHtml(report));
  EXPECT_NE(finishReportHtml(report).find("No flaws were found"), std::string::npos);
  EXPECT_TRUE(Json::parse(finishReportJson(report)).is_object());
  report.findings = {finding("slide", FindingState::repaired, {1, 2}, 5, 0)};
  EXPECT_NE(finishReportHtml(report).find("1 flaw was found and repaired"), std::string::npos);
}

// WCAG 2.2, 1.4.3: 4.5:1 for text.
TEST(FinishReport, TextIsReadableInLightAndDark) {
  const std::string html = finishReportHtml({});
  const auto luminance = [](const std::string& hex) {
    double sum = 0;
    const double weights[] = {0.2126, 0.7152, 0.0722};
    for (int i = 0; i < 3; ++i) {
      const double v = std::stoi(hex.substr(static_cast<std::size_t>(1 + 2 * i), 2), nullptr, 16) / 255.0;
      sum += weights[i] * (v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
    }
    return sum;
  };
  std::map<std::string, std::array<std::string, 2>> colours;
  const std::size_t dark = html.find("prefers-color-scheme:dark");
  for (std::size_t at = html.find("--"); at != std::string::npos && at < html.find("box-sizing"); at = html.find("--", at + 2)) {
    const std::size_t colon = html.find(':', at);
    const std::string value = html.substr(colon + 1, 7);
    if (value.starts_with("#")) colours[html.substr(at + 2, colon - at - 2)][at > dark ? 1 : 0] = value;
  }
  for (std::size_t theme = 0; theme < 2; ++theme)
    for (const std::string front : {"text", "dim", "performer", "character"})
      for (const std::string back : {"ground", "panel", "card"}) {
        std::string a = colours[front][theme], b = colours[back][theme];
        if (b.empty()) b = colours[back][0];
        ASSERT_EQ(a.size(), 7u) << front;
        const double x = luminance(a), y = luminance(b);
        EXPECT_GE((std::max(x, y) + 0.05) / (std::min(x, y) + 0.05), 4.5) << front << " on " << back << " in theme " << theme;
      }
}

TEST(FinishReport, TellsNotesAndWhatOffersBringAlong) {
  FinishReport report = keeperReport();
  report.notes = {{145, "left hand", "Broom <too> low", "Ada", false, {}}, {160, "", "fine now", "", true, {}}};
  report.findings[1].harm = "The left foot jumps by 9°";
  const Json json = Json::parse(finishReportJson(report));
  EXPECT_EQ(json["notes"][0], (Json{{"frame", 145}, {"bone", "left hand"}, {"text", "Broom <too> low"}, {"author", "Ada"}, {"done", false}}));
  EXPECT_TRUE(json["notes"][1]["author"].is_null());
  EXPECT_EQ(json["findings"][1]["harm"], "The left foot jumps by 9°");
  EXPECT_TRUE(json["findings"][0]["harm"].is_null());
  const std::string html = finishReportHtml(report);
  EXPECT_NE(html.find("Broom &lt;too&gt; low"), std::string::npos);
  EXPECT_NE(html.find("The left foot jumps by 9°"), std::string::npos);
  EXPECT_EQ(finishReportHtml(keeperReport()).find("Notes of the review"), std::string::npos);
}

// RFC 4648, section 10.
TEST(FinishReport, Base64AsPublished) {
  const auto of = [](const std::string& text) { return base64({text.begin(), text.end()}); };
  EXPECT_EQ(of(""), "");
  EXPECT_EQ(of("f"), "Zg==");
  EXPECT_EQ(of("fo"), "Zm8=");
  EXPECT_EQ(of("foo"), "Zm9v");
  EXPECT_EQ(of("foobar"), "Zm9vYmFy");
}

TEST(FinishReport, LongCurvesKeepTheirPeaks) {
  ReportPlot plot;
  plot.unit = "mm";
  ReportCurve curve;
  curve.values.assign(36000, 1.0);
  curve.values[20001] = 100;
  plot.curves = {curve};
  const std::string svg = plotSvg(plot);
  EXPECT_LT(svg.size(), 60000u);
  // 100 is the top of the area, ten units from the edge.
  EXPECT_NE(svg.find(" 10L"), std::string::npos);
  plot.curves[0].values.assign(10, std::nan(""));
  EXPECT_TRUE(plotSvg(plot).empty());
}

TEST(FinishReport, BrokenTextIsReplaced) {
  EXPECT_EQ(htmlText("a\xFFz"), "a\xEF\xBF\xBDz");
  EXPECT_EQ(htmlText("Übung"), "Übung");
  EXPECT_EQ(htmlText("\xE2\x82"), "\xEF\xBF\xBD\xEF\xBF\xBD");
  EXPECT_EQ(measureText(9.96, "mm"), "10 mm");
  EXPECT_EQ(measureText(0.44, "°"), "0.4°");
}

}  // namespace
}  // namespace understudy
