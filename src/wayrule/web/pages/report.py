"""Report: what goes in, a preview, print, and everything as one archive."""

from wayrule import store
from wayrule.desk.handing import archive, folder_of, report_of
from wayrule.web.page import Ask, Page, Reply, Sent, Shown


def show(ask: Ask) -> Reply:
    """The preview with its buttons."""
    asked = ask.path["survey"]
    return Shown("report.html.j2", {"path": asked, "folder": folder_of(store.within(ask.office.root, asked))})


def alone(ask: Ask) -> Reply:
    """The report itself, kept from anything but its own text."""
    return Sent(report_of(store.within(ask.office.root, ask.path["survey"])), "text/html", alone=True)


def everything(ask: Ask) -> Reply:
    """All files of the survey."""
    asked = ask.path["survey"]
    return Sent(archive(store.within(ask.office.root, asked)), "application/zip", asked.replace("/", "-") + ".zip")


PAGE = Page(
    "report",
    reads={
        "/report/{survey:path}": show,
        "/report-alone/{survey:path}": alone,
        "/report-archive/{survey:path}": everything,
    },
)
