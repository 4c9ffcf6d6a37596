"""Shapes, numbers and refusals of the functions in `jointrisk.mechanics.tubular`."""

import inspect

import numpy as np
import pytest

from jointrisk.errors import InputError
from jointrisk.mechanics import tubular

# ---- shapes and numbers --------------------------------------------------------------------


def test_scalars_give_scalars(joint):
    result = tubular.pull_out(**joint, mode_ii_toughness=2.0)
    names = (
        "force",
        "governs",
        "bounded",
        "first_yield",
        "yield_force",
        "long_overlap_force",
    )
    assert {np.ndim(getattr(result, name)) for name in names} == {0}
    assert isinstance(float(result.force), float)


def test_arguments_broadcast(joint):
    grid = joint | {"overlap": np.linspace(5, 50, 4)[:, None], "gap": np.array([0.1, 0.2, 0.3])}
    result = tubular.pull_out(**grid, mode_ii_toughness=2.0)
    assert result.force.shape == (4, 3)
    one = tubular.pull_out(**joint | {"overlap": 35.0, "gap": 0.2}, mode_ii_toughness=2.0)
    assert result.force[2, 1] == pytest.approx(float(one.force), rel=1e-12)
    assert (
        tubular.pull_out(**grid | {"overlap": np.empty((0, 3))}, mode_ii_toughness=2.0).force.size
        == 0
    )


def test_integers_and_lists_are_numbers(joint):
    plain = joint | {"overlap": [30, 40], "tube_modulus": 100_000}
    assert tubular.pull_out(**plain, mode_ii_toughness=2).force.shape == (2,)


def test_arguments_are_left_alone(many):
    joints = many(100)
    kept = {key: value.copy() for key, value in joints.items()}
    tubular.pull_out(**joints, mode_ii_toughness=1.0, misfit_strain=1e-3)
    for key, value in joints.items():
        np.testing.assert_array_equal(value, kept[key])


# ---- refusals ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name",
    [
        "tube_outer_radius",
        "plug_radius",
        "gap",
        "overlap",
        "tube_modulus",
        "plug_modulus",
        "adhesive_shear_modulus",
        "adhesive_shear_strength",
        "mode_ii_toughness",
    ],
)
@pytest.mark.parametrize("value", [0.0, -2.5, float("nan"), float("inf")])
def test_not_positive_is_refused_with_name_and_value(joint, name, value):
    case = joint | {"mode_ii_toughness": 2.0}
    case[name] = [case[name], value]
    with pytest.raises(InputError, match=rf"^{name} must be finite, above 0; got {value:g}$"):
        tubular.pull_out(**case)


def test_worst_of_many_is_named(joint):
    case = joint | {"gap": [0.2, -0.01, -0.3, 0.1], "mode_ii_toughness": 1.0}
    with pytest.raises(InputError, match=r"gap must be .* got -0\.3$"):
        tubular.pull_out(**case)


def test_plug_that_does_not_fit_is_refused(joint):
    case = joint | {"gap": [0.2, 1.3], "mode_ii_toughness": 1.0}
    with pytest.raises(
        InputError,
        match=r"plug_radius \+ gap must be less than tube_outer_radius; got 8\.1 ag.* 8$",
    ):
        tubular.pull_out(**case)


def test_bore_as_wide_as_the_plug_is_refused(joint):
    case = joint | {"plug_bore_radius": 6.9, "mode_ii_toughness": 1.0}
    with pytest.raises(InputError, match=r"plug_bore_radius must be less .* got 6\.9 against 6\.8"):
        tubular.pull_out(**case)


@pytest.mark.parametrize(
    ("laws", "given"),
    [({}, "neither"), ({"failure_shear_strain": 0.5, "mode_ii_toughness": 2.0}, "both")],
)
def test_exactly_one_law(joint, laws, given):
    with pytest.raises(InputError, match=rf"exactly one of .*; got {given}$"):
        tubular.pull_out(**joint, **laws)


@pytest.mark.parametrize("name", ["offset", "plug_bore_radius"])
def test_negative_is_refused(joint, name):
    case = joint | {name: -0.125, "mode_ii_toughness": 1.0}
    with pytest.raises(InputError, match=rf"^{name} must be finite, at least 0; got -0\.125$"):
        tubular.pull_out(**case)


def test_shapes_that_do_not_fit_are_refused(joint):
    case = joint | {"gap": [0.1, 0.2], "overlap": [20.0, 30.0, 40.0], "mode_ii_toughness": 1.0}
    with pytest.raises(InputError, match=r"gap \(2,\), overlap \(3,\)"):
        tubular.pull_out(**case)
    case = joint | {"gap": [0.1, 0.2], "mode_ii_toughness": [1.0, 2.0, 3.0]}
    with pytest.raises(InputError, match=r"joint \(2,\), mode_ii_toughness \(3,\)"):
        tubular.pull_out(**case)


def test_words_are_refused(joint):
    with pytest.raises(InputError, match="overlap must be a number or numbers, got 'long'"):
        tubular.pull_out(**joint | {"overlap": "long"}, mode_ii_toughness=1.0)


def test_every_argument_goes_by_keyword():
    for function in (tubular.pull_out, tubular.elastic_shear, tubular.long_overlap_force):
        kinds = {p.kind for p in inspect.signature(function).parameters.values()}
        assert kinds == {inspect.Parameter.KEYWORD_ONLY}
