"""Work: one piece of long work, its steps while they go on, and the button that ends it."""

from wayrule.errors import UsageError
from wayrule.web.jobs import Job
from wayrule.web.page import Ask, Moved, Page, Reply, Shown


def show(ask: Ask) -> Reply:
    """How far it is; the same after a reload, and on every device."""
    job = _job(ask)
    return Shown("work.html.j2", {"job": job, "content": job.content()})


def cancel(ask: Ask) -> Reply:
    """End it before its next step."""
    job = _job(ask)
    ask.office.jobs.cancel(job)
    return Moved(f"/work/{job.ident}")


def _job(ask: Ask) -> Job:
    job = ask.office.jobs.find(ask.path["ident"])
    if job is None:
        raise UsageError(
            expected="a piece of work of this session",
            came=repr(ask.path["ident"][:40]),
            where="the address",
            next_step="go back to Layouts; what was written is there",
        )
    return job


PAGE = Page("work", reads={"/work/{ident}": show}, acts={"/work/{ident}/cancel": cancel})
