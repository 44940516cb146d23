"""The small trained networks, read from their files once."""

from __future__ import annotations

import functools
import threading
from pathlib import Path
from typing import Any

import numpy as np


def trained_network(file: Path) -> Any:
    """Return a network of OpenCV's from an ONNX file: the same one each time, but another in each thread.

    While it works a network holds what its layers see, in memory that need not be asked for again at the next photo;
    so no two threads may share one.
    """
    return _of_thread(file, threading.get_ident())


@functools.lru_cache(maxsize=4)
def _of_thread(file: Path, thread: int) -> Any:
    import cv2

    return cv2.dnn.readNetFromONNX(np.fromfile(file, np.uint8))
