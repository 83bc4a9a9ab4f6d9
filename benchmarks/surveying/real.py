"""Recordings that none of us made, through the survey with only what a user would know, each check with its control."""

from collections.abc import Iterator

from benchmarks.row import Row, guarded
from benchmarks.surveying.atrest import rest_rows
from benchmarks.surveying.car import car_rows
from benchmarks.surveying.opendata import ABSENT, DATA
from benchmarks.surveying.robot import disordered_row, robot_rows, scale_rows, weak_gyro_row

PARTS = (
    ("car, 1 km: its figures", car_rows),
    ("robot, 359 m: its figures", robot_rows),
    ("robot, gyro a tenth too small: plan rms", weak_gyro_row),
    ("robot, scale asked from the end point alone", scale_rows),
    ("log with disordered time: its backward steps", disordered_row),
    ("rail vehicle at rest: its figures", rest_rows),
)


def real_rows() -> Iterator[Row]:
    """Every figure; where the recordings are not at hand, a row for each part that says so."""
    for what, part in PARTS:
        if DATA.is_dir():
            yield from guarded(what, "see the data's README", part)
        else:
            yield Row(what, "", "see the data's README", ok=False, why=ABSENT)
