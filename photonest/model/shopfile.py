"""The workshop's TOML file: every figure a plan rests on, checked all at once."""

from __future__ import annotations

import difflib
import math
import re
import textwrap
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from photonest.model.errors import ShopError
from photonest.model.shop import Cutter, Jaws, Price, Range, Shop
from photonest.model.values import FieldError

UNITS = {"mm": 1.0, "cm": 10.0, "in": 25.4, '"': 25.4}
LENGTH = re.compile(r'\s*([-+]?\d+(?:\.\d+)?|[-+]?\.\d+)\s*(mm|cm|in|")\s*')
HINT = "Correct the file, or write a fresh one with: photonest shop init"


@dataclass(frozen=True)
class Figure:
    """One figure of the file: its allowed range, its unit (empty for a share), and what it is."""

    low: float
    high: float
    unit: str
    about: str
    optional: bool = False


FIGURES: dict[str, Figure] = {
    "clearance": Figure(0, 50, "mm", "Least distance from a wall or groove to a defect, before standard errors."),
    "trueing": Figure(0, 50, "mm", "Taken off the radius of the wood to make it round."),
    "wall_min": Figure(3, 100, "mm", "A rough wall is never thinner than this,"),
    "wall_share": Figure(0.02, 0.5, "", "nor than this share of the bowl's own rim diameter."),
    "tenon": Figure(0, 40, "mm", "Depth of the tenon, added to the wall at the base."),
    "foot_share": Figure(0.05, 1, "", "Diameter of the foot as a share of the rim diameter, before the jaws limit it."),
    "screws": Figure(1, 200, "mm", "How deep screws of a faceplate on the foot reach in; leave it out if none.", True),
    "min_rim": Figure(40, 1000, "mm", "A bowl smaller than this across the rim is not worth having,"),
    "min_depth": Figure(10, 500, "mm", "nor one shallower than this."),
    "max_slope": Figure(0, 45, "degrees", "Greatest slope of a groove at the axis, so that the core comes free."),
    "swing": Figure(100, 2000, "mm", "Largest diameter the lathe swings."),
    "finished_wall": Figure(2, 50, "mm", "Least wall of a bowl after drying and turning again."),
    "saw_kerf": Figure(0, 30, "mm", "Slot of the saw that rips a log."),
    "pith_slab": Figure(0, 100, "mm", "Nothing of a log's bowl comes nearer to the pith than this."),
    "top_rim_speed": Figure(1, 20, "m/s", "Rim speed never exceeded."),
    "coring_rpm_max": Figure(50, 3000, "rpm", "Spindle speed never exceeded while coring: keep to the maker's limits."),
    "start_share": Figure(0.1, 1, "", "Share of the top speed to start at."),
}
TRAVELS = {
    "stand_off": Figure(0, 1000, "mm", "The rig's travel: how far the pivot stands in front of the rim plane,"),
    "offset": Figure(
        -200, 200, "mm", "and how far it may be set across the axis: more than 0 is toward the side being cut."
    ),
}
TABLES: dict[str, dict[str, Figure]] = {
    "cutters": {
        "radius": Figure(20, 1000, "mm", "of the middle of the groove"),
        "kerf": Figure(1, 40, "mm", "width of the groove"),
    },
    "jaws": {
        "low": Figure(10, 1000, "mm", "smallest foot they hold"),
        "high": Figure(10, 1000, "mm", "largest foot they hold"),
        "round_at": Figure(10, 1000, "mm", "foot they grip all round", True),
    },
    "prices": {
        "diameter": Figure(40, 2000, "mm", "rim diameter"),
        "price": Figure(0, 1e9, "", "what a bowl of that diameter brings"),
    },
}
NAMED = ("cutters", "jaws")


def read_shop(path: Path) -> Shop:
    """Return the workshop in a file; raise ShopError naming every wrong figure."""
    try:
        return shop_from_toml(path.read_text(encoding="utf-8"), path.name)
    except OSError as error:
        raise ShopError(f"{path} can't be read: {error.strerror}.", "Check the name and the folder.") from error
    except UnicodeDecodeError as error:
        raise ShopError(f"{path.name} is not a text file in UTF-8.", HINT) from error


def shop_from_toml(text: str, where: str = "the workshop file") -> Shop:
    """Return the workshop that a TOML text describes; figures left out keep their defaults.

    Lengths are mm, or a text with its unit such as ``"14 in"``.

    Raises
    ------
    ShopError
        Names every wrong key at once, with its value and the range allowed.

    >>> shop_from_toml('swing = "14 in"').swing
    355.6
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ShopError(f"{where} is not TOML: {error}.", HINT) from error
    if not document:
        raise ShopError(f"{where} holds no figure of a workshop.", HINT)
    problems: list[str] = []
    fields = _fields(document, problems)
    if not problems:
        try:
            return Shop(**fields)
        except FieldError as error:
            problems.append(str(error))
    listed = "".join(f"\n  {problem}" for problem in problems)
    raise ShopError(f"{where}: {len(problems)} wrong:{listed}\n", HINT)


def _fields(document: dict[str, Any], problems: list[str]) -> dict[str, Any]:
    known = [*FIGURES, *TRAVELS, *TABLES]
    fields: dict[str, Any] = {}
    for key, value in document.items():
        if key in FIGURES:
            fields[key] = _figure(key, value, FIGURES[key], problems)
        elif key in TRAVELS:
            fields[key] = _travel(key, value, problems)
        elif key in TABLES:
            fields[key] = _table(key, value, problems)
        else:
            near = difflib.get_close_matches(key, known, 1)
            problems.append(f"{key}: there is no such figure" + (f"; did you mean {near[0]}?" if near else ""))
    return fields


def _figure(key: str, value: Any, figure: Figure, problems: list[str]) -> float:
    number = length_in_mm(value) if figure.unit == "mm" else _plain_number(value)
    shown = value if not isinstance(value, str) else f'"{value}"'
    unit = f" {figure.unit}" if figure.unit else ""
    if number is None:
        asked = 'a number of mm, or a text such as "14 in"' if figure.unit == "mm" else "a number"
        problems.append(f"{key} = {shown}: must be {asked}")
    elif not figure.low <= number <= figure.high:
        problems.append(f"{key} = {shown}: must be {figure.low:g} to {figure.high:g}{unit}")
    return math.nan if number is None else number


def length_in_mm(value: Any) -> float | None:
    """Return a length in mm from a number of mm or a text with its unit; None if it is neither.

    >>> length_in_mm("14 in"), length_in_mm(350), length_in_mm("14 yards")
    (355.6, 350.0, None)
    """
    if isinstance(value, str):
        match = LENGTH.fullmatch(value)
        return None if match is None else round(float(match[1]) * UNITS[match[2]], 6)
    return _plain_number(value)


def _plain_number(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        return None
    return float(value)


def _travel(key: str, value: Any, problems: list[str]) -> Range | None:
    if not isinstance(value, list) or len(value) != 2:
        problems.append(f"{key} = {value}: must be two figures, [low, high]")
        return None
    before = len(problems)
    low, high = (_figure(f"{key}[{place}]", item, TRAVELS[key], problems) for place, item in enumerate(value))
    if len(problems) == before and low > high:
        problems.append(f"{key} = {value}: the first figure must not be more than the second")
    return Range(low, high) if len(problems) == before else None


def _table(key: str, value: Any, problems: list[str]) -> tuple[Any, ...]:
    if not isinstance(value, list) or not all(isinstance(row, dict) for row in value):
        problems.append(f"{key}: must be written as [[{key}]] with one figure a line below it")
        return ()
    if not value and key != "prices":
        problems.append(f"{key}: needs at least one")
    found = [_row(key, number, row, problems) for number, row in enumerate(value, 1)]
    names = [row.get("name") for row in value if key in NAMED]
    problems += [f"{key}: two are called {name!r}" for name in sorted({str(n) for n in names if names.count(n) > 1})]
    return tuple(found)


def _row(key: str, number: int, row: dict[str, Any], problems: list[str]) -> Any:
    before, columns = len(problems), TABLES[key]
    where = f"{key} {row.get('name', number)}"
    values: dict[str, Any] = {}
    for name in row:
        if name in columns:
            values[name] = _figure(f"{where}: {name}", row[name], columns[name], problems)
        elif name == "name" and key in NAMED and isinstance(row[name], str) and row[name].strip():
            values[name] = row[name]
        else:
            problems.append(f"{where}: {name} is not one of its figures ({', '.join(columns)})")
    missing = [name for name, figure in columns.items() if name not in values and not figure.optional]
    problems += [f"{where}: {name} is missing" for name in missing]
    if len(problems) > before:
        return None
    try:
        return _record(key, number, values)
    except FieldError as error:
        problems.append(f"{where}: {error}")
        return None


def _record(key: str, number: int, values: dict[str, Any]) -> Cutter | Jaws | Price:
    if key == "prices":
        return Price(values["diameter"], values["price"])
    if key == "cutters":
        return Cutter(values.get("name", f"R{values['radius']:g}"), values["radius"], values["kerf"])
    return Jaws(values.get("name", f"set {number}"), Range(values["low"], values["high"]), values.get("round_at"))


def shop_template(shop: Shop | None = None) -> str:
    """Return the text of a workshop file with every figure and what it means.

    >>> shop_from_toml(shop_template()) == Shop()
    True
    """
    shop = shop or Shop()
    head = (
        "# The workshop: what a plan rests on. The figures are common practice; put your own in their place, and keep\n"
        '# to the makers\' limits. Lengths are mm, or a text with its unit: swing = "14 in".\n'
    )
    lines = [head]
    for key, figure in {**FIGURES, **TRAVELS}.items():
        value = getattr(shop, key)
        unit = f", {figure.unit}" if figure.unit else ""
        lines += textwrap.wrap(figure.about, 110, initial_indent="# ", subsequent_indent="# ")
        shown = f"[{value.low!r}, {value.high!r}]" if isinstance(value, Range) else repr(value)
        line = f"{key} = {shown}" if value is not None else f"# {key} = 25.0"
        lines.append(f"{line}  # {figure.low:g} to {figure.high:g}{unit}\n")
    lines.append("# Coring cutters: radius of the middle of the groove, and its width.")
    for cutter in shop.cutters:
        lines.append(f'[[cutters]]\nname = "{cutter.name}"\nradius = {cutter.radius!r}\nkerf = {cutter.kerf!r}\n')
    lines.append("# Chuck jaws: the feet they hold; add round_at = the foot they grip all round, where known.")
    for jaws in shop.jaws:
        lines.append(f'[[jaws]]\nname = "{jaws.name}"\nlow = {jaws.diameter.low!r}\nhigh = {jaws.diameter.high!r}')
        lines.append(f"round_at = {jaws.round_at!r}\n" if jaws.round_at is not None else "")
    lines.append(
        "# Prices, for plans by value: rising with the diameter, straight in between, nothing below the first."
    )
    if not shop.prices:
        lines.append("# [[prices]]\n# diameter = 200.0\n# price = 60.0\n")
    for price in shop.prices:
        lines.append(f"[[prices]]\ndiameter = {price.diameter!r}\nprice = {price.price!r}\n")
    return "\n".join(lines)
