"""The same pictures in a printed document: Typst takes them as they are."""

from io import BytesIO
from pathlib import Path

import pytest
import typst
from PIL import Image

from backprobe.services.pictures import circuit_picture, comparison_picture, connector_face
from backprobe.services.pictures.wire_line import SHADES
from tests.services.pictures.made_up import answer_of, family_named, job_of

FAMILY = family_named("air-mass-voltage-thermistor-battery")
JOB, ANSWER = job_of(FAMILY), answer_of(FAMILY)
INK = "#101010"
PICTURES = {
    "circuit": circuit_picture(JOB, ANSWER, ink=INK, paper="#ffffff"),
    "face": connector_face(JOB.connector, None, "2", ink=INK),
    "comparison": comparison_picture(JOB, JOB, ANSWER, ink=INK),
}


@pytest.mark.parametrize("name", PICTURES)
def test_typst_renders_a_picture_without_a_warning(name: str, tmp_path: Path) -> None:
    (tmp_path / "picture.svg").write_text(PICTURES[name], encoding="utf-8")
    document = tmp_path / "page.typ"
    document.write_text(
        "#set page(width: auto, height: auto, margin: 0pt)\n"
        '#image("picture.svg", alt: "a picture")\n',
        encoding="utf-8",
    )
    rendered, warnings = typst.compile_with_warnings(
        str(document), format="png", ppi=72, ignore_system_fonts=True
    )
    assert warnings == []
    assert isinstance(rendered, bytes)
    with Image.open(BytesIO(rendered)) as image:
        counted = image.convert("RGB").getcolors(1 << 24) or []
    seen = {colour for _, colour in counted}
    assert (0x10, 0x10, 0x10) in seen  # lines in the given ink
    if name != "comparison":
        yellow = tuple(int(SHADES["YE"][i : i + 2], 16) for i in (1, 3, 5))
        assert yellow in seen  # a wire in its colour
