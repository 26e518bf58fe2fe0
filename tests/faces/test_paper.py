"""What is printed can be read: by a scanner, by a person, and by the person who keys it back."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from PIL import Image

from firstsilk.answers import InputRefused, StationFault
from firstsilk.faces.paper import press
from firstsilk.faces.paper.lettering import check_lettering, cut_text, fit_text, read_lettering
from firstsilk.faces.paper.lists import (
    DaySheet,
    DayTask,
    PacketList,
    TrialPacket,
    render_day_sheet,
    render_packet_list,
)
from firstsilk.faces.paper.press import check_print, draw_code, picture_page
from firstsilk.faces.paper.tags import (
    LOT_LABEL_PAPER,
    ROW_TAG_PAPER,
    LabelPaper,
    LotLabel,
    RowTag,
    render_lot_labels,
    render_row_tags,
)
from firstsilk.faces.paper.walkbook import WalkBook, WalkRow, order_for_walking, render_walk_book
from firstsilk.science.seed.tags import print_tag, tag_for_serial

TRICKS = "#x *a* _b_ @c <d> \\e $f$ `g` [h] {i} //j /*k*/ \"l\" 'm' ~n -- =o +p https://q #sys"
LONG = "Averylongname" * 12
STATION = "Eskerholm Growers' Cooperative"


def make_tags(number: int, **changes: object) -> list[RowTag]:
    return [
        replace(
            RowTag(
                tag_for_serial(40_000 + at * 7_919),
                at + 1,
                "2031",
                1 + at // 20,
                1 + at % 20,
                "EK101",
                "(EK12 × EK40)-3-1",
                "CROSS with row 0413 (EK77), 4 ears" if at % 2 else "SELF 6 ears",
                "row 0413, EK77" if at % 2 else "",
                "L30-0042",
                date(2031, 5, 4),
                30,
                "female" if at % 2 else "self",
            ),
            **changes,
        )
        for at in range(number)
    ]


def make_walk_rows(number: int, width: int, **changes: object) -> tuple[WalkRow, ...]:
    rows = []
    for at in range(number):
        field_row, along = 1 + at // width, at % width
        field_col = along + 1 if field_row % 2 else width - along
        row = WalkRow(tag_for_serial(500 + at), at + 1, field_row, field_col, "EK101", "SELF 6 ears", "self")
        rows.append(replace(row, **changes))
    return tuple(rows)


def make_book(rows: tuple[WalkRow, ...]) -> WalkBook:
    return WalkBook(STATION, "Home field", "2031", date(2031, 5, 2), rows, "9f86d081884c7d659a2feaa0c55ad015", 1234)


def make_tasks(number: int, **changes: object) -> tuple[DayTask, ...]:
    task = DayTask("", 0, 1, 1, "EK101", "SELF 6 ears", "silk seen yesterday", "self")
    return tuple(
        replace(task, tag=tag_for_serial(at), number=at + 1, field_col=at + 1, **changes) for at in range(number)
    )


def make_day(tasks: tuple[DayTask, ...]) -> DaySheet:
    return DaySheet(STATION, "Home field", "2031", date(2031, 7, 21), "Crew B", tasks, chain_hash="9f86d081884c7d65")


def make_packets(number: int, **changes: object) -> PacketList:
    packets = tuple(
        replace(TrialPacket(101 + at, 1, None, f"EH{at}", "L30-0042", 72, 1, at + 1), **changes) for at in range(number)
    )
    return PacketList(STATION, "Yield trial A", "Home field", "2031", date(2031, 4, 28), packets)


def draw_pages(pdf: bytes, dpi: int = 150) -> Iterator[np.ndarray]:
    with pypdfium2.PdfDocument(pdf) as document:
        for page in document:
            yield page.render(scale=dpi / 72, grayscale=True).to_numpy().copy()


def read_pages(pdf: bytes) -> list[str]:
    with pypdfium2.PdfDocument(pdf) as document:
        return [page.get_textpage().get_text_bounded() for page in document]


def read_words(pdf: bytes) -> str:
    return " ".join(" ".join(read_pages(pdf)).split())


def find_letters(pdf: bytes) -> Iterator[tuple[int, str, tuple[float, float, float, float]]]:
    """Every visible sign with its page and its box in millimetres from the lower left corner."""
    with pypdfium2.PdfDocument(pdf) as document:
        for number, page in enumerate(document):
            text = page.get_textpage()
            for at in range(text.count_chars()):
                sign = text.get_text_range(at, 1)
                if sign.strip():
                    yield number, sign, tuple(value * 25.4 / 72 for value in text.get_charbox(at))


# codes


def test_all_codes_of_row_tags_read_from_the_pdf_and_stand_beside_in_text() -> None:
    tags = make_tags(47)
    pdf = render_row_tags(tags)
    found = []
    for picture in draw_pages(pdf):
        codes = zxingcpp.read_barcodes(picture)
        assert {code.ec_level for code in codes} == {"H"}
        # reading order: down the sheet, then across
        ordered = sorted(codes, key=lambda code: (round(code.position.top_left.y, -1), code.position.top_left.x))
        found += [code.text for code in ordered]
    assert found == [tag.tag for tag in tags]
    assert re.findall(r"[0-9A-Z]{4}-[0-9A-Z]{4}", read_words(pdf)) == [print_tag(tag.tag) for tag in tags]


def test_all_codes_of_lot_labels_read_from_the_pdf() -> None:
    labels = [
        LotLabel(tag_for_serial(at * 31), f"L31-{at:04d}", "EK101", None if at % 3 else 120, 2031, f"A-{at}")
        for at in range(60)
    ]
    pdf = render_lot_labels(labels)
    found = [code.text for picture in draw_pages(pdf) for code in zxingcpp.read_barcodes(picture)]
    assert sorted(found) == sorted(label.tag for label in labels)
    words = read_words(pdf)
    for label in labels:
        assert label.name in words
        assert print_tag(label.tag) in words


def test_a_code_is_the_smallest_kind_and_holds_just_the_capitals() -> None:
    svg = draw_code("0000A288")
    assert 'viewBox="0 0 29 29"' in svg
    with pytest.raises(StationFault):
        draw_code("0000-a288-too-long")


@pytest.mark.parametrize("paper", [ROW_TAG_PAPER, LOT_LABEL_PAPER])
def test_modules_and_quiet_zones_are_large_enough_for_a_phone(paper: LabelPaper) -> None:
    assert paper.code_mm / 29 >= 0.5
    assert paper.left_mm + paper.columns * paper.width_mm <= paper.paper_width_mm
    assert paper.top_mm + paper.rows * paper.height_mm <= paper.paper_height_mm


def test_a_print_that_does_not_read_back_is_not_released(monkeypatch: pytest.MonkeyPatch) -> None:
    tags = make_tags(3)
    pdf = render_row_tags(tags, check=False)
    check_print(pdf, {1: [tag.tag for tag in tags]})
    with pytest.raises(StationFault, match="does not read back"):
        check_print(pdf, {1: [tags[0].tag, tags[1].tag, tag_for_serial(1)]})
    with pytest.raises(StationFault, match="does not read back"):
        check_print(pdf, {1: [tag.tag for tag in tags[:2]]})
    monkeypatch.setattr("firstsilk.faces.paper.tags.draw_code", lambda signs: draw_code(tags[0].tag))
    with pytest.raises(StationFault, match="does not read back"):
        render_row_tags(tags)


def test_the_picture_that_is_read_back_shows_what_another_program_draws() -> None:
    pdf = render_row_tags(make_tags(10))
    ours, other = picture_page(pdf, 1), next(draw_pages(pdf))
    assert abs(ours.shape[0] - other.shape[0]) <= 1
    # two rasterisers may differ by a pixel, not over 16 x 16 of them
    blocks = [picture[:1744, :1232].reshape(109, 16, 77, 16).mean(axis=(1, 3)) for picture in (ours, other)]
    assert np.corrcoef(blocks[0].ravel(), blocks[1].ravel())[0, 1] > 0.99
    assert (ours < 128).mean() == pytest.approx((other < 128).mean(), rel=0.03)


def test_a_picture_is_unpacked_as_another_library_does() -> None:
    across, down = np.meshgrid(np.arange(97), np.arange(61))
    noise = np.random.default_rng(1).integers(0, 256, (61, 97))
    for red in (across * 2, across + 2 * down, noise, (across * down) % 251, np.where(noise > 250, 0, 255)):
        pixels = np.stack([red, red, red, np.full_like(red, 255)], axis=2).astype(np.uint8)
        packed = io.BytesIO()
        Image.fromarray(pixels).save(packed, "PNG")
        np.testing.assert_array_equal(press._read_png(packed.getvalue()), pixels[:, :, 0])


@pytest.mark.parametrize("kind", [0, 1, 2, 3, 4])
def test_every_filter_of_a_picture_is_undone_as_its_standard_says(kind: int) -> None:
    dice = np.random.default_rng(kind)
    line, above = dice.integers(0, 256, (2, 50)).tolist()
    coded = []
    for at, value in enumerate(line):
        a, b, c = (line[at - 1], above[at], above[at - 1]) if at else (0, above[0], 0)
        nearest = min((abs(b - c), 0, a), (abs(a - c), 1, b), (abs(a + b - 2 * c), 2, c))[2]
        coded.append((value - [0, a, b, (a + b) // 2, nearest][kind]) % 256)
    undone = press._undo_filter(kind, np.array(coded, np.uint8), np.array(above, np.uint8))
    assert undone.tolist() == line


def test_the_check_of_a_print_needs_no_library_that_is_only_for_tests() -> None:
    code = (
        "import sys; sys.modules['PIL'] = None; sys.modules['pypdfium2'] = None\n"
        "from firstsilk.faces.paper.tags import LotLabel, render_lot_labels\n"
        "render_lot_labels([LotLabel('0000A288', 'L31-0001', 'EK101', 5, 2031)])\n"
        "assert 'django' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


# the one instruction


def test_a_row_tag_says_number_line_and_one_instruction() -> None:
    words = read_words(render_row_tags(make_tags(2)))
    for said in ("0001", "SELF 6 ears", "0002", "CROSS with row 0413 (EK77), 4 ears", "Male: row 0413, EK77"):
        assert said in words
    assert "Lot L30-0042" in words
    assert "sow 4 May 2031 · 30 kernels · range 1, place 1 · self" in words


def test_an_instruction_is_refused_rather_than_cut() -> None:
    with pytest.raises(InputRefused) as refused:
        render_row_tags(make_tags(2, do="CROSS with row 0413 and then walk to the next one " * 5))
    assert [finding.code for finding in refused.value.findings] == ["instruction_too_long"] * 2
    assert "row 0001" in refused.value.findings[0].message


def test_the_number_is_readable_at_arms_length() -> None:
    heights = [
        top - bottom for _, sign, (_, bottom, _, top) in find_letters(render_row_tags(make_tags(1))) if sign == "0"
    ]
    assert max(heights) > 11


# long, odd and missing things


@pytest.mark.parametrize("name", ["line", "pedigree_short", "male_text", "lot", "purpose", "season"])
@pytest.mark.parametrize("text", [LONG, "A long name of many words " * 8, TRICKS])
def test_no_text_leaves_its_tag(name: str, text: str) -> None:
    tags = make_tags(4, **{name: text})
    letters = list(find_letters(render_row_tags(tags)))
    paper, right = ROW_TAG_PAPER, ROW_TAG_PAPER.width_mm - ROW_TAG_PAPER.code_mm - 2
    for _, _, (left_mm, bottom_mm, right_mm, top_mm) in letters:
        y = paper.paper_height_mm - paper.top_mm - top_mm
        if bottom_mm < 10:  # the foot of the sheet
            continue
        x, x_end = left_mm - paper.left_mm, right_mm - paper.left_mm
        assert int(x // paper.width_mm) == int(x_end // paper.width_mm)
        on_tag, end_on_tag, y_on_tag = x % paper.width_mm, x_end % paper.width_mm, y % paper.height_mm
        assert 3 < on_tag < end_on_tag < paper.width_mm - 1
        # beside the code: names end before it
        if 15 < y_on_tag < 30 and on_tag < right:
            assert end_on_tag <= right


def test_names_that_look_like_markup_are_printed_as_they_are() -> None:
    tags = make_tags(2, line="#a *b* @c", pedigree_short="<d> \\e $f$ _g_", do="SELF #let x=1")
    words = read_words(render_row_tags(tags))
    for said in ("#a *b* @c", "<d> \\e $f$ _g_", "SELF #let x=1"):
        assert said in words
    words = read_words(render_walk_book(make_book(make_walk_rows(3, 3, line=TRICKS[:24]))))
    assert TRICKS[:24] in words
    assert TRICKS in read_words(render_day_sheet(make_day(make_tasks(2, why=TRICKS))))
    assert TRICKS in read_words(render_packet_list(replace(make_packets(3), trial=TRICKS)))


def test_names_in_other_letters_are_printed() -> None:
    name = "Žalud Łąka ő Ødegård Ж β"
    words = read_words(render_row_tags(make_tags(2, line=name, pedigree_short="e\u0301t\u00e9")))
    assert name in words
    assert "\u00e9t\u00e9" in words


def test_a_sign_that_the_font_lacks_is_refused_and_named() -> None:
    with pytest.raises(InputRefused) as refused:
        render_row_tags(make_tags(3, line="山"))
    assert refused.value.findings[0].code == "sign_not_printable"
    assert "row 0001, line: the printed font cannot show 山" in refused.value.findings[0].message
    with pytest.raises(InputRefused):
        check_lettering([("here", "a🌽")])


def test_a_width_measured_by_us_is_the_width_that_is_printed() -> None:
    text, size_pt = "CROSS0413", 28.0
    paper = ROW_TAG_PAPER
    frame_top_mm = paper.paper_height_mm - paper.top_mm - 33
    letters = find_letters(render_row_tags(make_tags(1, do=text)))
    boxes = [box for _, sign, box in letters if frame_top_mm - 14.2 < box[1] < frame_top_mm]
    assert len(boxes) == len(text)
    printed_mm = max(box[2] for box in boxes) - min(box[0] for box in boxes)
    assert read_lettering(bold=True).measure_mm(text, size_pt) == pytest.approx(printed_mm, abs=1.2)


def test_a_cut_text_ends_with_an_ellipsis_and_fits() -> None:
    lettering = read_lettering()
    for width_mm in (3.0, 10.0, 30.0):
        cut = cut_text(LONG, width_mm, 10)
        assert cut.endswith("…")
        assert lettering.measure_mm(cut, 10) <= width_mm
    assert cut_text("EK101", 30, 10) == "EK101"
    between_mm = (lettering.measure_mm("EK101", 13) + lettering.measure_mm("EK101", 17)) / 2
    assert fit_text("EK101", between_mm, (17, 13, 9)) == ("EK101", 13)


def test_nothing_to_print_is_refused() -> None:
    prints = (
        lambda: render_row_tags([]),
        lambda: render_lot_labels([]),
        lambda: render_walk_book(make_book(())),
        lambda: render_day_sheet(make_day(())),
        lambda: render_packet_list(make_packets(0)),
    )
    for render in prints:
        with pytest.raises(InputRefused) as refused:
            render()
        assert refused.value.refusal is not None
        assert refused.value.refusal.code == "nothing_to_print"


def test_a_tag_that_comes_twice_or_is_damaged_is_refused() -> None:
    tags = make_tags(3)
    with pytest.raises(InputRefused, match="row 0003 and row 0001 would carry the same tag"):
        render_row_tags([*tags[:2], replace(tags[2], tag=tags[0].tag)])
    swapped = tags[0].tag[1] + tags[0].tag[0] + tags[0].tag[2:]
    damaged = tags[0].tag[:-1] + ("0" if tags[0].tag[-1] != "0" else "1")
    for tag in {swapped, damaged} - {tags[0].tag}:
        with pytest.raises(InputRefused):
            render_row_tags([replace(tags[0], tag=tag)])


def test_stacked_sheets_cut_into_piles_that_run_on_in_order() -> None:
    tags = make_tags(25)
    pdf = render_row_tags(tags, replace(ROW_TAG_PAPER, stacked=True))
    sheets = [re.findall(r"[0-9A-Z]{4}-[0-9A-Z]{4}", text) for text in read_pages(pdf)]
    piles = [[sheet[pile] for sheet in sheets if pile < len(sheet)] for pile in range(8)]
    assert [tag for pile in piles for tag in pile][:24] == [print_tag(tag.tag) for tag in tags[:24]]


def test_the_same_values_give_the_same_bytes() -> None:
    tags = make_tags(12)
    assert render_row_tags(tags) == render_row_tags(tags)
    book = make_book(make_walk_rows(20, 8))
    assert render_walk_book(book) == render_walk_book(book)


def test_only_the_shipped_font_is_in_the_print() -> None:
    pdf = render_row_tags(make_tags(1))
    assert press._load_fonts().families() == ["Open Sans"]
    fonts = set(re.findall(rb"/BaseFont ?/[A-Z]{6}\+([A-Za-z-]+)", pdf))
    assert fonts
    assert all(font.startswith(b"OpenSans") for font in fonts)


def test_a_warning_of_the_printer_is_an_error(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "odd.typ").write_text('#set text(font: "No Such Font")\nA')
    monkeypatch.setattr(press, "SHEET_FOLDER", tmp_path)
    with pytest.raises(StationFault, match="unknown font family"):
        press.print_sheet("odd", {})


# the walk book


def test_the_walk_is_a_serpentine_where_each_step_is_one_place() -> None:
    rows = make_walk_rows(30, 6)
    walked = order_for_walking(reversed(rows))
    assert [row.number for row in walked] == list(range(1, 31))
    for here, there in pairwise(walked):
        assert abs(here.field_row - there.field_row) + abs(here.field_col - there.field_col) == 1


@pytest.mark.parametrize(("number", "width"), [(1, 1), (15, 15), (16, 16), (60, 24), (40, 3), (25, 1)])
def test_a_walk_book_holds_every_row_once_and_names_the_neighbours(number: int, width: int) -> None:
    rows = make_walk_rows(number, width)
    cover, *pages = read_pages(render_walk_book(make_book(rows[::-1])))
    tags = [re.findall(r"[0-9A-Z]{4}-[0-9A-Z]{4}", page) for page in pages]
    assert [tag for page in tags for tag in page] == [print_tag(row.tag) for row in rows]
    assert f"{len(pages) + 1} with this cover" in cover
    last = 0
    for at, page in enumerate(pages):
        words = " ".join(page.split())
        before = "nothing: the walk starts here" if at == 0 else f"row {last:04d}, EK101 (page {at + 1})"
        assert f"Before this page: {before}" in words
        last += len(tags[at])
        after = "nothing: the walk ends here" if last == number else f"row {last + 1:04d}, EK101 (page {at + 3})"
        assert f"After this page: {after}" in words
        assert f"page {at + 2} of {len(pages) + 1}" in words
        assert "Walked by" in words


def test_the_cover_carries_cautions_legend_and_the_newest_note() -> None:
    cover = " ".join(read_pages(render_walk_book(make_book(make_walk_rows(3, 3))))[0].split())
    for said in (
        "Walk book 2031",
        STATION,
        "2 May 2031",
        "note 1,234, chain 9f86 d081 884c 7d65",
        "Heat.",
        "Pollen.",
        "Under 18.",
        "Local law, product labels and licensed practice decide.",
        "How to fill a line",
    ):
        assert said in cover
    unnoted = replace(make_book(make_walk_rows(3, 3)), chain_hash="")
    assert "no notes yet" in read_words(render_walk_book(unnoted))


def test_boxes_are_high_enough_to_write_in() -> None:
    letters = find_letters(render_walk_book(make_book(make_walk_rows(15, 15))))
    # the row numbers are the largest zeros at the left edge of the first page of rows
    heights = sorted(
        {
            round(box[1], 2)
            for page, sign, box in letters
            if page == 1 and sign == "0" and 13 < box[0] < 17 and box[1] < 180
        }
    )
    steps = np.diff(heights)
    assert len(heights) == 15
    assert steps.min() >= 9


@pytest.mark.parametrize(
    "changes", [{"line": LONG}, {"do": LONG}, {"do": "many words " * 20}, {"warning": "wet " * 40}]
)
def test_no_text_of_a_walk_book_leaves_its_cell(changes: dict[str, str]) -> None:
    plain = read_pages(render_walk_book(make_book(make_walk_rows(32, 16))))
    pdf = render_walk_book(make_book(make_walk_rows(32, 16, **changes)))
    assert len(read_pages(pdf)) == len(plain)
    for page, sign, (left_mm, bottom_mm, right_mm, top_mm) in find_letters(pdf):
        if page > 0 and bottom_mm > 25 and top_mm < 180 and 53 < left_mm < 120:
            assert right_mm <= 120.5, sign


def test_a_row_that_must_not_be_entered_says_so_first() -> None:
    words = read_words(render_walk_book(make_book(make_walk_rows(2, 2, warning="spray, until 14 July 18:00"))))
    assert "NO ENTRY: spray, until 14 July 18:00 EK101 · then SELF 6 ears" in words


def test_two_rows_at_one_place_are_refused() -> None:
    rows = make_walk_rows(3, 3)
    with pytest.raises(InputRefused, match="rows 0001 and 0002 lie at the same place"):
        render_walk_book(make_book((rows[0], replace(rows[1], field_col=1), rows[2])))


# lists


def test_a_day_sheet_lists_tasks_in_walking_order_and_keeps_blocked_rows_apart() -> None:
    tasks = make_tasks(30)
    tasks = (*tasks[:4], replace(tasks[4], blocked="sprayed, until 21 July 18:00"), *tasks[5:])
    words = read_words(render_day_sheet(make_day(tasks[::-1])))
    assert "NO ENTRY Rows 0005: sprayed, until 21 July 18:00" in words
    printed = re.findall(r"[0-9A-Z]{4}-[0-9A-Z]{4}", words)
    assert printed == [print_tag(task.tag) for task in tasks if not task.blocked]
    assert "silk seen yesterday" in words
    assert "Local law, product labels and licensed practice decide." in words
    assert "29 rows to do" in words


def test_a_packet_list_keeps_the_planting_order_and_calls_back() -> None:
    packets = make_packets(25)
    turned = replace(packets, packets=packets.packets[::-1])
    words = read_words(render_packet_list(turned))
    plots = [int(plot) for plot in re.findall(r"\b(1\d\d) 1 – EH", words)]
    assert plots == list(range(125, 100, -1))
    assert re.findall(r"Call back: packet (\d+) is plot (\d+)", words) == [("10", "116"), ("20", "106")]


def test_long_words_stay_in_the_columns_of_a_packet_list() -> None:
    pdf = render_packet_list(make_packets(12, entry=LONG, lot=LONG))
    assert read_words(pdf).count("…") >= 24
    ends = sorted(round(box[2], 1) for _, sign, box in find_letters(pdf) if sign == "…")
    assert len(ends) == 25  # one more in the call back
    entry_ends, lot_ends = [end for end in ends if end < 119], [end for end in ends if end > 119]
    assert len(lot_ends) == 12
    assert 100 < max(entry_ends) < 119 < 140 < max(lot_ends) < 151


def test_a_plot_with_two_packets_is_refused() -> None:
    with pytest.raises(InputRefused, match="Plot 101 has two packets"):
        render_packet_list(make_packets(2, plot=101))
