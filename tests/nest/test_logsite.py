from dataclasses import replace

import numpy as np
import pytest

from photonest.nest import logsite
from photonest.nest.logsite import Marks, gathered

RANDOM = np.random.default_rng(5)


def scattered(count: int) -> Marks:
    """Return marks strewn over a face 300 mm across, the first few of the edge."""
    return Marks(
        RANDOM.uniform(-150, 150, (count, 2)),
        RANDOM.uniform(3, 8, count),
        RANDOM.uniform(0.1, 1, count),
        np.arange(count) < 10,
        RANDOM.choice([20.0, 60.0, np.inf], count),
        np.arange(count),
    )


def test_few_marks_stay_as_they_are() -> None:
    found = scattered(500)
    assert gathered(found, 0.01) is found


@pytest.mark.parametrize("scale_error", [0.0, 0.04])
def test_many_marks_are_gathered_and_nothing_is_nearer_than_before(
    monkeypatch: pytest.MonkeyPatch, scale_error: float
) -> None:
    monkeypatch.setattr(logsite, "MOST_MARKS", 400)
    found = scattered(3000)
    fewer = gathered(found, 0.01)
    assert 100 < np.count_nonzero(~fewer.edge) <= 400
    assert np.array_equal(fewer.at[fewer.edge], found.at[found.edge])

    def clear(of: Marks, x: float, y: float, deeper: float) -> float:
        some = replace(of, **{name: getattr(of, name)[of.depth >= deeper] for name in vars(of) if name != "through"})
        away = np.hypot(*(some.at - (x, y)).T)
        return float((away - some.keeping(away, scale_error)).min())

    for x, y in RANDOM.uniform(-150, 150, (200, 2)).tolist():
        for deeper in (20.0, 60.0, np.inf):
            assert clear(fewer, x, y, deeper) <= clear(found, x, y, deeper) + 1e-9
