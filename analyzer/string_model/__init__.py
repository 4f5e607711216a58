"""A fretted string as published theory has it: geometry, tension, stiffness, setbacks.

[AB24] M. B. Anderson, R. G. Beausoleil, "Classical guitar intonation and compensation: The
well-tempered guitar", J. Acoust. Soc. Am. 156(1), 683 (2024).

Its words and signs: the saddle's setback dS is positive away from the nut, the nut's setback dN
negative toward the saddle. The string lies b above the plane of the fret tops at the nut, and b + c
above it at the saddle. ``kappa`` is the relative rise of tension for a relative stretch, E A / T;
``stiffness`` is the paper's B0, of which Fletcher's B is pi^2 B0^2.
"""
