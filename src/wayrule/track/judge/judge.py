"""All of judging, in its order."""

from wayrule.model import Finding, Judgement, RuleSet, Surveyed, Train
from wayrule.model.finding import VERDICTS
from wayrule.track.judge.beside import beside_findings
from wayrule.track.judge.cross import cross_findings
from wayrule.track.judge.plan import plan_findings
from wayrule.track.judge.profile import profile_findings
from wayrule.track.judge.risk import risks
from wayrule.track.judge.subject import Subject


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
    ]
    return tuple(sorted(found, key=lambda one: (VERDICTS.index(one.verdict), one.s_mm)))


def judge(line: Surveyed, rules: RuleSet, train: Train) -> Judgement:
    """Findings and risks of a line for a train."""
    return Judgement(line, rules, train, findings(line, rules, train), risks(Subject(line, rules, train)))
