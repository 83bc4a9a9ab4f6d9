"""Templates, texts and the files a browser needs: all out of installed packages, nothing from the network."""

import tomllib
from collections.abc import Callable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any, Final

from wayrule.report.page import house_templates
from wayrule.version import VERSION


def _file(package: str, name: str) -> Callable[[], bytes]:
    @cache
    def read() -> bytes:
        return files(package).joinpath(name).read_bytes()

    return read


STATIC: Final[Mapping[str, tuple[Callable[[], bytes], str]]] = {
    "sheet.css": (_file("wayrule.report", "templates/sheet.css"), "text/css"),
    "desk.css": (_file("wayrule.web", "static/desk.css"), "text/css"),
    "door.js": (_file("wayrule.web", "static/door.js"), "text/javascript"),
    "work.js": (_file("wayrule.web", "static/work.js"), "text/javascript"),
    "track.js": (_file("wayrule.web", "static/track.js"), "text/javascript"),
    "report.js": (_file("wayrule.web", "static/report.js"), "text/javascript"),
    "charts.js": (_file("bokeh", "server/static/js/bokeh.min.js"), "text/javascript"),
}
"""Name -> how its bytes are read, and what they are. Nothing else is served from a disk by name."""


@cache
def texts() -> dict[str, dict[str, str]]:
    """All words of all pages, a table for each; another language is another file of the same form."""
    read: dict[str, dict[str, str]] = tomllib.loads(_file("wayrule.web", "texts/en.toml")().decode())
    return read


def draw(template: str, page: str, words: Mapping[str, Any]) -> str:
    """A page: `t` are its own texts, `house` those of all pages."""
    own = texts()
    common = {"t": own[page], "house": own["house"], "texts": own, "version": VERSION, "here": page, "running": ()}
    return house_templates("wayrule.web").get_template(template).render(common | dict(words))
