"""The study `rank` as a whole: refusals, modes, one document, the same bytes at any pool."""

import json
from concurrent.futures import ThreadPoolExecutor

import pytest

import jointrisk
from jointrisk.errors import EstimateError, ScenarioError
from jointrisk.model.bond import BOND_MODES
from jointrisk.model.members import PULL_MEMBERS
from jointrisk.spread import Gumbel, Lognormal, Uniform

SPREADS = {
    "adhesive.shear_strength": Lognormal(10.0, 1.2),
    "tube.tension_strength": Lognormal(125.0, 12.0),
    "model.bond_factor": Lognormal(1.0, 0.1),
}
"""Bond and tube hold about the same."""


@pytest.fixture(scope="module")
def scenario(oracles):
    return oracles.plain(SPREADS, [oracles.load(Gumbel(3200.0, 640.0))])


@pytest.fixture(scope="module")
def result(scenario):
    return jointrisk.rank(scenario, seed=4)


def test_without_a_load_nothing_can_be_ranked(oracles):
    with pytest.raises(ScenarioError, match=r"load: is not given.*nothing can be ranked") as told:
        jointrisk.rank(oracles.plain(SPREADS))
    assert told.value.exit_status == 3


def test_where_nothing_fails_nothing_is_ranked(oracles):
    with pytest.raises(EstimateError, match=r"below 1e-15: nothing fails") as told:
        jointrisk.rank(oracles.plain(SPREADS, [oracles.load(Uniform(1.0, 2.0))]))
    assert told.value.exit_status == 4


def test_the_modes_share_the_failures(result):
    names = [mode.name for mode in result.modes[:2]]
    assert set(names) == {BOND_MODES[0], PULL_MEMBERS[0]}
    assert sum(mode.share.estimate for mode in result.modes) == pytest.approx(1.0)
    for mode in result.modes[:2]:
        assert mode.share.low < mode.share.estimate < mode.share.high
        whole = result.failure_probability.estimate
        assert mode.overlapping == pytest.approx(mode.probability.estimate / whole)
        assert mode.overlapping >= mode.share.estimate - 1e-9
    assert sum(mode.overlapping for mode in result.modes) > 1.0


def test_a_mode_hangs_on_its_own_strength_and_on_the_load(result):
    """The same load moves both; the glue does nothing to the tube, the tube nothing to the glue."""
    by_mode = {}
    for entry in result.mode_effects:
        by_mode.setdefault(entry.mode, {})[entry.variable] = entry
        assert entry.low <= entry.value <= entry.high
    bond, tube = by_mode[BOND_MODES[0]], by_mode[PULL_MEMBERS[0]]
    assert "load.jerk.size" in bond.keys() & tube.keys()
    assert "adhesive.shear_strength" in bond
    assert tube["tube.tension_strength"].value != 1.0
    assert (
        tube.get("adhesive.shear_strength", tube["load.jerk.size"]).value
        != bond["adhesive.shear_strength"].value
    )
    if "adhesive.shear_strength" in tube:
        assert tube["adhesive.shear_strength"].value == pytest.approx(1.0)
    if "tube.tension_strength" in bond:
        assert bond["tube.tension_strength"].value == pytest.approx(1.0)


def test_scatter_and_not_known_stand_apart(result):
    assert [e.variable for e in result.of_kind("not known")] == ["model.bond_factor"]
    assert [u.variable for u in result.not_known.unknowns] == ["model.bond_factor"]
    assert "model.bond_factor" not in {e.variable for e in result.of_kind("scatter")}
    (unknown,) = result.not_known.unknowns
    assert unknown.left_p95 / unknown.left_p05 < 1.1  # it causes all of the band
    assert unknown.total.estimate == pytest.approx(1.0, abs=0.05)


def test_every_way_of_telling_is_there(result):
    assert {mode for point in result.design_points for mode in point.modes} == {
        BOND_MODES[0],
        PULL_MEMBERS[0],
    }
    assert result.margin.entries
    assert result.event.entries
    assert result.converged
    assert len(result.to_frame()) == sum(len(v.effects) for v in result.variables)


def test_the_document_holds_every_number(result):
    document = json.loads(json.dumps(result.to_dict(), allow_nan=False))
    assert document["schema_version"] == 1
    first = document["variables"][0]
    assert first["effects"][0]["value"] == result.variables[0].effects[0].value
    assert {e["how"] for v in document["variables"] for e in v["effects"]} <= {
        "run again",
        "weighted anew",
    }
    assert document["not_known"]["unknowns"][0]["total"]["low"] >= 0.0
    assert document["run"]["seed"] == 4


def test_same_document_at_any_pool_and_seed_0_is_a_seed(scenario):
    def told(seed, pool=None):
        document = jointrisk.rank(scenario, seed=seed, pool=pool).to_dict()
        document.pop("host")
        return document

    alone = told(0)
    with ThreadPoolExecutor(3) as pool:
        assert told(0, pool) == alone
    assert told(1) != alone


def test_a_shipped_scenario_from_its_file():
    """The sun-heated brace: heat decides, and next to nothing hangs on what is not known."""
    result = jointrisk.rank(jointrisk.load("scenarios/sun-heated-brace.toml"))
    first = result.of_kind("scatter")[0]
    assert (first.variable, first.rank) == ("service.hottest", 1)
    assert first.effect("spread halved").high < 0.1
    assert not result.not_known.shares_told
    assert {result.event.entries[0].variable, result.margin.entries[0].variable} == {
        "service.hottest"
    }
    sound = next(point for point in result.design_points if point.joint == "sound")
    assert sound.directions[0].variable == "service.hottest"
    assert not [note for note in result.notes if "disagree" in note]
