"""Whatever a file holds, reading it gives a scenario or a list of problems, never a traceback."""

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jointrisk import scenario
from jointrisk.errors import ScenarioError
from jointrisk.scenario.problems import keys_of, validate
from jointrisk.scenario.resolve import resolve
from jointrisk.scenario.shape import File, Section

START = tomllib.loads(scenario.new("plug-in-tube"))
UNITS = ["mm", "MPa", "N", "degC", "/K", "N/mm", "years", "%", "", "kg", "/ year"]
numbers = st.one_of(
    st.floats(),
    st.integers(-(10**6), 10**6),
    st.sampled_from([0, 1, -1, 10**400, 1e-300, 1e300]),
)
texts = st.one_of(
    st.builds("{} {}".format, st.floats(-1e6, 1e6), st.sampled_from(UNITS)),
    st.sampled_from(["", "steel S355", "M8", "etched", "own pulls", "push", "\u2212", "1/0 mm"]),
    st.text(max_size=8),
)
plain = st.one_of(numbers, texts, st.booleans())
words = ["mean", "sd", "cov", "median", "p05", "p95", "never_outside", "most_likely", "dist"]
values = st.one_of(
    plain,
    st.lists(plain, max_size=3),
    st.dictionaries(
        st.sampled_from([*words, "value", "truncated", "scope", "kind", "low"]),
        st.one_of(plain, st.lists(plain, min_size=2, max_size=2)),
        max_size=4,
    ),
)
KEYS = [
    (table, key)
    for table, attribute in keys_of(File).items()
    for section in [File.model_fields[attribute].annotation]
    for inner in [section, *getattr(section, "__args__", ())]
    if isinstance(inner, type) and issubclass(inner, Section)
    for key in keys_of(inner)
]


def read(raw):
    """Return the scenario of a file's content, or the error that carries its problems."""
    file, problems, skip = validate(raw)
    try:
        return resolve(file, problems=problems, skip=skip, path="any", sha256="")
    except ScenarioError as error:
        return error


@given(changes=st.lists(st.tuples(st.sampled_from(KEYS), values), min_size=1, max_size=3))
@settings(deadline=None, max_examples=150)
def test_any_value_under_any_key(changes):
    raw = {k: dict(v) if isinstance(v, dict) else v for k, v in START.items()}
    raw["load"], raw["pull"] = [dict(t) for t in START["load"]], [dict(t) for t in START["pull"]]
    raw["correlation"] = [{"between": ["plug.overlap", "tube.bore"], "value": 0.2}]
    for (table, key), value in changes:
        place = raw.setdefault(table, {})
        (place[0] if isinstance(place, list) else place)[key] = value
    found = read(raw)
    if isinstance(found, ScenarioError):
        assert found.problems
        assert all(line.startswith("any: ") for line in str(found).splitlines())
    else:
        assert all(row.value for row in scenario.describe(found))


@given(raw=st.dictionaries(st.sampled_from([*keys_of(File), "x"]), values, max_size=4))
@settings(deadline=None, max_examples=150)
def test_any_shape_of_a_file(raw):
    found = read(raw)
    assert isinstance(found, ScenarioError)
    assert found.problems


@pytest.mark.parametrize("cut", range(0, 2200, 97))
def test_a_file_cut_off_anywhere(cut):
    text = scenario.new("plug-in-tube")
    needed = text.index("[adhesive]\nclass")
    if cut > needed:
        cut = needed
    with pytest.raises(ScenarioError) as caught:
        scenario.load_text(text[:cut])
    assert caught.value.problems
