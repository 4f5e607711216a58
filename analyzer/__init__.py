"""pluckcheck: intonation at the 12th fret from recorded plucks. The library behind the command."""

__version__ = "0.1.0"
