"""The page of a judgement: what breaks a rule and where, what cannot be told, where to look first, what runs here."""

import math
import re
from collections.abc import Sequence
from typing import Final

from wayrule.model import Finding, Judgement, Mark, Running
from wayrule.report.lengths import lengths_for, metres
from wayrule.report.numbers import NO_BREAK, with_sd
from wayrule.report.page import Section, Sheet, render, scale_words
from wayrule.report.pictures import Picture, picture
from wayrule.report.plan import plan_figure
from wayrule.report.tables import Table

VERDICT_WORDS: Final = {"fail": "breaks", "cannot_tell": "cannot tell", "near": "near", "pass": "keeps"}

UNITS: Final = re.compile(r"(?<=\d) (?=(?:mm|m|°|%|±)(?:\W|$))|(?<=±) (?=\d)")

JUDGEMENT: Final = "The ranking is judgement, not a standard: it says where to look first."


def judgement_page(judgement: Judgement, running: Running | None, *, title: str) -> str:
    """The whole page, an HTML document that refers to nothing outside itself."""
    line = judgement.line
    sheet = Sheet(
        kind="judgement of a track",
        title=title,
        wagon=f"{line.wagon_name}, {scale_words(line.scale, line.ratio)}",
        result=summary(judgement),
        plan=_plan(judgement),
        block=(
            ("Survey", line.name),
            ("Rules", f"{judgement.rules.name}: {judgement.rules.words}"),
            ("Stock", judgement.train.name),
            ("Longest vehicle", f"{judgement.train.longest.name}, {judgement.train.longest.length_mm:g} mm"),
        ),
        sections=judgement_sections(judgement, running),
        version=line.version,
    )
    return render(sheet)


def summary(judgement: Judgement) -> tuple[str, ...]:
    """What comes first: counts, then what breaks a rule."""
    count = {v: judgement.count(v) for v in ("fail", "cannot_tell", "near", "pass")}
    first = (
        f"{len(judgement.findings)} places were held against {len(judgement.rules.rules)} rules for "
        f"{judgement.train.name}: {count['fail']} break one, {count['near']} are near, {count['cannot_tell']} cannot "
        f"be told, {count['pass']} keep it."
    )
    worst = [f.words for f in judgement.findings if f.verdict == "fail"]
    more = (f"And {len(worst) - 3} more.",) if len(worst) > 3 else ()
    return tuple(_kept(text) for text in (first, *worst[:3], *more))


def judgement_sections(judgement: Judgement, running: Running | None) -> tuple[Section, ...]:
    """The parts of a judgement, for its own page or another's."""
    sections = [
        Section("findings", "Findings", tables=(finding_table(judgement.findings),)),
        Section("risk", "Where to look first", (JUDGEMENT,), tables=(risk_table(judgement),)),
    ]
    if running is not None:
        sections.append(
            Section("runs", "What runs here", tables=(running_table(running),), points=running.assumed,
                    points_title="Assumed")
        )  # fmt: skip
    sections.append(Section("rules", "Rules", tables=(rule_table(judgement),)))
    return tuple(sections)


def finding_table(findings: Sequence[Finding], *, all_of_them: bool = False) -> Table:
    """What does not clearly keep its rule, numbered as on the map; `all_of_them` lists what does as well."""
    shown = [f for f in findings if all_of_them or f.verdict != "pass"]
    rows = tuple(
        (
            str(i), VERDICT_WORDS[f.verdict], f"{metres(f.s_mm)} ({f.x_mm:.0f}, {f.y_mm:.0f})", _kept(f.words),
            f"{f.why[:1].upper()}{f.why[1:]}." + (f" To settle it: {f.settle}." if f.settle else ""), f.source,
        )
        for i, f in enumerate(shown, 1)
    )  # fmt: skip
    return Table(
        "findings",
        "What breaks a rule, is near to it, or cannot be told; numbered as on the map. In brackets: x and y, mm.",
        ("No.", "Verdict", "Where", "What", "Why it matters", "Source"),
        (True, False, True, False, False, False),
        rows,
        note="Near: less than a tenth of the limit to spare, or within a tenth of it and too close to call.",
        empty="Every place that was looked at keeps its rules.",
    )


def _kept(text: str) -> str:
    """A number and its unit stay on one line."""
    return UNITS.sub(NO_BREAK, text)


def risk_table(judgement: Judgement) -> Table:
    """Places by derailment risk."""
    rows = tuple(
        (
            str(i), metres(r.s_mm), f"{r.score:.1f}",
            ", ".join(f"{name} ({100 * share:.0f} %)" for name, share in r.reasons),
        )
        for i, r in enumerate(judgement.risks, 1)
    )  # fmt: skip
    return Table(
        "risks",
        "Places where a derailment is likelier than elsewhere, the worst first.",
        ("No.", "Where", "Score", "Reasons and their shares"),
        (True, True, True, False),
        rows,
        note="A score of 1: one thing there is as bad as the trade puts up with.",
        empty="No place stands out.",
    )


def running_table(running: Running) -> Table:
    """What a train meets."""
    rows = tuple(
        (m.name[:1].upper() + m.name[1:], with_sd(m.value, m.sd, m.unit.replace("1", "")), metres(m.s_mm), m.words)
        for m in running.met
    )
    return Table(
        "running",
        f"What {running.train.name} meets on this line, the worst of each kind.",
        ("What", "Worst", "Where", "In words"),
        (False, True, True, False),
        rows,
        empty="Nothing that a train would feel was found.",
    )


def rule_table(judgement: Judgement) -> Table:
    """The rules with their limits and sources."""
    subject = (judgement.line.stations.gauge_mm, judgement.train.longest.length_mm)
    rows = tuple(
        (
            r.id, r.quantity.replace("_", " ") + (f" ({r.stock})" if r.stock else ""),
            f"{r.sense} {r.value(*subject):.4g} {r.size_unit.replace('1', '')}".strip(),
            f"{r.limit:.4g} {r.unit}", r.source, r.status,
        )
        for r in judgement.rules.rules
    )  # fmt: skip
    return Table(
        "rules",
        f"Rule set {judgement.rules.name}. Another limit: --limit ID=VALUE, in the rule's unit.",
        ("Id", "What", "Here", "As written", "Source", "Standing"),
        (False, False, False, False, False, False),
        rows,
    )


def _plan(judgement: Judgement) -> Picture:
    """The map with the findings as numbered marks."""
    line = judgement.line
    shown = [f for f in judgement.findings if f.verdict != "pass"]
    marks = [(f.s_mm % line.stations.length_mm if line.stations.closed else f.s_mm, Mark(math.nan, str(i)))
             for i, f in enumerate(shown, 1)]  # fmt: skip
    lengths = lengths_for(line.stations.length_mm, line.ratio)
    return picture(
        "plan",
        "Where",
        f"{len(shown)} findings on the line from above." if shown else "No finding: every place keeps its rules.",
        "Numbers: findings, as in the table below.",
        lambda size: plan_figure(line.stations, (), marks, lengths, size),
    )
