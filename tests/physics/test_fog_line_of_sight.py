"""Lines of sight through an axisymmetric field."""

from __future__ import annotations

import numpy as np
import pytest

from swirlwright.postproc.fog.line_of_sight import optical_depth


def _worst_error(cells: int) -> float:
    """Largest error of the projected Gaussian of width 1/4, over its largest value, on a stretched grid."""
    s = np.linspace(0.0, 1.0, cells + 1)
    faces = 1.5 * (0.4 * s + 0.6 * s**2)
    centres = 0.5 * (faces[1:] + faces[:-1])
    width, y = 0.25, np.linspace(-1.2, 1.2, 61)
    depth = optical_depth(faces, np.exp(-((centres / width) ** 2))[None, :], y)[0]
    exact = np.sqrt(np.pi) * width * np.exp(-((y / width) ** 2))
    return float(np.abs(depth - exact).max() / exact.max())


def test_gaussian_is_projected_to_its_closed_form_at_second_order() -> None:
    """The integral of exp(-r^2/a^2) along a line is sqrt(pi) a exp(-y^2/a^2); halving the cells quarters the error."""
    errors = [_worst_error(n) for n in (40, 80, 160)]
    assert errors[1] < 2e-3
    assert np.diff(np.log2(errors)) == pytest.approx(-2.0, abs=0.15)


def test_level_field_gives_the_chord() -> None:
    """Through a level field the integral is the chord 2 sqrt(R^2 - y^2), and nothing beside the field, to round-off."""
    faces = np.array([0.0, 0.1, 0.25, 0.5])
    y = np.array([0.0, 0.05, -0.2, 0.49, 0.5, 0.7])
    depth = optical_depth(faces, 3.0 * np.ones((2, 3)), y)
    assert depth.shape == (2, 6)
    assert depth == pytest.approx(np.tile(6.0 * np.sqrt(np.maximum(0.25 - y**2, 0.0)), (2, 1)), rel=1e-14, abs=1e-14)


def test_hollow_field_is_brightest_near_its_inner_rim() -> None:
    """A tube of fog shows more at its rim than on its axis, and the whole projection holds what the field holds."""
    faces = np.linspace(0.0, 1.0, 201)
    centres = 0.5 * (faces[1:] + faces[:-1])
    field = np.exp(-(((centres - 0.5) / 0.05) ** 2))
    y = np.linspace(0.0, 1.0, 2001)
    depth = optical_depth(faces, field[None, :], y)[0]
    assert 0.4 < y[np.argmax(depth)] < 0.52
    # 2 int depth dy = int field 2 pi r dr.
    total = 2.0 * np.trapezoid(depth, y)
    assert total == pytest.approx((field * np.pi * np.diff(faces**2)).sum(), rel=2e-4)


@pytest.mark.parametrize("faces, cells", [([0.0, 0.5, 0.4], 2), ([0.0, 0.5, 1.0], 3)])
def test_wrong_shapes_are_refused(faces: list[float], cells: int) -> None:
    """Faces that do not rise and fields of another length raise ValueError."""
    with pytest.raises(ValueError, match="radius_faces"):
        optical_depth(faces, np.ones((1, cells)), [0.0])
