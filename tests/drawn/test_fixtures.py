import json
from pathlib import Path

import numpy as np
import pytest

from tests.drawn.fixtures import FIXTURES, FOLDER
from tests.drawn.marks import trace
from tests.drawn.truth import truth_of
from tests.drawn.wood import Growth


@pytest.mark.parametrize("name", FIXTURES)
def test_a_fixture_is_small_and_its_truth_is_its_specs(name: str) -> None:
    photo = FOLDER / f"{name}.jpg"
    assert photo.stat().st_size < 700_000
    spec = FIXTURES[name]()
    growth = Growth(spec.wood)
    cracks = [t for t in (trace(growth, c) for c in spec.cracks) if t is not None]
    document = truth_of(spec, growth, cracks).document(photo.name)
    kept = json.loads(Path(FOLDER / f"{name}.truth.json").read_text())
    assert kept.keys() == document.keys()
    # the file was written on another machine, perhaps, whose last digits differ
    assert kept["diameter_mm"] == pytest.approx(document["diameter_mm"], abs=1e-3)
    np.testing.assert_allclose(kept["outline_mm"], document["outline_mm"], atol=2e-3)
    np.testing.assert_allclose(kept["mm_to_px"]["homography"], document["mm_to_px"]["homography"])
    for a, b in zip(kept["cracks_mm"], document["cracks_mm"], strict=True):
        np.testing.assert_allclose(a["path"], b["path"], atol=2e-3)
