"""Loads, targets, pulls and warnings of a scenario."""

import pytest
from scipy import stats

from jointrisk import scenario, spread
from jointrisk.errors import ScenarioError


def read(text):
    return scenario.load_text(text)


def codes(found):
    return {warning.code for warning in found.warnings}


class TestUse:
    LOADS = """
[[load]]
name = "hand"
kind = "annual_maximum"
direction = "pull"
size = { mean = "400 N", cov = 0.25 }
[[load]]
name = "knock"
kind = "event"
size = { mean = "600 N", cov = 0.3 }
rate = "1 per month"
scope = "rod"
[[load]]
name = "spring"
kind = "sustained"
size = { mean = "-90 N", sd = "5 N" }
"""

    def test_each_kind_of_load_has_its_family(self, small):
        hand, knock, spring = read(small(after=self.LOADS)).loads
        assert hand.size.spread == spread.Gumbel(400.0, 100.0)
        assert isinstance(knock.size.spread, spread.Lognormal)
        assert spring.size.spread == spread.Normal(-90.0, 5.0)
        assert (hand.direction, knock.direction) == ("pull", "both")
        assert (hand.rate, knock.rate) == pytest.approx((0.0, 12.0))
        assert (hand.scope, knock.scope) == ("all", "rod")

    def test_load_sizes_are_variables(self, small):
        found = read(small(after=self.LOADS))
        for load in found.loads:
            assert found.variables[f"load.{load.name}.size"] is load.size
            assert load.size.scope == load.scope
            assert load.size.unit == "N"

    @pytest.mark.parametrize(
        ("said", "probability", "period"),
        [
            ("probability = 1e-4", 1e-4, "life"),
            ('probability = "0.1 %"\nperiod = "year"', 1e-3, "year"),
            ("index = 3.7", stats.norm.sf(3.7), "life"),
            ('failure_would_be = "injury"', 1e-5, "year"),
        ],
    )
    def test_targets(self, small, said, probability, period):
        target = read(small(("[service]", f"[target]\n{said}\n[service]"))).target
        assert target.probability == pytest.approx(probability, rel=1e-9)
        assert (target.period, target.scope) == (period, "set")

    def test_a_target_in_words_shows_its_source(self, small):
        found = read(small(("[service]", '[target]\nfailure_would_be = "death"\n[service]')))
        assert "Probabilistic Model Code" in found.target.source
        (text,) = [w.text for w in found.warnings if w.code == "target-from-words"]
        assert "licensed" in text
        assert "1 in 200,000" in text

    def test_no_target_and_no_load_are_allowed(self, small):
        found = read(small(('[life]\nduration = "10 years"\n', "")))
        assert found.target is None
        assert found.loads == ()

    def test_pulls_and_rig(self, small):
        pulls = '[[pull]]\nlabel = "bench"\nload = "75 kgf"\n[[pull]]\nload = "1 kN"\n'
        rig = '[proof]\nrig_error = "2 %"\nhighest = "8 kN"\n'
        found = read(small(after=pulls + rig))
        assert [p.label for p in found.pulls] == ["bench", "pull 2"]
        assert [p.load for p in found.pulls] == pytest.approx([75 * 9.80665, 1000.0])
        assert found.proof.rig_error_cov == pytest.approx(0.02)
        assert found.proof.highest == pytest.approx(8000)
        assert (found.proof.rig_bias_sd, found.proof.max_reject) == (0.03, 0.10)

    def test_what_a_pull_does_to_a_joint_is_not_known(self, small):
        found = read(small())
        for key, low, high in (("damage_from", 0.6, 0.9), ("damage_most", 0.1, 0.5)):
            variable = found.variables[f"proof.{key}"]
            assert (variable.spread.low, variable.spread.high) == (low, high)
            assert (variable.scope, variable.kind) == ("all", "not known")
            assert variable.origin == "default"
            assert variable.confidence == "judgement, no source"
        said = read(small(after='[proof]\ndamage_from = 1.2\ndamage_most = "20 %"\n'))
        assert said.variables["proof.damage_from"].spread.mean == pytest.approx(1.2)
        assert said.variables["proof.damage_most"].spread.mean == pytest.approx(0.2)
        with pytest.raises(ScenarioError, match=r"proof\.damage_most: .*1\.1"):
            read(small(after="[proof]\ndamage_most = 1.1\n"))

    def test_batches_are_no_larger_than_the_set(self, small):
        said = ("[rods]", "[batch]\nrods = {}\n[rods]\ncount = 7")
        for rods, expected in ((3, 3), (9, 7)):
            found = read(small((said[0], said[1].format(rods))))
            assert (found.rods, found.rods_per_batch) == (7, expected)
        assert read(small(("[rods]", "[rods]\ncount = 7"))).rods_per_batch == 7

    def test_correlations_are_kept(self, small):
        entry = '\n[[correlation]]\nbetween = ["plug.overlap", "tube.bore"]\nvalue = 0.3\n'
        assert dict(read(small(after=entry)).correlations) == {("plug.overlap", "tube.bore"): 0.3}

    def test_warnings_that_people_need(self, small):
        plain = ('overlap = { mean = "25 mm", sd = "0.5 mm" }', 'overlap = "25 mm"')
        assert "no-scatter" in codes(read(small(plain)))
        assert "no-scatter" not in codes(read(small()))
        load = '[[load]]\nname = "hand"\nkind = "annual_maximum"\nsize = "400 N"\n'
        (text,) = [w.text for w in read(small(after=load)).warnings if w.code == "no-scatter"]
        assert '"hand"' in text
        assert "service-temperature-default" in codes(read(small(('hottest = "45 degC"', ""))))
        assert "overlap-long" in codes(read(small(('"400 mm"', '"45 mm"'))))
        assert "corrosion" in codes(read(small()))
        steel = small(('"aluminium 6082-T6"', '"titanium Ti-6Al-4V"'))
        assert "corrosion" not in codes(read(steel))
