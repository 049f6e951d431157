"""Pictures and documents: taken by what they are, stored once, given back as they were."""

import struct
import zlib
from io import BytesIO

import pytest
from PIL import Image

from backprobe.errors import ConflictError, NotFoundError, ValueOutOfRange
from backprobe.job import Connector, Round, Terminal
from backprobe.services.attachments import (
    MAX_BYTES,
    add_attachment,
    media_type_of,
    read_attachment,
)
from backprobe.services.job_book import JobBook
from backprobe.store import files
from backprobe.store.engine import Store
from backprobe.store.record import JobHead


def picture(format_: str, size: tuple[int, int] = (32, 24)) -> bytes:
    buffer = BytesIO()
    Image.effect_noise(size, 80).convert("RGB").save(buffer, format_)
    return buffer.getvalue()


def png_that_says(width: int, height: int) -> bytes:
    """A PNG of a few bytes that claims to be big (chunks by the PNG specification, ISO 15948)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    data = chunk(b"IDAT", zlib.compress(b"\0" * 1000))
    return b"\x89PNG\r\n\x1a\n" + head + data + chunk(b"IEND", b"")


PDF = b"%PDF-1.7\n1 0 obj\n<< /Type /Catalog >>\nendobj\ntrailer\n<< /Root 1 0 R >>\n%%EOF\n"


@pytest.mark.parametrize(
    ("content", "media_type"),
    [
        (picture("JPEG"), "image/jpeg"),
        (picture("PNG"), "image/png"),
        (picture("WEBP"), "image/webp"),
        (PDF, "application/pdf"),
        ("Größe: 5 V < 12 V\r\n\tnote\n".encode(), "text/plain"),
        (b"\xef\xbb\xbfwith a mark of its order", "text/plain"),
    ],
)
def test_what_is_taken_is_known_by_its_content(content: bytes, media_type: str) -> None:
    assert media_type_of(content) == media_type


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "isn't taken"),
        (b"\xef\xbb\xbf  <?xml version='1.0'?><svg/>", "isn't taken"),
        (b"\n<!DOCTYPE html><title>x</title>", "isn't taken"),
        (b"harmless words, then <ScRiPt>alert(1)</script>", "isn't taken"),
        (b"MZ\x90\x00\x03", "isn't taken"),
        (b"PK\x03\x04 and so on", "isn't taken"),
        (b"\xff\xfe\x41\x00", "isn't taken"),
        (b"GIF89a\x01\x00\x01\x00", "isn't taken"),
        (b"bell\x07", "isn't taken"),
        (picture("JPEG")[:-400], "not whole"),
        (picture("PNG")[:-400], "not whole"),
        (picture("WEBP")[:-400], "not whole"),
        (b"\xff\xd8\xff<html>", "damaged"),
        (b"RIFF\x04\x00\x00\x00WEBP", "damaged"),
        (png_that_says(9_000, 9_000), "million pixels"),
        (png_that_says(10_000, 10_000), "million pixels"),
        (png_that_says(60_000, 60_000), "million pixels"),
        (b"a" * (MAX_BYTES + 1), "20 MB is the most"),
    ],
)
def test_everything_else_is_refused(content: bytes, said: str) -> None:
    with pytest.raises(ValueOutOfRange, match=said):
        media_type_of(content)


@pytest.fixture
def job(store: Store) -> str:
    return JobBook(store).begin(JobHead("job"))


@pytest.fixture
def round_key(store: Store, job: str) -> str:
    book = JobBook(store)
    sheet = book.add_sheet(job, Connector("s", terminals=(Terminal("1"), Terminal("2"))))
    return book.add_round(sheet, Round("A", plugged=False, key="on"))


def test_an_attachment_is_kept_as_it_is(store: Store, job: str, round_key: str) -> None:
    content = picture("JPEG")
    added = add_attachment(
        *(store, job, "C:\\photos\\..\\bracket.jpg", content),
        caption=" rust under the eyelet ",
        round_key=round_key,
        place="2",
        device="phone",
    )
    found, read = read_attachment(store, added.key)
    assert (found, read) == (added, content)
    assert (found.name, found.caption) == ("bracket.jpg", "rust under the eyelet")
    assert (found.round, found.place, found.media_type) == ("A", "2", "image/jpeg")
    record = JobBook(store).job(job, with_events=True)
    assert record.attachments == (added,)
    assert (record.events[-1].kind, record.events[-1].device) == ("attachment", "phone")


def test_the_same_content_is_stored_once(store: Store, job: str) -> None:
    one = add_attachment(store, job, "one.txt", b"note")
    other = add_attachment(store, job, "other.txt", b"note")
    assert one.key != other.key
    assert list(files.kept(store.files)) == [one.sha256]


def test_one_key_is_stored_once(store: Store, job: str) -> None:
    first = add_attachment(store, job, "a.txt", b"note", entry_key="k1")
    JobBook(store).close(job)
    assert add_attachment(store, job, "a.txt", b"note", entry_key="k1") == first
    assert JobBook(store).job(job).attachments == (first,)


def test_a_closed_job_takes_none(store: Store, job: str) -> None:
    JobBook(store).close(job)
    with pytest.raises(ConflictError, match="closed"):
        add_attachment(store, job, "a.txt", b"note")


def test_what_is_refused_leaves_no_file(store: Store, job: str) -> None:
    with pytest.raises(ValueOutOfRange):
        add_attachment(store, job, "a.svg", b"<svg/>")
    with pytest.raises(NotFoundError):
        add_attachment(store, "nowhere", "a.txt", b"note")
    assert list(files.kept(store.files)) == []


@pytest.mark.parametrize(
    ("place", "with_round", "said"), [("7", True, "terminals are 1, 2"), ("1", False, "its round")]
)
def test_a_place_must_be_there(
    store: Store, job: str, round_key: str, place: str, with_round: bool, said: str
) -> None:
    with pytest.raises(ValueOutOfRange, match=said):
        add_attachment(
            *(store, job, "a.txt", b"note"), round_key=round_key if with_round else "", place=place
        )


def test_a_round_of_another_job_is_refused(store: Store, round_key: str) -> None:
    other = JobBook(store).begin(JobHead("other"))
    with pytest.raises(ValueOutOfRange, match="another job"):
        add_attachment(store, other, "a.txt", b"note", round_key=round_key)


def test_a_picture_belongs_to_a_reading(store: Store, job: str, round_key: str) -> None:
    added = add_attachment(
        *(store, job, "meter.jpg", picture("JPEG")),
        round_key=round_key,
        quantity="sensor_ohms",
        place="2-1",
    )
    # Named as the reading itself is: in the connector's order.
    assert (added.round_key, added.quantity, added.place) == (round_key, "sensor_ohms", "1-2")
    record = JobBook(store).job(job, with_events=True)
    assert record.pictures_of(round_key) == (added,)
    assert record.events[-1].details["quantity"] == "sensor_ohms"


@pytest.mark.parametrize(
    ("quantity", "place", "with_round", "said"),
    [
        ("volts", "1", False, "its round"),
        ("volts", "7", True, "no place for"),
        ("flux", "1", True, "no place for"),
        ("battery_volts", "1", True, "no place for"),
    ],
)
def test_a_reading_must_be_there(
    store: Store, job: str, round_key: str, quantity: str, place: str, with_round: bool, said: str
) -> None:
    with pytest.raises(ValueOutOfRange, match=said):
        add_attachment(
            *(store, job, "a.txt", b"note"),
            round_key=round_key if with_round else "",
            quantity=quantity,
            place=place,
        )
    assert list(files.kept(store.files)) == []


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../x.pdf", "x.pdf"),
        ("a\nb\x00.txt", "a b .txt"),
        ("", "without a name"),
        ("é" * 300, "é" * 120),
    ],
)
def test_a_name_is_made_fit_to_be_shown(store: Store, job: str, name: str, shown: str) -> None:
    assert add_attachment(store, job, name, b"note").name == shown


def test_what_is_not_there_is_told(store: Store) -> None:
    with pytest.raises(NotFoundError, match="no such picture or document"):
        read_attachment(store, "nowhere")


def test_another_content_or_place_under_a_used_key_is_refused_not_acknowledged(
    store: Store,
) -> None:
    book = JobBook(store)
    job = book.begin(JobHead("job"))
    pins = Connector("intake sensor", terminals=(Terminal("1"), Terminal("2")))
    sheet = book.add_sheet(job, pins)
    round_key = book.add_round(sheet, Round("A", plugged=False, key="on"))

    def send(content: bytes, place: str) -> str:
        return add_attachment(
            store,
            job,
            "a.txt",
            content,
            round_key=round_key,
            quantity="volts",
            place=place,
            entry_key="one-photo",
        ).key

    assert send(b"note", "1") == send(b"note", "1") == "one-photo"
    for content, place in ((b"another", "1"), (b"note", "2")):
        with pytest.raises(ConflictError, match="used for another one"):
            send(content, place)
    book.close(job)
    assert send(b"note", "1") == "one-photo"  # acknowledged once more: it is there
    assert len(book.job(job).attachments) == 1
