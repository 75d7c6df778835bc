"""chip: what the sound unit is. A TOML description in; frozen, checked records and the register map out."""

from psgmodel.chip.channel import Channel
from psgmodel.chip.reader import load_chip, parse_chip
from psgmodel.chip.records import Chip

__all__ = ["Channel", "Chip", "load_chip", "parse_chip"]
