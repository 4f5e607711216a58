"""From where on something is named as a cause, and where each number comes from.

"Real notes" are the 54 single notes of an acoustic and an electric guitar that the tests use
(``tests/fetch_recordings.py``), taken to be of sound strings.
"""

from __future__ import annotations

# Fall in the second half of an open note. Real notes: one of 54 falls by more than this (3.8), the
# next by 0.33; a natural glide is nearly over by then.
LATE_FALL_CENTS_PER_S = 1.0
# From the first take of an open string to the last, every take further on: five times the usual
# scatter from pluck to pluck (0.3 cents, ``strings``).
TREND_CENTS = 1.5
FEWEST_FOR_TREND = 3
# Sharpness at the start. Real notes: 7.9 at most; theory gives a thin steel string 4.8 for a swing
# of 3 mm (mean tension of a vibrating string).
HARD_GLIDE_CENTS = 15.0
# Takes of one note: ten times the usual scatter.
TAKES_APART_CENTS = 3.0
# Partials about the law of one stiff string. Real notes: 3.4 at most.
MISFIT_CENTS = 4.0
# Beats slower than this between a string's two polarisations are common (from memory); a trained
# ear tunes to 1 Hz ([AB24], see ``string_model``).
BEAT_HZ = 1.0
# How much rougher the 12th fret must be than the open string before a magnet is named. A judgement.
MAGNET_RATIO = 2.0
# Fletcher's B at the 12th fret over that of the open string: 4 by the law (it goes with 1/L^2 at
# one tension); half and double of it allow for what real strings do.
STIFFNESS_RATIOS = (2.0, 8.0)
# B of an open string: guitars' lie under 5e-4; twice that is no string in its right place.
MOST_STIFFNESS = 1e-3
# B heard against B from the string's own data; cores that are not round and windings that stiffen
# account for less. A judgement.
STIFFNESS_FACTOR = 3.0
# A figure of stiffness less sure than this, relative, proves nothing.
VAGUE_STIFFNESS = 0.5
# The harmonic against twice the open note, beyond the law and the interval. A judgement.
HARMONIC_CENTS = 1.0
# All strings ask for more than this, the same way. Strings without any compensation ask for 1.6 to
# 2.9 mm ([AB24]).
COMMON_MOVE_MM = 3.0
FEWEST_FOR_COMMON_MOVE = 3
# Where a saddle's break point can lie beyond the nominal scale: plastic strings need 1.6 to 2.9 mm
# ([AB24]), thick steel ones up to some 6 (common practice of the trade, from memory).
SETBACKS_MM = (-1.0, 8.0)
