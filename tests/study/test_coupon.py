"""What coupons say of the layer: each verdict by the case that makes it."""

import dataclasses
import json
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import jointrisk
from jointrisk.errors import EstimateError, ScenarioError
from jointrisk.mechanics import flat, lap
from jointrisk.scenario import tables
from jointrisk.study.coupon import VERDICTS, single_lap

COUPON = {
    "width": "25 mm",
    "overlap": "12.5 mm",
    "thickness": "1.6 mm",
    "material": "aluminium 6082-T6",
    "bond_line": "0.2 mm",
    "adhesive_class": "two-part toughened epoxy",
    "load": ["6.4 kN", "6.0 kN", "6.2 kN"],
}
AREA = 25 * 12.5


def test_strips_that_yield_leave_a_lower_bound():
    found = single_lap(**COUPON)
    assert found.verdict == "lower bound"
    assert found.strength_at_least == found.mean_shear == pytest.approx(6200 / AREA)
    assert found.strength_at_most is None
    assert found.coupons_above_limit == 3
    assert found.strip_limit_shear == lap.first_strip_yield(12.5, 1.6, 7e4, 0.3, 260.0)
    assert found.shear_cov == pytest.approx(200 / 6200)
    assert found.strip_stress == pytest.approx(6200 / 40)


def test_strips_of_the_advised_thickness_stay_elastic():
    thin = single_lap(**COUPON)
    thick = single_lap(**{**COUPON, "thickness": f"{thin.elastic_thickness} mm"})
    assert thick.coupons_above_limit < 3
    assert thick.strip_limit_shear > thick.mean_shear
    just = single_lap(**{**COUPON, "thickness": f"{0.98 * thin.elastic_thickness} mm"})
    assert just.strip_limit_shear < just.mean_shear


def test_elastic_strips_and_a_layer_that_flows_give_the_strength():
    found = single_lap(**{**COUPON, "thickness": "6 mm"})
    assert found.verdict == "near the strength"
    assert found.coupons_above_limit == 0
    assert found.elastic_thickness is None
    allowance = tables.default("coupon.peel_allowance").value
    assert found.strength_at_most == pytest.approx(allowance * found.strength_at_least)
    assert found.strength_at_least == found.mean_shear


def test_one_coupon_above_the_limit_is_enough_to_doubt():
    one = single_lap(**{**COUPON, "load": ["3.0 kN", "3.1 kN", "3.6 kN"]})
    assert one.coupons_above_limit == 1
    assert one.verdict == "lower bound"


def test_a_brittle_adhesive_gives_no_strength():
    found = single_lap(**{**COUPON, "adhesive_class": "two-part general epoxy"})
    assert found.verdict == "no strength"
    assert found.brittle
    assert found.strength_at_least is found.strength_at_most is None


def test_without_a_class_it_hangs_on_the_adhesive():
    found = single_lap(**{k: v for k, v in COUPON.items() if k != "adhesive_class"})
    assert found.verdict == "hangs on the adhesive"
    assert found.brittle is None
    assert found.strength_at_least is None


def test_without_a_yield_strength_the_strips_cannot_be_judged():
    bare = {k: v for k, v in COUPON.items() if k != "material"}
    found = single_lap(**bare, modulus="70 GPa")
    assert found.strip_limit_shear is found.coupons_above_limit is found.elastic_thickness is None
    assert found.verdict == "lower bound"


def test_strips_that_are_known_to_be_strong_make_it_sharp():
    bare = {k: v for k, v in COUPON.items() if k != "material"}
    found = single_lap(**bare, modulus="210 GPa", yield_strength="1200 MPa")
    assert found.verdict == "near the strength"


def test_a_long_lap_may_tear_from_an_end():
    """Thick strips, so that the layer alone decides; the face by the same mechanics, by hand."""
    long = {**COUPON, "thickness": "12 mm", "overlap": "250 mm", "load": "140 kN"}
    found = single_lap(**long)
    row = tables.adhesives()[COUPON["adhesive_class"]]
    shear = 140e3 / (25 * 250)

    def yields(toughness, strength):
        return flat.pull_apart(
            width=25.0, overlap=250.0, thickness_1=12.0, thickness_2=12.0, modulus_1=7e4,
            modulus_2=7e4, adhesive_thickness=0.2,
            adhesive_shear_modulus=math.sqrt(row.shear_modulus.low * row.shear_modulus.high),
            adhesive_shear_strength=strength, mode_ii_toughness=toughness,
        ).yielded  # fmt: skip

    assert not yields(row.toughness.low, 1.25 * shear)
    assert found.limit == ("either" if yields(row.toughness.high, shear) else "toughness")
    assert found.strength_at_most is None
    assert single_lap(**{**long, "overlap": "600 mm", "load": "400 kN"}).limit == "toughness"


@pytest.mark.parametrize("adhesive", tables.adhesives())
def test_the_range_of_the_class_stands_beside(adhesive):
    found = single_lap(**{**COUPON, "adhesive_class": adhesive})
    cell = tables.adhesives()[adhesive].shear_strength
    assert found.class_range == (cell.low, cell.high)


def test_end_stresses_are_those_of_the_mechanics():
    found = single_lap(**COUPON)
    G = math.sqrt(400.0 * 1000.0)  # middle of the class's range
    case = (found.mean_shear, 12.5, 1.6, 7e4, 0.3)
    assert found.bending_factor == lap.goland_reissner_factor(*case)
    assert found.shear_peak_ratio == pytest.approx(
        float(lap.goland_reissner_shear_ratio(*case, 0.2, G))
    )
    assert found.peel_peak_ratio == pytest.approx(
        float(lap.goland_reissner_peel_ratio(*case, 0.2, 2.7 * G))
    )


@given(
    load=st.floats(10, 1e5), thickness=st.floats(0.2, 40), overlap=st.floats(2, 300),
    adhesive=st.sampled_from([*tables.adhesives()]),
    material=st.sampled_from([*tables.materials()]),
)  # fmt: skip
@settings(deadline=None, max_examples=80)
def test_any_coupon_gets_an_answer_that_agrees_with_itself(
    load, thickness, overlap, adhesive, material
):
    found = single_lap(
        width="25 mm", overlap=f"{overlap} mm", thickness=f"{thickness} mm", load=f"{load} N",
        material=material, adhesive_class=adhesive,
    )  # fmt: skip
    assert found.verdict in VERDICTS
    assert 0.26 < found.bending_factor <= 1
    assert found.shear_peak_ratio >= 1 - 1e-9
    assert (found.strength_at_least is None) == (found.brittle is not False)
    if found.strength_at_most is not None:
        assert found.coupons_above_limit == 0
        assert found.limit == "yield"
        assert found.strength_at_most > found.strength_at_least
    json.dumps(found.to_dict(), allow_nan=False)


def test_the_result_is_frozen_and_tells_all_its_fields():
    found = single_lap(**COUPON)
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.verdict = "x"
    document = found.to_dict()
    flat_values = json.dumps(document)
    for field in dataclasses.fields(found):
        value = getattr(found, field.name)
        if isinstance(value, float):
            assert json.dumps(value) in flat_values, field.name
    assert document["given"]["loads"] == [6400.0, 6000.0, 6200.0]
    assert document["strength_mpa"]["at_least"] == found.mean_shear


def test_the_frame_has_the_columns_of_the_others():
    frame = single_lap(**COUPON).to_frame()
    assert list(frame) == ["quantity", "value", "low", "high", "unit"]
    row = frame.set_index("quantity").loc["shear strength of the layer"]
    assert row["low"] == pytest.approx(19.84)
    assert math.isnan(row["high"])


def test_it_is_a_public_name():
    assert jointrisk.single_lap is single_lap
    with pytest.raises(ScenarioError, match=r"width.*\n.*overlap"):
        jointrisk.single_lap(thickness="1.6 mm", material="steel S355", load="1 kN")


def test_sizes_that_give_no_number_are_refused():
    with pytest.raises(EstimateError, match=r"1e-200"):
        single_lap(**{**COUPON, "thickness": "1e-200 mm"})
