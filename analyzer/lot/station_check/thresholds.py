"""Every number that a station check turns on, and why.

Levels are in dB of a sine that just reaches full scale (AES17, from memory): such a sine is 0 dBFS.
"""

from __future__ import annotations

# The tone.
LOWEST_TONE_HZ, HIGHEST_TONE_HZ = 20.0, 20_000.0  # of hearing; recorders hold to no less
HIGHEST_SHARE_OF_RATE = 0.45  # the filters of converters begin at about so much of the rate
SHORTEST_TONE_S = 3.0  # below, hum beside the tone is no longer told from it
LONGEST_USED_S = 60.0  # what comes later adds nothing that matters to a station
SEARCHED_CENTS = (
    10.0  # about the stated tone: 5,800 parts in a million, more than any clock or fork
)
CLEAR_DB = 20.0  # a line stands so far out of the noise about it, or there is none
LEAST_COHERENCE = 0.9  # mean cosine of the phase's error: it wanders by half a radian
NAMED_RATES_HZ = (8000, 11025, 16000, 22050, 32000, 44100, 48000, 88200, 96000, 176400, 192000)
RATE_MATCHES = 0.001  # relative; standard rates lie 8 % apart at least

# Breaks in it.
BREAK_SDS = 8.0  # of the phase before and after: never by chance in a minute
LEAST_SLIP_SAMPLES = 0.25  # a source's own unrest is less, a lost sample more
GAP_SHARE = 0.5  # of the amplitude about it
MOST_BREAKS = 20  # more, and there is no clock to speak of
STUCK_PERIODS = 0.5  # samples that stay alike so long are no sine

# The chain.
HARMONICS = 10  # the fundamental among them
HUM_FAMILIES_HZ = (50.0, 60.0)
HUM_LINES = 6
CLIPPED_SHARE = 2.0  # times what a sine spends within a thousandth of its top
CLIPPED_BELOW = 0.998  # the top of a clipped wave stays below its own fundamental
STEADY_DB = 1.0  # a tone that changes by more while it is recorded has no level to speak of

# The judgement.
BASELINE_CHECKS = 20  # common practice for limits, as FEW_POINTS of the charts
FEWEST_BASELINE_CHECKS = 5  # fewer tell too little of the scatter
MOST_BASELINE_CHECKS = 200
AVERAGED_CHECKS = 7  # a week: a trend shows in their mean before it does in one
FALSE_ALARM = 0.01  # of a check of an unchanged station, over all that is judged in it
# A jump that is told of while there is no baseline yet: 58 parts in a million, more than crystal
# clocks are held to over all temperatures (some 50, from memory) ...
EARLY_JUMP_CENTS = 0.1
JUMP_SDS = 5.0  # ... and so many of the checks' own standard uncertainties; a choice
FEWEST_FOR_SCATTER = 3  # checks, from which on their own scatter counts as well
BASELINE_TREND_P = 0.001  # a baseline that runs so surely is no baseline
# The smallest scatter that is believed, by unit: limits three times so far off or nearer would tell
# of changes that matter to no figure of this program. Choices; the pitch of a pluck is known to
# some 0.01 cents at best.
LEAST_SIGMA = {"cents": 0.003, "dBFS": 0.05, "dB": 0.05, "% of full scale": 0.001}
