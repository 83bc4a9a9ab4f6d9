"""A folder written whole or not at all: made beside the old one, then swapped in."""

import os
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path, PurePosixPath
from typing import Final

from wayrule.errors import UsageError, WayruleError
from wayrule.store.files import sync_folder, write_bytes

SIGN: Final = "survey.json"
"""A folder with this file is one of ours and may be replaced by a newer survey."""

OURS: Final = frozenset(
    {
        "stations.csv", "elements.csv", "faults.csv", "findings.csv", "survey.json", "calibration.json",
        "report.html", "travel",
    }
)  # fmt: skip
"""What a survey writes; anything else in the folder was put there by a person, and is carried over."""


def write_folder(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write files into a folder so that it holds all of them or is as it was.

    Parameters
    ----------
    folder : Path   made, or one of ours that is replaced; files a person added to it stay
    files : name with "/" between folders -> bytes

    Returns
    -------
    list of Path   the files written

    Raises
    ------
    UsageError    when the folder is not empty and not ours: it is left alone
    WayruleError  when it cannot be written
    """
    target = folder.resolve()
    _refuse_foreign(target, folder)
    for name in files:
        pieces = PurePosixPath(name).parts
        if not pieces or name.startswith("/") or ".." in pieces or "\\" in name:
            raise ValueError(f"expected a file name inside the folder, came {name!r}")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent))
    except OSError as error:
        raise _not_written(folder, error) from None
    try:
        fresh.chmod(target.stat().st_mode & 0o777 if target.exists() else _folder_mode())
        for name, data in files.items():
            write_bytes(fresh / name, data)
        if target.exists():
            _carry_over(target, fresh)
        _swap(fresh, target)
    except OSError as error:
        raise _not_written(folder, error) from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return [folder / name for name in files]


def _refuse_foreign(target: Path, folder: Path) -> None:
    if target.exists() and not target.is_dir():
        raise UsageError(
            expected="a folder", came="a file", where=str(folder), next_step="name another folder for --out"
        )
    if target.is_dir() and any(target.iterdir()) and not (target / SIGN).is_file():
        raise UsageError(
            expected="an empty folder, or one that an earlier survey wrote",
            came=f"a folder without {SIGN}",
            where=str(folder),
            next_step="name a new folder for --out; nothing in this one was touched",
        )


def _carry_over(old: Path, fresh: Path) -> None:
    """Copy what a person put into the old folder; what the old survey wrote stays behind."""
    for entry in old.iterdir():
        if entry.name in OURS or (fresh / entry.name).exists():
            continue
        if entry.is_dir() and not entry.is_symlink():
            shutil.copytree(entry, fresh / entry.name, symlinks=True)
        else:
            shutil.copy2(entry, fresh / entry.name, follow_symlinks=False)


def _swap(fresh: Path, target: Path) -> None:
    """Put `fresh` in the place of `target`; if that fails half-way the old one is put back."""
    if not target.exists():
        fresh.replace(target)
    else:
        old = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".old", dir=target.parent))
        old.rmdir()
        target.replace(old)
        try:
            fresh.replace(target)
        except OSError:
            old.replace(target)
            raise
        shutil.rmtree(old, ignore_errors=True)
    sync_folder(target.parent)


def _folder_mode() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return 0o777 & ~mask


def _not_written(folder: Path, error: OSError) -> WayruleError:
    return WayruleError(
        expected="a folder that can be written",
        came=error.strerror or str(error),
        where=str(folder),
        next_step="choose another folder, close programs that hold its files, or change its permissions",
    )
