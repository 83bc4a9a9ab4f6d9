"""A project folder: what lies in it, and that nothing outside of it is reached."""

import re
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Final, Literal

from wayrule.errors import UsageError
from wayrule.store.files import read_bytes

Kind = Literal["wagon", "recording", "survey", "calibration"]

DEEPEST: Final = 3
MOST_LOOKED_AT: Final = 5000
"""How deep and how far a folder is looked through: a project is small, a home folder is not."""

_FORBIDDEN: Final = frozenset('\\:*?"<>|')


@dataclass(frozen=True, slots=True)
class Held:
    """A thing in a project: what it is, and where, from the project folder on with forward slashes."""

    kind: Kind
    path: str


def within(root: Path, asked: str) -> Path:
    """A path below a folder from words that came from outside.

    Parameters
    ----------
    asked : plain names with forward slashes between them; "" is the folder itself

    Raises
    ------
    UsageError   for anything that leads out of the folder or might on another system: .., absolute paths, drives,
        hidden names, links that point elsewhere
    """
    parts = PurePosixPath(asked).parts if asked else ()
    plain = asked == "/".join(parts) and all(_plain(part) for part in parts)
    path = root.joinpath(*parts) if plain else root
    try:
        inside = plain and path.resolve().is_relative_to(root.resolve())
    except (OSError, RuntimeError, ValueError):
        inside = False
    if not inside:
        raise UsageError(
            expected="a place in the project folder",
            came=repr(asked[:100]),
            where="the address",
            next_step="choose it on the page Layouts",
        )
    return path


def _plain(part: str) -> bool:
    return (
        not part.startswith(".")
        and not part.endswith((".", " "))
        and not _FORBIDDEN & set(part)
        and all(ord(c) >= 32 and ord(c) != 127 for c in part)
        and len(part.encode("utf-8", "surrogatepass")) <= 255
        and not any("\ud800" <= c <= "\udfff" for c in part)
    )


def held(root: Path) -> list[Held]:
    """Wagons, recordings, surveys and calibrations in a folder, by path; links are not followed."""
    found: list[Held] = []
    waiting, looked = [(root, 0)], 0
    while waiting and looked < MOST_LOOKED_AT:
        folder, depth = waiting.pop()
        try:
            entries = sorted(folder.iterdir())
        except OSError:
            continue
        for entry in entries:
            looked += 1
            if entry.is_symlink() or not _plain(entry.name):
                continue
            if entry.is_dir():
                if (entry / "survey.json").is_file():
                    found.append(Held("survey", entry.relative_to(root).as_posix()))
                elif depth < DEEPEST:
                    waiting.append((entry, depth + 1))
            elif kind := _kind(entry):
                found.append(Held(kind, entry.relative_to(root).as_posix()))
    return sorted(found, key=lambda h: h.path)


def _kind(path: Path) -> Kind | None:
    name = path.name.lower()
    if name.endswith(".wagon.toml"):
        return "wagon"
    if name.endswith("calibration.json"):
        return "calibration"
    if name.endswith(".waylog"):
        return None if re.search(r"\.[1-9]\d*\.waylog$", name) else "recording"  # later segments belong to the first
    return "recording" if name.endswith((".csv", ".tsv", ".txt")) and _has_time(path) else None


def _has_time(path: Path) -> bool:
    """Whether a table's first line names a column of time, as recordings do."""
    try:
        with path.open("rb") as file:
            line = file.readline(4096).decode("utf-8", "replace").lower()
    except OSError:
        return False
    words = line.replace("\t", ",").replace(";", ",").replace('"', "").lstrip("\ufeff").split(",")
    return "t_s" in (word.strip() for word in words)


def files_in(folder: Path) -> dict[str, bytes]:
    """All files of a folder and its folders by their path from it, hidden ones and links left out."""
    files: dict[str, bytes] = {}
    waiting = [folder]
    while waiting:
        for entry in sorted(waiting.pop().iterdir()):
            if entry.is_symlink() or not _plain(entry.name):
                continue
            if entry.is_dir():
                waiting.append(entry)
            elif entry.is_file():
                files[entry.relative_to(folder).as_posix()] = read_bytes(entry)
    return dict(sorted(files.items()))
