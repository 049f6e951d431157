from pathlib import Path

import pytest

from backprobe.errors import JobFileError
from backprobe.job.file_text import MOST_BYTES, decode_text, read_text


def refused(path: Path) -> str:
    with pytest.raises(JobFileError) as caught:
        read_text(path)
    message = str(caught.value)
    assert message.startswith(str(path))
    return message.removeprefix(str(path))


def test_a_byte_order_mark_is_left_out(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"\xef\xbb\xbfformat = 1\n")
    assert read_text(path) == "format = 1\n"


def test_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "intake.toml"
    assert refused(path) == (
        f': There is no such file. Check the name, or start one with "backprobe new {path}".'
    )


def test_a_folder(tmp_path: Path) -> None:
    assert refused(tmp_path) == ": This is a folder, not a job file. Name a file in it."


def test_an_impossible_name() -> None:
    with pytest.raises(JobFileError, match="can't be read"):
        read_text("a\0b")


def test_the_words_for_a_missing_right_and_a_failing_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "job.toml"
    path.write_text("format = 1", encoding="utf-8")
    failures: list[OSError] = [PermissionError(13, "denied"), OSError(5, "Input/output error")]

    def fail(*_: object, **__: object) -> None:
        raise failures.pop(0)

    monkeypatch.setattr(Path, "open", fail)
    assert refused(path) == ": The file may not be read. Ask its owner for the right to."
    assert refused(path) == (
        ": The file can't be read (Input/output error). Check its name and place."
    )


def test_a_huge_file_is_refused_without_reading_it_whole(tmp_path: Path) -> None:
    path = tmp_path / "video.toml"
    with path.open("wb") as file:
        file.truncate(50 * MOST_BYTES)
        file.seek(0)
        file.write(b"# " * 1000)
    assert refused(path).startswith(": The file is larger than 1 MB. A job file is a short text;")


def test_a_binary_file(tmp_path: Path) -> None:
    path = tmp_path / "photo.toml"
    path.write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")
    assert refused(path) == (
        ", line 3: This isn't a text file: byte 9 is zero."
        " Name a job file, written in a plain text editor."
    )


def test_another_encoding_is_named_with_byte_and_line(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes('format = 1\nnote = "19 °C"\n'.encode("latin-1"))
    # "format = 1" and the end of the line are 11 bytes; the degree sign is the 12th after them.
    assert refused(path) == (
        ", line 2: Byte 23 of the file (hex B0) isn't UTF-8."
        " Save the file as UTF-8 in the editor; the sign may be a °, Ω, µ or ä."
    )


def test_the_byte_is_counted_with_the_byte_order_mark() -> None:
    with pytest.raises(JobFileError, match="Byte 5 of the file"):
        decode_text(b"\xef\xbb\xbfa\xb0", "job.toml")


def test_sixteen_bit_text_is_named(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes("format = 1".encode("utf-16"))
    assert refused(path) == ": The file is stored as UTF-16. Save it as UTF-8 in the editor."
