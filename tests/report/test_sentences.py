from dataclasses import replace

import pytest

from jointrisk.report import sentences


def _plain(sentence):
    return sentences.mark(sentence)


def test_five_answers_in_order(assessment):
    words = [word for word, _ in sentences.headline(assessment)]
    assert words == ["Strength", "Failure", "Fails", "Hangs on", "Pull"]


def test_strength_holds_median_and_one_in_a_hundred(assessment):
    text = _plain(sentences.strength(assessment))
    assert "6,300 N (640 kgf, 1,400 lbf)" in text
    assert "1 in 100 holds less than 4,100 N" in text


def test_failure_and_its_band_stand_in_one_sentence_at_one_rank(assessment):
    text = sentences.failure(assessment)
    for part in ("**About 1 in 3,000**", "**1 in 20,000**", "**1 in 200**"):
        assert part in text
    assert "any of the 12 rods" in text
    assert "5 years" in text
    assert "sampling alone: 1 in 3,200 to 1 in 2,800" in text


def test_one_rod_is_the_rod(invented):
    text = sentences.failure(invented(facts={"rods": 1}))
    assert "that the rod lets go" in text


def test_without_load_nothing_is_claimed(without_load):
    text = " ".join(_plain(sentence) for _, sentence in sentences.headline(without_load))
    assert "Load not judged" in text
    assert "Half of all rods hold more than about 6,300 N" in text
    assert "1 in 3,000" not in text
    assert "none is given" in sentences.permitted(without_load)


def test_the_leading_mode_is_the_one_with_the_largest_share(invented, assessment):
    text = _plain(sentences.what_fails(invented(modes=assessment.modes[::-1])))
    assert text.startswith("Bond lets go at the mouth, 82 %")
    assert "thread strips, 18 %" in text


def test_no_modes_and_no_ranking_are_said(invented):
    nothing = invented(modes=(), ranking=())
    assert "Nothing" in sentences.what_fails(nothing)
    assert "Not ranked" in sentences.hangs_on(nothing)


def test_what_it_hangs_on_names_variable_change_and_effect(assessment):
    text = _plain(sentences.hangs_on(assessment))
    assert text.startswith("Weight of lone weak bonds: with spread halved")
    assert "divided by about 5" in text


def test_the_pull_is_never_rounded_below_what_is_needed(assessment):
    text = _plain(sentences.pull(assessment))
    assert "2,150 N (219 kgf, 482 lbf)" in text
    assert "about 1 in 21,000" in text
    assert "0.41 % of rods break" in text


@pytest.mark.parametrize("verdict", ["empty", "unreachable", "not judged", "not needed"])
def test_without_a_window_the_reason_is_told_and_no_load(invented, assessment, verdict):
    proof = replace(assessment.proof, verdict=verdict, reason="ageing is not seen by the pull")
    text = _plain(sentences.pull(invented(proof=proof)))
    assert text.startswith("No pull asked for." if verdict == "not needed" else "No pull to give.")
    assert text.endswith("Ageing is not seen by the pull.")
    assert "2,150" not in text


def test_the_floor_is_told_when_the_target_is_out_of_reach(invented, assessment):
    proof = replace(assessment.proof, verdict="unreachable", window=None, load_newton=None)
    text = " ".join(sentences.pull_detail(invented(proof=proof)))
    assert "about 1 in 83,000" in text
    assert "Sound rods" not in text


def test_a_pull_that_changes_nothing_is_said_to(assessment):
    text = _plain(sentences.pull_worth(assessment.proof.pulls[0], assessment))
    assert "736 N (75 kgf, 165 lbf)" in text
    assert "finds 21 % of those with a weak joint" in text
    assert "stays at about 1 in 3,000" in text
    assert "the target asks for 2,150 N" in text


def test_a_pull_inside_the_window_is_enough(assessment):
    text = _plain(sentences.pull_worth(assessment.proof.pulls[1], assessment))
    assert "about 1 in 32,000 still fails, against 1 in 3,000 unpulled" in text
    assert text.endswith("it is enough for the target.")


def test_a_pull_beyond_the_window_is_too_hard(assessment):
    hard = replace(assessment.proof.pulls[1], load_newton=5000.0)
    text = sentences.pull_worth(hard, assessment)
    assert "too hard" in text
    assert "ends at 3,480 N" in text


def test_a_pull_where_none_helps(assessment):
    lost = replace(assessment.proof.pulls[0], needed_newton=None)
    assert "no admissible pull would meet the target" in sentences.pull_worth(lost, assessment)


def test_a_pull_without_load_tells_only_what_breaks(without_load):
    text = sentences.pull_worth(without_load.proof.pulls[0], without_load)
    assert "0.11 % of rods" in text
    assert "target" not in text
    assert "failure probability" not in text


@pytest.mark.parametrize(("met", "word"), [(True, "Met"), (False, "Missed"), (None, "Undecided")])
def test_target_verdicts(invented, assessment, met, word):
    text = sentences.target(invented(target=replace(assessment.target, met=met)))
    assert f"**{word}**" in text
    assert "1 in 20,000 for the set of rods in 5 years (given in the file)" in text
    assert "12 %" in text


def test_permitted_load_is_rounded_down(assessment):
    text = _plain(sentences.permitted(assessment))
    assert "1,200 N (130 kgf, 280 lbf), 1,100 N to 1,400 N" in text


def test_push_is_told_where_it_differs(invented, assessment):
    pushed = replace(assessment.strength_new, median=2200.0)
    assert "Pushed, new: half hold more than 2,200 N" in sentences.strength_in_service(
        invented(push_new=pushed)
    )


def test_marks_pair_up_in_every_sentence(assessment, without_load):
    for result in (assessment, without_load):
        for _, sentence in sentences.headline(result):
            assert sentence.count("**") % 2 == 0
            assert "**" not in sentences.mark(sentence, "<b>", "</b>")


def test_no_permitted_load_is_said_so(invented, assessment):
    none = replace(assessment.permitted_load, newton=0.0, low=0.0, high=0.0)
    text = _plain(sentences.permitted(invented(permitted_load=none)))
    assert text == "Permitted load: none, however small (largest load of the life, set)."


def test_a_target_of_one_year_is_told_as_one_year(invented, assessment):
    yearly = replace(assessment.target, period_years=1.0, scope="rod")
    assert "for each rod in one year" in sentences.target(invented(target=yearly))


def test_a_chance_of_nothing_is_under_one_percent(invented, assessment):
    hopeless = replace(assessment.target, chance_met=0.0, met=False)
    assert "chance that it is met: under 1 %" in sentences.target(invented(target=hopeless))


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        ((5.0e-5, 5.2e-5), (4.8e-3, 5.0e-3), ""),
        ((3.4e-5, 7.65e-5), (4.8e-3, 5.0e-3), "the 1 in 20,000 itself is known to within a "),
        ((3.4e-5, 7.65e-5), (2.45e-3, 9.8e-3), "a factor of 1.5 and the 1 in 200 itself is "),
        ((0.0, 7.65e-5), (4.8e-3, 5.0e-3), "the 1 in 20,000 may be anything up to 1 in 13,000"),
        (None, None, ""),
    ],
)
def test_an_end_of_the_band_that_is_poorly_known_is_told_so(invented, assessment, low, high, said):
    """Only where it is known no closer than to within a factor of 1.25."""
    chance = replace(assessment.failure_probability, band_p05_interval=low, band_p95_interval=high)
    text = _plain(sentences.failure(invented(failure_probability=chance)))
    assert said in text
    assert ("itself" in text or "may be anything" in text) == bool(said)
    assert text.endswith("1 in 3,200 to 1 in 2,800).")


def test_ends_below_what_is_told_are_not_told_closer(invented, assessment):
    chance = replace(assessment.failure_probability, band_p05=1e-9, band_p05_interval=(1e-11, 2e-8))
    text = sentences.failure(invented(failure_probability=chance))
    assert "**fewer than 1 in 10 million**" in text
    assert "itself" not in text


def test_the_chance_of_an_open_verdict_has_its_interval(invented, assessment):
    near = replace(assessment.target, chance_met_interval=(0.09, 0.15))
    text = sentences.target(invented(target=near))
    assert "chance that it is met: 12 % (9 % to 15 %)." in text
    assert "other random numbers" not in text
    missed = sentences.target(invented(target=replace(near, met=False)))
    assert "9 %" not in missed


@pytest.mark.parametrize("met", [True, False, None])
def test_a_verdict_that_other_draws_may_turn_says_so(invented, assessment, met):
    near = replace(assessment.target, met=met, chance_met_interval=(0.09, 0.15), close=True)
    text = sentences.target(invented(target=near))
    assert "(9 % to 15 %)" in text
    assert text.endswith("A near thing: other random numbers may turn the verdict.")
