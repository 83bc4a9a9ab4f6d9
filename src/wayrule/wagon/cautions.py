"""The cautions of each step of the work, with the numbers of this wagon's own magnets, cell and materials.

They do not replace local codes, the makers' instructions or a person who is trained or licensed for the work.
"""

from wayrule.errors import UndeterminedError
from wayrule.model import Caution, Step, Wagon
from wayrule.model.worksheet import STEPS
from wayrule.wagon.harm import ADVISED_MM, FLUX_LIMIT, Harm, harm

_EYES = Caution(
    "file",
    "Eyes",
    "Wear safety glasses. Filings and broken needle files fly; clamp the jig in a vice, never hold the axle in the "
    "hand.",
)
_ALWAYS: tuple[Caution, ...] = (
    Caution(
        "open",
        "Saw and knife",
        "Cut away from the hand that holds, in several light strokes, the body clamped or on a mat that does not slip; "
        "wear safety glasses. Wet-sand plastic and resin: their dust does not belong in lungs.",
    ),
    _EYES,
    Caution(
        "file",
        "Filings and magnets",
        "File before any magnet is on the bench. Steel filings creep onto magnets and into bearings and are sharp: "
        "wipe axle and jig, vacuum the bench, wash your hands, and only then unpack the magnets. Never blow "
        "filings away.",
    ),
    Caution(
        "magnets",
        "Snapping together",
        "Discs jump together from centimetres away, pinch skin and chip; the chips are sharp and magnetic. Wear safety "
        "glasses, slide them apart sideways, keep spares on steel a hand's width from each other, with spacers.",
    ),
    Caution(
        "magnets",
        "Do not drill, file, cut or heat them",
        "Sintered magnets shatter, their dust can catch fire, and above the grade's temperature (80 °C without a "
        "suffix) they stay weak for good. Keep soldering iron and hot glue away.",
        "suppliers' tables",
    ),
    Caution(
        "magnets",
        "Cards, phones, watches",
        "Keep bank cards, keys with chips, phones, mechanical watches and hard disks 150 mm away.",
        "common practice, no source",
    ),
    Caution(
        "glue",
        "Epoxy and cyanoacrylate",
        "Gloves and fresh air: uncured epoxy makes skin allergic, and that stays. Cyanoacrylate glues fingers and "
        "eyes in a second: glasses on; on skin use warm soapy water, and never pull.",
    ),
    Caution(
        "solder",
        "Heat, fumes, lead",
        "Iron in its stand, fumes drawn away from the face, glasses on (hot solder spits). Solder with lead: wash your "
        "hands before you eat. Take the cell off before you solder on the board.",
    ),
    Caution(
        "run",
        "Moving wheels and mains",
        "Keep fingers, hair and sleeves away from the wheel while it turns on a test bench. Track power comes only "
        "from a supply that is approved for it; leave anything that is joined to the mains to a licensed "
        "electrician.",
    ),
)


def cautions(wagon: Wagon) -> tuple[Caution, ...]:
    """All cautions, in the order of the work; those on magnets carry this wagon's numbers.

    >>> from wayrule.model import Magnets, Wheel
    >>> discs = Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, flat_radius_mm=0.7, grade="N42")
    >>> van = Wagon("van", "HO", 87.0, 16.5, 65.0, Wheel(10.5), magnets=discs)
    >>> [c.title for c in cautions(van) if c.step == "buy"]
    ['Swallowed magnets', 'Pacemakers and other implants']
    """
    found = [*_ALWAYS, *_magnet_cautions(wagon), *_lead(wagon), *_cell(wagon)]
    order = list(STEPS)
    return tuple(sorted(found, key=lambda c: order.index(c.step)))


def at_step(wagon: Wagon, step: Step) -> tuple[Caution, ...]:
    """The cautions of one step, to be shown where that step is shown."""
    return tuple(c for c in cautions(wagon) if c.step == step)


def _magnet_cautions(wagon: Wagon) -> tuple[Caution, ...]:
    if wagon.magnets is None:
        return ()
    try:
        found = harm(wagon.magnets)
    except UndeterminedError:
        return _without_sizes()
    return (_swallowing(found), _implants(found), _keep(found))


def _without_sizes() -> tuple[Caution, ...]:
    """What is said when the file does not give the magnets' size: the worst is taken."""
    return (
        Caution(
            "buy",
            "Swallowed magnets",
            "Two magnets pull together through the gut and kill: keep them from children and animals. Their size "
            "is not stated, so no flux index can be reckoned: take them to be dangerous. If one may be swallowed: "
            "hospital at once.",
        ),
        Caution(
            "run",
            "Pacemakers and other implants",
            f"The magnets' size is not stated, so no distance can be reckoned: whoever has an implant keeps "
            f"{ADVISED_MM:g} mm (6 in) or more away, and asks their doctor.",
            "patients' organisations",
        ),
    )


def _swallowing(found: Harm) -> Caution:
    where = "over" if found.over_limit else "below"
    rest = (
        "" if found.over_limit else " Two together are stronger than one: being below the limit does not make it safe."
    )
    return Caution(
        "buy",
        "Swallowed magnets",
        "Two magnets pull together through the gut and kill: keep them from children and animals, count them "
        f"before and after work. One of yours has a flux index of about {found.flux_index:.0f} kG²mm² (reckoned "
        f"from {found.surface_mt:.0f} mT at its pole), {where} the limit of {FLUX_LIMIT:g} for loose small magnets "
        f"in toys.{rest} If one may have been swallowed: hospital at once, even without pain.",
        "EN 71-1:2005+A8:2009 4.23.2; 16 CFR 1262",
    )


def _implants(found: Harm) -> Caution:
    near, far = found.reach_1_mt_mm, found.reach_0_5_mt_mm
    return Caution(
        "buy",
        "Pacemakers and other implants",
        f"The field of this axle falls to 1 mT at {near:.0f} mm and to 0.5 mT at {far:.0f} mm from its centre; loose "
        f"magnets in a stack reach as far. Whoever has an implant keeps {max(ADVISED_MM, 2 * far):.0f} mm "
        f"({max(ADVISED_MM, 2 * far) / 25.4:.0f} in) or more away, lets others do this work, and asks their doctor.",
        "1 mT: device literature; 0.5 mT: PMID 18334784; 150 mm: patients' organisations",
    )


def _keep(found: Harm) -> Caution:
    return Caution(
        "keep",
        "Put away",
        f"In its box, out of children's reach, {max(ADVISED_MM, 2 * found.reach_0_5_mt_mm):.0f} mm from cards and "
        "phones, the box marked: contains small strong magnets. Check the glued discs before each session: a loose "
        "disc is a loose magnet.",
    )


def _lead(wagon: Wagon) -> tuple[Caution, ...]:
    words = f"{wagon.body.ballast_material or ''} {' '.join(p.name for p in wagon.parts)}".lower()
    known = wagon.body.ballast_material is not None and "lead" not in words
    if known:
        return ()
    start = "The ballast is lead" if "lead" in words else "The ballast may be lead"
    return (
        Caution(
            "open",
            "Lead",
            f"{start}: gloves, no filing or sanding of it, wash your hands before you eat, and take what comes out "
            "to a collecting point. To the field it is harmless: lead does not shield.",
        ),
    )


def _cell(wagon: Wagon) -> tuple[Caution, ...]:
    kind = wagon.cell.kind
    if kind in ("nimh", "alkaline"):
        return (
            Caution(
                "cell",
                "Shorts and leaks",
                "Insulate the terminals: even this cell melts thin wire when shorted. Take it out when the wagon "
                "rests for long; charge only what is made to be charged.",
            ),
        )
    if kind == "lithium_coin":
        return (
            Caution(
                "cell",
                "Coin cells",
                "A swallowed lithium coin cell burns through the gullet within two hours: screw its cover down, "
                "hospital at once if one may be swallowed. Never try to charge it.",
                "two hours: health authorities' warnings, from memory",
            ),
        )
    start = "" if kind is not None else "If it is a lithium cell: "
    return (
        Caution(
            "cell",
            "Lithium cell",
            f"{start}Charge with a charger made for it, at most 4.2 V a cell, between 0 and 45 °C, never alone and "
            "never in the wagon; use it between -20 and 60 °C. Buy one with a protection circuit (IEC 62133-2). Do "
            "not crush, pierce, bend or short it; no screw or sharp edge may press on it. A swollen or dented cell "
            "goes outdoors and to a collecting point. If it burns: out, call the fire brigade.",
            "suppliers' cautions; IEC 62133-2",
        ),
    )
