"""Lengths as a workshop reads them: millimetres, or with inches in sixteenths beside them."""

from __future__ import annotations

import math
import re
from typing import Literal

from photonest.report.page import MM_PER_INCH

Units = Literal["mm", "inch"]
SIXTEENTH = MM_PER_INCH / 16


def told(value: float, units: Units = "mm", digits: int = 0) -> str:
    """Return a length with its unit, in mm and, if asked, in inches, if it has any sixteenths.

    >>> told(131.96, "mm", 1), told(131.96, "inch", 1), told(0.3, "inch", 1)
    ('132.0 mm', '132.0 mm (5 3/16 in)', '0.3 mm')
    """
    return _beside(f"{value:.{digits}f} mm", sixteenths(value), units)


def stacked(value: float, units: Units = "mm", digits: int = 0) -> str:
    r"""Return a length for a cell of a table: the inches, if asked, on a line of their own.

    >>> stacked(131.96, "inch")
    '132 mm\n5 3/16 in'
    """
    plain = f"{value:.{digits}f} mm"
    return plain if units == "mm" else f"{plain}\n{sixteenths(value)} in"


def brief(value: float, units: Units = "mm") -> str:
    """Return a length for a label on a drawing, which are in mm; the inches, if asked, with their unit.

    >>> brief(131.96), brief(131.96, "inch")
    ('132', '132 (5 3/16 in)')
    """
    return f"{value:.0f}" if units == "mm" else f"{value:.0f} ({sixteenths(value)} in)"


def retold(words: str, units: Units = "mm") -> str:
    """Return a text with inches, if asked, beside the lengths of a sixteenth or more that it tells in mm alone.

    >>> retold("Without c1, 303, 225 mm; +18.1 mm of rims, and 0.3 mm of 54 mm (2 1/8 in) more.", "inch")
    'Without c1, 303, 225 mm (11 15/16, 8 7/8 in); +18.1 mm (11/16 in) of rims, and 0.3 mm of 54 mm (2 1/8 in) more.'
    """

    def beside(found: re.Match[str]) -> str:
        inches = [sixteenths(abs(float(number))) for number in found[1].split(", ")]
        return found[0] if set(inches) == {"0"} else f"{found[0]} ({', '.join(inches)} in)"

    number = r"[+-]?\d+(?:\.\d+)?"
    return words if units == "mm" else re.sub(rf"(?<![\w.])((?:{number}, )*{number}) mm\b(?! \()", beside, words)


def at_least(value: float, units: Units = "mm") -> str:
    """Return a least length, rounded upwards to a tenth and a sixteenth: never less than what is needed.

    >>> at_least(27.21, "inch")
    '27.3 mm (1 1/8 in)'
    """
    plain = f"{math.ceil(round(value * 10, 6)) / 10:.1f} mm"
    return _beside(plain, _inches(math.ceil(round(value / SIXTEENTH, 6))), units)


def at_most(value: float, units: Units = "mm") -> str:
    """Return a greatest length, rounded downwards to a tenth and a sixteenth: never more than is safe.

    >>> at_most(34.49, "inch"), at_most(1.0, "inch")
    ('34.4 mm (1 5/16 in)', '1.0 mm')
    """
    plain = f"{math.floor(round(value * 10, 6)) / 10:.1f} mm"
    return _beside(plain, _inches(math.floor(round(value / SIXTEENTH, 6))), units)


def sixteenths(value: float) -> str:
    """Return a length in mm as inches and the nearest sixteenth in lowest terms, without the unit.

    >>> sixteenths(25.4), sixteenths(30.0), sixteenths(4.0), sixteenths(-11.5), sixteenths(0.3)
    ('1', '1 3/16', '3/16', '-7/16', '0')
    """
    count = round(abs(value) / SIXTEENTH)
    return f"-{_inches(count)}" if value < 0 and count else _inches(count)


def _beside(plain: str, inches: str, units: Units) -> str:
    """Return a length in mm with its inches, if they are asked for and not naught: the mm alone says more then."""
    return plain if units == "mm" or inches == "0" else f"{plain} ({inches} in)"


def _inches(count: int) -> str:
    """Return a number of sixteenths in lowest terms."""
    whole, part = divmod(count, 16)
    below = 16
    while part and part % 2 == 0:
        part, below = part // 2, below // 2
    return " ".join([*([str(whole)] if whole or not part else []), *([f"{part}/{below}"] if part else [])])
