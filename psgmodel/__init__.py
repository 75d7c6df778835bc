"""psgmodel: executable specification, comparison and output-stage bench for sound units written in RTL."""

__version__ = "0.1.0"
