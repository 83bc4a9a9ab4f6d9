"""Files: read whole, with one clear line when that fails; written whole or not at all; digests."""

import difflib
import hashlib
import os
import tempfile
from pathlib import Path

from wayrule.errors import WayruleError
from wayrule.formats.rawlog import segment_number


def read_bytes(path: Path) -> bytes:
    """All bytes of a file.

    Raises
    ------
    WayruleError   not found (with the nearest name beside it), a folder, or not readable
    """
    try:
        return path.read_bytes()
    except FileNotFoundError:
        raise _not_found(path) from None
    except NotADirectoryError:
        raise _not_found(path) from None
    except IsADirectoryError:
        raise _is_folder(path) from None
    except PermissionError:
        if path.is_dir():  # what Windows answers for a folder
            raise _is_folder(path) from None
        raise WayruleError(
            expected="a file that may be read",
            came="no permission",
            where=str(path),
            next_step="change its permissions",
        ) from None
    except (OSError, ValueError) as error:
        raise WayruleError(
            expected="a readable file", came=_reason(error), where=str(path), next_step="check the path and the disk"
        ) from None


def read_segments(path: Path) -> list[tuple[str, bytes]]:
    """A recording's raw log and the later segments beside it: (name, bytes), in the order of their numbers.

    Raises
    ------
    WayruleError   as `read_bytes`
    """
    data = read_bytes(path)
    try:
        names = [entry.name for entry in path.parent.iterdir()]
    except OSError:
        names = []
    later = sorted((number, name) for name in names if (number := segment_number(name, path.name) or 0) > 1)
    return [(path.name, data), *((name, read_bytes(path.with_name(name))) for _, name in later)]


def sha256(data: bytes) -> str:
    """Digest of a file's bytes, in hex.

    >>> sha256(b"abc")  # FIPS 180-4, the standard's example
    'ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad'
    """
    return hashlib.sha256(data).hexdigest()


def write_bytes(path: Path, data: bytes) -> Path:
    """Write a file whole or not at all; its folder is made. A reader sees the old file or the new one, never a part.

    Returns
    -------
    Path   the file

    Raises
    ------
    WayruleError   when it cannot be written; what stood there before stays
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_dir():
            raise _is_folder(path)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            part.chmod(_usual_mode(path))
            part.replace(path)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
    except (OSError, ValueError) as error:
        raise _not_written(path, error) from None
    sync_folder(path.parent)
    return path


def write_text(path: Path, text: str) -> Path:
    """The same for text, as UTF-8 with its line ends as they are."""
    return write_bytes(path, text.encode())


def sync_folder(folder: Path) -> None:
    """Make a rename in the folder last through a power cut, where the system can (Windows cannot and need not)."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:
        pass  # some network disks refuse; the file itself is synced
    finally:
        os.close(handle)


def _usual_mode(path: Path) -> int:
    """The mode of the file that is replaced, else what the user's umask gives (temporary files are private)."""
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _reason(error: Exception) -> str:
    return (getattr(error, "strerror", None) or str(error) or type(error).__name__).splitlines()[0]


def _not_found(path: Path) -> WayruleError:
    folder = path.parent
    while not folder.is_dir() and folder != folder.parent:
        folder = folder.parent
    if folder != path.parent:
        missing = path.relative_to(folder).parts[0]
        return WayruleError(
            expected="a file", came="nothing there", where=str(path), next_step=f"{folder} has no {missing}"
        )
    try:
        names = sorted(entry.name for entry in folder.iterdir())
    except OSError:
        names = []
    lower = {name.lower(): name for name in reversed(names)}
    near = difflib.get_close_matches(path.name.lower(), list(lower), n=1, cutoff=0.6)
    step = f"did you mean {folder / lower[near[0]]}?" if near else "check the path"
    return WayruleError(expected="a file", came="nothing there", where=str(path), next_step=step)


def _is_folder(path: Path) -> WayruleError:
    return WayruleError(expected="a file", came="a folder", where=str(path), next_step="name the file in it")


def _not_written(path: Path, error: Exception) -> WayruleError:
    return WayruleError(
        expected="a place that can be written",
        came=_reason(error),
        where=str(path),
        next_step="choose another folder, or change its permissions",
    )
