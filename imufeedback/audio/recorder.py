"""What an input hears, with the time of every sample: to measure when a sound really came out.

The earliest arrivals of neighbouring blocks give the time of every sample. A block is taken to begin when it arrives:
the monitor of a PulseAudio output hands it over when it begins to be played, a microphone when it is over. So a sound
never looks sooner than it was, and with a microphone later by one block (5 ms) and what its driver holds.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from typing import Any

import miniaudio
import numpy as np
import numpy.typing as npt

from imufeedback.audio.device import APP_NAME, RATE_HZ, Lister, words
from imufeedback.errors import SoundError
from imufeedback.threads import first_turn

BUFFER_MS = 5
NEIGHBOURS_S = 0.3
MONITOR_ID = b".monitor"
"""What PulseAudio adds to an output's id for the input that hears what it plays."""


class Recorder:
    """Records one input, mono, until it is closed."""

    def __init__(self, clock: Callable[[], int], name: str | None = None) -> None:
        """`name` is a part of an input's name; without it, the one that hears the default output.

        Raises SoundError when there is no such input, or it does not open.
        """
        self.name, key = find_input(name)
        self._clock = clock
        self._blocks: list[npt.NDArray[np.float32]] = []
        self._arrivals: list[int] = []
        try:
            self._device = miniaudio.CaptureDevice(
                input_format=miniaudio.SampleFormat.FLOAT32,
                nchannels=1,
                sample_rate=RATE_HZ,
                buffersize_msec=BUFFER_MS,
                device_id=key,
                app_name=APP_NAME,
            )
            sink = self._sink()
            next(sink)
            self._device.start(sink)
        except miniaudio.MiniaudioError as error:
            raise SoundError(
                f"{self.name} cannot be recorded ({words(error)})", where="sound", hint="check it"
            ) from None

    def _sink(self) -> Generator[None, bytes, None]:
        data = yield
        first_turn()
        while True:
            self._arrivals.append(self._clock())
            self._blocks.append(np.frombuffer(data, np.float32))
            data = yield

    @property
    def blocks(self) -> int:
        """Blocks heard so far."""
        return len(self._blocks)

    def close(self) -> None:
        self._device.close()

    def recorded(self) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float64]]:
        """(N,) samples, and (N,) host time in ns of each."""
        count = min(len(self._blocks), len(self._arrivals))
        return stamped(self._blocks[:count], self._arrivals[:count], RATE_HZ)


def stamped(
    blocks: list[npt.NDArray[np.float32]], arrivals_ns: list[int], rate_hz: int
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float64]]:
    """Samples of all blocks, and the time of each.

    A block that arrives late is put back to where the earliest of those soon after it say it belongs. When the output
    itself stood still for a while, all later ones are later for good, so only those after a block count.
    """
    if not blocks:
        return np.zeros(0, np.float32), np.zeros(0)
    sizes = np.array([one.size for one in blocks])
    begins = np.cumsum(sizes) - sizes
    late_ns = np.asarray(arrivals_ns, dtype=np.float64) - arrivals_ns[0] - begins * 1e9 / rate_hz
    window = min(len(blocks), max(1, round(NEIGHBOURS_S * rate_hz / float(np.mean(sizes)))))
    padded = np.concatenate([late_ns, np.full(window - 1, np.inf)])
    least_ns = np.lib.stride_tricks.sliding_window_view(padded, window).min(axis=1)
    numbers = np.arange(int(sizes.sum()))
    times_ns = arrivals_ns[0] + np.repeat(least_ns, sizes) + numbers * 1e9 / rate_hz
    return np.concatenate(blocks), np.maximum.accumulate(times_ns)


def find_input(name: str | None) -> tuple[str, Any]:
    """Name and key of an input; see `Recorder`."""
    lister = Lister()
    inputs = lister.inputs()
    if name is None:
        output = lister.default_output()
        found = [] if output is None else [one for one in inputs if one[0].id == output.id + MONITOR_ID]
    else:
        found = [one for one in inputs if name.casefold() in one[0].name.casefold()]
    if not found:
        there = ", ".join(one.name for one, _ in inputs) or "none"
        what = "no input hears the output" if name is None else f"no input is called {name!r}"
        raise SoundError(what, where="sound", hint=f"name one with --record; there are: {there}")
    return found[0][0].name, found[0][1]
