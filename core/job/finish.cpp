#include "core/job/finish.h"

#include <algorithm>
#include <chrono>
#include <cmath>

#include "core/inspect/events.h"
#include "core/repair/grip.h"
#include "core/take/edits.h"

namespace understudy {
namespace {

using Clock = std::chrono::steady_clock;

double secondsSince(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

/// How often the result is looked at before what is still found is left to the artist.
constexpr int mostRounds = 3;

}  // namespace

Result<Finished> finishTake(const Take& start, const Sources& sources, const FinishSettings& settings, EvaluationCache* cache, const RunControl& control) {
  EvaluationCache own;
  if (!cache) cache = &own;
  Finished out;
  out.take = start;
  auto from = Clock::now();
  const auto step = [&](const char* name) {
    out.timing.push_back({name, secondsSince(from)});
    from = Clock::now();
  };

  control.report(0, "retarget");
  Result<Take> fitted = refitted(out.take, sources, cache, &out.issues, control);
  if (!fitted) return fitted.error();
  out.take = std::move(*fitted);
  Result<Evaluated> seen = evaluate(out.take, sources, cache, control);
  if (!seen) return seen.error();
  if (!seen->complete()) {
    for (const Issue& issue : seen->issues)
      if (issue.severity == Severity::error) return issue;
    return makeError(Fault::internal, "Nothing was retargeted", out.take.name);
  }
  step("retarget");
  control.report(0.2, "look at the performance");
  Result<std::shared_ptr<const Performance>> performance = analysePerformance(*sources.performer, seen->map->performer, seen->performerNative, control);
  if (!performance) return performance.error();
  out.issues.insert(out.issues.end(), (*performance)->issues.begin(), (*performance)->issues.end());
  step("look at the performance");

  // Adds what the findings propose to the take and evaluates it; false where they propose nothing new.
  const auto accept = [&](const Findings& findings) -> Result<bool> {
    Take next = out.take;
    for (const Finding& finding : findings) {
      if (std::none_of(out.found.begin(), out.found.end(), [&](const Finding& known) { return sameFlaw(known, finding); })) out.found.push_back(finding);
      if (finding.waved) continue;
      for (const Repair& proposal : finding.proposal) {
        // Several findings may ask for one repair.
        if (repairsAlready(*next.repairs, proposal, seen->rate, seen->clipFrames)) continue;
        next = addRepair(next, proposal);
      }
    }
    if (next == out.take) return false;
    Result<Take> anchoredTake = refitted(next, sources, cache, &out.issues, control);
    if (!anchoredTake) return anchoredTake.error();
    out.take = std::move(*anchoredTake);
    seen = evaluate(out.take, sources, cache, control);
    if (!seen) return seen.error();
    return true;
  };

  for (int part = 0; part < inspectParts; ++part) {
    if (!settings.inspect.parts[static_cast<std::size_t>(part)]) continue;
    control.report(0.3 + 0.1 * part, "find and repair");
    InspectSettings one = settings.inspect;
    one.parts = {};
    one.parts[static_cast<std::size_t>(part)] = true;
    Result<Inspection> look = inspectTake(out.take, *seen, **performance, one, control);
    if (!look) return look.error();
    out.issues.insert(out.issues.end(), look->issues.begin(), look->issues.end());
    if (Result<bool> accepted = accept(look->findings); !accepted) return accepted.error();
  }
  if (settings.inspect.prop != 0) {
    std::vector<PropItem> props = *out.take.props;
    std::vector<const Repair*> repairs;
    for (const Node<Repair>& repair : *out.take.repairs) repairs.push_back(&*repair);
    for (PropItem& prop : props)
      if (prop.id == settings.inspect.prop) prop = carriedByLead(*seen->context, prop, repairs, settings.inspect.leadLeft.value_or(false));
    if (Take carried = setProps(out.take, std::move(props)); !(carried == out.take)) {
      out.take = std::move(carried);
      seen = evaluate(out.take, sources, cache, control);
      if (!seen) return seen.error();
    }
  }
  step("find and repair");
  control.report(0.85, "look again");
  Result<Inspection> look = inspectTake(out.take, *seen, **performance, settings.inspect, control);
  if (!look) return look.error();
  // A repair may bring out what its flaw had hidden.
  for (int round = 1; round < mostRounds; ++round) {
    const Result<bool> more = accept(look->findings);
    if (!more) return more.error();
    if (!*more) break;
    look = inspectTake(out.take, *seen, **performance, settings.inspect, control);
    if (!look) return look.error();
  }
  out.remaining = std::move(look->findings);
  out.evaluated = std::move(*seen);
  step("look again");
  control.report(1, "done");
  return out;
}

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
  report.timing = finished.timing;
  report.issues = finished.issues;
  report.issues.insert(report.issues.end(), seen.issues.begin(), seen.issues.end());
  return report;
}

}  // namespace understudy
