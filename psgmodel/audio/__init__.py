"""audio: what a signal sounds like. `Steps` in; band-limited samples, files, playback and spectra out."""

from psgmodel.audio.render import render_blocks, render_channels, render_steps
from psgmodel.audio.renderer import RendererState, StepsRenderer

__all__ = [
    "RendererState",
    "StepsRenderer",
    "render_blocks",
    "render_channels",
    "render_steps",
]
