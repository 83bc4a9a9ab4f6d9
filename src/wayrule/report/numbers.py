"""Numbers as a person reads them: as many digits as the uncertainty supports, with unit and a real minus sign.

The rule for the digits is that of the Particle Data Group (Review of Particle Physics, Introduction, section 5.3):
when the three leading digits of the sd lie between 100 and 354 it is given two digits, from 355 to 949 one, from 950
to 999 it is rounded up to 1000 and given two; the value gets the same last place. It stays within the two significant
digits at most of the GUM (JCGM 100:2008, 7.2.6).
"""

import math
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

from wayrule.units import INCH_MM

MINUS: Final = "−"
THIN: Final = "\N{NARROW NO-BREAK SPACE}"
NO_BREAK: Final = "\N{NO-BREAK SPACE}"
UNKNOWN: Final = "not known"
NO_BAR: Final = "no error bar"
DIGITS_WITHOUT_SD: Final = 3


def last_place(sd: float) -> int:
    """Power of ten of the last digit that an sd supports.

    Parameters
    ----------
    sd : float   standard deviation, finite and > 0

    Raises
    ------
    ValueError   for an sd that is zero, negative or not finite

    Examples
    --------
    >>> last_place(0.119), last_place(0.367), last_place(0.0962), last_place(1234.0)
    (-2, -1, -2, 2)
    """
    if not (math.isfinite(sd) and sd > 0):
        raise ValueError(f"last_place: expected a finite sd > 0, came {sd!r}")
    number = Decimal(repr(float(sd)))
    top = number.adjusted()
    three = int(number.scaleb(2 - top).quantize(Decimal(1), rounding=ROUND_HALF_EVEN))
    if three <= 354:
        return top - 1
    return top


def rounded(value: float, place: int) -> str:
    """`value` rounded to the power of ten `place`, written out without an exponent.

    >>> rounded(0.827, -2), rounded(-12345.6, 2), rounded(-0.001, -1)
    ('0.83', '−12\u202f300', '0.0')
    """
    if not math.isfinite(value):
        return UNKNOWN
    number = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(place), rounding=ROUND_HALF_EVEN)
    digits = f"{abs(number):.{max(0, -place)}f}"
    sign = MINUS if number < 0 else ""
    return sign + grouped(digits)


def grouped(digits: str) -> str:
    """Digits before the point in threes, from five digits on (ISO 80000-1: a thin space, never a comma).

    >>> grouped("1234.5"), grouped("1234567.8")
    ('1234.5', '1\u202f234\u202f567.8')
    """
    whole, point, rest = digits.partition(".")
    if len(whole) < 5:
        return digits
    head = len(whole) % 3 or 3
    return THIN.join([whole[:head], *(whole[i : i + 3] for i in range(head, len(whole), 3))]) + point + rest


def significant(value: float, digits: int = DIGITS_WITHOUT_SD) -> str:
    """`value` with a fixed count of significant digits, for numbers that carry no sd.

    >>> significant(0.012345), significant(98765.0), significant(0.0), significant(9.999)
    ('0.0123', '98\u202f800', '0', '10.0')
    """
    if not math.isfinite(value):
        return UNKNOWN
    if value == 0:
        return "0"
    place = Decimal(repr(float(value))).adjusted() - digits + 1
    number = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(place), rounding=ROUND_HALF_EVEN)
    return rounded(value, number.adjusted() - digits + 1)


def pair(value: float, sd: float) -> tuple[str, str]:
    """Value and sd as two strings with the same last place; the sd is "" when there is none (NaN) or it is zero.

    An sd so far above the value that it drowns it keeps its own place, and the value becomes 0.

    >>> pair(0.827, 0.367), pair(358.24, 1.93), pair(12.5, float("nan"))
    (('0.8', '0.4'), ('358.2', '1.9'), ('12.5', ''))
    """
    if not math.isfinite(value) or not math.isfinite(sd) or sd <= 0:
        return significant(value), ""
    place = last_place(sd)
    return rounded(value, place), rounded(sd, place)


def with_sd(value: float, sd: float, unit: str = "") -> str:
    """A value with its sd and unit, in one string.

    Parameters
    ----------
    value, sd : float   same unit; NaN value: not known; NaN or infinite sd: no error bar; sd 0: held fixed
    unit : str          written once, after both ("%" and "°" too)

    Examples
    --------
    >>> with_sd(10.05762, 0.027, "ohm").replace(chr(160), " ")
    '10.058 ± 0.027 ohm'
    >>> with_sd(-3.0, float("nan"), "mm").replace(chr(160), " ")
    '−3.00 mm (no error bar)'
    """
    tail = f"{NO_BREAK}{unit}" if unit else ""
    if not math.isfinite(value):
        return UNKNOWN
    if sd == 0:
        return f"{significant(value, 6)}{tail} (held fixed)"
    number, spread = pair(value, sd)
    if not spread:
        return f"{number}{tail} ({NO_BAR})"
    return f"{number}{NO_BREAK}±{NO_BREAK}{spread}{tail}"


def one_in(gradient: float) -> str:
    """A gradient as railwaymen say it: "1:38", or "level" where it is flatter than 1:2000.

    >>> one_in(0.0263), one_in(-0.01), one_in(1e-5), one_in(float("nan"))
    ('1:38', '1:100', 'level', 'not known')
    """
    if not math.isfinite(gradient):
        return UNKNOWN
    if abs(gradient) < 1 / 2000:
        return "level"
    n = 1 / abs(gradient)
    return f"1:{significant(n, 2) if n < 100 else significant(n, 3)}"


def duration(seconds: float) -> str:
    """A time span in the words of a clock: "8.4 s", "2 min 05 s", "1 h 03 min".

    >>> [duration(s).replace(chr(160), " ") for s in (8.44, 125.2, 3780)]
    ['8.4 s', '2 min 05 s', '1 h 03 min']
    """
    if not math.isfinite(seconds):
        return UNKNOWN
    if round(seconds, 1) < 60:
        return f"{seconds:.1f}{NO_BREAK}s"
    whole = round(seconds)
    if whole < 3600:
        return f"{whole // 60}{NO_BREAK}min{NO_BREAK}{whole % 60:02d}{NO_BREAK}s"
    minutes = round(seconds / 60)
    return f"{minutes // 60}{NO_BREAK}h{NO_BREAK}{minutes % 60:02d}{NO_BREAK}min"


def inches(length_mm: float) -> str:
    """A length in inches to a thousandth, the last digit of a workshop's caliper.

    >>> inches(3.0), inches(25.4)
    ('0.118 in', '1.000 in')
    """
    return f"{length_mm / INCH_MM:.3f} in"
