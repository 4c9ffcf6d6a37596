"""What a rod costs and weighs: read, shown, changed by an option; nothing else hangs on it."""

import pytest

from jointrisk import scenario
from jointrisk.scenario.types import Money


def priced(small, *lines):
    return scenario.load_text(small(("[rods]", "\n".join(["[rods]", *lines]))))


@pytest.mark.parametrize(
    ("text", "amount", "currency"),
    [
        ("12.50 EUR", 12.5, "EUR"),
        ("9 francs", 9.0, "francs"),
        ("3\u20ac", 3.0, "\u20ac"),
        ("0 x", 0, "x"),
    ],
)
def test_an_amount_and_a_word(small, text, amount, currency):
    assert priced(small, f'cost_per_rod = "{text}"').cost == Money(amount, currency)


@pytest.mark.parametrize(("text", "gram"), [("38 g", 38.0), ("0.2 kg", 200.0), ("1 lb", 453.59237)])
def test_mass_in_grams(small, text, gram):
    assert priced(small, f'mass_per_rod = "{text}"').mass == pytest.approx(gram)


@pytest.mark.parametrize("text", ["EUR 12", "12", "twelve EUR", "1e3 EUR", "12 EUR a rod"])
def test_what_is_no_amount_is_refused(small, problems, text):
    (line,) = problems(small(("[rods]", f'[rods]\ncost_per_rod = "{text}"')))
    assert f'got "{text}"' in line
    assert '"12.50 EUR"' in line


def test_they_are_shown_and_change_nothing_else(small):
    plain = scenario.load_text(small())
    made = priced(small, 'cost_per_rod = "12.5 EUR"', 'mass_per_rod = "38 g"')
    assert (plain.cost, plain.mass) == (None, None)
    told = {entry.key: entry.value for entry in made.assumptions}
    assert (told["rods.cost_per_rod"], told["rods.mass_per_rod"]) == ("12.50 EUR", "38 g")
    assert made.variables == plain.variables


def test_an_option_has_its_own_price(small, tmp_path):
    path = tmp_path / "rod.toml"
    after = '[options."dear"]\nrods.cost_per_rod = "20 EUR"\n'
    path.write_text(small(("[rods]", '[rods]\ncost_per_rod = "12 EUR"'), after=after), "utf-8")
    found = scenario.load_options(path)
    assert {name: s.cost.amount for name, s in found.items()} == {"as written": 12.0, "dear": 20.0}
