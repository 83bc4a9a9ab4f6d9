"""The shared words: frozen types whose arrays are read-only and checked when made, so that a wrong one cannot exist."""

from wayrule.model.alignment import Alignment, GradePiece, PlanPiece
from wayrule.model.axledrift import AxleDrift, DriftCause, DriftKind
from wayrule.model.axlelearned import AxleLearned, OrderError
from wayrule.model.axlereference import AxleReference
from wayrule.model.befallen import Whereabouts, mishap_problems
from wayrule.model.bench import Bench, Budget, BudgetLine, Option
from wayrule.model.between import Between, Joint
from wayrule.model.calibration import Calibration
from wayrule.model.calibrationday import CalibrationDay, CalibrationPart
from wayrule.model.comparison import Change, Comparison, Difference, FaultFate, FindingFate, Registered, Series
from wayrule.model.drytest import DryTest, DryWord
from wayrule.model.facts import Control, Facts, Relation, Stretch, Tape
from wayrule.model.finding import Finding, Judgement, Risk, Verdict
from wayrule.model.fittings import Axle, Board, Body, Cell, Clearance, Disturber, FreeSpace, Part
from wayrule.model.health import Health, HealthItem, Light, Limit, Spot
from wayrule.model.inertial import Accelerometer, Clock, GyroBias, Inertial, Noise, Rest, Seat
from wayrule.model.instrument import Instrument
from wayrule.model.located import LikelyPlace, Located
from wayrule.model.mend import Baseboard, BoardMove, MendLimits, MendPlan, SingleMend, StringLine, WorkSheet
from wayrule.model.mishap import Mishap, MishapKind
from wayrule.model.purpose import Purpose
from wayrule.model.recording import Mark, Problem, Recording
from wayrule.model.repeat import Repeat
from wayrule.model.rolling import DistanceStep, RollingCircle
from wayrule.model.rule import Rule, RuleSet
from wayrule.model.running import Met, Running
from wayrule.model.shown import Shown
from wayrule.model.solid import Solid
from wayrule.model.stock import Train, Vehicle
from wayrule.model.survey import Closure, Estimate, Misclosure, Survey
from wayrule.model.surveyed import Surveyed, surveyed_of
from wayrule.model.track import Element, Fault, Stations
from wayrule.model.trail import Trail
from wayrule.model.travel import BodyImu, State, Travel
from wayrule.model.wagon import Bogie, ColumnMap, FieldSensor, FloorLayer, Imu, Magnets, Wagon, Wheel
from wayrule.model.worksheet import Caution, Flat, Step, Strip, Worksheet

__all__ = [
    "Accelerometer",
    "Alignment",
    "Axle",
    "AxleDrift",
    "AxleLearned",
    "AxleReference",
    "Baseboard",
    "Bench",
    "Between",
    "Board",
    "BoardMove",
    "Body",
    "BodyImu",
    "Bogie",
    "Budget",
    "BudgetLine",
    "Calibration",
    "CalibrationDay",
    "CalibrationPart",
    "Caution",
    "Cell",
    "Change",
    "Clearance",
    "Clock",
    "Closure",
    "ColumnMap",
    "Comparison",
    "Control",
    "Difference",
    "DistanceStep",
    "Disturber",
    "DriftCause",
    "DriftKind",
    "DryTest",
    "DryWord",
    "Element",
    "Estimate",
    "Facts",
    "Fault",
    "FaultFate",
    "FieldSensor",
    "Finding",
    "FindingFate",
    "Flat",
    "FloorLayer",
    "FreeSpace",
    "GradePiece",
    "GyroBias",
    "Health",
    "HealthItem",
    "Imu",
    "Inertial",
    "Instrument",
    "Joint",
    "Judgement",
    "Light",
    "LikelyPlace",
    "Limit",
    "Located",
    "Magnets",
    "Mark",
    "MendLimits",
    "MendPlan",
    "Met",
    "Misclosure",
    "Mishap",
    "MishapKind",
    "Noise",
    "Option",
    "OrderError",
    "Part",
    "PlanPiece",
    "Problem",
    "Purpose",
    "Recording",
    "Registered",
    "Relation",
    "Repeat",
    "Rest",
    "Risk",
    "RollingCircle",
    "Rule",
    "RuleSet",
    "Running",
    "Seat",
    "Series",
    "Shown",
    "SingleMend",
    "Solid",
    "Spot",
    "State",
    "Stations",
    "Step",
    "Stretch",
    "StringLine",
    "Strip",
    "Survey",
    "Surveyed",
    "Tape",
    "Trail",
    "Train",
    "Travel",
    "Vehicle",
    "Verdict",
    "Wagon",
    "Wheel",
    "Whereabouts",
    "WorkSheet",
    "Worksheet",
    "mishap_problems",
    "surveyed_of",
]
