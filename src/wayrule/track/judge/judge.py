"""All of judging, in its order."""

import math

from wayrule.model import Finding, Judgement, Rule, RuleSet, Surveyed, Train
from wayrule.model.finding import VERDICTS
from wayrule.track.judge.beside import beside_findings
from wayrule.track.judge.cross import cross_findings
from wayrule.track.judge.plan import plan_findings
from wayrule.track.judge.profile import profile_findings
from wayrule.track.judge.risk import risks
from wayrule.track.judge.subject import Subject
from wayrule.track.running.coupling import worst_offsets_mm


def findings(line: Surveyed, rules: RuleSet, train: Train) -> tuple[Finding, ...]:
    """Every rule on every place that it speaks of; the worst verdicts first, each kind along the line.

    Parameters
    ----------
    line : the survey
    rules : what it is held against
    train : what is to run on it; its longest vehicle and longest rigid frame matter
    """
    subject = Subject(line, rules, train)
    found = [
        *plan_findings(subject),
        *profile_findings(subject),
        *cross_findings(subject),
        *beside_findings(subject),
        *coupler_findings(subject),
    ]
    return tuple(sorted(found, key=lambda one: (VERDICTS.index(one.verdict), one.s_mm)))


def coupler_findings(subject: Subject) -> list[Finding]:
    """Sideways offset of the couplers against what they swing, where the stock says it, and against any rule for it."""
    rules = list(subject.rules.of("coupler"))
    most = min((v.offset_mm for v in subject.train.vehicles if math.isfinite(v.offset_mm)), default=math.nan)
    if math.isfinite(most):
        why = "the coupler reaches its stop and lifts or drags its car out of the track"
        rules.append(Rule("stock.coupler", "coupler", "at most", most, "mm", "the stock", "", "", "own", why))
    if not rules or len(subject.train.vehicles) < 2:
        return []
    st = subject.line.stations
    offset = worst_offsets_mm(st, subject.train)
    lever = max((v.length_mm**2 - v.pivots_mm**2) / 8.0 for v in subject.train.vehicles)
    sd = 2.0 * lever * st.curvature_sd_1_mm
    window = subject.longest_mm
    return [found for rule in rules for found in subject.scanned(rule, offset, sd, window_mm=window)]


def judge(line: Surveyed, rules: RuleSet, train: Train) -> Judgement:
    """Findings and risks of a line for a train."""
    return Judgement(line, rules, train, findings(line, rules, train), risks(Subject(line, rules, train)))
