"""Scales by name: ratio and gauge of their usual track, and the many ways their names are written.

The rows are facts of the standards named beside them (NEM 010, edition 2011, table 1 and section 3.4; NMRA RP-4). Rows
marked "from memory" have no source at hand.
"""

import difflib
import re
from dataclasses import dataclass

from wayrule.errors import WagonFileError


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale of the trade.

    ratio      prototype over model
    gauge_mm   of the track it usually runs on [mm]
    aliases    other spellings, in lower case without spaces
    """

    name: str
    ratio: float
    gauge_mm: float
    source: str
    aliases: tuple[str, ...] = ()

    @property
    def prototype_gauge_mm(self) -> float:
        """The gauge its usual track stands for, full size [mm]."""
        return self.gauge_mm * self.ratio


SCALES = (
    Scale("Z", 220, 6.5, "NEM 010:2011 table 1"),
    Scale("N", 160, 9, "NEM 010:2011 table 1; NMRA RP-4"),
    Scale("N (Japanese)", 150, 9, "from memory", ("njapanese", "njp")),
    Scale(
        "N (British)", 148, 9, "2 1/16 mm to the foot, usually written 1:148", ("nbritish", "britishn", "ngb", "nuk")
    ),
    Scale("TT", 120, 12, "NEM 010:2011 table 1; NMRA RP-4", ("tt120",)),
    Scale("TT (3 mm)", 101.6, 12, "3 mm to the foot, from memory", ("tt3mm", "3mm", "ttbritish", "britishtt")),
    Scale("HO", 87, 16.5, "NEM 010:2011 table 1; NMRA 3.5 mm to the foot is 1:87.0857", ("h0",)),
    Scale("OO", 76.2, 16.5, "NEM 010:2011 section 3.4, 4 mm to the foot", ("00", "o0", "0o", "4mm")),
    Scale("S", 64, 22.5, "NEM 010:2011; NMRA RP-4"),
    Scale("O", 45, 32, "NEM 010:2011 table 1", ("0",)),
    Scale(
        "O (British)", 43.5, 32, "NEM 010:2011 section 3.4, 7 mm to the foot", ("obritish", "britisho", "ouk", "7mm")
    ),
    Scale("O (US)", 48, 32, "NMRA RP-4 Proto 48, 1/4 in to the foot", ("ous", "oamerican", "o48")),
    Scale("I", 32, 45, "NEM 010:2011; NMRA RP-4 Proto 32", ("1", "gauge1")),
    Scale("IIm", 22.5, 45, "NEM 010:2011, II narrow gauge m", ("g", "2m", "iim")),
    Scale("II", 22.5, 64, "NEM 010:2011 table 1", ("2",)),
    Scale("Fn3", 20.32, 45, "15 mm to the foot on 45 mm track", ("f",)),
)

NARROW = re.compile(r"(.+?)(m|e|i|p|n\d+)")
"""Narrow gauge is written as a letter or n and feet behind the scale: HOe, HOm, HOn3, On30 (letters from memory)."""


def _plain(text: str) -> str:
    return re.sub(r"[^a-z0-9]", "", text.lower().replace("1:", "").replace("scale", "").replace("spur", ""))


_BY_WORD = {word: s for s in SCALES for word in (*s.aliases, _plain(s.name))}


def find_scale(text: str) -> tuple[str, float]:
    """Name and ratio of a scale however it is written.

    >>> find_scale("H0"), find_scale("g"), find_scale("0"), find_scale("n ")
    (('HO', 87.0), ('IIm', 22.5), ('O', 45.0), ('N', 160.0))
    >>> find_scale("1:76.2"), find_scale("H0e")
    (('OO', 76.2), ('HOe', 87.0))

    Raises
    ------
    WagonFileError   for a name that is in no table, with the nearest known one
    """
    ratio = re.fullmatch(r"\s*1\s*[:/]\s*(\d+(?:[.,]\d+)?)\s*", text)
    if ratio:
        value = float(ratio[1].replace(",", "."))
        if value > 0:
            return name_of_ratio(value), value
    word = _plain(text)
    if word in _BY_WORD:
        return _BY_WORD[word].name, float(_BY_WORD[word].ratio)
    narrow = NARROW.fullmatch(word)
    if narrow and narrow[1] in _BY_WORD:
        return _BY_WORD[narrow[1]].name + narrow[2], float(_BY_WORD[narrow[1]].ratio)
    near = difflib.get_close_matches(word, list(_BY_WORD), n=1, cutoff=0.5)
    known = ", ".join(s.name for s in SCALES)
    hint = f"did you mean {_BY_WORD[near[0]].name}? " if near else ""
    raise WagonFileError(
        expected=f"a scale ({known})", came=repr(text), where="scale", next_step=f"{hint}ratio = 87 alone is enough"
    )


def name_of_ratio(ratio: float, gauge_mm: float | None = None) -> str:
    """The scale with this ratio (to 1 %), the one whose track is nearest to the gauge first; "1:N" where none fits.

    >>> name_of_ratio(87), name_of_ratio(22.5, 64), name_of_ratio(12)
    ('HO', 'II', '1:12')
    """
    fits = [s for s in SCALES if abs(s.ratio / ratio - 1) <= 0.01]
    if not fits:
        return f"1:{ratio:g}"
    return min(fits, key=lambda s: (abs(s.gauge_mm - (gauge_mm or s.gauge_mm)), abs(s.ratio - ratio))).name


def known_ratios(name: str) -> tuple[float, ...]:
    """All ratios under which a scale's letter is used: O is 43.5, 45 and 48.

    >>> known_ratios("O")
    (45, 43.5, 48)
    """
    letter = name.split(" ")[0]
    return tuple(s.ratio for s in SCALES if s.name.split(" ")[0] == letter)
