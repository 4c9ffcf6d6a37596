"""Thread sizes by name."""

import pytest

from jointrisk.errors import InputError
from jointrisk.mechanics import members, threads


@pytest.mark.parametrize(
    ("written", "name", "major", "pitch"),
    [
        ("M6", "M6", 6, 1),
        ("m6", "M6", 6, 1),
        ("M 8", "M8", 8, 1.25),
        ("M8x1.25", "M8", 8, 1.25),
        ("M8x1", "M8x1", 8, 1),
        ("M8 x 1.0", "M8x1", 8, 1),
        ("M8×1", "M8x1", 8, 1),
        ("M10X1,25", "M10x1.25", 10, 1.25),
        ("M10x1.25 LH", "M10x1.25", 10, 1.25),
        ("M3.5", "M3.5", 3.5, 0.6),
        ("#10-32", "10-32", 4.826, 0.79375),
        ("10-32", "10-32", 4.826, 0.79375),
        ("1/4-28 UNF", "1/4-28", 6.35, 25.4 / 28),
        ('1/4"-28', "1/4-28", 6.35, 25.4 / 28),
        ("1/4-28UNJF", "1/4-28", 6.35, 25.4 / 28),
        ("1/4-20 unc rh", "1/4-20", 6.35, 1.27),
        ("7/16-20", "7/16-20", 11.1125, 1.27),
    ],
)
def test_find(written, name, major, pitch):
    thread = threads.find(written)
    assert thread.size == name
    assert (thread.major_diameter, thread.pitch) == pytest.approx((major, pitch))


@pytest.mark.parametrize(
    ("written", "named"),
    [
        ("M8x2", "'M8x2'; the nearest known: M8, M8x0.75, M8x1$"),
        ("1/4-28 UNC", "'1/4-28 UNC'; the nearest known: 1/4-20, 1/4-28$"),
        ("5/16-20", "'5/16-20'; the nearest known: 5/16-18, 5/16-24$"),
        ("M60", "'M60'; the nearest known: M6$"),
        ("bolt", "'bolt'; the nearest known: M3, M3.5, .*1/2-20$"),
        ("", "''; the nearest known: M3, "),
    ],
)
def test_unknown_size_names_what_is_near(written, named):
    with pytest.raises(InputError, match=named):
        threads.find(written)


def test_every_size_finds_itself_and_has_a_core():
    known = threads.sizes()
    assert len(known) == 48
    for name, thread in known.items():
        assert threads.find(name) == thread
        assert 0.6 < members.thread_stress_area(thread.major_diameter, thread.pitch) / (
            0.785 * thread.major_diameter**2
        ) < 1  # fmt: skip


def test_fine_is_finer_than_coarse():
    known = threads.sizes().values()
    coarse = {t.major_diameter: t.pitch for t in known if t.series == "coarse"}
    fine = [t for t in known if t.series == "fine"]
    assert all(t.pitch < coarse[t.major_diameter] for t in fine)
    assert min(coarse) == 3
    assert max(coarse) == 24


def test_sizes_cannot_be_changed():
    with pytest.raises(TypeError):
        threads.sizes()["M99"] = None
