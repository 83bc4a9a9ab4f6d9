"""`judge`: a survey against rules, for the stock that is to run on it."""

from collections.abc import Iterable
from dataclasses import dataclass
from os import fspath
from pathlib import Path
from typing import Final

from wayrule import store
from wayrule.desk.frame import framed
from wayrule.desk.opening import PathName, open_survey
from wayrule.desk.steps import Step, silent
from wayrule.errors import UsageError
from wayrule.formats.findingtable import write_findings
from wayrule.formats.rulefile import parse_limit, read_rules
from wayrule.formats.trainfile import read_train, stock_from_words, usual_train
from wayrule.model import Judgement, RuleSet, Running, Survey, Surveyed, Train
from wayrule.report.findings import judgement_page
from wayrule.track.judge.judge import judge as judge_line
from wayrule.track.rules.sets import SETS, rule_set
from wayrule.track.running.running import runs

USUAL_STOCK: Final = (
    "Bogies, pivots and widths of the stock are those usual for its kind, masses of cars the least of NEM 302, of "
    "engines five times as much for their length (from memory); --train FILE tells yours."
)

FINDINGS = "findings.csv"
PAGE = "judgement.html"


@dataclass(frozen=True, slots=True, eq=False)
class JudgeResult(Judgement):
    """A judgement that can be saved, and that a notebook shows as its page.

    running   what the train meets on the line
    assumed   what was taken because nobody said
    """

    running: Running | None = None
    title: str = ""
    assumed: tuple[str, ...] = ()

    def page(self) -> str:
        """The page, a whole HTML document."""
        return judgement_page(self, self.running, title=self.title)

    def save(self, folder: PathName) -> list[Path]:
        """Write findings.csv and judgement.html into a folder; what else lies there stays."""
        files = {FINDINGS: write_findings(self.findings), PAGE: self.page().encode()}
        return [store.write_bytes(Path(folder) / name, data) for name, data in files.items()]

    def _repr_html_(self) -> str:
        return framed(self.page(), 1200)


def judge(
    survey: PathName | Survey | Surveyed,
    *,
    rules: PathName | RuleSet = "usual",
    limits: Iterable[str] = (),
    train: PathName | Train | None = None,
    stock: Iterable[str] = (),
    out: PathName | None = None,
    title: str = "",
    step: Step = silent,
) -> JudgeResult:
    """Hold a survey against rules; the words are those of the command line.

    Parameters
    ----------
    survey : a survey folder, or a survey in hand
    rules : name of a rule set, a rule file, or a rule set in hand
    limits : ID=VALUE, one limit changed each, in its rule's unit
    train : a train file, or a train
    stock : KIND:LENGTH or KIND:LENGTHxCOUNT instead of a train
    out : folder to write findings.csv and judgement.html into

    Raises
    ------
    UsageError, WayruleError   each in one line
    """
    with step("reading the survey"):
        line = open_survey(survey)
    chosen = chosen_rules(rules, line)
    for text in limits:
        chosen = chosen.limited(*parse_limit(text))
    running, assumed = chosen_train(train, list(stock), line.ratio)
    with step("judging"):
        done = judge_line(line, chosen, running)
        here = runs(line, running)
    result = JudgeResult(
        done.line,
        done.rules,
        done.train,
        done.findings,
        done.risks,
        here,
        title or f"Judgement of {line.name}",
        assumed,
    )
    if out is not None:
        with step(f"drawing the page, writing {fspath(out)}"):
            result.save(out)
    return result


def chosen_rules(rules: PathName | RuleSet, line: Surveyed) -> RuleSet:
    """The rule set of a name, of a file, or in hand."""
    if isinstance(rules, RuleSet):
        return rules
    gauge, word = line.stations.gauge_mm, fspath(rules)
    if word in SETS or not Path(word).is_file():
        return rule_set(word, gauge, line.ratio)
    own = read_rules(store.read_bytes(Path(word)), word)
    base = rule_set(own.based_on, gauge, line.ratio).rules if own.based_on else ()
    kept = tuple(rule for rule in base if rule.id not in {one.id for one in own.rules})
    made = RuleSet(own.name, f"own rules of {word}", (*kept, *own.rules))
    for ident, limit in own.limits:
        made = made.limited(ident, limit)
    return made


def chosen_train(train: PathName | Train | None, stock: list[str], ratio: float) -> tuple[Train, tuple[str, ...]]:
    """The train, and what was assumed of it."""
    if train is not None and stock:
        raise UsageError(
            expected="a train file or stock in words",
            came="both",
            where="--train and --stock",
            next_step="leave one off",
        )
    if isinstance(train, Train):
        return train, ()
    if train is not None:
        return read_train(store.read_bytes(Path(train)), fspath(train)), ()
    if stock:
        return stock_from_words(stock, ratio), (USUAL_STOCK,)
    usual = usual_train(ratio)
    lengths = ", ".join(dict.fromkeys(v.name for v in usual.vehicles))
    told = f"Judged for a {usual.name} ({lengths}): nobody said what is to run; --stock or --train tells yours."
    return usual, (told, USUAL_STOCK)
