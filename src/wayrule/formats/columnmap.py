"""The `[columns]` table: how a foreign log names its columns, and how it is written."""

from collections.abc import Mapping

from wayrule.errors import WagonFileError
from wayrule.model import ColumnMap

SEPARATOR_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "\\t": "\t", "space": " ", "spaces": " "}


def column_map(table: Mapping[str, str | float], name: str = "wagon file") -> ColumnMap:
    """Check a `[columns]` table.

    >>> column_map({"gz_dps": "-Gyro Z", "separator": "semicolon", "decimal": ","})
    ColumnMap(names=(('gz_dps', '-Gyro Z'),), separator=';', decimal_comma=True, comment=None, rate_hz=None)

    Raises
    ------
    WagonFileError   naming every wrong line
    """
    rest = dict(table)
    words = {key: rest.pop(key, None) for key in ("separator", "decimal", "comment", "rate_hz")}
    wrong: list[str] = []
    separator = words["separator"]
    if isinstance(separator, str):
        separator = SEPARATOR_WORDS.get(separator.strip().lower() or " ", separator)
    if separator not in (None, ",", ";", "\t", " "):
        wrong.append(f"separator = {words['separator']!r} (allowed: comma, semicolon, tab, space)")
    decimal = words["decimal"]
    if decimal not in (None, ",", "."):
        wrong.append(f'decimal = {decimal!r} (allowed: "," or ".")')
    if words["comment"] is not None and (not isinstance(words["comment"], str) or not words["comment"]):
        wrong.append(f"comment = {words['comment']!r} (allowed: the text a comment line begins with)")
    rate = words["rate_hz"]
    if rate is not None and not (isinstance(rate, (int, float)) and 0 < rate < 1e6):
        wrong.append(f"rate_hz = {rate!r} (allowed: a number above 0)")
    wrong += [
        f"{key} = {value!r} (allowed: the log's column name in quotes)"
        for key, value in rest.items()
        if not isinstance(value, str) or not value.strip().lstrip("-").strip()
    ]
    if wrong:
        raise WagonFileError(
            expected='[columns] lines such as gz_dps = "Gyro Z"',
            came="; ".join(wrong),
            where=f"{name}: columns",
            next_step="correct the lines named",
        )
    return ColumnMap(
        names=tuple((key, str(value)) for key, value in rest.items()),
        separator=str(separator) if separator is not None else None,
        decimal_comma=None if decimal is None else decimal == ",",
        comment=str(words["comment"]) if words["comment"] is not None else None,
        rate_hz=float(rate) if isinstance(rate, (int, float)) else None,
    )
