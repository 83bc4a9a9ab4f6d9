"""Make the pictures of the docs from real output: `python docs/images/make.py` (about a minute)."""

import tempfile
from pathlib import Path

import wayrule
from wayrule.report.svg import plan_svg


def on_paper(svg: str) -> str:
    """The drawing on white, so that it reads on a dark page too."""
    begin = svg.index(">", svg.index("<svg")) + 1
    return f'{svg[:begin]}\n<rect width="100%" height="100%" fill="#fff"/>{svg[begin:]}'


def main() -> None:
    """Survey the demo's line and draw its plan."""
    with tempfile.TemporaryDirectory() as folder:
        found = wayrule.demo(folder).survey
    (Path(__file__).parent / "plan.svg").write_text(on_paper(plan_svg(found)), encoding="utf-8")


if __name__ == "__main__":
    main()
