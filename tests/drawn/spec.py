"""Everything in a photo, in plain numbers."""

from __future__ import annotations

from dataclasses import dataclass, field

from tests.drawn.bench import BenchSpec
from tests.drawn.camera import CameraSpec
from tests.drawn.defects import DefectSpec
from tests.drawn.marks import CrackSpec, MarkSpec
from tests.drawn.references import Item
from tests.drawn.texture import FinishSpec
from tests.drawn.wood import WoodSpec


@dataclass(frozen=True)
class LightSpec:
    """The light in linear light.

    Attributes
    ----------
    from_deg : float
        Where it comes from, as a direction on the face.
    gradient : float
        How much brighter the lit side of the photo is than the middle, as a share.
    cast : float
        How dark the wood's own shadow on the bench is, 0 to 1.
    slant : float
        Length of a shadow over the height that casts it.
    soft : float
        Width of a shadow's edge in mm.
    side : float
        How bright the piece's side is, as a factor on what its place and the light's direction give it.
    patch : float
        Brightness that a patch of sun adds (0: none), or takes when negative (a shadow across the picture).
    patch_at, patch_size, patch_deg
        Its middle and half sizes in mm, and its turn.
    """

    from_deg: float = 225.0
    gradient: float = 0.15
    cast: float = 0.6
    slant: float = 0.8
    soft: float = 8.0
    side: float = 1.0
    patch: float = 0.0
    patch_at: tuple[float, float] = (0.0, 0.0)
    patch_size: tuple[float, float] = (80.0, 200.0)
    patch_deg: float = 30.0


@dataclass(frozen=True)
class SceneSpec:
    """Everything in a photo. Items are painted in their order, those below the face before the wood."""

    wood: WoodSpec = field(default_factory=WoodSpec)
    finish: FinishSpec = field(default_factory=FinishSpec)
    cracks: tuple[CrackSpec, ...] = ()
    marks: tuple[MarkSpec, ...] = ()
    defects: tuple[DefectSpec, ...] = ()
    bench: BenchSpec = field(default_factory=BenchSpec)
    items: tuple[Item, ...] = ()
    light: LightSpec = field(default_factory=LightSpec)
    camera: CameraSpec = field(default_factory=CameraSpec)
    sawdust: float = 0.0
    """How much sawdust lies over everything, references too; 0 to 1."""
    seed: int = 0

    @property
    def reference(self) -> str:
        """The kind of the first reference, or "none"."""
        return next((item.kind for item in self.items if item.is_reference), "none")
