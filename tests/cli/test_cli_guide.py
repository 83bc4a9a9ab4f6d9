"""`wayrule guide`: where a wagon is and how it is led to a finding, from recordings and from links."""

import json
import re
from pathlib import Path

import pytest

from wayrule.cli.main import run
from wayrule.desk.surveying import survey


@pytest.fixture(scope="module")
def mapped(world, tmp_path_factory):
    """A survey of the oval, by four laps."""
    out = tmp_path_factory.mktemp("mapped") / "oval"
    found = survey(f"{world.run('monday')}@laps=4", world.wagon, out=out)
    return out, found


def test_a_recording_tells_where_it_ended(mapped, world, capsys):
    folder, found = mapped
    assert run(["guide", str(folder), world.run("tuesday"), "--wagon", world.wagon, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    ((place,),) = [told["located"]["places"]]
    assert (told["step"], place["way"]) == ("placed", -1)  # tuesday's wagon was turned end for end
    truth = world.truths["tuesday"].chainage_mm[-1] - world.truths["monday"].chainage_mm[0]
    lap = found.stations.length_mm
    miss = (place["s_mm"] - truth * lap / world.line.length_mm + lap / 2) % lap - lap / 2
    assert abs(miss) < 20.0  # what is promised in H0
    assert 0 < told["certain_mm"] < 1500.0
    assert told["now"] is None


def test_it_is_led_to_a_fault_a_mark_and_a_chainage(mapped, world, capsys):
    folder, found = mapped
    words = ["guide", str(folder), world.run("tuesday"), "--wagon", world.wagon]
    assert run([*words, "--to", "Vale Bridge"]) == 0
    said = capsys.readouterr().out
    assert re.search(r"^Vale bridge: \d\.\d\d m (ahead|behind) \(± \d+ mm\)", said)
    assert "certain after 0." in said
    assert "rear axle" in said
    assert run([*words, "--to", "10mm", "--json"]) == 0
    one = json.loads(capsys.readouterr().out)
    assert run([*words, "--to", "110mm", "--json"]) == 0
    other = json.loads(capsys.readouterr().out)
    assert one["gap_mm"] - other["gap_mm"] == pytest.approx(-100.0)  # it rolled towards growing chainage
    if found.faults:
        assert run([*words, "--to", "1"]) == 0
        assert "No. 1, " in capsys.readouterr().out


@pytest.mark.parametrize("word", ["99", "nowhere", "99999mm", "xmm", "0"])
def test_what_is_no_finding_is_one_line(word, mapped, world, capsys):
    assert run(["guide", str(mapped[0]), world.run("tuesday"), "--wagon", world.wagon, "--to", word]) == 2
    said = capsys.readouterr().err.splitlines()[-1]
    assert "--to: expected a finding of oval" in said
    assert "a mark (Vale bridge)" in said
    assert repr(word) in said


def test_what_is_no_survey_or_another_gauge_is_one_line(mapped, world, tmp_path, capsys):
    words = [world.run("tuesday"), "--wagon", world.wagon]
    assert run(["guide", str(tmp_path), *words]) == 2
    assert "expected" in capsys.readouterr().err
    narrow = tmp_path / "narrow.wagon.toml"
    text = Path(world.wagon).read_text(encoding="utf-8")
    narrow.write_text(text.replace("gauge_mm = 16.5", "gauge_mm = 12.0"), encoding="utf-8")
    assert run(["guide", str(mapped[0]), world.run("tuesday"), "--wagon", str(narrow)]) == 2
    assert "expected a wagon of the surveyed gauge, 16.5 mm, came" in capsys.readouterr().err


def test_a_link_is_followed_and_another_line_is_told_as_such(mapped, world, tmp_path, capsys):
    """The make-believe wagon rolls on a figure-eight, which is not the surveyed oval."""
    out = tmp_path / "kept"
    words = ["guide", str(mapped[0]), "sim:@laps=1@speed=max", "--wagon", world.wagon, "--out", str(out), "--for", "6"]
    assert run(words) == 0
    said = capsys.readouterr()
    assert "Nothing heard of the wagon yet." in said.err
    assert "fits no place of the survey" in said.out or "It may be at" in said.out or "Push on" in said.out
    assert "You are at" not in said.out
    assert (tmp_path / "kept.waylog").stat().st_size > 10_000


def test_record_shows_what_the_wagon_says(mapped, world, tmp_path, capsys):
    out = str(tmp_path / "log")
    words = ["record", "sim:@laps=1@speed=20", "--out", out, "--wagon", world.wagon, "--survey", str(mapped[0])]
    assert run(words) == 0
    said = capsys.readouterr().out
    for row in ("Distance", "Trip", "At scale", "Gradient", "Cant", "Curve", "Turned", "Place", "Next fault", "Health"):
        assert re.search(rf"^ {row} ", said, re.MULTILINE), row
    assert re.search(r"Distance +15\.\d+ ± 0\.\d+ m", said)
    assert re.search(r"km/h = .* mile/h", said)
