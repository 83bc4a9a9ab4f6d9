"""The made-up world that several tests share."""

from dataclasses import dataclass
from pathlib import Path

from wayrule.sim import Railway, RunTruth


@dataclass(frozen=True)
class World:
    """A folder with monday.csv (four laps), tuesday.csv (one lap, turned), van.wagon.toml; and their truth."""

    folder: Path
    line: Railway
    truths: dict[str, RunTruth]

    @property
    def wagon(self) -> str:
        return str(self.folder / "van.wagon.toml")

    def run(self, name: str) -> str:
        return str(self.folder / f"{name}.csv")
