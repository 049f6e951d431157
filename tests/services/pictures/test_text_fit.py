"""Reckoned widths against measured ones, and lines that never leave their room."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from backprobe.services.pictures.canvas import FAULT
from backprobe.services.pictures.text_fit import ELLIPSIS, fit_text, text_width, wrap_text

# Measured with FreeType through Pillow 12 in DejaVu Sans 2.37 and its bold, at 1000 units.
MEASURED = [
    ("pull-up to 5 V", False, 6733),
    ("Terminal 12, yellow with black wire", False, 17683),
    ("2.2 kohm (2.15 to 2.25)", False, 11896),
    ("WWWW mmmm iiii", False, 9600),
    ("pull-up to 5 V", True, 7636),
    ("Terminal 12, yellow with black wire", True, 19992),
    ("2.2 kohm (2.15 to 2.25)", True, 13285),
    ("WWWW mmmm iiii", True, 10648),
]
OTHER_LETTERS = [("ÄÖÜ µΩ °C é ł", True, 7697), ("Датчик", True, 4213)]  # measured as above


@pytest.mark.parametrize(("words", "bold", "units"), MEASURED)
def test_widths_are_those_of_the_measured_face(words: str, bold: bool, units: int) -> None:
    # Whole units an em are kept, each rounded by half a unit at most.
    assert text_width(words, 1000.0, bold=bold) == pytest.approx(units, abs=0.5 * len(words))


@pytest.mark.parametrize(("words", "bold", "units"), OTHER_LETTERS)
def test_other_letters_are_given_room_enough(words: str, bold: bool, units: int) -> None:
    assert units <= text_width(words, 1000.0, bold=bold) <= 1.6 * units


def test_a_number_stays_with_its_unit() -> None:
    assert wrap_text("pull-up 2.2 kohm", 75.0, 12.0) == ("pull-up", "2.2 kohm")
    assert wrap_text("settled, > 99.9 %", 70.0, 12.0) == ("settled,", "> 99.9 %")


def test_the_mark_of_a_fault_is_seen_by_day_and_by_night() -> None:
    # WCAG 2.2, relative luminance and contrast ratio; 3:1 for graphics (1.4.11).
    def luminance(shade: str) -> float:
        parts = [int(shade[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    mark = luminance(FAULT)
    for ground in ("#ffffff", "#101418"):
        light, dark = sorted((mark, luminance(ground)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) >= 4.2


@given(st.text(max_size=80), st.floats(40, 300), st.booleans())
def test_lines_keep_their_width_and_all_words(words: str, width: float, bold: bool) -> None:
    lines = wrap_text(words, width, 12.0, bold=bold)
    assert all(text_width(line, 12.0, bold=bold) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(words.split())
    most = wrap_text(words, width, 12.0, bold=bold, most=2)
    assert len(most) <= 2
    assert all(text_width(line, 12.0, bold=bold) <= width for line in most)
    assert len(lines) <= 2 or most[-1].endswith(ELLIPSIS)
    fitted = fit_text(words, width, 12.0, bold=bold)
    assert text_width(fitted, 12.0, bold=bold) <= width
