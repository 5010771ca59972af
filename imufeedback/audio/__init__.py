"""Sound out, and sound in for measuring it: the only importer of miniaudio.

::

    outputs.py   what an output is: its name, whether it is wireless, how much delay it adds
    device.py    the system's outputs and inputs, opened
    player.py    one device kept open, silence in between, cues from memory
    recorder.py  what an input hears, with the time of every sample: for `imufeedback latency`

Loudness: software does not know how loud an output is at the ear. WHO-ITU H.870 allows adults 80 dB(A) for 40 h a week
(75 dB(A) for children and sensitive people), and every 3 dB more halves the time. So the sounds are short, soft at the
edges, peak below -12 dBFS, start at `START_LEVEL`, and cannot be turned above `CEILING_LEVEL`.
"""

from imufeedback.audio.device import Device, open_device
from imufeedback.audio.outputs import SAFE_LISTENING, Output
from imufeedback.audio.player import (
    BUFFER_MS,
    CEILING_LEVEL,
    RATE_HZ,
    START_LEVEL,
    CuePlayer,
    Sounder,
    SoundTotals,
    WatchedPlayer,
    open_player,
    rendered,
)

__all__ = [
    "BUFFER_MS",
    "CEILING_LEVEL",
    "RATE_HZ",
    "SAFE_LISTENING",
    "START_LEVEL",
    "CuePlayer",
    "Device",
    "Output",
    "SoundTotals",
    "Sounder",
    "WatchedPlayer",
    "open_device",
    "open_player",
    "rendered",
]
