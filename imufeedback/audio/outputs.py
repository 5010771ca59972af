"""What an output is, as far as its name tells."""

from __future__ import annotations

from dataclasses import dataclass

WIRELESS_WORDS = ("bluetooth", "bluez", "a2dp", "hands-free", "handsfree", "wireless", "buds")
"""Seen in names and ids of wireless outputs. Not every system says so: a name without them proves nothing."""

PLAIN_DELAY_S = 0.015
"""From the device's callback to the output, wired or built in: measured on a PulseAudio null sink."""
WIRELESS_DELAY_S = 0.200
"""Coding, buffering and radio add 150 to 300 ms; 192 ms is named for one model. Reports of players, no measurement of
our own: `imufeedback latency` with a microphone measures it."""

SAFE_LISTENING = (
    "Safe listening (WHO-ITU H.870): adults 80 dB(A) for at most 40 hours a week, children and sensitive people "
    "75 dB(A); every 3 dB more halves the time. Start low, and keep the surroundings audible."
)


@dataclass(frozen=True, slots=True)
class Output:
    """One output of the system. Equal ids are the same output."""

    name: str
    id: bytes = b""
    default: bool = True
    extra_s: float | None = None
    """Delay from the callback to the ear, if it was measured or reported; else it is taken from the kind."""

    @property
    def wireless(self) -> bool:
        """Whether name or id says so."""
        text = f"{self.name} {self.id.decode('utf-8', 'ignore')}".casefold()
        return any(word in text for word in WIRELESS_WORDS)

    @property
    def delay_s(self) -> float:
        """From the callback to the ear: measured, or what outputs of its kind usually take."""
        if self.extra_s is not None:
            return self.extra_s
        return WIRELESS_DELAY_S if self.wireless else PLAIN_DELAY_S

    @property
    def late(self) -> bool:
        """It adds so much that a tone belongs to another movement by the time it is heard."""
        return self.delay_s >= 0.100

    @property
    def warning(self) -> str | None:
        """One line for the player, or None."""
        if not self.late:
            return None
        kind = "wireless and adds" if self.extra_s is None else "slow and adds"
        return (
            f"sound: {self.name} is {kind} about {self.delay_s * 1e3:.0f} ms – the tones come late; "
            "use a wired or built-in speaker"
        )
