"""Layouts: what the project folder holds, what is next, and a made-up railway for a first visit."""

from pathlib import Path

from wayrule.desk.demonstration import demo
from wayrule.desk.projects import layouts
from wayrule.desk.steps import Step
from wayrule.report.lengths import metres
from wayrule.web.page import Ask, Moved, Page, Reply, Shown
from wayrule.web.paper import texts

RAILWAY = "heather-vale"


def show(ask: Ask) -> Reply:
    """All layouts; a first visitor is offered the made-up railway."""
    found = layouts(ask.office.root)
    return Shown("layouts.html.j2", {"layouts": found, "metres": metres, "folder": ask.office.root.resolve().name})


def tour(ask: Ask) -> Reply:
    """Build and survey the made-up railway, in a folder of its own; nothing that is there is touched."""
    office = ask.office
    name = free_name(office.root)

    def work(step: Step) -> str:
        result = demo(office.root / name, step=step)
        office.keep(f"{name}/survey", result.survey)
        return f"/track/{name}/survey"

    job = office.jobs.start(texts()["layouts"]["tour_work"], work)
    return Moved(f"/work/{job.ident}")


def free_name(root: Path) -> str:
    """A folder that is not there yet."""
    names = (RAILWAY, *(f"{RAILWAY}-{n}" for n in range(2, 10_000)))
    return next(name for name in names if not (root / name).exists())


PAGE = Page("layouts", reads={"/": show}, acts={"/tour": tour}, menu="/")
