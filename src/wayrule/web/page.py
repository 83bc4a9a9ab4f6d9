"""What a page is: routes that read and routes that act, each a plain function from what was asked to a reply."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wayrule.model import Survey
from wayrule.web.jobs import Jobs
from wayrule.web.keys import Keys, Role


@dataclass(frozen=True, slots=True)
class Office:
    """What all pages share.

    root      the project folder; nothing outside it is read or written
    address   of this desk as another device writes it, "" while it is not shared
    kept      surveys of this session by folder, for exact answers between places
    """

    root: Path
    jobs: Jobs
    keys: Keys
    address: str = ""
    kept: dict[str, Survey] = field(default_factory=dict)

    def keep(self, folder: str, survey: Survey) -> None:
        """Keep a survey for exact answers; of several the last four, for each holds its whole covariance."""
        self.kept.pop(folder, None)
        self.kept[folder] = survey
        while len(self.kept) > 4:
            del self.kept[next(iter(self.kept))]


@dataclass(frozen=True, slots=True)
class Ask:
    """A request: the words in its path, of its query and of its form, and what its sender may do."""

    office: Office
    path: Mapping[str, str]
    query: Mapping[str, str]
    form: Mapping[str, str]
    role: Role


@dataclass(frozen=True, slots=True)
class Shown:
    """A page made from a template. `charts` allows what the charts need; see `guard.POLICY`."""

    template: str
    words: Mapping[str, Any]
    charts: bool = False


@dataclass(frozen=True, slots=True)
class Sent:
    """Bytes, to be saved under `name` where there is one. `alone` keeps a document from anything but its own text."""

    data: bytes
    media: str
    name: str = ""
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """Facts for a script of ours, as JSON."""

    content: Any


@dataclass(frozen=True, slots=True)
class Moved:
    """Go on at another page of this desk."""

    to: str


Reply = Shown | Sent | Told | Moved
View = Callable[[Ask], Reply]


@dataclass(frozen=True, slots=True)
class Page:
    """One file of `pages/`.

    name    of the page and of its table in `texts/en.toml`
    menu    path that the menu leads to; "" for a page that others lead to
    reads   path -> view, for everybody who may see this desk (GET)
    acts    path -> view, for paired devices (POST)
    """

    name: str
    reads: Mapping[str, View]
    acts: Mapping[str, View] = field(default_factory=dict)
    menu: str = ""
