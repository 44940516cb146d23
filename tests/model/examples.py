"""A face with every field filled, for the tests of its files."""

from photonest.model import (
    Attempt,
    Circle,
    Crack,
    Defect,
    Diameters,
    Face,
    Lens,
    Outline,
    PhotoFacts,
    Pith,
    Scale,
    Size,
)


def whole_face() -> Face:
    square = ((-50.0, -50.0), (50.0, -50.0), (50.0, 50.0), (-50.0, 50.0))
    bark = tuple((1.1 * x, 1.1 * y) for x, y in square)
    return Face(
        photo=PhotoFacts("elm.jpg", "ab" * 32, 4000, 3000),
        scale=Scale(
            "marker-sheet",
            ((0.2, 0.001, -50.0), (0.0, 0.21, -40.0), (1e-6, 0.0, 1.0)),
            0.15,
            0.2,
            lens=Lens(3600.0, (2000.0, 1500.0), -0.03),
            references_px=(((10.0, 10.0), (500.0, 12.0), (490.0, 700.0)),),
            tilt_deg=8.0,
            warnings=("Some tilt.",),
        ),
        outline=Outline(bark, square, 0.3),
        pith=Pith((12.0, -7.5), 0.8),
        cracks=(
            Crack(
                "c1", ((20.0, 0.0), (45.0, 3.0)), 1.2, 25.2, "radial", 0.9, "seen", tip_margin=3.0, widths=(0.2, 1.2)
            ),
            Crack("c2", ((-20.0, 0.0), (-30.0, 3.0)), 0.3, 10.4, "ring", 0.4, "possible", depth=30.0),
        ),
        defects=(Defect("d1", "knot", ((0.0, 20.0), (5.0, 20.0), (3.0, 26.0)), 0.8, "seen"),),
        size=Size(
            155.6,
            110.0,
            124.1,
            29.3,
            14.15,
            11.4,
            12100.0,
            Circle((0.0, 0.0), 50.0),
            Circle((-5.0, 3.0), 20.0),
            Diameters(141.4, 100.0, 112.8, 10000.0),
        ),
        warnings=("Look at crack c2.",),
        provenance=(Attempt("scale", "marker-sheet", "1", "built in", "found"),),
    )
