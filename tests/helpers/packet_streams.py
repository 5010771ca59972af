"""Streams of packets for the tests of packets/: made, disturbed, fed."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.resources import files

import numpy as np

from imufeedback.packets import Decoder, Layout, encode, parse_layout
from imufeedback.records import DeviceBlock, PacketRejected, RawPacket

STEP_NS = 20_000_000
"""Four samples at 200 Hz."""


def layout_text(name: str) -> str:
    return files("imufeedback.packets").joinpath(f"layouts/{name}.toml").read_text(encoding="utf-8")


def load(name: str) -> Layout:
    return parse_layout(layout_text(name), f"{name}.toml")


HOUSE = load("house")
LOSSLESS = load("lossless")


def values(seed: int, n: int = 4) -> tuple[np.ndarray, np.ndarray]:
    """Motion-like numbers, well inside full scale."""
    rng = np.random.default_rng(seed)
    return rng.normal(0.0, 2.0, (n, 3)), rng.normal(0.0, 9.0, (n, 3))


def packet(
    k: int, layout: Layout = HOUSE, *, first: int = 0, tick: int | None = None, seed: int | None = None
) -> bytes:
    """Packet k of a stream: number first + k, 4 samples, ticks in µs from 0 unless told."""
    gyr, acc = values(k if seed is None else seed)
    return encode(layout, first + k, 20_000 * k if tick is None else tick, gyr, acc)


def stream(n: int, **kwargs: int) -> list[RawPacket]:
    return [RawPacket("a", k * STEP_NS, packet(k, **kwargs)) for k in range(n)]


def decode(
    items: Iterable[RawPacket], layout: Layout = HOUSE
) -> tuple[list[DeviceBlock], list[PacketRejected], Decoder]:
    decoder = Decoder("a", layout, 0)
    out = [one for item in items for one in decoder.feed(item)] + decoder.finish()
    blocks = [one for one in out if isinstance(one, DeviceBlock)]
    return blocks, [one for one in out if isinstance(one, PacketRejected)], decoder


def joined(blocks: list[DeviceBlock]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Ticks, gyr, acc and flags of all blocks."""
    return (
        np.concatenate([b.tick for b in blocks]),
        np.concatenate([b.gyr_rad_s for b in blocks]),
        np.concatenate([b.acc_m_s2 for b in blocks]),
        np.concatenate([b.flags for b in blocks]),
    )
