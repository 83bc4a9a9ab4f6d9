"""A simulator that knows the truth: a seed -> (recording, truth), and what a survey got wrong."""

from wayrule.sim.aslaid import as_laid
from wayrule.sim.design import Design, Grade, Piece, arc, straight, transition
from wayrule.sim.dirt import Planted, dirty
from wayrule.sim.imu import CHEAP, GOOD, ImuQuality
from wayrule.sim.irregularity import Defect, Joints, Roughness
from wayrule.sim.laying import build
from wayrule.sim.layouts import branch_n, figure_eight, garden_g, oval, random_line
from wayrule.sim.matching import Matching
from wayrule.sim.metrics import Coverage, SurveyErrors, coverage, errors
from wayrule.sim.mishaps import Gap, Hand, Knock, Lump, Slide
from wayrule.sim.motion import Leg, RunPlan, laps, with_stop
from wayrule.sim.railway import Railway
from wayrule.sim.travel_metrics import TravelErrors, travel_errors
from wayrule.sim.turnout import line_and_spur, spur_of
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
    "Coverage",
    "Defect",
    "Design",
    "Gap",
    "Grade",
    "Hand",
    "ImuQuality",
    "Joints",
    "Knock",
    "Leg",
    "Lump",
    "Matching",
    "Piece",
    "Planted",
    "Railway",
    "Roughness",
    "RunPlan",
    "RunTruth",
    "Slide",
    "Specimen",
    "SurveyErrors",
    "TravelErrors",
    "arc",
    "as_laid",
    "branch_n",
    "build",
    "coverage",
    "dirty",
    "draw_specimen",
    "errors",
    "figure_eight",
    "garden_g",
    "laps",
    "line_and_spur",
    "oval",
    "random_line",
    "simulate",
    "spur_of",
    "straight",
    "transition",
    "travel_errors",
    "with_stop",
]
