"""A recording in progress, in words: sentences and a table for whichever face shows them."""

from wayrule.desk.nowwords import length, now_content, now_table
from wayrule.live.status import RecorderStatus, WagonStatus, WriterStatus
from wayrule.model.now import Now
from wayrule.report.numbers import duration, significant
from wayrule.report.tables import Table

SLOW_S = 0.3
"""Longer from receipt to disk than the 0.2 s that are promised, and by more than a hiccup."""

PLENTY_S = 30 * 86_400.0
"""Room for a month at this rate needs no telling how long exactly."""


def size(count: float) -> str:
    """Bytes for a person, decimal as disks are sold.

    >>> size(512), size(81_364_635_648), size(1_082_797)
    ('512 B', '81.4 GB', '1.08 MB')
    """
    for factor, unit in ((1e9, "GB"), (1e6, "MB"), (1e3, "kB")):
        if count >= factor:
            return f"{significant(count / factor)} {unit}"
    return f"{count:.0f} B"


def writer_sentences(writer: WriterStatus, running_s: float) -> tuple[str, ...]:
    """Where it goes, how much, how safe, how long there is room."""
    name = writer.files[0].name if writer.files else "nothing"
    more = f" and {len(writer.files) - 1} more" if len(writer.files) > 1 else ""
    room = f"{size(writer.free)} free{_room(writer, running_s)}"
    safe = f"; on the disk after {writer.longest_s:.2f} s at most" if writer.longest_s else ""
    lines = [f"{name}{more}: {duration(running_s)}, {size(writer.written)} written, {room}{safe}."]
    if writer.longest_s > SLOW_S:
        lines.append(
            f"The disk is slow: one flush took {writer.slowest_s:.2f} s; a power cut now may cost that much more."
        )
    if writer.state == "full":
        lines.append(
            f"NOT WRITING: {writer.why}. What was written is safe; what comes is kept in memory "
            f"({size(writer.waiting)}). Make room, and it goes on."
        )
    elif writer.state == "failing":
        lines.append(
            f"NOT WRITING: {writer.why}. A new file is tried again and again; what comes is kept in memory "
            f"({size(writer.waiting)})."
        )
    elif writer.waiting and writer.state == "ended":
        lines.append(f"{size(writer.waiting)} could not be written.")
    if writer.dropped:
        lines.append(f"{size(writer.dropped)} came while memory was full, and are lost.")
    return tuple(lines)


def _room(writer: WriterStatus, running_s: float) -> str:
    if writer.written <= 0 or running_s < 5.0:
        return ""
    left_s = writer.free / (writer.written / running_s)
    return "" if left_s > PLENTY_S else f" (about {duration(left_s)})"


def status_sentences(status: RecorderStatus) -> tuple[str, ...]:
    """The recording as a whole: the log, links that are not up, marks, defects."""
    lines = list(writer_sentences(status.writer, status.running_s))
    for link in status.links:
        if link.ended:
            lines.append(f"{link.spelling} has ended: {link.why}.")
        elif not link.up:
            lines.append(f"{link.spelling}: {link.why + '; tried again' if link.why else 'nothing heard yet'}.")
    if status.marks:
        lines.append(f"Marks: {', '.join(status.marks)}.")
    lines += [f"DEFECT ({text}); the log goes on." for text in status.defects]
    return tuple(lines)


def wagon_table(status: RecorderStatus) -> Table:
    """One row for each wagon heard."""
    heads = ("Wagon", "Link", "State", "Rate", "Samples", "Loss", "Distance", "Health")
    said = dict(status.said)
    rows = tuple(_row(wagon, said.get(wagon.key)) for wagon in status.wagons)
    kinds = (False, False, False, True, True, True, True, False)
    return Table("wagons", "Wagons heard.", heads, kinds, rows, empty="No wagon was heard.")


def said_table(status: RecorderStatus) -> Table:
    """What the wagons that are followed say."""
    return now_table(status.said, {wagon.key: wagon.name for wagon in status.wagons})


def _row(wagon: WagonStatus, now: Now | None) -> tuple[str, ...]:
    link = wagon.link if wagon.peer in wagon.link else f"{wagon.link} {wagon.peer}"
    loss = f"{100 * wagon.loss:.2g} %" if wagon.loss else "0"
    return (
        wagon.name or wagon.key, link, wagon.presence, f"{wagon.rate_hz:.0f} Hz", str(wagon.samples), loss,
        way_words(wagon, now), health_words(wagon, now),
    )  # fmt: skip


def way_words(wagon: WagonStatus, now: Now | None = None) -> str:
    """How far where the wagon is followed, else about how far, or turns of its wheel; a dash where none is known."""
    if now is not None and not now.learning:
        return length(now.distance_mm)
    if wagon.distance_mm is not None:
        return f"about {wagon.distance_mm / 1e3:.2f} m"
    return "-" if wagon.turns is None else f"about {wagon.turns:.0f} turns"


def health_words(wagon: WagonStatus, now: Now | None = None) -> str:
    """What a person should know of the wagon's well-being, and of what is on its way."""
    parts = []
    if wagon.battery_mv is not None:
        percent = f" ({wagon.battery_pct} %)" if wagon.battery_pct is not None else ""
        parts.append(f"cell {wagon.battery_mv / 1e3:.2f} V{percent}")
    if wagon.radio_dbm is not None:
        parts.append(f"radio {wagon.radio_dbm} dBm")
    counted = (
        (wagon.restarts, "restarted", "times"), (wagon.awaited, "awaited", "samples"), (wagon.lost, "lost", "samples"),
        (wagon.missed, "not taken in time", "samples"), (wagon.damage, "garbled", "pieces"),
    )  # fmt: skip
    parts += [f"{word}: {count} {unit if count > 1 else unit[:-1]}" for count, word, unit in counted if count]
    if now is not None and now.light in ("amber", "red"):
        parts.append(f"{now.light}: {', '.join(trouble.split(':')[0] for trouble in now.troubles)}")
    return ", ".join(parts) or "good"


def status_content(status: RecorderStatus) -> dict[str, object]:
    """The same for a machine."""
    writer = status.writer
    return {
        "files": [str(path) for path in writer.files],
        "state": writer.state,
        "why": writer.why,
        "running_s": status.running_s,
        "written_bytes": writer.written,
        "waiting_bytes": writer.waiting,
        "dropped_bytes": writer.dropped,
        "free_bytes": writer.free,
        "longest_until_flushed_s": writer.longest_s,
        "slowest_flush_s": writer.slowest_s,
        "links": status.links,
        "wagons": [{**_plain(wagon), "loss": wagon.loss} for wagon in status.wagons],
        "marks": status.marks,
        "defects": status.defects,
        "now": {key: now_content(now) for key, now in status.said},
    }


def _plain(wagon: WagonStatus) -> dict[str, object]:
    return {name: getattr(wagon, name) for name in WagonStatus.__dataclass_fields__}
