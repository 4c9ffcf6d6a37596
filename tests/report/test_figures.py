import re
from dataclasses import replace
from xml.etree import ElementTree

import matplotlib as mpl
import pytest

from jointrisk.report import figures
from jointrisk.report.style import svg

NAMES = ["strength", "band", "proof", "ranking", "modes"]


@pytest.fixture(scope="module")
def drawn(assessment):
    return figures.all_svg(assessment)


def test_every_picture_is_drawn_and_is_xml(drawn):
    assert list(drawn) == NAMES
    for text in drawn.values():
        ElementTree.fromstring(text.replace("<svg ", '<svg xmlns="x" xmlns:xlink="y" ', 1))  # noqa: S314


def test_text_stays_text_and_is_described(drawn):
    for name, text in drawn.items():
        assert 'role="img"' in text
        assert f'<title id="figure-{name}-title">' in text
        assert f'<desc id="figure-{name}-desc">' in text
    assert ">target<" in drawn["proof"].replace("\n", "")
    assert "Weight of the maker" in drawn["proof"]
    assert "overlap" in drawn["ranking"]


def test_the_same_result_draws_the_same_bytes_without_a_date(assessment, drawn):
    assert figures.all_svg(assessment) == drawn
    for text in drawn.values():
        assert not re.search(r"20\d\d-\d\d-\d\d", text)


def test_no_address_and_no_sheet_that_would_leak_into_the_page(drawn):
    for text in drawn.values():
        assert "http" not in text
        assert "<style" not in text
        assert "<!DOCTYPE" not in text


def test_ids_are_unique_over_all_pictures_and_every_reference_is_met(drawn):
    page = "".join(drawn.values())
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'(?:url\(#|href="#)([^")]+)', page)) <= set(ids)


def test_the_style_does_not_stay(assessment):
    before = mpl.rcParams["svg.fonttype"], mpl.rcParams["font.size"]
    figures.all_svg(assessment)
    assert (mpl.rcParams["svg.fonttype"], mpl.rcParams["font.size"]) == before


def test_the_target_stands_at_its_value(assessment):
    upper = figures.proof(assessment).axes[0]
    assert any(
        list(line.get_ydata()) == [assessment.target.probability] * 2 for line in upper.lines
    )


def test_the_users_pulls_stand_at_their_loads(assessment):
    upper = figures.proof(assessment).axes[0]
    across = [line.get_xdata()[0] for line in upper.lines if len(set(line.get_xdata())) == 1]
    for pull in assessment.proof.pulls:
        assert pull.load_newton in across


def test_curves_are_the_results_own_numbers(assessment):
    axes = figures.strength(assessment).axes[0]
    curve = assessment.figures.strength_new
    assert list(axes.lines[0].get_xdata()) == list(curve.load)
    assert list(axes.lines[0].get_ydata()) == list(curve.value)


def test_lines_differ_by_more_than_colour(assessment):
    axes = figures.strength(assessment).axes[0]
    assert len({line.get_linestyle() for line in axes.lines}) == len(axes.lines)


def test_kinds_of_change_have_their_own_marks(assessment):
    axes = figures.ranking(assessment).axes[0]
    named = {
        line.get_label(): line.get_marker()
        for line in axes.lines
        if not line.get_label().startswith("_")
    }
    assert set(named) == {"spread halved", "mean a tenth higher"}
    assert len(set(named.values())) == 2


def test_the_ranking_runs_downwards_from_the_strongest(assessment):
    axes = figures.ranking(assessment).axes[0]
    assert axes.get_yticklabels()[0].get_text().startswith("weight of lone")
    assert axes.yaxis_inverted()


def test_a_long_ranking_is_cut_in_the_picture(invented, assessment):
    many = tuple(replace(assessment.ranking[1], name=f"variable {i}") for i in range(30))
    axes = figures.ranking(invented(ranking=many)).axes[0]
    assert len(axes.get_yticks()) == figures.MOST_ROWS


def test_pictures_that_need_a_load_are_left_out(without_load):
    assert list(figures.all_svg(without_load)) == ["strength", "modes"]


def test_values_of_nought_and_one_do_not_break_a_log_axis(invented, assessment):
    data = assessment.figures
    count = len(data.reject.load)
    zero = replace(data.reject, value=(0.0,) * count, low=(0.0,) * count, high=(0.0,) * count)
    odd = invented(
        figures=replace(
            data, strength_new=zero, fail_after_pull=zero, band=(0.0, 0.0, 1.0), load_exceeded=zero
        )
    )
    assert list(figures.all_svg(odd)) == NAMES


def test_one_load_only_still_draws(invented, assessment):
    data = assessment.figures
    one = replace(data.reject, load=(1000.0,), value=(0.2,), low=(0.1,), high=(0.3,))
    odd = replace(
        data, strength_new=one, strength_service=one, fail_after_pull=one, reject=one,
        reject_weak=one, load_exceeded=one,
    )  # fmt: skip
    assert "strength" in figures.all_svg(invented(figures=odd))


def test_markup_in_names_is_escaped(invented, assessment):
    modes = (replace(assessment.modes[0], name="<b>bond</b> & more"),)
    text = figures.all_svg(invented(modes=modes))["modes"]
    assert "<b>" not in text
    assert "&lt;b&gt;bond" in text


def test_title_and_description_are_escaped(assessment):
    text = svg(figures.modes(assessment), "x", "a < b", 'c & "d"')
    assert "a &lt; b" in text
    assert "c &amp;" in text


def test_lines_of_the_strength_are_named(assessment, without_load):
    names = [line.get_label() for line in figures.strength(assessment).axes[0].lines]
    assert names == ["a new rod is weaker", "a rod in service is weaker", "the load comes"]
    assert len(figures.strength(without_load).axes[0].lines) == 2


def test_the_band_shows_estimate_range_and_target(assessment):
    axes = figures.band(assessment).axes[0]
    result = assessment.failure_probability
    across = [tuple(line.get_xdata()) for line in axes.lines]
    assert (result.band_p05, result.band_p95) in across
    assert (result.estimate,) in across
    assert (assessment.target.probability,) * 2 in across


def test_the_window_is_shaded_where_it_lies(assessment):
    upper = figures.proof(assessment).axes[0]
    spans = [patch.get_extents().transformed(upper.transData.inverted()) for patch in upper.patches]
    low, high = assessment.proof.window
    assert any((s.x0, s.x1) == pytest.approx((low, high)) for s in spans)


def test_no_window_no_shade(invented, assessment):
    proof = replace(assessment.proof, window=None, load_newton=None, verdict="unreachable")
    text = figures.all_svg(invented(proof=proof))["proof"]
    assert "meets the target" not in text


def test_a_window_beyond_the_axis_does_not_squeeze_the_picture(invented, assessment):
    far = replace(assessment.proof, window=(1e6, 2e6))
    figure = figures.proof(invented(proof=far))
    figure.canvas.draw()
    assert figure.axes[0].get_position().width > 0.5


def test_ranges_of_the_ranking_are_drawn_from_low_to_high(assessment):
    axes = figures.ranking(assessment).axes[0]
    ends = [tuple(line.get_xdata()) for line in axes.lines if len(line.get_xdata()) == 2]
    for entry in assessment.ranking:
        assert (entry.low, entry.high) in ends


@pytest.mark.parametrize("name", ["hook $x^2$", "$$", "costs $5", "a $\\foo{ clamp"])
def test_a_dollar_in_a_name_is_a_dollar(invented, assessment, name):
    named = replace(assessment.modes[0], name=f"{name} lets go")
    text = figures.all_svg(invented(modes=(named,)))["modes"]
    assert name in re.sub(r"\s+", " ", text)
