"""A network kept from photo to photo must answer as one read anew, and no two threads may work with the same one."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

import photonest.outline.network
from photonest.networks import trained_network

FILE = Path(photonest.outline.network.__file__).with_name("shares.onnx")


def seen(network: cv2.dnn.Net, side: int) -> NDArray[np.float32]:
    network.setInput(np.random.default_rng(side).normal(size=(1, 7, side, side)).astype(np.float32))
    return np.array(network.forward(), np.float32)


def test_a_network_kept_answers_as_one_read_anew_after_any_picture() -> None:
    for side in (64, 128, 64):
        assert (seen(trained_network(FILE), side) == seen(cv2.dnn.readNetFromONNX(str(FILE)), side)).all()


def test_each_thread_has_its_own() -> None:
    assert trained_network(FILE) is trained_network(FILE)
    with ThreadPoolExecutor(1) as other:
        assert other.submit(trained_network, FILE).result() is not trained_network(FILE)
