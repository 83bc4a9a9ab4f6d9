"""Single drawings as SVG text, for a notebook or a file of their own."""

from wayrule.model import Survey, Travel
from wayrule.report.canvas import WIDE, Size, to_svg
from wayrule.report.lengths import lengths_for
from wayrule.report.plan import plan_figure
from wayrule.report.readings import headline
from wayrule.report.speed import speed_time_figure
from wayrule.report.travelreadings import speed_time_reading


def plan_svg(survey: Survey, size: Size = WIDE) -> str:
    """The plan of a survey, coloured by curvature; "" where places are known at fewer than two stations."""
    lengths = lengths_for(survey.stations.length_mm, survey.ratio)
    figure = plan_figure(survey.stations, survey.faults, survey.marks, lengths, size)
    return to_svg(figure, "plan", f"Plan. {headline(survey)}") if figure else ""


def speed_svg(travel: Travel, ratio: float, size: Size = WIDE) -> str:
    """Speed and scale speed of one run against time; "" where fewer than two samples have a speed.

    Parameters
    ----------
    ratio : float   of the scale, 87 for 1:87; 1 at full size, where the right axis is the speed itself
    """
    figure = speed_time_figure(travel, ratio, size)
    return to_svg(figure, "speed", f"Speed against time. {speed_time_reading(travel, ratio)}") if figure else ""
