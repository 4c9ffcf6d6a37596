"""Peel at the tube mouth against a shell solver, Goland & Reissner, and Hart-Smith."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import bmat, diags
from scipy.sparse.linalg import spsolve

from jointrisk.errors import InputError
from jointrisk.mechanics import lap, peel
from jointrisk.mechanics.overlap import overlap_of

CARBON = {"tube_modulus": 1e5, "hoop_modulus": 1e4, "poisson_ratio": 0.2}
METAL = {"tube_modulus": 7e4, "hoop_modulus": 7e4, "poisson_ratio": 0.33}
SIZES = {"tube_outer_radius": 8.0, "plug_radius": 6.8, "gap": 0.2, "adhesive_modulus": 2000.0}


def shell_peel(shear, *, length=30.0, coupling=0.0, thinning=None, cells=2000, **joint):
    """Peel at z = 0 of a wall on an elastic layer, by least energy on a grid.

    Unknown are the axial shift u and the lift w of the middle surface. Energy: stretch along and
    around (coupled by `coupling`, a Poisson ratio), bending, layer; work: `shear` on the inner
    face, which moves by u + h w'/2 against it. The far end is held along the axis and free to lift.
    `thinning` is the inward shift of the plug's surface.
    """
    outer, inner = joint["tube_outer_radius"], joint["plug_radius"] + joint["gap"]
    h, a, E, E_hoop = (
        outer - inner,
        (outer + inner) / 2,
        joint["tube_modulus"],
        joint["hoop_modulus"],
    )
    layer = joint["adhesive_modulus"] / joint["gap"]
    step, one = length / cells, np.ones(cells + 1)
    grad = diags([-one[1:], one[1:]], [0, 1], shape=(cells, cells + 1)) / step
    mean = diags([one[1:] / 2, one[1:] / 2], [0, 1], shape=(cells, cells + 1))
    curl = diags([one, -2 * one, one], [0, 1, 2], shape=(cells - 1, cells + 1)) / step**2
    plane = 1 - coupling**2
    bending = E * h**3 / 12 / (1 - joint["poisson_ratio"] ** 2)
    around = E_hoop * h / plane / a**2 + layer
    lift = (bending * curl.T @ curl + around * mean.T @ mean).tocsr()
    both = (coupling * math.sqrt(E * E_hoop) * h / plane / a * grad.T @ mean).tocsr()
    along = (E * h / plane * grad.T @ grad).tocsr()
    z = (np.arange(cells) + 0.5) * step
    inward = np.zeros(cells) if thinning is None else thinning(z)
    force = np.concatenate(
        [-(mean.T @ shear(z))[:-1], -h / 2 * (grad.T @ shear(z)) - layer * (mean.T @ inward)]
    )
    system = bmat([[along[:-1, :-1], both[:-1]], [both[:-1].T, lift]]).tocsc()
    w = spsolve(system, force)[cells]
    return layer * (w + (0.0 if thinning is None else thinning(0.0)))


def falling(peak, over):
    return lambda z: peak * np.exp(-z / over)


# The closed form against the shell ---------------------------------------------------------------


@pytest.mark.parametrize("wall", [CARBON, METAL])
@pytest.mark.parametrize("over", [0.3, 1.0, 5.0, 20.0])
def test_falling_shear_against_the_shell(wall, over):
    found = peel.mouth_peel(20.0, **SIZES, **wall, shear_length=over)
    assert found == pytest.approx(shell_peel(falling(20.0, over), **SIZES, **wall), rel=5e-4)


@pytest.mark.parametrize("wall", [CARBON, METAL])
def test_even_shear_against_the_shell(wall):
    found = peel.mouth_peel(20.0, **SIZES, **wall)
    assert found == pytest.approx(shell_peel(lambda z: 20.0 + 0 * z, **SIZES, **wall), rel=5e-4)


@pytest.mark.parametrize(("outer", "gap", "layer"), [(12.0, 0.1, 500.0), (7.6, 0.5, 8000.0)])
def test_other_walls_and_layers_against_the_shell(outer, gap, layer):
    joint = SIZES | METAL | {"tube_outer_radius": outer, "gap": gap, "adhesive_modulus": layer}
    found = peel.mouth_peel(20.0, **joint, shear_length=4.0)
    assert found == pytest.approx(shell_peel(falling(20.0, 4.0), length=80.0, **joint), rel=2e-3)


def test_shear_of_an_elastic_overlap_against_the_shell(joint):
    """The length told in the docstring gives the whole cosh solution's peel."""
    geometry = overlap_of(8.0, 6.8, 0.2, 30.0, 1e5, 7e4, 3.4)
    over = math.sqrt(geometry.layer / (joint["adhesive_shear_modulus"] * geometry.softness))
    share = float(geometry.plug_share)

    def shear(z):
        x, length = z / over, 30.0 / over
        return share * np.cosh(length - x) + (1 - share) * np.cosh(x)

    peak = shear(0.0)
    found = peel.mouth_peel(peak, **SIZES, **CARBON, shear_length=over)
    assert found == pytest.approx(shell_peel(shear, **SIZES, **CARBON), rel=0.01)


# What is left out, and how much it is ------------------------------------------------------------


@pytest.mark.parametrize(("wall", "most"), [(CARBON, 0.02), (METAL, 0.05)])
@pytest.mark.parametrize("over", [0.3, 1.0, 5.0])
def test_hoop_stretched_by_the_tubes_pull_takes_a_little_off(wall, most, over):
    found = peel.mouth_peel(20.0, **SIZES, **wall, shear_length=over)
    coupled = shell_peel(falling(20.0, over), coupling=wall["poisson_ratio"], **SIZES, **wall)
    assert 1 - most < coupled / found < 1


@pytest.mark.parametrize("wall", [CARBON, METAL])
@pytest.mark.parametrize("over", [0.5, 5.0, 1e6])
def test_thinning_of_the_plug_adds_what_the_docstring_says(wall, over):
    E, E_hoop, nu = wall.values()
    u = 0.33 * 6.8 * 1e-3
    layer, hoop, lam = 2000 / 0.2, E_hoop / 7.5**2, 1 / over
    b = ((layer + hoop) / (4 * E / 12 / (1 - nu**2))) ** 0.25
    told = 2 * b * (b + lam) * layer / (layer + hoop) / (2 * b**2 + 2 * b * lam + lam**2)
    added = shell_peel(lambda z: 0 * z, thinning=falling(u, over), **SIZES, **wall)
    assert added == pytest.approx(layer * u * (1 - told), rel=0.01)


@pytest.mark.parametrize("wall", [CARBON, METAL])
def test_overlap_of_four_waves_is_long_enough_and_of_two_is_not(wall):
    E, E_hoop, nu = wall.values()
    b = ((2000 / 0.2 + E_hoop / 7.5**2) / (4 * E / 12 / (1 - nu**2))) ** 0.25
    found = peel.mouth_peel(20.0, **SIZES, **wall)

    def short(waves):
        return shell_peel(lambda z: 20.0 + 0 * z, length=waves / b, **SIZES, **wall)

    assert short(4) == pytest.approx(found, rel=0.03)
    assert short(2) > 1.3 * found


# Published limits --------------------------------------------------------------------------------

FLAT = {"tube_outer_radius": 1e6 + 1.6, "plug_radius": 1e6 - 0.2, "gap": 0.2}


def test_flat_wall_with_even_shear_is_hart_smiths_double_lap():
    """sigma = tau [3 E_a (1 - nu^2) h/(E t)]^(1/4), NASA CR-112235 (1973), from memory."""
    found = peel.mouth_peel(30.0, **FLAT, **METAL, adhesive_modulus=2000.0)
    told = 30.0 * (3 * 2000.0 * (1 - 0.33**2) * 1.6 / (7e4 * 0.2)) ** 0.25
    assert found == pytest.approx(told, rel=1e-6)


@pytest.mark.parametrize(("shear", "L"), [(5.0, 25.0), (15.0, 40.0)])
def test_flat_wall_with_an_edge_moment_is_goland_and_reissners_wide_lap(shear, L):
    """Moment part of their peel in a lap long against its waves, 1944, from memory.

    sigma = (P/h) (h/c)^2 (lambda^2 k/2), lambda = (c/h) (6 E_a h/(E t))^(1/4), c = L/2, their
    nu left out of lambda. Both strips lift from the middle of the layer: each is a wall on a layer
    of t/2, with half the moment k P h/2. As shear over a very short length: tau/lambda = k P/2.
    """
    h, t, E, E_a = 1.6, 0.2, 7e4, 2000.0
    k = lap.goland_reissner_factor(shear, L, h, E, 0.0)
    wave = L / 2 / h * (6 * E_a * h / (E * t)) ** 0.25
    assert wave > 4
    told = shear * L / h * (2 * h / L) ** 2 * wave**2 * k / 2
    flat = {"tube_outer_radius": 1e6 + h, "plug_radius": 1e6 - t / 2, "gap": t / 2}
    wall = {"tube_modulus": E, "hoop_modulus": E, "poisson_ratio": 0.0}
    over = 1e-6
    found = peel.mouth_peel(
        k * shear * L / 2 / over, **flat, **wall, adhesive_modulus=E_a, shear_length=over
    )
    assert found == pytest.approx(told, rel=1e-5)


# Properties --------------------------------------------------------------------------------------

positive = st.floats(0.1, 10)
joints = st.fixed_dictionaries(
    {
        "plug_radius": st.floats(2, 20), "gap": st.floats(0.02, 1), "wall": st.floats(0.3, 4),
        "tube_modulus": st.floats(1e4, 2.5e5), "hoop_modulus": st.floats(5e3, 2.5e5),
        "poisson_ratio": st.floats(0, 0.5), "adhesive_modulus": st.floats(50, 9000),
        "shear_length": st.floats(0.05, 1e3),
    }
).map(lambda j: j | {"tube_outer_radius": j["plug_radius"] + j["gap"] + j.pop("wall")})  # fmt: skip


@settings(deadline=None, max_examples=60)
@given(joints, st.floats(-50, 50), positive, positive)
def test_scaling(joint, shear, stress, size):
    """Linear in the shear; stresses and moduli scale alike; sizes drop out when all grow alike."""
    found = peel.mouth_peel(shear, **joint)
    assert peel.mouth_peel(-shear, **joint) == -found
    stiffer = {name: value * stress for name, value in joint.items() if "modulus" in name}
    scaled = peel.mouth_peel(stress * shear, **(joint | stiffer))
    assert scaled == pytest.approx(stress * found, rel=1e-9)
    lengths = ("tube_outer_radius", "plug_radius", "gap", "shear_length")
    larger = {name: joint[name] * size for name in lengths}
    assert peel.mouth_peel(shear, **(joint | larger)) == pytest.approx(found, rel=1e-9)


@settings(deadline=None, max_examples=60)
@given(joints, st.floats(1.01, 10))
def test_shear_that_reaches_further_and_a_stiffer_layer_peel_more(joint, factor):
    found = peel.mouth_peel(10.0, **joint)
    further = joint | {"shear_length": joint["shear_length"] * factor}
    assert peel.mouth_peel(10.0, **further) > found > 0
    even = peel.mouth_peel(10.0, **(joint | {"shear_length": None}))
    assert found < even
    assert peel.mouth_peel(10.0, **(joint | {"shear_length": 1e9})) == pytest.approx(even)
    stiff = joint | {"adhesive_modulus": joint["adhesive_modulus"] * factor}
    assert peel.mouth_peel(10.0, **stiff) > found


def test_arrays_and_scalars_go_the_same_way():
    over = np.array([0.5, 3.0, 40.0])
    many = peel.mouth_peel(20.0, **SIZES, **METAL, shear_length=over)
    assert many.shape == (3,)
    for length, stress in zip(over, many, strict=True):
        one = peel.mouth_peel(20.0, **SIZES, **METAL, shear_length=length)
        assert one == stress
        assert np.ndim(one) == 0


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"mouth_shear": math.nan}, r"^mouth_shear must be finite; got nan$"),
        ({"gap": 0}, r"^gap must be .* got 0$"),
        ({"tube_outer_radius": 7}, r"plug_radius \+ gap must be less .* got 7 against 7$"),
        ({"hoop_modulus": -3}, r"^hoop_modulus must be .* got -3$"),
        ({"poisson_ratio": 0.6}, r"^poisson_ratio must be .* at most 0\.5; got 0\.6$"),
        ({"adhesive_modulus": 0}, r"^adhesive_modulus must be .* got 0$"),
        ({"shear_length": -2}, r"^shear_length must be .* got -2$"),
        ({"gap": [0.1, 0.2], "mouth_shear": [1, 2, 3]}, r"mouth_shear \(3,\), gap \(2,\)"),
    ],
)
def test_refusals(changed, message):
    with pytest.raises(InputError, match=message):
        peel.mouth_peel(**({"mouth_shear": 20.0} | SIZES | METAL | changed))


def test_a_layer_held_still_along_itself_is_hooke_s_law_with_two_strains_at_nought():
    """sigma_z = lame eps + 2 G eps; lame = 2 G nu/(1 - 2 nu)."""
    for nu in (0.0, 0.2, 0.38, 0.45):
        lame = 2 * 700.0 * nu / (1 - 2 * nu)
        assert peel.constrained_modulus(700.0, nu) == pytest.approx(lame + 2 * 700.0)
    young = 2 * 700.0 * 1.38
    textbook = young * (1 - 0.38) / ((1 + 0.38) * (1 - 2 * 0.38))
    assert peel.constrained_modulus(700.0, 0.38) == pytest.approx(textbook)


def test_a_layer_that_keeps_its_volume_has_no_such_modulus():
    with pytest.raises(InputError, match=r"poisson_ratio.*0\.5"):
        peel.constrained_modulus(700.0, 0.5)
