"""The error family: one line each, saying what was expected, what came, where, and the next step."""

from unicodedata import category


class WayruleError(Exception):
    """A fault in what we were given (not in the program).

    Faces end such an error with its one line and exit code 2; anything else is a defect and keeps its trace.

    Parameters
    ----------
    expected : str    what would have been right
    came : str        what was found instead
    where : str       file, line, key or run
    next_step : str   what the person can do about it

    Examples
    --------
    >>> print(WayruleError(expected="a time column t_s", came="columns a, b", where="run.csv line 1",
    ...                    next_step="name it in the [columns] table"))
    run.csv line 1: expected a time column t_s, came columns a, b; name it in the [columns] table
    """

    def __init__(self, *, expected: str, came: str, where: str, next_step: str) -> None:
        self.expected, self.came, self.where, self.next_step = expected, came, where, next_step
        super().__init__(_one_line(f"{where}: expected {expected}, came {came}; {next_step}"))


def _one_line(text: str) -> str:
    r"""What was typed may hold line ends and other controls: they are shown, not obeyed.

    >>> _one_line("--tape \n: expected three parts")
    '--tape \\n: expected three parts'
    """
    return "".join(c if category(c) not in ("Cc", "Zl", "Zp") else ascii(c)[1:-1] for c in text)


class RecordingError(WayruleError):
    """A recording that cannot be read or repaired."""


class WagonFileError(WayruleError):
    """A wagon file with a wrong, missing or clashing key."""


class UsageError(WayruleError):
    """A command or call whose words do not fit together."""


class UndeterminedError(WayruleError):
    """The data at hand cannot answer the question that was asked."""
