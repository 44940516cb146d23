"""Drying: exact curves are found again, made-up pieces become ready within their interval, and doubt is said."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pytest

from photonest.model import MoistureError
from photonest.wood.drying import StartMoisture, _plate, follow_drying
from photonest.wood.species import find_species, load_species
from photonest.wood.weighings import Weighing
from tests.wood.pieces import FIRST, Piece, any_piece, to_go


def test_an_exponential_is_found_again() -> None:
    days = np.arange(0, 150, 14)
    weights = 1100 + 600 * np.exp(-days / 40)
    found = follow_drying(
        [Weighing(FIRST + timedelta(days=int(d)), float(w)) for d, w in zip(days, weights, strict=True)]
    )
    assert found.final_weight == pytest.approx(1100, abs=2)  # twice the scale's error
    assert found.time_constant == pytest.approx(40, rel=0.02)
    assert found.ready is not None
    # 600 exp(-t / 40) = 11 g at t = 40 ln(600 / 11) = 160 days.
    assert (found.ready - FIRST).days == pytest.approx(40 * math.log(600 / 11), abs=3)
    assert found.moisture_now is None
    assert found.curve[0][1] == pytest.approx(1700, abs=3)


def test_the_plate_is_cranks_with_no_resistance_at_the_surface() -> None:
    x = np.linspace(0.02, 5, 50)
    assert _plate(x) == pytest.approx(to_go(5000.0, x, terms=40), abs=2e-3)  # 1 / L and the terms left out
    assert to_go(3.0, np.zeros(1), terms=200)[0] == pytest.approx(1.0, abs=1e-4)


def test_made_up_pieces_become_ready_within_their_interval() -> None:
    rng = np.random.default_rng(11)
    hits = []
    for _ in range(14):
        piece = any_piece(rng)
        start = StartMoisture(piece.start * (1 + rng.normal(0, 0.2)), 0.2 * piece.start)
        found = follow_drying(piece.weighings(2 * piece.tau, 14, rng), start, piece.end + rng.normal(0, 1))
        if found.ready is None or found.ready_early is None:
            continue
        late = (found.ready_late - FIRST).days if found.ready_late else math.inf
        hits.append((found.ready_early - FIRST).days - 1 <= piece.ready() <= late + 1)
    assert len(hits) >= 9
    # A 90 % interval: 8 in 10 or more hold with a probability of about 0.95; the seed is fixed.
    assert sum(hits) >= 0.8 * len(hits)


def test_moisture_from_the_start_by_hand() -> None:
    # 1700 g at 70 % hold 1000 g of dry wood; 1300 g are 30 %. The error: 1300 / 1700 of the start's 5 points.
    found = follow_drying([Weighing(FIRST, 1700.0), Weighing(FIRST + timedelta(days=30), 1300.0)], StartMoisture(70, 5))
    assert found.moisture_now == pytest.approx(30)
    assert found.moisture_error == pytest.approx(5 * 1300 / 1700)
    assert found.ready is None
    assert any("Too few weighings" in note for note in found.notes)


def test_moisture_from_the_end() -> None:
    piece = Piece()
    found = follow_drying(piece.weighings(160, 14), equilibrium_pct=11.0)
    assert found.moisture_now == pytest.approx(100 * (piece.weight(np.array([154.0]))[0] / piece.dry - 1), abs=1.0)


def test_a_species_figure_is_a_wide_start() -> None:
    start = StartMoisture.green(find_species("black walnut", load_species()))
    assert start.moisture_pct == 79
    assert start.standard_error == pytest.approx(15.8)


def test_weights_that_fall_evenly_tell_no_date() -> None:
    even = [Weighing(FIRST + timedelta(days=7 * i), 3000.0 - 20 * i) for i in range(6)]
    found = follow_drying(even)
    assert found.ready is None or found.ready_late is None or (found.ready_late - found.ready).days > 100
    assert not found.unchanged


def test_a_dry_piece_is_said_to_be_unchanged() -> None:
    found = follow_drying(Piece().weighings(400, 30), StartMoisture(70, 5), 11.0)
    assert found.unchanged
    assert any("common practice" in note for note in found.notes)
    assert found.ready is not None
    assert found.ready < FIRST + timedelta(days=400)


def test_a_start_too_low_is_said() -> None:
    found = follow_drying([Weighing(FIRST, 1700.0), Weighing(FIRST + timedelta(days=30), 1300.0)], StartMoisture(20, 5))
    assert found.moisture_now == 0
    assert any("higher than said" in note for note in found.notes)


@pytest.mark.parametrize("start", [450.0, -3.0])
def test_an_impossible_start(start: float) -> None:
    with pytest.raises(MoistureError, match="moisture at the start must be between 0 and 400 %"):
        follow_drying(Piece().weighings(60, 14), StartMoisture(start, 5))


def test_an_impossible_end() -> None:
    with pytest.raises(MoistureError, match="equilibrium moisture must be"):
        follow_drying(Piece().weighings(60, 14), None, 60.0)


def test_the_same_weights_give_the_same_answer() -> None:
    weighings = Piece().weighings(100, 10)
    assert follow_drying(weighings) == follow_drying(weighings)


def test_an_off_cut_tells_the_moisture_at_the_start() -> None:
    """EN 13183-1: what an ovendry sample has lost, by its dry weight (the definition; from memory)."""
    assert StartMoisture.of_sample(85.0, 50.0).moisture_pct == pytest.approx(100 * (85 - 50) / 50)
    # Second way to its error: what weighings a little off would tell, and the scatter along the piece.
    rng = np.random.default_rng(5)
    told = 100 * ((85 + rng.normal(0, 1, 100_000)) / (50 + rng.normal(0, 1, 100_000)) - 1)
    assert StartMoisture.of_sample(85.0, 50.0).standard_error == pytest.approx(np.hypot(np.std(told), 3.0), rel=0.02)
