"""What `pip install .` brings: every file of the package, its data too, and the command."""

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_the_wheel_holds_the_whole_package_and_the_command(tmp_path: Path) -> None:
    build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(tmp_path)]
    run = subprocess.run(build, cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
        entry = next(name for name in inside if name.endswith("entry_points.txt"))
        assert "wayrule = wayrule.cli.main:main" in archive.read(entry).decode()
    package = ROOT / "src" / "wayrule"
    files = {p for p in package.rglob("*") if p.is_file() and "__pycache__" not in p.parts}
    assert {f"wayrule/{p.relative_to(package).as_posix()}" for p in files} <= inside
    assert wheel.name.endswith("-py3-none-any.whl"), "one wheel for every system: nothing is compiled"
