"""The live area's own tools, on a small scale: trials with real processes, a bad radio link, several wagons."""

import numpy as np
import pytest

from benchmarks.living import many, trials
from benchmarks.living.radio import counts_of
from benchmarks.living.weathered import Weather, weathered


def test_killed_torn_flipped_and_full_recordings_lose_nothing_that_was_flushed():
    done, _ = trials.trials(12, seed=11)
    assert [t for t in done if t.wrong] == []
    assert {t.kind for t in done} == set(trials.KINDS)
    assert sum(t.flushed for t in done) > 500


def test_without_a_small_file_system_a_limit_on_file_size_stands_in(tmp_path):
    frames = trials.frame_bytes()
    source = tmp_path / "frames"
    source.write_bytes(b"".join(len(f).to_bytes(2, "little") + f for f in frames))
    done = trials.trial("full", 4, tmp_path, frames, source, None)
    assert (done.wrong, done.flushed > 0) == ("", True)


def test_a_lost_frame_and_a_wrong_one_would_be_seen():
    frames = trials.frame_bytes(3)
    log = trials.read_raw_log([("a", b"".join(_block(k, data) for k, data in enumerate(frames[:2])))])
    assert trials._judge("kill", 2, log, frames, set(), {}).wrong == ""
    assert trials._judge("kill", 2, log, frames, set(), {"b": b"junk"}).wrong == "bytes that are neither read nor told"
    assert "1 flushed frames lost" in trials._judge("kill", 3, log, frames, set(), {}).wrong
    assert "never written so" in trials._judge("kill", 2, log, frames[1:], set(), {}).wrong


def _block(sequence, payload):
    from wayrule.formats.rawlog import DATA, packed

    return packed(DATA, 1, b"session1", sequence, 0, payload)


def test_a_bad_radio_link_is_back_filled_and_nothing_wrong_is_taken():
    found = weathered(Weather(outage_s=(0.5, 1.2), restart_s=1.5), 2.2, settle_s=8.0)
    assert (found.wrong, found.untold, found.boots) == (0, 0, 2)
    assert found.made - found.there <= 8, "all that was kept came again; nothing shows that the very last is missing"
    assert found.repeated > 0
    assert found.tie_s < 0.05, "a second of stamps, on a busy machine; the figure itself is a row of the area"


@pytest.mark.parametrize("seed", [1, 2])
def test_readings_of_the_stand_in_tell_wagon_boot_and_number_apart(seed):
    seq = np.arange(200)
    assert not np.array_equal(counts_of(seed, 1, seq), counts_of(seed, 2, seq))
    assert np.array_equal(counts_of(seed, 1, seq)[50:60], counts_of(seed, 1, seq[50:60]))
    assert len(np.unique(counts_of(seed, 1, seq), axis=0)) == 200


def test_several_wagons_at_once_are_recorded_decoded_and_replayed(monkeypatch):
    monkeypatch.setattr(many, "WAGONS", 6)
    monkeypatch.setattr(many, "QUICK_S", 1.0)
    rows = {row.what: row for row in many.many_rows(True)}
    assert [what for what, row in rows.items() if "of those sent" in what and not row.ok] == []
    assert next(row for what, row in rows.items() if what.startswith("replay")).ok
