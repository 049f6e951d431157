"""A capture from its file to the sheet, by the pages alone."""

import re
import wave
from pathlib import Path

import numpy as np
import pytest
from fastapi import FastAPI

from backprobe.store.engine import Store
from tests.services.captured import Kept, begun, hall, write_csv
from tests.web.browsers import browser


@pytest.fixture
def kept(store: Store) -> Kept:
    return begun(store)


@pytest.fixture
def content(tmp_path: Path) -> bytes:
    columns = {"signal (V)": hall(6000), "<b>odd</b> (V)": hall(6000)}
    return write_csv(tmp_path / "hall.csv", columns).read_bytes()


def sent(app: FastAPI, kept: Kept, content: bytes, name: str = "hall.csv") -> str:
    """Send a file with the form; returns where it can be looked at."""
    answer = browser(app).post(
        f"/jobs/{kept.job}/recordings/new", files={"file": (name, content, "text/csv")}
    )
    assert answer.status_code == 303
    return str(answer.headers["location"])


def test_from_the_file_to_the_sheet(app: FastAPI, kept: Kept, content: bytes) -> None:
    visitor = browser(app)
    assert "Send and look at it" in visitor.get(f"/jobs/{kept.job}/recordings/new").text
    at = sent(app, kept, content)
    looked = visitor.get(at).text
    assert "2 channels: signal (V)" in looked
    assert "<b>odd" not in looked
    assert "A: plugged in, idling" in looked
    fields = {
        "do": "keep",
        "kind": "capture",
        "round": kept.round,
        "place-0": "3",
        "error": "2",
        "caption": "at idle",
    }
    answer = visitor.post(at, data=fields)
    assert answer.status_code == 303
    page = answer.headers["location"]
    shown = visitor.get(page).text
    for part in ("signal, terminal 3", "high for 40 % of the time", "at idle", "±"):
        assert part in shown, part
    assert "<svg" in shown
    taken = visitor.post(f"{page}/readings", data={"channel": "0"})
    assert (taken.status_code, taken.headers["location"]) == (303, f"/sheets/{kept.sheet}")
    assert "on the sheet" in visitor.get(page).text
    assert "4.98" in visitor.get(f"/sheets/{kept.sheet}").text
    assert page in visitor.get(f"/jobs/{kept.job}").text


def test_a_wrong_description_is_told_and_nothing_lost(
    app: FastAPI, kept: Kept, content: bytes
) -> None:
    visitor = browser(app)
    at = sent(app, kept, content)
    mapping = re.search(r"<textarea[^>]*>(.*?)</textarea>", visitor.get(at).text, re.DOTALL)
    assert mapping is not None
    wrong = {"do": "look", "mapping": "separator = 3", "kind": "capture", "error": "3"}
    again = visitor.post(at, data=wrong)
    assert "separator = 3" in again.text
    assert "First lines" in again.text
    refused = visitor.post(
        at,
        data={"do": "keep", "kind": "capture", "place-0": "9", "round": kept.round, "error": "3"},
    )
    assert refused.status_code == 422
    assert "There is no terminal" in refused.text
    for error in ("", "x", "0", "70"):
        assert visitor.post(at, data={"do": "keep", "error": error}).status_code == 422
    assert not kept.recordings.of_job(kept.job)


def test_what_is_no_recording_is_refused_in_words(app: FastAPI, kept: Kept) -> None:
    at = sent(app, kept, b"nothing that a machine has measured\n" * 3, "note.txt")
    page = browser(app).get(at)
    assert page.status_code == 200
    assert "Keep it</button>" not in page.text
    dropped = browser(app).post(f"{at}/drop")
    assert dropped.headers["location"] == f"/jobs/{kept.job}"
    assert browser(app).get(at).status_code == 404


def test_marks_voids_and_files(app: FastAPI, kept: Kept, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "a.csv").write_bytes(content)
    key = kept.keep(tmp_path / "a.csv")
    visitor, page = browser(app), f"/recordings/{key}"
    assert (
        visitor.post(f"{page}/marks", data={"from": "0.01", "text": "<i>here"}).status_code == 303
    )
    shown = visitor.get(page).text
    assert "&lt;i&gt;here" in shown
    assert "<i>here" not in shown
    for wrong in (
        {"from": "x", "text": "a"},
        {"from": "0.01", "text": ""},
        {"from": "9", "text": "a"},
    ):
        assert visitor.post(f"{page}/marks", data=wrong).status_code == 422
    number = kept.recordings.recording(key).marks[0].id
    assert visitor.post(f"{page}/marks/{number}/back").status_code == 303
    assert visitor.post(f"{page}/void", data={"reason": "wrong wire"}).status_code == 303
    assert "This does not count: wrong wire" in visitor.get(page).text
    assert visitor.get(f"{page}/as.parquet").content[:4] == b"PAR1"
    assert visitor.get(f"{page}/as.mf4").content[:3] == b"MDF"


def test_the_interface_draws_and_tells_samples(
    app: FastAPI, kept: Kept, tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "a.csv").write_bytes(content)
    key = kept.keep(tmp_path / "a.csv")
    visitor = browser(app)
    told = visitor.get(f"/api/recordings/{key}").json()
    assert (told["samples"], told["channels"][0]["place"]) == (6000, "3")
    drawn = visitor.get(f"/api/recordings/{key}/drawing?start=0&end=0.1&bins=100").json()
    assert len(drawn["times"]) == 100
    assert max(drawn["channels"][0]["highest"]) > 4.9
    at = visitor.get(f"/api/recordings/{key}/samples?time=0.0&time=0.05").json()
    assert len(at["channels"][0]["values"]) == 2
    assert visitor.get(f"/api/recordings/{key}/drawing?start=1&end=0").status_code == 422
    assert visitor.get("/api/recordings/none/drawing?start=0&end=1").status_code == 404


def test_a_large_file_comes_in_pieces(app: FastAPI, kept: Kept, content: bytes) -> None:
    visitor = browser(app)
    begun_file = visitor.post(
        f"/api/jobs/{kept.job}/incoming", json={"name": "hall.csv", "size": len(content)}
    ).json()
    half = len(content) // 2
    there = 0
    for offset, piece in ((0, content[:half]), (0, content[:half]), (half, content[half:])):
        answer = visitor.put(
            f"/api/incoming/{begun_file['key']}?offset={offset}",
            content=piece,
            headers={"Content-Type": "application/octet-stream"},
        )
        assert answer.status_code == 200
        there = answer.json()["there"]
    assert there == len(content)
    assert "2 channels" in visitor.get(f"/incoming/{begun_file['key']}").text


def test_two_recordings_are_laid_over_one_another(
    app: FastAPI, kept: Kept, tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "a.csv").write_bytes(content)
    keys = [kept.keep(tmp_path / "a.csv") for _ in range(2)]
    page = browser(app).get(f"/recordings/{keys[0]}?other={keys[1]}&align=alike")
    assert f'data-other="{keys[1]}"' in page.text
    stranger = begun(kept.recordings.store)
    other = stranger.keep(tmp_path / "a.csv")
    assert browser(app).get(f"/recordings/{keys[0]}?other={other}").status_code == 422


def test_it_is_placed_anew_and_said_what_it_is(
    app: FastAPI, kept: Kept, tmp_path: Path, content: bytes
) -> None:
    (tmp_path / "a.csv").write_bytes(content)
    key = kept.keep(tmp_path / "a.csv", places=("", ""))
    visitor, page = browser(app), f"/recordings/{key}"
    assert "then it weighs as readings" in visitor.get(page).text
    fields = {"round": kept.round, "place-0": "2", "signal-0": "frequency", "error": "1.5"}
    assert visitor.post(f"{page}/place", data=fields).status_code == 303
    first, second = kept.recordings.recording(key).told.channels
    assert (first.place, first.signal, second.place) == ("2", "frequency", "")
    for wrong in ({"place-0": "9"}, {"signal-0": "magic"}, {"error": "x"}):
        answer = visitor.post(f"{page}/place", data={**fields, **wrong})
        assert answer.status_code == 422
    assert kept.recordings.recording(key).told.channels[0].place == "2"


def test_samples_of_a_wav_file_become_volts_on_the_page(
    app: FastAPI, kept: Kept, tmp_path: Path
) -> None:
    path = tmp_path / "hall.wav"
    counts = np.rint(hall(6000) / 10.0 * 32768).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(counts.tobytes())
    at = sent(app, kept, path.read_bytes(), "hall.wav")
    page = browser(app).get(at).text
    assert "Volts at full scale" in page
    assert "1 channel: channel 1, one sample" in page
    wrong = browser(app).post(at, data={"do": "look", "kind": "capture", "volts": "much"})
    assert "Keep it</button>" not in wrong.text
    assert 'value="much"' in wrong.text  # to be corrected, not typed again
    looked = browser(app).post(
        at, data={"do": "look", "kind": "capture", "error": "3", "volts": "10 V"}
    )
    assert "1 channel: channel 1 (V), one sample" in looked.text
    assert "Full scale was given by hand as 10 V." in looked.text
    done = browser(app).post(
        at, data={"do": "keep", "kind": "capture", "error": "3", "volts": "10 V"}
    )
    key = str(done.headers["location"]).rsplit("/", 1)[1]
    told = browser(app).get(f"/api/recordings/{key}").json()
    assert told["channels"][0]["unit"] == "V"
    assert "Full scale was given by hand as 10 V." in told["remarks"]
    drawn = browser(app).get(f"/api/recordings/{key}/drawing?start=0&end=0.1&bins=50").json()
    highest = max(each for each in drawn["channels"][0]["highest"] if each is not None)
    assert highest == pytest.approx(counts.max() / 32768 * 10.0)


def test_an_array_without_its_times_is_told_them_on_the_page(
    app: FastAPI, kept: Kept, tmp_path: Path
) -> None:
    path = tmp_path / "hall.npy"
    np.save(path, np.rint(hall(6000) / 0.002).astype(np.int16))
    at = sent(app, kept, path.read_bytes(), "hall.npy")
    page = browser(app).get(at).text
    assert "The time between samples isn&#39;t told." in page
    assert 'name="interval"' in page
    # What is lacking is asked, not complained of, and before anything else.
    assert "notice-bad" not in page
    assert "Where it was taken" not in page
    wrong = browser(app).post(at, data={"do": "look", "kind": "capture", "interval": "soon"}).text
    assert "notice-bad" in wrong
    assert 'value="soon"' in wrong
    said = {"kind": "capture", "error": "3", "volts": "2 mV", "interval": "20 us"}
    looked = browser(app).post(at, data={"do": "look", **said}).text
    assert "1 channel: channel 1 (V), one sample every 20 µs." in looked
    done = browser(app).post(at, data={"do": "keep", **said})
    key = str(done.headers["location"]).rsplit("/", 1)[1]
    told = browser(app).get(f"/api/recordings/{key}").json()
    assert told["interval"] == pytest.approx(20e-6)
    assert told["channels"][0]["unit"] == "V"


@pytest.mark.parametrize("instant", ["1.7e308", "-1.7e308", "nan", "inf", "2e12"])
def test_an_instant_that_cannot_be_is_refused(
    app: FastAPI, kept: Kept, content: bytes, instant: str
) -> None:
    at = sent(app, kept, content)
    done = browser(app).post(at, data={"do": "keep", "kind": "capture", "error": "3"})
    key = str(done.headers["location"]).rsplit("/", 1)[1]
    for asked in (f"drawing?start={instant}&end=1e12", f"drawing?start=-1e12&end={instant}"):
        assert browser(app).get(f"/api/recordings/{key}/{asked}").status_code == 422
    assert browser(app).get(f"/api/recordings/{key}/samples?time={instant}").status_code == 422
    widest = browser(app).get(f"/api/recordings/{key}/drawing?start=-1e12&end=1e12")
    assert widest.status_code == 200
