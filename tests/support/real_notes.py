"""Which notes of ``fetch_recordings`` serve as open strings, and as their 12th frets; by string."""

from __future__ import annotations

ACOUSTIC = {6: ("E2", "E3"), 5: ("A2", "A3"), 4: ("D3", "D4"), 3: ("G3", "G4"), 2: ("B3", "B4")}
ACOUSTIC |= {1: ("D4", "D5")}
ELECTRIC = {6: ("Fs2", "Fs3"), 5: ("A2", "A3"), 4: ("C3", "C4"), 3: ("Ds3", "Ds4")}
ELECTRIC |= {2: ("Fs3", "Fs4"), 1: ("A3", "A4")}
