"""A change of finish at a preview, against what OpenCV takes to go to Lab and back over as many pixels."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.bench.preview import preview_times  # noqa: E402


def test_a_change_of_finish_takes_a_few_round_trips():
    """60 ms on two cores are some 3 to 5 round trips; of processor time, the best of several, as other work stretches clocks."""
    times, trips = preview_times("gannet", 5)
    trip = min(cpu for _, cpu in trips)
    for kind, seconds in times.items():
        assert min(cpu for _, cpu in seconds) < 5 * trip, kind
