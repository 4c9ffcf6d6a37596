"""What a scenario file becomes."""

import dataclasses
import hashlib
import itertools
import math
import pickle

import pytest
from scipy import stats

from jointrisk import scenario, spread
from jointrisk.scenario import tables
from jointrisk.scenario.catalogue import QUANTITIES

ALWAYS = {
    *("tube.bore", "plug.diameter", "plug.overlap", "plug.glued_share", "plug.off_centre"),
    *("adhesive.shear_strength", "preparation.plug", "preparation.tube", "weak_bonds.keeps"),
    *("tube.tension_strength", "tube.compression_strength", "tube.modulus", "rods.bow"),
    *("rods.load_offset", "plug.strength", "batch.bond_factor", "weak_bonds.share_in_bad_batch"),
    *("adhesive.shear_strength_range", "adhesive.toughness_range", "adhesive.shear_modulus"),
    *("evidence.factor", "model.bond_factor", "model.load_factor", "model.gap_factor_exponent"),
    *("model.toughness_exponent", "weak_bonds.lone_weight", "weak_bonds.bad_batch_weight"),
    *("service.hottest", "service.coldest", "tube.outer_diameter", "plug.bore", "plug.modulus"),
    *("plug.expansion", "tube.expansion", "tube.shear_modulus", "rods.length"),
    *("service.workshop_temperature", "adhesive.cure_temperature", "service.humidity"),
    *("ageing.wet_share", "ageing.wetting_time", "ageing.own_scatter"),
    *("weak_bonds.latent_weight", "weak_bonds.latent_keeps"),
    *("proof.damage_from", "proof.damage_most"),
}
PLIES = {"tube.interlaminar_strength", "tube.interlaminar_toughness", "tube.peel_strength"}


def read(text):
    return scenario.load_text(text)


def spread_of(found, key):
    return found.variables[key].spread


def codes(found):
    return {warning.code for warning in found.warnings}


def test_the_variables_are_those_the_model_reads(small):
    assert set(read(small()).variables) == ALWAYS | PLIES | {"adhesive.toughness"}
    steel = read(small(('"carbon tube, roll-wrapped"', '"steel S355"')))
    assert set(steel.variables) == ALWAYS | {"adhesive.toughness"}
    assert not steel.tube_is_composite
    strain = read(small(("[adhesive]", "[adhesive]\nfailure_strain = 1.2")))
    assert set(strain.variables) == ALWAYS | PLIES | {"adhesive.failure_strain"}
    assert not strain.toughness_given
    assert isinstance(spread_of(strain, "adhesive.toughness_range"), spread.Fixed)
    thread = read(small(("[service]", '[thread]\nsize = "M6"\n[service]')))
    assert "thread.engagement" in thread.variables


def test_every_variable_carries_its_row_of_the_list(small):
    for key, variable in read(small()).variables.items():
        row = QUANTITIES[key]
        assert (variable.key, variable.scope, variable.kind) == (key, row.scope, row.kind)
        assert variable.label == row.label
        assert variable.source
        assert variable.confidence in {*tables.CONFIDENCE.values(), "given"}


def test_given_values_arrive_in_house_units(small):
    found = read(
        small(
            ('"400 mm"', '"16 in"'),
            ('mean = "25 mm"', 'mean = "1 in"'),
            ('"10 years"', '"18 months"'),
            ('hottest = "45 degC"', 'hottest = "140 degF"'),
        )
    )
    assert spread_of(found, "rods.length").mean == pytest.approx(406.4)
    assert spread_of(found, "plug.overlap").mean == pytest.approx(25.4)
    assert found.life == pytest.approx(1.5)
    assert spread_of(found, "service.hottest").mean == pytest.approx(60.0)


def test_a_file_on_disk_gives_its_path_and_hash(small, tmp_path):
    path = tmp_path / "rod.toml"
    content = ("\ufeff" + small()).encode()
    path.write_bytes(content)
    found = scenario.load(path)
    assert found.path == str(path)
    assert found.sha256 == hashlib.sha256(content).hexdigest()
    assert dataclasses.replace(found, path="scenario", sha256="") == dataclasses.replace(
        read(small()), sha256=""
    )


def test_two_readings_agree(small):
    assert read(small()) == read(small())


@pytest.mark.parametrize(("line", "seed"), [("", 1), ("seed = 0", 0), ("seed = 77", 77)])
def test_seed_zero_is_a_seed(small, line, seed):
    assert read(small(("schema = 1", f"schema = 1\n{line}"))).seed == seed


class TestFit:
    GAP = ('diameter = { mean = "11.6 mm", sd = "0.02 mm" }', "radial_gap = {}")

    def with_gap(self, small, gap, *more):
        old, new = self.GAP
        return read(small((old, new.format(gap)), *more))

    def test_two_diameters_stay_as_given(self, small):
        found = read(small())
        assert spread_of(found, "tube.bore") == spread.Normal(12.0, 0.03)
        assert spread_of(found, "plug.diameter") == spread.Normal(11.6, 0.02)

    @pytest.mark.parametrize(
        ("gap", "mean", "sd"),
        [
            ('"0.2 mm"', 0.2, 0.0),
            ('{ mean = "0.2 mm", sd = "0.02 mm" }', 0.2, 0.02),
            ('{ never_outside = ["0.1 mm", "0.3 mm"] }', 0.2, 0.2 / math.sqrt(12)),
            (
                '{ never_outside = ["0.1 mm", "0.3 mm"], most_likely = "0.15 mm" }',
                stats.triang(0.25, 0.1, 0.2).mean(),
                stats.triang(0.25, 0.1, 0.2).std(),
            ),
        ],
    )
    def test_the_gap_comes_out_as_written(self, small, gap, mean, sd):
        found = self.with_gap(small, gap)
        bore, plug = (spread_of(found, key) for key in ("tube.bore", "plug.diameter"))
        assert bore == spread.Fixed(12.0)
        assert (bore.mean - plug.mean) / 2 == pytest.approx(mean)
        assert plug.sd / 2 == pytest.approx(sd, abs=1e-12)

    def test_a_skewed_gap_keeps_its_side(self, small):
        gap = '{ never_outside = ["0.1 mm", "0.3 mm"], most_likely = "0.1 mm" }'
        plug = spread_of(self.with_gap(small, gap), "plug.diameter")
        law = stats.triang(0.0, 0.1, 0.2)
        assert plug.cdf(11.7) == pytest.approx(law.sf(0.15))

    def test_the_bore_may_be_the_one_that_is_derived(self, small):
        found = read(
            small(
                ('bore = { mean = "12 mm", sd = "0.03 mm" }', ""),
                ("[plug]", '[plug]\nradial_gap = { mean = "0.2 mm", sd = "0.02 mm" }'),
            )
        )
        assert spread_of(found, "plug.diameter") == spread.Fixed(11.6)
        bore = spread_of(found, "tube.bore")
        assert (bore.mean, bore.sd) == pytest.approx((12.0, 0.04))

    def test_a_lognormal_gap_is_refused(self, small, problems):
        old, new = self.GAP
        gap = '{ median = "0.2 mm", cov = 0.1, dist = "lognormal" }'
        (line,) = problems(small((old, new.format(gap))))
        assert "plug.radial_gap" in line
        assert "lognormal" in line

    def test_warnings_about_the_gap(self, small):
        assert "gap-wide" in codes(self.with_gap(small, '"0.6 mm"'))
        assert "gap-narrow" in codes(self.with_gap(small, '"0.03 mm"'))
        tight = small(('mean = "11.6 mm"', 'mean = "11.95 mm"'))
        assert "gap-may-vanish" in codes(read(tight))
        assert not codes(read(small())) & {"gap-wide", "gap-narrow", "gap-may-vanish"}


class TestMembers:
    def test_a_thread_takes_its_tapping_drill_out_of_the_plug(self, small):
        plain = read(small())
        assert plain.thread is None
        assert spread_of(plain, "plug.bore").mean == 0
        found = read(small(("[service]", '[thread]\nsize = "M8"\n[service]')))
        # M8: pitch 1.25 mm, tapping drill 6.75 mm, sold as 6.8 mm.
        assert (found.thread.major_diameter, found.thread.pitch) == (8.0, 1.25)
        assert spread_of(found, "plug.bore").mean == pytest.approx(6.75)
        assert spread_of(found, "thread.engagement").mean == pytest.approx(12.0)

    def test_a_hole_of_your_own_beats_the_drill(self, small):
        found = read(
            small(
                ("[plug]", '[plug]\nbore = "5 mm"'),
                ("[service]", '[thread]\nsize = "M8"\n[service]'),
            )
        )
        assert spread_of(found, "plug.bore").mean == 5.0

    def test_the_load_is_off_by_a_share_of_the_tube(self, small):
        base = spread_of(read(small()), "rods.load_offset")
        assert (base.low, base.high) == pytest.approx((0.02 * 14, 0.05 * 14))

    def test_materials_bring_their_numbers(self, small):
        found = read(small())
        cells = tables.materials()["carbon tube, roll-wrapped"].cells
        for name, cell in cells.items():
            base = spread_of(found, f"tube.{name}")
            assert base.mean == pytest.approx(cell.typical)
            assert base.sd == pytest.approx((cell.cov or 0) * abs(cell.typical))
        assert spread_of(found, "plug.strength").mean == pytest.approx(310)
        assert spread_of(found, "plug.expansion").mean == pytest.approx(23.5e-6)

    def test_a_number_of_your_own_beats_the_table(self, small):
        found = read(small(("[tube]", '[tube]\nmodulus = { mean = "95 GPa", cov = 0.03 }')))
        variable = found.variables["tube.modulus"]
        assert variable.spread.mean == pytest.approx(95000)
        assert (variable.origin, variable.confidence) == ("scenario", "given")

    def test_scope_kind_and_source_can_be_said(self, small):
        words = 'scope = "rod", kind = "not known", source = "pin gauge"'
        raw = 'bore = { mean = "12 mm", sd = "0.03 mm", ' + words + " }"
        variable = read(small(('bore = { mean = "12 mm", sd = "0.03 mm" }', raw))).variables[
            "tube.bore"
        ]
        assert (variable.scope, variable.kind, variable.source) == ("rod", "not known", "pin gauge")

    def test_the_heat_curve_of_the_wall(self, small):
        own = '[tube]\nstrength_by_temperature = [["20 degC", 1], ["80 degC", "60 %"]]'
        assert read(small(("[tube]", own))).wall_strength_by_temperature == ((20, 1), (80, 0.6))
        steel = read(small(('"carbon tube, roll-wrapped"', '"steel S355"')))
        assert {factor for _, factor in steel.wall_strength_by_temperature} == {1.0}


class TestBond:
    OWN = 'shear_strength = { mean = "24 MPa", cov = 0.1 }'

    def own(self, small, evidence="", *more):
        said = f'evidence = "{evidence}"\n' if evidence else ""
        return read(small(("[adhesive]", f"[adhesive]\n{said}{self.OWN}"), *more))

    def test_a_class_brings_its_range_about_one(self, small):
        found = read(small())
        assert found.evidence == "class default"
        width = spread_of(found, "adhesive.shear_strength_range")
        assert width.ppf(0.5) == pytest.approx(1.0)
        assert width.ppf(0.95) / width.ppf(0.05) == pytest.approx(32 / 18, rel=1e-9)
        tough = spread_of(found, "adhesive.toughness_range")
        assert (tough.ppf(0.05), tough.ppf(0.95)) == pytest.approx((0.5, 2.0), rel=1e-9)
        modulus = spread_of(found, "adhesive.shear_modulus")
        assert (modulus.ppf(0.05), modulus.ppf(0.95)) == pytest.approx((400, 1000), rel=1e-9)

    @pytest.mark.parametrize(
        ("evidence", "mean", "cov"),
        [("own pulls", 1.0, 0.08), ("own coupons", 1.0, 0.2), ("data sheet", 0.6, 0.3)],
    )
    def test_what_the_evidence_is_worth(self, small, evidence, mean, cov):
        found = self.own(small, evidence)
        base = spread_of(found, "evidence.factor")
        assert (base.mean, base.sd / base.mean) == pytest.approx((mean, cov))
        assert found.evidence == evidence
        assert spread_of(found, "adhesive.shear_strength_range") == spread.Fixed(1.0)
        assert "evidence-not-stated" not in codes(found)

    def test_a_number_without_evidence_counts_as_a_data_sheet(self, small):
        found = self.own(small)
        assert found.evidence == "data sheet"
        assert "evidence-not-stated" in codes(found)

    def test_preparation_is_a_ratio_of_two_rows(self, small):
        used = ("[service]", '[preparation]\nplug = "degreased"\n[service]')
        base = spread_of(read(small(used)), "preparation.plug")
        # 837 and 1540 psi in the table.
        assert base.mean == pytest.approx(837 / 1540, abs=0.01)
        again = self.own(
            small, "own coupons", used, ("class =", 'evidence_surface = "degreased"\nclass =')
        )
        assert spread_of(again, "preparation.plug").mean == pytest.approx(1.0)
        assert spread_of(again, "preparation.tube").mean == pytest.approx(1540 / 837, rel=0.02)

    def test_a_laboratory_is_not_bettered(self, small):
        etched = ("[service]", '[preparation]\nplug = "etched"\n[service]')
        assert spread_of(read(small(etched)), "preparation.plug").mean == pytest.approx(1 / 0.6)
        own = spread_of(self.own(small, "own coupons", etched), "preparation.plug")
        assert own.mean == pytest.approx(2800 / 1540, abs=0.01)

    def test_own_pulls_contain_the_surface(self, small):
        used = ("[service]", '[preparation]\nplug = "degreased"\n[service]')
        found = self.own(small, "own pulls", used)
        assert spread_of(found, "preparation.plug") == spread.Fixed(1.0)
        assert "preparation-already-contained" not in codes(found)
        other = ("class =", 'evidence_surface = "etched"\nclass =')
        differs = self.own(small, "own pulls", used, other)
        assert spread_of(differs, "preparation.plug").mean == pytest.approx(837 / 2800, abs=0.01)
        assert "preparation-already-contained" in codes(differs)

    def test_a_ratio_of_your_own(self, small):
        used = ("[service]", "[preparation]\ntube = { mean = 0.8, cov = 0.1 }\n[service]")
        base = spread_of(read(small(used)), "preparation.tube")
        assert (base.mean, base.sd) == pytest.approx((0.8, 0.08))

    def test_an_unknown_adhesive_is_wider_and_said_so(self, small):
        found = read(small(('"two-part toughened epoxy"', '"don\'t know"')))
        assert "adhesive-unknown" in codes(found)
        width = spread_of(found, "adhesive.shear_strength_range")
        assert width.ppf(0.95) / width.ppf(0.05) == pytest.approx(45 / 5, rel=1e-9)

    def test_heat_of_the_class_and_of_your_own(self, small):
        found = read(small())
        assert found.hard_stop_temperature == 65
        assert found.strength_by_temperature[:2] == ((23.0, 1.0), (60.0, 0.55))
        curve = 'strength_by_temperature = [["68 degF", 1], ["60 degC", 0.4]]'
        own = f'[adhesive]\n{curve}\nhard_stop_temperature = "80 degC"'
        mine = read(small(("[adhesive]", own)))
        assert mine.hard_stop_temperature == 80
        (cool, full), (warm, left) = mine.strength_by_temperature
        assert (cool, full, warm, left) == pytest.approx((20.0, 1.0, 60.0, 0.4))

    @pytest.mark.parametrize("name", list(tables.adhesives()))
    def test_strength_never_rises_with_heat(self, small, name):
        escaped = name.replace("'", "\\u0027")
        points = read(small(("two-part toughened epoxy", escaped))).strength_by_temperature
        assert all(a[0] < b[0] and a[1] >= b[1] for a, b in itertools.pairwise(points))

    def test_too_hot_is_warned(self, small):
        hot = read(small(('hottest = "45 degC"', 'hottest = "70 degC"')))
        assert "hotter-than-adhesive" in codes(hot)
        assert "hotter-than-adhesive" not in codes(read(small()))

    def test_weak_weights_lie_about_half_a_percent(self, small):
        base = spread_of(read(small()), "weak_bonds.lone_weight")
        assert (base.ppf(0.05), base.ppf(0.95)) == pytest.approx((0.001, 0.03), rel=1e-3)
        assert base.ppf(1 - 1e-14) <= 0.5


def test_no_text_of_the_program_promises_safety():
    found = read(scenario.new("plug-in-tube"))
    said = [w.text for w in found.warnings] + [a.source for a in found.assumptions]
    said.append(scenario.new("plug-in-tube"))
    assert not any(" safe " in f" {text.lower()} " for text in said)


def test_a_scenario_can_be_sent_to_another_process(small):
    found = read(small())
    assert pickle.loads(pickle.dumps(found)) == found  # noqa: S301
