"""What a wagon shows without any computer: the numbers of its page, the words of its display."""


def now(wagon):
    """What the page shows."""
    return {
        "name": wagon.settings.get("name", "wagon"),
        "known": wagon.axle.known,
        "distance_mm": wagon.axle.distance_um() / 1000,
        "mm_s": wagon.speed.mm_s,
        "km_h": wagon.speed.km_h(),
        "mph": wagon.speed.mph(),
        "cell_mv": wagon.board.battery_mv(),
    }


def words(wagon):
    """What the display shows, line by line, 16 letters each."""
    if not wagon.axle.known:
        return ["roll the wheel", "three turns"]
    cell = wagon.board.battery_mv()
    empty = wagon.settings.get("battery", {}).get("empty_mv", 0)
    lines = [
        "{:.0f} km/h".format(wagon.speed.km_h()),
        "{:.0f} mph".format(wagon.speed.mph()),
        "{:.3f} m".format(wagon.axle.distance_um() / 1e6),
        "{:.0f} mm/s".format(wagon.speed.mm_s),
    ]
    if wagon.radio is not None:
        lines.append(wagon.radio.words[:16])
    return lines + (["charge the cell"] if cell and cell < empty else [])
