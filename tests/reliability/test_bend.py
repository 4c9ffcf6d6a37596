"""Where draws are laid out around a design point: widths by the bend, weights that are right."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from jointrisk.reliability.bend import lay_out
from jointrisk.reliability.form import design_point

BEND = np.array([0.3, -0.1, 0.0])
TURN = np.linalg.qr(np.random.default_rng(3).standard_normal((4, 4)))[0]


def bowl(beta, scale=1.0):
    """Paraboloid in turned axes, margins times `scale`."""

    def g(u):
        y = u @ TURN
        return scale * (beta - y[:, 0] + 0.5 * y[:, 1:] ** 2 @ BEND)

    return g


def lay(beta, scale=1.0):
    return lay_out(bowl(beta, scale), design_point(bowl(beta, scale), 4))


@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e6])
def test_bend_and_widths_of_a_paraboloid(scale):
    """Curvatures as given, in any unit of the margin; widths (1 + βκ)^(-1/2)."""
    found = lay(3.0, scale)
    np.testing.assert_allclose(np.sort(found.bend), np.sort([0.0, *BEND]), atol=1e-5)
    widths = 1 / np.sqrt(1 + 3.0 * np.array([0.0, *BEND]))
    np.testing.assert_allclose(np.sort(found.width), np.sort(widths), rtol=1e-4)
    assert found.slope == pytest.approx(scale, rel=1e-6)


def test_widths_are_bounded():
    widths = lay(9.0).width
    assert widths.max() <= 2.0
    assert widths.min() >= 0.5


def test_guess_is_the_paraboloid():
    found = lay(3.0)
    v = np.random.default_rng(0).standard_normal((50, 4))
    v -= np.outer(v @ found.point.alpha, found.point.alpha)
    at = v + found.guess(v)[:, None] * found.point.alpha
    np.testing.assert_allclose(bowl(3.0)(at), 0.0, atol=1e-3)


def test_what_holds_by_a_good_deal():
    found, normal = lay(3.0), TURN[:, 0] * np.sign(TURN[:, 0] @ lay(3.0).point.alpha)
    assert list(found.holds(np.array([1.0 * normal, 2.6 * normal, 2.8 * normal, 4 * normal]))) == [
        True,
        True,
        False,
        False,
    ]


def test_lines_have_the_plain_density_by_their_weights():
    found = lay(3.0)
    v, shaped, weight = found.draw(np.random.default_rng(1), 40_000)
    assert np.abs(v @ found.point.alpha).max() < 1e-9
    assert shaped.mean() == pytest.approx(0.8)
    assert weight.min() > 0
    assert weight.max() <= 1 / 0.2 + 1e-9
    assert weight.mean() == pytest.approx(1.0, abs=0.02)
    second = (weight[:, None] * v).T @ v / len(v)
    flat = np.eye(4) - np.outer(found.point.alpha, found.point.alpha)
    np.testing.assert_allclose(second, flat, atol=0.05)


@pytest.mark.parametrize("beta", [3.0, 6.0])
def test_draws_around_have_it_too(beta):
    """Weights have mean one, and measure a plane through the point and the whole middle."""
    found = lay(beta)
    u, which, log_weight = found.draw_around(np.random.default_rng(1), 60_000)
    weight = np.exp(log_weight)
    np.testing.assert_allclose(np.bincount(which) / len(u), [0.75, 0.1, 0.15], atol=1e-4)
    assert weight.max() <= 1 / 0.15 + 1e-3
    assert weight.mean() == pytest.approx(1.0, abs=0.03)
    beyond = u @ found.point.alpha > beta
    assert weight @ beyond / len(u) == pytest.approx(ndtr(-beta), rel=0.03)
    near = np.sum(u**2, axis=1) < 2.0
    assert weight @ near / len(u) == pytest.approx(1 - 2 * np.exp(-1.0), rel=0.06)


def test_one_call_and_no_slope():
    calls = []

    def g(u):
        calls.append(u.shape)
        return np.ones(len(u))

    assert lay_out(g, lay(3.0).point) is None
    assert calls == [(1 + 2 * 4 + 6, 4)]
