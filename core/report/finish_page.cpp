#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "core/report/finish_report.h"
#include "core/report/page_plot.h"

namespace understudy {
namespace {

constexpr const char* style = R"(
:root{color-scheme:light dark;--ground:#dfe7eb;--panel:#eaf0f3;--card:#fafcfd;--line:#b4c4cd;--text:#15242d;--dim:#42545f;--performer:#1f6488;
--character:#80580f;--key:#2b3b45;--flaw:#b84f00;--warning:#9c3f74;--mark:rgba(184,79,0,.12)}
@media (prefers-color-scheme:dark){:root{--ground:#14202a;--panel:#1e2f3a;--card:#263a47;--line:#344c5b;--text:#e9eff2;--dim:#a8bcc8;
--performer:#8fc0dc;--character:#dfb978;--key:#f6eedb;--flaw:#f07a1c;--warning:#d98bb4;--mark:rgba(240,122,28,.16)}}
*{box-sizing:border-box}
body{margin:0;background:var(--ground);color:var(--text);font:15px/1.5 "DejaVu Sans",system-ui,sans-serif}
main{max-width:980px;margin:0 auto;padding:28px 20px 60px}
h1{font-size:25px;line-height:1.25;margin:0 0 4px}
h2{font-size:18px;margin:36px 0 10px}
h3{font-size:15px;margin:0}
p{margin:6px 0}
.dim,figcaption{color:var(--dim)}
.performer-name{color:var(--performer)}.character-name{color:var(--character)}
.lead{font-size:18px;margin:16px 0}
.counts{display:flex;flex-wrap:wrap;gap:10px;margin:16px 0}
.counts div{background:var(--panel);border:1px solid var(--line);border-radius:8px;padding:10px 16px;min-width:120px}
.counts b{display:block;font-size:26px;line-height:1.2}
section.card,article{background:var(--panel);border:1px solid var(--line);border-radius:8px;padding:14px 16px;margin:10px 0}
article{border-left:5px solid var(--line)}
article.remaining{border-left-color:var(--flaw)}
article.repaired{border-left-color:var(--performer)}
article .line{display:flex;flex-wrap:wrap;gap:4px 14px;align-items:baseline}
.tag{border:1px solid var(--line);border-radius:99px;padding:0 10px;font-size:13px;background:var(--card);white-space:nowrap}
.tag.remaining::before{content:"◆ ";color:var(--flaw)}
.tag.repaired::before{content:"✓ ";color:var(--performer)}
.tag.waved::before{content:"– "}
table{border-collapse:collapse;width:100%;font-size:14px}
.wide{overflow-x:auto}
th,td{text-align:left;padding:5px 10px 5px 0;border-bottom:1px solid var(--line);vertical-align:top}
th{color:var(--dim);font-weight:600}
td.n,th.n{text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap}
details summary{cursor:pointer;padding:4px 0}
summary:focus-visible{outline:2px solid var(--key);outline-offset:2px}
.pictures{display:flex;flex-wrap:wrap;gap:12px;margin-top:10px}
.pictures figure{margin:0;flex:1 1 260px;max-width:460px}
.pictures img{display:block;width:100%;height:auto;border-radius:6px;border:1px solid var(--line)}
figcaption{font-size:13.5px;margin:4px 0}
.plot{margin:10px 0}
.plot svg{display:block;width:100%;height:auto}
.plot .key{display:inline-block;width:28px;height:10px;margin-right:6px}
.legend{display:flex;flex-wrap:wrap;gap:4px 18px;font-size:13.5px}
.legend span{display:inline-flex;align-items:center}
svg text{fill:var(--dim);font:12px "DejaVu Sans",system-ui,sans-serif}
svg .tick{text-anchor:middle}svg .value,svg .end{text-anchor:end}
svg .grid{stroke:var(--line);stroke-width:.7;opacity:.7}svg .axis{stroke:var(--dim);stroke-width:1}
svg .marked{fill:var(--mark)}
.curve{fill:none;stroke-linejoin:round}
.curve.performer{stroke:var(--performer);stroke-width:1.6;stroke-dasharray:6 4}
.curve.before{stroke:var(--flaw);stroke-width:1.4}
.curve.after{stroke:var(--key);stroke-width:2.4}
.curve.bound{stroke:var(--dim);stroke-width:1.4;stroke-dasharray:1.5 3.5}
.bar{stroke-width:1.4}
.bar.remaining,.swatch.remaining{fill:var(--flaw);background:var(--flaw);stroke:var(--flaw)}
.bar.repaired{fill:var(--card);stroke:var(--performer)}
.bar.waved{fill:none;stroke:var(--dim);stroke-dasharray:3 2}
.swatch{display:inline-block;width:18px;height:11px;border-radius:3px;margin-right:6px;border:1.4px solid var(--flaw)}
.swatch.repaired{background:var(--card);border-color:var(--performer)}
.swatch.waved{border:1.4px dashed var(--dim)}
dl{display:grid;grid-template-columns:max-content 1fr;gap:3px 16px;margin:0}
dt{color:var(--dim)}dd{margin:0;overflow-wrap:anywhere}
@media print{body{background:none}details>*{display:block}}
)";

struct Meaning {
  const char* kind;
  const char* text;
};
constexpr Meaning meanings[] = {
    {"slide", "A foot that should stand still moves over the ground."},
    {"float", "A foot that should stand hangs above the ground."},
    {"sink", "A sole lies below the ground."},
    {"snap", "A knee or elbow jumps as the limb comes to full stretch."},
    {"flip", "A bone turns over for a moment and back."},
    {"pop", "A bone jumps from one frame to the next."},
    {"twist", "A limb is wrung further than its joint carries."},
    {"range", "A joint bends beyond what such a joint usually does."},
    {"depth", "A limb or a prop lies inside the body."},
    {"grip drift", "A hand moves away from where it holds."},
    {"missed touch", "A hand or foot does not reach what it should touch."},
    {"lost contact", "Hands or body parts that met in the performance no longer do."},
    {"broken repair", "Something later undoes what a repair had mended."},
    {"balance", "A body that stands still could not keep standing like that."},
};

std::string count(std::size_t n, const char* one, const char* many) { return std::to_string(n) + " " + (n == 1 ? one : many); }

std::string frames(const FrameRange& range) { return range.first == range.last ? std::to_string(range.first) : std::to_string(range.first) + "–" + std::to_string(range.last); }

std::string seconds(double s) {
  char text[32];
  std::snprintf(text, sizeof text, s < 0.095 ? "%.3f s" : s < 9.95 ? "%.2f s" : "%.1f s", s);
  return text;
}

const char* classOf(FindingState state) { return state == FindingState::remaining ? "remaining" : state == FindingState::repaired ? "repaired" : "waved"; }
const char* wordOf(FindingState state) {
  return state == FindingState::remaining ? "remains" : state == FindingState::repaired ? "repaired" : state == FindingState::hint ? "a hint" : "waved off";
}

/// What is left, as a reader should understand it: what is no longer found lies below the limit, not at zero.
std::string leftText(const ReportedFinding& finding) {
  return finding.state == FindingState::repaired && finding.after <= 0 ? "no longer found" : measureText(finding.after, finding.unit);
}

std::string sentence(std::string text) {
  if (!text.empty() && std::string_view(".!?").find(text.back()) == std::string_view::npos) text += ".";
  return htmlText(text);
}

std::string pictures(const std::vector<ReportPicture>& list) {
  if (list.empty()) return {};
  std::string html = "<div class=\"pictures\">";
  for (const ReportPicture& picture : list) {
    const std::string caption = (picture.frame > 0 ? "Frame " + std::to_string(picture.frame) + ": " : "") + picture.caption;
    html += "<figure><img alt=\"" + htmlText(caption) + "\" src=\"data:image/png;base64," + base64(picture.png) + "\"><figcaption>" + htmlText(caption) + "</figcaption></figure>";
  }
  return html + "</div>";
}

std::string article(const ReportedFinding& finding, const FinishReport& report) {
  std::string html = "<article class=\"" + std::string(classOf(finding.state)) + "\"><div class=\"line\"><h3>" + sentence(finding.sentence) + "</h3><span class=\"tag " +
                     classOf(finding.state) + "\">" + wordOf(finding.state) + "</span></div>";
  const double from = report.rate.seconds(finding.span.first - report.firstFrame), to = report.rate.seconds(finding.span.last - report.firstFrame);
  html += "<p class=\"dim\">" + std::string(finding.span.first == finding.span.last ? "Frame " : "Frames ") + frames(finding.span) + " (" +
          (finding.span.first == finding.span.last ? seconds(from) : seconds(from) + " to " + seconds(to)) + ")" +
          (finding.worstFrame > 0 && finding.span.first != finding.span.last ? ", worst at frame " + std::to_string(finding.worstFrame) : "") + ". " +
          (finding.arisen ? "It came with the repairs: " + htmlText(leftText(finding))
                          : "As found " + htmlText(measureText(finding.before, finding.unit)) + ", now " + htmlText(leftText(finding))) +
          ".</p>";
  if (finding.state == FindingState::remaining)
    html += finding.cause.empty() ? "<p><b>No cause was measured.</b> Look at it by eye.</p>" : "<p><b>Why it remains:</b> " + sentence(finding.cause) + "</p>";
  if (!finding.harm.empty()) html += "<p><b>Accepting its repair brings along:</b> " + sentence(finding.harm) + "</p>";
  html += pictures(finding.pictures);
  for (const ReportPlot& plot : finding.plots) html += plotSvg(plot);
  return html + "</article>";
}

std::string lead(const RemainingTotal& rest, std::size_t found, std::size_t repaired, std::size_t waved) {
  if (found == 0) return "No flaws were found.";
  const auto remaining = static_cast<std::size_t>(rest.explained + rest.unexplained);
  std::string text = count(found, "flaw was", "flaws were") + " found" + (repaired ? repaired == found ? (found == 1 ? " and repaired" : " and all repaired") : ", " + std::to_string(repaired) + " repaired" : "") + ". ";
  if (remaining > 0) {
    char share[32];
    std::snprintf(share, sizeof share, rest.coverage < 0.0995 ? "%.1f %%" : "%.0f %%", 100 * rest.coverage);
    text += count(remaining, "remains", "remain") + ", over " + (rest.coverage > 0.9995 ? std::string("all") : share + std::string(" of the")) + " frames: ";
    text += rest.unexplained == 0 ? (remaining == 1 ? "its cause is measured below. " : "the cause of each is measured below. ")
            : rest.explained == 0 ? "no cause was measured, so look at it by eye. "
                                  : std::to_string(rest.explained) + " with a measured cause, " + std::to_string(rest.unexplained) + " to be looked at by eye. ";
  } else if (repaired > 0) {
    text += "Nothing remains to be done. ";
  }
  if (waved > 0) text += std::to_string(waved) + (waved == 1 ? " was" : " were") + " waved off by hand.";
  return text;
}

std::string withdrawals(const FinishReport& report) {
  if (report.withdrawn.empty()) return {};
  std::string html = "<h2>Tried and taken back</h2>\n<section class=\"card wide\"><p>These repairs would have done more harm than good. They are in the take, muted: switch one on to see for yourself.</p>"
                     "<table><tr><th class=\"n\">number</th><th>kind</th><th>name</th><th class=\"n\">frames</th><th>why</th></tr>";
  for (const ReportedWithdrawal& w : report.withdrawn)
    html += "<tr><td class=\"n\">" + std::to_string(w.id) + "</td><td>" + htmlText(w.kind) + "</td><td>" + htmlText(w.name) + "</td><td class=\"n\">" + frames(w.span) + "</td><td>" +
            sentence(w.reason) + "</td></tr>";
  return html + "</table></section>\n";
}

std::string departures(const FinishReport& report) {
  if (report.departures.empty()) return {};
  const std::string limit = measureText(report.likenessLimit, "°");
  std::string html = "<h2>Where limbs leave the performance</h2>\n<section class=\"card\"><p>The repairs turn a bone of these limbs by more than " + limit +
                     " from where the performance had it. Look whether the gesture still reads; if not, weaken or mute the repair that demands it.</p><details" +
                     std::string(report.departures.size() <= 12 ? " open" : "") + "><summary>" + count(report.departures.size(), "span", "spans") +
                     "</summary><div class=\"wide\"><table><tr><th>limb</th><th class=\"n\">frames</th><th class=\"n\">beyond " + limit +
                     "</th><th class=\"n\">worst</th><th class=\"n\">at frame</th><th>demanded by</th></tr>";
  for (const ReportedDeparture& d : report.departures)
    html += "<tr><td>" + htmlText(d.limb) + "</td><td class=\"n\">" + frames(d.span) + "</td><td class=\"n\">" + count(static_cast<std::size_t>(d.frames), "frame", "frames") +
            "</td><td class=\"n\">" + htmlText(measureText(d.degrees, "°")) + "</td><td class=\"n\">" + std::to_string(d.worstFrame) + "</td><td>" + htmlText(d.demands) + "</td></tr>";
  return html + "</table></div></details></section>\n";
}

std::string notes(const FinishReport& report) {
  if (report.notes.empty()) return {};
  std::string html = "<h2>Notes of the review</h2>\n";
  for (const ReportedNote& note : report.notes)
    html += "<article class=\"note\"><div class=\"line\"><h3>" + sentence(note.text) + "</h3><span class=\"tag\">" + (note.done ? "done" : "open") + "</span></div><p class=\"dim\">Frame " +
            std::to_string(note.frame) + (note.bone.empty() ? "" : ", " + htmlText(note.bone)) + (note.author.empty() ? "" : ", by " + htmlText(note.author)) + "</p>" + pictures(note.pictures) +
            "</article>\n";
  return html;
}

std::string nameOf(const std::string& path) { return std::filesystem::path(path).filename().string(); }

}  // namespace

std::string finishReportHtml(const FinishReport& report) {
  const RemainingTotal rest = remainingOf(report);
  const std::vector<KindTotal> totals = totalsOf(report);
  const auto with = [&](FindingState state) {
    return static_cast<std::size_t>(std::count_if(report.findings.begin(), report.findings.end(), [&](const ReportedFinding& f) { return f.state == state; }));
  };
  const std::size_t repaired = with(FindingState::repaired), waved = with(FindingState::waved), remaining = with(FindingState::remaining),
                    hints = with(FindingState::hint);
  const std::string performer = std::filesystem::path(report.performer).stem().string(), character = std::filesystem::path(report.character).stem().string();
  const std::string title = report.title.empty() ? performer + " on " + character : report.title;

  std::string html = "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\n<title>" +
                     htmlText(title) + "</title>\n<style>" + style + "</style>\n</head>\n<body>\n<main>\n<header>\n<h1>";
  html += report.title.empty() ? "<span class=\"performer-name\">" + htmlText(performer) + "</span> on <span class=\"character-name\">" + htmlText(character) + "</span>" : htmlText(title);
  html += "</h1>\n<p class=\"dim\">";
  if (!report.clip.empty() && report.clip != performer) html += "Clip “" + htmlText(report.clip) + "”, ";
  html += count(static_cast<std::size_t>(std::max(0, report.frames)), "frame", "frames") + " at " + htmlText(report.rate.text()) + " frames/s (" +
          seconds(report.rate.seconds(std::max(0, report.frames - 1))) + ")";
  if (report.frames > 0) html += ", numbered " + std::to_string(report.firstFrame) + " to " + std::to_string(report.firstFrame + report.frames - 1);
  html += "</p>\n</header>\n<p class=\"lead\">" + htmlText(lead(rest, report.findings.size() - hints, repaired, waved)) + "</p>\n<div class=\"counts\">";
  for (const auto& [number, word] : {std::pair{report.findings.size() - hints, "found"}, std::pair{repaired, "repaired"}, std::pair{remaining, "remaining"}, std::pair{waved, "waved off"}, std::pair{hints, hints == 1 ? "hint" : "hints"}})
    if (number > 0 || (std::string_view(word) != "waved off" && !std::string_view(word).starts_with("hint"))) html += "<div><b>" + std::to_string(number) + "</b>" + word + "</div>";
  html += "</div>\n";
  html += findingsSvg(report) + pictures(report.pictures) + "\n";

  if (remaining > 0) {
    html += "<h2>What remains</h2>\n";
    std::vector<const ReportedFinding*> list;
    for (const ReportedFinding& finding : report.findings)
      if (finding.state == FindingState::remaining) list.push_back(&finding);
    std::stable_sort(list.begin(), list.end(), [](const ReportedFinding* a, const ReportedFinding* b) {
      return a->cause.empty() != b->cause.empty() ? a->cause.empty() : a->severity > b->severity;
    });
    for (const ReportedFinding* finding : list) html += article(*finding, report) + "\n";
  }

  html += notes(report);

  if (!totals.empty()) {
    html += "<h2>By kind</h2>\n<section class=\"card wide\"><table><tr><th>kind</th><th>what it is</th><th class=\"n\">found</th><th class=\"n\">repaired</th>"
            "<th class=\"n\">remain</th><th class=\"n\">worst before</th><th class=\"n\">worst now</th></tr>";
    for (const KindTotal& total : totals) {
      const auto meaning = std::find_if(std::begin(meanings), std::end(meanings), [&](const Meaning& m) { return total.kind == m.kind; });
      html += "<tr><td>" + htmlText(total.kind) + "</td><td>" + (meaning == std::end(meanings) ? "" : meaning->text) + "</td><td class=\"n\">" + std::to_string(total.found) +
              "</td><td class=\"n\">" + std::to_string(total.repaired) + "</td><td class=\"n\">" + std::to_string(total.remaining) + "</td><td class=\"n\">" +
              htmlText(measureText(total.worstBefore, total.unit)) + "</td><td class=\"n\">" +
              (total.worstAfter > 0 ? htmlText(measureText(total.worstAfter, total.unit)) : std::string("none")) + "</td></tr>";
    }
    html += "</table></section>\n";
  }

  if (!report.figures.empty()) {
    html += "<h2>The whole clip, before and after</h2>\n<section class=\"card wide\"><table><tr><th>measure</th><th class=\"n\">performer</th><th class=\"n\">before</th><th class=\"n\">after</th></tr>";
    for (const ReportedFigure& figure : report.figures)
      html += "<tr><td>" + htmlText(figure.name) + "</td><td class=\"n\">" + htmlText(measureText(figure.performer, figure.unit)) + "</td><td class=\"n\">" +
              htmlText(measureText(figure.before, figure.unit)) + "</td><td class=\"n\">" + htmlText(measureText(figure.after, figure.unit)) + "</td></tr>";
    html += "</table></section>\n";
  }
  std::string plots;
  for (const ReportPlot& plot : report.plots) plots += plotSvg(plot);
  if (!plots.empty()) html += "<section class=\"card\">" + plots + "</section>\n";

  for (const auto& [state, heading] : {std::pair{FindingState::repaired, "What was repaired"}, std::pair{FindingState::waved, "Waved off"}, std::pair{FindingState::hint, "Hints: worth a look, no flaws of this take"}}) {
    const std::size_t n = with(state);
    if (n == 0) continue;
    html += "<h2>" + std::string(heading) + "</h2>\n";
    // Those with something to look at are shown; the rest is a table.
    std::string rows;
    std::size_t plain = 0;
    for (const ReportedFinding& finding : report.findings) {
      if (finding.state != state) continue;
      if (!finding.pictures.empty() || !finding.plots.empty()) {
        html += article(finding, report) + "\n";
        continue;
      }
      ++plain;
      rows += "<tr><td class=\"n\">" + frames(finding.span) + "</td><td>" + sentence(finding.sentence) + (state == FindingState::hint ? " " + sentence(finding.cause) : std::string()) + "</td><td class=\"n\">" + htmlText(measureText(finding.before, finding.unit)) +
              "</td><td class=\"n\">" + htmlText(leftText(finding)) + "</td></tr>";
    }
    if (plain > 0)
      html += "<section class=\"card\"><details" + std::string(plain <= 12 ? " open" : "") + "><summary>" + count(plain, "finding", "findings") +
              (plain == n ? "" : " more") + "</summary><div class=\"wide\"><table><tr><th class=\"n\">frames</th><th>what was wrong</th><th class=\"n\">before</th><th class=\"n\">now</th></tr>" +
              rows + "</table></div></details></section>\n";
  }

  if (!report.repairs.empty()) {
    html += "<h2>Repairs in the take</h2>\n<section class=\"card\"><p class=\"dim\">Each can be changed, muted or removed in the editor and with “understudy-cli repair”. "
            "The last column says how far the result stays from what the repair promises.</p>";
    html += "<details" + std::string(report.repairs.size() <= 20 ? " open" : "") + "><summary>" + count(report.repairs.size(), "repair", "repairs") +
            "</summary><div class=\"wide\"><table><tr><th class=\"n\">number</th><th>kind</th><th>name</th><th class=\"n\">frames</th><th class=\"n\">worst miss</th></tr>";
    for (const ReportedRepair& repair : report.repairs) {
      std::string miss = repair.missMillimetres < 0.05 && repair.missDegrees < 0.05 ? std::string("none") : measureText(repair.missMillimetres, "mm");
      if (repair.missDegrees >= 0.05) miss += ", " + measureText(repair.missDegrees, "°");
      if (repair.missFrame > 0 && miss != "none") miss += " at frame " + std::to_string(repair.missFrame);
      html += "<tr><td class=\"n\">" + std::to_string(repair.id) + "</td><td>" + htmlText(repair.kind) + "</td><td>" + htmlText(repair.name) + "</td><td class=\"n\">" + frames(repair.span) +
              "</td><td class=\"n\">" + htmlText(miss) + "</td></tr>";
    }
    html += "</table></div></details></section>\n";
  }

  html += withdrawals(report) + departures(report);

  if (!report.doubtful.empty()) {
    html += "<h2>Bones to check</h2>\n<section class=\"card wide\"><p>The program is not sure of these bones. If a limb moves oddly, look here first.</p><table><tr><th>role</th>"
            "<th>performer</th><th>character</th><th class=\"n\">sure by</th><th>why</th></tr>";
    for (const DoubtfulRole& role : report.doubtful)
      html += "<tr><td>" + htmlText(role.role) + "</td><td>" + htmlText(role.performer) + "</td><td>" + htmlText(role.character) + "</td><td class=\"n\">" +
              std::to_string(static_cast<int>(std::lround(100 * std::clamp(std::isfinite(role.confidence) ? role.confidence : 0, 0.0, 1.0)))) + " %</td><td>" + htmlText(role.reason) +
              "</td></tr>";
    html += "</table></section>\n";
  }

  html += "<h2>About this run</h2>\n<section class=\"card\"><dl><dt>performer</dt><dd>" + htmlText(report.performer) + "</dd><dt>character</dt><dd>" + htmlText(report.character) + "</dd>";
  for (const std::string& output : report.outputs) html += "<dt>written</dt><dd>" + htmlText(nameOf(output)) + "</dd>";
  for (const ReportedStep& step : report.timing) html += "<dt>" + htmlText(step.name) + "</dt><dd>" + seconds(step.seconds) + "</dd>";
  html += "</dl>";
  for (const auto& [severity, word] : {std::pair{Severity::error, "Error"}, std::pair{Severity::warning, "Warning"}, std::pair{Severity::note, "Note"}})
    for (const Issue& issue : report.issues)
      if (issue.severity == severity) html += "<p><b>" + std::string(word) + ":</b> " + sentence(issue.text()) + "</p>";
  html += "</section>\n</main>\n</body>\n</html>\n";
  return html;
}

}  // namespace understudy
