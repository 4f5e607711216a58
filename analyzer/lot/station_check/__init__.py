"""The station check: a reference is recorded every day, and what changes is the station.

Two references, which find different things.

A *tone* of known frequency goes through the recorder as everything else does. Its pitch finds a
recorder whose clock has changed, its level, noise, hum, distortion and offset find a chain that
has, and its phase finds samples that were lost. It cannot tell the recorder's clock from the
source's own (a quartz generator keeps to some 50 parts in a million, 0.09 cents; a steel fork
falls by about 0.2 cents for each kelvin that it gets warmer: common practice, from memory), nor
find what a plucked string meets: placing, plucking, fretting.

An *instrument* kept for the purpose finds these: the error of each of its strings should stay.
It cannot find the clock: an error is a ratio of two notes from one recorder, in which a clock that
is merely wrong cancels, and its open pitch goes with temperature and tuning.
"""
