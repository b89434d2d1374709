#include <algorithm>
#include <cmath>

#include "core/inspect/limb_names.h"
#include "core/inspect/events.h"
#include "core/job/finish.h"
#include "core/math/angle.h"

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
    line.harm = finding.harm;
    line.cause = finding.cause;
    line.state = finding.waved ? FindingState::waved : finding.hint ? FindingState::hint : FindingState::remaining;
    return line;
  };
  // What remains is told where it remains, with its size as found; what is gone, where it was.
  const auto same = [](const Finding& a, const Finding& b) { return sameFlaw(a, b); };
  for (const Finding& finding : finished.found) {
    // Hints are told of the result alone.
    if (finding.hint || std::any_of(finished.remaining.begin(), finished.remaining.end(), [&](const Finding& left) { return same(finding, left); })) continue;
    ReportedFinding line = reported(finding);
    line.after = 0;
    if (!finding.waved) line.state = FindingState::repaired;
    report.findings.push_back(std::move(line));
  }
  for (const Finding& left : finished.remaining) {
    ReportedFinding line = reported(left);
    line.arisen = !finished.found.empty() && !left.hint;
    for (const Finding& finding : finished.found) {
      if (!same(finding, left)) continue;
      if (line.arisen) line.before = 0;
      line.arisen = false;
      line.before = std::max(line.before, finding.measure);
    }
    report.findings.push_back(std::move(line));
  }
  std::stable_sort(report.findings.begin(), report.findings.end(), [](const ReportedFinding& a, const ReportedFinding& b) { return a.span.first < b.span.first; });
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
        line.missDegrees = std::max(line.missDegrees, residual.values[k].radians * degreesPerRadian);
      }
    }
    report.repairs.push_back(std::move(line));
  }
  for (const Withdrawal& withdrawal : finished.withdrawn)
    for (const ReportedRepair& repair : report.repairs)
      if (repair.id == withdrawal.repair) report.withdrawn.push_back({repair.id, repair.kind, repair.name.substr(0, repair.name.find(" (taken back: ")), repair.span, withdrawal.reason});
  for (const Departure& d : finished.departures) {
    const FrameRange span = shownSpan(d.span);
    report.departures.push_back({limbName(d.limb), span, d.frames, d.radians * degreesPerRadian, shown(d.worst), d.repair, d.demands});
  }
  for (const Note& note : *take.notes) {
    const int frame = static_cast<int>(std::lround(note.time * seen.rate.hertz()));
    if (frame >= seen.trimFirst && frame < seen.trimFirst + seen.frames)
      report.notes.push_back({shown(frame), note.bone.empty() ? std::string() : spokenBone(note.bone), note.text, note.author, note.done, {}});
  }
  std::stable_sort(report.notes.begin(), report.notes.end(), [](const ReportedNote& a, const ReportedNote& b) { return a.frame < b.frame; });
  report.timing = finished.timing;
  report.issues = finished.issues;
  report.issues.insert(report.issues.end(), seen.issues.begin(), seen.issues.end());
  return report;
}

}  // namespace understudy
