"""Coupons at the file boundary: units, tables, CSV files, every fault at once."""

import pytest

from jointrisk.errors import ScenarioError
from jointrisk.scenario import tables
from jointrisk.scenario.coupon import KEYS, read_coupon

COUPON = {
    "width": "1 in",
    "overlap": "0.5 in",
    "thickness": "1.6 mm",
    "material": "aluminium 6082-T6",
    "adhesive_class": "heat-cured epoxy",
    "load": ["9.1 kN", "2000 lbf"],
}


def problems_of(given, **more):
    with pytest.raises(ScenarioError) as caught:
        read_coupon(given, **more)
    return {problem.key: problem.line("") for problem in caught.value.problems}


def test_units_become_those_of_the_house():
    found = read_coupon(COUPON)
    assert (found.width, found.overlap, found.thickness) == (25.4, 12.7, 1.6)
    assert found.loads == pytest.approx((9100.0, 2000 * 4.4482216152605))
    assert found.modulus == 70_000.0
    assert found.yield_strength == 260.0
    assert found.adhesive_class == "heat-cured epoxy"
    assert not found.composite


def test_one_load_may_stand_alone():
    assert read_coupon({**COUPON, "load": "5 kN"}).loads == (5000.0,)


def test_own_numbers_beat_the_table():
    found = read_coupon({**COUPON, "modulus": "72 GPa", "yield_strength": "290 MPa"})
    assert (found.modulus, found.yield_strength) == (72_000.0, 290.0)
    bare = {**COUPON, "material": None, "modulus": "72 GPa"}
    assert read_coupon(bare).yield_strength is None


def test_strips_of_plies_are_known_to_break_at_their_tensile_strength():
    found = read_coupon({**COUPON, "material": "carbon tube, woven"})
    assert found.composite
    assert found.yield_strength == tables.materials()["carbon tube, woven"].cells[
        "tension_strength"
    ].typical  # fmt: skip


def test_what_is_left_out():
    found = read_coupon({k: v for k, v in COUPON.items() if k != "adhesive_class"})
    assert found.adhesive_class == "don't know"
    assert not found.bond_line_given
    assert found.bond_line == tables.default("coupon.bond_line").given("length").plain
    assert read_coupon({**COUPON, "bond_line": "12 thou"}).bond_line_given


def test_every_fault_is_told_at_once():
    found = problems_of(
        {
            "width": "25",
            "overlap": "12.5 kg",
            "thickness": "-1.6 mm",
            "material": "aluminum 6082-T6",
            "adhesive_class": "heat cured epoxy",
            "bond_line": "0 mm",
            "yield_strength": "260 N",
            "load": ["9.1 kN", "800 kg"],
        }
    )
    assert found["width"] == 'width: has no unit (got 25; write "25 mm")'
    assert '"kg"' in found["overlap"]
    assert found["thickness"].endswith('(got "-1.6 mm"; expected a length above 0)')
    assert 'got "aluminum 6082-T6"; did you mean "aluminium 6082-T6"?' in found["material"]
    assert 'did you mean "heat-cured epoxy"?' in found["adhesive_class"]
    assert "is not above 0" in found["bond_line"]
    assert "has a unit of force" in found["yield_strength"]
    assert 'write "800 kgf"' in found["load"]
    assert set(found) <= set(KEYS)


def test_what_is_missing_is_told_with_what_would_do():
    found = problems_of({})
    assert set(found) == {"width", "overlap", "thickness", "material", "load"}
    assert "a length such as" in found["overlap"]
    assert '"steel S355"' in found["material"]
    assert '"9.1 kN"' in found["load"]


def test_a_name_near_to_none_gets_them_all():
    found = problems_of({**COUPON, "material": "balsa", "adhesive_class": 7})
    assert all(f'"{name}"' in found["material"] for name in tables.materials())
    assert 'got "7"' in found["adhesive_class"]


# CSV files ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "coupon,load [kN]\nA,9.1\nB,8.9\n",
        "load (kN);note\n9.1;x\n\n8.9;y\n",
        "\ufeffLoad\n9.1 kN\n8900 N\n",
        "n\tFailing load [kN]\n1\t9.1\n2\t8.9\n",
        "loads [N]\r\n9100\r\n8900\r\n",
    ],
)
def test_a_file_of_loads_is_read(tmp_path, text):
    file = tmp_path / "loads.csv"
    file.write_bytes(text.encode("utf-8"))
    given = {**COUPON, "load": None}
    assert read_coupon(given, loads_file=file).loads == pytest.approx((9100.0, 8900.0))


def test_loads_of_a_file_are_added(tmp_path):
    file = tmp_path / "loads.csv"
    file.write_text("load [N]\n9000\n")
    assert len(read_coupon(COUPON, loads_file=file).loads) == 3


def test_faults_of_a_file_name_its_lines(tmp_path):
    file = tmp_path / "loads.csv"
    file.write_text("load [kN],who\n9.1,a\n,b\n-2,c\nnine,d\n")
    found = problems_of({**COUPON, "load": None}, loads_file=file)
    assert {key.rpartition(" ")[2] for key in found} == {"3", "4", "5"}
    assert all(key.startswith(str(file)) for key in found)
    assert '"-2 kN"' in found[f"{file}: line 4"]
    assert "nine" in found[f"{file}: line 5"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"force,who\n9.1,a\n", ('"force,who"', "load [N]")),
        (b"", ("an empty file",)),
        (b"load [N]\n", ("no load below its header",)),
        (b"load [N]\n\xff\xfe9\n", ("not text in UTF-8",)),
        (None, ("cannot be read", "No such file")),
    ],
)
def test_files_that_cannot_be_used(tmp_path, content, said):
    file = tmp_path / "loads.csv"
    if content is not None:
        file.write_bytes(content)
    found = problems_of({**COUPON, "load": None}, loads_file=file)
    assert all(part in found[str(file)] for part in said)


def test_a_column_without_a_unit_asks_for_one(tmp_path):
    file = tmp_path / "loads.csv"
    file.write_text("load\n9100\n")
    found = problems_of(COUPON, loads_file=file)
    assert 'write "9100 N"' in found[f"{file}: line 2"]
