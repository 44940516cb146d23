"""The same batch over a Dask cluster: a local one with a worker process of its own."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner

from photonest.cli.catalogue import app
from photonest.model import CatalogueError


def test_a_batch_over_a_dask_cluster(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    distributed = pytest.importorskip("distributed")
    fixture = Path(__file__).parents[2] / "fixtures" / "slice_ash.jpg"
    incoming = tmp_path / "incoming"
    incoming.mkdir()
    with Image.open(fixture) as picture:
        small = picture.resize((800, 600))
    for number in range(2):
        small.crop((number, 0, 800, 600)).save(incoming / f"{number}.jpg")
    (incoming / "bad.jpg").write_bytes(b"bad")
    monkeypatch.chdir(tmp_path)
    cluster = distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, dashboard_address=None, local_directory=str(tmp_path / "dask")
    )
    words = ["add", str(incoming), "--mm-per-px", "0.6", "--pith", "none", "--cracks", "none"]
    with cluster:
        found = CliRunner().invoke(
            app, [*words, "--catalogue", str(tmp_path / "yard.sqlite"), "--dask", cluster.scheduler_address]
        )
    assert isinstance(found.exception, CatalogueError)
    assert "1 of 3 photos could not be measured" in str(found.exception)
    assert len(found.stdout.splitlines()) == 2


def test_no_scheduler(tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    photo = tmp_path / "a.jpg"
    photo.write_bytes(b"x")
    words = ["add", str(photo), "--catalogue", str(tmp_path / "yard.sqlite"), "--dask", "tcp://127.0.0.1:1"]
    assert "No Dask scheduler answers" in str(CliRunner().invoke(app, words).exception)
