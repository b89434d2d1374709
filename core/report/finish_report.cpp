#include "core/report/finish_report.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "core/report/issue_json.h"

namespace understudy {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) { return std::isfinite(value) ? Json(value) : Json(); }

Json toJson(FrameRange span) { return Json::array({span.first, span.last}); }

const char* nameOf(FindingState state) {
  switch (state) {
    case FindingState::repaired: return "repaired";
    case FindingState::remaining: return "remaining";
    case FindingState::hint: return "hint";
    case FindingState::waved: break;
  }
  return "waved";
}

Json toJson(const ReportedFinding& finding) {
  return {{"key", finding.key},           {"kind", finding.kind},       {"state", nameOf(finding.state)}, {"unit", finding.unit},
          {"before", number(finding.before)}, {"after", number(finding.after)}, {"severity", number(finding.severity)},
          {"arisen", finding.arisen},
          {"span", toJson(finding.span)}, {"worstFrame", finding.worstFrame > 0 ? Json(finding.worstFrame) : Json()},
          {"bones", finding.bones},       {"sentence", finding.sentence},
          {"proposal", finding.proposal.empty() ? Json() : Json(finding.proposal)},
          {"harm", finding.harm.empty() ? Json() : Json(finding.harm)},
          {"cause", finding.cause.empty() ? Json() : Json(finding.cause)}};
}

}  // namespace

std::vector<KindTotal> totalsOf(const FinishReport& report) {
  std::vector<KindTotal> totals;
  for (const ReportedFinding& finding : report.findings) {
    auto total = std::find_if(totals.begin(), totals.end(), [&](const KindTotal& t) { return t.kind == finding.kind && t.unit == finding.unit; });
    if (total == totals.end()) total = totals.insert(totals.end(), KindTotal{finding.kind, finding.unit});
    ++total->found;
    total->repaired += finding.state == FindingState::repaired;
    total->remaining += finding.state == FindingState::remaining;
    total->waved += finding.state == FindingState::waved;
    total->hints += finding.state == FindingState::hint;
    total->worstBefore = std::max(total->worstBefore, finding.before);
    total->worstAfter = std::max(total->worstAfter, finding.after);
  }
  return totals;
}

RemainingTotal remainingOf(const FinishReport& report) {
  RemainingTotal total;
  std::vector<FrameSpan> spans;
  for (const ReportedFinding& finding : report.findings) {
    if (finding.state != FindingState::remaining) continue;
    ++(finding.cause.empty() ? total.unexplained : total.explained);
    spans.push_back(common({finding.span.first, finding.span.last}, {report.firstFrame, report.firstFrame + report.frames - 1}));
  }
  long covered = 0;
  for (const FrameSpan& span : joined(std::move(spans))) covered += span.count();
  if (report.frames > 0) total.coverage = static_cast<double>(covered) / report.frames;
  return total;
}

std::string finishReportJson(const FinishReport& report) {
  Json json = {{"performer", report.performer}, {"character", report.character}, {"clip", report.clip}, {"frames", report.frames},
               {"firstFrame", report.firstFrame}, {"rate", {{"hertz", report.rate.hertz()}, {"exact", report.rate.spelling()}}}};
  const RemainingTotal remaining = remainingOf(report);
  json["explained"] = remaining.explained;
  json["unexplained"] = remaining.unexplained;
  json["coverage"] = number(remaining.coverage);
  json["totals"] = Json::array();
  for (const KindTotal& t : totalsOf(report))
    json["totals"].push_back({{"kind", t.kind}, {"unit", t.unit}, {"found", t.found}, {"repaired", t.repaired}, {"remaining", t.remaining},
                              {"waved", t.waved}, {"hints", t.hints}, {"worstBefore", number(t.worstBefore)}, {"worstAfter", number(t.worstAfter)}});
  json["findings"] = Json::array();
  for (const ReportedFinding& finding : report.findings) json["findings"].push_back(toJson(finding));
  json["repairs"] = Json::array();
  for (const ReportedRepair& r : report.repairs)
    json["repairs"].push_back({{"id", r.id}, {"kind", r.kind}, {"name", r.name}, {"span", toJson(r.span)},
                               {"worst", {{"mm", number(r.missMillimetres)}, {"deg", number(r.missDegrees)}, {"frame", r.missFrame > 0 ? Json(r.missFrame) : Json()}}}});
  json["withdrawn"] = Json::array();
  for (const ReportedWithdrawal& w : report.withdrawn)
    json["withdrawn"].push_back({{"id", w.id}, {"kind", w.kind}, {"name", w.name}, {"span", toJson(w.span)}, {"reason", w.reason}});
  json["likeness"] = {{"limitDegrees", number(report.likenessLimit)}, {"spans", Json::array()}};
  for (const ReportedDeparture& d : report.departures)
    json["likeness"]["spans"].push_back({{"limb", d.limb}, {"span", toJson(d.span)}, {"frames", d.frames}, {"degrees", number(d.degrees)}, {"worstFrame", d.worstFrame},
                                         {"repair", d.repair > 0 ? Json(d.repair) : Json()}, {"demandedBy", d.demands}});
  json["notes"] = Json::array();
  for (const ReportedNote& n : report.notes)
    json["notes"].push_back({{"frame", n.frame}, {"bone", n.bone.empty() ? Json() : Json(n.bone)}, {"text", n.text}, {"author", n.author.empty() ? Json() : Json(n.author)}, {"done", n.done}});
  json["figures"] = Json::array();
  for (const ReportedFigure& f : report.figures)
    json["figures"].push_back({{"name", f.name}, {"unit", f.unit}, {"performer", number(f.performer)}, {"before", number(f.before)}, {"after", number(f.after)}});
  json["doubtful"] = Json::array();
  for (const DoubtfulRole& d : report.doubtful)
    json["doubtful"].push_back({{"role", d.role}, {"performer", d.performer}, {"character", d.character}, {"confidence", number(d.confidence)}, {"reason", d.reason}});
  json["seconds"] = Json::object();
  for (const ReportedStep& step : report.timing) json["seconds"][step.name] = number(step.seconds);
  json["outputs"] = report.outputs;
  json["issues"] = understudy::toJson(report.issues);
  return json.dump(1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace understudy
