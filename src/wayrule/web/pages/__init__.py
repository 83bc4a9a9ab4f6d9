"""The pages, in the order of the job. A new one is a file here, a template, a table in texts/en.toml, a line below."""

from typing import Final

from wayrule.web.page import Page
from wayrule.web.pages import layouts, report, track, work

PAGES: Final[tuple[Page, ...]] = (layouts.PAGE, track.PAGE, report.PAGE, work.PAGE)
