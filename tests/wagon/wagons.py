"""Fitted-out wagons of the Heather Vale Light Railway for tests: one with all keys in each of three scales."""

from dataclasses import replace

from wayrule.model import Axle, Board, Body, Cell, Clearance, FloorLayer, Magnets, Part, Wagon
from wayrule.sim.wagons import G_COACH, G_WAGON, HO_VAN, N_VAN

HO = replace(
    HO_VAN,
    floor=(
        FloorLayer("plastic", 1.2, 3.2),
        FloorLayer("steel", 0.8, 4.4, length_mm=60.0, width_mm=14.0, centre_mm=(36.0, 0.0)),
    ),
    axle=Axle(2.0, 24.5, "free-cutting steel", play_mm=(0.05, 0.2, 0.05)),
    body=Body(98.0, 30.0, 42.0, 110.0, None, (92.0, 26.0, 24.0), 62.0, 24.0, "steel", 12.0),
    board=Board((42.0, 18.0, 5.0), (14.0, 0.0, 16.4), 1.35, 4.5, 32.0, 3.3),
    cell=Cell("lithium_polymer", (30.0, 16.0, 5.0), (54.0, 0.0, 16.4), 5.2, 180.0, 3.7),
    clearance=Clearance(0.5, -0.2, -2.1, 4.2, 14.4),
    parts=(Part("dome", (8.0, 8.0, 5.0), (32.5, 0.0, 37.0)),),
)

N = replace(
    N_VAN,
    floor=(
        FloorLayer("plastic", 0.8, 2.0),
        FloorLayer("steel", 0.5, 2.8, length_mm=30.0, width_mm=8.0, centre_mm=(16.0, 0.0)),
    ),
    axle=Axle(1.2, 14.6, "steel"),
    body=Body(58.0, 17.0, 23.0, 66.0, None, (54.0, 14.0, 13.0), 18.0, 7.0, "steel"),
    board=Board((24.0, 12.0, 3.5), (8.0, 0.0, 8.6), 0.7, 1.6, 14.0, 3.0),
    cell=Cell("lithium_polymer", (20.0, 11.0, 3.0), (30.0, 0.0, 8.6), 1.4, 40.0, 3.7),
)

G = replace(
    G_WAGON,
    magnets=Magnets("disc_pair", diameter_mm=12.0, thickness_mm=3.0, grade="N42", flat_radius_mm=2.4),
    floor=(FloorLayer("plastic", 3.0, 14.0),),
    axle=Axle(6.0, 72.0, "steel"),
    body=Body(260.0, 95.0, 150.0, 300.0, None, (250.0, 88.0, 90.0), 850.0, 300.0, "lead"),
    board=Board((60.0, 30.0, 9.0), (10.0, 0.0, 38.5), 3.0, 14.0, 60.0, 3.3),
    cell=Cell("lithium_ion", (66.0, 19.0, 19.0), (90.0, 0.0, 33.0), 46.0, 2600.0, 3.6, 0.8, 0.9),
)

G_LONG = replace(
    G_COACH,
    floor=(FloorLayer("plastic", 3.0, 14.0),),
    axle=Axle(5.0, 70.0, "steel"),
    body=Body(480.0, 100.0, 175.0, 520.0, None, (470.0, 92.0, 100.0), 1500.0, 0.0, "none"),
    board=Board((60.0, 30.0, 9.0), (-25.0, 0.0, 38.5), 3.0, 14.0, 60.0, 3.3),
)

ALL: dict[str, Wagon] = {"HO": HO, "N": N, "G": G, "G coach": G_LONG}
