"""News of a wagon's constants is refused where it cannot be news."""

import numpy as np
import pytest

from wayrule.model import Shown


def shown(**other: object) -> Shown:
    fits: dict[str, object] = {
        "step": "turned pair",
        "names": ("level_x", "cross_x"),
        "matrix": np.array([[1.0, -9806.65]]),
        "values": np.array([3.0]),
        "covariance": np.array([[0.25]]),
        "runs": (("a.csv", ""),),
        "text": "",
    }
    return Shown(**{**fits, **other})  # type: ignore[arg-type]


def test_sums_of_constants_are_kept_read_only() -> None:
    one = shown()
    assert one.matrix.shape == (1, 2)
    with pytest.raises(ValueError, match="read-only"):
        one.values[0] = 1.0


@pytest.mark.parametrize(
    ("other", "message"),
    [
        ({"names": ("level_x", "level")}, "names: expected different ones of"),
        ({"names": ("level_x", "level_x")}, "names: expected different ones of"),
        ({"matrix": np.eye(1)}, "matrix"),
        ({"values": np.array([np.nan])}, "values: expected finite"),
        ({"covariance": np.zeros((1, 1))}, "covariance: expected a symmetric positive definite"),
        (
            {"matrix": np.eye(2), "values": np.ones(2), "covariance": np.eye(2) + 2 * np.eye(2)[::-1]},
            "covariance: expected a symmetric positive definite",
        ),
    ],
)
def test_what_cannot_be_news_is_refused(other: dict[str, object], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        shown(**other)
