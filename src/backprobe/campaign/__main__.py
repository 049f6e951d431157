"""Save simulated vehicles: python -m backprobe.campaign --save DIR --vehicles 200 --seed 1."""

import argparse
from pathlib import Path

import numpy as np

from backprobe.campaign.draw import CONDITIONS, SHEETS, Wishes, draw_vehicle
from backprobe.campaign.saving import save_vehicle


def main() -> None:
    """Draw vehicles and write their files."""
    parser = argparse.ArgumentParser(prog="python -m backprobe.campaign", description=__doc__)
    parser.add_argument("--save", type=Path, required=True, help="folder for the files")
    parser.add_argument("--vehicles", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--conditions", choices=CONDITIONS, default="mixed")
    parser.add_argument("--sheets", choices=SHEETS, default="full")
    asked = parser.parse_args()
    wishes = Wishes(conditions=asked.conditions, sheets=asked.sheets)
    for number in range(1, asked.vehicles + 1):
        rng = np.random.default_rng([asked.seed, number])
        save_vehicle(draw_vehicle(rng, wishes, number), asked.save, f"vehicle-{number:05d}")


if __name__ == "__main__":
    main()
