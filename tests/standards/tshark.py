"""Asks the message decoder tshark what CAN frames mean, as a check by others."""

import json
import struct
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any

CAN_LINK_TYPE = 227  # LINKTYPE_CAN_SOCKETCAN of the pcap file format
EXTENDED = 0x8000_0000

Frame = tuple[int, bytes]  # identifier (above 7FF: of 29 bits) and data


def write_pcap(path: Path, frames: Sequence[Frame]) -> None:
    """Write a pcap file by hand, a millisecond from frame to frame."""
    text = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, CAN_LINK_TYPE)
    for number, (identifier, data) in enumerate(frames):
        word = identifier | (EXTENDED if identifier > 0x7FF else 0)
        body = struct.pack(">IBBBB", word, len(data), 0, 0, 0) + data
        text += struct.pack("<IIII", number // 1000, number % 1000 * 1000, len(body), len(body))
        text += body
    path.write_bytes(text)


def decoded(path: Path, frames: Sequence[Frame]) -> list[dict[str, Any]]:
    """Give the fields of each frame's diagnostic layer; empty where it has none."""
    write_pcap(path, frames)
    layers = ["can.subdissector,iso15765", "iso15765.subdissector,obd-ii"]
    chosen = [word for layer in layers for word in ("-d", layer)]
    words = ["tshark", "-r", str(path), *chosen, "-T", "json", "-J", "obd-ii iso15765"]
    done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=60)
    packets = json.loads(done.stdout)
    assert len(packets) == len(frames)
    return [packet["_source"]["layers"].get("obd-ii", {}) for packet in packets]
