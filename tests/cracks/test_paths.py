from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.cracks.paths import best_paths, worthy_pieces


def drawn(rows: int, columns: int, course: list[int], first: int) -> np.ndarray:
    scores = np.full((rows, columns), -0.6, np.float32)
    scores[np.arange(first, first + len(course)), course] = 1.0
    return scores


def test_a_bent_line_is_followed_from_end_to_end() -> None:
    course = [10 + k // 3 for k in range(60)]
    [paths] = best_paths([drawn(100, 80, course, 20)], wraps=False, bend=0.3, least=10, gap=20, apart=2, rounds=2)
    assert len(paths) == 1
    assert paths[0].first_row == 20
    assert paths[0].columns.tolist() == course
    # 60 cells of 1, less 19 steps sideways of 0.3; the sum reported counts cells alone
    assert paths[0].score == pytest.approx(60, abs=1e-3)


def test_a_line_goes_on_across_the_seam() -> None:
    course = [(75 + k // 4) % 80 for k in range(60)]
    [paths] = best_paths([drawn(100, 80, course, 20)], wraps=True, bend=0.3, least=10, gap=20, apart=2, rounds=2)
    assert [path.columns.tolist() for path in paths] == [course]


def test_two_lines_with_a_wide_gap_stay_two() -> None:
    scores = drawn(200, 40, [20] * 60, 10)
    scores[120:180, 20] = 1.0
    [paths] = best_paths([scores], wraps=False, bend=0.3, least=10, gap=20, apart=2, rounds=2)
    assert sorted((path.first_row, len(path.columns)) for path in paths) == [(10, 60), (120, 60)]


def test_a_small_gap_is_bridged() -> None:
    scores = drawn(200, 40, [20] * 60, 10)
    scores[80:140, 20] = 1.0
    [paths] = best_paths([scores], wraps=False, bend=0.3, least=10, gap=20, apart=2, rounds=2)
    assert [(path.first_row, len(path.columns)) for path in paths] == [(10, 130)]


@given(st.lists(st.floats(-2, 2, width=32), min_size=3, max_size=60))
def test_pieces_are_in_order_apart_and_worth_what_they_say(values: list[float]) -> None:
    row = np.asarray(values)
    pieces = worthy_pieces(row, least=1.0, gap=2.0)
    ends = [0]
    for start, stop, total in pieces:
        assert ends[-1] <= start < stop <= len(row)
        assert total == pytest.approx(float(row[start:stop].sum()), abs=1e-6)
        assert total >= 1.0
        ends.append(stop)
