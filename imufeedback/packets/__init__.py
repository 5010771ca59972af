"""Bytes -> `DeviceBlock`: the project's own packet, and packets of other sensors declared in TOML."""

from imufeedback.packets.decode import Decoder, PacketCounts
from imufeedback.packets.encode import encode
from imufeedback.packets.layout import Layout, parse_layout

__all__ = ["Decoder", "Layout", "PacketCounts", "encode", "parse_layout"]
