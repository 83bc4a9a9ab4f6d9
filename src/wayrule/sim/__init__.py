"""A simulator that knows the truth: a seed -> (recording, truth), and what a survey got wrong."""

from wayrule.sim.imu import CHEAP, GOOD, ImuQuality
from wayrule.sim.irregularity import Defect, Joints, Roughness
from wayrule.sim.layouts import branch_n, figure_eight, garden_g, oval, random_line
from wayrule.sim.motion import Leg, RunPlan, Slide, laps
from wayrule.sim.railway import Grade, Piece, Railway, arc, build, straight, transition
from wayrule.sim.wagonrun import RunTruth, Specimen, draw_specimen, simulate
from wayrule.sim.wagons import BOGIE, G_COACH, G_WAGON, HO_COACH, HO_VAN, N_COACH, N_VAN, TWO_AXLE

__all__ = [
    "BOGIE",
    "CHEAP",
    "GOOD",
    "G_COACH",
    "G_WAGON",
    "HO_COACH",
    "HO_VAN",
    "N_COACH",
    "N_VAN",
    "TWO_AXLE",
    "Defect",
    "Grade",
    "ImuQuality",
    "Joints",
    "Leg",
    "Piece",
    "Railway",
    "Roughness",
    "RunPlan",
    "RunTruth",
    "Slide",
    "Specimen",
    "arc",
    "branch_n",
    "build",
    "draw_specimen",
    "figure_eight",
    "garden_g",
    "laps",
    "oval",
    "random_line",
    "simulate",
    "straight",
    "transition",
]
