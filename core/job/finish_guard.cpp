#include "core/job/finish_guard.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "core/inspect/limb_names.h"
#include "core/inspect/events.h"
#include "core/repair/layer.h"
#include "core/take/edits.h"

namespace understudy {
namespace {

struct Balance {
  double mends = 0, leaves = 0, harms = 0;
  const Finding* worst = nullptr;  ///< what it does
  double before = 0, after = 0;    ///< worst measures of what it was accepted for
  FindingKind kind = FindingKind::depth;
};

Take withMuted(const Take& take, const std::vector<Withdrawal>& withdrawals) {
  Take out = take;
  for (const Withdrawal& w : withdrawals) {
    const Repair* repair = findRepair(out, w.repair);
    if (!repair) continue;
    Repair muted = *repair;
    muted.muted = true;
    muted.name += " (taken back: " + w.reason + ")";
    out = changeRepair(out, std::move(muted));
  }
  return out;
}

/// Whether a touch takes the arm that lies in the body: with its hand, or by what it touches.
bool takes(const TouchRepair& touch, const Finding& depth) {
  if (depth.bones.empty()) return true;
  const BodyLimb arm = limbOfBone(depth.bones.front());
  return limbOfBone(touch.bone) == arm || limbOfBone(touch.on) == arm ||
         std::any_of(touch.path.begin(), touch.path.end(), [&](const TouchMark& mark) { return limbOfBone(mark.on) == arm; });
}

/// How deep arms lie in the body over a span, by severity and frames; of a touch those that it takes.
double deepOver(const Findings& findings, const FrameSpan* span = nullptr, const TouchRepair* touch = nullptr) {
  double sum = 0;
  for (const Finding& f : findings)
    if (f.kind == FindingKind::depth && !f.waved && !f.hint && (!touch || takes(*touch, f))) sum += f.severity * (span ? common(f.span, *span) : f.span).count();
  return sum;
}

/// Of what is neither an arm in the body nor a contact that is lost.
double otherBurden(const Findings& findings) {
  Findings others;
  for (const Finding& f : findings)
    if (f.kind != FindingKind::depth && f.kind != FindingKind::lostContact) others.push_back(f);
  return burden(others);
}

/// Mutes touches that hold an arm in the body: an arm that is out of it is worth more than a contact.
Status releaseHeldArms(Judged& now, const std::vector<Accepted>& accepted, const std::function<Result<Findings>(const Take&)>& judge,
                       const GuardSettings& settings, std::vector<Withdrawal>& done) {
  struct Holding {
    Withdrawal withdrawal;
    FrameSpan span;
    TouchRepair touch;
    double deep = 0;  ///< see deepOver()
  };
  std::vector<Holding> holding;
  for (const Accepted& flaw : accepted) {
    if (flaw.finding.kind != FindingKind::lostContact) continue;
    for (const std::uint64_t id : flaw.repairs) {
      const Repair* repair = findRepair(now.take, id);
      if (!repair || !repair->proposed || repair->muted || !std::holds_alternative<TouchRepair>(repair->action)) continue;
      if (std::any_of(holding.begin(), holding.end(), [&](const Holding& h) { return h.withdrawal.repair == id; })) continue;
      const auto& touch = std::get<TouchRepair>(repair->action);
      // One that does not even keep its contact has less to lose.
      const bool missed = std::any_of(now.findings.begin(), now.findings.end(), [&](const Finding& f) { return sameFlaw(f, flaw.finding) && f.severity >= settings.lost && 2 * f.span.count() > flaw.finding.span.count(); });
      const double least = missed ? settings.deepInVain : settings.deep;
      const Finding* worst = nullptr;
      for (const Finding& f : now.findings)
        if (f.kind == FindingKind::depth && !f.waved && f.severity >= least && takes(touch, f) && !common(f.span, flaw.finding.span).empty() && (!worst || f.severity > worst->severity))
          worst = &f;
      if (!worst) continue;
      // "The left forearm lies 40 mm in the floor; 3 times within 2 s": the flaw without its count.
      std::string sentence = worst->sentence.substr(0, worst->sentence.find(';'));
      if (sentence.starts_with("The ")) sentence.front() = 't';
      holding.push_back({{id, "with it " + sentence}, flaw.finding.span, touch, deepOver(now.findings, &flaw.finding.span, &touch)});
    }
  }
  // Without these, are arms out that were in, and is nothing else much worse?
  const auto better = [&](const Findings& without) {
    return deepOver(without) < deepOver(now.findings) && otherBurden(without) <= otherBurden(now.findings) + settings.deep / 3;
  };
  const auto held = [&](const Holding& h, const Findings& without) { return deepOver(without, &h.span, &h.touch) < 0.5 * deepOver(now.findings, &h.span, &h.touch); };
  const auto release = [&](const std::vector<Holding>& which, Take&& take, Findings&& without) {
    now = {std::move(take), std::move(without)};
    for (const Holding& h : which) done.push_back(h.withdrawal);
  };
  // Of those without which the arms come out, the ones that held them.
  for (int trial = 0; trial < 2 && !holding.empty(); ++trial) {
    std::vector<Withdrawal> which;
    for (const Holding& h : holding) which.push_back(h.withdrawal);
    Take take = withMuted(now.take, which);
    Result<Findings> findings = judge(take);
    if (!findings) return findings.error();
    std::vector<Holding> causes;
    for (const Holding& h : holding)
      if (held(h, *findings)) causes.push_back(h);
    const bool all = causes.size() == holding.size();
    holding = std::move(causes);
    if (!all && trial == 0) continue;
    if (!holding.empty() && better(*findings)) {
      release(holding, std::move(take), std::move(*findings));
      return Status(Done{});
    }
    break;
  }
  // What one of them brings along must not keep the others.
  if (holding.size() < 2) return Status(Done{});
  std::stable_sort(holding.begin(), holding.end(), [](const Holding& a, const Holding& b) { return a.deep > b.deep; });
  if (static_cast<int>(holding.size()) > settings.mostTrials) holding.resize(static_cast<std::size_t>(settings.mostTrials));
  for (const Holding& h : holding) {
    Take take = withMuted(now.take, {h.withdrawal});
    Result<Findings> findings = judge(take);
    if (!findings) return findings.error();
    if (held(h, *findings) && better(*findings)) release({h}, std::move(take), std::move(*findings));
  }
  return Status(Done{});
}

/// Touches that were taken back one after the other, or several at once, may hold no arm in the body once the others are gone: these come back. Of
/// the others the parts do at which the arm is out of the body.
Status giveBack(Judged& now, const Take& before, const std::function<Result<Findings>(const Take&)>& judge, const GuardSettings& settings, FrameRate rate,
                std::vector<Withdrawal>& done) {
  std::vector<const Repair*> all;
  for (const Withdrawal& w : done) {
    const Repair* repair = findRepair(before, w.repair);
    if (repair && repair->span && std::holds_alternative<TouchRepair>(repair->action)) all.push_back(repair);
  }
  const auto seconds = [](const Repair* repair) { return repair->span->last - repair->span->first; };
  std::stable_sort(all.begin(), all.end(), [&](const Repair* a, const Repair* b) { return seconds(a) > seconds(b); });
  if (static_cast<int>(all.size()) > settings.mostReturns) all.resize(static_cast<std::size_t>(settings.mostReturns));
  for (const Repair* back : all) {
    const Repair& whole = *back;
    const auto& touch = std::get<TouchRepair>(whole.action);
    const auto frameOf = [&](double at) { return static_cast<int>(std::lround(at * rate.hertz())); };
    const FrameSpan acting{frameOf(whole.span->first - whole.easeBefore), frameOf(whole.span->last + whole.easeAfter)};
    const auto deepIn = [&](const Findings& findings) {
      std::vector<FrameSpan> spans;
      for (const Finding& f : findings)
        if (f.kind == FindingKind::depth && !f.waved && !f.hint && f.severity >= settings.deepInVain && takes(touch, f) && !common(f.span, acting).empty()) spans.push_back(f.span);
      return joined(std::move(spans));
    };
    const auto framesOf = [](const std::vector<FrameSpan>& spans) {
      int sum = 0;
      for (const FrameSpan& span : spans) sum += span.count();
      return sum;
    };
    const auto tried = [&](Take&& take) -> Result<Findings> {
      Result<Findings> with = judge(take);
      if (!with) return with;
      const bool deeper = framesOf(deepIn(*with)) > framesOf(deepIn(now.findings)) || deepOver(*with) > deepOver(now.findings) + settings.deepInVain * frameOf(settings.shortest);
      // Contacts that are told as one show no difference where one of them is kept.
      const double others = otherBurden(*with), othersNow = otherBurden(now.findings);
      const bool noWorse = others <= othersNow + settings.deep / 3 && burden(*with) - others <= burden(now.findings) - othersNow + 1e-9;
      if (!deeper && noWorse) now = {std::move(take), *with};
      return with;
    };
    const Result<Findings> with = tried(changeRepair(now.take, whole));
    if (!with) return with.error();
    if (!findRepair(now.take, whole.id)->muted) {
      std::erase_if(done, [&](const Withdrawal& w) { return w.repair == whole.id; });
      continue;
    }
    // What is left of its span between the frames at which the arm lies in the body.
    std::vector<FrameSpan> parts{{frameOf(whole.span->first), frameOf(whole.span->last)}};
    for (const FrameSpan& deep : deepIn(*with)) {
      const FrameSpan off = widened(deep, frameOf(settings.apart), frameOf(settings.apart)), last = parts.back();
      parts.pop_back();
      for (const FrameSpan& part : {common(last, {last.first, off.first - 1}), common(last, {off.last + 1, last.last})}) parts.push_back(part);
    }
    std::erase_if(parts, [&](const FrameSpan& part) { return part.count() < frameOf(settings.shortest); });
    if (parts.empty()) continue;
    Take take = now.take;
    for (const FrameSpan& part : parts) {
      Repair own = whole;
      own.id = 0;
      own.span = TimeRange{rate.seconds(part.first), rate.seconds(part.last)};
      take = addRepair(take, std::move(own));
    }
    if (const Result<Findings> some = tried(std::move(take)); !some) return some.error();
  }
  return Status(Done{});
}

}  // namespace

double burden(const Findings& findings) {
  double sum = 0;
  for (const Finding& finding : findings)
    if (!finding.waved && !finding.hint) sum += finding.severity;
  return sum;
}

Result<std::vector<Withdrawal>> withdrawHarmful(Judged& now, const std::vector<Accepted>& accepted, const std::function<Result<Findings>(const Take&)>& judge,
                                                const GuardSettings& settings, FrameRate rate) {
  std::map<std::uint64_t, Balance> balances;
  for (const Accepted& flaw : accepted)
    for (const std::uint64_t id : flaw.repairs) {
      Balance& balance = balances[id];
      double left = 0, measure = 0, deep = 0;
      for (const Finding& f : now.findings)
        if (sameFlaw(f, flaw.finding)) {
          left = std::max(left, f.severity), measure = std::max(measure, f.measure);
          deep += f.severity * common(f.span, flaw.finding.span).count();
        }
      // Arms are in the body for seconds or whole clips: what is left for part of the time counts for that part.
      if (flaw.finding.kind == FindingKind::depth) left = std::min(left, deep / std::max(1, flaw.finding.span.count()));
      balance.mends += std::max(0.0, flaw.finding.severity - left);
      balance.leaves += std::min(flaw.finding.severity, left);
      balance.before = std::max(balance.before, flaw.finding.measure);
      balance.after = std::max(balance.after, measure);
      balance.kind = flaw.finding.kind;
    }
  std::vector<Withdrawal> suspects;
  for (auto& [id, balance] : balances) {
    const Repair* repair = findRepair(now.take, id);
    if (!repair || !repair->proposed || repair->muted || std::holds_alternative<PlantRepair>(repair->action)) continue;
    const std::string name = describe(*repair) + " ";
    for (const Finding& f : now.findings) {
      if (f.waved || !f.cause.starts_with(name) || (f.kind != FindingKind::pop && f.kind != FindingKind::flip && f.kind != FindingKind::twist && f.kind != FindingKind::snap)) continue;
      balance.harms += f.severity;
      if (!balance.worst || f.severity > balance.worst->severity) balance.worst = &f;
    }
    // How long arms stay out of the body cannot be set against single jumps, which are told with their cause.
    const bool clears = std::holds_alternative<ClearanceRepair>(repair->action);
    const bool useless = clears && balance.leaves >= settings.useless * (balance.leaves + balance.mends);
    if (!clears && balance.harms > balance.mends && balance.worst)
      suspects.push_back({id, "with it the " + boneDoes(balance.worst->bones.empty() ? std::string("body") : balance.worst->bones.front(), "jumps") + " by " +
                                  spokenFigure(balance.worst->measure, findingUnit(balance.worst->kind))});
    else if (useless)
      suspects.push_back({id, "of " + spokenFigure(balance.before, findingUnit(balance.kind)) + " it leaves " + spokenFigure(balance.after, findingUnit(balance.kind))});
  }
  std::vector<Withdrawal> done;
  int trials = 0;
  const auto attempt = [&](const std::vector<Withdrawal>& which) -> Result<bool> {
    if (which.empty() || trials++ >= settings.mostTrials) return false;
    Take take = withMuted(now.take, which);
    Result<Findings> findings = judge(take);
    if (!findings) return findings.error();
    if (burden(*findings) > burden(now.findings) + 1e-9) return false;
    now = {std::move(take), std::move(*findings)};
    done.insert(done.end(), which.begin(), which.end());
    return true;
  };
  const Result<bool> all = attempt(suspects);
  if (!all) return all.error();
  if (!*all && suspects.size() > 1)
    for (const Withdrawal& one : suspects)
      if (const Result<bool> single = attempt({one}); !single) return single.error();
  const Take before = now.take;
  std::vector<Withdrawal> released;
  // Once some are gone others may stand out.
  for (std::size_t were = 1, pass = 0; were != released.size() && pass < settings.mostReleases; ++pass) {
    were = released.size();
    if (const Status s = releaseHeldArms(now, accepted, judge, settings, released); !s) return s.error();
  }
  if (const Status s = giveBack(now, before, judge, settings, rate, released); !s) return s.error();
  done.insert(done.end(), released.begin(), released.end());
  return done;
}

}  // namespace understudy
