"""Photos of wood faces drawn from known millimetres: the first truth of every test and benchmark.

``draw(spec)`` renders a `SceneSpec` to a `Drawn`: its pixels and its exact truth. ``random_spec(seed)`` invents a
varied, believable scene. Everything follows from the numbers in the spec: the same spec gives the same pixels.

The picture is composed in linear light, as a sensor sees it, and then given the sRGB curve: a blurred edge between
dark and light lies at its true place in linear light, and looks shifted into the dark side in the file's own values, as
in a real photo.
"""

from tests.drawn.camera import CameraSpec
from tests.drawn.scene import Drawn, draw
from tests.drawn.spec import SceneSpec
from tests.drawn.truth import Truth
from tests.drawn.vary import random_spec

__all__ = ["CameraSpec", "Drawn", "SceneSpec", "Truth", "draw", "random_spec"]
