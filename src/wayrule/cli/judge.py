"""`wayrule judge`."""

from pathlib import Path

import click

from wayrule.cli.options import json_option, no_open_option


@click.command("judge", short_help="A survey against rules: what breaks one, where, how sure, and what runs here.")
@click.argument("survey", metavar="SURVEY")
@click.option(
    "--rules", metavar="NAME_OR_FILE", default="usual", help="Rule set: usual, nem, fine ...; or a rule file."
)
@click.option("--limit", metavar="ID=VALUE", multiple=True, help="One limit of your own, in its rule's unit.")
@click.option("--train", metavar="FILE", help="The train that is to run.")
@click.option("--stock", metavar="KIND:LENGTH", multiple=True, help="Stock in words, such as coach:300x4, mm.")
@click.option("--out", metavar="DIR", help="Write findings.csv and judgement.html; the survey folder will do.")
@click.option("--title", metavar="TEXT", default="", help="Title of the page.")
@no_open_option()
@json_option()
def judge(
    survey: str,
    rules: str,
    limit: tuple[str, ...],
    train: str | None,
    stock: tuple[str, ...],
    out: str | None,
    title: str,
    no_open: bool,
    as_json: bool,
) -> None:
    """Hold a survey against published or own rules, for the stock that is to run on it.

    SURVEY is the folder that `wayrule survey` wrote. Each place passes, is near, fails, or cannot be told, and then it
    says what would settle it.

    \b
    wayrule judge survey --out survey
    wayrule judge survey --stock engine6:220 --stock coach:300x4 --limit radius.cars=2.5
    wayrule judge survey --rules club.rules.toml --train express.train.toml --out survey
    """
    from wayrule.cli.browser import open_page
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, show
    from wayrule.desk.judging import PAGE
    from wayrule.desk.judging import judge as judge_survey
    from wayrule.report.findings import JUDGEMENT, finding_table, risk_table, running_table, summary

    result = judge_survey(
        survey, rules=rules, limits=limit, train=train, stock=stock, out=out, title=title, step=Steps()
    )
    if as_json:
        met = result.running.met if result.running else ()
        emit(
            {
                "survey": result.line.name, "rules": result.rules, "train": result.train, "findings": result.findings,
                "risks": result.risks, "running": met, "assumed": result.assumed, "out": out,
            }
        )  # fmt: skip
        return
    say(*summary(result), *result.assumed, "")
    for i, row in enumerate(finding_table(result.findings).rows, 1):
        say(f"{i}. {row[3]}", f"   {row[4]} ({row[5]})")
    say("", f"Where to look first. {JUDGEMENT}")
    show([risk_table(result)])
    if result.running is not None:
        show([running_table(result.running)], aside=True)
        say(*(f"- {line}" for line in result.running.assumed))
    if out is not None:
        page = Path(out) / PAGE
        say("", f"Written into {out}: findings.csv, {PAGE}.")
        if not no_open:
            open_page(page)
