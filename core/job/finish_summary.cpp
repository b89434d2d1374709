#include <algorithm>

#include "core/inspect/limb_names.h"
#include "core/inspect/events.h"
#include "core/job/finish.h"

namespace understudy {

FinishReport reportOf(const Finished& finished, const Sources& sources) {
  FinishReport report;
  const Take& take = finished.take;
  const Evaluated& seen = finished.evaluated;
  report.performer = take.performer->path;
  report.character = take.character->path;
  if (sources.performer && take.clip < static_cast<int>(sources.performer->clips.size())) report.clip = sources.performer->clips[static_cast<std::size_t>(take.clip)].name;
  report.frames = seen.frames;
  report.firstFrame = seen.firstFrame;
  report.rate = seen.rate;
  const auto shown = [&](int frame) { return frame - seen.trimFirst + seen.firstFrame; };
  const auto shownSpan = [&](FrameSpan span) {
    span = common(span, {seen.trimFirst, seen.trimFirst + seen.frames - 1});
    return FrameRange{shown(span.first), shown(span.last)};
  };
  if (seen.map && sources.performer && sources.character)
    for (int r = 0; r < roleCount; ++r) {
      const RoleJoints& p = seen.map->performer.at(roleAt(r));
      const RoleJoints& c = seen.map->character.at(roleAt(r));
      if (p.empty() || c.empty() || std::min(p.confidence, c.confidence) >= doubtfulBelow) continue;
      report.doubtful.push_back({std::string(roleName(roleAt(r))), jointKey(sources.performer->skeleton, p.first()), jointKey(sources.character->skeleton, c.first()),
                                 std::min(p.confidence, c.confidence), p.confidence < c.confidence ? p.reason : c.reason});
    }
  const auto reported = [&](const Finding& finding) {
    ReportedFinding line;
    line.key = finding.key;
    line.kind = findingName(finding.kind);
    line.unit = findingUnit(finding.kind);
    line.before = line.after = finding.measure;
    line.severity = finding.severity;
    line.span = shownSpan(finding.span);
    line.worstFrame = shown(finding.worst);
    line.bones = finding.bones;
    line.sentence = finding.sentence;
    if (!finding.proposal.empty()) line.proposal = finding.proposal.front().kind() + " over " + std::to_string(line.span.first) + ":" + std::to_string(line.span.last);
    line.cause = finding.cause;
    line.state = finding.waved ? FindingState::waved : FindingState::remaining;
    return line;
  };
  std::vector<char> told(finished.remaining.size(), 0);
  for (const Finding& finding : finished.found) {
    ReportedFinding line = reported(finding);
    double after = 0;
    bool remains = false;
    for (std::size_t i = 0; i < finished.remaining.size(); ++i) {
      if (!sameFlaw(finding, finished.remaining[i])) continue;
      told[i] = 1;
      remains = true;
      after = std::max(after, finished.remaining[i].measure);
      if (line.cause.empty()) line.cause = finished.remaining[i].cause;
    }
    line.after = after;
    if (!finding.waved) line.state = remains ? FindingState::remaining : FindingState::repaired;
    report.findings.push_back(std::move(line));
  }
  for (std::size_t i = 0; i < finished.remaining.size(); ++i)
    if (!told[i]) {
      report.findings.push_back(reported(finished.remaining[i]));
      report.findings.back().arisen = !finished.found.empty();
    }
  for (const Node<Repair>& node : *take.repairs) {
    const Repair& repair = *node;
    ReportedRepair line;
    line.id = repair.id;
    line.kind = repair.kind();
    line.name = repair.name;
    const FrameSpan span = repairFrames(repair, seen.rate, seen.clipFrames).span;
    line.span = shownSpan(span);
    for (const Residual& residual : seen.residuals) {
      if (residual.repair != repair.id) continue;
      for (std::size_t k = 0; k < residual.values.size(); ++k) {
        const int frame = residual.first + static_cast<int>(k);
        if (!span.holds(frame)) continue;
        if (1000.0 * residual.values[k].metres > line.missMillimetres) {
          line.missMillimetres = 1000.0 * residual.values[k].metres;
          line.missFrame = shown(frame);
        }
        line.missDegrees = std::max(line.missDegrees, residual.values[k].radians * 57.29577951308232);
      }
    }
    report.repairs.push_back(std::move(line));
  }
  for (const Withdrawal& withdrawal : finished.withdrawn)
    for (const ReportedRepair& repair : report.repairs)
      if (repair.id == withdrawal.repair) report.withdrawn.push_back({repair.id, repair.kind, repair.name.substr(0, repair.name.find(" (taken back: ")), repair.span, withdrawal.reason});
  for (const Departure& d : finished.departures) {
    const FrameRange span = shownSpan(d.span);
    report.departures.push_back({limbName(d.limb), span, d.frames, d.radians * 57.29577951308232, shown(d.worst), d.repair, d.demands});
  }
  report.timing = finished.timing;
  report.issues = finished.issues;
  report.issues.insert(report.issues.end(), seen.issues.begin(), seen.issues.end());
  return report;
}

}  // namespace understudy
