from pathlib import Path

import pytest

from photonest.model import Shop, ShopError
from photonest.model.shopfile import FIGURES, length_in_mm, read_shop, shop_from_toml, shop_template


def test_the_template_is_the_default_workshop() -> None:
    assert shop_from_toml(shop_template()) == Shop()


def test_a_template_of_any_workshop_reads_back() -> None:
    text = (
        'screws = 20\n[[jaws]]\nname = "a"\nlow = 40\nhigh = 60\nround_at = 50\n[[prices]]\ndiameter = 200\nprice = 9\n'
    )
    shop = shop_from_toml(text)
    assert shop_from_toml(shop_template(shop)) == shop


def test_inches_and_centimetres() -> None:
    shop = shop_from_toml('swing = "16 in"\nclearance = "0.5 cm"\nstand_off = [0, "8 in"]')
    assert (shop.swing, shop.clearance, shop.stand_off.high) == pytest.approx((406.4, 5.0, 203.2))
    assert length_in_mm('3.5"') == pytest.approx(88.9)


def test_all_errors_at_once_with_key_value_and_range() -> None:
    text = """
clearance = -2
wall_share = "thick"
swimg = 400
stand_off = [20]
offset = [5, -5]
min_rim = true
[[cutters]]
radius = 110
[[cutters]]
name = "big"
radius = 5
kerf = 8
colour = "red"
[[jaws]]
name = "odd"
low = 60
high = 40
"""
    with pytest.raises(ShopError) as caught:
        shop_from_toml(text, "mine.toml")
    message = str(caught.value)
    for part in (
        "mine.toml",
        "clearance = -2: must be 0 to 50 mm",
        'wall_share = "thick": must be a number',
        "did you mean swing?",
        "stand_off",
        "offset = [5, -5]: the first figure must not be more",
        "min_rim = True",
        "cutters 1: kerf is missing",
        "cutters big: radius = 5: must be 20 to 1000 mm",
        "cutters big: colour is not one of its figures",
        "jaws odd: low must not be more than high",
    ):
        assert part in message, part


@pytest.mark.parametrize(
    "text",
    [
        "clearance",
        "cutters = 3",
        "cutters = []",
        "[[prices]]\ndiameter = 300\nprice = 50\n[[prices]]\ndiameter = 200\nprice = 60",
        "[[prices]]\ndiameter = 200\nprice = 60\n[[prices]]\ndiameter = 300\nprice = 50",
        '[[jaws]]\nname = "a"\nlow = 40\nhigh = 60\nround_at = 90',
        '[[cutters]]\nname = "a"\nradius = 30\nkerf = 30',
        '[[cutters]]\nname = "a"\nradius = 90\nkerf = 8\n[[cutters]]\nname = "a"\nradius = 99\nkerf = 8',
        "clearance = nan",
    ],
)
def test_nonsense_is_refused(text: str) -> None:
    with pytest.raises(ShopError):
        shop_from_toml(text)


def test_every_default_lies_in_its_own_range() -> None:
    for key, figure in FIGURES.items():
        value = getattr(Shop(), key)
        assert value is None or figure.low <= value <= figure.high


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(ShopError, match="can't be read"):
        read_shop(tmp_path / "none.toml")
    (tmp_path / "bad.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ShopError, match="UTF-8"):
        read_shop(tmp_path / "bad.toml")


@pytest.mark.parametrize("text", ["", "# mine\n"])
def test_a_file_without_a_figure_is_no_workshop(text: str) -> None:
    with pytest.raises(ShopError, match="holds no figure"):
        shop_from_toml(text, "mine.toml")
