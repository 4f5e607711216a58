"""From where on a recording is cautioned or rejected, what a caution adds, and why.

"Real notes" are the 54 single notes of an acoustic and an electric guitar that the tests use.
``_ADDED_CENTS`` are half-widths of 95 % intervals that go on top of the pluck's own.
"""

from __future__ import annotations

# Level of the loudest 5 ms. Recorders of 16 bits have their own noise near -90 dBFS, phones theirs
# near -70 (from memory): a note so quiet hardly stands out of it.
QUIET_DBFS = -50.0
QUIET_ADDED_CENTS = 0.05  # what is lost is lost in noise, which the interval holds; a reminder
# The note's partials over the noise between them, as powers over the whole band. The benchmark's
# 22 dB is measured to 0.007 cents; below 15 dB a listener hears hiss or traffic all through.
NOISY_DB = 15.0
NOISY_ADDED_CENTS = 0.1  # noise of a room is not white as the interval takes it; a judgement
DROWNED_DB = 0.0  # as much noise as note: what is followed may be the noise's own
# Mains hum, 50 Hz or 60 Hz and multiples, against the loudest partial. The benchmark's hum is seen
# at -22 dB and moves the figure by less than 0.001 cents.
HUM_DB = -15.0
HUM_ADDED_CENTS = 0.1  # a judgement: more than hum away from the partials was seen to do
HUM_ON_PARTIAL_HZ = 5.0  # nearer to a partial the two cannot be told apart ...
HUM_ON_PARTIAL_DB = -25.0  # ... and at this level it turns the partial's phase by 0.06 rad:
HUM_ON_PARTIAL_ADDED_CENTS = 0.4  # over a second 0.01 Hz, at 50 Hz 0.3 cents
# The part that sounds. The glide takes some tenths of a second, after which little is left.
SHORT_S = 1.0
SHORT_ADDED_CENTS = 0.5  # a glide of 4 cents that lasts 0.2 s has 0.4 left after 0.5 s
# The loudest line that is none of the note's, against the loudest partial. A string at -30 dB was
# seen to move figures by less than 0.1 cents (``tests/benchmarks/benchmark_whole.py``).
OTHER_NOTE_DB = -25.0
OTHER_NOTE_ADDED_CENTS = 0.3  # where the two share partials; 12 dB more than -30 dB does
OTHER_NOTE_LOUDER_DB = 0.0  # which of the two was meant cannot be told
# Vibrato, amplitude of the pitch about its mean. Real notes: 3.3 cents at most, the next 1.3. A
# finger can only raise the pitch, so the mean is too high by up to the amplitude, which is added.
VIBRATO_CENTS = 4.0
MOST_VIBRATO_CENTS = 12.0
# A rise of the pitch; a string left alone falls, but its partials wander. Real notes: 14.3 cents at
# most, the next 10. Half the rise is added.
RISE_CENTS = 15.0
MOST_RISE_CENTS = 30.0
# A fall in the second half that its last quarter shows as well (``findings.thresholds`` names a
# loose string from the same number). What falls ever less is settling, and the fit of the glide
# knows where to. Of 54 real notes one falls so (by 3.7). Rises are the noise's: up to 8.3 was seen.
UNSETTLED_CENTS_PER_S = 1.0
UNSETTLED_ADDED_S = 0.5  # what it falls in half a second is what nobody knows of its end
MOST_UNSETTLED_CENTS_PER_S = 10.0  # three seconds of this are more than any error worth a screw
# What is left of hard clipping of 12 dB in the benchmark is 0.14 cents (root mean square), which
# the interval holds; what a worse recorder does to it nobody measured.
CLIPPED_ADDED_CENTS = 0.1
# Two recordings whose differenced waveforms agree so far are one and its copy. Two plucks differ in
# their noise alone by more; a copy at other gain, trimmed, or in 16 bits for 24 is above 0.999.
COPY_CORRELATION = 0.98
# Clocks of sound devices are within some 50 millionths of their rate, 0.09 cents (from memory):
# two of them apart by twice that at most.
DEVICES_ADDED_CENTS = 0.12  # on each note; on both together 0.17
DEVICES_NOISE_DB = 25.0  # no one moves about so much between two notes; a judgement
# A string so far from the others is not in tune; its error belongs to another tension.
OUT_OF_TUNE_CENTS = 60.0
# A stretch of 60 cents is 7 % of tension, and moves the error by as much of what stiffness and
# fretting add to it, which is about 5 cents of a plain string ([AB24], ``string_model``).
OUT_OF_TUNE_ADDED_CENTS = 0.3
BETTER_FIT_CENTS = 40.0  # another note of the tuning that lies so near is likelier
# A note under the name of f12 that lies so near to the harmonic and holds half lines is taken for
# one; the error may then be anything.
HARMONIC_CENTS = 1.0
HARMONIC_ADDED_CENTS = 5.0
# A take of a whole instrument that lies so far from the median of three and more is none of them.
STRAY_CENTS = 25.0
