"""The changes of pictures that networks are taught on; they need PyTorch."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

torch = pytest.importorskip("torch")

from tests.bench.poor_photos import exposed, noisy, packed, resized, shaken, softened, spoiled, veiled  # noqa: E402


def pictures() -> Any:
    """Return three grey pictures of 45 x 60 pixels, a dark line down the middle of each."""
    image = torch.full((3, 3, 45, 60), 0.6)
    image[..., 29:32] = 0.2
    return image


def depth(image: Any) -> Any:
    """Return how much darker the line is than what lies beside it, picture by picture."""
    return image[..., 10:20].mean((1, 2, 3)) - image[..., 29:32].mean((1, 2, 3))


def test_pictures_keep_their_shape_and_range() -> None:
    torch.manual_seed(1)
    for _ in range(5):
        image = spoiled(pictures())
        assert image.shape == (3, 3, 45, 60)
        assert image.min() >= 0 and image.max() <= 1


@pytest.mark.parametrize("change", [veiled, softened, shaken])
def test_a_line_stands_out_less(change: Callable[[Any], Any]) -> None:
    torch.manual_seed(1)
    image = change(pictures())
    assert (depth(image) < depth(pictures())).all()
    assert (depth(image) > 0).all()


def test_a_jpeg_rounds_frequencies_and_keeps_the_mean() -> None:
    torch.manual_seed(1)
    image = pictures() + 0.02 * torch.randn(3, 1, 45, 60)
    off = packed(image) - image
    # steps of the mean of a block: 12 / 255 of 8 times the mean, stretched by at most e^0.7; half a step is rounded off
    assert off.mean((1, 2, 3)).abs().max() < 12 / 255 * 2.02 / 8 / 2
    assert 0.002 < off.abs().mean() < 0.05


def test_noise_has_a_spread_and_no_mean() -> None:
    torch.manual_seed(1)
    grey = torch.full((40, 3, 64, 64), 0.5)
    off = noisy(grey) - grey
    assert off.mean().abs() < 2e-3
    assert 0 < off.std((1, 2, 3)).max() < 0.09


def test_light_changes_by_a_factor_within_what_is_meant() -> None:
    torch.manual_seed(1)
    ratio = (exposed(pictures()) / pictures()).mean((1, 2, 3))
    assert ((ratio > 0.2) & (ratio < 2.5)).all()


def test_another_size_and_back_keeps_even_parts() -> None:
    image = pictures()
    assert resized(image, (45, 60)) is image
    back = resized(resized(image, (22, 30)), (45, 60))
    assert torch.allclose(back[..., :20], image[..., :20], atol=0.02)
