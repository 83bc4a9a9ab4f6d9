"""Wayrule: know the track, from a wheel-sensing wagon's recording to a surveyed map with honest error bars.

The types and the verbs are here, each imported when it is first used:

>>> import wayrule
>>> wayrule.Tape("lap", 9012.0, 5.0).length_mm
9012.0
"""

import importlib
from typing import TYPE_CHECKING, Any

from wayrule.version import VERSION

if TYPE_CHECKING:
    from wayrule.desk.benching import bench as bench
    from wayrule.desk.calibrating import calibrate as calibrate
    from wayrule.desk.comparing import compare as compare
    from wayrule.desk.comparing import compare_with_plan as compare_with_plan
    from wayrule.desk.demonstration import demo as demo
    from wayrule.desk.handover import hand_over as hand_over
    from wayrule.desk.importing import import_recording as import_recording
    from wayrule.desk.judging import judge as judge
    from wayrule.desk.mending import mend as mend
    from wayrule.desk.opening import read_recording as read_recording
    from wayrule.desk.opening import read_wagon as read_wagon
    from wayrule.desk.recording import begin_recording as begin_recording
    from wayrule.desk.recording import record as record
    from wayrule.desk.surveying import survey as survey
    from wayrule.desk.travelling import travel as travel
    from wayrule.errors import WayruleError as WayruleError
    from wayrule.model import *  # noqa: F403

__version__ = VERSION

VERBS = {
    "begin_recording": "wayrule.desk.recording:begin_recording",
    "bench": "wayrule.desk.benching:bench",
    "calibrate": "wayrule.desk.calibrating:calibrate",
    "compare": "wayrule.desk.comparing:compare",
    "compare_with_plan": "wayrule.desk.comparing:compare_with_plan",
    "demo": "wayrule.desk.demonstration:demo",
    "hand_over": "wayrule.desk.handover:hand_over",
    "import_recording": "wayrule.desk.importing:import_recording",
    "judge": "wayrule.desk.judging:judge",
    "mend": "wayrule.desk.mending:mend",
    "read_recording": "wayrule.desk.opening:read_recording",
    "read_wagon": "wayrule.desk.opening:read_wagon",
    "record": "wayrule.desk.recording:record",
    "survey": "wayrule.desk.surveying:survey",
    "travel": "wayrule.desk.travelling:travel",
    "WayruleError": "wayrule.errors:WayruleError",
}
"""Name here -> where it lives; every other public name is a type of `wayrule.model`."""


def __getattr__(name: str) -> Any:
    if name in VERBS:
        module, attribute = VERBS[name].split(":")
        return getattr(importlib.import_module(module), attribute)
    if not name.startswith("_"):
        model = importlib.import_module("wayrule.model")
        if name in model.__all__:
            return getattr(model, name)
    raise AttributeError(f"module 'wayrule' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *VERBS, *importlib.import_module("wayrule.model").__all__])
