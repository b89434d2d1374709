#include "core/inspect/events.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "core/inspect/limb_names.h"

namespace understudy {
namespace {

bool sharesLimb(const Finding& a, const Finding& b) {
  if (a.bones.empty() || b.bones.empty()) return a.bones.empty() && b.bones.empty();
  const BodyLimb part = limbOfBone(a.bones.front());
  return part == BodyLimb::other ? a.bones.front() == b.bones.front() : part == limbOfBone(b.bones.front());
}

void take(Finding& into, Finding&& more) {
  const FrameSpan whole{std::min(into.span.first, more.span.first), std::max(into.span.last, more.span.last)};
  const bool worse = more.measure > into.measure;
  // What has no cause is not explained by its neighbour's.
  const bool unexplained = into.cause.empty() || more.cause.empty();
  std::vector<std::string> bones = into.bones;
  for (std::string& bone : more.bones)
    if (std::find(bones.begin(), bones.end(), bone) == bones.end()) bones.push_back(std::move(bone));
  std::vector<Repair> proposal = std::move(into.proposal);
  for (Repair& repair : more.proposal)
    if (std::find(proposal.begin(), proposal.end(), repair) == proposal.end()) proposal.push_back(std::move(repair));
  const double severity = std::max(into.severity, more.severity);
  if (worse) into = std::move(more);
  into.span = whole;
  into.bones = std::move(bones);
  into.proposal = std::move(proposal);
  into.severity = severity;
  if (unexplained) into.cause.clear();
}

}  // namespace

Findings joinedEvents(Findings findings, FrameRate rate, const EventSettings& settings) {
  std::stable_sort(findings.begin(), findings.end(), [](const Finding& a, const Finding& b) { return a.span.first < b.span.first; });
  const int join = static_cast<int>(std::lround(settings.join * rate.hertz()));
  Findings out;
  std::vector<int> counts;
  for (Finding& finding : findings) {
    std::size_t i = out.size();
    while (i-- > 0) {
      const Finding& old = out[i];
      if (old.kind == finding.kind && sharesLimb(old, finding) && old.proposal.empty() == finding.proposal.empty() && old.hint == finding.hint && finding.span.first - old.span.last <= join + 1) break;
    }
    if (i < out.size()) {
      take(out[i], std::move(finding));
      ++counts[i];
    } else {
      out.push_back(std::move(finding));
      counts.push_back(1);
    }
  }
  for (std::size_t i = 0; i < out.size(); ++i) {
    if (counts[i] == 1) continue;
    char text[64];
    std::snprintf(text, sizeof text, "; %d times within %.1f s", counts[i], rate.seconds(out[i].span.count()));
    out[i].sentence += text;
    nameFinding(out[i], rate);
  }
  std::stable_sort(out.begin(), out.end(), [](const Finding& a, const Finding& b) { return a.span.first < b.span.first; });
  return out;
}

bool sameFlaw(const Finding& a, const Finding& b, int near) {
  return a.kind == b.kind && a.hint == b.hint && sharesLimb(a, b) && !common(widened(a.span, near, near), b.span).empty();
}

}  // namespace understudy
