import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise

import jinja2
import pytest

from jointrisk.report import page, tables
from jointrisk.report.section_sheet import PER_MM

VOID = {"meta", "br", "link", "img", "hr", "wbr"}


class Reader(HTMLParser):
    """Collects tags and attributes, and holds that every element is closed in turn."""

    def __init__(self):
        super().__init__()
        self.seen, self.open, self.words = [], [], []

    def handle_starttag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.seen.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


def read(text):
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert not reader.open
    return reader


@pytest.fixture(scope="module")
def text(assessment):
    return page.html(assessment)


@pytest.fixture(scope="module")
def reader(text):
    return read(text)


def words_of(reader):
    return " ".join("".join(reader.words).split())


def test_one_file_asks_for_nothing_and_runs_nothing(text, reader):
    assert "http" not in text
    assert "@import" not in text
    assert not re.search(r"url\((?!#)", text)
    tags = {tag for tag, _ in reader.seen}
    assert not tags & {"script", "link", "img", "iframe", "object", "video"}
    for _, attributes in reader.seen:
        assert not any(name.startswith("on") for name in attributes)
        assert attributes.get("href", "#").startswith(("#", "tables/"))


def test_language_one_h1_main_and_headings_in_order(reader):
    tags = [tag for tag, _ in reader.seen]
    assert ("html", {"lang": "en"}) in reader.seen
    assert tags.count("h1") == 1
    assert tags.count("main") == 1
    levels = [int(tag[1]) for tag in tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_every_table_has_a_caption_and_every_head_a_scope(reader):
    tags = [tag for tag, _ in reader.seen]
    assert tags.count("table") == tags.count("caption") > 4
    assert all("scope" in attributes for tag, attributes in reader.seen if tag == "th")


def test_every_table_scrolls_in_a_box_that_keys_reach(reader):
    for index, (tag, _) in enumerate(reader.seen):
        if tag == "table":
            box = reader.seen[index - 1]
            assert box[0] == "div"
            assert box[1]["class"] == "wide"
            assert box[1]["tabindex"] == "0"


def test_ids_are_unique_and_labels_point_at_one(reader):
    ids = [attributes["id"] for _, attributes in reader.seen if "id" in attributes]
    assert len(ids) == len(set(ids))
    for _, attributes in reader.seen:
        assert set(attributes.get("aria-labelledby", "").split()) <= set(ids)


def test_opens_with_the_answer_then_goes_on_in_order(reader):
    said = words_of(reader)
    order = [
        "About 1 in 3,000", "anywhere from 1 in 20,000 to 1 in 200",
        "What was judged", "The pull",
        "What the pulls you make are worth", "What it hangs on", "What lets go",
        "Every value that went in", "Warnings", "Cautions", "Failure probability of all rods",
        "To get the same numbers again",
    ]  # fmt: skip
    places = [said.index(part) for part in order]
    assert places == sorted(places)


def test_every_assumption_with_source_and_mark_the_makers_apart(assessment, reader):
    said = words_of(reader)
    start = said.index("Every value that went in")
    defaults = said.index("Defaults", start)
    for entry in assessment.assumptions:
        place = said.index(entry.key, start)
        assert (place < defaults) == (entry.origin == "scenario")
        after = said[place : place + 200]
        assert entry.value in after
        assert entry.source in after
        assert entry.confidence in after


def test_an_unheard_of_group_is_still_listed(invented, assessment):
    odd = replace(assessment.assumptions[0], key="novelty.size")
    said = words_of(read(page.html(invented(assumptions=(odd,)))))
    assert "Other" in said
    assert "novelty.size" in said


def test_seed_checksum_versions_and_host_apart(reader):
    said = words_of(reader)
    for part in ("20260101", "ab" * 32, "jointrisk 0.1.0, numpy 2.4.6", "confidence 0.95"):
        assert part in said
    assert said.index("2026-01-01T00:00:00Z") > said.index("Host")


def test_text_of_the_file_is_escaped(invented, assessment):
    evil = "<script>alert(1)</script>"
    label = replace(assessment.proof.pulls[0], label=evil)
    odd = invented(
        title=evil,
        proof=replace(assessment.proof, pulls=(label,), reason=evil),
        ranking=(replace(assessment.ranking[0], name=evil, variable=evil),),
        assumptions=(replace(assessment.assumptions[0], value=evil, key=evil),),
    )
    text = page.html(odd)
    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_without_load_the_page_stands_and_says_so(without_load):
    said = words_of(read(page.html(without_load)))
    assert "Load not judged" in said
    assert "only the strength was estimated" in said


def test_a_missing_value_is_an_error_not_a_gap():
    template = page.environment().from_string("{{ nothing }}")
    with pytest.raises(jinja2.UndefinedError, match="nothing"):
        template.render()


def test_every_picture_has_its_table(assessment, reader):
    tags = [tag for tag, _ in reader.seen]
    said = words_of(reader)
    assert tags.count("figure") == 6
    assert "Chances over load" in said
    assert "What a pull brings, over its load" in said


def test_never_the_word(text):
    assert "safe" not in text.lower()


def _luminance(color):
    parts = [int(color[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one, other):
    """Contrast as WCAG 2.2 defines it."""
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _schemes(text):
    """Return the colours of each scheme by name, the light one first."""
    return [dict(re.findall(r"--(\w+): (#[0-9a-f]+)", block)) for block in
            re.findall(r":root {(.*?)}", text, re.DOTALL)]  # fmt: skip


def test_letters_and_lines_stand_out_in_both_schemes(text):
    """WCAG 2.2, success criterion 1.4.3: letters 4.5 to 1."""
    light, dark = _schemes(text)
    assert set(light) == set(dark)
    light["ground"] = light["ground"].replace("#fff", "#ffffff")
    for scheme in (light, dark):
        for name in set(scheme) - {"ground", "rule", "faint"}:
            assert _contrast(scheme[name], scheme["ground"]) >= 4.5, (name, scheme[name])


def test_every_colour_of_a_picture_follows_the_scheme(text):
    named = set(_schemes(text)[0])
    pictures = "".join(re.findall(r"<svg.*?</svg>", text, re.DOTALL))
    assert set(re.findall(r"var\(--(\w+)", pictures)) <= named
    assert not re.search(r"(?<!, )#[0-9a-f]{6}", re.sub(r"(?:url\(|href=\")#", "", pictures))


def _block(text, head):
    """Return what stands between the braces after `head`, inner braces included."""
    start = text.index("{", text.index(head)) + 1
    depth, place = 1, start
    while depth:
        depth += {"{": 1, "}": -1}.get(text[place], 0)
        place += 1
    return text[start : place - 1]


def test_paper_is_white_whatever_the_screen(text):
    assert text.count("prefers-color-scheme") == 1
    assert "@media screen and (prefers-color-scheme: dark)" in text


def test_print_rules_keep_rows_and_pictures_whole(text):
    sheet = _block(text, "@media print")
    assert re.search(r"@page {[^}]*margin: \d+mm", text)
    assert "size" not in re.search(r"@page {[^}]*}", text)[0]
    assert "thead { display: table-header-group; }" in sheet
    assert re.search(r"figure, [^{]*tr[^{]*{ break-inside: avoid; }", sheet)
    assert re.search(r'a\[href\^="tables/"\]::after {[^}]*attr\(href\)', sheet)


def test_the_drawing_is_printed_at_the_scale_it_names(text):
    """A third of a millimetre to a unit: width of the box against width on paper."""
    units = float(re.search(r'viewBox="0 0 (\d+) \d+" role="img" aria-labelledby="j', text)[1])
    width = re.search(r"figure.drawn svg { width: (\d+)mm; }", _block(text, "@media print"))[1]
    assert units / float(width) == PER_MM


def test_every_picture_has_a_title_and_says_in_sentences_what_it_shows(text):
    pictures = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert len(pictures) == 6
    for picture in pictures:
        head, name = picture.partition(">")[0], re.search(r'labelledby="(\S+)-title', picture)[1]
        assert 'role="img"' in head
        assert f'aria-labelledby="{name}-title {name}-desc"' in head
        title = re.search(rf'<title id="{name}-title">([^<]+)</title>', picture)[1]
        seen = re.search(rf'<desc id="{name}-desc">([^<]+)</desc>', picture)[1]
        assert len(title) > 10
        assert len(seen) > 40
        assert seen.endswith(".")
        assert re.search(r"\d", seen)


def test_the_joint_stands_after_the_answer_with_its_sizes(reader):
    said = words_of(reader)
    part = said[said.index("What was judged") : said.index("The pull")]
    for words in ("17.2 mm", "15.1 mm", "14.74 mm", "0.18 mm", "19 mm", "16.6 mm", "M6, 14 mm"):
        assert words in part
    assert "both ends alike" in part


def test_two_ends_are_drawn_each_with_its_own_ids(invented, assessment, end):
    rod = replace(assessment.geometry, ends=(end(), end(overlap_mm=31.0)))
    reader = read(page.html(invented(geometry=rod)))
    ids = [attributes["id"] for _, attributes in reader.seen if "id" in attributes]
    assert len(ids) == len(set(ids))
    said = words_of(reader)
    assert said.index("First end") < said.index("Second end") < said.index("31 mm", 100)
    assert "both ends alike" not in said


def test_the_page_names_each_table_beside_it_and_no_other(without_load, reader):
    def linked(page_read):
        found = [attributes.get("href", "") for _, attributes in page_read.seen]
        return [name.removeprefix("tables/") for name in found if name.startswith("tables/")]

    assert linked(reader) == list(tables.NAMES)
    assert linked(read(page.html(without_load))) == list(tables.csv_texts(without_load))
