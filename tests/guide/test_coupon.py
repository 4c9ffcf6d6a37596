"""What the topic on coupons prints is what the program works with."""

import math

import pytest
import typer
from typer.testing import CliRunner

from jointrisk.cli.app import app
from jointrisk.mechanics import flat, lap
from jointrisk.scenario import tables
from jointrisk.study.coupon import VERDICTS, single_lap

S, L, H, E, NU, T_A, G = 14.0, 12.5, 1.6, 7e4, 0.3, 0.2, 700.0


def test_the_bending_factor_and_the_strips(plain):
    assert "u = sqrt(3 (1 - nu^2) s L/(2 E h^3))" in plain["coupon"]
    assert "k = 1/(1 + 2 sqrt(2) tanh(u L/2))" in plain["coupon"]
    assert "strips yield at s = yield h/(L (1 + 3 k))" in plain["coupon"]
    u = math.sqrt(3 * (1 - NU**2) * S * L / (2 * E * H**3))
    k = 1 / (1 + 2 * math.sqrt(2) * math.tanh(u * L / 2))
    assert lap.goland_reissner_factor(S, L, H, E, NU) == pytest.approx(k)
    assert lap.strip_yield_shear(L, H, 260.0, k) == pytest.approx(260 * H / (L * (1 + 3 * k)))


def test_shear_and_peel_at_the_ends(plain):
    for line in (
        "shear at the ends = s [x (1 + 3 k)/tanh(x) + 3 (1 - k)]/4 x = L sqrt(2 G/(E h t))",
        "peel at the ends = a^2 k T h/2 f + a V g",
        "a^4 = 6 (1 - nu^2) Ea/(t E h^3) z = a L",
        "V = k T sqrt(3 (1 - nu^2) T/(E h))",
        "f = (sinh z - sin z)/(sinh z + sin z)",
        "g = (cosh z + cos z)/(sinh z + sin z)",
        "Ea as 2.7 G",
    ):
        assert line in plain["coupon"], line
    k = float(lap.goland_reissner_factor(S, L, H, E, NU))
    x = L * math.sqrt(2 * G / (E * H * T_A))
    shear = (x * (1 + 3 * k) / math.tanh(x) + 3 * (1 - k)) / 4
    assert lap.goland_reissner_shear_ratio(S, L, H, E, NU, T_A, G) == pytest.approx(shear)
    T, a = S * L, (6 * (1 - NU**2) * 2.7 * G / (T_A * E * H**3)) ** 0.25
    z, V = a * L, k * T * math.sqrt(3 * (1 - NU**2) * T / (E * H))
    f = (math.sinh(z) - math.sin(z)) / (math.sinh(z) + math.sin(z))
    g = (math.cosh(z) + math.cos(z)) / (math.sinh(z) + math.sin(z))
    peel = a**2 * k * T * H / 2 * f + a * V * g
    found = lap.goland_reissner_peel_ratio(S, L, H, E, NU, T_A, 2.7 * G)
    assert found == pytest.approx(peel / S)


def test_the_long_lap(plain):
    assert "F = w min(E1 h1, E2 h2) s_e s_e = sqrt(2 W (1/(E1 h1) + 1/(E2 h2)))" in plain["coupon"]
    one, two = 7e4 * 1.6, 2.1e5 * 3
    found = flat.long_lap_force(width=25.0, thickness_1=1.6, thickness_2=3.0, modulus_1=7e4,
                                modulus_2=2.1e5, mode_ii_toughness=3.0)  # fmt: skip
    assert found == pytest.approx(25 * min(one, two) * math.sqrt(6.0 * (1 / one + 1 / two)))


def test_the_common_coupon(plain):
    assert "yields at 270 MPa, lapped by 12.5 mm, yields from 11 MPa" in plain["coupon"]
    assert math.floor(lap.first_strip_yield(12.5, 1.6, 7e4, 0.3, 270.0)) == 11
    assert "goes down to 0.26" in plain["coupon"]


def test_the_growth_with_the_layer(plain):
    assert "1.5 times the force for 3.8 times the thickness" in plain["coupon"]
    assert round(126 / 85, 1) == 1.5
    assert round(1.9 / 0.5, 1) == 3.8
    assert "at failure 1.95 times" in plain["coupon"]
    assert round(math.sqrt(3.8), 2) == 1.95


def test_every_answer_and_every_brittle_class_is_named(blocks, plain):
    for verdict in VERDICTS:
        assert any(block.startswith(verdict) or f"\n{verdict} " in block
                   for block in blocks["coupon"]), verdict  # fmt: skip
    brittle = [name for name, row in tables.adhesives().items() if row.brittle]
    assert f"Brittle is, among the classes, {', '.join(brittle)}." in plain["coupon"]
    unknown = [name for name, row in tables.adhesives().items() if row.brittle is None]
    assert unknown == [tables.UNKNOWN_CLASS]


def test_every_option_is_explained(blocks):
    command = typer.main.get_command(app).commands["single-lap"]
    flags = {flag for parameter in command.params for flag in parameter.opts}
    lines = [line for block in blocks["coupon"] for line in block.splitlines()]
    for flag in flags:
        assert any(line.startswith(f"{flag} ") and len(line.split()) > 2 for line in lines), flag


def test_every_key_of_its_document_is_explained(plain):
    def keys(node):
        inner = node.values() if isinstance(node, dict) else ()
        return set(node) | set().union(*map(keys, inner)) if isinstance(node, dict) else set()

    document = single_lap(width="25 mm", overlap="12 mm", thickness="2 mm", load="5 kN",
                          material="steel S355").to_dict()  # fmt: skip
    told = plain["coupon"].split("## JSON keys")[1]
    assert {key for key in keys(document) if key not in told} == set()


def test_the_line_shown_can_be_run(blocks):
    import shlex

    shown = next(block for block in blocks["coupon"] if block.startswith("jointrisk single-lap"))
    words = shlex.split(shown.replace("\n", " "))
    found = CliRunner().invoke(app, words[1:])
    assert found.exit_code == 0
    assert "Strength" in found.output
