"""Progress goes to stderr, one line a step, and takes names as they are."""

import pytest

from wayrule.cli.progress import Steps


def test_a_step_is_told_on_stderr_when_done(capsys: pytest.CaptureFixture[str]) -> None:
    with Steps()("reading [bold]run 1[/bold] :smile:.csv"):
        pass
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == "reading [bold]run 1[/bold] :smile:.csv · 0.0 s\n"


def test_a_step_that_fails_is_not_told_as_done(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(ZeroDivisionError), Steps()("dividing"):
        raise ZeroDivisionError
    assert capsys.readouterr().err == ""
