"""Ready-made measuring wagons of the (made-up) Heather Vale Light Railway, one of each kind and scale."""

from dataclasses import replace
from typing import Final

from wayrule.model import Bogie, FieldSensor, Imu, Magnets, Wagon, Wheel

HO_VAN: Final = Wagon(
    name="Heather Vale inspection van 7",
    scale="HO",
    ratio=87.0,
    gauge_mm=16.5,
    wheelbase_mm=65.0,
    wheel=Wheel(diameter_mm=10.50, diameter_sd_mm=0.04),
    magnets=Magnets("disc_pair", diameter_mm=4.0, thickness_mm=1.0, grade="N42", flat_radius_mm=0.7),
    sensor=FieldSensor(range_mt=40.0, bits=12, noise_mt=0.03, rate_hz=200.0, place_mm=(0.8, 1.2, 12.5)),
    imu=Imu(
        place_mm=(30.0, 1.5, 14.0), gyro_range_dps=250.0, acc_range_g=2.0, gyro_noise_dps_rthz=0.004,
        acc_noise_g_rthz=90e-6, gyro_scale_sd=0.01,
    ),
)  # fmt: skip

HO_COACH: Final = replace(
    HO_VAN,
    name="Heather Vale clerestory coach 2",
    wheelbase_mm=118.0,
    bogie=Bogie(pivots_mm=118.0, wheelbase_mm=29.0),
    imu=replace(HO_VAN.imu, place_mm=(59.0, -2.0, 17.0)),
)

N_VAN: Final = Wagon(
    name="Heather Vale goods brake 12 (N)",
    scale="N",
    ratio=160.0,
    gauge_mm=9.0,
    wheelbase_mm=38.0,
    wheel=Wheel(diameter_mm=5.60, diameter_sd_mm=0.03),
    magnets=Magnets("disc_pair", diameter_mm=2.0, thickness_mm=0.5, grade="N45", flat_radius_mm=0.4),
    sensor=FieldSensor(range_mt=20.0, bits=12, noise_mt=0.02, rate_hz=200.0, place_mm=(0.4, 0.5, 6.5)),
    imu=replace(HO_VAN.imu, place_mm=(19.0, 0.8, 9.0)),
)

N_COACH: Final = replace(
    N_VAN,
    name="Heather Vale saloon 4 (N)",
    wheelbase_mm=76.0,
    bogie=Bogie(pivots_mm=76.0, wheelbase_mm=16.0),
    imu=replace(N_VAN.imu, place_mm=(38.0, 0.5, 10.0)),
)

G_WAGON: Final = Wagon(
    name="Heather Vale permanent-way wagon 1 (G)",
    scale="G",
    ratio=22.5,
    gauge_mm=45.0,
    wheelbase_mm=160.0,
    wheel=Wheel(diameter_mm=31.0, diameter_sd_mm=0.10),
    magnets=Magnets("disc_pair", diameter_mm=8.0, thickness_mm=2.0, grade="N42", flat_radius_mm=2.0),
    sensor=FieldSensor(range_mt=40.0, bits=12, noise_mt=0.03, rate_hz=200.0, place_mm=(1.5, 3.0, 26.0)),
    imu=replace(HO_VAN.imu, place_mm=(75.0, 4.0, 38.0)),
)

G_COACH: Final = replace(
    G_WAGON,
    name="Heather Vale dining car 5 (G)",
    wheelbase_mm=300.0,
    bogie=Bogie(pivots_mm=300.0, wheelbase_mm=70.0),
    imu=replace(G_WAGON.imu, place_mm=(150.0, -5.0, 45.0)),
)

TWO_AXLE: Final[dict[str, Wagon]] = {"HO": HO_VAN, "N": N_VAN, "G": G_WAGON}
"""Scale -> the two-axle wagon."""

BOGIE: Final[dict[str, Wagon]] = {"HO": HO_COACH, "N": N_COACH, "G": G_COACH}
"""Scale -> the bogie wagon."""

FLANGE_PLAY_MM: Final[dict[float, float]] = {9.0: 0.20, 16.5: 0.22, 45.0: 0.85}
"""Gauge -> how far a wheelset can move to either side [mm]: half of track gauge less (back to back + two flanges), with
the middle of the ranges of NEM 310 for 9 and 16.5 mm, and its 1977 edition (as compared for IIm) for 45 mm."""


def flange_play_mm(gauge_mm: float) -> float:
    """Sideways play to either side, in proportion to the nearest gauge known [mm].

    >>> flange_play_mm(16.5)
    0.22
    """
    nearest = min(FLANGE_PLAY_MM, key=lambda g: abs(g - gauge_mm))
    return FLANGE_PLAY_MM[nearest] * gauge_mm / nearest
